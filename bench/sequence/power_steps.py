"""What an energise step means on a plant: what is on, which current is right, what would be too much, what to say.

A plan is followed in its order: which breakers are closed and which cards are in by then. The walk asks the same
questions again with what was really done.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.ramp import Level, RampUp
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.quantity import engineering
from bench.sequence.file import Do, Energise
from bench.sequence.power_tree import Forecast, Powered, PowerTree, WillNotCarry, headroom_line, power_tree

LEVEL_PART: Final = 0.9
"""On the lower levels converters are off: more than this part of the level's limit, after the inrush, is too much."""
WAITING_A: Final = 0.018
"""What a converter may take while it is off (makers' data: 15 to 18 mA)."""
BAND: Final = (0.01, 0.010)
"""What a settled current may change over the span: a part of what is expected, and amperes at least."""


def powered(
    step: Energise, plant: Plant, closed: Collection[str], out: Collection[str], volts: float | None = None
) -> Powered:
    """What is on while a step is under way.

    Args:
        step: the step.
        plant: the plant.
        closed: the closed breakers.
        out: the cards that are out.
        volts: at the supply's terminals, without sign; the step's target by default.
    """
    sign = math.copysign(1.0, plant.supplies[step.at[0]].volts)
    at = tuple(step.at)
    shelves = power_tree(plant).shelves_on(at, closed) if step.dummy is not None else ()
    dummy = {} if step.dummy is None else dict.fromkeys(shelves, step.dummy.value)
    height = step.voltage.value if volts is None else volts
    return Powered(at, sign * height, closed=frozenset(closed), out=frozenset(out), dummy=dummy)


def window(step: Energise, forecast: Forecast) -> tuple[float, float]:
    """Least and most of the current that the supply may give once it has settled, in amperes."""
    margin = step.margin.value
    return max(0.0, forecast.least.amps - margin), forecast.most.amps + margin


def at_stages(step: Energise, tree: PowerTree, what: Powered) -> tuple[float, ...]:
    """Amperes that may rightly flow at each lower stage, leakage apart: relays draw, and converters that are off wait.

    Args:
        step: the step.
        tree: of the plant.
        what: is on at the target.
    """
    cards = tree.converters_on(what)
    made = []
    for level in step.ramp:
        volts = math.copysign(level.to.value, what.volts)
        most = tree.flow(replace(what, volts=volts, dummy={}), 1).amps
        made.append(most + WAITING_A * cards)
    return tuple(made)


def ramp(step: Energise, forecast: Forecast, lower: Sequence[float], renews_s: float = 0.0) -> RampUp:
    """The step as a ramp to watch.

    Args:
        step: the step.
        forecast: of its target.
        lower: what may rightly flow at each of its lower stages, see :func:`at_stages`.
        renews_s: from one new value of the ammeter to the next.
    """
    levels = [
        Level(
            level.to.value,
            level.limit.value,
            level.inrush.value,
            LEVEL_PART * level.limit.value,
            level.leakage.value + rightly if level.leakage is not None else None,
            level.hold.value,
            level.within.value,
        )
        for level, rightly in zip(step.ramp, lower, strict=True)
    ]
    most = window(step, forecast)[1]
    limit = step.current_limit.value
    top = Level(step.voltage.value, limit, step.inrush.value, most, None, step.hold.value, step.within.value)
    band = step.band.value if step.band is not None else max(BAND[0] * forecast.typical.amps, BAND[1])
    return RampUp((*levels, top), step.settle.value, band, step.soak.value, renews_s)


class Planned(msgspec.Struct, frozen=True):
    """An energise step in its place in the plan.

    Attributes:
        subject: what its verdict is about: a shelf, or the supplies where nothing or much is on.
        touches: every name that it bears on: shelves, inlets, breakers, the conductors on the way.
        text: the step in words: what is on, what is expected, what the breakers have left.
    """

    subject: str
    touches: tuple[str, ...]
    text: str


