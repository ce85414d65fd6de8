"""The bench file: which instruments are at hand, where they answer, which role each fills.

    bench: hall
    instruments:
      - name: meter
        profile: scpi-bench-meter
        port: /dev/serial/by-id/usb-...
        serial: '0001'
        calibrated: 2026-03-02
        leads: {resistance: 0.15 ohm, within: 0.05 ohm}
    roles: {ohms: meter, volts: meter}
    references:
      - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}

The port ``simulated`` stands for a twin; then a section ``simulate`` says what is wrong with the simulated plant.
The port ``typed`` stands for a person who reads the display and types what it shows: any profile that says what each
of its ranges shows will do, and nothing that has an output.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, ClassVar, Final, Literal, Self

import msgspec

from bench.files import BadFile, Inconsistent, Places, Problem, exact, json_schema, near, one_of, parse, read_text
from bench.instruments.instrument import Instrument
from bench.instruments.matrix_wiring import Routes, Wired, routes_of
from bench.instruments.ports.address import port_key
from bench.instruments.ports.shared import SharedPort
from bench.instruments.ports.transport import Transport, open_port
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import Line, Mbus, Modbus
from bench.instruments.profile.profile import Profile
from bench.instruments.session import NoticeTaker
from bench.instruments.simulated_console import SimulatedConsole
from bench.instruments.values import Expected, Identity
from bench.instruments.wire.conversation import Trace
from bench.instruments.wire_text import Unreadable, WireText
from bench.plant.faults import BrokenLead, Fault
from bench.plant.handled import Change
from bench.quantity import Duration, Ratio, Resistance, Temperature, Voltage
from bench.roles import HIGH_OHMS, Role

SIMULATED: Final = "simulated"
"""The port of an instrument that is played by a twin."""

TYPED: Final = "typed"
"""The port of an instrument that a person reads, who types what it shows."""

Faults = list[Fault]
"""What is wrong with the simulated plant."""


class Day:
    """A calendar day, written ``2026-03-02``."""

    __slots__ = ("day",)

    def __init__(self, day: date) -> None:
        self.day = day

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a day.

        Raises:
            Unreadable: not a day of that form.
        """
        try:
            if len(text) != 10:
                raise ValueError
            return cls(date.fromisoformat(text))
        except ValueError:
            raise Unreadable(text, cls.wanted()) from None

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return "a day such as '2026-03-02' (year, month, day)"

    def exact(self) -> str:
        """The text that parses back to the same day."""
        return self.day.isoformat()

    def __repr__(self) -> str:
        return f"Day({self.exact()})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Day) and other.day == self.day

    def __hash__(self) -> int:
        return hash(self.day)


