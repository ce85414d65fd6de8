"""What breaker trips, fuse alarms and resets have in common: feed, bay, card type, hour, warmth, what was touched.

What walks and watches were told, by people, by alarm contacts and by consoles, comes with --logs. FILE is a table
(CSV) with the columns at, thing, what, temperature, touched, remark; the first two are needed: when, as
2026-05-09T14:30, and the breaker or shelf. Reset nothing to find out: a breaker that tripped has a reason."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("file", type=Path, nargs="?", help="a table of events")
    parser.add_argument("--logs", type=Path, metavar="DIR", help="take what walks and watches of this folder "
                        "tell: people (a note 'trip FA3: ...'), alarm contacts, consoles")  # fmt: skip


def run(options: argparse.Namespace) -> int:
    """Read, rank, print."""
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.hunt.trips import NOTHING_KNOWN, in_common, read_trips, told
    from bench.job.trips_told import once_each, trips_and_time
    from bench.plant.load import load_plant

    if options.file is None and options.logs is None:
        raise BadRequest("expected a table of events, or --logs with a folder of records")
    plant = load_plant(options.plant)
    trips, backdrop = [], NOTHING_KNOWN
    if options.logs is not None:
        found, backdrop = trips_and_time(options.logs)
        known = [one for one in found if one.thing in plant.breakers or one.thing in plant.shelves]
        for one in known:
            print(f"{one.at:%Y-%m-%d %H:%M:%S}  {one.thing}  {one.what} ({one.how})")
        trips += known
    try:
        trips += read_trips(options.file, plant) if options.file is not None else []
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error
    trips = once_each(trips)
    print("\n".join(told(trips, in_common(plant, trips, backdrop), backdrop=backdrop)))
    return exits.PASS
