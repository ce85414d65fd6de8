"""A plant that a bench supply brings up: input capacitors, inrush, soft start, converters, warm-up.

The wiring is the resistive network of :class:`bench.simulate.world.plant.PlantWorld`, faults and all. Behind each inlet
stands what a shelf's input looks like to a supply:

* a diode for each feed, so that feeds combine and a reversed feed draws nothing;
* an inrush limiter that is bridged once the capacitor behind it is charged;
* the input capacitor with its bleeder: that of the shelf, and of every card that is in;
* a converter that starts when the voltage is there, waits, ramps its power up softly, draws a surge for its own
  output, and then draws constant power whatever the voltage is; below its lockout it is off;
* cards that behave like resistors;
* a slow part of the capacitor where one has slept for decades: it takes its charge through a resistance.

What converters draw warms up a little. See :mod:`bench.simulate.world.power_input` for the values.

Time is the caller's: nothing here looks at a clock, and the same calls give the same answers. Between two calls the
state is carried on by implicit steps, small after a change and longer as things come to rest.

Over 500 lines, since the supply, the inputs and the hands share one state in time.
"""

from __future__ import annotations

import math
import random
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

import msgspec

from bench.network import dense
from bench.network.circuit import Edge, Network, Solution, UndervoltageCollapse, VoltageSource
from bench.plant import faults as k
from bench.plant.model import Plant
from bench.plant.things import Card
from bench.simulate.world.plant import Moment, PlantWorld, ShelfDraw, known
from bench.simulate.world.power_input import (
    BLEED_OHM,
    BRIDGED_AT,
    COLD_OHM,
    HYSTERESIS,
    OWN_FARAD,
    STARTS,
    WAITING_A,
    WAITS_S,
    WARM_OHM,
    WARMING,
    ShelfInput,
    SlowPart,
)
from bench.simulate.world.terminals import OutputState

FIRST_STEP_S: Final = 2e-4
LONGEST_STEP_S: Final = 0.25
GROWTH: Final = 1.6
LARGEST_MOVE_VOLT: Final = 2.0
"""A step that moves a capacitor further is taken in two halves."""
BENCH_OHM: Final = 1e-6
"""A supply that senses at its terminals holds them to this."""


class _Ports(msgspec.Struct):
    """The closed wiring as the supply and the inlets see it.

    Attributes:
        inlets: those that are joined to the supply.
        shelf_of: for each its place among the inputs.
        gain: volts at each for a volt at the supply.
        ohms: volts lost at each for an ampere drawn at each.
        siemens: what the supply sees with nothing drawn: shorts and leaks.
    """

    inlets: tuple[str, ...]
    shelf_of: list[int]
    gain: list[float]
    ohms: list[list[float]]
    siemens: float


class _Drive(msgspec.Struct):
    """What the supply was told last."""

    volts: float = 0.0
    limit: float = 0.0
    on: bool = False
    terminal: float = 0.0
    amps: float = 0.0
    limiting: bool = False


class _Hands(msgspec.Struct):
    """Where things are that only hands move."""

    at: tuple[str, ...] = ()
    out: frozenset[str] = frozenset()
    dummy: dict[str, float] = msgspec.field(default_factory=dict)


