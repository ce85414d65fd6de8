"""Draws ``docs/keys.md``: each key's one meaning, in the walk, in the job and in the replay."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec

PAGE: Final = Path(__file__).parents[2] / "docs" / "keys.md"
HEAD: Final = """# Keys

A key means one thing, wherever it does something: in a walk, in the job (`proveout open`) and in a replay. Drawn by
`make docs` from the table that a test holds against every page of the three. The bottom of a screen shows those that
count just now, `?` tells of each, `a` lists them all. A foot switch sends Enter or the space bar.

| key | meaning | walk | job | replay |
| --- | --- | --- | --- | --- |
"""
TAIL: Final = """
The list of all actions of a walk holds what belongs to a walk: to copy the newest result, to note, to say what was
touched, light or dark, to leave; once it is over, to explain what went wrong, to write the report, to go on with what
is next. Drafting and comparing are not in it before its end: both want the record whole, which is still being written,
and whoever holds the probes should not be asked about other records. They are in the job, one key after the walk has
ended; a second terminal has them at any time.

While something is typed (a word, a note, what is looked for) letters are letters, and Escape goes back. A survey and a
watch take letters and figures at any time; their keys are Enter, Escape, Tab and F1 to F4, and the bottom of the
screen says what each does.
"""


class Meaning(msgspec.Struct, frozen=True):
    """What a key means.

    Attributes:
        shown: the key as people name it.
        text: its meaning.
        walk: acts of the walk that it stands for.
        job: the same of the job.
        replay: the same of the replay.
    """

    shown: str
    text: str
    walk: tuple[str, ...] = ()
    job: tuple[str, ...] = ()
    replay: tuple[str, ...] = ()


_YES: Final = Meaning(
    "Enter, Space",
    "yes: the one thing that the page waits for; on a list what the cursor stands on; a page that lies over it closes",
    ("take", "retry", "word", "value", "reason", "stop", "stages", "earth", "close", "choose-action"),
    ("bench", "draft", "trace", "choose", "record", "walk", "go", "card", "series", "replay", "to-record", "keep-found",
     "close", "choose-action"),
    ("play", "close", "choose-action"),
)  # fmt: skip
_OUT: Final = Meaning(
    "Esc",
    "out of what lies over the page, or back; a test voltage stops",
    ("close", "stages", "earth", "stop"),
    ("close", "back", "show-all"),
    ("close", "leave"),
)
_BACK: Final = Meaning(
    "b, Backspace",
    "back: to the step, the page or the failure before",
    ("back", "close"),
    ("back", "close"),
    ("failed-before", "close"),
)
_HELP: Final = Meaning("?, h", "help, and out of it", ("help", "close"), ("help", "close"), ("help", "close"))
MEANINGS: Final = {
    "enter": _YES,
    "space": _YES,
    "escape": _OUT,
    "b": _BACK,
    "backspace": _BACK,
    "question_mark": _HELP,
    "h": _HELP,
    "z": Meaning("z", "ALL OFF: every output off, at once", ("all-off",), ("all-off",), ("all-off",)),
    "y": Meaning("y", "yes: it beeps; the caution is read", ("yes", "take")),
    "n": Meaning("n", "no: it is silent", ("no",)),
    "u": Meaning("u", "the caution is read: at every second one, so that no key does it twice by itself", ("take",)),
    "g": Meaning("g", "measure again", ("again", "remeasure")),
    "r": Meaning("r", "try again after trouble", ("retry",)),
    "s": Meaning("s", "skip the step; a reason is asked for", ("skip",)),
    "j": Meaning("j", "skip the whole search; a reason is asked for", ("skip-search",)),
    "p": Meaning("p", "pause, and go on", ("pause", "go-on"), ("resume",), ("play",)),
    "o": Meaning("o", "a note for the record", ("note",)),
    "d": Meaning("d", "something was touched", ("disturb",), ("disturb",)),
    "k": Meaning("k", "take the operator's seat", ("seat",), ("attach",)),
    "m": Meaning("m", "connectors from their other side", ("mirror",), (), ("mirror",)),
    "l": Meaning("l", "look at the plant: stages of first power, earthing network", ("stages", "earth")),
    "e": Meaning("e", "explain what went wrong", ("explain",), ("explain",)),
    "w": Meaning("w", "write the report", ("report",), ("report",)),
    "v": Meaning("v", "tones off and on", ("sound",)),
    "x": Meaning("x", "give up: the walk, by a word; reading that takes long", ("abort",), ("cancel",)),
    "f": Meaning("f", "what is open or failed: only such lines; the next such reading", (), ("status",), ("failed",)),
    "i": Meaning("i", "trace it: every reading of it, over all records", (), ("trace",)),
    "c": Meaning("c", "copy to the clipboard, through the terminal", ("copy",), ("copy",)),
    "tab": Meaning("Tab", "the next way to show it", (), ("kind", "series", "order"), ("face",)),
    "slash": Meaning("/", "look for it: in a list, or a moment", (), ("find", "all-series"), ("go",)),
    "left": Meaning("←", "earlier", (), ("earlier",), ("back",)),
    "right": Meaning("→", "later", (), ("later",), ("on",)),
    "down": Meaning("↓", "down a line; the next step", (), (), ("step",)),
    "up": Meaning("↑", "up a line; the step before", (), (), ("step-back",)),
    "pagedown": Meaning("PgDn", "far on", (), (), ("far",)),
    "pageup": Meaning("PgUp", "far back", (), (), ("far-back",)),
    "home": Meaning("Home", "to the begin", (), (), ("first",)),
    "end": Meaning("End", "to the end", (), (), ("last",)),
    "full_stop": Meaning(".", "the next mark", (), (), ("mark",)),
    "comma": Meaning(",", "the mark before", (), (), ("mark-before",)),
    "plus": Meaning("+", "faster", (), (), ("faster",)),
    "minus": Meaning("-", "slower", (), (), ("slower",)),
    "equals_sign": Meaning("=", "pauses as long as they were, or shortened", (), (), ("gaps",)),
    "right_square_bracket": Meaning("]", "a long page down", (), (), ("scroll",)),
    "left_square_bracket": Meaning("[", "a long page up", (), (), ("scroll-back",)),
    "1": Meaning("1", "the start page of the job", (), ("go",)),
    "2": Meaning("2", "readiness", (), ("go",)),
    "3": Meaning("3", "what is next", ("next",), ("go",)),
    "4": Meaning("4", "sequences", (), ("go",)),
    "5": Meaning("5", "records", (), ("go",)),
    "6": Meaning("6", "changes", (), ("go",)),
    "7": Meaning("7", "loose cables", (), ("go",)),
    "f5": Meaning("F5", "read the job again", (), ("reread",)),
    "t": Meaning("t", "light or dark", ("theme",), ("theme",), ("theme",)),
    "a": Meaning("a, Ctrl-P", "all actions", ("actions",), ("actions",), ("actions",)),
    "ctrl+p": Meaning("a, Ctrl-P", "all actions", ("actions", "close"), ("actions", "close"), ("actions", "close")),
    "q": Meaning("q", "leave", ("leave",), ("leave",), ("leave",)),
}  # fmt: skip
"""Each key's one meaning, and the acts that it stands for."""


def page() -> str:
    """The page as it should be."""
    rows: dict[str, str] = {}
    for one in MEANINGS.values():
        where = " | ".join("●" if acts else "" for acts in (one.walk, one.job, one.replay))
        rows.setdefault(one.shown, f"| {one.shown} | {one.text} | {where} |")
    return HEAD + "\n".join(rows.values()) + "\n" + TAIL
