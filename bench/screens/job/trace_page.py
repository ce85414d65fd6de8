"""The trace of a point: the plot of its readings, the one that is pointed at, and what became of it in words."""

from __future__ import annotations

from typing import Final

from bench.job.rows import Evidence
from bench.job.trace_words import became, celsius, reading_value, story
from bench.screens.job.data import Traced
from bench.screens.job.lists import local, scrolled, why
from bench.screens.job.plot import draw_plot
from bench.screens.job.view import JobView
from bench.screens.program.cells import EMPTY, Line, Span, clip, line, sides, wrap, wrapped

TALL: Final = 28
"""Rows from which the plot may be tall."""
LEAST: Final = 7
"""Rows that a plot needs."""


def trace_page(view: JobView, cells: int, rows: int) -> list[Line]:
    """The whole page."""
    traced = view.traced
    if traced is None:
        reading = f"Reading every record for {view.place.about} ..."
        text = reading if view.working is not None else "Not traced: F5 reads again."
        return [EMPTY, line(Span(view.say(text), "strong"))]
    lines = _upper(view, traced, cells, rows)
    if view.study is None:
        return [*lines, EMPTY, line("No record holds a reading of it."), EMPTY, *_wanted(view, traced, cells)]
    return [*lines, *scrolled(view, words_of(view, cells), max(1, rows - len(lines)))]


def _wanted(view: JobView, traced: Traced, cells: int) -> list[Line]:
    """What has to be shown of a point that nobody has read yet."""
    assert view.survey is not None
    name = traced.point.name
    thing = next((one for one in view.survey.ready.things if one.name == name), None)
    return why(view, thing, cells) if thing is not None else []


def furthest_words(view: JobView, cells: int, rows: int) -> int:
    """How far the words can be scrolled."""
    traced = view.traced
    if traced is None or view.study is None:
        return 0
    return max(0, len(words_of(view, cells)) - max(1, rows - len(_upper(view, traced, cells, rows))))


def _upper(view: JobView, traced: Traced, cells: int, rows: int) -> list[Line]:
    """What stays while the words are scrolled: the head, the plot, and the reading that is pointed at."""
    study = view.study
    lines = _head(view, traced, cells)
    if study is None:
        return lines
    said = became(study)
    lines += wrapped(view.say(said[:1].upper() + said[1:]), cells, "strong")
    height = min(rows - len(lines) - 5, 18 if rows >= TALL else 10)
    if height >= LEAST:
        told = [one.happened for one in traced.told]
        lines += draw_plot(study, told, view.pointed, cells, height, view.glyphs, lambda at: local(view, at))
    return [*lines, _pointed(view, cells)]


def _head(view: JobView, traced: Traced, cells: int) -> list[Line]:
    study = view.study
    count = sum(len(one.rows) for one in traced.studies)
    right = line(Span(f"{count} reading{'s' if count != 1 else ''}", "dim"))
    tag: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if traced.simulated else []
    where = traced.point.where or traced.point.kind
    left = line(*tag, Span(view.say(traced.point.name), "title"), Span(f"  {view.say(where)}", "dim"))
    found = [sides(left, right, cells, view.glyphs.ellipsis)]
    if study is not None:
        number = min(view.series, len(traced.studies) - 1) + 1
        of = f"{number} of {len(traced.studies)}: " if len(traced.studies) > 1 else ""
        found.append(
            clip(line(Span(of, "dim"), view.say(f"{study.key.text} ({study.subject})")), cells, view.glyphs.ellipsis)
        )
    for error in traced.broken[:2]:
        found.append(clip(line(Span(view.say(f"not read: {error}"), "fail")), cells, view.glyphs.ellipsis))
    return found


def _pointed(view: JobView, cells: int) -> Line:
    """The reading that is pointed at, with its conditions."""
    study = view.study
    assert study is not None
    row = study.rows[view.pointed]
    return clip(
        line(
            Span(f"{view.glyphs.point} ", "point"),
            Span(f"{local(view, row.at)} ", "dim"),
            Span(f"{view.glyphs.mark(row.verdict)} {row.verdict} ", row.verdict),
            Span(view.say(reading_value(row)), "strong"),
            Span(f"  {view.say(_conditions(row))}", "dim"),
        ),
        cells,
        view.glyphs.ellipsis,
    )


def _conditions(row: Evidence) -> str:
    return ", ".join(part for part in (row.meter, row.operator, celsius(row)) if part)


def words_of(view: JobView, cells: int) -> list[Line]:
    """What became of it, in words that are wrapped as they are set in.

    Args:
        view: the moment, with a series of a point.
        cells: width.
    """
    study = view.study
    assert study is not None
    lines: list[Line] = []
    for text in (*story(study, lambda at: local(view, at)), *_said(view)):
        bare = text.lstrip()
        lead = max(0, len(text) - len(bare) - 2)
        for number, part in enumerate(wrap(view.say(bare), max(8, cells - lead - 2))):
            lines.append(line(" " * (lead + (2 if number else 0)), part))
    if not lines:
        lines.append(line(Span("Nothing stands out.", "dim")))
    return lines


def _said(view: JobView) -> tuple[str, ...]:
    """What consoles of the plant said when the reading of this series was first bad."""
    traced = view.traced
    if traced is None or not traced.said:
        return ()
    return traced.said[min(view.series, len(traced.studies) - 1)]
