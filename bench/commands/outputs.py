"""Say which outputs a record ends with on, and write down what somebody saw of them.

A walk that was killed may have left a supply on. Its record says so until somebody says what was seen."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Literal

from bench import exits
from bench.commands.common import operator_name
from bench.errors import BadRequest


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record")
    parser.add_argument(
        "--seen-off", nargs="+", default=[], metavar="NAME", help="instruments whose output was found off, or put off"
    )
    parser.add_argument("--seen-on", nargs="+", default=[], metavar="NAME", help="and those whose output is on")
    parser.add_argument("--note", default="", metavar="TEXT", help="what was seen, and how it was proved dead")
    parser.add_argument("--by", default="", help="who saw it")


def run(options: argparse.Namespace) -> int:
    """Print what the record ends with, after what was seen was written into it."""
    from bench.record.append import RecordWriter, mended
    from bench.record.replay import replay
    from bench.walk.events import OutputsSeen
    from bench.walk.left_on import ends_with

    seen: dict[str, Literal["off", "on"]] = dict.fromkeys(options.seen_on, "on")
    seen.update(dict.fromkeys(options.seen_off, "off"))
    state = replay(options.record)
    if seen:
        bench = state.setting.bench if state.setting is not None else None
        able = [one.name for one in bench.instruments if one.outputs] if bench is not None else []
        for name in seen:
            if name not in able:
                known = ", ".join(able) or "none"
                raise BadRequest(f"found '{name}', expected an instrument of this record with an output: {known}")
        if set(options.seen_on) & set(options.seen_off):
            raise BadRequest("the same output was seen on and off")
        if not options.note.strip():
            raise BadRequest("--note wants words: what was seen, and how it was proved dead")
        writer, _, torn = RecordWriter.reopen(options.record)
        with writer:
            if torn is not None:
                writer.append(writer.envelope(mended(torn)))
            event = OutputsSeen(states=seen, text=options.note.strip(), by=operator_name(options.by))
            writer.append(writer.envelope(event))
        state = replay(options.record)
    told = ends_with(state)
    for text in told or ("It ends with nothing on, as far as it says.",):
        print(text)
    return exits.NOT_PASSED if told else exits.PASS
