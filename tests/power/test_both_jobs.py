"""First powers of both jobs with faults, alone and in pairs: a sample of what tests/benchmarks walks at length."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from bench.plant import faults as k
from bench.quantity import Capacitance, Duration, Resistance
from bench.walk.power import SURELY, falls
from bench.walk.results import results
from tests.benchmarks import bench_first_powers as bench
from tests.power import pure_walk
from tests.power import season_of_both as season

QUICK = ("swapped", "live", "live-hidden", "meter", "beside")
"""What ends a first power early."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("both-jobs")


def hall(folder: Path, job: str) -> season.Hall:
    return season.hall(job, folder / job)


@pytest.mark.quick_cases(1)
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


def test_a_breaker_that_stays_closed_at_a_crossed_shelf_is_met_before_anything_goes_up(folder: Path) -> None:
    """Its own inlet reads nothing then: the voltage stands at the other one, which no feed should reach."""
    here = hall(folder, "small-hall")
    crossed = season.Wrong(
        "crossed", (k.FeedsCrossed(shelf="2B"),), names=frozenset({("crossed", "2B")}), highest={"2B": season.SAFE}
    )
    stuck = season.Wrong(
        "beside",
        (k.BreakerStaysClosed(breaker="FA2B"),),
        names=frozenset({("beside", "FA2B")}),
        highest={"2A": season.SAFE},
    )
    assert not season.walked(here, [crossed, stuck], 1).against


@pytest.mark.parametrize("told", [True, False])
def test_how_slow_the_ammeter_is_belongs_to_its_profile(folder: Path, told: bool) -> None:
    """A new value each 4 s: a sound shelf fails for its inrush where nobody says so, and passes where it is said."""
    here = hall(folder, "small-hall")
    first = pure_walk.renewing(here.first, 4.0 if told else 0.0)
    walk = pure_walk.PureWalk(first, here.plant, [k.SlowAmmeter(renews=Duration(4.0))], 0)
    while not walk.state.finished and len(walk.fed) < 3:
        walk.one()
    ended = [event.why for _, event in walk.fed]
    assert ended == (["done"] * 3 if told else ["limit"] * 3)
    if told:
        remarks = " ".join(outcome.remark for outcome in results(walk.state).values())
        assert "a new value each 4 s" in remarks and "limit alone" in remarks


REFORMING = {"four seconds": (0.025, 162.0, 133), "five seconds, a third of it": (0.01764, 291.9, 181)}
"""Farads, ohms and the seed: what is above the limit by little is below it at the second reading of each stage."""


@pytest.mark.slow
@pytest.mark.parametrize("farads, ohms, seed", REFORMING.values(), ids=REFORMING)
def test_capacitors_that_reform_quickly_are_named_however_slowly_the_supply_is_asked(
    folder: Path, farads: float, ohms: float, seed: int
) -> None:
    """A decay of seconds, read each second or two: few readings at each stage, at one stage after the other."""
    here = hall(folder, "beacon-hut")
    slow = k.SlowCapacitor(shelf="keyers", capacitance=Capacitance(farads), through=Resistance(ohms))
    wrong = season.Wrong("reforms", (slow,), names=frozenset({("reforms", "keyers")}))
    assert not season.walked(here, [wrong], seed).against


@pytest.mark.together("scipy.stats")
def test_noise_does_not_fall_stage_after_stage() -> None:
    """The count of falling pairs against the reference library, and how often chance alone comes to so much."""
    from scipy.stats import kendalltau, norm

    drawn = random.Random("falling pairs")
    for _ in range(20):
        values = [drawn.gauss(0, 1) for _ in range(drawn.randint(8, 30))]
        known = kendalltau(range(len(values)), values, alternative="less", method="asymptotic").pvalue
        assert norm.sf(falls([values])) == pytest.approx(known, abs=1e-9)
    sets = [[[drawn.gauss(0, 1) for _ in range(drawn.randint(3, 6))] for _ in range(4)] for _ in range(3000)]
    assert sum(falls(one) >= SURELY for one in sets) <= 20
    assert falls([[0.0099, 0.0070, 0.0064], [0.0118, 0.0084, 0.0077], [0.0083, 0.0062, 0.0058]]) >= SURELY


@pytest.mark.parametrize("kind", ["joint", "welded"])
@pytest.mark.slow
def test_what_should_read_nothing_is_never_the_wrong_way_round(folder: Path, kind: str) -> None:
    """A drop over a joint and a breaker that does not open, on feeds of plus."""
    here = hall(folder, "beacon-hut")
    came = season.walked(here, [season.wrong(here, kind, random.Random(f"plus {kind}"))], 7)
    told = " ".join(season._failed(came.walk.state))
    assert not came.against and "wrong way round" not in told
    assert "more than a sound way loses" in told if kind == "joint" else "where nothing should be" in told
