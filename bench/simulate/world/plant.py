"""The plant as a circuit, with the meters' leads at their places.

The leads, breakers and supplies move only through :class:`PlantWorld`'s own methods, which the simulator's hands call.
A touch has a little resistance of its own, drawn anew for each placing, as tips on metal have.

A shelf's cards draw constant power (or a fixed resistance) from whichever of its inlets are live, in equal parts, as
converters with combined inputs do to a first approximation. Each card's current is drawn once within its spread.
"""

from __future__ import annotations

import cmath
import contextlib
import math
import random
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import cached_property, partial
from itertools import pairwise
from typing import Final

import msgspec

from bench.network.circuit import Edge, Network, PowerLoad, Solution, UndervoltageCollapse, VoltageSource
from bench.plant import faults as k
from bench.plant import graph
from bench.plant.faulty import apply_faults, loose_is_open
from bench.plant.flags import SIDES, bundled, flag_name, flag_of
from bench.plant.loose_places import places_on
from bench.plant.model import Plant
from bench.plant.things import Bond, Supply
from bench.sequence.file import Rig
from bench.simulate.world.dielectric import Branch, Dielectric
from bench.simulate.world.terminals import HI, LO, SENSE_HI, SENSE_LO
from bench.simulate.world.wobble import Wobble

TOUCH_OHM: Final = (0.001, 0.006)
"""Resistance of both tips together, from good to middling (common practice, no source)."""
CLIP_OHM: Final = (0.002, 0.02)
"""Resistance of a clip or a tag's two clips on bare wire (common practice, no source)."""
BAR_OHM: Final = 0.002
"""From one end to the next on a shorting bar (common practice, no source)."""
INDUCED_VOLT: Final = 0.01
"""What the mains fields of a hall induce in a loop of some square metres, root mean square (our own figure)."""
KEPT: Final = 64
"""How many clipped networks are kept: a search goes back and forth between few."""
SOUND_OHM: Final = (2e9, 20e9)
"""Insulation between two terminals of a sound plant: old wiring in a damp hall (our own figures)."""
ABSORPTION: Final = ((0.25, 12.0), (0.35, 90.0))
"""Slow charge on top of the plain capacitance: its part of it, and its time constant in seconds (our own figures)."""
TOGETHER: Final = "together"
"""Where the leads are when their tips are held together."""
REFERENCE: Final = "reference"
"""Where they are when they are on the bench's reference resistor."""
LIVE: Final = "live"
"""Where they are when they are on a source that is known to be live."""
LIVE_VOLT: Final = 24.0
CELL_VOLT: Final = (1.95, 2.13)
"""A lead-acid cell at rest, empty and full (common practice, no source)."""
DIODE_OHM: Final = 0.02
"""A shorted diode (our own figure)."""
LIVE_ENOUGH_VOLT: Final = 0.5
"""Less than this at an inlet does not get past its diode."""

UNEVEN: Final = 0.02
"""Standard deviation of one conductor's capacitance a metre about its cable's (common practice, no source)."""
TEST_HZ: Final = 1000.0
"""What a meter for capacitance puts on."""
STEPS: Final = 24
"""Steps in which a resistance that changes with time doubles: 3 % each."""

_Specimen = tuple[frozenset[str], frozenset[frozenset[str]]]
"""The two places, and what is joined meanwhile."""
_PROBE: Final = {HI: 0, SENSE_HI: 0, LO: 1, SENSE_LO: 1}
_METER: Final = "the meter between the leads"


class Moment(msgspec.Struct, frozen=True):
    """How the circuit differs from what was built, at a moment.

    Attributes:
        open: conductors whose contact is open.
        ohms: edge to its resistance, of those that change as time goes.
    """

    open: frozenset[str]
    ohms: tuple[tuple[str, float], ...] = ()


class ShelfDraw(msgspec.Struct, frozen=True):
    """What a shelf's cards draw: the part that holds its power, and the part that behaves like a resistor."""

    shelf: str
    watts: float
    siemens: float
    on_from: float


