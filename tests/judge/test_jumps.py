from __future__ import annotations

import random

import pytest

from bench.judge.jumps import DEAD_S, OVER, SETTLES_S, Finder, Jump, finder, look


def jumps_of(readings: list[float], rate: float = 10.0, alarms: float = 0.1) -> tuple[Finder, list[Jump], list[Jump]]:
    state, begun, over = finder(rate, alarms), [], []
    for number, value in enumerate(readings):
        state, fresh, done = look(state, number / rate, value)
        begun += [fresh] if fresh is not None else []
        over += [done] if done is not None else []
    return state, begun, over


def noise(count: int, seed: int = 1, sigma: float = 0.01, level: float = 1.2) -> list[float]:
    rng = random.Random(seed)
    return [rng.gauss(level, sigma) for _ in range(count)]


@pytest.mark.slow
def test_steady_readings_bring_no_more_alarms_than_stated() -> None:
    # 150,000 readings at ten a second are 4.2 hours; at one an hour 4.2 are expected at most, 10 come by chance once
    # in 100 drawings of a process that just keeps the bound
    _, begun, _ = jumps_of(noise(150_000), alarms=1.0)
    assert len(begun) <= 9


def test_coarse_digits_bring_none() -> None:
    rng = random.Random(3)
    _, begun, _ = jumps_of([round(rng.gauss(1.2, 0.004), 2) for _ in range(20_000)])
    assert begun == []


def test_every_opening_is_found_with_its_time_and_how_long_it_lasted() -> None:
    readings = noise(2_000)
    for at in range(100, 2_000, 100):
        readings[at] = OVER
    _, begun, over = jumps_of(readings)
    assert [jump.at for jump in begun] == [at / 10 for at in range(100, 2_000, 100)]
    assert all(jump.until == pytest.approx(jump.at + 0.1) for jump in over)
    assert all(jump.value == OVER and abs(jump.level - 1.2) < 0.01 for jump in over)


def test_bounces_within_the_dead_time_are_one_jump() -> None:
    readings = noise(200)
    for at in (100, 102, 105, 108):
        readings[at] = 40.0
    _, begun, over = jumps_of(readings)
    assert [jump.at for jump in begun] == [10.0]
    assert over[0].until == pytest.approx(10.9) and over[0].until - over[0].at < DEAD_S


def test_another_level_that_stays_is_where_readings_lie_from_then_on() -> None:
    after = noise(300, seed=2, level=5.0)
    state, begun, over = jumps_of([*noise(200), *after, 1.2, *noise(50, seed=4, level=5.0)])
    assert [jump.at for jump in begun] == [20.0, 50.0]
    assert over[0].stayed and over[0].until == pytest.approx(20.0 + SETTLES_S, abs=0.2)
    assert state.level == pytest.approx(5.0, abs=0.01)


def test_an_open_circuit_that_closes_jumps_too() -> None:
    readings = [OVER] * 50 + [0.4] * 3 + [OVER] * 30
    _, begun, over = jumps_of(readings)
    assert begun[0].level == OVER and begun[0].value == 0.4
    assert over[0].until == pytest.approx(5.3)


def test_a_slow_drift_is_no_jump() -> None:
    _, begun, _ = jumps_of([value + number * 1e-5 for number, value in enumerate(noise(20_000))])
    assert begun == []


def test_a_rate_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="expected both above 0"):
        finder(0.0)
