"""What is said to a watch and what it answers: the same for the screen and line by line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal, Protocol

import msgspec

from bench.diagnose.hunt.ranking import Next, Ranking
from bench.diagnose.hunt.watched import (
    clock,
    jump_line,
    next_line,
    noticed_line,
    percent,
    ranked_lines,
    ranking_of,
    verdict_line,
)
from bench.walk.watching import NotNow, Sprang, Watch

SAID: Final = 3
"""Newest lines of consoles that are shown."""
How = Literal["typed", "said", "scanned", "proposed"]
HELP: Final = (
    "Move one thing at a time, for about five seconds, and say what: its number or its name, then Enter. Enter alone "
    "takes what is proposed.",
    "A tone and a mark come with each jump. Words may come a second late: that is allowed for.",
    "A full stop alone: hands are off. A minus alone: what was said last was not so. Text after ! is a remark.",
    "'trip FA3 and what happened': a breaker tripped, a fuse blew, a shelf reset or failed.",
    "Several names with commas between them: they are moved together. A scanner types names, too.",
)


class Keeper(Protocol):
    """What keeps the watch."""

    @property
    def watch(self) -> Watch:
        """The watch as far as it is written down."""

    @property
    def now(self) -> float:
        """Seconds since it began."""

    @property
    def trouble(self) -> str:
        """What is wrong now; empty: nothing."""

    def touch(self, places: Sequence[str], how: How = "typed") -> None:
        """Say that these are moved from now on."""

    def take_back(self) -> str:
        """Take back what was said to be moved last."""

    def remark(self, text: str) -> None:
        """Note something."""

    def trip(self, thing: str, what: str) -> None:
        """Say that a breaker tripped, or a shelf reset or failed."""

    def end(self, why: str) -> None:
        """End the watch for good."""


class Told(msgspec.Struct, frozen=True):
    """What there is to show of a watch at a moment.

    Attributes:
        watch: the watch.
        verdict: what can be said so far.
        ranked: the likeliest places.
        proposed: what to move next, in words; empty where there is nothing to move.
        jumps: the newest jumps, the newest last.
        said: the newest lines of consoles, the newest last.
    """

    watch: Watch
    verdict: str
    ranked: tuple[str, ...]
    proposed: str
    jumps: tuple[str, ...]
    said: tuple[str, ...] = ()


class Talk:
    """A conversation with a watch.

    Args:
        keeper: keeps it.

    Attributes:
        note: what was answered last; empty where nothing was.
        over: it was left.
    """

    def __init__(self, keeper: Keeper) -> None:
        self._keeper = keeper
        self.note = ""
        self.over = False
        self._known: tuple[tuple[int, int, bool], Ranking, Next | None] | None = None

    @property
    def keeper(self) -> Keeper:
        """What keeps the watch."""
        return self._keeper

    def ranked(self) -> tuple[Ranking, Next | None]:
        """The places ranked, and what to move next; worked out anew where something came that changes it."""
        watch = self._keeper.watch
        mark = (len(watch.jumps), len(watch.moved), bool(watch.moving))
        if self._known is None or self._known[0] != mark:
            ranking = ranking_of(watch)
            self._known = mark, ranking, ranking.next(watch.head.moves_for)
        return self._known[1], self._known[2]

    def told(self, jumps: int = 5) -> Told:
        """What there is to show.

        Args:
            jumps: how many of the newest jumps.
        """
        watch = self._keeper.watch
        ranking, following = self.ranked()
        ranked = ranked_lines(watch, ranking) if watch.head.places else []
        newest = watch.jumps[-jumps:] if jumps else ()
        happened = watch.noticed[-jumps:] if jumps else ()
        return Told(
            watch,
            verdict_line(watch, ranking),
            tuple(ranked),
            next_line(watch, following),
            (*(jump_line(watch, one) for one in newest), *(noticed_line(watch, one) for one in happened)),
            tuple(f"{clock(at)}  {console}: {text}" for at, console, text in watch.said[-SAID:]),
        )

    def fresh(self, seen: int) -> tuple[Sprang, ...]:
        """The jumps after a number of them."""
        return self._keeper.watch.jumps[seen:]

    def take(self, text: str, how: How = "typed") -> None:
        """Take what was typed, said or scanned."""
        text = text.strip()
        self.note = ""
        try:
            if text == ".":
                self._keeper.touch([], how)
                self.note = "hands are off"
            elif text == "-":
                taken = self._keeper.take_back()
                self.note = f"taken back: {taken}" if taken else "nothing to take back"
            elif text.casefold() in ("help", "?"):
                self.note = "\n".join(HELP)
            elif text.startswith("!"):
                self._keeper.remark(text[1:].strip())
                self.note = "noted"
            elif text.casefold().startswith("trip "):
                thing, _, what = text[5:].strip().partition(" ")
                self._keeper.trip(thing.rstrip(":,"), what.strip())
                self.note = f"kept: {thing.rstrip(':,')} tripped"
            elif text.casefold() in ("end", "quit"):
                if text.casefold() == "end":
                    self._keeper.end("ended by whoever watched")
                self.over = True
            elif not text:
                self._proposed()
            else:
                self._touch(text, how)
        except NotNow as error:
            self.note = str(error)

    def _proposed(self) -> None:
        _, following = self.ranked()
        if following is None:
            self.note = "nothing is listed to be moved; this watch only looks"
            return
        places = self._keeper.watch.head.places
        self._go([places[index].name for index in following.places], "proposed")

    def _touch(self, text: str, how: How) -> None:
        names = []
        for part in (one.strip() for one in text.split(",")):
            found = self._place(part)
            if found is None:
                self.note = f"no place called '{part}'; give its number or its name"
                return
            names.append(found)
        self._go(names, how)

    def _go(self, names: list[str], how: How) -> None:
        self._keeper.touch(names, how)
        self.note = f"moving {', '.join(names)} for {self._keeper.watch.head.moves_for:g} s"

    def _place(self, text: str) -> str | None:
        places = self._keeper.watch.head.places
        if text.isdecimal() and 1 <= int(text) <= len(places):
            return places[int(text) - 1].name
        folded = text.casefold()
        exact = [one.name for one in places if one.name.casefold() == folded]
        if exact:
            return exact[0]
        begun = [one.name for one in places if one.name.casefold().startswith(folded)]
        return begun[0] if len(begun) == 1 else None


def place_lines(watch: Watch, ranking: Ranking) -> list[str]:
    """All places with their numbers and chances."""
    return [
        f"{number:2} {place.name}  {percent(ranking.chances[number - 1])}  {place.text}"
        for number, place in enumerate(watch.head.places, 1)
    ]
