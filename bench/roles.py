"""What can be read, in which unit, and which role of the bench reads it."""

from __future__ import annotations

from typing import Final, Literal

Reads = Literal[
    "resistance",
    "insulation",
    "voltage",
    "ac-voltage",
    "current",
    "ac-current",
    "temperature",
    "capacitance",
    "inductance",
    "impedance",
    "frequency",
    "level",
    "distance",
    "humidity",
    "running-time",
]
"""What a step reads and a meter measures."""

Role = Literal[
    "ohms",
    "high-ohms",
    "insulation",
    "volts",
    "amps",
    "clamp",
    "supply",
    "load",
    "switch",
    "thermometer",
    "lcr",
    "battery-tester",
    "counter",
    "level-meter",
    "reflectometer",
    "hygrometer",
    "hours-counter",
]
"""What a step needs from the bench."""

Ohmmeter = Literal["ohms", "high-ohms"]
"""The role of an ohmmeter: of the one that a bench reads resistance with, and of a second one beside it."""
HIGH_OHMS: Final = "high-ohms"
"""The second ohmmeter: it reads what the one in ``ohms`` cannot prove, such as open where that reads milliohms."""
OHMMETERS: Final[tuple[Ohmmeter, ...]] = ("ohms", HIGH_OHMS)
ROLE_OF: Final[dict[Reads, Role]] = {
    "resistance": "ohms",
    "insulation": "insulation",
    "voltage": "volts",
    "ac-voltage": "volts",
    "current": "amps",
    "ac-current": "amps",
    "temperature": "thermometer",
    "capacitance": "lcr",
    "inductance": "lcr",
    "impedance": "battery-tester",
    "frequency": "counter",
    "level": "level-meter",
    "distance": "reflectometer",
    "humidity": "hygrometer",
    "running-time": "hours-counter",
}
UNIT_OF: Final[dict[Reads, str]] = {
    "resistance": "Ω",
    "insulation": "Ω",
    "voltage": "V",
    "ac-voltage": "V",
    "current": "A",
    "ac-current": "A",
    "temperature": "°C",
    "capacitance": "F",
    "inductance": "H",
    "impedance": "Ω",
    "frequency": "Hz",
    "level": "dB",
    "distance": "m",
    "humidity": "%RH",
    "running-time": "s",
}
"""Base units."""

NO_PLACES: Final[frozenset[Reads]] = frozenset({"temperature", "humidity", "running-time"})
"""What is read of the room or of a machine, and not between two places."""


def function_name(reads: Reads, wires: int = 2) -> str:
    """The name of a function as readings carry it, the same for every meter: ``resistance 4w``, ``voltage``."""
    return f"{reads} {wires}w" if reads == "resistance" else reads
