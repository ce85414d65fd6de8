"""Which key does what on each page of the job screen, and everything in the list of all actions. Pure functions.

What a key or a line does is a word with an argument, such as ``go records`` or ``trace W101.34``:
:mod:`bench.screens.job.program` carries it out.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from msgspec.structs import replace

from bench.job.readiness import Task
from bench.screens.job.data import RecordLine
from bench.screens.job.view import FILTERS, KINDS, ORDERS, TABS, TITLES, JobView, Page, goal
from bench.screens.program.keys import ACTIONS, LISTED, TAKE, THEME, Action, Key, close_help, listed, matching

BACK: Final = ("escape", "backspace", "b")
_LISTS: Final[tuple[Page, ...]] = ("ready", "next", "sequences", "records", "changes", "cables", "bench", "series")

_TAB_WORDS: Final[dict[Page, str]] = {
    "start": "The plant at a glance: where it stands, what is next, what can be walked, what was walked.",
    "ready": "Every shelf, feed, cable and bond, and what is proven of it.",
    "next": "What to do, in the order that clears most for the least work.",
    "sequences": "The sequences of the job: pick one, pick a bench, and the walk starts.",
    "records": "What was walked: look back at it, go on with it, make its report.",
    "changes": "Looks through all records for what changed most.",
    "cables": "The pile of loose cables: what each end belongs to, and the next trip.",
}
_HELP: Final = Key("help", ("h", "question_mark"), "?", "help", "Says what this page shows and what every key does.")
_BACK: Final = Key("back", BACK, "Esc", "back", "Goes back to where you came from.")
_ALL_OFF: Final = Key(
    "all-off",
    ("z",),
    "z",
    "ALL OFF",
    "Switches everything off that walks under way have on; those walks are paused then.",
)
_LEAVE: Final = Key("leave", ("q",), "q", "leave", "Leaves, quits. Nothing is lost: this screen only reads records.")
_REREAD: Final = Key("reread", ("f5",), "F5", "read again", "Reads the job's files and records again.")
_FIND: Final = Key("find", ("slash",), "/", "find", "Narrows the list to lines that have what you type.")
_COPY: Final = Key(
    "copy", ("c",), "c", "copy", "Copies what is pointed at, or the whole page of words, to the clipboard."
)
_DISTURB: Final = Key(
    "disturb", ("d",), "d", "touched", "Says what was touched or disturbed: what was proven about it counts no longer."
)
_CANCEL: Final = Key("cancel", ("x",), "x", "stop the work", "Ends the reading of records that is under way.")


def keys(view: JobView) -> tuple[Key, ...]:
    """All keys that do something now, the most wanted first."""
    if view.help:
        return (close_help("back"),)
    if view.typed is not None:
        return LISTED
    if view.typing:
        return (
            Key("keep-found", ("enter",), "Enter", "keep it", "Keeps the narrowed list."),
            Key("show-all", ("escape",), "Esc", "show all", "Shows the whole list again."),
        )
    found: list[Key] = [_CANCEL] if view.working is not None else []
    if view.survey is not None and any(record.live for record in view.survey.records):
        found.append(_ALL_OFF)
    found += _own(view)
    if view.behind:
        found.append(_BACK)
    touched = [_DISTURB] if view.survey is not None else []
    return (*found, ACTIONS, *touched, *_tabs(), _REREAD, THEME, _HELP, _LEAVE)


def _tabs() -> list[Key]:
    return [
        Key(f"go {page}", (str(number),), str(number), TITLES[page], _TAB_WORDS[page])
        for number, page in enumerate(TABS, 1)
    ]


def _own(view: JobView) -> list[Key]:
    """The keys of the current page."""
    page, item = view.place.page, view.item
    found: list[Key] = []
    if item is not None:
        word, more = _ENTER.get(item.page, ("open", "Opens what the cursor stands on."))
        if isinstance(item.value, int):
            word, more = "show them all", "Opens the list that this is the beginning of."
        found.append(Key(item.does, TAKE, "Enter", word, more))
    if page == "ready":
        found += [
            Key("status", ("f",), "f", "filter", "Lists what is open, then what fails, is undecided, void and so on."),
            Key("kind", ("tab",), "Tab", "kind", "Lists shelves alone, then feeds, cables and bonds."),
        ]
    if page == "next" and item is not None and isinstance(item.value, Task):
        more = "Shows every reading of what the cursor stands on, over all records."
        found.append(Key(f"trace {goal(item.value)}", ("i",), "i", "trace it", more))
    if page in ORDERS and page != "ready":
        more = f"Sorts the list another way: now {view.order}."
        found.append(Key("order", ("tab",), "Tab", "sort", more))
    if page in _LISTS:
        found.append(_FIND)
    if page == "record":
        found += _of_record(view)
    if page == "trace":
        found += _of_trace(view)
    if page in ("told", "trace", "record") or item is not None:
        found.append(_COPY)
    return found


_ENTER: Final[dict[Page, tuple[str, str]]] = {
    "ready": ("trace it", "Shows every reading of what the cursor stands on, over all records."),
    "next": ("draft and walk it", "Drafts the sequence that does this and goes on to the choice of the bench."),
    "sequences": ("walk it", "Goes on to the choice of the bench; the walk starts after that."),
    "records": ("open it", "Shows what the record holds and what can be done with it."),
    "changes": ("trace it", "Shows every reading of the point, over all records."),
    "cables": ("the next trip", "Shows the card of the next trip, then again what is known of the end."),
    "series": ("show it", "Shows the readings of what the cursor stands on."),
    "bench": ("start the walk", "Starts the walk with this bench. You are back here when it has ended."),
}


def _of_record(view: JobView) -> list[Key]:
    record = view.record
    if record is None or record.broken:
        return []
    found = []
    if record.live:
        more = "Takes a seat at this walk: it is under way."
        found.append(Key(f"attach {record.path}", ("k",), "k", "take a seat", more))
    elif record.open:
        more = "Goes on with the walk where it stood. You are back here when it has ended."
        found.append(Key(f"resume {record.path}", ("p",), "p", "go on with it", more))
    more = "Shows step by step what the operator saw and what the meter said."
    found.append(Key(f"replay {record.path}", ("enter",), "Enter", "look back", more))
    more = "Writes one HTML file that prints well, beside the record, and opens it in the browser."
    found.append(Key(f"report {record.path}", ("w",), "w", "write the report", more))
    if not record.live:
        more = "Says what people did wrong, by its readings, and what to do about it."
        found.append(Key(f"explain {record.path}", ("e",), "e", "what went wrong", more))
    return found


def _of_trace(view: JobView) -> list[Key]:
    study, traced = view.study, view.traced
    if study is None or traced is None:
        return []
    found = [
        Key("earlier", ("left",), "left", "earlier", "Points at the reading before."),
        Key("later", ("right",), "right", "later", "Points at the reading after."),
    ]
    if len(traced.studies) > 1:
        found.append(Key("series", ("tab",), "Tab", "next series", "Shows the next thing that was read of it."))
        found.append(Key("all-series", ("slash",), "/", "list them", "Lists everything that was read of it."))
    found.append(Key("to-record", ("enter",), "Enter", "its record", "Opens the record of the reading pointed at."))
    return found


_NOT_OFFERED: Final = ("help", "earlier", "later")


def actions(view: JobView) -> list[Action]:
    """Everything that can be done and has in it what was typed: what has it earliest comes first.

    Of equals what this page offers comes first.
    """
    typed = (view.typed or "").strip()
    found: dict[str, Action] = {}
    survey = view.survey
    if survey is not None and typed in survey.plant.things:
        found[f"trace {typed}"] = Action(f"trace {typed} over all records", f"trace {typed}")
    below = replace(view, typed=None, help=False, typing=False)
    for one in listed(key for key in (*_own(below), *keys(below)) if key.does not in _NOT_OFFERED):
        found.setdefault(one.does, replace(one, text=f"go to {one.text}") if one.does.startswith("go ") else one)
    found.setdefault("help", Action("help: says what this page shows and what every key does", "help"))
    for status in FILTERS:
        found[f"status {status}"] = Action(f"readiness: list {status if status != 'all' else 'everything'}",
                                           f"status {status}")  # fmt: skip
    for page, orders in ORDERS.items():
        for order in orders:
            found[f"order {page} {order}"] = Action(f"{TITLES[page]}: sort {order}", f"order {page} {order}")
    for kind in KINDS[1:]:
        found[f"kind {kind}"] = Action(f"readiness: list {'shelves' if kind == 'shelf' else f'{kind}s'} alone",
                                       f"kind {kind}")  # fmt: skip
    if survey is not None:
        found |= _things(view)
    return matching(typed, found.values())


def before_it(records: Iterable[RecordLine], one: RecordLine) -> RecordLine | None:
    """The last walk of the same sequence before a record, of those that count; None where there is none."""
    older = [other for other in records if other.sequence == one.sequence and other.began < one.began and not other.why]
    return max(older, key=lambda other: other.began, default=None)


def _things(view: JobView) -> dict[str, Action]:
    """What can be done with each sequence, record and thing of the plant."""
    survey = view.survey
    assert survey is not None
    found = {}
    for task in survey.ready.tasks:
        does = f"draft {task.kind} {task.about}".strip()
        found[does] = Action(f"draft {task.text}", does)
    for sequence in survey.sequences:
        found[f"choose {sequence.path}"] = Action(f"walk the sequence {sequence.name}", f"choose {sequence.path}")
    for record in survey.records:
        found[f"record {record.path}"] = Action(
            f"open the record {record.name}, {record.told}", f"record {record.path}"
        )
    for record in survey.records:
        if not record.broken:
            found[f"replay {record.path}"] = Action(f"look back step by step at {record.name}", f"replay {record.path}")
    for record in survey.records:
        if record.broken or record.live:
            continue
        found[f"explain {record.path}"] = Action(f"explain what went wrong in {record.name}", f"explain {record.path}")
        found[f"report {record.path}"] = Action(f"write the report of {record.name}", f"report {record.path}")
        if record.report:
            found[f"show {record.report}"] = Action(f"open the report of {record.name}", f"show {record.report}")
        before = before_it(survey.records, record)
        if before is not None:
            text = f"compare {record.name} with the walk before, {before.name}"
            found[f"compare {record.path}"] = Action(text, f"compare {record.path}")
    found["compare-days"] = Action("compare two days: what counted then and then", "compare-days")
    for thing in survey.ready.things:
        text = f"trace {thing.kind} {thing.name}, {thing.status}"
        found.setdefault(f"trace {thing.name}", Action(text, f"trace {thing.name}"))
    return found
