"""What an identification came to: in words, as data in the record, as labels, as what the plant file takes."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import msgspec

from bench.diagnose.identify.case import Case, wire_of
from bench.diagnose.identify.naming import Identification
from bench.diagnose.identify.ways import Way
from bench.plant.file import UNKNOWN, ConductorEntry
from bench.plant.model import Plant
from bench.plant.things import Conductor
from bench.plant.writing import Change
from bench.quantity import engineering
from bench.sequence.file import Found, Measure
from bench.walk.seeking import Trail


class Findings(msgspec.Struct, frozen=True):
    """What a finding is told from.

    Attributes:
        case: what was to be told apart.
        way: how.
        plant: the plant.
        readings: how many were taken.
        trail: all acts and readings.
    """

    case: Case
    way: Way
    plant: Plant
    readings: int
    trail: Trail


def found_of(known: Findings, result: Identification) -> Found:
    """The end of an identification.

    It passes where every end has a name that is proven; it fails where conductors are open or joined; it is undecided
    where something could not be told, and what could not is said and never guessed.
    """
    case = known.case
    total = len(case.flags) + len(case.found)
    named = {**case.found, **result.names, **result.by_colour}
    lines: list[str] = []
    before = f", {len(case.found)} of them before" if case.found else ""
    said = [f"{len(named)} of {total} conductors of {case.cable} are identified{before}"]
    # what was not read leads somewhere, and what is left over with it may arrive there
    unread = any(odd.ohms is None for odd in result.strange)
    left = [one for one in result.open_conductors if one not in result.by_elimination.values()]
    nowhere = [flag for flag in result.open_flags if flag not in result.by_elimination]
    # the one end and the one conductor that are left are one wire; where both were looked for, it is open
    broken = {
        flag: conductor
        for flag, conductor in result.by_elimination.items()
        if flag in result.open_flags and conductor in result.open_conductors
    }
    faults = bool(result.shorted or nowhere or (left and not unread) or broken)
    for one in result.shorted:
        ends = _ends(case, one.flags) or "ends that are not known"
        wires = ", ".join(one.conductors) or "conductors that are not known"
        lines.append(f"joined: {ends} = {wires}, in an order that nobody can tell before they are parted")
    for doubt in result.ambiguous:
        lines.append(f"not told apart: {_ends(case, doubt.flags)} may be {', '.join(doubt.conductors)}: {doubt.why}")
    for odd in result.strange:
        read = "not read" if odd.ohms is None else f"read {engineering(odd.ohms, 'Ω', digits=4)}"
        lines.append(f"strange: {_ends(case, (odd.flag,))}, {read}: {odd.why}")
    for flag, conductor in result.by_elimination.items():
        if flag in broken:
            lines.append(f"open: {conductor}, which is {_ends(case, (flag,))} at this end: it does not get through")
            continue
        lines.append(f"left over: {_ends(case, (flag,))} and {conductor}; nothing proves that they are one")
    if nowhere:
        lines.append(f"leads nowhere: {_ends(case, nowhere)}")
    if left:
        lines.append(f"{'not seen' if unread else 'arrives nowhere'}: {', '.join(left)}")
    lines += [f"contradiction: {text}" for text in result.contradictions]
    # what somebody must look at stands first
    lines += _named_lines(known, result)
    for count, what in (
        (sum(len(one.flags) for one in result.shorted), "joined ends"),
        (len(left), "not seen" if unread else "that arrive nowhere"),
        (sum(len(one.flags) for one in result.ambiguous), "ends not told apart"),
        (len(result.strange), "ends that read strangely"),
        (len(broken), "open"),
        (len(result.by_elimination) - len(broken), "left over and not proven"),
        (len(result.contradictions), "contradictions"),
    ):
        if count:
            said.append(f"{count} {what}")
    verdict: Literal["pass", "fail", "undecided"] = "pass" if result.complete else "fail" if faults else "undecided"
    return Found(
        verdict=verdict,
        sentence=f"{'; '.join(said)} ({_cost(known, result.trips)}).",
        lines=lines,
        facts=_facts(known, result),
        touches=[case.cable, *(named.values())],
    )


def stopped_of(known: Findings, why: str) -> Found:
    """An identification that ended before its time: nothing is named."""
    case = known.case
    sentence = f"The conductors of {case.cable} are not identified: {why}. Nothing is guessed."
    return Found(verdict="undecided", sentence=sentence, facts=_facts(known, Identification({})), touches=[case.cable])


def _cost(known: Findings, trips: int) -> str:
    effort = known.way.plan.effort
    trip = "1 trip" if trips == 1 else f"{trips} trips"
    return f"by {known.way.method}: {known.readings} readings, {trip}; one by one {effort.walking}"


def _ends(case: Case, flags: Sequence[str]) -> str:
    return ", ".join(case.called(flag) for flag in flags)


def _named_lines(known: Findings, result: Identification) -> list[str]:
    case, wire = known.case, wire_of(known.plant)
    lines = []
    for flag in (*case.found, *case.flags):
        conductor = case.found.get(flag) or result.names.get(flag) or result.by_colour.get(flag)
        if conductor is None:
            continue
        how = "found before" if flag in case.found else "by its colour alone" if flag in result.by_colour else ""
        parts = [wire(conductor), case.known[conductor], how]
        lines.append(f"{case.called(flag)} is {conductor} ({', '.join(part for part in parts if part)})")
    return lines


def _facts(known: Findings, result: Identification) -> dict[str, Any]:
    """The same as plain data. ``evidence`` gives for each named end the numbers of the events that it rests on."""
    case, effort = known.case, known.way.plan.effort
    evidence: dict[str, list[int]] = {}
    for answer in known.trail:
        between = answer.want.between if isinstance(answer.want, Measure) else answer.want.beeps
        if between is None or not answer.counts:
            continue
        barred = {place for group in answer.want.join for place in group}
        for place in between:
            # what was read with many others on a bar says nothing of one alone
            if place not in barred:
                evidence.setdefault(place, []).append(answer.n)
    named = {**case.found, **result.names, **result.by_colour}
    return {
        "cable": case.cable,
        "side": case.side,
        "method": known.way.method,
        "names": {**case.found, **result.names},
        "by_colour": dict(result.by_colour),
        "by_elimination": dict(result.by_elimination),
        "touching": [[list(one.flags), list(one.conductors)] for one in result.shorted],
        "ambiguous": [[list(one.flags), list(one.conductors), one.why] for one in result.ambiguous],
        "strange": [[one.flag, one.ohms, one.why] for one in result.strange],
        "open_flags": list(result.open_flags),
        "open_conductors": list(result.open_conductors),
        "contradictions": list(result.contradictions),
        "evidence": {
            flag: sorted({*evidence.get(flag, ()), *evidence.get(case.known[conductor], ())})
            for flag, conductor in named.items()
        },
        "found_before": list(case.found),
        "readings": known.readings,
        "expected_readings": round(effort.touches),
        "trips": result.trips,
        "one_by_one": effort.walking,
        "every_pair": effort.double_check,
        "bound": round(effort.bound, 1),
    }


# From a record's facts


def labels_csv(plant: Plant, facts: Mapping[str, Any]) -> str:
    """Labels ready to be printed: one line for each end, named or not.

    Columns: flag, label (the conductor), pair, colour, from (its other end), state (``named``, ``named by colour``,
    ``joined``, ``not known``).
    """
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(["flag", "label", "pair", "colour", "from", "state"])
    joined = {flag: conductors for flags, conductors in facts["touching"] for flag in flags}
    for flag in _flags(plant, facts):
        name = facts["names"].get(flag) or facts["by_colour"].get(flag)
        shown = flag.rpartition("/")[2]
        if name is None:
            state = f"joined: one of {' '.join(joined[flag])}".rstrip() if flag in joined else "not known"
            write.writerow([shown, "", "", "", "", state])
            continue
        one = plant.conductors[name]
        other = one.far_end if facts["side"] == "near" else one.near_end
        pair = "" if one.pair is None else f"{one.pair} {one.leg}"
        state = "named by colour" if flag in facts["by_colour"] else "named"
        write.writerow([shown, name, pair, one.colour, other.name, state])
    return out.getvalue()


def _flags(plant: Plant, facts: Mapping[str, Any]) -> list[str]:
    named = [*facts["names"], *facts["by_colour"], *facts["by_elimination"], *facts["open_flags"]]
    named += [flag for flags, _ in facts["touching"] for flag in flags]
    named += [flag for flags, *_ in facts["ambiguous"] for flag in flags]
    named += [flag for flag, *_ in facts["strange"]]
    places = [*plant.flags, *plant.terminals]
    order = {place: number for number, place in enumerate(places)}
    return sorted(dict.fromkeys(named), key=lambda flag: order.get(flag, len(order)))


def changes_of(plant: Plant, facts: Mapping[str, Any], record: str) -> list[Change]:
    """What the plant file takes from an identification: one entry for each conductor that has a name now.

    An end that was read on a pin of a connector lands there; one that was named by its colour alone is claimed to. A
    loose one keeps the number of its flag. What the file says of a conductor already is kept, and a conductor whose pin
    turned out to be another's is unknown from there on.

    Args:
        plant: as its file is now.
        facts: of the search.
        record: its name.
    """
    cable = next((one for one in plant.file.cables if one.name == facts["cable"]), None)
    if cable is None:
        return []
    near = facts["side"] == "near"
    by_conductor = {name: flag for flag, name in {**facts["names"], **facts["by_colour"]}.items()}
    said = {entry.conductor.upper(): entry for entry in (*plant.file.pin_lists.get(cable.pins, ()), *cable.conductors)}
    changes: list[Change] = []
    for one in plant.cables[cable.name].conductors:
        written = _written(one)
        old = next((said[key.upper()] for key in written if key.upper() in said), ConductorEntry(conductor=written[0]))
        flag, here = by_conductor.get(one.name), one.near if near else one.far
        fields: dict[str, str] = {}
        if flag is None:
            if here is not None and here.name in by_conductor.values():
                fields = {"from" if near else "to": UNKNOWN}
        else:
            fields = _found_at(facts, flag, "from" if near else "to")
            remark = _remark(old.remark, facts, flag, record)
            fields = {**_kept(old), **fields, "remark": remark}
        if fields:
            changes.append(Change(("cables", cable.name, "conductors", written[0]), fields, written[1:]))
    return changes


def _found_at(facts: Mapping[str, Any], flag: str, end: str) -> dict[str, str]:
    if "/" in flag:
        return {f"{end}-flag": flag.rpartition("/")[2]}
    return {end: flag, f"{end}-status": "claimed" if flag in facts["by_colour"] else "known"}


def _kept(old: ConductorEntry) -> dict[str, str]:
    """What a pin list says of a conductor: an entry of its own takes the list's place."""
    found = {"colour": old.colour, "size": old.size, "length": old.length}
    return {name: value if isinstance(value, str) else value.exact() for name, value in found.items() if value}


def _remark(before: str, facts: Mapping[str, Any], flag: str, record: str) -> str:
    if flag in facts.get("found_before", ()):
        return before
    how = "by its colour" if flag in facts["by_colour"] else f"by {facts['method']}"
    numbers = [str(n) for n in facts["evidence"].get(flag, ())]
    seen = f", event {' '.join(numbers[:4])}{' ...' if len(numbers) > 4 else ''}" if numbers else ""
    own = [text for text in before.split("; ") if text and not text.startswith("identified by ")]
    return "; ".join([*own, f"identified {how}, {record}{seen}"])


def _written(one: Conductor) -> tuple[str, ...]:
    """How a file may name a conductor."""
    pair = () if one.pair is None or one.leg is None else (f"{one.pair}{one.leg[0].upper()}",)
    return str(one.number), *pair, *(text.lower() for text in pair)
