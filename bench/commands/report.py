"""Make one HTML report of one or more records: it opens from disk, needs no network, and prints on A4 and Letter."""

from __future__ import annotations

import argparse
import os
import sys
import webbrowser
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from bench import exits
from bench.commands.common import busy, say_progress
from bench.errors import BadRequest
from bench.say.lists import count

if TYPE_CHECKING:
    from bench.record.read import BrokenRecord


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("records", nargs="+", type=Path, metavar="RECORD", help="records, or folders of records")
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="the file to write; by default beside the record, or report.html for several",
    )
    parser.add_argument("--open", action="store_true", help="open it in the browser of this computer")
    parser.add_argument(
        "--appendix",
        action="store_true",
        help="with the places, limit and time of every reading, the faces of all connectors and plots",
    )


def run(options: argparse.Namespace) -> int:
    """Gather, render, write."""
    from bench.record.index import records_in
    from bench.record.watch import is_watch

    if len(options.records) == 1 and is_watch(options.records[0]):
        return _watch_report(options.records[0], options.output)
    records = records_in(options.records)
    with busy("reading records"):
        tell = partial(say_progress, then="writing the report ...")
        written = write_report(records, options.output, full=options.appendix, tell=tell)
    for error in written.wrong:
        print(f"NOT IN IT: {error}", file=sys.stderr)
    for copy, record in written.copies.items():
        print(f"left out: {copy} is a copy of {record}", file=sys.stderr)
    print(f"{written.path}: report of {count(written.records, 'record')}")
    if options.open and not in_browser(written.path):
        print("there is no browser here that could show it", file=sys.stderr)
    return exits.STOPPED if written.wrong else exits.PASS


def _watch_report(record: Path, output: Path | None) -> int:
    """The page of a watch."""
    from bench.record.long_store import bands
    from bench.record.watch import read_watch, spoken
    from bench.report.watch_page import Band, watch_page
    from bench.saved import save

    watch = read_watch(record)
    output = output or report_beside(record)
    minutes = [Band(*row) for row in bands(record, watch.sealed)]
    save(output, watch_page(record.stem, watch, minutes, spoken(record)))
    print(f"{output}: report of a watch")
    return exits.PASS


def report_beside(record: Path) -> Path:
    """Where the report of one record is written."""
    return record.with_suffix(".html")


def in_browser(page: Path) -> bool:
    """Open a page in the browser of this computer; False where it has no screen, or nobody sits before it."""
    screen = sys.platform in ("darwin", "win32") or "DISPLAY" in os.environ or "WAYLAND_DISPLAY" in os.environ
    if not screen or "SSH_CONNECTION" in os.environ:
        return False
    return webbrowser.open(page.resolve().as_uri())


def _untold(number: int, of: int) -> None:
    """Nobody is told how far it is."""


class Written(NamedTuple):
    """A report that was written.

    Attributes:
        path: where it is.
        records: how many are in it.
        wrong: what is wrong with those that are not.
        copies: what was left out as a copy, with the record that is in it.
    """

    path: Path
    records: int
    wrong: tuple[BrokenRecord, ...] = ()
    copies: Mapping[Path, Path] = MappingProxyType({})


def write_report(
    paths: list[Path],
    output: Path | None = None,
    *,
    full: bool = False,
    tell: Callable[[int, int], None] = _untold,
) -> Written:
    """Write the report of some records; what is wrong with one does not keep the others from it.

    Args:
        paths: the records, in any order.
        output: the file; by default beside the record, or report.html for several.
        full: with the appendix.
        tell: is told which record of how many is read.

    Returns:
        What was written.

    Raises:
        BadRequest: there is no record.
        CannotWrite: the disk is full, or the folder is not there.
        BrokenRecord: none of them can be used.
    """
    from bench.job.rows import every_reading
    from bench.record.append import utc_now
    from bench.record.index import each_once
    from bench.record.read import BrokenRecord
    from bench.record.replay import Taken, follow
    from bench.record.verify import verify
    from bench.report.page import page
    from bench.report.sheet import sheet
    from bench.saved import save

    if not paths:
        raise BadRequest("found no record")
    once = each_once(paths)
    wrong = dict(once.wrong)
    sheets, readings = [], []
    for number, path in enumerate(once.records, 1):
        tell(number, len(once.records))
        try:
            # folded once for all: of a record that is not sound, the second fold says where
            kept: list[Taken] = []
            verified = verify(path, kept=kept)
            taken = kept if len(kept) == verified.lines else list(follow(path))
            made = sheet(path, taken, verified)
            if len(once.records) > 1:
                readings += every_reading(path.name, taken)
        except BrokenRecord as error:
            wrong[path] = error
            continue
        sheets.append(made)
    if not sheets:
        raise next(iter(wrong.values()))
    sheets.sort(key=lambda one: (one.began, one.path.name))
    output = output or (report_beside(sheets[0].path) if len(paths) == 1 else Path("report.html"))
    left = [*map(str, wrong.values()), *(f"{copy} is a copy of {path}" for copy, path in once.copies.items())]
    save(output, page(sheets, readings, utc_now(), left, full=full))
    return Written(output, len(sheets), tuple(wrong.values()), once.copies)
