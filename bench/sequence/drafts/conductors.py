"""Drafts for conductors on a dead plant: each from pin to pin, which is which, and which are joined."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Final

from bench.plant.flags import SIDES, unnamed
from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Bay, Cable, Conductor, Connector, Inlet, Shelf
from bench.quantity import Amount
from bench.sequence.drafts import looking
from bench.sequence.drafts.again import through_conductor
from bench.sequence.drafts.parts import (
    AMBIENT,
    CLOSING,
    OPENING,
    Beside,
    CannotDraft,
    Draft,
    Part,
    apart_limit,
    cards_out,
    dead,
    section,
)
from bench.sequence.file import Do, Each, Hold, Limit, Measure, Prove, Seek, Step

_IDENTIFY_SETTINGS: Final = (
    "How: {method: tags} with a common known at both ends, {method: star} without one, {method: chain} with clips "
    "alone, {method: sizes} with a bare tester. Left out, the best is taken. What else may be told: common: screen, a "
    "conductor or a place; tags: E24, E96 or single values with their tolerance; measured: values that you measured; "
    'bar: no; tester: yes; colours: "1 white/blue; 2 blue/white"; flags: a connector whose order is not known.'
)


def continuity(plant: Plant, of: str) -> Draft:
    """Every conductor from pin to pin, and neighbouring pins apart.

    Args:
        plant: the plant.
        of: a cable, bay or shelf.

    Raises:
        CannotDraft: nothing was named, or no conductor of it is landed at both ends.
        UnknownName: it is something else.
    """
    if not of:
        raise CannotDraft("continuity wants a cable, bay or shelf: name one")
    what, connectors = scope(plant, of)
    conductors = plant.conductors_of(of)
    power = _power_cables(plant, of)
    names = {one.name for one in power}
    thin = [one for one in conductors if one.cable not in names]
    if not any(one.landed for one in thin) and not any(one.landed for cable in power for one in cable.conductors):
        raise CannotDraft(f"no conductor of {of} is landed at both ends, so nothing can be proved from pin to pin yet")
    there = looking.around(plant, of)
    looks = [*looking.nothing_on(plant, there), *looking.plugs(there)]
    parts: list[Part] = [*dead(what, looks, there.stands_on), AMBIENT]
    if any(one.landed for one in thin):
        parts += _through_pins(plant, of, thin, conductors, connectors)
    if power:
        parts += _through_power(plant, power, [] if isinstance(plant.find(of), Cable) else plant.inlets_of(of))
    about = (
        "Every conductor from pin to pin, and the pins of the near connector against their neighbours; and what was "
        "done wrong, where some do not get through."
    )
    if power:
        about = f"{about} Power wiring from end to end, with four wires." if thin else _POWER_ABOUT
    return Draft(about, parts)


_POWER_ABOUT: Final = "Every conductor of the power wiring from end to end, with its joints, with four wires."
FOUR_WIRES: Final = 0.1
"""Ohms below which a conductor is read with four wires: two leads are zeroed to a few milliohms at best (common
practice, no source)."""


def _through_pins(
    plant: Plant, of: str, thin: list[Conductor], conductors: list[Conductor], connectors: list[str]
) -> list[Part]:
    """Readings with two wires, and neighbouring pins apart."""
    here = {one.name for one in thin if one.landed}
    skipped = [conductor.name for conductor in conductors if conductor.name not in here]
    parts: list[Part] = [*OPENING]
    landed = [one.name for one in thin if one.landed]
    if isinstance(plant.find(of), Cable) and len(landed) >= 2 * EARLY:
        first = landed[:EARLY]
        title = f"The first {EARLY} of {of}"
        parts.append(Each(over="conductors", only=first, title=title, steps=[through_conductor()]))
        parts.append(Beside(look_early(of), {"find": "asks for nothing where these get through"}))
        skipped = [*first, *skipped]
    every = Each(over="conductors", of=of, but=skipped, title=f"Continuity of {of}", steps=[through_conductor()])
    parts.append(
        Beside(every, {"but": "read above, not landed at both ends, or read with four wires"}) if skipped else every
    )
    if connectors and plant.wires_beside(beside := connectors[0] if isinstance(plant.find(of), Cable) else of):
        parts.append(
            "Only neighbours are looked at: a short between pins that lie apart is not found by this. The draft "
            "crosses holds all pins against each other, in few readings."
        )
        parts.append(_neighbours_apart(beside))
    parts.append("Where something failed, this says what was done wrong, in few readings; else it asks for nothing.")
    parts.append(look(of))
    return [*parts, *CLOSING]


def _through_power(plant: Plant, cables: list[Cable], inlets: list[Inlet]) -> list[Part]:
    """Readings with four wires of what is far below an ohm: thick wires with their lugs, from the supply on.

    And the joints between them on the ways to inlets, across breakers that are closed for it.
    """
    parts: list[Part] = [_reach(plant, cables), _known_resistor("before")]
    for cable in cables:
        loose = [one.name for one in cable.conductors if not one.landed]
        every = Each(over="conductors", of=cable.name, but=loose, title=f"Power wiring {cable.name}",
                     steps=[through_conductor(wires=4)])  # fmt: skip
        parts.append(every)
    return [*parts, *_joints(plant, inlets), _known_resistor("after")]


_BOLTED: Final = Amount.parse("500 uohm")
"""What a bolted joint may add that the plant file does not know (common practice, no source)."""


def _joints(plant: Plant, inlets: list[Inlet]) -> list[Part]:
    """What lies between the wires of the ways to some inlets: bars with their studs, and breakers, closed for it."""
    pairs: dict[tuple[str, str], None] = {}
    closed: dict[str, None] = {}
    for inlet in inlets:
        try:
            path = plant.supply_path(inlet.shelf, inlet.feed)
        except NoPath:
            continue
        for way in (path.out, tuple(reversed(path.back))):
            wires = [plant.conductors[edge.id] for edge in reversed(way) if edge.kind == "conductor"]
            for one, other in pairwise(wires):
                pairs.setdefault(_between(plant, one, other))
        closed.update(dict.fromkeys(path.breakers))
    if not pairs:
        return []
    names = list(closed)
    made: list[Part] = [section("joints of bars and breakers")]
    if names:
        made.append(
            Do(
                title="Close breakers on the dead plant",
                text="Every supply is away from its leads, locked off and tagged: look once more. Then close "
                f"{', '.join(names)}, so that what they join can be read. Nothing is fed by it.",
                close=names,
            )
        )
    for red, black in pairs:
        across = [edge.id for edge in plant.path(red, black) if edge.kind == "breaker"]
        over = f", across {', '.join(across)}" if across else ""
        made.append(
            Measure(
                title=f"Joints from {red} to {black}{over}",
                read="resistance",
                between=(red, black),
                wires=4,
                limit=Limit(computed="path", margin=_BOLTED),
                text="Clips on the lugs of the wires, not on the bolts.",
            )
        )
    if names:
        text = f"Open {', '.join(reversed(names))} again, and lock them off."
        made.append(Do(title="Breakers open again", text=text, open=names))
    return made


def _between(plant: Plant, one: Conductor, other: Conductor) -> tuple[str, str]:
    """The ends of two wires that follow each other on a way: those which lie nearest."""
    ends = [(here, there) for here in (one.near_end, one.far_end) for there in (other.near_end, other.far_end)]
    here, there = min(ends, key=lambda two: len(plant.path(two[0].name, two[1].name)))
    return here.name, there.name


def _known_resistor(when: str) -> Step:
    return Prove(
        title=f"The meter reads a known resistor, {when}",
        text="Four-wire clips on the reference resistor, two on each end, the sense clips inside.",
        against="reference",
        wires=4,
    )


def _reach(plant: Plant, cables: list[Cable]) -> Step:
    """Where the two ends of each cable are, so that leads are laid before anybody begins."""
    far = []
    for cable in cables:
        one = next((one for one in cable.conductors if one.landed), None)
        if one is None:
            continue
        here, there = plant.where(one.near_end.name), plant.where(one.far_end.name)
        if _place(plant, one.near_end.name) != _place(plant, one.far_end.name):
            far.append(f"{cable.name}, {cable.length_m:g} m: from {here} to {there}")
    text = "Nothing is loose that is to be read. Four-wire clips on bare metal."
    if far:
        text += (
            " The ends of these are out of one person's reach: lay extension leads for two of the four clips, or have "
            f"somebody at the other end. {'; '.join(far)}."
        )
    return Do(title="Leads that reach", text=text)


def _place(plant: Plant, name: str) -> str:
    """The bay that a terminal is in; where it stands, for a supply that is in none."""
    terminal = plant.terminals[name]
    return terminal.bay or plant.where(name).partition(",")[0]


def _power_cables(plant: Plant, of: str) -> list[Cable]:
    """The power wiring of a scope in the order from the supply on: what is to be read with four wires.

    Of a bay or shelf it is all on the way from the supplies to its inlets, there and back.
    """
    scope = plant.find(of)
    if isinstance(scope, Cable):
        found = [scope.name]
    else:
        found = []
        for inlet in plant.inlets_of(of):
            try:
                way = plant.supply_path(inlet.shelf, inlet.feed)
            except NoPath:
                continue
            ids = [edge.id for edge in (*reversed(way.out), *way.back) if edge.kind == "conductor"]
            found += [plant.conductors[name].cable for name in ids]
    cables = [plant.cables[name] for name in dict.fromkeys(found)]
    return [cable for cable in cables if is_power(plant, cable)]


def is_power(plant: Plant, cable: Cable) -> bool:
    """Whether none of its ends is a pin of a connector, and it is too thick for two wires."""
    landed = [one for one in cable.conductors if one.landed]
    return bool(landed) and all(
        "pin" not in (one.near_end.kind, one.far_end.kind) and one.expected(plant.ambient_c).high_ohm < FOUR_WIRES
        for one in landed
    )


EARLY: Final = 6
"""Conductors that are read before an early look at what may be wrong with all of them (own choice)."""


def look_early(of: str) -> Seek:
    """The look after the first conductors, which asks only where several of them do not get through."""
    return Seek(
        title=f"What may be wrong with {of}, after the first wires", find="landings", of=of, settings={"look": "early"}
    )


def look(of: str) -> Seek:
    """The look at the end of a walk, for every conductor that does not get through and for joins."""
    return Seek(title=f"What became of wires of {of} that do not get through", find="landings", of=of)


def _neighbours_apart(of: str) -> Step:
    """Wires side by side at a connector, or at all of a bay or shelf, each two once."""
    reading = Measure(
        title="{neighbours.pin} against {neighbours.other}",
        read="resistance",
        between=("{neighbours.red}", "{neighbours.black}"),
        range=Amount.parse("10 Mohm"),
        limit=apart_limit(),
    )
    title = "Neighbouring pins of {neighbours.connector} apart"
    return Each(over="wires-in-turn", of=of, title=title, steps=[reading])


def identify(plant: Plant, of: str, settings: Mapping[str, str]) -> Draft:
    """The search for which wire is which, of one cable.

    Args:
        plant: the plant.
        of: the cable.
        settings: of the search, by name.

    Raises:
        UnknownName: nothing is called so.
        CannotDraft: it is no cable, or it lands at both ends and no connector was named.
    """
    cable = plant.find(of) if of else None
    if not isinstance(cable, Cable):
        raise CannotDraft("identify wants a cable: name one with --cable")
    if not any(unnamed(cable, side)[0] for side in SIDES) and "flags" not in settings:
        raise CannotDraft(f"{of} lands at both ends, so nothing is left to identify")
    by_tester = settings.get("tester") == "yes"
    opening: tuple[Part, ...] = (_tester("", _TESTER_BEFORE),) if by_tester else (AMBIENT, *OPENING)
    closing: tuple[Part, ...] = (_tester(" again", _TESTER_AFTER),) if by_tester else CLOSING
    search = Seek(title=f"Which wire is which in {of}", find="conductors", of=of, settings=dict(settings))
    there = looking.around(plant, of)
    opened = dead(f"cable {of} at both ends", looking.nothing_on(plant, there), there.stands_on)
    parts = [*opened, *_cards_out(plant, f"cable {of}", [cable], there), *opening, _IDENTIFY_SETTINGS, search]
    about = f"Which wire of {of} is which: its loose ends are given flags, and each flag its conductor."
    return Draft(about, [*parts, *closing])


_TESTER_BEFORE: Final = (
    "If it does not do both, change its battery or its leads, or take another one, before you go on."
)
_TESTER_AFTER: Final = (
    "If it does not do both, what it said before is not to be believed: skip this step with that reason, and begin the "
    "walk anew with another tester."
)


def _tester(again: str, otherwise: str) -> Step:
    return Do(
        title=f"Prove the tester{again}",
        text="Hold the two tips of the continuity tester firmly together: it beeps. Hold them apart in free air: it is "
        f"silent. {otherwise}",
    )


def _cards_out(plant: Plant, what: str, cables: Iterable[Cable], there: looking.Around) -> list[Part]:
    return [
        *cards_out(plant, cables, "They join wires that are to be told apart.", there.stands_on),
        Hold(
            title="Cards out, feeds off",
            text=f"All cards are out of the shelves that {what} lands in, arresters and terminations are off, and no "
            "meter or tool of anybody else is on its wires. Nothing of it is live. Type the word only if you have "
            "checked it yourself.",
            word="CARDS-OUT",
            proven=there.stands_on,
        ),
    ]


def crosses(plant: Plant, of: str) -> Draft:
    """The search for joins that should not be, among all nets of a cable or connector.

    Args:
        plant: the plant.
        of: the cable or connector.

    Raises:
        UnknownName: it is something else.
        CannotDraft: nothing was named.
    """
    what = searched(plant, of, "crosses")
    there = looking.around(plant, of)
    cables = [plant.cables[of]] if of in plant.cables else plant.cables_of(of)
    opened = dead(what, looking.nothing_on(plant, there), there.stands_on)
    parts: list[Part] = [*opened, *_cards_out(plant, what, cables, there), AMBIENT, *OPENING]
    parts += [
        "All nets are held against all others, in groups on two bars: nothing is left out, as it is where only "
        "neighbours are looked at (draft continuity). By a relay matrix it goes by itself.",
        Seek(title=f"Joins among the nets of {of}", find="crosses", of=of, settings={"apart": "100 kohm"}),
    ]
    return Draft(f"Whether any two nets of {of} are joined that should be apart, and which.", [*parts, *CLOSING])


def searched(plant: Plant, of: str, kind: str) -> str:
    """What a search among nets is about, in words.

    Args:
        plant: the plant.
        of: a cable or connector.
        kind: of the draft.

    Raises:
        UnknownName: it is something else.
        CannotDraft: nothing was named.
    """
    if not of:
        raise CannotDraft(f"{kind} wants a cable or a connector: name one")
    thing = plant.find(of)
    if isinstance(thing, Cable):
        return f"cable {of}"
    if isinstance(thing, Connector):
        return f"connector {of}"
    raise UnknownName(of, "the name of a cable or connector", f"'{of}' is something else")


def scope(plant: Plant, of: str) -> tuple[str, list[str]]:
    """How a scope is called in a sentence, and the connectors whose neighbours lie in it.

    Args:
        plant: the plant.
        of: a cable, bay or shelf.

    Raises:
        UnknownName: it is something else.
    """
    thing = plant.find(of)
    if isinstance(thing, Cable):
        connectors = [name for name in dict.fromkeys((*thing.near, *thing.far)) if name in plant.connectors]
        return f"cable {of} at both ends", connectors
    if isinstance(thing, Bay | Shelf):
        kind = "bay" if isinstance(thing, Bay) else "shelf"
        return f"{kind} {of}", [connector.name for connector in plant.connectors_of(of)]
    raise UnknownName(of, "the name of a cable, bay or shelf", f"'{of}' is something else")
