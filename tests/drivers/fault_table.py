"""What becomes of each named trouble with each kind of instrument, as a table: ``python -m tests.drivers.fault_table``.

Each cell is found by trying it: an instrument that is open and set is asked once while the trouble lasts. It may end in

* ``right``: a right reading, and nothing was noticed or had to be;
* ``retried``: a right reading after it was asked again, set anew or the line brought in step;
* a clear stop, by its kind (``silent``, ``garbled``, ``mismatch`` ...), with what to do.

A wrong value is none of them: it raises ``AssertionError``, and so does an instrument that is not right again once the
trouble is over. ``-`` stands for what cannot happen to a kind; :func:`cannot` says why.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Query
from tests.drivers.test_drivers import FULL, NAMES, PROFILES, bench, check, ready
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import Mangled, VirtualLine

Pieces = Callable[[bytes, bytes], list[tuple[float, bytes]]]
STOPS: Final = ("silent", "garbled", "mismatch", "stranger", "lost", "aborted", "refused", "unsafe")


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
class Desk:
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


def desk_for(name: str) -> Desk:
    """An instrument that is open and set, with nothing wrong yet."""
    functions = PROFILES[name].functions
    # where it has four wires, that is the one whose readings tell their age best
    chosen = next((f.name for f in functions if f.wires == 4), functions[0].name if functions else "")
    if chosen:
        return Desk(*ready(name, chosen), chosen)
    found = bench(name)
    found[0].open()
    return Desk(*found, "")


def _wire(pieces: Pieces) -> Callable[[Desk], None]:
    delays = any(delay for delay, _ in pieces(b"?", b"0123456789"))

    def spoil(desk: Desk) -> None:
        # what does not answer in lines comes out byte by byte, so trouble lasts for a while there; lateness adds up
        left = 1 if desk.asked_in_lines or delays else 40

        def mangle(question: bytes, reply: bytes) -> list[tuple[float, bytes]]:
            nonlocal left
            left -= 1
            return pieces(question, reply) if left >= 0 else [(0.0, reply)]

        desk.wire.mangle = mangle

    return spoil


def _deaf(desk: Desk) -> None:
    desk.wire.mangle = lambda question, reply: []


def _unplugged(desk: Desk) -> None:
    desk.line.unplugged = True


def _stale(data: bytes) -> Callable[[Desk], None]:
    return lambda desk: desk.wire.inject(data, desk.line.now)


def _chatter(desk: Desk) -> None:
    for k in range(4000):
        desk.wire.inject(b"@@@\n", desk.line.now + 0.01 * k)


def _off_and_on(desk: Desk) -> None:
    desk.wire.engine.receive(b"*RST\n", desk.line.now)


def _another(desk: Desk) -> None:
    desk.wire.engine.identity = "Gannet Head,another one,9999,1.0"
    _wire(WIRE["no answer"])(desk)


def _swapped(desk: Desk) -> None:
    """Two cables changed places: another kind of instrument is on this port now."""
    name = desk.instrument.profile.profile
    other = "scpi-relay-matrix" if name != "scpi-relay-matrix" else "scpi-supply"
    desk.wire.engine = TWINS[other](Hall(), desk.line.now)
    desk.instrument._session.conversation.dialogue.doubt("the port went away for a moment")


def _turned(desk: Desk) -> None:
    desk.wire.engine.turn("voltage" if desk.wire.engine.dial != "voltage" else "resistance")


def _abort(desk: Desk) -> None:
    desk.instrument.abort()


OTHER: Final[dict[str, Callable[[Desk], None]]] = {
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
TROUBLES: Final[dict[str, Callable[[Desk], None]]] = {**{n: _wire(p) for n, p in WIRE.items()}, **OTHER}
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
    if trouble == "cables exchanged" and profile.dialogue.__struct_config__.tag in ("stream", "frames"):
        return "what is on its port then says nothing by itself: it is silent for good"
    if trouble == "dial turned" and name not in HANDHELD:
        return "it has no dial"
    if trouble in ("switched off and on", "another instrument") and (stands_alone or profile.identify is None):
        return "it has no settings to lose and no name to tell"
    return ""


TIMELESS: Final = ("late", "a second late", "cut, the rest late", "again much later", "byte by byte, slowly")


def outcome(name: str, trouble: str) -> str:
    """What becomes of one trouble with one kind.

    Raises:
        AssertionError: a wrong value, a stop of no known kind, or a kind that is not right again afterwards.
    """
    if cannot(name, trouble):
        return "-"
    desk = desk_for(name)
    desk.notices.clear()
    TROUBLES[trouble](desk)
    try:
        tries = desk.ask()
        found = "right" if tries == 1 and not desk.notices else "retried"
    except InstrumentTrouble as stop:
        assert stop.kind in STOPS and stop.what, stop
        # what to do about a port that is gone is said by the port itself, which is not a virtual one
        assert stop.advice or stop.kind in ("aborted", "lost"), stop
        found = stop.kind
    if trouble not in LASTING:
        _right_again(desk)
    return found


def _right_again(desk: Desk) -> None:
    """It may be in trouble twice more, and is never wrong."""
    for _ in range(3):
        try:
            desk.ask()
        except InstrumentTrouble as stop:
            assert stop.kind in STOPS, stop
            if stop.kind == "mismatch" and desk.function:
                desk.instrument.configure(desk.function, None, FULL.get(desk.instrument.profile.profile))
        else:
            return
    raise AssertionError(f"{desk.instrument.profile.profile} is not right again")


def table() -> list[list[str]]:
    """All of it: a head, and a row for each trouble."""
    return [["trouble", *NAMES], *([trouble, *(outcome(name, trouble) for name in NAMES)] for trouble in TROUBLES)]


def main() -> int:
    """Print it."""
    rows = table()
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        print("  ".join(text.ljust(wide) for text, wide in zip(row, widths, strict=True)).rstrip())
    cells = [text for row in rows[1:] for text in row[1:]]
    told = ", ".join(f"{cells.count(text)} {text}" for text in sorted(set(cells), key=cells.count, reverse=True))
    print(f"\n{len(rows) - 1} troubles with {len(NAMES)} kinds: {told}; 0 wrong")
    return 0


if __name__ == "__main__":
    sys.exit(main())
