"""Says what a search wants next, and how a search is written.

A search is a generator (:data:`bench.walk.seeking.Search`) that begins where the trail stands:

    def search(state: State, step: Step, trail: Trail) -> Search:
        so_far = ...                     # from the state, and what the trail has told
        for answer in trail:
            so_far.take(answer)
        while (act := so_far.next()) is not None:
            so_far.take((yield Wanted(act, why="...")))
        return Found(verdict="pass", sentence="...")

It is pure: the same state and the same trail always lead to the same wish, and it makes no difference whether the
answers came one by one or all at once. Of the state it takes what was known before the search: what its own acts
change it learns from the answers. One that asks step by step and cannot begin in the middle is written as if nothing
had been asked, and handed to :func:`followed`.

The adviser keeps the generator where it stands, so that asking again costs no more than what came since. It belongs to
whoever runs the walk, and is only a saving: a new one says the same.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator
from typing import TypeVar

import msgspec

from bench.quantity import Amount
from bench.sequence.file import Do, Find, Found, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.walk.events import Advised
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State

R = TypeVar("R")
Begin = Callable[[State, Step, Trail], Search]
"""Begins a search where the trail stands; takes the state, the search's step and the trail."""


_ANY: Limit = Limit(at_least=Amount(0.0, ""), source="any")


class NoAdvice(ValueError):
    """Why there is nothing to advise, in words for a person."""


def followed(search: Generator[Wanted, Answer, R], trail: Trail) -> Generator[Wanted, Answer, R]:
    """A search that begins at nothing, brought to where a trail stands.

    Args:
        search: the search at its beginning.
        trail: what was asked for and answered.

    Raises:
        NoAdvice: the search would have asked for something else.
    """
    left = list(trail)
    answer: Answer | None = None
    while True:
        try:
            wanted = next(search) if answer is None else search.send(answer)
        except StopIteration as end:
            if left:
                raise NoAdvice("the trail goes on where the plan had ended; begin the search anew") from None
            ending: R = end.value
            return ending
        if not left:
            answer = yield wanted
            continue
        answer = left.pop(0)
        if _bare(answer.want) != _bare(wanted.act):
            raise NoAdvice(
                "what was asked for before does not follow from this plan: the bench, the plant or the settings are "
                "others now; go to the step before the search, and begin it anew"
            )


def _bare(act: Do | Measure) -> Do | Measure:
    """An act or reading without its words and its limit: those may be told in another way today."""
    if isinstance(act, Do):
        return msgspec.structs.replace(act, title="", text="")
    return msgspec.structs.replace(act, title="", text="", subject="", limit=_ANY)


class Adviser:
    """Says what the search under way wants next, or what it came to.

    Args:
        search_for: what is looked for, to the search that looks for it.
    """

    def __init__(self, search_for: Callable[[Find], Begin]) -> None:
        self._search_for = search_for
        self._kept: deque[_UnderWay] = deque(maxlen=1)

    def __call__(self, state: State) -> Advised:
        """What the search wants next; may be asked any number of times, from any thread.

        Args:
            state: a state in which a search is under way.

        Raises:
            NoAdvice: there is no search, or its trail is that of another plan.
            ValueError: whatever the search itself cannot work with, in words for a person.
        """
        step, seeking = state.planned, state.seeking
        if step is None or seeking is None or not isinstance(step.source, Seek):
            raise NoAdvice("no search is under way; expected one")
        # taken out while it is used, since a generator cannot be asked twice at once; a deque is safe between threads
        try:
            under_way = self._kept.pop()
        except IndexError:
            under_way = None
        if under_way is None or not under_way.leads_to(state, seeking.trail):
            under_way = _UnderWay(state, seeking.trail, self._search_for(step.source.find)(state, step, seeking.trail))
        wanted = under_way.after(seeking.trail)
        self._kept.append(under_way)
        done = sum(answer.counts for answer in seeking.trail)
        if isinstance(wanted, Found):
            return Advised(number=0, want=wanted, done=done)
        facts = seeking.facts if wanted.facts is None else wanted.facts
        return Advised(number=0, want=wanted.act, done=done, left=wanted.left, why=wanted.why, facts=dict(facts))


class _UnderWay:
    """A search and the trail that it has taken."""

    def __init__(self, state: State, trail: Trail, search: Search) -> None:
        self._since = state
        self._trail = trail
        self._search = search
        self._wanted: Wanted | Found = self._sent(None)

    def leads_to(self, state: State, trail: Trail) -> bool:
        """Whether going on with it leads to a trail: nothing was taken back, and no step before it was done again."""
        since = self._since
        return (
            since.setting is state.setting
            and since.place.cursor == state.place.cursor
            # a new one whenever a step of the plan comes to an end
            and since.kept.made is state.kept.made
            and since.outputs.on == state.outputs.on
            and len(self._trail) <= len(trail)
            and all(mine is theirs for mine, theirs in zip(self._trail, trail, strict=False))
        )

    def after(self, trail: Trail) -> Wanted | Found:
        """What it wants at the end of a trail."""
        for answer in trail[len(self._trail) :]:
            self._wanted = self._sent(answer)
        self._trail = trail
        return self._wanted

    def _sent(self, answer: Answer | None) -> Wanted | Found:
        try:
            return next(self._search) if answer is None else self._search.send(answer)
        except StopIteration as end:
            found: Found = end.value
            return found
