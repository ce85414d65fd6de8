"""Drafts the last part of first power: shelves that are proven one by one go onto the plant's own supply.

A battery behind a breaker has no current limit that would forgive, and no program can switch it off. So everything
rests on what was proven before: each breaker is closed by hand, from the battery outwards, behind a hold point of its
own and on evidence that counts; and each hold point says who opens what, on which word.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bench.plant.model import Plant
from bench.plant.things import Breaker, Inlet, Shelf, Supply
from bench.quantity import engineering
from bench.sequence.draft_power import (
    DEAD_LIMIT,
    WouldOverload,
    caution,
    do,
    hold,
    reached,
    return_bar,
    volt_step,
    way,
)
from bench.sequence.power_tree import Forecast, Powered, PowerTree, WillNotCarry, headroom_line

AMMETER_A: Final = 8.0
"""More than this is not led through a hand-held ammeter's fused leads (common practice, no source)."""


def onto_the_plant(plant: Plant, shelves: list[Shelf]) -> list[str]:
    """The steps for these shelves, feed by feed; none where every feed comes from a bench supply anyway.

    Raises:
        WouldOverload: a breaker would carry too much, or the voltage would collapse.
    """
    by_supply: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_supply.setdefault(way(plant, inlet)[0], []).append(inlet)
    mine = {name: inlets for name, inlets in by_supply.items() if plant.supplies[name].kind != "bench"}
    if not mine:
        return []
    lines = ["  # ---------------------------------------------------------------- on the plant's own supplies", ""]
    lines += caution(
        "From here on a battery feeds the plant, and this program cannot switch it off",
        "Until now a bench supply with a current limit went off by itself at the first reading beyond. A battery does "
        "not: a short takes thousands of amperes until a breaker opens, or something burns. Somebody stands at the "
        "main breaker the whole time and does nothing else; whoever sees, hears or smells anything calls OPEN. Only "
        "licensed or authorised people may do this, under local codes and the rules of the site. This program is no "
        "safety device.",
    )
    every = list(dict.fromkeys(name for inlets in mine.values() for inlet in inlets for name in way(plant, inlet)[1]))
    lines += do(
        "Bench supply away",
        f"Take the bench supply's leads off. Open {', '.join(every)}. Then nothing is connected to the battery yet.",
        open=every,
    )
    for name, inlets in mine.items():
        lines += _feed(plant, plant.supplies[name], inlets)
    return lines


def _feed(plant: Plant, supply: Supply, inlets: list[Inlet]) -> list[str]:
    main = plant.breakers[way(plant, inlets[0])[1][0]]
    mains = list(dict.fromkeys(way(plant, inlet)[1][0] for inlet in inlets))
    bar = return_bar(plant, inlets[0])
    where = plant.where(main.name)
    who = f"Tell the person at {main.name} ({where}): on the word OPEN it is opened, and nobody asks why."
    lines = hold(
        f"Clear to connect {supply.kind} {supply.name}",
        f"{', '.join(mains)} open and guarded. {who} This program cannot switch {supply.name} off. Type the word only "
        "if this is so.",
        "BATTERY",
    )
    lines += do(
        f"Connect {supply.name}",
        f"With {', '.join(mains)} open, connect {supply.name} at its terminals. From then on the line side of "
        f"{main.name} is live.",
        switch_on=[supply.name],
    )
    lines += _reads(f"{main.name}, line side, has {supply.name}", main.line.name, bar, main.name, [])
    text = "A breaker whose contacts are welded shows here."
    lines += volt_step(f"{main.name} is open", main.load.name, bar, main.name, DEAD_LIMIT, False, text)
    closed: list[str] = []
    for inlet in inlets:
        lines += _onto(plant, supply, inlet, closed)
    for inlet in inlets:
        title = f"{inlet.name} with everything on {supply.name}"
        lines += _reads(title, inlet.live.name, inlet.back.name, inlet.name, _stands_on(plant, inlet))
    last = ", ".join(reversed(closed))
    lines += do(f"Feed {inlets[0].feed} off", f"Open {last}, the shelves first.", open=list(reversed(closed)))
    lines += do(
        f"Disconnect {supply.name}",
        f"Disconnect {supply.name} at its terminals, lock off and tag.",
        switch_off=[supply.name],
    )
    return lines


