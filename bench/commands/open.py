"""Open a job on the screen: where the plant stands, what to do next, its sequences and records. Walks start from here.

JOB is a folder with a plant.yaml; by default the one that the command is run in, or the only one in sequences/."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench.commands import looks
from bench.commands.common import LOGS
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("job", type=Path, nargs="?", help="the job's folder, or its plant file")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--operator", default="", help="your name; kept in the records of walks")
    looks.arguments(parser)
    parser.add_argument("--quiet", action="store_true", help="no tones in walks")
    parser.add_argument("--say", default="", metavar="PROGRAM", help="a program that speaks the text it is given")


def run(options: argparse.Namespace) -> int:
    """Find the job and show it."""
    from bench.commands.job_screen import show_job

    passed = [word for word in ("--ascii", "--light", "--quiet") if getattr(options, word[2:])]
    for name in ("operator", "say"):
        if getattr(options, name):
            passed += [f"--{name}", getattr(options, name)]
    plant = plant_of(options.job)
    if not looks.paints():
        return _printed(plant, options.logs)
    return show_job(plant, options.logs, looks.settings_of(options), passed=passed, operator=options.operator)


def _printed(plant: Path, logs: Path) -> int:
    """What the start page says, where there is no terminal to paint on: where the plant stands, and what is next."""
    from bench.commands import ready

    return ready.run(argparse.Namespace(plant=plant, logs=logs, json=False, screen=False))


def plant_of(job: Path | None) -> Path:
    """The plant file of a job.

    Raises:
        BadRequest: there is none, or more than one and none was named.
    """
    if job is not None:
        plant = job / "plant.yaml" if job.is_dir() else job
        if not plant.is_file():
            raise BadRequest(f"found no plant file {plant}, expected a folder with a plant.yaml")
        return plant
    here = Path("plant.yaml")
    if here.is_file():
        return here
    found = sorted(Path("sequences").glob("*/plant.yaml"))
    if len(found) != 1:
        several = f"{len(found)} jobs in sequences/" if found else "no plant.yaml here and no job in sequences/"
        raise BadRequest(f"found {several}, expected the name of the job's folder: proveout open FOLDER")
    return found[0]
