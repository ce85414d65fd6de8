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
from bench.sequence.file import Ask, Do, Hold, Limit, Measure, Prove, Rig, Set
from bench.walk.facts import BenchFacts
from bench.walk.outcome import dial_of
from bench.walk.results import results
from bench.walk.state import State

AGAIN: Final = "again"
"""The first reading, taken once more at the end."""
WALKED: Final[tuple[Method, ...]] = tuple(READINGS)
"""The methods whose readings are walked: all."""
BY_DIALS: Final[frozenset[Method]] = frozenset({"murray", "varley"})
"""Whose readings somebody types off the dials of a bridge: no meter of the bench reads them."""
REVERSED: Final = ", reversed"
"""After a reading's name: the same with the current the other way, so that what cells and contacts put in falls out."""
LOOP_AMPERE: Final = 0.1
"""What the bench supply sends through a loop (our own figure: a conductor of 0.5 mm carries it for hours)."""
LOOP_VOLT: Final = 10.0
"""What it may put on for that: safe to touch, and enough for 600 m of such a pair."""
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
    if method in BY_DIALS:
        return _by_dials(plant, method, faulty, other, sound)
    if method == "loop-by-voltages":
        return _by_voltages(plant, faulty, other, sound)
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


def _loop(plant: Plant, method: Method, faulty: Conductor, other: str, sound: str) -> tuple[Conductor, str]:
    """The good conductor of a loop, and the terminal of the fault's other side."""
    if not other:
        raise DiagnoseError(f"{TITLES[method]} wants the fault's other side: --to with an earth point or a conductor")
    to = plant.conductors[other].near_end.name if other in plant.conductors else plant.terminal(other).name
    return _conductor(plant, sound, "--sound"), to


def _by_dials(plant: Plant, method: Method, faulty: Conductor, other: str, sound: str) -> Draft:
    """A bridge is set up, balanced and read by a person; what it shows is typed."""
    good, to = _loop(plant, method, faulty, other, sound)
    a, b, near, far = faulty.near_end.name, faulty.far_end.name, good.near_end.name, good.far_end.name
    source = "an isolated battery of a few volts, its current held below what the thinnest conductor carries"
    if method == "murray":
        how = (
            f"Arm P on {near}, arm Q on {a}, their joint to one pole of {source}; the other pole on {to}. The detector "
            f"between {near} and {a}. Balance it; reverse the battery and balance again: use the mean of both."
        )
        ask = [("p", "arm at the sound conductor"), ("q", "arm at the faulty conductor, in balance")]
    else:
        how = (
            f"Arms P and Q in the bridge, the decade in series with {a}, the detector between the arms' ends. First "
            f"with the battery on {far} and {b}, then with it on {to}. {source.capitalize()}."
        )
        ask = [
            ("p", "first arm"),
            ("q", "second arm"),
            ("whole", f"the decade in balance with the battery at the joined far ends, {b} and {far}"),
            ("balance", f"the decade in balance with the battery at the fault's other side, {to}"),
        ]
    parts: list[Part] = [
        *dead(f"cable {faulty.cable}"),
        AMBIENT,
        Do(title="Join the far ends", text=f"Join {b} and {far} with a short thick clip, scraped bright.",
           rig=Rig(join=[[b, far]])),
        Do(title="Set the bridge up", text=how),
        *(Ask(title=f"{name}: {where}", text=f"Type what the dials say: {where}.", name="dial") for name, where in ask),
        Ask(title=f"{AGAIN}: '{ask[-1][0]}' once more", text="Balance once more, from the other side, and type what "
            "the dials say.", name="dial"),
        Do(title="Take the bridge off", text="Battery first, then the bridge, then the clip at the far ends.",
           rig=Rig()),
    ]  # fmt: skip
    return Draft(f"How far along {faulty.name} the fault lies: {TITLES[method]}.", parts)


