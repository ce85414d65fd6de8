"""First powers of both jobs with faults, alone and in pairs: a sample of what tests/benchmarks walks at length."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.benchmarks import bench_first_powers as bench
from tests.power import season_of_both as season

QUICK = ("swapped", "live", "live-hidden", "meter", "beside")
"""What ends a first power early."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("both-jobs")


def hall(folder: Path, job: str) -> season.Hall:
    return season.hall(job, folder / job)


@pytest.mark.parametrize("job", season.JOBS)
@pytest.mark.parametrize("kind", QUICK)
def test_nothing_goes_on_where_the_start_is_wrong(folder: Path, job: str, kind: str) -> None:
    here = hall(folder, job)
    came = season.walked(here, [season.wrong(here, kind, random.Random(f"quick {job} {kind}"))], 3)
    assert not came.against


@pytest.mark.slow
@pytest.mark.parametrize("job", season.JOBS)
@pytest.mark.parametrize("kind", [kind for kind in season.KINDS if kind not in QUICK])
def test_every_fault_is_named_rightly_and_stopped_in_time(folder: Path, job: str, kind: str) -> None:
    here = hall(folder, job)
    came = season.walked(here, [season.wrong(here, kind, random.Random(f"{job} {kind}"))], 3)
    assert not came.against


@pytest.mark.slow
@pytest.mark.parametrize("job", season.JOBS)
@pytest.mark.parametrize("seed", range(len(season.KINDS), 2 * len(season.KINDS), 4))
def test_two_faults_at_once_are_named_rightly(folder: Path, job: str, seed: int) -> None:
    here = hall(folder, job)
    assert not season.walked(here, season.drawn(here, seed), seed).against


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.quick_cases(2)
def test_a_sound_shelf_with_noise_or_a_slow_meter_passes_its_soak(folder: Path, seed: int) -> None:
    verdict, sentence = bench.soaked(hall(folder, "small-hall"), seed)
    assert verdict == "pass", sentence
