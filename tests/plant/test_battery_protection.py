"""What ``check`` says of a battery's fuse, of breaking capacity and of devices in a row; each with its source."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.plant.demand import fault_currents
from bench.plant.load import load_plant, plant_of
from bench.plant.protection import opens_too
from tests.power.small_hall import SMALL

SOUND = (
    SMALL.replace("resistance: 8 mohm", "resistance: 8 mohm, fuse: 32 A, fuse-breaks: 20 kA")
    .replace("rating: 16 A,", "rating: 16 A, breaks: 6 kA, selective: 6 kA,")
    .replace("rating: 6 A,", "rating: 6 A, breaks: 6 kA, selective: 2 kA,")
)


def told(text: str) -> list[str]:
    return [str(one).split(": ", 1)[1] for one in plant_of(text, Path("plant.yaml")).remarks]


def test_a_battery_with_a_fuse_and_devices_that_are_said_to_be_selective_is_sound() -> None:
    assert told(SOUND) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (", fuse: 32 A, fuse-breaks: 20 kA", "", ("no fuse at the battery", "6.7 kA", "before FA", "common practice")),
        ("fuse-breaks: 20 kA", "fuse-breaks: 2 kA", ("a fuse that breaks 2 kA", "6.7 kA")),
        (", fuse-breaks: 20 kA", "", ("without 'fuse-breaks'", "6.7 kA")),
        ("fuse: 32 A", "fuse: 63 A", ("63 A before conductor WGA.1", "at most 46 A", "IEC 60364-5-52")),
        ("breaks: 6 kA, selective: 6 kA", "selective: 6 kA", ("without 'breaks'", "IEC 60898-2", "20 A for each Ah")),
        ("breaks: 6 kA, selective: 6 kA", "breaks: 100 A, selective: 6 kA", ("FA breaks 100 A", "at least")),
        ("breaks: 6 kA, selective: 2 kA", "breaks: 6 kA, selective: 100 A", ("FA may open too", "at most 100 A")),
        ("breaks: 6 kA, selective: 2 kA", "breaks: 6 kA", ("FA may open too", "at most 80 A", "makers' table")),
    ],
)
def test_what_is_missing_is_remarked_on_with_its_source(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in SOUND
    found = told(SOUND.replace(old, new))
    assert any(all(word in one for word in words) for one in found), found


def test_the_shipped_plants_say_what_protects_them() -> None:
    for path in ("sequences/gannet-head/plant.yaml", "tests/jobs/beacon-hut/plant.yaml"):
        assert load_plant(Path(path)).remarks == ()


def test_ratings_of_devices_in_a_row() -> None:
    assert not opens_too("fuse", 16.0, "fuse", 10.0, 900.0)  # 1.6 : 1
    assert "IEC 60269-2" in opens_too("fuse", 16.0, "fuse", 12.0, 900.0)
    assert not opens_too("fuse", 32.0, "C", 16.0, 900.0)  # 2 : 1
    assert "common practice, no source" in opens_too("fuse", 25.0, "C", 16.0, 900.0)
    assert not opens_too("C", 63.0, "C", 6.0, 300.0)
    assert "at most 315 A" in opens_too("C", 63.0, "C", 6.0, 320.0)


def test_a_short_behind_the_first_breaker_is_what_the_volts_and_ohms_before_it_allow() -> None:
    plant = plant_of(SOUND, Path("plant.yaml"))
    path = plant.supply_path("2A", "A")
    order = [edge.id for edge in path.out]
    before = path.out[order.index("FA") :]
    cable = {plant.conductors[edge.id].cable for edge in before if edge.kind == "conductor"}
    back = [edge for edge in path.back if edge.id in plant.conductors and plant.conductors[edge.id].cable in cable]
    ohms = 0.008 + sum(edge.ohms for edge in (*before, *back))
    assert fault_currents(plant)["FA"] == pytest.approx(53.5 / ohms, rel=0.03)
