"""From a moment in the hall to the lines of the screen. Pure: the same moment always looks the same."""

from __future__ import annotations

from bench.screens.job.keys import keys
from bench.screens.job.pages import body
from bench.screens.job.view import TABS, TITLES, Hall
from bench.screens.program.cells import EMPTY, Line, Span, clip, cut, line, shown, sides, width
from bench.screens.walk.paint import MARGIN, key_line, one_row


def paint_hall(hall: Hall, cells: int, rows: int) -> list[Line]:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``."""
    inner = max(1, cells - 2 * MARGIN)
    head = [_head(hall, inner), _tabs(hall, inner)]
    foot = _foot(hall, inner)
    room = max(0, rows - len(head) - len(foot))
    middle = body(hall, inner, room)[:room]
    middle += [EMPTY] * (room - len(middle))
    lines = [*head, *middle, *foot][:rows]
    return shown(((Span(" " * MARGIN), *one) for one in lines), cells, hall.glyphs)


def _head(hall: Hall, cells: int) -> Line:
    survey = hall.survey
    title = hall.say(survey.title) if survey is not None else "Proveout"
    tag: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if survey is not None and survey.simulated else []
    right = line(Span(hall.now.strftime("%H:%M"), "dim"))
    return sides(line(*tag, Span(title, "accent")), right, cells, hall.glyphs.ellipsis)


def _tabs(hall: Hall, cells: int) -> Line:
    """The pages with their figures; the one that one is at stands out by brackets, too. The rest is a rule."""
    spans: list[Span | str] = []
    at = hall.place.page
    for number, page in enumerate(TABS, 1):
        here = page == at
        spans += [
            Span(str(number), "key"),
            Span(f"[{TITLES[page]}] " if here else f" {TITLES[page]}  ", "title" if here else "dim"),
        ]
    if at not in TABS:
        spans.append(Span(f"[{TITLES[at]}]", "title"))
    tabs = clip(line(*spans), cells, hall.glyphs.ellipsis)
    return (*tabs, Span(hall.glyphs.rule * max(0, cells - width(tabs)), "rule"))


def _foot(hall: Hall, cells: int) -> list[Line]:
    """Two lines: a note, or how far the work is, or keys; and keys."""
    known = [one for one in keys(hall) if not one.does.startswith("go ") or one.keys == ("enter", "space")]
    ellipsis = hall.glyphs.ellipsis
    if hall.note:
        return [(Span(cut(f" ! {hall.say(hall.note)} ", cells, ellipsis), "note"),), one_row(known, cells, ellipsis)]
    if hall.working is not None:
        return [_work(hall, cells), one_row(known, cells, ellipsis)]
    own = [one for one in known if one.does not in ("palette", "reread", "theme", "help", "leave", "back")]
    rest = [one for one in known if one not in own]
    if not own or hall.help or hall.palette is not None or hall.typing:
        return [EMPTY, one_row(known, cells, ellipsis)]
    return [one_row(own, cells, ellipsis), one_row(rest, cells, ellipsis) if rest else key_line([])]


def _work(hall: Hall, cells: int) -> Line:
    """What is being worked at, as a bar and in figures."""
    work = hall.working
    assert work is not None
    size = min(24, max(0, cells - 50))
    if work.of:
        full = round(size * min(1.0, work.done / work.of))
        bar = (Span(hall.glyphs.full * full, "accent"), Span(hall.glyphs.empty * (size - full), "scale"))
        return (*bar, *line(f" {hall.say(work.title)}: {work.done} of {work.of}"))
    return line(Span(f"{hall.say(work.title)} ...", "hint"))
