"""Reads alarm contacts of the plant, each by a meter of its own, as long as a walk or a watch runs.

A contact rests somewhere, closed or open. When it leaves that, its breaker has tripped or its shelf has failed; that is
told with the moment, whatever else is going on. Nobody sends anything to the plant for it.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import Final, Literal

import msgspec

from bench.judge.jumps import OVER, Finder, finder, leaves_rest, look
from bench.runner.instrument_port import InstrumentPort
from bench.runner.watching import Found, Lost, Seen, Wanted, Watcher

READINGS_A_SECOND: Final = 10.0
"""What a false alarm is reckoned by; slower meters bring fewer."""
ALARMS_AN_HOUR: Final = 0.001
"""False ones, of steady readings."""
LEAST: Final = {"resistance": 10.0, "voltage": 1.0}
"""Ohms and volts that a contact changes by at least: one that is oxidised wanders by less (our own figures)."""
AGAIN_S: Final = 10.0
"""A relay that chatters within this time has tripped once."""


class ContactPort(msgspec.Struct, frozen=True):
    """An alarm contact, its meter not open yet.

    Attributes:
        thing: the breaker or shelf that it speaks of.
        name: of the contact.
        reads: resistance or voltage.
        port: its meter.
    """

    thing: str
    name: str
    reads: Literal["resistance", "voltage"]
    port: InstrumentPort


class ContactTold(msgspec.Struct, frozen=True):
    """What an alarm contact tells.

    Attributes:
        thing: the breaker or shelf.
        contact: which contact.
        at: monotonic seconds.
        tripped: whether it left where it rests; else ``text`` is a remark.
        text: in words.
    """

    thing: str
    contact: str
    at: float
    tripped: bool
    text: str


class AlarmContacts:
    """The alarm contacts of a bench. Use as a context manager.

    Args:
        contacts: what is read, and by what.
        tell: is called with what they tell, on a thread of its own.
    """

    def __init__(self, contacts: Sequence[ContactPort], tell: Callable[[ContactTold], None]) -> None:
        self._contacts, self._tell = tuple(contacts), tell
        wanted: Mapping[str, Sequence[Wanted]] = {
            one.port.name: (Wanted(place, one.reads),) for place, one in enumerate(self._contacts)
        }
        self._watcher = Watcher([one.port for one in self._contacts], wanted)
        self._minds = [Contact(one) for one in self._contacts]
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="alarm contacts", daemon=True)

    def __enter__(self) -> AlarmContacts:
        if self._contacts:
            self._watcher.__enter__()
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        if self._contacts:
            self._watcher.__exit__()
            self._thread.join(5.0)

    def _run(self) -> None:
        while not self._over.is_set():
            try:
                news = self._watcher.news.get(timeout=0.2)
            except queue.Empty:
                continue
            for point in [news.point] if isinstance(news, Seen) else news.points:
                told = self._minds[point].take(news)
                if told is not None:
                    self._tell(told)


class Contact:
    """What is known of one contact.

    Args:
        port: which it is.
    """

    def __init__(self, port: ContactPort) -> None:
        self._port = port
        self._finder: Finder | None = None
        self._rest: float | None = None
        self._away = False
        self._lost = False
        self._told = -AGAIN_S

    def take(self, news: Seen | Lost | Found) -> ContactTold | None:
        """Take a reading, or that its meter is gone or there again; what is to be told of it."""
        match news:
            case Lost(at=at, why=why):
                self._lost = True
                return self._say(at, f"alarm contact {self._port.name} is not read: {why}")
            case Found(at=at):
                lost, self._lost = self._lost, False
                return self._say(at, f"alarm contact {self._port.name} is read again") if lost else None
            case Seen():
                return self._seen(news)

    def _seen(self, seen: Seen) -> ContactTold | None:
        value = OVER if seen.value is None else seen.value
        if self._finder is None:
            self._finder = finder(READINGS_A_SECOND, ALARMS_AN_HOUR, seen.resolution)
        self._finder, begun, _ = look(self._finder, seen.at, value)
        if self._rest is None:
            self._rest = self._finder.level
        if self._rest is None:
            return None
        if self._away:
            # back is where it rested, whatever it settled at meanwhile
            if self._near_rest(value):
                self._away = False
                self._told = seen.at
                return self._say(seen.at, f"alarm contact {self._port.name} is back where it rests")
            return None
        if begun is None or self._near_rest(value) or not leaves_rest(begun.level, self._rest, value):
            return None
        self._away = True
        if seen.at - self._told < AGAIN_S:
            return None
        return ContactTold(self._port.thing, self._port.name, seen.at, True, "its alarm contact changed")

    def _near_rest(self, value: float) -> bool:
        rest = self._rest
        if rest is None or OVER in (rest, value):
            return rest == value
        return abs(value - rest) <= max(LEAST[self._port.reads], 0.5 * abs(rest))

    def _say(self, at: float, text: str) -> ContactTold:
        return ContactTold(self._port.thing, self._port.name, at, False, text)
