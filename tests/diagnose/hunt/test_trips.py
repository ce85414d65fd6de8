from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bench.diagnose.hunt.trips import HINT, Backdrop, Trip, in_common, told
from bench.job.trips_told import trips_and_time
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.record.watch import WatchWriter
from bench.walk import watching as w
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


def recorded(touched: float, degrees: tuple[float, ...] = ()) -> Backdrop:
    """Forty days on record, of which a part lies within an hour after the door was opened."""
    return Backdrop(((at(0, 0), at(40, 0)),), {"door of bay 2": touched * 40 * 86_400.0}, degrees)


def scattered() -> list[Trip]:
    """Six events of six shelves at all hours of six days, each after the door of bay 2 was opened, each warm."""
    shelves = ("1A", "2A", "2C", "3A", "4B", "6A")
    return [Trip(at(5 * n + 1, 4 * n), name, "", 31.0, "door of bay 2", "x") for n, name in enumerate(shelves)]


def test_what_was_touched_stands_out_where_it_is_seldom_touched_else(plant: Plant) -> None:
    trips = scattered()
    seldom, often = recorded(0.05), recorded(0.9)
    best = in_common(plant, trips, seldom)[0]
    assert (best.kind, best.value, best.events, best.of) == ("touched before:", "door of bay 2", 6, 6)
    assert best.part == pytest.approx(0.05)
    text = "\n".join(told(trips, in_common(plant, trips, seldom), backdrop=seldom))
    assert "touched before: door of bay 2: 6 of 6 events, and 5% of 960 h on record" in text and "stands out" in text
    text = "\n".join(told(trips, in_common(plant, trips, often), backdrop=often))
    assert "touched before 6 of 6: door of bay 2; so is 90% of 960 h on record" in text and "too little to say" in text
    assert "stands out" not in text


def test_six_events_in_an_hour_after_one_touch_are_one(plant: Plant) -> None:
    trips = [Trip(at(3) + timedelta(minutes=n), name, "", None, "door of bay 2", "x") for n, name in enumerate(
        ("1A", "2A", "2C", "3A", "4B", "6A"))]  # fmt: skip
    common = in_common(plant, trips, recorded(0.05))
    assert not [one for one in common if one.kind == "touched before:"]
    assert "too few of them are on record, an hour apart" in "\n".join(told(trips, common, backdrop=recorded(0.05)))


def test_how_warm_it_was_is_held_against_the_hours_on_record(plant: Plant) -> None:
    trips = scattered()
    cool = recorded(0.5, tuple(18.0 + 0.014 * hour for hour in range(960)))
    common = in_common(plant, trips, cool)
    warm = next(one for one in common if one.kind == "hall at")
    assert (warm.value, warm.events, warm.of) == ("28.1 °C or more", 6, 6)
    assert warm.part == pytest.approx(0.25, abs=0.01)
    assert "hall at 28.1 °C or more: 6 of 6 events" in "\n".join(told(trips, common, backdrop=cool))
    always = recorded(0.5, (31.0,) * 960)
    assert not [one for one in in_common(plant, trips, always) if one.kind == "hall at"]
    short = recorded(0.5, (20.0,) * 5)
    text = "\n".join(told(trips, in_common(plant, trips, short), backdrop=short))
    assert "known of 5 hours alone: too little to say" in text


def test_warmth_and_touches_of_chance_are_seldom_told(plant: Plant) -> None:
    rng, shelves, alarms = random.Random(9), [*plant.shelves], 0
    degrees = tuple(24.0 + 6.0 * math.sin(hour / 24 * math.tau) + rng.gauss(0.0, 1.0) for hour in range(960))
    for _ in range(60):
        trips = []
        for _ in range(6):
            hour = rng.randrange(960)
            touched = "door of bay 2" if rng.random() < 0.2 else ""
            trips.append(Trip(at(0, 0) + timedelta(hours=hour), rng.choice(shelves), "", degrees[hour], touched, "x"))
        alarms += in_common(plant, trips, recorded(0.2, degrees))[0].chance < HINT
    # at most one in ten each; more than 12 of 60 come once in 100 times
    assert alarms <= 12


def test_a_watch_tells_how_warm_it_was_what_was_touched_and_how_long_it_saw(tmp_path: Path) -> None:
    clock = iter(datetime(2026, 5, 1, tzinfo=UTC) + timedelta(seconds=n) for n in range(10_000))
    points = [w.Point(name="hall", reads="temperature", unit="°C")]
    with WatchWriter(tmp_path / "watch-hall.jsonl", lambda: next(clock)) as writer:
        places = [w.Place(name="J101"), w.Place(name="J205")]
        writer.write(w.WatchBegan(software="test", plant=load_plant(PLANT).file, points=points, places=places))
        for hour in range(30):
            begin = hour * 3600.0
            writer.write(w.Heard(point=0, at=begin, after=[0.0, 60.0], values=[20.0, 20.0 + hour]))
            if hour in (4, 12, 20):
                writer.write(w.Touched(at=begin + 600, places=["J101"]))
                writer.write(w.Tripped(at=begin + 900, thing="2A", by="Ada"))
        writer.write(w.Unseen(point=-1, begin=30 * 3600.0, end=40 * 3600.0, why="nobody watched"))
        writer.write(w.WatchEnded(at=41 * 3600.0, why="done"))
    trips, time = trips_and_time(tmp_path)
    assert [(one.temperature, one.touched) for one in trips] == [(24.0, "J101"), (32.0, "J101"), (40.0, "J101")]
    assert time.seconds == pytest.approx(31 * 3600.0) and time.touched == {"J101": pytest.approx(3 * 3600.0)}
    assert time.degrees == tuple(20.0 + hour for hour in range(30))
    done = command(["trips", PLANT.resolve(), "--logs", tmp_path], tmp_path)
    assert "touched before: J101: 3 of 3 events, and 10% of 31 h on record" in done.stdout, done.stdout


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
