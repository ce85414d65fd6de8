"""Which key does what in a replay: the key line, the help page and the handling are all made from this."""

from __future__ import annotations

from typing import Final

from msgspec.structs import replace

from bench.screens.program.keys import ACTIONS, LISTED, THEME, Action, Key, close_help, listed, matching
from bench.screens.replay.view import ReplayView

JUMP: Final = 0.05
"""Part of the time line that a long jump passes."""


def keys(view: ReplayView) -> tuple[Key, ...]:
    """All keys that do something at a moment, the most wanted first."""
    if view.typed is not None:
        return LISTED
    found = replay_keys(
        playing=view.playing, face=view.face, help=view.help, long=view.long, unicode=view.glyphs.unicode
    )
    return (_ALL_OFF, *found) if view.live and not view.help else found


def actions(view: ReplayView) -> list[Action]:
    """The list of all actions, as far as it has what was typed."""
    known = replay_keys(playing=view.playing, face=view.face, long=True, unicode=view.glyphs.unicode)
    return matching(view.typed or "", listed(known))


def replay_keys(
    *, playing: bool, face: str, help: bool = False, long: bool = False, unicode: bool = True
) -> tuple[Key, ...]:
    """All keys that do something now, the most wanted first.

    Args:
        playing: whether it runs.
        face: what fills the screen.
        help: whether the help page is open.
        long: whether the page is longer than its room.
        unicode: whether arrows can be written; they are named where not.
    """
    found = _keys(playing=playing, face=face, help=help, long=long)
    return found if unicode else tuple(replace(one, shown=_NAMES.get(one.shown, one.shown)) for one in found)


def _keys(*, playing: bool, face: str, help: bool, long: bool) -> tuple[Key, ...]:
    if help:
        return (close_help("back to the replay"), *(_SCROLL if long else ()))
    other = {"seen": "meter", "meter": "events", "events": "page"}[face]
    return (
        Key(
            "play",
            ("space", "enter", "p"),
            "Space",
            "stop" if playing else "play",
            "Plays from here at the speed that is shown, and stops.",
        ),
        *_MOVES,
        Key(
            "face",
            ("tab",),
            "Tab",
            other,
            "Shows in turn what the operator saw, what the meter said with its uncertainty budget, and all events.",
        ),
        *_MORE,
        *(_SCROLL if long else ()),
        ACTIONS,
        Key("help", ("h", "question_mark"), "?", "help", "Shows what every key does."),
        Key("leave", ("q", "escape"), "q", "leave", "Leaves the replay. The record is as it was."),
    )


_ALL_OFF: Final = Key(
    "all-off",
    ("z",),
    "z",
    "ALL OFF",
    "The walk is under way: switches everything off that it has on; it is paused then.",
)
_MOVES: Final = (
    Key("on", ("right",), "→", "event", "One event on."),
    Key("back", ("left",), "←", "back", "One event back."),
    Key("failed", ("f",), "f", "next fail", "To the next reading that failed or stayed undecided."),
)
_MORE: Final = (
    Key("failed-before", ("b",), "b", "fail before", "To the failed or undecided reading before."),
    Key("step", ("down",), "↓", "step", "To where the walk came to its next step."),
    Key("step-back", ("up",), "↑", "step back", "To where the walk came to the step before."),
    Key("faster", ("plus",), "+", "faster", "Plays faster, up to a hundredfold."),
    Key("slower", ("minus",), "-", "slower", "Plays slower, down to half speed."),
    Key(
        "gaps",
        ("equals_sign",),
        "=",
        "real time",
        "Plays pauses as long as they were, or shortens them to a few seconds.",
    ),
    Key(
        "mark", ("full_stop",), ".", "mark", "To the next mark of any kind: failed, undecided, trouble, touched, pause."
    ),
    Key("mark-before", ("comma",), ",", "mark before", "To the mark before."),
    Key("far", ("pagedown",), "PgDn", "far on", "A twentieth of the time line on."),
    Key("far-back", ("pageup",), "PgUp", "far back", "A twentieth of the time line back."),
    Key("first", ("home",), "Home", "begin", "To the first event."),
    Key("last", ("end",), "End", "end", "To the last event."),
    Key("go", ("slash",), "/", "go to", "To an event's number, or to a time of day such as 18:03."),
    Key("mirror", ("m",), "m", "other side", "Shows the connectors from their other side."),
    THEME,
)
_SCROLL: Final = (
    Key("scroll", ("right_square_bracket",), "]", "page down", "Moves a long page up by some lines."),
    Key("scroll-back", ("left_square_bracket",), "[", "page up", "Moves it back."),
)
_NAMES: Final = {"→": "Right", "←": "Left", "↓": "Down", "↑": "Up"}
