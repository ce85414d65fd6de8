"""What records found that the plant file does not say yet, as changes to it.

Four kinds. *landings*: which conductor a loose end or a pin turned out to be. *length*: where the conductors of a cable
all read as longer or shorter than the file has it. *current*: where cards of a kind draw otherwise. *as found*: a
cable whose conductors end elsewhere than the file says and that somebody wants to stay so. Nothing of it is guessed:
what a reading does not show, what contradicts itself and what was touched since is left out, and said.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from math import hypot, sqrt
from statistics import median
from typing import Any, Final, Literal

import msgspec
import numpy as np

from bench.diagnose.explain.records import explained
from bench.diagnose.explain.walk_map import WalkMap
from bench.diagnose.identify.finding import changes_of
from bench.job.folder import Folder
from bench.job.reach import Reaching
from bench.job.rows import Evidence
from bench.judge.jumps import NORMAL_MAD
from bench.plant.file import CardType, ConductorEntry
from bench.plant.model import Plant
from bench.plant.things import Conductor
from bench.plant.writing import Change
from bench.record.replay import follow, replay
from bench.say.lists import count, some
from bench.sequence.file import Energise
from bench.walk.events import Energised
from bench.walk.results import results
from bench.walk.state import State

Kind = Literal["landings", "length", "current", "as found"]
WIRE: Final = 0.02
"""Relative standard uncertainty of a wire's ohms per metre: size, metal, temperature (common practice, no source)."""
LEAST: Final = 4
"""As many conductors must agree before a cable's length is doubted (own choice)."""
COVERAGE: Final = 3.0
"""How many standard uncertainties something must be off before it is a finding (own choice)."""


class Finding(msgspec.Struct, frozen=True):
    """Something that the plant file could say.

    Attributes:
        name: the cable or card type that it is about.
        kind: what kind of thing was found.
        text: in words, with the records that it rests on.
        changes: to the plant file; empty where nothing can be written, as the text says.
    """

    name: str
    kind: Kind
    text: str
    changes: tuple[Change, ...] = ()


def findings(folder: Folder, plant: Plant) -> list[Finding]:
    """Everything that the records of a job found and that its plant file does not say.

    Args:
        folder: the records.
        plant: as its file is now.

    Raises:
        BrokenRecord: a record cannot be read.
    """
    rows = folder.counting(plant)
    found = [
        *_landings(folder, plant),
        *_proven_claims(rows, plant),
        *_lengths(rows, plant),
        *_currents(folder, plant),
        *_as_found(folder, plant),
    ]
    return [one for one in found if not one.changes or _news(one, plant)]


def _news(finding: Finding, plant: Plant) -> bool:
    """Whether the file does not say it already."""
    if finding.kind != "landings" or any(len(change.into) == 2 for change in finding.changes):
        return True
    entries = {cable.name: {entry.conductor: entry for entry in cable.conductors} for cable in plant.file.cables}
    for change in finding.changes:
        known = [entries[change.into[1]].get(name) for name in (change.into[3], *change.also)]
        entry = next((one for one in known if one is not None), None)
        fields = dict(change.fields)
        fields.pop("remark", None)
        said = {} if entry is None else {
            "from": entry.start, "to": entry.end, "from-status": entry.from_status, "to-status": entry.to_status,
            "from-flag": entry.from_flag, "to-flag": entry.to_flag,
        }  # fmt: skip
        if any(name in said and str(said[name] or "") != value for name, value in fields.items()) or entry is None:
            return True
    return False


# Which conductor is which


def _landings(folder: Folder, plant: Plant) -> list[Finding]:
    order = sorted(folder.chapters, key=lambda chapter: (chapter.order, chapter.began))
    made: dict[str, dict[tuple[str, ...], Change]] = {}
    told: dict[str, list[str]] = {}
    for chapter in order:
        if not _holds(folder, chapter.record, b'"by_colour"'):
            continue
        state = replay(folder.heads[chapter.record].path)
        for outcome in results(state).values():
            facts = outcome.found.facts if outcome.found is not None else {}
            if outcome.verdict == "void" or not (facts.get("names") or facts.get("by_colour")):
                continue
            cable = str(facts["cable"])
            if cable not in plant.cables:
                continue
            facts, gone = _still(folder, plant, chapter.record, outcome.n, facts)
            changes = changes_of(plant, facts, chapter.record)
            made.setdefault(cable, {}).update({change.into: change for change in changes})
            text = f"{count(len(facts['names']) + len(facts['by_colour']), 'conductor')} named in {chapter.record}"
            told.setdefault(cable, []).append(text + (f", {gone} more touched since" if gone else ""))
    return [
        Finding(cable, "landings", f"{cable}: {'; '.join(told[cable])}", tuple(changes.values()))
        for cable, changes in made.items()
        if changes
    ]


