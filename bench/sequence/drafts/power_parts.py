"""Pieces of everything that lets power in: the ways of the feeds, what a load will draw, and the steps of a rung."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import msgspec

from bench.plant.model import NoPath, Plant
from bench.plant.things import Inlet, Shelf
from bench.quantity import Amount, Current, Duration, Voltage
from bench.sequence.drafts.parts import Beside, CannotDraft, Part, by_hand, unique
from bench.sequence.file import Do, Energise, Hold, Limit, Measure, Prove, Ramp, Set, Step
from bench.sequence.power_tree import Powered, PowerTree, WillNotCarry, headroom_line

SUPPLY_A: Final = 5.0
"""What the drafted steps ask of a bench supply at the most; write your own supply's limit over it."""
SURGE: Final = 1.5
"""Converters draw this many times their idle current as they start (common practice, no source)."""
_LEAKAGE: Final = Current(0.008)
"""Leakage of one shelf that may be left before the next rung (common practice, no source)."""
_RUNG_LIMIT: Final = Current(0.5)
_EMPTY_MARGIN: Final = Current(0.06)

DEAD_LIMIT: Final = by_hand("common practice, no source: what is dead reads nothing", at_least="-1 V", at_most="1 V")
APART_LIMIT: Final = by_hand("common practice, no source: the other feed must not rise", at_least="-1 V", at_most="1 V")
SHELF_VOLTAGE: Final = Limit(computed="shelf-voltage")


# ---- ways and loads -------------------------------------------------------------------------------------------------


def reached(plant: Plant, shelf: Shelf) -> list[Inlet]:
    """The inlets of a shelf that a supply of the plant reaches.

    Args:
        plant: the plant.
        shelf: of it.
    """
    found = []
    for inlet in shelf.inlets:
        try:
            path = plant.supply_path(shelf.name, inlet.feed)
        except NoPath:
            continue
        if path.supply in plant.supplies and path.breakers:
            found.append(inlet)
    return found


def way(plant: Plant, inlet: Inlet) -> tuple[str, tuple[str, ...]]:
    """The supply of an inlet and the breakers on its way, from the supply.

    Args:
        plant: the plant.
        inlet: one that is reached.
    """
    path = plant.supply_path(inlet.shelf, inlet.feed)
    return path.supply, path.breakers


def breakers_on(plant: Plant, inlets: Sequence[Inlet]) -> list[str]:
    """All breakers on the ways of some inlets, each once.

    Args:
        plant: the plant.
        inlets: that are reached.
    """
    return unique(name for inlet in inlets for name in way(plant, inlet)[1])


def supplies_of(plant: Plant, inlets: Sequence[Inlet]) -> list[str]:
    """The supplies of some inlets, each once.

    Args:
        plant: the plant.
        inlets: that are reached.
    """
    return unique(way(plant, inlet)[0] for inlet in inlets)


def nominal_volts(plant: Plant, inlet: Inlet) -> float:
    """The nominal voltage of an inlet's feed in volts, without sign.

    Args:
        plant: the plant.
        inlet: of it.
    """
    return abs(plant.feeds[inlet.feed].nominal_v)


def return_bar(plant: Plant, inlet: Inlet) -> str:
    """Where the return of an inlet lands on its bar: what a breaker's load side is measured against.

    Args:
        plant: the plant.
        inlet: one that is reached.
    """
    first = plant.supply_path(inlet.shelf, inlet.feed).back[0]
    there = first.b if first.a == inlet.back.node else first.a
    return there if there in plant.terminals else inlet.back.name


def forecast(
    plant: Plant, inlets: list[Inlet], out: frozenset[str] = frozenset(), dummy: float = 0.0
) -> tuple[float, float]:
    """Typical and most of the current of some inlets fed together, in amperes.

    Args:
        plant: the plant.
        inlets: that are fed.
        out: cards that are out.
        dummy: what a dummy load on each shelf draws, in amperes.

    Raises:
        CannotDraft: a breaker would carry too much, or the voltage would collapse.
    """
    ways = [way(plant, inlet) for inlet in inlets]
    at = tuple(dict.fromkeys(supply for supply, _ in ways))
    closed = frozenset(name for _, breakers in ways for name in breakers)
    sign = math.copysign(1.0, plant.feeds[inlets[0].feed].nominal_v)
    loads = {inlet.shelf: dummy for inlet in inlets} if dummy else {}
    powered = Powered(at, sign * nominal_volts(plant, inlets[0]), closed=closed, out=out, dummy=loads)
    try:
        found = PowerTree(plant).forecast(powered)
    except WillNotCarry as error:
        raise CannotDraft(f"{', '.join(inlet.name for inlet in inlets)}: {error}") from error
    if found.overloads:
        lines = "; ".join(headroom_line(load) for load in found.overloads)
        raise CannotDraft(f"with {', '.join(inlet.name for inlet in inlets)} on, breaker {lines}")
    return found.typical.amps, found.most.amps


def limit_for(most: float) -> float:
    """The supply's current limit in amperes for a load.

    Args:
        most: what the load draws at the most, in amperes.
    """
    return min(SUPPLY_A, max(0.5, math.ceil((SURGE * most + 0.2) * 10) / 10))


