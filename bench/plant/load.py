"""A plant file with all its problems, or a plant."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import msgspec

from bench.files import BadFile, Place, Places, Problem, convert, parse, parse_yaml, read_text
from bench.plant.file import PlantFile
from bench.plant.model import Plant
from bench.plant.partial import Dropped, read_rest
from bench.plant.pinlist import PinLists
from bench.plant.resolve import build


def load_plant(path: Path) -> Plant:
    """Read a plant file and the pin lists that it names.

    Problems of type do not hide problems of sense: entries that cannot be read are left out, the rest is checked, and
    what would only follow from the entries left out is not said.

    Raises:
        BadFile: with every problem of form, of type and of sense, each with file, line and column.
    """
    return plant_of(read_text(path), path)


def plant_of(text: str, path: Path) -> Plant:
    """The same of a text that is to stand in a file.

    Args:
        text: of a plant file.
        path: where it is to stand: pin lists are looked for beside it.

    Raises:
        BadFile: with every problem.
    """
    name = str(path)
    key = (name, text)
    kept = _kept.get(key)
    if kept is not None and _stand(kept[0], PinLists(path.parent)):
        return kept[1]
    try:
        node = parse_yaml(text, name)
    except BadFile:
        # broken form: say it together with what can be said of the types
        parse(text, PlantFile, name)
        raise
    problems: list[Problem] = []
    places, dropped = Places(name), Dropped()
    plant_file = convert(node, PlantFile, places, problems)
    if problems:
        rest = read_rest(node, name, problems)
        if rest is None:
            raise BadFile(problems)
        plant_file, places, dropped = rest
    lists = PinLists(path.parent)
    plant = _resolved(plant_file, places, lists, problems, dropped)
    while len(_kept) >= _KEPT:
        _kept.pop(next(iter(_kept)), None)
    _kept[key] = (lists.texts, plant)
    return plant


_KEPT: Final = 4
_kept: dict[tuple[str, str], tuple[dict[str, str], Plant]] = {}
"""The last plants that were read, by their file's name and text, each with its pin lists: one command may want a plant
at several places, and a plant never changes."""


def _stand(texts: dict[str, str], lists: PinLists) -> bool:
    """Whether the same stands in the pin lists still."""
    return all(lists.text(name, Place(""), "", []) == text for name, text in texts.items())


def _resolved(
    plant_file: PlantFile, places: Places, lists: PinLists, problems: list[Problem], dropped: Dropped
) -> Plant:
    found = dict(plant_file.pin_lists)
    for number, cable in enumerate(plant_file.cables):
        if cable.pins and cable.pins not in found:
            before = len(problems)
            place = places.of(cable, "pins")
            path = dropped.original(f"cables[{number}].pins")
            found[cable.pins] = lists.read(cable.pins, place, path, problems)
            if len(problems) > before:
                dropped.names.add(cable.pins)
    complete = msgspec.structs.replace(plant_file, pin_lists=found)

    def where(value: Any, *steps: str | int) -> Place:
        return lists.place(value, *steps) or places.of(plant_file if value is complete else value, *steps)

    plant, report = build(complete, where, dropped, strict=True)
    problems += report.problems
    if plant is None or problems:
        raise BadFile(problems)
    return plant
