"""A SCPI DC supply: voltage and current limit, protection that trips, readback.

The supply holds its set voltage while the plant draws no more than the limit (constant voltage),
and lowers the voltage where it would draw more (constant current). It sources current only: a
plant that drives current back lifts the terminals, and the supply gives nothing.

While the output is on the plant is looked at every :data:`MONITOR_S`, so that a load which changes
by itself can trip the protection. *RST and power-on leave the output off.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable
from typing import Any, ClassVar, Final, Literal

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
from bench.simulate.world.terminals import OutputState, SupplyWorld

__all__ = ["MONITOR_S", "SupplyTwin", "regulate"]

MONITOR_S: Final = 0.1
# QUEStionable bits. Voltage and current as in SCPI-1999 volume 1 chapter 9: the quantity is not
# regulated. Bits 9 and 10 are the designer's: voltage and current protection have tripped.
VOLTAGE, CURRENT, OVERVOLTAGE, OVERCURRENT = 1, 2, 512, 1024


# what no profile says: figures of our own, of a usual size (common practice, no source)
_PROGRAM: Final = (0.0005, 0.010, 0.001, 0.005)
"""How far what it puts out may be from what was set: part and volts, part and amperes."""
_RESET_AMPS: Final = 0.1
_READING_S: Final = 0.05


def regulate(draw: Callable[[float], float], volts: float, limit: float) -> OutputState:
    """Where a supply of ``volts`` limited to ``limit`` amperes settles on a load.

    ``draw(v)`` is the current at terminal voltage ``v``, in ampere. Where the load draws too much
    the voltage is found by halving; a constant-power load with a lockout, which draws more the
    lower the voltage is, leaves it at the edge of the lockout.
    """
    amps = draw(volts)
    if amps < 0.0:
        return OutputState(volts, 0.0, "NONE")
    if amps <= limit:
        return OutputState(volts, amps, "VOLT")
    low, high = 0.0, volts
    for _ in range(60):
        middle = 0.5 * (low + high)
        if draw(middle) > limit:
            high = middle
        else:
            low = middle
        if high - low <= 1e-9 * volts:
            break
    return OutputState(high, limit, "CURR")


class SupplyTwin(ScpiInstrument):
    """The supply, with the limits and the readback of its profile. Its errors are drawn once, from ``seed``."""

    PLAYS: ClassVar = "scpi-supply"

    def __init__(
        self,
        world: SupplyWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        identity: str = "",
        **options: Any,
    ) -> None:
        self.world = world
        told = profile or shipped_profile(self.PLAYS)
        most = {one.name: one.most or 0.0 for one in told.outputs[0].settings}
        self._most_volts, self._most_amps = most["voltage"], most["current"]
        self._shown = {one.reads: scales(one)[-1] for one in told.functions}
        self._renews = {one.reads: one.renews.value for one in told.functions}
        self._said: dict[str, tuple[float, float]] = {}
        volts, amps = self._shown["voltage"], self._shown["current"]
        readback = (volts.gain, volts.offset, amps.gain, amps.offset)
        draw = random.Random(f"errors {seed}")
        self._errors = [tuple(most * draw.uniform(-1, 1) for most in four) for four in (_PROGRAM, readback)]
        self.on = False
        self._settings()
        self._state = OutputState(0.0, 0.0, "NONE")
        self._over_since: float | None = None
        self._held: float | None = None
        self._looked = -math.inf
        super().__init__(identity or identity_of(told), **options)

    def _settings(self) -> None:
        self._volts = 0.0
        self._amps = _RESET_AMPS
        self._top_volts = 1.1 * self._most_volts
        self._top_amps = 1.1 * self._most_amps
        self._trips_on_amps = False
        self._trip_delay = 0.05
        self._tripped: set[int] = set()

    # ---- the output --------------------------------------------------------------------------

    def reset(self, now: float) -> None:
        """``*RST``: output off, 0 V, the lowest limit, protection at its top and not tripped."""
        self._switch(False, now)
        self._settings()
        self._look(now)

    def refresh(self, now: float) -> None:
        """Look at the plant where it is time to, and trip where a trip is due."""
        while (due := self.next_event_at()) is not None and due <= now:
            # What the plant did while nobody looked is not known: one look stands for it.
            at = due if now - due < MONITOR_S else now
            if self._over_since is not None:
                at = min(at, max(self._over_since + self._trip_delay, due))
            self._look(at)

    def next_event_at(self) -> float | None:
        """When the plant is looked at next; None while the output is off."""
        if not self.on:
            return None
        due = self._looked + MONITOR_S
        if self._over_since is not None:
            due = min(due, self._over_since + self._trip_delay)
        return due

    def _look(self, now: float) -> None:
        self._looked = max(self._looked, now)
        if not self.on:
            self._state = OutputState(self.world.idle_voltage(now), 0.0, "NONE")
            self._over_since = None
        else:
            state = self._settled(*self._programmed(), now)
            self._state = state
            if state.volts != self._held:
                self._held = state.volts
                self.world.hold(state.volts, now)
            self._protect(state, now)
        self.questionable.set(VOLTAGE, self._state.mode == "CURR")
        self.questionable.set(CURRENT, self._state.mode == "VOLT")
        for bit in (OVERVOLTAGE, OVERCURRENT):
            self.questionable.set(bit, bit in self._tripped)

    def _settled(self, volts: float, limit: float, now: float) -> OutputState:
        """Where the output stands with this voltage and limit."""
        state = regulate(lambda v: self.world.draw(v, now), volts, limit)
        if state.mode == "NONE":
            return OutputState(max(volts, self.world.idle_voltage(now)), 0.0, "NONE")
        return state

    def _programmed(self) -> tuple[float, float]:
        gain_v, offset_v, gain_a, offset_a = self._errors[0]
        volts = self._volts * (1 + gain_v) + offset_v if self._volts else 0.0
        return max(volts, 0.0), max(self._amps * (1 + gain_a) + offset_a, 0.0)

    def _protect(self, state: OutputState, now: float) -> None:
        if state.volts > self._top_volts:
            self._trip(OVERVOLTAGE, now)
            return
        over = self._trips_on_amps and (state.mode == "CURR" or state.amps > self._top_amps)
        if not over:
            self._over_since = None
        elif self._over_since is None:
            self._over_since = now
        if self._over_since is not None and now >= self._over_since + self._trip_delay:
            self._trip(OVERCURRENT, now)

    def _trip(self, why: int, now: float) -> None:
        self._tripped.add(why)
        self._switch(False, now)
        self._state = OutputState(self.world.idle_voltage(now), 0.0, "NONE")

    def _switch(self, on: bool, now: float) -> None:
        if self.on is on:
            return
        self.on = on
        self._over_since = None
        if not on:
            self._held = None
            self.world.hold(None, now)

    # ---- commands ----------------------------------------------------------------------------

    def _output(self, call: Call) -> None:
        on = bool(call.args[0])
        if on and self._tripped:
            raise ScpiError(-221, "protection has tripped")
        self._switch(on, call.now)
        self._look(call.now)

    def _clear_protection(self, *bits: int) -> Callable[[Call], None]:
        def clear(call: Call) -> None:
            self._tripped.difference_update(bits)
            self._look(call.now)

        return clear

    def _measure(self, quantity: Literal["volts", "amps"]) -> Callable[[Call], Any]:
        def query(call: Call) -> Any:
            call.spend(_READING_S)
            return lambda now: nr3(self._readback(quantity, now))

        return query

    def _mode(self, call: Call) -> str:
        self._look(call.now)
        return self._state.mode

    def _readback(self, quantity: Literal["volts", "amps"], now: float) -> float:
        self._look(now)
        gain_v, offset_v, gain_a, offset_a = self._errors[1]
        reads: Literal["voltage", "current"] = "voltage" if quantity == "volts" else "current"
        if reads in self._said and now - self._said[reads][0] < self._renews[reads]:
            return self._said[reads][1]
        if quantity == "volts":
            true, gain, offset = self._state.volts, gain_v, offset_v
        else:
            true, gain, offset = self._state.amps, gain_a, offset_a
        step = self._shown[reads].step
        self._said[reads] = now, round((true * (1 + gain) + offset) / step) * step
        return self._said[reads][1]

    def commands(self) -> Iterable[Command]:
        """The supply's commands."""

        def level(header: str, number: Number, name: str) -> Command:
            """A setting that takes effect at once, at the time of its command."""

            def perform(call: Call) -> None:
                setattr(self, name, call.args[0])
                self._look(call.now)

            declared = setting(header, number, lambda value: None, lambda: getattr(self, name), nr3)
            return Command(header, perform, declared.query, declared.parameters, declared.query_parameters)

        def put_trips(value: bool) -> None:
            self._trips_on_amps = value

        volts, amps = "[:SOURce]:VOLTage", "[:SOURce]:CURRent"
        place = "[:LEVel][:IMMediate][:AMPLitude]"
        yield level(f"{volts}{place}", Number("V", 0.0, self._most_volts, default=0.0), "_volts")
        yield level(f"{amps}{place}", Number("A", 0.0, self._most_amps, default=_RESET_AMPS), "_amps")
        top_volts = Number("V", 0.0, 1.1 * self._most_volts, default=1.1 * self._most_volts)
        top_amps = Number("A", 0.0, 1.1 * self._most_amps, default=1.1 * self._most_amps)
        yield level(f"{volts}:PROTection[:LEVel]", top_volts, "_top_volts")
        yield level(f"{amps}:PROTection[:LEVel]", top_amps, "_top_amps")
        yield level(f"{amps}:PROTection:DELay", Number("S", 0.0, 10.0, default=0.05), "_trip_delay")
        yield setting(f"{amps}:PROTection:STATe", Boolean(), put_trips, lambda: self._trips_on_amps, nr1)
        for header, bit in ((volts, OVERVOLTAGE), (amps, OVERCURRENT)):
            yield Command(
                f"{header}:PROTection:TRIPped",
                query=lambda call, bit=bit: nr1(bit in self._tripped),  # type: ignore[misc]
            )
            yield Command(f"{header}:PROTection:CLEar", perform=self._clear_protection(bit))
        yield Command("OUTPut:PROTection:CLEar", perform=self._clear_protection(OVERVOLTAGE, OVERCURRENT))
        yield Command(
            "OUTPut[:STATe]",
            perform=self._output,
            query=lambda call: nr1(self.on),
            parameters=(Boolean(),),
        )
        yield Command("[:SOURce]:FUNCtion:MODE", query=self._mode)
        yield Command("MEASure[:SCALar]:VOLTage[:DC]", query=self._measure("volts"))
        yield Command("MEASure[:SCALar]:CURRent[:DC]", query=self._measure("amps"))
