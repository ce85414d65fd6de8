"""Verify records: say which line was changed, lost, added or moved, what is torn, and what would be judged otherwise.

The last hash stands for the whole record. Write it down elsewhere: nothing else shows that a record was rewritten from
end to end."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits

if TYPE_CHECKING:
    from bench.record.read import BrokenRecord
    from bench.record.verify import Verified


MOST = 20
"""Findings that are printed for one file."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="records, or folders of records")
    parser.add_argument("--chain-only", action="store_true", help="check the chain alone, which is quicker")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")


def run(options: argparse.Namespace) -> int:
    """Verify every file and say what is wrong with it."""
    from bench.record.index import files_in
    from bench.record.read import BrokenRecord
    from bench.record.verify import verify

    done: list[Verified] = []
    unreadable: list[BrokenRecord] = []
    for path in files_in(options.paths):
        try:
            one = verify(path, judge=not options.chain_only)
        except BrokenRecord as error:
            unreadable.append(error)
            if not options.json:
                print(error)
            continue
        done.append(one)
        if not options.json:
            _print(one)
    if options.json:
        _print_json(done, unreadable)
    elif not done and not unreadable:
        print("found no record")
    if unreadable or not done:
        return exits.BAD_INPUT
    return exits.NOT_PASSED if any(one.wrong for one in done) else exits.PASS


def _print(one: Verified) -> None:
    state = f", {one.ending}" if one.ending else ""
    verdict = "WRONG" if one.wrong else "sound"
    print(f"{verdict}  {one.path}: {one.lines} lines{state}, last hash {one.last}")
    for finding in one.findings[:MOST]:
        place = f"{one.path}:{finding.line}" if finding.line else str(one.path)
        span = f" (bytes {finding.start} to {finding.end - 1})" if finding.weight == "wrong" else ""
        print(f"  {finding.weight}: {place}{span}: {finding.words}")
    if len(one.findings) > MOST:
        print(f"  and {len(one.findings) - MOST} more; --json lists them")


def _print_json(done: list[Verified], unreadable: list[BrokenRecord]) -> None:
    import json

    shown = {
        "records": [
            {
                "path": str(one.path),
                "kind": one.kind,
                "sound": not one.wrong,
                "lines": one.lines,
                "last_hash": one.last,
                "ending": one.ending,
                "findings": [
                    {
                        "line": finding.line,
                        "start": finding.start,
                        "end": finding.end,
                        "weight": finding.weight,
                        "words": finding.words,
                    }
                    for finding in one.findings
                ],
            }
            for one in done
        ],
        "unreadable": [{"path": str(error.path), "line": error.line, "why": error.why} for error in unreadable],
    }
    json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
    print()
