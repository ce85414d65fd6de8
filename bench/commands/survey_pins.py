"""Readings between the pins of a free place by a walk: its draft, and what its readings add to the survey."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec

from bench.commands.common import keep_draft, relative, sequence_schema
from bench.commands.survey_claim import place_changes
from bench.diagnose.survey.fingerprint import next_pins
from bench.errors import BadRequest
from bench.plant.finds import FreePlace, PinRead
from bench.plant.model import Plant
from bench.plant.writing import rewritten
from bench.walk.surveying import Saw, Survey

_MOST = 6
"""Pairs of pins that are read at first; each of them is a clip and a look (own choice)."""


def read_pins(path: Path, plant: Plant, survey: Survey, name: str, *, write: bool) -> None:
    """Show what a place's connector adds to the plant file; write it, and draft its readings, when asked.

    Args:
        path: the plant file.
        plant: as it is.
        survey: the finds.
        name: of the free place.
        write: whether to write.

    Raises:
        BadRequest: there is no such place, or it lacks what the plant file must say.
    """
    place = _place(survey, name)
    made = rewritten(path, list(place_changes(plant, place, place.filled or 0)))
    for line in made.difference():
        print(line)
    pairs = _pairs(made.plant, survey, place)
    if not write:
        told = ", ".join("-".join(pins) for pins in pairs)
        print(f"pins to read, on a shelf that was proved dead: {told}; --write writes the plant file and the walk")
        return
    made.save()
    from bench.sequence.draft import file_text
    from bench.sequence.drafts.fingerprint import fingerprint

    draft = path.parent / f"pins-{name}.yaml"
    schema = sequence_schema(path.parent)
    text = file_text(made.plant, f"pins of {name}", fingerprint(name, pairs), relative(path.parent, path), schema)
    keep_draft(draft, text)
    print(f"{path} is written; read the pins by {draft}, then: proveout survey {path.parent} --reads RECORD")


def _place(survey: Survey, name: str) -> FreePlace:
    kept = survey.finds.get(name)
    if kept is None or not isinstance(kept.find, FreePlace):
        raise BadRequest(f"--read-pins: found '{name}', expected the name of a free place")
    place = kept.find
    for field in ("bay", "shelf", "connector"):
        if not getattr(place, field):
            raise BadRequest(f"{name} has no {field} yet: note it in the survey first")
    return place


def _pairs(plant: Plant, survey: Survey, place: FreePlace) -> list[tuple[str, str]]:
    """The pins that tell most between the places that were read; else some that lie across the connector."""
    places = [find for find in survey.of(FreePlace) if isinstance(find, FreePlace)]
    known = [pins for pins, _ in next_pins(place, places, _MOST)]
    order = list(plant.connectors[place.name].layout.order)
    known = [pins for pins in known if set(pins) <= set(order)]
    if known:
        return known
    step = max(1, (len(order) - 1) // _MOST)
    some = order[::step]
    return [(some[0], other) for other in some[1 : _MOST + 1]]


def taken_reads(survey: Survey, record: Path) -> Iterator[Saw]:
    """The free places with the readings that a walk took between their pins.

    Args:
        survey: the finds.
        record: of the walk.

    Raises:
        BrokenRecord: it was changed.
    """
    from bench.record.replay import replay
    from bench.sequence.file import Measure
    from bench.walk.results import results

    state = replay(record)
    assert state.setting is not None
    reads: dict[str, list[PinRead]] = {}
    for index, outcome in results(state).items():
        source = state.setting.plan.steps[index].source
        if not isinstance(source, Measure) or source.read != "resistance" or source.join or outcome.reading is None:
            continue
        if outcome.verdict not in ("pass", "fail", "undecided"):
            continue
        (owner, _, one), (other_owner, _, other) = (place.rpartition(".") for place in source.between)
        if owner == other_owner and owner in survey.finds:
            reads.setdefault(owner, []).append(PinRead(first=one, second=other, ohms=outcome.figure.value))
    for name, found in reads.items():
        find = survey.finds[name].find
        if isinstance(find, FreePlace):
            yield Saw(find=msgspec.structs.replace(find, reads=[*find.reads, *found]), how=record.name)
