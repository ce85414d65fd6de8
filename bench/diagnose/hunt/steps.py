"""The readings of a distance as a sequence to walk, and the same readings out of its record."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.hunt.distance import READINGS, TITLES, Figure, Method
from bench.judge.judge_error import JudgeError
from bench.plant.model import Plant
from bench.plant.things import Conductor
from bench.quantity import Amount
from bench.roles import Reads
from bench.sequence.drafts.parts import AMBIENT, CLOSING, OPENING, Draft, Part, dead
from bench.sequence.file import Limit, Measure, Prove
from bench.walk.facts import BenchFacts
from bench.walk.results import results
from bench.walk.state import State

AGAIN: Final = "again"
"""The first reading, taken once more at the end."""
WALKED: Final[tuple[Method, ...]] = (
    "short-both-ends",
    "loop-by-resistances",
    "earth-one-wire",
    "open-both-ends",
    "open-by-sibling",
)
"""The methods that are readings alone; the others want a bridge or a current in the loop."""
_Place = tuple[tuple[str, str], list[list[str]]]


def sequence_name(method: Method, conductor: str) -> str:
    """What such a sequence is called: the record tells by it what was read."""
    return f"distance {method} {conductor}"


def meant(name: str) -> tuple[Method, str] | None:
    """The method and the conductor of a sequence's name; None where it is another kind."""
    words = name.split()
    if len(words) != 3 or words[0] != "distance":
        return None
    return next(((method, words[2]) for method in WALKED if method == words[1]), None)


def drafted(plant: Plant, method: Method, faulty: Conductor, other: str, sound: str) -> Draft:
    """The readings of a method as steps.

    Args:
        plant: the plant.
        method: one of :data:`WALKED`.
        faulty: the conductor.
        other: what it is shorted to: a conductor, or for earth a terminal; may be empty where none is needed.
        sound: a sound conductor of the same cable; may be empty where none is needed.

    Raises:
        DiagnoseError: something that the method needs was not named, or does not fit.
    """
    places = _places(plant, method, faulty, other, sound)
    reads: Reads = "capacitance" if method.startswith("open") else "resistance"
    limit = Limit(at_least=Amount(0.0, "F" if reads == "capacitance" else "Ω"), source="a distance comes of it")
    parts: list[Part] = [*dead(f"cable {faulty.cable}"), AMBIENT]
    if reads == "resistance":
        parts += [part for part in OPENING if not (isinstance(part, Prove) and part.against == "reference")]
    for name, _, where in READINGS[method]:
        if name in places:
            between, join = places[name]
            parts.append(Measure(title=f"{name}: {where}", read=reads, between=between, join=join, limit=limit))
    first = READINGS[method][0][0]
    between, join = places[first]
    parts.append(Measure(title=f"{AGAIN}: '{first}' once more", read=reads, between=between, join=join, limit=limit))
    if reads == "resistance":
        parts += CLOSING
    return Draft(f"How far along {faulty.name} the fault lies: {TITLES[method]}.", parts)