def _proven_claims(rows: Sequence[Evidence], plant: Plant) -> list[Finding]:
    """Cables that somebody only believed to end where the file says, and whose conductors all read through there."""
    newest: dict[str, Evidence] = {}
    for row in rows:
        if row.subject in plant.conductors and row.reads == "resistance" and row.verdict != "void":
            one = plant.conductors[row.subject]
            if one.near and one.far and {*row.between} == {one.near.name, one.far.name}:
                newest[row.subject] = row
    found = []
    for entry in plant.file.cables:
        claimed = {
            field: None
            for field, status in (("from-status", entry.from_status), ("to-status", entry.to_status))
            if status == "claimed"
        }
        wires = plant.cables[entry.name].conductors
        read = [newest.get(one.name) for one in wires]
        if not claimed or not wires or not all(row is not None and row.verdict == "pass" for row in read):
            continue
        records = sorted({row.record for row in read if row is not None})
        text = (
            f"{entry.name}: all its {count(len(wires), 'conductor')} read through between the places that were claimed"
        )
        found.append(
            Finding(
                entry.name,
                "landings",
                f"{text} (record {some(records, 3)})",
                (Change(("cables", entry.name), claimed),),
            )
        )
    return found


def _holds(folder: Folder, record: str, word: bytes) -> bool:
    """Whether a record holds a word at all: most need not be folded."""
    return word in folder.heads[record].path.read_bytes()


def _still(
    folder: Folder, plant: Plant, record: str, number: int, facts: Mapping[str, Any]
) -> tuple[dict[str, Any], int]:
    """The facts without the ends that were touched since, and how many those are."""
    reaching = Reaching(plant)
    reaches = [(one, reaching.of(one.names)) for one in folder.told if one.kind == "disturbance"]
    gone: set[str] = set()
    at = next((chapter.ended for chapter in folder.chapters if chapter.record == record), "")
    for kind in ("names", "by_colour"):
        for flag, name in facts[kind].items():
            row = Evidence(record=record, n=number, at=at, step="", subject=name, between=(flag,))
            rests_on = reaching.rests_on(row)
            if any(reach.voids(name, rests_on) and folder.order.told_after(one, row) for one, reach in reaches):
                gone.add(flag)
    kept = {
        kind: {flag: name for flag, name in facts[kind].items() if flag not in gone} for kind in ("names", "by_colour")
    }
    return {**facts, **kept}, len(gone)


# Lengths


def _lengths(rows: Sequence[Evidence], plant: Plant) -> list[Finding]:
    newest: dict[str, Evidence] = {}
    for row in rows:
        if row.verdict not in ("pass", "fail", "undecided") or row.reads != "resistance":
            continue
        if row.subject in plant.conductors and row.value is not None and row.high is not None:
            newest[row.subject] = row
    found = []
    for cable in plant.cables.values():
        own = {entry.conductor for entry in _entry(plant, cable.name) if entry.length is not None}
        read = [(one, newest[one.name]) for one in cable.conductors if one.name in newest and one.landed]
        read = [(one, row) for one, row in read if own.isdisjoint(_said_as(one))]
        finding = _length(plant, cable.name, read)
        if finding is not None:
            found.append(finding)
    return found


def _entry(plant: Plant, cable: str) -> list[ConductorEntry]:
    return next(list(one.conductors) for one in plant.file.cables if one.name == cable)


def _said_as(one: Conductor) -> set[str]:
    return {str(one.number), *(() if one.pair is None or one.leg is None else (f"{one.pair}{one.leg[0].upper()}",))}


