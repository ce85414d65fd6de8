"""Make one HTML report of one or more records: it opens from disk, needs no network, and prints on A4 and Letter."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits
from bench.errors import BadRequest
from bench.say.lists import count


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


def run(options: argparse.Namespace) -> int:
    """Gather, render, write."""
    from bench.record.index import records_in

    records = records_in(options.records)
    output = write_report(records, options.output)
    print(f"{output}: report of {count(len(records), 'record')}")
    return exits.PASS


def write_report(paths: list[Path], output: Path | None = None) -> Path:
    """Write the report of some records.

    Args:
        paths: the records, in any order.
        output: the file; by default beside the record, or report.html for several.

    Returns:
        The file that was written.

    Raises:
        BadRequest: there is no record.
        CannotWrite: the disk is full, or the folder is not there.
        BrokenRecord: a record cannot be used.
    """
    from bench.job.rows import every_reading
    from bench.record.append import utc_now
    from bench.record.index import head_of
    from bench.record.read import read_record
    from bench.record.replay import follow
    from bench.record.verify import verify
    from bench.report.page import page
    from bench.report.sheet import sheet
    from bench.saved import save

    records = sorted(paths, key=lambda path: (head_of(path).at, path.name))
    if not records:
        raise BadRequest("found no record")
    output = output or (records[0].with_suffix(".html") if len(records) == 1 else Path("report.html"))
    sheets, readings = [], []
    for path in records:
        sheets.append(sheet(path, read_record(path), verify(path)))
        if len(records) > 1:
            readings += every_reading(path.name, follow(path))
    text = page(sheets, readings, utc_now())
    save(output, text)
    return output