class LineChanges(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Line settings in place of the profile's; see :class:`~bench.instruments.profile.line.Line`."""

    __described_by__: ClassVar = Line
    baud: int | None = None
    bits: Literal[5, 6, 7, 8] | None = None
    parity: Literal["none", "even", "odd", "mark", "space"] | None = None
    stop: Literal["1", "1.5", "2"] | None = None
    flow: Literal["none", "rts-cts", "xon-xoff", "dsr-dtr"] | None = None
    dtr: bool | None = None
    rts: bool | None = None
    settle: Duration | None = None
    write_end: WireText | None = None
    read_end: WireText | None = None
    timeout: Duration | None = None
    quiet: Duration | None = None
    between: Duration | None = None
    wake: list[WireText] | None = None
    wake_pause: Duration | None = None
    decimal: Literal["point", "comma"] | None = None
    echo: bool | None = None

    def __post_init__(self) -> None:
        self.over(Line())

    def over(self, line: Line) -> Line:
        """The line with these changes.

        Raises:
            Inconsistent: a value that no line can have.
        """
        fields = {name: getattr(self, name) for name in self.__struct_fields__}
        changed = {name: value for name, value in fields.items() if value is not None}
        return Line(**{**{name: getattr(line, name) for name in line.__struct_fields__}, **changed})


class Leads(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """The pair of test leads on an instrument."""

    resistance: Resistance | None = None
    """Of both together."""
    within: Resistance | None = None
    """How far it may be off, either way; half the resistance by default."""
    nulled: bool = False
    """The instrument takes the leads off by itself."""
    emf: Voltage | None = None
    """Thermal voltage to expect in them, either way."""

    def __post_init__(self) -> None:
        if self.within is not None and self.resistance is None:
            raise Inconsistent("'within' without 'resistance'", "'resistance' of the leads")
        if self.resistance and self.within and self.within.value > self.resistance.value:
            raise Inconsistent(f"within {self.within} of {self.resistance}", "less than the resistance")

    @property
    def bounds(self) -> tuple[float, float] | None:
        """Lowest and highest resistance in ohms; None where not known."""
        if self.resistance is None:
            return None
        off = self.within.value if self.within is not None else self.resistance.value / 2
        return (self.resistance.value - off, self.resistance.value + off)


class BenchInstrument(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One instrument at hand."""

    name: str
    profile: str
    port: str
    """A serial port, socket://host:port, rfc2217://host:port, a VISA resource name, ``program:`` and the words that
    start a program of one's own which prints readings, ``simulated``, or ``typed``."""
    visa: str = "@py"
    """The VISA library, for a VISA resource name."""
    line: LineChanges = msgspec.field(default_factory=LineChanges)
    serial: str = ""
    """The serial number that it must answer with."""
    identity: str = ""
    """What it answers when it is asked who it is, as a person saw it once and said that this is it. Another answer is a
    stranger's, unless only the version in it is another one."""
    calibrated: Day | None = None
    due: Day | None = None
    leads: Leads = msgspec.field(default_factory=Leads)
    settings: dict[str, str] = {}
    """Values for its functions' settings, such as ``nplc``, wherever a function has them."""
    station: int | None = None
    """Of an instrument on Modbus or M-Bus: its number on the line, in place of the profile's."""
    output: str = ""
    """Which output of its profile is meant; the first where nothing is said."""
    shares_port: bool = False
    """Others of this bench are on the same port and say so too: one box that is known by several names, for a second
    output or for another of its functions. Stations on one line of Modbus or M-Bus need not say it."""
    wired: Wired | None = None
    """Of a relay matrix: what its rows lead to."""
    by_eye: bool = False
    """Of a simulated one: its display is shown, and a person types what stands there."""

    def __post_init__(self) -> None:
        if self.calibrated is not None and self.due is not None and self.due.day <= self.calibrated.day:
            raise Inconsistent(f"due {self.due.exact()}", f"a day after {self.calibrated.exact()}, its calibration")
        if not self.port.strip():
            raise Inconsistent("an empty port", "a port or 'simulated'")
        if self.by_eye and self.port != SIMULATED:
            raise Inconsistent(f"'by-eye' on the port {self.port}", f"the port '{TYPED}' for an instrument at hand")

    @property
    def typed(self) -> bool:
        """Whether a person reads it and types what it shows."""
        return self.port == TYPED or self.by_eye


class BenchReference(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Something known that the bench is proven against."""

    name: str
    value: Resistance
    tolerance: Ratio

    def __post_init__(self) -> None:
        if not 0 < self.tolerance.value < 1:
            raise Inconsistent(f"a tolerance of {self.tolerance}", "above 0 % and below 100 %")


class Alarm(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A line by which a console tells that something tripped, reset or failed."""

    says: str
    """A part of the line."""
    thing: str
    """The breaker or shelf of the plant."""

    def __post_init__(self) -> None:
        if not self.says.strip():
            raise Inconsistent("an empty text", "a part of a line")


class BenchConsole(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A console of the plant itself: what a machine says there is heard in every walk and watch on this bench.

    Nothing is sent to it but by a step that says what, behind a hold point.
    """

    name: str
    port: str
    """A serial port, socket://host:port, rfc2217://host:port, or ``simulated``."""
    line: LineChanges = msgspec.field(default_factory=LineChanges)
    """Of a serial port; 9600 baud, 8 bits, no parity where nothing is said."""
    alarms: list[Alarm] = []
    """What it says when something trips, resets or fails."""

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.port.strip():
            raise Inconsistent("a console without a name or a port", "both")

    @property
    def settings(self) -> Line:
        """How its port is set."""
        return self.line.over(Line())


class BenchContact(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """An alarm contact of the plant: a meter of its own reads it in every walk and watch on this bench.

    When it leaves where it rests, its breaker has tripped, or its shelf has failed.
    """

    thing: str
    """The breaker or shelf of the plant."""
    instrument: str
    """What reads it, and nothing else: it fills no role."""
    reads: Literal["resistance", "voltage"] = "resistance"
    """Resistance of a free contact, or the voltage that it switches."""
    between: tuple[str, str] | None = None
    """The two places where its leads lie. A simulated bench wants them."""

    @property
    def name(self) -> str:
        """What people and records call it."""
        return "~".join(self.between) if self.between else f"of {self.thing}"


class Simulate(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """The simulated plant behind simulated instruments."""

    seed: int = 1
    faults: Faults = []
    lead_resistance: Resistance = msgspec.field(default_factory=lambda: Resistance(0.2))
    """Of each instrument's pair of leads, in truth."""
    broken_leads: list[BrokenLead] = []
    """Test leads that break on the way."""
    ambient: Temperature | None = None
    """In the simulated hall; the plant's by default."""
    running: bool = False
    """Whether the simulated plant is in service when the walk begins: every supply on, every breaker closed."""
    pace: Literal["real", "hurried"] = "real"
    """Whether instruments take their time, or answer at once."""
    closed: list[str] = []
    """Breakers that somebody has closed when the walk begins, whatever the records say."""
    opened: list[str] = []
    """Breakers that somebody has opened."""
    truth: str = ""
    """Another plant file, from the job's folder: how the simulated plant really is, where the job's own file is wrong
    and somebody is to find out. Faults come on top of it."""
    consoles: dict[str, SimulatedConsole] = {}
    """By a console's name, what the machine behind it says."""

    @property
    def changes(self) -> tuple[Change, ...]:
        """What was done to the plant and never recorded."""
        states = (("closed", self.closed), ("open", self.opened))
        return tuple(Change("breaker", name, state) for state, names in states for name in names)


class BenchFile(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A bench as it stands in its file."""

    bench: str
    """Its name."""
    title: str = ""
    """What the operator is shown."""
    instruments: list[BenchInstrument] = []
    roles: dict[Role, str] = {}
    """Which instrument fills a role. A role that one instrument alone can fill need not be listed. ``high-ohms`` is
    for a second ohmmeter beside the one in ``ohms``: it reads what that one cannot prove."""
    references: list[BenchReference] = []
    consoles: list[BenchConsole] = []
    """The plant's own consoles that are listened to."""
    contacts: list[BenchContact] = []
    """Alarm contacts of the plant that are read all the time."""
    simulate: Simulate | None = None


class Bench(msgspec.Struct, frozen=True):
    """A bench whose file was checked.

    Attributes:
        file: as it stands in its file.
        library: where its profiles come from.
        profiles: instrument name to profile.
        role_of: role to instrument name, those that need not be listed included.
        routes: what a relay matrix joins by itself; None: there is none, or it is not wired.
    """

    file: BenchFile
    library: Library
    profiles: dict[str, Profile]
    role_of: dict[Role, str]
    routes: Routes | None = None

    @property
    def simulated(self) -> bool:
        """Whether twins play all instruments."""
        return all(instrument.port == SIMULATED for instrument in self.file.instruments)

    def instrument(self, name: str) -> BenchInstrument:
        """An instrument by name.

        Raises:
            KeyError: there is none.
        """
        for instrument in self.file.instruments:
            if instrument.name == name:
                return instrument
        raise KeyError(name)

    def roles_of(self, name: str) -> list[Role]:
        """The roles that an instrument fills on this bench."""
        return [role for role, instrument in self.role_of.items() if instrument == name]

    def tells_apart(self, instrument: BenchInstrument) -> bool:
        """Whether this file names an instrument by what no other one of its kind answers: a number of its own."""
        identify = self.profiles[instrument.name].identify
        if instrument.serial or identify is None:
            return bool(instrument.serial)
        found = identify.reply.match(instrument.identity) if instrument.identity else None
        return found is not None and bool(found.get("serial", "").strip().strip("0"))

    def line(self, name: str) -> Line:
        """The line settings of an instrument: its profile's, with the bench file's changes."""
        return self.instrument(name).line.over(self.profiles[name].line)

    def console_opener(self, name: str, address: str = "") -> Callable[[], Transport]:
        """What opens a console's port.

        Args:
            name: the console's.
            address: where it answers, for one that is simulated; the bench file's port by default.
        """
        console = next(one for one in self.file.consoles if one.name == name)
        return partial(open_port, address or console.port, console.settings)

    def connect(
        self,
        name: str,
        address: str = "",
        *,
        trace: Trace | None = None,
        notice: NoticeTaker | None = None,
    ) -> Instrument:
        """Open an instrument's port. The instrument itself is still to be opened.

        Args:
            name: the instrument's name.
            address: where it answers, for one that is simulated; the bench file's port by default.
            trace: is told every byte.
            notice: is told what was dealt with.

        Raises:
            InstrumentTrouble: ``busy``, ``denied``, ``lost``.
        """
        instrument = self.instrument(name)
        line = self.line(name)
        where, key = address or instrument.port, port_key(instrument.port)
        transport: Transport
        if sum(port_key(one.port) == key for one in self.file.instruments) > 1 and instrument.port != SIMULATED:
            gap = max(4 * line.character_time, line.between.value)
            transport = SharedPort(where, lambda: open_port(where, line, visa_backend=instrument.visa), gap)
        else:
            transport = open_port(where, line, visa_backend=instrument.visa)
        try:
            return Instrument(
                self.profiles[name],
                transport,
                line=line,
                decoder=self.library.decoder(instrument.profile),
                expected=Expected(instrument.serial, instrument.identity),
                output=instrument.output,
                trace=trace,
                notice=notice,
            )
        except BaseException:
            transport.close()
            raise

    def describe(self, identities: Mapping[str, Identity] | None = None) -> dict[str, Any]:
        """The bench as plain data for a record: enough to judge its readings with nothing else at hand.

        Args:
            identities: instrument name to who it said it is, for those that were met.
        """
        known = identities or {}
        facts = {
            "name": self.file.bench,
            "title": self.file.title,
            "simulated": self.simulated,
            "instruments": [self._describe(one, known.get(one.name)) for one in self.file.instruments],
            "role_of": dict(self.role_of),
            "consoles": [one.name for one in self.file.consoles],
            "alarms": [
                {"console": one.name, "says": alarm.says, "thing": alarm.thing}
                for one in self.file.consoles
                for alarm in one.alarms
            ],
            "references": [
                {"name": one.name, "ohms": one.value, "tolerance": one.tolerance.value} for one in self.file.references
            ],
        }
        if self.file.simulate is not None:
            facts["simulate"] = self.file.simulate
        plain: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(facts, enc_hook=exact))
        return plain

    def _describe(self, instrument: BenchInstrument, identity: Identity | None) -> dict[str, Any]:
        profile = self.profiles[instrument.name]
        facts: dict[str, Any] = {
            "name": instrument.name,
            "profile": profile.profile,
            "title": profile.title,
            "limits": profile.limits,
            "roles": self.roles_of(instrument.name),
            "port": instrument.port,
            "rows": accuracy_rows(profile),
            "calibrated": instrument.calibrated.exact() if instrument.calibrated is not None else "",
            "due": instrument.due.exact() if instrument.due is not None else "",
            "leads_ohm": instrument.leads.bounds,
            "nulls_itself": instrument.leads.nulled,
            "emf_volt": abs(instrument.leads.emf.value) if instrument.leads.emf is not None else 0.0,
            "outputs": profile.safe is not None or profile.set_by_hand,
            "by_eye": instrument.typed,
        }
        if identity is not None:
            facts["identity"] = identity
        return facts


def load_bench(path: Path, library: Library | None = None) -> Bench:
    """Read and check a bench file.

    Args:
        path: the file.
        library: where profiles come from; by default those in ``drivers/`` of the file's folder, then those that come
            with the program.

    Raises:
        BadFile: with every problem.
    """
    shelf = library if library is not None else Library.for_job(path.parent)
    return parse_bench(read_text(path), str(path), shelf)


def parse_bench(text: str, name: str, shelf: Library) -> Bench:
    """Read and check a bench file's text, such as a record keeps.

    Args:
        text: the text.
        name: how problems name it.
        shelf: where profiles come from.

    Raises:
        BadFile: with every problem.
    """
    file, places = parse(text, BenchFile, name)
    problems: list[Problem] = []
    profiles = _profiles(file, shelf, places, problems)
    _check_ports(file, profiles, places, problems)
    _check_typed(file, profiles, places, problems)
    role_of = _roles(file, profiles, places, problems)
    _check_contacts(file, profiles, role_of, places, problems)
    routes = _routes(file, profiles, places, problems)
    if routes is not None and any(one.name == routes.meter and one.typed for one in file.instruments):
        found = f"the meter '{routes.meter}', which is read by eye, behind a matrix"
        problems.append(Problem(places.of(file, "instruments"), "instruments", found, "a meter with a port"))
    if problems:
        raise BadFile(problems)
    return Bench(file, shelf, profiles, role_of, routes)


def _profiles(file: BenchFile, shelf: Library, places: Places, problems: list[Problem]) -> dict[str, Profile]:
    profiles: dict[str, Profile] = {}
    seen: set[str] = set()
    for index, instrument in enumerate(file.instruments):
        at = f"instruments[{index}]"
        if instrument.name in seen:
            place = places.of(instrument, "name")
            problems.append(Problem(place, f"{at}.name", f"the name '{instrument.name}' again", "each name once"))
        seen.add(instrument.name)
        entry = shelf.entry(instrument.profile)
        place = places.of(instrument, "profile")
        if entry is None:
            names = shelf.names()
            hint = near(instrument.profile, names)
            problems.append(Problem(place, f"{at}.profile", f"'{instrument.profile}'", one_of(names), hint))
        elif entry.profile is None:
            count = len(entry.problems)
            found = f"the profile '{instrument.profile}', which cannot be used"
            problems.append(Problem(place, f"{at}.profile", found, "a profile without problems", f"{count} follow"))
            problems.extend(entry.problems)
        else:
            profiles[instrument.name] = _at_station(instrument, entry.profile, f"{at}.station", places, problems)
            known_outputs = [one.name for one in entry.profile.outputs]
            if instrument.output and instrument.output not in known_outputs:
                found, hint = f"the output '{instrument.output}'", near(instrument.output, known_outputs)
                problems.append(
                    Problem(places.of(instrument, "output"), f"{at}.output", found, one_of(known_outputs), hint)
                )
            _check_serial(instrument, entry.profile, f"{at}.serial", places, problems)
            _check_identity(instrument, entry.profile, f"{at}.identity", places, problems)
    return profiles


def _at_station(
    instrument: BenchInstrument, profile: Profile, at: str, places: Places, problems: list[Problem]
) -> Profile:
    """The profile with the station's number that the bench file gives."""
    if instrument.station is None:
        return profile
    if not isinstance(profile.dialogue, Modbus | Mbus):
        found = f"a station for '{profile.profile}', which is not on Modbus or M-Bus"
        problems.append(Problem(places.of(instrument, "station"), at, found, "no station"))
        return profile
    try:
        dialogue = msgspec.structs.replace(profile.dialogue, station=instrument.station)
    except Inconsistent as error:
        problems.append(Problem(places.of(instrument, "station"), at, error.found, error.expected))
        return profile
    return msgspec.structs.replace(profile, dialogue=dialogue)


def _check_serial(
    instrument: BenchInstrument, profile: Profile, at: str, places: Places, problems: list[Problem]
) -> None:
    """Refuse a serial number that can never be held against what the instrument answers."""
    if not instrument.serial or instrument.port in (SIMULATED, TYPED):
        return
    place = places.of(instrument, "serial")
    if not instrument.serial.strip("0"):
        problems.append(Problem(place, at, f"the serial number '{instrument.serial}'", "a number of its own"))
    elif profile.identify is None or "serial" not in profile.identify.reply.groups:
        found = f"a serial number for '{instrument.name}', and its profile '{profile.profile}' does not ask for one"
        problems.append(
            Problem(place, at, found, "no serial number, or a profile whose 'identify' has the group 'serial'")
        )


def _check_identity(
    instrument: BenchInstrument, profile: Profile, at: str, places: Places, problems: list[Problem]
) -> None:
    """Refuse a name that this kind of instrument cannot answer with."""
    if not instrument.identity:
        return
    place = places.of(instrument, "identity")
    if profile.identify is None:
        found = f"an identity for '{instrument.name}', and its profile '{profile.profile}' does not ask for one"
        problems.append(Problem(place, at, found, "no identity, or a profile with 'identify'"))
    elif profile.identify.reply.match(instrument.identity) is None:
        found = f"'{instrument.identity}', which no instrument of the profile '{profile.profile}' answers"
        problems.append(Problem(place, at, found, f"a text that matches {profile.identify.reply.text}"))


def _may_share(one: BenchInstrument, other: BenchInstrument, profiles: dict[str, Profile]) -> str:
    """Why two instruments may not be on one port; empty where they may."""
    profile, beside = profiles.get(one.name), profiles.get(other.name)
    if profile is None or beside is None:
        return ""
    if one.line.over(profile.line) != other.line.over(beside.line):
        return f"the same line settings as '{other.name}' on the same port"
    stations = {told.dialogue.station for told in (profile, beside) if isinstance(told.dialogue, Modbus | Mbus)}
    if len(stations) == 2 or (one.shares_port and other.shares_port):
        return ""
    if stations:
        return f"another 'station' than '{other.name}' has, or 'shares-port: true' at both"
    return "a port for each, or 'shares-port: true' at both names of one box"


def _check_ports(file: BenchFile, profiles: dict[str, Profile], places: Places, problems: list[Problem]) -> None:
    taken: dict[str, BenchInstrument] = {}
    simulated = [one for one in file.instruments if one.port == SIMULATED]
    for index, instrument in enumerate(file.instruments):
        at, place = f"instruments[{index}].port", places.of(instrument, "port")
        if instrument.port == SIMULATED:
            continue
        if simulated:
            expected = f"'{SIMULATED}', as '{simulated[0].name}' is: a bench is real or simulated as a whole"
            problems.append(Problem(place, at, f"the port '{instrument.port}'", expected))
        if instrument.port == TYPED:
            continue
        key = port_key(instrument.port)
        why_not = _may_share(instrument, taken[key], profiles) if key in taken else ""
        if why_not:
            found = f"the port '{instrument.port}' again"
            problems.append(Problem(place, at, found, why_not, f"'{taken[key].name}' is on it already"))
        taken.setdefault(key, instrument)
    _check_consoles(file, taken, places, problems)
    if file.simulate is not None and not simulated:
        place = places.of(file, "simulate")
        problems.append(Problem(place, "simulate", "'simulate' on a bench of real ports", f"port '{SIMULATED}'"))


def _check_consoles(
    file: BenchFile, taken: Mapping[str, BenchInstrument], places: Places, problems: list[Problem]
) -> None:
    """Each has a name and a port of its own, and is simulated where the bench is."""
    simulated = any(one.port == SIMULATED for one in file.instruments)
    names, keys = set[str](), {key: one.name for key, one in taken.items()}
    for index, console in enumerate(file.consoles):
        at, key = f"consoles[{index}]", port_key(console.port)
        if console.name in names:
            found = f"the console '{console.name}' again"
            problems.append(Problem(places.of(console, "name"), f"{at}.name", found, "each name once"))
        names.add(console.name)
        if file.instruments and simulated != (console.port == SIMULATED):
            found, expected = f"the port '{console.port}'", "a bench that is real or simulated as a whole"
            problems.append(Problem(places.of(console, "port"), f"{at}.port", found, expected))
        elif console.port == TYPED or (key in keys and console.port != SIMULATED):
            found = f"the port '{console.port}'{' again' if key in keys else ''}"
            problems.append(Problem(places.of(console, "port"), f"{at}.port", found, "a port of its own"))
        keys.setdefault(key, console.name)
    for name in file.simulate.consoles if file.simulate is not None else ():
        if name not in names:
            assert file.simulate is not None
            place, hint = places.of(file.simulate, "consoles", name), near(name, names)
            problems.append(Problem(place, f"simulate.consoles.{name}", f"'{name}'", one_of(sorted(names)), hint))


def _check_contacts(
    file: BenchFile, profiles: dict[str, Profile], role_of: Mapping[Role, str], places: Places, problems: list[Problem]
) -> None:
    """Each has a meter with a port that does nothing else and can put out nothing."""
    names, taken = [one.name for one in file.instruments], set[str]()
    for index, contact in enumerate(file.contacts):
        at, place, name = f"contacts[{index}].instrument", places.of(contact, "instrument"), contact.instrument
        one = next((one for one in file.instruments if one.name == name), None)
        profile = profiles.get(name)
        if one is None:
            problems.append(Problem(place, at, f"the instrument '{name}'", one_of(names), near(name, names)))
            continue
        wires = 2 if contact.reads == "resistance" else None
        found, expected = f"'{name}'", "a meter of its own with a port"
        roles = [role for role, filler in role_of.items() if filler == name]
        if name in taken:
            problems.append(Problem(place, at, f"{found} again", expected))
        elif one.typed:
            problems.append(Problem(place, at, f"{found}, which a person reads", expected))
        elif roles:
            hint = f"say below 'roles' which other one fills '{roles[0]}'"
            problems.append(Problem(place, at, f"{found}, which fills the role '{roles[0]}'", expected, hint))
        elif profile is not None and (profile.safe is not None or not profile.functions_for(contact.reads, wires)):
            problems.append(Problem(place, at, found, f"a meter that reads {contact.reads} and puts out nothing"))
        if one.port == SIMULATED and contact.between is None:
            where = places.of(contact, "thing")
            problems.append(Problem(where, f"contacts[{index}].between", "no places", "two, on a simulated bench"))
        taken.add(name)


def _check_typed(file: BenchFile, profiles: dict[str, Profile], places: Places, problems: list[Problem]) -> None:
    """A person reads displays; nobody is asked to be an output or a relay, and digits need a display to be held to."""
    for index, instrument in enumerate(file.instruments):
        profile = profiles.get(instrument.name)
        at, place = f"instruments[{index}].port", places.of(instrument, "port")
        if profile is not None and profile.by_eye and instrument.port != TYPED:
            found = f"the port '{instrument.port}' for '{profile.profile}', which a person reads"
            problems.append(Problem(place, at, found, f"'{TYPED}'"))
        if not instrument.typed or profile is None or profile.by_eye:
            continue
        if profile.safe is not None or profile.outputs or profile.switch is not None:
            found = f"'{TYPED}' for '{profile.profile}', which switches something that must be made safe"
            wanted = "the port that it answers on"
            if profile.outputs:
                wanted += ", or 'hand-set-supply' for a supply that a person sets by its knobs"
            problems.append(Problem(place, at, found, wanted))
        elif not all(part.resolution is not None for one in profile.functions for part in one.ranges) or not all(
            one.ranges for one in profile.functions
        ):
            found = f"'{TYPED}' for '{profile.profile}', which does not say what its display shows"
            problems.append(Problem(place, at, found, "a profile with 'ranges' and a 'resolution' for each"))


def _roles(file: BenchFile, profiles: dict[str, Profile], places: Places, problems: list[Problem]) -> dict[Role, str]:
    names = [instrument.name for instrument in file.instruments]
    role_of: dict[Role, str] = {}
    for role, name in file.roles.items():
        at, place = f"roles.{role}", places.of(file, "roles", role)
        if name not in names:
            problems.append(Problem(place, at, f"the instrument '{name}'", one_of(names), near(name, names)))
        elif name in profiles and _needed_for(role) not in profiles[name].roles:
            able = [other for other in names if other in profiles and _needed_for(role) in profiles[other].roles]
            found = f"'{name}', whose profile '{profiles[name].profile}' fills {one_of(profiles[name].roles)} only"
            problems.append(Problem(place, at, found, f"an instrument for {role}: {one_of(able)}"))
        elif role == HIGH_OHMS and file.roles.get("ohms", name) == name:
            other = "'ohms', and another instrument for each"
            found = f"'{name}' again" if "ohms" in file.roles else f"'{name}', and nothing for 'ohms'"
            problems.append(Problem(place, at, found, other))
        else:
            role_of[role] = name
    for name in names:
        for role in profiles[name].roles if name in profiles else ():
            # a supply reads only what it gives itself: whoever wants it as a meter says so
            meters = [
                other
                for other in names
                if other in profiles and (role == "supply" or "supply" not in profiles[other].roles)
            ]
            able = [other for other in meters if role in profiles[other].roles]
            if role not in file.roles and able == [name]:
                role_of[role] = name
    return role_of


def _needed_for(role: Role) -> Role:
    """What a profile must fill for a role: which of two ohmmeters reads what is high is up to the bench file."""
    return "ohms" if role == HIGH_OHMS else role


def _routes(file: BenchFile, profiles: dict[str, Profile], places: Places, problems: list[Problem]) -> Routes | None:
    found: Routes | None = None
    first = ""
    for index, instrument in enumerate(file.instruments):
        if instrument.wired is None:
            continue
        at = f"instruments[{index}]"
        if first:
            place = places.of(instrument, "wired")
            problems.append(
                Problem(place, f"{at}.wired", "a second matrix that is wired", f"one: '{first}' is wired already")
            )
            continue
        first = instrument.name
        others = [other.name for other in file.instruments if other.name != instrument.name]
        found = routes_of(instrument.name, instrument.wired, at, others, profiles, places, problems)
    return found


def bench_schema() -> dict[str, Any]:
    """The JSON Schema of a bench file, for editors."""
    return json_schema(BenchFile, "Bench")
