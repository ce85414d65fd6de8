"""Where voltage is lost on a supply path."""

from __future__ import annotations

import math
import random

import pytest

from bench.diagnose.supply.locate import MissingVolts
from bench.plant.model import Plant
from bench.sequence.power_tree import Powered, PowerTree

CLOSED = frozenset({"FA", "FA2", "FA2A"})


def shown(search: MissingVolts, between: tuple[str, str], bad: dict[str, float], rng: random.Random) -> float:
    """What a meter shows between two places of the way when these stretches lose so much more."""
    lost = 0.0
    for back, spot in ((False, between[0]), (True, between[1])):
        for stretch in (s for s in search.way if s.back is back):
            if stretch.near == spot:
                break
            lost += stretch.drop + bad.get(stretch.edge.id, 0.0)
            if stretch.far == spot:
                break
    return search.volts - lost + rng.gauss(0, search.sigma)


def begin(plant: Plant, bad: dict[str, float], sigma: float = 0.01) -> MissingVolts | None:
    flow = PowerTree(plant).flow(Powered(("GA",), -48.0, closed=CLOSED))
    volts = flow.shelves["2A"].volts
    return MissingVolts.begin(plant, "2A", "A", flow, abs(volts) - sum(bad.values()), sigma)


def test_nothing_is_looked_for_where_nothing_is_missing(gannet: Plant) -> None:
    assert begin(gannet, {}) is None


def test_every_stretch_is_named_within_the_halving_bound(gannet: Plant) -> None:
    first = begin(gannet, {"FA2A": 1.9})
    assert first is not None
    most = 0
    for stretch in first.way:
        rng = random.Random(stretch.edge.id)
        search = begin(gannet, {stretch.edge.id: 1.9})
        while search is not None and (reading := search.next_reading()) is not None:
            assert reading.bits > 0.05
            (search,) = search.after(reading, shown(search, reading.between, {stretch.edge.id: 1.9}, rng))
        assert search is not None and search.found is not None, stretch.edge.id
        assert search.found.edge == stretch.edge.id
        assert search.found.volts == pytest.approx(1.9, abs=0.05)
        most = max(most, search.taken)
    # a stretch half as likely as another may take a reading more
    assert most <= math.ceil(math.log2(len(first.way))) + 2


def test_the_sentence_names_the_stretch_and_the_drop(gannet: Plant) -> None:
    rng = random.Random(1)
    search = begin(gannet, {"FA2A": 1.9})
    while search is not None and (reading := search.next_reading()) is not None:
        (search,) = search.after(reading, shown(search, reading.between, {"FA2A": 1.9}, rng))
    assert search is not None and search.found is not None
    assert search.found.sentence.startswith("Drop of 1.9 V across bay 2 breaker FA2A")


def test_the_first_reading_of_equal_suspects_halves_them(gannet: Plant) -> None:
    search = begin(gannet, {"FA2A": 1.9})
    assert search is not None
    reading = search.next_reading()
    assert reading is not None and reading.bits > 0.95


def test_a_loss_in_two_places_is_followed_in_both(gannet: Plant) -> None:
    bad = {"FA2A": 1.9, "WA2.2": 0.8}
    rng = random.Random(2)
    search = begin(gannet, bad)
    assert search is not None
    assert {"FA2A", "WA2.2"} <= set(search.suspects)
    waiting, named = [search], {}
    while waiting:
        one = waiting.pop()
        while (reading := one.next_reading()) is not None and one.taken < 20:
            one, *others = one.after(reading, shown(one, reading.between, bad, rng))
            waiting += others
        if one.found is not None:
            named[one.found.edge] = one.found.volts
    assert named == pytest.approx(bad, abs=0.05)


def test_a_reading_of_another_search_is_refused(gannet: Plant) -> None:
    search = begin(gannet, {"FA2A": 1.9})
    assert search is not None
    reading = search.next_reading()
    assert reading is not None
    with pytest.raises(ValueError, match="of this search"):
        search.after(type(reading)(("1A.A", "1A.A-return"), 48.0, 46.0, 1.0, ""), 47.0)
