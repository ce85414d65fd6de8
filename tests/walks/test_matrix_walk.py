"""A whole cable proven through the relay matrix by the program itself: every join, and every cross, and no operator."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Literal

import pytest

from bench.instruments.bench_file import load_bench
from bench.plant import faults as k
from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.sequence.file import Measure
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.relayed import RelayedLeads
from bench.walk import events as e
from bench.walk.state import start, take
from tests.diagnose.explain.damage_kinds import landed
from tests.instruments.server import served
from tests.walks.tool import COMMAND, JOB, environment, proveout, run_json, started, wait_for_lines

SEQUENCE = JOB / "matrix-W111.yaml"
BENCH = JOB / "benches" / "simulated-matrix.yaml"
ENDS = 37


def bench(folder: Path, *faults: str) -> Path:
    text = BENCH.read_text("utf-8")
    head = text[: text.index("  faults:")]
    path = folder / "bench.yaml"
    path.write_text(head + ("  faults:\n" if faults else "") + "".join(f"    - {fault}\n" for fault in faults), "utf-8")
    return path


def walk(folder: Path, *faults: str, sequence: Path = SEQUENCE) -> tuple[int, dict, list[e.Event]]:
    record = folder / "r.jsonl"
    words = ("run", sequence, "--bench", bench(folder, *faults), "--record", record, "--speed", 20)
    code, summary = run_json(*words, cwd=folder)
    return code, summary, [entry.event for entry in read_record(record)]


def failing(summary: dict) -> set[str]:
    return {one["subject"] for one in summary["verdicts"] if one["verdict"] == "fail"}


def test_a_sound_cable_is_proven_whole_without_anybody(tmp_path: Path) -> None:
    code, summary, events = walk(tmp_path)
    assert code == 0, summary
    assert set(summary["counts"]) == {"pass"}
    placed = [event for event in events if isinstance(event, e.Answered) and event.how == "matrix"]
    read = [event for event in events if isinstance(event, e.Read)]
    # open leads, zero, reference, every conductor, the search for crosses, zero
    assert len(placed) == len(read) >= ENDS + 4
    assert {event.by for event in placed} == {"matrix"}
    assert all(event.raw[-1].startswith("matrix: (@") for event in read), "what was closed is kept with each reading"
    search = next(one for one in summary["verdicts"] if one["title"] == "No crosses in W111")
    assert search["verdict"] == "pass"
    last = events[-1]
    assert isinstance(last, e.MadeSafe) and last.confirmed == {"matrix": True}


@pytest.mark.slow
def test_opens_crosses_and_shorts_are_found_and_nothing_else(tmp_path: Path) -> None:
    code, summary, events = walk(
        tmp_path,
        "{fault: open, conductor: W111.12}",
        "{fault: exchanged, pins: [J208.3, J208.9]}",
        "{fault: short, between: [J111.19, J111.30]}",
    )
    assert code == 1
    assert failing(summary) == {"W111.3", "W111.9", "W111.12", "W111"}
    found = [event.want for event in events if isinstance(event, e.Advised) and not isinstance(event.want, Measure)]
    assert found[-1].facts["joined"] == [["J111.19", "J111.30"]]  # type: ignore[union-attr]


CROSSES = """
sequence: every pair of some pins
plant: {plant}
steps:
  - {{step: caution, text: Dead plant only.}}
{steps}
"""


@pytest.mark.slow
def test_each_pair_alone_says_the_same_as_the_search(tmp_path: Path) -> None:
    """Crosses one by one, each of them through two relays: what groups found is there, and nothing besides."""
    pins = [f"J111.{n}" for n in range(19, 31)]
    pairs = [(a, b) for n, a in enumerate(pins) for b in pins[n + 1 :]]
    step = (
        "  - {{step: measure, title: '{0} {1}', read: resistance, between: [{0}, {1}], subject: '{0}', "
        "limit: {{at-least: 100 kohm, source: apart}}}}"
    )
    sequence = tmp_path / "crosses.yaml"
    steps = "\n".join(step.format(a, b) for a, b in pairs)
    sequence.write_text(CROSSES.format(plant=JOB / "plant.yaml", steps=steps), "utf-8")
    code, summary, events = walk(tmp_path, "{fault: short, between: [J111.19, J111.30]}", sequence=sequence)
    assert code == 1
    assert [one["title"] for one in summary["verdicts"] if one["verdict"] == "fail"] == ["J111.19 J111.30"]
    assert sum(isinstance(event, e.Read) for event in events) == len(pairs) == 66


PILE = """
plant: pile
ambient: 20 degC
connector-types: [{name: D9, pins: 9, rows: 1}]
cable-types: [{name: N9, conductors: 9, colours: numbered, size: AWG 24}]
bays:
  - {name: "1", shelves: [{name: 1A, connectors: [{name: J1, type: D9}]}]}
  - {name: "2", shelves: [{name: 2A, connectors: [{name: K1, type: D9}]}]}
