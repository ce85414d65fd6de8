"""What is said between a simulated bench and the program that started it. Light: no solver is loaded for it."""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.files import exact
from bench.instruments.profile.profile import Profile
from bench.instruments.simulated_console import SimulatedConsole
from bench.plant.faults import BrokenLead, Fault
from bench.plant.file import PlantFile
from bench.roles import Reads
from bench.sequence.file import Rig

Wires = dict[int, tuple[Literal["red", "black"], str]]


class Twin(msgspec.Struct, frozen=True, kw_only=True):
    """One simulated instrument.

    Attributes:
        name: its name in the bench file.
        kind: the profile whose twin plays it.
        baud: pace of its line; 0 is as fast as the port takes it.
        serial: the serial number that it answers with.
    """

    name: str
    kind: str
    baud: float = 0.0
    serial: str = "0001"
    profile: Profile | None = None
    """What it answers to, where that is not the one that comes with the program."""
    wires: Wires = {}
    """Of a relay matrix: channel to the bus that it is on and the place that its row is wired to."""
    lies: tuple[str, str] | None = None
    """The places where its own leads lie for good; None: they are what hands place."""


class Configuration(msgspec.Struct, frozen=True, kw_only=True):
    """What to simulate.

    Attributes:
        plant: the plant as designed.
        faults: what is wrong with it.
        seed: for everything that is drawn; the same seed gives the same readings.
        twins: the instruments.
        lead_ohms: resistance of each meter's pair of leads.
        reference_ohms: of the bench's reference resistor.
        broken: test leads that break on the way.
        port: ``tcp`` for loopback sockets in place of pseudo-terminals.
        speed: how much faster than real time the simulated world runs.
        consoles: name to what the machine behind a console says.
    """

    plant: PlantFile
    twins: list[Twin]
    faults: list[Fault] = []
    seed: int = 0
    lead_ohms: float = 0.2
    reference_ohms: float = 100.0
    broken: list[BrokenLead] = []
    port: str = ""
    speed: float = 1.0
    consoles: dict[str, SimulatedConsole] = {}


class Ready(msgspec.Struct, frozen=True, kw_only=True):
    """The first answer: instrument to port address, and what the hands need to know of the plant."""

    ports: dict[str, str]
    shelves: list[str] = []
    """The plant's shelves with an inlet."""


class Move(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One thing that the hands do. Fields that are empty change nothing."""

    place: tuple[str, str] | None = None
    join: list[list[str]] = []
    """Places that are joined while the leads lie as placed."""
    rig: Rig | None = None
    """All that is clipped to ends from here on."""
    lifted: list[str] | None = None
    """The bonds that are off; all others are on."""
    hold: str = ""
    lift: bool = False
    dial: dict[str, Reads] = {}
    """Hand-held meter to what its dial is turned to."""
    breakers: list[str] | None = None
    energise: list[str] | None = None
    supply_at: list[str] | None = None
    """The supplies of the plant in whose place the bench supply stands."""
    in_lead: bool | None = None
    """Whether the ammeter stands in the bench supply's lead; it leaves it when the leads are placed elsewhere."""
    out: list[str] | None = None
    """The cards that are out; all others are in."""
    dummies: dict[str, float] | None = None
    """Shelf to what a dummy load on its converter draws, in amperes."""
    moving: list[str] | None = None
    """What hands move from now on, by the names of :mod:`bench.plant.loose_places`; empty: nothing."""
    jump: float = 0.0
    unplug: str = ""
    listen: bool = False
    """The leads are those of a continuity tester, and the answer says whether it beeps."""


class Done(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The answer to a move; ``wrong`` says why it was not made."""

    wrong: str = ""
    beeps: bool | None = None
    """Whether a continuity tester beeps, where that was listened for."""


def encode(message: msgspec.Struct) -> bytes:
    """A message as one line."""
    return msgspec.json.encode(message, enc_hook=exact) + b"\n"
