"""Drafts sequences from a plant: YAML text with comments, to be read, changed and kept by hand.

What a sequence holds is built in :mod:`bench.sequence.drafts` as structs; here it becomes the text of a file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from bench.plant.model import Plant
from bench.quantity import Ratio
from bench.sequence.drafts.again import again
from bench.sequence.drafts.conductors import continuity, crosses, identify
from bench.sequence.drafts.dead_first import dead_first
from bench.sequence.drafts.earth import earth, earth_live, earth_two_wires
from bench.sequence.drafts.in_lead import in_lead
from bench.sequence.drafts.inlets import idle_current, polarity
from bench.sequence.drafts.insulation import insulation, isolation
from bench.sequence.drafts.landing import landing
from bench.sequence.drafts.parts import CannotDraft, Draft, called
from bench.sequence.drafts.power import first_power
from bench.sequence.drafts.search import supply_search
from bench.sequence.drafts.together import together
from bench.sequence.file import Decide, SequenceFile
from bench.sequence.writer import write

__all__ = ["KINDS", "CannotDraft", "Draft", "again", "draft", "file_text", "identify"]


def draft(
    plant: Plant,
    kind: str,
    of: str,
    plant_file: str,
    schema: str,
    above_steps: Sequence[str] = (),
    *,
    powered: bool = False,
    ammeter: bool = False,
) -> str:
    """Draft a sequence.

    Args:
        plant: the plant.
        kind: one of :data:`KINDS`.
        of: a cable, bay or shelf; for some kinds it may be empty, which means the whole plant. Several cables are
            joined by a ``+``.
        plant_file: the path that the sequence will name.
        schema: the path of the JSON Schema that an editor should use.
        above_steps: lines of comment above the steps.
        powered: whether the plant has had power before: then a draft for a dead plant proves it dead.
        ammeter: whether the bench's ammeter stands in its supply's lead.

    Returns:
        The text of a sequence file.

    Raises:
        CannotDraft: the plant lacks what this would be about, or ``of`` is of the wrong kind.
        UnknownName: nothing is called ``of``.
    """
    names = names_in(plant, of)
    made = together([(name, KINDS[kind](plant, name)) for name in names])
    if powered:
        about = (of, ()) if len(names) == 1 else ("", [plant.cables[name] for name in names])
        made = dead_first(plant, about[0], made, about[1])
    if ammeter:
        made = in_lead(made)
    name = ", ".join((kind.replace("-", " "), *(called(plant, name) for name in names if name)))
    return file_text(plant, name, made, plant_file, schema, above_steps)


def file_text(
    plant: Plant, name: str, made: Draft, plant_file: str, schema: str, above_steps: Sequence[str] = ()
) -> str:
    """The text of the file of a draft.

    Args:
        plant: the plant.
        name: of the sequence.
        made: what it holds.
        plant_file: the path that the sequence will name.
        schema: the path of the JSON Schema that an editor should use.
        above_steps: lines of comment above the steps.
    """
    sequence = SequenceFile(sequence=name, plant=plant_file, about=made.about, decide=_DECIDE, steps=made.steps)
    head = (
        f"yaml-language-server: $schema={schema}",
        f"Drafted from the plant {plant.name}. It is yours now: read it, change it, keep it.",
    )
    return write(sequence, made.comments(head, above_steps))


AND: Final = "+"
"""Between the names of cables that one draft is about."""


def names_in(plant: Plant, of: str) -> list[str]:
    """What a draft is about: the cables that :data:`AND` joins, or one name."""
    names = of.split(AND)
    return names if len(names) > 1 and all(name in plant.cables for name in names) else [of]


_DECIDE: Final = Decide(probability=Ratio.parse("95 %"))


def _identify(plant: Plant, of: str) -> Draft:
    return identify(plant, of, {})


KINDS: Final[dict[str, Callable[[Plant, str], Draft]]] = {
    "identify": _identify,
    "continuity": continuity,
    "landing": landing,
    "crosses": crosses,
    "isolation": isolation,
    "insulation": insulation,
    "polarity": polarity,
    "idle-current": idle_current,
    "first-power": first_power,
    "earth": earth,
    "earth-two-wires": earth_two_wires,
    "earth-live": earth_live,
    "supply-search": supply_search,
}
"""What can be drafted."""