class PlantWorld:
    """What the instruments see: a :class:`~bench.simulate.world.terminals.MeterWorld` and ``InsulationWorld`` for all.

    Args:
        plant: the plant as designed; it gives names, supplies and cards.
        faults: what is wrong with it.
        seed: for touches and for what each card draws.
        reference_ohms: of the bench's reference resistor.
        broken: test leads that break on the way.

    Attributes:
        flags: of each cable's loose ends, the flag to the loose end that it was tied to, in an order that the seed
            chooses. Nobody but this world knows it.
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
        self._breaks = {lead.of: lead.after for lead in broken}
        self._placings = 0
        self._air = Dielectric(math.inf)
        self._plant = plant
        self._random = random.Random(f"touches {seed}")
        self._reference = reference_ohms
        edges = apply_faults(plant, faults, closed=plant.breakers)
        nodes = {terminal.node for terminal in plant.terminals.values()}
        self._nodes = nodes
        self._whole = Network([Edge(edge.id, edge.a, edge.b, edge.ohms) for edge in edges], nodes)
        self._loose = [fault for fault in faults if isinstance(fault, k.Loose)]
        self._wobbles = [
            Wobble(fault, [place.name for place in places_on(plant, fault.conductor)])
            for fault in faults
            if isinstance(fault, k.Intermittent)
        ]
        self._changing = _slow(edges, faults)
        self._cuts = {fault.conductor: fault for fault in faults if isinstance(fault, k.Cut)}
        self._hums = [fault for fault in faults if isinstance(fault, k.Hums)]
        self._uneven = random.Random(f"capacitances {seed}")
        self._farads: dict[str, float] = {}
        self._stuck = frozenset(fault.breaker for fault in faults if isinstance(fault, k.BreakerStaysClosed))
        self._stays_on = frozenset(fault.supply for fault in faults if isinstance(fault, k.SupplyStaysOn))
        self._batteries = {fault.supply: fault for fault in faults if isinstance(fault, k.BatteryAt)}
        self._diodes = [fault for fault in faults if isinstance(fault, k.DiodeShorted)]
        self._loads = _loads(plant, faults, random.Random(f"cards {seed}"))
        self._closed = self._stuck
        self._energised = self._stays_on
        self._places: Sequence[str] = ()
        self._touch = 0.0
        self._joined_now: tuple[tuple[str, ...], ...] = ()
        self._rigged: tuple[tuple[str, str, float], ...] = ()
        self._lifted: frozenset[str] = frozenset()
        self._networks: dict[tuple[object, ...], Network] = {}
        self._known: dict[tuple[str, str, Moment, tuple[tuple[str, ...], ...]], float] = {}
        self._specimens: dict[_Specimen, Dielectric] = {}
        self._sound: dict[_Specimen, float] = {}
        self._insulation = random.Random(f"insulation {seed}")
        self.flags = _tied(plant, seed)
        self._solved: dict[tuple[Moment, tuple[str, str, float] | None], Solution | None] = {}

    # what hands do

    @property
    def plant(self) -> Plant:
        """The plant as designed."""
        return self._plant

    def place(self, red: str, black: str, *, join: Sequence[Sequence[str]] = ()) -> None:
        """Put the leads on two terminals, with groups of terminals joined meanwhile.

        Raises:
            UnknownName: a name is no terminal of the plant.
        """
        self._placings += 1
        self._joined_now = tuple(tuple(self._node(name) for name in group) for group in join)
        self._places = (self._node(red), self._node(black))
        self._touch = self._random.uniform(*TOUCH_OHM)

    @contextlib.contextmanager
    def seen_from(self, red: str, black: str) -> Iterator[None]:
        """The plant as leads see it that lie elsewhere than where hands have placed theirs."""
        placed = self._places, self._joined_now
        self._places, self._joined_now = (self._node(red), self._node(black)), ()
        try:
            yield
        finally:
            self._places, self._joined_now = placed

    def rig(self, rig: Rig) -> None:
        """Clip together what the rig says, and take all other clips and tags off.

        A place that is no terminal of the plant is a floating point where clips meet.
        """

        def node(name: str) -> str:
            known = name in self._plant.terminals or name in self.flags
            return self._node(name) if known else f"floating {name}"

        tags = [(node(tag.place), node(tag.to), tag.ohms.value) for tag in rig.tags]
        clips = [(node(a), node(b), 0.0) for group in rig.join for a, b in pairwise(group)]
        self._rigged = tuple((a, b, ohms + self._random.uniform(*CLIP_OHM)) for a, b, ohms in tags + clips)
        self._forget()

    def _node(self, name: str) -> str:
        return self._plant.terminal(self.flags.get(name, name)).node

    def lift_bonds(self, bonds: Iterable[str]) -> None:
        """Take these bonds off and put all others on.

        Raises:
            ValueError: a name is no bond.
        """
        self._lifted = frozenset(known(bonds, self._plant.bonds, "bonds of the plant"))
        self._forget()

    def hold(self, where: str) -> None:
        """Hold the tips :data:`TOGETHER`, put them on the :data:`REFERENCE` or on something :data:`LIVE`.

        Raises:
            ValueError: none of them.
        """
        if where not in (TOGETHER, REFERENCE, LIVE):
            raise ValueError(f"found {where!r}, expected '{TOGETHER}', '{REFERENCE}' or '{LIVE}'")
        self._placings += 1
        self._places = (where,)
        self._joined_now = ()
        self._touch = self._random.uniform(*TOUCH_OHM)

    def lift(self) -> None:
        """Take the leads off, and the clips that were on for one reading."""
        self._places = ()
        self._joined_now = ()

    def moving(self, names: Collection[str], time: float) -> None:
        """Move these things from now on, and nothing else.

        Args:
            names: of :mod:`bench.plant.loose_places`.
            time: now.
        """
        for one in self._wobbles:
            one.move(names, time)

    def breakers(self, closed: Iterable[str]) -> None:
        """Close these breakers and open all others.

        Raises:
            ValueError: a name is no breaker.
        """
        self._closed = frozenset(known(closed, self._plant.breakers, "breakers of the plant")) | self._stuck
        self._forget()

    def energise(self, supplies: Iterable[str]) -> None:
        """Switch these supplies of the plant on and all others off.

        Raises:
            ValueError: a name is no supply.
        """
        self._energised = frozenset(known(supplies, self._plant.supplies, "supplies of the plant")) | self._stays_on
        self._forget()

    def _forget(self) -> None:
        self._known.clear()
        self._solved.clear()

    # what a meter sees

    def resistance(self, hi: str, lo: str, time: float) -> float:
        """Ohms between the leads, with the touch; infinity when open."""
        if self._is_broken("ohms"):
            return math.inf
        return self._between(time) + self._touch

    def four_wire(self, force_hi: str, sense_hi: str, sense_lo: str, force_lo: str, time: float) -> float:
        """Ohms between the tips: each tip carries a force and a sense lead, so the touch drops out."""
        if self._is_broken("ohms"):
            return math.inf
        return self._between(time)

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """Volts between two leads with the meter across them; not a number where they float."""
        if self._is_broken("volts"):
            return math.nan
        if len(self._places) != 2:
            if not self._places:
                return math.nan
            return LIVE_VOLT if self._places[0] == LIVE else 0.0
        a, b = self._places[_PROBE[hi]], self._places[_PROBE[lo]]
        if a == b:
            return 0.0
        if not self._is_live():
            return 0.0 if math.isfinite(self._between(time)) else math.nan
        now = self._moment(time)
        if not math.isfinite(loading) and not self._joined(a, b, now):
            return math.nan
        solution = self._solution(now, (a, b, loading) if math.isfinite(loading) else None)
        return 0.0 if solution is None else solution.volts(a, b)

    def ac_voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """What converters that hum put on a live feed, all tones together; the simulated feeds carry no other AC."""
        volts = self.voltage(hi, lo, time, loading)
        if math.isnan(volts):
            return math.nan
        tones = self.tones() if abs(volts) > LIVE_ENOUGH_VOLT else ()
        return math.sqrt(sum(level**2 for _, level in tones))

    def tones(self) -> tuple[tuple[float, float], ...]:
        """Hertz and volts of what converters put between the two places where the leads are: all of it at their own
        inlets, a tenth elsewhere."""
        found = []
        for one in self._hums:
            inlets = [inlet for inlet in self._plant.inlets.values() if inlet.shelf == one.shelf]
            at_home = any({inlet.live.node, inlet.back.node} == set(self._places) for inlet in inlets)
            found.append((one.frequency.value, one.volts.value * (1.0 if at_home else 0.1)))
        return tuple(found)

    def capacitance(self, hi: str, lo: str, time: float) -> tuple[float, float]:
        """What a meter that puts 1 kHz on finds between the leads: farads, and the ohms that lie beside them.

        The conductor at one lead is a line with its resistance and capacitance spread along it (exact for each piece);
        what is joined to the other lead lies around it. A break ends it there, and what is left of a joint goes on.
        """
        ohms = self._between(time)
        if len(self._places) != 2:
            return 0.0, ohms
        return self._line_farads(*self._places), ohms

    def _line_farads(self, one: str, other: str) -> float:
        grouped = {place for group in self._joined_now for place in group}
        lone = other if one in grouped and other not in grouped else one
        ends = {
            end.node: (conductor, end is conductor.near_end)
            for conductor in self._plant.conductors.values()
            for end in (conductor.near_end, conductor.far_end)
        }
        if lone not in ends:
            return 0.0
        conductor, near = ends[lone]
        cable = self._plant.cables[conductor.cable]
        if conductor.name not in self._farads:
            uneven = 1.0 + self._uneven.gauss(0.0, UNEVEN)
            self._farads[conductor.name] = cable.type.capacitance.value * uneven
        each = self._farads[conductor.name]
        # without the others tied together there is one neighbour, and half of the field
        each *= 1.0 if grouped else 0.5
        length = conductor.length_m
        ohm = next(edge.ohms for edge in self._plant.graph() if edge.id == conductor.name) / length
        cut = self._cuts.get(conductor.name)
        if cut is None:
            admittance = _open_line(ohm, each, length, 0.0)
        else:
            mine = cut.at.value if near else length - cut.at.value
            beyond = _open_line(ohm, each, length - mine, 0.0)
            joint = 0.0 if cut.ohms is None else 1.0 / (cut.ohms.value + 1.0 / beyond)
            admittance = _open_line(ohm, each, mine, joint)
        return admittance.imag / (math.tau * TEST_HZ)

    def current(self, into: str, out: str, time: float, burden: float) -> float:
        """Amperes through the meter when it is put between two places."""
        if len(self._places) != 2:
            return 0.0
        volts = self.voltage(HI, LO, time, burden)
        return 0.0 if math.isnan(volts) else volts / burden

    # what a clamp sees that is closed round a bond

    def clamped(self, time: float) -> float:
        """DC amperes in the bond between the two places, from the first to the second."""
        bond = self._clamped_bond()
        if bond is None or not self._is_live():
            return 0.0
        solution = self._solution(self._moment(time), None)
        if solution is None:
            return 0.0
        amps = solution.amps(bond.name)
        return amps if bond.a.node == self._places[0] else -amps

    def clamped_ac(self, time: float) -> float:
        """AC amperes in the bond between the two places: what the hall's fields drive round any loop through it."""
        bond = self._clamped_bond()
        if bond is None:
            return 0.0
        network = self._network(self._moment(time))
        rest = network.changed({bond.name: math.inf}).resistance(bond.a.node, bond.b.node)
        return INDUCED_VOLT / (network.ohms(bond.name) + rest)

    def _clamped_bond(self) -> Bond | None:
        ends = set(self._places)
        bonds = self._plant.bonds.values()
        return next((one for one in bonds if {one.a.node, one.b.node} == ends and one.name not in self._lifted), None)

    # what a thermometer sees

    def temperature(self, time: float) -> float:
        """Of the hall, and so of every conductor in it, in °C."""
        return self._plant.ambient_c

    # what an insulation tester sees

    def _is_broken(self, of: str) -> bool:
        """Whether a lead of the meter for these readings has broken by now."""
        return of in self._breaks and self._placings > self._breaks[of]

    def specimen(self, time: float) -> Dielectric:
        """The insulation between the leads; the same object whenever they come back: charge stays on a cable."""
        if self._is_broken("insulation"):
            return self._air
        places = frozenset(self._places)
        if len(places) != 2:
            together = len(self._places) == 1 and self._places[0] != LIVE
            return Dielectric(self._between(time) + self._touch if together else math.inf)
        mark: _Specimen = (places, frozenset(frozenset(group) for group in self._joined_now))
        if mark not in self._specimens:
            self._specimens[mark] = self._piece(mark)
        found = self._specimens[mark]
        joined = self._between(time)
        sound = self._sound[mark]
        found.ohms = 1.0 / (1.0 / sound + (1.0 / max(joined, 1e-3) if math.isfinite(joined) else 0.0))
        return found

    def live_voltage(self, time: float) -> float:
        """Volts that the plant puts between the leads of an insulation tester."""
        volts = self.voltage(HI, LO, time, 10e6)
        return 0.0 if math.isnan(volts) else volts

    def _piece(self, mark: _Specimen) -> Dielectric:
        """A fresh piece of insulation: its capacitance is that of the cable that both leads are on."""
        places, groups = mark
        low, high = (math.log(ohms) for ohms in SOUND_OHM)
        # the ends of the smaller side leak in parallel
        sides = [max((len(group) for group in groups if place in group), default=1) for place in places]
        self._sound[mark] = math.exp(self._insulation.uniform(low, high)) / min(sides)
        ends = [self._cables_at(place) for place in places]
        shared = ends[0] & ends[1] or ends[0] | ends[1]
        farads = sum(
            self._plant.cables[name].length_m * self._plant.cables[name].type.capacitance.value for name in shared
        )
        branches = tuple(
            Branch(seconds / (part * farads), part * farads) for part, seconds in ABSORPTION if part * farads > 1e-15
        )
        return Dielectric(self._sound[mark], farads, branches)

    def _cables_at(self, node: str) -> set[str]:
        return self._cables.get(node, set())

    @cached_property
    def _cables(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for conductor in self._plant.conductors.values():
            for end in (conductor.near_end, conductor.far_end):
                found.setdefault(end.node, set()).add(conductor.cable)
        return found

    def _between(self, time: float) -> float:
        if len(self._places) == 1:
            return {TOGETHER: 0.0, LIVE: math.inf}.get(self._places[0], self._reference)
        if not self._places:
            return math.inf
        mark = (self._places[0], self._places[1], self._moment(time), self._joined_now)
        if mark not in self._known:
            self._known[mark] = self._network(mark[2]).resistance(mark[0], mark[1])
        return self._known[mark]

    # the circuit at a moment

    def _moment(self, time: float) -> Moment:
        """How the circuit differs at a moment: loose contacts, joints that age, leaks that follow the damp."""
        loose = {fault.conductor for fault in self._loose if loose_is_open(fault, time)}
        loose |= {one.conductor for one in self._wobbles if one.is_open(time, self.temperature(time))}
        if not self._changing:
            return Moment(frozenset(loose))
        ohms = tuple((edge, _in_steps(at(time))) for edge, at in self._changing.items())
        return Moment(frozenset(loose), ohms)

    def loose_now(self, time: float) -> frozenset[str]:
        """Conductors with a contact that comes and goes, which is open now."""
        return frozenset(one.conductor for one in self._wobbles if one.is_open(time, self.temperature(time)))

    def _network(self, now: Moment) -> Network:
        opened = frozenset({*now.open, *self._lifted, *(set(self._plant.breakers) - self._closed)})
        let_out = self._let_out()
        mark = (opened, now.ohms, self._joined_now, self._rigged, tuple(edge.id for edge in let_out))
        if mark not in self._networks:
            changed = {**dict(now.ohms), **dict.fromkeys(opened, math.inf)}
            network = self._whole.changed(changed) if changed else self._whole
            clips = [Edge(("rigged", i), a, b, ohms) for i, (a, b, ohms) in enumerate(self._rigged) if a != b]
            ends = [(a, b) for group in self._joined_now for a, b in pairwise(group) if a != b]
            clips += [Edge(("joined", i), a, b, BAR_OHM) for i, (a, b) in enumerate(ends)]
            clips += let_out
            if clips:
                floating = {node for edge in clips for node in (edge.a, edge.b) if node not in self._nodes}
                network = network.extended(clips, floating)
            if len(self._networks) > KEPT:
                self._networks.clear()
            self._networks[mark] = network
        return self._networks[mark]

    def _is_live(self) -> bool:
        """Whether any source is on."""
        return bool(self._energised)

    def _draws(self) -> list[ShelfDraw]:
        """What each shelf draws now."""
        return self._loads

    def _sources(self) -> list[VoltageSource]:
        found = []
        for one in self._plant.supplies.values():
            if one.name in self._energised:
                volts, ohms = self._stands_at(one)
                ends = one.live.node, one.back.node
                found.append(VoltageSource(("source", one.name), *ends, volts, max(ohms, 1e-6)))
        return found

    def _stands_at(self, supply: Supply) -> tuple[float, float]:
        """A supply's voltage and how stiff it is: as the plant file says, unless a fault changes it."""
        fault = self._batteries.get(supply.name)
        if fault is None:
            return supply.volts, supply.ohms
        if fault.voltage is not None:
            return math.copysign(fault.voltage.value, supply.volts), supply.ohms
        assert fault.charge is not None
        full = min(1.0, max(0.0, fault.charge.value))
        cells = round(abs(self._plant.feeds[supply.feed].nominal_v) / 2.0)
        empty, charged = CELL_VOLT
        volts = cells * (empty + (charged - empty) * full)
        return math.copysign(volts, supply.volts), supply.ohms * (2.0 - full)

    def _let_out(self) -> list[Edge]:
        """Where a shorted diode lets the other feed of its shelf out: with a card in, and its own feed off."""
        fed = {self._plant.supplies[name].feed for name in self._fed_from()}
        found = []
        for fault in self._diodes:
            inlets = self._plant.shelves[fault.shelf].inlets
            mine = next(inlet for inlet in inlets if inlet.feed == fault.feed)
            if mine.feed in fed or not self._has_cards(fault.shelf):
                continue
            for other in inlets:
                if other.feed in fed:
                    found.append(Edge(("diode", mine.name), other.live.node, mine.live.node, DIODE_OHM))
                    found.append(Edge(("return", mine.name), other.back.node, mine.back.node, DIODE_OHM))
        return found

    def _fed_from(self) -> Collection[str]:
        """The supplies in whose place something is on."""
        return self._energised

    def _has_cards(self, shelf: str) -> bool:
        """Whether a card joins a shelf's inlets to what is behind its diodes."""
        return bool(self._plant.shelves[shelf].cards)

    def _joined(self, a: str, b: str, now: Moment) -> bool:
        """Whether two places are in one circuit, the supplies counted as part of it."""
        bridges = [Edge(("joined", source.id), source.plus, source.minus, source.ohms) for source in self._sources()]
        return self._network(now).extended(bridges).connected(a, b)

    def _solution(self, now: Moment, meter: tuple[str, str, float] | None) -> Solution | None:
        """The plant under voltage, with its cards drawing; None where the bus collapses."""
        mark = (now, meter)
        if mark not in self._solved:
            network = self._network(now).held(self._sources())
            if meter is not None:
                network = network.extended([Edge(_METER, *meter)])
            try:
                self._solved[mark] = self._under_load(network)
            except UndervoltageCollapse:
                self._solved[mark] = None
        return self._solved[mark]

    def _under_load(self, network: Network) -> Solution:
        sources = self._sources()
        idle = network.solve(voltages=sources)
        resistors: list[Edge] = []
        powers: list[PowerLoad] = []
        for load in self._draws():
            inlets = self._plant.shelves[load.shelf].inlets
            live = [inlet for inlet in inlets if abs(idle.volts(inlet.live.node, inlet.back.node)) > LIVE_ENOUGH_VOLT]
            # converters go down to where they turn off; what is a resistor draws at any voltage
            highest = max((abs(idle.volts(inlet.live.node, inlet.back.node)) for inlet in live), default=0.0)
            for inlet in live:
                # the higher of the two potentials is the load's plus, whichever way the feed was landed
                ends = (inlet.live.node, inlet.back.node)
                plus, minus = ends if idle.volts(*ends) > 0 else ends[::-1]
                if load.watts > 0 and highest >= load.on_from:
                    share = load.watts / len(live)
                    powers.append(PowerLoad(("cards", inlet.name), plus, minus, share, 0.9 * load.on_from))
                if load.siemens > 0:
                    resistors.append(Edge(("resistive cards", inlet.name), plus, minus, len(live) / load.siemens))
        return network.extended(resistors).solve(voltages=sources, loads=powers)


def _tied(plant: Plant, seed: int) -> dict[str, str]:
    """Flag to the loose end that it is tied to: drawn for each end of each cable."""
    tied: dict[str, str] = {}
    for cable in plant.cables.values():
        for side in SIDES:
            ends = bundled(cable, side)
            random.Random(f"flags {seed} {cable.name} {side}").shuffle(ends)
            # what the file knows holds: that flag changes places with the one that was drawn for this end
            for known in [one for one in ends if flag_of(one, side)]:
                here, there = ends.index(known), flag_of(known, side) - 1
                if there < len(ends):
                    ends[here], ends[there] = ends[there], ends[here]
            for number, one in enumerate(ends, 1):
                tied[flag_name(cable.name, side, number)] = (one.near_end if side == "near" else one.far_end).name
    return tied


def known(names: Iterable[str], among: Collection[str], what: str) -> tuple[str, ...]:
    """The names, once each of them is known.

    Raises:
        ValueError: one is not; the text says what was expected.
    """
    wanted = tuple(names)
    unknown = set(wanted) - set(among)
    if unknown:
        raise ValueError(f"found {', '.join(sorted(unknown))}, expected {what}")
    return wanted


def _loads(plant: Plant, faults: Sequence[k.Fault], rng: random.Random) -> list[ShelfDraw]:
    """What each shelf really draws: every card within its spread, and faults on top."""
    extra: dict[str, float] = {}
    for fault in faults:
        if isinstance(fault, k.ShelfHeavy):
            extra[fault.shelf] = extra.get(fault.shelf, 0.0) + fault.by.value
        elif isinstance(fault, k.ShelfLight):
            extra[fault.shelf] = extra.get(fault.shelf, 0.0) - fault.by.value
    found = []
    for shelf in plant.shelves.values():
        if not shelf.inlets:
            continue
        volts = abs(plant.feeds[shelf.inlets[0].feed].nominal_v)
        watts, siemens, on_from = extra.get(shelf.name, 0.0) * volts, 0.0, 0.0
        for name in (shelf.name, *shelf.halves):
            own = plant.shelves[name]
            if name != shelf.name and own.inlets:
                continue  # a half with inlets of its own is a load of its own
            for card in own.cards:
                amps = card.type.idle.value * rng.uniform(1 - card.type.spread.value, 1 + card.type.spread.value)
                if card.type.load == "resistive":
                    siemens += amps / volts
                else:
                    on_from = max(on_from, card.type.starts_from)
                    watts += amps * volts
        if watts > 0 or siemens > 0:
            found.append(ShelfDraw(shelf.name, max(0.0, watts), siemens, on_from))
    return found


def _slow(edges: Sequence[graph.Edge], faults: Sequence[k.Fault]) -> dict[str, Callable[[float], float]]:
    """Edge to its resistance by the time, of those that change as it goes."""
    built = {edge.id: edge.ohms for edge in edges}
    found: dict[str, Callable[[float], float]] = {}
    for fault in faults:
        if isinstance(fault, k.SlowJoint):
            found[fault.conductor] = partial(_aged, fault, built[fault.conductor] - fault.ohms.value)
        elif isinstance(fault, k.Leakage) and fault.humid is not None:
            found[f"leakage:{fault.between[0]}:{fault.between[1]}"] = fault.at
    return found


def _aged(fault: k.SlowJoint, sound: float, seconds: float) -> float:
    """A conductor with a joint that gets worse, in ohms."""
    doubled = min(seconds / fault.doubles.value, 60.0)
    return float(sound + min(fault.most.value, fault.ohms.value * 2.0**doubled))


def _in_steps(ohms: float) -> float:
    """The same in steps, so that a circuit is not built anew for each reading."""
    return float(2.0 ** (round(STEPS * math.log2(ohms)) / STEPS)) if ohms > 0.0 else ohms


def _open_line(ohm_per_m: float, farad_per_m: float, metres: float, beyond: complex) -> complex:
    """The admittance into a line with resistance and capacitance spread along it, in siemens.

    The telegraph equations without inductance and leakage, which do not count at 1 kHz on such cables.

    Args:
        ohm_per_m: of the conductor; what lies around it is taken for nothing.
        farad_per_m: between both.
        metres: how long it is.
        beyond: what it ends in, in siemens; 0: it is open.
    """
    shunt = 1j * math.tau * TEST_HZ * farad_per_m
    if metres <= 0.0 or farad_per_m <= 0.0:
        return beyond
    if ohm_per_m <= 0.0:
        return shunt * metres + beyond
    spread = cmath.sqrt(ohm_per_m * shunt)
    own = cmath.sqrt(shunt / ohm_per_m)
    turned = cmath.tanh(spread * metres)
    return complex(own * (beyond + own * turned) / (own + beyond * turned))
