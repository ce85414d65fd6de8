"""Walks of the shipped earth sequence on paper: the simulated plant answers, within the meter's own accuracy."""

from __future__ import annotations

import dataclasses
import functools
import random
from collections.abc import Sequence
from pathlib import Path

import msgspec

from bench.assemble import began, load_job
from bench.plant import faults as k
from bench.sequence.file import Do, Found, Hold, Measure, Prove, Seek
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e

JOB = Path(__file__).resolve().parents[3] / "sequences" / "gannet-head"
TOP = 2.4e6


@functools.cache
def _first() -> e.Began:
    """How a walk of the shipped search begins."""
    return began(load_job(JOB / "earth.yaml", JOB / "benches" / "low-ohm.yaml"), "Ana")


@dataclasses.dataclass
class EarthWalk(Walker):
    """One walk of ``earth.yaml``.

    Args:
        faults: what is wrong with the plant.
        settings: of the search, in place of the file's.
        worse: the meter's accuracy, times this: a poor meter.
        seed: of its errors.
        refuse: bonds that nobody lifts.
        loosen: bonds that are put back with so many ohms more.
        before: steps that stand right before the search, beyond those of the file.
        misread: of some pairs what is shown, time after time, as times what is so; once used up, what is so.
    """

    faults: Sequence[k.Fault] = ()
    settings: dict[str, str] | None = None
    worse: float = 1.0
    seed: int = 1
    refuse: Sequence[str] = ()
    loosen: dict[str, float] = dataclasses.field(default_factory=dict)
    before: Sequence[Do | Hold] = ()
    misread: dict[frozenset[str], list[float]] = dataclasses.field(default_factory=dict)

    def __post_init__(self) -> None:
        self.acts: list[Do] = []
        self.measures: list[Measure] = []
        self._random = random.Random(self.seed)
        first = _first()
        bench = first.bench
        rows = tuple(self._blunted(row) for row in bench.instruments[0].rows)
        meter = msgspec.structs.replace(bench.instruments[0], rows=rows)
        steps = [
            msgspec.structs.replace(one, settings=self.settings) if isinstance(one, Seek) and self.settings else one
            for one in first.sequence.steps
        ]
        search = next(place for place, one in enumerate(steps) if isinstance(one, Seek))
        steps[search:search] = self.before
        self.begin(
            msgspec.structs.replace(
                first,
                bench=msgspec.structs.replace(bench, instruments=[meter]),
                sequence=msgspec.structs.replace(first.sequence, steps=steps),
            )
        )
        assert self.state.setting is not None
        self._world = PlantWorld(
            self.state.setting.plant,
            self.faults,
            seed=self.seed,
            reference_ohms=bench.references[0].ohms.value,
        )
        self._put_back: list[str] = []

    def _blunted(self, row):  # type: ignore[no-untyped-def]
        return msgspec.structs.replace(
            row,
            percent_of_reading=self.worse * row.percent_of_reading,
            percent_of_range=self.worse * row.percent_of_range,
        )

    def at(self) -> str:
        return "2026-05-12T18:00:00.000000Z"

    def search(self) -> Found:
        """To the end of the search; returns what it found."""
        while (found := self.ended()) is None:
            pass
        self.found = found
        return found

    def ended(self) -> Found | None:
        """Answer what is asked now; returns the finding, if it was one."""
        event = self.one()
        return event.want if isinstance(event, e.Advised) and isinstance(event.want, Found) else None

    def reach(self, readings: int) -> EarthWalk:
        """To where so many readings of the search are taken and the next thing is asked for."""
        while self.state.seeking is None or not (
            len(self.state.seeking.trail) >= readings and self.state.seeking.advised is not None
        ):
            assert self.ended() is None, "the search came to its end before"
        return self

    def until_lifted(self) -> EarthWalk:
        """To a reading of the search across the gap of a bond."""
        while self.state.seeking is None or not (
            self.state.conditions.handled.lifted and self.state.seeking.advised is not None
        ):
            assert self.ended() is None, "the search came to its end without a lift"
        return self

    def add(self, event: e.Event) -> e.Entry:
        entry = super().add(event)
        if isinstance(event, e.Answered) and hasattr(self, "_world"):
            self._world.lift_bonds(self.state.conditions.handled.lifted)
        return entry

    def done(self, step: Step) -> e.Event:
        source = step.source
        if isinstance(source, Do):
            self.acts.append(source)
            if set(source.lift) & set(self.refuse):
                return e.Skipped(number=self.state.number, reason="not today")
            self._put_back += source.refit
        return super().done(step)

    def said(self, step: Step) -> str:
        return "20" if step.kind == "ask" else super().said(step)

    def measured(self, step: Step) -> e.Event:
        source = step.source
        if isinstance(source, Prove):
            self._world.hold("reference")
        else:
            assert isinstance(source, Measure)
            self.measures.append(source)
            self._world.place(*source.between)
        true = self._world.four_wire("", "", "", "", 0.0)
        back = self._put_back[-1] if self._put_back else ""
        if isinstance(source, Measure) and back in self.loosen and source.subject == back:
            true += self.loosen[back]
        wrong = self.misread.get(frozenset(source.between)) if isinstance(source, Measure) else None
        if wrong:
            true *= wrong.pop(0)
        if true > TOP:
            return self.reading(over="+", range=2e6, resolution=10.0, raw=["over"])
        table = self.bench.instruments[0].table
        assert table is not None
        row = table.pick("ohms 4w", true).row
        half = row.error_at(true, 20.0).half_width
        shown = true + self._random.uniform(-half, half)
        return self.reading(value=shown, range=row.range_top, resolution=row.resolution, raw=["as it came"])


def second_path(a: str, b: str, milliohm: float) -> k.Fault:
    """A path that the design does not have."""
    return msgspec.convert(
        {"fault": "second-earth-path", "between": [a, b], "ohms": f"{milliohm} mohm"}, k.Fault, dec_hook=_hook
    )


def poor(bond: str, milliohm: float) -> k.Fault:
    """A bond with so much more."""
    return msgspec.convert({"fault": "bond-poor", "bond": bond, "ohms": f"{milliohm} mohm"}, k.Fault, dec_hook=_hook)


def gone(bond: str) -> k.Fault:
    """A bond that does not conduct."""
    return msgspec.convert({"fault": "bond-open", "bond": bond}, k.Fault, dec_hook=_hook)


def _hook(kind, value):  # type: ignore[no-untyped-def]
    return kind.parse(value)
