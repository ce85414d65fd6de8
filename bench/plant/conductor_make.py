"""What a conductor of the plant should read: the one place where this room asks the judge."""

from __future__ import annotations

from functools import lru_cache

import msgspec

from bench.judge.conductor import Contact, ExpectedResistance, Run, awg_conductor, joints, metric_conductor
from bench.plant.file import ContactResistance
from bench.plant.size import Size


class Wire(msgspec.Struct, frozen=True):
    """What a conductor is made of.

    Attributes:
        size: gauge or cross-section.
        made_of: the metal's name.
        strands: class of IEC 60228: 1, 2 or 5.
    """

    size: Size
    made_of: str = "copper"
    strands: int = 1


@lru_cache(maxsize=4096)
def expected(
    wire: Wire, length_m: float, tolerance_m: float, celsius: float, contacts: tuple[Contact, ...]
) -> ExpectedResistance:
    """Resistance of a length of wire with the contacts at its ends.

    Args:
        wire: what it is made of.
        length_m: along the conductor, one way.
        tolerance_m: how far off the length may be, either way.
        celsius: of the conductor.
        contacts: joints at its ends.
    """
    run = Run(length_m, tolerance_m, celsius)
    if wire.size.awg:
        return awg_conductor(wire.size.awg, run, material=wire.made_of, stranded=wire.strands != 1, contacts=contacts)
    return metric_conductor(
        wire.size.area_mm2, run, conductor_class=wire.strands, material=wire.made_of, contacts=contacts
    )


@lru_cache(maxsize=256)
def contact(resistance: ContactResistance, name: str) -> Contact:
    """A contact of the plant file as the judge knows it.

    Args:
        resistance: what the plant file says of it.
        name: what it is.
    """
    return Contact(resistance.typical.value, resistance.most.value, name=name)


def joint(resistance: ContactResistance, name: str) -> ExpectedResistance:
    """A contact that is a part of a path by itself, such as a closed breaker.

    Args:
        resistance: what the plant file says of it.
        name: what it is.
    """
    return joints((contact(resistance, name),), name)


def set_by_hand(ohms: float, spread: float, name: str) -> ExpectedResistance:
    """A resistance that the plant file gives: its band is twice the spread either way.

    Args:
        ohms: the resistance.
        spread: how far the true value may be off, as a relative standard deviation.
        name: what it is.
    """
    low = max(0.0, ohms * (1 - 2 * spread))
    return ExpectedResistance(ohms, low, ohms * (1 + 2 * spread), name)
