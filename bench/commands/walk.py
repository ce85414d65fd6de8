"""Walk a sequence on the screen. The screen may be closed and opened again: the walk waits, nothing is lost."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench.commands import looks


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("sequence", type=Path, nargs="?", help="the sequence file; not with --attach or --resume")
    parser.add_argument("--bench", type=Path, help="the bench file")
    parser.add_argument("--record", type=Path, help="the record to write; by default a new one in logs/")
    parser.add_argument("--resume", type=Path, metavar="RECORD", help="go on with a record where it stood")
    parser.add_argument(
        "--attach",
        nargs="?",
        type=Path,
        const=Path(),
        metavar="RECORD",
        help="take a seat at a walk that is under way: of this record, or the newest in logs/",
    )
    parser.add_argument("--operator", default="", help="your name; kept in the record")
    parser.add_argument("--plain", action="store_true", help="line by line, for screen readers and simple terminals")
    parser.add_argument(
        "--readings", type=Path, metavar="FILE", help="with --plain: a work sheet (CSV) that was filled in at the rack"
    )
    looks.arguments(parser)
    parser.add_argument("--quiet", action="store_true", help="no tones")
    parser.add_argument("--say", default="", metavar="PROGRAM", help="a program that speaks the text it is given")
    parser.add_argument("--by-key", action="store_true", help="take readings by key only, never by a settled contact")
    parser.add_argument("--trace-bytes", type=Path, metavar="FILE", help="write every byte to and from the meters here")
    parser.add_argument(
        "--place-after",
        type=float,
        default=0.8,
        metavar="SECONDS",
        help="on a simulated bench: how long the simulator's hands take to place the probes (default 0.8)",
    )
    parser.add_argument("--give-up-after", type=float, default=1800.0, help=argparse.SUPPRESS)
    parser.add_argument("--speed", type=float, default=1.0, help=argparse.SUPPRESS)
    parser.set_defaults(seed=None, demo_faults=False)


def run(options: argparse.Namespace) -> int:
    """Walk, resume or attach."""
    from bench.commands.start_screen import show

    return show(options)
