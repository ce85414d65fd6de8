"""Twins for tests: behind a virtual line whose time jumps, or served on a real port; and what goes wrong between."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque

from bench.instruments.profile.library import Library
from bench.simulate.port_ends import LoopbackSocket, PseudoTerminal, Switchboard
from bench.simulate.twins.paced import Paced

Pieces = list[tuple[float, bytes]]
"""Delay against the piece before, and bytes."""

LIBRARY = Library.for_job()


def as_it_is(question: bytes, reply: bytes) -> Pieces:
    return [(0.0, reply)]


class Mangled:
    """A twin with something wrong on its way out. Bytes never overtake each other: a wire keeps their order."""

    def __init__(self, engine, mangle=as_it_is, end: bytes = b"\n"):
        self.engine = engine
        self.mangle = mangle
        self.end = end
        self.questions: list[bytes] = []
        self._line = bytearray()
        self._out: deque[tuple[float, bytes]] = deque()
        self.deaf = False

    def receive(self, data: bytes, now: float) -> None:
        if self.deaf:
            return
        self._line += data
        while self.end and (at := self._line.find(self.end)) >= 0:
            self.questions.append(bytes(self._line[:at]))
            del self._line[: at + len(self.end)]
        self.engine.receive(data, now)

    def inject(self, data: bytes, now: float) -> None:
        """Bytes that come by themselves."""
        self._out.append((max(now, self._free), data))

    @property
    def _free(self) -> float:
        return self._out[-1][0] if self._out else float("-inf")

    def send(self, now: float) -> bytes:
        reply = self.engine.send(now)
        if reply:
            asked = [question for question in self.questions if question.endswith(b"?")]
            for delay, piece in self.mangle(asked[-1] if asked else b"", reply):
                self._out.append((max(now, self._free) + delay, piece))
        out = b""
        while self._out and self._out[0][0] <= now:
            out += self._out.popleft()[1]
        return out

    @property
    def wake_at(self) -> float | None:
        times = [self.engine.wake_at, self._out[0][0] if self._out else None]
        return min((t for t in times if t is not None), default=None)


class VirtualLine:
    """A transport to a twin in this process. Its clock jumps to whatever comes next, so nothing waits."""

    def __init__(self, engine, *, byte_by_byte: bool = False):
        self.address = "virtual"
        self.engine = engine
        self.now = 0.0
        self.closed = False
        self.byte_by_byte = byte_by_byte
        self.unplugged = False
        self.when_idle = None
        """Called with the time before each jump: for tests that act at some moment."""
        self._in = b""
        self._aborted = False
        self._heed = True

    def clock(self) -> float:
        return self.now

    def _gone(self):
        from bench.instruments.ports.trouble import InstrumentTrouble

        if self._aborted and self._heed:
            raise InstrumentTrouble("aborted", "Stopped.")
        if self.unplugged:
            raise InstrumentTrouble("lost", "The connection was lost.")

    def write(self, data: bytes) -> None:
        self._gone()
        self.engine.receive(data, self.now)

    def read(self, deadline: float) -> bytes:
        while True:
            self._gone()
            self._in += self.engine.send(self.now)
            if self._in:
                cut = 1 if self.byte_by_byte else len(self._in)
                data, self._in = self._in[:cut], self._in[cut:]
                return data
            if deadline <= self.now:
                return b""
            wake = self.engine.wake_at
            self.now = min(deadline, wake) if wake is not None and wake > self.now else deadline
            if self.when_idle is not None:
                self.when_idle(self.now)

    def abort(self) -> None:
        self._aborted = True

    def heed_abort(self, heed: bool) -> None:
        self._heed = heed

    def clear_abort(self) -> None:
        self._aborted = False

    def close(self) -> None:
        self.closed = True


@contextlib.contextmanager
def served(engine, *, tcp: bool = False, baud: float = 0.0, speed: float = 1.0, stride: float = float("inf")):
    """A twin on a real port, served by a thread of its own. Gives the port; its ``address`` is what a client opens.

    Args:
        engine: the twin.
        tcp: on a socket in place of a pseudo-terminal.
        baud: the pace of the wire; 0 is as fast as the port takes it.
        speed: its seconds in one of ours, from now on.
        stride: its seconds that pass at most from one look at its clock to the next: where the thread does not get
            its turn on a busy machine, its time waits too.
    """
    port = LoopbackSocket() if tcp else PseudoTerminal()
    looked = shown = time.monotonic()

    def clock() -> float:
        nonlocal looked, shown
        before, looked = looked, time.monotonic()
        shown += min((looked - before) * speed, stride)
        return shown

    board = Switchboard(clock, speed=speed)
    board.connect(port, engine, baud, heedless=isinstance(engine, Paced))
    stop = threading.Event()

    def serve():
        while not stop.is_set() and port.fileno() >= 0:
            # a port may be taken away while it is waited for
            with contextlib.suppress(OSError, ValueError):
                board.serve_once(0.02)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield port
    finally:
        stop.set()
        thread.join(timeout=5)
        board.close()
        assert not thread.is_alive()


class Bars:
    """What a meter's leads are on: a resistance that says when it was measured, and other quantities that are fixed.

    In second ``n`` of the clock it is ``10 + n`` ohms, so a reading tells its age.
    """

    def __init__(self, ohms=None, volts: float = 0.0):
        self._ohms = ohms
        self.volts = volts

    def ohms(self, at: float) -> float:
        return 10.0 + int(at) % 80 if self._ohms is None else self._ohms

    def resistance(self, hi, lo, time):
        return self.ohms(time)

    def four_wire(self, force_hi, sense_hi, sense_lo, force_lo, time):
        return self.ohms(time)

    def voltage(self, hi, lo, time, loading):
        return self.volts

    def ac_voltage(self, hi, lo, time, loading):
        return abs(self.volts)

    def current(self, into, out, time, burden):
        return 0.25
