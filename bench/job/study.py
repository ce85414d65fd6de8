"""A point over all records: its series, what became of each, and where in the records to look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from bench.job.common_changes import BEFORE, Across, Common
from bench.job.rows import Evidence, Told
from bench.job.series import Series, SeriesKey, Track, gather, key_of, seconds, series_of, verdict_turn
from bench.job.suspects import Suspect
from bench.judge.charts import Cusum, cusum
from bench.plant.model import Plant


class Window(msgspec.Struct, frozen=True):
    """Between which readings something happened.

    A point that was bad from its first reading on and was mended later has no last good reading: then it is its
    mending that is looked at.

    Attributes:
        last_good: the last reading before it; None where the first reading of all is bad already.
        first_bad: the first reading that is different; with a bracket of several runs the likeliest.
        until: the last reading that may be the first bad one.
        by: ``values`` or ``verdicts``: what it was found by.
        mended: the last reading that failed and the first that passed after it; None where the newest that says
            anything failed, and where none failed.
    """

    last_good: Evidence | None
    first_bad: Evidence
    until: Evidence
    by: str
    mended: tuple[Evidence, Evidence] | None = None

    @property
    def sides(self) -> tuple[Evidence | None, Evidence, Evidence]:
        """The readings that what is looked at happened between: the last before, the first after, and the last one
        that may be the first after."""
        if self.last_good is None and self.mended is not None:
            return self.mended[0], self.mended[1], self.mended[1]
        return self.last_good, self.first_bad, self.until

    @property
    def after_at(self) -> str:
        """Time of the last reading before it; empty where there is none."""
        before = self.sides[0]
        return before.at if before is not None else ""

    @property
    def until_at(self) -> str:
        """Time of the last reading by which it had happened."""
        return self.sides[2].at


class Study(msgspec.Struct, frozen=True):
    """One series of a point.

    Attributes:
        key: which series.
        subject: what it is about.
        rows: all its readings, in the order of time.
        series: the comparable ones and what became of them; None where there are none.
        runs: the row of each run of ``series``.
        window: where it changed; None while it is steady and nothing failed.
        second: a CUSUM about the level before, as a second opinion on a step or drift; None else.
        suspects: what happened inside the window, likeliest first.
        common: what else changed then; None where it was not looked at.
    """

    key: SeriesKey
    subject: str
    rows: tuple[Evidence, ...]
    series: Series | None
    runs: tuple[Evidence, ...]
    window: Window | None
    second: Cusum | None
    suspects: tuple[Suspect, ...] = ()
    common: Common | None = None

    @property
    def lead(self) -> float:
        """By how many nats a change leads over steady; 0 without a comparable series."""
        return self.series.change.lead if self.series is not None else 0.0


def study(rows: Iterable[Evidence]) -> list[Study]:
    """Sort the readings of a point into series and say what became of each: first what changed most.

    Every series that was read more than once is watched, and the more there are, the more must a change stand out.
    """
    by_key: dict[SeriesKey, list[Evidence]] = {}
    for row in sorted(rows, key=lambda one: (one.at, one.record, one.n)):
        by_key.setdefault(key_of(row), []).append(row)
    tracks = gather((row for group in by_key.values() for row in group), {}, {})
    watched = max(1, sum(1 for group in by_key.values() if len(group) > 1))
    return _by_lead(_study(track, by_key[key], watched) for key, track in tracks.items())


class Episode(msgspec.Struct, frozen=True):
    """Points that changed in the same walk.

    Attributes:
        record: the walk that showed it.
        studies: the series that changed, with their windows.
        common: what they have in common with all that was read on both sides.
    """

    record: str
    studies: tuple[Study, ...]
    common: Common


class Everything:
    """Every point of a folder, in few bytes for each reading.

    Args:
        rows: the readings of all points, in any order.
    """

    def __init__(self, rows: Iterable[Evidence]) -> None:
        records: dict[str, int] = {}
        meters: dict[str, int] = {}
        self._tracks = gather(rows, records, meters)
        self._records, self._meters = list(records), list(meters)
        self._watched = max(1, sum(1 for track in self._tracks.values() if len(track) > 1))

    def __len__(self) -> int:
        return len(self._tracks)

    def studies(self) -> list[Study]:
        """What became of every series; the rows of those that are steady and passed are left out."""
        return _by_lead(self._study(track) for track in self._tracks.values())

    def _study(self, track: Track) -> Study:
        order = sorted(range(len(track)), key=lambda i: track.t[i])
        series = series_of(track, watched=self._watched)
        failed = any(track.failed(i) for i in order)
        if not failed and (series is None or series.change.kind == "steady"):
            return Study(track.key, track.subject, (), series, (), None, None)
        rows = [track.row(i, self._records, self._meters) for i in order]
        place = {number: at for at, number in enumerate(order)}
        runs = tuple(rows[place[i]] for i in series.runs.order) if series is not None else ()
        return Study(track.key, track.subject, tuple(rows), series, runs, _window(series, runs, rows), None)

    def episodes(self, studies: Iterable[Study], plant: Plant, least: int = 2) -> list[Episode]:
        """The walks in which several points changed, the one with most points first.

        Args:
            studies: what :meth:`studies` gave.
            plant: for what lies where.
            least: how many points make an episode.
        """
        by_record: dict[str, list[Study]] = {}
        for one in studies:
            if one.window is not None and one.window.by == "values":
                by_record.setdefault(one.window.sides[1].record, []).append(one)
        found = []
        for record, group in by_record.items():
            windows = [one.window for one in group if one.window is not None and one.window.after_at]
            if len(group) < least or not windows:
                continue
            after, until = max(w.after_at for w in windows), min(w.sides[1].at for w in windows)
            across = Across(after, until)
            for track in self._tracks.values():
                for i in _around(track, seconds(after), seconds(until)):
                    across.take(track.row(i, self._records, self._meters))
            found.append(Episode(record, tuple(group), across.common(plant)))
        return sorted(found, key=lambda one: -len(one.studies))


def _around(track: Track, after: float, until: float) -> list[int]:
    """The last few readings before a window and the first after it."""
    order = sorted(range(len(track)), key=lambda i: track.t[i])
    before = [i for i in order if track.t[i] <= after][-BEFORE:]
    return before + [i for i in order if track.t[i] >= until][:1]


def _by_lead(studies: Iterable[Study]) -> list[Study]:
    return sorted(studies, key=lambda one: (one.window is None, -one.lead, one.key.text))


def _study(track: Track, rows: list[Evidence], watched: int) -> Study:
    series = series_of(track, watched=watched)
    runs = tuple(rows[i] for i in series.runs.order) if series is not None else ()
    second = None
    if series is not None and series.change.kind in ("step", "drift"):
        second = cusum(series.runs.values, series.change.before, series.change.sigma)
    return Study(track.key, track.subject, tuple(rows), series, runs, _window(series, runs, rows), second)


def _window(series: Series | None, runs: tuple[Evidence, ...], rows: list[Evidence]) -> Window | None:
    mended = _mended(rows)
    if series is not None and series.change.first_bad is not None:
        assert series.change.bracket is not None
        if not _for_the_better(runs, series.change.first_bad):
            low, high = series.change.bracket
            before = runs[low - 1] if low > 0 else None
            return Window(before, runs[series.change.first_bad], runs[high], "values", mended)
    last_pass, first_fail = verdict_turn(row.verdict for row in rows)
    if first_fail is None:
        return None
    before = rows[last_pass] if last_pass is not None else None
    by = "values" if before is None and series is not None and series.change.kind != "steady" else "verdicts"
    return Window(before, rows[first_fail], rows[first_fail], by, mended)


def _for_the_better(runs: Sequence[Evidence], turn: int) -> bool:
    """Whether what changed at a run was that the point came right: it failed before, and passed after that."""
    said = [(i, run.verdict) for i, run in enumerate(runs) if run.verdict in ("pass", "fail")]
    before = [verdict for i, verdict in said if i < turn]
    return bool(before) and before[-1] == "fail" and any(verdict == "pass" for i, verdict in said if i >= turn)


def _mended(rows: Iterable[Evidence]) -> tuple[Evidence, Evidence] | None:
    """The last reading that failed and the first that passed after it."""
    failed = passed = None
    for row in rows:
        if row.verdict == "fail":
            failed, passed = row, None
        elif row.verdict == "pass" and passed is None:
            passed = row
    return (failed, passed) if failed is not None and passed is not None else None


def bench_changes(window: Window) -> list[Told]:
    """What the readings themselves say of the bench: another meter since the last reading before the change."""
    before, after, _ = window.sides
    if before is None:
        return []
    found = []
    if before.meter != after.meter and after.meter:
        text = f"read with {after.meter} from here on, with {before.meter or 'an unnamed meter'} before"
        found.append(Told(record=after.record, n=after.n, at=after.at, kind="bench", text=text, by=after.operator))
    return found
