"""Hum and noise in a recording: weighted levels, the lines of the mains and of converters, before and after.

The spectrum is that of overlapping Hann blocks of one second (Welch's method), each line's power spread over its few
neighbours and none of it lost: a tone between two bins reads right. The weighted level is the root of the sum of all
bins' power times weight. Lines of the mains are fitted all together at the mains' own frequency, which is found to a
hundredth of a hertz first: a bin at the nominal frequency would read a harmonic half wrong.

A recording has no volts of its own. With a tone of known level recorded at the same settings it is calibrated; without
one it is relative to full scale, and told so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from bench.diagnose.diagnose_error import DiagnoseError
from bench.judge.noise_limits import DBRN, MILLIWATT_600
from bench.judge.weighting import Weighting, weight_db

Floats = NDArray[np.float64]
BLOCK_S: Final = 1.0
"""Seconds of a block: lines a few hertz apart are told apart."""
SHORTEST_S: Final = 2.0
CLIPPED: Final = 3
"""This many samples in a row at full scale are no accident."""
HARMONICS: Final = 40
FITTED_S: Final = 8.0
"""Seconds that the mains' lines are fitted in."""
SOUGHT_RATE: Final = 2000.0
FITTED_RATE: Final = 8000.0
"""Samples a second that suffice for them."""
STANDS_OUT: Final = 10.0
"""Times the power around it that a bin must have to be a line of its own: 10 dB (our own figure)."""
LINES: Final = 12
"""Lines that are told."""
AGREES_DB: Final = 0.5
"""Two tones of known levels agree within this, or the recorder changes its gain by itself (our own figure)."""
NOISE_SIGMAS: Final = 2.0


class Recording(msgspec.Struct, frozen=True):
    """One channel of a sound file.

    Attributes:
        name: of the file.
        rate: samples a second.
        samples: as parts of full scale.
        clipped: how many stretches stand at full scale.
    """

    name: str
    rate: float
    samples: Floats
    clipped: int = 0

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.samples) / self.rate


def read_sound(path: Path, channel: int = 1) -> Recording:
    """Read a sound file: WAV of any kind that recorders write.

    Args:
        path: the file.
        channel: counted from 1.

    Raises:
        DiagnoseError: it is no sound file, too short, or has no such channel.
    """
    from scipy.io import wavfile

    try:
        rate, data = wavfile.read(path)
    except (ValueError, OSError, EOFError) as error:
        raise DiagnoseError(f"{path}: cannot be read as a WAV file: {error}") from error
    data = data[:, None] if data.ndim == 1 else data
    if not 1 <= channel <= data.shape[1]:
        raise DiagnoseError(f"{path}: found channel {channel}, expected one of 1 to {data.shape[1]}")
    raw = data[:, channel - 1]
    if np.issubdtype(raw.dtype, np.integer):
        info = np.iinfo(raw.dtype)
        middle = 128.0 if raw.dtype == np.uint8 else 0.0
        scale = 128.0 if raw.dtype == np.uint8 else float(-int(info.min))
        samples = (raw.astype(np.float64) - middle) / scale
        # files of 24 bits come left-aligned in 32: their top is a little below full scale
        top = 1.0 - 1.5 / (2**23 if raw.dtype == np.int32 else scale)
    else:
        samples, top = raw.astype(np.float64), 1.0
    if len(samples) < SHORTEST_S * rate:
        raise DiagnoseError(f"{path}: {len(samples) / rate:.2g} s; at least {SHORTEST_S:g} s are wanted")
    return Recording(path.name, float(rate), samples, _clips(samples, top))


def _clips(samples: Floats, top: float) -> int:
    full = (np.abs(samples) >= top).astype(int)
    edges = np.diff(np.concatenate(([0], full, [0])))
    begins, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    return int(np.sum(ends - begins >= CLIPPED))


