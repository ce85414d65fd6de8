"""The instrument's side of IEEE 488.2 and SCPI-1999: bytes in, bytes out, no port, no clock.

A :class:`ScpiInstrument` is fed with :meth:`~ScpiInstrument.receive` and asked with
:meth:`~ScpiInstrument.send`; both are told the time, in seconds on any scale that does not run
backwards. Each command may take time. Messages are carried out in the order received, one command
after the other, none before the one before it has ended; a reply waits until its time has come.
:attr:`~ScpiInstrument.wake_at` says when to ask again.

Feeding the bytes one at a time is the same as feeding them at once, at the same time.

What the message exchange does on a byte stream, which has no END, no device clear and no notion of
being addressed to talk (clauses from memory):

- A command error (-1xx) drops the rest of its message, since the header path after it cannot be
  trusted; an execution or device error drops only its own command.
- Messages queue, as they do in most meters on a serial line: there is no INTERRUPTED (-410) and, since nobody is
  addressed to talk, no UNTERMINATED (-420).
- DEADLOCKED (-430): replies that outgrow the output buffer are dropped.
- A query after ``*IDN?`` in one message is -440, since that reply has no definite end.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable

import msgspec

from bench.simulate.scpi.commands import (
    Block,
    Boolean,
    Call,
    Channels,
    Choice,
    Command,
    CommandTree,
    Number,
    Parameter,
    Response,
    Text,
    setting,
    short_form,
    spell,
)
from bench.simulate.scpi.error_queue import ERRORS, ErrorEntry, ErrorQueue, ScpiError, event_bit
from bench.simulate.scpi.status import NAN, OVERLOAD, Register, nr1, nr3, quoted, register_commands
from bench.simulate.scpi.syntax import Datum, Framer, Overrun, Unit, parse_unit

__all__ = [
    "ERRORS",
    "NAN",
    "OVERLOAD",
    "Block",
    "Boolean",
    "Call",
    "Channels",
    "Choice",
    "Command",
    "CommandTree",
    "Datum",
    "ErrorEntry",
    "ErrorQueue",
    "Number",
    "Parameter",
    "Register",
    "Reply",
    "ScpiError",
    "ScpiInstrument",
    "Text",
    "Unit",
    "event_bit",
    "nr1",
    "nr3",
    "quoted",
    "setting",
    "short_form",
    "spell",
]

EAV, QUES, MAV, ESB, MSS, OPER = 4, 8, 16, 32, 64, 128
OPC, PON = 1, 128


class Reply(msgspec.Struct, frozen=True):
    """A response message with its terminator, to be sent at ``not_before`` (seconds) or later."""

    data: bytes
    not_before: float


class _Running:
    """A message being carried out: where it stands, its header path, what it has answered."""

    __slots__ = ("at", "indefinite", "later", "message", "path", "responses")

    def __init__(self, message: bytes) -> None:
        self.message = message
        self.at = 0
        self.path: tuple[str, ...] = ()
        self.responses: list[bytes] = []
        self.indefinite = False
        self.later: Callable[[float], Response] | None = None


class ScpiInstrument:
    """An instrument that understands the common commands, SYSTem:ERRor and STATus.

    ``identity`` is the reply to ``*IDN?``: four fields parted by commas. ``input_limit`` bounds the
    bytes that wait to be carried out, ``output_limit`` those that wait to be sent.

    Subclasses set up their own state, then call this constructor; they declare :meth:`commands` and
    may override the hooks :meth:`reset`, :meth:`self_test`, :meth:`busy_until`,
    :meth:`refresh`, :meth:`next_event_at` and :meth:`aborted`.
    """

    def __init__(
        self,
        identity: str,
        *,
        now: float = 0.0,
        error_capacity: int = 20,
        input_limit: int = 4096,
        output_limit: int = 65536,
    ) -> None:
        if identity.count(",") != 3 or not identity.isascii() or not identity.isprintable():
            raise ValueError(f"an identity has four printable ASCII fields, not {identity!r}")
        self.identity = identity
        self.errors = ErrorQueue(error_capacity)
        self.questionable = Register()
        self.operation = Register()
        self.event_status = PON
        self.event_enable = 0
        self.service_enable = 0
        self.output_limit = output_limit
        self._input_limit = input_limit
        self._framer = Framer(input_limit - 1)  # the terminator takes its place too
        self._waiting: deque[tuple[bytes, float]] = deque()
        self._waiting_bytes = 0
        self._running: _Running | None = None
        self._replies: deque[Reply] = deque()
        self._free_at = now
        self._wait_for_idle = False
        self._signal_complete = False
        self._tree = CommandTree([*self._standard_commands(), *self.commands()])

    # ---- for a subclass --------------------------------------------------------------------

    def commands(self) -> Iterable[Command]:
        """The instrument's own commands."""
        return ()

    def reset(self, now: float) -> None:
        """What ``*RST`` does."""

    def self_test(self) -> bool:
        """Whether the instrument passes ``*TST?``."""
        return True

    def busy_until(self, now: float) -> float:
        """When the overlapped operations end: ``now`` or before if idle, infinity if unknown."""
        return now

    def refresh(self, now: float) -> None:
        """Bring the state up to ``now``; called before each command and whenever time has passed."""

    def next_event_at(self) -> float | None:
        """When :meth:`refresh` next has something to do by itself, if that is known."""
        return None

    def aborted(self, now: float) -> None:
        """Called by :meth:`clear`, which ends what a command was waiting for."""

    # ---- bytes -----------------------------------------------------------------------------

    def receive(self, data: bytes, now: float) -> None:
        """Take bytes from the controller and carry out what is complete and due."""
        self._advance(now)
        for byte in data:
            message = self._framer.push(byte)
            if message is None:
                continue
            if isinstance(message, Overrun) or self._waiting_bytes + len(message) >= self._input_limit:
                self.report(-363)
                continue
            self._waiting.append((message, now))
            self._waiting_bytes += len(message) + 1
            self._advance(now)

    def send(self, now: float) -> bytes:
        """The replies whose time has come."""
        self._advance(now)
        out = bytearray()
        while self._replies and self._replies[0].not_before <= now:
            out += self._replies.popleft().data
        return bytes(out)

    @property
    def replies(self) -> tuple[Reply, ...]:
        """Replies that are made and not yet sent, with the times before which they are not given."""
        return tuple(self._replies)

    @property
    def wake_at(self) -> float | None:
        """When :meth:`send` should next be asked; None while only new bytes can change anything."""
        times = [reply.not_before for reply in self._replies]
        event = self.next_event_at()
        if event is not None:
            times.append(event)
        if self._running is not None or self._waiting:
            waits = self._wait_for_idle
            times.append(self.busy_until(self._free_at) if waits else self._free_at)
        due = min(times, default=math.inf)
        return None if math.isinf(due) else due

    def clear(self, now: float) -> None:
        """Device clear, or a line break: forget input and output, end what is waited for."""
        self._framer.reset()
        self._waiting.clear()
        self._waiting_bytes = 0
        self._running = None
        self._replies.clear()
        self._wait_for_idle = False
        self._signal_complete = False
        self._free_at = now
        self.aborted(now)

    def report(self, number: int, detail: str = "") -> None:
        """Put an error in the queue and set its bit in the standard event status register."""
        self.event_status |= event_bit(number)
        if not self.errors.push(number, detail):
            self.event_status |= event_bit(-350)

    # ---- carrying out ----------------------------------------------------------------------

    def _advance(self, now: float) -> None:
        self._carry_out(now)
        self.refresh(now)

    def _carry_out(self, now: float) -> None:
        while True:
            if self._wait_for_idle:
                idle = self.busy_until(now)
                if idle > now:
                    return
                self._wait_for_idle = False
                self._free_at = max(self._free_at, idle)
            if self._free_at > now:
                return
            if self._running is None:
                if not self._waiting:
                    return
                message, arrived = self._waiting.popleft()
                self._waiting_bytes -= len(message) + 1
                self._running = _Running(message)
                self._free_at = max(self._free_at, arrived)
            self._step(self._running, self._free_at)

    def _step(self, running: _Running, start: float) -> None:
        """Carry out the next command of the message, starting when the one before it ended."""
        try:
            if running.later is not None:
                later, running.later = running.later, None
                self.refresh(start)
                running.responses.append(_encoded(later(start)))
            else:
                unit, running.at = parse_unit(running.message, running.at)
                if unit is not None:
                    self._execute(running, unit, start)
        except ScpiError as error:
            self.report(error.number, error.detail)
            if -200 < error.number <= -100 or -500 < error.number <= -400:
                running.at = len(running.message) + 1
        held = self._wait_for_idle or running.later is not None
        if running.at > len(running.message) and not held:
            self._finish(running, self._free_at)

    def _finish(self, running: _Running, at: float) -> None:
        self._running = None
        if not running.responses:
            return
        data = b";".join(running.responses) + b"\n"
        if sum(len(reply.data) for reply in self._replies) + len(data) > self.output_limit:
            self._replies.clear()
            self.report(-430)
            return
        self._replies.append(Reply(data, at))

    def _execute(self, running: _Running, unit: Unit, now: float) -> None:
        if unit.common:
            command = self._tree.common(unit.path[0])
        else:
            path = unit.path if unit.rooted else running.path + unit.path
            command = self._tree.find(path)
            running.path = path[:-1]
        self.refresh(now)
        if unit.query:
            if command.query is None:
                raise ScpiError(-113)
            if running.indefinite:
                raise ScpiError(-440)
            call = Call(_arguments(command.query_parameters, unit.data), now, now)
            response = command.query(call)
            if callable(response):
                running.later = response
            else:
                running.responses.append(_encoded(response))
            running.indefinite = call.indefinite
        else:
            if command.perform is None:
                raise ScpiError(-113)
            call = Call(_arguments(command.parameters, unit.data), now, now)
            command.perform(call)
        self._free_at = max(self._free_at, call.until)

    # ---- the common commands ---------------------------------------------------------------

    def status_byte(self, now: float) -> int:
        """The status byte, with the master summary in bit 6."""
        self._settle(now)
        byte = EAV if len(self.errors) else 0
        byte |= QUES if self.questionable.event & self.questionable.enable else 0
        byte |= OPER if self.operation.event & self.operation.enable else 0
        byte |= ESB if self.event_status & self.event_enable else 0
        answered = self._running is not None and bool(self._running.responses)
        byte |= MAV if self._replies or answered else 0
        return byte | (MSS if byte & self.service_enable else 0)

    def _settle(self, now: float) -> None:
        self.refresh(now)
        if self._signal_complete and self.busy_until(now) <= now:
            self._signal_complete = False
            self.event_status |= OPC

    def _clear_status(self, call: Call) -> None:
        self.errors.clear()
        self.event_status = 0
        self.questionable.event = 0
        self.operation.event = 0
        self._signal_complete = False

    def _take_event_status(self, call: Call) -> str:
        self._settle(call.now)
        value, self.event_status = self.event_status, 0
        return nr1(value)

    def _reset(self, call: Call) -> None:
        self._signal_complete = False
        self.reset(call.now)

    def _identify(self, call: Call) -> str:
        call.indefinite = True
        return self.identity

    def _complete(self, call: Call) -> None:
        self._signal_complete = True
        self._settle(call.now)

    def _complete_query(self, call: Call) -> str:
        self._wait(call)
        return "1"

    def _wait(self, call: Call) -> None:
        idle = self.busy_until(call.now)
        if math.isinf(idle):
            self._wait_for_idle = True
        else:
            call.until = max(call.until, idle)

    def _test(self, call: Call) -> str:
        if self.self_test():
            return "0"
        self.report(-330)
        return "1"

    def _all_errors(self, call: Call) -> str:
        out = [self.errors.pop().text()]
        while len(self.errors):
            out.append(self.errors.pop().text())
        return ",".join(out)

    def _preset(self, call: Call) -> None:
        self.questionable.enable = 0
        self.operation.enable = 0

    def _standard_commands(self) -> Iterable[Command]:
        byte = Number(minimum=0, maximum=255, integer=True)

        def enable_events(value: int) -> None:
            self.event_enable = value

        def enable_service(value: int) -> None:
            self.service_enable = value & ~MSS

        yield Command("*CLS", perform=self._clear_status)
        yield setting("*ESE", byte, enable_events, lambda: self.event_enable, nr1)
        yield Command("*ESR", query=self._take_event_status)
        yield Command("*IDN", query=self._identify)
        yield Command("*OPC", perform=self._complete, query=self._complete_query)
        yield Command("*RST", perform=self._reset)
        yield setting("*SRE", byte, enable_service, lambda: self.service_enable, nr1)
        yield Command("*STB", query=lambda call: nr1(self.status_byte(call.now)))
        yield Command("*TST", query=self._test)
        yield Command("*WAI", perform=self._wait)
        yield Command(":SYSTem:ERRor[:NEXT]", query=lambda call: self.errors.pop().text())
        yield Command(":SYSTem:ERRor:ALL", query=self._all_errors)
        yield Command(":SYSTem:ERRor:COUNt", query=lambda call: nr1(len(self.errors)))
        yield Command(":SYSTem:VERSion", query=lambda call: "1999.0")
        yield Command(":STATus:PRESet", perform=self._preset)
        yield from register_commands(":STATus:QUEStionable", self.questionable)
        yield from register_commands(":STATus:OPERation", self.operation)


def _encoded(response: Response) -> bytes:
    return response.encode("latin-1", "replace") if isinstance(response, str) else response


def _arguments(parameters: tuple[Parameter, ...], data: tuple[Datum, ...]) -> tuple[object, ...]:
    if len(data) > len(parameters):
        raise ScpiError(-108)
    out: list[object] = []
    for k, parameter in enumerate(parameters):
        if k < len(data):
            out.append(parameter.read(data[k]))
        elif parameter.optional:
            out.append(None)
        else:
            raise ScpiError(-109)
    return tuple(out)
