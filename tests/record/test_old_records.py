"""Records that earlier versions wrote, kept as they were: they are still read, judged, exported and reported.

``first-power-2C`` brought a shelf up that draws too much; ``refused-2C`` has a failed reading right before a step that
is passed over because of it.
"""

import io
from pathlib import Path

import pytest

from bench.commands.report import write_report
from bench.record.export import rows
from bench.record.replay import brought, follow, replay
from bench.record.verify import verify
from bench.report.console import Console
from bench.report.sheet import sheet
from bench.screens.walk.findings import summary
from bench.walk import events as e
from bench.walk.results import tally
from bench.walk.state import Phase

DATA = Path(__file__).parent / "data"
COUNTS = {
    "first-power-2C": {"pass": 5, "fail": 1, "skipped": 7},
    "refused-2C": {"fail": 1, "skipped": 1},
}


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_an_old_record_is_sound_and_says_what_it_said(name: str, tmp_path: Path) -> None:
    path = DATA / f"{name}.jsonl"
    state = replay(path)
    assert state.phase is Phase.DONE
    assert dict(tally(state).counts) == COUNTS[name]
    found = verify(path)
    assert not found.wrong, [one.words for one in found.findings]
    assert write_report([path], tmp_path / "report.html").path.is_file()


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_every_reading_of_an_old_record_keeps_its_own_verdict(name: str) -> None:
    """What was passed over because of a reading is not taken for what the reading came to."""
    path = DATA / f"{name}.jsonl"
    noted = {
        step.entry.n: step.entry.event.judged["verdict"]
        for step in follow(path)
        if isinstance(step.entry.event, e.Read) and step.entry.event.judged
    }
    assert noted
    assert {row["event"]: row["verdict"] for row in rows(path) if row["event"] in noted} == noted


def test_what_is_passed_over_is_not_what_an_entry_brought() -> None:
    steps = list(follow(DATA / "refused-2C.jsonl"))
    reading = next(step for step in steps if isinstance(step.entry.event, e.Read))
    outcome = brought(reading)
    assert outcome is not None and outcome.verdict == "fail" and outcome.n == reading.entry.n
    assert brought(steps[0]) is None


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_one_count_wherever_it_is_shown(name: str) -> None:
    """Console, report and screen count the same, and never more than there was to count."""
    path = DATA / f"{name}.jsonl"
    state = replay(path)
    counted = tally(state)
    assert sum(counted.counts.values()) <= counted.asked
    told = io.StringIO()
    Console(told).summary(state, path)
    assert f"of {counted.asked} readings asked for" in told.getvalue()
    made = sheet(path, follow(path), verify(path))
    assert (made.counts, made.asked_for) == (counted.counts, counted.asked)
    assert {verdict: number for verdict, number in summary(state).counts.items() if number} == counted.counts
