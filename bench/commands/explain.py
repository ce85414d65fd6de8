"""Explain a measured map: the fewest things that people did which make it, what to do about each, what is left."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from bench import exits
from bench.commands.common import LOGS, busy, has_had_power, keep_draft, relative, say_progress, sequence_schema
from bench.errors import BadRequest
from bench.say.lists import count

if TYPE_CHECKING:
    from bench.diagnose.explain.records import Explained
    from bench.diagnose.explain.reversed_supply import ReversedSupply
    from bench.diagnose.explain.unread_joins import UnreadJoins
    from bench.diagnose.explain.walk_map import Pair
    from bench.diagnose.supply.patterns import PowerFinding
    from bench.plant.model import Plant
    from bench.walk.state import State


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, nargs="+", help="records of walks and searches of one plant, in any order")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--plant", type=Path, help="the plant file that drafted sequences name")
    parser.add_argument(
        "--follow-up", type=Path, metavar="FILE", help="draft readings that would tell where open wires are landed"
    )
    parser.add_argument("--reprove", type=Path, metavar="FILE", help="draft what to prove again after the repair")


def run(options: argparse.Namespace) -> int:
    """Explain every group of cables that the records read."""
    from bench.diagnose.explain.records import follow_up, to_prove, unknown_landings

    plant, states = read(options.record)
    with busy("working out what explains it"):
        explained = all_of(options.record, states)
    found = explained.found
    wires, apart = to_prove(found, plant)
    open_wires = [wire for one in found for wire in unknown_landings(one)]
    if options.json:
        json.dump(
            [_plain(one, follow_up(one), explained.notes(one)) for one in found]
            + _plain_beside(explained)
            + _plain_power(explained.brought_up),
            sys.stdout,
            ensure_ascii=False,
            indent=1,
        )
        print()
    else:
        for line in told_of(plant, explained):
            print(line)
        if open_wires and options.follow_up is None:
            wanted = "a few readings would tell where they are landed: see --follow-up FILE"
            print(f"  {count(len(open_wires), 'wire')} may be landed where nobody looked; {wanted}")
        if wires:
            print(f"  after the repair prove again: {', '.join(wires)} (draft it: --reprove FILE)")
    told = sys.stderr if options.json else sys.stdout
    if options.follow_up is not None:
        if not open_wires:
            raise BadRequest("no readings among open wires are left that would tell more")
        draft(options, plant, options.follow_up, "where open wires are landed", open_wires, [], look=True)
        print(f"{options.follow_up} is drafted; read it before you use it", file=told)
    if options.reprove is not None:
        if not wires:
            raise BadRequest("nothing was found that a repair would touch")
        draft(options, plant, options.reprove, "proof after a repair", wires, apart)
        print(f"{options.reprove} is drafted; read it before you use it", file=told)
    clean = (
        not explained.beside
        and not explained.brought_up
        and all(not one.explanation.findings and not one.explanation.unexplained for one in found)
    )
    return exits.PASS if clean else exits.NOT_PASSED


class AllOf(msgspec.Struct):
    """What explains the readings of some walks.

    Attributes:
        found: by groups of cables.
        beside: what is wrong between places that are on no map together.
        reversals: supply cables that are reversed, which account for some of that.
        unread: cables of which not all wires were held against each other.
        brought_up: what is wrong with what was brought up.
    """

    found: list[Explained]
    beside: list[Pair]
    reversals: list[ReversedSupply]
    unread: list[UnreadJoins]
    brought_up: list[PowerFinding]

    def notes(self, one: Explained) -> list[str]:
        """What the readings of a group of cables leave open, as plain sentences."""
        from bench.diagnose.explain.unread_joins import unread_told

        unread = unread_told([cable for cable in self.unread if cable.cable in one.map.cables])
        return [*one.explanation.notes, *([unread] if unread else [])]


def all_of(records: list[Path], states: list[State]) -> AllOf:
    """What explains the readings of some walks.

    Raises:
        BadRequest: there is nothing to explain.
    """
    from bench.diagnose.explain.records import explained
    from bench.diagnose.explain.reversed_supply import reversed_supplies
    from bench.diagnose.explain.unread_joins import unread_joins
    from bench.diagnose.explain.walk_map import beside_maps
    from bench.diagnose.supply.patterns import findings, raised

    found, beside = explained(states), beside_maps(*states)
    if not (found or beside or any(raised(state) for state in states)):
        shown = ", ".join(map(str, records))
        raise BadRequest(f"{shown}: found no resistance readings between pins of cables, and nothing brought up")
    powered = [one for state in states for one in findings(state)]
    return AllOf(found, beside, reversed_supplies(states), unread_joins(states), powered)


def told_of(plant: Plant, of: AllOf) -> Iterator[str]:
    """The same, line by line.

    Args:
        plant: the plant of the walks.
        of: what explains them.
    """
    from bench.diagnose.explain.reversed_supply import beside_reversed, reversed_told
    from bench.diagnose.explain.walk_map import beside_told

    for one in of.found:
        yield from _told(one, plant)
        for note in of.notes(one):
            yield f"  note: {note}"
    for reversal in of.reversals:
        yield reversed_told(reversal)
    yield from beside_told(plant, beside_reversed(of.beside, of.reversals))
    for finding in of.brought_up:
        yield finding.sentence
    if not of.brought_up and not of.found and not of.beside:
        yield "what was brought up is as it should be, as far as it was looked at"


def read(records: list[Path]) -> tuple[Plant, list[State]]:
    """The walks of some records, and the plant of the last one.

    Raises:
        BadRequest: they are of several plants.
    """
    from bench.record.replay import replay

    states = []
    for number, record in enumerate(records, 1):
        say_progress(number, len(records))
        states.append(replay(record))
    plants = {state.setting.plant.name: state.setting.plant for state in states if state.setting is not None}
    if len(plants) > 1:
        raise BadRequest(f"found records of {', '.join(plants)}, expected those of one plant")
    last = max(states, key=lambda state: state.at)
    assert last.setting is not None
    return last.setting.plant, states


def draft(
    options: argparse.Namespace,
    plant: Plant,
    path: Path,
    name: str,
    wires: list[str],
    apart: list[tuple[str, str]],
    *,
    look: bool = False,
) -> None:
    """Write a sequence that reads just these, and looks for those that do not get through where that is wanted.

    Args:
        options: the command's: its records and its plant file.
        plant: as it is now.
        path: where to.
        name: what the sequence is for, in words.
        wires: conductors to read from end to end.
        apart: pairs of pins to read as apart.
        look: whether a conductor that does not get through is looked for at other pins.

    Raises:
        BadRequest: the file is there, or no plant file was named.
    """
    from bench.sequence.draft import again, file_text
    from bench.sequence.drafts.dead_first import dead_first

    if options.plant is None:
        raise BadRequest("a drafted sequence names its plant file: say --plant FILE")
    about = f"{name[:1].upper()}{name[1:]}, from {count(len(options.record), 'record')}."
    plant_file = relative(path.parent, options.plant)
    made = again(plant, plant.name, about, wires, apart, look=look)
    if wires and has_had_power(LOGS, plant):
        names = dict.fromkeys(plant.conductors[wire].cable for wire in wires)
        made = dead_first(plant, "", made, [plant.cables[name] for name in names])
    keep_draft(path, file_text(plant, name, made, plant_file, sequence_schema(path.parent)))


def _told(one: Explained, plant: Plant) -> Iterator[str]:
    from bench.diagnose.explain.picture import picture

    explanation = one.explanation
    yield f"{', '.join(one.map.cables)}: {one.map.readings} readings"
    if not explanation.findings and not explanation.unexplained:
        yield "  as designed, as far as it was looked at"
    if len(explanation.findings) > 1:
        yield f"  {count(len(explanation.findings), 'cause')}; mend them in this order, and read again after each plug"
    for number, finding in enumerate(explanation.findings, 1):
        yield f"  {number}. {finding.sentence}"
        for connector in dict.fromkeys(pin.connector for pin in finding.pins):
            yield f"      {plant.where(connector)}"
        for line in picture(one.map.design, finding.cause):
            yield f"      {line}"
        yield f"      accounts for {', '.join(str(pin) for pin in finding.pins)}"
    for other in explanation.others:
        yield f"  or, less likely: {' '.join(finding.sentence for finding in other.findings)}"
        if other.telling is None:
            yield "      no reading from pin to pin tells these apart: look at the plugs and wires themselves"
        else:
            a, b = other.telling
            do = "conduct" if other.joined else "do not conduct"
            yield f"      read {a} against {b}: it is this one if they {do}"
    for difference in explanation.unexplained:
        a, b = difference.pins
        yield f"  unexplained: {a} and {b} were found {'joined' if difference.joined else 'apart'}; measure them again"


def _beside(pair: Pair) -> str:
    """What is wrong between two places that do not belong to one group of cables."""
    if pair.joined:
        return "joined, and the design has no join between them. Look where their wires run or end side by side."
    return "open, though the design joins them. Look at each joint on the way."


def _plain_beside(of: AllOf) -> list[dict[str, Any]]:
    """What is no map's as plain data: as one more entry, of no cable."""
    from bench.diagnose.explain.reversed_supply import beside_reversed, reversed_told

    if not of.beside:
        return []
    causes = [
        {"kind": "ReversedSupply", "sentence": reversed_told(one), "pins": sorted(one.places), "bits": 0}
        for one in of.reversals
    ]
    found = [
        {"pins": list(pair.between), "joined": pair.joined, "sentence": _beside(pair)}
        for pair in beside_reversed(of.beside, of.reversals)
    ]
    return [
        {
            "cables": [],
            "readings": len(of.beside),
            "follow_up": [],
            "causes": causes,
            "unexplained": found,
            "notes": [],
        }
    ]


