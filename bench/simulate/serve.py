"""The simulated bench as a process of its own: meters on real ports, and hands on standard input.

Started with a configuration as one JSON line on standard input. It answers with one JSON line that names the port of
each instrument, then obeys the hands line by line and acknowledges each. When standard input ends, the ports go away
and so does the process: no simulated bench outlives the program that started it.
"""

from __future__ import annotations

import os
import sys
import time
from typing import Any, Final

import msgspec

from bench.files import from_text
from bench.instruments.profile.profile import Profile
from bench.plant.resolve import resolve
from bench.simulate.messages import Configuration, Done, Move, Ready, Wires, encode
from bench.simulate.port_ends import Instrument, Switchboard, open_port
from bench.simulate.scpi.instrument import ScpiInstrument
from bench.simulate.twins.console import ConsoleTwin
from bench.simulate.twins.figures import shipped_profile
from bench.simulate.twins.handhelds import HandheldTwin, PolledText, SevenSegment, StreamingText
from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.meter import CapacitanceTwin, ClampTwin, LowOhmTwin, MeterTwin
from bench.simulate.twins.paced import Paced
from bench.simulate.twins.panel import PanelTwin
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.twins.thermometer import ThermometerTwin
from bench.simulate.world.lying import LyingLeads
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.relayed import RelayedLeads

KINDS: Final[tuple[type[Any], ...]] = (
    MeterTwin,
    LowOhmTwin,
    CapacitanceTwin,
    ClampTwin,
    InsulationTwin,
    PlantSupplyTwin,
    MatrixTwin,
    ThermometerTwin,
    StreamingText,
    SevenSegment,
    PolledText,
    PanelTwin,
)
"""Each says in ``PLAYS`` the name of the profile that it answers to."""


def twin_of(
    profile: Profile,
    world: PowerWorld,
    seed: int,
    serial: str,
    lead_ohms: float,
    wires: Wires,
    lies: tuple[str, str] | None = None,
) -> Instrument:
    """The twin that plays a profile.

    Args:
        profile: what it answers to: its figures are the twin's.
        world: the plant.
        seed: for its errors and noise.
        serial: the serial number that it answers with, where it can.
        lead_ohms: of its pair of leads.
        wires: of a relay matrix.
        lies: where its own leads lie for good; None: they are what hands place.

    Raises:
        KeyError: no twin plays a profile of that name.
    """
    kind = {one.PLAYS: one for one in KINDS}[profile.profile]
    options: dict[str, Any] = {"profile": profile}
    if issubclass(kind, ScpiInstrument):
        # a meter's label belongs to the job that it plays in
        job = world.plant.name.replace("-", " ").title()
        options["identity"] = f"{job},{profile.profile},{serial},1.0"
    if kind is MatrixTwin:
        return MatrixTwin(RelayedLeads(world, wires), **options)
    if issubclass(kind, MeterTwin | HandheldTwin):
        options["lead_ohms"] = lead_ohms
    twin: Instrument = kind(LyingLeads(world, *lies) if lies is not None else world, seed=seed, **options)
    return twin


BEEPS_BELOW: Final = 30.0
"""Ohms below which a continuity tester beeps (common practice, no source)."""


class SimulatedClock:
    """Monotonic seconds of the simulated world: they may run faster than real ones, and jump.

    Args:
        speed: simulated seconds in a real one.
    """

    def __init__(self, speed: float) -> None:
        self._speed = speed
        self._began = time.monotonic()
        self._ahead = 0.0

    def now(self) -> float:
        """Seconds since the simulation began."""
        return (time.monotonic() - self._began) * self._speed + self._ahead

    def jump(self, seconds: float) -> None:
        """Let time pass at once."""
        self._ahead += max(0.0, seconds)


