"""Keys of a program: what each does, in the key line, on the help page and in the list of all actions.

A program says once which keys do something at a moment; all that is shown of keys, and what is done when one is
pressed, comes from that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import msgspec

from bench.screens.program.cells import EMPTY, Line, Span, clip, line, width, wrap
from bench.screens.program.moment import Moment

TAKE: Final = ("enter", "space")
"""The keys that say yes; a foot switch sends one of them."""
OUT: Final = ("ctrl+c", "ctrl+q")
"""Keys that leave wherever one is."""
MOVES: Final = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -1_000_000, "end": 1_000_000}
"""Keys that move a long page or a cursor, and by how many lines."""
LONGEST: Final = 80
"""Characters that can be typed into a list."""


class Key(msgspec.Struct, frozen=True):
    """One key.

    Attributes:
        does: the act: a word, which an argument may follow: ``trace W101.34``.
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


class Action(msgspec.Struct, frozen=True):
    """A line of the list of all actions.

    Attributes:
        text: in words.
        does: the act, as with :class:`Key`.
    """

    text: str
    does: str


ACTIONS: Final = Key(
    "actions", ("a", "ctrl+p"), "a", "all actions", "Lists everything that can be done; type a few letters of it."
)
THEME: Final = Key("theme", ("t",), "t", "light or dark", "Changes between a dark and a light screen.")
LISTED: Final = (
    Key("choose-action", ("enter",), "Enter", "do it", "Does what is chosen."),
    Key("close", ("escape", "ctrl+p"), "Esc", "back", "Closes the list."),
)
"""The keys of the list of all actions; every other one types, and the arrow keys choose."""
_UNLISTED: Final = ("actions", "close", "choose-action")
_KEPT: Final = ("help", "leave", "close")
"""Never left out of a key line."""


def close_help(word: str) -> Key:
    """The key that closes the help page."""
    return Key("close", ("escape", "backspace", "h", "question_mark", *TAKE), "Esc", word, "Closes this page.")


def act_of(known: Iterable[Key], key: str) -> str:
    """What a key does among these; empty where it does nothing."""
    return next((one.does for one in known if key in one.keys), "")


def listed(known: Iterable[Key]) -> list[Action]:
    """Keys as lines of the list of all actions."""
    return [
        Action(f"{one.word}: {one.more[0].lower()}{one.more[1:]}", one.does)
        for one in known
        if one.does not in _UNLISTED
    ]


def matching(typed: str, found: Iterable[Action]) -> list[Action]:
    """The actions that have every word typed in them; those that have them earliest come first, being likelier
    meant."""
    ranked = []
    for number, one in enumerate(found):
        places = [one.text.casefold().find(word) for word in typed.casefold().split()]
        if -1 not in places:
            ranked.append((sum(places), number, one))
    return [one for _, _, one in sorted(ranked, key=lambda rank: rank[:2])]


def typed_on(text: str, key: str, character: str | None) -> str:
    """What stands in a line after a key."""
    if key == "backspace":
        return text[:-1]
    if key == "ctrl+u":
        return ""
    if character is not None and character.isprintable() and character and len(text) < LONGEST:
        return text + character
    return text


# drawn


def key_line(chosen: Sequence[Key]) -> Line:
    """The keys with their words, side by side."""
    spans: list[Span] = []
    for one in chosen:
        spans += [Span("  ")] if spans else []
        spans += [Span(one.shown, "key"), Span(f" {one.word}", "dim")]
    return line(*spans)


def one_row(known: Sequence[Key], cells: int, ellipsis: str) -> Line:
    """As many keys as fit into one line, the most wanted first; help and the way out are always among them."""
    chosen = list(known)
    while len(chosen) > 1 and width(key_line(chosen)) > cells:
        spare = next((one for one in reversed(chosen) if one.does not in _KEPT), chosen[-1])
        chosen.remove(spare)
    return clip(key_line(chosen), cells, ellipsis)


def key_help(known: Sequence[Key], cells: int) -> list[Line]:
    """Every key with its sentence, for the help page."""
    lines: list[Line] = []
    size = max((width(one.shown) for one in known), default=0)
    for one in known:
        first, *rest = wrap(one.more, cells - size - 3) or [""]
        lines.append(line(Span(f" {one.shown}", "key"), f"{' ' * (size - width(one.shown) + 2)}{first}"))
        lines += [line(f"{' ' * (size + 3)}{part}") for part in rest]
    return lines


def help_page(texts: Iterable[str], known: Sequence[Key], cells: int) -> list[Line]:
    """What a page is for, and its keys below."""
    lines = [line(part) for text in texts for part in wrap(text, cells)]
    return [*lines, EMPTY, *key_help(known, cells)]


def action_list(moment: Moment, found: Sequence[Action], cells: int, rows: int) -> list[Line]:
    """What was typed, and every action that has it, the chosen one set off."""
    glyphs = moment.glyphs
    chosen = max(0, min(moment.chosen, len(found) - 1))
    lines: list[Line] = [
        line(Span("all actions", "title"), Span("   type a few letters; arrows choose", "dim")),
        line(Span(f" {moment.say(moment.typed or '')}_ ", "watch")),
        EMPTY,
    ]
    if not found:
        return [*lines, line(Span("nothing has these letters", "dim"))]
    room = max(1, rows - len(lines) - 1)
    top = max(0, min(chosen - room // 2, len(found) - room))
    for place, one in enumerate(found[top : top + room], top):
        here = place == chosen
        mark = Span(f"{glyphs.more_right} " if here else "  ", "key")
        text = Span(moment.say(one.text), "cursor" if here else "")
        lines.append((mark, *clip((text,), cells - 2, glyphs.ellipsis)))
    return [*lines, line(Span(f"{chosen + 1} of {len(found)}", "dim"))] if len(found) > room else lines
