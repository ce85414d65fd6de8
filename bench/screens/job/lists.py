"""The lists of the job screen: a line for each task, thing, sequence, bench, record, point, and the window on them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Final

from bench.job.readiness import STATUSES, ClaimState, Status, Task, ThingState
from bench.job.study import Study
from bench.job.trace_words import became
from bench.say.lists import count
from bench.screens.job.data import BenchLine, EndLine, RecordLine, SequenceLine
from bench.screens.job.view import TITLES, Item, JobView
from bench.screens.program.cells import EMPTY, Line, Span, clip, cut, line, text_of, width, wrap
from bench.screens.program.glyphs import Glyphs

VERDICT_OF: Final[dict[Status, str]] = {
    "proven": "pass",
    "connected": "undecided",
    "failing": "fail",
    "undecided": "undecided",
    "void": "void",
    "never tested": "",
}
"""The mark and style of a status are those of the verdict that it comes from."""
MOST: Final = 12
"""How many reasons are told of one thing."""
TALLY: Final = 16
"""Cells for the counts of a record's readings."""
SHOWN: Final[tuple[Status, ...]] = ("proven", "connected", *STATUSES[:4])
"""The order in which statuses are counted."""


def sign_of(status: Status, glyphs: Glyphs) -> str:
    """The mark of a status; each has a shape of its own."""
    return glyphs.mark("connected" if status == "connected" else VERDICT_OF[status])


def mark_of(status: Status, glyphs: Glyphs) -> Span:
    """A status as a mark that differs in shape as well as in colour."""
    return Span(sign_of(status, glyphs), VERDICT_OF[status] or "dim")


def counted(statuses: Iterable[Status]) -> tuple[Status, ...]:
    """The statuses that have a column: ``connected`` only where something stands there."""
    known = set(statuses)
    return tuple(one for one in SHOWN if one != "connected" or one in known)