class Bench:
    """All of a simulated bench in one process.

    Args:
        configuration: what is on it.
        commands: descriptor that the hands' moves come from, a line each.
        replies: descriptor that the answers go to.
    """

    def __init__(self, configuration: Configuration, commands: int, replies: int) -> None:
        self._replies = replies
        plant = resolve(configuration.plant)
        self.clock = SimulatedClock(configuration.speed)
        self.world = PowerWorld(
            plant,
            configuration.faults,
            seed=configuration.seed,
            reference_ohms=configuration.reference_ohms,
            broken=configuration.broken,
        )
        self._input = _Lines(commands)
        self._board = Switchboard(self.clock.now, (commands, self._obey), configuration.speed)
        self._ports = {}
        self._dials: dict[str, HandheldTwin] = {}
        for place, twin in enumerate(configuration.twins):
            port = open_port(configuration.port)
            profile = twin.profile or shipped_profile(twin.kind)
            seed = configuration.seed * 1000 + place
            lead_ohms, wires = configuration.lead_ohms, twin.wires
            instrument = twin_of(profile, self.world, seed, twin.serial, lead_ohms, wires, twin.lies)
            self._board.connect(port, instrument, twin.baud, heedless=isinstance(instrument, Paced))
            if isinstance(instrument, HandheldTwin):
                self._dials[twin.name] = instrument
            self._ports[twin.name] = port
        self._machines = []
        for place, (name, said) in enumerate(configuration.consoles.items()):
            port = open_port(configuration.port)
            machine = ConsoleTwin(said, self.world.loose_now, port.set_to, seed=configuration.seed * 1000 + place)
            self._machines.append(machine)
            self._board.connect(port, machine, said.baud)
            self._ports[name] = port

    def serve(self) -> None:
        """Announce the ports and serve until the commands end."""
        ready = Ready(ports={name: port.address for name, port in self._ports.items()}, shelves=self.world.shelves)
        try:
            self._say(ready)
            self._board.serve()
        finally:
            self._board.close()

    def _obey(self) -> bool:
        lines = self._input.read()
        if lines is None:
            return False
        for line in lines:
            self._say(self._make(line))
        return True

    def _say(self, message: Ready | Done) -> None:
        os.write(self._replies, encode(message))

    def _make(self, line: bytes) -> Done:
        try:
            move, now = msgspec.json.decode(line, type=Move, dec_hook=from_text), self.clock.now()
            for name, reads in move.dial.items():
                # one that is set over its line has sockets to move leads between, and no dial
                if name in self._dials or name not in self._ports:
                    self._dials[name].turn(reads)
            if move.rig is not None:
                self.world.rig(move.rig)
            if move.lifted is not None:
                self.world.lift_bonds(move.lifted)
            if move.place is not None:
                self.world.place(*move.place, now, join=move.join)
            if move.hold:
                self.world.hold(move.hold)
            beeps = self.world.resistance("", "", now) < BEEPS_BELOW if move.listen else None
            if move.lift:
                self.world.lift()
            if move.breakers is not None:
                self.world.breakers(move.breakers, now)
                for machine in self._machines:
                    machine.breakers(move.breakers, now)
            if move.energise is not None:
                self.world.energise(move.energise)
            if move.supply_at is not None:
                self.world.supply_at(move.supply_at, now)
            if move.in_lead is not None:
                self.world.ammeter_in_lead(move.in_lead)
            if move.out is not None:
                self.world.cards(move.out, now)
            if move.dummies is not None:
                self.world.dummies(move.dummies, now)
            if move.moving is not None:
                self.world.moving(move.moving, now)
            if move.jump:
                self.clock.jump(move.jump)
            if move.unplug:
                self._ports[move.unplug].close()
        except (KeyError, ValueError, msgspec.MsgspecError) as error:
            return Done(wrong=str(error))
        return Done(beeps=beeps)


class _Lines:
    """Lines from a descriptor, without a reader that buffers what the selector then cannot see."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._rest = b""

    def first(self) -> bytes:
        """Wait for one whole line; empty at the end."""
        while b"\n" not in self._rest:
            data = os.read(self._descriptor, 1 << 20)
            if not data:
                return b""
            self._rest += data
        line, self._rest = self._rest.split(b"\n", 1)
        return line

    def read(self) -> list[bytes] | None:
        """The whole lines that are there; None at the end."""
        data = os.read(self._descriptor, 1 << 20)
        if not data:
            return None
        *lines, self._rest = (self._rest + data).split(b"\n")
        return [line for line in lines if line.strip()]


def serve(commands: int, replies: int) -> None:
    """Serve one bench; see the module's text.

    Args:
        commands: descriptor that the configuration and the hands' moves come from.
        replies: descriptor for one line in answer to each.
    """
    first = _Lines(commands).first()
    if first:
        Bench(msgspec.json.decode(first, type=Configuration, dec_hook=from_text), commands, replies).serve()


def main() -> int:
    """Serve one bench on standard input and output."""
    serve(sys.stdin.fileno(), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
