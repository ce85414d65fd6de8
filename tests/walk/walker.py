"""A walker on paper whose hands are in a simulated plant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e

if TYPE_CHECKING:
    from bench.simulate.world.plant import PlantWorld


class InTheWorld(Walker):
    """A walker whose hands join, tag and probe a simulated plant; the tester beeps where that conducts."""

    world: PlantWorld

    def done(self, step: Step) -> e.Event:
        if step.source.rig is not None:
            self.world.rig(step.source.rig)
        return super().done(step)

    def said(self, step: Step) -> str:
        if step.probes is None:
            return super().said(step)
        self.world.place(*step.probes, join=step.source.join)
        # a tester beeps below 30 Ω (common practice, no source)
        return "yes" if self.world.resistance("", "", 0.0) < 30.0 else "no"

    def placed(self, step: Step) -> e.Event:
        if step.probes is not None:
            self.world.place(*step.probes, join=step.source.join)
        return super().placed(step)
