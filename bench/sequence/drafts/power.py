"""Drafts first power: from a dead plant to shelves that run on both feeds, one shelf after the other.

Every stage stands on the one below: dead before touched, free of shorts before fed, right way round before connected,
empty before loaded, one card group before the next. The bench supply is moved by acts of their own, and shows at a
harmless voltage where it is before it goes higher. Each new danger has one word to type: the plant is touched, a shelf
gets power, its cards get power, a battery is connected, a breaker is closed on it. Where a stage of a shelf fails, the
shelf ends there: it is made safe, and nothing more is asked for at it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from bench.plant.model import Plant
from bench.plant.things import Card, Inlet, Shelf
from bench.quantity import Current, Duration
from bench.sequence.drafts import looking
from bench.sequence.drafts import power_parts as parts
from bench.sequence.drafts.battery import onto_the_plant
from bench.sequence.drafts.parts import Beside, CannotDraft, Draft, Part, by_hand, called, section
from bench.sequence.drafts.power_parts import (
    REFORM,
    SHELF_VOLTAGE,
    SUPPLY_A,
    SURGE,
    forecast,
    limit_for,
    reached,
    way,
)
from bench.sequence.drafts.proved_dead import proved_dead, stands_on
from bench.sequence.file import Caution, Do, Hold, Measure, Step

_DUMMY_A: Final = 0.5
_DUMMY_OFF: Final = Do(
    title="Dummy load off", text="The shelf is off and has lost its charge. Take the dummy load off."
)
_SOAK_S: Final = 60.0
_SOAK_ON_THE_OTHER_S: Final = 20.0


def first_power(plant: Plant, of: str) -> Draft:
    """First power of a bay, a shelf or the whole plant.

    Args:
        plant: the plant.
        of: a bay or shelf; '' for all of it.

    Raises:
        UnknownName: nothing is called ``of``.
        CannotDraft: a breaker would carry too much, or no shelf of it is reached by a feed.
    """
    shelves = [shelf for shelf in plant.shelves_of(of) if shelf.inlets and reached(plant, shelf)]
    if not shelves:
        raise CannotDraft(f"no shelf of {called(plant, of)} is reached by a feed")
    parts.check_signs(plant, [inlet for shelf in shelves for inlet in reached(plant, shelf)])
    _refuse_overloads(plant, shelves)
    made: list[Part] = [*_isolate(plant, of, shelves), *_resistance(plant, shelves)]
    for shelf in shelves:
        made += _shelf(plant, shelf, shelves)
    if len(shelves) > 1:
        made += _together(plant, shelves)
        made += onto_the_plant(plant, shelves)
    names = ", ".join(shelf.name for shelf in shelves)
    return Draft(f"First power of {names}: one stage after the other, each on the evidence of those below.", made)


def _refuse_overloads(plant: Plant, shelves: list[Shelf]) -> None:
    """Each feed must carry all of these shelves alone: when one feed fails the other has them all.

    At its lowest voltage too, where constant power draws most.
    """
    by_feed: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_feed.setdefault(inlet.feed, []).append(inlet)
    for inlets in by_feed.values():
        feed = plant.feeds[inlets[0].feed]
        forecast(plant, inlets)
        forecast(plant, inlets, volts=min(abs(feed.low_v), abs(feed.high_v)))


def _isolate(plant: Plant, of: str, shelves: list[Shelf]) -> list[Part]:
    inlets = [inlet for shelf in shelves for inlet in reached(plant, shelf)]
    supplies = parts.supplies_of(plant, inlets)
    what = called(plant, of)
    return [
        Caution(
            title="A battery feed can kill a spanner and burn a hand",
            text="A battery can drive thousands of amperes through whatever bridges it, and capacitors keep their "
            "charge. No rings, no watches, insulated tools, eye protection; never work alone. Only licensed or "
            "authorised people may do this. Local codes and the rules of the site come before every word of this "
            "sequence. This program is no safety device.",
        ),
        parts.tools(plant, supplies),
        *looking.all_breakers(plant, supplies),
        # before a fuse is drawn: what is closed beside still carries current
        *looking.nothing_beside(plant, supplies, parts.breakers_on(plant, inlets)),
        parts.isolate(plant, what, inlets),
        *proved_dead(plant, inlets),
        Hold(
            title="Isolated and proved dead",
            text=f"All that can feed {what} is isolated, locked off and tagged, and every point of it has read nothing "
            "between two proofs of the meter. After a break, or when somebody else takes over, prove it again. Type "
            "the word only if you have seen it.",
            word="DEAD",
            proven=stands_on(plant, inlets),
        ),
        msgspec.structs.replace(parts.joints(plant, inlets), proven=stands_on(plant, inlets)),
    ]


def _resistance(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    names = [shelf.name for shelf in shelves]
    stands = stands_on(plant, [inlet for shelf in shelves for inlet in reached(plant, shelf)])
    made: list[Part] = [
        *parts.lose_all(plant, shelves, stands),
        parts.strap(stands),
        Do(
            title="Cards out",
            text=f"Take all cards out of {', '.join(names)}, one shelf after the other, and note where each card was. "
            "They go into bags that carry charge away. Touch no contacts: capacitors give some of their charge back.",
            take_out=names,
            proven=stands,
        ),
        *(parts.capacitors(plant, shelf, stands) for shelf in shelves),
    ]
    text = "Hold the probes still: the shelf's capacitors charge through the meter, and the reading climbs."
    limit = by_hand("common practice, no source: an empty shelf", at_least="1 kohm")
    for shelf in shelves:
        for inlet in shelf.inlets:
            step = parts.not_shorted(inlet, f"{inlet.name} is free of shorts", text, limit)
            step = msgspec.structs.replace(step, proven=stands_on(plant, [inlet]))
            made.append(Beside(step, {"after": "a timed reading: a snapshot sees the capacitors and not the shelf"}))
    return made


def _clear(shelf: str, what: str) -> Step:
    return parts.clear_to_energise(
        f"Clear to energise {shelf}: {what}",
        f"The person in charge has cleared {shelf} for this: everybody is clear of it, somebody watches it and "
        "somebody stands at the main breaker. Type the word only if this is so.",
    )


def _shelf(plant: Plant, shelf: Shelf, shelves: list[Shelf]) -> list[Part]:
    inlets = reached(plant, shelf)
    first, *others = inlets
    everything = parts.cards_of(plant, shelf)
    groups = _groups(everything)
    stands = stands_on(plant, inlets)
    made: list[Part] = [looking.gate(shelf.name), *parts.copied(shelf, everything, stands)]
    made.append(_clear(shelf.name, "without cards"))
    # last on the first feed, where the cards go in next: the leads need not move again
    for inlet in [*others, first]:
        made += _empty(plant, shelf, inlet, shelves, up=inlet is first)
    inside: list[Card] = []
    for number, (title, group) in enumerate(groups):
        loaded = number > 0 and groups[number - 1][0] == "converter"
        inside += group
        made += _group_in(
            plant,
            shelf,
            first,
            title,
            group,
            inside,
            everything,
            first=number == 0,
            last=number + 1 == len(groups),
            loaded=loaded,
        )
    if groups and groups[-1][0] == "converter":
        made += [*parts.lose_charge(plant, shelf, inside, ()), _DUMMY_OFF]
    made += parts.leads_off(plant, [way(plant, first)[0]])
    for inlet in others:
        made += _on_the_other(plant, shelf, inlet)
    if others:
        made += _on_both(plant, shelf, inlets)
    return [section(f"shelf {shelf.name}"), *parts.guarded(made, stands)]


def _empty(plant: Plant, shelf: Shelf, inlet: Inlet, shelves: list[Shelf], *, up: bool) -> list[Part]:
    """The bench supply comes to a feed of an empty shelf, shows where it is, and goes up to the full voltage."""
    supply, breakers = way(plant, inlet)
    neighbours = [
        other
        for one in shelves
        if one is not shelf and one.bay == shelf.bay
        for other in one.inlets
        if other.feed == inlet.feed
    ]
    # once for all: a breaker that stays closed shows at the other feed's inlet where the two are crossed there
    crossed = [
        other
        for one in shelves
        if shelf is shelves[0] and one is not shelf
        for other in one.inlets
        if other.feed != inlet.feed
    ]
    made: list[Part] = [
        *parts.leads_on(plant, [supply]),
        parts.closed(breakers, ", one after the other, and nothing else"),
        *parts.there_first(plant, inlet, neighbours, crossed),
    ]
    if up:
        target = parts.nominal_volts(plant, inlet)
        text = f"The bench supply stands in the place of {supply}. The shelf is empty."
        ramp = parts.stages(plant, inlet, ())
        made.append(parts.empty_brought_up(f"{shelf.name} without cards", text, [supply], target, 0.5, ramp))
    made += parts.switched_off(breakers)
    return made if up else [*made, *parts.leads_off(plant, [supply])]


def _group_in(
    plant: Plant,
    shelf: Shelf,
    inlet: Inlet,
    title: str,
    group: list[Card],
    inside: list[Card],
    everything: list[Card],
    *,
    first: bool,
    last: bool,
    loaded: bool,
) -> list[Part]:
    """One group of cards goes in, and the shelf is brought up with it; ``loaded``: a dummy load comes off first."""
    supply, breakers = way(plant, inlet)
    dummy = _DUMMY_A if title == "converter" else 0.0
    _, most = forecast(plant, [inlet], frozenset(card.name for card in everything if card not in inside), dummy)
    names = [card.name for card in group]
    what = "Put a dummy load on its output. " if dummy else ""
    text = (
        "Strap on. The shelf is off. Read once more behind its diodes, where a card will go: below 2 V, or "
        "wait until it is, for capacitors that have slept give their charge back. "
        f"Then put in {', '.join(names)}. {what}"
        "The program knows no more of the shelf than you have told it: if anything looks or smells wrong, stop."
    )
    target = parts.nominal_volts(plant, inlet)
    step = parts.brought_up(
        f"{shelf.name} on {inlet.feed} alone, {title} in",
        f"Cards in: {len(inside)} of {len(everything)}. Fed by {inlet.feed} alone.",
        [supply],
        target,
        limit_for(most),
        parts.stages(plant, inlet, inside),
        # capacitors that slept still take charge at the first full voltage
        margin=parts.EMPTY_MARGIN.value if first else 0.0,
    )
    if dummy:
        step = msgspec.structs.replace(step, dummy=Current(dummy))
    if last:
        step = msgspec.structs.replace(step, soak=Duration(_SOAK_S))
    before = inside[: len(inside) - len(group)]
    made: list[Part] = [
        *parts.lose_charge(plant, shelf, before, ()),
        *([_DUMMY_OFF] if loaded else []),
        Do(title=f"Put in: {title}", text=text, put_in=names),
    ]
    if first:
        made.append(_clear(shelf.name, "with cards"))
    made += [
        parts.closed(breakers),
        Beside(step, {"ramp": REFORM}),
        # a drop is looked for while the current is still small: constant power makes up for it with more current
        parts.under_load(plant, inlet),
    ]
    if last:
        made += parts.stretches(plant, [inlet])
    if first or last:
        made += parts.apart(plant, inlet, f"with {title} in on {inlet.feed}")
    made += parts.switched_off(breakers)
    return made


def _groups(cards: list[Card]) -> list[tuple[str, list[Card]]]:
    """Converter first, then the others in two halves; nothing of a shelf without cards."""
    converters = [card for card in cards if card.type.converts]
    rest = [card for card in cards if card not in converters]
    half = (len(rest) + 1) // 2
    named = [("converter", converters), ("first half of the cards", rest[:half]), ("all cards", rest[half:])]
    found = [(title, group) for title, group in named if group]
    if found and found[-1][0] != "converter":
        found[-1] = ("all cards", found[-1][1])
    return found


def _on_the_other(plant: Plant, shelf: Shelf, inlet: Inlet) -> list[Part]:
    supply, breakers = way(plant, inlet)
    _, most = forecast(plant, [inlet])
    step = parts.brought_up(
        f"{shelf.name} on {inlet.feed} alone",
        f"The bench supply stands in the place of {supply}. Fed by {inlet.feed} alone: it must carry everything.",
        [supply],
        parts.nominal_volts(plant, inlet),
        limit_for(most),
    )
    return [
        *parts.leads_on(plant, [supply]),
        parts.closed(breakers),
        *parts.there_first(plant, inlet),
        msgspec.structs.replace(step, soak=Duration(_SOAK_ON_THE_OTHER_S)),
        parts.under_load(plant, inlet),
        *parts.stretches(plant, [inlet]),
        *parts.apart(plant, inlet, f"with all cards in on {inlet.feed}"),
        *parts.switched_off(breakers),
        *parts.leads_off(plant, [supply]),
    ]


def _on_both(plant: Plant, shelf: Shelf, inlets: list[Inlet]) -> list[Part]:
    supplies, breakers = parts.supplies_of(plant, inlets), parts.breakers_on(plant, inlets)
    typical, most = forecast(plant, inlets)
    first = plant.breakers[way(plant, inlets[0])[1][-1]]
    share = by_hand(
        "common practice, no source: both feeds share",
        at_least=f"{0.15 * typical:.3f} A",
        at_most=f"{0.85 * typical + 0.03:.3f} A",
    )
    through, back = parts.through_the_meter(first.name, shelf.name)
    feeds = " and ".join(inlet.feed for inlet in inlets)
    target = min(parts.SAFE_VOLTS, 0.25 * parts.nominal_volts(plant, inlets[0]))
    low_title, low_text = f"{shelf.name} on {feeds} at {target:g} V", "A harmless voltage first, on both."
    return [
        *parts.leads_on(plant, supplies),
        parts.closed(breakers),
        parts.empty_brought_up(low_title, low_text, supplies, target, 0.5),
        *(
            parts.inlet_volts(
                inlet,
                f"{inlet.name} has feed {inlet.feed} beside the other",
                SHELF_VOLTAGE,
                live=True,
                text=parts.sign_words(plant, inlet),
            )
            for inlet in inlets
        ),
        parts.brought_up(
            f"{shelf.name} on {feeds}",
            f"The bench supply stands in the place of {' and '.join(supplies)} at once.",
            supplies,
            parts.nominal_volts(plant, inlets[0]),
            limit_for(most),
        ),
        *(parts.under_load(plant, inlet) for inlet in inlets),
        through,
        Measure(
            title=f"What feed {inlets[0].feed} takes of {shelf.name}",
            read="current",
            between=parts.ammeter_places(plant, first.name),
            subject=shelf.name,
            limit=share,
            live=True,
        ),
        back,
        *parts.switched_off(breakers),
        *parts.leads_off(plant, supplies),
    ]


def _together(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    """One shelf more each time, on each feed, as far as the bench supply goes."""
    made: list[Part] = [section("shelf after shelf on one supply")]
    every = [inlet for shelf in shelves for inlet in reached(plant, shelf)]
    for feed in dict.fromkeys(inlet.feed for inlet in every):
        inlets = [inlet for inlet in every if inlet.feed == feed]
        chosen, most = _as_many_as_go(plant, inlets)
        if len(chosen) < 2:
            made.append(f"feed {feed}: two shelves at once are too much for a bench supply of {SUPPLY_A:g} A")
            continue
        if len(chosen) < len(inlets):
            left = ", ".join(inlet.shelf for inlet in inlets[len(chosen) :])
            made.append(f"feed {feed}: {left} would be too much for a bench supply of {SUPPLY_A:g} A")
        supply, _ = way(plant, chosen[0])
        breakers = parts.breakers_on(plant, chosen)
        names = " and ".join(inlet.shelf for inlet in chosen)
        together: list[Part] = [
            *parts.leads_on(plant, [supply]),
            _clear(names, f"together on feed {feed}"),
            parts.closed(breakers, ", one after the other"),
            *parts.there_first(plant, chosen[0]),
            parts.brought_up(
                f"{names} together on {feed}",
                f"The bench supply stands in the place of {supply}.",
                [supply],
                parts.nominal_volts(plant, chosen[0]),
                limit_for(most),
            ),
            *(parts.under_load(plant, inlet) for inlet in chosen),
            *parts.stretches(plant, chosen, shared=True),
            *parts.switched_off(breakers),
            *parts.leads_off(plant, [supply]),
        ]
        made += parts.guarded(together, stands_on(plant, chosen))
    return made


def _as_many_as_go(plant: Plant, inlets: Sequence[Inlet]) -> tuple[list[Inlet], float]:
    """The first of some inlets that the bench supply carries together, and what they draw at the most, in amperes."""
    chosen: list[Inlet] = []
    amperes = 0.0
    for inlet in inlets:
        _, most = forecast(plant, [*chosen, inlet])
        if SURGE * most + 0.2 > SUPPLY_A:
            break
        chosen.append(inlet)
        amperes = most
    return chosen, amperes
