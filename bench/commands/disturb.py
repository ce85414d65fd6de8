"""Declare that something of the plant was disturbed, outside any walk: what was proven of it no longer counts.

The declaration goes into a small record of its own in the folder of records, chained like all others."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import LOGS, moment_of, operator_name, say_progress
from bench.errors import BadRequest
from bench.say.lists import count
from bench.say.times import second, zone

if TYPE_CHECKING:
    from bench.job.folder import Folder
    from bench.plant.model import Plant


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument(
        "names", nargs="+", metavar="NAME", help="what was disturbed: a cable, connector, shelf, bond ..."
    )
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--note", required=True, metavar="TEXT", help="what was done")
    parser.add_argument("--tray", action="store_true", help="all that shares a tray section with a named cable, too")
    when = "when it happened, if earlier, by the clock on the wall: 2026-05-09 or 2026-05-09T14:30"
    parser.add_argument("--when", metavar="TIME", help=when)
    parser.add_argument("--by", default="", help="who says so")
    parser.add_argument("--plant", type=Path, help="the plant file; by default the newest record's plant")


def run(options: argparse.Namespace) -> int:
    """Check the names and write the declaration down."""
    from bench.job.folder import newest_plant
    from bench.plant.load import load_plant
    from bench.plant.model import UnknownName
    from bench.plant.things import Cable, Conductor
    from bench.record.index import records_in

    if not options.note.strip():
        raise BadRequest("--note wants words: what was done")
    plant = load_plant(options.plant) if options.plant else newest_plant(records_in([options.logs]))
    names = list(dict.fromkeys(options.names))
    for name in tuple(names):
        try:
            thing = plant.find(name)
        except UnknownName as error:
            raise BadRequest(str(error)) from error
        if options.tray:
            if not isinstance(thing, Cable | Conductor):
                raise BadRequest(f"--tray is about cables, and '{name}' is none; name the tray section itself")
            cable = thing if isinstance(thing, Cable) else plant.cables[thing.cable]
            names += [section for section in cable.sections if section not in names]
    for line in disturbed(plant, options.logs, names, options.note.strip(), operator_name(options.by), options.when):
        print(line)
    return exits.PASS


def disturbed(plant: Plant, logs: Path, names: list[str], note: str, by: str, moment: str | None = None) -> list[str]:
    """Write down that something was disturbed.

    Args:
        plant: the plant.
        logs: the folder of records.
        names: what was disturbed, by names of the plant.
        note: what was done.
        by: who says so.
        moment: when, by the clock on the wall; now where it is not said.

    Returns:
        What no longer counts by it, line by line.

    Raises:
        BadRequest: the moment is none, or has not come yet.
    """
    from bench.job.folder import Folder, open_folder
    from bench.record.index import declare
    from bench.walk.events import Disturbed

    folder = open_folder(logs, plant.name, say_progress) if logs.is_dir() else Folder(logs)
    when = _moment(moment)
    later = folder.read_after(plant, names, when) if when else {}
    event = Disturbed(
        touches=names,
        text=note,
        by=by,
        when=when,
        saw=folder.whole_order.heads()[1],
        later=folder.later(later),
    )
    counted = _counted(folder, plant)
    path = declare(logs, event)
    gone = counted - _counted(open_folder(logs, plant.name, say_progress), plant)
    conductors = len({subject for _, _, subject in gone if subject in plant.conductors})
    happened = f", {second(when)} {zone()}" if when else ""
    told = [f"written to {path}: {', '.join(names)}{happened}"]
    told += [
        f"{record}: {count(len(rows), 'reading')} of it still count, taken after that by the clock, from "
        f"{second(min(row.at for row in rows))} on; if that is not so, say it again without --when"
        for record, rows in later.items()
    ]
    if gone:
        about = f"evidence about {count(conductors, 'conductor')}" if conductors else "evidence"
        return [*told, f"{about} from before no longer counts: {count(len(gone), 'result')}"]
    before = f"before {moment}" if event.when else "before"
    return [*told, f"no evidence is void by it: nothing that counts was read of {', '.join(names)} {before}"]


def _counted(folder: Folder, plant: Plant) -> set[tuple[str, str, str]]:
    """The results that count: their records, steps and subjects."""
    rows = folder.counting(plant)
    return {(row.record, str(row.step), row.subject) for row in rows if row.verdict not in ("void", "skipped")}


def _moment(text: str | None) -> str:
    """A time as records write it; local where it names no zone.

    Raises:
        BadRequest: it is no time, or it has not come yet.
    """
    from bench.record.append import stamp, utc_now

    if not text:
        return ""
    # a day alone counts to its end, so that what was read on that day does not count by mistake
    moment = moment_of(text, "a time such as 2026-05-09 or 2026-05-09T14:30")
    if moment.astimezone().date() == utc_now().astimezone().date() and len(text) <= len("2026-05-09"):
        return ""  # today, so far
    if moment > utc_now():
        raise BadRequest(f"--when: found '{text}', expected a time that has passed")
    return stamp(moment)
