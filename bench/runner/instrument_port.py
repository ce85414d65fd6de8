"""One instrument as the runner reaches it: how its port is opened, and where else to look for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import msgspec

from bench.instruments.instrument import Instrument

Opener = Callable[[], Instrument]
"""Opens the port of one instrument, not yet identified.

Raises:
    InstrumentTrouble: the port cannot be had.
"""


class InstrumentPort(msgspec.Struct, frozen=True):
    """One instrument of the bench, not open yet.

    Attributes:
        name: in the bench file.
        opener: opens its port.
        outputs: whether it has something that can be on.
        settings: values for its functions' settings, wherever a function has them.
        search: looks for it on other ports, where it can be known there, and gives what opens it; None where it cannot.
            It sends bytes to ports that may not be meant, so it is called only after a person was told so and tried
            again.
        searches: what a person is told before that.
        confirm: whether a person is to say first that who answers there is meant: it has an output, and nothing in the
            bench file tells it from others.
        safe_within: seconds that its profile gives it to become safe, such as for charge to leave.
    """

    name: str
    opener: Opener
    outputs: bool
    settings: Mapping[str, str] = msgspec.field(default_factory=dict)
    search: Callable[[], Opener] | None = None
    searches: str = ""
    safe_within: float = 2.0
    confirm: bool = False