def _length(plant: Plant, cable: str, read: Sequence[tuple[Conductor, Evidence]]) -> Finding | None:
    """The length that a cable's conductors read as, where it is surely not the file's.

    Each conductor gives (R - contacts) / (ohms per metre). The median stands for the cable: a bad joint or two do not
    move it. Of its uncertainty the wire's own ohms, the contacts and the meter are common to all conductors and do not
    average out.
    """
    if len(read) < LEAST or read[0][0].length_m <= 0:
        return None
    metres = []
    for one, row in read:
        assert row.value is not None
        warm = row.ambient if row.ambient is not None else plant.ambient_c
        metres.append((row.value - sum(joint.typical_ohm for joint in one.contacts)) / _per_metre(one, warm))
    reads, listed = median(metres), read[0][0].length_m
    spread = NORMAL_MAD * median(abs(one - reads) for one in metres) / sqrt(len(metres))
    first, row = read[0]
    joints = sum(joint.maximum_ohm - joint.typical_ohm for joint in first.contacts) / sqrt(3)
    celsius = row.ambient if row.ambient is not None else plant.ambient_c
    own = joints / _per_metre(first, celsius)
    meter = median(one.standard or 0.0 for _, one in read) / _per_metre(first, celsius)
    standard = hypot(reads * WIRE, own, meter, spread)
    if reads <= 0 or abs(reads - listed) <= COVERAGE * standard + first.tolerance_m:
        return None
    digits = 1 if reads < 30 else 0
    length, tolerance = f"{reads:.{digits}f}", f"{max(2 * standard, 10.0**-digits):.{digits}f}"
    if float(tolerance) >= float(length):
        return None  # such a length says nothing, and no plant file takes it
    text = (
        f"{cable}: its {count(len(read), 'conductor')} read as {reads:.{digits}f} m ± {2 * standard:.{digits}f} m, the "
        f"file says {listed:g} m (record {some(sorted({row.record for _, row in read}), 3)}); a tape tells for sure"
    )
    fields = {"length": f"{length} m", "length-tolerance": f"{tolerance} m"}
    return Finding(cable, "length", text, (Change(("cables", cable), fields),))


def _per_metre(one: Conductor, celsius: float) -> float:
    bare = one.expected(celsius).nominal_ohm - sum(joint.typical_ohm for joint in one.contacts)
    return bare / one.length_m


# What cards draw


class _Drawn(msgspec.Struct, frozen=True):
    """One stage of a first power: what was on, and what it drew beside what it should."""

    record: str
    cards: Mapping[str, float]
    """Card type to the current that all its cards on should draw."""
    amps: float


def _currents(folder: Folder, plant: Plant) -> list[Finding]:
    """Card types that draw otherwise than the file says, by least squares over all stages that came up.

    Each stage says: the sum over types of (how many times its file current) x (expected) = what was read. A type whose
    factor the stages do not settle is left out.
    """
    stages = [stage for chapter in folder.chapters for stage in _stages(folder, chapter.record)]
    names = sorted({name for stage in stages for name in stage.cards})
    if not names or len(stages) < len(names):
        return []
    matrix = np.array([[stage.cards.get(name, 0.0) for name in names] for stage in stages])
    amps = np.array([stage.amps for stage in stages])
    weights = 1.0 / np.maximum(0.02 * amps, 0.005)
    scaled = matrix * weights[:, None]
    inverse = np.linalg.pinv(scaled)
    settled = np.diag(inverse @ scaled) > 0.999
    factors = inverse @ (amps * weights)
    standard = np.sqrt(np.diag(inverse @ inverse.T))
    found = []
    for name, factor, off, sure in zip(names, factors, standard, settled, strict=True):
        kind = next((one for one in plant.file.card_types if one.name == name), None)
        if kind is None or not sure or abs(factor - 1) <= kind.spread.value + COVERAGE * off:
            continue
        records = sorted({stage.record for stage in stages if name in stage.cards})
        found.append(_current(kind, float(factor), float(off), records))
    return found


def _current(kind: CardType, factor: float, off: float, records: Sequence[str]) -> Finding:
    amps = kind.idle.value * factor
    text = (
        f"{kind.name}: such a card draws {amps:.3g} A ± {2 * off * kind.idle.value:.2g} A, the file says "
        f"{kind.idle.value:g} A (record {some(records, 3)}); a card that is not sound draws otherwise too"
    )
    return Finding(kind.name, "current", text, (Change(("card-types", kind.name), {"idle": f"{amps:.3g} A"}),))


