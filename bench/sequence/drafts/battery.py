"""Drafts the last part of first power: shelves that are proven one by one go onto the plant's own supply.

A battery behind a breaker has no current limit that would forgive, and no program can switch it off. So everything
rests on what was proven before: each breaker is closed by hand, from the battery outwards, behind a hold point of its
own and on evidence that counts; and each hold point says who opens what, on which word.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile

import msgspec

from bench.plant.demand import fault_currents
from bench.plant.model import Plant
from bench.plant.protection import usual_limit
from bench.plant.things import Breaker, Inlet, Shelf, Supply
from bench.quantity import engineering
from bench.sequence.drafts import power_parts as parts
from bench.sequence.drafts.parts import CannotDraft, Part, place_of, section, unique
from bench.sequence.drafts.power_parts import reached, way
from bench.sequence.drafts.proved_dead import DEAD_VOLTS, return_beside
from bench.sequence.file import Ask, Caution, Do, Hold, Limit, Measure, Step
from bench.sequence.power_tree import Forecast, Powered, WillNotCarry, headroom_line, power_tree


def onto_the_plant(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    """The steps for these shelves, feed by feed; none where every feed comes from a bench supply anyway.

    Args:
        plant: the plant.
        shelves: that are proven one by one by then.

    Raises:
        CannotDraft: a breaker would carry too much, or the voltage would collapse.
    """
    by_supply: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_supply.setdefault(way(plant, inlet)[0], []).append(inlet)
    mine = {name: inlets for name, inlets in by_supply.items() if plant.supplies[name].kind != "bench"}
    if not mine:
        return []
    every = parts.breakers_on(plant, [inlet for inlets in mine.values() for inlet in inlets])
    made: list[Part] = [
        section("on the plant's own supplies"),
        Caution(
            title="From here on a battery feeds the plant, and this program cannot switch it off",
            text="Until now a bench supply kept to its current limit and was switched off, by this program or by hand, "
            "at the first reading beyond. A battery knows no limit: a short takes thousands of amperes until a "
            "breaker opens, or something burns. Somebody "
            "stands at the main breaker the whole time and does nothing else; whoever sees, hears or smells anything "
            "calls OPEN. Only licensed or authorised people may do this, under local codes and the rules of the site. "
            "This program is no safety device.",
        ),
        Do(
            title="Bench supply away",
            text=f"The bench supply's leads are on nothing, and it stands aside. Open {', '.join(every)}. Nothing is "
            "connected to the battery then.",
            open=every,
            disconnect=list(mine),
        ),
    ]
    made.append(
        Do(
            title="The battery's room",
            text="Ventilation of the battery runs, and no spark, flame or tool that sparks comes within half a metre "
            "of the cells, which give off hydrogen (EN 50272-2 and -3 as quoted in public pages: 0.05 x cells x "
            "gassing current in mA/Ah x Ah / 1000 cubic metres of air an hour, and 28 cm2 of opening in and out "
            "for each). Every cell is covered but the one at hand; strap and rings off.",
        )
    )
    made += [_protection(plant, plant.supplies[name], inlets) for name, inlets in mine.items()]
    for name, inlets in mine.items():
        made += _feed(plant, plant.supplies[name], inlets)
    if len(mine) > 1:
        made += _in_service(plant, mine)
    made.append(parts.joints_again(plant, [inlet for inlets in mine.values() for inlet in inlets]))
    return made


def _protection(plant: Plant, supply: Supply, inlets: list[Inlet]) -> Step:
    """What opens a short of a battery, as the plant file has it, to be compared with what is there."""
    shorts = fault_currents(plant)
    names = parts.breakers_on(plant, inlets)

    def told(breaker: Breaker) -> str:
        breaks = (
            "no breaking capacity said" if breaker.breaks_a is None else f"breaks {engineering(breaker.breaks_a, 'A')}"
        )
        short = engineering(shorts.get(breaker.name, 0.0), "A", digits=2)
        alone = (
            "no makers' table says whether it opens alone"
            if breaker.selective_a is None
            else f"opens alone up to {engineering(breaker.selective_a, 'A')}"
        )
        wire = _wire_behind(plant, breaker, inlets)
        return (
            f"{breaker.name} {breaker.rating_a:g} A {breaker.trips}, {breaks} where a short takes {short}, "
            f"{wire and f'{wire}, '}{alone}"
        )

    fuse = "none is said: fit one first" if supply.fuse_a is None else f"{supply.fuse_a:g} A"
    if supply.fuse_a is not None and supply.fuse_breaks_a is not None:
        fuse += f", breaks {engineering(supply.fuse_breaks_a, 'A')}"
    prospective = engineering(abs(supply.volts) / supply.ohms, "A", digits=2) if supply.ohms else "an unknown current"
    return Do(
        title=f"What protects {supply.name}",
        text=f"The fuse at {supply.name}, in the feed's pole and open now: {fuse}; a short at its terminals takes "
        f"{prospective} (where its resistance is not known take 20 A for each Ah). Then "
        f"{'; '.join(told(plant.breakers[n]) for n in names)}. Wires by IEC 60364-5-52, method B2, or NEC 240.4(D). "
        "Compare with the labels: rating, direct voltage, line and load side where one is polarised. What differs goes "
        "into the plant file first, and 'check' says whether wires and devices fit each other.",
    )


def _wire_behind(plant: Plant, breaker: Breaker, inlets: Sequence[Inlet]) -> str:
    """The thinnest wire right behind a breaker with what it bears, in words; empty where none is known."""
    found: list[tuple[float, str]] = []
    for inlet in inlets:
        path = plant.supply_path(inlet.shelf, inlet.feed)
        ids = [edge.id for edge in path.out]
        if breaker.name not in ids:
            continue
        # edges run from the inlet to the supply; beyond the next breaker it is that one's wire
        behind = takewhile(lambda name: name not in plant.breakers, reversed(ids[: ids.index(breaker.name)]))
        for wire in (plant.conductors[name].wire for name in behind if name in plant.conductors):
            usual = usual_limit(wire)
            if usual is not None:
                found.append((usual[0], f"before {wire.size} that bears {usual[0]:g} A"))
    return min(found)[1] if found else ""


def _in_service(plant: Plant, mine: dict[str, list[Inlet]]) -> list[Part]:
    """Both supplies on, then each feed opened in turn while somebody watches that the load stays."""
    every = [inlet for inlets in mine.values() for inlet in inlets]
    names = ", ".join(mine)
    breakers = parts.breakers_on(plant, every)
    stands = unique([*mine, *(name for inlet in every for name in _stands_on(plant, inlet))])
    shelves = ", ".join(unique(inlet.shelf for inlet in every))
    made: list[Part] = [
        Hold(
            title=f"Clear to put {names} in service together",
            text=f"{shelves} have run on each of their feeds alone. Someone watches the load and its alarms, someone "
            "stands at each main breaker and opens it on the word OPEN, for this program cannot; everybody is clear. "
            "Type the word only if this is so.",
            word="SERVICE",
            proven=stands,
        ),
        Do(
            title=f"Connect {names}",
            text=f"With all breakers and the fuses open, connect {names} as before: the lug of the feed first, the "
            "earthed pole last, torque and marks; read volts and sign on the battery's side of each open fuse to the "
            "return, and put it in.",
            switch_on=list(mine),
            proven=stands,
        ),
    ]
    for name, inlets in mine.items():
        feed, main = plant.supplies[name].feed, plant.breakers[way(plant, inlets[0])[1][0]]
        between = (main.line.name, return_beside(plant, main.name)[0])
        made.append(_reads(plant, f"{main.name}, line side, has {name} again", between, feed, main.name, stands))
    made.append(
        Do(
            title=f"{names} on together",
            text=f"Close {', '.join(breakers)}, one after the other. Feeds share by their volts and their wires: one "
            "that is lower by a diode's volt carries nothing, and that is no fault.",
            close=breakers,
            proven=stands,
        )
    )
    for inlet in every:
        title = f"{inlet.name} with both in service"
        made.append(_reads(plant, title, _poles(inlet), inlet.feed, inlet.name, stands))
    for name, inlets in mine.items():
        made += _fails(plant, name, inlets, [other for other in every if other not in inlets], stands)
    back = list(reversed(breakers))
    made.append(
        Do(
            title="Alarm contacts and trips",
            text="With somebody at the far end: each breaker's alarm contact was seen to come when it opened above; "
            "take out one fuse of each kind, with what it feeds switched off, for drawn under load it burns, and see "
            "its alarm too; and check that each alarm comes with its power gone, since a contact that needs power says "
            "nothing then. A trip test only where the maker of the device "
            "allows one, with his tester. Write each device and what it did into a note with key o.",
            proven=stands,
        )
    )
    made += [
        Do(title="All feeds off", text=f"Open {', '.join(back)}, the shelves first.", open=back),
        Do(
            title=f"Disconnect {names}",
            text=parts.supplies_off_words(plant, list(mine)),
            switch_off=list(mine),
        ),
    ]
    return made


def _fails(plant: Plant, name: str, inlets: list[Inlet], others: list[Inlet], stands: Sequence[str]) -> list[Step]:
    """One feed is opened while the load runs, read dead, and closed again."""
    mains = unique(way(plant, inlet)[1][0] for inlet in inlets)
    kept = {inlet.shelf for inlet in others}
    lost = unique(inlet.shelf for inlet in inlets if inlet.shelf not in kept)
    has = "which has no other feed" if len(lost) == 1 else "which have no other feed"
    stays = f"The load stays on but for {', '.join(lost)}, {has}," if lost else "The load stays on,"
    goes = "anything else goes" if lost else "the load goes"
    made: list[Step] = [
        Do(
            title=f"{name} fails",
            text=f"Open {', '.join(mains)} and watch. {stays} and no card restarts; the alarm of this feed comes, at "
            f"the breaker and at the far end, and no other. If {goes} off: close it again, and stop.",
            open=mains,
        )
    ]
    made += [
        _reads(plant, f"{one.name} carries on without {name}", _poles(one), one.feed, one.name, stands)
        for one in others
        if one.shelf not in lost
    ]
    text = "If it is a few volts, put 10 kohm across: a sound old diode leaks. If it stays, its diode is shorted."
    # shelves behind one breaker hang on one bar
    bars = {way(plant, inlet)[1][:-1]: inlet for inlet in reversed(inlets)}
    for inlet in reversed(bars.values()):
        dead = parts.inlet_volts(inlet, f"{inlet.name} is dead without {name}", DEAD_VOLTS, text=text)
        made.append(msgspec.structs.replace(dead, proven=list(stands)))
    made.append(
        Do(
            title=f"{name} on again",
            text=f"Close {', '.join(mains)}. Its alarm clears, and the feeds share as before. Then give it a minute.",
            close=mains,
            proven=list(stands),
        )
    )
    return made


def _feed(plant: Plant, supply: Supply, inlets: list[Inlet]) -> list[Part]:
    main = plant.breakers[way(plant, inlets[0])[1][0]]
    mains = ", ".join(unique(way(plant, inlet)[1][0] for inlet in inlets))
    bar = return_beside(plant, main.name)[0]
    where = place_of(plant, main.name)
    # what was not dead when it had to be is never connected
    upstream = [supply.name, main.name]
    who = f"Tell the person at breaker {main.name} ({where}): on the word OPEN it is opened, and nobody asks why."
    made: list[Part] = [
        Hold(
            title=f"Clear to connect {supply.kind} {supply.name}",
            text=f"{mains} open and guarded. {who} This program cannot switch {supply.name} off. Type the word only if "
            "this is so.",
            word="BATTERY",
            proven=upstream,
        ),
        Do(
            title=f"Connect {supply.name}",
            text=parts.supply_on_words(plant, supply.name, mains),
            switch_on=[supply.name],
            proven=upstream,
        ),
        _reads(
            plant, f"{main.name}, line side, has {supply.name}", (main.line.name, bar), supply.feed, main.name, upstream
        ),
        msgspec.structs.replace(
            parts.volts(
                (main.load.name, bar),
                main.name,
                f"{main.name} is open",
                DEAD_VOLTS,
                text="A breaker whose contacts are welded shows here.",
            ),
            proven=upstream,
        ),
    ]
    made.append(_clear_to_close(plant, supply, inlets, upstream))
    closed: list[str] = []
    for inlet in inlets:
        made += _onto(plant, supply, inlet, closed)
    # the last one was read with all the others on
    for inlet in inlets[:-1]:
        title = f"{inlet.name} with everything on {supply.name}"
        made.append(_reads(plant, title, _poles(inlet), supply.feed, inlet.name, _stands_on(plant, inlet)))
    made.append(_warm(plant, supply, inlets))
    back = list(reversed(closed))
    made += [
        Do(title=f"Feed {inlets[0].feed} off", text=f"Open {', '.join(back)}, the shelves first.", open=back),
        Do(
            title=f"Disconnect {supply.name}",
            text=parts.supplies_off_words(plant, [supply.name]),
            switch_off=[supply.name],
        ),
    ]
    return made


def _warm(plant: Plant, supply: Supply, inlets: list[Inlet]) -> Ask:
    """The temperature of the joints after an hour under load."""
    names = unique(name for inlet in inlets for name in way(plant, inlet)[1])
    return Ask(
        title=f"How warm the joints of {supply.name} are",
        text=f"Leave it on for an hour. Then, without touching, read each joint of {', '.join(names)} and of the bars "
        "with an infrared thermometer, and the air. Type the warmest joint, its °C, that of its neighbours "
        "and of the air. Between like joints under like load 1 to 3 K want a second look, 4 to 15 K a repair, more an "
        "end at once (ANSI/NETA as quoted in public pages); at part load the rise goes with the "
        "square of the current.",
        name="remark",
        proven=unique(name for inlet in inlets for name in _stands_on(plant, inlet)),
    )


def _onto(plant: Plant, supply: Supply, inlet: Inlet, closed: list[str]) -> list[Step]:
    """Close what is still open on the way to a shelf, one breaker after the other, and read what it takes."""
    made: list[Step] = []
    names = way(plant, inlet)[1]
    for name in names[:-1]:
        if name not in closed:
            closed.append(name)
            upto = names[: names.index(name) + 1]
            made.append(_close(plant, plant.breakers[name], upto, f"Nothing is on behind {name} yet."))
            load_side = (plant.breakers[name].load.name, return_beside(plant, name)[0])
            made.append(_reads(plant, f"{name}, load side", load_side, supply.feed, name, upto))
    last, stands = plant.breakers[names[-1]], _stands_on(plant, inlet)
    closed.append(last.name)
    found = _forecast(plant, supply, closed)
    volts, amps = found.typical.shelves[inlet.shelf].inlets[inlet.name]
    told = f"Expected at {inlet.name}: {volts:.2f} V and {engineering(amps, 'A', digits=3)}."
    told += "".join(f" Breaker {headroom_line(found.breakers[name])}." for name in names if name in found.breakers)
    made.append(_close(plant, last, stands, told))
    made.append(_reads(plant, f"{inlet.name} on {supply.name}", _poles(inlet), supply.feed, inlet.name, stands))
    most = found.most.shelves[inlet.shelf].inlets[inlet.name][1]
    if most <= parts.AMMETER_A:
        made += _current(plant, last, inlet, supply, stands)
    made.append(
        Do(
            title=f"{last.name} stays open",
            text=f"{inlet.shelf} or its way is not right. If the ammeter's leads are across {last.name}, "
            f"close it first, then take them off: no lead breaks a current. Open {last.name}, or leave it open. Find "
            "it on the bench supply first.",
            open=[last.name],
            unless_proven=list(stands),
        )
    )
    return made


def _current(plant: Plant, last: Breaker, inlet: Inlet, supply: Supply, stands: Sequence[str]) -> list[Step]:
    reading = Measure(
        title=f"What {inlet.shelf} takes of {supply.name}",
        read="current",
        between=parts.ammeter_places(plant, last.name),
        subject=inlet.name,
        limit=Limit(computed="idle-current"),
        proven=list(stands),
    )
    on, *off = parts.through_the_meter(last.name, inlet.shelf)
    acts = [msgspec.structs.replace(act, proven=list(stands)) for act in (on, *off)]
    return [acts[0], reading, *acts[1:]]


def _clear_to_close(plant: Plant, supply: Supply, inlets: list[Inlet], stands: Sequence[str]) -> Step:
    """The one word before breakers are closed on a battery, from there outwards."""
    names = parts.breakers_on(plant, inlets)
    step = parts.clear_to_energise(
        f"Clear to close {', '.join(names)} on {supply.name}",
        "One breaker after the other, from the battery outwards, each only after what is behind the last one was read. "
        f"Everybody is clear, somebody guards the main breaker of {supply.name}. If anything is not as it should be: "
        "open the breaker that was closed last at once, then call OPEN; this program cannot. Type the word only if "
        "this is so.",
    )
    return msgspec.structs.replace(step, proven=list(stands))


def _close(plant: Plant, breaker: Breaker, stands: Sequence[str], told: str) -> Do:
    where = place_of(plant, breaker.name)
    text = f"Everybody clear? Close {breaker.name} ({where}). {told}"
    return Do(title=f"Close {breaker.name}", text=text, close=[breaker.name], proven=list(stands))


def _stands_on(plant: Plant, inlet: Inlet) -> list[str]:
    """What must be proven before a shelf goes onto the plant's own supply: itself and every breaker on its way."""
    return [inlet.shelf, inlet.name, *way(plant, inlet)[1]]


def _poles(inlet: Inlet) -> tuple[str, str]:
    return inlet.live.name, inlet.back.name


def _reads(
    plant: Plant, title: str, between: tuple[str, str], feed: str, subject: str, stands: Sequence[str]
) -> Measure:
    sign = "plus" if parts.positive(plant, feed) else "minus: the return is positive here"
    return Measure(
        title=title,
        text=f"Live parts. Red probe on {between[0]}, black probe on {between[1]}. The right sign is {sign}.",
        read="voltage",
        between=between,
        subject=subject,
        limit=Limit(computed="feed-voltage"),
        proven=list(stands),
    )


def _forecast(plant: Plant, supply: Supply, closed: list[str]) -> Forecast:
    try:
        found = power_tree(plant).forecast(Powered((supply.name,), supply.volts, supply.ohms, frozenset(closed)))
    except WillNotCarry as error:
        raise CannotDraft(f"on {supply.name} with {', '.join(closed)} closed: {error}") from error
    if found.overloads:
        raise CannotDraft(f"on {supply.name} breaker {'; '.join(headroom_line(load) for load in found.overloads)}")
    return found
