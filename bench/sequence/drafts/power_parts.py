"""Pieces of everything that lets power in: the ways of the feeds, what a load will draw, and the steps of a stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import msgspec

from bench.plant.model import NoPath, Plant
from bench.plant.things import Card, Inlet, Shelf
from bench.quantity import Amount, Current, Duration, Voltage, engineering
from bench.sequence.drafts.parts import Beside, CannotDraft, Part, by_hand, unique
from bench.sequence.drafts.proved_dead import DEAD_VOLTS
from bench.sequence.file import Ask, Do, Energise, Hold, Limit, Measure, Ramp, Set, Step, Wait
from bench.sequence.power_tree import SAFE_VOLTS, Powered, WillNotCarry, headroom_line, power_tree

SUPPLY_A: Final = 5.0
"""What the drafted steps ask of a bench supply at the most; write your own supply's limit over it."""
SURGE: Final = 1.5
"""Converters draw this many times their idle current as they start (common practice, no source)."""
_LEAKAGE: Final = Current(0.008)
"""Leakage of one shelf that may be left before the next stage (common practice, no source)."""
_STAGE_LIMIT: Final = Current(0.5)
EMPTY_MARGIN: Final = Current(0.06)
_SAFE_LIMIT: Final = 0.3
"""Amperes that the supply may give at :data:`SAFE_VOLTS`."""

AMMETER_A: Final = 8.0
"""More than this is not led through a hand-held ammeter's fused leads (common practice, no source)."""
ASLEEP: Final = 0.65
"""Below this part of the nominal voltage converters are taken to be off where the plant file does not say when they
start: 31.2 V of 48 V, where makers' data have 32.5 V at the least."""
CHARGED: Final = 5.0
"""The voltage that a shelf's capacitors may keep when hands reach in (common practice, no source)."""
WAIT_FACTOR: Final = 1.26
"""Capacitors are up to 20 % larger than they say, bleeders 5 % (arithmetic)."""

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
    plant: Plant, inlets: list[Inlet], out: frozenset[str] = frozenset(), dummy: float = 0.0, volts: float | None = None
) -> tuple[float, float]:
    """Typical and most of the current of some inlets fed together, in amperes.

    Args:
        plant: the plant.
        inlets: that are fed.
        out: cards that are out.
        dummy: what a dummy load on each shelf draws, in amperes.
        volts: at the supply, without sign; the feed's nominal voltage by default.

    Raises:
        CannotDraft: a breaker would carry too much, or the voltage would collapse.
    """
    ways = [way(plant, inlet) for inlet in inlets]
    at = tuple(dict.fromkeys(supply for supply, _ in ways))
    closed = frozenset(name for _, breakers in ways for name in breakers)
    sign = math.copysign(1.0, plant.feeds[inlets[0].feed].nominal_v)
    loads = {inlet.shelf: dummy for inlet in inlets} if dummy else {}
    height = nominal_volts(plant, inlets[0]) if volts is None else volts
    powered = Powered(at, sign * height, closed=closed, out=out, dummy=loads)
    names = ", ".join(inlet.name for inlet in inlets)
    try:
        found = power_tree(plant).forecast(powered)
    except WillNotCarry as error:
        raise CannotDraft(f"{names} at {height:g} V: {error}") from error
    if found.overloads:
        lines = "; ".join(headroom_line(load) for load in found.overloads)
        raise CannotDraft(f"with {names} on at {height:g} V, breaker {lines}")
    return found.typical.amps, found.most.amps


def limit_for(most: float) -> float:
    """The supply's current limit in amperes for a load.

    Args:
        most: what the load draws at the most, in amperes.
    """
    return min(SUPPLY_A, max(0.5, math.ceil((SURGE * most + 0.2) * 10) / 10))


# ---- steps ----------------------------------------------------------------------------------------------------------


def positive(plant: Plant, feed: str) -> bool:
    """Whether a feed's own pole is the positive one.

    Args:
        plant: the plant.
        feed: its name.
    """
    return plant.feeds[feed].nominal_v > 0


def sign_words(plant: Plant, inlet: Inlet, red: str = "", black: str = "") -> str:
    """Where the probes go, and which sign is right there.

    Args:
        plant: the plant.
        inlet: of it.
        red: where the red probe goes; the inlet's feed by default.
        black: where the black probe goes; the inlet's return by default.
    """
    right = (
        "plus: the return, minus here, is earthed"
        if positive(plant, inlet.feed)
        else "minus: the return, plus here, is earthed"
    )
    return (
        f"Red probe on {red or inlet.live.name}, black probe on {black or inlet.back.name}. The right sign is {right}."
    )


