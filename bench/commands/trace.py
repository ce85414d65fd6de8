"""Find in the records where a point changed: last good, first bad, what was touched in between, what else changed.

POINT is a pin, conductor, cable, connector, shelf, bond, feed, or any other name of the plant. The search looks at
readings as they were noted and does not check the chain of the records: 'proveout verify' does."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench import exits
from bench.commands.common import LOGS

if TYPE_CHECKING:
    from bench.commands.job_records import Tell
    from bench.job.points import Point, Surroundings
    from bench.job.rows import Evidence, Told
    from bench.job.study import Study, Window
    from bench.plant.model import Plant


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("point", nargs="?", help="what to trace, such as W101.34, J205.3, 2C, L1 or A")
    parser.add_argument("--all", action="store_true", help="every point: list what changed most")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--plant", type=Path, help="the plant file; by default the newest record's plant")
    parser.add_argument("--alone", action="store_true", help="do not look at what else changed at the same time")
    parser.add_argument("--judge-again", action="store_true", help="by today's verdicts in place of those noted then")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw the history of what changed most into this file")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")
    parser.add_argument("--screen", action="store_true", help="show it on the screen, with its plot")
    parser.add_argument("--ascii", action="store_true", help="on the screen: draw with plain characters only")


def run(options: argparse.Namespace) -> int:
    """Search, study, print."""
    from bench.commands.job_records import newest_plant
    from bench.errors import BadRequest
    from bench.job.points import point_of
    from bench.plant.load import load_plant
    from bench.plant.model import UnknownName
    from bench.record.index import records_in

    if (options.point is None) == (not options.all):
        raise BadRequest("name one point, or use --all")
    if options.screen:
        from bench.commands.job_screen import show_hall
        from bench.screens.job.view import Place

        at = Place("changes") if options.all else Place("trace", options.point)
        return show_hall(options.plant, options.logs, at, unicode=not options.ascii)
    if not options.logs.is_dir():
        raise BadRequest(f"found no folder {options.logs}, expected the one with the records; name it with --logs")
    records = records_in([options.logs])
    plant = load_plant(options.plant) if options.plant else newest_plant(records)
    source = Source(options.logs, records, plant.name, options.judge_again)
    if options.all:
        return _everything(options, source, plant)
    try:
        point = point_of(plant, options.point)
    except UnknownName as error:
        raise BadRequest(str(error)) from error
    return _one_point(options, source, plant, point)


class Source:
    """The readings of a folder, record by record, never more than one record's in memory.

    Args:
        folder: of the records.
        records: the records.
        plant: the plant's name: records of others are passed over.
        again: fold every record in place of reading what was noted.
        tell: is told before each record which one of how many it is; may raise to end the reading.
    """

    def __init__(
        self, folder: Path, records: list[Path], plant: str, again: bool = False, tell: Tell | None = None
    ) -> None:
        from bench.record.index import Head, head_of
        from bench.record.read import BrokenRecord

        self.folder = folder
        self.heads: dict[str, Head] = {}
        self.broken: list[str] = []
        self._again, self._tell = again, tell
        for path in records:
            try:
                head = head_of(path)
            except BrokenRecord as error:
                self.broken.append(str(error))
                continue
            if head.plant_name == plant:
                self.heads[str(path.relative_to(folder))] = head
        # what a simulator says proves nothing at the rack: it is left out as soon as there is a real record
        self.simulated = all(head.bench.simulated for head in self.heads.values())
        if not self.simulated:
            self.heads = {name: head for name, head in self.heads.items() if not head.bench.simulated}

    def rows(self, names: Iterable[str] | None = None) -> Iterator[Evidence]:
        """The readings of some names, or all."""
        from bench.job.rows import came_up, every_reading, from_line
        from bench.record.index import has_notes, may_energise, search
        from bench.record.read import BrokenRecord, read_record

        wanted = None if names is None else frozenset(names)
        for number, (name, head) in enumerate(self.heads.items(), 1):
            if self._tell is not None:
                self._tell(number, len(self.heads))
            try:
                if not self._again and has_notes(head.path):
                    for line in search(head.path, wanted):
                        row = from_line(line, name, head.operator)
                        if row is not None:
                            yield row
                    if not may_energise(head.path):
                        continue
                    folded = came_up(name, read_record(head.path))
                else:
                    folded = every_reading(name, read_record(head.path))
                for row in folded:
                    if wanted is None or row.subject in wanted or not wanted.isdisjoint(row.between):
                        yield row
            except (BrokenRecord, RuntimeError, ValueError) as error:
                self.broken.append(str(error))

    def told(self, plant: Plant, window: Window) -> list[Told]:
        """What happened inside a window, from the records that overlap it and from what was declared outside walks."""
        from bench.commands.job_records import chapter_of, declared_in
        from bench.job.study import bench_changes
        from bench.record.index import last_time
        from bench.record.read import BrokenRecord

        found = declared_in(self.folder)
        for name, head in self.heads.items():
            if head.at > window.until_at or last_time(head.path) < window.after_at:
                continue
            try:
                found += chapter_of(self.folder, name, head).told
            except BrokenRecord as error:
                self.broken.append(str(error))
        return [*found, *bench_changes(window), *self._plant_changes(window)]

    def _plant_changes(self, window: Window) -> list[Told]:
        """The plant file was another one at the last reading before."""
        from bench.job.reach import differences
        from bench.job.rows import Told
        from bench.plant.resolve import resolve

        last, first, _ = window.sides
        if last is None:
            return []
        before, after = self.heads[last.record], self.heads[first.record]
        if before.plant_digest == after.plant_digest:
            return []
        changed = differences(resolve(before.plant_file()), resolve(after.plant_file()))
        return [
            Told(record=first.record, n=1, at=after.at, kind="plant", names=(name,), text=words)
            for name, words in changed.items()
        ]


def _one_point(options: argparse.Namespace, source: Source, plant: Plant, point: Point) -> int:
    from bench.report.trace_text import lines

    studies = studies_of(source, plant, point, options.alone)
    head = {"point": point.name, "kind": point.kind, "where": point.where}
    return _show(options, source, studies, head, lines(point, studies))


def studies_of(source: Source, plant: Plant, point: Point, alone: bool = False) -> list[Study]:
    """Every series of a point: what became of it, what happened then and, unless alone, what else changed."""
    from bench.job.points import surroundings
    from bench.job.study import study

    studies = study(row for row in source.rows(point.sought) if point.matches(row))
    return _explained(studies, source, plant, surroundings(plant, point), alone)


MOST_COMPARED = 5
"""Series of a point for which it is asked what else changed at the same time; those that changed most."""


def _explained(studies: list[Study], source: Source, plant: Plant, around: Surroundings, alone: bool) -> list[Study]:
    """The studies with what happened inside their windows and what else changed then, in one pass over the rest."""
    from dataclasses import replace

    from bench.job.common_changes import Across
    from bench.job.suspects import suspects

    compared: dict[int, Across] = {}
    for number, one in enumerate(studies):
        if not alone and one.window is not None and one.window.after_at and len(compared) < MOST_COMPARED:
            compared[number] = Across(one.window.after_at, one.window.until_at)
    if compared:
        for row in source.rows():
            for across in compared.values():
                across.take(row)
    found = []
    for number, one in enumerate(studies):
        window = one.window
        if window is None:
            found.append(one)
            continue
        told = suspects(source.told(plant, window), window.after_at, window.until_at, around, plant)
        common = compared[number].common(plant, one.key) if number in compared else None
        found.append(replace(one, suspects=tuple(told), common=common))
    return found


def _everything(options: argparse.Namespace, source: Source, plant: Plant) -> int:
    from bench.job.study import Everything
    from bench.report.trace_text import table

    everything = Everything(source.rows())
    studies = everything.studies()
    episodes = [] if options.alone else everything.episodes(studies, plant)
    return _show(options, source, studies, {"point": None}, table(studies, episodes))


def _show(
    options: argparse.Namespace, source: Source, studies: list[Study], head: dict[str, Any], lines: Iterable[str]
) -> int:
    from bench.report.trace_text import plain, plot

    if options.svg is not None:
        options.svg.write_text(plot(studies[0]) if studies else "", "utf-8")
    if options.json:
        import json

        shown = {
            **head,
            "simulated": source.simulated,
            "records": len(source.heads),
            "broken": source.broken,
            "series": [plain(one) for one in studies],
        }
        json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        _warn(source)
        for line in lines:
            print(_fit(line))
    return exits.NOT_PASSED if any(one.window is not None for one in studies) else exits.PASS


def _warn(source: Source) -> None:
    for error in source.broken:
        print(f"NOT READ: {error}")


def _fit(line: str) -> str:
    """The line in characters that the terminal has."""
    from bench.quantity import plain

    encoding = (getattr(sys.stdout, "encoding", None) or "utf-8").lower()
    return line if encoding.startswith("utf") else plain(line.replace("●", "o"))
