"""From a moment of the job screen to its lines. Pure: the same moment always looks the same."""

from __future__ import annotations

from collections.abc import Sequence

from bench.screens.job.keys import keys
from bench.screens.job.pages import body, furthest
from bench.screens.job.view import TABS, TITLES, JobView, Page
from bench.screens.program.cells import EMPTY, Line, Span, clip, line, sides, width
from bench.screens.program.keys import TAKE, Key, key_line, one_row
from bench.screens.program.picture import Picture, filled, framed, inner, note_line


def paint_job(view: JobView, cells: int, rows: int, known: Sequence[Key] | None = None) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``.

    Args:
        view: the moment.
        cells: width.
        rows: height.
        known: its keys, where they are worked out already.
    """
    within = inner(cells)
    head = [_head(view, within), _tabs(view, within)]
    foot = _foot(view, keys(view) if known is None else known, within)
    room = max(0, rows - len(head) - len(foot))
    lines = [*head, *filled(body(view, within, room), room), *foot][:rows]
    return Picture(framed(lines, cells, view.glyphs), furthest(view, cells, rows))


def _head(view: JobView, cells: int) -> Line:
    survey = view.survey
    title = view.say(survey.title) if survey is not None else "Proveout"
    tag: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if survey is not None and survey.simulated else []
    right = line(Span(view.now.strftime("%H:%M"), "dim"))
    return sides(line(*tag, Span(title, "accent")), right, cells, view.glyphs.ellipsis)


def _tabs(view: JobView, cells: int) -> Line:
    """The pages with their figures; the current one stands out by brackets, too. The rest is a rule."""
    at = view.place.page
    whole = _named(at, TABS)
    return _ruled(view, whole if width(whole) <= cells else _named(at, ()), cells)


def _named(at: Page, named: Sequence[Page]) -> Line:
    """The pages' figures, each with its name where that is wanted; the current one always has it."""
    spans: list[Span | str] = []
    for number, page in enumerate(TABS, 1):
        here = page == at
        title = f"[{TITLES[page]}] " if here else f" {TITLES[page]}  " if page in named else "  "
        spans += [Span(str(number), "key"), Span(title, "title" if here else "dim")]
    return line(*spans)


def _ruled(view: JobView, tabs: Line, cells: int) -> Line:
    at = view.place.page
    name = line(Span(f"[{TITLES[at]}]", "title")) if at not in TABS else EMPTY
    tabs = (*tabs, *name) if width(tabs) + width(name) <= cells else tabs
    tabs = clip(tabs, cells, view.glyphs.ellipsis)
    return (*tabs, Span(view.glyphs.rule * max(0, cells - width(tabs)), "rule"))


def _foot(view: JobView, known: Sequence[Key], cells: int) -> list[Line]:
    """Two lines: a note, or how far the work is, or keys; and keys."""
    wanted = [one for one in known if not one.does.startswith("go ") or one.keys == TAKE]
    ellipsis = view.glyphs.ellipsis
    if view.note:
        return [note_line(view.note, cells, view.glyphs), one_row(wanted, cells, ellipsis)]
    if view.working is not None:
        return [_work(view, cells), one_row(wanted, cells, ellipsis)]
    own = [one for one in wanted if one.does not in ("actions", "reread", "theme", "help", "leave", "back")]
    rest = [one for one in wanted if one not in own]
    if not own or view.help or view.typed is not None or view.typing:
        return [EMPTY, one_row(wanted, cells, ellipsis)]
    return [one_row(own, cells, ellipsis), one_row(rest, cells, ellipsis) if rest else key_line([])]


def _work(view: JobView, cells: int) -> Line:
    """What is being worked at, as a bar and in figures."""
    work = view.working
    assert work is not None
    size = min(24, max(0, cells - 50))
    if work.of:
        full = round(size * min(1.0, work.done / work.of))
        bar = (Span(view.glyphs.full * full, "accent"), Span(view.glyphs.empty * (size - full), "scale"))
        return (*bar, *line(f" {view.say(work.title)}: {work.done} of {work.of}"))
    return line(Span(f"{view.say(work.title)} ...", "hint"))