def check_signs(plant: Plant, inlets: Sequence[Inlet]) -> None:
    """See that these inlets have one polarity, with the return earthed.

    Args:
        plant: the plant.
        inlets: that are fed.

    Raises:
        CannotDraft: they have both, or the plant has an earthing network that a return is no part of.
    """
    signs = {positive(plant, inlet.feed) for inlet in inlets}
    if len(signs) > 1:
        raise CannotDraft(
            f"{', '.join(inlet.name for inlet in inlets)} are fed by both polarities: draft each shelf's feeds by "
            "hand, with the person in charge"
        )
    if not plant.earth_points:
        return
    earthed = {point.node for point in plant.earth_points.values()}
    for inlet in inlets:
        back = plant.feeds[inlet.feed].back
        if back and back in plant.busbars and plant.terminal(back).node not in earthed:
            raise CannotDraft(
                f"the return {back} of feed {inlet.feed} is on no point of the earthing network: on a floating feed "
                "no reading to the frame is right or wrong. Say in the plant file where it is earthed, or prove it by "
                "hand"
            )


def leads_on(plant: Plant, supplies: Sequence[str]) -> list[Part]:
    """The bench supply is connected in the place of supplies, output off, and nothing is brought up yet.

    Args:
        plant: the plant.
        supplies: in whose place.
    """
    made: list[Part] = []
    for name in supplies:
        supply = plant.supplies[name]
        text = f"The bench supply's output is off, and {name} itself is away from its leads."
        title = f"Nothing at {name}'s ends before the leads go on"
        made.append(volts((supply.live.name, supply.back.name), name, title, DEAD_VOLTS, text=text))
    ends = "; ".join(_ends(plant, name) for name in supplies)
    made.append(
        Do(
            title=f"Bench supply to {' and '.join(supplies)}",
            text="Make sure the bench supply's output is off and its terminals read nothing. Bolt or clamp its leads "
            f"on, the return first, and on nothing else: {ends}. Say it aloud, let a second person look, then confirm.",
            connect=list(supplies),
        )
    )
    return made


def _ends(plant: Plant, name: str) -> str:
    supply = plant.supplies[name]
    feed, back = ("plus", "minus") if positive(plant, supply.feed) else ("minus", "plus")
    return f"its {back} on {supply.back.name}, its {feed} on {supply.live.name}"


def leads_off(plant: Plant, supplies: Sequence[str]) -> list[Part]:
    """The bench supply's leads come off, output off.

    Args:
        plant: the plant.
        supplies: in whose place it was.
    """
    ends = ", then ".join(f"{plant.supplies[n].live.name}, then {plant.supplies[n].back.name}" for n in supplies)
    return [
        Do(
            title=f"Bench supply off {' and '.join(supplies)}",
            text=f"Make sure its output is off and its terminals read nothing. Take its leads off: {ends}.",
            disconnect=list(supplies),
        )
    ]


def there_first(
    plant: Plant, inlet: Inlet, neighbours: Sequence[Inlet] = (), crossed: Sequence[Inlet] = ()
) -> list[Part]:
    """A harmless voltage shows where the bench supply is, and with which sign, before more is put on.

    Args:
        plant: the plant.
        inlet: that should get it.
        neighbours: inlets of other shelves on the same feed, which must not.
        crossed: inlets of other shelves on other feeds; where one gets it nothing more is fed from this supply.
    """
    supply, breakers = way(plant, inlet)
    last = plant.breakers[breakers[-1]]
    target = min(SAFE_VOLTS, 0.25 * nominal_volts(plant, inlet))
    title = f"Feed {inlet.feed} to {inlet.shelf} at {_shown(target):g} V"
    text = f"A harmless voltage first: it shows whether the bench supply is in the place of {supply}, and its sign."
    sign = sign_words(plant, inlet)
    bar = return_bar(plant, inlet)
    beside = sign_words(plant, inlet, last.load.name, bar)
    made: list[Part] = [
        empty_brought_up(title, text, [supply], target, _SAFE_LIMIT),
        volts((last.load.name, bar), last.name, f"{last.name}, load side", SHELF_VOLTAGE, live=True, text=beside),
        inlet_volts(inlet, f"{inlet.name} has feed {inlet.feed}", SHELF_VOLTAGE, live=True, text=sign),
    ]
    for other in plant.shelves[inlet.shelf].inlets:
        if other.name != inlet.name:
            made.append(
                inlet_volts(other, f"{other.name} does not rise with feed {inlet.feed}", APART_LIMIT, live=True)
            )
    for other in neighbours:
        between = (other.live.name, other.back.name)
        title = f"{last.name} does not feed {other.name}"
        made.append(volts(between, inlet.shelf, title, APART_LIMIT, live=True))
    for other in crossed:
        title = f"{supply} does not feed {other.name}"
        made.append(volts((other.live.name, other.back.name), supply, title, APART_LIMIT, live=True))
    return made


