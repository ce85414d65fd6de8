"""Which key does what on each page of the walk. Pure functions of the moment."""

from __future__ import annotations

from typing import Final

from msgspec.structs import replace

from bench.screens.program.keys import ACTIONS, LISTED, TAKE, THEME, Action, Key, close_help, listed, matching
from bench.screens.walk.earth_tree import has_earth
from bench.screens.walk.findings import telling
from bench.screens.walk.stages import has_stages
from bench.screens.walk.view import View, allowed
from bench.walk.afterwards import afterwards
from bench.walk.left_on import outputs_on
from bench.walk.state import OPEN

CAUTION_KEYS: Final = ("y", "u")
"""Cautions are acknowledged by one of these in turn: never by a key that the step before was answered with."""


SAYS: Final = {"take": "", "retry": "retry", "yes": "yes", "no": "no"}
"""Acts that answer the open request at once, and what they say."""


def actions(view: View) -> list[Action]:
    """The list of all actions, as far as it has what was typed.

    Answers are not in it: what a step asks is answered by its own key and never by a line of a list.
    """
    found = listed(keys(replace(view, typed=None)))
    return matching(view.typed or "", (one for one in found if one.does not in SAYS))


def caution_key(view: View) -> str:
    """The key that acknowledges the caution under way."""
    step = view.state.step
    return CAUTION_KEYS[step.index % 2] if step is not None else CAUTION_KEYS[0]


def keys(view: View) -> tuple[Key, ...]:
    """All keys that do something now, the most wanted first."""
    kind = view.kind
    if view.typed is not None:
        return LISTED
    off = [_ALL_OFF] if kind not in ("starting", "lost") and view.state.phase in OPEN and outputs_on(view.state) else []
    if kind == "help":
        return (*off, close_help("back to the walk"))
    if kind == "voltage":
        return (*off, *_answers(view, kind), _ABORT, *([_SEAT] if view.watching else []), _LEAVE)
    found: list[Key] = off
    if kind == "stages":
        on = [_EARTH, _STAGES_LEFT] if has_earth(view.state) else [_STAGES_OFF]
        return (*off, *on, *_always_open(view), _HELP, _LEAVE)
    if kind == "earth":
        return (*off, _EARTH_OFF, *_always_open(view), _HELP, _LEAVE)
    if kind not in ("starting", "lost", "failing"):
        found += _answers(view, kind) if not view.watching else [_SEAT]
        found += _work(view) if not view.watching else []
        found += _always_open(view)
    elif kind == "failing":
        found.append(_ABORT)
    if kind not in ("starting", "lost", "failing") and view.state.finished:
        found += [_AFTER[one.act] for one in afterwards(view.state, view.record)]
    if kind not in ("starting", "lost", "failing") and next(telling(view.state), None) is not None:
        found.append(_COPY)
    if kind in ("place", "measure", "beep", "ask") and any(lead.connector for lead in view.page.leads):
        found.append(_MIRROR)
    if kind not in ("starting", "lost", "failing", "energise") and has_stages(view.state):
        found.append(_STAGES)
    elif kind not in ("starting", "lost", "failing", "energise") and has_earth(view.state):
        found.append(_EARTH)
    if view.state.phase in OPEN and _SEAT not in found and view.lost is None:
        # two screens can go by one name: then the record does not tell which of them is heard
        found.append(_SEAT)
    return (*found, *_LOOKS, _HELP, _LEAVE)