def spectrum(samples: Floats, rate: float) -> tuple[Floats, Floats]:
    """Frequencies in hertz and the mean square in each bin, for overlapping Hann blocks.

    Args:
        samples: of one channel.
        rate: samples a second.
    """
    from scipy.signal import welch

    size = round(min(BLOCK_S, len(samples) / rate / 2.0) * rate)
    hertz, density = welch(samples, rate, "hann", size, size // 2, detrend="constant", scaling="density")
    power: Floats = density * (hertz[1] - hertz[0])
    return hertz, power


def weighted(hertz: Floats, power: Floats, weighting: Weighting) -> float:
    """The weighted root mean square, in the samples' unit.

    Args:
        hertz: of each bin.
        power: mean square in each bin.
        weighting: which.
    """
    return float(np.sqrt(np.sum(power * _weights(len(hertz), float(hertz[1]), weighting))))


@lru_cache(maxsize=16)
def _weights(count: int, step: float, weighting: Weighting) -> Floats:
    """What of the power in each bin is heard; nothing of what does not change."""
    found = [10.0 ** (weight_db(weighting, step * place) / 10.0) for place in range(1, count)]
    return np.array([0.0, *found])


def scatter_db(hertz: Floats, power: Floats, weighting: Weighting, seconds: float) -> float:
    """95 % half width of a weighted level that is noise, in dB: 4.34 dB times two over the root of bandwidth and time.

    Args:
        hertz: of each bin.
        power: mean square in each bin.
        weighting: which.
        seconds: of the recording.
    """
    heard = power * _weights(len(hertz), float(hertz[1]), weighting)
    total = float(np.sum(heard))
    if total <= 0.0:
        return 0.0
    band = total**2 / float(np.sum(heard**2)) * float(hertz[1] - hertz[0])
    return NOISE_SIGMAS * 4.34 / math.sqrt(max(1.0, band * seconds))


class Tone(msgspec.Struct, frozen=True):
    """A line.

    Attributes:
        hertz: where.
        rms: how strong, in the samples' unit.
        order: which harmonic of the mains; 0: none.
    """

    hertz: float
    rms: float
    order: int = 0


def mains_lines(samples: Floats, rate: float, nominal: float = 50.0) -> tuple[float, list[Tone]]:
    """The mains' own frequency and its harmonics, fitted all together.

    Args:
        samples: of one channel.
        rate: samples a second.
        nominal: 50 or 60 Hz.
    """
    from scipy.signal import decimate

    used = samples[: round(min(len(samples), FITTED_S * rate))]
    # no harmonic that is fitted lies near the new upper end, so the filter leaves all of them as they are
    factor = int(rate // FITTED_RATE)
    if factor > 1:
        used, rate = decimate(used, factor, ftype="fir"), rate / factor
    times = np.arange(len(used)) / rate
    window = np.hanning(len(used))
    high = max(1, min(HARMONICS, int(0.4 * rate / nominal)))
    # the strong ones are low: to look for their common root fewer samples suffice
    slower = max(1, int(rate // SOUGHT_RATE))
    few = decimate(used, slower, ftype="fir") if slower > 1 else used
    sought = few * np.hanning(len(few))
    strong = np.outer(np.arange(1, min(high, 12) + 1), np.arange(len(few)) * slower / rate)

    def heard(base: float) -> float:
        return float(np.sum(np.abs(np.exp(-2j * np.pi * base * strong) @ sought) ** 2))

    best, step = nominal, 0.1
    around = np.arange(nominal - 0.6, nominal + 0.601, step)
    for _ in range(3):
        best = float(max(around, key=heard))
        step /= 5.0
        around = best + step * np.arange(-5, 6)
    orders = np.arange(1, high + 1)
    angles = 2 * np.pi * best * np.outer(times, orders)
    matrix = np.hstack([np.ones((len(times), 1)), np.cos(angles), np.sin(angles)]) * window[:, None]
    # whole seconds of tones some tens of hertz apart: the normal equations are well conditioned
    found = np.linalg.solve(matrix.T @ matrix, matrix.T @ (used * window))
    return best, [
        Tone(best * order, float(np.hypot(found[order], found[high + order])) / math.sqrt(2.0), int(order))
        for order in orders
    ]


def other_lines(hertz: Floats, power: Floats, mains: float) -> list[Tone]:
    """Lines that are no harmonics of the mains: converters, clocks, whistles; the strongest first.

    Args:
        hertz: of each bin.
        power: mean square in each bin.
        mains: the mains' own frequency.
    """
    from scipy.ndimage import median_filter

    floor = median_filter(power, 101, mode="nearest")
    width = float(hertz[1] - hertz[0])
    found = []
    for place in range(3, len(power) - 3):
        if power[place] < STANDS_OUT * floor[place] or power[place] < power[place - 2 : place + 3].max():
            continue
        order = hertz[place] / mains
        if abs(order - round(order)) * mains < 2.5 * width and round(order) <= HARMONICS:
            continue
        near = slice(place - 2, place + 3)
        total = float(np.sum(power[near]) - 5.0 * floor[place])
        middle = float(np.sum(hertz[near] * power[near]) / np.sum(power[near]))
        found.append(Tone(middle, math.sqrt(max(total, 0.0))))
    return sorted(found, key=lambda one: -one.rms)


def tone_of(recording: Recording) -> Tone:
    """The one tone of a recording that holds hardly anything else.

    Raises:
        DiagnoseError: it is clipped, or has no tone that stands out.
    """
    _refuse_clipped(recording)
    hertz, power = spectrum(recording.samples, recording.rate)
    place = int(np.argmax(power[2:])) + 2
    near = slice(max(0, place - 3), place + 4)
    total, rest = float(np.sum(power[near])), float(np.sum(power[2:]))
    if total < 0.9 * rest:
        raise DiagnoseError(f"{recording.name}: no single tone stands out; record the known tone alone")
    return Tone(float(np.sum(hertz[near] * power[near]) / total), math.sqrt(total))


def calibration(tones: Sequence[tuple[Recording, float]]) -> float:
    """Volts at full scale, from recordings of tones of known level.

    Args:
        tones: recordings with the level of each in volts, root mean square.

    Raises:
        DiagnoseError: no tone, or tones that disagree: the recorder changes its gain by itself.
    """
    factors = [level / tone_of(recording).rms for recording, level in tones]
    spread = 20.0 * math.log10(max(factors) / min(factors))
    if spread > AGREES_DB:
        raise DiagnoseError(
            f"the known tones disagree by {spread:.1f} dB: the recorder changes its gain by itself. Switch its "
            "automatic gain off, and record all of it again"
        )
    return float(np.mean(factors))


def _refuse_clipped(recording: Recording) -> None:
    if recording.clipped:
        raise DiagnoseError(
            f"{recording.name}: {recording.clipped} stretches stand at full scale: it is clipped, and its levels and "
            "lines are not those of the plant. Record it again with less gain"
        )


class Heard(msgspec.Struct, frozen=True):
    """What a recording holds.

    Attributes:
        name: of the file.
        seconds: how long it is.
        volts: at full scale; None: not calibrated, all is relative to full scale.
        levels: weighting to the root mean square, in volts or in parts of full scale.
        scatter: weighting to its 95 % half width in dB, as noise.
        mains: the mains' own frequency.
        lines: of the mains and others, the strongest first.
    """

    name: str
    seconds: float
    volts: float | None
    levels: dict[Weighting, float]
    scatter: dict[Weighting, float]
    mains: float
    lines: tuple[Tone, ...]

    def level_db(self, weighting: Weighting) -> float:
        """The level in dB: about 1 V where it is calibrated, else about full scale."""
        return 20.0 * math.log10(max(self.levels[weighting], 1e-15))


WEIGHTINGS: Final[tuple[Weighting, ...]] = ("flat", "psophometric", "c-message")


def heard(recording: Recording, volts: float | None = None, nominal: float = 50.0) -> Heard:
    """What a recording holds.

    Args:
        recording: one channel.
        volts: at full scale, of :func:`calibration`; None: relative.
        nominal: 50 or 60 Hz.

    Raises:
        DiagnoseError: it is clipped.
    """
    _refuse_clipped(recording)
    samples = recording.samples * (volts if volts is not None else 1.0)
    hertz, power = spectrum(samples, recording.rate)
    mains, harmonics = mains_lines(samples, recording.rate, nominal)
    floor = math.sqrt(float(np.median(power)))
    lines = [one for one in harmonics if one.rms > 3.0 * floor] + other_lines(hertz, power, mains)
    levels = {one: weighted(hertz, power, one) for one in WEIGHTINGS}
    scatter = {one: scatter_db(hertz, power, one, recording.seconds) for one in WEIGHTINGS}
    strongest = tuple(sorted(lines, key=lambda one: -one.rms)[:LINES])
    return Heard(recording.name, recording.seconds, volts, levels, scatter, mains, strongest)


def dbmp(volts: float) -> float:
    """Psophometric level of a voltage across 600 ohm, in dBm."""
    return 20.0 * math.log10(max(volts, 1e-15) / MILLIWATT_600)


def dbrnc(volts: float) -> float:
    """C-message level of a voltage across 600 ohm, in dB above 1 pW."""
    return dbmp(volts) + DBRN


class Change(msgspec.Struct, frozen=True):
    """What differs between before and after.

    Attributes:
        what: a weighting, or a line in hertz.
        before_db: its level before.
        after_db: and after.
        sure: whether it lies beyond what both recordings scatter by.
    """

    what: str
    before_db: float
    after_db: float
    sure: bool


def changes(before: Heard, after: Heard) -> list[Change]:
    """What changed between two recordings at the same settings, levels first, then the lines that changed most.

    Raises:
        DiagnoseError: one is calibrated and the other is not.
    """
    if (before.volts is None) != (after.volts is None):
        raise DiagnoseError("one recording is calibrated and the other is relative: they cannot be compared")
    found = []
    for one in WEIGHTINGS:
        was, now = before.level_db(one), after.level_db(one)
        found.append(Change(one, was, now, abs(now - was) > math.hypot(before.scatter[one], after.scatter[one])))
    moved = []
    for line in {round(one.hertz): one for one in (*before.lines, *after.lines)}.values():
        was, now = (_line_db(heard_, line) for heard_ in (before, after))
        if abs(now - was) >= 3.0:
            name = f"{line.hertz:.1f} Hz" + (f" (mains times {line.order})" if line.order else "")
            moved.append(Change(name, was, now, True))
    return [*found, *sorted(moved, key=lambda one: -abs(one.after_db - one.before_db))]


def _line_db(where: Heard, line: Tone) -> float:
    near = [one.rms for one in where.lines if abs(one.hertz - line.hertz) < 2.0]
    # one that is not among the lines told is at most as strong as the weakest that is
    rms = max(near) if near else min((one.rms for one in where.lines), default=1e-9)
    return 20.0 * math.log10(max(rms, 1e-15))
