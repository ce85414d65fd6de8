"""Two sets of evidence held against each other: which points changed their verdict, or their value beyond doubt.

A value has changed where it differs by more than the two readings' expanded uncertainties allow: E = (b - a) divided by
sqrt(U(a)² + U(b)²) is beyond 1 either way. This is the E-n score of ISO 13528 for two laboratories (from memory, not
confirmed). Two readings of one meter share what it is off by, so for these the score is on the careful side.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal

import msgspec

from bench.job.order import Order
from bench.job.rows import Evidence
from bench.job.series import SeriesKey, Track, comparable, key_of

COVERAGE = 2.0
"""Coverage factor of the expanded uncertainties in the score."""

What = Literal["verdict", "value", "same", "only before", "only after"]


class Difference(msgspec.Struct, frozen=True):
    """One point on both sides.

    Attributes:
        key: what was read.
        subject: the plant object that it is about.
        before: the reading on the first side; None where there is none.
        after: the reading on the second side.
        what: ``verdict`` where the verdict changed, else ``value``, ``same``, ``only before`` or ``only after``.
        score: E as above; infinite where one side showed over range and the other did not; None where it cannot be
            worked out.
    """

    key: SeriesKey
    subject: str
    before: Evidence | None
    after: Evidence | None
    what: What
    score: float | None

    @property
    def worse(self) -> bool:
        """Whether a point that passed no longer does."""
        return (
            self.before is not None
            and self.before.verdict == "pass"
            and (self.after is not None and self.after.verdict != "pass")
        )


def newest(rows: Iterable[Evidence], order: Order | None = None) -> dict[SeriesKey, Evidence]:
    """The newest reading of each series; one that was skipped does not count.

    Args:
        rows: the readings.
        order: in which their records were written, where they say so; else their clocks are all there is.
    """
    found: dict[SeriesKey, Evidence] = {}
    for row in sorted(rows, key=lambda one: (one.at, one.record, one.n)):
        if row.verdict == "skipped" or not row.function:
            continue
        key = key_of(row)
        last = found.get(key)
        if last is None or order is None or not order.before(row.record, row.n, row.at, last.record, last.n, last.at):
            found[key] = row
    return found


def compare(before: Iterable[Evidence], after: Iterable[Evidence], order: Order | None = None) -> list[Difference]:
    """Hold two sets of evidence against each other: first what got worse, then what changed most.

    Args:
        before: the first side; of each series the newest counts.
        after: the second side.
        order: of the records of one job.
    """
    one, other = newest(before, order), newest(after, order)
    found = [_difference(key, one.get(key), other.get(key)) for key in {**one, **other}]
    rank: dict[What, int] = {"verdict": 0, "value": 1, "only after": 2, "only before": 3, "same": 4}
    return sorted(found, key=lambda d: (not d.worse, rank[d.what], -abs(d.score or 0.0), d.subject))


def _difference(key: SeriesKey, before: Evidence | None, after: Evidence | None) -> Difference:
    if before is None or after is None:
        some = before or after
        assert some is not None
        return Difference(key, some.subject, before, after, "only after" if before is None else "only before", None)
    score = _score(key, before, after)
    what: What = "same"
    if before.verdict != after.verdict:
        what = "verdict"
    elif score is not None and abs(score) > 1.0:
        what = "value"
    return Difference(key, after.subject, before, after, what, score)


def _score(key: SeriesKey, before: Evidence, after: Evidence) -> float | None:
    if before.over != after.over:
        return math.inf if after.over == "+" or before.over == "-" else -math.inf
    if before.over:
        return 0.0
    track = Track(key, after.subject, after.unit)
    track.add(before, 0, 0)
    track.add(after, 1, 0)
    runs = comparable(track)
    if runs is None or len(runs.values) != 2:
        return None
    # the track sorts by time; two dates may be given the other way round
    values = dict(zip(runs.order, zip(runs.values, runs.uncertainties, strict=True), strict=True))
    (a, ua), (b, ub) = values[0], values[1]
    return (b - a) / (COVERAGE * math.hypot(ua, ub))
