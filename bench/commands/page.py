"""The screen of one page in a browser: `proveout browser` starts it for every page. Not for people."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench import exits
from bench.commands.common import operator_name


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("--attach", type=Path, default=Path())
    parser.add_argument("--operator", default="")
    parser.add_argument("--ascii", action="store_true")
    parser.add_argument("--watch", action="store_true")


def run(options: argparse.Namespace) -> int:
    """Show the screen until its page is gone. Standard output belongs to what it paints."""
    from bench.commands.start_screen import attached
    from bench.screens.program.settings import Settings
    from bench.screens.walk.app import run as show
    from bench.screens.walk.link import through

    connect = through(attached(options.attach), operator_name(options.operator))
    settings = Settings(unicode=not options.ascii, watch=options.watch, starting="Looking for the walk ...")
    try:
        show(connect, settings)
    except ConnectionError as error:
        print(error, file=sys.stderr)
        return exits.STOPPED
    return exits.PASS