def _by_voltages(plant: Plant, faulty: Conductor, other: str, sound: str) -> Draft:
    """A current goes round the loop, and no current through the fault: what it has itself falls out."""
    good, to = _loop(plant, "loop-by-voltages", faulty, other, sound)
    a, b, near, far = faulty.near_end.name, faulty.far_end.name, good.near_end.name, good.far_end.name
    limit = Limit(at_least=Amount(-1e3, "V"), source="a distance comes of it")
    clear = Hold(
        title="The loop may carry current",
        text=f"Only {faulty.name}, {good.name} and the meter are on this loop, both ends in sight or guarded. "
        f"{LOOP_AMPERE:g} A at most goes through it.",
        word="LOOP",
    )
    parts: list[Part] = [
        *dead(f"cable {faulty.cable}"),
        AMBIENT,
        Do(title="Join the far ends", text=f"Join {b} and {far} with a short thick clip.", rig=Rig(join=[[b, far]])),
        Do(title="The supply into the loop", text=f"The bench supply's plus lead on {a}, its minus lead on {near}, "
           "each clipped beyond the place where the meter will touch."),
    ]  # fmt: skip
    first = (
        ("faulty", a, "from the faulty conductor's end to the fault's other side"),
        ("sound", near, "from the sound conductor's end to the same place"),
    )
    on = Set(
        text="The current goes on.",
        output="on",
        voltage=Amount(LOOP_VOLT, "V"),
        current_limit=Amount(LOOP_AMPERE, "A"),
    )
    off = Set(text="The current goes off.", output="off")
    turned = Do(title="Turn the current round", text=f"The supply's plus lead on {near}, its minus lead on {a}.")
    for tail in ("", REVERSED):
        if tail:
            parts += [off, turned]
        parts += [clear, on]
        parts += [
            Measure(title=f"{name}{tail}: {where}", read="voltage", between=(end, to), limit=limit, live=True)
            for name, end, where in first
        ]
    again = Measure(
        title=f"{AGAIN}: 'faulty{REVERSED}' once more", read="voltage", between=(a, to), limit=limit, live=True
    )
    parts += [again, off, Do(title="Take it apart", text="Supply's leads first, then the far ends' clip.", rig=Rig())]
    return Draft(f"How far along {faulty.name} the fault lies: {TITLES['loop-by-voltages']}.", parts)


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


def figures_of(state: State, dials: tuple[float, float] | None = None) -> tuple[dict[str, Figure], float]:
    """The readings of such a walk with how far off each may be, and by how much the first one wandered.

    Args:
        state: the walk.
        dials: how exact the dials of a bridge are: as a part, and in Ω beside.

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
            source = setting.plan.steps[index].source
            if colon and isinstance(source, Ask) and source.name == "dial":
                if dials is None:
                    raise DiagnoseError("nothing says how exact the bridge's dials are: --accuracy '0.1 % + 0.01 ohm'")
                # two arms of one box are made alike, but nobody says so: each has an error of its own
                figure = Figure(dial_of(outcome.answer), dials[0], dials[1], name)
                if name == AGAIN:
                    again = figure
                else:
                    found[name] = figure
                continue
            if not colon or read is None or value is None or setting.plan.steps[index].kind != "measure":
                continue
            figure = _figure(setting.bench, read.instrument, read.function, value, outcome.figure.expanded or 0.0)
            if name == AGAIN:
                again = figure
            else:
                found[name] = figure
    if not found:
        raise DiagnoseError("the walk holds no reading for a distance yet")
    if dials is not None and again is not None and found:
        # the same balance twice: half of what lies between is what balancing itself leaves
        last = next(reversed(found))
        apart = abs(again.value - found[last].value)
        found[last] = Figure(found[last].value, found[last].scale, found[last].own + apart, last)
        return found, 0.0
    first = found.get(f"faulty{REVERSED}") or next(iter(found.values()))
    wander = abs(again.value - first.value) if again is not None else 0.0
    return _both_ways(found, wander)


def _both_ways(found: dict[str, Figure], wander: float) -> tuple[dict[str, Figure], float]:
    """Readings that were taken with the current both ways, as one each: what cells and contacts put in falls out."""
    if not any(name.endswith(REVERSED) for name in found):
        return found, wander
    merged = {}
    for name in ("faulty", "sound"):
        one, other = found.get(name), found.get(f"{name}{REVERSED}")
        if one is None or other is None:
            continue
        # a current that changed meanwhile, or a cell that did, shows in the reading that was taken again
        merged[name] = Figure(abs(one.value - other.value) / 2.0, one.scale, (one.own + other.own) / 2.0 + wander / 2.0,
                              one.range)  # fmt: skip
    return merged, 0.0


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
