r"""The wire dialogue: bytes in, replies out. No port and no clock; the time is passed in.

Theory. A serial line has no message boundaries, no addresses and no sequence numbers, so the only thing that ties an
answer to its question is order, and order is lost the moment one answer fails to come in time. Therefore the dialogue
is in one of five states, and takes a reply for what it is in one of them only:

    ready      nothing is asked. What comes in now answers nothing.
    asked      one question is open, with a number and a deadline. The next whole frame is its reply.
    suspect    a deadline passed, or something came that cannot be. Nothing may be asked.
    draining   :meth:`resynchronise` was called; bytes are thrown away until the line is quiet.
    proving    it was quiet; one question may be asked, and its reply be looked at. :meth:`trust` ends the suspicion.

               send                reply              deadline, noise, unasked bytes
    ready      asked               -                  suspect (unasked bytes)
    asked      (bug)               ready              suspect
    suspect    (bug)               dropped            suspect
    draining   (bug)               dropped            draining, until quiet: proving
    proving    asked, on trial     proving            suspect

What an instrument or a two-wire bus sends back of our own commands (an echo) is recognised, since it equals a command
that was sent, and set aside.

An instrument that talks unasked (``unasked=True``) has no questions: every frame is handed out as :class:`Unasked`, and
noise between frames makes nothing suspect, since each frame stands for itself.
"""

from __future__ import annotations

from collections import deque
from enum import Enum
from typing import Final

import msgspec

from bench.instruments.wire.framing import Frame, Framer, Noise

LONGEST_KEPT: Final = 65536
"""Bytes that are kept of what was dropped, for the record; a line that babbles must not fill the memory."""
MOST_COMMANDS: Final = 32
"""Commands that are remembered to recognise their echo: more than any set-up sends without asking something."""


class OutOfTurn(RuntimeError):
    """The caller sent something when it may not: a bug in the program, not trouble with an instrument."""


class State(Enum):
    """Where the dialogue stands; see the module's text."""

    READY = "ready"
    ASKED = "asked"
    SUSPECT = "suspect"
    DRAINING = "draining"
    PROVING = "proving"


class NeedData(msgspec.Struct, frozen=True):
    """Nothing to tell. ``until`` is when to ask again without new bytes; None: not before some come."""

    until: float | None


class Reply(msgspec.Struct, frozen=True):
    """The answer to question ``number``."""

    number: int
    command: bytes
    frame: Frame


class Unasked(msgspec.Struct, frozen=True):
    """A frame that answers nothing."""

    frame: Frame


class Echo(msgspec.Struct, frozen=True):
    """A command of ours came back."""

    raw: bytes


class Late(msgspec.Struct, frozen=True):
    """Question ``number`` was not answered by its deadline; ``got`` is what arrived of an answer. The line is
    suspect."""

    number: int
    command: bytes
    got: bytes


class Garbled(msgspec.Struct, frozen=True):
    """Bytes came that are no message. ``number`` is the open question, 0 where none was. The line is suspect."""

    number: int
    raw: bytes
    why: str


class Suspect(msgspec.Struct, frozen=True):
    """Nothing is believed until :meth:`Dialogue.resynchronise`."""

    why: str


class Quiet(msgspec.Struct, frozen=True):
    """The line has been quiet for long enough; ``dropped`` is what was thrown away until then."""

    dropped: bytes


_AT_REST: Final = (State.READY, State.PROVING)

Event = NeedData | Reply | Unasked | Echo | Late | Garbled | Suspect | Quiet


