"""The dialogue and the transport together, against a clock: ask and be answered, tell, listen, resynchronise.

Before each question whatever came unasked is read away; if there was anything, or if the line was suspect already, the
line is resynchronised first. So no caller can take an old answer for a new one, and none has to remember to look.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Literal, Protocol

from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble, Yielded
from bench.instruments.wire.dialogue import (
    Dialogue,
    Echo,
    Garbled,
    Late,
    NeedData,
    Quiet,
    Reply,
    State,
    Suspect,
    Unasked,
)
from bench.instruments.wire.framing import Frame
from bench.instruments.wire_text import quote

Clock = Callable[[], float]
"""Seconds on the scale of the transport's deadlines."""


class Trace(Protocol):
    """Is told every byte that goes over the wire."""

    def __call__(self, direction: Literal["sent", "received"], data: bytes, at: float) -> None:
        """``at`` is on the clock of the deadlines."""


RESYNC_TRIES: Final = 3
"""Each waits twice as long for quiet as the one before it; a line that is still wrong after that needs a person."""
BABBLE: Final = 10.0
"""Seconds that a line may go on sending while it is drained; one that goes on longer talks by itself."""
_AT_ONCE: Final = float("-inf")
"""As a deadline: whatever is there, and no waiting."""
SURPLUS_KEPT: Final = 4096
"""Bytes of stale input that are kept for the record of one reading."""


