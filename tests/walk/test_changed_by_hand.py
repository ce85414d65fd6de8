"""Typed and ported instruments in one walk, one exchanged in the middle: each reading keeps its accuracy."""

from __future__ import annotations

import queue
from pathlib import Path

import msgspec
import pytest

from bench.runner.crew import ByHand, InstrumentCrew
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import fold, is_other, start
from tests.walk.by_hand_hall import began
from tests.walk.mistyped import TypedWalk

SEQUENCE = """
sequence: three wires
plant: plant.yaml
steps:
  - {step: zero, text: Hold the probes together.}
""" + "".join(
    f"""  - step: measure
    title: Wire {number}
    read: resistance
    between: [J101.{number}, J205.{number}]
    limit: {{at-most: 10 ohm, source: by hand}}
"""
    for number in (1, 2, 3)
)
BENCH = """
bench: by hand
instruments:
  - {name: mine, profile: hand-held-meter, port: typed, serial: A17}
  - {name: borrowed, profile: polled-text-meter, port: typed, serial: B4}
  - {name: on a wire, profile: scpi-bench-meter, port: "tcp://127.0.0.1:5025"}
roles: {ohms: MINE}
"""


def bench_with(folder: Path, name: str) -> e.Began:
    return began(folder, SEQUENCE, BENCH.replace("MINE", name))


@pytest.fixture
def first(tmp_path: Path) -> e.Began:
    return bench_with(tmp_path, "mine")


def accuracy(walk: TypedWalk, index: int) -> tuple[str, float]:
    one = results(walk.state)[index]
    assert one.reading is not None and one.figure.expanded is not None
    return one.reading.instrument, one.figure.expanded


def test_each_reading_keeps_the_accuracy_of_what_it_was_read_with(first: e.Began, tmp_path: Path) -> None:
    walk = TypedWalk(first)
    walk.type("0.2")
    walk.type("1.9")
    mine = accuracy(walk, 1)
    assert mine[0] == "mine"
    # its battery is empty: the walk goes on with a borrowed one, and its leads are zeroed first
    walk.add(e.Resumed(software="0.1.0", bench=bench_with(tmp_path, "borrowed").bench, zero_again=True))
    walk.settle()
    assert walk.state.step is not None and walk.state.step.kind == "zero"
    walk.type("0.3")
    walk.type("2.0")
    borrowed = accuracy(walk, 2)
    assert borrowed[0] == "borrowed" and borrowed[1] < mine[1]
    # and then with one that has a port: nobody types for it
    walk.add(e.Resumed(software="0.1.0", bench=bench_with(tmp_path, "on a wire").bench, zero_again=True))
    walk.settle()
    walk.add(walk.answered())
    read = e.Read(
        number=walk.state.number, instrument="on a wire", function="resistance 2w", unit="Ω", value=0.21, range=100.0
    )
    walk.add(read)
    walk.add(walk.answered())
    walk.add(msgspec.structs.replace(read, number=walk.state.number, value=2.02))
    wired = accuracy(walk, 3)
    assert wired[0] == "on a wire" and wired[1] < borrowed[1]
    assert accuracy(walk, 1) == mine and accuracy(walk, 2) == borrowed
    again = results(fold(walk.entries))
    assert [again[n].figure.expanded for n in (1, 2, 3)] == [mine[1], borrowed[1], wired[1]]


def test_a_typed_instrument_is_met_with_its_serial_number_and_another_one_is_noticed(first: e.Began) -> None:
    told: queue.SimpleQueue[object] = queue.SimpleQueue()
    for serial in ("A17", "A18"):
        crew = InstrumentCrew([], {"ohms": "mine"}, told.put, by_hand=ByHand({"mine": serial}, start))
        crew.meet(("ohms",), 1)
    one, other = (getattr(told.get(timeout=5), "event", None) for _ in range(2))
    assert isinstance(one, e.Met) and isinstance(other, e.Met)
    assert (one.serial, other.serial) == ("A17", "A18")
    walk = TypedWalk(first)
    walk.state = msgspec.structs.replace(
        walk.state, instruments=msgspec.structs.replace(walk.state.instruments, known={"mine": one})
    )
    assert is_other(walk.state, other) and not is_other(walk.state, one)
