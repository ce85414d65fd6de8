"""Soaks in which nothing moves, and in which something does."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import pytest

from bench.judge.soak import FALSE_ALARMS, FIRES, SPLIT, Soak, soak


@dataclass(frozen=True)
class Shown:
    """How a current is shown while it soaks: amperes and seconds."""

    noise: float = 0.005
    each_s: float = 1.0
    lasts_s: float = 120.0
    renews_s: float = 0.0
    remembers_s: float = 0.0
    count: float = 0.001
    creeps: float = 0.0
    """Amperes per minute."""
    leaps: float = 0.0
    leaps_at: float = 0.95


def soaked(shown: Shown, seed: int, matters_each_minute: float) -> Soak:
    drawn = random.Random(f"{shown} {seed}")
    memory = math.exp(-shown.each_s / shown.remembers_s) if shown.remembers_s else 0.0
    wander, held, since = drawn.gauss(0, 1), 0.0, -math.inf
    times, values = [], []
    for k in range(int(shown.lasts_s / shown.each_s) + 1):
        t = k * shown.each_s
        wander = memory * wander + math.sqrt(1 - memory**2) * drawn.gauss(0, 1)
        if t - since >= shown.renews_s - 1e-9:
            true = 0.165 + shown.creeps / 60 * t + (shown.leaps if t > shown.leaps_at * shown.lasts_s else 0.0)
            held, since = round((true + shown.noise * wander) / shown.count) * shown.count, t
        times.append(t)
        values.append(held)
    found = soak(times, values, matters_each_minute * shown.lasts_s / 60, shown.count)
    assert found is not None
    return found


CELLS = [
    Shown(),
    Shown(noise=0.010, each_s=0.5),
    Shown(noise=0.010, each_s=0.15, lasts_s=60),
    Shown(noise=0.001, each_s=0.5, lasts_s=60),
    Shown(each_s=0.5, lasts_s=300, renews_s=4.0),
    Shown(each_s=0.5, lasts_s=300, remembers_s=1.0),
]


@pytest.mark.together("scipy.stats")
@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.quick_cases(2)
def test_what_is_still_is_said_to_move_in_one_of_a_hundred_soaks_at_most(cell: Shown) -> None:
    """What matters is put at nothing, so that only chance decides; the bound is that of the binomial law at 99.9 %."""
    from scipy import stats

    draws = 150
    moved = sum(soaked(cell, seed, 0.0).answer == "moves" for seed in range(draws))
    assert moved <= stats.binom.ppf(0.999, draws, FALSE_ALARMS)


@pytest.mark.parametrize(
    ("cell", "matters"),
    [
        (Shown(noise=0.010, each_s=0.15, lasts_s=60, creeps=0.030), 0.005),
        (Shown(creeps=0.010), 0.005),
        (Shown(lasts_s=300, noise=0.003, leaps=0.015), 0.002),
        (Shown(each_s=0.5, lasts_s=300, renews_s=4.0, creeps=0.010), 0.005),
    ],
)
def test_what_creeps_or_leaps_is_found(cell: Shown, matters: float) -> None:
    answers = [soaked(cell, seed, matters).answer for seed in range(60)]
    assert answers.count("moves") >= 54 and answers.count("steady") <= 1


def test_a_late_leap_is_told_with_its_time() -> None:
    found = soaked(Shown(lasts_s=300, noise=0.001, leaps=0.015, leaps_at=0.7), 1, 0.002)
    assert found.answer == "moves"
    assert found.jump == pytest.approx(0.015, abs=0.002) and found.jump_at == pytest.approx(210, abs=30)


def test_a_constant_offset_is_steady() -> None:
    found = soak([0.5 * k for k in range(120)], [-0.0008] * 120, 0.010)
    assert found is not None and found.answer == "steady" and found.each_minute == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_what_does_not_matter_is_steady(seed: int) -> None:
    assert soaked(Shown(noise=0.001, creeps=0.001), seed, 0.010).answer == "steady"


def test_a_meter_that_is_too_slow_is_told_how_long_to_soak() -> None:
    cell = Shown(each_s=0.5, lasts_s=30, renews_s=4.0)
    found = soaked(cell, 3, 0.005)
    assert found.answer == "undecided" and found.wants_s >= 70
    assert soak([0.0, 1.0], [1.0, 1.0], 0.1) is None


def test_what_noise_hides_is_undecided_and_a_longer_soak_tells() -> None:
    wants = [soaked(Shown(), seed, 0.002) for seed in range(10)]
    hidden = [one.wants_s for one in wants if one.answer == "undecided"]
    assert hidden
    longer = Shown(lasts_s=max(hidden), creeps=0.002)
    found = [soaked(longer, seed, 0.001).answer for seed in range(20)]
    assert "steady" not in found and found.count("moves") >= 15


@pytest.mark.together("scipy.stats")
def test_the_critical_values_are_those_of_the_t_distribution_and_of_chance() -> None:
    """t(0.998) with 8 degrees of freedom is 3.991 (tables); the split's are drawn again, coarsely."""
    from scipy import stats

    from bench.judge.student import quantile

    assert quantile(FIRES, 8) == pytest.approx(3.991, abs=0.001)
    drawn = random.Random(6)
    over = 0
    for _ in range(2000):
        means = [drawn.gauss(0, 1) for _ in range(10)]
        largest = max(_pooled(means, k) for k in range(1, 10))
        over += largest > SPLIT[10]
    assert over <= stats.binom.ppf(0.9999, 2000, 0.004)


def _pooled(means: list[float], place: int) -> float:
    before, after = means[:place], means[place:]
    middle = [sum(side) / len(side) for side in (before, after)]
    inside = sum((x - m) ** 2 for side, m in zip((before, after), middle, strict=True) for x in side)
    return abs(middle[1] - middle[0]) / math.sqrt(inside / 8 * (1 / len(before) + 1 / len(after)))
