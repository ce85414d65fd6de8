"""Walks on paper: real files through the real loaders, synthetic readings, no instrument."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import msgspec

from bench.judge.accuracy import AccuracyRow
from bench.quantity import Resistance
from bench.sequence.file import Found, Measure, Prove, Zero
from bench.sequence.load import load_sequence
from bench.sequence.plan import Step
from bench.simulate.on_paper import NIGHT, Walker
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts, Reference
from bench.walk.state import Phase, State, start, take

__all__ = ["NIGHT"]

PLANT = """
plant: try-out
title: a small plant
ambient: 20 degC
connector-types:
  - {name: R4, pins: 4, rows: 1, pairs: adjacent}
cable-types:
  - {name: P2, pairs: 2, size: AWG 24}
  - {name: K2, colours: [BU, BK], size: 2.5 mm2}
card-types:
  - {name: CV, idle: 0.5 A}
bays:
  - name: "1"
    shelves:
      - name: 1A
        slots: 2
        cards: {1: CV}
        inlets: [A]
        connectors: [{name: J1, type: R4}]
  - name: "2"
    shelves:
      - {name: 2A, connectors: [{name: J2, type: R4}, {name: J3, type: R4}]}
      - {name: 2B, connectors: [{name: J4, type: R4}]}
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: RA}
supplies:
  - {name: G1, feed: A, at: "1"}
busbars:
  - {name: BA, feed: A, at: "1"}
  - {name: RA, feed: A, pole: return, at: "1"}
breakers:
  - {name: F1, feed: A, rating: 10 A, at: "1"}
cables:
  - {name: W1, type: P2, length: 10 m, from: J1, to: J2}
  - {name: W2, type: P2, length: 10 m, from: J3, to: J4}
  - {name: W3, type: K2, length: 2 m, from: [G1.feed, G1.return], to: [BA.1, RA.1]}
  - {name: W4, type: K2, length: 2 m, from: [BA.2, RA.2], to: [F1.line, 1A.A-return]}
  - {name: W5, type: K2, length: 1 m, from: [F1.load, cut], to: [1A.A, cut]}
"""

EVERY_STEP = """
sequence: every kind of step
plant: plant.yaml
decide: {rule: guarded, probability: 95 %}
steps:
  - {step: caution, text: Nothing may be live.}
  - {step: hold, text: Isolated and locked off., word: DEAD}
  - {step: do, text: Unplug both ends., touches: [J1, J2]}
  - {step: ask, text: How warm is it?, name: ambient, least: -10, most: 45}
  - {step: prove, against: open-leads}
  - {step: zero}
  - {step: prove, against: reference}
  - step: each
    over: conductors
    of: W1
    steps:
      - step: measure
        read: resistance
        between: ["{conductor.near}", "{conductor.far}"]
        limit: {computed: conductor}
  - step: measure
    read: resistance
    between: [J1.1, J1.2]
    range: 1 Mohm
    limit: {at-least: 100 kohm, source: set for this test}
  - {step: wait, text: Let it rest., time: 5 s}
  - {step: hold, text: Everybody is clear., word: CLEAR}
  - {step: do, text: Stand back.}
  - {step: set, text: On., output: on, voltage: 48 V}
  - {step: measure, read: voltage, between: [BA, RA], limit: {at-least: -57 V, at-most: -40.5 V, source: the feed}}
  - {step: wait, text: Let it charge., time: 3 s}
  - {step: set, text: Off., output: off}
  - {step: do, text: Close F1., close: [F1]}
  - {step: do, text: Open F1., open: [F1]}
  - {step: zero, title: Zero again}
  - {step: prove, against: reference, title: Prove again}
"""

OHM_RANGES = (10.0, 100.0, 1e3, 1e4, 1e5, 1e6)


def ohm_rows(function: str = "ohms 2w") -> tuple[AccuracyRow, ...]:
    """A good bench meter's ohms."""
    return tuple(
        AccuracyRow(
            function,
            "Ω",
            top,
            percent_of_reading=0.01,
            percent_of_range=0.002,
            resolution=top / 1e6,
            highest=1.2 * top,
            drift_percent_of_reading_per_k=0.0006,
            test_current_a=1e-3,
        )
        for top in OHM_RANGES
    )


