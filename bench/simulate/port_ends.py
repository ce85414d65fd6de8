"""Puts simulated instruments on real ports: a pseudo-terminal each, or TCP on loopback where there are none.

A pseudo-terminal ignores line settings, so the pace of the wire is made here: each byte is sent no sooner than its ten
bit times after the one before. Bytes to and from the instrument are real bytes over a real port either way.
"""

from __future__ import annotations

import os
import selectors
import socket
import sys
from collections import deque
from collections.abc import Callable
from typing import Final, Protocol

from bench.instruments.profile.line import BAUDS

BITS: Final = 10
"""Start bit, eight data bits, stop bit."""


class Instrument(Protocol):
    """The instrument side of a wire, without ports and clocks."""

    def receive(self, data: bytes, now: float) -> None:
        """Take bytes that came in."""

    def send(self, now: float) -> bytes:
        """The bytes that are ready to go out."""

    @property
    def wake_at(self) -> float | None:
        """When ``send`` is worth asking again without new input; None: not before."""


class Port(Protocol):
    """A port that an instrument sits on."""

    address: str
    """What a client opens."""

    def fileno(self) -> int:
        """For the selector; may change when a client comes or goes."""

    def read(self) -> bytes:
        """What came in; empty where there is nothing, or the client left."""

    def write(self, data: bytes) -> int:
        """Send; returns how many bytes went."""

    def close(self) -> None:
        """Take the port away, as if it were unplugged."""


class PseudoTerminal:
    """A pty whose slave end a client opens like any serial port."""

    def __init__(self) -> None:
        import tty

        self._master, slave = os.openpty()
        # a fresh pty echoes and translates line ends until it is raw: the instrument would read its own answers
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.address = os.ttyname(slave)
        # held open, else reading the master fails with EIO whenever no client is there
        self._slave = slave

    def set_to(self) -> float:
        """The rate that the client has set, in bits a second; 0 where it is not known."""
        import termios

        rates = {getattr(termios, f"B{baud}"): baud for baud in BAUDS if hasattr(termios, f"B{baud}")}
        return float(rates.get(termios.tcgetattr(self._slave)[5], 0))

    def fileno(self) -> int:
        """The master's descriptor."""
        return self._master

    def read(self) -> bytes:
        """What the client wrote."""
        try:
            return os.read(self._master, 65536)
        except (BlockingIOError, InterruptedError):
            return b""

    def write(self, data: bytes) -> int:
        """Send to the client; a full line takes less than all."""
        try:
            return os.write(self._master, data)
        except (BlockingIOError, InterruptedError):
            return 0

    def close(self) -> None:
        """Unplug: the client's next read fails."""
        for descriptor in (self._master, self._slave):
            if descriptor >= 0:
                os.close(descriptor)
        self._master = self._slave = -1


