"""Which key does what on each page of the hall, and everything that the palette offers. Pure functions.

What a key or a line does is a word with an argument, such as ``go records`` or ``trace W101.34``:
:mod:`bench.screens.job.desk` carries it out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from bench.screens.job.view import FILTERS, KINDS, TABS, TITLES, Hall, Page
from bench.screens.walk.keys import Key

MOVES: Final = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -1_000_000, "end": 1_000_000}
"""Keys that move the cursor, and by how many lines."""
TAKE: Final = ("enter", "space")
BACK: Final = ("escape", "backspace")
OUT: Final = ("ctrl+c", "ctrl+q")
"""Keys that end the hall wherever one is."""
_LISTS: Final[tuple[Page, ...]] = ("ready", "next", "sequences", "records", "changes", "bench", "series")

_TAB_WORDS: Final[dict[Page, str]] = {
    "start": "The plant at a glance: where it stands, what is next, what can be walked, what was walked.",
    "ready": "Every shelf, feed, cable and bond, and what is proven of it.",
    "next": "What to do, in the order that clears most for the least work.",
    "sequences": "The sequences of the job: pick one, pick a bench, and the walk starts.",
    "records": "What was walked: look back at it, go on with it, make its report.",
    "changes": "Looks through all records for what changed most.",
}
_HELP: Final = Key("help", ("h", "question_mark"), "?", "help", "Says what this page shows and what every key does.")
_PALETTE: Final = Key(
    "palette", ("p", "ctrl+p"), "p", "all actions", "Lists everything that can be done; type a few letters of it."
)
_BACK: Final = Key("back", BACK, "Esc", "back", "Goes back to where you came from.")
_LEAVE: Final = Key("leave", ("q",), "q", "leave", "Leaves. Nothing is lost: the hall only reads records.")
_THEME: Final = Key("theme", ("t",), "t", "light or dark", "Changes between a dark and a light screen.")
_REREAD: Final = Key("reread", ("u", "f5"), "u", "read again", "Reads the job's files and records again.")
_FIND: Final = Key("find", ("slash",), "/", "find", "Narrows the list to lines that have what you type.")
_CANCEL: Final = Key("cancel", ("x",), "x", "stop the work", "Ends the reading of records that is under way.")


def keys(hall: Hall) -> tuple[Key, ...]:
    """All keys that do something now, the most wanted first."""
    if hall.help:
        return (Key("close", (*BACK, "h", "question_mark", *TAKE), "Esc", "back", "Closes this page."),)
    if hall.palette is not None:
        return (
            Key("enter", ("enter",), "Enter", "do it", "Does what the cursor stands on."),
            Key("close", ("escape",), "Esc", "back", "Closes the list."),
        )
    if hall.typing:
        return (
            Key("found", ("enter",), "Enter", "keep it", "Keeps the narrowed list."),
            Key("close", ("escape",), "Esc", "show all", "Shows the whole list again."),
        )
    found: list[Key] = [_CANCEL] if hall.working is not None else []
    found += _own(hall)
    if hall.behind:
        found.append(_BACK)
    return (*found, _PALETTE, *_tabs(), _REREAD, _THEME, _HELP, _LEAVE)


def act_of(hall: Hall, key: str) -> str:
    """What a key does now; empty where it does nothing."""
    return next((one.does for one in keys(hall) if key in one.keys), "")


def _tabs() -> list[Key]:
    return [
        Key(f"go {page}", (str(number),), str(number), TITLES[page], _TAB_WORDS[page])
        for number, page in enumerate(TABS, 1)
    ]


def _own(hall: Hall) -> list[Key]:
    """The keys of the page that one is at."""
    page, item = hall.place.page, hall.item
    found: list[Key] = []
    if item is not None:
        word, more = _ENTER.get(item.page, ("open", "Opens what the cursor stands on."))
        if isinstance(item.value, int):
            word, more = "show them all", "Opens the list that this is the beginning of."
        found.append(Key(item.does, TAKE, "Enter", word, more))
    if page == "ready":
        found += [
            Key("status", ("f",), "f", "filter", "Lists what is open, then what fails, is undecided, void and so on."),
            Key("kind", ("k",), "k", "kind", "Lists shelves alone, then feeds, cables and bonds."),
        ]
    if page in _LISTS:
        found.append(_FIND)
    if page == "record":
        found += _of_record(hall)
    if page == "trace":
        found += _of_trace(hall)
    return found


_ENTER: Final[dict[Page, tuple[str, str]]] = {
    "ready": ("trace it", "Shows every reading of what the cursor stands on, over all records."),
    "next": ("look at it", "Shows every reading of what the cursor stands on, over all records."),
    "sequences": ("walk it", "Goes on to the choice of the bench; the walk starts after that."),
    "records": ("open it", "Shows what the record holds and what can be done with it."),
    "changes": ("trace it", "Shows every reading of the point, over all records."),
    "series": ("show it", "Shows the readings of what the cursor stands on."),
    "bench": ("start the walk", "Starts the walk with this bench. You are back here when it has ended."),
}


def _of_record(hall: Hall) -> list[Key]:
    record = hall.record
    if record is None or record.broken:
        return []
    found = []
    if record.live:
        more = "Takes a seat at this walk: it is under way."
        found.append(Key(f"attach {record.path}", ("a",), "a", "take a seat", more))
    elif record.open:
        more = "Goes on with the walk where it stood. You are back here when it has ended."
        found.append(Key(f"resume {record.path}", ("g",), "g", "go on with it", more))
    more = "Shows step by step what the operator saw and what the meter said."
    found.append(Key(f"replay {record.path}", ("enter",), "Enter", "look back", more))
    more = "Writes one HTML file that prints well, beside the record."
    found.append(Key(f"report {record.path}", ("w",), "w", "write the report", more))
    return found


def _of_trace(hall: Hall) -> list[Key]:
    study, traced = hall.study, hall.traced
    if study is None or traced is None:
        return []
    found = [
        Key("earlier", ("left",), "left", "earlier", "Points at the reading before."),
        Key("later", ("right",), "right", "later", "Points at the reading after."),
    ]
    if len(traced.studies) > 1:
        found.append(Key("series", ("tab", "s"), "s", "next series", "Shows the next thing that was read of it."))
        found.append(Key("all-series", ("l",), "l", "list them", "Lists everything that was read of it."))
    found.append(Key("to-record", ("enter",), "Enter", "its record", "Opens the record of the reading pointed at."))
    return found


@dataclass(frozen=True, slots=True)
class Action:
    """A line of the palette.

    Attributes:
        text: in words.
        does: what it does.
    """

    text: str
    does: str


_NOT_OFFERED: Final = ("help", "palette", "close", "found", "earlier", "later")


def actions(hall: Hall) -> list[Action]:
    """Everything that can be done, as far as it has what was typed: what has it earliest comes first.

    Of equals what this page offers comes first.
    """
    typed = (hall.palette or "").strip()
    found: dict[str, Action] = {}
    survey = hall.survey
    if survey is not None and typed in survey.plant.things:
        found[f"trace {typed}"] = Action(f"trace {typed} over all records", f"trace {typed}")
    bare = _bare(hall)
    for key in (*_own(bare), *keys(bare)):
        if key.does not in _NOT_OFFERED:
            start = f"{key.word}: " if not key.does.startswith("go ") else f"go to {key.word}: "
            found.setdefault(key.does, Action(start + key.more[0].lower() + key.more[1:], key.does))
    found.setdefault("help", Action("help: says what this page shows and what every key does", "help"))
    for status in FILTERS:
        found[f"status {status}"] = Action(f"readiness: list {status if status != 'all' else 'everything'}",
                                           f"status {status}")  # fmt: skip
    for kind in KINDS[1:]:
        found[f"kind {kind}"] = Action(f"readiness: list {'shelves' if kind == 'shelf' else f'{kind}s'} alone",
                                       f"kind {kind}")  # fmt: skip
    if survey is not None:
        found |= _things(hall)
    sought = typed.casefold().split()
    ranked = []
    for number, one in enumerate(found.values()):
        places = [one.text.casefold().find(word) for word in sought]
        if -1 not in places:
            # what begins with the letters is more likely meant than what mentions them at its end
            ranked.append((sum(places), number, one))
    return [one for _, _, one in sorted(ranked, key=lambda rank: rank[:2])]


def _bare(hall: Hall) -> Hall:
    """The page below the palette."""
    return replace(hall, palette=None, help=False, typing=False)


def _things(hall: Hall) -> dict[str, Action]:
    """What can be done with each sequence, record and thing of the plant."""
    survey = hall.survey
    assert survey is not None
    found = {}
    for sequence in survey.sequences:
        found[f"choose {sequence.path}"] = Action(f"walk the sequence {sequence.name}", f"choose {sequence.path}")
    for record in survey.records:
        found[f"record {record.path}"] = Action(
            f"open the record {record.name}, {record.told}", f"record {record.path}"
        )
    for record in survey.records:
        if not record.broken:
            found[f"replay {record.path}"] = Action(f"look back step by step at {record.name}", f"replay {record.path}")
    for thing in survey.ready.things:
        text = f"trace {thing.kind} {thing.name}, {thing.status}"
        found.setdefault(f"trace {thing.name}", Action(text, f"trace {thing.name}"))
    return found