VOLTS = tuple(
    AccuracyRow("volts", "V", top, percent_of_reading=0.005, percent_of_range=0.001, resolution=top / 1e6)
    for top in (10.0, 100.0)
)

METER = InstrumentFacts(
    name="meter",
    profile="a-meter",
    title="bench meter",
    roles=["ohms", "volts"],
    rows=(*ohm_rows(), *VOLTS),
    accuracy_of={"resistance 2w": "ohms 2w", "voltage": "volts"},
    calibrated="2026-02-01",
)
SUPPLY = InstrumentFacts(name="supply", profile="a-supply", title="bench supply", roles=["supply"], outputs=True)
BENCH = BenchFacts(
    name="try-out bench",
    simulated=True,
    instruments=[METER, SUPPLY],
    role_of={"ohms": "meter", "volts": "meter", "supply": "supply"},
    references=[Reference(name="R100", ohms=Resistance(100.0), tolerance=0.001)],
)
WEAK = msgspec.structs.replace(
    BENCH,
    name="weak bench",
    instruments=[
        msgspec.structs.replace(
            METER, rows=(*(AccuracyRow("ohms 2w", "Ω", 1e6, percent_of_range=1.0, resolution=1.0),), *VOLTS)
        ),
        SUPPLY,
    ],
)
LEADS = 0.21


@dataclass(frozen=True)
class Made:
    """The beginning of a walk."""

    began: e.Began

    def with_bench(self, bench: BenchFacts) -> Made:
        return Made(msgspec.structs.replace(self.began, bench=bench))


def made_from(path: Path, bench: BenchFacts = BENCH) -> Made:
    """A beginning from files."""
    loaded = load_sequence(path)
    return Made(
        e.Began(
            software="0.0 test",
            edition=e.EDITION,
            plant=loaded.plant.file,
            sequence=loaded.sequence,
            bench=bench,
            operator="Ana",
            sources=loaded.sources,
        )
    )


def made(folder: Path, sequence: str = EVERY_STEP, plant: str = PLANT, bench: BenchFacts = BENCH) -> Made:
    """A beginning from texts, written down and read by the real loaders."""
    (folder / "plant.yaml").write_text(plant, "utf-8")
    path = folder / "sequence.yaml"
    path.write_text(sequence, "utf-8")
    return made_from(path, bench)


def sound(state: State, step: Step) -> dict[str, object]:
    """What a sound plant would make the meter show: fields of a reading."""
    source = step.source
    match source:
        case Zero():
            return {"value": LEADS}
        case Prove(against="open-leads"):
            return {"over": "+", "range": OHM_RANGES[-1]}
        case Prove():
            return {"value": 100.0 + LEADS}
        case Measure(read="voltage"):
            return {"value": -48.0}
        case Measure() if source.limit.at_least is not None:
            return {"over": "+", "range": OHM_RANGES[-1]}
    assert state.setting is not None
    held = state.setting.limit(step, state.conditions)
    assert held.expected is not None
    return {"value": round(held.expected + LEADS, 4)}


Readings = Callable[[State, Step], dict[str, object]]


