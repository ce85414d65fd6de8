"""A SCPI insulation tester: a test voltage of limited current, a timed reading, a discharge.

``OUTPut ON`` puts the test voltage on the leads, ``OUTPut OFF`` takes it off and lays a discharge
resistor across them, which stays until a new test. ``INITiate`` carries out a whole test: voltage
on, wait ``TRIGger:DELay``, read, voltage off; ``OUTPut OFF`` or ``ABORt`` ends it at once, and
``FETCh?`` gives its reading. ``READ?`` while the output is on reads what is there; while it is off
it is ``INITiate`` and ``FETCh?``, and nothing but a device clear then comes before its end.
``MEASure:VOLTage?`` tells the voltage that is left on the leads.

The tester refuses to start on a live circuit (-221), and the voltage hazard bit (QUEStionable, 1)
is set while more than :data:`HAZARD_VOLTS` lie on the leads.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from typing import Any, ClassVar, Final

from bench.instruments.profile.profile import Profile
from bench.simulate.scpi.instrument import (
    Boolean,
    Call,
    Command,
    Number,
    ScpiError,
    ScpiInstrument,
    nr1,
    nr3,
    setting,
)
from bench.simulate.twins.figures import identity_of, scales, shipped_profile
from bench.simulate.world.dielectric import Dielectric
from bench.simulate.world.terminals import InsulationWorld

__all__ = ["HAZARD_VOLTS", "MONITOR_S", "InsulationTwin"]

HAZARD_VOLTS: Final = 25.0
"""Above this the leads count as live: a usual bound for this kind of tester (from memory, not confirmed in a standard's
text)."""
MONITOR_S: Final = 0.1
"""The leads are looked at this often by themselves, in seconds."""
# QUEStionable: voltage on the leads; OPERation: a test voltage is applied; discharging (bit 9)
_HAZARD, _TESTING, _DISCHARGING = 1, 16, 512


# what no profile says: figures of our own, of a usual size (common practice, no source)
_LIMIT_A: Final = 1e-3
"""Short-circuit current."""
_OFFSET_A: Final = 50e-12
_NOISE_A: Final = 20e-12
_OFFSET_V: Final = 0.5
_DISCHARGE_OHM: Final = 100e3
_READING_S: Final = 0.5


class InsulationTwin(ScpiInstrument):
    """The insulation tester, with the test voltages, scale and accuracy of its profile.

    Its errors are drawn once, from ``seed``; the noise follows in order.
    """

    PLAYS: ClassVar = "scpi-insulation-tester"

    def __init__(
        self,
        world: InsulationWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        identity: str = "",
        **options: Any,
    ) -> None:
        self.world = world
        told = profile or shipped_profile(self.PLAYS)
        function = told.functions[0]
        self._voltages = [float(choice.value) for choice in function.settings[0].choices]
        ranges = scales(function)
        self._most_ohms = ranges[-1].top
        # ohms are volts over amperes: a third of the lowest range's allowance is the volts', two thirds the amperes'
        gain = ranges[0].gain / 3
        drawn = random.Random(f"errors {seed}")
        self._gain_amps = 2 * gain * drawn.uniform(-1, 1)
        self._offset_amps = _OFFSET_A * drawn.uniform(-1, 1)
        self._gain_volts = gain * drawn.uniform(-1, 1)
        self._offset_volts = _OFFSET_V * drawn.uniform(-1, 1)
        self._noise = random.Random(f"noise {seed}")
        self.on = False
        self._level = self._voltages[0]
        self._delay = 60.0
        self._off_at: float | None = None
        self._last: float | None = None
        self._specimen: Dielectric | None = None
        self._looked = -math.inf
        super().__init__(identity or identity_of(told), **options)

    # ---- the leads ---------------------------------------------------------------------------

    def reset(self, now: float) -> None:
        """``*RST``: voltage off and discharging, the lowest test voltage, a minute's delay."""
        self._stop(now)
        self._level = self._voltages[0]
        self._delay = 60.0
        self._last = None

    def aborted(self, now: float) -> None:
        """A device clear ends a test and its voltage."""
        self._stop(now)

    def refresh(self, now: float) -> None:
        """End a timed test that is over, and follow the leads."""
        if self._off_at is not None and self._off_at <= now:
            at, self._off_at = self._off_at, None
            self._ohms(at)
            self.on = False
            self._follow(at)
        if now >= self._looked + MONITOR_S:
            self._follow(now)

    def next_event_at(self) -> float | None:
        """When a timed test ends, or the leads are looked at again while the voltage is on."""
        if not self.on:
            return None
        look = self._looked + MONITOR_S
        return look if self._off_at is None else min(look, self._off_at)

    def _follow(self, now: float) -> None:
        """Bring the charge of the specimen up to ``now``, and see where the leads are."""
        self._looked = max(self._looked, now)
        specimen = self._specimen
        if specimen is not None and now > specimen.time:
            if self.on:
                specimen.drive(now, self._level, _LIMIT_A)
            else:
                specimen.discharge(now, _DISCHARGE_OHM)
        here = self.world.specimen(now)
        if here is not specimen:
            here.leave(now)  # it was on its own until the leads came
            self._specimen = here
        volts = abs(here.volts)
        self.questionable.set(_HAZARD, max(volts, abs(self.world.live_voltage(now))) > HAZARD_VOLTS)
        self.operation.set(_TESTING, self.on)
        self.operation.set(_DISCHARGING, not self.on and volts > HAZARD_VOLTS)

    def _start(self, now: float) -> None:
        self._follow(now)
        if abs(self.world.live_voltage(now)) > HAZARD_VOLTS:
            raise ScpiError(-221, "the circuit is live")
        self.on = True
        self._follow(now)

    def _stop(self, now: float) -> None:
        self._follow(now)
        self._off_at = None
        self.on = False
        self._follow(now)

    # ---- readings ----------------------------------------------------------------------------

    def _volts(self, now: float) -> float:
        """The voltage across the leads as the tester reads it."""
        self._follow(now)
        true = self.world.specimen(now).volts + self.world.live_voltage(now)
        return true * (1 + self._gain_volts) + self._offset_volts

    def _amps(self, now: float) -> float:
        self._follow(now)
        if not self.on:
            return 0.0
        true = self.world.specimen(now).current(self._level, _LIMIT_A)
        noise = self._noise.gauss(0.0, _NOISE_A)
        return true * (1 + self._gain_amps) + self._offset_amps + noise

    def _ohms(self, now: float) -> float:
        """Volts over amperes: infinity beyond the scale."""
        amps = self._amps(now)
        # The tester knows its own output within its voltage error, without the offset of a
        # voltmeter that must also read a few volts.
        volts = self.world.specimen(now).volts * (1 + self._gain_volts)
        if amps <= 0.0 or volts / amps > self._most_ohms:
            value = math.inf
        else:
            value = max(volts, 0.0) / amps
        self._last = value
        return value

    def _resistance(self, call: Call) -> Any:
        if not self.on:
            self._initiate(call)
            return self._fetch(call)
        call.spend(_READING_S)
        return lambda now: nr3(self._ohms(now))

    def _initiate(self, call: Call) -> None:
        if self.on:
            raise ScpiError(-213)
        self._start(call.now)
        self._last = None
        self._off_at = call.now + max(self._delay, _READING_S)

    def busy_until(self, now: float) -> float:
        """When the timed test ends."""
        return now if self._off_at is None else self._off_at

    def _fetch(self, call: Call) -> Any:
        call.until = max(call.until, self.busy_until(call.now))
        if self._last is None and call.until == call.now:
            raise ScpiError(-230)
        # A test that was cut short while its reading was awaited has none.
        return lambda now: nr3(math.nan if self._last is None else self._last)

    def _quantity(self, read: Any) -> Any:
        def query(call: Call) -> Any:
            call.spend(_READING_S)
            return lambda now: nr3(read(now))

        return query

    # ---- commands ----------------------------------------------------------------------------

    def _switch(self, call: Call) -> None:
        if call.args[0]:
            self._start(call.now)
        else:
            self._stop(call.now)

    def _set_level(self, call: Call) -> None:
        value = call.args[0]
        level = next((v for v in self._voltages if math.isclose(v, value)), None)
        if level is None:
            raise ScpiError(-224)
        if self.on and level != self._level:
            raise ScpiError(-221, "the test voltage is on")
        self._level = level

    def commands(self) -> Iterable[Command]:
        """The tester's commands."""

        def put_delay(value: float) -> None:
            self._delay = value

        voltages = self._voltages
        level = Number("V", voltages[0], voltages[-1], default=voltages[0])
        header = "[:SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]"
        declared = setting(header, level, lambda value: None, lambda: self._level, nr3)
        yield Command(header, self._set_level, declared.query, declared.parameters, declared.query_parameters)
        yield Command("[:SOURce]:CURRent:LIMit", query=lambda call: nr3(_LIMIT_A))
        yield Command(
            "OUTPut[:STATe]",
            perform=self._switch,
            query=lambda call: nr1(self.on),
            parameters=(Boolean(),),
        )
        yield Command("ABORt", perform=lambda call: self._stop(call.now))
        delay = Number("S", 0.0, 3600.0, default=60.0)
        yield setting("TRIGger[:SEQuence]:DELay", delay, put_delay, lambda: self._delay, nr3)
        yield Command("INITiate[:IMMediate]", perform=self._initiate)
        yield Command("READ", query=self._resistance)
        yield Command("FETCh", query=self._fetch)
        yield Command("MEASure[:SCALar]:RESistance", query=self._resistance)
        yield Command("MEASure[:SCALar]:VOLTage[:DC]", query=self._quantity(self._volts))
        yield Command("MEASure[:SCALar]:CURRent[:DC]", query=self._quantity(self._amps))
