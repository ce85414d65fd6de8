"""A small station with a month of evidence, and the moments that the screen can show of it: for tests and pictures."""

from __future__ import annotations

import functools
import random
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec
from msgspec.structs import replace

from bench.job.common_changes import Across
from bench.job.points import point_of, surroundings
from bench.job.reach import Reaching
from bench.job.readiness import Task, readiness, void
from bench.job.rows import ENERGISED, Evidence, Told
from bench.job.study import Everything, Study, study
from bench.job.suspects import suspects
from bench.plant.load import load_plant
from bench.plant.model import Plant, UnknownName
from bench.screens.job.data import BenchLine, Cables, Changes, EndLine, RecordLine, SequenceLine, Survey, Traced
from bench.screens.program.work import Tell

STATION = """
plant: small-station
title: Lamp Point, a small station
ambient: 20 degC
cable-types:
  - {name: AF8, colours: [BU, OG, GN, BN, GY, WH, RD, BK], size: 0.5 mm2, class: 5}
  - {name: PW1.5, colours: [BU, BK], size: 1.5 mm2, class: 5}
connector-types:
  - {name: B8, title: screw terminal block, pins: 8, rows: 1, view: wiring}
card-types:
  - {name: RX, title: receiver, idle: 0.55 A, spread: 8 %}
bays:
  - name: 1
    title: lines
    shelves:
      - {name: 1A, title: line jacks, slots: 4, connectors: [{name: J1, type: B8, at: left}]}
  - name: 2
    title: receivers
    shelves:
      - {name: 2A, title: receivers 1 and 2, slots: 4, cards: {1: RX, 2: RX}, inlets: [A, B],
         connectors: [{name: J2, type: B8, at: left}]}
      - {name: 2B, title: receivers 3 and 4, slots: 4, cards: {1: RX, 2: RX}, inlets: [A]}
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}
  - {name: B, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}
supplies:
  - {name: GA, feed: A, kind: battery, voltage: -53.5 V, resistance: 8 mohm}
  - {name: GB, feed: B, kind: battery, voltage: -53.5 V, resistance: 8 mohm}
busbars:
  - {name: BA, feed: A, at: 2}
  - {name: BB, feed: B, at: 2}
  - {name: BR, pole: return, at: 2}
breakers:
  - {name: FA2A, feed: A, rating: 6 A, at: 2, line-on: BA.1}
  - {name: FA2B, feed: A, rating: 6 A, at: 2, line-on: BA.2}
  - {name: FB2A, feed: B, rating: 6 A, at: 2, line-on: BB.1}
cables:
  - {name: W1, type: AF8, title: audio, length: 9 m, from: J1, to: J2}
  - {name: WGA, type: PW1.5, length: 3 m, from: [GA.feed, GA.return], to: [BA.3, BR.1]}
  - {name: WGB, type: PW1.5, length: 3 m, from: [GB.feed, GB.return], to: [BB.3, BR.2]}
  - {name: WA2A, type: PW1.5, length: 2 m, from: [FA2A.load, BR.3], to: [2A.A, 2A.A-return]}
  - {name: WA2B, type: PW1.5, length: 2 m, from: [FA2B.load, BR.4], to: [2B.A, 2B.A-return]}
  - {name: WB2A, type: PW1.5, length: 2 m, from: [FB2A.load, BR.5], to: [2A.B, 2A.B-return]}
earth:
  single-point: L1
  points:
    - {name: EB, title: main bar, kind: bar, at: 2}
    - {name: ER, title: main return bar, kind: return-bar, busbar: BR}
    - {name: E1, title: frame of bay 1, at: 1}
    - {name: E2, title: frame of bay 2, at: 2}
    - {name: X1, title: earth bar of the building, kind: building, network: outside}
  bonds:
    - {name: L1, from: EB, to: X1, size: 16 mm2, length: 3 m}
    - {name: L2, from: ER, to: EB, size: 16 mm2, length: 1 m}
    - {name: L3, from: E1, to: EB, size: 16 mm2, length: 2 m}
    - {name: L4, from: E2, to: EB, size: 16 mm2, length: 1 m}
"""