# ---- steps ----------------------------------------------------------------------------------------------------------


def live_source(title: str) -> Step:
    """The meter is proven on a live source.

    Args:
        title: of the step.
    """
    text = "Put the probes on a source that you know to be live. The meter must show it."
    return Prove(title=title, against="live-source", read="voltage", text=text)


def not_shorted(inlet: Inlet, title: str, text: str, limit: Limit) -> Measure:
    """A shelf's resistance at an inlet, read for long enough that its capacitors are charged.

    Args:
        inlet: where it is read.
        title: of the step.
        text: of the step.
        limit: what it is held against.
    """
    return Measure(
        title=title,
        text=text,
        read="resistance",
        between=(inlet.live.name, inlet.back.name),
        subject=inlet.name,
        range=Amount.parse("100 kohm"),
        after=Duration(15.0),
        limit=limit,
    )


def inlet_volts(inlet: Inlet, title: str, limit: Limit, *, live: bool = False, text: str = "") -> Measure:
    """The voltage at an inlet is read, with its sign.

    Args:
        inlet: the red probe on its feed, the black one on its return.
        title: of the step.
        limit: what it is held against.
        live: it is passed over where no supply's output is on.
        text: of the step.
    """
    return volts((inlet.live.name, inlet.back.name), inlet.name, title, limit, live=live, text=text)


def volts(
    between: tuple[str, str], subject: str, title: str, limit: Limit, *, live: bool = False, text: str = ""
) -> Measure:
    """A voltage is read, with its sign.

    Args:
        between: the places of the red and the black probe.
        subject: what the verdict is about.
        title: of the step.
        limit: what it is held against.
        live: it is passed over where no supply's output is on.
        text: of the step.
    """
    return Measure(title=title, text=text, read="voltage", between=between, subject=subject, limit=limit, live=live)


def under_load(inlet: Inlet) -> Measure:
    """The voltage at an inlet while its shelf draws current.

    Args:
        inlet: of the shelf.
    """
    text = "Live parts. Red probe on the feed, black probe on the return."
    return inlet_volts(inlet, f"{inlet.name} under load", SHELF_VOLTAGE, live=True, text=text)


def clear_to_energise(title: str, text: str) -> Step:
    """A hold point before something becomes live.

    Args:
        title: of the step.
        text: what is cleared.
    """
    return Hold(title=title, text=text, word="ENERGISE")


def closed(breakers: Sequence[str], order: str = "") -> Step:
    """Breakers are closed.

    Args:
        breakers: which.
        order: how, after their names.
    """
    return Do(title="Close", text=f"Close {', '.join(breakers)}{order}.", close=list(breakers))


def switched_off(opened: Sequence[str]) -> list[Step]:
    """The bench supply goes off and the breakers are opened.

    Args:
        opened: the breakers.
    """
    return [
        Set(title="Supply off", text="The bench supply goes off.", output="off"),
        Do(title="Breakers open", text=f"Open {', '.join(reversed(opened))}.", open=list(opened)),
    ]


def rungs(target: float, *, empty: bool = False) -> list[Ramp]:
    """The lower voltages on the way to a target.

    Args:
        target: in volts.
        empty: the shelf is empty: it goes on to nine tenths, where with cards in converters would start.
    """
    parts = (0.25, 0.5, 0.75, 0.9) if empty else (0.25, 0.5, 0.75)
    return [Ramp(to=Voltage(_shown(part * target)), limit=_RUNG_LIMIT, leakage=_LEAKAGE) for part in parts]


def brought_up(
    title: str,
    text: str,
    at: list[str],
    target: float,
    limit: float,
    ramp: Sequence[Ramp] = (),
    margin: float = 0.0,
) -> Energise:
    """A load is brought up by the bench supply.

    Args:
        title: of the step.
        text: of the step.
        at: the supplies in whose place the bench supply stands.
        target: in volts, without sign.
        limit: of the supply's current, in amperes.
        ramp: lower voltages first.
        margin: added to the window of the current, in amperes; 0 for the usual one.
    """
    step = Energise(
        title=title,
        text=text,
        at=at,
        voltage=Voltage(_shown(target)),
        current_limit=Current(float(f"{limit:.2g}")),
        ramp=list(ramp),
    )
    return msgspec.structs.replace(step, margin=Current(margin)) if margin else step


def empty_brought_up(title: str, text: str, at: list[str], target: float, limit: float, *, ramp: bool) -> Part:
    """An empty shelf is brought up by the bench supply: what it draws is leakage, which goes with the time.

    Args:
        title: of the step.
        text: of the step.
        at: the supplies in whose place the bench supply stands.
        target: in volts, without sign.
        limit: of the supply's current, in amperes.
        ramp: whether lower voltages come first.
    """
    steps = rungs(target, empty=True) if ramp else ()
    step = brought_up(title, text, at, target, limit, steps, _EMPTY_MARGIN.value)
    beside = {"margin": "what is left of the leakage goes with the time at this voltage"}
    return Beside(step, beside | ({"ramp": REFORM} if ramp else {}))


REFORM: Final = "slowly, so that capacitors that have slept for decades can reform"


def _shown(volts: float) -> float:
    """A voltage as it is shown to people, six digits."""
    return float(f"{volts:g}")
