"""A SCPI bench meter: volts, amperes, two- and four-wire ohms, over any :class:`MeterWorld`.

Its functions, ranges, integration times and accuracy are those of the profile that it answers to. A reading is taken
when its integration ends: the world is asked for that moment, the meter adds its leads, its gain and offset error, its
noise, and rounds to its resolution. Gain and offset are drawn once for each range, within the accuracy of the range;
the same seed gives the same readings in the same order.

On ohms, any voltage between the leads adds ``V / I`` with the range's test current ``I``: the thermal voltages of the
leads, and a live circuit. Offset compensation takes it out by a second reading without current, and doubles the time.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from typing import Any, ClassVar, Final

from bench.instruments.profile.functions import Function
from bench.instruments.profile.profile import Profile
from bench.roles import Reads
from bench.simulate.scpi.instrument import (
    Boolean,
    Call,
    Command,
    Number,
    ScpiError,
    ScpiInstrument,
    Text,
    nr1,
    nr3,
    quoted,
    setting,
    spell,
)
from bench.simulate.twins.figures import Scale, drawn_errors, identity_of, scales, shipped_profile
from bench.simulate.world.terminals import AMPS, HI, LO, SENSE_HI, SENSE_LO, CapacitanceWorld, ClampWorld, MeterWorld

__all__ = ["CapacitanceTwin", "ClampTwin", "LowOhmTwin", "MeterTwin"]

_NAMES: Final[dict[tuple[Reads, int], str]] = {
    ("voltage", 2): "VOLT",
    ("ac-voltage", 2): "VOLT:AC",
    ("current", 2): "CURR",
    ("ac-current", 2): "CURR:AC",
    ("resistance", 2): "RES",
    ("resistance", 4): "FRES",
    ("capacitance", 2): "CAP",
}
"""What SCPI calls each function; the first that a meter has is the one after ``*RST``."""
_HEADERS: Final = {
    "VOLT": "VOLTage[:DC]",
    "VOLT:AC": "VOLTage:AC",
    "CURR": "CURRent[:DC]",
    "CURR:AC": "CURRent:AC",
    "RES": "RESistance",
    "FRES": "FRESistance",
    "CAP": "CAPacitance",
}
"""Header of each function below SENSe and CONFigure."""
_QUESTIONABLE: Final = {"VOLT": 1, "VOLT:AC": 1, "CURR": 2, "CURR:AC": 2, "RES": 512, "FRES": 512, "CAP": 1024}
"""SCPI-1999 volume 1 chapter 9: QUEStionable bits of voltage and current; bit 9 is the designer's."""
_MEASURING: Final = 16
"""The OPERation bit."""

# what no profile says: figures of our own, of a usual size (common practice, no source)
_INPUT_OHMS: Final = {"VOLT": 10e6, "VOLT:AC": 1e6, "CURR": 0.05}
"""The input resistance of a voltage function, the shunt of a current function."""
_AC_S: Final = 0.4
"""A reading of an alternating quantity: it has no integration time to choose."""
_SETTLE_S: Final = ((1e5, 0.002), (1e6, 0.010), (1e7, 0.100), (1e8, 0.300))
"""Ohms of a range from which on the input must settle for some seconds."""
_LINE_HZ: Final = 50.0
_SHUNT_OHMS: Final = 100.0
"""Ohms beside a capacitance below which a meter shows overload."""
_COMPENSATION_VOLTS: Final = 0.1
"""Above this voltage between the leads, offset compensation has no answer."""


class _Part:
    """One function: its ranges with their errors, and its settings."""

    def __init__(self, function: Function, draw: random.Random, error_scale: float) -> None:
        self.ranges = scales(function)
        self.errors = drawn_errors(self.ranges, draw, error_scale)
        chosen = next((one for one in function.settings if one.name == "nplc"), None)
        self.integrates = chosen is not None
        self.cycles = {float(one.value): one.coarser for one in chosen.choices} if chosen is not None else {10.0: 1.0}
        """Integration time in power line cycles to how many times coarser the last digit is with it."""
        self.default_cycles = float(chosen.default) if chosen is not None and chosen.default else max(self.cycles)
        self.configure(None)

    def configure(self, full_scale: float | None) -> None:
        """Default settings, on the range for a value; None: it ranges by itself."""
        self.auto = full_scale is None
        self.index = 0 if full_scale is None else self.pick(full_scale)
        self.nplc = self.default_cycles
        self.compensate = False

    def pick(self, full_scale: float) -> int:
        """The lowest range that holds the value."""
        fitting = (k for k, scale in enumerate(self.ranges) if abs(full_scale) <= scale.full * (1 + 1e-9))
        return next(fitting, len(self.ranges) - 1)

    @property
    def scale(self) -> Scale:
        """The range that it is on."""
        return self.ranges[self.index]

    def noise(self, scale: Scale) -> float:
        """Standard deviation of a reading: a step of the last digit at one power line cycle.

        It falls with the square root of longer integration, and rises as its inverse below one cycle, where hum is not
        averaged out.
        """
        return scale.step / (math.sqrt(self.nplc) if self.nplc >= 1.0 else self.nplc)


