"""A SCPI thermometer: a platinum resistance sensor with its instrument.

Its error is drawn once, within the tolerance of a sensor of class B and of its instrument, and noise follows in order.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from typing import Any, Final

from bench.simulate.scpi.instrument import NAN, Call, Command, Instrument, nr3
from bench.simulate.world.terminals import ThermometerWorld

__all__ = ["Thermometer", "sensor_tolerance"]

INSTRUMENT_KELVIN: Final = 0.05
"""Of the instrument behind the sensor (our own figure)."""
NOISE_KELVIN: Final = 0.01
READING_S: Final = 0.2
STEP_KELVIN: Final = 0.01


def sensor_tolerance(celsius: float) -> float:
    """Tolerance of a platinum sensor of class B in kelvin: 0.30 + 0.005 |t| (IEC 60751, as quoted in public tables)."""
    return 0.30 + 0.005 * abs(celsius)


class Thermometer(Instrument):
    """The thermometer. An open sensor (``sensor`` is False) reads as not a number."""

    def __init__(
        self,
        world: ThermometerWorld,
        *,
        seed: int = 0,
        error_scale: float = 1.0,
        identity: str = "Gannet Head,thermometer,0001,1.0",
        **options: Any,
    ) -> None:
        self.world = world
        self.sensor = True
        self._error_scale = error_scale
        self._drawn = random.Random(f"errors {seed}").uniform(-1.0, 1.0)
        self._noise = random.Random(f"noise {seed}")
        super().__init__(identity, **options)

    def commands(self) -> Iterable[Command]:
        """The thermometer's commands."""

        def measure(call: Call) -> Any:
            call.spend(READING_S)
            return self._said

        yield Command("MEASure[:SCALar]:TEMPerature", query=measure)

    def _said(self, now: float) -> str:
        return nr3(self._read(now) if self.sensor else NAN)

    def _read(self, now: float) -> float:
        celsius = self.world.temperature(now)
        error = self._drawn * (sensor_tolerance(celsius) + INSTRUMENT_KELVIN)
        shown = celsius + self._error_scale * (error + self._noise.gauss(0.0, NOISE_KELVIN))
        return round(shown / STEP_KELVIN) * STEP_KELVIN
