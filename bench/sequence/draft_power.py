"""Drafts first power: the ladder from a dead plant to shelves that run on both feeds, one shelf after the other.

Every rung stands on the one below: dead before touched, free of shorts before fed, right way round before connected,
empty before loaded, one card group before the next. Each time something may become live there is a hold point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from bench.plant.model import NoPath, Plant
from bench.plant.things import Card, Inlet, Shelf
from bench.sequence.power_tree import Powered, PowerTree, WillNotCarry, headroom_line

SUPPLY_A: Final = 5.0
"""What the drafted steps ask of a bench supply at the most; write your own supply's limit over it."""
LEAKAGE_A: Final = 0.008
"""Leakage of one shelf that may be left before the next rung (common practice, no source)."""
SURGE: Final = 1.5
"""Converters draw so many times their idle current as they start (common practice, no source)."""
DUMMY_A: Final = 0.5
SHARED: Final = '"common practice, no source: both feeds share"'
NOT_SHORTED: Final = "1 kohm"


class WouldOverload(ValueError):
    """The plan would overload a breaker, or cannot work at all."""


def first_power(plant: Plant, of: str) -> tuple[str, str]:
    """The ladder for a bay, a shelf or the whole plant.

    Returns:
        What it proves, and the steps as YAML.

    Raises:
        UnknownName: nothing is called ``of``.
        WouldOverload: a breaker would carry too much.
        LookupError: no shelf of it is reached by a feed.
    """
    shelves = [shelf for shelf in plant.shelves_of(of) if shelf.inlets and reached(plant, shelf)]
    if not shelves:
        raise LookupError(f"no shelf of {of or 'the plant'} is reached by a feed")
    _refuse_overloads(plant, shelves)
    from bench.sequence.draft_battery import onto_the_plant  # it writes with the pieces of this module

    lines = [*_isolate(plant, of, shelves), *_resistance(shelves)]
    for shelf in shelves:
        lines += _shelf(plant, shelf, shelves)
    if len(shelves) > 1:
        lines += _together(plant, shelves)
        lines += onto_the_plant(plant, shelves)
    lines += _close_down()
    names = ", ".join(shelf.name for shelf in shelves)
    return f"First power of {names}: one rung after the other, each on the evidence of those below.", "\n".join(lines)


def reached(plant: Plant, shelf: Shelf) -> list[Inlet]:
    """The inlets of a shelf that a supply of the plant reaches."""
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
    """The supply of an inlet and the breakers on its way, from the supply."""
    path = plant.supply_path(inlet.shelf, inlet.feed)
    return path.supply, path.breakers


def _volts(plant: Plant, inlet: Inlet) -> float:
    return abs(plant.feeds[inlet.feed].nominal_v)


def forecast(
    plant: Plant, inlets: list[Inlet], out: frozenset[str] = frozenset(), dummy: float = 0.0
) -> tuple[float, float]:
    """Typical and most of the current of some inlets fed together.

    Raises:
        WouldOverload: a breaker would carry too much.
    """
    tree = PowerTree(plant)
    ways = [way(plant, inlet) for inlet in inlets]
    at = tuple(dict.fromkeys(supply for supply, _ in ways))
    closed = frozenset(name for _, breakers in ways for name in breakers)
    sign = math.copysign(1.0, plant.feeds[inlets[0].feed].nominal_v)
    loads = {inlet.shelf: dummy for inlet in inlets} if dummy else {}
    try:
        found = tree.forecast(Powered(at, sign * _volts(plant, inlets[0]), closed=closed, out=out, dummy=loads))
    except WillNotCarry as error:
        raise WouldOverload(f"{', '.join(inlet.name for inlet in inlets)}: {error}") from error
    if found.overloads:
        lines = "; ".join(headroom_line(load) for load in found.overloads)
        raise WouldOverload(f"with {', '.join(inlet.name for inlet in inlets)} on, breaker {lines}")
    return found.typical.amps, found.most.amps