class PowerWorld(PlantWorld):
    """A plant world with a bench supply; :mod:`bench.simulate.twins.plant_supply` connects the supply's twin to it.

    Args:
        plant: the plant as designed.
        faults: what is wrong with it.
        seed: for touches, and for what each card draws.
        reference_ohms: of the bench's reference resistor.
        broken: test leads that break on the way.
    """

    def __init__(
        self,
        plant: Plant,
        faults: Sequence[k.Fault] = (),
        *,
        seed: int = 0,
        reference_ohms: float = 100.0,
        broken: Sequence[k.BrokenLead] = (),
    ) -> None:
        super().__init__(plant, faults, seed=seed, reference_ohms=reference_ohms, broken=broken)
        drawn = random.Random(f"cards {seed}")
        self._drawn = {
            card.name: card.type.idle.value * drawn.uniform(1 - card.type.spread.value, 1 + card.type.spread.value)
            for shelf in self._fed()
            for card in self._cards_of(shelf)
        }
        starting = random.Random(f"starting {seed}")
        self._starts = {
            card.name: min(starting.uniform(*STARTS), card.type.works_from.value / card.type.starts_from)
            for shelf in self._fed()
            for card in self._cards_of(shelf)
        }
        warming = random.Random(f"warming {seed}")
        behind = plant.file.shelf_input
        self._own_farad = OWN_FARAD if behind is None else behind.capacitance.value
        self._bleed_ohm = BLEED_OHM if behind is None else behind.bleeder.value
        self._inputs = {
            shelf: ShelfInput(shelf, warms=warming.uniform(-1, 1) * WARMING[0], bleed=self._bleed_ohm)
            for shelf in self._fed()
        }
        self._faults = tuple(faults)
        self._place = _Hands()
        self._drive = _Drive()
        self._now = 0.0
        self._step = FIRST_STEP_S
        self._ports: _Ports | None = None
        self._placed_at: float | None = None
        self._in_lead = False
        self._swapped = any(isinstance(fault, k.SupplyLeadsSwapped) for fault in faults)
        self._noise = next((fault for fault in faults if isinstance(fault, k.CurrentNoise)), None)
        self._slow = next((fault for fault in faults if isinstance(fault, k.SlowAmmeter)), None)
        self._scatter = random.Random(f"current noise {seed}")
        self._held: tuple[float, float] | None = None
        self._fill()
        for fault in faults:
            if isinstance(fault, k.ShelfCharged) and fault.shelf in self._inputs:
                self._inputs[fault.shelf].volts = fault.voltage.value

    # what is where

    def _fed(self) -> list[str]:
        return [shelf.name for shelf in self._plant.shelves.values() if shelf.inlets]

    def _cards_of(self, shelf: str) -> list[Card]:
        shelves = self._plant.shelves
        parts = [shelf, *(half for half in shelves[shelf].halves if not shelves[half].inlets)]
        return [card for part in parts for card in shelves[part].cards]

    def _fill(self) -> None:
        """Work out every input from the cards that are in, the dummy loads and the faults."""
        for name, one in self._inputs.items():
            nominal = abs(self._plant.feeds[self._plant.shelves[name].inlets[0].feed].nominal_v)
            cards = [card for card in self._cards_of(name) if card.name not in self._place.out]
            power = [card for card in cards if card.type.load == "constant-power"]
            one.nominal = nominal
            one.watts = nominal * (sum(self._drawn[card.name] for card in power) + self._place.dummy.get(name, 0.0))
            one.siemens = sum(self._drawn[card.name] for card in cards if card not in power) / nominal
            one.farad = self._own_farad + sum(
                card.type.input_capacitance.value for card in cards if card.type.input_capacitance is not None
            )
            one.on_from = max((card.type.starts_from * self._starts[card.name] for card in power), default=0.0)
            one.off_below = min(
                one.on_from - HYSTERESIS * nominal, max((card.type.runs_down_to for card in power), default=0.0)
            )
            one.waits = WAITING_A * sum(card.type.converts for card in power)
            # the shelf's last card is what draws too much or too little: while it is out nothing does
            one.creeps = (0.0, 1.0)
            if cards and cards[-1] is self._cards_of(name)[-1]:
                self._apply(one)
        for fault in self._faults:
            if isinstance(fault, k.SlowCapacitor) and fault.shelf in self._inputs:
                self._inputs[fault.shelf].slow = self._inputs[fault.shelf].slow or SlowPart(
                    fault.capacitance.value, fault.through.value
                )

    def _apply(self, one: ShelfInput) -> None:
        for fault in self._faults:
            match fault:
                case k.ShelfHeavy(shelf=one.shelf, by=by):
                    one.watts += by.value * one.nominal
                case k.ShelfLight(shelf=one.shelf, by=by):
                    one.watts = max(0.0, one.watts - by.value * one.nominal)
                case k.ShelfDrifts(shelf=one.shelf, by=by, over=over):
                    one.creeps = (by.value, over.value)
                case _:
                    pass

    @property
    def shelves(self) -> list[str]:
        """The shelves with an inlet."""
        return list(self._inputs)

    # what hands do

    def place(self, red: str, black: str, time: float | None = None, *, join: Sequence[Sequence[str]] = ()) -> None:
        """Put the leads on two terminals; what charges through the meter begins to charge now."""
        self._in_lead = False
        super().place(red, black, join=join)
        self._placed_at = time

    def cards(self, out: Iterable[str], time: float) -> None:
        """Take these cards out and put all others in.

        Raises:
            ValueError: a name is no card.
        """
        wanted = frozenset(known(out, self._plant.cards, "cards of the plant"))
        self._carry(time)
        self._place.out = wanted
        self._fill()
        self._changed()

    def dummies(self, amps: Mapping[str, float], time: float) -> None:
        """Put dummy loads on these shelves' converters, given as current at nominal voltage, and none on others.

        Raises:
            ValueError: a name is no shelf with an inlet.
        """
        known(amps, self._inputs, "shelves with an inlet")
        self._carry(time)
        self._place.dummy = dict(amps)
        self._fill()
        self._changed()

    def supply_at(self, supplies: Iterable[str], time: float) -> None:
        """Connect the bench supply in the place of these supplies of the plant, with their polarity.

        Raises:
            ValueError: a name is no supply.
        """
        wanted = known(supplies, self._plant.supplies, "supplies of the plant")
        self._carry(time)
        if wanted != self._place.at:
            self._place.at = wanted
            self._rewired()

    def ammeter_in_lead(self, there: bool) -> None:
        """Put the ammeter into the bench supply's lead, or take it out."""
        self._in_lead = there

    def current(self, into: str, out: str, time: float, burden: float) -> float:
        """Amperes through the ammeter: what the supply gives where it stands in its lead, else between two places."""
        if not self._in_lead:
            return super().current(into, out, time, burden)
        self._carry(time)
        return self._shown(time) if self._drive.on else 0.0

    def charge(self, shelf: str, time: float) -> float:
        """Volts across a shelf's capacitors, behind its diodes: where hands reach in and no inlet shows it."""
        self._carry(time)
        return self._inputs[shelf].volts

    def _shown(self, time: float) -> float:
        """The current as it is read: with its noise and ripple, and no newer than the meter renews it."""
        amps = self._drive.amps
        if self._slow is not None and self._held is not None and time - self._held[0] < self._slow.renews.value:
            return self._held[1]
        if self._noise is not None:
            turns = self._noise.frequency.value * time
            amps += self._scatter.gauss(0, self._noise.noise.value)
            amps += self._noise.ripple.value * math.sin(2 * math.pi * turns)
        self._held = (time, amps)
        return amps

    def breakers(self, closed: Iterable[str], time: float | None = None) -> None:
        """Close these breakers and open all others."""
        self._carry(self._now if time is None else time)
        super().breakers(closed)
        self._rewired()

    def _rewired(self) -> None:
        self._ports = None
        self._changed()

    def _changed(self) -> None:
        self._step = FIRST_STEP_S
        self._forget()

    # what the supply sees

    def drive(self, volts: float, limit: float, time: float) -> OutputState:
        """The supply is on with this voltage and limit from ``time`` on; what its terminals show then."""
        self._carry(time)
        drive = self._drive
        if not drive.on or (volts, limit) != (drive.volts, drive.limit):
            drive.volts, drive.limit, drive.on = volts, limit, True
            self._step = FIRST_STEP_S
            self._advance(0.05 * FIRST_STEP_S)
        return OutputState(drive.terminal, self._shown(time), "CURR" if drive.limiting else "VOLT")

    def release(self, time: float) -> None:
        """The supply's output goes off."""
        self._carry(time)
        self._drive = _Drive()
        self._held = None
        self._changed()

    def draw(self, volts: float, time: float) -> float:
        """What the plant would draw at a voltage, for one short step."""
        self._carry(time)
        amps, _, _ = self._currents(volts, math.inf, FIRST_STEP_S)
        ports = self._seen()
        return ports.siemens * volts + dense.dot(ports.gain, amps)

    def idle_voltage(self, time: float) -> float:
        """The diodes let nothing back; a supply of the plant that is on shows at the terminals."""
        if self._energised & set(self._place.at):
            return abs(self._plant.supplies[self._place.at[0]].volts)
        return 0.0

    # the state in time

    def _sign(self) -> float:
        if not self._place.at:
            return 1.0
        sign = math.copysign(1.0, self._plant.supplies[self._place.at[0]].volts)
        return -sign if self._swapped else sign

    def _fed_from(self) -> Collection[str]:
        return {*self._energised, *(self._place.at if self._drive.on else ())}

    def _has_cards(self, shelf: str) -> bool:
        return any(card.name not in self._place.out for card in self._cards_of(shelf))

    def _seen(self) -> _Ports:
        if self._ports is None:
            self._ports = self._worked_out()
        return self._ports

    def _worked_out(self) -> _Ports:
        """Gains and resistances of the closed wiring, from unit solutions."""
        order = list(self._inputs)
        if not self._place.at:
            return _Ports((), [], [], [], 0.0)
        network, bench = self._network(Moment(frozenset())), self._bench(1.0)
        one = network.solve(voltages=bench)
        inlets = [
            inlet
            for name in order
            for inlet in self._plant.shelves[name].inlets
            if abs(_number(one.volts(inlet.live.node, inlet.back.node))) > 1e-6
        ]
        seen = network.seen_from([(inlet.live.node, inlet.back.node) for inlet in inlets], bench)
        gain = [self._sign() * volts for volts in seen.open_volts]
        siemens = sum(abs(one.source_amps[source.id]) for source in bench)
        places = [order.index(inlet.shelf) for inlet in inlets]
        return _Ports(tuple(inlet.name for inlet in inlets), places, gain, seen.ohms, siemens)

    def _bench(self, volts: float) -> list[VoltageSource]:
        """The bench supply at its terminals: of several places all are held to the same voltage."""
        found = []
        for name in self._place.at:
            supply = self._plant.supplies[name]
            ends = supply.live.node, supply.back.node
            found.append(VoltageSource(("bench", name), *ends, self._sign() * volts, BENCH_OHM))
        return found

    def _carry(self, time: float) -> None:
        """Carry the state on to a moment; a moment that is past changes nothing."""
        while self._now < time - 1e-9:
            step = min(self._step, time - self._now)
            self._advance(step)
            self._step = min(self._longest(), self._step * GROWTH)
        self._now = max(self._now, time)

    def _longest(self) -> float:
        """The longest step: with nothing coming in only bleeders are at work, and what a slow part gives back."""
        if self._drive.on:
            return LONGEST_STEP_S
        slow = [(one.farad, one.slow) for one in self._inputs.values() if one.slow is not None]
        return min((0.5 * part.ohms * min(farad, part.farad) for farad, part in slow), default=math.inf)

    def _advance(self, step: float) -> None:
        """One implicit step, in halves where it would move a capacitor too far."""
        drive = self._drive
        volts, limit = (drive.volts, drive.limit) if drive.on else (0.0, 0.0)
        amps, terminal, limiting = self._currents(volts, limit if drive.on else math.inf, step)
        ports, inputs = self._seen(), list(self._inputs.values())
        into = [0.0] * len(inputs)
        for place, taken in zip(ports.shelf_of, amps, strict=True):
            into[place] += taken
        # what is empty and not reached stays as it is
        moving = [n for n, one in enumerate(inputs) if n in ports.shelf_of or not one.rests]
        moves = [step * (into[n] - inputs[n].draws(self._now)) / inputs[n].farad for n in moving]
        if step > FIRST_STEP_S and max(map(abs, moves), default=0.0) > LARGEST_MOVE_VOLT:
            self._step = 0.5 * step
            self._advance(0.5 * step)
            self._advance(0.5 * step)
            return
        self._now += step
        drive.terminal, drive.limiting = terminal, limiting
        drive.amps = ports.siemens * terminal + dense.dot(ports.gain, amps) if drive.on else 0.0
        offered = self._offered(ports, terminal, amps, len(inputs))
        for n, move in zip(moving, moves, strict=True):
            self._let_go_on(inputs[n], move, offered[n], step)

    def _offered(self, ports: _Ports, terminal: float, amps: list[float], count: int) -> list[float]:
        """The highest voltage at each shelf's inlets."""
        found = [0.0] * count
        for place, gain, lost in zip(ports.shelf_of, ports.gain, dense.times(ports.ohms, amps), strict=True):
            found[place] = max(found[place], gain * terminal - lost)
        return found

    def _let_go_on(self, one: ShelfInput, move: float, offered: float, step: float) -> None:
        one.volts = max(0.0, one.volts + move)
        if one.slow is not None:
            left = math.exp(-step / (one.slow.ohms * one.slow.farad))
            one.slow.volts = one.volts + (one.slow.volts - one.volts) * left
        one.bridged = offered > 1.0 and one.volts >= (BRIDGED_AT - 0.2 * one.bridged) * offered
        lowest = one.off_below if one.running_since is not None else one.on_from
        if one.on_from <= 0 or one.volts < lowest:
            one.there_since = one.running_since = None
        elif one.there_since is None:
            one.there_since = self._now
        elif one.running_since is None and self._now - one.there_since >= WAITS_S:
            one.running_since = self._now
            self._step = min(self._step, 0.01)

    def _currents(self, volts: float, limit: float, step: float) -> tuple[list[float], float, bool]:
        """Amperes into each inlet over one implicit step, the terminal voltage, and whether the supply limits."""
        ports, inputs = self._seen(), list(self._inputs.values())
        count = len(ports.inlets)
        if not count or (not self._drive.on and not math.isinf(limit)):
            return [0.0] * count, _limited(volts, limit, ports.siemens), ports.siemens * volts > limit
        one = [inputs[place] for place in ports.shelf_of]
        # what the capacitor will have at the end of the step with nothing coming in
        emptied = [i.volts - step / i.farad * i.draws(self._now) for i in one]
        matrix = [list(row) for row in ports.ohms]
        beside: dict[int, list[int]] = {}
        for place, shelf in enumerate(ports.shelf_of):
            beside.setdefault(shelf, []).append(place)
        for place, mine in enumerate(one):
            matrix[place][place] += WARM_OHM if mine.bridged else COLD_OHM
            for other in beside[ports.shelf_of[place]]:
                matrix[place][other] += step / mine.farad
        conducting = [place for place in range(count) if ports.gain[place] * volts > emptied[place]]
        for _ in range(2 * count + 4):
            inside = [[matrix[row][column] for column in conducting] for row in conducting]
            gain, start = ([of[place] for place in conducting] for of in (ports.gain, emptied))
            found = dense.solve(inside, [g * volts - s for g, s in zip(gain, start, strict=True)])
            terminal, limiting = volts, False
            if ports.siemens * volts + dense.dot(gain, found) > limit:
                limiting = True
                terminal, found = _at_limit(inside, gain, start, ports.siemens, limit)
            amps = [0.0] * count
            for place, taken in zip(conducting, found, strict=True):
                amps[place] = taken
            if min(amps) >= -1e-12:
                break
            conducting = [place for place in conducting if amps[place] >= -1e-12]
        return amps, terminal, limiting

    # what the meters see

    def _is_live(self) -> bool:
        return bool(self._energised) or (self._drive.on and bool(self._place.at))

    def _sources(self) -> list[VoltageSource]:
        own = [source for source in super()._sources() if source.id[1] not in self._place.at or not self._drive.on]  # type: ignore[index]
        return own + (self._bench(self._drive.terminal) if self._drive.on else [])

    def _draws(self) -> list[ShelfDraw]:
        found = []
        for one in self._inputs.values():
            if self._drive.on:
                watts = one.power(self._now)
                siemens = one.siemens
            else:
                watts, siemens = one.watts, one.siemens
            if watts > 0 or siemens > 0:
                found.append(ShelfDraw(one.shelf, watts, siemens, one.on_from if not self._drive.on else 0.0))
        return found

    def _solution(self, now: Moment, meter: tuple[str, str, float] | None) -> Solution | None:
        if not self._drive.on:
            return super()._solution(now, meter)
        network = self._network(now).held(self._sources())
        if meter is not None:
            network = network.extended([Edge("the meter between the leads", *meter)])
        try:
            return self._under_load(network)
        except UndervoltageCollapse:
            return None

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """Volts between two leads, of the plant as it is at that moment."""
        self._carry(time)
        return super().voltage(hi, lo, time, loading)

    def resistance(self, hi: str, lo: str, time: float) -> float:
        """Ohms between the leads: input capacitors charge through the meter, so the reading climbs."""
        if len(self._places) != 2 or self._is_live() or not self._at_inputs(time):
            return super().resistance(hi, lo, time)
        if self._placed_at is None:
            self._placed_at = time
        bleeders = self._charging(max(0.0, time - self._placed_at))
        network: Network = self._network(self._moment(time)).extended(bleeders)
        return network.resistance(self._places[0], self._places[1]) + self._touch

    def _at_inputs(self, time: float) -> bool:
        """Whether both leads are joined to inlets: elsewhere no input can conduct between them, and none is solved."""
        network = self._network(self._moment(time))
        ends = [
            end.node
            for name in self._inputs
            for inlet in self._plant.shelves[name].inlets
            for end in (inlet.live, inlet.back)
        ]
        return all(any(network.connected(place, end) for end in ends) for place in self._places)

    def _charging(self, since: float) -> list[Edge]:
        """Each inlet's capacitor and bleeder as they look to an ohmmeter, this number of seconds after it was put
        there."""
        found = []
        for one in self._inputs.values():
            bleed = self._bleed_ohm
            ohms = bleed * -math.expm1(-since / (bleed * self._own_farad))
            for inlet in self._plant.shelves[one.shelf].inlets:
                found.append(Edge(("input", inlet.name), inlet.live.node, inlet.back.node, max(ohms, 1e-3)))
        return found


def _limited(volts: float, limit: float, siemens: float) -> float:
    return min(volts, limit / siemens) if siemens > 0 else volts


def _at_limit(
    matrix: dense.Rows, gain: list[float], start: list[float], siemens: float, limit: float
) -> tuple[float, list[float]]:
    """Terminal voltage and currents where the supply gives its limit."""
    if not gain:
        return _limited(math.inf, limit, siemens), []
    whole = [*([*row, -volts] for row, volts in zip(matrix, gain, strict=True)), [*gain, siemens]]
    *amps, terminal = dense.solve(whole, [*(-volts for volts in start), limit])
    return terminal, amps


def _number(value: float) -> float:
    return 0.0 if math.isnan(value) else value
