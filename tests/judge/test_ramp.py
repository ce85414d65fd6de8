"""Settled, tripped, soaked: what is made of traces."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from bench.judge.ramp import (
    Finished,
    Level,
    Off,
    RampJudge,
    RampUp,
    Setting,
    Settling,
    inrush,
    slope,
)
from bench.judge.soak import soak

LOW = Level(12.0, 0.5, 1.0, 0.45, 0.02, 2.0, 30.0)
TOP = Level(48.0, 4.0, 1.0, 2.2, None, 2.0, 60.0)
RAMP = RampUp((LOW, TOP), span_s=10.0, band_a=0.02, soak_s=5.0)


def climb(amps: object, ramp: RampUp = RAMP, step: float = 0.1, volts: object = None) -> tuple[RampJudge, list[object]]:
    """Walk a judge along a trace: amps(t since the setting, volts that are set)."""
    judge, orders = RampJudge(ramp), []
    setting = judge.begin()
    orders.append(setting)
    judge.was_set(0.0)
    t, since = 0.0, 0.0
    while not judge.why and t < 20_000:
        t += step
        shown = volts(t - since, setting.volts) if callable(volts) else setting.volts
        order = judge.sample(t, amps(t - since, setting.volts), shown)  # type: ignore[operator]
        if order is not None:
            orders.append(order)
        if isinstance(order, Setting):
            setting, since = order, t
            judge.was_set(t)
    return judge, orders


def test_a_sound_load_climbs_settles_and_soaks() -> None:
    judge, orders = climb(
        lambda t, v: 0.001 * v + 3.0 * math.exp(-t / 0.1) if v < 40 else 1.8 + 2.0 * math.exp(-t / 0.2)
    )
    assert orders == [Setting(12.0, 0.5), Setting(48.0, 4.0), Finished()]
    assert judge.why == "done"
    assert judge.settled_at is not None


@pytest.mark.parametrize("at", [0.0, 3.0, 11.3, 20.0])
def test_the_first_reading_beyond_switches_off(at: float) -> None:
    judge, orders = climb(lambda t, v: 0.01 if v < 40 else (1.8 if t < at else 2.21))
    assert orders[-1] == Off("over")
    assert judge.tripped == judge.samples - 1, "no reading was taken after the first beyond"


@given(st.floats(0.0, 25.0), st.floats(2.2001, 3.9))
def test_never_a_second_reading_beyond(at: float, amps: float) -> None:
    beyond = []

    def trace(t: float, v: float) -> float:
        value = 0.01 if v < 40 else (1.8 if t < at else amps)
        if v > 40 and t > TOP.inrush_s and value > TOP.most_a:
            beyond.append(t)
        return value

    _, orders = climb(trace)
    # a short that is there when the inrush time ends is met by the first reading after it
    assert orders[-1] in (Off("over"), Off("limit"), Finished())
    assert len(beyond) <= 1


def test_a_short_is_met_on_the_lowest_level() -> None:
    judge, orders = climb(lambda t, v: 0.5)
    assert orders == [Setting(12.0, 0.5), Off("limit")]
    assert judge.level == 0


def test_a_supply_that_does_not_hold_its_voltage_goes_off() -> None:
    _, orders = climb(lambda t, v: 0.0, volts=lambda t, v: 0.0)
    assert orders[-1] == Off("volts")


def test_no_number_is_beyond() -> None:
    _, orders = climb(lambda t, v: None)
    assert orders[-1] == Off("no-number")


def test_leakage_must_fall_before_the_next_level() -> None:
    slow, orders = climb(lambda t, v: 0.1 * math.exp(-t / 10) if v < 40 else 1.8)
    assert orders[1] == Setting(48.0, 4.0)
    _, orders = climb(lambda t, v: 0.03)
    assert orders == [Setting(12.0, 0.5), Off("leaks")]
    assert slow.why == "done"


def test_a_load_that_does_not_settle_goes_off() -> None:
    judge, orders = climb(lambda t, v: 0.01 if v < 40 else 1.5 + 0.01 * t)
    assert orders[-1] == Off("restless")
    assert judge.settled_at is None


@pytest.mark.parametrize(("tau", "left_at_most"), [(3.0, 0.002), (10.0, 0.015)])
def test_settled_leaves_little_of_an_exponential_no_slower_than_the_span(tau: float, left_at_most: float) -> None:
    """Own computation: a 10 s span and a band of 20 mA leave at most 14 mA of 0.5 A for time constants up to 10 s."""
    noise = random.Random(5)
    settling = Settling(10.0, 0.020)
    t = 0.0
    while not settling.add(t, 2.0 + 0.5 * math.exp(-t / tau) + noise.gauss(0, 0.001)):
        t += 0.1
    assert 0.5 * math.exp(-t / tau) <= left_at_most


def test_two_close_samples_are_a_trap_that_it_does_not_fall_into() -> None:
    """What two samples within 20 mA would call settled has most of the way to go (own computation)."""
    t = 0.0
    while abs(0.5 * math.exp(-t / 30) - 0.5 * math.exp(-(t + 0.5) / 30)) > 0.02:
        t += 0.5
    assert 0.5 * math.exp(-t / 30) > 0.45
    settling = Settling(10.0, 0.020)
    t = 0.0
    while not settling.add(t, 0.5 * math.exp(-t / 30)):
        t += 0.5
    assert 0.5 * math.exp(-t / 30) < 0.08


def test_a_turning_point_does_not_pass_for_settled() -> None:
    """A falling and a rising part cancel for a moment; a second span finds that out."""
    settling = Settling(10.0, 0.020)
    trace = [(k * 0.1, 1.0 + 0.6 * math.exp(-k * 0.1 / 10) + 0.006 * k * 0.1) for k in range(600)]
    spans = [slope(trace[k - 100 : k + 1]) for k in range(100, len(trace), 5)]
    assert any((abs(rise) + 1.96 * doubt) * 10.0 <= 0.020 for rise, doubt in spans)
    assert not any(settling.add(t, x) for t, x in trace)


@pytest.mark.together("scipy.stats")
def test_slope_by_least_squares_is_that_of_scipy() -> None:
    points = [(float(k), 2.0 + 0.5 * k + (0.1 if k % 2 else -0.1)) for k in range(6)]
    rise, doubt = slope(points)
    from scipy.stats import linregress

    reference = linregress([t for t, _ in points], [x for _, x in points])
    assert rise == pytest.approx(reference.slope)
    assert doubt == pytest.approx(reference.stderr)


def test_inrush_of_an_exponential() -> None:
    """The charge of an exponential is its start times its time constant."""
    times = [k * 1e-3 for k in range(1001)]
    amps = [5.0 * math.exp(-t / 0.05) for t in times]
    found = inrush(times, amps, 0.0, 1.0)
    assert found is not None
    assert found.peak_a == pytest.approx(5.0)
    assert found.charge_c == pytest.approx(0.25, rel=1e-3)
    assert inrush(times, amps, 5.0, 1.0) is None


def test_a_slow_meter_settles_too() -> None:
    """A new reading each 4 s: 8 of them take longer than the span, and nothing is wrong with the load."""
    settling = Settling(10.0, 0.020)
    times = [4.0 * k for k in range(45)]
    assert any(settling.add(t, 0.165 + 0.001 * (k % 2)) for k, t in enumerate(times))


@pytest.mark.parametrize("seed", range(5))
def test_noise_of_ten_milliamperes_is_no_restlessness(seed: int) -> None:
    noise, settling = random.Random(seed), Settling(10.0, 0.010)
    assert any(settling.add(0.15 * k, 0.165 + noise.gauss(0, 0.010)) for k in range(1200))


@pytest.mark.parametrize("step", [0.1, 4.0, 10.0, 20.0])
@pytest.mark.parametrize("seed", range(3))
def test_how_many_readings_fall_into_a_span_says_nothing_of_the_load(step: float, seed: int) -> None:
    """A rehearsal that runs a hundred times as fast as a plant reads as seldom as this."""
    draw = random.Random(seed)
    kept: list[tuple[float, float]] = []

    def trace(t: float, v: float) -> float:
        value = (0.01 if v < 40 else 1.8 + 0.3 * math.exp(-t / 2.0)) + draw.gauss(0.0, 0.002)
        if v > 40:
            kept.append((t, value))
        return value

    judge, _ = climb(trace, step=step)
    assert judge.why == "done"
    lasted = kept[-1][0] - (judge.settled_at or 0.0)
    inside = [point for point in kept if point[0] >= kept[-1][0] - lasted]
    found = soak([t for t, _ in inside], [a for _, a in inside], 0.05)
    assert found is not None and found.answer == "steady"


@pytest.mark.parametrize("step", [0.1, 4.0, 10.0, 20.0])
def test_what_goes_up_and_down_is_restless_however_seldom_it_is_read(step: float) -> None:
    def trace(t: float, v: float) -> float:
        return 0.01 if v < 40 else 1.4 + 0.3 * math.sin(t / 8.0)

    _, orders = climb(trace, step=step)
    assert orders[-1] == Off("restless")


def test_a_machine_that_was_busy_for_a_minute_judges_nothing_by_it() -> None:
    def trace(t: float, v: float) -> float:
        return 0.01 if v < 40 else 1.8 + 0.002 * math.sin(40 * t)

    judge, said, t = RampJudge(RAMP), [], 0.0
    setting = judge.begin()
    judge.was_set(0.0)
    for number in range(4000):
        t += 130.0 if number == 120 else 0.1
        order = judge.sample(t, trace(t, setting.volts))
        said += [order] if order is not None else []
        if isinstance(order, Setting):
            setting = order
            judge.was_set(t)
        if isinstance(order, Off | Finished):
            break
    assert said[-1] == Finished(), said


def renewed(each: float, amps: object) -> object:
    """What a meter shows that has a new value only now and then: the same one in between, the inrush's too."""
    kept: dict[float, tuple[float, float]] = {}

    def shown(t: float, volts: float) -> float:
        at, value = kept.get(volts, (-math.inf, 0.0))
        if t - at >= each:
            kept[volts] = at, value = t, amps(t, volts)  # type: ignore[operator]
        return value

    return shown


