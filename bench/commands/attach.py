"""Keep files with a record: a photo, a sheet, a file's checksum, beside it and under the hash of their bytes."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import operator_name
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.walk.state import State


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record; while it is walked, a note there takes @FILE")
    parser.add_argument("files", type=Path, nargs="+", metavar="FILE", help="what to keep")
    parser.add_argument("--about", default="", metavar="NAME", help="a step's key or subject, or a name of the plant")
    parser.add_argument("--note", default="", metavar="TEXT", help="what they show")
    parser.add_argument("--sum-only", action="store_true", help="keep the checksums and no copies")
    parser.add_argument("--by", default="", help="who keeps them")


def run(options: argparse.Namespace) -> int:
    """Copy, then write it into the record."""
    from bench.record.append import RecordWriter, mended
    from bench.record.kept import keep_file, place_of
    from bench.record.replay import replay
    from bench.walk.events import Attached

    missing = [str(file) for file in options.files if not file.is_file()]
    if missing:
        raise BadRequest(f"there is no file {', '.join(missing)}")
    about = _about(replay(options.record), options.about) if options.about else ""
    kept = [keep_file(options.record, file, copy=not options.sum_only) for file in options.files]
    writer, _, torn = RecordWriter.reopen(options.record)
    with writer:
        if torn is not None:
            writer.append(writer.envelope(mended(torn)))
        event = Attached(files=kept, about=about, text=options.note.strip(), by=operator_name(options.by))
        writer.append(writer.envelope(event))
    for one in kept:
        print(f"{one.name}: {place_of(options.record, one) if one.copied else f'SHA-256 {one.sha256}'}")
    return exits.PASS


def _about(state: State, name: str) -> str:
    """A step's key, where one is meant by its key or its subject; else a name of the plant.

    Raises:
        BadRequest: it is neither.
    """
    from bench.plant.model import UnknownName

    assert state.setting is not None
    steps = state.setting.plan.steps
    found = next((step.key for step in steps if name == step.key), "")
    found = found or next((step.key for step in steps if name == step.subject), "")
    if found:
        return found
    try:
        state.setting.plant.find(name)
    except UnknownName as error:
        raise BadRequest(f"--about: {error}; nor is it a step of this record") from error
    return name
