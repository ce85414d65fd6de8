"""A survey line by line: for screen readers, for simple terminals, and from a file."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TextIO

from bench.screens.survey.talk import Talk


def run(talk: Talk, typed: Iterable[str], out: TextIO) -> None:
    """Ask and take answers until it is left, or nothing more is typed.

    Args:
        talk: the conversation.
        typed: what is typed, a line each.
        out: what is written to.
    """
    shown: tuple[str, ...] = ()
    lines = iter(typed)
    while not talk.over:
        asked = talk.asked()
        if talk.note:
            print(talk.note, file=out)
        if asked.page != shown:
            for text in asked.page:
                print(text, file=out)
            shown = asked.page
        print(f"[{asked.title}] {asked.question}" + (f" ({asked.hint})" if asked.hint else ""), file=out)
        for number, choice in enumerate(asked.choices, 1):
            print(f"  {number} {choice}", file=out)
        print(f"{asked.stands}> " if asked.stands else "> ", end="", file=out, flush=True)
        line = next(lines, None)
        if line is None:
            print(file=out)
            return
        talk.take(line)
    if talk.note:
        print(talk.note, file=out)
