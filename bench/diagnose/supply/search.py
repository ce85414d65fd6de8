"""The place on a supply path where voltage is lost, found while the shelf is on: one live reading after the other.

The first reading is of the shelf's own inlet. What it lacks against the distribution tree is looked for along the way,
each time where the answer tells most (:mod:`bench.diagnose.supply.locate`), until one stretch is named. Where the loss
sits in more places than one, each part is followed.
"""

from __future__ import annotations

import math
from dataclasses import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.seek import finding
from bench.diagnose.supply.locate import Loss, NextReading, SupplySearch
from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Inlet
from bench.quantity import Amount, engineering
from bench.sequence.file import Found, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.sequence.power_tree import Powered, PowerTree, WillNotCarry
from bench.walk.events import Advised
from bench.walk.seeking import Link
from bench.walk.state import State

DOUBT_V = 0.02
"""Least standard uncertainty of a reading here: the current moves a little while one reads (common practice, no
source)."""
MOST = 16
"""A search that has not come to an end after so many readings says what it knows."""


def wanted(state: State, step: Step, trail: tuple[Link, ...]) -> Advised:
    """What a search for lost voltage wants next.

    Settings: ``feed``, by default the first that is on at the shelf.

    Raises:
        DiagnoseError: the shelf is none, or no feed of that name reaches it.
    """
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    plant = state.setting.plant
    powered = _powered(state)
    if powered is None:
        return finding(Found(verdict="undecided", sentence="Undecided: nothing is on, so nothing can be lost."), 0)
    inlet = _inlet(plant, source, powered)
    if inlet is None:
        text = f"Undecided: what is on does not reach {source.of}: a breaker on its way is open."
        return finding(Found(verdict="undecided", sentence=text), 0)
    volts = _read(trail[0]) if trail else None
    if not trail:
        return Advised(number=0, want=_first(inlet, bool(state.powered)), why="how much is missing at the shelf")
    if volts is None:
        text = f"Undecided: what {inlet.name} has was not read, and without it there is nothing to look for."
        return finding(Found(verdict="undecided", sentence=text, touches=[inlet.shelf]), 0)
    try:
        flow = PowerTree(plant).flow(powered)
    except WillNotCarry as error:
        raise DiagnoseError(f"the way to {inlet.name} cannot be reckoned: {error}") from error
    begun = SupplySearch.begin(plant, inlet.shelf, inlet.feed, flow, volts, _doubt(trail), _scale(state, flow.amps))
    if begun is None:
        text = f"Pass: no voltage is missing at {inlet.name}: it has {volts:.2f} V and should have no more."
        return finding(Found(verdict="pass", sentence=text, touches=[inlet.shelf, inlet.name]), 1)
    return _along(begun, inlet, trail[1:], bool(state.powered))


def _powered(state: State) -> Powered | None:
    """What feeds the plant now: an output of the bench, or the plant's own supplies."""
    fed, handled = state.conditions.fed, state.conditions.handled
    if fed is not None:
        return replace(fed, closed=handled.closed)
    if not handled.live or state.setting is None:
        return None
    supplies = [state.setting.plant.supplies[name] for name in sorted(handled.live)]
    first = supplies[0]
    same = tuple(supply.name for supply in supplies if supply.volts == first.volts)
    return Powered(same, first.volts, first.ohms, closed=handled.closed, out=handled.out)


def _inlet(plant: Plant, source: Seek, powered: Powered) -> Inlet | None:
    """The inlet that is searched for: of the feed that was named, or the first that is on.

    Raises:
        DiagnoseError: there is no such shelf, or it has no such feed.
    """
    shelf, _, of_inlet = source.of.partition(".")
    feed = source.settings.get("feed", of_inlet)
    if shelf not in plant.shelves:
        raise DiagnoseError(f"found '{source.of}', expected a shelf whose voltage is looked for")
    on = {inlet.name for inlet in PowerTree(plant).inlets_on(powered.at, powered.closed)}
    if feed:
        try:
            inlet = plant.inlet(shelf, feed)
            plant.supply_path(shelf, feed)
        except (UnknownName, NoPath) as error:
            raise DiagnoseError(str(error)) from error
        return inlet if inlet.name in on else None
    return next((inlet for inlet in plant.shelves[shelf].inlets if inlet.name in on), None)


