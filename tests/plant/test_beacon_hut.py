"""The tests' second job: a positive feed, and no name that follows the first job's habits."""

from pathlib import Path

from bench.plant.load import load_plant

JOB = Path(__file__).parents[1] / "jobs" / "beacon-hut"


def test_it_is_a_sound_plant_with_its_return_on_the_negative_pole() -> None:
    plant = load_plant(JOB / "plant.yaml")
    assert {feed.nominal_v for feed in plant.feeds.values()} == {24.0}
    assert not any(name.isdigit() for name in plant.bays)
    assert plant.supply_path("keyers", "P").breakers == ("MP", "PS", "k5")
