"""A SCPI thermometer: a platinum resistance sensor with its instrument.

Its error is drawn once, within the accuracy that the profile states, and noise follows in order.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from typing import Any, ClassVar, Final

from bench.instruments.profile.profile import Profile
from bench.simulate.scpi.instrument import NAN, Call, Command, ScpiInstrument, nr3
from bench.simulate.twins.figures import identity_of, scales, shipped_profile
from bench.simulate.world.terminals import ThermometerWorld

__all__ = ["ThermometerTwin"]

NOISE_KELVIN: Final = 0.01
READING_S: Final = 0.2


class ThermometerTwin(ScpiInstrument):
    """The thermometer. An open sensor (``sensor`` is False) reads as not a number."""

    PLAYS: ClassVar = "scpi-thermometer"

    def __init__(
        self,
        world: ThermometerWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        error_scale: float = 1.0,
        identity: str = "",
        **options: Any,
    ) -> None:
        self.world = world
        self.sensor = True
        self._error_scale = error_scale
        self._drawn = random.Random(f"errors {seed}").uniform(-1.0, 1.0)
        self._noise = random.Random(f"noise {seed}")
        told = profile or shipped_profile(self.PLAYS)
        (self._scale,) = scales(told.functions[0])
        super().__init__(identity or identity_of(told), **options)

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
        scale = self._scale
        # of the steps that are allowed the last is left to noise and rounding
        error = self._drawn * (scale.gain * abs(celsius) + scale.offset - scale.step)
        shown = celsius + self._error_scale * (error + self._noise.gauss(0.0, NOISE_KELVIN))
        return round(shown / scale.step) * scale.step