def _stages(folder: Folder, record: str) -> list[_Drawn]:
    if not _holds(folder, record, b'"energised"'):
        return []
    found = []
    for before, entry, _ in follow(folder.heads[record].path):
        event, step = entry.event, before.step
        if not isinstance(event, Energised) or event.state != "on" or step is None or before.setting is None:
            continue
        source = step.source
        if not isinstance(source, Energise) or source.dummy is not None:
            continue
        read = [amps for amps in event.amps[-20:] if amps is not None]
        forecast = before.setting.prepared(step, before.conditions).forecast
        if not read or forecast is None or forecast.typical.amps <= 0:
            continue
        plant, out = before.setting.plant, before.conditions.handled.out
        cards: dict[str, float] = {}
        for shelf in forecast.typical.shelves:
            for card in plant.shelves[shelf].cards:
                if card.name not in out:
                    cards[card.type.name] = cards.get(card.type.name, 0.0) + card.type.idle.value
        total = sum(cards.values())
        if total > 0:
            # at the voltage that was there, cables and all
            share = forecast.typical.amps / total
            cards = {name: amps * share for name, amps in cards.items()}
            found.append(_Drawn(record, cards, abs(median(read))))
    return found


# A cable that is as found, and may stay so


def _as_found(folder: Folder, plant: Plant) -> list[Finding]:
    wrong = {
        plant.conductors[row.subject].cable
        for row in folder.counting(plant)
        if row.verdict == "fail" and row.reads == "resistance" and row.subject in plant.conductors
    }
    if not wrong:
        return []
    records = dict.fromkeys(
        row.record for row in folder.rows if row.reads in ("resistance", "apart") and _cables(plant, row) & wrong
    )
    by_order = sorted(
        (chapter for chapter in folder.chapters if chapter.record in records),
        key=lambda chapter: (chapter.order, chapter.began),
    )
    states: list[State] = [replay(folder.heads[chapter.record].path) for chapter in by_order]
    found = []
    for one in explained(states):
        for cable in one.map.cables:
            if cable in wrong:
                finding = _stays(plant, cable, one.map)
                found += [] if finding is None else [finding]
    return found


def _cables(plant: Plant, row: Evidence) -> set[str]:
    return {one.cable for place in row.between for one in plant.landings.get(place, ())}


def _stays(plant: Plant, cable: str, found: WalkMap) -> Finding | None:
    """Where the conductors of a cable were found to end, where the file says otherwise and every one is told."""
    joined: dict[str, set[str]] = {}
    for a, b in found.measured.joins:
        joined.setdefault(str(a), set()).add(str(b))
        joined.setdefault(str(b), set()).add(str(a))
    changes: list[Change] = []
    moved: list[str] = []
    ends = {one.far_end.name for one in plant.cables[cable].conductors if one.landed}
    for one in plant.cables[cable].conductors:
        if not one.landed or one.far_end.name in joined.get(one.near_end.name, ()):
            continue
        there = joined.get(one.near_end.name, set()) & ends
        if len(there) != 1 or len(joined[next(iter(there))]) != 1:
            continue
        pin = there.pop()
        moved.append(f"{one.name} on {pin}")
        changes.append(Change(("cables", cable, "conductors", str(one.number)), {"to": pin, "to-status": "known"},
                              tuple(_said_as(one))))  # fmt: skip
    if not changes:
        return None
    taken = {str(change.fields["to"]) for change in changes}
    ours = {change.into[3] for change in changes}
    left = [
        one.name
        for one in plant.cables[cable].conductors
        if one.landed and str(one.number) not in ours and one.far_end.name in taken
    ]
    head = f"{cable} is not as the file says: {some(moved, 6)}"
    if left:
        return Finding(cable, "as found", f"{head}; where {some(left, 4)} ends was not read, so nothing can be written")
    return Finding(cable, "as found", f"{head}. Mend it, or let it stay", tuple(changes))


def chosen(found: Sequence[Finding], names: Collection[str]) -> list[Finding]:
    """The findings about these things; all of them where no name is given.

    Args:
        found: all of them.
        names: cables and card types.
    """
    return [one for one in found if not names or one.name in names]