class MeterTwin(ScpiInstrument):
    """The bench meter.

    Args:
        world: what its leads are on.
        seed: for errors and noise.
        profile: what it answers to; by default the one that comes with the program.
        identity: its answer to ``*IDN?``.
        lead_ohms: both test leads together, seen by two-wire ohms.
        lead_emf: the thermal voltage in them, in volts.
        error_scale: stretches the drawn gain and offset errors: 1 keeps them within the accuracy stated, more is a
            meter out of calibration.
        options: as for :class:`~bench.simulate.scpi.instrument.ScpiInstrument`.
    """

    PLAYS: ClassVar = "scpi-bench-meter"

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        identity: str = "",
        lead_ohms: float = 0.2,
        lead_emf: float = 0.0,
        error_scale: float = 1.0,
        **options: Any,
    ) -> None:
        self.world = world
        self.lead_ohms = lead_ohms
        self.lead_emf = lead_emf
        told = profile or shipped_profile(self.PLAYS)
        has = {_NAMES[one.reads, one.wires]: one for one in told.functions if (one.reads, one.wires) in _NAMES}
        draw = random.Random(f"errors {seed}")
        self.parts = {name: _Part(has[name], draw, error_scale) for name in _HEADERS if name in has}
        self._noise = random.Random(f"noise {seed}")
        self._due: float | None = None
        self._value = math.nan
        self.function = next(iter(self.parts))
        super().__init__(identity or identity_of(told), **options)

    # ---- what the instrument is told ---------------------------------------------------------

    def reset(self, now: float) -> None:
        """``*RST``: the first function, autorange, no reading."""
        self.function = next(iter(self.parts))
        for part in self.parts.values():
            part.configure(None)
        self._stop(now)

    def aborted(self, now: float) -> None:
        """A device clear ends a reading."""
        self._stop(now)

    def _stop(self, now: float) -> None:
        self._due = None
        self.refresh(now)

    def next_event_at(self) -> float | None:
        """When the next reading is taken."""
        return self._due

    def refresh(self, now: float) -> None:
        """Take the reading that is due."""
        if self._due is not None and self._due <= now:
            self._value, self._due = self._read(self._due), None
        self.operation.set(_MEASURING, self._due is not None)

    # ---- one reading -------------------------------------------------------------------------

    @property
    def reading_s(self) -> float:
        """The time that one reading takes with the present settings, in seconds."""
        part = self.parts[self.function]
        took = part.nplc / _LINE_HZ * (2 if part.compensate else 1) if part.integrates else _AC_S
        if self.function not in ("RES", "FRES"):
            return took
        return took + max((settle for ohms, settle in _SETTLE_S if ohms <= part.scale.full), default=0.0)

    def _read(self, time: float) -> float:
        """A reading at ``time``, after ranging; infinity for overload."""
        part = self.parts[self.function]
        value = math.inf
        for index in range(len(part.ranges)) if part.auto else (part.index,):
            part.index = index
            value = self._through(part, time)
            if not math.isinf(value):
                break
        self.questionable.set(_QUESTIONABLE[self.function], math.isinf(value))
        return value

    def _through(self, part: _Part, time: float) -> float:
        scale = part.scale
        signal = self._signal(self.function, scale, part.compensate, time)
        if math.isnan(signal):
            return signal
        # A signal beyond the range is seen as such before any noise is added to it.
        if abs(signal) > scale.top:
            return math.copysign(math.inf, signal)
        gain, offset = part.errors[part.index]
        noise = part.noise(scale) * (math.sqrt(2.0) if part.compensate else 1.0)
        value = signal * (1.0 + gain) + offset + self._noise.gauss(0.0, noise)
        step = part.cycles[part.nplc] * scale.step
        value = round(value / step) * step
        return value if abs(value) <= scale.top else math.copysign(math.inf, value)

    def _signal(self, name: str, scale: Scale, compensate: bool, time: float) -> float:
        world = self.world
        if name == "VOLT":
            volts = world.voltage(HI, LO, time, _INPUT_OHMS[name])
            return self.lead_emf + (0.0 if math.isnan(volts) else volts)
        if name == "VOLT:AC":
            volts = world.ac_voltage(HI, LO, time, _INPUT_OHMS[name])
            return 0.0 if math.isnan(volts) else volts
        if name == "CURR":
            return world.current(AMPS, LO, time, _INPUT_OHMS[name] + self.lead_ohms)
        if name == "RES":
            ohms = world.resistance(HI, LO, time) + self.lead_ohms
            sense = (HI, LO)
        else:
            ohms = world.four_wire(HI, SENSE_HI, SENSE_LO, LO, time)
            sense = (SENSE_HI, SENSE_LO)
        if not math.isfinite(ohms):
            return math.inf  # open leads, force or sense
        alive = world.voltage(*sense, time, math.inf)
        between = self.lead_emf + (0.0 if math.isnan(alive) else alive)
        if compensate:
            return ohms if abs(between) <= _COMPENSATION_VOLTS else math.inf
        # a profile may leave the test current out: then nothing disturbs
        return ohms if math.isnan(scale.test_amps) else ohms + between / scale.test_amps

    def _take(self, call: Call) -> Any:
        """READ?: the answer comes when the reading is done."""
        self._due = call.spend(self.reading_s)
        self.refresh(call.now)
        return lambda now: nr3(self._value)

    # ---- settings ----------------------------------------------------------------------------

    def _choose_function(self, text: str) -> None:
        words = text.upper().split(":")
        for name in self.parts:
            header = _HEADERS[name]
            parts = header.replace("[", "").replace("]", "").split(":")
            required = len(header.split("[")[0].split(":"))
            if required <= len(words) <= len(parts) and all(
                word in spell(part) for word, part in zip(words, parts, strict=False)
            ):
                self.function = name
                return
        raise ScpiError(-224)

    def _function_commands(self, name: str, part: _Part) -> Iterable[Command]:
        header = _HEADERS[name]
        unit = "F" if name == "CAP" else {"V": "V", "C": "A"}.get(name[0], "OHM")
        top = part.ranges[-1].top

        def put_range(value: float) -> None:
            part.index, part.auto = part.pick(value), False

        def put_auto(value: bool) -> None:
            part.auto = value

        def put_cycles(value: float) -> None:
            part.nplc = min(c for c in part.cycles if c >= value * (1 - 1e-9))

        def put_compensation(value: bool) -> None:
            part.compensate = value

        def configure(call: Call) -> None:
            part.configure(call.args[0])
            self.function = name

        def measure(call: Call) -> Any:
            configure(call)
            return self._take(call)

        asked = (Number(unit, 0.0, top, words={"DEFault": None, "AUTO": None}, optional=True),)
        yield Command(f"CONFigure[:SCALar]:{header}", perform=configure, parameters=asked)
        yield Command(f"MEASure[:SCALar]:{header}", query=measure, query_parameters=asked)
        below = f"[:SENSe]:{header}"
        span = Number(unit, 0.0, top, default=top)
        yield setting(f"{below}:RANGe[:UPPer]", span, put_range, lambda: part.scale.full, nr3)
        yield setting(f"{below}:RANGe:AUTO", Boolean(), put_auto, lambda: part.auto, nr1)
        if part.integrates:
            cycles = Number("", min(part.cycles), max(part.cycles), default=part.default_cycles)
            yield setting(f"{below}:NPLCycles", cycles, put_cycles, lambda: part.nplc, nr3)
        if name in ("RES", "FRES"):
            yield setting(f"{below}:OCOMpensated", Boolean(), put_compensation, lambda: part.compensate, nr1)

    def commands(self) -> Iterable[Command]:
        """The meter's commands."""
        for name, part in self.parts.items():
            yield from self._function_commands(name, part)
        yield setting("[:SENSe]:FUNCtion[:ON]", Text(), self._choose_function, lambda: self.function, quoted)
        yield Command("READ", query=self._take)


class LowOhmTwin(MeterTwin):
    """A meter for bonds and joints: the same dialogue, four wires only."""

    PLAYS = "scpi-low-ohm-meter"


class CapacitanceTwin(MeterTwin):
    """A meter for capacitance: the same dialogue, one function, 1 kHz."""

    PLAYS = "scpi-capacitance-meter"

    def __init__(self, world: CapacitanceWorld, **options: Any) -> None:
        self._line = world
        super().__init__(world, **options)

    def _signal(self, name: str, scale: Scale, compensate: bool, time: float) -> float:
        farads, ohms = self._line.capacitance(HI, LO, time)
        # what conducts beside it far better than the capacitance does leaves nothing to be told
        return math.inf if ohms < _SHUNT_OHMS else farads


class ClampTwin(MeterTwin):
    """A clamp-on ammeter: the same dialogue, two functions, and no lead in any circuit."""

    PLAYS = "scpi-clamp-meter"

    def __init__(self, world: ClampWorld, **options: Any) -> None:
        self._clamp = world
        super().__init__(world, **options)

    def _signal(self, name: str, scale: Scale, compensate: bool, time: float) -> float:
        return self._clamp.clamped_ac(time) if name == "CURR:AC" else self._clamp.clamped(time)