class Conversation:
    """Asks and tells over one line.

    Args:
        dialogue: frames and matches.
        transport: moves bytes.
        clock: the time; the same scale as the transport's deadlines.
        quiet: seconds of silence that say that the line is drained.
        slack: seconds of silence that are waited for after a late answer where nothing can tell one answer from
            another.
        between: seconds at least between an answer and the next command.
        echo_bytes: every byte that is sent comes back first, and is taken out before framing.
        trace: is told every byte.
    """

    def __init__(
        self,
        dialogue: Dialogue,
        transport: Transport,
        clock: Clock,
        *,
        quiet: float,
        slack: float = 0.0,
        between: float = 0.0,
        echo_bytes: bool = False,
        trace: Trace | None = None,
    ) -> None:
        self.dialogue = dialogue
        self.transport = transport
        self.clock = clock
        self.trace = trace
        self.prove: Callable[[], None] | None = None
        """Asks something whose answer only the right instrument, and only now, can give."""
        self.resynchronised: Callable[[str, bytes], None] | None = None
        """Is told when the line was resynchronised: why, and what was thrown away."""
        self.resyncs = 0
        """How often the line was resynchronised."""
        self._quiet = quiet
        self._slack = slack
        self._between = between
        self._echo_bytes = echo_bytes
        self._echo_due = b""
        self._last_heard = float("-inf")
        self._sent: list[bytes] = []
        self._received: list[bytes] = []
        self._resyncing = False

    # ---- what went over the wire -----------------------------------------------------------

    def forget(self) -> None:
        """Begin a new account of what was sent and received."""
        self._sent.clear()
        self._received.clear()

    @property
    def sent(self) -> bytes:
        """All bytes sent since :meth:`forget`."""
        return b"".join(self._sent)

    @property
    def received(self) -> tuple[bytes, ...]:
        """All frames, and what was no frame, received since :meth:`forget`."""
        return tuple(self._received)

    def _keep(self, raw: bytes) -> None:
        if raw:
            self._received.append(raw[:SURPLUS_KEPT])

    # ---- bytes -----------------------------------------------------------------------------

    def _write(self, data: bytes) -> None:
        self._sent.append(data)
        if self.trace is not None:
            self.trace("sent", data, self.clock())
        if self._echo_bytes:
            self._echo_due += data
        self.transport.write(data)

    def _read(self, deadline: float) -> bool:
        data = self.transport.read(deadline)
        if not data:
            return False
        now = self.clock()
        if self.trace is not None:
            self.trace("received", data, now)
        self._last_heard = now
        self.dialogue.receive(self._without_echo(data), now)
        return True

    def _without_echo(self, data: bytes) -> bytes:
        if not self._echo_due:
            return data
        due = self._echo_due[: len(data)]
        if data[: len(due)] != due:
            # no echo after all: what came is looked at as it is
            self._echo_due = b""
            return data
        self._echo_due = self._echo_due[len(due) :]
        return data[len(due) :]

    # ---- asking ----------------------------------------------------------------------------

    def fresh(self) -> None:
        """Read away what came unasked, and resynchronise if there was anything or the line was suspect.

        Raises:
            InstrumentTrouble: it cannot be resynchronised.
        """
        self.collect()
        if not self.dialogue.trusted and not self._resyncing:
            self.resynchronise()

    def collect(self) -> None:
        """Read away what came unasked; the line is suspect if there was anything.

        Raises:
            InstrumentTrouble: ``lost``, ``aborted``.
        """
        while self._read(_AT_ONCE):
            pass
        if self.dialogue.at_rest:
            return  # as before nearly every command
        while True:
            event = self.dialogue.next_event(self.clock())
            if isinstance(event, Unasked):
                self._keep(event.frame.raw)
            elif isinstance(event, Garbled):
                self._keep(event.raw)
            elif not isinstance(event, Echo):
                break
        if self.dialogue.pending and self.dialogue.state in (State.READY, State.PROVING):
            self._keep(self.dialogue.pending)
            self.dialogue.doubt("part of a message came that nobody had asked for")

    def ask(self, command: bytes, wait: float) -> Frame:
        """Send a question and return its answer.

        Args:
            command: without its end.
            wait: seconds until the answer is late.

        Raises:
            InstrumentTrouble: ``silent``, ``garbled``, ``lost``, ``aborted``.
        """
        self.fresh()
        self._refuse_suspect()
        self._hold_off()
        try:
            return self._answer(command, wait)
        except BaseException:
            # whatever ended it, an answer may still be on its way
            if self.dialogue.state is State.ASKED:
                self.dialogue.doubt("a question was given up")
            raise

    def _answer(self, command: bytes, wait: float) -> Frame:
        self._write(self.dialogue.send(command, now=self.clock(), wait=wait))
        while True:
            event = self.dialogue.next_event(self.clock())
            if isinstance(event, NeedData):
                self._read(event.until if event.until is not None else self.clock() + wait)
            elif isinstance(event, Reply):
                self._keep(event.frame.raw)
                return event.frame
            elif isinstance(event, Late):
                self._keep(event.got)
                raise self._late(command, wait, event.got)
            elif isinstance(event, Garbled):
                self._keep(event.raw)
                raise self._garbled(event.raw, event.why)
            elif isinstance(event, Suspect):
                self._refuse_suspect()

    def tell(self, command: bytes, wait: float) -> None:
        """Send a command that has no answer.

        Args:
            command: without its end.
            wait: seconds that its echo may take, on a line that echoes.

        Raises:
            InstrumentTrouble: ``silent`` (an echo did not come), ``garbled``, ``lost``, ``aborted``.
        """
        self.fresh()
        self._refuse_suspect()
        self._hold_off()
        echoes = self.dialogue.echoes
        self._write(self.dialogue.send(command, now=self.clock(), wait=None))
        if self.dialogue.must_echo or echoes:
            self._await_echo(command, echoes, wait)

    def _await_echo(self, command: bytes, echoes: int, wait: float) -> None:
        must = self.dialogue.must_echo
        deadline = self.clock() + (wait if must else self._quiet)
        while self.dialogue.echoes == echoes:
            event = self.dialogue.next_event(self.clock())
            if isinstance(event, Suspect):
                self._refuse_suspect()
            if isinstance(event, NeedData) and not self._read(deadline) and self.clock() >= deadline:
                if not must:
                    # it echoed before and no longer does
                    self.dialogue.echoes = 0
                    return
                self.dialogue.doubt("an echo did not come")
                raise InstrumentTrouble(
                    "silent",
                    f"The echo of {quote(command)} did not come within {wait:g} s.",
                    "Check the cable.",
                    effect_unknown=True,
                )

    def wake(self, data: bytes, pause: float) -> None:
        """Send bytes before anything is asked, and let time pass; what comes back is thrown away.

        Raises:
            InstrumentTrouble: ``lost``, ``aborted``, ``silent`` (the port does not take them).
        """
        self.dialogue.doubt("it was woken")
        self._write(data)
        self.pause(pause)

    def urgent(self, commands: tuple[bytes, ...]) -> None:
        """Send commands whatever the state of the line: for switching off. What was half sent is ended first.

        Raises:
            InstrumentTrouble: ``lost``, ``silent`` (the port does not take them).
        """
        self.dialogue.doubt("something was switched off in a hurry")
        for data in self.pieces(commands):
            if self._between:
                self.pause(self._between)
            self._write(data)

    def pieces(self, commands: tuple[bytes, ...]) -> tuple[bytes, ...]:
        """Urgent commands as they go over the wire: in one piece, or one by one where silence must lie between them."""
        data = tuple(found for found in map(self.dialogue.bytes_of, (b"", *commands)) if found)
        # an instrument that knows its frames by the silence between them takes none that follow at once
        return data if self._between else (b"".join(data),)

    def pause(self, seconds: float) -> None:
        """Let time pass; an abort ends it, and what comes meanwhile is taken in.

        Raises:
            InstrumentTrouble: ``lost``, ``aborted``.
        """
        end = self.clock() + seconds
        while self.clock() < end:
            self._read(end)

    def _hold_off(self) -> None:
        if self._between:
            left = self._last_heard + self._between - self.clock()
            if left > 0:
                self.pause(left)

    def _refuse_suspect(self) -> None:
        if not self.dialogue.trusted and self.dialogue.state is not State.PROVING:
            raise InstrumentTrouble(
                "garbled",
                f"The line to {self.transport.address} cannot be trusted: {self.dialogue.why_suspect}.",
                "Try again; if it stays, check cable, line settings, and that nobody else talks to the instrument.",
                raw=self.received,
            )

    def _late(self, command: bytes, wait: float, got: bytes) -> InstrumentTrouble:
        question = f" {quote(command)}" if command else ""
        if not got:
            return InstrumentTrouble(
                "silent",
                f"No answer to{question or ' the request'} within {wait:.3g} s.",
                "Is the instrument on, the cable in its port, and set to remote? Are baud and line ends right?",
                raw=self.received,
            )
        return InstrumentTrouble(
            "silent",
            f"Only part of an answer to{question or ' the request'} came within {wait:.3g} s: {quote(got[:60])}.",
            "Check the cable; if it is always so, check the line end in the profile.",
            raw=self.received,
        )

    def _garbled(self, raw: bytes, why: str) -> InstrumentTrouble:
        return InstrumentTrouble(
            "garbled",
            f"The answer {quote(raw[:60])} cannot be read: {why}.",
            "Check baud, parity, line end and cable.",
            raw=self.received,
        )

    # ---- listening -------------------------------------------------------------------------

    def listen(self, deadline: float) -> Frame | Garbled:
        """The next frame that comes unasked, or noise in its place.

        Raises:
            InstrumentTrouble: ``silent`` when the deadline passes, ``lost``, ``aborted``.
        """
        while True:
            event = self.dialogue.next_event(self.clock())
            if isinstance(event, Unasked):
                self._keep(event.frame.raw)
                return event.frame
            if isinstance(event, Garbled):
                self._keep(event.raw)
                return event
            if isinstance(event, NeedData) and not self._read(deadline) and self.clock() >= deadline:
                got = self.dialogue.pending
                self._keep(got)
                raise InstrumentTrouble(
                    "silent",
                    f"Only part of a reading came: {quote(got[:60])}." if got else "The instrument sends nothing.",
                    "Is it on, and is its sending switched on? Many meters stop by themselves to save the battery.",
                    raw=self.received,
                )

    def drop_old(self) -> None:
        """Drop what came unasked so far, and the rest of what is under way.

        Raises:
            InstrumentTrouble: ``lost``, ``aborted``.
        """
        while self._read(_AT_ONCE):
            pass
        while isinstance(self.dialogue.next_event(self.clock()), Unasked | Garbled | Echo):
            pass
        self.dialogue.skip_current()

    # ---- resynchronising -------------------------------------------------------------------

    def resynchronise(self) -> None:
        """Drain the line until it is quiet, have the instrument prove itself, and trust the line again.

        Raises:
            InstrumentTrouble: it did not come right in :data:`RESYNC_TRIES` tries.
        """
        why = self.dialogue.why_suspect
        quiet = max(self._quiet, self._slack)
        dropped = b""
        trouble: InstrumentTrouble | None = None
        self._resyncing = True
        self.resyncs += 1
        try:
            for attempt in range(RESYNC_TRIES):
                dropped += self._drain(quiet * 2**attempt)
                try:
                    if self.prove is not None:
                        self.prove()
                    self.collect()
                    self._refuse_doubt_in_proof()
                except InstrumentTrouble as error:
                    if error.kind not in ("silent", "garbled") or isinstance(error, Yielded):
                        raise
                    trouble = error
                    continue
                self.dialogue.trust()
                if self.resynchronised is not None and why:
                    self.resynchronised(why, dropped)
                return
        finally:
            self._resyncing = False
        assert trouble is not None
        raise InstrumentTrouble(
            trouble.kind,
            f"The line to {self.transport.address} could not be brought in step again: {trouble.what}",
            trouble.advice,
            raw=self.received,
        ) from trouble

    def _refuse_doubt_in_proof(self) -> None:
        if self.dialogue.state is not State.PROVING:
            raise InstrumentTrouble("garbled", f"More came than was asked for: {self.dialogue.why_suspect}.")

    def _drain(self, quiet: float) -> bytes:
        self._echo_due = b""
        self.dialogue.resynchronise(self.clock(), quiet)
        give_up = self.clock() + BABBLE + quiet
        while True:
            event = self.dialogue.next_event(self.clock())
            if isinstance(event, Quiet):
                self._keep(event.dropped)
                return event.dropped
            if self.clock() >= give_up:
                raise InstrumentTrouble(
                    "garbled",
                    f"The line to {self.transport.address} does not fall quiet.",
                    "Does this instrument send by itself? Then it needs a profile of the kind 'stream'.",
                    raw=self.received,
                )
            if isinstance(event, NeedData) and event.until is not None:
                self._read(min(event.until, give_up))