cables: [{name: W1, type: N9, length: 12 m, from: J1, to: K1}]
"""
TRUE_ORDER = {1: 4, 2: 9, 3: 1, 4: 7, 5: 2, 6: 8, 7: 3, 8: 6, 9: 5}
"""How the cable runs of which no list is left: pin of J1 to pin of K1."""


@pytest.mark.slow
def test_a_cable_of_which_no_list_is_left_is_learned_through_the_matrix(tmp_path: Path) -> None:
    """Every near pin against every far one, by the bytes of a matrix and a meter; the open one is asked."""
    plant = tmp_path / "plant.yaml"
    plant.write_text(PILE, "utf-8")
    head = BENCH.read_text("utf-8")
    head = head[: head.index("  faults:")].replace("J111.1-37: 01-37", "J1.1-9: 01-09")
    faults = "".join(
        f"    - {{fault: exchanged, pins: [{', '.join(one.pins)}]}}\n"
        for one in landed("K1", TRUE_ORDER)
        if isinstance(one, k.Exchanged)
    )
    broken = "    - {fault: open, conductor: W1.6}\n"
    bench = tmp_path / "bench.yaml"
    bench.write_text(head.replace("J208.1-37: 38-74", "K1.1-9: 10-18") + f"  faults:\n{faults}{broken}", "utf-8")
    steps = "\n".join(
        f"  - {{step: measure, title: 'J1.{a} K1.{b}', read: resistance, between: [J1.{a}, K1.{b}], "
        "limit: {at-least: 100 kohm, source: apart}}"
        for a in TRUE_ORDER
        for b in TRUE_ORDER
    )
    sequence, record = tmp_path / "all.yaml", tmp_path / "logs" / "all.jsonl"
    sequence.write_text(CROSSES.format(plant=plant, steps=steps), "utf-8")
    record.parent.mkdir()
    run_json("run", sequence, "--bench", bench, "--record", record, "--speed", 20, cwd=tmp_path)
    read = [entry.event for entry in read_record(record) if isinstance(entry.event, e.Read)]
    assert len(read) == 81 and all(one.raw[-1].startswith("matrix: (@") for one in read)

    done = proveout("learn", plant, "W1", "--logs", record.parent, "--write", cwd=tmp_path)
    assert "W1: 8 of 8 wires that get through are learned" in done.stdout, done.stdout
    assert "asked, not learned: W1.6" in done.stdout
    learned = {one.name: one.far for one in load_plant(plant).cables["W1"].conductors}
    assert {name: end.name for name, end in learned.items() if end is not None} == {
        f"W1.{a}": f"K1.{b}" for a, b in TRUE_ORDER.items() if a != 6
    }


@pytest.mark.parametrize(
    "name", ["SIGTERM", *(pytest.param(name, marks=pytest.mark.slow) for name in ("SIGINT", "SIGHUP"))]
)
def test_routes_are_open_on_the_way_out(name: str, tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    words = ("run", SEQUENCE, "--bench", bench(tmp_path), "--record", record, "--trace-bytes", tmp_path / "bytes.txt")
    process = started(*words, cwd=tmp_path)
    wait_for_lines(record, 40)
    process.send_signal(getattr(signal, name))
    process.communicate(timeout=60)
    events = [entry.event for entry in read_record(record)]
    last = events[-1]
    assert isinstance(last, e.MadeSafe) and last.confirmed == {"matrix": True}
    lines = (tmp_path / "bytes.txt").read_text("utf-8").splitlines()
    said = "".join(line.split(" matrix received ", 1)[1] for line in lines if " matrix received " in line)
    assert said.endswith("(@)\\n"), "the last thing that it said is that nothing is closed"


@pytest.mark.slow
def test_what_is_not_wired_is_left_to_hands(tmp_path: Path) -> None:
    """The same bench walks W101 as any other: the matrix has no say there."""
    sequence = JOB / "continuity-W101.yaml"
    code, _, events = walk(tmp_path, sequence=sequence)
    assert code == 0
    by = {event.how for event in events if isinstance(event, e.Answered)}
    assert by == {"simulated", "matrix"}, "open leads, zero and reference are wired, the cable is not"


@pytest.mark.slow
def test_the_record_alone_gives_the_same_verdicts(tmp_path: Path) -> None:
    code, _, _ = walk(tmp_path, "{fault: open, conductor: W111.12}")
    state = start()
    for entry in read_record(tmp_path / "r.jsonl"):
        state = take(state, entry)
    assert code == 1 and state.finished
    done = proveout("judge", tmp_path / "r.jsonl", "--rule", "simple", cwd=tmp_path)
    assert "0 of 42 verdicts changed: now 1 fail, 41 pass" in done.stdout


BY_A_PERSON = """
sequence: W111 by relays, and one wire by hand
plant: {plant}
steps:
  - {{step: caution, text: Dead plant only.}}
  - {{step: prove, against: open-leads}}
  - {{step: zero}}
  - {{step: prove, against: reference}}
  - step: each
    over: conductors
    of: W111
    steps:
      - step: measure
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}
  - step: measure
    title: by hand
    read: resistance
    between: [J101.1, J205.1]
    limit: {{computed: conductor}}
