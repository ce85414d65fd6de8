"""A SCPI bench meter: volts, amperes, two- and four-wire ohms, over any :class:`MeterWorld`.

A reading is taken when its integration ends: the world is asked for that moment, the meter adds
its leads, its gain and offset error, its noise, and rounds to its resolution. Gain and offset are
drawn once for each range, within the accuracy of the range; the same seed gives the same readings
in the same order.

On ohms, any voltage between the leads adds ``V / I`` with the range's test current ``I``: the
thermal voltages of the leads, and a live circuit. Offset compensation takes it out by a second
reading without current, and doubles the time.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Iterable
from typing import Any

from bench.simulate.scpi.instrument import (
    Boolean,
    Call,
    Choice,
    Command,
    Instrument,
    Number,
    ScpiError,
    Text,
    nr1,
    nr3,
    quoted,
    setting,
    spell,
)
from bench.simulate.twins.meter_spec import BENCH_METER, CLAMP_METER, FunctionSpec, MeterSpec, RangeSpec
from bench.simulate.world.terminals import AMPS, HI, LO, SENSE_HI, SENSE_LO, ClampWorld, MeterWorld

__all__ = ["ClampMeter", "Meter"]

#: Header of each function below SENSe and CONFigure.
_HEADERS = {
    "VOLT": "VOLTage[:DC]",
    "VOLT:AC": "VOLTage:AC",
    "CURR": "CURRent[:DC]",
    "CURR:AC": "CURRent:AC",
    "RES": "RESistance",
    "FRES": "FRESistance",
}
#: SCPI-1999 volume 1 chapter 9: QUEStionable bits of voltage and current; bit 9 is the designer's.
_QUESTIONABLE = {"VOLT": 1, "VOLT:AC": 1, "CURR": 2, "CURR:AC": 2, "RES": 512, "FRES": 512}
#: OPERation bits: measuring, waiting for trigger.
_MEASURING, _WAITING = 16, 32
#: So many readings still fit the output buffer.
_MOST_SAMPLES = 4000


class _Setup:
    """The settings of one function."""

    __slots__ = ("auto", "compensate", "index", "nplc")

    def __init__(self, nplc: float) -> None:
        self.auto = True
        self.index = 0
        self.nplc = nplc
        self.compensate = False


class Meter(Instrument):
    """The bench meter.

    ``lead_ohms`` is the resistance of both test leads together, seen by two-wire ohms;
    ``lead_emf`` the thermal voltage in them, in volts. ``error_scale`` stretches the drawn gain and
    offset errors: 1 keeps them within the accuracy stated, more is a meter out of calibration.
    """

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        spec: MeterSpec = BENCH_METER,
        identity: str = "Gannet Head,bench meter,0001,1.0",
        lead_ohms: float = 0.2,
        lead_emf: float = 0.0,
        error_scale: float = 1.0,
        **options: Any,
    ) -> None:
        self.world = world
        self.spec = spec
        self.lead_ohms = lead_ohms
        self.lead_emf = lead_emf
        drawn = random.Random(f"errors {seed}")
        #: Gain (as a part) and offset (in the unit) of each range of each function.
        self.errors_drawn: dict[str, list[tuple[float, float]]] = {
            name: [
                (
                    error_scale * r.reading_percent / 100 * drawn.uniform(-1.0, 1.0),
                    error_scale * r.range_percent / 100 * r.full_scale * drawn.uniform(-1.0, 1.0),
                )
                for r in function.ranges
            ]
            for name, function in spec.functions.items()
        }
        self._noise = random.Random(f"noise {seed}")
        self._cycles = sorted(spec.resolution)
        self._restart()
        super().__init__(identity, **options)

    def _restart(self) -> None:
        self.function = next(iter(self.spec.functions))
        self._setups = {name: _Setup(self.spec.default_nplc) for name in self.spec.functions}
        self._configured()

    def _configured(self) -> None:
        """What CONFigure does to the trigger model."""
        self._source = "IMM"
        self._samples = 1
        self._triggers = 1
        self._delay: float | None = None
        self._forget()

    def _forget(self) -> None:
        """End an acquisition and drop its readings."""
        self._readings: list[float] | None = None
        self._due: deque[float] = deque()
        self._awaited = 0

    # ---- what the instrument is told ---------------------------------------------------------

    def reset(self, now: float) -> None:
        """``*RST``: DC volts, autorange, immediate trigger, no readings."""
        self._restart()
        self.refresh(now)

    def aborted(self, now: float) -> None:
        """A device clear ends an acquisition."""
        self._abort(now)

    def trigger(self, now: float) -> None:
        """``*TRG`` or a trigger from outside; -211 unless one is awaited."""
        if self._awaited == 0 or self._due:
            raise ScpiError(-211)
        self._awaited -= 1
        self._sample(now, self._samples)
        self.refresh(now)

    def busy_until(self, now: float) -> float:
        """When the acquisition under way ends; infinity while it awaits a trigger."""
        if self._awaited:
            return math.inf
        return self._due[-1] if self._due else now

    def next_event_at(self) -> float | None:
        """When the next reading is taken."""
        return self._due[0] if self._due else None

    def refresh(self, now: float) -> None:
        """Take the readings that are due."""
        while self._due and self._due[0] <= now:
            time = self._due.popleft()
            assert self._readings is not None
            self._readings.append(self._read(time))
        self.operation.set(_MEASURING, bool(self._due))
        self.operation.set(_WAITING, bool(self._awaited) and not self._due)

    # ---- one reading -------------------------------------------------------------------------

    @property
    def reading_s(self) -> float:
        """The time that one reading takes with the present settings, in seconds."""
        function, setup = self.spec.functions[self.function], self._setups[self.function]
        if function.fixed_s is not None:
            took = function.fixed_s
        else:
            took = setup.nplc / self.spec.line_hz * (2 if setup.compensate else 1)
        settle = function.ranges[setup.index].settle_s
        return took + (settle if self._delay is None else self._delay)

    def _read(self, time: float) -> float:
        """A reading at ``time``, after ranging; infinity for overload."""
        name = self.function
        function, setup = self.spec.functions[name], self._setups[name]
        if setup.auto:
            choices: Iterable[int] = range(len(function.ranges))
        else:
            choices = (setup.index,)
        value = math.inf
        for index in choices:
            setup.index = index
            value = self._through(name, function, index, time)
            if not math.isinf(value):
                break
        self.questionable.set(_QUESTIONABLE[name], math.isinf(value))
        return value

    def _through(self, name: str, function: FunctionSpec, index: int, time: float) -> float:
        scale = function.ranges[index]
        setup = self._setups[name]
        signal = self._signal(name, function, scale, setup.compensate, time)
        if math.isnan(signal):
            return signal
        # A signal beyond the range is seen as such before any noise is added to it.
        if abs(signal) > scale.maximum:
            return math.copysign(math.inf, signal)
        gain, offset = self.errors_drawn[name][index]
        noise = self.spec.noise_part(setup.nplc) * scale.full_scale
        if setup.compensate:
            noise *= math.sqrt(2.0)
        value = signal * (1.0 + gain) + offset + self._noise.gauss(0.0, noise)
        step = self.spec.resolution[setup.nplc] * scale.full_scale
        value = round(value / step) * step
        return value if abs(value) <= scale.maximum else math.copysign(math.inf, value)

    def _signal(self, name: str, function: FunctionSpec, scale: RangeSpec, compensate: bool, time: float) -> float:
        world = self.world
        if name == "VOLT":
            volts = world.voltage(HI, LO, time, function.input_ohms)
            return self.lead_emf + (0.0 if math.isnan(volts) else volts)
        if name == "VOLT:AC":
            volts = world.ac_voltage(HI, LO, time, function.input_ohms)
            return 0.0 if math.isnan(volts) else volts
        if name == "CURR":
            return world.current(AMPS, LO, time, function.input_ohms + self.lead_ohms)
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
            return ohms if abs(between) <= self.spec.compensation_volts else math.inf
        return ohms + between / scale.test_amps

    # ---- the trigger model -------------------------------------------------------------------

    def _sample(self, now: float, count: int) -> None:
        each = self.reading_s
        self._due.extend(now + each * (k + 1) for k in range(count))

    def _initiate(self, now: float) -> None:
        if self._due or self._awaited:
            raise ScpiError(-213)
        if self._samples * self._triggers > _MOST_SAMPLES:
            raise ScpiError(-221)
        self._readings = []
        if self._source == "IMM":
            self._sample(now, self._samples * self._triggers)
        else:
            self._awaited = self._triggers
        self.refresh(now)

    def _abort(self, now: float) -> None:
        if self._due or self._awaited:
            self._forget()
        self.refresh(now)

    def _fetch(self, call: Call) -> Any:
        if self._awaited:
            raise ScpiError(-214)
        if self._readings is None:
            raise ScpiError(-230)
        call.until = max(call.until, self.busy_until(call.now))
        return lambda now: ",".join(nr3(value) for value in self._readings or ())

    def _read_query(self, call: Call) -> Any:
        if self._source != "IMM":
            raise ScpiError(-214)
        self._abort(call.now)
        self._initiate(call.now)
        return self._fetch(call)

    # ---- settings ----------------------------------------------------------------------------

    def _pick(self, name: str, full_scale: float) -> int:
        """The lowest range that holds the value."""
        ranges = self.spec.functions[name].ranges
        for k, scale in enumerate(ranges):
            if abs(full_scale) <= scale.full_scale * (1 + 1e-9):
                return k
        return len(ranges) - 1

    def _configure(self, name: str, call: Call) -> None:
        full_scale, resolution = call.args
        setup = _Setup(self.spec.default_nplc)
        if full_scale is not None:
            setup.auto = False
            setup.index = self._pick(name, full_scale)
        if resolution is not None:
            if setup.auto:
                raise ScpiError(-221)
            setup.nplc = self._cycles_for(name, setup.index, resolution)
        self.function = name
        self._setups[name] = setup
        self._configured()

    def _cycles_for(self, name: str, index: int, resolution: float) -> float:
        """The fastest integration time with this resolution; 0 asks for the finest there is."""
        if resolution == 0.0:
            return self._cycles[-1]
        scale = self.spec.functions[name].ranges[index].full_scale
        for nplc in self._cycles:
            if self.spec.resolution[nplc] * scale <= resolution * (1 + 1e-9):
                return nplc
        raise ScpiError(-222)

    def _configured_as(self, call: Call) -> str:
        setup = self._setups[self.function]
        scale = self.spec.functions[self.function].ranges[setup.index].full_scale
        resolution = self.spec.resolution[setup.nplc] * scale
        return quoted(f"{self.function} {nr3(scale)},{nr3(resolution)}")

    def _choose_function(self, text: str) -> None:
        words = text.upper().split(":")
        for name in self.spec.functions:
            header = _HEADERS[name]
            parts = header.replace("[", "").replace("]", "").split(":")
            required = len(header.split("[")[0].split(":"))
            if required <= len(words) <= len(parts) and all(
                word in spell(part) for word, part in zip(words, parts, strict=False)
            ):
                self.function = name
                self._forget()
                return
        raise ScpiError(-224)

    def _function_commands(self, name: str, header: str) -> Iterable[Command]:
        ranges = self.spec.functions[name].ranges
        unit = {"V": "V", "C": "A"}.get(name[0], "OHM")
        top = ranges[-1].maximum

        def setup() -> _Setup:
            return self._setups[name]

        def put_range(value: float) -> None:
            setup().index, setup().auto = self._pick(name, value), False
            self._forget()

        def put_auto(value: bool) -> None:
            setup().auto = value
            self._forget()

        def put_cycles(value: float) -> None:
            setup().nplc = min(c for c in self._cycles if c >= value * (1 - 1e-9))
            self._forget()

        def put_resolution(value: float) -> None:
            setup().nplc = self._cycles_for(name, setup().index, value)
            self._forget()

        def resolution() -> float:
            return self.spec.resolution[setup().nplc] * ranges[setup().index].full_scale

        def put_compensation(value: bool) -> None:
            setup().compensate = value
            self._forget()

        words = {"DEFault": None, "AUTO": None}
        lowest = ranges[0].full_scale
        asked = (
            Number(unit, 0.0, top, words=words, optional=True),
            Number(unit, 0.0, top, words={"DEFault": None}, optional=True),
        )

        def configure(call: Call) -> None:
            self._configure(name, call)

        def measure(call: Call) -> Any:
            self._configure(name, call)
            return self._read_query(call)

        yield Command(f"CONFigure[:SCALar]:{header}", perform=configure, parameters=asked)
        yield Command(f"MEASure[:SCALar]:{header}", query=measure, query_parameters=asked)
        below = f"[:SENSe]:{header}"
        span = Number(unit, lambda: 0.0, top, default=top)
        yield setting(f"{below}:RANGe[:UPPer]", span, put_range, lambda: ranges[setup().index].full_scale, nr3)
        yield setting(f"{below}:RANGe:AUTO", Boolean(), put_auto, lambda: setup().auto, nr1)
        if self.spec.functions[name].fixed_s is None:
            cycles = Number("", self._cycles[0], self._cycles[-1], default=self.spec.default_nplc)
            yield setting(f"{below}:NPLCycles", cycles, put_cycles, lambda: setup().nplc, nr3)
        finest = min(self.spec.resolution.values())
        yield setting(
            f"{below}:RESolution",
            Number(unit, finest * lowest, max(self.spec.resolution.values()) * top),
            put_resolution,
            resolution,
            nr3,
        )
        if name in ("RES", "FRES"):
            yield setting(
                f"{below}:OCOMpensated",
                Boolean(),
                put_compensation,
                lambda: setup().compensate,
                nr1,
            )

    def commands(self) -> Iterable[Command]:
        """The meter's commands."""

        def put_source(value: str) -> None:
            self._source = value
            self._forget()

        def put_samples(value: int) -> None:
            self._samples = value
            self._forget()

        def put_triggers(value: int) -> None:
            self._triggers = value
            self._forget()

        def put_delay(value: float) -> None:
            self._delay = value
            self._forget()

        def put_delay_auto(value: bool) -> None:
            # Off keeps the delay that is in force.
            self._delay = None if value else self._delay_now()
            self._forget()

        for name in self.spec.functions:
            yield from self._function_commands(name, _HEADERS[name])
        yield Command("CONFigure", query=self._configured_as)
        yield setting(
            "[:SENSe]:FUNCtion[:ON]",
            Text(),
            self._choose_function,
            lambda: self.function,
            quoted,
        )
        yield Command("READ", query=self._read_query)
        yield Command("FETCh", query=self._fetch)
        yield Command("INITiate[:IMMediate]", perform=lambda call: self._initiate(call.now))
        yield Command("ABORt", perform=lambda call: self._abort(call.now))
        yield setting(
            "TRIGger[:SEQuence]:SOURce",
            Choice(("IMMediate", "BUS")),
            put_source,
            lambda: self._source,
            str,
        )
        most = Number(minimum=1, maximum=_MOST_SAMPLES, default=1, integer=True)
        yield setting("SAMPle:COUNt", most, put_samples, lambda: self._samples, nr1)
        yield setting("TRIGger[:SEQuence]:COUNt", most, put_triggers, lambda: self._triggers, nr1)
        yield setting("TRIGger[:SEQuence]:DELay", Number("S", 0.0, 3600.0), put_delay, self._delay_now, nr3)
        yield setting(
            "TRIGger[:SEQuence]:DELay:AUTO",
            Boolean(),
            put_delay_auto,
            lambda: self._delay is None,
            nr1,
        )

    def _delay_now(self) -> float:
        if self._delay is not None:
            return self._delay
        setup = self._setups[self.function]
        return self.spec.functions[self.function].ranges[setup.index].settle_s


class ClampMeter(Meter):
    """A clamp-on ammeter: the same dialogue, two functions, and no lead in any circuit."""

    def __init__(self, world: ClampWorld, *, spec: MeterSpec = CLAMP_METER, **options: Any) -> None:
        self._clamp = world
        super().__init__(world, spec=spec, **options)

    def _signal(self, name: str, function: FunctionSpec, scale: RangeSpec, compensate: bool, time: float) -> float:
        return self._clamp.clamped_ac(time) if name == "CURR:AC" else self._clamp.clamped(time)
