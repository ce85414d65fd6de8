"""What the simulated machine behind a console does, as a bench file says it. The simulator loads this and no port."""

from __future__ import annotations

import msgspec

from bench.files import Inconsistent
from bench.instruments.profile.line import Line
from bench.quantity import Duration


class Utterance(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Something that a simulated machine says on its console, and when: by the clock, or after one thing that
    happens."""

    text: str
    after: Duration = msgspec.field(default_factory=lambda: Duration(0.0))
    """How long after what happens, or after the beginning."""
    every: Duration | None = None
    """How long from one time to the next, for what is said by the clock."""
    closed: str = ""
    """After this breaker is closed."""
    opened: str = ""
    """After this breaker is opened."""
    loose: str = ""
    """After a contact of this conductor opens that comes and goes."""
    heard: str = ""
    """After a line with this text was sent to it."""

    def __post_init__(self) -> None:
        if sum(1 for one in (self.closed, self.opened, self.loose, self.heard) if one) > 1:
            raise Inconsistent("two things that it goes by", "one of closed, opened, loose and heard, or none")
        if self.every is not None and (self.every.value <= 0 or self.closed or self.opened or self.loose or self.heard):
            raise Inconsistent("'every' beside what it goes by, or not above 0 s", "a time above 0 s, by itself")


class SimulatedConsole(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """What the simulated machine behind a console does."""

    baud: int = 9600
    """The rate that it really has. A port that is set to another one hears what such a port hears."""
    says: list[Utterance] = []
    """What it says, and when."""
    noise: float = 0.0
    """Part of its characters that are damaged on the way."""

    def __post_init__(self) -> None:
        Line(baud=self.baud)
        if not 0 <= self.noise < 1:
            raise Inconsistent(f"noise {self.noise}", "0 or more, and below 1")
