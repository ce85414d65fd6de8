"""The plant as handled: what is closed, live, out, lifted and mated by now, and who left it so.

The plant file says what should be; this says what hands and outputs did. It is one value for whoever asks: the walk,
the plan that is checked before it, the simulator's hands, a search for a second path to earth, the evidence for power,
and the fold over all records of a job.

The algebra
===========

* :meth:`Handled.after` takes changes that were made knowing the value: each replaces what was said of its thing.
* :func:`merge` joins two values that were told apart from one another, such as the records of two laptops. What one
  side knew and the other had replaced is replaced; what neither knew of the other stands side by side. It is
  commutative, associative and idempotent, so the order in which folders are copied does not matter.
* A thing that nobody spoke of is ``unknown``, and so is one of which two say different things; :attr:`Handled.disputed`
  names the latter.

A mark is told apart by its record and its event's number there. A value remembers up to which event of each record it
has seen: a mark that it has seen and no longer holds was replaced. So one record's events must be taken in their order.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Final, Literal

import msgspec

Kind = Literal["breaker", "supply", "output", "connection", "card", "bond", "plug"]
"""What can be handled. A ``supply`` is the plant's own, such as a battery; an ``output`` is an instrument's; a
``connection`` is where the leads of a battery or of a bench supply are."""

UNKNOWN: Final = "unknown"
"""The state of a thing that nobody spoke of, or of which two records say different things."""

STATES: Final[dict[Kind, tuple[str, ...]]] = {
    "breaker": ("open", "closed", "locked off"),
    "supply": ("off", "on"),
    "output": ("off", "on", "may be on"),
    "connection": ("disconnected", "connected"),
    "card": ("in", "out"),
    "bond": ("in place", "lifted"),
    "plug": ("mated", "unmated"),
}
"""Kind to the states that such a thing can be in."""


class Change(msgspec.Struct, frozen=True):
    """What was done to one thing.

    Attributes:
        kind: what kind of thing.
        name: its name; of an output and of a bench supply's connection the instrument's.
        state: the state that it was left in; one of :data:`STATES`, or ``unknown`` where nobody can say any more.
        where: of a card the place that it went to, where somebody said; of an output and of a connection the plant's
            supplies in whose place it stands.
        volts: of an output that is on, without sign; None where not known.

    Raises:
        ValueError: no such state for that kind.
    """

    kind: Kind
    name: str
    state: str
    where: tuple[str, ...] = ()
    volts: float | None = None

    def __post_init__(self) -> None:
        if self.state not in STATES[self.kind] and self.state != UNKNOWN:
            raise ValueError(f"a {self.kind} is never '{self.state}'")


class Mark(msgspec.Struct, frozen=True):
    """What was said of one thing, by whom and when.

    Attributes:
        change: what was done.
        by: who did it; empty where not known.
        at: time of day, UTC, ISO 8601; empty where not known.
        record: the record that says so; empty for the walk under way.
        n: the event's number there.
    """

    change: Change
    by: str = ""
    at: str = ""
    record: str = ""
    n: int = 0


class Handled(msgspec.Struct, frozen=True, dict=True):
    """The plant as handled. Never changed: :meth:`after` and :func:`merge` make another one.

    Attributes:
        marks: kind to thing to what is said of it: one mark, or several that were made apart from one another.
        seen: record to the number of its last event that was taken.
        record: the record whose events are being taken.
    """

    marks: dict[Kind, dict[str, tuple[Mark, ...]]] = {}
    seen: dict[str, int] = {}
    record: str = ""

    def after(self, changes: Iterable[Change], nth: int = 0, by: str = "", at: str = "") -> Handled:
        """The same after something was done; this very value where nothing was.

        Args:
            changes: what was done, in its order.
            nth: number of the event that says so.
            by: who did it.
            at: time of day, UTC.
        """
        marks: dict[Kind, dict[str, tuple[Mark, ...]]] = {}
        for change in changes:
            kind = change.kind
            if kind not in marks:
                marks[kind] = dict(self.marks.get(kind, {}))
            marks[kind][change.name] = (Mark(change, by, at, self.record, nth),)
        if not marks:
            return self
        return Handled({**self.marks, **marks}, {**self.seen, self.record: nth}, self.record)

    def in_record(self, record: str) -> Handled:
        """The same, about to take the events of another record."""
        return Handled(self.marks, self.seen, record)

    def said(self, kind: Kind, name: str) -> tuple[Mark, ...]:
        """All that is said of a thing: nothing, one mark, or several that were made apart from one another."""
        return self.marks.get(kind, {}).get(name, ())

    def state(self, kind: Kind, name: str) -> str:
        """The state of a thing; ``unknown`` where nobody spoke of it, or where two say different things."""
        return _agreed(self.said(kind, name))

    def names(self, kind: Kind, *states: str) -> frozenset[str]:
        """The things of a kind that are surely in one of these states."""
        return frozenset(name for name, said in self.marks.get(kind, {}).items() if _agreed(said) in states)

    def against(self, change: Change) -> tuple[Mark, ...]:
        """What is said otherwise of the thing: what somebody who looks and finds this change contradicts."""
        return tuple(mark for mark in self.said(change.kind, change.name) if mark.change.state != change.state)

    @property
    def disputed(self) -> tuple[tuple[Kind, str], ...]:
        """The things of which two records say different things, neither knowing of the other."""
        return tuple(
            (kind, name)
            for kind, things in self.marks.items()
            for name, said in things.items()
            if len({mark.change.state for mark in said}) > 1
        )

    @cached_property
    def closed(self) -> frozenset[str]:
        """Breakers that are closed."""
        return self.names("breaker", "closed")

    @cached_property
    def live(self) -> frozenset[str]:
        """Supplies of the plant that are on."""
        return self.names("supply", "on")

    @cached_property
    def out(self) -> frozenset[str]:
        """Cards that are out."""
        return self.names("card", "out")

    @cached_property
    def lifted(self) -> frozenset[str]:
        """Bonds that are lifted."""
        return self.names("bond", "lifted")

    @cached_property
    def on(self) -> frozenset[str]:
        """Instruments whose output is on or may be on."""
        return self.names("output", "on", "may be on")


def merge(one: Handled, other: Handled) -> Handled:
    """What two values say together that were told apart from one another.

    Returns:
        The joint value; it goes on in the first one's record.
    """
    marks: dict[Kind, dict[str, tuple[Mark, ...]]] = {}
    for kind in STATES:
        mine, theirs = one.marks.get(kind, {}), other.marks.get(kind, {})
        if mine or theirs:
            joined = {name: _joined(one, other, kind, name) for name in sorted({*mine, *theirs})}
            marks[kind] = {name: said for name, said in joined.items() if said}
    seen = {record: max(one.seen.get(record, 0), other.seen.get(record, 0)) for record in {**one.seen, **other.seen}}
    return Handled(marks, seen, one.record)


def _joined(one: Handled, other: Handled, kind: Kind, name: str) -> tuple[Mark, ...]:
    mine, theirs = set(one.said(kind, name)), set(other.said(kind, name))
    kept = {mark for mark in mine if mark in theirs or not _has_seen(other, mark)}
    kept |= {mark for mark in theirs if mark in mine or not _has_seen(one, mark)}
    return tuple(sorted(kept, key=lambda mark: (mark.record, mark.n, mark.change.state)))


def _has_seen(handled: Handled, mark: Mark) -> bool:
    return handled.seen.get(mark.record, -1) >= mark.n


def _agreed(said: tuple[Mark, ...]) -> str:
    states = {mark.change.state for mark in said}
    return states.pop() if len(states) == 1 else UNKNOWN
