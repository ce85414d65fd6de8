"""Show what a record holds: what the operator was asked, what the meter said, what came of it."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record")
    parser.add_argument("--verdicts", action="store_true", help="print only the verdicts that count at the end")


def run(options: argparse.Namespace) -> int:
    """Fold the record and print as the run did."""
    from bench.commands.common import folded
    from bench.report.console import Console, exit_code
    from bench.walk.results import verdict_lines

    console = Console(quiet=options.verdicts)
    state = folded(options.record, told=console.told)
    if options.verdicts:
        for line in verdict_lines(state):
            print(line)
    else:
        console.summary(state, options.record)
    return exit_code(state) if state.finished else exits.STOPPED
