"""The trace of a point: the plot of its readings, the one that is pointed at, and what became of it in words."""

from __future__ import annotations

from typing import Final

from bench.job.rows import Evidence
from bench.job.trace_words import became, celsius, reading_value, story
from bench.screens.job.data import Traced
from bench.screens.job.lists import local, why
from bench.screens.job.plot import draw_plot
from bench.screens.job.view import Hall
from bench.screens.program.cells import EMPTY, Line, Span, clip, line, sides, wrap

TALL: Final = 28
"""Rows from which the plot may be tall."""
LEAST: Final = 7
"""Rows that a plot needs."""


def trace_page(hall: Hall, cells: int, rows: int) -> list[Line]:
    """The whole page."""
    traced = hall.traced
    if traced is None:
        reading = f"Reading every record for {hall.place.about} ..."
        text = reading if hall.working is not None else "Not traced: u traces it."
        return [EMPTY, line(Span(hall.say(text), "strong"))]
    lines = _upper(hall, traced, cells, rows)
    if hall.study is None:
        return [*lines, EMPTY, line("No record holds a reading of it."), EMPTY, *_wanted(hall, traced, cells)]
    words, room = _words(hall, cells), max(1, rows - len(lines))
    top = max(0, min(hall.scroll, len(words) - room))
    shown = words[top : top + room]
    more = len(words) - top - len(shown)
    if more:
        shown[-1] = line(Span(f"{hall.glyphs.down} {more + 1} more lines: arrow keys", "hint"))
    return [*lines, *shown]


def _wanted(hall: Hall, traced: Traced, cells: int) -> list[Line]:
    """What has to be shown of a point that nobody has read yet."""
    assert hall.survey is not None
    name = traced.point.name
    thing = next((one for one in hall.survey.ready.things if one.name == name), None)
    return why(hall, thing, cells) if thing is not None else []


def furthest_words(hall: Hall, cells: int, rows: int) -> int:
    """How far the words can be scrolled."""
    traced = hall.traced
    if traced is None or hall.study is None:
        return 0
    return max(0, len(_words(hall, cells)) - max(1, rows - len(_upper(hall, traced, cells, rows))))


def _upper(hall: Hall, traced: Traced, cells: int, rows: int) -> list[Line]:
    """What stays while the words are scrolled: the head, the plot, and the reading that is pointed at."""
    study = hall.study
    lines = _head(hall, traced, cells)
    if study is None:
        return lines
    said = became(study)
    lines.append(clip(line(Span(hall.say(said[:1].upper() + said[1:]), "strong")), cells, hall.glyphs.ellipsis))
    height = min(rows - len(lines) - 5, 18 if rows >= TALL else 10)
    if height >= LEAST:
        told = [one.happened for one in traced.told]
        lines += draw_plot(study, told, hall.pointed, cells, height, hall.glyphs, lambda at: local(hall, at))
    return [*lines, _pointed(hall, cells)]


def _head(hall: Hall, traced: Traced, cells: int) -> list[Line]:
    study = hall.study
    count = sum(len(one.rows) for one in traced.studies)
    right = line(Span(f"{count} reading{'s' if count != 1 else ''}", "dim"))
    tag: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if traced.simulated else []
    where = traced.point.where or traced.point.kind
    left = line(*tag, Span(hall.say(traced.point.name), "title"), Span(f"  {hall.say(where)}", "dim"))
    found = [sides(left, right, cells, hall.glyphs.ellipsis)]
    if study is not None:
        number = min(hall.series, len(traced.studies) - 1) + 1
        of = f"{number} of {len(traced.studies)}: " if len(traced.studies) > 1 else ""
        found.append(
            clip(line(Span(of, "dim"), hall.say(f"{study.key.text} ({study.subject})")), cells, hall.glyphs.ellipsis)
        )
    for error in traced.broken[:2]:
        found.append(clip(line(Span(hall.say(f"not read: {error}"), "fail")), cells, hall.glyphs.ellipsis))
    return found


def _pointed(hall: Hall, cells: int) -> Line:
    """The reading that is pointed at, with its conditions."""
    study = hall.study
    assert study is not None
    row = study.rows[hall.pointed]
    return clip(
        line(
            Span(f"{hall.glyphs.point} ", "point"),
            Span(f"{local(hall, row.at)} ", "dim"),
            Span(f"{hall.glyphs.mark(row.verdict)} {row.verdict} ", row.verdict),
            Span(hall.say(reading_value(row)), "strong"),
            Span(f"  {hall.say(_conditions(row))}", "dim"),
        ),
        cells,
        hall.glyphs.ellipsis,
    )


def _conditions(row: Evidence) -> str:
    return ", ".join(part for part in (row.meter, row.operator, celsius(row)) if part)


def _words(hall: Hall, cells: int) -> list[Line]:
    """What became of it, in words that are wrapped as they are set in."""
    study = hall.study
    assert study is not None
    lines: list[Line] = []
    for text in story(study, lambda at: local(hall, at)):
        bare = text.lstrip()
        lead = max(0, len(text) - len(bare) - 2)
        for number, part in enumerate(wrap(hall.say(bare), max(8, cells - lead - 2))):
            lines.append(line(" " * (lead + (2 if number else 0)), part))
    if not lines:
        lines.append(line(Span("Nothing stands out.", "dim")))
    return lines
