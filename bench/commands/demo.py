"""Walk the continuity of a rebuilt 50-pin bundle of Gannet Head on a simulated bench, with faults to be found."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench import exits
from bench.commands import looks
from bench.commands.common import busy
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("--seed", type=int, help="other faults and other noise; the same number gives the same again")
    parser.add_argument(
        "--season",
        nargs="?",
        type=Path,
        const=Path("season"),
        metavar="FOLDER",
        help="write a season of records in which faults appear, and say what to look into; by default into season/",
    )
    parser.add_argument("--by-hand", action="store_true", help="with a meter that you read: you type what it shows")
    parser.add_argument("--no-screen", action="store_true", help="run by itself and print, as without a terminal")
    parser.add_argument("--record", type=Path, help="the record to write; by default a new one in logs/")
    parser.add_argument("--json", action="store_true", help="without a screen: print one JSON object at the end")
    parser.add_argument("--plain", action="store_true", help="line by line in place of the screen")
    looks.arguments(parser)
    parser.add_argument("--quiet", action="store_true", help="no tones")
    parser.set_defaults(
        operator="", resume=None, attach=None, trace_bytes=None, say="", by_key=False, place_after=0.8,
        give_up_after=1800.0,
    )  # fmt: skip


def run(options: argparse.Namespace) -> int:
    """Show the screen where there is a terminal, else run and print."""
    from bench.files import shipped

    job = shipped("sequences") / "gannet-head"
    if options.season is not None:
        return _season(options.season, job / "plant.yaml", 1 if options.seed is None else options.seed)
    options.sequence = job / "continuity-W101.yaml"
    options.bench = job / "benches" / ("by-hand.yaml" if options.by_hand else "simulated.yaml")
    options.demo_faults = options.seed is not None
    if options.by_hand and (options.no_screen or options.json or not sys.stdin.isatty()):
        raise BadRequest("--by-hand wants a person at a terminal, who types what the meter shows")
    if options.no_screen or options.json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        options.speed = 20.0
        from bench.commands.run_here import run_here

        return run_here(options)
    from bench.commands.start_screen import show

    options.speed = 1.0
    return show(options)


def _season(folder: Path, plant: Path, seed: int) -> int:
    """Write the season, and say what may be asked of it."""
    with busy(f"writing a season of records into {folder}/"):
        from bench.plant.load import load_plant
        from bench.simulate.pile import survey_pile
        from bench.simulate.season import make_first_proof, make_season

        records = make_season(folder, seed)
        survey_pile(folder, load_plant(plant), seed)
        proof = make_first_proof(folder, seed)
    print(f"{len(records) + 1} records of a season at Gannet Head are in {folder}/, all of them simulated.")
    print(f"Open them on the screen:  proveout open {plant.parent} --logs {folder}")
    print("Look into them:")
    print(f"  proveout survey {plant} --logs {folder} --tell     how it began: a pile of loose ends")
    print(f"  proveout browser --survey {plant} --logs {folder}     go on with it on a tablet, at the ladder")
    print(f"  proveout explain {proof}     the first cable out of it, claimed and proven")
    print(f"  proveout ready {plant} --logs {folder}")
    print(f"  proveout trace --all --logs {folder}")
    print(f"  proveout trace W101.12 --logs {folder}")
    print(f"  proveout compare {records[0]} {records[-1]}")
    print(f"  proveout verify {folder}")
    return exits.PASS
