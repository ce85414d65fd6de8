"""What becomes of each named trouble with each kind of instrument, as a table: ``python -m tests.drivers.fault_table``.

Two sorts of trouble: the line's and the port's; and an instrument that is honest and set wrongly, stuck, exchanged, or
fed by a supply that tripped. Each cell is found by trying it: an instrument that is open and set is asked once while
the trouble lasts. It may end in

* ``right``: a right reading, and nothing was noticed or had to be;
* ``bounded``: over range, and said to be beyond no more than it really is;
* ``retried``: a right reading after it was asked again, set anew or the line brought in step;
* ``anew``: it may be another one than before, and everything that the first one went through is asked of it again;
* a clear stop, by its kind (``silent``, ``garbled``, ``mismatch`` ...), with what to do.

A wrong value is none of them: it raises ``AssertionError``, and so does an instrument that is not right again once the
trouble is over. ``-`` stands for what cannot happen to a kind; :func:`cannot` says why.
"""

from __future__ import annotations

import queue
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pytest

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Query
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill
from bench.instruments.values import Expected
from bench.quantity import Amount, Current, Voltage
from bench.roles import NO_PLACES, UNIT_OF
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened
from bench.runner.ports import LiveReading as Shown
from bench.runner.stuck import SAME_WHEN_SOUND, STUCK_AFTER
from bench.sequence.file import NOWHERE, Limit, Measure, Set
from bench.sequence.plan import Step
from bench.walk import events as e
from tests.drivers.more_kinds import MORE, Recited, Rectifier
from tests.drivers.test_drivers import FULL, LIBRARY, bench, check, ready
from tests.drivers.test_drivers import NAMES as SHIPPED
from tests.drivers.test_drivers import PROFILES as WITH_TWINS
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import Mangled, VirtualLine
from tests.instruments.test_mbus import Station

Pieces = Callable[[bytes, bytes], list[tuple[float, bytes]]]
STOPS: Final = ("silent", "garbled", "mismatch", "stranger", "lost", "aborted", "refused", "unsafe", "stuck")
NAMES: Final = (*SHIPPED, *MORE)
"""Every kind: those that ship, and those of :mod:`tests.drivers.more_kinds`."""
PROFILES: Final = {**WITH_TWINS, **{name: kind.profile for name, kind in MORE.items()}}


def _flipped(letter: re.Match[bytes]) -> bytes:
    """A letter with its lowest bit the other way: a prefix of a unit becomes another letter."""
    return bytes([letter[0][0] ^ 1])


