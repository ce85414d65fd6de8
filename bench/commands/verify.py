"""Verify records: say which line was changed, lost, added or moved, what is torn, and what would be judged otherwise.

By itself a record shows what was changed without all hashes after it being made anew, and bytes of a meter that
contradict the value beside them. That it was rewritten from some line on, or its end cut off, shows only where a later
record saw that line, or against heads that are kept elsewhere: 'proveout heads' writes them down, --heads compares."""

from __future__ import annotations

import argparse
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import busy, say_progress
from bench.errors import BadRequest
from bench.say.lists import count

if TYPE_CHECKING:
    from bench.record.read import BrokenRecord
    from bench.record.verify import Verified


MOST = 20
"""Findings that are printed for one file."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="records, or folders of records")
    parser.add_argument("--chain-only", action="store_true", help="check the chain alone, which is quicker")
    parser.add_argument("--heads", type=Path, metavar="FILE", help="a list of heads that was kept elsewhere")
    parser.add_argument("--letters", metavar="TEXT", help="the sixteen letters of that list, as they were written down")
    parser.add_argument("--signed-by", type=Path, metavar="FILE", help="the public key that must have signed that list")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")


def run(options: argparse.Namespace) -> int:
    """Verify every file and say what is wrong with it."""
    from bench.record.index import files_in
    from bench.record.read import BrokenRecord
    from bench.record.verify import verify

    done: list[Verified] = []
    unreadable: list[BrokenRecord] = []
    paths = files_in(options.paths)
    for number, path in enumerate(paths, 1):
        if options.json:
            say_progress(number, len(paths))  # else each record is told of as it was read
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
    with busy("holding the records of a folder against one another"):
        wrong, notes = _together([path for path in options.paths if path.is_dir()])
    if options.heads is not None:
        against, told = _against(options)
        wrong, notes = wrong + against, notes + told
    elif options.letters or options.signed_by:
        raise BadRequest("--letters and --signed-by are about a list: --heads FILE")
    if options.json:
        _print_json(done, unreadable, wrong, notes)
    else:
        for text in wrong:
            print(f"WRONG  {text}")
        for text in notes:
            print(f"note   {text}")
        if not done and not unreadable:
            print("found no record")
    if unreadable or not done:
        return exits.BAD_INPUT
    return exits.NOT_PASSED if wrong or any(one.wrong for one in done) else exits.PASS


def _against(options: argparse.Namespace) -> tuple[list[str], list[str]]:
    """What a list of heads that was kept elsewhere shows."""
    from bench.record.heads import NoHeads, NoSigning, against, public_key, read_heads
    from bench.record.index import files_in

    try:
        heads = read_heads(options.heads.read_text("utf-8"))
    except (NoHeads, UnicodeDecodeError) as error:
        return [f"{options.heads} {error}"], []
    except OSError as error:
        raise BadRequest(f"{options.heads} cannot be read: {error.strerror}") from error
    except NoSigning as error:
        raise BadRequest(str(error)) from error
    wrong = []
    if options.letters and options.letters.replace(" ", "").upper() != heads.letters.replace(" ", ""):
        wrong.append(f"{options.heads} is not the list that was written down: its letters are {heads.letters}")
    if options.signed_by is not None:
        try:
            if public_key(options.signed_by) != heads.signer:
                wrong.append(f"{options.heads} is {'signed by another key' if heads.signer else 'not signed'}")
        except (NoHeads, NoSigning) as error:
            raise BadRequest(str(error)) from error
    wrong += against(heads, files_in(options.paths))
    return wrong, [f"held against {count(len(heads.kept), 'head')} of {heads.made}, letters {heads.letters}"]


def _together(folders: list[Path]) -> tuple[list[str], list[str]]:
    """What the records of a folder show of one another: an end that is missing, copies that go on differently; and
    clocks that contradict their order."""
    from bench.job.folder import skimmed
    from bench.record.index import head_of, records_in
    from bench.record.read import BrokenRecord

    wrong: list[str] = []
    notes: list[str] = []
    for folder in folders:
        heads = {}
        for path in records_in([folder]):
            with suppress(BrokenRecord):  # that one was told already
                heads[str(path.relative_to(folder))] = head_of(path)
        try:
            found = skimmed(folder, heads)
        except BrokenRecord:
            continue
        wrong += [str(error) for error in found.broken if not error.line]
        notes += [f"{name} is {why}" for name, why in found.left_out.items() if why.startswith("a copy")]
        notes += [*found.whole_order.clocks, *found.whole_order.missing]
    return wrong, notes


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


def _print_json(done: list[Verified], unreadable: list[BrokenRecord], wrong: list[str], notes: list[str]) -> None:
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
        "together": {"wrong": wrong, "notes": notes},
    }
    json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
    print()
