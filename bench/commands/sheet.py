"""Write a work sheet: the readings of a sequence as a table to fill in at the rack, on paper or as CSV."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("sequence", type=Path, help="the sequence file")
    parser.add_argument("--bench", type=Path, help="only the readings whose instruments a person reads")
    to = "FILE.csv to fill in, or FILE.html to print; else CSV is printed"
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help=to)


def run(options: argparse.Namespace) -> int:
    """Write it; `proveout walk --plain --readings FILE` takes it back."""
    from bench.assemble import job_folder
    from bench.instruments.bench_file import TYPED, load_bench
    from bench.instruments.profile.library import Library
    from bench.saved import save
    from bench.sequence.load import load_sequence
    from bench.walk.work_sheet import as_csv, code_of, lines

    loaded = load_sequence(options.sequence)
    roles: set[str] | None = None
    if options.bench is not None:
        bench = load_bench(options.bench, Library.for_job(job_folder(options.bench)))
        typed = {one.name for one in bench.file.instruments if one.port == TYPED}
        roles = {role for role, name in bench.role_of.items() if name in typed}
    count = sum(1 for _ in lines(loaded.plan, roles))
    if not count:
        raise BadRequest("nothing in this sequence is read by a person: nothing would stand on the sheet")
    to = options.output
    if to is None:
        print(as_csv(loaded.plan, roles), end="")
        return exits.PASS
    if to.suffix not in (".csv", ".html"):
        raise BadRequest(f"{to}: a name that ends with .csv or .html is wanted")
    if to.suffix == ".csv":
        save(to, as_csv(loaded.plan, roles))
    else:
        from bench.report.work_sheet import page

        save(to, page(loaded.plan, loaded.plant, roles))
    print(f"{to}: {count} readings, code {code_of(loaded.plan)}")
    return exits.PASS