def _plain_power(found: list[PowerFinding]) -> list[dict[str, Any]]:
    """What is wrong with what was brought up as plain data: as one more entry, of no cable."""
    if not found:
        return []
    causes = [{"kind": one.kind, "sentence": one.sentence, "pins": [one.subject], "bits": 0} for one in found]
    return [{"cables": [], "readings": 0, "follow_up": [], "causes": causes, "unexplained": [], "notes": []}]


def _plain(one: Explained, ahead: list[tuple[str, str]], notes: list[str]) -> dict[str, Any]:
    explanation = one.explanation
    return {
        "cables": list(one.map.cables),
        "readings": one.map.readings,
        "follow_up": [list(pair) for pair in ahead],
        "causes": [
            {
                "kind": type(finding.cause).__name__,
                "sentence": finding.sentence,
                "pins": [str(pin) for pin in finding.pins],
                "bits": finding.bits,
            }
            for finding in explanation.findings
        ],
        "unexplained": [
            {"pins": [str(pin) for pin in difference.pins], "joined": difference.joined}
            for difference in explanation.unexplained
        ],
        "notes": notes,
        "others": [
            {
                "causes": [type(finding.cause).__name__ for finding in other.findings],
                "sentences": [finding.sentence for finding in other.findings],
                "bits_more": other.more,
                "telling": None if other.telling is None else [str(pin) for pin in other.telling],
                "joined": other.joined,
            }
            for other in explanation.others
        ],
    }