class PaperWalk(Walker):
    """A walk of these files, and what may come between.

    Args:
        began: how it begins.
        entries: what happened so far; empty: nothing.
        state: where it stands then.
        readings: what the meter shows.
    """

    def __init__(
        self,
        began: e.Began,
        entries: Iterable[e.Entry] = (),
        state: State | None = None,
        readings: Readings = sound,
    ) -> None:
        self.began, self.readings = began, readings
        if state is None:
            self.begin(began)
        else:
            self.state, self.entries = state, list(entries)

    def answer(self, text: str = "") -> None:
        self.add(e.Answered(number=self.state.number, answer=text, by="Ana"))

    def went(self, to: int, then: str = "return") -> None:
        self.add(e.Went(number=self.state.number, to=to, then=then, by="Ana"))  # type: ignore[arg-type]

    def skip(self, reason: str = "the far end is not reachable today") -> None:
        self.add(e.Skipped(number=self.state.number, reason=reason, by="Ana"))

    def trouble(self, kind: str = "late") -> None:
        self.add(e.Troubled(number=self.state.number, instrument="meter", kind=kind, what="It did not answer."))

    def safe(self, **confirmed: bool) -> None:
        self.add(e.MadeSafe(number=self.state.number, confirmed=confirmed or {"supply": True}))

    def resume(self, **changes: object) -> None:
        self.add(e.Resumed(software="0.0 test", **changes))  # type: ignore[arg-type]

    def read(self, **changes: object) -> None:
        """A reading of the step under way."""
        self.add(reading(self.state, self.step, **(changes or self.readings(self.state, self.step))))

    def measured(self, step: Step) -> e.Event:
        return reading(self.state, step, **self.readings(self.state, step))

    def placed(self, step: Step) -> e.Event:
        return msgspec.structs.replace(self.answered(), how="contact")

    def brought_up(self, step: Step) -> e.Event:
        return brought_up(self.state, step)

    def waited(self, left: float) -> e.Event:
        return e.Elapsed(number=self.state.number, seconds=min(1.0, left))

    def advised(self) -> e.Event:
        return e.Advised(number=self.state.number, want=Found(verdict="pass", sentence="Nothing is wrong."))

    def until(self, *, phase: Phase | None = None, key: str = "", index: int | None = None) -> PaperWalk:
        """Go on until the machine stands there."""
        for _ in range(100_000):
            step = self.state.step
            if (
                (phase is None or self.state.phase is phase)
                and (not key or (step is not None and step.key == key))
                and (index is None or self.state.place.cursor == index)
                and (index is None or phase is not None or self.state.phase not in (Phase.SAFING, Phase.MEETING))
            ):
                return self
            assert not self.state.finished, f"never came: {phase} {key} {index}"
            self.one()
        raise AssertionError("never came")

    def finish(self) -> PaperWalk:
        """Walk to the end."""
        self.run()
        return self

    def index(self, kind: str, which: int = 0) -> int:
        """Index of a step by its kind."""
        assert self.state.setting is not None
        return [step.index for step in self.state.setting.plan.steps if step.kind == kind][which]


def reading(state: State, step: Step, **changes: object) -> e.Read:
    """A reading for a step: what is given, in an envelope that fits the step."""
    volts = step.role == "volts"
    fields: dict[str, object] = {
        "number": state.number,
        "instrument": "meter",
        "function": "voltage" if volts else "resistance 2w",
        "unit": "V" if volts else "Ω",
        "raw": ["as it came"],
        **changes,
    }
    return e.Read(**fields)  # type: ignore[arg-type]


def brought_up(now: State, step: Step, **changes: object) -> e.Energised:
    """A load that came up as it should: what is given, in an envelope that fits the step."""
    assert now.setting is not None
    found = now.setting.prepared(step, now.conditions)
    assert found.forecast is not None
    amps = found.forecast.typical.amps
    times = [0.1 * k for k in range(1, 140)]
    fields: dict[str, object] = {
        "number": now.number,
        "instrument": "supply",
        "state": "on",
        "confirmed": True,
        "why": "done",
        "times": times,
        "amps": [amps] * len(times),
        "terminal": [(times[-1], 48.0)],
        "sets": [(0.0, 48.0, 2.0)],
        **changes,
    }
    if fields["state"] == "off":
        fields["tripped"] = len(times) - 1
    return e.Energised(**fields)  # type: ignore[arg-type]


def willing(state: State, readings: Readings = sound) -> e.Event:
    """The event that a willing crew answers the open request with."""
    assert state.setting is not None
    return PaperWalk(state.setting.began, (), state, readings).event()


def refold(entries: Iterable[e.Entry]) -> State:
    """The state by folding from the start."""
    state = start()
    for entry in entries:
        state = take(state, entry)
    return state
