from __future__ import annotations

import random
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from bench.diagnose.hunt.trips import HINT, Trip, in_common, told
from bench.plant.load import load_plant
from bench.plant.model import Plant
from tests.one_process import command

PLANT = Path("sequences/gannet-head/plant.yaml")


@pytest.fixture(scope="module")
def plant() -> Plant:
    return load_plant(PLANT)


def at(day: int, hour: int = 10) -> datetime:
    return datetime(2026, 5, 1) + timedelta(days=day, hours=hour - (hour // 24) * 24)


def test_a_shelf_that_fails_again_and_again_stands_out(plant: Plant) -> None:
    trips = [Trip(at(day, 5 * day % 24), "2A", touched="door of bay 2") for day in range(5)] + [Trip(at(9), "4B")]
    best = in_common(plant, trips)[0]
    assert (best.kind, best.value) == ("shelf", "2A") or best.kind in ("card type", "bay")
    text = "\n".join(told(trips, in_common(plant, trips)))
    assert "shelf 2A: 5 of 6 events" in text and "stands out" in text
    assert "touched before 5 of 6: door of bay 2" in text


def test_one_feed_alone_is_told_by_its_breakers(plant: Plant) -> None:
    ours = [one.name for one in plant.breakers.values() if one.feed == "B"][:6]
    trips = [Trip(at(day, 4 * day), name) for day, name in enumerate(ours)]
    feed = next(one for one in in_common(plant, trips) if one.kind == "feed")
    assert feed.value == "B" and feed.events == feed.of == len(ours)


def test_too_few_are_told_to_be_too_few(plant: Plant) -> None:
    trips = [Trip(at(1), "2A"), Trip(at(2), "2A")]
    assert in_common(plant, trips) == [] and "too few" in told(trips, [])[0]


def test_what_chance_brings_is_seldom_told(plant: Plant) -> None:
    rng, shelves, alarms = random.Random(4), [*plant.shelves], 0
    for _ in range(60):
        trips = [Trip(at(rng.randrange(60), rng.randrange(24)), rng.choice(shelves)) for _ in range(6)]
        alarms += in_common(plant, trips)[0].chance < HINT
    # at most one in ten each; more than 12 of 60 come once in 100 times
    assert alarms <= 12


def test_a_table_is_read_and_what_is_wrong_in_it_is_named(tmp_path: Path) -> None:
    table = tmp_path / "trips.csv"
    table.write_text(
        "at,thing,what,temperature\n" + "".join(f"2026-05-0{n}T14:00,2A,reset,3{n}\n" for n in range(1, 6))
    )
    done = command(["trips", PLANT.resolve(), table], tmp_path)
    assert done.returncode == 0 and "2A" in done.stdout and "31 to 35 °C" in done.stdout
    table.write_text("at,thing\nyesterday,2A\n2026-05-01T10:00,9Z\n")
    done = command(["trips", PLANT.resolve(), table], tmp_path)
    assert done.returncode == 2 and ":2:" in done.stderr and "'9Z'" in done.stderr
