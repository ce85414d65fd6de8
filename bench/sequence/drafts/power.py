"""Drafts first power: from a dead plant to shelves that run on both feeds, one shelf after the other.

Every rung stands on the one below: dead before touched, free of shorts before fed, right way round before connected,
empty before loaded, one card group before the next. Each time something may become live there is a hold point.
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
    APART_LIMIT,
    DEAD_LIMIT,
    REFORM,
    SHELF_VOLTAGE,
    SUPPLY_A,
    SURGE,
    forecast,
    limit_for,
    reached,
    way,
)
from bench.sequence.file import Caution, Do, Hold, Measure, Step

_DUMMY_A: Final = 0.5
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
    _refuse_overloads(plant, shelves)
    made: list[Part] = [*_isolate(plant, of, shelves), *_resistance(shelves)]
    for shelf in shelves:
        made += _shelf(plant, shelf, shelves)
    if len(shelves) > 1:
        made += _together(plant, shelves)
        made += onto_the_plant(plant, shelves)
    made.append(parts.live_source("The meter still shows a live source"))
    names = ", ".join(shelf.name for shelf in shelves)
    return Draft(f"First power of {names}: one rung after the other, each on the evidence of those below.", made)


def _refuse_overloads(plant: Plant, shelves: list[Shelf]) -> None:
    """Each feed must carry all of these shelves alone: when one feed fails the other has them all."""
    by_feed: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_feed.setdefault(inlet.feed, []).append(inlet)
    for inlets in by_feed.values():
        forecast(plant, inlets)


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
        *looking.all_breakers(plant, supplies),
        Do(
            title="Isolate",
            text=f"Open every breaker to {what}, disconnect {', '.join(supplies)} at their terminals, lock off and "
            "tag.",
            open=parts.breakers_on(plant, inlets),
            switch_off=supplies,
        ),
        *looking.nothing_beside(plant, supplies, parts.breakers_on(plant, inlets)),
        parts.live_source("The meter shows a live source, before"),
        *(parts.inlet_volts(inlet, f"{inlet.name} is dead", DEAD_LIMIT) for inlet in inlets),
        parts.live_source("The meter shows a live source, after"),
        Hold(
            title="Isolated and proved dead",
            text=f"All that can feed {what} is isolated, locked off and tagged; the meter has shown live, dead and "
            "live again. Type the word only if you have seen it.",
            word="DEAD",
        ),
    ]


def _resistance(shelves: list[Shelf]) -> list[Part]:
    names = [shelf.name for shelf in shelves]
    made: list[Part] = [
        Do(
            title="Cards out",
            text=f"Take all cards out of {', '.join(names)}. Let their capacitors discharge, and note where each card "
            "was.",
            take_out=names,
        )
    ]
    text = "Hold the probes still: the shelf's capacitors charge through the meter, and the reading climbs."
    limit = by_hand("common practice, no source: an empty shelf", at_least="1 kohm")
    for shelf in shelves:
        for inlet in shelf.inlets:
            step = parts.not_shorted(inlet, f"{inlet.name} is free of shorts", text, limit)
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
    made: list[Part] = [section(f"shelf {shelf.name}"), looking.gate(shelf.name)]
    for inlet in inlets:
        made += _right_way_round(plant, shelf, inlet, shelves)
    first = inlets[0]
    supply, breakers = way(plant, first)
    target = parts.nominal_volts(plant, first)
    text = f"The bench supply stands in the place of {supply}, its plus on the return. The shelf is empty."
    made += [
        _clear(shelf.name, "without cards"),
        parts.closed(breakers),
        parts.empty_brought_up(f"{shelf.name} without cards", text, [supply], target, 0.5, ramp=True),
        *parts.switched_off(breakers),
    ]
    everything = _cards(plant, shelf)
    groups = _groups(everything)
    inside: list[Card] = []
    for number, (title, group) in enumerate(groups):
        inside += group
        made += _group_in(plant, first, title, group, inside, everything, last=number + 1 == len(groups))
    for inlet in inlets[1:]:
        made += _on_the_other(plant, shelf, inlet)
    if len(inlets) > 1:
        made += _on_both(plant, shelf, inlets)
    return made


def _group_in(
    plant: Plant,
    inlet: Inlet,
    title: str,
    group: list[Card],
    inside: list[Card],
    everything: list[Card],
    *,
    last: bool,
) -> list[Part]:
    """One group of cards goes in, and the shelf is brought up with it."""
    supply, breakers = way(plant, inlet)
    shelf = inlet.shelf
    dummy = _DUMMY_A if title == "converter" else 0.0
    _, most = forecast(plant, [inlet], frozenset(card.name for card in everything if card not in inside), dummy)
    names = [card.name for card in group]
    what = "Put a dummy load on its output. " if dummy else ""
    text = f"With the shelf dead, put in {', '.join(names)}. {what}".strip()
    target = parts.nominal_volts(plant, inlet)
    step = parts.brought_up(
        f"{shelf} on {inlet.feed} alone, {title} in",
        f"{len(inside)} of {len(everything)} cards are in. Fed by {inlet.feed} alone.",
        [supply],
        target,
        limit_for(most),
        parts.rungs(target),
    )
    if dummy:
        step = msgspec.structs.replace(step, dummy=Current(dummy))
    if last:
        step = msgspec.structs.replace(step, soak=Duration(_SOAK_S))
    made: list[Part] = [
        Do(title=f"Put in: {title}", text=text, put_in=names),
        _clear(shelf, f"{title} in"),
        parts.closed(breakers),
        Beside(step, {"ramp": REFORM}),
        # a drop is looked for while the current is still small: constant power makes up for it with more current
        parts.under_load(inlet),
        *parts.switched_off(breakers),
    ]
    if dummy:
        made.append(Do(title="Dummy load off", text="Take the dummy load off."))
    return made


def _cards(plant: Plant, shelf: Shelf) -> list[Card]:
    owners = [shelf, *(plant.shelves[half] for half in shelf.halves if not plant.shelves[half].inlets)]
    return [card for owner in owners for card in owner.cards]


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


def _right_way_round(plant: Plant, shelf: Shelf, inlet: Inlet, shelves: list[Shelf]) -> list[Part]:
    """Breaker map, polarity with its sign, and the feeds' independence, at low voltage and with the cards out."""
    supply, breakers = way(plant, inlet)
    last = plant.breakers[breakers[-1]]
    target = 0.25 * parts.nominal_volts(plant, inlet)
    text = f"The bench supply stands in the place of {supply}, its plus on the return. The cards are out."
    title = f"Feed {inlet.feed} to {shelf.name} at {target:g} V"
    sign = f"Red on {inlet.live.name}. The sign counts: a battery's return is positive here."
    load_side = (last.load.name, parts.return_bar(plant, inlet))
    made: list[Part] = [
        _clear(shelf.name, f"polarity of feed {inlet.feed}, cards out"),
        parts.closed(breakers, " and nothing else"),
        parts.empty_brought_up(title, text, [supply], target, 0.3, ramp=False),
        parts.volts(load_side, last.name, f"{last.name}, load side", SHELF_VOLTAGE, live=True, text=sign),
        parts.inlet_volts(inlet, f"{inlet.name} has feed {inlet.feed}", SHELF_VOLTAGE, live=True, text=sign),
    ]
    for other in shelf.inlets:
        if other.name != inlet.name:
            title = f"{other.name} does not rise with feed {inlet.feed}"
            made.append(parts.inlet_volts(other, title, APART_LIMIT, live=True))
    for neighbour in shelves:
        for other in neighbour.inlets:
            if neighbour is not shelf and neighbour.bay == shelf.bay and other.feed == inlet.feed:
                between = (other.live.name, other.back.name)
                title = f"{last.name} does not feed {other.name}"
                made.append(parts.volts(between, shelf.name, title, APART_LIMIT, live=True))
    return [*made, *parts.switched_off(breakers)]


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
        _clear(shelf.name, f"feed {inlet.feed} alone"),
        parts.closed(breakers),
        msgspec.structs.replace(step, soak=Duration(_SOAK_ON_THE_OTHER_S)),
        parts.under_load(inlet),
        *parts.switched_off(breakers),
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
    return [
        _clear(shelf.name, "both feeds"),
        parts.closed(breakers),
        parts.brought_up(
            f"{shelf.name} on {' and '.join(inlet.feed for inlet in inlets)}",
            f"The bench supply stands in the place of {' and '.join(supplies)} at once.",
            supplies,
            parts.nominal_volts(plant, inlets[0]),
            limit_for(most),
        ),
        *(parts.under_load(inlet) for inlet in inlets),
        Do(
            title="Ammeter in place of the breaker",
            text=f"Open {first.name}: the other feed carries the shelf. Put the ammeter's fused leads across its two "
            "terminals.",
            open=[first.name],
        ),
        Measure(
            title=f"What feed {inlets[0].feed} takes of {shelf.name}",
            read="current",
            between=(first.load.name, first.line.name),
            subject=shelf.name,
            limit=share,
            live=True,
        ),
        *parts.switched_off([name for name in breakers if name != first.name]),
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
        made += [
            _clear(names, f"together on feed {feed}"),
            parts.closed(breakers, ", one after the other"),
            parts.brought_up(
                f"{names} together on {feed}",
                f"The bench supply stands in the place of {supply}.",
                [supply],
                parts.nominal_volts(plant, chosen[0]),
                limit_for(most),
            ),
            *(parts.under_load(inlet) for inlet in chosen),
            *parts.switched_off(breakers),
        ]
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
