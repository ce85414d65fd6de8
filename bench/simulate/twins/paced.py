"""A simulated instrument that sends at the pace of its own line, whether anybody listens or not.

It has no handshake: what the port at the other end does not take in time is lost, as on a real line.
"""

from __future__ import annotations

from collections import deque


class Paced:
    """Bytes that go out one by one, each when its last bit has passed.

    Args:
        character_time: seconds that one character takes, with its start, parity and stop bits.
        now: when it was switched on.
    """

    def __init__(self, character_time: float, now: float = 0.0) -> None:
        self._character = character_time
        self._line: deque[tuple[float, int]] = deque()
        self._free = now

    def put(self, data: bytes, now: float) -> None:
        """Put bytes on the line; they go out after those that are on it already."""
        at = max(self._free, now)
        for byte in data:
            at += self._character
            self._line.append((at, byte))
        self._free = at

    # for a subclass

    def step(self, now: float) -> None:
        """Let what is due happen."""

    def next_step(self) -> float | None:
        """When :meth:`step` next has something to do by itself; None: not before bytes come."""
        return None

    # the instrument side of a wire

    def receive(self, data: bytes, now: float) -> None:
        """Take bytes that came in; deaf by default."""

    def send(self, now: float) -> bytes:
        """The bytes that have passed by now."""
        self.step(now)
        out = bytearray()
        while self._line and self._line[0][0] <= now:
            out.append(self._line.popleft()[1])
        return bytes(out)

    @property
    def wake_at(self) -> float | None:
        """When :meth:`send` is worth asking again without new input."""
        times = [self._line[0][0] if self._line else None, self.next_step()]
        return min((time for time in times if time is not None), default=None)
