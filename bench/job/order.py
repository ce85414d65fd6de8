"""In which order the records of a job were written: by what each one saw when it began, never by the clock alone.

A record names the last lines of the records that were there (:class:`bench.walk.events.Seen`). What it saw is before
it; what those had seen is before it too. Two records that did not see one another, such as those of two laptops whose
folders were merged, are not ordered, and neither is what they say of the same thing.

Records of older versions name none. Among themselves they are ordered by their clock, since they have nothing else; a
newer record that did not see them is not ordered against them.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property

from bench.job.damage import Damaged
from bench.job.rows import Chapter, Evidence, Told
from bench.say.times import minute
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
        damaged: records that count nowhere: what was written after them must be known all the same.
    """

    def __init__(
        self,
        chapters: Sequence[Chapter],
        told: Iterable[Told] = (),
        notes: dict[str, str] | None = None,
        hash_at: HashAt = lambda record, n: "",
        damaged: Iterable[Damaged] = (),
    ) -> None:
        self._chapters = {chapter.record: chapter for chapter in chapters}
        self._told = {(one.record, one.n): one for one in told}
        self._id_of = {**{chapter.record: chapter.id for chapter in chapters}, **(notes or {})}
        self._hash_at = hash_at
        self._damaged = {one.record: one for one in damaged}
        # what a damaged record saw is still known where its first line is sound
        self._nodes: dict[str, Chapter | Damaged] = {**self._damaged, **self._chapters}
        self._name_of = {one.id: name for name, one in self._nodes.items() if one.id}
        self._known: dict[str, dict[str, int]] = {}
        self._told_known: dict[tuple[str, int], dict[str, int]] = {}
        self._pairs: dict[tuple[str, int, str], tuple[bool, bool]] = {}
        self._readings: dict[tuple[str, str], tuple[float, bool]] = {}

    @cached_property
    def altered(self) -> dict[str, tuple[str, int]]:
        """Record to why it is not the one that another record saw (it was cut, or written anew from some line on), and
        how many lines were seen at most."""
        found: dict[str, tuple[str, int]] = {}
        for saw, by in self._all_seen():
            chapter = self._chapters.get(self._name_of.get(saw.id, ""))
            if chapter is None:
                continue
            why, lines = found.get(chapter.record, ("", 0))
            if saw.n > chapter.lines:
                why = why or f"has {chapter.lines} lines, where {by} saw {saw.n}: its end is missing"
            elif not why:
                there = chapter.last if saw.n == chapter.lines else self._hash_at(chapter.record, saw.n)
                why = f"line {saw.n} is not the one that {by} saw" if there != saw.head else ""
            if why:
                found[chapter.record] = why, max(lines, saw.n)
        return found

    @cached_property
    def clocks(self) -> tuple[str, ...]:
        """Where a clock contradicts the order, in words."""
        found = []
        for name, chapter in self._chapters.items():
            for n, before, after in chapter.jumps:
                found.append(f"{name}: in line {n} the clock went back from {minute(before)} to {minute(after)}")
            for earlier in self._ended_after(chapter.saw, chapter.began):
                found.append(
                    f"{name} was begun after {earlier.record}, and its clock said {minute(chapter.began)} where that "
                    f"one ended at {minute(earlier.ended)}: a clock was wrong"
                )
        for told in self._told.values():
            for earlier in self._ended_after(told.saw, told.at):
                found.append(
                    f"{told.record}: line {told.n} was told after {earlier.record}, and the clock said "
                    f"{minute(told.at)} where that one ended at {minute(earlier.ended)}: a clock was wrong"
                )
        return tuple(found)

    @property
    def missing(self) -> tuple[str, ...]:
        """Records that others saw and that are not there, in words."""
        known = {*self._name_of, *self._id_of.values()}.union(*self._ids_of_damaged.values())
        gone = {saw.id: (saw.n, by) for saw, by in self._all_seen() if saw.id not in known}
        return tuple(f"a record of {n} lines that {by} saw is not there" for n, by in gone.values())

    def _ended_after(self, saw: Iterable[Seen], at: str) -> Iterable[Chapter]:
        """Records that were seen whole at a time when by their own clock they had not ended."""
        for one in saw:
            earlier = self._chapters.get(self._name_of.get(one.id, ""))
            if earlier is not None and one.n >= earlier.lines and earlier.ended > at:
                yield earlier

    @cached_property
    def wrong_clocks(self) -> frozenset[str]:
        """Records whose clock contradicts the order of the records, one way or the other, or itself: either side of a
        contradiction may be the wrong one."""
        found = {name for name, chapter in self._chapters.items() if chapter.jumps}
        for name, chapter in self._chapters.items():
            found |= self._contradicting(self._saw(name), chapter.began, name)
        for told in self._told.values():
            found |= self._contradicting(self._told_saw(told), told.at, told.record)
        return frozenset(found)

    def _contradicting(self, saw: Mapping[str, int], at: str, by: str) -> set[str]:
        late = {
            name
            for key in saw
            if (name := self._name_of.get(key, "")) in self._chapters and self._chapters[name].began > at
        }
        return {*late, by} if late else late

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
            node = self._nodes[name]
            # of an older version everything is seen directly
            before = self._directly(node) if node.order else []
            waiting = [one for one in before if one not in self._known and one not in todo]
            if waiting:
                todo += waiting
                continue
            found: dict[str, int] = {}
            for earlier in before:
                known = self._known.get(earlier, {})
                if not found:
                    found = dict(known)  # mostly there is one, and it had seen hundreds
                    continue
                for key, n in known.items():
                    found[key] = max(n, found.get(key, 0))
            seen = self._seen_of(node)
            if not found:
                found = {saw.id: saw.n for saw in seen}
            if len(found) < len(seen) or before:
                for saw in seen:
                    found[saw.id] = max(saw.n, found.get(saw.id, 0))
            self._known[name] = found
            todo.pop()
        return self._known[record]

    def _directly(self, node: Chapter | Damaged) -> list[str]:
        return [self._name_of[saw.id] for saw in self._seen_of(node) if saw.id in self._name_of]

    def _seen_of(self, node: Chapter | Damaged) -> Sequence[Seen]:
        """What a record says that it saw; of an older version what had ended before it began."""
        if node.order or isinstance(node, Damaged):
            return node.saw
        ends, seen = self._ends_of_old
        return [one for one in seen[: bisect.bisect_left(ends, node.began)] if one.id != node.id]

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

    def before(self, record: str, number: int, at: str, other: str, other_number: int, other_at: str) -> bool:
        """Whether an event of a record was surely before an event of another one.

        Args:
            record: the record's name.
            number: the event's number there.
            at: its time of day, which counts only where both records are of an older version.
            other: the other record.
            other_number: the other event's number.
            other_at: its time of day.
        """
        if record == other:
            return (number, at) <= (other_number, other_at)
        if self._was_seen(record, number, other, other_number):
            return True
        return not (self._orders(record, number) or self._orders(other, other_number)) and at <= other_at

    def _was_seen(self, record: str, number: int, other: str, other_number: int) -> bool:
        """Whether another record, or what was told outside any walk, had an event of a record before it."""
        told = self._told.get((other, other_number))
        if told is not None:
            saw = self._told_saw(told)
        else:
            saw = self._saw(other) if other in self._nodes else {}
        if record in self._damaged:
            return any(saw.get(one, 0) >= number for one in self._ids_of_damaged[record])
        return saw.get(self._id_of.get(record, ""), 0) >= number

    @cached_property
    def _ids_of_damaged(self) -> dict[str, set[str]]:
        """Damaged record to the hashes that its first line may have had: the line that another record saw of it tells,
        though the first one be lost."""
        found = {name: {one.id} for name, one in self._damaged.items()}
        for saw, _ in self._all_seen():
            for name, one in self._damaged.items():
                if saw.head in one.stated:
                    found[name].add(saw.id)
        return found

    def _orders(self, record: str, number: int) -> bool:
        """Whether an event carries an order of its own."""
        told = self._told.get((record, number))
        if told is not None:
            return bool(told.saw)
        return self.orders(record)

    def row_before(self, row: Evidence, other: Evidence) -> bool:
        """Whether a reading was surely taken before another one."""
        if row.record == other.record:
            return (row.n, row.at) <= (other.n, other.at)
        pair = (row.record, other.record)
        known = self._readings.get(pair)
        if known is None:
            known = self._readings[pair] = self._between(*pair)
        seen, ordered = known
        return row.n <= seen or (not ordered and row.at <= other.at)

    def _between(self, record: str, other: str) -> tuple[float, bool]:
        """How far another record had seen a record, and whether the records themselves order their readings."""
        ordered = any(one in self._nodes and self._nodes[one].order > 0 for one in (record, other))
        if record in self._damaged or other not in self._nodes:
            return 0, ordered  # of these no reading counts
        return self._saw(other).get(self._id_of.get(record, ""), 0), ordered

    def surely_before(self, told: Told, record: str) -> bool:
        """Whether something happened before all that a record reads: the record knew of it."""
        return told.record != record and self._across(told, record)[0]

    def _across(self, told: Told, record: str) -> tuple[bool, bool]:
        """Of something told elsewhere than in a record: whether the record knew of it, and whether the records
        themselves order the two."""
        pair = (told.record, told.n, record)
        known = self._pairs.get(pair)
        if known is None:
            # the line does not matter: no reading was told outside a walk
            ordered = self._orders(told.record, told.n) or self._orders(record, 0)
            known = self._pairs[pair] = (self._was_seen(told.record, told.n, record, 0), ordered)
        return known

    def told_after(self, told: Told, row: Evidence) -> bool:
        """Whether something may have happened after a reading: surely so, or nobody can tell.

        Args:
            told: what happened.
            row: the reading.
        """
        if told.when and self._was_later(told, row):
            return False
        if told.record == row.record:
            return not self.before(told.record, told.n, told.at, row.record, row.n, row.at) and (
                self._orders(row.record, row.n) or told.happened > row.at
            )
        # of another record it is the same for all its readings, but for clocks where nothing else orders them
        was_seen, ordered = self._across(told, row.record)
        return not was_seen and (ordered or (told.at > row.at and told.happened > row.at))

    def orders(self, record: str) -> bool:
        """Whether a record names what was before it, as those of older versions do not."""
        node = self._nodes.get(record)
        return node is not None and node.order > 0

    def saw_all(self, by: str | Told, chapters: Iterable[Chapter]) -> bool:
        """Whether a record, or what was told outside any walk, had these records before it, as far as they go now.

        Args:
            by: a record, or what was told outside any walk.
            chapters: the records that it must have seen whole.
        """
        saw = self._saw(by) if isinstance(by, str) else self._told_saw(by)
        return all(saw.get(one.id, 0) >= one.lines for one in chapters)

    def has_a_clock(self, record: str) -> bool:
        """Whether nothing contradicts the clock of a record."""
        return record not in self.wrong_clocks

    def _was_later(self, told: Told, row: Evidence) -> bool:
        """Whether a reading was taken after something that was told with a time of its own.

        Whoever told it was shown which readings these are by their clocks. Where nobody was, as by older versions, a
        clock says so alone: where the reading was there when it was told, and no clock contradicts the order.
        """
        if told.later:
            return row.n > told.later.get(self._id_of.get(row.record, ""), row.n)
        if told.when > row.at:
            return False
        if not self._orders(told.record, told.n) and not self._orders(row.record, row.n):
            return True  # they have nothing else
        seen = told.record == row.record or self._was_seen(row.record, row.n, told.record, told.n)
        return seen and row.at <= told.at and not {row.record, told.record} & self.wrong_clocks

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
        ends += [Seen(one.id, one.lines, one.last) for one in self._damaged.values() if one.id]
        ends += notes
        covered: dict[str, int] = {}
        for name in self._nodes:
            for key, n in self._saw(name).items():
                covered[key] = max(n, covered.get(key, 0))
        order = 1 + max((node.order for node in self._nodes.values()), default=0)
        return order, [one for one in ends if covered.get(one.id, 0) < one.n]
