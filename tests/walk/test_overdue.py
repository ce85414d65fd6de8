"""An overdue calibration is said before a walk, when it begins, and where its meter reads."""

from __future__ import annotations

import io
from pathlib import Path

import msgspec
import pytest

from bench.cli import main
from bench.report.console import Console
from bench.screens.walk.sayings import overdue
from bench.walk.state import Phase, start, take
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, PaperWalk
from tests.walks.tool import BENCH

DUE = "The calibration of meter was due on 2026-01-01"
"""Walks on paper are of a later day."""


@pytest.mark.parametrize(("on", "late"), [("2026-01-01", True), ("2099-01-01", False), ("", False)])
def test_a_walk_says_it_as_it_begins_and_at_each_reading(small: Made, on: str, late: bool) -> None:
    meter = msgspec.structs.replace(paper.METER, due=on)
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    walker = PaperWalk(msgspec.structs.replace(small.began, bench=bench))
    out = io.StringIO()
    first = walker.entries[0]
    Console(out).told(first, take(start(), first))
    assert (DUE in out.getvalue()) == late
    walker.until(phase=Phase.PLACING)
    assert (DUE in overdue(walker.state)) == late


@pytest.mark.parametrize("late", [True, False])
def test_check_says_it_of_a_bench(tmp_path: Path, capsys: pytest.CaptureFixture[str], late: bool) -> None:
    plain = "calibrated: 2026-03-02\n    due: 2027-03-02"
    text, dates = BENCH.read_text("utf-8"), f"calibrated: 2019-03-02\n    due: {'2020-01-01' if late else '2099-01-01'}"
    assert plain in text
    path = tmp_path / "bench.yaml"
    path.write_text(text.replace(plain, dates), "utf-8")
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr()
    assert ("was due on 2020-01-01" in said.out + said.err) == late
