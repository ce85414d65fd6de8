"""Show what a record holds: what the operator was asked and saw, what the meter said, and the verdicts."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench import exits
from bench.commands import looks


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record")
    parser.add_argument("--verdicts", action="store_true", help="print only the verdicts that count at the end")
    parser.add_argument("--no-screen", action="store_true", help="print, as without a terminal")
    parser.add_argument("--json", action="store_true", help="print one JSON object with what counts at the end")
    looks.arguments(parser)


def run(options: argparse.Namespace) -> int:
    """Show the record on the screen where there is a terminal; else fold it and print as the run did."""
    from bench.record.watch import is_watch

    if is_watch(options.record):
        from bench.commands.watch import tell

        return tell(options.record)
    prints = options.no_screen or options.json or options.verdicts
    if not prints and looks.paints():
        return _shown(options)
    from bench.record.replay import replay
    from bench.report.console import Console, exit_code, summary
    from bench.walk.results import verdict_lines

    console = Console(quiet=options.verdicts or options.json)
    state = replay(options.record, told=console.told)
    if options.json:
        import json

        json.dump(summary(state, options.record), sys.stdout, ensure_ascii=False, indent=1)
        print()
    elif options.verdicts:
        for line in verdict_lines(state):
            print(line)
    else:
        console.summary(state, options.record)
    return exit_code(state) if state.finished else exits.STOPPED


def _shown(options: argparse.Namespace) -> int:
    from bench.report.console import exit_code
    from bench.screens.replay.app import run as show

    seen = show(options.record, looks.settings_of(options))
    return exit_code(seen.last) if seen is not None and seen.last.finished else exits.STOPPED
