"""Find in the records where a point changed: last good, first bad, what was touched in between, what else changed.

POINT is a pin, conductor, cable, connector, shelf, bond, feed, or any other name of the plant. Verdicts are
today's, worked out from the readings; a record whose chain does not hold is left out and named."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from bench import exits
from bench.commands import looks
from bench.commands.common import LOGS, busy, say_progress
from bench.errors import BadRequest
from bench.say.times import zone

if TYPE_CHECKING:
    from bench.job.history import History
    from bench.job.points import Point
    from bench.job.study import Study
    from bench.plant.model import Plant


_LOOKING: Final = "looking for changes"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("point", nargs="?", help="what to trace, such as W101.34, J205.3, 2C, L1 or A")
    parser.add_argument("--all", action="store_true", help="every point: list what changed most")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--plant", type=Path, help="the plant file; by default the newest record's plant")
    parser.add_argument("--alone", action="store_true", help="do not look at what else changed at the same time")
    parser.add_argument("--judge-again", action="store_true", help="always done now; kept for old scripts")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw the history of what changed most into this file")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")
    parser.add_argument("--screen", action="store_true", help="show it on the screen, with its plot")
    looks.arguments(parser, on_the_screen=True)


def run(options: argparse.Namespace) -> int:
    """Search, study, print."""
    from bench.job.folder import newest_plant
    from bench.job.history import History
    from bench.job.points import point_of
    from bench.plant.load import load_plant
    from bench.plant.model import UnknownName
    from bench.record.index import records_in

    if (options.point is None) == (not options.all):
        raise BadRequest("name one point, or use --all")
    if options.screen:
        from bench.commands.job_screen import show_job
        from bench.screens.job.view import Place

        at = Place("changes") if options.all else Place("trace", options.point)
        return show_job(options.plant, options.logs, looks.settings_of(options), at)
    if not options.logs.is_dir():
        raise BadRequest(f"found no folder {options.logs}, expected the one with the records; name it with --logs")
    records = records_in([options.logs])
    plant = load_plant(options.plant) if options.plant else newest_plant(records)
    with busy("seeing which records count"):
        history = History(options.logs, records, plant.name, partial(say_progress, then=f"{_LOOKING} ..."))
    if options.all:
        return _everything(options, history, plant)
    try:
        point = point_of(plant, options.point)
    except UnknownName as error:
        raise BadRequest(str(error)) from error
    return _one_point(options, history, plant, point)


def _one_point(options: argparse.Namespace, history: History, plant: Plant, point: Point) -> int:
    from bench.job.heard import said_when_it_changed
    from bench.job.history import studies_of
    from bench.report.trace_text import lines

    with busy(_LOOKING):
        studies = studies_of(history, plant, point, options.alone)
        text = (
            *lines(point, studies),
            *(line for said in said_when_it_changed(options.logs, studies) for line in said),
        )
    head = {"point": point.name, "kind": point.kind, "where": point.where}
    return _show(options, history, studies, head, text)


def _everything(options: argparse.Namespace, history: History, plant: Plant) -> int:
    from bench.job.study import Everything
    from bench.report.trace_text import table

    with busy(_LOOKING):
        everything = Everything(history.rows())
        studies = everything.studies()
        episodes = [] if options.alone else everything.episodes(studies, plant)
        text = tuple(table(studies, episodes))
    return _show(options, history, studies, {"point": None}, text)


def _show(
    options: argparse.Namespace, history: History, studies: list[Study], head: dict[str, Any], text: Iterable[str]
) -> int:
    from bench.report.trace_text import plain, plot
    from bench.saved import save

    if options.svg is not None:
        save(options.svg, plot(studies[0]) if studies else "")
    if options.json:
        shown = {
            **head,
            "simulated": history.simulated,
            "records": len(history.heads),
            "broken": history.broken,
            "clocks": list(history.clocks),
            "series": [plain(one) for one in studies],
        }
        json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        _warn(history)
        for line in (*text, *_watched(options, head["point"])):
            print(line)
        print(f"days and times are {zone()}")
    return exits.NOT_PASSED if any(one.window is not None for one in studies) else exits.PASS


def _warn(history: History) -> None:
    for error in history.broken:
        print(f"NOT READ: {error}")
    for text in history.clocks:
        print(f"clock: {text}")
    for name, late in history.moved.items():
        print(f"clock: the readings of {name} are taken for {late / 3600:.1f} h later than it says")


def _watched(options: argparse.Namespace, point: str | None) -> list[str]:
    """What watches in the same folder saw of a point: jumps and events."""
    from bench.diagnose.hunt.watched import jump_line, moment, noticed_line, said_lines
    from bench.record.read import BrokenRecord
    from bench.record.watch import is_watch, read_watch, spoken

    found: list[str] = []
    for path in sorted(options.logs.glob("watch*.jsonl")) if point is not None else ():
        if not is_watch(path):
            continue
        try:
            watch = read_watch(path)
        except BrokenRecord as error:
            found.append(f"NOT READ: {error}")
            continue
        mine = {
            number
            for number, watched in enumerate(watch.head.points)
            if any(place == point or place.startswith(f"{point}.") for place in watched.between)
            or any(
                place.name.split(" ")[0] == point and number in (place.on or [number]) for place in watch.head.places
            )
        }
        told = [(one.jump.at, jump_line(watch, one)) for one in watch.jumps if one.point in mine]
        told += [(one.at, noticed_line(watch, one)) for one in watch.noticed if one.point in mine]
        said = spoken(path) if told else []
        lines = [text for at, line in told for text in (line, *(f"  said {one}" for one in said_lines(said, at)))]
        if mine:
            found += [
                f"watched from {moment(watch, 0.0)} ({path.name}):",
                *(f"  {one}" for one in lines or ["nothing"]),
            ]
    return found
