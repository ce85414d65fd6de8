"""First power as it stands: what is live, what comes next, what each stage should show and what it showed.

For their page and the page of a load that comes up; in words by :mod:`bench.screens.walk.stage_words`. Pure
functions over the folded state: a stage is a step that brings a load up, or one that reads what a shelf takes of the
plant's own supply.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

import msgspec

from bench.plant.model import NoPath, Plant
from bench.quantity import engineering
from bench.sequence.file import Do, Energise, Measure
from bench.sequence.plan import Plan, Step
from bench.sequence.power_steps import Forecasts, window
from bench.sequence.power_tree import BreakerLoad, Forecast, Powered, WillNotCarry, power_tree
from bench.walk.outcome import Outcome
from bench.walk.power import still_live
from bench.walk.state import Phase, State

Place = Literal["up", "on", "now", "next", "ahead", "failed", "undecided", "void", "passed over", "skipped"]
"""How far a stage is: came up and is off again; is on; comes up; is the next; later; and how else it may have ended."""

FINDINGS: Final = {
    "short": "SHORT",
    "heavy": "TOO MUCH",
    "light": "TOO LITTLE",
    "creeps": "CREEPS",
    "leaks": "LEAKS",
    "restless": "RESTLESS",
    "reforms": "REFORMS",
    "stopped": "STOPPED",
}
"""A load's finding as it is shown."""
HINTS: Final = {
    "light": "a card that is not seated, or a fuse that is open",
    "heavy": "the card that went in last",
    "short": "the shelf's wiring and filters",
    "creeps": "what warms up",
    "leaks": "capacitors that do not reform",
    "restless": "something that warms up",
}
"""Where to look first."""


class Drop(msgspec.Struct, frozen=True):
    """Voltage at one inlet.

    Attributes:
        inlet: its name.
        expected: volts with their sign.
        measured: volts with their sign; None where nothing was read.
        verdict: of that reading; empty where there is none.
    """

    inlet: str
    expected: float
    measured: float | None = None
    verdict: str = ""


class Stage(msgspec.Struct, frozen=True):
    """One stage.

    Attributes:
        index: of its step.
        title: its title, without what all stages of the group begin with.
        place: how far it is.
        expected: amperes that the cards that are in should draw, typically; None where that is not known.
        low: least that the current may be.
        high: most that it may be.
        measured: amperes that it drew; None where nothing was read.
        finding: what is wrong in a word; empty where nothing is.
        drops: what arrives at the inlets that are on.
    """

    index: int
    title: str
    place: Place
    expected: float | None = None
    low: float = 0.0
    high: float = 0.0
    measured: float | None = None
    finding: str = ""
    drops: tuple[Drop, ...] = ()


class Headroom(msgspec.Struct, frozen=True):
    """What one closed breaker carries.

    Attributes:
        breaker: its name.
        expected: amperes at the most, from the cards that are in.
        measured: amperes, from what was read; None where nothing was.
        allowed: amperes that it may carry all the time.
        rating: its rated current in amperes.
    """

    breaker: str
    expected: float
    measured: float | None
    allowed: float
    rating: float

    @property
    def left(self) -> float:
        """Amperes left, by the larger of what is expected and what was measured."""
        return self.allowed - max(self.expected, self.measured or 0.0)


class Standing(msgspec.Struct, frozen=True):
    """First power as it stands.

    Attributes:
        group: what the stages belong to: ``shelf 2A``.
        live: what is live, one sentence for each source; empty where nothing is, as far as this walk knows.
        beyond: what this program cannot switch off, and whom to tell to open what.
        next: the title of what makes something live next; empty where nothing will.
        stages: in order.
        breakers: of the stage that is on, comes up or comes next.
    """

    group: str
    live: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    next: str = ""
    stages: tuple[Stage, ...] = ()
    breakers: tuple[Headroom, ...] = ()

    @property
    def stage(self) -> Stage | None:
        """The stage that is on, comes up or comes next."""
        for place in ("on", "now", "next"):
            for stage in self.stages:
                if stage.place == place:
                    return stage
        return None


