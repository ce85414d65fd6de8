"""A traced point as lines of text, as a plot, and as plain data for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from bench.job.points import Point
from bench.job.rows import Evidence
from bench.job.series import Series, seconds
from bench.job.study import Episode, Study
from bench.job.trace_words import (
    became,
    between,
    beyond,
    causes,
    celsius,
    chance_of,
    in_full,
    reading_value,
    together,
    touched,
)
from bench.judge.charts import ewma, individuals, mean_and_spread
from bench.report.svg import STYLE, Dot, history
from bench.say.axis import Axis
from bench.say.lists import count as counted
from bench.say.times import day, minute

SCALE: Final = 30
"""Characters of a plot in the terminal."""
MARKS: Final = {"pass": "✓", "fail": "x", "undecided": "?", "void": "-"}
EWMA_WEIGHT: Final = 0.2
"""Of the newest reading: a usual choice for small shifts (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4)."""
MANY: Final = 12
"""Series from which on the steady ones are told in one line each."""
_MOST: Final = 10


def lines(point: Point, studies: Sequence[Study]) -> Iterator[str]:
    """Everything about a point: what changed in full, what is steady in short.

    Args:
        point: what is traced.
        studies: its series, studied.
    """
    number = sum(len(one.rows) for one in studies)
    records = len({row.record for one in studies for row in one.rows})
    yield f"{point.name}: {point.where or point.kind}"
    yield f"{counted(number, 'reading')} in {counted(records, 'record')}"
    for one in studies:
        yield ""
        if one.window is None and len(studies) > MANY:
            yield f"{one.key.text} ({one.subject}): {became(one)}"
        else:
            yield from _study(one)


def _study(one: Study) -> Iterator[str]:
    if one.window is None and len(one.rows) == 1:
        yield f"{one.key.text} ({one.subject}): read once, {in_full(one.rows[0])}"
        return
    yield f"{one.key.text} ({one.subject}): {became(one)}"
    if one.window is not None:
        yield from between(one)
    yield from _plot(one)
    if one.window is not None:
        yield from touched(one)
    if one.common is not None:
        yield from together(one.common)


def _plot(one: Study) -> Iterator[str]:
    """One line for each reading: a mark on a scale, the reading, its conditions."""
    series = one.series
    places: dict[tuple[str, int], int] = {}
    bounds: list[int] = []
    if series is not None:
        inside = [v for v, row in zip(series.runs.values, one.runs, strict=True) if not row.over]
        limits = [b for b in series.runs.limits if b is not None]
        axis = Axis.around([*inside, *limits])
        for value, row in zip(series.runs.values, one.runs, strict=True):
            # one cell is kept at either end for what lies beyond
            places[row.record, row.n] = min(SCALE + 1, max(0, 1 + axis.cell(value, SCALE)))
        bounds = [1 + axis.within(bound, SCALE) for bound in limits]
    for row in one.rows:
        at = places.get((row.record, row.n))
        bar = [" "] * (SCALE + 2)
        for bound in bounds:
            bar[bound] = "|"
        if at is not None:
            bar[at] = ">" if row.over == "+" else "<" if row.over == "-" else MARKS.get(row.verdict, "o")
        conditions = " ".join(part for part in (row.meter, row.operator, celsius(row)) if part)
        stamp = minute(row.at)
        yield f"  {stamp} {''.join(bar)} {reading_value(row):20} {row.verdict:9} {conditions}  {row.record}:{row.n}"


def plot(one: Study) -> str:
    """The study's history as an SVG of its own; empty where there is nothing to plot."""
    drawn = drawing(one)
    return drawn.replace("<title>", f"<style>{STYLE}</style><title>", 1) if drawn else ""


def drawing(one: Study) -> str:
    """The study's history as an SVG for a page that has the plots' style sheet."""
    series = one.series
    if series is None:
        return ""
    dots = []
    for row, value, doubt in zip(one.runs, series.runs.values, series.runs.uncertainties, strict=True):
        beyond = {"+": 1, "-": -1}.get(row.over, 0) if series.runs.unit != "decades" else 0
        label = f"{minute(row.at)} {reading_value(row)}, {row.verdict}"
        dots.append(Dot(seconds(row.at), value, 2.0 * doubt, row.verdict, label, beyond))
    change = series.change
    bracket = None
    if change.bracket is not None:
        low, high = change.bracket
        bracket = (series.runs.times[max(0, low - 1)], series.runs.times[high])
    inside = [value for value, row in zip(series.runs.values, one.runs, strict=True) if not row.over]
    ends = [*inside, *(b for b in series.runs.limits if b is not None)] or [0.0]
    return history(
        dots,
        title=f"{one.subject}: {one.key.text}, {became(one)}",
        unit="log Ω" if series.runs.unit == "decades" else series.runs.unit,
        low=series.runs.limits[0],
        high=series.runs.limits[1],
        bracket=bracket,
        level=_level(one, series),
        shown=(series.shown(min(ends)), series.shown(max(ends))),
    )


def _level(one: Study, series: Series) -> list[tuple[float, float]]:
    """The model as a line: two levels, or a level and a slope; nothing where a level is beyond every range."""
    change, times = series.change, series.runs.times
    if change.kind == "step" and change.after is not None and change.first_bad is not None:
        if beyond(one, change.first_bad) or beyond(one, change.first_bad - 1):
            return []
        at = times[change.first_bad]
        return [(times[0], change.before), (at, change.before), (at, change.after), (times[-1], change.after)]
    if change.kind == "drift" and change.after is not None and change.slope:
        onset = times[-1] - (change.after - change.before) / change.slope * 86400.0
        return [(times[0], change.before), (max(times[0], onset), change.before), (times[-1], change.after)]
    return [(times[0], change.before), (times[-1], change.before)]


