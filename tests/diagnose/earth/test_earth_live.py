"""Current, ripple and hum in the single-point connection."""

import math

import numpy as np
import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.live import (
    SpcLimits,
    judge_spc_current,
    loop_current,
    psophometric,
    psophometric_db,
    ripple,
    rms,
    tones,
)

RATE = 8000.0


def signal(*parts, steady=0.0, count=8000):
    t = np.arange(count) / RATE
    return steady + sum(math.sqrt(2) * value * np.sin(2 * math.pi * hertz * t + 0.3) for hertz, value in parts)


def test_rms_and_ripple_of_known_waves():
    wave = signal((100, 0.03), steady=-53.5)
    found = ripple(wave)
    assert found.mean == pytest.approx(-53.5) and found.rms == pytest.approx(0.03)
    assert found.peak_to_peak == pytest.approx(2 * math.sqrt(2) * 0.03, rel=1e-3)
    assert rms([3.0, -4.0]) == pytest.approx(math.sqrt(12.5))


def test_tones_find_what_was_put_in_and_keep_its_power():
    wave = signal((50, 2.0), (150, 0.5), (1000, 0.1), steady=7)
    found = dict(tones(wave, RATE))
    assert found[50.0] == pytest.approx(2.0) and found[150.0] == pytest.approx(0.5)
    assert found[1000.0] == pytest.approx(0.1) and 0.0 not in found
    rng = np.random.default_rng(1)
    for count in (1000, 1001):
        noise = rng.normal(size=count)
        assert sum(v * v for v in dict(tones(noise, RATE)).values()) == pytest.approx(np.var(noise))


def test_weighting_a_tone_and_adding_powers():
    assert psophometric([(800.0, 1e-3)]) == pytest.approx(1e-3)
    assert psophometric([(50.0, 1.0)]) == pytest.approx(10 ** (-63 / 20))
    assert psophometric([(800.0, 3.0), (1200.0, 4.0)]) == pytest.approx(5.0)
    assert psophometric(tones(signal((800, 2e-3), (50, 2e-3), steady=-54), RATE)) == pytest.approx(2e-3, rel=1e-3)


def test_between_the_rows_and_beyond_the_weight_is_steady():
    assert -41 > psophometric_db(75) > -63 and psophometric_db(0) == -math.inf
    assert psophometric_db(math.sqrt(200 * 300)) == pytest.approx((-21.0 - 10.6) / 2)
    assert psophometric_db(10) < -85 and psophometric_db(8000) < -43
    rising = [psophometric_db(f) for f in np.linspace(20, 1000, 300)]
    assert (np.diff(rising) > 0).all()


def test_a_current_is_held_against_limits_set_by_hand():
    limits = SpcLimits(dc=0.1, ac=0.5)
    fine = judge_spc_current(-0.02, 0.1, limits)
    assert (fine.dc, fine.ac, fine.texts) == ("pass", "pass", ())
    bad = judge_spc_current(-3.0, 0.52, limits, u=0.05)
    assert (bad.dc, bad.ac) == ("fail", "undecided") and len(bad.texts) == 2
    assert "return bonded twice" in bad.texts[0]
    assert judge_spc_current(0.1, 0.5, limits).dc == "pass"


def test_current_round_a_loop():
    assert loop_current(0.05, 0.01) == pytest.approx(5.0)


def test_what_cannot_be_is_refused():
    for bad in (
        lambda: rms([]),
        lambda: ripple([1.0, math.nan]),
        lambda: tones([1.0, 2.0], 0.0),
        lambda: psophometric_db(-1.0),
        lambda: psophometric_db(math.nan),
        lambda: SpcLimits(0.0, 1.0),
        lambda: loop_current(1.0, 0.0),
    ):
        with pytest.raises(DiagnoseError):
            bad()
