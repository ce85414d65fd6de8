"""The runner's own process: `proveout walk` starts it, and screens connect to it. Not for people."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench.commands import common


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("sequence", type=Path, nargs="?")
    parser.add_argument("--bench", type=Path)
    parser.add_argument("--record", type=Path, required=True)
    parser.add_argument("--resume", action="store_true")
    parser.add_argument("--operator", default="")
    parser.add_argument("--trace-bytes", type=Path)
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--demo-faults", action="store_true")
    parser.add_argument("--place-after", type=float)
    parser.add_argument("--by-key", action="store_true")
    parser.add_argument("--give-up-after", type=float, default=1800.0)


def run(options: argparse.Namespace) -> int:
    """Serve one walk to the screens until it is over."""
    from bench.assemble import new_walk, resumed_walk
    from bench.commands.run_here import load, signals_to
    from bench.report.console import exit_code
    from bench.runner.address import Listener
    from bench.runner.core import Came, Heard, Left
    from bench.runner.ports import Manner
    from bench.runner.server import Server

    def manner(simulated: bool) -> Manner:
        return Manner(
            place_after=options.place_after if simulated else None,
            by_contact=not options.by_key,
            give_up_after=options.give_up_after,
            tick=1.0 / max(1.0, options.speed) if simulated else 1.0,
        )

    operator = common.operator_name(options.operator)
    shared = {
        "operator": operator,
        "manner": manner,
        "seated": True,
        "trace": options.trace_bytes,
        "speed": options.speed,
    }
    opened = (
        resumed_walk(options.record, bench=options.bench, **shared)
        if options.resume
        else new_walk(load(options), options.record, **shared)
    )
    with opened as walk, Listener(options.record) as frame:
        inbox = walk.runner.inbox
        server = Server(
            frame,
            came=lambda client: inbox.put(Came(client)),
            heard=lambda client, message: inbox.put(Heard(client, message)),
            left=lambda client: inbox.put(Left(client)),
        )
        try:
            with signals_to(walk.runner):
                state = walk.run()
        except BaseException as error:
            server.close(f"the runner failed: {error}")
            raise
        server.close("the walk is over")
    print(f"the walk is over: {state.phase.value}", file=sys.stderr)
    return exit_code(state)
