"""An earthing network and nothing but a hand-held meter: a second path is found, and no bond counts as proven."""

from __future__ import annotations

import pytest

from bench.plant import faults as k
from bench.walk.results import results
from tests.rebuild.plants import drawn
from tests.rebuild.proveout import WithProveout


@pytest.mark.slow
@pytest.mark.parametrize("number", [6, 10])
def test_a_second_path_is_found_with_a_hand_held_meter(number: int) -> None:
    made = drawn(number)
    assert any(isinstance(one, k.SecondEarthPath) for one in made.faults)
    work = WithProveout(made, "cheap")
    work.pile()
    found = work.next()
    assert found is not None and found[0].kind == "earth"
    work.walk(*found)
    assert not any(isinstance(one, k.SecondEarthPath) for one in work.site.faults), "found, and taken away"


def test_a_poor_bond_that_it_cannot_see_is_left_open_and_asked_for_still() -> None:
    made = drawn(4)
    assert any(isinstance(one, k.BondPoor) for one in made.faults)
    work = WithProveout(made, "cheap")
    work.pile()
    found = work.next()
    assert found is not None
    state = work.walk(*found)
    assert state is not None
    (search,) = [one for one in results(state).values() if one.found is not None]
    assert search.verdict == "undecided" and "whether a bond is poor this meter cannot tell" in search.sentence
    assert search.found is not None and not search.found.facts["sight"]["poor"]
    assert any(task.kind == "earth" for task in work.job.ready().tasks)
