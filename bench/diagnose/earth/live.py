"""What flows in the single-point connection when the plant is live: stray current, ripple, hum.

Small pure functions over samples and tones. A current in the SPC conductor of an isolated bonding network
means that it is not isolated, or that a return is bonded twice. How much is too much has no published
figure that we know of, so limits are the caller's.

Psophometric weighting is that of ITU-T O.41 (telephone circuits); see :mod:`bench.judge.weighting`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import sqrt
from typing import Literal

import msgspec
import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError
from bench.judge.weighting import weight_db


def rms(samples: Sequence[float]) -> float:
    """Root of the mean square of samples, in their unit.

    Raises:
        DiagnoseError: no samples, or one that is no number.
    """
    return float(np.sqrt(np.mean(_checked(samples) ** 2)))


class Ripple(msgspec.Struct, frozen=True):
    """A steady value with what rides on it: ``mean``, ``rms`` of the rest, ``peak_to_peak``."""

    mean: float
    rms: float
    peak_to_peak: float


def ripple(samples: Sequence[float]) -> Ripple:
    """Split samples into their mean and what rides on it. Take a whole number of mains periods.

    Raises:
        DiagnoseError: no samples, or one that is no number.
    """
    values = _checked(samples)
    mean = float(values.mean())
    return Ripple(mean, float(np.sqrt(np.mean((values - mean) ** 2))), float(np.ptp(values)))


def psophometric_db(hertz: float) -> float:
    """Weight at a frequency in dB; see :func:`bench.judge.weighting.weight_db`.

    Raises:
        DiagnoseError: a negative frequency, or no number.
    """
    if not hertz >= 0:
        raise DiagnoseError(f"a frequency of {hertz} Hz; 0 or more is expected")
    return weight_db("psophometric", hertz)


def psophometric(tones: Iterable[tuple[float, float]]) -> float:
    """Weighted value of tones: root of the sum of squares of value times weight, in the values' unit.

    Args:
        tones: frequency in hertz and rms value of each.
    """
    return sqrt(sum((value * 10.0 ** (psophometric_db(hertz) / 20.0)) ** 2 for hertz, value in tones))


def tones(samples: Sequence[float], rate: float) -> list[tuple[float, float]]:
    """Frequency in hertz and rms value of each component of samples taken at ``rate`` per second.

    The samples should span a whole number of mains periods, so that hum falls into single components.
    The mean is left out. By Parseval's theorem the squares add to the mean square of the rest.

    Raises:
        DiagnoseError: no samples, one that is no number, or a rate that is not above 0.
    """
    values = _checked(samples)
    if not rate > 0:
        raise DiagnoseError(f"{rate} samples a second; more than 0 expected")
    count = len(values)
    power = np.abs(np.fft.rfft(values)) ** 2 / count**2
    power[1:] *= 2.0
    if count % 2 == 0:
        power[-1] /= 2.0  # the component at half the rate has no mirror image
    hertz = np.fft.rfftfreq(count, 1.0 / rate)
    return [(float(f), float(v)) for f, v in zip(hertz[1:], np.sqrt(power[1:]), strict=True)]


class SpcLimits(msgspec.Struct, frozen=True):
    """The most current, in ampere, that the SPC conductor may carry: set by hand for the plant."""

    dc: float
    ac: float

    def __post_init__(self) -> None:
        if not (self.dc > 0 and self.ac > 0):
            raise DiagnoseError(f"limits {self.dc} A d.c., {self.ac} A a.c.; both above 0 are expected")


class SpcCurrent(msgspec.Struct, frozen=True):
    """Current in the SPC conductor against its limits.

    ``dc`` and ``ac`` say ``pass``, ``fail`` or ``undecided`` (within the uncertainty of the limit); the
    texts what a failure points to.
    """

    dc: Literal["pass", "fail", "undecided"]
    ac: Literal["pass", "fail", "undecided"]
    texts: tuple[str, ...]


def judge_spc_current(dc: float, ac: float, limits: SpcLimits, u: float = 0.0) -> SpcCurrent:
    """Hold the current in the SPC conductor against its limits.

    Args:
        dc: direct current in ampere, of either sign. ac: rms of the alternating part.
        u: half-width in ampere within which a reading decides nothing (its expanded uncertainty).
    """

    def verdict(value: float, limit: float) -> Literal["pass", "fail", "undecided"]:
        if value <= limit - u:
            return "pass"
        return "fail" if value > limit + u else "undecided"

    found = SpcCurrent(verdict(abs(dc), limits.dc), verdict(ac, limits.ac), ())
    texts = []
    if found.dc != "pass":
        texts.append(
            "direct current in the earth: look for a return bonded twice, or a load fed from one side to earth"
        )
    if found.ac != "pass":
        texts.append("alternating current in the earth: look for a second path that closes a loop, or a leaking filter")
    return SpcCurrent(found.dc, found.ac, tuple(texts))


def loop_current(volts: float, loop_ohms: float) -> float:
    """Current in ampere that ``volts`` induced or dropped round a loop drive through its ``loop_ohms``."""
    if not loop_ohms > 0:
        raise DiagnoseError(f"a loop of {loop_ohms} ohm; more than 0 is expected")
    return volts / loop_ohms


def _checked(samples: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    values = np.asarray(samples, dtype=np.float64).reshape(-1)
    if not len(values) or not np.isfinite(values).all():
        raise DiagnoseError(f"{len(values)} samples, not all of them numbers; at least one is expected")
    return values
