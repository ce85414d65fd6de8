"""Listens to consoles of the plant: a thread for each port, as long as a walk or a watch runs.

Whatever a machine says is told with the moment at which it came. A port that is lost is tried again until it is back.
Nothing is ever sent but by :meth:`Listening.send`.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import Final

import msgspec

from bench.instruments.console_text import ConsoleText, Spoken
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.wire.conversation import Trace

AGAIN_S: Final = 1.0
"""Seconds between two tries to open a port."""
SLICE_S: Final = 0.05
"""Seconds of one wait for a port, and so the longest until something is sent."""
TOGETHER_S: Final = 0.1
"""Lines that come within this time are told together: a machine that starts says hundreds a second."""
SENT_WITHIN_S: Final = 5.0
"""Seconds after which something that was to be sent is given up."""


class ConsolePort(msgspec.Struct, frozen=True):
    """A console, not open yet.

    Attributes:
        name: as the bench file has it.
        opener: opens its port.
        baud: as it is set.
        trace: is told every byte.
    """

    name: str
    opener: Callable[[], Transport]
    baud: int
    trace: Trace | None = None


class Spoke(msgspec.Struct, frozen=True):
    """What a console said; or what is wrong with it.

    Attributes:
        console: which.
        lines: with monotonic seconds.
        wrong: what is wrong now, in words; empty where nothing is new.
        at: monotonic seconds.
    """

    console: str
    lines: tuple[Spoken, ...]
    wrong: str
    at: float


class Listening:
    """The consoles of a bench. Use as a context manager.

    Args:
        consoles: their ports.
        tell: is called with what each says, on a thread of its own.
    """

    def __init__(self, consoles: Sequence[ConsolePort], tell: Callable[[Spoke], None]) -> None:
        self._ears = {one.name: _Ear(one, tell) for one in consoles}

    def __enter__(self) -> Listening:
        for ear in self._ears.values():
            ear.start()
        return self

    def __exit__(self, *_: object) -> None:
        for ear in self._ears.values():
            ear.stop()
        for ear in self._ears.values():
            ear.join(5.0)

    def send(self, console: str, data: bytes) -> str:
        """Send something, and wait until the port took it.

        Args:
            console: to which.
            data: what.

        Returns:
            Why it was not sent; empty where it was.
        """
        ear = self._ears.get(console)
        if ear is None:
            return f"this bench has no console '{console}'"
        return ear.send(data)


class _Letter(msgspec.Struct):
    """Something to be sent.

    Attributes:
        data: what.
        done: set when it went, or did not.
        why: why it did not.
        late: whoever wanted it sent has given up.
    """

    data: bytes
    done: threading.Event = msgspec.field(default_factory=threading.Event)
    why: str = ""
    late: bool = False


class _Ear(threading.Thread):
    """Listens to one console."""

    def __init__(self, port: ConsolePort, tell: Callable[[Spoke], None]) -> None:
        super().__init__(name=f"console {port.name}", daemon=True)
        self._port, self._tell = port, tell
        self._over = threading.Event()
        self._letters: queue.SimpleQueue[_Letter] = queue.SimpleQueue()
        self._there = threading.Event()

    def stop(self) -> None:
        """End it soon."""
        self._over.set()

    def send(self, data: bytes) -> str:
        """Have it sent; see :meth:`Listening.send`."""
        if not self._there.is_set():
            return f"the port of {self._port.name} is not there"
        letter = _Letter(data)
        self._letters.put(letter)
        if not letter.done.wait(SENT_WITHIN_S):
            letter.late = True
            return f"{self._port.name} took nothing in {SENT_WITHIN_S:g} s"
        return letter.why

    def run(self) -> None:
        """Listen until it is over; open the port again where it is lost."""
        lost = ""
        while not self._over.is_set():
            try:
                transport = self._port.opener()
            except InstrumentTrouble as trouble:
                lost = self._lost(lost, trouble)
                self._over.wait(AGAIN_S)
                continue
            try:
                if lost:
                    self._said((), f"the port of {self._port.name} is there again")
                lost = ""
                self._there.set()
                self._listen(transport)
            except InstrumentTrouble as trouble:
                lost = self._lost(lost, trouble)
            finally:
                self._there.clear()
                transport.close()
                self._refuse()
            self._over.wait(AGAIN_S)

    def _lost(self, before: str, trouble: InstrumentTrouble) -> str:
        why = f"nothing is heard: {trouble.what}"
        if why != before:
            self._said((), why)
        return why

    def _said(self, lines: Sequence[Spoken], wrong: str) -> None:
        self._tell(Spoke(self._port.name, tuple(lines), wrong, time.monotonic()))

    def _refuse(self) -> None:
        while True:
            try:
                letter = self._letters.get_nowait()
            except queue.Empty:
                return
            letter.why = f"the port of {self._port.name} is not there"
            letter.done.set()

    def _listen(self, transport: Transport) -> None:
        text, told = ConsoleText(self._port.baud), ""
        waiting: list[Spoken] = []
        while not self._over.is_set():
            self._post(transport)
            data = transport.read(time.monotonic() + SLICE_S)
            now = time.monotonic()
            if data and self._port.trace is not None:
                self._port.trace("received", data, now)
            waiting += text.feed(data, now)
            # what is wrong is told once, and again only where it is another thing
            kind = text.wrong.partition(":")[2]
            fresh = text.wrong if kind != told else ""
            told = kind
            if fresh or (waiting and now - waiting[0].at >= TOGETHER_S):
                self._said(waiting, fresh)
                waiting = []
        if waiting:
            self._said(waiting, "")

    def _post(self, transport: Transport) -> None:
        try:
            letter = self._letters.get_nowait()
        except queue.Empty:
            return
        if letter.late:
            return
        try:
            transport.write(letter.data)
            if self._port.trace is not None:
                self._port.trace("sent", letter.data, time.monotonic())
        except InstrumentTrouble as trouble:
            letter.why = trouble.what
            raise
        finally:
            letter.done.set()
