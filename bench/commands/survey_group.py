"""One conductor of each of many ends, told apart in one trip: a walk by identify's ways, across cables."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from bench.commands.common import keep_draft, sequence_schema
from bench.diagnose.identify.tags import Meter
from bench.errors import BadRequest
from bench.plant.finds import LooseEnd, Tried
from bench.walk.surveying import Survey, TriedIt

if TYPE_CHECKING:
    from bench.diagnose.survey.belief import Answer
    from bench.diagnose.survey.trips import Trip
    from bench.plant.model import Plant

HERE: Final = "here"
"""What the walk calls the ends of which one conductor is tagged or clipped: ``here.L3``."""
THERE: Final = "there"
"""What it calls those that are touched."""
_FRAME: Final = "frame"
_GROUP: Final = "group"
_FEWEST: Final = 2
_METER: Final = Meter(0.01, 1.0)
"""A cheap hand-held meter, as long as none is named (common practice, no source)."""
_MEASURED: Final = "1 %"
"""How far a single value may be off: whoever names it has measured it."""
_LONGEST: Final = 60.0
"""Metres of a cable where nobody noted a length (own choice): the walk's readings allow for what is shorter."""


def group(
    options: argparse.Namespace, plant: Plant, survey: Survey, answer: Answer, trips: Sequence[Trip], job: Path
) -> None:
    """Plan the group, show the ways and the cards; write the walk when asked.

    Args:
        options: of the command.
        plant: of the job.
        survey: the finds.
        answer: what is believed of them.
        trips: the next ones, the best first.
        job: the job's folder.

    Raises:
        BadRequest: the ends are none, are not as many on one side as on the other, or no way is open.
    """
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.identify.cards_text import cards_text, ways_text
    from bench.diagnose.identify.case import case_of
    from bench.diagnose.identify.ways import Way
    from bench.plant.load import plant_of
    from bench.sequence.file import Seek

    settings = _settings(options)
    with_frame = "tags" in settings and options.way in ("", "tags")
    if options.group or options.against:
        here, there = _named(survey, options.group), _named(survey, options.against)
    else:
        here, there = _planned(answer, trips, one_bay=not with_frame)
    if len(here) != len(there) or len(here) < _FEWEST or set(here) & set(there):
        raise BadRequest(
            f"--group: found {len(here)} ends against {len(there)}, expected as many on both sides, two or more, each "
            "once: --group L3 L5 L7 --against L9 L12 L14"
        )
    if with_frame:
        settings["common"] = f"{HERE}.{_FRAME}, {THERE}.{_FRAME}"
    number = next(count for count in range(1, 10_000) if not (job / f"group-{count}").exists())
    folder = job / f"group-{number}"
    text = _plant_text(f"{plant.name}-group-{number}", survey, here, there, with_frame, sequence_schema(folder))
    made = plant_of(text, folder / "plant.yaml")
    try:
        case = case_of(made, Seek(find="conductors", of=_GROUP, settings=settings), None)
        if case.tags:
            # the walk plans anew, by what its own meter tells apart
            case = replace(case, meter=_METER)
        ways: tuple[Way, ...] = case.ways()
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error
    for side, names in ((HERE, here), (THERE, there)):
        print(f"{side}: {'; '.join(_where(survey, names))}")
    print(ways_text(case, ways))
    print(f"\n{cards_text(case, ways[0], made)}", end="")
    if not options.write:
        print("nothing is written; --write drafts the walk")
        return
    from bench.saved import save
    from bench.sequence.draft import file_text, identify

    folder.mkdir()
    save(folder / "plant.yaml", text)
    drafted = identify(made, _GROUP, {**settings, "method": ways[0].method})
    walk = folder / f"group-{number}.yaml"
    keep_draft(walk, file_text(made, f"group {number}", drafted, "plant.yaml", sequence_schema(folder)))
    print(f"{walk} is written; walk it, then: proveout survey {job} --reads RECORD")


def _settings(options: argparse.Namespace) -> dict[str, str]:
    """What the search is told of what is at hand."""
    from bench.diagnose.identify.case import TOLERANCE

    values = [one.strip() for one in options.tags.split(",") if one.strip()]
    series = [one for one in values if one.upper() in TOLERANCE]
    if series and len(series) < len(values):
        raise BadRequest(f"--tags {options.tags}: expected either a series or the values that you measured")
    given = {
        "flags": THERE,
        "method": options.way,
        "tags": ", ".join(values),
        "tolerance": _MEASURED if values and not series else "",
        "bar": "no" if options.no_bar else "",
    }
    return {name: text for name, text in given.items() if text}


def _where(survey: Survey, names: Sequence[str]) -> list[str]:
    """Ends by the bay where they hang."""
    bays: dict[str, list[str]] = {}
    for name in names:
        bays.setdefault(survey.finds[name].find.bay, []).append(name)
    return [f"{', '.join(held)} in {f'bay {bay}' if bay else 'a bay that nobody noted'}" for bay, held in bays.items()]


def _named(survey: Survey, names: Sequence[str]) -> list[str]:
    for name in names:
        kept = survey.finds.get(name)
        if kept is None or not isinstance(kept.find, LooseEnd):
            raise BadRequest(f"--group: found '{name}', expected the flag of a loose end")
    return list(names)


