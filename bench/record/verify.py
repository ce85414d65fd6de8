"""Is a record as it was written? Says which line was changed, lost, added or moved, and what is torn.

The chain shows every change that was not carried through to the end. Whoever rewrites a record from some line on,
hashes and all, leaves no trace in its chain, and neither do lines cut off at the end, unless the walk was over: a walk
that is over says so in its last line. Heads that are kept elsewhere show both (:mod:`bench.record.heads`), and so does
another record that saw them. A value that was changed shows where the meter's own bytes beside it were not.

Where the chain holds, the record is folded: a note of a verdict that today's code would not derive is told as well.
"""

from __future__ import annotations

import hashlib
import math
from collections import deque
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final, Literal

import msgspec

from bench.record.chain import FIRST, BadLine, decode, hash_of, is_torn, lacks_sectors, split
from bench.record.index import DISTURBANCES, MAY_BEGIN, nothing_in
from bench.record.kept import wrong_file, wrong_photos
from bench.record.long_store import wrong_with
from bench.record.raw import RawCheck
from bench.record.read import BrokenRecord, read_lines
from bench.record.replay import Taken, brought, take_next
from bench.record.survey import decode_survey, is_survey
from bench.record.watch import decode_watch, is_watch
from bench.walk import watching
from bench.walk.events import Attached, Began, Disturbed, Entry, KeptFile, Mended, Read
from bench.walk.left_on import ends_with
from bench.walk.outcome import Outcome
from bench.walk.state import State, start
from bench.walk.surveying import NotNow, Survey, SurveyBegan, SurveyEntry, TornEnd, add

SAME: Final = 1e-9
"""Relative difference of two values that counts as none."""
RECENT: Final = 32
"""Lines before a misplaced one among which its true predecessor is sought."""


class Finding(msgspec.Struct, frozen=True):
    """Something that is not as it was written, or worth knowing.

    Attributes:
        line: the line, from 1; 0 for the record as a whole.
        start: first byte of the place in the file, from 0.
        end: the byte after it.
        weight: ``wrong``, ``judged otherwise`` or ``note``.
        words: what it is.
    """

    line: int
    start: int
    end: int
    weight: Literal["wrong", "judged otherwise", "note"]
    words: str


class Verified(msgspec.Struct, frozen=True):
    """The result of verifying a record.

    Attributes:
        path: the record.
        kind: ``walk``, ``disturbances``, ``survey`` or ``watch``.
        lines: whole lines.
        last: the last line's hash, to be written down elsewhere.
        ending: where the walk stands at the end; empty for the others.
        findings: in file order.
    """

    path: Path
    kind: str
    lines: int
    last: str
    ending: str
    findings: tuple[Finding, ...]

    @property
    def wrong(self) -> bool:
        """Whether anything is not as it was written, or judged otherwise today."""
        return any(finding.weight != "note" for finding in self.findings)


def verify(path: Path, *, judge: bool = True, kept: list[Taken] | None = None) -> Verified:
    """Verify one record, or a file of disturbances.

    Args:
        path: the file.
        judge: also fold the record and compare the verdicts that were noted.
        kept: is filled with the steps of that fold, as far as all is sound, for whoever needs them too.

    Raises:
        BrokenRecord: the file cannot be read, or is no record at all.
    """
    disturbances = path.name == DISTURBANCES
    survey, watch = is_survey(path), is_watch(path)
    check = _Check(path, disturbances, judge, survey, watch)
    check.kept = kept
    for _, line in read_lines(path):
        check.line(line)
    check.end()
    if check.number == 0:
        raise BrokenRecord(path, 0, nothing_in(0))
    if check.foreign:
        raise BrokenRecord(path, 1, "is no record: its first line has neither a hash nor an event")
    return Verified(
        path=path,
        kind="disturbances" if disturbances else "survey" if survey else "watch" if watch else "walk",
        lines=check.whole,
        last=check.previous.decode(),
        ending=check.state.phase.value if check.state is not None and not disturbances else "",
        findings=tuple(sorted(check.findings, key=lambda one: (one.line, one.start))),
    )


def changed_lines(lines: Iterable[bytes]) -> list[Finding]:
    """What the chain alone shows of raw lines, without folding them."""
    check = _Check(Path(), False, False)
    for line in lines:
        check.line(line)
    check.end()
    return [finding for finding in check.findings if finding.weight == "wrong"]


_AnyEntry = Entry | SurveyEntry | watching.WatchEntry


class _Misfit(msgspec.Struct):
    """A line whose hash does not fit, until the next line shows why."""

    number: int
    start: int
    end: int
    stated: bytes
    computed: bytes
    found: int | None
    expected: int


