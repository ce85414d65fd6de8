"""Which key does what, for every page: the key line, the help page and the handling are all made from this."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bench.screens.walk import sayings as words
from bench.screens.walk.earth_tree import has_earth
from bench.screens.walk.rungs import has_ladder
from bench.screens.walk.view import View
from bench.walk import events as e
from bench.walk.state import OPEN, OutOfTurn, Phase, Refused, State, accepts

TAKE: Final = ("enter", "space")
"""The keys that say yes; a foot switch sends one of them."""
CAUTION_KEYS: Final = ("y", "u")
"""Cautions are acknowledged by one of these in turn: never by a key that the step before was answered with."""
SCROLL: Final = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -100_000, "end": 100_000}


@dataclass(frozen=True, slots=True)
class Key:
    """One key.

    Attributes:
        does: the act: the name of what happens.
        keys: names of keys that do it.
        shown: as it is written on the screen.
        word: what it does, in a word or two.
        more: what it does, in a sentence, for the help page.
    """

    does: str
    keys: tuple[str, ...]
    shown: str
    word: str
    more: str


def caution_key(view: View) -> str:
    """The key that acknowledges the caution under way."""
    step = view.state.step
    return CAUTION_KEYS[step.index % 2] if step is not None else CAUTION_KEYS[0]


def keys(view: View) -> tuple[Key, ...]:
    """All keys that do something now, the most wanted first."""
    kind = view.kind
    if kind == "help":
        return (Key("close", ("escape", "h", "question_mark", *TAKE), "Esc", "back to the walk", "Closes this page."),)
    found: list[Key] = []
    if kind == "ladder":
        return (_LADDER_OFF, *_always_open(view), _HELP, _LEAVE)
    if kind == "earth":
        return (_EARTH_OFF, *_always_open(view), _HELP, _LEAVE)
    if kind not in ("starting", "lost", "failing"):
        found += _answers(view, kind) if not view.watching else [_SEAT]
        found += _work(view) if not view.watching else []
        found += _always_open(view)
    elif kind == "failing":
        found.append(_ABORT)
    if kind in ("place", "measure", "beep") and any(lead.connector for lead in view.page.leads):
        found.append(_MIRROR)
    if kind not in ("starting", "lost", "failing", "energise") and has_ladder(view.state):
        found.append(_LADDER)
    if kind not in ("starting", "lost", "failing", "energise") and has_earth(view.state):
        found.append(_EARTH)
    if view.state.phase in OPEN and _SEAT not in found and view.lost is None:
        # two screens can go by one name: then the record does not tell which of them is heard
        found.append(_SEAT)
    return (*found, *_LOOKS, _HELP, _LEAVE)


def act_of(view: View, key: str) -> str:
    """What a key does now; empty where it does nothing."""
    return next((one.does for one in keys(view) if key in one.keys), "")


_SEAT: Final = Key(
    "seat", ("k",), "k", "take the seat", "You become the operator; who held the seat watches from then on."
)
_MIRROR: Final = Key(
    "mirror", ("m",), "m", "other side", "Shows the connectors from their other side: left and right change places."
)
_LADDER: Final = Key(
    "ladder",
    ("l",),
    "l",
    "ladder",
    "Shows what is live, what is next, and every rung and breaker.",
)
_LADDER_OFF: Final = Key(
    "ladder", ("l", "escape", *TAKE), "l", "back to the step", "Closes the ladder. Nothing is answered by it."
)
_EARTH: Final = Key(
    "earth", ("e",), "e", "earth", "Shows the earthing network as a tree, with what the search suspects in it."
)
_EARTH_OFF: Final = Key(
    "earth", ("e", "escape", *TAKE), "e", "back to the step", "Closes the network. Nothing is answered by it."
)
_HELP: Final = Key("help", ("h", "question_mark"), "?", "help", "Shows what this page wants and what every key does.")
_LEAVE: Final = Key(
    "leave", ("q",), "q", "leave", "Leaves this screen. The walk pauses, the record is kept, and you can come back."
)
_ABORT: Final = Key(
    "abort", ("x",), "x", "abort", "Gives the walk up for good; outputs go off. You are asked to type a word."
)
_LOOKS: Final = (
    Key("theme", ("t",), "t", "light or dark", "Changes between a dark and a light screen."),
    Key("sound", ("v",), "v", "sound", "Switches the tones off and on."),
)  # fmt: skip


def _answers(view: View, kind: str) -> list[Key]:
    """What answers the open request."""
    match kind:
        case "place":
            more = "Takes the reading now, without waiting for the contact to settle. The foot switch does the same."
            return [Key("take", TAKE, "Enter", "take it", more)]
        case "do":
            return [Key("take", TAKE, "Enter", "done", "Says that it is done.")]
        case "beep":
            yes = Key("yes", ("y",), "y", "it beeps", "Says that the tester beeps between the two places.")
            return [yes, Key("no", ("n",), "n", "silent", "Says that the tester is silent between the two places.")]
        case "caution":
            key = caution_key(view)
            return [Key("take", (key,), key, "I have read it", "Says that you have read the caution and act on it.")]
        case "hold":
            return [Key("word", TAKE, "Enter", "type the word", "Asks for the word of this hold point.")]
        case "ask":
            return [Key("value", TAKE, "Enter", "type it", "Asks for the value.")]
        case "consent":
            return [Key("reason", TAKE, "Enter", "go on", "Asks for the reason to go on with this bench.")]
        case "trouble":
            unsafe = view.state.trouble is not None and view.state.trouble.kind in ("unsafe", "unconfirmed")
            more = "Tries the same again; the instrument is asked for its name first."
            return [Key("retry", ("r",) if unsafe else ("r", *TAKE), "r", "try again", more)]
        case "rest":
            return [Key("go-on", ("p",), "p", "go on", "Goes on where the walk rested.")]
        case _:
            return []


def _work(view: View) -> list[Key]:
    state = view.state
    found: list[Key] = []
    to = words.back_to(state)
    if to >= 0 and _takes(state, e.Went(number=state.number, to=to, then="go-on")):
        more = "Goes to the step before and on from there. What was read stays in the record."
        if to == state.cursor:
            more = "Takes the last answer of the search back: it is asked for again. Both answers stay in the record."
        found.append(Key("back", ("b", "backspace"), "b", "take back" if to == state.cursor else "back", more))
    last = words.last_reading(state)
    if last is not None and _takes(state, e.Went(number=state.number, to=last.index, then="return")):
        more = "Measures the last reading again and comes back here. Both readings are kept; the new one counts."
        found.append(Key("again", ("g",), "g", "again", more))
    if words.may_skip(state):
        found.append(Key("skip", ("s",), "s", "skip", "Passes this step over. You are asked for the reason."))
        if _takes(state, e.Skipped(number=state.number, reason="a reason", whole=True)) and _searches(state):
            more = "Passes the whole search over. You are asked for the reason; what was read so far is kept."
            found.append(Key("skip-search", ("w",), "w", "skip search", more))
    if state.phase is not Phase.PAUSED and _takes(state, e.Paused()):
        found.append(Key("pause", ("p",), "p", "pause", "The walk rests until p is pressed again; outputs go off."))
    return found


def _searches(state: State) -> bool:
    return state.planned is not None and state.planned.kind == "seek"


def _takes(state: State, event: e.Event) -> bool:
    """Whether the machine would take an event: a key that is sure to be refused is not shown."""
    try:
        accepts(state, event)
    except (OutOfTurn, Refused):
        return False
    return True


def _always_open(view: View) -> list[Key]:
    """Watchers may do these too."""
    if view.state.phase not in OPEN:
        return []
    # where n says no, a remark has another key
    note = "o" if view.kind == "beep" else "n"
    return [
        Key("note", (note,), note, "note", "Writes a remark into the record."),
        Key(
            "disturb",
            ("d",),
            "d",
            "touched",
            "Says what was touched or changed: what was proven about it before no longer counts.",
        ),
        _ABORT,
    ]
