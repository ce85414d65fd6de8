"""Records with searches that were written before: they fold, and a walk that is in the middle of one goes on."""

from __future__ import annotations

import gzip
from pathlib import Path

import msgspec
import pytest

from bench.diagnose.searches import adviser
from bench.record.replay import follow
from bench.sequence.file import Do, Found, Measure
from bench.walk import events as e

RECORDS = sorted((Path(__file__).parent / "old_records").glob("*.jsonl.gz"))


def heart(want: Do | Measure | Found) -> object:
    """What is wanted, without its words: those may be better today."""
    if isinstance(want, Found):
        losses = want.facts.get("losses", [])
        return want.verdict, want.facts.get("names"), sorted(loss["segment"] for loss in losses)
    bare = msgspec.structs.replace(want, title="", text="")
    return bare if isinstance(bare, Do) else (bare.read, bare.wires, bare.between, bare.join, bare.limit.at_least)


FURTHER: dict[str, str | type] = {"conductors-chain": "fail", "conductors-star": "fail", "conductors-sizes": Do}
"""What a search comes to today where it was left undecided then: the one conductor that is left over after all others
are named, and does not get through, is open and fails; by sizes one more act looks for it."""


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.name.partition(".")[0])
def test_each_search_asks_what_it_asked_for_then(path: Path, tmp_path: Path) -> None:
    record = tmp_path / path.stem
    record.write_bytes(gzip.decompress(path.read_bytes()))
    advise = adviser()
    asked = 0
    steps = list(follow(record))
    for before, entry, _ in steps:
        if isinstance(entry.event, e.Advised):
            further = FURTHER.get(path.name.partition(".")[0], "")
            if isinstance(entry.event.want, Found) and further:
                assert entry.event.want.verdict == "undecided"
                today = advise(before).want
                if isinstance(today, Found):
                    assert today.verdict == further
                    assert today.facts["names"] == entry.event.want.facts["names"]
                else:
                    assert isinstance(today, further)  # type: ignore[arg-type]
                asked += 1
                continue
            assert heart(advise(before).want) == heart(entry.event.want), entry.n
            if asked % 25 == 11:
                # as after a crash: somebody who was not there before
                assert heart(adviser()(before).want) == heart(entry.event.want), entry.n
            asked += 1
    assert steps[-1].after.seeking is None
    assert asked > 3
