"""What breaker trips, fuse alarms and resets have in common: feed, bay, card type, time of day, each with its evidence.

FILE is a table (CSV) with the columns at, thing, what, temperature, touched, remark; the first two are needed: when, as
2026-05-09T14:30, and the breaker or shelf. Reset nothing to find out: a breaker that tripped has a reason."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("file", type=Path, help="the table of events")


def run(options: argparse.Namespace) -> int:
    """Read, rank, print."""
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.hunt.trips import in_common, read_trips, told
    from bench.plant.load import load_plant

    plant = load_plant(options.plant)
    try:
        trips = read_trips(options.file, plant)
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error
    print("\n".join(told(trips, in_common(plant, trips))))
    return exits.PASS
