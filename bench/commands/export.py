"""Export readings as a table, one row for each: CSV, or Parquet where pyarrow is installed.

The columns are listed by --columns. The file's ending says what it becomes: .csv or .parquet."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench import exits
from bench.commands.common import say_progress
from bench.errors import BadRequest
from bench.say.lists import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("records", nargs="*", type=Path, metavar="RECORD", help="records, or folders of records")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="the file to write: .csv or .parquet")
    parser.add_argument("--columns", action="store_true", help="list the columns and what they hold")


def run(options: argparse.Namespace) -> int:
    """Write the table, or list its columns."""
    from bench.record.export import COLUMNS, NoParquet, rows, write_csv, write_parquet
    from bench.record.index import each_once, records_in
    from bench.record.read import BrokenRecord
    from bench.saved import whole

    if options.columns:
        for name, (kind, what) in COLUMNS.items():
            print(f"{name:22} {kind:10} {what}")
        return exits.PASS
    if not options.records or options.output is None:
        raise BadRequest("name records and a file: proveout export RECORD... -o FILE.csv")
    writers = {".csv": write_csv, ".parquet": write_parquet}
    writer = writers.get(options.output.suffix.lower())
    if writer is None:
        raise BadRequest(f"found the file {options.output}, expected one that ends in .csv or .parquet")
    records = records_in(options.records)
    if not records:
        raise BadRequest("found no record")

    once = each_once(records)
    wrong = dict(once.wrong)

    def everything() -> Iterator[dict[str, Any]]:
        for number, record in enumerate(once.records, 1):
            say_progress(number, len(once.records))
            try:
                # whole, before the first row goes out: of a record that is wrong later on there is none
                found = list(rows(record))
            except BrokenRecord as error:
                wrong[record] = error
                continue
            yield from found

    try:
        with whole(options.output) as place:
            written = writer(everything(), place)
            if len(wrong) + len(once.copies) == len(records):
                raise next(iter(wrong.values()))
    except NoParquet as error:
        raise BadRequest(str(error)) from error
    for why in wrong.values():
        print(f"NOT IN IT: {why}", file=sys.stderr)
    for copy, record in once.copies.items():
        print(f"left out: {copy} is a copy of {record}", file=sys.stderr)
    used = len(records) - len(wrong) - len(once.copies)
    print(f"{count(written, 'reading')} of {count(used, 'record')} in {options.output}")
    return exits.STOPPED if wrong else exits.PASS