def window(items: Sequence[Item], cursor: int, rows: int) -> tuple[int, int]:
    """The part of a list that is shown: its first line, and the line after its last. The cursor stays in its middle."""
    rows = max(0, rows)
    top = max(0, min(cursor - rows // 2, len(items) - rows))
    return top, min(len(items), top + rows)


def draw_list(view: JobView, items: Sequence[Item], cells: int, rows: int, lead: bool = False) -> list[Line]:
    """The visible part of a list. Only the lines that are seen are made, however long it is.

    Args:
        view: the moment.
        items: the list.
        cells: width in terminal cells.
        rows: height in lines.
        lead: put the name of its list before the first line of each.
    """
    first, last = window(items, view.cursor, rows)
    names = {**TITLES, "ready": "failing"}
    side = max((width(names[item.page]) for item in items), default=0) + 2 if lead else 0
    found = []
    for place in range(first, last):
        item = items[place]
        chosen = place == view.cursor
        here = Span(f"{view.glyphs.more_right} " if chosen else "  ", "key")
        heads = place == first or items[place - 1].page != item.page
        label = (Span((names[item.page] if heads else "").ljust(side), "accent"),) if lead else ()
        content = draw_item(view, item, cells - side - 2)
        if chosen:
            text = text_of(content)
            content = (Span(text + " " * max(0, cells - side - 2 - width(text)), "cursor"),)
        found.append((*label, here, *content))
    return found


def draw_item(view: JobView, item: Item, cells: int) -> Line:
    """A line of a list."""
    value = item.value
    match value:
        case int():
            found: Line = line(Span(f"{value} more", "hint"))
        case Task():
            found = _task(view, value, item.number)
        case ThingState():
            found = _thing(view, value, cells)
        case SequenceLine():
            found = _sequence(view, value)
        case RecordLine():
            found = _record(view, value, cells)
        case BenchLine():
            found = _bench(view, value)
        case EndLine():
            found = _end(view, value)
        case Study():
            found = _study(view, value)
    return clip(found, cells, view.glyphs.ellipsis)


def _task(view: JobView, task: Task, number: int) -> Line:
    statuses = [one.status for one in task.claims]
    status: Status = next((one for one in STATUSES if one in statuses), "never tested")
    return line(Span(f"{number:3} ", "dim"), mark_of(status, view.glyphs), f" {view.say(task.text)}")


def _thing(view: JobView, one: ThingState, cells: int) -> Line:
    count = sum(one.counts.values())
    counts = f"{one.counts.get('proven', 0)} of {count}" if count else "-"
    verdict = VERDICT_OF[one.status]
    title = cut(view.say(one.title), max(0, cells - 43), view.glyphs.ellipsis)
    return line(
        mark_of(one.status, view.glyphs),
        Span(f" {one.status:13}", verdict or "dim"),
        Span(f"{one.kind:6} ", "dim"),
        Span(f"{view.say(one.name):9} ", "strong"),
        f"{counts:>10}  ",
        Span(title, "dim"),
    )


def _sequence(view: JobView, one: SequenceLine) -> Line:
    if one.wrong:
        return line(Span(view.glyphs.failed, "fail"), f" {view.say(one.name)}: ", Span("cannot be walked", "fail"))
    return line(Span(view.glyphs.done, "accent"), f" {view.say(one.name)}  ", Span(f"{one.steps} steps", "dim"))


def _bench(view: JobView, one: BenchLine) -> Line:
    glyphs = view.glyphs
    if one.wrong:
        return line(Span(glyphs.failed, "fail"), f" {view.say(one.name)}: ", Span("cannot be used", "fail"))
    sequence = sequence_at(view)
    lacks = one.lacks(sequence) if sequence is not None else ()
    kind: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if one.simulated else []
    if lacks:
        missing = Span(f"has no {', '.join(lacks)}  ", "undecided")
        return line(Span(glyphs.failed, "fail"), " ", *kind, missing, view.say(one.name))
    return line(Span(glyphs.passed, "pass"), " ", *kind, view.say(one.name))


def _end(view: JobView, one: EndLine) -> Line:
    mark = Span(view.glyphs.passed, "pass") if one.sure else Span(view.glyphs.undecided, "undecided")
    return line(mark, Span(f" {view.say(one.name):7} ", "strong"), Span(f"{view.say(one.where):24.24} ", "dim"),
                view.say(one.fits))  # fmt: skip


def sequence_at(view: JobView) -> SequenceLine | None:
    """The sequence that a bench is being chosen for."""
    if view.survey is None or view.place.page != "bench":
        return None
    return next((one for one in view.survey.sequences if one.path == view.place.about), None)


def _record(view: JobView, one: RecordLine, cells: int) -> Line:
    counts = tally(one, view.glyphs)
    style = "fail" if one.broken else "hint" if one.live or one.open else "dim"
    name = one.sequence or one.name
    room = max(8, cells - 17 - 13 - TALLY)
    text = cut(view.say(name), room, view.glyphs.ellipsis)
    return line(
        Span(f"{local(view, one.began):17}", "dim"),
        text + " " * (room - width(text)),
        Span(f"  {one.told:11}", style),
        *counts,
    )


def tally(one: RecordLine, glyphs: Glyphs) -> Line:
    """How many readings of a record have which verdict, each count with its mark."""
    found: list[Span | str] = []
    for verdict, number in one.counts:
        found += [" "] if found else []
        found.append(Span(f"{glyphs.mark(verdict)}{number}", verdict))
    return line(*found) if found else EMPTY


def _study(view: JobView, one: Study) -> Line:
    window = one.window
    if window is None:
        newest = one.rows[-1].verdict if one.rows else ""
        return line(
            Span(f"{local(view, one.rows[-1].at) if one.rows else '':16} ", "dim"),
            Span(view.glyphs.mark(newest), newest),
            Span(f" {view.say(one.subject):12} ", "strong"),
            view.say(became(one)),
        )
    verdict = window.first_bad.verdict if window.mended is None else "pass"
    odd = view.changes is not None and window.sides[1].record in view.changes.odd
    again = f"passes since {local(view, window.mended[1].at)[:10]}; " if window.mended is not None else ""
    return line(
        Span(f"{local(view, window.first_bad.at)} ", "dim"),
        Span(view.glyphs.mark(verdict), verdict),
        Span(f" {view.say(one.subject):12} ", "strong"),
        Span("the meter? " if odd else "", "undecided"),
        f"{again}{view.say(became(one))}",
    )


def local(view: JobView, at: str) -> str:
    """A record's time of day on the clock of this screen: ``2026-05-12 20:42``; the text itself where it is no time."""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return at[:16]
    zone = view.now.tzinfo or UTC
    return moment.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def shares(counts: Callable[[Status], int], glyphs: Glyphs) -> Line:
    """Counts by status, each with mark and word."""
    found: list[Span | str] = []
    for status in SHOWN:
        count = counts(status)
        if count:
            found += ["  "] if found else []
            verdict = VERDICT_OF[status]
            found.append(Span(f"{sign_of(status, glyphs)} {count} {status}", verdict or "dim"))
    return line(*found) if found else line(Span("nothing", "dim"))


def why(view: JobView, one: ThingState, cells: int) -> list[Line]:
    """Why a thing is not proven, claim by claim."""
    text = f"{one.kind} {one.name}{f': {one.title}' if one.title else ''}"
    lines: list[Line] = [
        line(Span(view.say(text), "strong")),
        shares(lambda status: one.counts.get(status, 0), view.glyphs),
    ]
    if not one.states:
        lines[-1] = line(Span("nothing has to be shown of it", "dim"))
    lines += _gates(view, one, cells)
    if one.loose:
        lines.append(line(Span(f"{one.loose} of its conductors are not landed at both ends yet", "dim")))
    same: dict[tuple[Status, str], list[str]] = {}
    for claim in sorted(one.states, key=lambda claim: STATUSES.index(claim.status)):
        if claim.status != "proven":
            same.setdefault((claim.status, reason(claim)), []).append(claim.claim.about)
    for (status, text), names in list(same.items())[:MOST]:
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        first, *rest = wrap(view.say(f"{names[0]}{more}: {text}"), cells - 2) or [""]
        lines.append(line(mark_of(status, view.glyphs), f" {first}"))
        lines += [line(f"  {part}") for part in rest]
    return lines


def _gates(view: JobView, one: ThingState, cells: int) -> list[Line]:
    """For a shelf, what keeps it from its first power and its cards."""
    gates = view.survey.ready.gates if view.survey is not None and one.kind == "shelf" else ()
    found = []
    for gate in gates:
        if gate.shelf == one.name:
            names = ", ".join(task_name(*blocker) for blocker in gate.blockers)
            text = Span(view.say(f"waits for {names}"), "") if names else Span("clear", "pass")
            found.append(clip(line(Span(f"{gate.gate}: ", "dim"), text), cells, view.glyphs.ellipsis))
    return found


def task_name(kind: str, about: str) -> str:
    """A task as short as can be: ``WA1``, ``earth``, ``polarity of 2A``."""
    if kind == "cable":
        return about
    return f"{kind} of {about}" if about else kind


def reason(one: ClaimState) -> str:
    """Why a claim is not proven, without the verdict's word, which its mark says; what has to be shown where nobody
    looked."""
    text = one.why or f"to be shown: {one.claim.text.removeprefix(f'{one.claim.about} ')}"
    for word in ("Void: ", "Fail: ", "Undecided: "):
        text = text.removeprefix(word)
    return text.removeprefix(f"{one.claim.about}: ")


def scrolled(view: JobView, lines: list[Line], rows: int) -> list[Line]:
    """The lines that are seen of a page that may be longer than the screen, with how many more there are."""
    top = max(0, min(view.scroll, len(lines) - rows))
    shown = lines[top : top + rows]
    if more := len(lines) - top - len(shown):
        shown[-1:] = [line(Span(f"{view.glyphs.down} {count(more + 1, 'more line')}: arrow keys", "hint"))]
    return shown
