"""Explain a measured map: the fewest things that people did which make it, what to do about each, what is left."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench import exits

if TYPE_CHECKING:
    from bench.diagnose.explain import Explanation
    from bench.diagnose.walk_map import WalkMap


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record of a continuity walk")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(options: argparse.Namespace) -> int:
    """Explain every group of cables that the record read."""
    from bench.commands.common import folded
    from bench.diagnose.explain import explain
    from bench.diagnose.reprove import reprove
    from bench.diagnose.walk_map import maps_of
    from bench.errors import BadRequest

    maps = maps_of(folded(options.record))
    if not maps:
        raise BadRequest(f"{options.record} holds no resistance readings between pins of cables")
    found = [(one, explain(one.design, one.measured)) for one in maps]
    if options.json:
        json.dump([_plain(one, explanation) for one, explanation in found], sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        for one, explanation in found:
            _tell(one, explanation)
            proofs = reprove(one.design, explanation.causes) if explanation.causes else ()
            if proofs:
                names = [proof.conductor for proof in proofs]
                print(f"  after the repair prove again: {', '.join(names[:12])}{_more(names)}")
    clean = all(not explanation.findings and not explanation.unexplained for _, explanation in found)
    return exits.PASS if clean else exits.NOT_PASSED


def _more(names: list[str]) -> str:
    return f" and {len(names) - 12} more" if len(names) > 12 else ""


def _tell(one: WalkMap, explanation: Explanation) -> None:
    print(f"{', '.join(one.cables)}: {one.readings} readings")
    if not explanation.findings and not explanation.unexplained:
        print("  as designed, as far as it was looked at")
    for finding in explanation.findings:
        print(f"  {finding.sentence}")
        pins = [str(pin) for pin in finding.pins]
        print(f"      accounts for {', '.join(pins[:12])}{_more(pins)}")
    for difference in explanation.unexplained:
        a, b = difference.pins
        print(f"  unexplained: {a} and {b} were found {'joined' if difference.joined else 'apart'}; measure them again")
    for note in explanation.notes:
        print(f"  note: {note}")


def _plain(one: WalkMap, explanation: Explanation) -> dict[str, Any]:
    return {
        "cables": list(one.cables),
        "readings": one.readings,
        "causes": [
            {
                "kind": type(finding.cause).__name__,
                "sentence": finding.sentence,
                "pins": [str(pin) for pin in finding.pins],
                "bits": finding.bits,
            }
            for finding in explanation.findings
        ],
        "unexplained": [
            {"pins": [str(pin) for pin in difference.pins], "joined": difference.joined}
            for difference in explanation.unexplained
        ],
        "notes": list(explanation.notes),
    }
