"""What simulated instruments are connected to: the side of the plant that their terminals see.

Each instrument has a world of its own, which knows where its leads are. Times are seconds on the
clock that the instrument is told. A world answers for the moment ``time``, so a loose contact may
open between two readings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

import msgspec

if TYPE_CHECKING:
    from bench.simulate.world.dielectric import Dielectric

__all__ = [
    "AMPS",
    "HI",
    "LO",
    "SENSE_HI",
    "SENSE_LO",
    "CapacitanceWorld",
    "ClampWorld",
    "InsulationWorld",
    "MatrixWorld",
    "MeterWorld",
    "OutputState",
    "SupplyWorld",
    "ThermometerWorld",
]

HI, LO, SENSE_HI, SENSE_LO, AMPS = "hi", "lo", "sense_hi", "sense_lo", "amps"
"""The terminals of a bench meter. Current flows into ``AMPS`` and out of ``LO``."""

Mode = Literal["VOLT", "CURR", "NONE"]


class OutputState(msgspec.Struct, frozen=True):
    """Volts and amperes at the terminals, and what is regulated: ``VOLT``, ``CURR`` or ``NONE``."""

    volts: float
    amps: float
    mode: Mode


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


class CapacitanceWorld(MeterWorld, Protocol):
    """What a meter for capacitance is on."""

    def capacitance(self, hi: str, lo: str, time: float) -> tuple[float, float]:
        """Farads between two terminals at 1 kHz, and the ohms that lie beside them; infinity where none do."""


class ClampWorld(MeterWorld, Protocol):
    """What a clamp sees that is closed round the conductor between the two places where its leads would go."""

    def clamped(self, time: float) -> float:
        """DC amperes in the conductor, from the first place to the second."""

    def clamped_ac(self, time: float) -> float:
        """AC amperes in the conductor, root mean square."""


class SupplyWorld(Protocol):
    """What a supply's output terminals feed."""

    def draw(self, volts: float, time: float) -> float:
        """DC amperes out of the positive terminal while the terminals are held at ``volts``.

        Negative where something outside drives current into the supply.
        """

    def hold(self, volts: float | None, time: float) -> None:
        """Told what the terminals are held at from ``time`` on; None when the output is off."""

    def idle_voltage(self, time: float) -> float:
        """DC volts that the outside puts on the terminals while the output is off."""


class InsulationWorld(Protocol):
    """What an insulation tester's leads are on."""

    def specimen(self, time: float) -> Dielectric:
        """The insulation between the leads; the same object while the leads stay where they are.

        The world keeps one for each piece of insulation, so that charge stays on a cable when the
        leads leave it.
        """

    def live_voltage(self, time: float) -> float:
        """Volts that a source in the plant puts between the leads."""


class MatrixWorld(Protocol):
    """What a relay matrix's rows and buses are wired to."""

    def switched(self, closed: frozenset[int], time: float) -> None:
        """Told which crosspoints are closed from ``time`` on."""


class ThermometerWorld(Protocol):
    """Where a thermometer's sensor lies."""

    def temperature(self, time: float) -> float:
        """Temperature there, in °C."""