def shows(plant: Plant, inlet: Inlet) -> list[Part]:
    """A harmless voltage shows that the bench supply has come to where a shelf waits for it with all its cards.

    What lies between, and what must not rise with it, was read while the shelf was empty.

    Args:
        plant: the plant.
        inlet: that should get it.
    """
    supply, _ = way(plant, inlet)
    target = min(SAFE_VOLTS, 0.25 * nominal_volts(plant, inlet))
    text = f"A harmless voltage first: it shows whether the bench supply is in the place of {supply}, and its sign."
    sign = sign_words(plant, inlet)
    title = f"Feed {inlet.feed} to {inlet.shelf} at {_shown(target):g} V"
    return [
        empty_brought_up(title, text, [supply], target, _SAFE_LIMIT),
        inlet_volts(inlet, f"{inlet.name} has feed {inlet.feed}", SHELF_VOLTAGE, live=True, text=sign),
    ]


def apart(plant: Plant, inlet: Inlet, when: str) -> list[Part]:
    """The other inlets of a shelf are read while one is fed: between their poles, and each pole to the fed return.

    Args:
        plant: the plant.
        inlet: that is fed.
        when: with what, for the titles.
    """
    text = (
        "If it is a few volts, put 10 kohm across: a sound old diode leaks, and the reading falls to nothing. If it "
        "stays, the diode is shorted."
    )
    made: list[Part] = []
    for other in plant.shelves[inlet.shelf].inlets:
        if other.name == inlet.name:
            continue
        made.append(inlet_volts(other, f"{other.name} does not rise {when}", APART_LIMIT, live=True, text=text))
        for end in (other.live, other.back):
            between = (end.name, inlet.back.name)
            if plant.terminal(end.name).node == inlet.back.node:
                continue
            title = f"{end.name} does not rise {when}, to {inlet.back.name}"
            made.append(volts(between, other.name, title, APART_LIMIT, live=True))
    return made


def isolate(plant: Plant, what: str, inlets: Sequence[Inlet]) -> Do:
    """Everything that can feed some inlets is opened and taken off: the loads first, the battery last.

    Args:
        plant: the plant.
        what: is isolated, in words.
        inlets: of it, that are reached.
    """
    supplies = supplies_of(plant, inlets)
    lasts = unique(way(plant, inlet)[1][-1] for inlet in inlets)
    mains = [name for name in breakers_on(plant, inlets) if name not in lasts]
    batteries = [name for name in supplies if plant.supplies[name].kind == "battery"]
    fuses = f" Take the fuse out at {' and at '.join(batteries)}." if batteries else ""
    return Do(
        title="Isolate",
        text=f"Loads first, battery last. Open every breaker to {what}, those of its shelves before the mains.{fuses} "
        f"Then disconnect {', '.join(supplies)} at their terminals, the earthed pole first: from then on a slip to the "
        "frame closes no circuit (makers' manuals). Cover the lugs, lock off and tag. The bench supply's leads are on "
        "nothing.",
        open=[*reversed(lasts), *reversed(mains)],
        switch_off=supplies,
        disconnect=supplies,
    )


