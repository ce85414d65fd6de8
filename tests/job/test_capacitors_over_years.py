"""What capacitors leak and what stands in series with them, typed once a year, is followed from record to record."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.record.append import RecordWriter
from bench.sequence.load import load_sequence
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk.facts import BenchFacts
from bench.walk.results import results
from bench.walk.state import Refused
from tests.one_process import command
from tests.power import small_hall

SEQUENCE = """
sequence: capacitors
plant: plant.yaml
steps:
  - {step: ask, title: The capacitors of 2A, text: What do they leak?, name: capacitors, of: 2A, most: 1.06}
"""


class Reader(Walker):
    """Types what was read of the capacitors."""

    def __init__(self, answer: str, year: int) -> None:
        self.answer, self.year = answer, year

    def at(self) -> str:
        return f"{self.year}-06-01T18:00:{self.state.taken:02d}.000000Z"

    def said(self, step: object) -> str:
        return self.answer


def walked(folder: Path, answer: str, year: int = 2026) -> Reader:
    small_hall.written(folder)
    path = folder / "capacitors.yaml"
    path.write_text(SEQUENCE, "utf-8")
    loaded = load_sequence(path)
    reader = Reader(answer, year)
    bench = BenchFacts(name="none")
    reader.begin(
        e.Began(software="0.0 test", edition=e.EDITION, plant=loaded.plant.file, sequence=loaded.sequence, bench=bench)
    )
    reader.run()
    return reader


def record(folder: Path, answer: str, year: int) -> None:
    (folder / "logs").mkdir(exist_ok=True)
    with RecordWriter.create(folder / "logs" / f"capacitors-{year}.jsonl") as writer:
        for entry in walked(folder, answer, year).entries:
            writer.append(entry)


def traced(folder: Path) -> str:
    done = command(["trace", "2A", "--logs", "logs", "--plant", "plant.yaml", "--alone"], folder)
    assert done.stdout, done.stderr
    return done.stdout


def test_what_grows_from_year_to_year_is_traced(tmp_path: Path) -> None:
    for n, year in enumerate(range(2016, 2026)):
        record(tmp_path, f"{0.31 + 0.01 * (n % 2):.2f} {0.080 + 0.02 * n:.3f}", year)
    told = traced(tmp_path)
    assert "series resistance of 2A" in told and "leakage of 2A" in told
    grows, still = told[told.index("series resistance of 2A") :].split("leakage of 2A")
    assert "a drift, rising by" in grows and "steady at 315 µA" in still
    assert "1.06" not in grows and still.count("|") == 10, "the limit is that of the leakage"


def test_too_much_is_a_fail_that_keeps_the_shelf_off(tmp_path: Path) -> None:
    found = next(iter(results(walked(tmp_path, "1.8 0.2").state).values()))
    assert found.verdict == "fail" and "1.06 mA is the most" in found.sentence and found.subject == "2A"
    assert next(iter(results(walked(tmp_path, "0.4 0.2").state).values())).verdict == "pass"
    found = next(iter(results(walked(tmp_path, "no").state).values()))
    assert found.verdict == "done" and "Not read" in found.sentence


@pytest.mark.parametrize("answer", ["", "much", "0.4 0.2 3", "-1", "nan 1"])
def test_what_is_no_reading_is_refused(tmp_path: Path, answer: str) -> None:
    with pytest.raises(Refused, match="leakage in mA"):
        walked(tmp_path, answer)
