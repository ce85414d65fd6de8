"""The pin map that a walk measured, beside the one that its plant has: what :func:`explain` takes.

Connectors that cables join are looked at together. Within such a group each connector must be on one side; where a
cable runs from a connector that is another's far end, its cables are looked at one by one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

import msgspec

from bench.diagnose.explain.pin_map import Conductor, Design, Join, Measured, Pin, pins_on
from bench.plant.graph import Nets
from bench.plant.model import Plant
from bench.plant.things import Cable, Connector, Terminal
from bench.sequence.file import Found, Measure
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State


class WalkMap(msgspec.Struct, frozen=True):
    """One group of cables: how it should be and how it was found.

    Attributes:
        cables: their names.
        design: the designed map.
        measured: what was measured.
        readings: how many readings it rests on.
    """

    cables: tuple[str, ...]
    design: Design
    measured: Measured
    readings: int


class Pair(msgspec.Struct, frozen=True):
    """Two places that were read against each other, or that a search found joined or apart.

    Attributes:
        between: the two places.
        joined: whether they conduct.
        failed: whether that is not as the sequence wants it.
        ohms: between them; None where that is not known.
        high: the upper limit that it was held against, in ohms.
    """

    between: tuple[str, str]
    joined: bool
    failed: bool
    ohms: float | None = None
    high: float | None = None


def maps_of(*states: State) -> list[WalkMap]:
    """The maps of all cables that some walks of one plant read anything of, in the order of the last one's plant.

    A reading that is void does not count; of readings between the same places the latest does. What a search found
    counts as its readings do.
    """
    plant, pairs = latest_pairs(states)
    return [] if plant is None else _maps(plant, pairs)


def beside_maps(*states: State) -> list[Pair]:
    """What was found wrong between places that no map holds both of: cables that share no connector, frames, bars.

    These are joins that the design does not have, and joins of the design that were not found.
    """
    plant, pairs = latest_pairs(states)
    if plant is None:
        return []
    mapped = [{pin for c in (*m.design.near, *m.design.far) for pin in pins_on(c)} for m in _maps(plant, pairs)]
    wires, most = Nets(plant.graph()), Nets(plant.graph(plant.breakers))
    found = []
    on_frames = off_the_map(plant, pairs)
    for pair in pairs:
        one, other = (plant.terminal(name) for name in pair.between)
        if any(group.issuperset(pair.between) for group in on_frames):
            if pair.joined and pair.failed:
                found.append(pair)
            continue
        if not pair.failed or any(_pin(one) in pins and _pin(other) in pins for pins in mapped):
            continue
        designed = wires if not pair.joined else most
        if (designed.root(one.node) == designed.root(other.node)) != pair.joined:
            found.append(pair)
    return found


def off_the_map(plant: Plant, pairs: Iterable[Pair]) -> list[set[str]]:
    """Places in one joint with a frame, a screen or a bar: what is joined there is told of it, and of no connector.

    Args:
        plant: the plant.
        pairs: what was found.
    """
    wires = plant.conductors.values()
    near, far = {c.near_end.name for c in wires}, {c.far_end.name for c in wires}
    groups: list[set[str]] = []
    for pair in pairs:
        names = set(pair.between)
        # a wire at another's far end is landed there, and in no joint
        if not (pair.joined and pair.failed) or (names & near and names & far):
            continue
        met = [group for group in groups if group & names]
        groups = [group for group in groups if group not in met]
        groups.append(names.union(*met))
    return [group for group in groups if group - near - far]


def beside_told(plant: Plant, pairs: Iterable[Pair]) -> list[str]:
    """What was found wrong between places that no map holds both of, each mistake in a sentence.

    Args:
        plant: the plant.
        pairs: what was found, see :func:`beside_maps`.
    """
    told: list[str] = []
    groups: list[set[str]] = []
    for pair in pairs:
        if not pair.joined:
            told.append(
                f"{' and '.join(pair.between)}: open, though the design joins them. Look at each joint on the way."
            )
            continue
        met = [group for group in groups if group & set(pair.between)]
        groups = [group for group in groups if group not in met]
        groups.append(set(pair.between).union(*met))
    screens = {c.screen.near_end.name: c.name for c in plant.cables.values() if c.screen is not None}
    screens |= {c.screen.far_end.name: c.name for c in plant.cables.values() if c.screen is not None}
    for group in groups:
        earths = sorted(group & plant.earth_points.keys())
        drains = sorted(group & screens.keys())
        wires = sorted(group - {*earths, *drains})
        what = " and ".join([", ".join(wires)] * bool(wires) + [f"the screen of {screens[name]}" for name in drains])
        if earths and what:
            where = "; ".join(plant.where(name) for name in earths)
            told.append(
                f"{what[:1].upper()}{what[1:]} {'reach' if len(wires) + len(drains) > 1 else 'reaches'} the frame at "
                f"{', '.join(earths)} ({where}). Look for a pinched wire, a whisker or a screen that touches metal, at "
                "both ends and where the cable bends; part them."
            )
        elif drains:
            told.append(
                f"{', '.join(wires)} {'touch' if len(wires) > 1 else 'touches'} the screen of "
                f"{', '.join(screens[name] for name in drains)}. Look where the screen was cut back, at both ends."
            )
        else:
            names = " and ".join(sorted(group))
            told.append(
                f"{names}: joined, and the design has no join between them. Look where their wires run or end "
                "side by side."
            )
    return told


def latest_pairs(states: Iterable[State]) -> tuple[Plant | None, list[Pair]]:
    """The plant of the last walk, and what is known last of every two places that it has.

    Args:
        states: walks of one plant.
    """
    walks = sorted((state for state in states if state.setting is not None), key=lambda state: state.at)
    if not walks or walks[-1].setting is None:
        return None, []
    plant = walks[-1].setting.plant
    latest: dict[frozenset[str], Pair] = {}
    for state in walks:
        for pair in _read(state):
            if all(name in plant.terminals for name in pair.between):
                latest[frozenset(pair.between)] = pair
    return plant, list(latest.values())


def troubled_map(state: State, cables: Collection[str] = ()) -> WalkMap | None:
    """One map of all cables of which something failed, as far as they can be on one; None where nothing did.

    Args:
        state: the walk.
        cables: to look at; by default all.
    """
    plant, pairs = latest_pairs([state])
    if plant is None:
        return None
    open_ends = {frozenset(pair.between) for pair in pairs if not pair.joined}
    amiss = {name for pair in pairs if pair.joined and pair.failed for name in pair.between}
    hurt = [
        cable
        for cable in plant.cables.values()
        if (not cables or cable.name in cables)
        and (
            any(frozenset((c.near_end.name, c.far_end.name)) in open_ends for c in cable.conductors)
            or amiss & _ends(cable)
        )
    ]
    if not hurt:
        return None
    groups = [group for group in _groups(_used(plant, pairs)) if any(cable in hurt for cable in group)]
    whole, *others = groups
    for group in others:
        if _fit(whole, group):
            whole = whole + group
    return _map(plant, whole, pairs)


def _used(plant: Plant, pairs: list[Pair]) -> list[Cable]:
    touched = {name for pair in pairs for name in pair.between}
    return [cable for cable in plant.cables.values() if touched.intersection(_ends(cable))]


def _maps(plant: Plant, pairs: list[Pair]) -> list[WalkMap]:
    on_frames = off_the_map(plant, pairs)
    pairs = [
        pair
        for pair in pairs
        if not (pair.joined and pair.failed and any(group.issuperset(pair.between) for group in on_frames))
    ]
    groups = _groups(_used(plant, pairs))
    for pair in pairs:
        if not pair.joined:
            continue
        one, other = (next((g for g in groups if any(name in _ends(c) for c in g)), None) for name in pair.between)
        # a wire that was found at another cable's place: what happened is told of both together
        if one is not None and other is not None and one is not other and _fit(one, other):
            groups[groups.index(one)] = one + other
            groups.remove(other)
    return [found for group in groups if (found := _map(plant, group, pairs)) is not None]


def _fit(one: list[Cable], other: list[Cable]) -> bool:
    """Whether two groups can be on one map: no connector would be on both of its sides."""
    cables = [*one, *other]
    return not {name for c in cables for name in c.near} & {name for c in cables for name in c.far}


def _read(state: State) -> list[Pair]:
    """The readings of a walk between two places, and what its searches found, in plan order, as far as they count."""
    assert state.setting is not None
    found: list[Pair] = []
    for index, outcome in results(state).items():
        source = state.setting.plan.steps[index].source
        counts = outcome.reading is not None and outcome.verdict in ("pass", "fail", "undecided")
        if counts and isinstance(source, Measure) and source.read == "resistance" and not source.join:
            found.append(
                Pair(
                    source.between,
                    _conducts(outcome),
                    outcome.verdict == "fail",
                    outcome.figure.value,
                    outcome.bounds.high,
                )
            )
        elif outcome.found is not None and outcome.verdict in ("pass", "fail", "undecided"):
            found += _searched(state.setting.plant, outcome.found)
    return found


def _searched(plant: Plant, found: Found) -> list[Pair]:
    """What a search for joins or for the order of conductors found, two places at a time."""
    facts = found.facts
    pairs = [
        Pair((group[0], other), joined=True, failed=True) for group in facts.get("joined", ()) for other in group[1:]
    ]
    between = facts.get("between", {})
    pairs += [Pair((a, b), joined=True, failed=True) for a, b in between.get("joined", ())]
    for red, black in between.get("apart", ()):
        pairs += [Pair((a, b), joined=False, failed=False) for a in red for b in black if a != b]
    side = facts.get("side")
    if "names" not in facts or side not in ("near", "far"):
        return pairs
    # the pins of a connector whose order was lost, or flags, which are no pins and are left out by their names
    for flag, name in {**facts["names"], **facts.get("by_colour", {})}.items():
        conductor = plant.conductors.get(name)
        if conductor is None:
            continue
        here, there = conductor.near_end.name, conductor.far_end.name
        if side == "near":
            here, there = there, here
        pairs.append(Pair((here, flag), joined=True, failed=flag != there))
        if flag != there:
            pairs.append(Pair((here, there), joined=False, failed=True))
    for name in facts.get("open_conductors", ()):
        if name in plant.conductors:
            conductor = plant.conductors[name]
            pairs.append(Pair((conductor.near_end.name, conductor.far_end.name), joined=False, failed=True))
            # what arrives nowhere is at none of the places that lead nowhere either
            here, there = conductor.near_end.name, conductor.far_end.name
            if side == "near":
                here, there = there, here
            left = [flag for flag in facts.get("open_flags", ()) if flag != there]
            pairs += [Pair((here, flag), joined=False, failed=False) for flag in left]
    return pairs


def _ends(cable: Cable) -> set[str]:
    return {end.name for c in cable.conductors for end in (c.near, c.far) if end is not None}


def _groups(cables: Iterable[Cable]) -> list[list[Cable]]:
    """Cables that share connectors, each connector on one side; those that cannot be are groups of their own."""
    groups: list[list[Cable]] = []
    for cable in cables:
        mine = {*cable.near, *cable.far}
        shared = [group for group in groups if any(mine & {*other.near, *other.far} for other in group)]
        merged = [other for group in shared for other in group] + [cable]
        near = {name for other in merged for name in other.near}
        far = {name for other in merged for name in other.far}
        if near & far:
            groups.append([cable])
            continue
        groups = [group for group in groups if group not in shared] + [merged]
    return groups


def _map(plant: Plant, group: list[Cable], pairs: list[Pair]) -> WalkMap | None:
    near = _panels(plant, [name for cable in group for name in cable.near])
    far = _panels(plant, [name for cable in group for name in cable.far])
    known = {pin for connector in (*near, *far) for pin in pins_on(connector)}
    wires = []
    for cable in group:
        for conductor in cable.conductors:
            if conductor.near is None or conductor.far is None:
                continue
            a, b = _pin(conductor.near), _pin(conductor.far)
            if a in known and b in known:
                twin = f"{cable.name}/{conductor.pair}" if conductor.pair is not None else None
                wires.append(Conductor(conductor.name, a, b, twin, cable.name))
    whole = {wire.pair for wire in wires if sum(other.pair == wire.pair for other in wires) == 2}
    wires = [
        wire if wire.pair in whole else Conductor(wire.name, wire.near, wire.far, None, wire.cable) for wire in wires
    ]
    joins: set[Join] = set()
    parted: set[Join] = set()
    ohms: dict[Join, float] = {}
    limits: dict[str, float] = {}
    ends = {(wire.near, wire.far): wire.name for wire in wires}
    count = 0
    for pair in pairs:
        a, b = (_pin(plant.terminal(name)) for name in pair.between)
        if a not in known or b not in known:
            continue
        count += 1
        join = (a, b)
        if pair.joined:
            joins.add(join)
            if pair.ohms is not None:
                ohms[join] = pair.ohms
        else:
            parted.add(join)
        wire = ends.get((a, b)) or ends.get((b, a))
        if wire is not None and pair.high is not None:
            limits[wire] = pair.high
    if not count or not wires:
        return None
    seen = {pin for join in (*joins, *parted) for pin in join}
    measured = Measured(
        frozenset(joins),
        not_tested=frozenset(known - seen),
        crosses="sampled",
        parted=frozenset(parted - joins),
        resistances=ohms,
        limits=limits,
    )
    return WalkMap(tuple(cable.name for cable in group), Design(near, far, tuple(wires)), measured, count)


def _panels(plant: Plant, names: Iterable[str]) -> tuple[Connector, ...]:
    return tuple(plant.connectors[name] for name in dict.fromkeys(names) if name in plant.connectors)


def _pin(terminal: Terminal) -> Pin:
    return Pin(terminal.owner, terminal.pin)


CONDUCTS_BELOW_OHM = 10e3
"""A path of less than this is a wire or a short; more is leakage or nothing. Common practice, no source."""


def _conducts(outcome: Outcome) -> bool:
    return outcome.figure.value is not None and outcome.figure.value < CONDUCTS_BELOW_OHM
