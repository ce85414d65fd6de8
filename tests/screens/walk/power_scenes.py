"""Moments of first power: the drafted stages of a small hall, walked on paper."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from bench.runner import protocol as p
from bench.sequence.file import Measure, Prove
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.state import Phase, State
from tests.power import pure_walk, small_hall
from tests.walk import paper_walk as paper


@cache
def began() -> e.Began:
    """The stages of bay 2, drafted and read by the real loaders."""
    folder = Path(tempfile.mkdtemp())
    state = pure_walk.begun(folder, small_hall.written(folder), "2")
    assert state.setting is not None
    return msgspec.structs.replace(state.setting.began, operator="Ana")


def sound(state: State, step: Step) -> dict[str, Any]:
    """What a sound hall makes the meter show."""
    source, volts = step.source, {"function": "voltage", "unit": "V"}
    if isinstance(source, Prove):
        return {"value": 24.0, **volts}
    assert isinstance(source, Measure) and state.setting is not None
    if source.read == "resistance":
        return {"over": "+", "range": 1e5}
    held = state.setting.limit(step, state.conditions)
    expected = held.expected if held.expected is not None else 0.0
    if source.read == "current":
        low, high = held.limit.lower or 0.0, held.limit.upper or 0.0
        return {"value": (low + high) / 2, "function": "current", "unit": "A"}
    return {"value": expected, **volts}


class PowerWalk(paper.PaperWalk):
    """Answers the machine on its way up the stages."""

    def __init__(self) -> None:
        super().__init__(began(), readings=sound)

    def brought_up(self, step):
        return paper.brought_up(self.state, step, sets=[(0.0, step.source.voltage.value, 3.0)])

    def to(self, title: str, phase: Phase | None = None) -> PowerWalk:
        """Go on until the step of this title is under way."""
        while self.state.step is None or self.state.step.title != title or phase not in (None, self.state.phase):
            self.one()
        return self

    def seated(self) -> PowerWalk:
        self.add(e.Seated(by="Ana", where="bench laptop"))
        return self


FULL = "2A on A alone, all cards in"


def up(part: float = 1.0) -> PowerWalk:
    """The shelf has all its cards and came up, with so much of what it should draw."""
    walk = PowerWalk().seated().to(FULL, Phase.ENERGISING)
    step = walk.state.step
    assert step is not None
    usual = paper.brought_up(walk.state, step)
    amps = [part * (a or 0.0) for a in usual.amps]
    walk.add(paper.brought_up(walk.state, step, amps=amps, sets=[(0.0, 48.0, 3.0)]))
    return walk


def rising(level: int, amps: float | None, since: float, settled: float | None = None) -> list[p.Rise]:
    """A load that comes up, reading by reading; the last one is the one that is shown."""
    before = [(0, 0.35), (0, 0.05), (0, 0.012), (1, 0.3), (1, 0.02), (1, 0.009), (2, 0.28), (2, 0.012), (2, 0.006)]
    found = [
        p.Rise(at=0.5 * n, level=place, since=0.5, amps=a, volts=12.0 * (place + 1))
        for n, (place, a) in enumerate(before)
        if place < level
    ]
    start = 0.5 * len(found)
    tail = [(0.3, 4.0), (0.6, 2.0), (0.8, 1.3), (0.95, 1.05)]
    found += [
        p.Rise(at=start + since * part, level=level, since=since * part, amps=min(3.0, (amps or 0.0) * times))
        for part, times in tail
    ]
    volts = 12.0 * (level + 1) - 0.02
    return [*found, p.Rise(at=start + since, level=level, since=since, amps=amps, volts=volts, settled=settled)]
