"""Print the JSON Schema of a kind of file, so that an editor completes and checks it."""

from __future__ import annotations

import argparse
import json
from typing import Any, Final

from bench import exits

KINDS: Final = ("plant", "bench", "sequence", "record", "profile", "rates")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("kind", choices=KINDS, help="the kind of file")


def run(options: argparse.Namespace) -> int:
    """Print the schema."""
    print(json.dumps(schema(options.kind), indent=1, ensure_ascii=False))
    return exits.PASS


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of a kind of file.

    Raises:
        KeyError: not one of :data:`KINDS`.
    """
    from bench.files import json_schema

    return json_schema(_type_of(kind), f"Proveout {kind} file")


def _type_of(kind: str) -> Any:
    if kind == "plant":
        from bench.plant.file import PlantFile

        return PlantFile
    if kind == "bench":
        from bench.instruments.bench_file import BenchFile

        return BenchFile
    if kind == "sequence":
        from bench.sequence.file import SequenceFile

        return SequenceFile
    if kind == "profile":
        from bench.instruments.profile.profile import Profile

        return Profile
    if kind == "record":
        from bench.walk.events import Entry

        return Entry
    if kind == "rates":
        from bench.diagnose.survey.rates import RatesFile

        return RatesFile
    raise KeyError(kind)
