"""What flows in the single-point connection when the plant is live: stray current, ripple, hum.

Small pure functions over samples and tones. A current in the SPC conductor of an isolated bonding network
means that it is not isolated, or that a return is bonded twice. How much is too much has no published
figure that we know of, so limits are the caller's.

Psophometric weighting is that of ITU-T O.41 (telephone circuits), as quoted in a public draft of
ANSI/TIA-470.120-C, table A.1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf, log, sqrt
from typing import Literal

import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError

PSOPHOMETRIC_DB: dict[float, float] = {
    16.66: -85.0,
    50.0: -63.0,
    100.0: -41.0,
    200.0: -21.0,
    300.0: -10.6,
    400.0: -6.3,
    500.0: -3.6,
    600.0: -2.0,
    700.0: -0.9,
    800.0: 0.0,
    900.0: 0.6,
    1000.0: 1.0,
    1200.0: 0.0,
    1400.0: -0.9,
    1600.0: -1.7,
    1800.0: -2.4,
    2000.0: -3.0,
    2500.0: -4.2,
    3000.0: -5.6,
    3500.0: -8.5,
    4000.0: -15.0,
    4500.0: -25.0,
    5000.0: -36.0,
    6000.0: -43.0,
}
"""Relative weight in dB by frequency in hertz, 0 dB at 800 Hz."""


def rms(samples: Sequence[float]) -> float:
    """Root of the mean square of samples, in their unit.

    Raises:
        DiagnoseError: no samples, or one that is no number.
    """
    return float(np.sqrt(np.mean(_checked(samples) ** 2)))


@dataclass(frozen=True)
class Ripple:
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
    """Weight at a frequency in dB: the table, and between its rows a straight line over log frequency.

    Below the first row and above the last the slope of the nearest two rows goes on; at 0 Hz nothing
    passes (minus infinity).

    Raises:
        DiagnoseError: a negative frequency, or no number.
    """
    if not hertz >= 0:
        raise DiagnoseError(f"a frequency of {hertz} Hz; 0 or more is expected")
    if hertz == 0:
        return -inf
    known = list(PSOPHOMETRIC_DB)
    place = min(max(int(np.searchsorted(known, hertz)), 1), len(known) - 1)
    low, high = known[place - 1], known[place]
    below, above = PSOPHOMETRIC_DB[low], PSOPHOMETRIC_DB[high]
    return below + (above - below) * log(hertz / low) / log(high / low)


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


@dataclass(frozen=True)
class SpcLimits:
    """The most current, in ampere, that the SPC conductor may carry: set by hand for the plant."""

    dc: float
    ac: float

    def __post_init__(self) -> None:
        if not (self.dc > 0 and self.ac > 0):
            raise DiagnoseError(f"limits {self.dc} A d.c., {self.ac} A a.c.; both above 0 are expected")


@dataclass(frozen=True)
class SpcCurrent:
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