WIRE: Final[dict[str, Pieces]] = {
    "late": lambda q, r: [(20.0, r)],
    "a second late": lambda q, r: [(1.0, r)],
    "cut": lambda q, r: [(0.0, r[: len(r) // 2])],
    "cut, the rest late": lambda q, r: [(0.0, r[:4]), (20.0, r[4:])],
    "a short break within": lambda q, r: [(0.0, r[:1]), (1.0, r[1:])],
    "byte by byte, slowly": lambda q, r: [(0.15, r[i : i + 1]) for i in range(len(r))],
    "front lost": lambda q, r: [(0.0, r[4:])],
    "one byte lost": lambda q, r: [(0.0, r[:3] + r[4:])],
    "end lost": lambda q, r: [(0.0, r[:-1])],
    "twice": lambda q, r: [(0.0, r + r)],
    "again a little later": lambda q, r: [(0.0, r), (0.01, r)],
    "again much later": lambda q, r: [(0.0, r), (5.0, r)],
    "echo": lambda q, r: [(0.0, q + b"\n" + r)],
    "noise before": lambda q, r: [(0.0, b"\xff\x80" + r)],
    "noise within": lambda q, r: [(0.0, r[: len(r) // 2] + b"\x9b" + r[len(r) // 2 + 1 :])],
    "noise after": lambda q, r: [(0.0, r + b"\xff\x80")],
    "a line of noise": lambda q, r: [(0.0, b"@@@\n" + r)],
    "zeros within": lambda q, r: [(0.0, r[:2] + b"\0\0" + r[2:])],
    "another end of line": lambda q, r: [(0.0, r.replace(b"\r\n", b"\n") if b"\r\n" in r else r[:-1] + b"\r\n")],
    "another's answer before": lambda q, r: [(0.0, b"+7.70000000E+01\n" + r)],
    "a line without end": lambda q, r: [(0.0, b"9" * 20000)],
    "a block": lambda q, r: [(0.0, b"#15+1E+0\n")],
    "wrong parity": lambda q, r: [(0.0, bytes(b | (0x80 if b.bit_count() % 2 else 0) for b in r))],
    "wrong baud": lambda q, r: [(0.0, bytes((b ^ 0xB7) | 0x80 for b in r))],
    "no answer": lambda q, r: [],
    "a bit of a letter flipped": lambda q, r: [(0.0, re.sub(rb"[A-Za-z]", lambda one: one[0].swapcase(), r, count=1))],
    "a bit of the last letter flipped": lambda q, r: [(0.0, re.sub(rb"[A-Za-z](?=[^A-Za-z]*$)", _flipped, r))],
}
"""What the wire does to an answer, once."""


@dataclass
class Rig:
    """One instrument on its twin, with what stands between."""

    instrument: Instrument
    line: VirtualLine
    wire: Mangled
    world: Any
    notices: list[Any]
    function: str

    @property
    def asked_in_lines(self) -> bool:
        return isinstance(self.instrument.profile.dialogue, Query)

    def ask(self) -> int:
        """Take a reading, or close a route; returns how many tries it took.

        Raises:
            AssertionError: it was not right.
        """
        if self.instrument.profile.profile in MORE:
            return self._ask_more()
        if not self.function:
            assert self.instrument.set_channels(["101", "205"]) == ("101", "205")
            assert self.world.closed == {101, 205}
            return 1
        energises = self.instrument.profile.function(self.function).energises
        sample = self.instrument.read(20.0 if energises else 0.0)
        if self.instrument.profile.outputs and self.world.held is None:
            assert sample.value is not None and abs(sample.value) < 0.01, "an output that is off has no voltage"
        else:
            check(sample, self.instrument, self.world)
        return sample.tries

    def _ask_more(self) -> int:
        kind = MORE[self.instrument.profile.profile]
        if kind.value is None:
            # off, and read back as off, is what must never be said of an output that is on
            self.instrument.set_output(False)
            assert not self.wire.engine.on
            return 1
        sample = self.instrument.read()
        assert sample.value == pytest.approx(kind.value, abs=sample.resolution or 0.0), sample
        return sample.tries


def _more(name: str) -> Rig:
    kind = MORE[name]
    engine = kind.engine()
    if isinstance(engine, Rectifier):
        engine.on = True
    wire = Mangled(engine, end=kind.profile.line.write_end.data if kind.asked else b"")
    line = VirtualLine(wire)
    notices: list[Any] = []
    instrument = Instrument(kind.profile, line, line.clock, notice=notices.append)
    instrument.open()
    functions = kind.profile.functions
    if functions:
        instrument.configure(functions[0].name)
    return Rig(instrument, line, wire, engine, notices, functions[0].name if functions else "")


def rig_for(name: str) -> Rig:
    """An instrument that is open and set, with nothing wrong yet."""
    if name in MORE:
        return _more(name)
    functions = PROFILES[name].functions
    # where it has four wires, that is the one whose readings tell their age best
    chosen = next((f.name for f in functions if f.wires == 4), functions[0].name if functions else "")
    if chosen:
        return Rig(*ready(name, chosen), chosen)
    found = bench(name)
    found[0].open()
    return Rig(*found, "")


def _wire(pieces: Pieces) -> Callable[[Rig], None]:
    delays = any(delay for delay, _ in pieces(b"?", b"0123456789"))

    def spoil(rig: Rig) -> None:
        # what does not answer in lines comes out byte by byte, so trouble lasts for a while there; lateness adds up
        more = rig.instrument.profile.profile in MORE
        left = 1 if rig.asked_in_lines or delays else 2 if more else 40

        def mangle(question: bytes, reply: bytes) -> list[tuple[float, bytes]]:
            nonlocal left
            left -= 1
            return pieces(question, reply) if left >= 0 else [(0.0, reply)]

        rig.wire.mangle = mangle

    return spoil


def _deaf(rig: Rig) -> None:
    rig.wire.mangle = lambda question, reply: []


def _unplugged(rig: Rig) -> None:
    rig.line.unplugged = True


def _stale(data: bytes) -> Callable[[Rig], None]:
    return lambda rig: rig.wire.inject(data, rig.line.now)


def _chatter(rig: Rig) -> None:
    for k in range(4000):
        rig.wire.inject(b"@@@\n", rig.line.now + 0.01 * k)


def _off_and_on(rig: Rig) -> None:
    rig.wire.engine.receive(b"*RST\n", rig.line.now)


def _another(rig: Rig) -> None:
    engine = rig.wire.engine
    if isinstance(engine, Rectifier):
        engine.kind = 5302
        rig.wire.mangle = _lose_one()
        return
    _another_number(rig.instrument.profile, engine)
    _wire(WIRE["no answer"])(rig)


def _another_number(profile: Profile, engine: Any) -> None:
    """It is another one of its kind from now on, where it can tell."""
    if isinstance(engine, Station):
        engine.number = "99999999"
    elif isinstance(engine, Recited):
        if profile.identify is not None:
            question = profile.identify.ask.encode() + profile.line.write_end.data
            engine.answers = {**engine.answers, question: engine.answers[question].replace(b"17", b"99")}
    else:
        engine.identity = "Gannet Head,another one,9999,1.0"


def _lose_one() -> Pieces:
    left = [b"one"]
    return lambda question, reply: [] if left and left.pop() else [(0.0, reply)]


def _swapped(rig: Rig) -> None:
    """Two cables changed places: another kind of instrument is on this port now."""
    name = rig.instrument.profile.profile
    other = "scpi-relay-matrix" if name != "scpi-relay-matrix" else "scpi-supply"
    rig.wire.engine = TWINS[other](Hall(), rig.line.now)
    if not rig.instrument._session.unasked:
        rig.instrument._session.conversation.dialogue.doubt("the port went away for a moment")


def _turned(rig: Rig) -> None:
    rig.wire.engine.turn("voltage" if rig.wire.engine.dial != "voltage" else "resistance")


def _abort(rig: Rig) -> None:
    rig.instrument.abort()


OTHER: Final[dict[str, Callable[[Rig], None]]] = {
    "silent for good": _deaf,
    "unplugged": _unplugged,
    "an old answer waits": _stale(b"+1.23400000E+01\n"),
    "half an old answer waits": _stale(b"+1.2"),
    "never quiet": _chatter,
    "switched off and on": _off_and_on,
    "another instrument": _another,
    "cables exchanged": _swapped,
    "dial turned": _turned,
    "aborted": _abort,
}
"""What happens to the instrument or its port."""
TROUBLES: Final[dict[str, Callable[[Rig], None]]] = {**{n: _wire(p) for n, p in WIRE.items()}, **OTHER}
LASTING: Final = (
    *(
        "silent for good",
        "unplugged",
        "another instrument",
        "cables exchanged",
        "dial turned",
        "never quiet",
        "aborted",
    ),
)
"""These do not end by themselves."""
HANDHELD: Final = ("streaming-text-meter", "polled-text-meter", "seven-segment-frames")


def cannot(name: str, trouble: str) -> str:
    """Why a trouble cannot happen to a kind, or cannot be seen; empty where it can."""
    profile = PROFILES[name]
    stands_alone = not isinstance(profile.dialogue, Query)
    if profile.dialogue.__struct_config__.tag in ("stream", "frames") and trouble in TIMELESS:
        return "lines that come by themselves carry no time: how long they were on the way cannot be told"
    if trouble == "dial turned" and name not in HANDHELD:
        return "it has no dial"
    if trouble == "another instrument" and (profile.identify is None or name == "modbus-panel-meter"):
        return "it has no name of its own to tell"
    if trouble == "switched off and on" and (stands_alone or name in MORE):
        return "it has no settings to lose"
    return cannot_be_set_so(name, trouble) if trouble in MEANT else ""


def cannot_be_set_so(name: str, trouble: str) -> str:
    """Why a kind cannot be set wrongly in this way; empty where it can."""
    functions = PROFILES[name].functions
    reads = functions[0].reads if functions else ""
    if trouble == "a key holds a range" and name not in HANDHELD and not any(one.lock for one in functions):
        return "it has no range that a key could hold it on"
    if trouble == "stuck at its last value" and not functions:
        return "it takes no reading"
    if trouble == "stuck at its last value" and PROFILES[name].outputs:
        return "it reads at its own terminals, where nothing is lifted between two readings"
    if trouble == "stuck at its last value" and reads in SAME_WHEN_SOUND:
        return SAME_WHEN_SOUND[reads]
    if trouble == "the supply tripped" and not functions:
        return "it takes no reading"
    return ""


# ---- honest, and set wrongly ------------------------------------------------------------------


def held_on_a_range(name: str) -> str:
    """A key holds the meter on its lowest range, and what it is on is five times beyond that."""
    rig = rig_for(name)
    function = rig.instrument.profile.function(rig.function)
    lowest = function.ranges[0]
    truth = 5 * lowest.top
    rig.world.ohms = rig.world.farads = lambda at: truth
    rig.world.amps = truth
    if name in HANDHELD:
        rig.wire.engine.held_on = 0
    else:
        for command in function.lock:
            rig.wire.engine.receive(fill(command, {"range": lowest.sent}).encode() + b"\n", rig.line.now)
    try:
        sample = rig.instrument.read()
    except InstrumentTrouble as stop:
        return stop.kind
    if sample.value is not None:
        assert sample.value == pytest.approx(truth, rel=0.02), sample
        return "right"
    assert sample.over == "+" and sample.bound is not None and sample.bound <= truth, sample
    return "bounded"


def on_anothers_port(name: str) -> str:
    """Its port is that of each other kind, one after the other, from the start; its bench file has its name."""
    found: set[str] = set()
    profile = PROFILES[name]
    for other in SHIPPED:
        if other == name:
            continue
        engine = TWINS[other](Hall(), 0.0)
        line = VirtualLine(engine)
        expected = (
            "Gannet Head,my own,4711,1.0" if profile.identify is not None and profile.identify.ask == "*IDN?" else ""
        )
        decoder = LIBRARY.decoder(name) if name in SHIPPED else None
        instrument = Instrument(profile, line, line.clock, decoder=decoder, expected=Expected(identity=expected))
        try:
            instrument.open()
            for function in profile.functions:
                instrument.configure(function.name, None, FULL.get(name))
                sample = instrument.read()
                raise AssertionError(f"{name} reads {sample} from {other}")
            if profile.switch is not None:
                instrument.set_channels(["101"])
            if profile.outputs:
                instrument.set_output(False)
            raise AssertionError(f"{name} takes {other} for its own")
        except InstrumentTrouble as stop:
            found.add(stop.kind)
        assert not getattr(engine, "on", False) and not getattr(engine, "closed", frozenset())
    return next(kind for kind in ("stranger", *STOPS) if kind in found)


@dataclass
class Crewed:
    """One instrument, and where wanted a supply, under a crew on lines whose time jumps."""

    crew: InstrumentCrew
    inbox: queue.Queue[object]
    engines: dict[str, Any]
    lines: dict[str, VirtualLine]
    number: int = 0

    def do(self, act: Callable[[int], None]) -> e.Event:
        """What comes of something that is asked for."""
        self.number += 1
        act(self.number)
        while True:
            message = self.inbox.get(timeout=60)
            if isinstance(message, Happened) and getattr(message.event, "number", -1) == self.number:
                return message.event

    def show(self, step: Step, many: int = 3) -> None:
        """Show readings live while a person's probes are on their way."""
        self.crew.live(step)
        seen = 0
        while seen < many:
            seen += isinstance(self.inbox.get(timeout=60), Shown)
        self.crew.live(None)


def _frozen() -> Pieces:
    """A display that stands still: each question is answered as it was the first time."""
    said: dict[bytes, bytes] = {}
    return lambda question, reply: [(0.0, said.setdefault(question, reply) if b"READ" in question else reply)]


def crewed(name: str, supply: bool = False, mangle: Pieces | None = None) -> Crewed:
    """The crew, with everything met."""
    inbox: queue.Queue[object] = queue.Queue()
    engines: dict[str, Any] = {}
    lines: dict[str, VirtualLine] = {}
    ports, role_of = [], {}

    def add(called: str, profile: Profile, engine: Any, decoder: Any, role: str) -> None:
        engines[called] = engine
        line = lines[called] = VirtualLine(engine if mangle is None else Mangled(engine, mangle))
        make = lambda: Instrument(profile, line, line.clock, decoder=decoder)  # noqa: E731
        settings = {one: str(value) for one, value in FULL.get(profile.profile, {}).items()}
        ports.append(InstrumentPort(called, make, profile.safe is not None, settings))
        role_of[role] = called

    profile = PROFILES[name]
    engine = MORE[name].engine() if name in MORE else TWINS[name](Hall(), 0.0)
    if hasattr(engine, "dial") and profile.functions:
        engine.turn(profile.functions[0].reads)
    add("it", profile, engine, LIBRARY.decoder(name) if name in SHIPPED else None, profile.roles[0])
    if supply:
        add("supply", PROFILES["scpi-supply"], TWINS["scpi-supply"](Hall(), 0.0), None, "supply")
    made = Crewed(InstrumentCrew(ports, role_of, inbox.put), inbox, engines, lines)
    for role in role_of:
        met = made.do(lambda number, role=role: made.crew.meet((role,), number))  # type: ignore[misc]
        assert isinstance(met, e.Met), met
    return made


def _step(index: int, source: Any) -> Step:
    return Step(index=index, key=str(index), kind="x", title="", text="", section="", source=source, subject="s")


def _reading(name: str, index: int = 0) -> Step:
    function = PROFILES[name].functions[0]
    reads = function.reads
    limit = Limit(at_most=Amount(1.0, UNIT_OF[reads]), source="this table")
    between = NOWHERE if reads in NO_PLACES else ("J1.1", f"J2.{index + 1}")
    return _step(index, Measure(read=reads, wires=function.wires, between=between, limit=limit))


def stuck(name: str) -> str:
    """Its display stands still from the first reading on, while the probes go from place to place."""
    made = crewed(name, mangle=_frozen())
    if name not in MORE:
        made.engines["it"].world.ohms = lambda at: 47.11
    silent = PROFILES[name].functions[0].energises
    kinds = []
    try:
        for index in range(STUCK_AFTER):
            step = _reading(name, index)
            if not silent:  # a tester shows nothing between its tests
                made.show(step)
            kinds.append(made.do(lambda number, step=step: made.crew.measure(step, number)))  # type: ignore[misc]
    finally:
        made.crew.close()
    *before, last = kinds
    assert all(isinstance(one, e.Read) for one in before)
    assert isinstance(last, e.Troubled), f"{name}: the same digits at {STUCK_AFTER} places were believed"
    return last.kind


def supply_tripped(name: str) -> str:
    """A reading needs the output of a supply, and that tripped while the probes were put on."""
    made = crewed(name, supply=True)
    on = _step(0, Set(text="", output="on", voltage=Voltage(48.0), current_limit=Current(1.0)))
    try:
        switched = made.do(lambda number: made.crew.switch(on, number))
        assert isinstance(switched, e.Switched) and switched.state == "on"
        # it says so to nobody before it is asked
        made.engines["supply"].on = False
        found = made.do(lambda number: made.crew.measure(_reading(name), number))
    finally:
        made.crew.close()
    assert isinstance(found, e.Troubled) and found.instrument == "supply", f"{name}: {found}"
    return found.kind


def exchanged_while_away(name: str) -> str:
    """Its cable was pulled, and goes into another one of the same kind before it is looked for again."""
    made = crewed(name)
    role = PROFILES[name].roles[0]
    try:
        made.lines["it"].unplugged = True
        gone = made.do(lambda number: made.crew.meet((role,), number))
        assert isinstance(gone, e.Troubled) and gone.kind == "lost"
        made.lines["it"].unplugged = False
        _another_number(PROFILES[name], made.engines["it"])
        met = made.do(lambda number: made.crew.meet((role,), number))
    finally:
        made.crew.close()
    if isinstance(met, e.Troubled):
        return met.kind
    assert isinstance(met, e.Met) and met.other, f"{name}: another one was taken for the first"
    assert not PROFILES[name].outputs, f"{name}: another one was set up, and it has an output"
    return "anew"


def every_bit_of_a_letter(name: str) -> str:
    """Each bit of each letter of a reply flips, one after the other: of prefixes, and of functions' names."""
    results: list[str] = []
    for bit in range(7):
        for place in range(4):

            def flip(question: bytes, reply: bytes, bit: int = bit, place: int = place) -> list[tuple[float, bytes]]:
                letters = [k for k, byte in enumerate(reply) if chr(byte).isalpha()]
                if place >= len(letters):
                    return [(0.0, reply)]
                at = letters[-1 - place]
                return [(0.0, reply[:at] + bytes([reply[at] ^ 1 << bit]) + reply[at + 1 :])]

            rig = rig_for(name)
            _wire(flip)(rig)
            try:
                results.append("right" if rig.ask() == 1 else "retried")
            except InstrumentTrouble as stop:
                assert stop.kind in STOPS
                results.append(stop.kind)
    return next((one for one in ("garbled", "silent", "retried", "right") if one in results), results[0])


MEANT: Final[dict[str, Callable[[str], str]]] = {
    "a key holds a range": held_on_a_range,
    "stuck at its last value": stuck,
    "on another's port": on_anothers_port,
    "the supply tripped": supply_tripped,
    "exchanged while it was away": exchanged_while_away,
    "each bit of a letter": every_bit_of_a_letter,
}
"""What an honest instrument, or one in another's place, makes of it: tried whole, by a function of its own."""
ROWS: Final = (*TROUBLES, *MEANT)
"""All troubles."""

TIMELESS: Final = ("late", "a second late", "cut, the rest late", "again much later", "byte by byte, slowly")


def outcome(name: str, trouble: str) -> str:
    """What becomes of one trouble with one kind.

    Raises:
        AssertionError: a wrong value, a stop of no known kind, or a kind that is not right again afterwards.
    """
    if cannot(name, trouble):
        return "-"
    if trouble in MEANT:
        found = MEANT[trouble](name)
        assert found in ("right", "retried", "bounded", "anew", *STOPS), found
        return found
    rig = rig_for(name)
    rig.notices.clear()
    TROUBLES[trouble](rig)
    try:
        tries = rig.ask()
        found = "right" if tries == 1 and not rig.notices else "retried"
    except InstrumentTrouble as stop:
        assert stop.kind in STOPS and stop.what, stop
        # what to do about a port that is gone is said by the port itself, which is not a virtual one
        assert stop.advice or stop.kind in ("aborted", "lost"), stop
        found = stop.kind
    if trouble not in LASTING:
        _right_again(rig)
    return found


def _right_again(rig: Rig) -> None:
    """It may be in trouble twice more, and is never wrong."""
    for _ in range(3):
        try:
            rig.ask()
        except InstrumentTrouble as stop:
            assert stop.kind in STOPS, stop
            if stop.kind == "mismatch" and rig.function:
                rig.instrument.configure(rig.function, None, FULL.get(rig.instrument.profile.profile))
        else:
            return
    raise AssertionError(f"{rig.instrument.profile.profile} is not right again")


def table() -> list[list[str]]:
    """All of it: a head, and a row for each trouble."""
    return [["trouble", *NAMES], *([trouble, *(outcome(name, trouble) for name in NAMES)] for trouble in ROWS)]


def main() -> int:
    """Print it: kinds by number, so that a row stays on a line."""
    rows = table()
    heads = [f"{number:<2} {name}" for number, name in enumerate(NAMES, 1)]
    print("\n".join(heads) + "\n")
    shown = [["", *(str(number) for number in range(1, len(NAMES) + 1))], *rows[1:]]
    widths = [max(len(row[column]) for row in shown) for column in range(len(shown[0]))]
    for row in shown:
        print(" ".join(text.ljust(wide) for text, wide in zip(row, widths, strict=True)).rstrip())
    cells = [text for row in rows[1:] for text in row[1:]]
    told = ", ".join(f"{cells.count(text)} {text}" for text in sorted(set(cells), key=cells.count, reverse=True))
    print(f"\n{len(rows) - 1} troubles with {len(NAMES)} kinds: {told}; 0 wrong")
    return 0


if __name__ == "__main__":
    sys.exit(main())
