"""Two places that were read apart in a walk and found joined by its search: asked again, and told, never a crash."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from bench.diagnose.explain.causes import Bridged, Open
from bench.diagnose.explain.records import explained
from bench.diagnose.explain.walk_map import beside_maps
from bench.plant import faults as k
from bench.plant.resolve import resolve
from bench.sequence.file import Found, Seek
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import State
from tests.diagnose.explain.damaged_plant import RANGES, DamagedPlant, designed_pairs, plant_of, reading

PAIR = ("J1.1", "J1.6")


class MisreadPlant(DamagedPlant):
    """A damaged plant of which one pair of places is misread.

    Attributes:
        told: what it reads when the pair is read alone, time after time; once used up, what is so.
        skips: which of these is skipped, counted from 1.
        on_bars: whether a bar with both of them reads joined although they are apart.
    """

    told: list[bool]
    skips: int = 0
    on_bars: bool = False
    alone: int = 0

    def placed(self, step: Step) -> e.Event:
        if set(step.source.between) == set(PAIR) and not step.source.join:
            self.alone += 1
            if self.alone == self.skips:
                return e.Skipped(number=self.state.number, reason="not today")
        return super().placed(step)

    def measured(self, step: Step) -> e.Event:
        bars = step.source.join
        if set(step.source.between) == set(PAIR) and not bars and self.told:
            return self.shown(joined=self.told.pop(0))
        if self.on_bars and bars and set(PAIR) <= {*step.source.between, *(name for bar in bars for name in bar)}:
            return self.shown(joined=True)
        return super().measured(step)

    def shown(self, *, joined: bool) -> e.Event:
        if joined:
            return self.reading(value=0.4, range=100.0, resolution=0.001)
        return self.reading(over="+", range=RANGES[-1])


def looked(
    told: Sequence[bool] = (), *, short: bool, skips: int = 0, on_bars: bool = False
) -> tuple[State, Found, int]:
    """A walk with one open wire, its look, and how often the pair was read alone; what is told is read before it."""
    file = plant_of(6)
    faults: list[k.Fault] = [k.Open(conductor="W1.4")]
    faults += [k.Short(between=PAIR)] * short
    walk = MisreadPlant.__new__(MisreadPlant)
    walk.told, walk.skips, walk.on_bars = list(told), skips, on_bars
    first = [reading(*PAIR, joined=False)] if told else []
    MisreadPlant.__init__(walk, file, faults, [*designed_pairs(resolve(file)), *first, Seek(find="landings")])
    state = walk.run()
    (found,) = [outcome.found for outcome in results(state).values() if outcome.found is not None]
    return state, found, walk.alone


def test_a_pair_that_was_misread_as_apart_is_asked_again_and_found_joined() -> None:
    state, found, alone = looked([False], short=True)
    assert found.verdict == "fail" and alone == 2
    assert any("are joined. Look for a whisker" in line for line in found.lines)
    (both,) = [line for line in found.lines if "they count as joined" in line]
    assert "J1.1 and J1.6 were read apart first, then joined, and joined" in both and "come and go" in both
    causes = {type(one) for each in explained([state]) for one in each.explanation.causes}
    assert causes == {Open, Bridged}, "the record says what the search said"


@pytest.mark.parametrize(
    ("told", "skips", "words"), [([False, False], 0, "they count as apart"), ([False], 2, "nothing is said of them")]
)
def test_a_join_that_is_not_there_the_third_time_sends_nobody_to_it(told: list[bool], skips: int, words: str) -> None:
    state, found, alone = looked(told, short=True, skips=skips)
    assert found.verdict == "fail" and alone == 2
    assert any(words in line for line in found.lines)
    assert not any("are joined. Look for a whisker" in line for line in found.lines)
    causes = {type(one) for each in explained([state]) for one in each.explanation.causes}
    assert causes == {Open} and not beside_maps(state)


def test_a_pair_that_bars_alone_told_of_is_read_alone() -> None:
    """One wrong answer on the way to it: nobody is sent to two pins that are apart."""
    _, found, alone = looked(short=False, on_bars=True)
    assert alone == 1
    assert any("were found joined by readings on a bar, and apart" in line for line in found.lines)


def test_without_a_contradiction_nothing_is_said_of_one() -> None:
    _, found, _ = looked(short=True)
    assert "both ways" not in found.facts and not any("count as" in line for line in found.lines)