def has_stages(state: State) -> bool:
    """Whether the sequence brings anything up."""
    return state.setting is not None and bool(_planned(state.setting.plan, state.setting.plant).steps)


def standing(state: State) -> Standing | None:
    """First power as it stands; None where the sequence brings nothing up."""
    if not has_stages(state):
        return None
    setting = state.setting
    assert setting is not None
    planned = _planned(setting.plan, setting.plant)
    steps = list(planned.steps.values())
    on = next((step for step in steps if step.index in state.outputs.on.values()), None)
    ahead = next((step for step in steps if step.index >= state.place.cursor), None)
    chosen = on or ahead or steps[-1]
    mine = [step for step in steps if _group(step) == _group(chosen)]
    stages = tuple(_stage(state, planned, step, ahead, on) for step in mine)
    under_way = state.phase is Phase.ENERGISING
    following = next((s for s in setting.plan.steps[state.place.cursor + under_way :] if _makes_live(s)), None)
    shown = next((stage for stage in stages if stage.index == chosen.index), None)
    return Standing(
        group=_group(chosen),
        live=tuple(_live(state)),
        beyond=tuple(beyond(state)),
        next=_coming(following, steps),
        stages=stages,
        breakers=tuple(_breakers(state, planned, chosen, shown)),
    )


def beyond(state: State) -> list[str]:
    """What is on and this program cannot switch off, with whom to tell to open what."""
    if state.setting is None:
        return []
    return still_live(state.setting.plant, state.conditions.handled)


# the stages of a plan


class _Planned(msgspec.Struct):
    """What a plan brings up, with what each stage should show; worked out where it is asked for."""

    plan: Plan
    plant: Plant
    steps: dict[int, Step]
    known: dict[object, Forecast | None] = msgspec.field(default_factory=dict)
    forecasts: dict[int, Forecasts] = msgspec.field(default_factory=dict)

    def forecast(self, step: Step) -> Forecast | None:
        """What a stage should show with everything done as planned; None where it could not work."""
        if step.index not in self.known:
            self.known[step.index] = self._worked_out(step)
        return self.known[step.index]

    def _worked_out(self, step: Step) -> Forecast | None:
        follow = Forecasts(self.plant)
        closed: set[str] = set()
        for earlier in self.plan.steps[: step.index]:
            if isinstance(earlier.source, Do):
                follow.after(earlier.source)
                closed = (closed | set(earlier.source.close)) - set(earlier.source.open)
        if isinstance(step.source, Energise):
            try:
                return follow.forecast(step.source)
            except WillNotCarry:
                return None
        # the ammeter stands in the place of the breaker that is open while it reads
        return self.of_plant(step, frozenset(closed | {_breaker(self.plant, step)}))

    def of_plant(self, step: Step, closed: frozenset[str]) -> Forecast | None:
        """What the plant's own supply carries with these breakers closed."""
        inlet = self.plant.inlets[step.subject]
        key = (inlet.feed, closed)
        if key not in self.known:
            try:
                supply = self.plant.supplies[self.plant.supply_path(inlet.shelf, inlet.feed).supply]
                what = Powered((supply.name,), supply.volts, supply.ohms, closed)
                self.known[key] = power_tree(self.plant).forecast(what)
            except (WillNotCarry, NoPath, KeyError):
                self.known[key] = None
        return self.known[key]


_last: list[_Planned] = []
"""The plan that was asked about last: a screen paints the same one again and again."""


def _planned(plan: Plan, plant: Plant) -> _Planned:
    if not _last or _last[0].plan is not plan:
        steps = {step.index: step for step in plan.steps if _is_stage(step, plant)}
        _last[:] = [_Planned(plan, plant, steps if any(_makes_live(s) for s in plan.steps) else {})]
    return _last[0]