def load(t: float, volts: float) -> float:
    """A sound load whose inrush is over in a second."""
    return 0.01 + (3.5 if volts > 40 else 0.4) * math.exp(-t / 0.4)


SLOW = replace(RAMP, renews_s=4.0)


def test_what_a_slow_meter_still_shows_of_the_inrush_is_no_overload() -> None:
    assert climb(renewed(4.0, load))[0].why == "over", "where nobody knows how slow it is"
    judge, _ = climb(renewed(4.0, load), SLOW)
    assert judge.why == "done" and judge.level == 1


def test_an_overload_is_met_with_the_first_new_value() -> None:
    judge, orders = climb(renewed(4.0, lambda t, v: load(t, v) if v < 40 else 2.5), SLOW, step=0.5)
    assert isinstance(orders[-1], Off) and judge.why == "over" and judge.level == 1
    seen: list[float] = []

    def late(t: float, volts: float) -> float:
        seen.append(t)
        return 2.5 if volts > 40 and t > 20.0 else 0.01

    climb(renewed(4.0, late), SLOW, step=0.5)
    assert seen[-1] <= 20.0 + 4.0 + 0.5, "never later than the meter has it"


def test_one_value_said_again_and_again_is_not_settled_nor_a_soak() -> None:
    """A load that creeps by 25 mA in 10 s, read by a meter that stands still for 4 s at a time."""

    def creeping(t: float, volts: float) -> float:
        return 0.01 if volts < 40 else 1.0 + 0.0025 * t

    assert climb(renewed(4.0, creeping), SLOW, step=0.2)[0].why == "restless"
    judge, _ = climb(renewed(4.0, load), SLOW, step=0.2)
    assert judge.settled_at is not None
    # a soak has as many values as of a quick meter
    ended = judge._last - judge.settled_at
    assert ended >= 20 * 4.0


@pytest.mark.parametrize("seed", range(4))
def test_a_soak_counts_a_slow_meters_values_and_not_how_often_they_were_said(seed: int) -> None:
    draw = random.Random(f"slow soak {seed}")
    values = [1.0 + draw.gauss(0, 0.004) for _ in range(20)]
    times = [0.5 * n for n in range(160)]
    shown = [values[min(19, int(t // 4.0))] for t in times]
    told = soak(times, shown, 0.010, renews=4.0)
    assert told is not None and told.answer != "moves"
    assert soak(times[:80], shown[:80], 0.001, renews=4.0).answer == "undecided", "ten values are too few for blocks"  # type: ignore[union-attr]
