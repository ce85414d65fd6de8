"""One port for several instruments: stations on a bus, or one box that the bench file knows by several names.

Each has an end of its own, and only who has the turn talks. Turns go round in order, but for whoever makes something
safe: that one is next, and what is under way on the line is given up for it. An order to switch off waits for no turn:
whoever has the line sends it between two looks at what comes in, even while it makes something else safe that does not
answer.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from functools import partial
from time import monotonic, sleep
from typing import Final

from bench.instruments.ports.address import port_key
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble, Yielded

SLICE: Final = 0.02
"""Seconds of one wait of an end, and so the longest until it notices that the line is wanted for something else."""


class Turns:
    """A lock that one thread has, any number of times over; those who wait get it in the order in which they came."""

    def __init__(self) -> None:
        self._changed = threading.Condition(threading.Lock())
        self._waiting: deque[object] = deque()
        self._first: set[object] = set()
        """Those of them who go before all others."""
        self._owner: int | None = None
        self._depth = 0

    def acquire(self, blocking: bool = True, timeout: float = -1.0, *, first: bool = False) -> bool:
        """Take the turn.

        Args:
            blocking: whether to wait for it.
            timeout: seconds to wait at most; below zero: for ever.
            first: before all others who wait.

        Returns:
            Whether this thread has it.
        """
        me = threading.get_ident()
        with self._changed:
            if self._owner == me:
                self._depth += 1
                return True
            if self._owner is not None or (self._waiting and not first):
                if not blocking:
                    return False
                ticket = object()
                if first:
                    self._waiting.appendleft(ticket)
                    self._first.add(ticket)
                else:
                    self._waiting.append(ticket)
                mine = self._changed.wait_for(
                    lambda: self._owner is None and self._waiting[0] is ticket, timeout if timeout >= 0 else None
                )
                self._waiting.remove(ticket)
                self._first.discard(ticket)
                if not mine:
                    self._changed.notify_all()
                    return False
            self._owner, self._depth = me, 1
            return True

    def release(self) -> None:
        """Give it back, as often as it was taken."""
        with self._changed:
            assert self._owner == threading.get_ident(), "who releases has the turn"
            self._depth -= 1
            if not self._depth:
                self._owner = None
                self._changed.notify_all()

    def rest(self, seconds: float) -> None:
        """Let others have a turn, and those who go first until they are done; then take it back before all others."""
        with self._changed:
            ahead = set(self._first)
            depth, self._depth, self._owner = self._depth, 0, None
            self._changed.notify_all()
        sleep(seconds)
        with self._changed:
            ticket = object()
            self._waiting.insert(sum(one in ahead for one in self._waiting), ticket)
            self._changed.wait_for(lambda: self._owner is None and self._waiting[0] is ticket)
            self._waiting.remove(ticket)
            self._owner, self._depth = threading.get_ident(), depth

    def __enter__(self) -> Turns:
        self.acquire()
        return self

    def __exit__(self, *exception: object) -> None:
        self.release()


class _Bus:
    """One open port and all its ends."""

    def __init__(self, key: str, port: Transport, gap: float) -> None:
        self.key = key
        self.port = port
        self.gap = gap
        self.turns = Turns()
        self.ends: set[SharedPort] = set()
        self.spoke: SharedPort | None = None
        self.spoke_at = float("-inf")
        self.set_by: SharedPort | None = None
        self.wanted_by: SharedPort | None = None
        self.off: list[tuple[SharedPort, tuple[bytes, ...]]] = []
        """Orders to switch off that nobody has sent yet, each piece by itself."""


_buses: Final[dict[str, _Bus]] = {}
_known: Final = threading.Lock()


class SharedPort:
    """One instrument's end of a port that others have too; see :class:`bench.instruments.ports.transport.Transport`.

    Args:
        address: the port's.
        opener: opens it, where no other end has done so.
        gap: seconds of silence before another end than the last one talks.

    Raises:
        InstrumentTrouble: what opening it came to.
    """

    def __init__(self, address: str, opener: Callable[[], Transport], gap: float = 0.0) -> None:
        self.address = address
        self._aborted = threading.Event()
        self._heed = True
        key = port_key(address)
        with _known:
            bus = _buses.get(key)
            if bus is None:
                bus = _buses[key] = _Bus(key, opener(), gap)
            bus.ends.add(self)
            bus.gap = max(bus.gap, gap)
        self._bus = bus

    @property
    def turns(self) -> Turns:
        """Who has the line."""
        return self._bus.turns

    # ---- what is set at one box by several names -----------------------------------------------

    def sets(self) -> None:
        """This end sets something at the box: what others set there may no longer hold."""
        self._bus.set_by = self

    @property
    def set_last(self) -> bool:
        """Whether this end was the last to set something."""
        return self._bus.set_by is self

    # ---- bytes ---------------------------------------------------------------------------------

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        self._let_through()
        self._check()
        bus = self._bus
        if bus.spoke is not self:
            sleep(max(0.0, bus.spoke_at + bus.gap - monotonic()))
        bus.spoke = self
        self._through(lambda: bus.port.write(data))

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        while True:
            self._let_through()
            self._check()
            data = self._through(lambda: self._bus.port.read(min(deadline, monotonic() + SLICE)))
            if data or monotonic() >= deadline:
                return data or b""

    def _through(self, act: Callable[[], bytes | None]) -> bytes | None:
        try:
            found = act()
        except InstrumentTrouble as trouble:
            if trouble.kind == "lost":
                self._forget()
            raise
        if found is None or found:
            self._bus.spoke_at = monotonic()
        return found

    def _forget(self) -> None:
        """The port is gone: whoever opens it next opens it anew."""
        with _known:
            if _buses.get(self._bus.key) is self._bus:
                del _buses[self._bus.key]
        self._bus.port.close()

    def _check(self) -> None:
        if not self._heed:
            return
        if self._aborted.is_set():
            raise InstrumentTrouble("aborted", "Stopped.")
        if self._bus.wanted_by not in (None, self):
            raise InstrumentTrouble(
                "silent", f"The port {self.address} was needed to make something safe.", "Try again."
            )

    def first(self, orders: tuple[bytes, ...]) -> None:
        """Have whoever has the line send orders to switch off before anything else.

        Args:
            orders: each as it goes over the wire; some instruments know them by the silence between them.
        """
        if orders:
            self._bus.off.append((self, orders))

    def _let_through(self) -> None:
        """Send what must go off now; for whoever has the line.

        Raises:
            Yielded: something was sent for another end, so that answers may be mixed up.
        """
        bus, sent = self._bus, False
        while bus.off:
            end, orders = bus.off.pop(0)
            if end is self:
                continue  # it has the line now, and sends them itself
            for order in orders:
                sleep(max(0.0, bus.spoke_at + bus.gap - monotonic()))
                self._through(partial(bus.port.write, order))
            bus.spoke, sent = end, True
        if sent:
            raise Yielded(self.address)

    # ---- ending what is under way --------------------------------------------------------------

    def wanted(self, wanted: bool) -> None:
        """Whether this end makes something safe: what others have under way on the line is given up then."""
        if wanted:
            self._bus.wanted_by = self
        elif self._bus.wanted_by is self:
            self._bus.wanted_by = None

    def abort(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.abort`; ends what this end has under way."""
        self._aborted.set()

    def heed_abort(self, heed: bool) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.heed_abort`."""
        self._heed = heed

    def clear_abort(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.clear_abort`."""
        self._aborted.clear()

    def close(self) -> None:
        """Give up this end; the last one closes the port."""
        with _known:
            self._bus.ends.discard(self)
            last = not self._bus.ends
            if last and _buses.get(self._bus.key) is self._bus:
                del _buses[self._bus.key]
        if last:
            self._bus.port.close()
