"""Insulation with its charge, against the closed forms of small circuits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.simulate.world.dielectric import Branch, Dielectric
from tests.drawn import draws


def cable(**changes):
    made = {
        "ohms": 2e9,
        "farads": 30e-9,
        "branches": (Branch(5e9, 1e-9), Branch(4e10, 2e-9)),
        "time": 0.0,
    }
    return Dielectric(**(made | changes))


def test_charging_at_constant_current():
    # Without leakage a capacitor rises by I t / C: 30 nF to 500 V at 1 mA takes 15 ms.
    ideal = Dielectric(math.inf, 30e-9, time=0.0)
    ideal.drive(0.0075, 500.0, 1e-3)
    assert ideal.volts == pytest.approx(250.0)
    assert ideal.current(500.0, 1e-3) == 1e-3
    ideal.drive(0.1, 500.0, 1e-3)
    assert ideal.volts == 500.0
    assert ideal.current(500.0, 1e-3) == 0.0


def test_leakage_and_absorption_current():
    # i(t) = V/R + sum of V/R_k exp(-t / R_k C_k), after a charge that takes no time to speak of.
    tested = cable()
    for t in (1.0, 30.0, 60.0, 600.0):
        tested.drive(t, 500.0, 1.0)
        expected = 500 / 2e9 + 500 / 5e9 * math.exp(-t / 5) + 500 / 4e10 * math.exp(-t / 80)
        assert tested.current(500.0, 1.0) == pytest.approx(expected, rel=1e-6)


def test_a_short_takes_the_limit():
    short = Dielectric(1000.0, time=0.0)
    short.drive(1.0, 500.0, 1e-3)
    assert short.current(500.0, 1e-3) == 1e-3
    assert short.volts == pytest.approx(1.0)
    dead = Dielectric(0.0, time=0.0)
    dead.drive(1.0, 500.0, 1e-3)
    assert dead.volts == pytest.approx(0.0, abs=1e-9)


def test_discharge_and_return_of_voltage():
    ideal = Dielectric(math.inf, 1e-6, volts=500.0, time=0.0)
    ideal.discharge(0.1, 1e5)
    assert ideal.volts == pytest.approx(500.0 * math.exp(-1.0), rel=1e-9)
    # After a short discharge the branches lift the voltage again.
    soaked = cable(ohms=1e12)
    soaked.drive(600.0, 1000.0, 1e-3)
    soaked.discharge(600.5, 1e5)
    low = soaked.volts
    soaked.leave(660.0)
    assert low < 1.0
    assert soaked.volts > 20.0
    # Two capacitors that share their charge: C1 V1 / (C1 + C2) in the end, by conservation.
    pair = Dielectric(math.inf, 3e-9, (Branch(1e9, 1e-9),), volts=100.0, time=0.0)
    pair.leave(1e4)
    assert pair.volts == pytest.approx(75.0, rel=1e-9)
    assert pair.held[0] == pytest.approx(75.0, rel=1e-9)


def test_lowering_the_source_lets_the_voltage_fall_to_it_and_no_further():
    ideal = Dielectric(1e6, 1e-6, volts=500.0, time=0.0)
    ideal.drive(0.5, 250.0, 1e-2)
    assert ideal.volts == pytest.approx(500 * math.exp(-0.5), rel=1e-9)
    assert ideal.current(250.0, 1e-2) == 0.0
    ideal.drive(5.0, 250.0, 1e-2)
    assert ideal.volts == 250.0
    assert ideal.current(250.0, 1e-2) == pytest.approx(250e-6)


@draws(60)
@given(
    st.floats(1e3, 1e12),
    st.floats(0.0, 1e-6),
    st.sampled_from([50.0, 500.0, 1000.0]),
    st.integers(2, 9),
)
def test_one_step_is_as_good_as_many(ohms, farads, volts, parts):
    whole, piecewise = cable(ohms=ohms, farads=farads), cable(ohms=ohms, farads=farads)
    for k in range(1, parts + 1):
        piecewise.drive(20.0 * k / parts, volts, 1e-3)
    whole.drive(20.0, volts, 1e-3)
    assert whole.volts == pytest.approx(piecewise.volts, rel=1e-6)
    assert list(whole.held) == pytest.approx(list(piecewise.held), rel=1e-5)
    for k in range(1, parts + 1):
        piecewise.discharge(20.0 + k / parts, 1e5)
    whole.discharge(21.0, 1e5)
    assert whole.volts == pytest.approx(piecewise.volts, rel=1e-5, abs=1e-9)


def test_what_is_no_insulation_is_refused():
    with pytest.raises(ValueError, match="insulation of -1"):
        Dielectric(-1.0)
    with pytest.raises(ValueError, match="a branch"):
        Dielectric(1e9, branches=(Branch(0.0, 1e-9),))