def _is_stage(step: Step, plant: Plant) -> bool:
    source = step.source
    if isinstance(source, Energise):
        return True
    return isinstance(source, Measure) and source.limit.computed == "idle-current" and step.subject in plant.inlets


def _makes_live(step: Step) -> bool:
    return step.kind in ("energise", "do") and step.source.energises


def _coming(step: Step | None, stages: Sequence[Step]) -> str:
    """What makes something live next: what is closed by hand, and the stage that it is for."""
    if step is None or not isinstance(step.source, Do):
        return step.title if step is not None else ""
    named = ", ".join([*step.source.switch_on, *step.source.close])
    stage = next((one for one in stages if one.index > step.index), None)
    return f"{named} by hand{f', then {stage.title}' if stage is not None else ''}"


def _group(step: Step) -> str:
    if step.kind != "energise":
        return f"feed {step.subject.partition('.')[2]} on the plant's own supply"
    return "shelf after shelf" if "+" in step.subject else f"shelf {step.subject}"


def _breaker(plant: Plant, step: Step) -> str:
    inlet = plant.inlets[step.subject]
    return plant.supply_path(inlet.shelf, inlet.feed).breakers[-1]


# one stage


def _stage(state: State, planned: _Planned, step: Step, ahead: Step | None, on: Step | None) -> Stage:
    forecast = planned.forecast(step)
    outcome = state.kept.latest.get(step.index)
    low = high = 0.0
    expected: float | None = None
    if forecast is not None and isinstance(step.source, Energise):
        low, high = window(step.source, forecast)
        expected = forecast.typical.amps
    elif forecast is not None:
        load = forecast.typical.shelves.get(step.subject.partition(".")[0])
        expected = load.inlets[step.subject][1] if load is not None and step.subject in load.inlets else None
    if outcome is not None and outcome.figure.unit == "A":
        low, high = outcome.bounds.low or 0.0, outcome.bounds.high or 0.0
    return Stage(
        index=step.index,
        title=_short(step),
        place=_place(state, step, outcome, ahead, on),
        expected=expected,
        low=low,
        high=high,
        measured=outcome.figure.value if outcome is not None and outcome.figure.unit == "A" else None,
        finding=_finding(outcome),
        drops=_drops(state, step, forecast),
    )


def _short(step: Step) -> str:
    """The title without the name of the shelf, which stands above all stages of the group."""
    return step.title.removeprefix(f"{step.subject} ").removeprefix("on ").removesuffix(" in")


def _place(state: State, step: Step, outcome: Outcome | None, ahead: Step | None, on: Step | None) -> Place:
    if on is not None and on.index == step.index:
        return "on"
    current = state.step
    if state.phase is Phase.ENERGISING and current is not None and current.index == step.index:
        return "now"
    if ahead is not None and step.index == ahead.index:
        return "next"
    if outcome is None or step.index > state.place.cursor:
        return "ahead"
    if outcome.barred:
        return "passed over"
    named: dict[str, Place] = {"fail": "failed", "undecided": "undecided", "skipped": "skipped", "void": "void"}
    return named.get(outcome.verdict, "up")


def _finding(outcome: Outcome | None) -> str:
    if outcome is None:
        return ""
    if outcome.finding:
        return outcome.finding
    if outcome.verdict == "fail" and outcome.figure.value is not None and outcome.figure.unit == "A":
        if outcome.bounds.low is not None and outcome.figure.value < outcome.bounds.low:
            return "light"
        return "heavy"
    return ""


