"""Run a sequence without a screen: on a simulated bench by itself, on a real one the terminal asks."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("sequence", type=Path, nargs="?", help="the sequence file; not with --resume")
    parser.add_argument("--bench", type=Path, help="the bench file")
    parser.add_argument("--record", type=Path, help="the record to write; by default a new one in logs/")
    parser.add_argument("--resume", type=Path, metavar="RECORD", help="go on with a record where it stood")
    parser.add_argument("--operator", default="", help="who does the work; kept in the record")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end in place of text")
    parser.add_argument("--trace-bytes", type=Path, metavar="FILE", help="write every byte to and from the meters here")
    parser.add_argument(
        "--speed", type=float, default=20.0, help="how much faster than real time a simulated bench runs (default 20)"
    )


def run(options: argparse.Namespace) -> int:
    """Run or resume."""
    if (options.resume is None) == (options.sequence is None):
        raise BadRequest("name a sequence with --bench, or a record with --resume")
    if options.sequence is not None and options.bench is None:
        raise BadRequest("a sequence needs a bench: --bench FILE")
    if not 0.1 <= options.speed <= 1000:
        raise BadRequest("--speed wants 0.1 to 1000")
    from bench.commands.run_here import run_here

    return run_here(options)