def _places(plant: Plant, method: Method, faulty: Conductor, other: str, sound: str) -> dict[str, _Place]:
    a, b = faulty.near_end.name, faulty.far_end.name
    if method == "short-both-ends":
        mate, pair = _conductor(plant, other or faulty.mate, "--to"), _pair(plant, faulty, sound, other or faulty.mate)
        loop = (pair[0].near_end.name, pair[1].near_end.name), [[pair[0].far_end.name, pair[1].far_end.name]]
        return {
            "near": ((a, mate.near_end.name), []),
            "far": ((b, mate.far_end.name), []),
            "loop": loop,
        }
    if method in ("loop-by-resistances", "earth-one-wire"):
        if not other:
            raise DiagnoseError(
                f"{TITLES[method]} wants the fault's other side: --to with an earth point or a conductor"
            )
        to = plant.conductors[other].near_end.name if other in plant.conductors else plant.terminal(other).name
        if method == "earth-one-wire":
            return {"open": ((a, to), []), "earthed": ((a, to), [[b, to]])}
        good = _conductor(plant, sound, "--sound")
        join = [[b, good.far_end.name]]
        return {
            "faulty": ((a, to), join),
            "sound": ((good.near_end.name, to), join),
            "loop": ((a, good.near_end.name), join),
        }
    rest = [one for one in plant.cables[faulty.cable].conductors if one.name != faulty.name]
    screen = plant.cables[faulty.cable].screen
    rest += [screen] if screen is not None else []
    near, far = ([getattr(one, f"{side}_end").name for one in rest] for side in ("near", "far"))
    if method == "open-both-ends":
        return {"near": ((a, near[0]), [near]), "far": ((b, far[0]), [far])}
    good = _conductor(plant, sound, "--sound")
    others = [one.near_end.name for one in [faulty, *rest] if one.name != good.name]
    return {"near": ((a, near[0]), [near]), "sibling": ((good.near_end.name, others[0]), [others])}


def _conductor(plant: Plant, name: str, option: str) -> Conductor:
    found = plant.conductors.get(name)
    if found is None:
        raise DiagnoseError(f"{option}: found '{name}', expected a conductor of the plant")
    return found


def _pair(plant: Plant, faulty: Conductor, sound: str, other: str) -> tuple[Conductor, Conductor]:
    """A sound pair for the loop: the one named and its mate, else the next one of the cable."""
    cable = plant.cables[faulty.cable]
    if sound:
        one = _conductor(plant, sound, "--sound")
        return one, plant.conductors[one.mate] if one.mate else _another(
            cable.conductors, {one.name, faulty.name, other}
        )
    pairs = cable.pairs if cable.type.pairs is not None else ()
    for pair in pairs:
        if not {pair[0].name, pair[1].name} & {faulty.name, other}:
            return pair[0], pair[1]
    one = _another(cable.conductors, {faulty.name, other})
    return one, _another(cable.conductors, {faulty.name, other, one.name})


def _another(conductors: tuple[Conductor, ...], taken: set[str]) -> Conductor:
    for one in conductors:
        if one.name not in taken:
            return one
    raise DiagnoseError("the cable has no conductors left that could be the sound loop")


def figures_of(state: State) -> tuple[dict[str, Figure], float]:
    """The readings of such a walk with how far off each may be, and by how much the first one wandered.

    Raises:
        DiagnoseError: the first reading is not there.
    """
    setting = state.setting
    found: dict[str, Figure] = {}
    again: Figure | None = None
    if setting is not None:
        for index, outcome in results(state).items():
            name, colon, _ = setting.plan.steps[index].title.partition(":")
            read, value = outcome.reading, outcome.figure.value
            if not colon or read is None or value is None or setting.plan.steps[index].kind != "measure":
                continue
            figure = _figure(setting.bench, read.instrument, read.function, value, outcome.figure.expanded or 0.0)
            if name == AGAIN:
                again = figure
            else:
                found[name] = figure
    if not found:
        raise DiagnoseError("the walk holds no reading for a distance yet")
    first = next(iter(found.values()))
    return found, abs(again.value - first.value) if again is not None else 0.0


def _figure(bench: BenchFacts, instrument: str, function: str, value: float, expanded: float) -> Figure:
    """A reading: its scale error by the meter's table, the rest of its uncertainty its own."""
    half = expanded * math.sqrt(3.0) / 2.0
    facts: Mapping[str, str] = {}
    meter = bench.instrument(instrument)
    table = meter.table if meter is not None else None
    if meter is not None:
        facts = meter.accuracy_of
    try:
        row = table.pick(facts.get(function, function), value, allow_overdue=True).row if table is not None else None
    except JudgeError:
        row = None
    if row is None:
        return Figure(value, 0.0, half, function)
    scale = row.percent_of_reading / 100.0
    return Figure(value, scale, max(half - scale * abs(value), 0.5 * row.resolution), f"{instrument} {row.range_top:g}")