@functools.cache
def station() -> Plant:
    """The small station."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_text(STATION, "utf-8")
        return load_plant(path)


def _day(day: int, minute: int = 0) -> str:
    month, of = divmod(day - 1, 30)
    return f"2026-{3 + month:02d}-{of + 1:02d}T18:{minute:02d}:00.000000Z"


def _ohms(subject: str, ends: tuple[str, str], value: float, high: float, week: int, minute: int) -> Evidence:
    day = 7 * week + 3
    return Evidence(
        record=f"round-{week + 1}.jsonl",
        n=10 + minute,
        at=_day(day, minute),
        step=str(minute),
        subject=subject,
        between=ends,
        function="resistance 2w",
        verdict="pass" if value <= high else "fail",
        said=f"{'Pass' if value <= high else 'Fail'}: {subject}: {value:.3f} Ω; limit: at most {high:g} Ω.",
        value=value,
        standard=0.006,
        expanded=0.012,
        unit="Ω",
        range=100.0,
        high=high,
        meter="LP-17",
        operator="Ines" if week % 2 else "Marek",
        ambient=20.0,
    )


LEVELS = {
    1: [0.40] * 8,
    2: [0.41] * 4 + [0.93] * 4,  # a step
    3: [0.40] * 3 + [0.90] * 2 + [0.40] * 3,  # mended
    4: [0.39, 0.40, 0.46, 0.52, 0.58, 0.64, 0.70, 0.76],  # a drift
    5: [0.40, 0.40, 1.20, 0.41, 0.40, 1.30, 0.40, 0.41],  # comes and goes
    6: [0.41] * 8,
    7: [0.39] * 8,
}
"""What the conductors of W1 read, round by round; its eighth was never read."""


@functools.cache
def rows() -> tuple[Evidence, ...]:
    """Eight weekly rounds."""
    chance, found = random.Random(9), []
    for week in range(8):
        for wire, levels in LEVELS.items():
            ends = (f"J1.{wire}", f"J2.{wire}")
            found.append(_ohms(f"W1.{wire}", ends, levels[week] + chance.gauss(0, 0.004), 0.6, week, wire))
        for number, bond in enumerate(("L2", "L3", "L4"), 20):
            one = station().bonds[bond]
            found.append(_ohms(bond, (one.a.name, one.b.name), 0.08 + chance.gauss(0, 0.002), 0.5, week, number))
    polarity = _ohms("2A.A", ("2A.A", "2A.A-return"), -53.1, 0.0, 7, 30)
    voltage = msgspec.structs.replace(polarity, function="voltage", unit="V", low=-57.0, high=-40.5, verdict="pass")
    fed = _ohms("2A", ("2A",), 1.12, 0.0, 7, 31)
    found += [voltage, msgspec.structs.replace(fed, function=ENERGISED, unit="A", low=1.0, high=1.2, verdict="pass")]
    return tuple(found)


TOLD = (
    Told(record="round-5.jsonl", n=2, at=_day(29), kind="disturbance", names=("J2",), text="block moved", by="Tove"),
    Told(record="round-6.jsonl", n=3, at=_day(37), kind="note", text="crimped W1.3 again", by="Ines"),
    Told(record="disturbances.jsonl", n=1, at=_day(70), kind="disturbance", names=("L3",), text="bolt out", by="Bea"),
)
SEQUENCES = (
    SequenceLine("job/continuity.yaml", "continuity of W1", "Every conductor from pin to pin.", 34, ("ohms",)),
    SequenceLine("job/insulation.yaml", "insulation of W1", "", 12, ("ohms", "insulation")),
    SequenceLine("job/broken.yaml", "broken", wrong="job/broken.yaml:3:1: found 'sep', expected 'step'"),
)
BENCHES = (
    BenchLine("job/benches/bag.yaml", "the bag", ("ohms", "volts"), False, ("hand-held",)),
    BenchLine("job/benches/simulated.yaml", "simulated bench", ("ohms", "insulation"), True, ("meter", "tester")),
    BenchLine("job/benches/torn.yaml", "torn", wrong="job/benches/torn.yaml:1:1: found nothing, expected a bench"),
)


def records() -> tuple[RecordLine, ...]:
    """The records that the rows are from, and some that stand otherwise."""
    found = [
        RecordLine("logs/now.jsonl", "now.jsonl", _day(90), "continuity of W1", "the bag", False, "Bea",
                   "measuring", (("pass", 3),), live=True),
        RecordLine("logs/half.jsonl", "half.jsonl", _day(89), "continuity of W1", "the bag", False, "Bea",
                   "placing", (("pass", 5), ("fail", 1))),
        RecordLine("logs/torn.jsonl", "torn.jsonl", why="torn.jsonl:7: the line was changed", broken=True),
        RecordLine("logs/toy.jsonl", "toy.jsonl", _day(2), "continuity of W1", "simulated bench", True, "Ines",
                   "done", (("pass", 8),), why="simulated"),
    ]  # fmt: skip
    for week in range(8, 0, -1):
        mine = [row.verdict for row in rows() if row.record == f"round-{week}.jsonl"]
        counts = tuple((verdict, mine.count(verdict)) for verdict in ("pass", "fail") if verdict in mine)
        name = f"round-{week}.jsonl"
        found.append(
            RecordLine(f"logs/{name}", name, _day(7 * week - 4), f"weekly round {week}", "the bag", False,
                       "Marek" if week % 2 else "Ines", "done", counts)
        )  # fmt: skip
    return tuple(found)


@functools.cache
def survey() -> Survey:
    """The station at the end of the month."""
    ready = readiness(station(), void(rows(), TOLD, Reaching(station())))
    return Survey(station().file.title, station(), ready, False, SEQUENCES, BENCHES, records(), "logs")


@functools.cache
def traced(name: str) -> Traced:
    """A point over all rounds."""
    try:
        point = point_of(station(), name)
    except UnknownName as error:
        raise ValueError(str(error)) from error
    around = surroundings(station(), point)
    found = []
    for one in study(row for row in rows() if point.matches(row)):
        window = one.window
        if window is not None:
            ranked = suspects(TOLD, window.after_at, window.until_at, around, station())
            across = Across(window.after_at, window.until_at)
            for row in rows():
                across.take(row)
            common = across.common(station(), one.key) if window.after_at else None
            one = replace(one, suspects=tuple(ranked), common=common)
        found.append(one)
    return Traced(point, tuple(found), TOLD[:2], said=tuple(_said(one) for one in found))


def _said(one: Study) -> tuple[str, ...]:
    """What a machine said when a reading was first bad: only the one beside W1.2 has a console."""
    bad = one.window.first_bad if one.window is not None else None
    if bad is None or "W1.2" not in one.subject:
        return ()
    return (
        f"said on consoles about {one.key.text}, {bad.record}:{bad.n}:",
        "  09:04:11.7 line unit: circuit 2 lost its loop",
        "  09:04:12.9 line unit: circuit 2 in service again",
    )


@functools.cache
def changes() -> Changes:
    """What changed most over all rounds."""
    everything = Everything(rows())
    studies = everything.studies()
    episodes = everything.episodes(studies, station())
    changed = tuple(one for one in studies if one.window is not None)
    return Changes(changed, len(studies), tuple(episodes), frozenset())


CABLES = Cables(
    ("4 loose ends, 2 free places, 1 line of a list", "sure: 1 pair, 0 ends without a mate here; open: 2 ends"),
    (
        EndLine("L2", "bay 1, left", "L4 71 %, no mate here 24 %", False, ("label: W1? and W12: 9.0 times likelier",)),
        EndLine("L4", "bay 2", "L2 71 %, no mate here 24 %", False, ("label: 'W12' and 'W1?': 9.0 times likelier",)),
        EndLine("L1", "bay 1", "L3 99.4 %", True, ("length: 9 m by tape and 9.2 m by tape: 4.1 times likelier",)),
        EndLine("L3", "bay 2", "L1 99.4 %", True),
    ),
    ("From bay 1: 8 min, 2 climbs; settles about 2 ends, worth 0.9 yes-or-no answers", "  bay 1:",
     "    clip the tester to one conductor of L2 (bay 1, left)"),
)  # fmt: skip
"""What a small survey comes to."""


class StationSource:
    """Answers out of the station, at once.

    Attributes:
        asked: what was asked for.
    """

    def __init__(self) -> None:
        self.asked: list[str] = []

    def survey(self, tell: Tell) -> Survey:
        self.asked.append("survey")
        tell("reading the records", 1, 1)
        return survey()

    def trace(self, name: str, tell: Tell) -> Traced:
        self.asked.append(f"trace {name}")
        tell(f"reading every record for {name}", 1, 1)
        return traced(name)

    def changes(self, tell: Tell) -> Changes:
        self.asked.append("changes")
        tell("looking through all records", 1, 1)
        return changes()

    def cables(self, tell: Tell) -> Cables:
        self.asked.append("cables")
        return CABLES

    def draft(self, task: Task, tell: Tell) -> tuple[SequenceLine, str]:
        self.asked.append(f"draft {task.kind} {task.about}")
        return survey().sequences[0], "drafted"

    def report(self, record: str, tell: Tell) -> str:
        self.asked.append(f"report {record}")
        return record.replace(".jsonl", ".html")

    def show(self, report: str, tell: Tell) -> str:
        self.asked.append(f"show {report}")
        return "it is open in the browser"

    def explain(self, record: str, tell: Tell) -> tuple[str, ...]:
        self.asked.append(f"explain {record}")
        return ("W1: 8 readings", "  1. Wires 2 and 4 of W1 sit badly.", "      bay 1, shelf 1A, rear, left")

    def compare(self, before: str, after: str, tell: Tell) -> tuple[str, ...]:
        self.asked.append(f"compare {before} {after}")
        return ("W1.2: passed, now fails",)

    def misnamed(self, text: str) -> str:
        return "" if text.startswith("W1") else "the plant has nothing called so"

    def disturb(self, text: str, tell: Tell) -> tuple[str, ...]:
        self.asked.append(f"disturb {text}")
        return ("written to logs/disturbed.jsonl: W1", "evidence about 8 conductors no longer counts: 8 results")

    def all_off(self, tell: Tell) -> str:
        self.asked.append("all-off")
        return "half.jsonl: everything is off, confirmed."

    def mend(self, error: Exception) -> str:
        return str(error) if isinstance(error, ValueError) else ""


@dataclass(frozen=True)
class HallScene:
    """A moment.

    Attributes:
        keys: what is pressed to get there.
        shows: words that must be on the screen at 80 by 24.
    """

    keys: tuple[str, ...]
    shows: tuple[str, ...]


JOB_SCENES: dict[str, HallScene] = {
    "start": HallScene(
        (), ("bay 2", "first power 0 of 2", "continuity of W1", "6 changes", "never tested", "blocked most by")
    ),
    "ready": HallScene(("2",), ("everything, all", "line jacks", "W1", "proven", "failing", "void")),
    "ready-failing": HallScene(("2", "f", "f"), ("everything, failing", "cable W1", "W1.2", "limit: at most 0.6 Ω")),
    "next": HallScene(("3",), ("in the order that clears most", "cable W1", "first power")),
    "sequences": HallScene(("4",), ("continuity of W1", "34 steps", "needs ohms", "cannot be walked")),
    "bench": HallScene(("4", "down", "enter"), ("which bench?", "has no insulation", "cannot be used", "the bag")),
    "records": HallScene(("5",), ("under way", "waits", "broken", "weekly round 8", "10 of them count, 2 do not")),
    "record": HallScene(("5", "down", "enter"), ("half.jsonl", "Goes on with the walk", "Writes one HTML file")),
    "changes": HallScene(("6",), ("what changed most", "W1.2", "a step from", "passes since", "intermittent")),
    "cables": HallScene(("7",), ("loose cables", "open: 2 ends", "L2", "no mate here 24 %", "9.0 times likelier")),
    "cables-card": HallScene(("7", "enter"), ("From bay 1: 8 min, 2 climbs", "clip the tester to one conductor of L2")),
    "trace": HallScene(
        ("a", *"W1.2", "enter"), ("A step from", "touched", "last good", "first bad", "Marek", "0.6", "J1.2")
    ),
    "trace-said": HallScene(
        ("a", *"W1.2", "enter", *["pagedown"] * 2), ("said on consoles about", "line unit: circuit 2 lost its loop")
    ),
    "trace-mended": HallScene(("a", *"W1.3", "enter"), ("last good", "first bad", "W1.3", "readings")),
    "trace-unread": HallScene(("a", *"W1.8", "enter"), ("No record holds a reading of it",)),
    "series": HallScene(("a", *"W1", "enter", "/"), ("what was read of W1", "7 of 7 series", "steady")),
    "actions": HallScene(("a", *"walk"), ("all actions", "walk_", "walk the sequence continuity of W1")),
    "help": HallScene(("question_mark",), ("Help", "The plant bay by bay", "proven", "failing")),
}
"""The moments, by name."""
