"""The stages of first power, drawn: what is live, what is next, and what every stage and every breaker has.

Two pages: while a load comes up, its current as it is now, against its window, with the way it took; at any other step,
where a key opened it, the stages alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from bench.quantity import engineering
from bench.screens.program.cells import (
    EMPTY,
    Line,
    Span,
    beside,
    centred,
    clip,
    cut,
    line,
    parted,
    sides,
    width,
    wrapped,
)
from bench.screens.walk import stage_words, stages
from bench.screens.walk.scrolled import Body, scrolled
from bench.screens.walk.stages import Headroom, Stage, Standing
from bench.screens.walk.view import View
from bench.screens.widgets import digits, scale

if TYPE_CHECKING:
    from bench.runner.protocol import Rise

NARROW: Final = 45
"""Cells below which the stages are not read beside the breakers: these stand below them then."""
WIDE: Final = 100
"""Cells from which a stage shows all it has beside the breakers."""
_STYLES: Final = {
    "up": "pass",
    "on": "alarm",
    "now": "alarm",
    "next": "accent",
    "ahead": "dim",
    "failed": "fail",
    "undecided": "undecided",
    "void": "void",
    "passed over": "skipped",
    "skipped": "skipped",
}
_WORDS: Final = {"on": "ON", "now": "NOW", "ahead": ""}
"""Places that are shown as another word."""


def body(view: View, cells: int, rows: int) -> Body:
    """The page of a load that comes up, or of the stages alone."""
    stands = stages.standing(view.state)
    if stands is None:
        return Body([(Span("This sequence brings nothing up.", "dim"),)])
    if view.page.kind == "energise":
        return _coming_up(view, stands, cells, rows)
    return _alone(view, stands, cells, rows)


# the stages alone


def _alone(view: View, stands: Standing, cells: int, rows: int) -> Body:
    title = parted(
        line(Span(view.say(f"The stages of {stands.group}"), "title")),
        line(Span(view.say(f"asked now: {view.page.title}"), "dim")),
        cells,
    )
    lines = [*title, *_sources(view, stands, cells), EMPTY]
    # what is wrong comes before what is right: the table may be longer than the screen
    for stage in stands.stages:
        if stage.finding:
            lines += [*wrapped(view.say(_found(stage)), cells, "fail"), EMPTY]
    lines += [*_stage_table(view, stands.stages, cells), EMPTY, *_breaker_table(view, stands.breakers, cells)]
    return scrolled(view, lines, rows)


def _found(stage: Stage) -> str:
    """A finding in a sentence: a shelf that draws too little is one as much as one that draws too much."""
    word = stages.FINDINGS.get(stage.finding, stage.finding)
    hint = stages.HINTS.get(stage.finding, "")
    shown = (
        f": {stage_words.amps(stage.measured)} where {stage_words.amps(stage.expected)} is expected"
        if stage.measured
        else ""
    )
    return f"{stage.title}: {word}{shown}.{f' Look for {hint}.' if hint else ''}"


def _sources(view: View, stands: Standing, cells: int) -> list[Line]:
    """What is live, what this program cannot switch off, and what comes next."""
    lines: list[Line] = []
    for text in stands.live:
        lines += _headed(view, " LIVE ", "word", text, cells)
    if not stands.live:
        lines += _headed(view, " live ", "dim", "nothing, as far as this walk knows", cells)
    for text in stands.beyond:
        lines += wrapped(view.say(text), cells, "alarm")
    following = stands.next or "nothing more becomes live"
    return [*lines, *_headed(view, " next ", "dim", following, cells)]


def _headed(view: View, head: str, style: str, text: str, cells: int) -> list[Line]:
    first, *rest = wrapped(view.say(text), cells - 7) or [EMPTY]
    return [line(Span(head, style), " ", *first), *(line("       ", *part) for part in rest)]


# a load that comes up


def _coming_up(view: View, stands: Standing, cells: int, rows: int) -> Body:
    now = view.page
    tall = rows >= 30
    head: list[Line] = [(Span(cut(now.title, cells, view.glyphs.ellipsis), "title"),)]
    sources = _sources(view, stands, cells)
    lines = head + (sources if tall else [one for one in sources if one][:2])
    if tall:
        lines.append(EMPTY)
    narrow = cells < NARROW + 20 and rows >= len(lines) + 12
    lines += _now(view, stands, cells, 7 if tall or narrow else 5)
    lines += [one for one in scale.draw(_gauge(view, stands), cells, view.glyphs) if one]
    said = [one for text in _says(view) for one in wrapped(view.say(text), cells, "hint")]
    course = trend(view, cells, 4 if tall else 1)
    lines += [*(course if len(lines) + len(course) + len(said) <= rows else []), *said]
    room = rows - len(lines) - 1
    if room >= 2:
        lines += [EMPTY, *_tables(view, stands, cells, room)]
    return scrolled(view, lines, rows)


def _says(view: View) -> list[str]:
    ramp, rise = view.state.pending.ramp, view.rise
    if ramp is None:
        return []
    if rise is None:
        return ["The output goes on. The first reading beyond the window switches it off."]
    return stage_words.rise_words(rise, ramp)


def _gauge(view: View, stands: Standing) -> scale.Gauge:
    """The window of the level under way: what the first reading beyond switches off at."""
    ramp, rise = view.state.pending.ramp, view.rise
    if ramp is None:
        return scale.Gauge("A")
    place = min(rise.level, len(ramp.levels) - 1) if rise is not None else 0
    last = place + 1 == len(ramp.levels)
    low = stands.stage.low if stands.stage is not None and last and stands.stage.low > 0 else None
    value = abs(rise.amps) if rise is not None and rise.amps is not None else None
    return scale.Gauge("A", low=low, high=ramp.levels[place].most_a, value=value)


def _now(view: View, stands: Standing, cells: int, height: int) -> list[Line]:
    """The current in large digits, the voltage beside it, and what is asked."""
    rise, gauge = view.rise, _gauge(view, stands)
    text = "" if rise is None or rise.amps is None else engineering(abs(rise.amps), "A", digits=3)
    if rise is not None and rise.amps is None:
        text = "OVER"
    side = max(19, cells // 4)
    if height >= 7 and not _fits(text, cells - 2 * side) and _fits(text, cells):
        return _stacked(view, stands, text, cells)
    drawn = _digits(view, text, cells - 2 * side, height)
    left = _volts(view, rise)
    right: list[Line] = [(Span("window", "dim"),), (Span(view.say(gauge.bounds), "wall"),)]
    if stands.stage is not None and stands.stage.expected is not None:
        right += [
            EMPTY,
            (Span("expected at the top", "dim"),),
            (Span(stage_words.amps(stands.stage.expected), "strong"),),
        ]
    found = []
    for number in range(height):
        a = clip(left[number] if number < len(left) else EMPTY, side, view.glyphs.ellipsis)
        b = clip(right[number] if number < len(right) else EMPTY, side, view.glyphs.ellipsis)
        middle = centred(drawn[number] if number < len(drawn) else EMPTY, cells - 2 * side)
        pad = cells - 2 * side - width(middle)
        found.append((*a, Span(" " * (side - width(a))), *middle, Span(" " * (pad + side - width(b))), *b))
    return found


def _fits(text: str, cells: int) -> bool:
    return bool(text) and digits.can_draw(text) and digits.drawn_width(text, 5) <= cells


def _stacked(view: View, stands: Standing, text: str, cells: int) -> list[Line]:
    """The same over the whole width, where that is small: what belongs to the digits stands above them."""
    ellipsis = view.glyphs.ellipsis
    told: list[Span | str] = []
    for one in _volts(view, view.rise)[1:]:
        told += [*(["  "] if told else []), *one]
    window = line(Span("window ", "dim"), Span(view.say(_gauge(view, stands).bounds), "wall"))
    expected: Line = EMPTY
    if stands.stage is not None and stands.stage.expected is not None:
        expected = line(Span("expected ", "dim"), Span(stage_words.amps(stands.stage.expected), "strong"))
    above = [clip(line(*told), cells, ellipsis), sides(window, expected, cells, ellipsis)]
    return [*above, *(centred(one, cells) for one in _digits(view, text, cells, 5))]


def _digits(view: View, text: str, cells: int, height: int) -> list[Line]:
    for high in (height, 5):
        if text and digits.can_draw(text) and digits.drawn_width(text, high) <= cells:
            return [(Span(row, "digits"),) for row in digits.draw(text, high, view.glyphs)]
    waiting = "waiting for the first reading" if cells >= 30 else "waiting ..."
    return [EMPTY, EMPTY, (Span(text or waiting, "strong"),)]


def _volts(view: View, rise: Rise | None) -> list[Line]:
    ramp = view.state.pending.ramp
    if ramp is None:
        return []
    place = min(rise.level, len(ramp.levels) - 1) if rise is not None else 0
    lines: list[Line] = [
        (Span("NOW" if rise is not None else "", "dim"),),
        (Span(f"level {place + 1} of {len(ramp.levels)}", "strong"),),
        (Span("set ", "dim"), Span(engineering(ramp.levels[place].volts, "V", digits=3), "strong")),
    ]
    if rise is not None and rise.volts is not None:
        lines.append((Span("reads ", "dim"), Span(f"{rise.volts:.2f} V", "strong")))
    if rise is not None and place + 1 == len(ramp.levels):
        settled = rise.settled is not None
        lines.append((Span("settled" if settled else "not settled", "pass" if settled else "undecided"),))
    return lines


def trend(view: View, cells: int, rows: int) -> list[Line]:
    """The way of the current since the output went on, as bars: as many columns as there are cells."""
    points = view.trend
    if len(points) < 2 or cells < 20 or rows < 1:
        return []
    first, last = points[0][0], points[-1][0]
    span = max(last - first, 1e-9)
    most = max(1e-9, *(value for _, value in points))
    label = f" {engineering(most, 'A', digits=2)} at the most, {last - first:.0f} s "
    room = cells - (width(view.say(label)) if rows == 1 else 0)
    columns: list[float] = [0.0] * room
    filled = [False] * room
    for t, value in points:
        place = min(room - 1, int((t - first) / span * room))
        columns[place], filled[place] = max(columns[place], value), True
    for place in range(1, room):
        if not filled[place]:
            columns[place] = columns[place - 1]
    levels = view.glyphs.levels
    lines: list[Line] = []
    for row in range(rows - 1, -1, -1):
        signs = []
        for value in columns:
            part = value / most * rows - row
            height = max(0, min(len(levels), round(part * len(levels))))
            signs.append(levels[height - 1] if height else " ")
        lines.append((Span("".join(signs), "band"),))
    if rows == 1:
        return [(*lines[0], Span(view.say(label), "dim"))]
    return [*lines, sides(EMPTY, line(Span(view.say(label), "dim")), cells)]


# tables


def _tables(view: View, stands: Standing, cells: int, rows: int) -> list[Line]:
    """Stages at the left, breakers at the right."""
    right = 46 if cells >= WIDE else 26
    left = cells - right - 1
    if left < NARROW:
        loads = _breaker_table(view, stands.breakers, cells)[: max(0, rows - 4)]
        return [*_windowed(_stage_table(view, stands.stages, cells), stands, rows - len(loads)), *loads]
    table = _stage_table(view, stands.stages, left)
    stages_now = _windowed(table, stands, rows)
    return beside(stages_now, _breaker_table(view, stands.breakers, right)[:rows], cells)


def _windowed(table: list[Line], stands: Standing, rows: int) -> list[Line]:
    """The head of the stages' table, and of its lines those around where the walk is."""
    head, rest = table[:1], table[1:]
    room = max(1, rows - 1)
    at = next((n for n, stage in enumerate(stands.stages) if stage.place in ("on", "now", "next")), 0)
    top = max(0, min(at - room // 2, len(rest) - room))
    return [*head, *rest[top : top + room]]


def _stage_table(view: View, found: Sequence[Stage], cells: int) -> list[Line]:
    """One line for each stage: its mark, title, expected and measured current, voltage at the shelf, and a word."""
    volts = cells >= 66
    fixed = 2 + 9 + 9 + (20 if volts else 0) + 11
    longest = max((width(view.say(stage.title)) for stage in found), default=0)
    name = max(6, min(cells - fixed, longest + 2))
    head = f"  {'stage':<{name}}{'expected':>9}{'measured':>9}"
    head += f"{'V expected':>12}{'read':>8}" if volts else ""
    lines: list[Line] = [(Span(head, "dim"),)]
    for stage in found:
        style = _STYLES[stage.place] if not stage.finding or stage.finding == "reforms" else "fail"
        title = cut(view.say(stage.title), name - 1, view.glyphs.ellipsis)
        expected, measured = (view.say(stage_words.amps(one)) for one in (stage.expected, stage.measured))
        text = f"{title:<{name}}{expected:>9}{measured:>9}"
        row = [Span(f"{_mark(view, stage)} ", style), Span(text, "strong" if stage.place in ("on", "now") else "")]
        if volts:
            row.append(Span(_drop_cells(stage)))
        word = stages.FINDINGS.get(stage.finding, "") or _WORDS.get(stage.place, stage.place)
        lines.append(clip((*row, Span(f" {word}", style)), cells, view.glyphs.ellipsis))
    return lines


def _drop_cells(stage: Stage) -> str:
    """The voltage that fits worst: the inlet whose reading is farthest from what is expected."""
    if not stage.drops:
        return " " * 20
    worst = max(stage.drops, key=lambda drop: abs((drop.measured or drop.expected) - drop.expected))
    read = f"{worst.measured:.2f}" if worst.measured is not None else ""
    return f"{worst.expected:>12.2f}{read:>8}"


def _mark(view: View, stage: Stage) -> str:
    glyphs = view.glyphs
    signs = {
        "up": glyphs.passed,
        "on": glyphs.full,
        "now": glyphs.up,
        "next": glyphs.more_right,
        "failed": glyphs.failed,
        "undecided": glyphs.undecided,
        "void": glyphs.void,
        "passed over": glyphs.skipped,
        "skipped": glyphs.skipped,
    }
    return signs.get(stage.place, glyphs.free)


def _breaker_table(view: View, found: Sequence[Headroom], cells: int) -> list[Line]:
    """One line for each breaker: what it carries, what it may carry, what is left, and how full it is."""
    if not found:
        return [(Span("no breaker carries anything", "dim"),)]
    bar = max(0, min(20, cells - 26 - 2))
    lines: list[Line] = [(Span(f"{'breaker':<8}{'A':>6}{'of':>6}{'left':>6}", "dim"),)]
    for one in found:
        carried = one.measured if one.measured is not None else one.expected
        style = "fail" if one.left < 0 else "undecided" if one.left < 0.1 * one.allowed else ""
        name = cut(view.say(one.breaker), 8, view.glyphs.ellipsis)
        text = f"{name:<8}{carried:>6.2f}{one.allowed:>6.3g}{one.left:>6.2f}"
        full = round(bar * min(1.0, max(carried, one.expected) / one.allowed)) if one.allowed > 0 else bar
        drawn = (Span(view.glyphs.full * full, "accent"), Span(view.glyphs.empty * (bar - full), "scale"))
        lines.append((Span(text, style), *((Span("  "), *drawn) if bar else ())))
    return lines
