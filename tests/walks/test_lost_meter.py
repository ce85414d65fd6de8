"""A meter that is lost while the probes are being placed: the screen says so by itself, and what to do."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.runner.address import address_file, read_address
from bench.simulate.messages import Configuration, Move, Twin
from bench.simulate.process import SimulatedBench
from bench.walk import events as e
from tests.walks.glass import Glass
from tests.walks.test_person import BENCH, SEQUENCE
from tests.walks.tool import JOB

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_a_lost_meter_is_shown_at_once_with_what_to_do(tmp_path: Path) -> None:
    record, sequence, bench = tmp_path / "r.jsonl", tmp_path / "two.yaml", tmp_path / "bench.yaml"
    sequence.write_text(SEQUENCE.format(plant=JOB / "plant.yaml"), "utf-8")
    plant = load_plant(JOB / "plant.yaml").file
    twin = Twin(name="meter", kind="scpi-bench-meter")
    with SimulatedBench(Configuration(plant=plant, twins=[twin], seed=2)) as running:
        bench.write_text(BENCH.format(port=running.ports["meter"]), "utf-8")
        glass = Glass("walk", sequence, "--bench", bench, "--record", record, "--operator", "Ada", cwd=tmp_path)
        try:
            glass.shows("HOLD POINT")
            glass.press("\r", lambda: "Enter sends it" in glass.words)
            glass.press("DEAD\r", lambda: "How warm is it" in glass.words and "Enter sends it" not in glass.words)
            glass.press("\r", lambda: "Enter sends it" in glass.words)
            glass.press("18\r", lambda: "Waiting for the probes to touch" in glass.words)
            # the live reading is there, and a touch is seen
            running.move(Move(place=("J101.26", "J205.26")))
            glass.shows("NOW", "Ω")

            running.close()  # its plug is pulled
            glass.shows("TROUBLE", "try again", "give the walk up")
            trouble = next(x.event for x in read_record(record) if isinstance(x.event, e.Troubled))
            assert trouble.kind == "lost" and trouble.advice
            assert " ".join(trouble.advice.split()[:4]) in glass.words.replace("┃", "")
            assert "The step is not done" in glass.words, "no reading is made up"
            assert not any(isinstance(x.event, e.Read) for x in read_record(record))

            # trying again while it is gone says so again, and the way out stands open
            number = sum(isinstance(x.event, e.Troubled) for x in read_record(record))
            glass.press("r", lambda: sum(isinstance(x.event, e.Troubled) for x in read_record(record)) > number)
            glass.shows("TROUBLE")
            glass.press("x", lambda: "Type ABORT" in glass.words)
            glass.press("ABORT no meter\r", lambda: "given up" in glass.words and "Type ABORT" not in glass.words)
            assert isinstance(list(read_record(record))[-1].event, e.MadeSafe)
        finally:
            glass.close()
            with suppress(FileNotFoundError, ProcessLookupError):
                os.kill(read_address(address_file(record)).process, signal.SIGTERM)
