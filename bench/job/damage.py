"""A record that was damaged counts nowhere, and may have said that something failed or was moved.

So what it may have spoken of is not known: evidence about that counts only where it is surely later, that is, where it
stands in a record that saw the damaged one. Where nobody can say what was spoken of, it may have been anything. Whoever
finds a sound copy puts it back; whoever finds none proves again what is void by it, or takes the file out of the
folder.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import msgspec

from bench.job.rows import Chapter, Told
from bench.plant.handled import UNKNOWN, Change, Kind, Mark
from bench.record.chain import FIRST, BadLine, decode, hash_of, split
from bench.record.read import BrokenRecord, read_lines
from bench.sequence.file import Do
from bench.walk import events as e
from bench.walk.state import OutOfTurn, Refused, start, take

DAMAGED: Final = "damaged"
"""The kind of what is told of a damaged record; without names it may have spoken of anything."""
_NAMES_NOTHING_NEW: Final = (
    e.Read, e.Met, e.MadeSafe, e.Elapsed, e.Answered, e.Switched, e.Energised, e.Seated, e.Paused, e.Continued,
)  # fmt: skip
"""Events that speak of nothing but what the plan names."""


class Damaged(msgspec.Struct, frozen=True, kw_only=True):
    """A damaged record, as far as it can be made out.

    Attributes:
        record: its name.
        why: what is wrong with it.
        id: the hash of its first line, as it stands there.
        lines: how many it has, or had when another record saw it.
        last: the hash that its last line states.
        at: when its last line was written, UTC; empty where that cannot be read.
        names: what it may have spoken of; empty where that may be anything.
        handles: what hands and outputs may have left otherwise in it; it may be anything where ``names`` is empty.
        order: more than 0, unless an older version wrote it.
        saw: the last records that were there when it began, where its first line is sound.
        simulated: whether its first line is sound and says that no real meter was there.
        stated: hash that a line states to that line's number.
    """

    record: str
    why: str
    id: str
    lines: int
    last: str
    at: str = ""
    names: tuple[str, ...] = ()
    handles: tuple[str, ...] = ()
    order: int = 1
    saw: tuple[e.Seen, ...] = ()
    simulated: bool = False
    stated: dict[str, int] = {}

    def marks(self, of: Iterable[tuple[Kind, str]]) -> Iterator[Mark]:
        """That nobody knows how it left some things, for those of them that it may have handled.

        Args:
            of: things that other records spoke of, each its kind and its name.
        """
        for kind, name in of:
            if not self.names or name in self.handles:
                yield Mark(Change(kind, name, UNKNOWN), at=self.at, record=self.record, n=self.lines)

    def is_copy_of(self, whole: Chapter) -> bool:
        """Whether it is a damaged copy of a record that is there, and goes no further."""
        return whole.lines >= self.lines and (whole.id == self.id or whole.last in self.stated)

    @property
    def told(self) -> Told:
        """The same as something that was told: it voids what is not surely later."""
        what = "this" if self.names else "anything"
        text = f"the record {self.record} is damaged, and what it said of {what} is not known"
        return Told(record=self.record, n=self.lines, at=self.at or "9999", kind=DAMAGED, names=self.names, text=text)


def look_at(path: Path, record: str, why: str, seen: int = 0) -> Damaged | None:
    """Make out what can be made out of a damaged record.

    Args:
        path: the file.
        record: its name.
        why: what is wrong with it.
        seen: how many lines another record saw of it, where it is not the one that was seen.

    Returns:
        What it may have spoken of. None where it never said anything: it is empty, or was cut off in its first line;
        and where it is no record at all.
    """
    look = _Look()
    try:
        for number, line in read_lines(path):
            look.line(number, line)
    except BrokenRecord:
        look.anything = True
    if look.lines == 0 or (look.lines == 1 and not look.ended) or not look.stated:
        return None
    return Damaged(
        record=record,
        why=why,
        id=look.first,
        lines=max(seen, look.lines),
        last=look.previous.decode(),
        at=look.at,
        names=() if look.anything or seen else tuple(sorted(look.names)),
        handles=() if look.anything or seen else tuple(sorted(look.handles)),
        order=look.order,
        saw=tuple(look.saw),
        simulated=look.simulated,
        stated=look.stated,
    )


class _Look:
    def __init__(self) -> None:
        self.names: set[str] = set()
        self.handles: set[str] = set()
        self.anything = False
        self.lines = 0
        self.ended = True
        self.first = ""
        self.previous = FIRST
        self.at = ""
        self.order = 1
        self.saw: list[e.Seen] = []
        self.simulated = False
        self.stated: dict[str, int] = {}

    def line(self, number: int, line: bytes) -> None:
        self.lines, self.ended = number, line.endswith(b"\n")
        if not self.ended:
            return  # torn: nobody was told that it was taken
        try:
            body, stated = split(line)
            entry = decode(line)
        except BadLine:
            self.anything = True
            self._goes_on(line[-67:-3])
            return
        sound = hash_of(body, self.previous) == stated and entry.n == number
        self._goes_on(stated)
        self.at = entry.at
        match entry.event:
            case e.Began() as began if sound and number == 1:
                self.order, self.saw, self.simulated = began.order, began.saw, began.bench.simulated
                names, handles = _planned(entry)
                self.names |= names
                self.handles |= handles
            case e.Disturbed() as one if sound:
                self.names |= set(one.touches)
            case event:
                known = sound or (isinstance(event, _NAMES_NOTHING_NEW) and entry.n == number)
                self.anything = self.anything or number == 1 or not known
        if isinstance(entry.event, e.Read):
            self.names |= _noted(entry.event)

    def _goes_on(self, stated: bytes) -> None:
        with contextlib.suppress(UnicodeDecodeError):
            text = stated.decode("ascii")
            self.previous = stated
            self.first = self.first or text
            self.stated[text] = self.lines


def _planned(entry: e.Entry) -> tuple[set[str], set[str]]:
    """What a walk speaks of by its plan, and what hands leave otherwise by it."""
    try:
        setting = take(start(), entry).setting
    except (OutOfTurn, Refused):
        return set(), set()
    names: set[str] = set()
    handles: set[str] = set()
    for step in setting.plan.steps if setting is not None else ():
        names |= {*step.subject.split("+"), *(step.probes or ())}
        if step.kind in ("look", "seek", "energise"):
            names |= set(step.touches)
        if step.kind in ("look", "do", "seek"):
            handles |= set(step.touches)
        if isinstance(step.source, Do):
            handles |= {change.name for change in step.source.changes}
    return names - {""} or handles, handles


def _noted(read: e.Read) -> set[str]:
    """What stands beside a reading for people: it may be changed, and adds to what the plan names."""
    subject, between = read.judged.get("subject"), read.judged.get("between")
    places: Iterable[object] = between if isinstance(between, list) else ()
    return {name for name in (subject, *places) if isinstance(name, str) and name}
