"""The place on a supply path where voltage is lost, found while the shelf is on: one live reading after the other.

The first reading is of the shelf's own inlet. What it lacks against the distribution tree is looked for along the way,
each time where the answer tells most (:mod:`bench.diagnose.supply.locate`), until one stretch is named. Where the loss
sits in more places than one, each part is followed.
"""

from __future__ import annotations

import math

import msgspec
from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.supply.locate import MissingVolts, NextReading
from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Inlet
from bench.quantity import Amount, engineering
from bench.sequence.file import Found, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.sequence.power_tree import Powered, WillNotCarry, power_tree
from bench.walk.adviser import followed
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State

DOUBT_V = 0.02
"""Least standard uncertainty of a reading here: the current moves a little while one reads (common practice, no
source)."""
MOST = 16
"""Readings after which a search that has not come to an end says what it knows."""


def search(state: State, step: Step, trail: Trail) -> Search:
    """The search for lost voltage.

    Settings: ``feed``, by default the first that is on at the shelf.

    Raises:
        DiagnoseError: the shelf is none, or no feed of that name reaches it.
    """
    return followed(_search(state, step), trail)


def _search(state: State, step: Step) -> Search:
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    plant, bench = state.setting.plant, bool(state.outputs.on)
    powered = _powered(state)
    if powered is None:
        return _undecided("nothing is on, so nothing can be lost.")
    inlet = _inlet(plant, source, powered)
    if inlet is None:
        return _undecided(f"what is on does not reach {source.of}: a breaker on its way is open.")
    first = yield Wanted(_first(inlet, bench), "how much is missing at the shelf")
    volts = _volts(first)
    if volts is None:
        text = f"what {inlet.name} has was not read, and without it there is nothing to look for."
        return _undecided(text, inlet.shelf)
    try:
        flow = power_tree(plant).flow(powered)
    except WillNotCarry as error:
        raise DiagnoseError(f"the way to {inlet.name} cannot be reckoned: {error}") from error
    missing = MissingVolts.begin(plant, inlet.shelf, inlet.feed, flow, volts, _doubt(first), _scale(state, flow.amps))
    if missing is None:
        text = f"Pass: no voltage is missing at {inlet.name}: it has {volts:.2f} V and should have no more."
        return Found(verdict="pass", sentence=text, touches=[inlet.shelf, inlet.name])
    waiting, ended = [missing], list[MissingVolts]()
    while waiting:
        part = waiting.pop(0)
        reading = part.next_reading()
        while reading is not None and part.taken < MOST:
            answer = yield _asked(part, reading, inlet, bench)
            shown = _volts(answer)
            if shown is None:
                break  # it was skipped: this part ends with what is known
            part, *others = msgspec.structs.replace(part, sigma=max(part.sigma, _doubt(answer))).after(reading, shown)
            waiting += others
            reading = part.next_reading()
        ended.append(part)
    return _told(missing, inlet, ended)


def _undecided(why: str, *touches: str) -> Found:
    return Found(verdict="undecided", sentence=f"Undecided: {why}", touches=list(touches))


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
    on = {inlet.name for inlet in power_tree(plant).inlets_on(powered.at, powered.closed)}
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


def _volts(answer: Answer) -> float | None:
    """Volts without sign; None where nothing was read."""
    value = answer.outcome.figure.value if answer.reading is not None else None
    return abs(value) if value is not None else None


def _doubt(answer: Answer) -> float:
    """Standard uncertainty of a reading, in volts."""
    budget = answer.outcome.figure.budget
    return DOUBT_V if budget is None else max(DOUBT_V, budget.standard_uncertainty)


def _scale(state: State, amps: float) -> float:
    """The current that was measured when it came up, over the current that was reckoned."""
    if state.setting is None or not state.outputs.on or amps <= 0:
        return 1.0
    steps = state.setting.plan.steps
    # the newest: what came up before was a lower voltage, to see where the supply is
    up = (outcome for outcome in state.kept.history or () if steps[outcome.index].kind == "energise")
    newest = next(up, None)
    return newest.figure.value / amps if newest is not None and newest.figure.value else 1.0


def _asked(part: MissingVolts, reading: NextReading, inlet: Inlet, bench: bool) -> Wanted:
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
    return Wanted(want, why, max(1, math.ceil(math.log2(max(2, suspects)))))


def _told(begun: MissingVolts, inlet: Inlet, ended: list[MissingVolts]) -> Found:
    losses = [loss for part in ended if (loss := part.found) is not None]
    lines = [loss.sentence for loss in losses]
    for part in ended:
        if part.found is None:
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
