"""A joint's millivolts over the years, whatever current flowed when they were read."""

from __future__ import annotations

import random

import pytest

from bench.job.rows import Evidence
from bench.job.series import Track, gather, key_of, series_of
from bench.sequence.limits import DROP_ORIGIN, LEAST_DROP


def joint(year: int, ohms: float, amps: float, rng: random.Random) -> Evidence:
    """What a stretch with joints that should have 4 mohm at most reads at some current."""
    most = 0.004 * amps + LEAST_DROP
    return Evidence(
        record=f"{year}.jsonl",
        n=7,
        at=f"{year}-06-01T18:00:00.000000Z",
        step="9",
        subject="FA2",
        between=("FA2.line", "FA2.load"),
        function="voltage",
        verdict="pass" if ohms * amps <= most else "fail",
        value=ohms * amps + rng.gauss(0.0, 2e-5),
        standard=2e-5,
        unit="V",
        low=-most,
        high=most,
        limit=f"{DROP_ORIGIN} {amps} A that flow",
    )


def track(ohms: list[float]) -> Track:
    rng = random.Random(3)
    rows = [joint(2020 + n, one, rng.uniform(1.0, 9.0), rng) for n, one in enumerate(ohms)]
    (found,) = gather(rows, {}, {}).values()
    return found


def test_a_sound_joint_is_steady_though_each_year_another_current_flowed() -> None:
    series = series_of(track([0.002] * 8))
    assert series is not None and series.change.kind == "steady"
    assert series.key.asks == "carrying" and "at the last run's current" in series.key.text


def test_a_joint_that_gets_worse_drifts_before_it_fails() -> None:
    series = series_of(track([0.0020, 0.0021, 0.0023, 0.0026, 0.0029, 0.0032, 0.0035, 0.0038]))
    assert series is not None and series.change.kind in ("drift", "step")
    assert set(series.verdicts) == {"pass"}
    first, last = series.runs.values[0], series.runs.values[-1]
    assert last / first == pytest.approx(0.0038 / 0.0020, rel=0.05)


def test_what_should_be_dead_is_another_series() -> None:
    dead = joint(2020, 0.002, 5.0, random.Random(1))
    assert key_of(dead).asks == "carrying"
