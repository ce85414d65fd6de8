"""What simulated meters call themselves: as a label of the job that they play in would."""

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.simulate.scpi.instrument import ScpiInstrument
from bench.simulate.serve import KINDS, twin_of
from bench.simulate.twins.figures import shipped_profile
from bench.simulate.world.power import PowerWorld

JOBS = {"Gannet Head": Path("sequences/gannet-head/plant.yaml"), "Beacon Hut": Path("tests/jobs/beacon-hut/plant.yaml")}


@pytest.mark.parametrize("job", JOBS)
def test_every_meter_that_can_names_the_job_it_plays_in(job):
    world = PowerWorld(load_plant(JOBS[job]), seed=1)
    named = [kind.PLAYS for kind in KINDS if issubclass(kind, ScpiInstrument)]
    assert len(named) >= 6
    for profile in named:
        twin = twin_of(shipped_profile(profile), world, 1, "0042", 0.2, {})
        twin.receive(b"*IDN?\n", 0.0)
        assert twin.send(60.0) == f"{job},{profile},0042,1.0\n".encode(), profile
