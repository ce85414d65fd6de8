"""Replaying the examples of a profile byte for byte: the check that a profile says what its author means.

No port and no real clock: a scripted transport hands out what the example received, once what the example sent has
been sent, and time jumps to each deadline.
"""

from __future__ import annotations

import math

from bench.instruments import outputs
from bench.instruments.parts import Decoder
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Example, Exchange, Expected, Profile
from bench.instruments.reading import Taker
from bench.instruments.session import Session
from bench.instruments.values import Sample
from bench.instruments.wire_text import quote


class WrongBytes(ValueError):
    """Other bytes were sent than the script has."""


class Script:
    """A transport that follows a script, with a clock of its own.

    Args:
        exchanges: what must be sent, and what then comes back. One that sends nothing comes by itself, as soon as
            somebody waits.
    """

    def __init__(self, exchanges: list[Exchange]) -> None:
        self.address = "script"
        self.now = 0.0
        self._left = list(exchanges)
        self._sent = b""
        self._ready = b""

    def clock(self) -> float:
        """Seconds since the script began."""
        return self.now

    def write(self, data: bytes) -> None:
        """Compare with the script; raises :class:`WrongBytes`."""
        self._sent += data
        while self._sent and self._left and self._sent.startswith(self._left[0].sent.data):
            exchange = self._left.pop(0)
            if not exchange.sent.data and self._sent:
                continue
            self._sent = self._sent[len(exchange.sent.data) :]
            self._ready += exchange.received.data
        wanted = self._left[0].sent.data if self._left else b""
        if self._sent and not wanted.startswith(self._sent):
            raise WrongBytes(
                f"sent {quote(self._sent)} where the script has {quote(wanted) if wanted else 'nothing more'}"
            )

    def read(self, deadline: float) -> bytes:
        """What the script gives; time jumps to the deadline where it gives nothing."""
        if not self._ready and deadline > self.now and self._left and not self._left[0].sent.data and not self._sent:
            self._ready = self._left.pop(0).received.data
        data, self._ready = self._ready, b""
        if not data:
            self.now = max(self.now, deadline)
        return data

    def finish(self) -> None:
        """Raise :class:`WrongBytes` where something of the script was not used."""
        if self._sent:
            raise WrongBytes(f"sent {quote(self._sent)} beyond the script")
        if self._left:
            raise WrongBytes(f"did not send {quote(self._left[0].sent.data)}")

    def abort(self) -> None:
        """A script does not block."""

    def heed_abort(self, heed: bool) -> None:
        """A script does not block."""

    def clear_abort(self) -> None:
        """A script does not block."""

    def close(self) -> None:
        """Nothing to let go."""


def replay(profile: Profile, example: Example, decoder: Decoder | None = None) -> list[str]:
    """Carry out an example; returns in words what did not come out as it says, empty where all is right."""
    script = Script(example.exchange)
    session = Session(profile, script, script.clock, decoder=decoder)
    gives = example.gives
    try:
        wrong = _carry_out(session, example)
        script.finish()
    except WrongBytes as error:
        return [str(error)]
    except InstrumentTrouble as trouble:
        if trouble.kind == gives.trouble:
            return []
        return [f"trouble '{trouble.kind}' and not '{gives.trouble or 'none'}': {trouble}"]
    if gives.trouble:
        return [f"no trouble '{gives.trouble}'"]
    return wrong


def _carry_out(session: Session, example: Example) -> list[str]:
    gives = example.gives
    if example.does == "open":
        identity = session.open()
        return _unlike("identity", identity.text, gives.identity)
    if example.does in ("configure", "read"):
        taker = _taker(session, example)
        if example.does == "configure":
            taker.configure()
            return []
        return _compare(taker.take(0.0), gives)
    if example.does in ("on", "off"):
        outputs.set_output(session, example.does == "on", example.settings, None)
    elif example.does == "close-channels":
        outputs.set_channels(session, tuple(example.channels))
    else:
        state = outputs.make_safe(session)
        if not state.confirmed:
            raise InstrumentTrouble("unsafe", state.what)
    return []


def _taker(session: Session, example: Example) -> Taker:
    function = session.profile.function(example.function)
    held = function.range_for(example.range.value) if example.range is not None else None
    return Taker(session, function, held, outputs.texts_of(function.settings, example.settings, function.name))


def _compare(sample: Sample, gives: Expected) -> list[str]:
    wrong: list[str] = []
    if (sample.value is None) != (gives.value is None) or (
        sample.value is not None
        and gives.value is not None
        and not math.isclose(sample.value, gives.value, rel_tol=1e-12, abs_tol=1e-15)
    ):
        wrong.append(f"value {sample.value!r}, expected {gives.value!r}")
    if gives.bound is not None:
        wrong += _unlike("bound", sample.bound, gives.bound)
    if gives.unit:
        wrong += _unlike("unit", sample.unit, gives.unit)
    wrong += _unlike("over", sample.over, gives.over)
    wrong += _unlike("nan", sample.nan, gives.nan)
    wrong += _unlike("flags", list(sample.flags), gives.flags)
    return wrong


def _unlike(what: str, found: object, expected: object) -> list[str]:
    return [] if found == expected else [f"{what} {found!r}, expected {expected!r}"]