def supply_on_words(plant: Plant, name: str, mains: str) -> str:
    """How a supply of the plant is connected while the breakers behind it are open: a battery's poles in their order.

    Args:
        plant: the plant.
        name: of the supply.
        mains: the breakers right behind it, in words.
    """
    supply = plant.supplies[name]
    live = f"From then on the line side of {mains} is live."
    if supply.kind != "battery":
        return f"With {mains} open, connect {name} or switch it on. {live}"
    return (
        f"With {mains} and the fuse at the battery open, connect {name} at its terminals, insulated tools, all else "
        "covered: the lug of the feed first, the earthed pole last (makers' manuals: until then a slip to the frame "
        "closes no circuit), each to its maker's torque, and marked. Read from the battery's side of the open fuse to "
        f"the return: {supply.volts:+g} V or near it. Only then put the fuse in. {live}"
    )


def supplies_off_words(plant: Plant, names: Sequence[str]) -> str:
    """How supplies of the plant are taken off once the breakers behind them are open.

    Args:
        plant: the plant.
        names: of the supplies.
    """
    batteries = [name for name in names if plant.supplies[name].kind == "battery"]
    others = [name for name in names if name not in batteries]
    told = [f"Switch {' and '.join(others) or 'the supply'} off."] if others or not names else []
    if batteries:
        fuse, whose = ("Fuses", "their") if len(batteries) > 1 else ("Fuse", "its")
        told.append(
            f"{fuse} out; then disconnect {', '.join(batteries)} at {whose} terminals, the earthed pole first. Lock "
            "off and tag."
        )
    return " ".join(told)


def tools(plant: Plant, supplies: Sequence[str]) -> Do:
    """What meter, leads and tools must bear, before anything is touched with them.

    Args:
        plant: the plant.
        supplies: that they may meet.
    """
    found = [plant.supplies[name] for name in supplies]
    volts = max(abs(one.volts) for one in found)
    most = [abs(one.volts) / one.ohms for one in found if one.kind == "battery" and one.limit_a is None and one.ohms]
    amps = (
        f" A short of a battery here takes about {engineering(max(most), 'A', digits=2)} by the plant file."
        if most
        else ""
    )
    return Do(
        title="Meter, leads and tools",
        text=f"Meter, leads and every fuse in them are made for direct voltage, {volts:g} V and more, and for the "
        f"measurement category of a battery's wiring; an ammeter's fuse breaks a battery's short.{amps} Leads whole, "
        "tips with guards; spanners insulated all over; eye protection. Whatever is not so stays out of the room.",
    )


def joints(plant: Plant, inlets: Sequence[Inlet]) -> Do:
    """Each joint that will carry current is made up and marked, and that is recorded.

    Args:
        plant: the plant.
        inlets: whose ways they are on.
    """
    return Do(
        title="Joints made up and marked",
        text=f"Go along the ways: {'; '.join(_joints(plant, inlets))}. Each joint is clean and flat, made up to the "
        "torque of its terminal's maker, which always rules (where only the bolt is known: M6 8, M8 20, M10 40, M12 70 "
        "N m, 8.8 dry on copper, DIN 43673 as quoted in a public note), and marked across nut and bar. A joint without "
        "a mark is not made up: go on when all have one.",
    )


def joints_again(plant: Plant, inlets: Sequence[Inlet]) -> Do:
    """The same joints after they were warm, cold and dead.

    Args:
        plant: the plant.
        inlets: whose ways they are on.
    """
    return Do(
        title="Joints again, cold",
        text="All is off, disconnected and locked, and has cooled. Go along the ways again: "
        f"{'; '.join(_joints(plant, inlets))}. Look at each mark, and try the joint at 80 % of its torque (DIN 43673 "
        "as quoted in a public note). One that has moved is undone, cleaned, made up anew and marked, "
        "and not just given a little more.",
    )


def _joints(plant: Plant, inlets: Sequence[Inlet]) -> list[str]:
    """The terminals on the ways of some inlets, feed by feed: breakers, inlets and returns.

    A supply's own are off while this is read; they are made up as it is connected.
    """
    found: dict[str, list[str]] = {}
    for inlet in inlets:
        breakers = way(plant, inlet)[1]
        names = [end.name for one in breakers for end in (plant.breakers[one].line, plant.breakers[one].load)]
        names += [inlet.live.name, inlet.back.name, return_bar(plant, inlet)]
        found.setdefault(f"feed {inlet.feed}", []).extend(names)
    return [f"{feed}: {', '.join(unique(names))}" for feed, names in found.items()]


