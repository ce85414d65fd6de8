"""What is proven of a plant, kept from one look at a job to the next: another record costs what is in it.

Readings that stand behind later ones are folded into these. A reading is left out where a later one of the same point
speaks for the same claims: whatever happens from then on happens to both, so of the earlier one only its number is
kept. The same goes for what is void already.

What was kept is taken further where every record and every disturbance that came since saw all that is in it.
Otherwise, and wherever a record is damaged, a clock changes what counts, or the plant file was changed, everything is
folded anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.collector import put_off
from bench.files import exact
from bench.job.claims import Claims, Key
from bench.job.folder import Folder, changes_since, code
from bench.job.order import Order
from bench.job.reach import Reaching
from bench.job.readiness import Readiness, Weighed, readiness, says_less, void
from bench.job.rows import Chapter, Told, in_time
from bench.plant.model import Plant
from bench.record.index import Cache, hash_at
from bench.walk.events import Seen

MOST: Final = 5_000
"""Readings that are kept at most: records of older versions name no order, and of theirs none is left out."""
_COUNTS: Final = ("pass", "fail", "undecided")


class Standing(msgspec.Struct, frozen=True):
    """What is kept.

    Attributes:
        records: record to its last line's hash.
        notes: file of disturbances to its last line.
        clocks: records whose clock something contradicts, where anything was told with a time of its own.
        changed: whether a changed plant file voids anything of it.
        weighed: the readings.
    """

    records: dict[str, str]
    notes: dict[str, Seen]
    clocks: list[str]
    changed: bool
    weighed: Weighed


class Since(msgspec.Struct, frozen=True):
    """What came after what is kept.

    Attributes:
        chapters: the records.
        told: the disturbances, in them and outside any walk.
    """

    chapters: list[Chapter]
    told: list[Told]


_standing: Final = msgspec.json.Decoder(Standing)


def standing(folder: Folder, plant: Plant) -> Readiness:
    """What of a plant as it is now is proven: :func:`bench.job.readiness.readiness` of all readings.

    Args:
        folder: the records.
        plant: as it is now.

    Raises:
        BrokenRecord: a record's plant cannot be read.
    """
    with put_off():
        claims = Claims(plant)
        return readiness(plant, _weighed(folder, plant, claims), folder.order, claims)


def _weighed(folder: Folder, plant: Plant, claims: Claims) -> Weighed:
    digest = hashlib.sha256(msgspec.json.encode(plant.file, enc_hook=exact)).hexdigest()
    cache = Cache(folder.path, f"standing {code(('job',))}")
    kept = cache.decoded(digest, _standing)
    since = since_then(kept, folder) if kept is not None else None
    reaching = Reaching(plant)
    if kept is None or since is None:
        differs = changes_since(folder, plant)
        rows = void(folder.rows, folder.told, reaching, differs, folder.order)
        weighed, changed = Weighed(rows, [1] * len(rows)), any(differs.values())
    elif since.chapters or since.told or folder.notes != kept.notes:
        differs = changes_since(folder, plant, since.chapters)
        weighed, changed = _gone_on(kept, since, folder, reaching, differs), kept.changed or any(differs.values())
    else:
        return kept.weighed
    weighed = folded(weighed, claims, reaching, folder.order)
    if not folder.damaged and len(weighed.rows) <= MOST:
        records = {chapter.record: chapter.last for chapter in folder.chapters}
        new = Standing(records, folder.notes, _clocks(folder), changed, weighed)
        cache.put(digest, msgspec.json.encode(new))
    return weighed


def _clocks(folder: Folder) -> list[str]:
    return sorted(folder.order.wrong_clocks) if any(one.when for one in folder.told) else []


def since_then(kept: Standing, folder: Folder) -> Since | None:
    """What came since something was kept; None where it is not surely later than all of that.

    Args:
        kept: what was kept.
        folder: the records as they are now.
    """
    order, there = folder.order, {chapter.record: chapter for chapter in folder.chapters}
    if folder.damaged or any(name not in there or there[name].last != last for name, last in kept.records.items()):
        return None
    if any(not _goes_on(folder, name, seen) for name, seen in kept.notes.items()):
        return None
    old = [there[name] for name in kept.records]
    chapters = [chapter for chapter in folder.chapters if chapter.record not in kept.records]
    last = max((chapter.order for chapter in old), default=0)
    if any(chapter.order <= last or not order.saw_all(chapter.record, old) for chapter in chapters):
        return None
    before = [one for one in folder.declared if one.record in kept.notes and one.n <= kept.notes[one.record].n]
    declared = [one for one in folder.declared if one.record not in kept.notes or one.n > kept.notes[one.record].n]
    if any(not order.surely_before(one, chapter.record) for chapter in chapters for one in before):
        return None
    if any(not one.saw or not order.saw_all(one, old) for one in declared):
        return None
    told = [*declared, *(one for chapter in chapters for one in chapter.told if one.kind == "disturbance")]
    earlier = [*before, *(one for chapter in old for one in chapter.told if one.kind == "disturbance")]
    # of several that void a reading the first one by the clock is named
    if told and earlier and min(map(in_time, told)) < max(map(in_time, earlier)):
        return None
    # what was told later, with a time of its own, may be about readings of before
    if any(one.when for one in told) or (told and kept.changed) or kept.clocks != _clocks(folder):
        return None
    return Since(chapters, sorted(told, key=in_time))


def _goes_on(folder: Folder, name: str, seen: Seen) -> bool:
    """Whether a file of disturbances is the one that was read then, or goes on from it."""
    now = folder.notes.get(name)
    if now is None or now.id != seen.id or now.n < seen.n:
        return False
    return (now.head if now.n == seen.n else hash_at(folder.path / name, seen.n)) == seen.head


def _gone_on(
    kept: Standing, since: Since, folder: Folder, reaching: Reaching, differs: Mapping[str, Mapping[str, str]]
) -> Weighed:
    """What is kept, and what came since, with what that voids."""
    old = list(zip(kept.weighed.rows, kept.weighed.weights, strict=True))
    both = old + [(row, 1) for chapter in since.chapters for row in folder.evidence_of(chapter)]
    both.sort(key=lambda one: folder.order.key(one[0]))
    # what is void only because nobody could say what came first is void for sure by what came later
    again = [replace(row, verdict=row.was) if row.was else row for row, _ in both]
    voided = void(again, since.told, reaching, differs, folder.order)
    rows = [row if row.was and new.verdict != "void" else new for (row, _), new in zip(both, voided, strict=True)]
    return Weighed(rows, [weight for _, weight in both], kept.weighed.void, kept.weighed.others)


def folded(weighed: Weighed, claims: Claims, reaching: Reaching, order: Order) -> Weighed:
    """Leave out what stands behind later evidence, whatever may happen from now on.

    Args:
        weighed: the evidence, none before what was surely taken earlier.
        claims: of the plant.
        reaching: of the plant.
        order: of the records.
    """
    rows, weights = weighed.rows, list(weighed.weights)
    keys = [claims.keys_of(row) for row in rows]
    first: dict[Key, int] = {}
    for i, some in enumerate(keys):
        for key in some:
            first.setdefault(key, i)
    firsts = frozenset(first.values())
    gone, others = dict(weighed.void), weighed.others
    spoilt = set[Key]()
    latest: dict[tuple[object, ...], int] = {}
    left: list[int] = []
    for i in range(len(rows) - 1, -1, -1):
        row, some = rows[i], keys[i]
        if row.verdict in _COUNTS:
            point = (some, row.subject, reaching.rests_on(row))
            later = latest.get(point)
            if (
                later is not None
                and i not in firsts
                and order.orders(row.record)
                and order.row_before(row, rows[later])
            ):
                weights[later] += weights[i]
                continue
            # what it stands in front of may count all the same
            if not says_less(row):
                latest[point] = i
        elif not row.was:
            if i not in firsts and spoilt.issuperset(some):
                others += weights[i]
                if row.verdict == "void":
                    gone[row.sentence] = gone.get(row.sentence, 0) + weights[i]
                continue
            spoilt.update(some)
        left.append(i)
    left.reverse()
    return Weighed([rows[i] for i in left], [weights[i] for i in left], gone, others)