class LoopbackSocket:
    """A TCP port on loopback; one client at a time, a new one takes the place of the old."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self._client: socket.socket | None = None
        self.address = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def set_to(self) -> float:
        """A network has no rate."""
        return 0.0

    def fileno(self) -> int:
        """The client's descriptor, or the listener's while there is none."""
        return (self._client or self._listener).fileno()

    def read(self) -> bytes:
        """What the client wrote; lets a client in."""
        if self._client is None:
            try:
                self._client, _ = self._listener.accept()
            except (BlockingIOError, InterruptedError):
                return b""
            self._client.setblocking(False)
            self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return b""
        try:
            data = self._client.recv(65536)
        except (BlockingIOError, InterruptedError):
            return b""
        except OSError:
            data = b""
        if not data:
            self._client.close()
            self._client = None
        return data

    def write(self, data: bytes) -> int:
        """Send to the client; without one the bytes are lost, as on an unplugged cable."""
        if self._client is None:
            return len(data)
        try:
            return self._client.send(data)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError:
            self._client.close()
            self._client = None
            return len(data)

    def close(self) -> None:
        """Take the port away."""
        if self._client is not None:
            self._client.close()
        self._listener.close()


def open_port(kind: str = "") -> PseudoTerminal | LoopbackSocket:
    """A fresh port: a pseudo-terminal where the system has them, unless ``kind`` says ``tcp``."""
    if kind == "tcp" or sys.platform == "win32":
        return LoopbackSocket()
    return PseudoTerminal()


class _Line:
    """One instrument on one port, with the bytes that wait for their time on the wire."""

    def __init__(self, port: Port, instrument: Instrument, baud: float, heedless: bool) -> None:
        self.port = port
        self.heedless = heedless
        self.instrument = instrument
        self.byte_time = BITS / baud if baud > 0 else 0.0
        self.waiting: deque[int] = deque()
        self.free_at = 0.0

    def pump(self, now: float) -> None:
        """Move what is ready onto the wire, as fast as the wire takes it."""
        fresh = self.instrument.send(now)
        if fresh and not self.waiting:
            self.free_at = max(self.free_at, now)
        self.waiting.extend(fresh)
        if not self.waiting:
            return
        if self.byte_time == 0.0:
            sent = self.port.write(bytes(self.waiting))
        else:
            due = int((now - self.free_at) / self.byte_time + 1e-9)
            if due <= 0:
                return
            piece = bytes(self.waiting[index] for index in range(min(due, len(self.waiting))))
            sent = self.port.write(piece)
            self.free_at += sent * self.byte_time
        for _ in range(len(self.waiting) if self.heedless else sent):
            self.waiting.popleft()

    def wake_at(self) -> float | None:
        """When there is something to do without new input."""
        times = [self.instrument.wake_at]
        if self.waiting:
            times.append(self.free_at + self.byte_time)
        known = [moment for moment in times if moment is not None]
        return min(known) if known else None


class Switchboard:
    """Serves all instruments of a simulated bench from one thread.

    Args:
        clock: monotonic seconds of the simulated world.
        commands: a descriptor that is watched besides, and what to call when it can be read; that call returns False
            to end the service.
        speed: seconds of ``clock`` in a real one.
    """

    def __init__(
        self,
        clock: Callable[[], float],
        commands: tuple[int, Callable[[], bool]] | None = None,
        speed: float = 1.0,
    ) -> None:
        self._clock = clock
        self._speed = speed
        self._commands = commands
        self._lines: list[_Line] = []

    def connect(self, port: Port, instrument: Instrument, baud: float = 0.0, *, heedless: bool = False) -> None:
        """Put an instrument on a port.

        Args:
            port: the port.
            instrument: what sits on it.
            baud: 0 sends as fast as the port takes it.
            heedless: the instrument keeps its own pace and sends on whether anybody reads or not: what a full port
                does not take is lost, and nothing old is kept for later.
        """
        self._lines.append(_Line(port, instrument, baud, heedless))

    def serve(self) -> None:
        """Serve until the commands end."""
        while self.serve_once():
            pass

    def serve_once(self, longest: float = 1.0) -> bool:
        """Wait for the next thing to do and do it. Returns whether to go on."""
        now = self._clock()
        wakes = [wake for line in self._lines if (wake := line.wake_at()) is not None]
        wait = min([longest, *(max(0.0, wake - now) / self._speed for wake in wakes)])
        ready = self._select(wait)
        for line in self._lines:
            if line.port.fileno() in ready and (data := line.port.read()):
                line.instrument.receive(data, self._clock())
        for line in self._lines:
            line.pump(self._clock())
        return not (self._commands is not None and self._commands[0] in ready and not self._commands[1]())

    def _select(self, wait: float) -> set[int]:
        with selectors.DefaultSelector() as selector:
            for line in self._lines:
                if line.port.fileno() >= 0:
                    selector.register(line.port.fileno(), selectors.EVENT_READ)
            if self._commands is not None:
                selector.register(self._commands[0], selectors.EVENT_READ)
            return {key.fd for key, _ in selector.select(wait)}

    def close(self) -> None:
        """Take all ports away."""
        for line in self._lines:
            line.port.close()
