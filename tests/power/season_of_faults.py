"""Faults of first power drawn at random, the name that each must be found by, and the stage that must stop it."""

from __future__ import annotations

import random
from dataclasses import dataclass

from bench.diagnose.supply.locate import MissingVolts
from bench.plant import faults as k
from bench.plant.model import Plant
from bench.quantity import Capacitance, Current, Duration, Resistance
from bench.sequence.power_tree import PowerTree
from bench.walk.power import prepare

SHELVES = ("2A", "2B")
KINDS = ("none", "short", "crossed", "reversed", "breaker", "heavy", "light", "creeps", "reforms", "lossy")


@dataclass(frozen=True)
class Drawn:
    """One run.

    Attributes:
        kind: the name that must come out.
        fault: what is in the plant; None for a sound one.
        subject: what the finding must be about; empty: anything.
        shelf: the shelf that is wrong.
        highest: volts that the supply may reach with that shelf on before the fault must have been met.
    """

    kind: str
    fault: k.Fault | None
    subject: str
    shelf: str
    highest: float


def drawn(seed: int) -> Drawn:
    """The same seed draws the same fault."""
    rng = random.Random(f"faults {seed}")
    kind = KINDS[seed % len(KINDS)]
    shelf, feed = rng.choice(SHELVES), rng.choice("AB")
    match kind:
        case "short":
            ohms = Resistance(round(rng.uniform(0.05, 5.0), 2))
            return Drawn(kind, k.ShelfShort(shelf=shelf, feed=feed, ohms=ohms), f"{shelf}.{feed}", shelf, 0.0)
        case "crossed":
            return Drawn(kind, k.FeedsCrossed(shelf=shelf), shelf, shelf, 5.0)
        case "reversed":
            return Drawn(kind, k.PolarityReversed(shelf=shelf, feed=feed), f"{shelf}.{feed}", shelf, 5.0)
        case "breaker":
            pins = (f"F{feed}2A.load", f"F{feed}2B.load")
            return Drawn(kind, k.Exchanged(pins=pins), f"F{feed}2A", "2A", 5.0)
        case "heavy":
            return Drawn(
                kind, k.ShelfHeavy(shelf=shelf, by=Current(round(rng.uniform(0.4, 0.9), 2))), shelf, shelf, 48.0
            )
        case "light":
            return Drawn(
                kind, k.ShelfLight(shelf=shelf, by=Current(round(rng.uniform(0.4, 0.6), 2))), shelf, shelf, 48.0
            )
        case "creeps":
            fault = k.ShelfDrifts(
                shelf=shelf, by=Current(round(rng.uniform(0.12, 0.2), 3)), over=Duration(rng.uniform(150, 250))
            )
            return Drawn(kind, fault, shelf, shelf, 48.0)
        case "reforms":
            slow = k.SlowCapacitor(
                shelf=shelf,
                capacitance=Capacitance(rng.uniform(0.01, 0.03)),
                through=Resistance(rng.uniform(300, 700)),
            )
            return Drawn(kind, slow, shelf, shelf, 48.0)
        case "lossy":
            ohms = Resistance(round(rng.uniform(0.7, 1.5), 2))
            return Drawn(kind, k.HighResistanceLug(terminal=f"{shelf}.A", ohms=ohms), f"{shelf}.A", shelf, 48.0)
    return Drawn("none", None, "", shelf, 48.0)


def segment(walk: object, plant: Plant, inlet: str) -> str:
    """Find the stretch that loses the voltage by readings on the plant under load; its edge, or nothing."""
    shelf, _, feed = inlet.partition(".")
    state = walk.state  # type: ignore[attr-defined]
    step = next(
        step
        for step in state.setting.plan.steps
        if step.kind == "energise" and step.subject == shelf and step.source.soak.value == 60.0
    )
    closed = frozenset(plant.supply_path(shelf, feed).breakers)
    found = prepare(plant, step.source, closed, ())
    world = walk.world  # type: ignore[attr-defined]
    world.cards((), walk.t)  # type: ignore[attr-defined]
    world.breakers(closed, walk.t)  # type: ignore[attr-defined]
    world.supply_at(["GA"], walk.t)  # type: ignore[attr-defined]
    walk.supply.set_output(True, {"voltage": 48.0, "current": 5.0})  # type: ignore[attr-defined]
    walk.t += 30.0  # type: ignore[attr-defined]
    walk.supply.configure("amps dc")  # type: ignore[attr-defined]
    amps = walk.supply.read().value  # type: ignore[attr-defined]

    def volts(red: str, black: str) -> float:
        world.place(red, black, walk.t)  # type: ignore[attr-defined]
        return abs(world.voltage("hi", "lo", walk.t, 1e7))  # type: ignore[attr-defined]

    flow = PowerTree(plant).flow(found.forecast.powered)  # type: ignore[union-attr]
    one = plant.inlets[inlet]
    scale = amps / flow.amps
    search = MissingVolts.begin(plant, shelf, feed, flow, volts(one.live.name, one.back.name), 0.02, scale)
    while search is not None and (reading := search.next_reading()) is not None and search.taken < 12:
        search, *_ = search.after(reading, volts(*reading.between))
    return search.found.edge if search is not None and search.found is not None else ""
