"""Two processes and more: a screen is killed, another takes the seat, a third watches; the walk loses nothing."""

from __future__ import annotations

import os
import queue
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.runner import protocol as p
from bench.runner.address import address_file, read_address
from bench.runner.client import Client, NotLetIn
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import State, request, start, take
from tests.walks.tool import SEQUENCE, bench_without_faults
from tests.walks.window import Window


class Screen:
    """A real screen process on a real pseudo-terminal of 80 by 24, whose output is read and kept."""

    def __init__(self, *words: object, cwd: Path) -> None:
        self.shown = b""
        self._window = Window(*words, cwd=cwd, heard=self._hear)
        self.process = self._window.process

    def _hear(self, data: bytes) -> None:
        self.shown += data

    def type(self, keys: str) -> None:
        self._window.type(keys)

    def wait_for(self, text: bytes, timeout: float = 30.0) -> None:
        end = time.monotonic() + timeout
        while text not in self.shown:
            assert time.monotonic() < end, f"{text!r} is not shown: {self.shown[-2000:]!r}"
            time.sleep(0.02)

    def close_terminal(self) -> None:
        self._window.close()

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(timeout=10)


class Follower:
    """A client that folds what it hears, as every screen does."""

    def __init__(self, record: Path, name: str) -> None:
        self.state: State = start()
        self.refused: list[str] = []
        self.bye = ""
        self._heard: queue.Queue[object] = queue.Queue()
        self.client = Client(read_address(address_file(record)), name, self._heard.put)
        self.client.start()

    def until(self, wanted: Callable[[], bool], timeout: float = 30.0) -> None:
        end = time.monotonic() + timeout
        while not wanted():
            try:
                message = self._heard.get(timeout=max(0.01, end - time.monotonic()))
            except queue.Empty:
                raise AssertionError(f"it did not come to that; now {request(self.state)}, {self.refused}") from None
            if isinstance(message, e.Entry):
                self.state = take(self.state, message)
            elif isinstance(message, p.Refusal):
                self.refused.append(message.why)
            elif isinstance(message, p.Bye):
                self.bye = message.why

    def answer(self, answer: str = "") -> None:
        self.client.wish(e.Answered(number=self.state.number, answer=answer))


def wait_for_door(record: Path) -> None:
    end = time.monotonic() + 40
    while not address_file(record).exists():
        assert time.monotonic() < end, "no door"
        time.sleep(0.02)