def strap(proven: Sequence[str] = ()) -> Ask:
    """The wrist strap is tested with its wearer, before the first card is touched.

    Args:
        proven: what must have passed, else nobody is asked.
    """
    return Ask(
        title="Wrist strap",
        text="Strap on, its cord on the earth point of the frame, never near an open battery or a bare live bar. What "
        "does a strap tester, or the ohmmeter from your other hand to the frame, show in MΩ? (0.75 to 35: IEC "
        "61340-5-1 "
        "as quoted in a public table, and a tester's data.)",
        name="strap",
        proven=list(proven),
    )


LEAKS_PART: Final = 0.01
"""Amperes of leakage for each farad and volt that an electrolytic capacitor may have (makers' data: 0.01 C V)."""


def capacitors(plant: Plant, shelf: Shelf, proven: Sequence[str]) -> Ask:
    """What a shelf's own capacitors leak, and what stands in series with them: both are followed from record to record.

    Args:
        plant: the plant.
        shelf: with its cards out, and its charge gone.
        proven: what must have passed, else nobody is asked.
    """
    inside = plant.file.shelf_input
    height = max(nominal_volts(plant, inlet) for inlet in shelf.inlets)
    most = None if inside is None else float(f"{1000 * LEAKS_PART * inside.capacitance.value * height:.3g}")
    limit = "" if most is None else f" More than {most:g} mA is too much (makers' data: 0.01 x farads x volts)."
    return Ask(
        title=f"The capacitors of {shelf.name}",
        text=f"Where the input capacitors of {shelf.name} can be taken out: put each on the bench supply through 10 "
        f"kohm, {height:g} V, the right way round, and read the volts across the resistor after five minutes; over its "
        f"ohms they are the leakage.{limit} Discharge it through the resistor again, and read that it is, before a "
        "hand is on it. Then read its series resistance. Type the sum of the leakages in mA and the largest resistance "
        "in ohms, such as 0.4 0.09: 'trace' shows what grows from year to year. Type no where they stay in.",
        name="capacitors",
        of=shelf.name,
        most=most,
        proven=list(proven),
    )


def copied(shelf: Shelf, cards: Sequence[Card], proven: Sequence[str]) -> list[Part]:
    """What cannot be bought again is copied before its shelf gets power, and the copy is read back.

    Args:
        shelf: that gets power.
        cards: of it.
        proven: what must have passed, else nobody is asked.
    """
    return [
        Ask(
            title=f"Copy of what {card.name} keeps",
            text=f"{card.name}, {card.type.title or card.type.name}, keeps: {card.type.keeps}. It cannot be bought "
            "again, "
            f"and {shelf.name} gets power next. Copy it on a machine of its own, write-protected, and read the copy "
            "back. What is the checksum of the original, and that of the copy?",
            name="checksum",
            of=shelf.name,
            proven=list(proven),
        )
        for card in cards
        if card.type.keeps
    ]


def lose_charge(
    plant: Plant,
    shelf: Shelf,
    cards: Sequence[Card],
    names: Sequence[str],
    others: Sequence[str] = (),
    height: float = 0.0,
) -> list[Part]:
    """A shelf's capacitors lose their charge behind the diodes, before hands reach in.

    Where the plant file knows the bleeder, the wait is computed: R C ln(V0 / V) x 1.26, from what was there to 5 V. The
    load is never counted on: a converter drains its input to its turn-off only. Where it does not, no time is right,
    and the place itself is read.

    Args:
        plant: the plant.
        shelf: whose cards are handled.
        cards: that are in.
        names: what must have passed, else nobody waits.
        others: shelves that lose theirs sooner, and are handled with it.
        height: volts that were there; 0: the nominal ones, which the bench supply gave.
    """
    called = ", ".join((shelf.name, *others))
    inside = plant.file.shelf_input
    height = height or max(nominal_volts(plant, inlet) for inlet in shelf.inlets)
    if inside is None:
        return [
            Do(
                title=f"Read behind the diodes of {called}",
                text="Its capacitors keep their charge behind the diodes, where the inlets show nothing, and the plant "
                "file names no bleeder: there is no time after which it is safe. Read at the converter's input or the "
                "card connector, on a proven meter, feed to return and each to the frame: go on only below 2 V, and "
                "read again after a minute.",
                proven=list(names),
            )
        ]
    farad = inside.capacitance.value + sum(
        card.type.input_capacitance.value for card in cards if card.type.input_capacitance is not None
    )
    seconds = float(math.ceil(inside.bleeder.value * farad * math.log(height / CHARGED) * WAIT_FACTOR))
    return [
        Wait(
            title=f"{called} {'lose their' if others else 'loses its'} charge",
            text=f"Nobody reaches into {called} yet. Behind the diodes the capacitors ({engineering(farad, 'F')}) "
            f"may have {height:g} V, and no probe at an inlet sees it. Through the bleeder ({inside.bleeder}) they "
            f"take {seconds:g} s to fall to {CHARGED:g} V.",
            time=Duration(seconds),
            proven=list(names),
        )
    ]


