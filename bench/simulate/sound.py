"""What a recorder on the simulated plant writes down: mains hum, a rectifier's ripple, converters' tones, noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal

import numpy as np

Rectifier = Literal["off", "float", "loaded"]
FULL_SCALE: Final = 0.5
"""Volts that a full scale of the recording stands for (our own figure)."""
RATE: Final = 48_000
MAINS_HZ: Final = 50.02
"""A little off its nominal, as it is most of the time."""
HUM: Final = ((1, 2.0e-4), (3, 8.0e-5), (5, 3.0e-5))
"""Multiples of the mains and volts that a hall's fields induce (our own figures)."""
RIPPLE: Final[dict[Rectifier, float]] = {"off": 0.0, "float": 3.0e-4, "loaded": 2.0e-3}
"""Volts at twice the mains that a rectifier leaves; a third and a ninth of it at the next multiples."""
NOISE: Final = 2.0e-5
"""Root mean square of the white noise up to half the rate, in volts."""


def record(
    path: Path, tones: Sequence[tuple[float, float]], *, seconds: float, rectifier: Rectifier, seed: int = 1
) -> None:
    """Write a recording as a WAV file with 32 bits.

    Args:
        path: the file.
        tones: hertz and volts (root mean square) of what converters add.
        seconds: how long.
        rectifier: what it does meanwhile.
        seed: of the noise and of where each tone begins.
    """
    from scipy.io import wavfile

    rng = np.random.default_rng([seed, *rectifier.encode()])
    at = np.arange(round(seconds * RATE)) / RATE
    ripple = [(order, RIPPLE[rectifier] / part) for order, part in ((2, 1.0), (4, 3.0), (6, 9.0))]
    lines = [(order * MAINS_HZ, volts) for order, volts in (*HUM, *ripple)] + list(tones)
    volts = rng.normal(0.0, NOISE, len(at))
    for hertz, level in lines:
        volts += math.sqrt(2.0) * level * np.sin(math.tau * (hertz * at + rng.random()))
    wavfile.write(path, RATE, np.clip(volts / FULL_SCALE * 2**31, -(2**31), 2**31 - 1).astype(np.int32))
