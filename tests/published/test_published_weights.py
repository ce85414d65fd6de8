"""Weighted levels of real samples against the tables of ITU-T O.41 and IEEE 743, at every listed frequency.

O.41 (1994) as quoted in a public draft of ANSI/TIA-470.120-C, table A.1; C-message of IEEE 743 as
public tables that agree with each other quote it. The official texts were not read.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from bench.diagnose.hunt.noise import spectrum, weighted
from bench.judge.weighting import C_MESSAGE_DB, weight_db
from tests.published.test_published_earth import O41

C_MESSAGE = [
    (60, -55.7, 2), (100, -42.5, 2), (200, -25.1, 2), (300, -16.3, 2), (400, -11.2, 1), (500, -7.7, 1), (600, -5.0, 1),
    (700, -2.8, 1), (800, -1.3, 1), (900, -0.3, 1), (1000, 0.0, 0.05), (1200, -0.4, 1), (1300, -0.7, 1),
    (1500, -1.2, 1), (1800, -1.3, 1), (2000, -1.1, 1), (2500, -1.1, 1), (2800, -2.0, 1), (3000, -3.0, 1),
    (3300, -5.1, 2), (3500, -7.1, 2), (4000, -14.6, 3), (4500, -22.3, 3), (5000, -28.7, 3),
]  # fmt: skip


def measured(hertz: float, weighting: str) -> float:
    """The weight that three seconds of a tone of 1 V at 48,000 samples a second show, in dB."""
    times = np.arange(3 * 48_000) / 48_000
    tone = math.sqrt(2.0) * np.sin(2 * np.pi * hertz * times + 0.3)
    return 20.0 * math.log10(weighted(*spectrum(tone, 48_000.0), weighting))  # type: ignore[arg-type]


@pytest.mark.parametrize(("hertz", "weight"), O41)
@pytest.mark.quick_cases(8)
def test_psophometric_at_every_listed_frequency(hertz: float, weight: float) -> None:
    # 800 Hz is the reference
    assert measured(hertz, "psophometric") == pytest.approx(weight, abs=0.05 if hertz == 800 else 0.6)


@pytest.mark.parametrize(("hertz", "weight", "tolerance"), C_MESSAGE)
@pytest.mark.quick_cases(8)
def test_c_message_at_every_listed_frequency(hertz: float, weight: float, tolerance: float) -> None:
    assert weight_db("c-message", hertz) == pytest.approx(weight)
    assert measured(hertz, "c-message") == pytest.approx(weight, abs=min(tolerance, 0.3))
    assert len(C_MESSAGE) == len(C_MESSAGE_DB)


def test_white_noise_of_a_telephone_band_is_weighted_as_published() -> None:
    # white from 300 to 3400 Hz: psophometric -2.5 dB below flat (secondary copy); -1.9 dB for C-message follows
    # from the table
    hertz = np.arange(0.0, 8000.0)
    power = ((hertz >= 300) & (hertz <= 3400)).astype(float)
    flat = weighted(hertz, power, "flat")
    assert 20 * math.log10(weighted(hertz, power, "psophometric") / flat) == pytest.approx(-2.5, abs=0.05)
    assert 20 * math.log10(weighted(hertz, power, "c-message") / flat) == pytest.approx(-1.91, abs=0.05)
