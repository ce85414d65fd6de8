"""From a survey into the plant file: a cable between two places, claimed until readings prove it, and its proof."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from bench.commands.common import keep_draft, relative, sequence_schema
from bench.errors import BadRequest
from bench.plant.finds import FreePlace, LooseEnd
from bench.plant.model import Plant
from bench.plant.writing import Change, rewritten
from bench.walk.surveying import Survey

Landing = tuple[LooseEnd, FreePlace]


def claim(
    path: Path, plant: Plant, survey: Survey, said: list[str], cable: str, size: str, length: str, *, write: bool
) -> None:
    """Show what a claim would write into the plant file; write it, and the draft of its proof, when asked.

    Args:
        path: the plant file.
        plant: as it is.
        survey: the finds.
        said: two landings as ``L1=P1``.
        cable: its name.
        size: of its conductors, such as ``AWG 24``; empty where the plant has a cable type that fits.
        length: with its unit; empty to take what was noted.
        write: whether to write.

    Raises:
        BadRequest: a find is not there, or lacks what the plant file must say.
        BadFile: the plant file would not be one any more.
    """
    one, other = (_landing(survey, text) for text in said)
    if one[1].name == other[1].name or one[0].name == other[0].name:
        raise BadRequest("--claim: a cable has two ends, and each goes to a place of its own")
    made = rewritten(path, list(_changes(plant, one, other, cable, size, length)))
    for line in made.difference():
        print(line)
    if not write:
        print("nothing is written; --write writes it")
        return
    made.save()
    draft = path.parent / f"prove-{cable}.yaml"
    from bench.sequence.draft import draft as drafted

    if not draft.exists():
        text = drafted(made.plant, "landing", cable, relative(path.parent, path), sequence_schema(path.parent))
        keep_draft(draft, text)
    print(f"{path} is written; the claim is proven by readings alone: {draft}")


def _landing(survey: Survey, text: str) -> Landing:
    """An end and its place of ``L1=P1``."""
    end_name, equals, place_name = text.partition("=")
    found = [survey.finds.get(name.strip()) for name in (end_name, place_name)]
    end, place = (kept.find if kept is not None else None for kept in found)
    if not equals or not isinstance(end, LooseEnd) or not isinstance(place, FreePlace):
        raise BadRequest(f"--claim: found '{text}', expected a loose end and a free place of the survey, such as L1=P1")
    for field in ("bay", "shelf", "connector"):
        if not getattr(place, field):
            raise BadRequest(f"{place.name} has no {field} yet: note it in the survey first")
    return end, place


def _changes(plant: Plant, one: Landing, other: Landing, cable: str, size: str, length: str) -> Iterator[Change]:
    conductors = next((end.conductors for end, _ in (one, other) if end.conductors), None)
    if conductors is None:
        raise BadRequest(
            f"nobody counted the conductors of {one[0].name} or {other[0].name} yet: note it in the survey first"
        )
    known: set[str] = set()
    for _, place in (one, other):
        yield from place_changes(plant, place, max(conductors, place.filled or 0), known)
    colours = next((end.colours for end, _ in (one, other) if end.colours), "")
    paired = colours == "pair-code" and conductors % 2 == 0
    kind = next(
        (
            kind.name
            for kind in plant.file.cable_types
            if kind.count == conductors and (kind.pairs is not None) == paired and (not size or str(kind.size) == size)
        ),
        "",
    )
    if not kind:
        if not size:
            raise BadRequest("no cable type of the plant fits: say the conductors' size, such as --size 'AWG 24'")
        kind = f"{'P' if paired else 'N'}{conductors // 2 if paired else conductors}"
        fields = {"pairs": str(conductors // 2)} if paired else {"conductors": str(conductors)}
        if colours == "numbered":
            fields["colours"] = "numbered"
        yield Change(("cable-types", kind), {**fields, "size": size})
    noted = [end.length for end, _ in (one, other) if end.length is not None]
    if not length and not noted:
        raise BadRequest("the cable's length is not noted: say it, such as --length '12 m'")
    ends = f"{one[0].name} and {other[0].name} in the survey"
    yield Change(
        ("cables", cable),
        {
            "type": kind,
            "length": length or str(noted[0]),
            "from": one[1].name,
            "to": other[1].name,
            "from-status": "claimed",
            "to-status": "claimed",
            "remark": ends,
        },
    )


def place_changes(plant: Plant, place: FreePlace, pins: int, known: set[str] | None = None) -> Iterator[Change]:
    """What puts a free place into the plant file: its shelf, its kind of connector, and the connector.

    Args:
        plant: as it is.
        place: with its bay, its shelf and its kind of connector.
        pins: of a kind that the plant file does not have yet.
        known: kinds that were put there on the way.

    Raises:
        BadRequest: nobody said how many pins such a connector has.
    """
    kinds = {kind.name for kind in plant.file.connector_types} | (known or set())
    if place.connector not in kinds:
        if pins < 1:
            raise BadRequest(
                f"{place.name}: nobody noted how many contacts a {place.connector} has: note it in the survey"
            )
        if known is not None:
            known.add(place.connector)
        yield Change(("connector-types", place.connector), {"pins": str(pins)})
    if place.shelf not in plant.shelves:
        yield Change(("bays", place.bay, "shelves", place.shelf))
    if place.name not in plant.connectors:
        yield Change((*_way(plant, place), "connectors", place.name), {"type": place.connector})


def _way(plant: Plant, place: FreePlace) -> tuple[str, ...]:
    """Where a shelf stands in the file; a half-shelf below its shelf."""
    for bay in plant.file.bays:
        for shelf in bay.shelves:
            if any(half.name == place.shelf for half in shelf.halves):
                return "bays", bay.name, "shelves", shelf.name, "halves", place.shelf
            if shelf.name == place.shelf:
                return "bays", bay.name, "shelves", shelf.name
    return "bays", place.bay, "shelves", place.shelf