def _onto(plant: Plant, supply: Supply, inlet: Inlet, closed: list[str]) -> list[str]:
    """Close what is still open on the way to a shelf, one breaker after the other, and read what it takes."""
    lines: list[str] = []
    names = way(plant, inlet)[1]
    for name in names[:-1]:
        if name not in closed:
            closed.append(name)
            upto = names[: names.index(name) + 1]
            lines += _close(plant, plant.breakers[name], supply, upto, f"Nothing is on behind {name} yet.")
            there = plant.breakers[name].load.name
            lines += _reads(f"{name}, load side", there, return_bar(plant, inlet), name, upto)
    last, stands = plant.breakers[names[-1]], _stands_on(plant, inlet)
    closed.append(last.name)
    found = _forecast(plant, supply, closed)
    load = found.typical.shelves[inlet.shelf]
    volts, amps = load.inlets[inlet.name]
    told = f"Expected at {inlet.name}: {volts:.2f} V and {engineering(amps, 'A', digits=3)}."
    told += "".join(f" Breaker {headroom_line(found.breakers[name])}." for name in names if name in found.breakers)
    lines += _close(plant, last, supply, stands, told)
    lines += _reads(f"{inlet.name} on {supply.name}", inlet.live.name, inlet.back.name, inlet.name, stands)
    most = found.most.shelves[inlet.shelf].inlets[inlet.name][1]
    if most <= AMMETER_A:
        lines += _current(last, inlet, supply, stands)
    lines += do(
        f"{last.name} stays open",
        f"Something is not right with {inlet.shelf} or its way: open {last.name}, or leave it open, and take the "
        "meter's leads off. Find it on the bench supply first.",
        open=[last.name],
        unless_proven=stands,
    )
    return lines


def _current(last: Breaker, inlet: Inlet, supply: Supply, stands: Sequence[str]) -> list[str]:
    """The meter is put across the closed breaker, so that no inrush goes through its fuse and the shelf stays on."""
    lines = do(
        f"Ammeter across {last.name}",
        f"Put the ammeter's fused leads across the two terminals of the closed {last.name}. Then open {last.name}: "
        f"{inlet.shelf} runs on through the meter.",
        open=[last.name],
        proven=stands,
    )
    lines += [
        "  - step: measure",
        f'    title: "What {inlet.shelf} takes of {supply.name}"',
        "    read: current",
        f'    between: ["{last.load.name}", "{last.line.name}"]',
        f'    subject: "{inlet.name}"',
        "    limit: {computed: idle-current}",
        f"    proven: {_listed(stands)}",
        "",
    ]
    return lines + do(
        f"{last.name} closed again",
        f"Close {last.name}, then take the ammeter's leads off.",
        close=[last.name],
        proven=stands,
    )


def _close(plant: Plant, breaker: Breaker, supply: Supply, stands: Sequence[str], told: str) -> list[str]:
    where = plant.where(breaker.name)
    lines = hold(
        f"Clear to close {breaker.name} on {supply.name}",
        f"{breaker.name} ({where}). Everybody is clear, somebody guards the main breaker of {supply.name}. {told} If "
        f"anything is not as it should be: open {breaker.name} at once, then call OPEN; this program cannot.",
        "ENERGISE",
    )
    return lines + do(f"Close {breaker.name}", f"Close {breaker.name} ({where}).", close=[breaker.name], proven=stands)


def _stands_on(plant: Plant, inlet: Inlet) -> list[str]:
    """What must be proven before a shelf goes onto the plant's own supply: itself and every breaker on its way."""
    return [inlet.shelf, inlet.name, *way(plant, inlet)[1]]


def _reads(title: str, red: str, black: str, subject: str, stands: Sequence[str]) -> list[str]:
    text = "Live parts. The sign counts: a battery's return is positive here."
    lines = volt_step(title, red, black, subject, "{computed: feed-voltage}", False, text)
    return [*lines[:-1], *([f"    proven: {_listed(stands)}"] if stands else []), ""]


def _listed(names: Sequence[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _forecast(plant: Plant, supply: Supply, closed: list[str]) -> Forecast:
    try:
        found = PowerTree(plant).forecast(Powered((supply.name,), supply.volts, supply.ohms, frozenset(closed)))
    except WillNotCarry as error:
        raise WouldOverload(f"on {supply.name} with {', '.join(closed)} closed: {error}") from error
    if found.overloads:
        raise WouldOverload(f"on {supply.name} breaker {'; '.join(headroom_line(load) for load in found.overloads)}")
    return found
