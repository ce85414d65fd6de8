"""In which order the records of a job were written: by what each one saw when it began, never by the clock alone.

A record names the last lines of the records that were there (:class:`bench.walk.events.Seen`). What it saw is before
it; what those had seen is before it too. Two records that did not see one another, such as those of two laptops whose
folders were merged, are not ordered, and neither is what they say of the same thing.

Records of older versions name none. Among themselves they are ordered by their clock, since they have nothing else; a
newer record that did not see them is not ordered against them.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property

from bench.job.rows import Chapter, Evidence, Told
from bench.walk.events import Seen

HashAt = Callable[[str, int], str]
"""Record name and line to that line's hash; empty where there is no such line."""


class Order:
    """The order of a job's records.

    Args:
        chapters: of the records; copies are left out before.
        told: disturbances that were told outside any walk, with what was there then.
        notes: file of such disturbances to the hash of its first line.
        hash_at: reads the hash of a line that is not a record's last one.
    """

    def __init__(
        self,
        chapters: Sequence[Chapter],
        told: Iterable[Told] = (),
        notes: dict[str, str] | None = None,
        hash_at: HashAt = lambda record, n: "",
    ) -> None:
        self._chapters = {chapter.record: chapter for chapter in chapters}
        self._name_of = {chapter.id: chapter.record for chapter in chapters if chapter.id}
        self._told = {(one.record, one.n): one for one in told}
        self._id_of = {**{chapter.record: chapter.id for chapter in chapters}, **(notes or {})}
        self._hash_at = hash_at
        self._known: dict[str, dict[str, int]] = {}
        self._told_known: dict[tuple[str, int], dict[str, int]] = {}
        self._pairs: dict[tuple[str, int, str], tuple[bool, bool]] = {}

    @cached_property
    def altered(self) -> dict[str, str]:
        """Record to why it is not the one that another record saw: it was cut or written anew from some line on."""
        found: dict[str, str] = {}
        for saw, by in self._all_seen():
            chapter = self._chapters.get(self._name_of.get(saw.id, ""))
            if chapter is None or chapter.record in found:
                continue
            if saw.n > chapter.lines:
                found[chapter.record] = f"has {chapter.lines} lines, where {by} saw {saw.n}: its end is missing"
                continue
            there = chapter.last if saw.n == chapter.lines else self._hash_at(chapter.record, saw.n)
            if there != saw.head:
                found[chapter.record] = f"line {saw.n} is not the one that {by} saw"
        return found

    @cached_property
    def clocks(self) -> tuple[str, ...]:
        """Records whose clock contradicts their order, in words."""
        found = []
        for name, chapter in self._chapters.items():
            for one in chapter.saw:
                earlier = self._chapters.get(self._name_of.get(one.id, ""))
                if earlier is not None and one.n >= earlier.lines and earlier.ended > chapter.began:
                    found.append(
                        f"{name} was begun after {earlier.record}, and its clock said {chapter.began[:16]} where that "
                        f"one ended at {earlier.ended[:16]}: a clock was wrong"
                    )
        return tuple(found)

    def _all_seen(self) -> Iterable[tuple[Seen, str]]:
        for name, chapter in self._chapters.items():
            for saw in chapter.saw:
                yield saw, name
        for (name, _), told in self._told.items():
            for saw in told.saw:
                yield saw, name

    def _saw(self, record: str) -> dict[str, int]:
        """First line's hash to the last line that a record had before it, all that those had before them included."""
        todo = [record]
        while todo:
            name = todo[-1]
            if name in self._known:
                todo.pop()
                continue
            chapter = self._chapters[name]
            # of an older version everything is seen directly
            before = self._directly(chapter) if chapter.order else []
            waiting = [one for one in before if one in self._chapters and one not in self._known and one not in todo]
            if waiting:
                todo += waiting
                continue
            found: dict[str, int] = {}
            for earlier in before:
                for key, n in self._known.get(earlier, {}).items():
                    found[key] = max(n, found.get(key, 0))
            for saw in self._seen_of(chapter):
                found[saw.id] = max(saw.n, found.get(saw.id, 0))
            self._known[name] = found
            todo.pop()
        return self._known[record]

    def _directly(self, chapter: Chapter) -> list[str]:
        return [self._name_of[saw.id] for saw in self._seen_of(chapter) if saw.id in self._name_of]

    def _seen_of(self, chapter: Chapter) -> Sequence[Seen]:
        """What a record says that it saw; of an older version what had ended before it began."""
        if chapter.order:
            return chapter.saw
        ends, seen = self._ends_of_old
        return [one for one in seen[: bisect.bisect_left(ends, chapter.began)] if one.id != chapter.id]

    @cached_property
    def _ends_of_old(self) -> tuple[list[str], list[Seen]]:
        """Of records of an older version, when they ended, and their ends, in the order of time."""
        old = sorted(
            (one for one in self._chapters.values() if not one.order and one.id), key=lambda chapter: chapter.ended
        )
        return [one.ended for one in old], [Seen(one.id, one.lines, one.last) for one in old]

    def _told_saw(self, told: Told) -> dict[str, int]:
        known = self._told_known.get((told.record, told.n))
        if known is not None:
            return known
        found: dict[str, int] = {}
        for saw in told.saw:
            earlier = self._name_of.get(saw.id)
            for key, n in (self._saw(earlier) if earlier is not None else {}).items():
                found[key] = max(n, found.get(key, 0))
            found[saw.id] = max(saw.n, found.get(saw.id, 0))
        self._told_known[told.record, told.n] = found
        return found

    def before(self, record: str, n: int, at: str, other: str, other_n: int, other_at: str) -> bool:
        """Whether an event of a record was surely before an event of another one.

        Args:
            record: the record's name.
            n: the event's number there.
            at: its time of day, which counts only where both records are of an older version.
            other: the other record.
            other_n: the other event's number.
            other_at: its time of day.
        """
        if record == other:
            return (n, at) <= (other_n, other_at)
        if self._was_seen(record, n, other, other_n):
            return True
        return not (self._orders(record, n) or self._orders(other, other_n)) and at <= other_at

    def _was_seen(self, record: str, n: int, other: str, other_n: int) -> bool:
        """Whether another record, or what was told outside any walk, had an event of a record before it."""
        told = self._told.get((other, other_n))
        if told is not None:
            saw = self._told_saw(told)
        else:
            saw = self._saw(other) if other in self._chapters else {}
        return saw.get(self._id_of.get(record, ""), 0) >= n

    def _orders(self, record: str, n: int) -> bool:
        """Whether an event carries an order of its own."""
        told = self._told.get((record, n))
        if told is not None:
            return bool(told.saw)
        chapter = self._chapters.get(record)
        return chapter is not None and chapter.order > 0

    def row_before(self, row: Evidence, other: Evidence) -> bool:
        """Whether a reading was surely taken before another one."""
        return self.before(row.record, row.n, row.at, other.record, other.n, other.at)

    def told_after(self, told: Told, row: Evidence) -> bool:
        """Whether something may have happened after a reading: surely so, or nobody can tell."""
        if told.when and told.when <= row.at:
            return False  # somebody said that it was before
        if told.record == row.record:
            return not self.before(told.record, told.n, told.at, row.record, row.n, row.at) and (
                self._orders(row.record, row.n) or told.happened > row.at
            )
        # of another record it is the same for all its readings, but for clocks where nothing else orders them
        pair = (told.record, told.n, row.record)
        known = self._pairs.get(pair)
        if known is None:
            ordered = self._orders(told.record, told.n) or self._orders(row.record, row.n)
            known = self._pairs[pair] = (self._was_seen(told.record, told.n, row.record, row.n), ordered)
        was_seen, ordered = known
        return not was_seen and (ordered or (told.at > row.at and told.happened > row.at))

    def key(self, row: Evidence) -> tuple[int, str, str, int]:
        """Sorts readings so that none comes before one that was surely taken earlier."""
        rank = self._ranks.get(row.record, 0)
        return (rank, row.at, row.record, row.n) if rank == 0 else (rank, "", row.record, row.n)

    @cached_property
    def _ranks(self) -> dict[str, int]:
        return {name: chapter.order for name, chapter in self._chapters.items()}

    def heads(self, notes: Iterable[Seen] = ()) -> tuple[int, list[Seen]]:
        """What a record that begins now says of those that are there.

        Args:
            notes: the ends of files of disturbances.

        Returns:
            Its order, and the last records: what these saw themselves is left out.
        """
        ends = [Seen(one.id, one.lines, one.last) for one in self._chapters.values() if one.id]
        ends += notes
        covered: dict[str, int] = {}
        for name in self._chapters:
            for key, n in self._saw(name).items():
                covered[key] = max(n, covered.get(key, 0))
        order = 1 + max((chapter.order for chapter in self._chapters.values()), default=0)
        return order, [one for one in ends if covered.get(one.id, 0) < one.n]
