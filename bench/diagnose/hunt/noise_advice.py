"""What would tell where a hum or a tone comes from: what to lift, open or swap, and by which rules.

Common practice, no source, but for the orders of a rectifier's ripple: one with ``p`` pulses puts ``p`` times the
mains' frequency and its multiples on its feed (any text on power electronics). Nothing here switches or lifts anything.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Final

from bench.diagnose.hunt.noise import Change, Tone
from bench.plant.model import Plant
from bench.say.lists import some

DEAD: Final = (
    "Whatever is lifted or swapped: on a dead plant, isolated, proved dead and kept so; leads and screens go back "
    "before power does. Opening a breaker of a plant in service is for authorised people, once its users agreed."
)
PULSES: Final = (2, 6, 12)
"""Pulses of usual rectifiers: the mains' multiples that their ripple has."""
MOST: Final = 8


def stronger(lines: Sequence[Tone], changed: Sequence[Change]) -> list[Tone]:
    """The lines that matter: those that got stronger where there is a before, else the strongest three."""
    if not changed:
        return list(lines[:3])
    names = {one.what.partition(" Hz")[0] for one in changed if one.sure and one.after_db > one.before_db}
    return [one for one in lines if f"{one.hertz:.1f}" in names]


def proposals(lines: Iterable[Tone], plant: Plant | None, feed: str, touched: Collection[str] = ()) -> list[str]:
    """What to do next, each in a sentence, the most telling first.

    Args:
        lines: that are looked for.
        plant: the plant; None: nothing of it is named.
        feed: that was recorded; empty: a signal output, or not said.
        touched: names of the plant that were handled since the recording before: these come first.
    """
    found: list[str] = []
    kinds = {_kind(one) for one in lines}
    if "converter" in kinds:
        shelves = _shelves(plant, feed, touched) if plant is not None else []
        named = f": {some(shelves, MOST)}" if shelves else ""
        tones = some([f"{one.hertz:.0f} Hz" for one in lines if _kind(one) == "converter"], 3)
        found.append(
            f"{tones}: a converter. OPEN the breakers of the feed's shelves one after the other and record each: the "
            f"tone goes with its shelf{named}. Then SWAP that shelf's converter with one that is silent: the tone "
            "moves with it, or stays with the shelf's filter capacitor"
        )
    if "ripple" in kinds:
        found.append(
            "an even multiple of the mains: a rectifier's ripple. Record with the rectifier OFF, on the battery alone: "
            "it is gone where it was the rectifier's. Then look at its filter and at the battery's lugs: a battery "
            "that is badly joined filters nothing"
        )
    if "loop" in kinds:
        bonds = [name for name in touched if plant is not None and name in plant.bonds]
        screens = [name for name in touched if plant is not None and name in plant.cables]
        named = f", first {some([*bonds, *screens], MOST)}" if bonds or screens else ""
        found.append(
            "the mains' own frequency, or an odd multiple: a loop, or a lead beside the mains. LIFT one end of a "
            f"screen or a bond at a time{named}, and record each: what opens the loop takes it away (proveout draft "
            "PLANT earth looks for a second path). Never lift the protective conductor"
        )
    return [*found, DEAD] if found else []


def _kind(line: Tone) -> str:
    if not line.order:
        return "converter"
    return "ripple" if any(line.order % pulses == 0 for pulses in PULSES) else "loop"


def _shelves(plant: Plant, feed: str, touched: Collection[str]) -> list[str]:
    """The shelves on a feed, those that were handled first."""
    names = [
        shelf.name for shelf in plant.shelves.values() if not feed or any(inlet.feed == feed for inlet in shelf.inlets)
    ]
    handled = {name.split(".")[0].split("/")[0] for name in touched}
    return sorted(names, key=lambda name: (name not in handled, names.index(name)))