def reached_into(plant: Plant, names: Sequence[str], stands: Sequence[str]) -> list[Part]:
    """What comes before hands that reach into shelves: their charge goes, and the strap is tested.

    Args:
        plant: the plant.
        names: of the shelves.
        stands: what must have passed, else nobody is asked.
    """
    return [*lose_all(plant, [plant.shelves[name] for name in names], stands), strap(stands)]


def cards_of(plant: Plant, shelf: Shelf) -> list[Card]:
    """The cards that a shelf's inlets feed: its own, and those of its halves that have no inlet.

    Args:
        plant: the plant.
        shelf: of it.
    """
    owners = [shelf, *(plant.shelves[half] for half in shelf.halves if not plant.shelves[half].inlets)]
    return [card for owner in owners for card in owner.cards]


def lose_all(plant: Plant, shelves: Sequence[Shelf], names: Sequence[str]) -> list[Part]:
    """Some shelves with all cards in lose their charge: as long as the slowest takes.

    Args:
        plant: the plant.
        shelves: that are handled next.
        names: what must have passed, else nobody waits.
    """

    def farad(shelf: Shelf) -> float:
        found = [card.type.input_capacitance for card in cards_of(plant, shelf)]
        return sum(one.value for one in found if one is not None)

    slowest = max(shelves, key=farad)
    others = [one.name for one in shelves if one is not slowest]
    # a battery on charge may have been on until now
    feeds = [plant.feeds[inlet.feed] for shelf in shelves for inlet in shelf.inlets]
    height = max(abs(volts) for feed in feeds for volts in (feed.low_v, feed.high_v))
    return lose_charge(plant, slowest, cards_of(plant, slowest), names, others, height)


_BREAKERS_OPEN: Final = "Breakers open"


def guarded(made: Sequence[Part], names: Sequence[str]) -> list[Part]:
    """The same steps, which are asked for only while all readings about some names count as passed.

    What makes safe (outputs off, breakers open, leads off) is always asked for.

    Args:
        made: the steps.
        names: shelves, inlets, breakers and supplies.
    """
    return [_guarded(part, list(names)) for part in made]


def _guarded(part: Part, names: list[str]) -> Part:
    if isinstance(part, Beside):
        guarded_step = _guarded(part.step, names)
        assert not isinstance(guarded_step, str | Beside)
        return Beside(guarded_step, part.comments)
    if isinstance(part, Do) and (part.disconnect or part.switch_off or (part.open and part.title == _BREAKERS_OPEN)):
        return part
    if isinstance(part, Do | Hold | Wait | Ask) or (isinstance(part, Measure) and not part.live):
        return msgspec.structs.replace(part, proven=names)
    return part


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


def under_load(plant: Plant, inlet: Inlet) -> Measure:
    """The voltage at an inlet while its shelf draws current.

    Args:
        plant: the plant.
        inlet: of the shelf.
    """
    text = f"Live parts. {sign_words(plant, inlet)}"
    return inlet_volts(inlet, f"{inlet.name} under load", SHELF_VOLTAGE, live=True, text=text)


_LIVE: Final = "Live parts, as before; either sign is right."