class Dialogue:
    """One side of a conversation over one line.

    Args:
        framer: cuts what comes in.
        write_end: put after each command.
        echo: every command comes back before its answer, and must.
        unasked: frames come without being asked for.
    """

    def __init__(self, framer: Framer, *, write_end: bytes = b"", echo: bool = False, unasked: bool = False) -> None:
        self._framer = framer
        self._write_end = write_end
        self.must_echo = echo
        """Every command comes back before its answer."""
        self._unasked = unasked
        self._state = State.READY
        self._number = 0
        self._command = b""
        self._deadline: float | None = None
        self._why = ""
        self._trial = False
        self._unechoed: deque[bytes] = deque(maxlen=MOST_COMMANDS)
        self._quiet = 0.0
        self._last_byte = 0.0
        self._dropped = bytearray()
        self.echoes = 0
        """Echoes seen so far."""

    @property
    def state(self) -> State:
        """Where the dialogue stands."""
        return self._state

    @property
    def why_suspect(self) -> str:
        """Why the line is not trusted; empty where it is."""
        return self._why

    @property
    def trusted(self) -> bool:
        """Whether a reply would be believed."""
        return not self._why

    def send(self, command: bytes, *, now: float, wait: float | None = None) -> bytes:
        """The bytes of a command.

        Args:
            command: without its end.
            now: the time.
            wait: seconds until the answer is late; None where none is expected.

        Raises:
            OutOfTurn: a question is open, or the line is not trusted.
            ValueError: the command holds its own end.
        """
        if self._state not in (State.READY, State.PROVING):
            raise OutOfTurn(f"send {command!r} while {self._state.value} {self._why}".rstrip())
        data = self.bytes_of(command)
        if wait is not None:
            self._trial = self._state is State.PROVING
            self._number += 1
            self._command = command
            self._deadline = now + wait
            self._state = State.ASKED
        return data

    def bytes_of(self, command: bytes) -> bytes:
        """A command with its end, whatever the state: for what must go out, such as switching off."""
        if self._write_end and self._write_end in command:
            raise ValueError(f"the command {command!r} holds its own end")
        if command:
            self._unechoed.append(command)
        return command + self._write_end

    def receive(self, data: bytes, now: float) -> None:
        """Take bytes that came in."""
        if not data:
            return
        self._last_byte = now
        if self._state in (State.DRAINING, State.SUSPECT):
            self._drop(data)
        else:
            self._framer.push(data)

    def next_event(self, now: float) -> Event:
        """What there is to tell; ask again until it is :class:`NeedData`, :class:`Suspect` or what was waited for."""
        if self._state is State.SUSPECT:
            return Suspect(self._why)
        if self._state is State.DRAINING:
            quiet_at = self._last_byte + self._quiet
            if now < quiet_at:
                return NeedData(quiet_at)
            self._state = State.PROVING
            self._unechoed.clear()
            dropped = bytes(self._dropped)
            self._dropped.clear()
            return Quiet(dropped)
        found = self._framer.pull()
        if found is None:
            return self._nothing(now)
        if isinstance(found, Noise):
            return self._noise(found)
        return self._frame(found)

    def _frame(self, frame: Frame) -> Event:
        if self._is_echo(frame):
            self.echoes += 1
            return Echo(frame.raw)
        if self._unasked:
            return Unasked(frame)
        if self._state is not State.ASKED:
            self._doubt(f"{len(frame.raw)} bytes came that nobody had asked for", frame.raw)
            return Unasked(frame)
        if self.must_echo and self._command in self._unechoed:
            self._doubt("an answer came without the echo of its question", frame.raw)
            return Garbled(self._number, frame.raw, self._why)
        self._settle()
        return Reply(self._number, self._command, frame)

    def _noise(self, noise: Noise) -> Event:
        number = self._number if self._state is State.ASKED else 0
        if not self._unasked:
            self._doubt(f"something came that is no message: {noise.why}", noise.raw)
        return Garbled(number, noise.raw, noise.why)

    def _nothing(self, now: float) -> Event:
        if self._state is State.ASKED and self._deadline is not None:
            if now < self._deadline:
                return NeedData(self._deadline)
            got = self._framer.clear()
            self._doubt("an answer was late", got)
            return Late(self._number, self._command, got)
        return NeedData(None)

    def _is_echo(self, frame: Frame) -> bool:
        if frame.block or not frame.body or frame.body not in self._unechoed:
            return False
        # commands before it were answered or swallowed: their echoes will not come any more
        while self._unechoed.popleft() != frame.body:
            pass
        return True

    def _settle(self) -> None:
        self._unechoed.clear()
        self._deadline = None
        self._state = State.PROVING if self._trial else State.READY
        self._trial = False

    def _doubt(self, why: str, data: bytes) -> None:
        self._why = why
        self._state = State.SUSPECT
        self._deadline = None
        self._trial = False
        self._drop(data + self._framer.clear())

    def _drop(self, data: bytes) -> None:
        room = LONGEST_KEPT - len(self._dropped)
        self._dropped += data[: max(0, room)]

    def doubt(self, why: str) -> None:
        """Make the line suspect for a reason that only the caller can see, such as an answer of another question."""
        self._doubt(why, b"")

    def resynchronise(self, now: float, quiet: float) -> None:
        """Throw bytes away until there were none for ``quiet`` seconds; then comes :class:`Quiet`.

        The dialogue then stands in ``proving``: one question may be asked, and where its reply is right
        :meth:`trust` makes the line good again.
        """
        self._why = self._why or "it is being resynchronised"
        self._drop(self._framer.clear())
        self._state = State.DRAINING
        self._deadline = None
        self._trial = False
        self._quiet = quiet
        self._last_byte = now

    def trust(self) -> None:
        """Believe the line again.

        Raises:
            OutOfTurn: it was not resynchronised.
        """
        if self._state is not State.PROVING:
            raise OutOfTurn(f"trust while {self._state.value}")
        self._state = State.READY
        self._why = ""

    def skip_current(self) -> None:
        """Drop the frame that is under way: it began before it was wanted."""
        if self._framer.pending:
            self._framer.skip_current()

    def skip_first(self) -> None:
        """Drop the first frame where half of one may look whole: opening a port cuts what is under way."""
        self._framer.skip_first()

    @property
    def at_rest(self) -> bool:
        """Whether nothing is asked, nothing pending and nothing to tell."""
        return self._state in _AT_REST and self._framer.empty

    @property
    def pending(self) -> bytes:
        """Bytes that came in and are no whole frame yet."""
        return self._framer.pending