def _refuse_overloads(plant: Plant, shelves: list[Shelf]) -> None:
    """Each feed must carry all of these shelves alone: when one feed fails the other has them all."""
    by_feed: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_feed.setdefault(inlet.feed, []).append(inlet)
    for inlets in by_feed.values():
        forecast(plant, inlets)


# ---- pieces of YAML -----------------------------------------------------------------------------------------------


def _names(names: Iterator[str] | Sequence[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _text(indent: str, text: str) -> list[str]:
    return [f"{indent}text: >-", f"{indent}  {text}"]


def caution(title: str, text: str) -> list[str]:
    """A caution."""
    return ["  - step: caution", f'    title: "{title}"', *_text("    ", text), ""]


def hold(title: str, text: str, word: str) -> list[str]:
    """A hold point."""
    return ["  - step: hold", f'    title: "{title}"', *_text("    ", text), f"    word: {word}", ""]


def do(title: str, text: str, **lists: Sequence[str]) -> list[str]:
    """An act by hand, with what it closes, opens, puts in or takes out."""
    told = [f"    {name.replace('_', '-')}: {_names(names)}" for name, names in lists.items() if names]
    return ["  - step: do", f'    title: "{title}"', *_text("    ", text), *told, ""]


def prove(title: str) -> list[str]:
    """The meter is proven on a live source."""
    text = "Put the probes on a source that you know to be live. The meter must show it."
    return [
        "  - step: prove",
        f'    title: "{title}"',
        "    against: live-source",
        "    read: voltage",
        *_text("    ", text),
        "",
    ]


def volt_step(title: str, red: str, black: str, subject: str, limit: str, live: bool, text: str = "") -> list[str]:
    """A voltage is read, with its sign."""
    lines = ["  - step: measure", f'    title: "{title}"', "    read: voltage", f'    between: ["{red}", "{black}"]']
    lines += [f'    subject: "{subject}"', f"    limit: {limit}"]
    if live:
        lines.append("    live: true")
    return [*lines, *(_text("    ", text) if text else []), ""]


DEAD_LIMIT: Final = '{at-least: -1 V, at-most: 1 V, source: "common practice, no source: what is dead reads nothing"}'
APART_LIMIT: Final = (
    '{at-least: -1 V, at-most: 1 V, source: "common practice, no source: the other feed must not rise"}'
)


def energise(
    title: str,
    text: str,
    at: list[str],
    volts: float,
    limit: float,
    *,
    ramp: bool,
    soak: float = 0.0,
    dummy: float = 0.0,
    empty: bool = False,
    margin: float = 0.0,
) -> list[str]:
    """A load is brought up; with ``margin`` amperes of its own, 60 mA where the shelf is empty."""
    lines = ["  - step: energise", f'    title: "{title}"', *_text("    ", text), f"    at: {_names(at)}"]
    lines += [f"    voltage: {volts:g} V", f"    current-limit: {limit:.2g} A"]
    if ramp:
        lines.append("    ramp:  # slowly, so that capacitors that have slept for decades can reform")
        # an empty shelf goes on to nine tenths: with cards in, converters would start there
        for part in (0.25, 0.5, 0.75, 0.9) if empty else (0.25, 0.5, 0.75):
            lines.append(f"      - {{to: {part * volts:g} V, limit: 0.5 A, leakage: {LEAKAGE_A * 1000:g} mA}}")
    if empty:
        lines.append("    margin: 60 mA  # what is left of the leakage goes with the time at this voltage")
    elif margin:
        lines.append(f"    margin: {margin:g} A")
    if dummy:
        lines.append(f"    dummy: {dummy:g} A")
    if soak:
        lines.append(f"    soak: {soak:g} s")
    return [*lines, ""]


def switched_off(opened: list[str] | tuple[str, ...]) -> list[str]:
    """The supply goes off and the breakers are opened."""
    lines = ["  - step: set", "    title: Supply off", "    text: The bench supply goes off.", "    output: off", ""]
    return lines + do("Breakers open", f"Open {', '.join(reversed(opened))}.", open=opened)


# ---- the rungs ----------------------------------------------------------------------------------------------------


def _isolate(plant: Plant, of: str, shelves: list[Shelf]) -> list[str]:
    breakers = list(
        dict.fromkeys(b for shelf in shelves for inlet in reached(plant, shelf) for b in way(plant, inlet)[1])
    )
    supplies = list(dict.fromkeys(way(plant, inlet)[0] for shelf in shelves for inlet in reached(plant, shelf)))
    what = of or "the plant"
    lines = caution(
        "A battery feed can kill a spanner and burn a hand",
        "A battery can drive thousands of amperes through whatever bridges it, and capacitors keep their charge. No "
        "rings, no watches, insulated tools, eye protection; never work alone. Only licensed or authorised people may "
        "do this. Local codes and the rules of the site come before every word of this sequence. This program is no "
        "safety device.",
    )
    lines += do(
        "Isolate",
        f"Open every breaker to {what}, disconnect {', '.join(supplies)} at their terminals, lock off and tag.",
        open=breakers,
        switch_off=supplies,
    )
    lines += prove("The meter shows a live source, before")
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            title = f"{inlet.name} is dead"
            lines += volt_step(title, inlet.live.name, inlet.back.name, inlet.name, DEAD_LIMIT, False)
    lines += prove("The meter shows a live source, after")
    return lines + hold(
        "Isolated and proved dead",
        f"All that can feed {what} is isolated, locked off and tagged; the meter has shown live, dead and live again. "
        "Type the word only if you have seen it.",
        "DEAD",
    )


def _resistance(shelves: list[Shelf]) -> list[str]:
    names = [shelf.name for shelf in shelves]
    lines = do(
        "Cards out",
        f"Take all cards out of {', '.join(names)}. Let their capacitors discharge, and note where each card was.",
        take_out=names,
    )
    for shelf in shelves:
        for inlet in shelf.inlets:
            lines += [
                "  - step: measure",
                f'    title: "{inlet.name} is free of shorts"',
                "    text: >-",
                "      Hold the probes still: the shelf's capacitors charge through the meter, and the reading climbs.",
                "    read: resistance",
                f'    between: ["{inlet.live.name}", "{inlet.back.name}"]',
                f'    subject: "{inlet.name}"',
                "    range: 100 kohm",
                "    after: 15 s  # a timed reading: a snapshot sees the capacitors and not the shelf",
                f'    limit: {{at-least: {NOT_SHORTED}, source: "common practice, no source: an empty shelf"}}',
                "",
            ]
    return lines


def _clear(shelf: str, what: str) -> list[str]:
    return hold(
        f"Clear to energise {shelf}: {what}",
        f"The person in charge has cleared {shelf} for this: everybody is clear of it, somebody watches it and "
        "somebody stands at the main breaker. Type the word only if this is so.",
        "ENERGISE",
    )


def _shelf(plant: Plant, shelf: Shelf, shelves: list[Shelf]) -> list[str]:
    inlets = reached(plant, shelf)
    lines = [f"  # ---------------------------------------------------------------- shelf {shelf.name}", ""]
    for inlet in inlets:
        lines += _right_way_round(plant, shelf, inlet, shelves)
    first = inlets[0]
    supply, breakers = way(plant, first)
    volts = _volts(plant, first)
    everything = _cards(plant, shelf)
    lines += _clear(shelf.name, "without cards")
    lines += do("Close", f"Close {', '.join(breakers)}.", close=breakers)
    text = f"The bench supply stands in the place of {supply}, its plus on the return. The shelf is empty."
    lines += energise(f"{shelf.name} without cards", text, [supply], volts, 0.5, ramp=True, empty=True)
    lines += switched_off(breakers)
    groups = _groups(everything)
    in_already: list[Card] = []
    for number, (title, group) in enumerate(groups):
        in_already += group
        last = number + 1 == len(groups)
        out = frozenset(card.name for card in everything if card not in in_already)
        dummy = DUMMY_A if title == "converter" else 0.0
        _, most = forecast(plant, [first], out, dummy)
        names = [card.name for card in group]
        what = "Put a dummy load on its output. " if dummy else ""
        lines += do(f"Put in: {title}", f"With the shelf dead, put in {', '.join(names)}. {what}".strip(), put_in=names)
        lines += _clear(shelf.name, f"{title} in")
        lines += do("Close", f"Close {', '.join(breakers)}.", close=breakers)
        text = f"{len(in_already)} of {len(everything)} cards are in. Fed by {first.feed} alone."
        name = f"{shelf.name} on {first.feed} alone, {title} in"
        lines += energise(
            name, text, [supply], volts, limit_for(most), ramp=True, soak=60.0 if last else 0.0, dummy=dummy
        )
        # a drop is looked for while the current is still small: constant power makes up for it with more current
        lines += _under_load(first)
        lines += switched_off(breakers)
        if dummy:
            lines += do("Dummy load off", "Take the dummy load off.")
    for inlet in inlets[1:]:
        lines += _on_the_other(plant, shelf, inlet)
    if len(inlets) > 1:
        lines += _on_both(plant, shelf, inlets)
    return lines


def _cards(plant: Plant, shelf: Shelf) -> list[Card]:
    parts = [shelf, *(plant.shelves[half] for half in shelf.halves if not plant.shelves[half].inlets)]
    return [card for part in parts for card in part.cards]


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


def limit_for(most: float) -> float:
    """The supply's current limit for a load that draws so much at the most."""
    return min(SUPPLY_A, max(0.5, math.ceil((SURGE * most + 0.2) * 10) / 10))


def _right_way_round(plant: Plant, shelf: Shelf, inlet: Inlet, shelves: list[Shelf]) -> list[str]:
    """Breaker map, polarity with its sign, and the feeds' independence, at low voltage and with the cards out."""
    supply, breakers = way(plant, inlet)
    last = plant.breakers[breakers[-1]]
    volts = 0.25 * _volts(plant, inlet)
    lines = _clear(shelf.name, f"polarity of feed {inlet.feed}, cards out")
    lines += do("Close", f"Close {', '.join(breakers)} and nothing else.", close=breakers)
    text = f"The bench supply stands in the place of {supply}, its plus on the return. The cards are out."
    title = f"Feed {inlet.feed} to {shelf.name} at {volts:g} V"
    lines += energise(title, text, [supply], volts, 0.3, ramp=False, empty=True)
    here, right = f"{inlet.name}", "{computed: shelf-voltage}"
    sign = f"Red on {inlet.live.name}. The sign counts: a battery's return is positive here."
    bar = return_bar(plant, inlet)
    lines += volt_step(f"{last.name}, load side", last.load.name, bar, last.name, right, True, sign)
    lines += volt_step(f"{here} has feed {inlet.feed}", inlet.live.name, inlet.back.name, here, right, True, sign)
    for other in shelf.inlets:
        if other.name != inlet.name:
            title = f"{other.name} does not rise with feed {inlet.feed}"
            lines += volt_step(title, other.live.name, other.back.name, other.name, APART_LIMIT, True)
    for neighbour in shelves:
        for other in neighbour.inlets:
            if neighbour is not shelf and neighbour.bay == shelf.bay and other.feed == inlet.feed:
                title = f"{last.name} does not feed {other.name}"
                lines += volt_step(title, other.live.name, other.back.name, shelf.name, APART_LIMIT, True)
    return lines + switched_off(breakers)


def return_bar(plant: Plant, inlet: Inlet) -> str:
    """Where the return of an inlet lands on its bar: what a breaker's load side is measured against."""
    first = plant.supply_path(inlet.shelf, inlet.feed).back[0]
    there = first.b if first.a == inlet.back.node else first.a
    return there if there in plant.terminals else inlet.back.name


def _under_load(inlet: Inlet) -> list[str]:
    title = f"{inlet.name} under load"
    text = "Live parts. Red probe on the feed, black probe on the return."
    return volt_step(title, inlet.live.name, inlet.back.name, inlet.name, "{computed: shelf-voltage}", True, text)


def _on_the_other(plant: Plant, shelf: Shelf, inlet: Inlet) -> list[str]:
    supply, breakers = way(plant, inlet)
    _, most = forecast(plant, [inlet])
    lines = _clear(shelf.name, f"feed {inlet.feed} alone")
    lines += do("Close", f"Close {', '.join(breakers)}.", close=breakers)
    text = f"The bench supply stands in the place of {supply}. Fed by {inlet.feed} alone: it must carry everything."
    lines += energise(
        f"{shelf.name} on {inlet.feed} alone",
        text,
        [supply],
        _volts(plant, inlet),
        limit_for(most),
        ramp=False,
        soak=20.0,
    )
    return lines + _under_load(inlet) + switched_off(breakers)


def _on_both(plant: Plant, shelf: Shelf, inlets: list[Inlet]) -> list[str]:
    ways = [way(plant, inlet) for inlet in inlets]
    supplies = list(dict.fromkeys(supply for supply, _ in ways))
    breakers = list(dict.fromkeys(name for _, names in ways for name in names))
    typical, most = forecast(plant, inlets)
    lines = _clear(shelf.name, "both feeds")
    lines += do("Close", f"Close {', '.join(breakers)}.", close=breakers)
    text = f"The bench supply stands in the place of {' and '.join(supplies)} at once."
    title = f"{shelf.name} on {' and '.join(inlet.feed for inlet in inlets)}"
    lines += energise(title, text, supplies, _volts(plant, inlets[0]), limit_for(most), ramp=False)
    for inlet in inlets:
        lines += _under_load(inlet)
    first = plant.breakers[ways[0][1][-1]]
    lines += do(
        "Ammeter in place of the breaker",
        f"Open {first.name}: the other feed carries the shelf. Put the ammeter's fused leads across its two terminals.",
        open=[first.name],
    )
    low, high = 0.15 * typical, 0.85 * typical + 0.03
    lines += [
        "  - step: measure",
        f'    title: "What feed {inlets[0].feed} takes of {shelf.name}"',
        "    read: current",
        f'    between: ["{first.load.name}", "{first.line.name}"]',
        f'    subject: "{shelf.name}"',
        f"    limit: {{at-least: {low:.3f} A, at-most: {high:.3f} A, source: {SHARED}}}",
        "    live: true",
        "",
    ]
    return lines + switched_off([name for name in breakers if name != first.name])


def _together(plant: Plant, shelves: list[Shelf]) -> list[str]:
    """One shelf more each time, on each feed, as far as the bench supply goes."""
    lines = ["  # ---------------------------------------------------------------- shelf after shelf on one supply", ""]
    feeds = dict.fromkeys(inlet.feed for shelf in shelves for inlet in reached(plant, shelf))
    for feed in feeds:
        inlets = [inlet for shelf in shelves for inlet in reached(plant, shelf) if inlet.feed == feed]
        chosen: list[Inlet] = []
        for inlet in inlets:
            _, most = forecast(plant, [*chosen, inlet])
            if SURGE * most + 0.2 > SUPPLY_A:
                break
            chosen.append(inlet)
        if len(chosen) < 2:
            lines += [f"  # feed {feed}: two shelves at once are too much for a bench supply of {SUPPLY_A:g} A", ""]
            continue
        if len(chosen) < len(inlets):
            left = ", ".join(inlet.shelf for inlet in inlets[len(chosen) :])
            lines += [f"  # feed {feed}: {left} would be too much for a bench supply of {SUPPLY_A:g} A", ""]
        supply, _ = way(plant, chosen[0])
        breakers = list(dict.fromkeys(name for inlet in chosen for name in way(plant, inlet)[1]))
        _, most = forecast(plant, chosen)
        names = " and ".join(inlet.shelf for inlet in chosen)
        lines += _clear(names, f"together on feed {feed}")
        lines += do("Close", f"Close {', '.join(breakers)}, one after the other.", close=breakers)
        text = f"The bench supply stands in the place of {supply}."
        volts = _volts(plant, chosen[0])
        lines += energise(f"{names} together on {feed}", text, [supply], volts, limit_for(most), ramp=False)
        for inlet in chosen:
            lines += _under_load(inlet)
        lines += switched_off(breakers)
    return lines


def _close_down() -> list[str]:
    return prove("The meter still shows a live source")
