"""Events of a long log: false alarms in noise that hangs together, and what is found."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bench.diagnose.hunt.charts import Happening, LongChart
from bench.diagnose.hunt.wander import Learning, Wander, estimate
from tests.diagnose.hunt.logged import RATE, Noise, days

HOURS = 1 / 24


def charted(times: np.ndarray, values: np.ndarray, block: int = 100) -> list[Happening]:
    chart, found = LongChart(), []
    for first in range(0, len(times), block):
        found += chart.feed(times[first : first + block], values[first : first + block])
    return found


@pytest.mark.parametrize("noise", [Noise(phi=0.0), Noise(), Noise(digit=0.02), Noise(own=1.0), Noise(tails=5.0)])
@pytest.mark.quick_cases(2)
def test_forty_minutes_of_noise_bring_no_alarm(noise: Noise) -> None:
    assert charted(*days(noise, 2 / 3 * HOURS, 1)) == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "noise",
    [Noise(digit=0.02), Noise(digit=0.06), Noise(phi=0.0, tails=5.0)],
    ids=["a digit of one sigma", "a digit of three sigma", "heavy tails"],
)
def test_a_day_of_correlated_noise_brings_two_alarms_at_most(noise: Noise) -> None:
    assert len(charted(*days(noise, 1.0, 1))) <= 2


@pytest.mark.slow
@pytest.mark.parametrize(
    ("noise", "lasts", "deep"),
    [
        (Noise(digit=0.06), 1.0, 9.0),
        (Noise(tails=5.0), 1.0, 9.0),
        (Noise(digit=0.06), 30.0, 6.0),
        (Noise(), 30.0, 3.0),
        (Noise(digit=0.02), 30.0, 3.0),
    ],
    ids=["a digit of three sigma", "heavy tails", "a shallow one behind a coarse digit", "a long shallow one", "both"],
)
def test_dips_are_found_behind_a_coarse_digit_and_heavy_tails(noise: Noise, lasts: float, deep: float) -> None:
    times, values = days(noise, HOURS, 4)
    wanted = (1_000.0, 1_600.0, 2_200.0, 2_800.0)
    for at in wanted:
        first = round(at * RATE)
        values[first : first + round(lasts * RATE)] += deep * 0.02
    if noise.digit:
        values = np.round(values / noise.digit) * noise.digit
    found = [one.at for one in charted(times, values)]
    assert all(any(abs(one - at) < 1.5 for one in found) for at in wanted), found


@pytest.mark.parametrize(("lasts", "deep"), [(0.1, 8.0), (0.3, 6.0), (1.0, 5.0), (5.0, 4.0)])
@pytest.mark.quick_cases(2)
def test_dips_are_found_with_their_time(lasts: float, deep: float) -> None:
    times, values = days(Noise(), HOURS / 2, 2)
    wanted = (600.0, 900.0, 1200.0)
    for at in wanted:
        first = round(at * RATE)
        values[first : first + max(1, round(lasts * RATE))] += deep * 0.02
    found = charted(times, values)
    assert [one.kind for one in found] == ["dip"] * 3
    assert [one.at for one in found] == pytest.approx(wanted, abs=0.5)
    assert [one.until - one.at for one in found] == pytest.approx([lasts] * 3, abs=1.0)


@pytest.mark.slow
def test_a_step_a_trip_and_a_drift_are_told_apart() -> None:
    times, values = days(Noise(), HOURS, 3)
    values[round(1_000 * RATE) :] += 0.3
    values[round(2_500 * RATE) :] *= 0.0
    stepped, tripped = charted(times, values)
    assert (stepped.kind, tripped.kind) == ("step", "trip")
    assert stepped.at == pytest.approx(1_000, abs=1) and stepped.value == pytest.approx(-53.2, abs=0.02)
    assert tripped.at == pytest.approx(2_500, abs=1) and tripped.value == 0.0
    times, values = days(Noise(day=0.0), 4 * HOURS, 4)
    found = charted(times[::10], (values + times * 1e-4)[::10], block=10)
    assert {one.kind for one in found} == {"drift"}


@pytest.mark.slow
def test_a_block_of_any_size_finds_the_same_dip() -> None:
    times, values = days(Noise(), HOURS / 2, 5)
    values[9_000:9_005] += 0.2
    for block in (10, 50, 100):
        (one,) = charted(times, values, block)
        assert one.at == pytest.approx(900.0, abs=0.2)


def test_the_wave_and_what_the_meter_adds_are_told_apart() -> None:
    """A first-order wave behind white noise, or behind a last digit as coarse as the wave itself."""
    for noise, own in ((Noise(day=0.0), 0.0), (Noise(day=0.0, own=1.0), 1.0), (Noise(day=0.0, digit=0.02), 1 / 12)):
        _, values = days(noise, HOURS, 7)
        found = estimate(values - np.median(values), noise.digit, len(values), Learning())
        assert found.phi == pytest.approx(0.9, abs=0.02)
        # the moving average of such a sum: its variance and its correlation with the reading before
        both, taken = 0.19 + own * 1.81, 0.9 * own
        theta = (both - math.sqrt(both**2 - 4 * taken**2)) / (2 * taken) if own else 0.0
        assert found.theta == pytest.approx(theta, abs=0.06)
        assert found.scale == pytest.approx(0.02 * math.sqrt(taken / theta if own else 0.19), rel=0.03)


@pytest.mark.together("scipy.stats")
def test_tails_are_told_and_made_normal() -> None:
    """Against Student's distribution as scipy has it; for normal noise nothing is changed."""
    from scipy import stats

    rng = np.random.default_rng(3)
    for freedom in (5.0, 8.0):
        learning = Learning()
        for _ in range(40):
            learning.add(0.0, 0.0)
            learning.tails(rng.standard_t(freedom, 3_000))
        assert learning.freedom == pytest.approx(freedom, rel=0.25)
    learning = Learning(freedom=5.0)
    sizes = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
    wanted = stats.norm.isf(stats.t.sf(sizes * math.sqrt(5 / 3), 5.0))
    assert learning.normal(sizes) == pytest.approx(wanted, rel=0.02)
    assert np.array_equal(Learning().normal(-sizes), -sizes)


def test_a_step_leaves_in_what_is_new_what_is_looked_for() -> None:
    wander = Wander(0.9, 0.4, 1.0, 1.0)
    step = np.concatenate((np.zeros(30), np.ones(40)))
    assert wander.news(step)[30:] == pytest.approx(wander.left_by_a_step(40), abs=1e-4)
