"""Somebody with instruments that have no port: reads what the simulated hall's displays show, and types it.

The program is a process of its own at a real terminal; the hall is in this one, moved by the same acts. What is asked
is seen in the record, as the far end of a cable sees it on a tablet; what is typed goes over the terminal.
"""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from bench.plant.faults import Fault, Leakage
from bench.plant.load import load_plant
from bench.quantity import Resistance
from bench.record.read import read_record
from bench.screens.walk.sayings import page
from bench.sequence.draft import draft
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import Phase, State, by_knobs_course, request, start, take
from tests.walk.by_hand_hall import BENCH, JOB, Person
from tests.walks.glass import Glass
from tests.walks.terminal import Terminal

RESTED = 300.0
"""Seconds that go by in the hall where the walk waits: longer than any charge there needs to go."""
WITHIN = 120.0
"""Seconds that anything may take on a slow machine."""


class Keys(Protocol):
    """How a line gets to the program."""

    def answer(self, text: str, state: State) -> None:
        """Send an answer to what is asked."""

    def skip(self, reason: str) -> None:
        """Skip the step."""

    def alive(self) -> bool:
        """Whether the program still runs."""


class Typist:
    """Follows a record and answers what it asks.

    Args:
        record: that the program writes.
        keys: how answers get there.
        faults: of the plant.
    """

    def __init__(self, record: Path, keys: Keys, faults: Sequence[Fault] = ()) -> None:
        self._record, self._keys, self._faults = record, keys, faults
        self._person: Person | None = None
        self.state = start()
        self.typed = 0
        self._seen = 0

    def walk(self) -> State:
        """To the end; returns the state that the record folds to."""
        answered = -1
        until = time.monotonic() + WITHIN
        while not self.state.finished:
            if self._look():
                until = time.monotonic() + WITHIN
            asked = request(self.state)
            if self._person is not None and asked.number != answered and self._asks_a_person(asked):
                soon = self._soon()
                if soon > 0.0:
                    # a test that stays on is read at its second, by the clock on the wall
                    time.sleep(min(soon, 0.5))
                    until = time.monotonic() + WITHIN
                    continue
                answered = asked.number
                self._answer()
                continue
            assert time.monotonic() < until, f"nothing goes on at {self.state.phase} {self.state.step}"
            assert self._keys.alive() or self.state.finished, "the program ended"
            time.sleep(0.02)
        return self.state

    def _look(self) -> bool:
        """Take in what came to the record."""
        size = self._record.stat().st_size if self._record.exists() else 0
        if size == self._seen:
            return False
        self._seen = size
        came = [entry for entry in read_record(self._record) if entry.n > self.state.taken]
        for entry in came:
            if self._person is None:
                assert isinstance(entry.event, e.Began)
                self._person = Person(entry.event, self._faults)
            self.state = take(self.state, entry)
            self._person.state = self.state
            if isinstance(entry.event, e.Elapsed):
                self._person.rested(RESTED)
        return bool(came)

    def _soon(self) -> float:
        """Seconds until a figure of a test that stays on is due; none or less where it is."""
        state, step = self.state, self.state.step
        if state.phase is not Phase.PLACING or step is None or not step.source.times:
            return 0.0
        began = datetime.fromisoformat(state.pending.asked_at)
        gone = (datetime.now(UTC) - began).total_seconds()
        return step.source.times[len(state.pending.typed)].value + 0.2 - gone

    def _asks_a_person(self, asked: r.Request) -> bool:
        if isinstance(asked, r.Switch | r.Energise):
            return not self.state.pending.typed or not self._over()
        return isinstance(asked, r.Ask | r.Place | r.Consent | r.Resolve)

    def _over(self) -> bool:
        return self.state.phase is Phase.SWITCHING or by_knobs_course(self.state).over

    def _answer(self) -> None:
        assert self._person is not None
        event = self._person.event()
        self.typed += 1
        if isinstance(event, e.Skipped):
            self._keys.skip(event.reason)
        else:
            assert isinstance(event, e.Answered), event
            self._keys.answer(event.answer, self.state)


def quick(text: str) -> str:
    """A sequence whose waits are short: here nobody has to wait for real capacitors."""
    text = re.sub(r"\n( *)after: [0-9.]+ s", r"\n\1after: 0.01 s", text)
    text = re.sub(r"\n( *)(time|soak): [0-9.]+ (s|min)\b", r"\n\1\2: 0.1 s", text)
    text = re.sub(
        r"\n( *)- step: energise\n", r"\n\1- step: energise\n\1  inrush: 0 s\n\1  hold: 0 s\n\1  settle: 0.01 s\n", text
    )
    return re.sub(r"\{to: ([^}]*)\}", r"{to: \1, inrush: 0 s, hold: 0 s}", text)


KINDS = {
    "continuity": ("WA2C", "low-ohm", "hand-held"),
    "crosses": ("W101", "hand-held", "hand-held"),
    "isolation": ("W101", "hand-held", "hand-held"),
    "insulation": ("W101", "hand-held", "hand-held"),
    "polarity": ("2C", "hand-held", "hand-held"),
    "idle-current": ("2C", "hand-held", "hand-held"),
    "earth": ("", "low-ohm", "hand-held"),
    "earth-live": ("", "hand-held", "clamp"),
    "first-power": ("6", "hand-held", "hand-held"),
    "first-power of four shelves": ("2", "hand-held", "desk"),
    "absorption": ("W101", "hand-held", "hand-held"),
    "absorption in seconds": ("W101", "hand-held", "hand-held"),
}
"""Kind of sequence to what it is drafted for, which meter reads ohms, and which reads amperes.

First power is of a whole bay: one of two shelves, and one of four on both feeds, whose small currents want a desk meter
that is read by eye."""


