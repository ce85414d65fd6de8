"""The pages of the job screen but for the trace: the plant at a glance, its lists, help, and all actions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final

from msgspec.structs import replace

from bench.job.next_walk import NOTHING_YET, how_of
from bench.job.readiness import Readiness, Task, ThingState
from bench.job.study import Study
from bench.job.trace_words import became, causes
from bench.say.lists import count
from bench.screens.job.data import BenchLine, EndLine, RecordLine, SequenceLine, Survey
from bench.screens.job.keys import actions, keys
from bench.screens.job.lists import (
    SHOWN,
    VERDICT_OF,
    counted,
    draw_list,
    local,
    mark_of,
    reason,
    scrolled,
    sequence_at,
    shares,
    sign_of,
    tally,
    task_name,
    why,
)
from bench.screens.job.trace_page import furthest_words, trace_page
from bench.screens.job.view import ORDERS, TITLES, JobView, Page
from bench.screens.program.cells import EMPTY, Line, Span, beside, clip, line, width, wrap, wrapped
from bench.screens.program.keys import Key, action_list, key_help
from bench.screens.program.picture import inner

_ARROWS: Final = Key("", (), "up down", "", "Move the cursor, or the words of a trace; Page Up, Home and so on too.")
AROUND: Final = 4
"""Lines of head and keys around a page."""
WIDE: Final = 96
"""Cells of a line of running text."""
WHOLE_LINE: Final = 110
"""Cells from which a line of a list has room for what became of a series."""
ABOUT: Final[dict[Page, str]] = {
    "start": "The plant bay by bay, each shelf with the mark of the worst that is known of it; how much is proven; "
    "what holds up the first power. Below it the beginnings of three lists: what to do next, the job's sequences, what "
    "was walked.",
    "ready": "Every shelf, feed, cable and bond with what is proven of it. A thing counts as the worst that is known "
    "of it. Below the list stands why the one under the cursor is not proven.",
    "next": "What to do, in the order that clears most shelves for the least work. Below the list stands what the task "
    "under the cursor is made of.",
    "sequences": "The sequences of the job. Pick one, then pick a bench; the walk takes the screen, and you come back "
    "here when it ends.",
    "bench": "The benches of the job. One that lacks what the sequence needs cannot be taken.",
    "records": "What was walked, the newest first. A record that waits can be continued.",
    "record": "One record: look back at it step by step, go on with it where it stood, or write its report.",
    "changes": "Points whose readings changed over the records, or failed. What a meter may have done stands last.",
    "cables": "The loose ends of the survey, those that are open first, with what each may belong to and its chance. "
    "Below stands what speaks for and against the likeliest; Enter shows the card of the next trip in its place. "
    "'proveout survey JOB' notes more.",
    "series": "Everything that was read of the point: what is in order last.",
    "told": "What was found, line by line: c copies it all.",
    "trace": "Every reading of one point over all records: time runs to the right. The bar of a reading is how far it "
    "may be off, the wall is its limit, an arrow at the foot is something that was touched or remarked. The words "
    "below say where it changed, and what happened in between.",
}


def body(view: JobView, cells: int, rows: int) -> list[Line]:
    """What stands between head and keys; it may be longer than its room, and is then cut."""
    if view.typed is not None:
        return action_list(view, actions(view), cells, rows)
    if view.help:
        return _help(view, cells, rows)
    if view.survey is None:
        return _reading(view, cells, rows)
    if view.place.page == "start":
        return _start(view, view.survey, cells, rows)
    on = _left_on(view, view.survey, cells)
    if view.place.page == "trace":
        return [*on, *trace_page(view, cells, rows - len(on))]
    return [*on, *_PAGES[view.place.page](view, view.survey, cells, rows - len(on))]


def _reading(view: JobView, cells: int, rows: int) -> list[Line]:
    text = "Reading the job ..." if view.working is not None else "The job was not read: F5 reads it again."
    return [EMPTY] * (rows // 3) + [line(Span(text, "strong"))]


# Start


def _start(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    totals = _totals(view, survey.ready) if cells >= 76 else []
    alarm = len(_left_on(view, survey, cells))
    glance = _glance(view, survey, max(3, len(totals), rows - len(view.items) - 5 - alarm))
    upper = beside(glance, totals, cells, ragged=True) if totals else [*glance, _shares_of(view, survey)]
    lines = [*_left_on(view, survey, cells), *upper, *_power(view, survey, cells)]
    if len(lines) + 2 + len(view.items) <= rows:  # the lists are wanted more
        lines.append(_benches(view, survey, cells))
    room = max(3, rows - len(lines) - 1)
    return [*lines, EMPTY, *draw_list(view, view.items, cells, room, lead=True)][:rows]


def _left_on(view: JobView, survey: Survey, cells: int) -> list[Line]:
    """Outputs that a walk left on: before anything else, since somebody may be about to touch what hangs on them."""
    return [one for text in survey.left_on for one in wrapped(view.say(f"OUTPUT ON: {text}"), cells, "alarm")]


def _glance(view: JobView, survey: Survey, rows: int) -> list[Line]:
    """A line for each bay, each shelf with its mark; the worst bays where there is no room for all."""
    states = {one.name: one for one in survey.ready.of_kind("shelf")}
    found = []
    for bay in survey.plant.bays.values():
        parts: list[Span | str] = [Span(f"bay {view.say(bay.name):4}", "dim")]
        for shelf in survey.plant.shelves_of(bay.name):
            one = states.get(shelf.name)
            if one is not None:
                parts += [mark_of(one.status, view.glyphs), f"{view.say(shelf.name)}  "]
        if len(parts) > 1:
            found.append(line(*parts))
    if len(found) > rows:
        more = len(found) - rows + 1
        found = [*found[: rows - 1], line(Span(f"and {count(more, 'more bay')}: 2 shows them", "hint"))]
    return found


def _totals(view: JobView, ready: Readiness) -> list[Line]:
    """How many shelves, feeds, cables and bonds stand where."""
    shown = counted(one.status for one in ready.things)
    marks = [Span(f"{sign_of(one, view.glyphs):>5}", VERDICT_OF[one] or "dim") for one in shown]
    found = [line("         ", *marks)]
    for kind, name in (("shelf", "shelves"), ("feed", "feeds"), ("cable", "cables"), ("bond", "bonds")):
        things = ready.of_kind(kind)
        counts = [sum(1 for one in things if one.status == status) for status in shown]
        figures = [
            Span(f"{count or view.glyphs.dot:>5}", (VERDICT_OF[status] or "dim") if count else "dim")
            for status, count in zip(shown, counts, strict=True)
        ]
        found.append(line(Span(f"{name:9}", "dim"), *figures))
    key = [line(mark_of(one, view.glyphs), Span(f" {one}", "dim")) for one in shown]
    spread: list[Span | str] = []
    for one in key[:3]:
        spread += [*one, "  "]
    rest: list[Span | str] = []
    for one in key[3:]:
        rest += [*one, "  "]
    return [*found, line(*spread), line(*rest)]


def _shares_of(view: JobView, survey: Survey) -> Line:
    things = survey.ready.things
    return shares(lambda status: sum(1 for one in things if one.status == status), view.glyphs)


def _power(view: JobView, survey: Survey, cells: int) -> list[Line]:
    """How many shelves are clear, and what holds up most of the others."""
    gates = survey.ready.gates
    found: list[Span | str] = []
    if not gates:
        return [line(Span("no shelf is on a feed yet", "dim"))]
    for gate in ("first power", "cards in"):
        mine = [one for one in gates if one.gate == gate]
        clear = sum(1 for one in mine if not one.blockers)
        style = "pass" if clear == len(mine) else "strong"
        found += [f"{gate} ", Span(f"{clear} of {len(mine)} shelves clear", style), "   "]
    held = Counter(task_name(*task) for one in gates if one.gate == "first power" for task in one.blockers)
    first = line(*found)
    lines = [first] if width(first) <= cells else [line(*found[:2]), line(*found[3:5])]
    if not held:
        return lines
    parts = [f"{name} ({count(shelves, 'shelf', 'shelves')})" for name, shelves in held.most_common(5)]
    text = f"blocked most by {', '.join(parts)}"
    if width(first) + width(text) <= cells:
        return [(*first, *line(Span(view.say(text), "dim")))]
    return [*lines, *wrapped(view.say(text), cells, "dim", 2 if len(lines) > 1 else 1, view.glyphs.ellipsis)]


def _benches(view: JobView, survey: Survey, cells: int) -> Line:
    """The benches of the job, those with real meters first."""
    names = [f"{one.name}{' (cannot be used)' if one.wrong else ''}" for one in
             sorted(survey.benches, key=lambda one: (bool(one.wrong), one.simulated))]  # fmt: skip
    told = ", ".join(names) or "none; 'proveout ports --ask' makes one"
    count = f"{len(names)} benches: " if len(names) > 1 else "bench: "
    return clip(line(Span(count, "dim"), view.say(told)), cells, view.glyphs.ellipsis)


# Lists with what stands below them


def _listing(
    view: JobView, head: Sequence[Line], below: Sequence[Line], cells: int, rows: int, none: str
) -> list[Line]:
    """A list with a head and, where there is room, what is to be said of the line under the cursor."""
    found = view.items
    pane = min(len(below), max(0, (rows - len(head)) // 2 - 1))
    room = rows - len(head) - (pane + 1 if pane else 0)
    lines = draw_list(view, found, cells, room) if found else wrapped(none, min(cells, WIDE), "dim")
    lines = [*head, *lines]
    if not pane:
        return lines
    lines += [EMPTY] * (rows - pane - 1 - len(lines))
    return [*lines, (Span(view.glyphs.rule * cells, "rule"),), *below[:pane]]


def _sought(view: JobView) -> list[Span | str]:
    """What is looked for in the list, and how it is sorted where that was chosen."""
    chosen = view.orders.get(view.place.page, "")
    order: list[Span | str] = ["   ", Span(chosen, "hint")] if chosen and chosen != ORDERS[view.place.page][0] else []
    if view.typing:
        return [*order, "   ", Span(f"find: {view.say(view.find)}_", "watch")]
    found: list[Span | str] = ["   ", Span(f"find: {view.say(view.find)}", "hint")] if view.find else []
    return [*order, *found]


def _ready(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    found = view.items
    whole = survey.ready.things
    kind = {"all": "everything", "shelf": "shelves"}.get(view.kind, f"{view.kind}s")
    head = line(
        Span(f"{kind}, {view.status}", "title"), Span(f"   {len(found)} of {len(whole)}", "dim"), *_sought(view)
    )
    item = view.item
    below = why(view, item.value, cells) if item is not None and isinstance(item.value, ThingState) else []
    return _listing(view, [head, _shares_of(view, survey)], below, cells, rows, "Nothing stands so.")


def _next(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    head = line(Span("what to do, in the order that clears most", "title"), *_sought(view))
    item = view.item
    below = _made_of(view, item.value, cells) if item is not None and isinstance(item.value, Task) else []
    return _listing(view, [head], below, cells, rows, NOTHING_YET if survey.ready.empty else "Nothing is left to do.")


def _made_of(view: JobView, task: Task, cells: int) -> list[Line]:
    lines = wrapped(view.say(task.text), cells, "strong")
    how = how_of(task)
    if how:
        lines += wrapped(view.say(f"Enter drafts {how}"), cells)
    if task.clears:
        goals = ", ".join(f"{shelf} ({gate})" for shelf, gate in task.clears)
        lines += wrapped(view.say(f"with all before it this clears {goals}"), cells, "pass")
    elif task.holds_up:
        lines.append(line(Span(f"it holds up {count(task.holds_up, 'first power')}", "dim")))
    for claim in task.claims[:12]:
        first, *rest = wrap(view.say(f"{claim.claim.about}: {reason(claim)}"), cells - 2) or [""]
        lines.append(line(mark_of(claim.status, view.glyphs), f" {first}"))
        lines += [line(f"  {part}") for part in rest]
    return lines


def _sequences(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    head = line(Span("sequences of the job", "title"), *_sought(view))
    item = view.item
    below: list[Line] = []
    if item is not None and isinstance(item.value, SequenceLine):
        one = item.value
        below = [line(Span(view.say(one.path), "dim"))]
        if one.roles:
            below.append(line(Span("needs ", "dim"), ", ".join(one.roles)))
        below += wrapped(view.say(one.wrong or one.about), min(cells, WIDE), "fail" if one.wrong else "")
    return _listing(view, [head], below, cells, rows, "The job has no sequence: 'proveout draft' makes one.")


def _bench(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    sequence = sequence_at(view)
    name = sequence.name if sequence is not None else view.place.about
    head = [line(Span("which bench?", "title")), line(Span("to walk ", "dim"), Span(view.say(name), "strong")), EMPTY]
    item = view.item
    below: list[Line] = []
    if item is not None and isinstance(item.value, BenchLine):
        one = item.value
        below = [line(Span(view.say(one.path), "dim"))]
        below += wrapped(view.say(one.wrong), cells, "fail") if one.wrong else []
        if one.instruments:
            below += wrapped(view.say(f"on it: {', '.join(one.instruments)}"), cells)
    return _listing(view, head, below, cells, rows, "The job has no bench: 'proveout ports --ask' makes one.")


def _records(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    where = view.say(f"records in {survey.logs}")
    counted = sum(1 for one in survey.records if not one.why)
    left = len(survey.records) - counted
    text = f"   {count(counted, 'of them counts', 'of them count')}{f', {left} do not' if left else ''}"
    head = line(Span(where, "title"), Span(text, "dim"), *_sought(view))
    item = view.item
    below = _facts(view, item.value, cells) if item is not None and isinstance(item.value, RecordLine) else []
    return _listing(view, [head], below, cells, rows, "Nothing was walked yet.")


def _facts(view: JobView, one: RecordLine, cells: int) -> list[Line]:
    """What is known of a record."""
    lines = [line(Span(view.say(one.name), "strong"))]
    began = f"begun {local(view, one.began)}" if one.began else ""
    parts = [
        part for part in (began, f"by {one.operator}" if one.operator else "", one.bench and f"on {one.bench}") if part
    ]
    lines += wrapped(view.say(", ".join(parts)), cells)
    if one.counts:
        lines.append(tally(one, view.glyphs))
    if one.why:
        lines += wrapped(view.say(f"does not count: {one.why}"), cells, "fail" if one.broken else "undecided")
    return lines


def _record(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    one = view.record
    if one is None:
        return [line(Span("This record is not there any more.", "fail"))]
    title = view.say(one.sequence or one.name)
    lines: list[Line] = [
        EMPTY,
        line(Span(title, "title"), "   ", Span(one.told, "fail" if one.broken else "hint")),
        EMPTY,
    ]
    if one.simulated:
        lines += [line(Span(" SIMULATED ", "tag"), Span("  it proves nothing at a real rack", "dim")), EMPTY]
    lines += _facts(view, one, cells)
    lines.append(EMPTY)
    for key in keys(view):
        if key.does.partition(" ")[0] in ("replay", "resume", "attach", "report", "explain"):
            first, *rest = wrap(key.more, max(8, cells - 10))
            lines.append(line(Span(f" {key.shown} ", "word"), " " * (8 - width(key.shown)), first))
            lines += [line(" " * 10, part) for part in rest]
    return lines


def _told(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    return scrolled(view, _told_lines(view, cells), rows)


def _told_lines(view: JobView, cells: int) -> list[Line]:
    lines: list[Line] = [line(Span(view.say(view.place.about), "title")), EMPTY]
    for text in view.told:
        lead = len(text) - len(text.lstrip())
        for number, part in enumerate(wrap(view.say(text.strip()), max(8, cells - lead - 2)) or [""]):
            lines.append(line(" " * (lead + (2 if number else 0)), part))
    return lines if view.told else [*lines, line(Span("Nothing.", "dim"))]


def _series(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    count = len(view.traced.studies) if view.traced is not None else 0
    text = f"   {len(view.items)} of {count} series"
    head = line(Span(view.say(f"what was read of {view.place.about}"), "title"), Span(text, "dim"), *_sought(view))
    return _listing(view, [head], _of_study(view, survey, cells), cells, rows, "Nothing was read of it.")


def _of_study(view: JobView, survey: Survey, cells: int) -> list[Line]:
    """What the series under the cursor is of, and what became of it where its line has no room for that."""
    item = view.item
    if item is None or not isinstance(item.value, Study):
        return []
    one = item.value
    where = survey.plant.where(one.subject) if one.subject in survey.plant.things else ""
    told = wrapped(view.say(became(one)), cells) if cells < WHOLE_LINE else []
    return [line(Span(view.say(one.key.text), "strong")), *told, *wrapped(view.say(where), cells, "dim")]


def _changes(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    found = view.changes
    if found is None:
        text = "Looking through all records ..." if view.working is not None else "Not looked for yet: u looks again."
        return [EMPTY, line(Span(text, "strong"))]
    count = f"   {len(found.studies)} of {found.series} series changed or failed"
    head = [line(Span("what changed most", "title"), Span(count, "dim"), *_sought(view))]
    for episode in found.episodes[: 3 if rows > 25 else 1]:
        said = next(iter(causes(episode.common)), "").strip()
        text = f"{episode.record}: {len(episode.studies)} changed in this walk{f'; {said}' if said else ''}"
        head += wrapped(view.say(text), cells, "undecided" if episode.common.meter else "hint", 2, view.glyphs.ellipsis)
    head.append(EMPTY)
    return _listing(view, head, _of_study(view, survey, cells), cells, rows, "Nothing changed, and nothing failed.")


def _cables(view: JobView, survey: Survey, cells: int, rows: int) -> list[Line]:
    found = view.cables
    if found is None:
        text = (
            "Working out what belongs together ..."
            if view.working is not None
            else "Not worked out yet: F5 reads again."
        )
        return [EMPTY, line(Span(text, "strong"))]
    head = [line(Span("loose cables", "title"), *_sought(view))]
    for text in found.told[: 4 if rows > 25 else 2]:
        head += wrapped(view.say(text), cells, "hint", 2, view.glyphs.ellipsis)
    item = view.item
    below: list[Line] = []
    if view.card:
        card = found.card or ("Nothing is left to try that would tell anything.",)
        below = [clip(line(view.say(text)), cells, view.glyphs.ellipsis) for text in card]
    elif item is not None and isinstance(item.value, EndLine):
        below = wrapped(view.say(f"{item.value.name}: {item.value.fits}"), cells, "strong")
        below += [clip(line(view.say(text)), cells, view.glyphs.ellipsis) for text in item.value.why]
    none = "No loose end is noted: 'proveout survey JOB' begins." if not found.ends else "No end is called so."
    return _listing(view, head, below, cells, rows, none)


# Help


def _help(view: JobView, cells: int, rows: int) -> list[Line]:
    return scrolled(view, _help_lines(view, cells), rows)


def _help_lines(view: JobView, cells: int) -> list[Line]:
    behind = replace(view, help=False)
    lines: list[Line] = [
        line(Span("Help", "title"), Span(f"  {TITLES[view.place.page]}", "dim")),
        EMPTY,
        *wrapped(ABOUT[view.place.page], min(cells, WIDE)),
        EMPTY,
    ]
    marks: list[Span | str] = []
    for status in SHOWN:
        marks += [mark_of(status, view.glyphs), f" {status}   "]
    lines += [line(*marks), EMPTY]
    return [*lines, *key_help((_ARROWS, *keys(behind)), min(cells, WIDE))]


def furthest(view: JobView, cells: int, rows: int) -> int:
    """How far the words of a page can be scrolled on a screen of this size; 0 where they cannot."""
    room = max(1, rows - AROUND)
    cells = inner(cells)
    if view.help:
        return max(0, len(_help_lines(view, cells)) - room)
    if view.place.page == "told":
        return max(0, len(_told_lines(view, cells)) - room)
    return furthest_words(view, cells, room) if view.place.page == "trace" else 0


_PAGES: Final[dict[Page, Callable[[JobView, Survey, int, int], list[Line]]]] = {
    "start": _start,
    "ready": _ready,
    "next": _next,
    "sequences": _sequences,
    "bench": _bench,
    "records": _records,
    "record": _record,
    "changes": _changes,
    "cables": _cables,
    "series": _series,
    "told": _told,
}