def table(studies: Sequence[Study], episodes: Sequence[Episode] = (), most: int = 40) -> Iterator[str]:
    """What changed together, and what changed most among all points; what a meter may have done comes last.

    Args:
        studies: series that changed.
        episodes: walks in which several changed.
        most: how many lines of each.
    """
    changed = [one for one in studies if one.window is not None]
    yield f"{len(changed)} of {len(studies)} series changed or failed"
    odd = {episode.record for episode in episodes if episode.common.meter}
    for episode in episodes[:_MOST]:
        yield ""
        yield f"{episode.record}: {len(episode.studies)} series changed in this walk"
        yield from causes(episode.common)
    if not changed:
        return
    yield ""
    yield f"{'first bad':17} {'point':22} {'sure':>7}  what became of it"
    for one in sorted(changed, key=lambda one: _turned(one).record in odd)[:most]:
        window = one.window
        bad = _first_bad(one)
        lead = chance_of(one.lead) if window is not None and window.by == "values" else "verdict"
        suspect = " (the meter?)" if _turned(one).record in odd else ""
        when = minute(bad.at)
        again = f"; passes since {day(window.mended[1].at)}" if window is not None and window.mended is not None else ""
        yield f"{when:17} {one.subject[:22]:22} {lead:>7}  {became(one)}{again}{suspect}"
    if len(changed) > most:
        yield f"and {len(changed) - most} more; --json lists them"


def _first_bad(one: Study) -> Evidence:
    assert one.window is not None
    return one.window.first_bad


def _turned(one: Study) -> Evidence:
    assert one.window is not None
    return one.window.sides[1]


def plain(one: Study) -> dict[str, Any]:
    """A study for other programs."""
    made: dict[str, Any] = {
        "series": one.key.text,
        "subject": one.subject,
        "reads": one.key.reads,
        "between": list(one.key.places),
        "asks": one.key.asks,
        "became": became(one),
        "readings": [_plain_row(row) for row in one.rows],
    }
    series = one.series
    if series is not None:
        change = series.change
        made["change"] = {
            "kind": change.kind,
            "unit": series.runs.unit,
            "lead_nats": change.lead,
            "scores_nats": {name: score for name, score in change.scores.items() if score > -1e300},
            "probability": change.probability,
            "before": change.before,
            "after": change.after,
            "slope_per_day": change.slope,
            "sigma": change.sigma,
            "excursions": [{"record": one.runs[i].record, "event": one.runs[i].n} for i in change.excursions],
        }
        made["charts"] = _charts(series)
    window = one.window
    if window is not None:
        good = window.last_good
        made["last_good"] = None if good is None else {"record": good.record, "event": good.n, "at": good.at}
        bad, until = window.first_bad, window.until
        made["first_bad"] = {"record": bad.record, "event": bad.n, "at": bad.at}
        made["until"] = {"record": until.record, "event": until.n, "at": until.at}
        if window.mended is not None:
            last, first = window.mended
            made["last_bad"] = {"record": last.record, "event": last.n, "at": last.at}
            made["good_again"] = {"record": first.record, "event": first.n, "at": first.at}
        made["found_by"] = window.by
        made["suspects"] = [
            {
                "at": suspect.told.happened,
                "kind": suspect.told.kind,
                "names": list(suspect.told.names),
                "text": suspect.told.text,
                "by": suspect.told.by,
                "record": suspect.told.record,
                "event": suspect.told.n,
                "score": suspect.score,
                "touches": suspect.words,
            }
            for suspect in one.suspects
        ]
    if one.common is not None:
        made["changed_together"] = {
            "points_read": one.common.read,
            "moved": [{"subject": moved.subject, "series": moved.key.text, "z": moved.z} for moved in one.common.moved],
            "in_common": [
                {
                    "kind": cause.kind,
                    "name": cause.name,
                    "changed": cause.changed,
                    "read": cause.read,
                    "chance": cause.chance,
                }
                for cause in one.common.causes
            ],
            "meter": one.common.meter,
            "words": one.common.words,
        }
    return made


def _charts(series: Series) -> dict[str, Any]:
    """Control charts about the level before, and plain statistics, for those who want a second opinion."""
    values, change = series.runs.values, series.change
    chart = ewma(values, change.before, change.sigma, weight=EWMA_WEIGHT, exact_start=False)
    made: dict[str, Any] = {
        "values": list(values),
        "ewma_weight": EWMA_WEIGHT,
        "ewma": list(chart.values),
        "ewma_limits": [chart.lower[0], chart.upper[0]],
    }
    if len(values) > 1:
        _, _, lower, upper = individuals(values)
        made["individuals_limits"] = [lower, upper]
    if len(set(values)) > 1:
        made["mean"], made["spread"], made["lag1_autocorrelation"] = mean_and_spread(values)
    return made


def _plain_row(row: Evidence) -> dict[str, Any]:
    return {
        "record": row.record,
        "event": row.n,
        "at": row.at,
        "value": row.value,
        "standard_uncertainty": row.standard,
        "expanded_uncertainty": row.expanded,
        "unit": row.unit,
        "over": row.over,
        "low": row.low,
        "high": row.high,
        "verdict": row.verdict,
        "meter": row.meter,
        "operator": row.operator,
        "ambient": row.ambient,
    }
