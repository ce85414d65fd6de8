"""When the runner is killed, hangs or leaves the machine's memory, its guard makes outputs safe and says so."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.record.append import RecordWriter
from bench.record.read import read_record
from bench.runner import guard as guarding
from bench.runner.guard import Begin, watch
from bench.simulate.twins.supply import SupplyTwin
from bench.walk import events as e
from bench.walk.left_on import ends_with, outputs_on
from bench.walk.state import Phase, take
from tests.drivers.twins import Hall
from tests.instruments.server import served
from tests.walk.paper_walk import Made, PaperWalk, refold

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")


def wait_until(holds: Callable[[], object], what: str) -> None:
    until = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < until, f"never came: {what}"
        time.sleep(0.005)


def switched_on(made: Made, path: Path) -> PaperWalk:
    """A record that ends right after its supply was switched on."""
    walker = PaperWalk(made.began)
    walker.until(phase=Phase.SWITCHING)
    walker.one()
    assert walker.state.outputs.on
    with RecordWriter.create(path) as writer:
        for entry in walker.entries:
            writer.append(entry)
    return walker


@dataclass
class Guarded:
    supply: SupplyTwin
    runner: subprocess.Popen[str]
    guard: int
    record: Path


@contextmanager
def at_work(tmp_path: Path, made: Made) -> Iterator[Guarded]:
    record = tmp_path / "walk.jsonl"
    switched_on(made, record)
    supply = SupplyTwin(Hall())
    with served(supply) as port:
        command = [sys.executable, "-m", "tests.runner.guarded_runner", port.address, str(record)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as runner:
            assert runner.stdout is not None
            said = runner.stdout.readline().split()
            assert said[:1] == ["on"] and supply.on
            try:
                yield Guarded(supply, runner, int(said[1]), record)
            finally:
                runner.kill()


def told(record: Path) -> list[e.Guarded]:
    return [one.event for one in read_record(record) if isinstance(one.event, e.Guarded)]


def test_a_runner_that_is_killed_leaves_nothing_on(tmp_path: Path, small: Made) -> None:
    with at_work(tmp_path, small) as made:
        made.runner.send_signal(signal.SIGKILL)
        wait_until(lambda: not made.supply.on, "off")
        wait_until(lambda: told(made.record), "its account")
    (account,) = told(made.record)
    assert account.confirmed == {"supply": True} and account.why == "the runner was gone"
    state = refold(read_record(made.record))
    assert outputs_on(state) == () and ends_with(state) == ()


def test_a_runner_that_ends_in_order_leaves_its_guard_nothing_to_do(tmp_path: Path, small: Made) -> None:
    with at_work(tmp_path, small) as made:
        made.runner.communicate("end\n", timeout=60)
        assert not made.supply.on
        wait_until(lambda: not _alive(made.guard), "the guard's end")
    assert told(made.record) == []


def test_the_guard_outlives_what_ends_the_runner_by_its_terminal(tmp_path: Path, small: Made) -> None:
    with at_work(tmp_path, small) as made:
        for name in (signal.SIGINT, signal.SIGHUP, signal.SIGTERM):
            os.kill(made.guard, name)
        made.runner.send_signal(signal.SIGKILL)
        wait_until(lambda: not made.supply.on, "off")


@pytest.mark.slow
def test_a_runner_that_hangs_with_something_on_is_ended(tmp_path: Path, small: Made) -> None:
    with at_work(tmp_path, small) as made:
        made.runner.send_signal(signal.SIGSTOP)
        wait_until(lambda: not made.supply.on, "off")
        wait_until(lambda: told(made.record), "its account")
    (account,) = told(made.record)
    assert "said nothing" in account.why and account.confirmed == {"supply": True}


def test_silence_counts_only_with_something_on(monkeypatch: pytest.MonkeyPatch) -> None:
    killed: list[int] = []
    monkeypatch.setattr(guarding, "_kill", killed.append)
    begin = Begin(4711, "", "", "")
    now = 0.0
    monkeypatch.setattr(guarding.time, "monotonic", lambda: now)

    def lines(on: bool) -> Iterator[bytes | None]:
        nonlocal now
        yield guarding._encode(guarding.Stands({"supply": "/dev/ttyS0"}, on))
        for _ in range(60):
            now += 1.0
            yield None

    assert watch(lines(False), begin) == ("the runner was gone", {"supply": "/dev/ttyS0"})
    assert killed == []
    why, met = watch(lines(True), begin)
    assert killed == [4711] and "10 s" in why and met == {"supply": "/dev/ttyS0"}


def test_a_record_that_ends_with_an_output_on_says_so_until_somebody_says_what_was_seen(small: Made) -> None:
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.SWITCHING)
    name = walker.state.setting.bench.role_of["supply"]  # type: ignore[union-attr]
    # killed while it was being switched: nobody heard how that went
    assert [(one.name, one.sure) for one in outputs_on(walker.state)] == [(name, False)]
    walker.one()
    (output,) = outputs_on(walker.state)
    assert output.sure and output.volts is not None
    assert any("output on" in text and f"{output.volts:g} V" in text for text in ends_with(walker.state))
    on = walker.entry(e.OutputsSeen(states={name: "on"}, text="the lamp is lit", by="Ana"))
    assert outputs_on(take(walker.state, on))
    off = walker.entry(e.OutputsSeen(states={name: "off"}, text="switched off, proved dead", by="Ana"))
    assert outputs_on(take(walker.state, off)) == ()
    # and when it goes on after all, it is passed from its hold point on again, as ever
    again = take(walker.state, off)
    resumed = take(again, walker.entry(e.Resumed(software="x")))
    assert resumed.phase is Phase.SAFING and resumed.outputs.on


def test_an_output_that_was_off_already_is_noted(small: Made) -> None:
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.SWITCHING)
    walker.one()
    walker.until(phase=Phase.SWITCHING)
    event = e.Switched(number=walker.state.number, instrument="supply", state="off", confirmed=True, already=True)
    walker.add(event)
    assert "was off already" in walker.state.kept.notes[-1][1].text


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # a child that ended and was not waited for is still there by name
    stat = Path(f"/proc/{pid}/stat")
    return not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] != "Z"