ABSORPTION = """
sequence: absorption of a pair
plant: plant.yaml
steps:
  - {step: do, text: Cards out., take-out: [1C, 2C]}
  - step: measure
    title: Absorption of pair 1
    read: insulation
    between: [J101.26, J101.1]
    at: 250 V
    times: [30 s, 60 s, 600 s]
    bring-to: 20 degC
    limit: {at-least: 1 Mohm, source: set for this walk}
"""
"""Ten minutes of it, by the clock on the wall."""
DAMP = [Leakage(between=("J101.26", "J101.1"), ohms=Resistance(120e6))]
"""Damp in a pair, so that the tester's scale reaches."""


def job_for(folder: Path, kind: str) -> tuple[Path, Path]:
    """A job folder for a kind, with nothing but instruments that a person reads: its sequence and its bench."""
    of, ohms, amps = KINDS[kind]
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins", dirs_exist_ok=True)
    plant = load_plant(JOB / "plant.yaml")
    drafted = kind.partition(" ")[0]
    text = ABSORPTION if drafted == "absorption" else draft(plant, drafted, of, "plant.yaml", "s.json")
    if kind == "absorption in seconds":
        text = text.replace("[30 s, 60 s, 600 s]", "[1 s, 2 s, 4 s]")
    if kind == "insulation":
        # two of the pairs, then all nets against each other as ever
        text = re.sub(r"only: \[W101/1, .*\]", "only: [W101/1, W101/2]", text)
        text = re.sub(r"only:\n?[^\]]*\[W101/[12]1[^\]]*\]", "only: [W101/3]", text)
    text = text.replace("computed: shelf-voltage", "computed: shelf-voltage, margin: 2 V")
    (folder / "sequence.yaml").write_text(quick(text), "utf-8")
    (folder / "bench.yaml").write_text(BENCH.replace("OHMS", ohms).replace("AMPS", amps), "utf-8")
    return folder / "sequence.yaml", folder / "bench.yaml"


class Lines:
    """Line by line at a terminal."""

    def __init__(self, words: Sequence[object], cwd: Path) -> None:
        self.terminal = Terminal(*words, "--plain", cwd=cwd)
        self._heard = -1
        self._reader = threading.Thread(target=self.terminal.end, daemon=True)
        self._reader.start()

    def answer(self, text: str, state: State) -> None:
        """Type it once the page was written: somebody reads first. An empty answer is Enter."""
        step, setting = state.step, state.setting
        numbered = f"{step.index + 1} of " if step is not None and setting is not None else "why"
        until = time.monotonic() + 0.5
        while numbered not in self.terminal.seen[max(0, self._heard) :] and time.monotonic() < until:
            time.sleep(0.02)
        self._quiet()
        self._heard = len(self.terminal.seen)
        kind = page(state).kind
        self.terminal.type("read" if kind == "caution" else text or "=")

    def _quiet(self) -> None:
        """All that it had to say is said."""
        said = -1
        while said != len(self.terminal.seen):
            said = len(self.terminal.seen)
            time.sleep(0.1)

    def skip(self, reason: str) -> None:
        self._quiet()
        self._heard = len(self.terminal.seen)
        self.terminal.type(f"skip {reason}")

    def alive(self) -> bool:
        return self.terminal.process.poll() is None

    def close(self) -> None:
        if self.alive():
            self.terminal.process.terminate()
        self.terminal.process.wait(timeout=30)
        self._reader.join(timeout=10)


class Pressed:
    """By keys on the screen."""

    def __init__(self, words: Sequence[object], cwd: Path, record: Path) -> None:
        self.glass, self._record = Glass(*words, cwd=cwd), record

    def answer(self, text: str, state: State) -> None:
        number, glass = state.number, self.glass

        seen, taken = 0, False

        def done() -> bool:
            nonlocal seen, taken
            size = self._record.stat().st_size
            if size != seen:
                seen = size
                taken = any(getattr(entry.event, "number", None) == number for entry in read_record(self._record))
            return taken

        step, kind = state.step, page(state).kind
        if kind == "caution":
            glass.press("yu"[step.index % 2] if step is not None else "y", done)
        elif kind in ("do", "place"):
            glass.press("\r", done)
        elif kind == "beep":
            glass.press(text[:1], done)
        else:
            while not done():
                if not self._box():
                    glass.press("\r", lambda: self._box() or done())
                glass.type(f"{text}\r")
                until = time.monotonic() + 8.0
                while not done() and time.monotonic() < until:
                    time.sleep(0.05)
                if not done():
                    # what was typed into a box that was about to close is typed again
                    glass.press("\x1b", lambda: not self._box())
            glass.until(lambda: not self._box())

    def _box(self) -> bool:
        return "Enter sends it" in self.glass.words

    def skip(self, reason: str) -> None:
        self.glass.press("s", lambda: "Enter sends it" in self.glass.words)
        self.glass.type(f"{reason}\r")

    def alive(self) -> bool:
        return self.glass.process.poll() is None

    def close(self) -> None:
        self.glass.close()


def walked_by(kind: str, manner: str, folder: Path) -> tuple[State, int]:
    """A whole walk of a kind, ``line by line`` or ``by keys``; returns how it ended and what was typed."""
    sequence, bench = job_for(folder, kind)
    record = folder / "r.jsonl"
    words = ("walk", sequence, "--bench", bench, "--record", record, "--operator", "Ada")
    hands = Lines(words, folder) if manner == "line by line" else Pressed(words, folder, record)
    try:
        typist = Typist(record, hands, DAMP if kind.startswith("absorption") else ())
        return typist.walk(), typist.typed
    finally:
        hands.close()
