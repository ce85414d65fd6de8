"""Kills the real program at random times, over real ports, and resumes it until its walk is done."""

from __future__ import annotations

import io
import json
import random
import time
from pathlib import Path
from subprocess import TimeoutExpired

from bench.record.append import RecordWriter
from bench.record.read import read_record
from bench.report.console import Console
from bench.walk import events as e
from bench.walk.state import start, take
from tests.walks.tool import BENCH, JOB, by_a_process, proveout, run_json, started, verdicts

KINDS = ("continuity", "insulation", "polarity", "idle-current", "first-power")
_SPEED = 60
_POWER_BENCH = """
bench: power bench
instruments:
  - {name: meter, profile: scpi-bench-meter, port: simulated, settings: {nplc: '0.2', compensation: 'OFF'}}
  - {name: supply, profile: scpi-supply, port: simulated}
roles: {ohms: meter, volts: meter, amps: meter, supply: supply}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}
simulate: {seed: 7, faults: [{fault: shelf-heavy, shelf: 2C, by: 0.3 A}]}
"""


class Killing:
    """Walks of one kind that are killed again and again.

    Attributes:
        kills: processes that were killed before they were done.
        walks: walks that were brought to their end.
        told: readings that were printed by a process that was killed.
    """

    def __init__(self, kind: str, folder: Path, draw: random.Random) -> None:
        self.kills = self.walks = self.told = 0
        self._folder, self._draw = folder, draw
        self._words = self._sequence(kind)
        began = time.monotonic()
        words = (*self._words, "--record", folder / "whole.jsonl", "--speed", _SPEED, "--json")
        self._whole = json.loads(by_a_process(*words, cwd=folder).stdout)
        self._takes = time.monotonic() - began

    def _sequence(self, kind: str) -> tuple[object, ...]:
        shipped = sorted(JOB.glob(f"{kind}-*.yaml"))
        if shipped:
            return ("run", shipped[0], "--bench", BENCH)
        from tests.power import small_hall

        small_hall.written(self._folder)
        (self._folder / "bench.yaml").write_text(_POWER_BENCH, "utf-8")
        drafted = proveout("draft", "plant.yaml", kind, "--shelf", "2C", "-o", f"{kind}.yaml", cwd=self._folder)
        assert drafted.returncode == 0, drafted.stderr
        return ("run", f"{kind}.yaml", "--bench", "bench.yaml")

    def walk(self, deaths: int = 6) -> None:
        """One walk that is killed so many times, each at a random time, and then brought to its end."""
        record = self._folder / f"{self.walks}.jsonl"
        on_disk = b""
        for life in range(deaths + 1):
            begun = _begun(record)
            words = ("run", "--resume", record) if begun else (*self._words, "--record", record)
            if not begun:
                record.unlink(missing_ok=True)
            trace = self._folder / "bytes.txt"
            trace.unlink(missing_ok=True)
            if begun and _over(record):
                # it died after its last word was on disk: nothing is left to go on with
                _, summary = run_json("replay", record, cwd=self._folder)
                assert verdicts(summary) == verdicts(self._whole)
                break
            if life == deaths:
                _, summary = run_json(*words, "--speed", _SPEED, "--trace-bytes", trace, cwd=self._folder)
                assert verdicts(summary) == verdicts(self._whole)
                _outputs_off_first(trace)
                break
            process = started(*words, "--speed", _SPEED, "--trace-bytes", trace, cwd=self._folder)
            left = self._takes * 1.2 if not begun else self._takes * 0.6
            try:
                printed, _ = process.communicate(timeout=self._draw.uniform(0.05, left))
            except TimeoutExpired:
                process.kill()
                printed, _ = process.communicate(timeout=20.0)
                self.kills += 1
            _outputs_off_first(trace)
            if _begun(record):
                self._nothing_is_lost(record, printed, on_disk)
                on_disk = record.read_bytes()
                on_disk = on_disk[: on_disk.rfind(b"\n") + 1]
            else:
                assert not on_disk and not printed
            if process.returncode != -9:
                break  # it was done before its time came
        self.walks += 1

    def _nothing_is_lost(self, record: Path, printed: str, before: bytes) -> None:
        """What was on disk is on disk, and what was printed is what the record says."""
        assert record.read_bytes().startswith(before)
        again, state = io.StringIO(), start()
        console = Console(again)
        readings = 0
        for entry in read_record(record):
            state = take(state, entry)
            console.told(entry, state)
            readings += isinstance(entry.event, e.Read | e.Energised)
        whole = printed[: printed.rfind("\n") + 1]
        told = again.getvalue()
        if not state.finished:
            assert told.startswith(whole), (whole[-300:], told[-300:])
        self.told += sum(line.startswith(("pass ", "fail ", "undecided ")) for line in whole.splitlines())


def _begun(record: Path) -> bool:
    """Whether a record holds a walk that can be continued."""
    if not record.exists():
        return False
    writer, entries, _ = RecordWriter.reopen(record)
    writer.close()
    return bool(entries)


def _over(record: Path) -> bool:
    """Whether a record holds a walk that came to its end."""
    state = start()
    for entry in read_record(record):
        state = take(state, entry)
    return state.finished


def _outputs_off_first(trace: Path) -> None:
    """Where an instrument with an output was spoken to, it was told to go off before any other was asked anything."""
    if not trace.exists():
        return
    sent = [line.split(" ", 1)[1] for line in trace.read_text("utf-8").splitlines() if " sent " in line]
    with_output = {line.partition(" sent ")[0] for line in sent if "OUTP" in line}
    off: set[str] = set()
    for line in sent:
        name, _, text = line.partition(" sent ")
        if "OUTP OFF" in text:
            off.add(name)
        elif name not in with_output or "ON" in text:
            assert off == with_output, line
