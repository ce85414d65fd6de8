"""Compare two records, or the state of evidence on two dates: what changed its verdict, or its value beyond doubt.

A and B are records, or dates such as 2026-04-30 together with --logs."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import LOGS, moment_of, say_progress

if TYPE_CHECKING:
    from bench.job.compare import Difference
    from bench.job.rows import Evidence


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("before", metavar="A", help="a record, or a date")
    parser.add_argument("after", metavar="B", help="a record, or a date")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="for dates: the folder of records")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")


def run(options: argparse.Namespace) -> int:
    """Hold the two sides against each other."""
    from bench.report.compare_text import lines, plain

    found = compared(options.logs, options.before, options.after, say_progress)
    if options.json:
        shown = {"before": options.before, "after": options.after, "differences": plain(found)}
        json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        for line in lines(found, options.before, options.after):
            print(line)
    return exits.NOT_PASSED if any(one.what in ("verdict", "value") for one in found) else exits.PASS


def compared(logs: Path, before: str, after: str, tell: Callable[[int, int], None]) -> list[Difference]:
    """What changed between two sides.

    Args:
        logs: the folder of records, for dates.
        before: a record, or a date.
        after: the same.
        tell: is told which record of how many is read.

    Raises:
        BadRequest: one is neither a record nor a date.
    """
    from bench.job.compare import compare

    if Path(before).is_file() and Path(after).is_file():
        return compare(_of_record(Path(before)), _of_record(Path(after)))
    return _on_dates(logs, before, after, tell)


def _of_record(path: Path) -> tuple[Evidence, ...]:
    """What counts of one record."""
    from bench.job.rows import distil
    from bench.record.replay import follow

    return distil(path.name, follow(path)).evidence


def _on_dates(logs: Path, before: str, after: str, tell: Callable[[int, int], None]) -> list[Difference]:
    """What counted at the end of two days, by all records of a folder in their order, held against each other."""
    from bench.job.compare import compare
    from bench.job.folder import newest_plant, open_folder
    from bench.job.reach import Reaching
    from bench.job.readiness import void
    from bench.record.index import records_in

    moments = (_end_of(before), _end_of(after))
    plant = newest_plant(records_in([logs]))
    folder = open_folder(logs, plant.name, tell)
    for error in folder.broken:
        print(f"NOT COUNTED: {error}", file=sys.stderr)
    reaching = Reaching(plant)
    sides = []
    for moment in moments:
        rows = [row for row in folder.rows if row.at <= moment]
        told = [one for one in folder.told if one.happened <= moment]
        sides.append(void(rows, told, reaching, {}, folder.order))
    return compare(sides[0], sides[1], folder.order)


def _end_of(text: str) -> str:
    """The end of a day, or a moment, as records write times.

    Raises:
        BadRequest: it is no date.
    """
    from bench.record.append import stamp

    return stamp(moment_of(text, "a record, or a date such as 2026-04-30"))
