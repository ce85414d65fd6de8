"""Two surveys of one job made one: what two people noted on two computers, without a find lost or taken for another.

Both may have begun as copies of one record; what they have in common counts once, and what was taken in before is not
taken in again, from whichever side. What is new in the other comes in as events of this one, in its order and with its
authors. Where both gave one name to different things, the other's thing gets a name of its own, and its tries follow
it: two flags with one number hang in the hall then, and whoever merges is told so.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from bench.plant.finds import Tried
from bench.walk.surveying import (
    Saw,
    Survey,
    SurveyBegan,
    SurveyEntry,
    SurveyEvent,
    TookBack,
    TookIn,
    TornEnd,
    TriedIt,
    Withdrew,
    add,
)

SurveyLine = tuple[str, SurveyEntry]
"""The hash of a record's line, and its entry."""


class Merged(msgspec.Struct):
    """What a merge brings.

    Attributes:
        events: to be written after those that are there; the first says what is taken in. None where nothing is new.
        renamed: name in the other survey to the name that the thing gets here.
        twice: finds that both described anew since they had one record; what was noted last counts.
        finds, tries: how many come in.
    """

    events: list[SurveyEvent] = msgspec.field(default_factory=list)
    renamed: dict[str, str] = msgspec.field(default_factory=dict)
    twice: list[str] = msgspec.field(default_factory=list)
    finds: int = 0
    tries: int = 0


def merged(mine: Sequence[SurveyLine], other: Sequence[SurveyLine], source: str) -> Merged:
    """What another survey has that this one has not.

    Args:
        mine: the lines of the survey that goes on.
        other: those of the survey that is taken in, of the same plant.
        source: what its record is called.
    """
    return _Merge(mine, other, source).run()


class _Merge:
    def __init__(self, mine: Sequence[SurveyLine], other: Sequence[SurveyLine], source: str) -> None:
        self._other, self._source = other, source
        self._here = Survey()
        for _, entry in mine:
            self._here = add(self._here, entry)
        self._first = self._here
        own = {sha: entry.n for sha, entry in mine}
        self._common = next((at for at, (sha, _) in enumerate(other) if sha not in own), len(other))
        shared = Survey()
        for _, entry in other[: self._common]:
            shared = add(shared, entry)
        self._shared = {*shared.finds, *shared.withdrawn}
        self._parted = own[other[self._common - 1][0]] if self._common else 0
        taken = [entry.event for _, entry in mine if isinstance(entry.event, TookIn)]
        before = [one for one in taken if any(sha == one.sha256 for sha, _ in other)]
        self._done = max([self._common, *(one.n for one in before)])
        self._known = {*own, *(one.sha256 for one in taken)}
        self._found = Merged()
        # names of the other, and numbers of its tries, as they are called here
        self._names = {name: to for one in before for name, to in one.renamed.items()}
        self._tries = {n: n for n in shared.tries} | {n: to for one in before for n, to in one.tries.items()}

    def run(self) -> Merged:
        found, events = self._found, list[SurveyEvent]()
        skip = 0
        number = self._here.last + 1  # of the event that says what is taken in
        for at, (_, entry) in enumerate(self._other):
            event = entry.event
            if skip:
                skip -= 1
                continue
            if isinstance(event, TookIn) and event.sha256 in self._known:
                # what follows came from here, or from where this one took it in as well
                skip = event.events
                self._names |= {to: name for name, to in event.renamed.items()}
                self._tries |= {to: n for n, to in event.tries.items()}
                continue
            if at < self._done:
                continue
            translated = self._translated(entry)
            for one in translated:
                number += 1
                if isinstance(one, TriedIt):
                    found.tries += 1
                    self._tries[entry.n] = number
                found.finds += isinstance(one, Saw)
                events.append(one)
        if not events:
            return found
        renamed = {name: to for name, to in self._names.items() if name != to}
        found.renamed = {name: to for name, to in found.renamed.items() if name in renamed}
        tries = {n: to for n, to in self._tries.items() if to > self._here.last}
        head = self._other[-1]
        took = TookIn(
            source=self._source, sha256=head[0], n=head[1].n, events=len(events), renamed=renamed, tries=tries
        )
        found.events = [took, *events]
        return found

    def _translated(self, entry: SurveyEntry) -> list[SurveyEvent]:
        event = entry.event
        if isinstance(event, SurveyBegan | TornEnd | TookIn):
            return []
        if isinstance(event, Saw):
            return self._saw(entry, event)
        if isinstance(event, Withdrew):
            name = self._called(event.name)
            return [msgspec.structs.replace(event, name=name)] if self._knows(name) else []
        if isinstance(event, TriedIt):
            tried = event.tried
            names = {name: self._called(name) for name in (tried.touched, *tried.among)}
            if not all(self._knows(name) for name in names.values()):
                return []
            here = Tried(
                touched=names[tried.touched],
                among=[names[name] for name in tried.among],
                answer=names.get(tried.answer, ""),
                way=tried.way,
            )
            return [msgspec.structs.replace(event, tried=here)]
        if isinstance(event, TookBack):
            to = self._tries.get(event.n)
            return [msgspec.structs.replace(event, n=to)] if to is not None else []
        return [event]

    def _called(self, name: str) -> str:
        return self._names.get(name, name)

    def _knows(self, name: str) -> bool:
        return name in self._first.finds or name in self._names.values()

    def _saw(self, entry: SurveyEntry, event: Saw) -> list[SurveyEvent]:
        find, found = event.find, self._found
        if find.name not in self._names:
            self._names[find.name] = self._name_for(event)
        name = self._names[find.name]
        here = msgspec.structs.replace(find, name=name)
        known = self._first.finds.get(name)
        if known is not None and known.find == here:
            return []
        if name != find.name:
            found.renamed[find.name] = name
        how = event.how or f"{self._source}, noted {entry.at}"
        events: list[SurveyEvent] = [msgspec.structs.replace(event, find=here, how=how)]
        if known is not None and known.n > self._parted:
            found.twice.append(name)
            if known.at > entry.at:
                events.append(Saw(find=known.find, by=known.by, how=f"noted {known.at}, after {self._source}"))
        return events

    def _name_for(self, event: Saw) -> str:
        """The name here of a thing of the other survey: its own, unless something else is called so."""
        name = event.find.name
        first = self._first
        taken = {*first.finds, *first.before, *first.withdrawn, *self._names.values()}
        if name not in taken or name in self._shared:
            return name
        kept = first.finds.get(name)
        if kept is not None and kept.find == event.find:
            return name
        letters = "bcdefghijklmnopqrstuvwxyz"
        return next(one for one in (f"{name}{letter}" for letter in letters) if one not in taken)
