"""A lenient session, for trying a profile: it asks as a session does, and goes on where an answer is not what the
profile says.

A session refuses what it cannot believe, as it must in a walk. Here the answer is shown, what is wrong with it is told
together with what to change, the line is drained, and the next thing can be tried.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from time import monotonic
from typing import Final, Literal, TypeVar

import msgspec

from bench.instruments import outputs
from bench.instruments.hints import suggested, why_no_match
from bench.instruments.parts import Decoder
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Check, Setting
from bench.instruments.profile.line import Line, Query
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill
from bench.instruments.session import Checked, Session
from bench.instruments.wire.conversation import Trace
from bench.instruments.wire.framing import Frame
from bench.instruments.wire_text import Pattern, WireText, show

T = TypeVar("T")

PATIENCE: Final = 4.0
"""How many times longer an answer is waited for, to tell a slow meter from a silent one."""
NO_ANSWER: Final = ("silent", "garbled", "refused")
"""Trouble with an answer, not with the port: the next thing can be tried."""
ENDS: Final = (b"\n", b"\r\n", b"\r", b"")
"""Line ends that meters want."""


class Told(msgspec.Struct, frozen=True):
    """One thing that was found.

    Attributes:
        kind: ``head`` a new part begins; ``shown`` what came; ``right``; ``wrong`` the profile and the meter do not
            agree; ``remark`` worth a thought; ``left`` it was not tried.
        text: in words.
        advice: what to change; may be empty.
    """

    kind: Literal["head", "shown", "right", "wrong", "remark", "left"]
    text: str
    advice: str = ""


Tell = Callable[[Told], None]


class LenientSession(Session):
    """A session with one meter that goes on, and tells what the profile gets wrong.

    Args:
        profile: what the meter should be.
        transport: its open port.
        tell: is told what is found, as it is found.
        decoder: for a profile of the kind ``frames``.
        settings: values for settings, by name.
        known: function to what is really on it, in the base unit.
        trace: is told every byte.
    """

    def __init__(
        self,
        profile: Profile,
        transport: Transport,
        tell: Tell,
        *,
        decoder: Decoder | None = None,
        settings: Mapping[str, str] | None = None,
        known: Mapping[str, float] | None = None,
        trace: Trace | None = None,
    ) -> None:
        self.known = dict(known or {})
        self.wrong = 0
        """How many things do not agree."""
        self.settings = dict(settings or {})
        self._tell = tell
        self._queue_unreadable = False
        self._patient = True
        self._ends_tried = False
        self.heard = False
        """Whether anything at all came so far."""
        self._where = ""
        self._told_of: InstrumentTrouble | None = None
        super().__init__(profile, transport, monotonic, decoder=decoder, trace=trace)

    def use(self, line: Line) -> None:
        """Go on with these line settings."""
        super().use(line)
        # every answer is looked at here; nothing is refused before that
        self.conversation.prove = None

    def report(self, kind: Literal["head", "shown", "right", "remark", "left"], text: str, advice: str = "") -> None:
        """Tell something that is not wrong."""
        self._tell(Told(kind, text, advice))

    def say_wrong(self, text: str, advice: str) -> None:
        """Tell where profile and meter do not agree, and what to change."""
        self.wrong += 1
        self._tell(Told("wrong", text, advice))

    def texts(self, known: Sequence[Setting], name: str) -> dict[str, str]:
        """Values for settings as they are sent: as given, else the default, else the least.

        Raises:
            InstrumentTrouble: ``unable`` where one cannot have the value that was given.
        """
        wanted: dict[str, str | float] = {}
        for setting in known:
            if setting.name in self.settings:
                wanted[setting.name] = self.settings[setting.name]
            elif not setting.default:
                least = setting.choices[0].value if setting.choices else setting.least
                assert least is not None
                wanted[setting.name] = least
        return outputs.texts_of(list(known), wanted, name)

    # ---- asking ----------------------------------------------------------------------------

    def attempt(
        self, act: Callable[[], T], where: str, what: str, better: Callable[[str], str] = suggested, reply: str = ""
    ) -> T | None:
        """Do what asks the meter; None after telling what is wrong.

        Args:
            act: what asks.
            where: the part of the profile that says what is sent.
            what: what was asked, in words.
            better: makes a pattern that would match what came.
            reply: the part of the profile that holds the pattern of the reply; that which asks by default.

        Raises:
            InstrumentTrouble: ``lost``.
        """
        self._where = where
        try:
            return act()
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            if trouble.unmatched is not None:
                self.explain_pattern(trouble.raw[-1], trouble.unmatched, reply or where, better)
            elif trouble is not self._told_of:
                self.explain_silence(trouble, where, what)
            return None

    def answer(self, question: bytes, takes: float = 0.0) -> Frame:
        """As a session asks; a command that is not heard is asked once more in other ways, and that is told."""
        try:
            return self._answer(question, takes)
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            if not isinstance(self.profile.dialogue, Query):
                raise
            frame = self._answer_otherwise(question, takes, trouble)
            if frame is None:
                raise
            return frame

    def _answer(self, question: bytes, takes: float) -> Frame:
        self.conversation.fresh()
        self.conversation.forget()
        try:
            return super().answer(question, takes)
        finally:
            self.heard = self.heard or bool(self.conversation.received)

    def _try(self, question: bytes, takes: float = 0.0) -> Frame | None:
        try:
            return self._answer(question, takes)
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            return None

    def _answer_otherwise(self, question: bytes, takes: float, trouble: InstrumentTrouble) -> Frame | None:
        got, what = b"".join(trouble.raw), f"'{show(question)}'"
        if trouble.kind == "silent" and not got:
            if not self._ends_tried and not self.heard:
                self._ends_tried = True
                return self._with_other_ends(question, what)
            return self._patiently(question, what, takes) if self._patient else None
        end = end_of(got)
        if end in (b"", self.line.read_end.data):
            return None
        # what comes after can be tried with the line end that the meter uses
        self.explain_silence(trouble, self._where, what)
        self._told_of = trouble
        self.use(msgspec.structs.replace(self.line, read_end=WireText(end)))
        return self._try(question)

    def _patiently(self, question: bytes, what: str, takes: float) -> Frame | None:
        wait = takes + self.line.timeout.value
        began = self.conversation.clock()
        frame = self._try(question, PATIENCE * wait)
        took = self.conversation.clock() - began
        # once is enough to know that this is no slow meter
        self._patient = frame is not None
        # an instrument that lost the first question, and not time, is not slow
        if frame is not None and took > wait:
            self.say_wrong(
                f"{what} is answered after {took:.2g} s, and the profile waits {wait:.2g} s ({self._where})",
                "Make 'takes' of the function, or line.timeout, longer.",
            )
        return frame

    def _with_other_ends(self, question: bytes, what: str) -> Frame | None:
        """Ask again with other line ends, and go on with those that are heard."""
        given = self.line
        before = show(given.write_end.data)
        for end in ENDS:
            if end == given.write_end.data:
                continue
            self.use(msgspec.structs.replace(given, write_end=WireText(end)))
            if end:
                # what went out with the wrong end may still wait for the right one
                self.tell("")
            frame = self._try(question)
            if frame is not None:
                self.say_wrong(
                    f"it does not answer commands that end with '{before}', and answers those with '{show(end)}'",
                    f"Set line.write-end to '{show(end)}'.",
                )
                return frame
        self.use(given)
        return None

    # ---- saying why not --------------------------------------------------------------------

    def explain_silence(self, trouble: InstrumentTrouble, where: str, what: str) -> None:
        """Tell why nothing whole came.

        Args:
            trouble: one of :data:`NO_ANSWER`.
            where: the part of the profile that asks.
            what: what was asked.
        """
        got = b"".join(trouble.raw)
        read_end, end = show(self.line.read_end.data), end_of(got)
        if end not in (b"", self.line.read_end.data):
            self.say_wrong(
                f"{what}: '{show(got[:80])}' came; it ends with '{show(end)}', and the profile says '{read_end}'",
                f"Set line.read-end to '{show(end)}'.",
            )
        elif trouble.kind == "silent" and got:
            self.say_wrong(
                f"{what}: '{show(got[:80])}' came, without the line end '{read_end}' of the profile",
                "Check the cable, and line.read-end.",
            )
        elif trouble.kind == "silent":
            self.say_wrong(
                f"{what} is not answered. {trouble.what}",
                f"Check {where}, line.write-end ('{show(self.line.write_end.data)}'), baud and parity, and the cable.",
            )
        else:
            self.say_wrong(f"{what}: {trouble.what}", f"Check {where}, baud, data bits and parity. {trouble.advice}")

    def explain_pattern(
        self, raw: bytes, pattern: Pattern | None, where: str, better: Callable[[str], str] = suggested
    ) -> None:
        """Tell that a reply does not match, where the two part, and what would match.

        Args:
            raw: the reply, with its end.
            pattern: what it should match; None where it is taken apart by other means.
            where: the part of the profile that holds the pattern.
            better: makes a pattern that would match; gives an empty text where it cannot.
        """
        try:
            text = raw.removesuffix(self.line.read_end.data).decode(self.line.encoding)
        except UnicodeDecodeError:
            pattern = None
        if pattern is None:
            self.say_wrong(
                f"the reply '{show(raw)}' cannot be taken apart ({where})",
                "Check baud, data bits and parity; then the encoding, or the decoder.",
            )
            return
        why = why_no_match(text, pattern)
        advice = f"This would match: '{better(text)}'" if better(text) else f"Correct {where}."
        self.say_wrong(
            f"the reply '{show(raw)}' does not match the pattern of {where}, '{pattern.text}'"
            + (f": {why}" if why else ""),
            advice,
        )

    # ---- commands, and how they are taken --------------------------------------------------

    def queue(self) -> list[str]:
        """The entries of the error queue; none where it cannot be read, which is told once."""
        queue = self.profile.errors
        if queue is None or self._queue_unreadable:
            return []
        entries = self.attempt(self._entries, "errors.ask", f"'{queue.ask}'", no_better, "errors.reply")
        self._queue_unreadable = entries is None
        return entries or []

    def _entries(self) -> list[str]:
        try:
            return [text for text, _ in self.errors()]
        except InstrumentTrouble as trouble:
            if trouble.kind == "refused":
                self.say_wrong(trouble.what, "Check 'errors': its number is 0 when the queue is empty.")
                self._told_of = trouble
            raise

    def look_at_queue(self, when: str) -> None:
        """Empty the error queue and tell what was in it."""
        if self.profile.errors is None:
            return
        entries = self.queue()
        if entries:
            self.report("remark", f"the error queue held {'; '.join(entries)} {when}")
        elif not self._queue_unreadable:
            self.report("right", f"the error queue is empty {when}")

    def obey(self, commands: Sequence[str], where: str) -> None:
        """Send commands, and look after each whether it was refused."""
        for command in commands:
            try:
                self.tell(command)
            except InstrumentTrouble as trouble:
                _refuse_lost(trouble)
                self.say_wrong(f"'{command}': {trouble.what}", f"Correct {where}.")
                continue
            entries = self.queue()
            if entries:
                self.say_wrong(f"it refuses '{command}': {'; '.join(entries)}", f"Correct {where}.")

    def look(self, check: Check, values: Mapping[str, str], where: str) -> Checked | None:
        """Ask a check's question; None after telling why its answer is none."""
        question = fill(check.ask, values)
        checked = self.attempt(partial(self.check, check, values), where, f"'{question}'", no_better)
        if checked is not None and not checked.matched:
            self.explain_pattern(checked.raw, check.reply, f"{where}, '{question}'", no_better)
            return None
        return checked

    def confirm(self, checks: Sequence[Check], values: Mapping[str, str], where: str) -> float | None:
        """Ask checks, and tell which do not hold; returns the range that one of them names."""
        named: float | None = None
        for check in checks:
            checked = self.look(check, values, where)
            if checked is None:
                continue
            if not checked.holds:
                wanted = values.get(check.equals, check.text or "within its bounds")
                self.say_wrong(
                    f"'{fill(check.ask, values)}' is answered by '{checked.text}', "
                    f"and {check.equals or 'it'} should be {wanted}",
                    f"Correct {where}, or the command before it that sets this.",
                )
            if check.equals == "range":
                named = checked.value
        return named


def no_better(text: str) -> str:
    """No pattern is offered: only the author knows what the answer should have been."""
    return ""


def end_of(got: bytes) -> bytes:
    """The line end that an answer has, whatever the profile says; empty where it has none."""
    for end in (b"\r\n", b"\n\r", b"\n", b"\r", b"\0"):
        if got.endswith(end):
            return end
    return b""


def _refuse_lost(trouble: InstrumentTrouble) -> None:
    if trouble.kind not in (*NO_ANSWER, "refused"):
        raise trouble
