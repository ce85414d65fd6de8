"""A plant file with all its problems, or a plant."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from bench.files import BadFile, Place, Problem, load
from bench.plant.file import PlantFile
from bench.plant.model import Plant
from bench.plant.pinlist import PinLists
from bench.plant.resolve import build


def load_plant(path: Path) -> Plant:
    """Read a plant file and the pin lists that it names.

    Raises:
        BadFile: with every problem of form, of type and of sense, each with file, line and column.
    """
    plant_file, places = load(path, PlantFile)
    lists = PinLists(path.parent)
    problems: list[Problem] = []
    found = dict(plant_file.pin_lists)
    for number, cable in enumerate(plant_file.cables):
        if cable.pins and cable.pins not in found:
            place = places.of(cable, "pins")
            found[cable.pins] = lists.read(cable.pins, place, f"cables[{number}].pins", problems)
    complete = msgspec.structs.replace(plant_file, pin_lists=found)

    def where(value: Any, *steps: str | int) -> Place:
        return lists.place(value, *steps) or places.of(plant_file if value is complete else value, *steps)

    plant, report = build(complete, where)
    problems += report.problems
    if plant is None or problems:
        raise BadFile(problems)
    return plant
