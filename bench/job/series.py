"""Readings of one and the same quantity over many records, made comparable, and what became of them.

Two readings belong together that were taken of the same kind, between the same places, and asked for the same thing
(to be joined, or to be apart). A conductor's resistance, and one of insulation, is brought to 20 °C by the temperature
that it was read at; the millivolts along joints are brought to the current of the last run.
What should be apart is looked at by orders of magnitude. A reading beyond the range counts as far beyond all that were
within it, however far that is.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from statistics import median
from typing import Final, Literal

import msgspec

from bench.diagnose.series.change import Change, appraise
from bench.job.rows import ENERGISED, Evidence
from bench.judge.insulation import at_temperature
from bench.judge.metals import COPPER, stretched
from bench.quantity import engineering
from bench.sequence.limits import DROP_ORIGIN, LEAST_DROP

Asks = Literal["joined", "apart", "between", "quiet", "carrying"]

BEYOND: Final = 1000.0
"""How far a reading beyond the range is put from those within, in standard uncertainties."""
DECADES: Final = 0.02
"""Standard uncertainty, in decades, of a reading that showed over range: an assumption."""
DAY: Final = 86400.0
_VERDICTS: Final = ("", "pass", "fail", "undecided", "void", "skipped")


_WANTED: Final[dict[Asks, str]] = {
    "apart": ", to be apart,",
    "quiet": ", to be dead,",
    "carrying": ", at the last run's current,",
}


class SeriesKey(msgspec.Struct, frozen=True):
    """Which readings belong together.

    Attributes:
        reads: ``resistance``, ``insulation``, ``voltage`` or ``current``.
        places: the two places; in the order of their names where the order does not matter.
        asks: what was asked of them; ``quiet`` where nothing should show, ``carrying`` of the millivolts along a way
            that carries current.
        scale: of a voltage that was asked for, in quarters of a decade: 12 V are another matter than 48 V. Of the
            current of a shelf that came up, in hundredths: with other cards in it draws another current.
        under: bonds that were lifted, or what fed a voltage: with these it is another quantity.
    """

    reads: str
    places: tuple[str, ...]
    asks: Asks
    scale: int = 0
    under: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """In words."""
        under = f", {', '.join(self.under)}" if self.under else ""
        wanted = {"apart": ", to be apart,", "quiet": ", to be dead,", "carrying": ", at the last run's current,"}.get(
            self.asks, ""
        )
        if self.reads == ENERGISED:
            return f"current of {', '.join(self.places)}, as it came up"
        if len(self.places) < 2:
            return f"{self.reads.replace('-', ' ')} of {' '.join(self.places)}"
        return f"{self.reads}{wanted} between {' and '.join(self.places)}{under}"


def key_of(row: Evidence) -> SeriesKey:
    """The series that a reading belongs to."""
    asks: Asks = "between"
    scale = 0
    if row.function == ENERGISED:
        middle = ((row.low or 0.0) + (row.high or 0.0)) / 2.0
        scale = round(100.0 * math.log10(middle)) if middle > 0 else 0
    elif row.high is not None and row.low is None:
        asks = "joined"
    elif row.low is not None and row.high is None:
        asks = "apart"
    elif row.limit.startswith(DROP_ORIGIN):
        asks = "carrying"
    elif row.low is not None and row.high is not None and row.reads == "voltage":
        middle = abs(row.low + row.high) / 2.0
        asks = "quiet" if row.low <= 0.0 <= row.high else "between"
        scale = round(4.0 * math.log10(middle)) if asks == "between" and middle > 0 else 0
    ordered = row.reads not in ("resistance", "insulation")
    return SeriesKey(row.reads, row.between if ordered else tuple(sorted(row.between)), asks, scale, row.under)


class Track:
    """The readings of one series in few bytes, in the order in which they are added.

    Args:
        key: of the series.
        subject: the plant object that it is about.
        unit: base unit.
    """

    __slots__ = ("ambient", "high", "key", "low", "meter", "over", "place", "standard", "subject", "t", "top", "unit",
                 "value", "verdict")  # fmt: skip

    def __init__(self, key: SeriesKey, subject: str, unit: str) -> None:
        self.key, self.subject, self.unit = key, subject, unit
        self.t, self.value, self.standard = array("d"), array("d"), array("d")
        self.top, self.ambient, self.low, self.high = array("d"), array("d"), array("d"), array("d")
        self.over, self.verdict, self.meter, self.place = array("b"), array("b"), array("H"), array("q")

    def add(self, row: Evidence, record: int, meter: int) -> None:
        """Add a reading.

        Args:
            row: the reading.
            record: number of its record in a list that the caller keeps.
            meter: number of its meter in a list that the caller keeps.
        """
        self.t.append(seconds(row.at))
        self.value.append(_number(row.value))
        self.standard.append(_number(row.standard))
        self.top.append(_number(row.range))
        self.ambient.append(_number(row.ambient))
        self.low.append(_number(row.low))
        self.high.append(_number(row.high))
        self.over.append({"+": 1, "-": -1}.get(row.over, 0))
        self.verdict.append(_VERDICTS.index(row.verdict) if row.verdict in _VERDICTS else 0)
        self.meter.append(meter)
        self.place.append(record << 32 | row.n)

    def __len__(self) -> int:
        return len(self.t)

    def failed(self, index: int) -> bool:
        """Whether a reading failed."""
        return _VERDICTS[self.verdict[index]] == "fail"

    def row(self, index: int, records: Sequence[str], meters: Sequence[str]) -> Evidence:
        """One reading as a row again, as far as the track kept it.

        Args:
            index: which.
            records: the names of the records by number.
            meters: the meters by number.
        """
        return Evidence(
            record=records[self.place[index] >> 32],
            n=self.place[index] & 0xFFFFFFFF,
            at=datetime.fromtimestamp(self.t[index], UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            step="",
            subject=self.subject,
            between=self.key.places,
            function=self.key.reads,
            verdict=_VERDICTS[self.verdict[index]],
            value=_or_none(self.value[index]),
            standard=_or_none(self.standard[index]),
            unit=self.unit,
            over={1: "+", -1: "-"}.get(self.over[index], ""),
            range=_or_none(self.top[index]),
            low=_or_none(self.low[index]),
            high=_or_none(self.high[index]),
            meter=meters[self.meter[index]],
            ambient=_or_none(self.ambient[index]),
        )


def gather(rows: Iterable[Evidence], records: dict[str, int], meters: dict[str, int]) -> dict[SeriesKey, Track]:
    """Sort readings into tracks.

    Args:
        rows: readings of any points; those without anything to compare are left out.
        records: record name to its number; grows as records come in.
        meters: meter to its number; grows likewise.
    """
    tracks: dict[SeriesKey, Track] = {}
    for row in rows:
        key = key_of(row)
        track = tracks.get(key)
        if track is None:
            track = tracks[key] = Track(key, row.subject, row.unit)
        record = records.setdefault(row.record, len(records))
        track.add(row, record, meters.setdefault(row.meter, len(meters)))
    return tracks


class Comparable(msgspec.Struct, frozen=True):
    """A track's readings on one scale, in the order of time.

    Attributes:
        unit: of the values: the base unit, or ``decades`` for what should be apart.
        order: for each run its number in the track.
        times: seconds since 1970.
        values: in ``unit``; conductors at 20 °C.
        uncertainties: standard, in ``unit``.
        limits: lower and upper limit of the last run, in ``unit``.
    """

    unit: str
    order: tuple[int, ...]
    times: tuple[float, ...]
    values: tuple[float, ...]
    uncertainties: tuple[float, ...]
    limits: tuple[float | None, float | None]


class Series(msgspec.Struct, frozen=True):
    """A series and what became of it.

    Attributes:
        key: which it is.
        subject: the plant object that it is about.
        runs: its readings on one scale.
        meters: number of the meter of each run.
        verdicts: of each run.
        change: what became of it.
    """

    key: SeriesKey
    subject: str
    runs: Comparable
    meters: tuple[int, ...]
    verdicts: tuple[str, ...]
    change: Change

    def shown(self, value: float) -> str:
        """A value of the series for people."""
        if self.runs.unit == "decades":
            return engineering(10.0**value, "Ω", digits=2)
        sigma = self.change.sigma
        return engineering(
            value, self.runs.unit, resolution=10.0 ** math.floor(math.log10(sigma)) if sigma > 0 else None
        )


def comparable(track: Track) -> Comparable | None:
    """Make a track's readings comparable.

    Returns:
        They; None where no reading can be compared (none has a value with an uncertainty, or showed over range).
    """
    usable = [i for i in range(len(track)) if track.over[i] or track.standard[i] > 0]
    usable.sort(key=lambda i: track.t[i])
    if not usable:
        return None
    decades = track.key.asks == "apart" and track.unit == "Ω"
    values, doubts = _comparable(track, usable, decades)
    last = usable[-1]
    factor = 1.0 if decades else _to_20(track, last)
    low, high = (_limit(bound[last] * factor, decades) for bound in (track.low, track.high))
    return Comparable(
        unit="decades" if decades else track.unit,
        order=tuple(usable),
        times=tuple(track.t[i] for i in usable),
        values=tuple(values),
        uncertainties=tuple(doubts),
        limits=(low, high),
    )


def series_of(track: Track, *, watched: int = 1) -> Series | None:
    """Make a track's readings comparable and say what became of them.

    Args:
        track: the readings.
        watched: how many points are watched at the same time.

    Returns:
        The series; None where no reading can be compared.
    """
    same = comparable(track)
    if same is None:
        return None
    change = appraise(
        same.values,
        same.uncertainties,
        times=[(t - same.times[0]) / DAY for t in same.times],
        limits=same.limits,
        watched=watched,
    )
    return Series(
        key=track.key,
        subject=track.subject,
        runs=same,
        meters=tuple(track.meter[i] for i in same.order),
        verdicts=tuple(_VERDICTS[track.verdict[i]] for i in same.order),
        change=change,
    )


def _comparable(track: Track, usable: list[int], decades: bool) -> tuple[list[float], list[float]]:
    """Values and standard uncertainties of the usable runs, on one scale."""
    within: dict[int, tuple[float, float]] = {}
    for i in usable:
        if track.over[i]:
            continue
        value, doubt = track.value[i], track.standard[i]
        if decades:
            floor = max(value, doubt, 1e-6)
            within[i] = (math.log10(floor), max(doubt / floor / math.log(10.0), DECADES / 10))
        elif track.key.asks == "carrying":
            factor = _to_current(track, i, usable[-1])
            within[i] = (abs(value) * factor, doubt * factor)
        else:
            factor = _to_20(track, i)
            within[i] = (value * factor, doubt * factor)
    typical = median(doubt for _, doubt in within.values()) if within else DECADES
    known = [value for value, _ in within.values()]
    if decades:
        tops = [math.log10(track.top[i]) for i in usable if track.over[i] and track.top[i] > 0]
        above = max([*known, *tops], default=0.0)
        beyond, doubt_beyond = {1: above, -1: -above}, DECADES
    else:
        far = BEYOND * typical
        beyond = {1: max(known, default=0.0) + far, -1: min(known, default=0.0) - far}
        doubt_beyond = typical
    pairs = [within[i] if i in within else (beyond[track.over[i]], doubt_beyond) for i in usable]
    return [value for value, _ in pairs], [doubt for _, doubt in pairs]


def _to_current(track: Track, index: int, last: int) -> float:
    """Factor that brings the millivolts along a way to the current of the last run.

    Its limit is what sound joints and conductors lose at the current that flowed, and a little for pick-up: without
    that it goes with the current.
    """
    then, now = (track.high[one] - LEAST_DROP for one in (index, last))
    return now / then if then > 0.0 and now > 0.0 else 1.0


def _to_20(track: Track, index: int) -> float:
    """Factor that brings a conductor's reading, or one of insulation, to 20 °C; 1 for anything else."""
    if track.key.reads == "insulation" and not math.isnan(track.ambient[index]):
        return at_temperature(1.0, track.ambient[index], 20.0).factor
    if track.key.reads != "resistance" or track.key.asks != "joined" or math.isnan(track.ambient[index]):
        return 1.0
    return 1.0 / stretched(COPPER, track.ambient[index])


def _limit(bound: float, decades: bool) -> float | None:
    if math.isnan(bound):
        return None
    if decades:
        return math.log10(bound) if bound > 0 else None
    return bound


def seconds(at: str) -> float:
    """A record's time of day as seconds since 1970."""
    return datetime.fromisoformat(at).timestamp()


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def verdict_turn(verdicts: Iterable[str]) -> tuple[int | None, int | None]:
    """The last run that passed before the latest run that failed, and the first that failed after it.

    Either is None where there is none. Undecided, void and skipped runs say nothing.
    """
    last_pass = first_fail = pending = None
    for i, verdict in enumerate(verdicts):
        if verdict == "pass":
            pending = i
        elif verdict == "fail" and (first_fail is None or pending is not None):
            last_pass, first_fail, pending = pending, i, None
    return last_pass, first_fail
