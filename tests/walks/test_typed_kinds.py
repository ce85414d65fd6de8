"""Walks with nothing but instruments that a person reads, before a real terminal; all kinds: benchmarks/bench_typed.

First power waits in real time until its charges are gone, minutes of it: here it is walked in one process
(``tests/walk/test_first_power_by_hand.py``), before a terminal by the benchmark.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from bench.walk.by_eye import FLAG
from bench.walk.results import outcomes, results
from bench.walk.state import Phase
from tests.walks.typist import walked_by

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(900),
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals"),
]


@pytest.mark.parametrize(
    ("kind", "manner"),
    [
        ("crosses", "line by line"),
        ("continuity", "by keys"),
        ("absorption in seconds", "by keys"),
        ("absorption in seconds", "line by line"),
    ],
)
def test_a_kind_comes_to_its_end(tmp_path: Path, kind: str, manner: str) -> None:
    state, typed = walked_by(kind, manner, tmp_path)
    assert state.phase is Phase.DONE and typed > 3
    readings = [one.reading for one in outcomes(state) if one.reading is not None]
    assert readings and all(FLAG in one.flags for one in readings)
    told = {one.verdict for one in results(state).values()}
    assert told <= {"pass", "done"}, [one.sentence for one in results(state).values() if one.verdict == "fail"]