def _drops(state: State, step: Step, forecast: Forecast | None) -> tuple[Drop, ...]:
    """What should arrive at each inlet that is on, and what was read there while this stage was on."""
    if forecast is None or state.setting is None:
        return ()
    plan = state.setting.plan.steps
    fed = {name: at for load in forecast.typical.shelves.values() for name, (at, _) in load.inlets.items()}
    if step.kind != "energise":
        fed = {name: at for name, at in fed.items() if name == step.subject}
    read: dict[str, Outcome] = {}
    around = plan[step.index + 1 :] if step.kind == "energise" else reversed(plan[: step.index])
    for other in around:
        if other.kind in ("energise", "set"):
            break
        if other.kind != "measure" or other.source.read != "voltage" or other.subject not in fed:
            if step.kind != "energise" and other.kind == "hold":
                break
            continue
        outcome = state.kept.latest.get(other.index)
        if outcome is not None and outcome.figure.value is not None:
            read.setdefault(other.subject, outcome)
    return tuple(
        Drop(name, at, read[name].figure.value, read[name].verdict) if name in read else Drop(name, at)
        for name, at in fed.items()
    )


# what is live


def _live(state: State) -> list[str]:
    """Every source that is on, in a sentence."""
    setting, here = state.setting, state.conditions
    assert setting is not None
    told = []
    for instrument, index in state.outputs.on.items():
        step = setting.plan.steps[index]
        if here.fed is not None and step.kind == "energise":
            told.append(f"{instrument} {_through(setting.plant, here.fed)}")
        else:
            told.append(f"{instrument} is on.")
    source = state.step.source if state.step is not None else None
    if state.phase is Phase.ENERGISING and isinstance(source, Energise):
        what = Powered(tuple(source.at), source.voltage.value, closed=here.handled.closed)
        told.append(f"coming up to {source.voltage}: {_through(setting.plant, what)}")
    for name in sorted(here.handled.live):
        supply = setting.plant.supplies[name]
        shelves = power_tree(setting.plant).shelves_on([name], here.handled.closed)
        reaches = f"shelves {', '.join(shelves)}" if shelves else "no shelf: breakers are open"
        told.append(f"{supply.kind} {name}, {engineering(supply.volts, 'V')}, reaches {reaches}.")
    return told


def _through(plant: Plant, what: Powered) -> str:
    tree = power_tree(plant)
    inlets = tree.inlets_on(what.at, what.closed)
    ways = [tree.breakers_of(inlet.name) for inlet in inlets]
    breakers = dict.fromkeys(name for way in ways for name in way)
    shelves = dict.fromkeys(inlet.shelf for inlet in inlets)
    place = f"in the place of {', '.join(what.at)} at {engineering(abs(what.volts), 'V')}"
    if not inlets:
        return f"{place}; no shelf is on."
    return f"{place} through {', '.join(breakers)}: shelf {', '.join(shelves)}."


def _breakers(state: State, planned: _Planned, step: Step, stage: Stage | None) -> list[Headroom]:
    """What each breaker carries for the stage that is shown."""
    forecast = _as_it_is(state, planned, step)
    if forecast is None:
        return []
    measured = stage.measured if stage is not None and stage.place not in ("next", "ahead", "now") else None
    if step.kind != "energise":
        measured = None  # one shelf's current is not the feeder's
    return [_headroom(load, forecast, measured) for load in forecast.breakers.values()]


def _as_it_is(state: State, planned: _Planned, step: Step) -> Forecast | None:
    """What the stage should show with the breakers and cards as they are, where it is on or comes up."""
    setting, here = state.setting, state.conditions
    assert setting is not None
    under_way = state.phase is Phase.ENERGISING and state.place.cursor == step.index
    if not under_way and step.index not in state.outputs.on.values():
        if step.kind != "energise" and here.handled.live:
            return planned.of_plant(step, here.handled.closed)
        return planned.forecast(step)
    key = (step.index, here.handled.closed, here.handled.out)
    if key not in planned.known:
        planned.known[key] = setting.prepared(step, here).forecast
    return planned.known[key]


def _headroom(load: BreakerLoad, forecast: Forecast, measured: float | None) -> Headroom:
    flows: Mapping[str, float] = forecast.typical.edges
    total = forecast.typical.amps
    share = abs(flows.get(load.breaker, 0.0)) / total if total > 0 else 0.0
    return Headroom(
        load.breaker, load.amps, measured * share if measured is not None else None, load.allowed, load.rating
    )