def stretches(plant: Plant, inlets: Sequence[Inlet], *, shared: bool = False) -> list[Part]:
    """What each stretch of the way to some inlets loses, while they draw current: a poor joint shows nowhere else.

    Args:
        plant: the plant.
        inlets: on one feed.
        shared: what they have in common, from the supply's end to before their own breakers; else what is each one's
            own: across its last breaker, from there to the shelf, and the whole return.
    """
    text = (
        "Live parts; nobody tightens anything live. Probes on the conductors or the terminals' metal, not on bolt "
        "heads, and leave them until it stands still. Either sign is right."
    )
    pairs: list[tuple[str, str]] = []
    for inlet in inlets:
        supply, names = way(plant, inlet)
        ends = [end for name in names for end in (plant.breakers[name].line, plant.breakers[name].load)]
        places = [plant.supplies[supply].live, *ends, inlet.live]
        along = [(one.name, other.name) for one, other in pairwise(places) if one.node != other.node]
        pairs += along[:-2] if shared else [*along[-2:], (inlet.back.name, plant.supplies[supply].back.name)]
    subject = "+".join(unique(inlet.shelf for inlet in inlets))
    limit = Limit(computed="stretch-drop")
    return [
        volts(pair, subject, f"Joints from {pair[0]} to {pair[1]}", limit, live=True, text=text if not n else _LIVE)
        for n, pair in enumerate(dict.fromkeys(pairs))
    ]


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
    return [Set(title="Supply off", text="The bench supply goes off.", output="off"), breakers_open(opened)]


def breakers_open(opened: Sequence[str]) -> Do:
    """Breakers are opened, the last one first; it is always asked for.

    Args:
        opened: the breakers.
    """
    return Do(title=_BREAKERS_OPEN, text=f"Open {', '.join(reversed(opened))}.", open=list(opened))


def through_the_meter(breaker: str, what: str) -> tuple[Do, Do]:
    """A current goes through the ammeter and back to its breaker, which does the switching both times.

    A meter lead on an open breaker would take the inrush, and break amperes of direct current when it slips. So the
    leads go on and come off with the breaker closed.

    Args:
        breaker: on the way.
        what: runs through it.
    """
    return (
        Do(
            title=f"Ammeter across {breaker}",
            text=f"Put the ammeter's fused leads across the two terminals of the closed {breaker}, firmly clipped. "
            f"Then open {breaker}: {what} runs on through the meter. If a clip comes off, close {breaker}.",
            open=[breaker],
        ),
        Do(
            title=f"{breaker} closed again",
            text=f"Close {breaker}, then take the ammeter's leads off.",
            close=[breaker],
        ),
    )


def ammeter_places(plant: Plant, breaker: str) -> tuple[str, str]:
    """Where the ammeter's leads go across a breaker so that a current to the shelf reads plus: red first.

    Args:
        plant: the plant.
        breaker: on the way.
    """
    one = plant.breakers[breaker]
    return (one.line.name, one.load.name) if positive(plant, one.feed) else (one.load.name, one.line.name)


def stages(plant: Plant, inlet: Inlet, cards: Sequence[Card]) -> list[Ramp]:
    """The lower voltages on the way to the nominal one, all of them below what the cards may start at.

    Just below the least turn-on only leakage and waiting currents flow; between turn-on and the guaranteed range there
    is no saying what is right, so no stage stands there.

    Args:
        plant: the plant.
        inlet: that is fed.
        cards: that are in; without any all converters are out, and it goes on to nine tenths.
    """
    target = nominal_volts(plant, inlet)
    if not cards:
        parts = [0.25 * target, 0.5 * target, 0.75 * target, 0.9 * target]
    else:
        told = [card.type.turns_on.value for card in cards if card.type.turns_on is not None]
        silent = any(card.type.turns_on is None for card in cards)
        least = min([*told, *([ASLEEP * target] if silent else [])])
        top = 0.97 * least
        parts = [part for part in (0.25 * target, 0.5 * target) if part < 0.9 * top] + [top]
    return [Ramp(to=Voltage(float(f"{v:.3g}")), limit=_STAGE_LIMIT, leakage=_LEAKAGE) for v in parts]


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


def empty_brought_up(
    title: str, text: str, at: list[str], target: float, limit: float, ramp: Sequence[Ramp] = ()
) -> Part:
    """An empty shelf is brought up by the bench supply: what it draws is leakage, which goes with the time.

    Args:
        title: of the step.
        text: of the step.
        at: the supplies in whose place the bench supply stands.
        target: in volts, without sign.
        limit: of the supply's current, in amperes.
        ramp: lower voltages first.
    """
    step = brought_up(title, text, at, target, limit, ramp, EMPTY_MARGIN.value)
    beside = {"margin": "what is left of the leakage goes with the time at this voltage"}
    return Beside(step, beside | ({"ramp": REFORM} if ramp else {}))


REFORM: Final = "slowly, so that capacitors that have slept for decades can reform"


def _shown(volts: float) -> float:
    """A voltage as it is shown to people, six digits."""
    return float(f"{volts:g}")