_ALL_OFF: Final = Key(
    "all-off",
    ("z",),
    "z",
    "ALL OFF",
    "Switches every output of the bench off at once, whoever holds the seat, and pauses the walk. Ctrl-C does it too.",
)
_SEAT: Final = Key(
    "seat", ("k",), "k", "take the seat", "You become the operator; whoever held the seat watches from then on."
)
_COPY: Final = Key(
    "copy",
    ("c",),
    "c",
    "copy",
    "Copies the newest result to the clipboard, at the end the count and all that did not pass; the terminal does it.",
)
_MIRROR: Final = Key(
    "mirror", ("m",), "m", "other side", "Shows the connectors from their other side: left and right change places."
)
_STAGES: Final = Key("stages", ("l",), "l", "stages", "Shows what is live, what is next, and every stage and breaker.")
_STAGES_OFF: Final = Key(
    "stages", ("l", "escape", *TAKE), "l", "back to the step", "Closes the stages. Nothing is answered by it."
)
_STAGES_LEFT: Final = replace(_STAGES_OFF, keys=("escape", *TAKE), shown="Esc")
_EARTH: Final = Key(
    "earth", ("l",), "l", "earth", "Shows the earthing network as a tree, with what the search suspects in it."
)
_EARTH_OFF: Final = Key(
    "earth", ("l", "escape", *TAKE), "l", "back to the step", "Closes the network. Nothing is answered by it."
)
_AFTER: Final = {
    "explain": Key(
        "explain", ("e",), "e", "what went wrong", "Leaves, and says what people did wrong and what to do about it."
    ),
    "again": Key(
        "remeasure",
        ("g",),
        "g",
        "measure again",
        "Drafts a walk of what did not pass, and begins it on the same bench.",
    ),
    "report": Key("report", ("w",), "w", "write the report", "Leaves, and writes a report beside the record."),
    "next": Key("next", ("3",), "3", "what is next", "Leaves, and drafts what is to be done next."),
}
"""What can be done once a walk is over."""
_HELP: Final = Key("help", ("h", "question_mark"), "?", "help", "Shows what this page wants and what every key does.")
_LEAVE: Final = Key(
    "leave", ("q",), "q", "leave", "Leaves this screen. The walk pauses, the record is kept, and you can come back."
)
_ABORT: Final = Key(
    "abort", ("x",), "x", "abort", "Gives the walk up for good; outputs go off. You are asked to type a word."
)
_LOOKS: Final = (
    THEME,
    Key(
        "sound",
        ("v",),
        "v",
        "sound",
        "Switches the tones off and on. One, two, three quick ones: touching, steady, passed. Slow ones: two failed, "
        "three undecided, four trouble, five the line is lost. Six quick ones: a test voltage comes.",
    ),
    ACTIONS,
)


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
            unsafe = view.state.pending.trouble is not None and view.state.pending.trouble.kind in (
                "unsafe",
                "unconfirmed",
            )
            more = "Tries the same again; the instrument is asked for its name first."
            return [Key("retry", ("r",) if unsafe else ("r", *TAKE), "r", "try again", more)]
        case "voltage":
            more = "Stops the count, or takes the test voltage off. So does every key that does nothing else here."
            return [Key("stop", (*TAKE, "escape"), "Enter", "STOP", more)]
        case "rest":
            return [Key("go-on", ("p",), "p", "go on", "Goes on where the walk was paused.")]
        case _:
            return []


def _work(view: View) -> list[Key]:
    may = view.may or allowed(view.state)
    found: list[Key] = []
    if may.back >= 0:
        word, more = "back", "Goes to the step before and on from there. What was read stays in the record."
        if may.back == view.state.place.cursor:
            word = "take back"
            more = "Takes the last answer of the search back: it is asked for again. Both answers stay in the record."
        found.append(Key("back", ("b", "backspace"), "b", word, more))
    if may.again >= 0:
        more = "Measures the last reading again and comes back here. Both readings are kept; the new one counts."
        found.append(Key("again", ("g",), "g", "again", more))
    if may.skip:
        found.append(Key("skip", ("s",), "s", "skip", "Passes this step over. You are asked for the reason."))
    if may.skip_search:
        more = "Passes the whole search over. You are asked for the reason; what was read so far is kept."
        found.append(Key("skip-search", ("j",), "j", "skip search", more))
    if may.pause:
        found.append(Key("pause", ("p",), "p", "pause", "The walk is paused until p is pressed again; outputs go off."))
    return found


def _always_open(view: View) -> list[Key]:
    """Watchers may do these too."""
    if view.state.phase not in OPEN:
        return []
    return [
        Key("note", ("o",), "o", "note", "Writes a remark into the record."),
        Key(
            "disturb",
            ("d",),
            "d",
            "touched",
            "Says what was touched or changed: what was proven about it before no longer counts.",
        ),
        _ABORT,
    ]