class _Check:
    def __init__(self, path: Path, disturbances: bool, judge: bool, survey: bool = False, watch: bool = False) -> None:
        self.path = path
        self.findings: list[Finding] = []
        self.previous = FIRST
        self.number = self.whole = 0
        self.kept: list[Taken] | None = None
        self.foreign = False
        self.state: State | None = start() if judge and not (disturbances or survey or watch) else None
        self._survey: Survey | None = Survey() if survey else None
        self._watch: watching.Watch | None = watching.Watch() if watch else None
        self._disturbances = disturbances
        begins = ((MAY_BEGIN, disturbances), ((SurveyBegan,), survey), ((watching.WatchBegan,), watch))
        self._begins = next((kinds for kinds, holds in begins if holds), (Began,))
        self._offset = 0
        self._expected = 1
        self._at = ""
        self._raw = RawCheck()
        self._places: dict[int, tuple[int, int]] = {}
        self._misfit: _Misfit | None = None
        self._sound = True
        self._recent: deque[bytes] = deque([FIRST], maxlen=RECENT)

    def line(self, line: bytes) -> None:
        """Take the next raw line."""
        self.number += 1
        begin, self._offset = self._offset, self._offset + len(line)
        end = self._offset
        try:
            if is_torn(line, self.previous):
                self._settle(None)
                self._say(begin, end, f"the end is torn: {len(line)} bytes without a line's end")
                return
            if lacks_sectors(line, begin):
                raise BadLine("whole sectors of it are zeros, as after a power cut")
            body, stated = split(line)
        except BadLine as error:
            self._settle(None)
            self.foreign = self.foreign or (self.number == 1 and b'"event"' not in line)
            self._say(begin, end, f"{error}; whatever stood here was changed")
            self._expected += 1
            stated = _stated(line)
            self.previous = stated or self.previous
            return
        self.whole += 1
        computed = hash_of(body, self.previous)
        if self._misfit is not None:
            computed = self._settle((body, stated)) or computed
        entry = self._decoded(line, begin, end)
        if computed != stated:
            self._sound = False
            found = entry.n if entry is not None else None
            # a line that still follows one of those before it is whole: what stands between them is told already
            whole = any(hash_of(body, hash_) == stated for hash_ in self._recent)
            if not whole or found != self._expected:
                self._misfit = _Misfit(self.number, begin, end, stated, computed, found, self._expected)
        elif entry is not None:
            self._in_order(entry, begin, end)
            self._fold(entry, begin, end)
        if entry is None or entry.n >= self._expected:
            self._expected = (entry.n if entry is not None else self._expected) + 1
        self.previous = stated
        self._recent.append(stated)

    def end(self) -> None:
        """No more lines."""
        self._settle(None)
        for number, words in self._raw.found():
            self.findings.append(Finding(number, *self._places[number], "wrong", words))
        if self.state is not None and self._sound and self.state.setting is not None and not self.state.finished:
            words = f"the walk is not over; it stands at {self.state.phase.value}"
            self.findings.append(Finding(0, self._offset, self._offset, "note", words))
        if self.state is not None and self._sound:
            for words in ends_with(self.state):
                self.findings.append(Finding(0, self._offset, self._offset, "note", words))

    def _say(self, begin: int, end: int, words: str) -> None:
        self.findings.append(Finding(self.number, begin, end, "wrong", words))
        self._sound = False

    def _settle(self, following: tuple[bytes, bytes] | None) -> bytes | None:
        """Say what is wrong with the line before, now that the next one is here, and give the hash that this one has
        by the better of the two readings."""
        misfit, self._misfit = self._misfit, None
        if misfit is None:
            return None
        computed = None
        words = "its content or its hash was changed"
        if misfit.found is not None and misfit.found > misfit.expected:
            last = misfit.found - 1
            which = f"event {last} is" if last == misfit.expected else f"events {misfit.expected} to {last} are"
            words = f"{which} missing before it, removed or moved"
        elif misfit.found is not None and misfit.found < misfit.expected:
            words = f"event {misfit.found} stands where event {misfit.expected} belongs: the line was added or moved"
        elif following is not None:
            body, stated = following
            if hash_of(body, misfit.stated) == stated:
                words = "its content was changed"
            elif hash_of(body, misfit.computed) == stated:
                words = "its hash was changed; its content is as it was written"
                computed = stated
        self.findings.append(Finding(misfit.number, misfit.start, misfit.end, "wrong", words))
        return computed

    def _decoded(self, line: bytes, begin: int, end: int) -> _AnyEntry | None:
        try:
            if self._watch is not None:
                return decode_watch(line)
            return decode(line) if self._survey is None else decode_survey(line)
        except BadLine as error:
            self._say(begin, end, str(error))
            return None

    def _in_order(self, entry: _AnyEntry, begin: int, end: int) -> None:
        if self.number == 1 and not isinstance(entry.event, self._begins):
            self._say(begin, end, "the first event does not begin a walk: lines before it are missing")
        elif entry.n != self._expected:
            self._say(begin, end, f"event {entry.n} stands where event {self._expected} belongs")
        if self._disturbances and not isinstance(entry.event, Disturbed | Mended):
            self._say(begin, end, "something else than a disturbance stands in a file of disturbances")
        if entry.at < self._at:
            words = f"the clock went back from {self._at} to {entry.at}"
            self.findings.append(Finding(self.number, begin, end, "note", words))
        self._at = entry.at
        if isinstance(entry.event, Read) and self._raw.take(self.number, entry.event):
            self._places[self.number] = (begin, end)
        if isinstance(entry.event, Attached):
            self._attached(entry.event.files, begin, end)
        if isinstance(entry, SurveyEntry) and self.path.name:
            photos = getattr(getattr(entry.event, "find", None), "photo", [])
            self.findings += [Finding(self.number, begin, end, "wrong", one) for one in wrong_photos(self.path, photos)]
        if isinstance(entry.event, Mended | TornEnd | watching.TornEnd):
            self.findings += self._kept(entry.event, begin, end)

    def _attached(self, files: Iterable[KeptFile], begin: int, end: int) -> None:
        """Whether the files that were kept with it lie there as they were; a line of its own says nothing of them."""
        for kept in files if self.path.name else ():
            words = wrong_file(self.path, kept)
            if words:
                self.findings.append(Finding(self.number, begin, end, "wrong", words))

    def _kept(self, event: Mended | TornEnd | watching.TornEnd, begin: int, end: int) -> Iterator[Finding]:
        kept = self.path.with_name(Path(event.kept).name) if self.path.name else self.path
        if not kept.is_file():
            words = f"the torn end that was set aside here is no longer there: {event.kept}"
        elif hashlib.sha256(kept.read_bytes()).hexdigest() != event.sha256:
            yield Finding(self.number, begin, end, "wrong", f"the torn end in {event.kept} was changed")
            return
        else:
            words = f"a torn end of {event.bytes} bytes was set aside here in {event.kept}"
        yield Finding(self.number, begin, end, "note", words)

    def _fold(self, entry: _AnyEntry, begin: int, end: int) -> None:
        """Fold while everything so far is sound, and compare the verdict that was noted."""
        if isinstance(entry, watching.WatchEntry):
            if self._watch is not None and self._sound:
                try:
                    self._watch = watching.add(self._watch, entry)
                except watching.NotNow as error:
                    self._say(begin, end, str(error))
                if isinstance(entry.event, watching.Sealed) and (wrong := wrong_with(self.path, entry.event)):
                    self.findings.append(Finding(self.number, begin, end, "wrong", wrong))
            return
        if isinstance(entry, SurveyEntry):
            if self._survey is not None and self._sound:
                try:
                    self._survey = add(self._survey, entry)
                except NotNow as error:
                    self._say(begin, end, str(error))
            return
        if self.state is None or not self._sound:
            return
        try:
            step = Taken(self.state, entry, take_next(self.state, entry, self.path))
            self.state = step.after
            if self.kept is not None:
                self.kept.append(step)
        except BrokenRecord as error:
            self._say(begin, end, error.why)
            return
        if isinstance(entry.event, Read) and entry.event.judged:
            words = _otherwise(entry.event, brought(step))
            if words:
                self.findings.append(Finding(self.number, begin, end, "judged otherwise", words))


def _stated(line: bytes) -> bytes:
    """The hash that a damaged line states, as far as it can be made out."""
    tail = line.rstrip(b"\r\n")
    digits = tail[-66:-2]
    return digits if len(digits) == 64 and all(c in b"0123456789abcdef" for c in digits) else b""


def _otherwise(read: Read, outcome: Outcome | None) -> str:
    """How today's verdict differs from the note; empty where it does not."""
    if outcome is None:
        return ""
    noted, subject = read.judged.get("verdict"), outcome.subject or outcome.key
    if noted != outcome.verdict:
        return f"{subject}: noted as {noted}, today {outcome.verdict}: {outcome.sentence}"
    value, now = read.judged.get("value"), outcome.figure.value
    if isinstance(value, float | int) and now is not None and not math.isclose(value, now, rel_tol=SAME, abs_tol=1e-15):
        return f"{subject}: noted as {value!r} {outcome.figure.unit}, today {now!r} {outcome.figure.unit}"
    return ""