def _planned(answer: Answer, trips: Sequence[Trip], *, one_bay: bool) -> tuple[list[str], list[str]]:
    """The ends of the next trip, as many tagged as touched: those that belong to each other likeliest.

    Without a frame that is known at both ends leads and clips must reach from end to end: then those of one bay against
    those of another.
    """
    trip = next((trip for trip in trips if trip.touches), None)
    if trip is None:
        raise BadRequest("nothing is left to try that would tell anything; name ends: --group L3 L5 --against L9 L12")
    at = {end.name: number for number, end in enumerate(answer.pile.ends)}
    bay = {end.name: end.bay for end in answer.pile.ends}
    here = list(trip.tagged)
    there = list(dict.fromkeys(name for _, name, _ in trip.touches))

    def chance(one: str, other: str) -> float:
        return float(answer.mates[at[one], at[other]])

    if one_bay:
        sides = {(bay[one], bay[other]) for one in here for other in there}
        best = max(
            sorted(sides),
            key=lambda pair: sum(chance(a, b) for a in here for b in there if (bay[a], bay[b]) == pair),
        )
        here = [name for name in here if bay[name] == best[0]]
        there = [name for name in there if bay[name] == best[1]]
    most = min(len(here), len(there))
    there = sorted(there, key=lambda name: -sum(chance(one, name) for one in here))[:most]
    here = sorted(here, key=lambda name: -sum(chance(name, one) for one in there))[:most]
    return sorted(here, key=at.__getitem__), sorted(there, key=at.__getitem__)


def _plant_text(
    name: str, survey: Survey, here: Sequence[str], there: Sequence[str], with_frame: bool, schema: str
) -> str:
    """One conductor of each end as a cable of its own, whose order nobody knows."""
    ends = {end.name: end for end in (kept.find for kept in survey.finds.values()) if isinstance(end, LooseEnd)}
    lengths = [end.length.value for end in (ends[one] for one in (*here, *there)) if end.length is not None]
    longest = max(lengths, default=_LONGEST)
    shortest = 0.9 * longest
    frame = [_FRAME] if with_frame else []

    def quoted(value: object) -> str:
        return json.dumps(value, ensure_ascii=False)

    shelves: dict[str, list[str]] = {}
    for side, names in ((HERE, here), (THERE, there)):
        bays = "+".join(dict.fromkeys(ends[one].bay or "unknown" for one in names))
        shelves.setdefault(bays, []).append(
            f"      - {{name: {side}-ends, connectors: [{{name: {side}, type: {side}}}]}}"
        )
    lines = [
        f"# yaml-language-server: $schema={schema.replace('sequence.json', 'plant.json')}",
        "# One conductor of each of some loose ends of a survey, as if they were one cable.",
        f"plant: {name}",
        "connector-types:",
        f"  - {{name: {HERE}, rows: [{quoted([*here, *frame])}]}}",
        f"  - {{name: {THERE}, rows: [{quoted([*there, *frame])}]}}",
        "cable-types:",
        f"  - {{name: {_GROUP}, conductors: {len(here) + len(frame)}, colours: numbered, size: AWG 24}}",
        "bays:",
        *(line for bay, held in shelves.items() for line in (f"  - name: {quoted(bay)}", "    shelves:", *held)),
        "cables:",
        f"  - {{name: {_GROUP}, type: {_GROUP}, length: {longest:g} m, length-tolerance: {shortest:g} m, "
        f"from: {HERE}, to: {THERE}}}",
    ]
    return "\n".join(lines) + "\n"


def taken_names(survey: Survey, record: Path) -> Iterator[TriedIt]:
    """What a walk across cables told of loose ends, as tries; those that stand there already are left out.

    Args:
        survey: the finds.
        record: of the walk.

    Raises:
        BrokenRecord: it was changed.
    """
    from bench.record.replay import replay
    from bench.walk.results import results

    state = replay(record)
    assert state.setting is not None
    plant = state.setting.plant
    known = list(survey.tries.values())
    for outcome in results(state).values():
        found = outcome.found
        if found is None or outcome.verdict == "void" or "names" not in found.facts:
            continue
        if found.facts["cable"] != _GROUP or not {HERE, THERE} <= plant.connectors.keys():
            continue
        near = {one.name: one.near_end.pin for one in plant.cables[_GROUP].conductors}
        here = [pin for pin in plant.connectors[HERE].layout.order if pin != _FRAME]
        there = [pin for pin in plant.connectors[THERE].layout.order if pin != _FRAME]
        told = [(place.rpartition(".")[2], near[name]) for place, name in found.facts["names"].items()]
        tries = [Tried(touched=end, among=here, answer=mate, way=_GROUP) for end, mate in told]
        alone = [place.rpartition(".")[2] for place in found.facts["open_flags"]]
        tries += [Tried(touched=end, among=here, way=_GROUP) for end in alone]
        lost = [near[name] for name in found.facts["open_conductors"]]
        tries += [Tried(touched=end, among=there, way=_GROUP) for end in lost]
        for one in tries:
            if one not in known and {one.touched, *one.among} <= survey.finds.keys():
                yield TriedIt(tried=one, by=record.name)