"""


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_on_real_ports_a_person_is_asked_only_for_what_is_not_wired(tmp_path: Path) -> None:
    """No simulated bench: ports of a bench file, and an operator who types."""
    wired = load_bench(BENCH)
    assert wired.routes is not None
    wires: dict[int, tuple[Literal["red", "black"], str]] = {}
    for place in wired.routes.red:
        wires[int(wired.routes.red[place])] = ("red", place)
        wires[int(wired.routes.black[place])] = ("black", place)
    for place, (red, black) in wired.routes.pairs.items():
        wires[int(red)], wires[int(black)] = ("red", place), ("black", place)
    world = PowerWorld(load_plant(JOB / "plant.yaml"), [k.Open(conductor="W111.5")], seed=3)
    now = time.monotonic()
    matrix = MatrixTwin(RelayedLeads(world, wires), rows=99, now=now)
    with served(matrix) as relays, served(MeterTwin(world, seed=1, now=now)) as meter:
        text = BENCH.read_text("utf-8").split("simulate:")[0]
        for serial, address in (("GH-0007", meter.address), ("GH-0031", relays.address)):
            text = text.replace("port: simulated", f"port: {address}", 1).replace(serial, "'0001'")
        (tmp_path / "bench.yaml").write_text(text, "utf-8")
        (tmp_path / "sequence.yaml").write_text(BY_A_PERSON.format(plant=JOB / "plant.yaml"), "utf-8")
        record = tmp_path / "r.jsonl"
        process = subprocess.Popen(
            [*COMMAND, "walk", "sequence.yaml", "--bench", "bench.yaml", "--record", record, "--plain", "--by-key"],
            cwd=tmp_path,
            env=environment(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert process.stdin is not None and process.stdout is not None
        process.stdin.write("read\n")
        process.stdin.flush()
        said = []
        for line in process.stdout:
            said.append(line)
            if line.endswith(": by hand\n"):
                # the person puts the leads where they are asked for, and says so
                world.place("J101.1", "J205.1", time.monotonic())
                process.stdin.write("\n")
                process.stdin.flush()
        assert process.wait(60) == 1, "".join(said)
        assert matrix.closed == frozenset()
    asked = [line for line in said if "lead:" in line or line.startswith("Touch")]
    assert len(asked) == 3, "the person is shown two places, once"
    events = [entry.event for entry in read_record(record)]
    placed = [event.how for event in events if isinstance(event, e.Answered)]
    assert placed == ["key", *["matrix"] * (ENDS + 3), "key"]
    assert [event.over for event in events if isinstance(event, e.Read)].count("+") == 2, "open leads and the open wire"
