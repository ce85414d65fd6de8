"""Loading a sequence with its plant: every problem of both, in one go."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec

from bench import files
from bench.files import BadFile, Place, Problem, is_file
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.sequence.file import SequenceFile
from bench.sequence.plan import Plan
from bench.sequence.unroll import unroll


class Loaded(msgspec.Struct, frozen=True):
    """A sequence that was read and fits its plant.

    Attributes:
        path: the sequence file.
        plant_path: the plant file.
        sequence: as it stands in its file.
        plant: the plant, resolved.
        plan: the sequence, unrolled.
        sources: file name to SHA-256 of its bytes, for the record.
    """

    path: Path
    plant_path: Path
    sequence: SequenceFile
    plant: Plant
    plan: Plan
    sources: dict[str, str]


def load_sequence(path: Path) -> Loaded:
    """Read a sequence and the plant that it names.

    Raises:
        BadFile: with every problem of both files.
    """
    sequence, places = files.load(path, SequenceFile)
    plant_path = (path.parent / sequence.plant).resolve()
    if not is_file(plant_path):
        place = places.of(sequence, "plant")
        raise BadFile([Problem(place, "plant", files.shown(sequence.plant), "the path of a plant file")])
    shown = path.parent / sequence.plant
    plant = load_plant(shown)
    problems: list[Problem] = []

    def say(struct: Any, below: tuple[str | int, ...], found: str, expected: str, hint: str) -> None:
        place: Place = places.of(struct, *below)
        name = ".".join(str(part) for part in below if isinstance(part, str))
        problem = Problem(place, name, found, expected, hint)
        # a loop meets the same mistake once for every object
        if problem not in problems and not any(p.place == place and p.field == name for p in problems):
            problems.append(problem)

    plan = unroll(sequence, plant, say)
    if problems:
        raise BadFile(problems)
    return Loaded(path, plant_path, sequence, plant, plan, _digests(path, plant_path))


def _digests(*paths: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
