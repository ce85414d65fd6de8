"""Days of logging: noise that hangs together, a day's warmth, and what happens in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE = 10.0
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """What readings scatter by.

    Attributes:
        sigma: standard deviation.
        phi: what each owes to the one before.
        tails: degrees of freedom of a Student distribution; 0: normal.
        digit: last digit; 0: none.
        day: amplitude of a day's swing, in standard deviations.
        own: the meter's own noise, which the next reading knows nothing of, in standard deviations.
    """

    sigma: float = 0.02
    phi: float = 0.9
    tails: float = 0.0
    digit: float = 0.0
    day: float = 0.5
    own: float = 0.0


def days(noise: Noise, count: float, seed: int, level: float = -53.5) -> tuple[Floats, Floats]:
    """Times and readings of some days."""
    from scipy.signal import lfilter  # takes a second to load, which workers without these tests do without

    rng = np.random.default_rng(seed)
    size = int(count * 86_400 * RATE)
    drive = rng.standard_t(noise.tails, size) * np.sqrt((noise.tails - 2) / noise.tails) if noise.tails else (
        rng.standard_normal(size)
    )  # fmt: skip
    wave = lfilter([np.sqrt(1 - noise.phi**2)], [1.0, -noise.phi], drive) * noise.sigma
    times = np.arange(size) / RATE
    values = level + wave + noise.day * noise.sigma * np.sin(2 * np.pi * times / 86_400)
    if noise.own:
        values = values + noise.own * noise.sigma * rng.standard_normal(size)
    if noise.digit:
        values = np.round(values / noise.digit) * noise.digit
    return times, values
