"""A machine of the plant that talks on its console: when it starts, when something happens, when it is asked."""

from __future__ import annotations

import random
from collections.abc import Callable, Collection
from typing import Final

from bench.instruments.simulated_console import SimulatedConsole, Utterance
from bench.simulate.uart import heard

LOOK_S: Final = 0.02
"""How often it looks whether a contact is open."""


class ConsoleTwin:
    """The machine's side of a console; see :class:`bench.simulate.port_ends.Instrument`.

    Args:
        said: what it says, and when.
        loose_now: the conductors whose contact is open, by the time.
        set_to: the rate that whoever listens has set, in bits a second; 0 where there is none.
        seed: of the noise.
    """

    def __init__(
        self,
        said: SimulatedConsole,
        loose_now: Callable[[float], Collection[str]],
        set_to: Callable[[], float],
        *,
        seed: int = 0,
    ) -> None:
        self._said, self._loose_now, self._set_to = said, loose_now, set_to
        self._random = random.Random(f"console {seed}")
        self._due: list[tuple[float, Utterance]] = [
            (one.after.value, one) for one in said.says if not (one.closed or one.opened or one.loose or one.heard)
        ]
        self._closed: frozenset[str] = frozenset()
        self._open: frozenset[str] = frozenset()
        self._typed = b""
        self._looks = any(one.loose for one in said.says)
        self._now = 0.0

    def receive(self, data: bytes, now: float) -> None:
        """Take what is sent to it, line by line."""
        rate = self._set_to()
        came = heard(data, rate, self._said.baud) if rate else data
        self._typed += came.replace(b"\n", b"\r")
        *lines, self._typed = self._typed.split(b"\r")
        for line in lines:
            text = line.decode("utf-8", "replace")
            for one in self._said.says:
                if one.heard and one.heard in text:
                    self._due.append((now + one.after.value, one))

    def breakers(self, closed: Collection[str], now: float) -> None:
        """These are closed from now on, all others open."""
        for name in frozenset(closed) - self._closed:
            self._due += [(now + one.after.value, one) for one in self._said.says if one.closed == name]
        for name in self._closed - frozenset(closed):
            self._due += [(now + one.after.value, one) for one in self._said.says if one.opened == name]
        self._closed = frozenset(closed)

    def send(self, now: float) -> bytes:
        """What it says now, as whoever listens hears it."""
        self._now = now
        if self._looks:
            loose = frozenset(self._loose_now(now))
            for name in loose - self._open:
                self._due += [(now + one.after.value, one) for one in self._said.says if one.loose == name]
            self._open = loose
        ready = sorted((one for one in self._due if one[0] <= now), key=lambda one: one[0])
        self._due = [one for one in self._due if one[0] > now]
        text = b""
        for at, one in ready:
            text += one.text.encode() + b"\r\n"
            if one.every is not None:
                # what was missed while time jumped is not said a hundred times over
                self._due.append((max(at + one.every.value, now), one))
        if not text:
            return b""
        rate = self._set_to()
        came = heard(text, self._said.baud, rate) if rate else text
        if not self._said.noise:
            return came
        return bytes(
            self._random.randrange(128, 256) if self._random.random() < self._said.noise else one for one in came
        )

    @property
    def wake_at(self) -> float | None:
        """When there is something to say, or to look at."""
        times = [at for at, _ in self._due]
        if self._looks:
            times.append(self._now + LOOK_S)
        return min(times, default=None)
