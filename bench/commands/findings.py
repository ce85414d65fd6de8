"""Show what records found that the plant file does not say, and write it there when asked."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from bench import exits
from bench.commands.common import LOGS, busy, say_progress
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("name", nargs="*", help="a cable or a card type; without one everything that was found is told")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--kind", choices=["landings", "length", "current"], help="of what was found only this")
    parser.add_argument("--write", action="store_true", help="write what is shown for the names into the plant file")
    parser.add_argument("--keep", action="append", default=[], metavar="CABLE",
                        help="this cable stays as it was found; may be given again")  # fmt: skip


def run(options: argparse.Namespace) -> int:
    """Tell what was found, show the difference, and write it where that was asked for."""
    from bench.job.findings import findings
    from bench.job.folder import open_folder
    from bench.plant.load import load_plant
    from bench.plant.writing import rewritten

    plant = load_plant(options.plant)
    with busy("reading records"):
        folder = open_folder(options.logs, plant.name, partial(say_progress, then="working out what was found ..."))
        found = findings(folder, plant)
    names = [*options.name, *options.keep]
    _known(options, {one.name for one in found})
    if options.write and not names:
        raise BadRequest("--write wants to know what: name cables or card types, or --keep a cable as it was found")
    told = [one for one in found if (not names or one.name in names) and options.kind in (None, one.kind)]
    if folder.simulated and told:
        print("All of it comes from simulated benches: it says nothing of a real plant.")
    for one in told:
        print(f"{one.kind}: {one.text}")
    changes = [
        change
        for one in told
        if (one.name in options.keep if one.kind == "as found" else one.name in options.name or not names)
        for change in one.changes
    ]
    if not changes:
        print("nothing to write" if found else "the records found nothing that the plant file does not say")
        return exits.PASS
    made = rewritten(options.plant, changes)
    print(f"\nin {options.plant}:")
    for line in made.difference():
        print(line)
    if not options.write:
        print("\nnothing is written; say what with its name and --write")
        return exits.PASS
    made.save()
    print(f"\n{options.plant} is written")
    return exits.PASS


def _known(options: argparse.Namespace, known: set[str]) -> None:
    from bench.files import near, one_of

    for name in (*options.name, *options.keep):
        if name not in known:
            expected = one_of(sorted(known)) if known else "nothing: the records found nothing new"
            hint = near(name, known)
            raise BadRequest(f"nothing was found of '{name}', expected {expected}{f'; {hint}' if hint else ''}")
