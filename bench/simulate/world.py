"""What simulated instruments are connected to: the side of the plant that their terminals see.

Each instrument has a world of its own, which knows where its leads are. Times are seconds on the
clock that the instrument is told. A world answers for the moment ``time``, so a loose contact may
open between two readings.
"""

from __future__ import annotations

from typing import Protocol

__all__ = ["AMPS", "HI", "LO", "SENSE_HI", "SENSE_LO", "MeterWorld"]

#: The terminals of a bench meter. Current flows into ``AMPS`` and out of ``LO``.
HI, LO, SENSE_HI, SENSE_LO, AMPS = "hi", "lo", "sense_hi", "sense_lo", "amps"


class MeterWorld(Protocol):
    """What a bench meter's terminals see. The meter adds its own leads, range and errors."""

    def resistance(self, hi: str, lo: str, time: float) -> float:
        """Ohms between two terminals; infinity when open."""

    def four_wire(self, force_hi: str, sense_hi: str, sense_lo: str, force_lo: str, time: float) -> float:
        """Ohms seen by the sense terminals, per ampere forced; not a number when they are open."""

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """DC volts of ``hi`` against ``lo`` with ``loading`` ohms of meter across them.

        Not a number when the terminals float against each other.
        """

    def ac_voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """AC volts, root mean square, between two terminals."""

    def current(self, into: str, out: str, time: float, burden: float) -> float:
        """DC amperes that flow into one terminal and out of the other through ``burden`` ohms."""