@pytest.mark.slow
def test_screens_come_and_go_and_the_walk_goes_on(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    bench = bench_without_faults(tmp_path)
    first = Screen("walk", SEQUENCE, "--bench", bench, "--record", record, "--operator", "Ada", cwd=tmp_path)
    wait_for_door(record)
    watcher = Follower(record, "Bo")
    watcher.until(lambda: isinstance(request(watcher.state), r.Ask) and watcher.state.seat == "Ada")

    # a second screen watches: it sees the same step and cannot answer, but may note
    watcher.answer()
    watcher.until(lambda: bool(watcher.refused))
    assert "Ada holds the operator's seat" in watcher.refused[0]
    watcher.client.wish(e.Noted(text="the far end is lit"))
    watcher.until(lambda: bool(watcher.state.kept.notes))

    # the operator's screen dies: nothing is lost, the walk pauses and the seat is empty
    before = record.read_bytes()
    first.kill()
    watcher.until(lambda: isinstance(request(watcher.state), r.Rest))
    assert record.read_bytes().startswith(before)
    assert watcher.state.seat == ""

    # the first that answers takes the seat and goes on
    watcher.client.wish(e.Continued())
    watcher.until(lambda: watcher.state.seat == "Bo" and isinstance(request(watcher.state), r.Ask))
    watcher.answer()
    watcher.until(lambda: watcher.state.place.cursor == 1)
    watcher.answer("no such word")
    watcher.until(lambda: len(watcher.refused) == 2)
    watcher.answer("DEAD")
    watcher.until(lambda: watcher.state.place.cursor == 2)
    watcher.answer()
    watcher.until(lambda: watcher.state.place.cursor == 3)
    watcher.answer("18")
    # the simulator's hands place the probes and settled contacts are taken by themselves
    watcher.until(lambda: watcher.state.place.cursor >= 9, timeout=60)

    # a new screen is attached and watches; then it takes the seat by its own key
    third = Screen("walk", "--attach", record, "--operator", "Cy", cwd=tmp_path)
    third.wait_for(b"Bo")
    third.kill()

    watcher.client.wish(e.Aborted(why="enough for today"))
    watcher.until(lambda: watcher.state.finished)
    watcher.until(lambda: bool(watcher.bye))
    end = time.monotonic() + 20
    while address_file(record).exists():
        assert time.monotonic() < end, "the door stays"
        time.sleep(0.02)
    events = [entry.event for entry in read_record(record)]
    assert isinstance(events[-1], e.MadeSafe)
    answers = [event.by for event in events if isinstance(event, e.Answered) and event.how == "key"]
    assert set(answers) == {"Bo"}
    assert sum(isinstance(event, e.Paused) for event in events) == 1


@pytest.mark.slow
def test_a_killed_runner_is_resumed_by_a_new_screen(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    bench = bench_without_faults(tmp_path)
    first = Screen("walk", SEQUENCE, "--bench", bench, "--record", record, cwd=tmp_path)
    wait_for_door(record)
    door = read_address(address_file(record))
    end = time.monotonic() + 40
    while b'"is":"seated"' not in record.read_bytes():
        assert time.monotonic() < end, "the screen takes no seat"
        time.sleep(0.02)
    os.kill(door.process, signal.SIGKILL)
    # the screen says so and how to go on, until somebody has read it
    first.wait_for(b"leave this screen")
    first.type("q")
    assert first.process.wait(timeout=30) == 3
    first.wait_for(f"--resume {record}".encode())
    with pytest.raises(NotLetIn):
        Client(door, "nobody", lambda message: None)
    kept = record.read_bytes()
    second = Screen("walk", "--resume", record, cwd=tmp_path)
    end = time.monotonic() + 40
    while read_address(address_file(record)).process == door.process:
        assert time.monotonic() < end, "no new runner"
        time.sleep(0.02)
    follower = Follower(record, "Bo")
    follower.until(lambda: isinstance(request(follower.state), r.Ask))
    assert record.read_bytes().startswith(kept[: kept.rfind(b"\n") + 1])
    os.kill(read_address(address_file(record)).process, signal.SIGTERM)
    follower.until(lambda: follower.state.finished)
    second.kill()


@pytest.mark.slow
def test_bad_input_is_told_on_the_terminal_and_not_in_a_ruin_of_a_screen(tmp_path: Path) -> None:
    screen = Screen("walk", tmp_path / "gone.yaml", "--bench", tmp_path / "gone2.yaml", cwd=tmp_path)
    assert screen.process.wait(timeout=40) == 2
    screen.wait_for(b"no readable file")
    assert not list((tmp_path / "logs").glob("*.jsonl"))


@pytest.mark.slow
def test_a_terminal_that_is_closed_takes_its_screen_with_it_and_the_walk_pauses(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    bench = bench_without_faults(tmp_path)
    screen = Screen("walk", SEQUENCE, "--bench", bench, "--record", record, cwd=tmp_path)
    wait_for_door(record)
    follower = Follower(record, "Bo")
    follower.until(lambda: bool(follower.state.seat) and isinstance(request(follower.state), r.Ask))
    screen.close_terminal()
    screen.process.wait(timeout=30)
    follower.until(lambda: isinstance(request(follower.state), r.Rest))
    follower.client.wish(e.Aborted(why="enough"))
    follower.until(lambda: follower.state.finished)