def _first(inlet: Inlet, bench: bool) -> Measure:
    return Measure(
        title=f"{inlet.name} under load",
        text="Live parts: measure the voltage at the shelf. Red probe on the feed, black probe on the return.",
        read="voltage",
        between=(inlet.live.name, inlet.back.name),
        subject=inlet.name,
        limit=Limit(computed="shelf-voltage" if bench else "feed-voltage"),
        live=bench,
    )


def _read(link: Link) -> float | None:
    """Volts without sign; None where nothing was read."""
    value = link.outcome.value if link.reading is not None else None
    return abs(value) if value is not None else None


def _doubt(trail: tuple[Link, ...]) -> float:
    """Standard uncertainty of a reading: the largest of those that were taken."""
    found = [link.outcome.budget.standard_uncertainty for link in trail if link.outcome.budget is not None]
    return max([DOUBT_V, *found])


def _scale(state: State, amps: float) -> float:
    """The current that was measured when it came up, over the current that was reckoned."""
    for index in state.powered.values():
        outcome = state.latest.get(index)
        if outcome is not None and outcome.value and outcome.unit == "A" and amps > 0:
            return outcome.value / amps
    return 1.0


def _along(begun: SupplySearch, inlet: Inlet, links: tuple[Link, ...], bench: bool) -> Advised:
    """Follow the search and its parts over what was read so far."""
    left = list(links)
    waiting, losses, doubtful = [begun], list[Loss](), list[SupplySearch]()
    while waiting:
        part = replace(waiting.pop(0), also=())
        reading = part.next_reading()
        while reading is not None and part.taken < MOST:
            if not left:
                return _ask(part, reading, inlet, bench, len(links) + 1)
            volts = _read(left.pop(0))
            if volts is None:
                break  # it was skipped: this part ends with what is known
            part = part.after(reading, volts)
            waiting += part.also
            part = replace(part, also=())
            reading = part.next_reading()
        loss = part.found
        if loss is not None:
            losses.append(loss)
        else:
            doubtful.append(part)
    return finding(_told(begun, inlet, losses, doubtful), len(links) + 1)


def _ask(part: SupplySearch, reading: NextReading, inlet: Inlet, bench: bool, done: int) -> Advised:
    sign = math.copysign(1.0, part.plant.feeds[inlet.feed].nominal_v)
    half = 0.5 * (reading.sound + reading.lossy)
    origin = "half of what is missing: beyond it the loss lies behind this place"
    bound = Amount(sign * half, "V")
    limit = Limit(at_least=bound, source=origin) if sign > 0 else Limit(at_most=bound, source=origin)
    want = Measure(
        title=f"{reading.between[0]} against {reading.between[1]}",
        text=reading.text,
        read="voltage",
        between=reading.between,
        subject=inlet.name,
        limit=limit,
        live=bench,
    )
    suspects = len(part.suspects)
    likely = ", ".join(list(part.suspects)[:3])
    why = f"{suspects} suspects, most likely {likely}; this reading is expected to tell {reading.bits:.2f} bit"
    return Advised(number=0, want=want, done=done, left=max(1, math.ceil(math.log2(max(2, suspects)))), why=why)


def _told(begun: SupplySearch, inlet: Inlet, losses: list[Loss], doubtful: list[SupplySearch]) -> Found:
    lines = [loss.sentence for loss in losses]
    for part in doubtful:
        names = ", ".join(list(part.suspects)[:4])
        lines.append(f"{engineering(part.excess, 'V', digits=2)} more are lost somewhere among {names}.")
    facts = {
        "inlet": inlet.name,
        "missing": begun.excess,
        "losses": [
            {"segment": loss.edge, "volts": loss.volts, "ohms": loss.ohms, "probability": loss.probability}
            for loss in losses
        ],
    }
    touches = [inlet.shelf, inlet.name, *(loss.edge for loss in losses if loss.edge in begun.plant.breakers)]
    if not losses:
        text = f"Undecided: {engineering(begun.excess, 'V', digits=2)} are missing at {inlet.name}. {lines[0]}"
        return Found(verdict="undecided", sentence=text, lines=lines, facts=facts, touches=touches)
    return Found(verdict="fail", sentence=f"Fail: {' '.join(lines)}", lines=lines, facts=facts, touches=touches)
