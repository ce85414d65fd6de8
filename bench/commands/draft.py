"""Draft a sequence from a plant: a YAML file with comments that is yours to read and change."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import keep_draft, relative, sequence_schema
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.plant.model import Plant


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("kind", help="what to draft; a wrong word is answered with all that there are")
    scope = parser.add_mutually_exclusive_group()
    scope.add_argument("--cable", metavar="NAME", help="this cable")
    scope.add_argument("--bay", metavar="NAME", help="everything of this bay")
    scope.add_argument("--connector", metavar="NAME", help="everything of this connector")
    scope.add_argument("--shelf", metavar="NAME", help="everything of this shelf")
    parser.add_argument(
        "--record", type=Path, nargs="+", metavar="RECORD", help="for reprove: the records that found what is repaired"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="where to write it; else it is printed")


def run(options: argparse.Namespace) -> int:
    """Draft and write."""
    from bench.files import near, one_of
    from bench.plant.load import load_plant
    from bench.plant.model import UnknownName
    from bench.sequence.draft import KINDS, CannotDraft, draft

    if options.kind == REPROVE:
        return _reprove(options)
    known = [*KINDS, REPROVE]
    if options.kind not in known:
        raise BadRequest(f"found '{options.kind}', expected {one_of(known)}; {near(options.kind, known)}".rstrip("; "))
    plant = load_plant(options.plant)
    of = _scope(options, plant)
    folder = options.output.parent if options.output is not None else Path()
    try:
        above_steps = _by_hand(options.kind, plant, of)
        plant_file = relative(folder, options.plant)
        text = draft(plant, options.kind, of, plant_file, sequence_schema(folder), above_steps)
    except (CannotDraft, UnknownName) as error:
        raise BadRequest(str(error)) from error
    if options.output is None:
        sys.stdout.write(text)
        return exits.PASS
    keep_draft(options.output, text)
    print(f"{options.output} is drafted; read it before you use it")
    return exits.PASS


REPROVE = "reprove"
"""Drafted from what records found, and not from the plant alone."""


def _reprove(options: argparse.Namespace) -> int:
    from bench.commands.explain import draft, read
    from bench.diagnose.explain.records import explained, to_prove

    if not options.record or options.output is None:
        raise BadRequest("reprove wants the records that found what is repaired, and a file: --record RECORD -o FILE")
    plant, states = read(options.record)
    wires, apart = to_prove(explained(states), plant)
    if not wires:
        raise BadRequest("nothing was found that a repair would touch")
    draft(options, plant, options.output, "proof after a repair", wires, apart)
    print(f"{options.output} is drafted; read it before you use it")
    return exits.PASS


def _by_hand(kind: str, plant: Plant, of: str) -> list[str]:
    """For isolation and crosses: what it costs by hand; nothing for other kinds."""
    if kind not in ("isolation", "crosses") or not of:
        return []
    from bench.diagnose.apart.by_hand import hand_lines

    return list(hand_lines(plant, of, kind))


def _scope(options: argparse.Namespace, plant: object) -> str:
    """The name that the options give, if it is one of its kind."""
    from bench.files import near, one_of

    for kind, known in (
        ("cable", "cables"),
        ("connector", "connectors"),
        ("bay", "bays"),
        ("shelf", "shelves"),
    ):
        name = getattr(options, kind)
        if name is None:
            continue
        names = list(getattr(plant, known))
        if name not in names:
            hint = near(name, names)
            raise BadRequest(f"found {kind} '{name}', expected {one_of(names)}{f'; {hint}' if hint else ''}")
        return str(name)
    return ""
