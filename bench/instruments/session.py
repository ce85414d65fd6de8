"""One instrument on one line, as its profile says: identify, prove, ask in text, read the error queue, check.

Over 500 lines, since each kind of dialogue is told, asked and proven in its own way, and nothing else may talk.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.instruments.parts import Decoder, Parts
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Check, Function
from bench.instruments.profile.line import Frames, Line, Mbus, Modbus, Poll, Probe, Query, Register, Snmp, Stream
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill
from bench.instruments.values import ANYONE, Expected, Identity, Notice
from bench.instruments.wire.conversation import Clock, Conversation, Trace
from bench.instruments.wire.dialogue import Dialogue
from bench.instruments.wire.framing import DecodedFramer, FixedFramer, Frame, Framer, LineFramer
from bench.instruments.wire.interpret import number_of, parts_of, with_point
from bench.instruments.wire_text import Pattern, WireText, quote

NoticeTaker = Callable[[Notice], None]

OPENED: Final = "the port was opened just now"
DATAGRAMS_APART: Final = 0.001
"""Seconds (our own figure)."""
LATE_SLACK: Final = 1.0
"""Part of the answer's time-out for which the line must be silent after a late answer, where no probe tells answers
apart."""


class Checked(msgspec.Struct, frozen=True):
    """The result of a check.

    Attributes:
        matched: the answer matched.
        holds: it did, and its value lies where it should.
        value: the number in the group ``value``; None where there is none.
        text: the answer.
        raw: its bytes.
    """

    matched: bool
    holds: bool
    value: float | None
    text: str
    raw: bytes


class Session:
    """Asks and tells in the terms of a profile.

    Args:
        profile: the instrument's profile.
        transport: an open port.
        clock: the time, on the scale of the transport's deadlines.
        line: line settings in place of the profile's.
        decoder: for a profile of the kind ``frames``.
        expected: which instrument must answer; by default any of its kind.
        trace: is told every byte.
        notice: is told what was dealt with.
    """

    def __init__(
        self,
        profile: Profile,
        transport: Transport,
        clock: Clock,
        *,
        line: Line | None = None,
        decoder: Decoder | None = None,
        expected: Expected = ANYONE,
        trace: Trace | None = None,
        notice: NoticeTaker | None = None,
    ) -> None:
        self.profile = profile
        self.transport = transport
        self.decoder = decoder
        self.trace = trace
        self._clock = clock
        self.identity: Identity | None = None
        self.expected = expected
        self._notice = notice
        self.hands_off = False
        """It was met and not set up: nobody has said yet that it is the one that is meant, and it is only asked."""
        self._number = 0
        self._transaction = 0
        self.use(line or profile.line)

    def use(self, line: Line) -> None:
        """Talk with these line settings from here on."""
        self.line = line
        profile = self.profile
        binary = isinstance(profile.dialogue, Modbus | Snmp | Mbus | Frames)
        self.conversation = Conversation(
            Dialogue(
                self._framer(),
                write_end=b"" if isinstance(profile.dialogue, Poll) or binary else self.line.write_end.data,
                echo=self.line.echo and not binary,
                unasked=self.unasked,
            ),
            self.transport,
            self._clock,
            quiet=max(self.line.quiet.value, 4 * self.line.character_time),
            slack=0.0 if profile.probe else LATE_SLACK * self.line.timeout.value,
            between=max(self.line.between.value, self._silence),
            echo_bytes=self.line.echo and binary,
            trace=self.trace,
        )
        self.conversation.prove = self._prove
        self.conversation.resynchronised = self._tell_resynchronised

    @property
    def _silence(self) -> float:
        """Seconds that must lie between two frames: three and a half characters on Modbus RTU, by its specification.

        Of datagrams each is a message, so that two are never sent as one.
        """
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Snmp):
            return DATAGRAMS_APART
        rtu = isinstance(dialogue, Modbus) and dialogue.framing == "rtu"
        return 3.5 * self.line.character_time if rtu else 0.0

    @property
    def unasked(self) -> bool:
        """Whether the instrument talks without being asked."""
        dialogue = self.profile.dialogue
        return isinstance(dialogue, Stream) or (isinstance(dialogue, Frames) and not dialogue.ask.data)

    def _framer(self) -> Framer:
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Frames):
            if self.decoder is None:
                raise ValueError(f"the profile '{self.profile.profile}' needs its decoder '{dialogue.decoder}'")
            return DecodedFramer(self.decoder, longest=dialogue.longest)
        if isinstance(dialogue, Modbus):
            from bench.instruments.wire.modbus import framer_for

            return framer_for(dialogue)
        if isinstance(dialogue, Snmp):
            from bench.instruments.wire.snmp import SnmpFramer

            return SnmpFramer()
        if isinstance(dialogue, Mbus):
            from bench.instruments.wire.mbus import MbusFramer

            return MbusFramer()
        if isinstance(dialogue, Poll) and dialogue.length:
            return FixedFramer(dialogue.length, self.line.read_end.data)
        return LineFramer(self.line.read_end.data, blocks=isinstance(dialogue, Query))

    def say(self, notice: Notice) -> None:
        """Pass a notice on."""
        if self._notice is not None:
            self._notice(notice)

    def _tell_resynchronised(self, why: str, dropped: bytes) -> None:
        raw = (dropped,) if dropped else ()
        if why != OPENED:
            self.say(Notice("resynchronised", f"The line was brought in step again: {why}.", raw))

    # ---- opening ---------------------------------------------------------------------------

    def open(self) -> Identity:
        """Settle, drain, identify, see how outputs stand, set up, and find the error queue empty.

        Raises:
            InstrumentTrouble: of any kind but ``unsafe``.
        """
        before = self.identity
        try:
            identity = self.meet()
            self.set_up()
        except BaseException:
            self.identity = before
            raise
        return identity

    def meet(self) -> Identity:
        """Settle, drain, identify, and see how its outputs stand.

        Nothing is sent but questions, and what the profile says wakes it; an instrument with an output is neither set
        nor switched until :meth:`set_up`.

        Raises:
            InstrumentTrouble: of any kind but ``unsafe``; ``mismatch`` where an output does not say how it stands.
        """
        before = self.identity
        self.hands_off = self.profile.safe is not None
        try:
            self._meet()
            self._look_at_outputs()
        except BaseException:
            # what it said in an opening that failed no longer counts
            self.identity = before
            raise
        if self.identity is None:
            self.identity = Identity()
        return self.identity

    def set_up(self) -> None:
        """Set up an instrument that was met, and find its error queue empty.

        Raises:
            InstrumentTrouble: ``refused``, and trouble on the line.
        """
        self.hands_off = False
        if self.unasked:
            return
        if self.profile.safe is not None:
            self._prove_order()
        for command in self.profile.setup:
            self.tell(command)
        self.refuse_errors("setting up")

    def refuse_hands_off(self) -> None:
        """Refuse to set or switch an instrument of which nobody has said yet that it is the one that is meant.

        Raises:
            InstrumentTrouble: ``stranger``.
        """
        if self.hands_off:
            raise InstrumentTrouble(
                "stranger",
                f"Nothing was set or switched at {(self.identity or Identity()).text[:80]!r}: nobody has confirmed yet "
                "that it is the right instrument.",
                "Confirm it, or write its name into the bench file.",
            )

    def _look_at_outputs(self) -> None:
        """See that each output says how it stands, as this kind of instrument does; nothing is changed.

        Raises:
            InstrumentTrouble: ``mismatch``.
        """
        for output in self.profile.outputs:
            checked = self.check(output.is_on, {})
            if not checked.holds:
                checked = self.check(output.is_off, {})
            if not checked.holds:
                raise InstrumentTrouble(
                    "mismatch",
                    f"{output.name} says neither that it is on nor that it is off: {checked.text[:60]!r}.",
                    self._wrong_kind(),
                    raw=(checked.raw,),
                )
        switch = self.profile.switch
        if switch is not None and not (checked := self.check(switch.closed, {})).matched:
            raise InstrumentTrouble(
                "mismatch",
                f"It does not list its closed channels: {checked.text[:60]!r}.",
                self._wrong_kind(),
                raw=(checked.raw,),
            )

    def _meet(self) -> None:
        self.conversation.pause(self.line.settle.value)
        for data in self.line.wake:
            self.conversation.wake(data.data, self.line.wake_pause.value)
        if self.unasked:
            self._open_unasked()
            return
        self.conversation.dialogue.doubt(OPENED)
        self.conversation.resynchronise()

    def _open_unasked(self) -> None:
        conversation = self.conversation
        conversation.dialogue.skip_first()
        dialogue = self.profile.dialogue
        for command in dialogue.start if isinstance(dialogue, Stream) else ():
            self.tell(command)
        deadline = conversation.clock() + self.line.timeout.value + 2 * self.slowest
        seen: list[bytes] = []
        while True:
            found = conversation.listen(deadline)
            if isinstance(found, Frame) and self.parts(found) is not None:
                return
            seen.append(found.raw)
            if len(seen) > 3:
                raise InstrumentTrouble(
                    "garbled",
                    f"What it sends is not what the profile '{self.profile.profile}' describes: "
                    f"{quote(seen[-1][:60])}.",
                    "Is it this kind of instrument? Check baud, data bits and parity.",
                    raw=tuple(seen),
                )

    # ---- asking ----------------------------------------------------------------------------

    def encoded(self, command: str) -> bytes:
        """A command as bytes: as it stands, or the frame that it means where a dialogue is binary."""
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Modbus):
            return self._write_frame(dialogue, command)
        if isinstance(dialogue, Snmp):
            return self._set_frame(dialogue, command)
        if isinstance(dialogue, Frames):
            return WireText.parse(command).data
        return command.encode(self.line.encoding)

    def tell(self, command: str) -> None:
        """Send a command that asks nothing; where the instrument acknowledges such commands, see that it does.

        Raises:
            InstrumentTrouble: ``refused`` where it answers with something else; as :meth:`ask`.
        """
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Modbus):
            self._write(dialogue, command)
            return
        if isinstance(dialogue, Snmp):
            try:
                sent = self._set_frame(dialogue, command)
            except ValueError as error:
                raise InstrumentTrouble("unable", f"{command!r} cannot be sent: {error}.") from error
            self._point_of(dialogue, command.partition("=")[0], sent, 0.0)
            return
        acknowledge = dialogue.acknowledge if isinstance(dialogue, Query | Frames) else None
        if acknowledge is None:
            self.conversation.tell(self.encoded(command), self.line.timeout.value)
            return
        text, raw = self.ask(command)
        if acknowledge.match(text) is None:
            raise InstrumentTrouble(
                "refused",
                f"It answers {text[:60]!r} to {command!r}.",
                "The profile, or what was asked for, does not fit this instrument.",
                raw=(raw,),
                unmatched=acknowledge,
            )

    def _write_frame(self, dialogue: Modbus, command: str) -> bytes:
        from bench.instruments.wire.modbus import write_request

        name, _, value = command.partition("=")
        return write_request(dialogue, dialogue.points[name.strip()], value, self._next_transaction())

    def _write(self, dialogue: Modbus, command: str) -> None:
        from bench.instruments.wire.modbus import answers, body_of, check_written

        try:
            sent = self._write_frame(dialogue, command)
            number = self._transaction
        except ValueError as error:
            raise InstrumentTrouble("unable", f"{command!r} cannot be sent: {error}.") from error
        frame = self.answer(sent)
        try:
            check_written(frame.body, dialogue.points[command.partition("=")[0].strip()], body_of(dialogue, sent))
        except ValueError as error:
            raise self.nonsense(frame.raw, str(error)) from error
        if not answers(dialogue, frame, number):
            raise self.nonsense(frame.raw, "it answers another request")

    def _next_transaction(self) -> int:
        self._transaction = self._transaction % 0xFFFF + 1
        return self._transaction

    def ask(self, command: str, takes: float = 0.0) -> tuple[str, bytes]:
        """Ask a question in text.

        Args:
            command: the question.
            takes: seconds that the instrument works on it, beside the usual time.

        Returns:
            The answer and its raw bytes.

        Raises:
            InstrumentTrouble: ``silent``, ``garbled``, ``lost``, ``aborted``.
        """
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Modbus):
            from bench.instruments.wire.modbus import text_of_point

            register = dialogue.points[command.strip()]
            frame = self.ask_register(register, takes)
            assert frame.parts is not None
            return text_of_point(frame.parts, register), frame.raw
        if isinstance(dialogue, Snmp | Mbus):
            frame = self.ask_point(command, takes)
        else:
            frame = self.answer(self.encoded(command), takes)
        if frame.parts is not None:
            return frame.parts.value, frame.raw
        return self.text_of(frame), frame.raw

    def _set_frame(self, dialogue: Snmp, command: str) -> bytes:
        from bench.instruments.wire.snmp import set_request

        name, _, value = command.partition("=")
        return set_request(dialogue, dialogue.points[name.strip()], value, self._next_transaction())

    def ask_point(self, name: str, takes: float = 0.0) -> Frame:
        """Ask for a value by SNMP or on M-Bus; the frame's ``parts`` hold it."""
        from bench.instruments.wire.snmp import get_request

        dialogue = self.profile.dialogue
        if isinstance(dialogue, Mbus):
            return self._ask_meter(dialogue, name.strip(), takes)
        assert isinstance(dialogue, Snmp)
        sent = get_request(dialogue, dialogue.points[name.strip()], self._next_transaction())
        return self._point_of(dialogue, name, sent, takes)

    def _ask_meter(self, dialogue: Mbus, name: str, takes: float) -> Frame:
        """Have a station on M-Bus say all that it has to say, anew."""
        from bench.instruments.wire import mbus

        frame = self.answer(mbus.reset(dialogue))
        try:
            mbus.refuse_unacknowledged(frame)
            frame = self.answer(mbus.request(dialogue), takes)
            if name == mbus.WHO:
                return replace(frame, parts=Parts(mbus.identity_of(dialogue, frame)))
            return replace(frame, parts=mbus.parts_of(dialogue, frame, name))
        except ValueError as error:
            raise self.nonsense(frame.raw, str(error)) from error

    def _point_of(self, dialogue: Snmp, name: str, sent: bytes, takes: float) -> Frame:
        from bench.instruments.wire.snmp import value_of, with_parts

        number = self._transaction
        frame = self.answer(sent, takes)
        try:
            return with_parts(frame, value_of(dialogue, frame, dialogue.points[name.strip()], number))
        except ValueError as error:
            raise self.nonsense(frame.raw, str(error)) from error

    def answer(self, question: bytes, takes: float = 0.0) -> Frame:
        """Ask a question in bytes: all that is asked goes through here.

        Args:
            question: without its end.
            takes: seconds that the instrument works on it, beside the usual time.

        Raises:
            InstrumentTrouble: ``silent``, ``garbled``, ``lost``, ``aborted``.
        """
        return self.conversation.ask(question, self.line.timeout.value + takes)

    def text_of(self, frame: Frame) -> str:
        """The text of a frame.

        Raises:
            InstrumentTrouble: ``garbled`` where it holds bytes that the encoding does not have.
        """
        try:
            return frame.body.decode(self.line.encoding)
        except UnicodeDecodeError as error:
            raise self.nonsense(frame.raw, f"it is no {self.line.encoding} text") from error

    def nonsense(self, raw: bytes, why: str, unmatched: Pattern | None = None) -> InstrumentTrouble:
        """Doubt the line, and the error that says why."""
        if not self.unasked:
            self.conversation.dialogue.doubt(f"an answer made no sense: {why}")
        return InstrumentTrouble(
            "garbled",
            f"The answer {quote(raw[:60])} cannot be believed: {why}.",
            "Check baud, parity, data bits and cable.",
            raw=(raw,),
            unmatched=unmatched,
        )

    def reply_of(self, function: Function | None) -> Pattern | None:
        """The pattern of a reading; None for one that is taken apart by other means."""
        dialogue = self.profile.dialogue
        if function is not None and function.reply is not None:
            return function.reply
        return dialogue.reply if isinstance(dialogue, Query | Stream | Poll) else None

    def parts(self, frame: Frame, function: Function | None = None) -> Parts | None:
        """The pieces of a reading; None where the frame is none."""
        if frame.parts is not None:
            return frame.parts
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Stream) and dialogue.length not in (0, len(frame.raw)):
            return None
        pattern = self.reply_of(function)
        try:
            text = frame.body.decode(self.line.encoding)
        except UnicodeDecodeError:
            return None
        return parts_of(text, pattern, self.line.decimal) if pattern is not None else None

    def ask_register(self, register: Register, takes: float = 0.0) -> Frame:
        """Read a Modbus value; the frame's ``parts`` hold it."""
        from bench.instruments.wire.modbus import answers, parts_of_response, request

        dialogue = self.profile.dialogue
        assert isinstance(dialogue, Modbus)
        number = self._next_transaction()
        frame = self.answer(request(dialogue, register, number), takes)
        if not answers(dialogue, frame, number):
            raise self.nonsense(frame.raw, "it answers another request")
        try:
            return replace(frame, parts=parts_of_response(frame.body, register))
        except ValueError as error:
            raise self.nonsense(frame.raw, str(error)) from error

    # ---- proving ---------------------------------------------------------------------------

    def _prove(self) -> None:
        """Ask what only this instrument, and only now, can answer."""
        if self.profile.identify is None:
            self._prove_order()
            self._prove_by_shape()
            return
        # who is not known yet is asked for a name before anything is given to keep
        first = self.ask_identity() if self.identity is None else None
        if first is not None:
            self._refuse_stranger(*first)
        self._prove_order()
        identity, raw = self.ask_identity()
        if first is None and (self.identity is None or not self.identity.same_instrument(identity)):
            first, (identity, raw) = (identity, raw), self.ask_identity()
        # a name that lost a letter on the wire is a name too: one that is new must be told twice
        if first is not None and first[0] != identity:
            raise InstrumentTrouble(
                "garbled",
                f"The instrument names itself as {first[0].text[:80]!r}, and then as {identity.text[:80]!r}.",
                "Check the cable.",
                raw=(raw,),
            )
        self._refuse_stranger(identity, raw)
        self.identity = identity

    def ask_identity(self) -> tuple[Identity, bytes]:
        """Who it says it is, and the reply's raw bytes.

        Raises:
            InstrumentTrouble: ``garbled`` where no instrument of its kind says that; as :meth:`ask`.
        """
        identify = self.profile.identify
        assert identify is not None
        if identify.register is not None:
            frame = self.ask_register(identify.register)
            text, raw = frame.parts.value if frame.parts else "", frame.raw
        else:
            text, raw = self.ask(identify.ask)
        found = self.named(text)
        if found is None:
            raise InstrumentTrouble(
                "garbled",
                f"The instrument names itself as {text[:80]!r}.",
                self._wrong_kind(),
                raw=(raw,),
                unmatched=identify.reply,
            )
        return found, raw

    def named(self, text: str) -> Identity | None:
        """Who a text names; None where no instrument of its kind says that."""
        identify = self.profile.identify
        found = identify.reply.match(text) if identify is not None else None
        if found is None:
            return None
        maker, model, serial, version = (
            found.get(part, "").strip() for part in ("maker", "model", "serial", "version")
        )
        # a number of zeros alone is what a maker sends who gave none: it tells no instrument from another
        return Identity(text, maker, model, serial if serial.strip("0") else "", version)

    def keep_number(self, probe: Probe) -> tuple[str, str, bytes]:
        """Give it a number to keep.

        Returns:
            The number, the one that it gives back, and the reply's raw bytes.

        Raises:
            InstrumentTrouble: as :meth:`ask`; ``garbled`` where it gives back no number.
        """
        # the numbers go round, so an answer from before is of another number
        self._number = (self._number + 1) % (probe.most - probe.least + 1)
        number = str(probe.least + self._number)
        self.tell(fill(probe.set, {"number": number}))
        text, raw = self.ask(probe.ask)
        found = probe.reply.match(text)
        if found is None:
            raise self._not_kept(number, text, raw, probe.reply)
        self.tell(fill(probe.set, {"number": str(probe.rest)}))
        return number, found["number"].lstrip("+").lstrip("0"), raw

    def _not_kept(self, number: str, text: str, raw: bytes, unmatched: Pattern | None = None) -> InstrumentTrouble:
        return InstrumentTrouble(
            "garbled",
            f"It was given the number {number} to keep, and gave back {text[:60]!r}.",
            "Does anybody else talk to this instrument? Is the profile the right one?",
            raw=(raw,),
            unmatched=unmatched,
        )

    def _prove_order(self) -> None:
        if self.profile.probe is None or self.hands_off:
            return
        number, back, raw = self.keep_number(self.profile.probe)
        if back != number:
            raise self._not_kept(number, back, raw)

    def _prove_by_shape(self) -> None:
        dialogue = self.profile.dialogue
        if isinstance(dialogue, Poll | Frames):
            frame = self.answer(dialogue.ask.data, self.slowest)
            if self.parts(frame) is None:
                raise InstrumentTrouble(
                    "garbled", f"The answer {quote(frame.raw[:60])} is not of this kind.", self._wrong_kind()
                )
        elif isinstance(dialogue, Modbus):
            known = [part.register for part in self.profile.functions if part.register is not None]
            self.ask_register((known or list(dialogue.points.values()))[0])
        elif isinstance(dialogue, Snmp | Mbus):
            self.ask_point(next(iter(dialogue.points)))

    @property
    def slowest(self) -> float:
        """Seconds that the slowest function takes."""
        return max((f.takes.value for f in self.profile.functions), default=0.0)

    def _wrong_kind(self) -> str:
        name = self.profile.profile
        return f"Is this {self.profile.title}? If so, its profile '{name}' must be changed to take this answer."

    def _refuse_stranger(self, identity: Identity, raw: bytes) -> None:
        wanted = self.expected.serial
        if wanted and identity.serial != wanted:
            raise InstrumentTrouble(
                "stranger",
                f"The instrument's serial number is {identity.serial or 'not told'}, expected {wanted}.",
                "Is it plugged into another instrument's port? If it was exchanged, change the bench file.",
                raw=(raw,),
            )
        confirmed = self.named(self.expected.identity) if self.expected.identity else None
        if confirmed is not None and not confirmed.same_instrument(identity):
            raise InstrumentTrouble(
                "stranger",
                f"The instrument names itself as {identity.text[:80]!r}, expected {self.expected.identity[:80]!r}.",
                "Is it plugged into another instrument's port? If it was exchanged, change the bench file.",
                raw=(raw,),
            )
        if self.identity is not None and not self.identity.same_instrument(identity):
            raise InstrumentTrouble(
                "stranger",
                f"Another instrument answers: {identity.text[:80]!r}, before it was {self.identity.text[:80]!r}.",
                "Put the first one back, or begin again with the other.",
                raw=(raw,),
            )

    # ---- errors and checks -----------------------------------------------------------------

    def errors(self) -> list[tuple[str, bytes]]:
        """Empty the error queue; its entries and their raw bytes.

        Raises:
            InstrumentTrouble: ``garbled`` where an entry is not readable or the queue does not end.
        """
        queue = self.profile.errors
        if queue is None:
            return []
        entries: list[tuple[str, bytes]] = []
        for _ in range(queue.most):
            text, raw = self.ask(queue.ask)
            found = queue.reply.match(text)
            if found is None:
                raise self.nonsense(raw, "it is no entry of an error queue", queue.reply)
            if int(found["number"]) == 0:
                return entries
            entries.append((text, raw))
        raise InstrumentTrouble(
            "refused",
            f"The error queue does not end: {queue.most} entries, the last {entries[-1][0]!r}.",
            "Switch the instrument off and on.",
            raw=tuple(raw for _, raw in entries),
        )

    def refuse_errors(self, doing: str) -> None:
        """Empty the error queue, and say so where there was anything in it.

        Raises:
            InstrumentTrouble: ``refused``.
        """
        entries = self.errors()
        if entries:
            raise InstrumentTrouble(
                "refused",
                f"The instrument reported an error while {doing}: {'; '.join(text for text, _ in entries[:4])}.",
                "The profile, or what was asked for, does not fit this instrument.",
                raw=tuple(raw for _, raw in entries),
            )

    def check(self, check: Check, values: Mapping[str, str]) -> Checked:
        """Ask a check's question and look at the answer.

        Args:
            check: the check.
            values: what placeholders and ``equals`` stand for.

        Raises:
            InstrumentTrouble: as :meth:`ask`; ``garbled`` too where more came than one answer.
        """
        text, raw = self.ask(fill(check.ask, values))
        self.conversation.collect()
        if not self.conversation.dialogue.trusted:
            # which of the two was the answer cannot be told
            raise self.nonsense(raw, "more came than was asked for")
        found = check.reply.match(text)
        if found is None:
            return Checked(False, False, None, text, raw)
        value = number_of(with_point(found["value"], self.line.decimal)) if "value" in found else None
        holds = True
        if check.equals and check.equals in values:
            wanted = number_of(values[check.equals])
            if wanted is None or value is None:
                holds = found.get("value") == values[check.equals]
            else:
                holds = abs(value - wanted) <= check.within.value * abs(wanted)
        if check.at_most is not None:
            holds = holds and value is not None and abs(value) <= check.at_most
        if check.at_least is not None:
            holds = holds and value is not None and abs(value) >= check.at_least
        return Checked(True, holds, value, text, raw)