class Forecasts:
    """Follows a plan step by step.

    Args:
        plant: the plant.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._handled = Handled()
        self._known: dict[tuple[object, ...], Forecast] = {}

    def after(self, act: Do) -> None:
        """Something is done by hand."""
        self._handled = self._handled.after(act.changes)

    def _tree(self, step: Energise) -> PowerTree:
        return power_tree(self._plant, step.derating.value)

    def forecast(self, step: Energise) -> Forecast:
        """What the step should show.

        Raises:
            WillNotCarry: the loads ask for more than the way to them can carry.
        """
        what = powered(step, self._plant, self._handled.closed, self._handled.out)
        key = (what.at, what.volts, what.closed, what.out, tuple(what.dummy.items()), step.derating.value)
        if key not in self._known:
            self._known[key] = self._tree(step).forecast(what)
        return self._known[key]

    def problems(self, step: Energise, proven: Collection[str]) -> Iterator[tuple[str, str, str]]:
        """Why the step may not be in this plan: field, found, expected.

        Args:
            step: the step; its supplies are in the plant.
            proven: names that an earlier step of the plan measures something about.
        """
        feeds = {self._plant.feeds[self._plant.supplies[name].feed].nominal_v for name in step.at}
        if len(feeds) > 1:
            yield "at", "supplies of different nominal voltage", "supplies that one voltage fits"
            return
        try:
            forecast = self.forecast(step)
        except WillNotCarry as error:
            yield "at", f"a plan that would not work: {error}", "fewer shelves on"
            return
        for load in forecast.overloads:
            line = headroom_line(load, step.derating.value)
            yield "at", f"a plan that would overload breaker {line}", "fewer shelves on it, or a higher rating"
        most = window(step, forecast)[1]
        if most >= step.current_limit.value:
            limit = engineering(step.current_limit.value, "A")
            yield "current-limit", limit, f"more than the {engineering(most, 'A')} that the shelves may draw"
        if step.evidence:
            return
        for inlet in self._tree(step).inlets_on(forecast.powered.at, forecast.powered.closed):
            names = {inlet.name, inlet.shelf, inlet.live.name}
            if not names & set(proven):
                yield (
                    "at",
                    f"shelf {inlet.shelf} on, of which nothing was measured before",
                    "a reading of its inlet before it, or 'evidence' with the record that holds one",
                )
                return

    def planned(self, step: Energise) -> Planned:
        """The step in its place."""
        forecast = self.forecast(step)
        return describe(self._plant, self._tree(step), step, forecast)


def describe(plant: Plant, tree: PowerTree, step: Energise, forecast: Forecast) -> Planned:
    """An energise step in words, with every name that it bears on."""
    what = forecast.powered
    inlets = tree.inlets_on(what.at, what.closed)
    shelves = tuple(dict.fromkeys(inlet.shelf for inlet in inlets))
    touches: dict[str, None] = {}
    for inlet in inlets:
        path = plant.supply_path(inlet.shelf, inlet.feed)
        touches |= dict.fromkeys([inlet.shelf, inlet.name, inlet.live.name, inlet.back.name])
        touches |= dict.fromkeys(edge.id for edge in (*path.out, *path.back))
        for name in path.breakers:
            touches |= dict.fromkeys([plant.breakers[name].line.name, plant.breakers[name].load.name])
    subject = shelves[0] if len(shelves) == 1 else "+".join(shelves) if shelves else "+".join(step.at)
    return Planned(subject, tuple(touches), stage_text(step, forecast))


def stage_text(step: Energise, forecast: Forecast) -> str:
    """What is on, what is expected, and what every breaker has left."""
    low, high = window(step, forecast)
    what = forecast.powered
    levels = ", ".join(str(level.to) for level in step.ramp)
    lines = [
        f"In the place of {', '.join(what.at)}: {f'{levels}, then ' if levels else ''}{step.voltage}.",
        f"Expected {engineering(forecast.typical.amps, 'A', digits=3)}, allowed {low:.3f} A to {high:.3f} A.",
    ]
    for load in forecast.typical.shelves.values():
        lines.append(f"On: shelf {load.shelf}, {load.volts:.2f} V and {load.amps:.3f} A expected there.")
    if not forecast.typical.shelves:
        lines.append("No shelf is on.")
    lines += [f"Breaker {headroom_line(load, step.derating.value)}." for load in forecast.breakers.values()]
    return "\n".join(lines)
