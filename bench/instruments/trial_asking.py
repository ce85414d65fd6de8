"""Asking for the profile kit: as a profile says, but going on past an answer that is not as the profile says.

A session refuses what it cannot believe, as it must in a walk. Here the answer is shown, what is wrong with it is told
together with what to change, the line is drained, and the next thing can be tried.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Final, Literal

import msgspec

from bench.instruments import outputs
from bench.instruments.hints import suggested, why_no_match
from bench.instruments.parts import Decoder
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Check, Setting
from bench.instruments.profile.line import Line
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill
from bench.instruments.session import Session
from bench.instruments.wire.conversation import Trace
from bench.instruments.wire_text import Pattern, WireText, show

PATIENCE: Final = 4.0
"""So many times longer an answer is waited for, to tell a slow meter from a silent one."""
NO_ANSWER: Final = ("silent", "garbled", "refused")
"""Trouble with an answer, not with the port: the next thing can be tried."""
ENDS: Final = (b"\n", b"\r\n", b"\r", b"")
"""Line ends that meters want."""


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that the kit found.

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


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer in text.

    Attributes:
        text: without its end.
        raw: its bytes.
        took: seconds from question to answer.
    """

    text: str
    raw: bytes
    took: float


class Asker:
    """Asks one meter, and tells what its profile gets wrong.

    Args:
        profile: what the meter should be.
        transport: its open port.
        tell: is told what is found, as it is found.
        decoder: for a profile of the kind ``frames``.
        settings: values for settings, by name.
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
        trace: Trace | None = None,
    ) -> None:
        self.wrong = 0
        """How much does not agree."""
        self.profile = profile
        self.transport = transport
        self.decoder = decoder
        self.settings = dict(settings or {})
        self.trace = trace
        self._tell = tell
        self._queue_unreadable = False
        self._patient = True
        self.use(profile.line)

    def use(self, line: Line) -> None:
        """Go on with these line settings."""
        self.line = line
        self.session = Session(
            self.profile, self.transport, monotonic, line=line, decoder=self.decoder, trace=self.trace
        )
        # every answer is looked at here; nothing is refused before that
        self.session.conversation.prove = None

    def say(self, kind: Literal["head", "shown", "right", "remark", "left"], text: str, advice: str = "") -> None:
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

    def ask(self, question: str, where: str, takes: float = 0.0) -> Answer | None:
        """Ask in text; None after telling what is wrong.

        Args:
            question: without its end.
            where: the part of the profile that says so.
            takes: seconds that the answer may take beside the usual time.

        Raises:
            InstrumentTrouble: ``lost``.
        """
        try:
            return self._ask(question, takes)
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            got = b"".join(trouble.raw)
            if trouble.kind == "silent" and not got and self._patient:
                slow = self._ask_patiently(question, where, takes)
                if slow is not None:
                    return slow
            self.explain_silence(trouble, where, f"'{question}'")
            return self._ask_with_its_end(question, got)

    def ask_first(self, question: str, where: str) -> Answer | None:
        """Ask the first question: one that is not heard is asked again with other line ends."""
        try:
            return self._ask(question, 0.0)
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            got = b"".join(trouble.raw)
            if trouble.kind == "silent" and not got:
                other = self._ask_with_other_ends(question)
                if other is not None:
                    return other
            self.explain_silence(trouble, where, f"'{question}'")
            return self._ask_with_its_end(question, got)

    def _ask(self, question: str, takes: float) -> Answer:
        conversation = self.session.conversation
        conversation.fresh()
        conversation.forget()
        began = conversation.clock()
        text, raw = self.session.ask(question, takes)
        return Answer(text, raw, conversation.clock() - began)

    def _try(self, question: str, takes: float = 0.0) -> Answer | None:
        try:
            return self._ask(question, takes)
        except InstrumentTrouble as trouble:
            _refuse_lost(trouble)
            return None

    def _ask_patiently(self, question: str, where: str, takes: float) -> Answer | None:
        wait = takes + self.line.timeout.value
        answer = self._try(question, PATIENCE * wait)
        # once is enough to know that this is no slow meter
        self._patient = answer is not None
        # an instrument that lost the first question, and not time, is not slow
        if answer is not None and answer.took > wait:
            self.say_wrong(
                f"'{question}' is answered after {answer.took:.2g} s, and the profile waits {wait:.2g} s ({where})",
                "Make 'takes' of the function, or line.timeout, longer.",
            )
        return answer

    def _ask_with_other_ends(self, question: str) -> Answer | None:
        """Ask again with other line ends, and go on with those that are heard."""
        given = self.line
        before = show(given.write_end.data)
        for end in ENDS:
            if end == given.write_end.data:
                continue
            self.use(msgspec.structs.replace(given, write_end=WireText(end)))
            if end:
                # what went out with the wrong end may still wait for the right one
                self.session.tell("")
            answer = self._try(question)
            if answer is not None:
                self.say_wrong(
                    f"it does not answer commands that end with '{before}', and answers those with '{show(end)}'",
                    f"Set line.write-end to '{show(end)}'.",
                )
                return answer
        self.use(given)
        return None

    def _ask_with_its_end(self, question: str, got: bytes) -> Answer | None:
        """Go on with the line end that the meter uses, so that what comes after can be tried."""
        end = end_of(got)
        if end in (b"", self.line.read_end.data):
            return None
        self.use(msgspec.structs.replace(self.line, read_end=WireText(end)))
        return self._try(question)

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
        entries: list[str] = []
        for _ in range(queue.most):
            answer = self.ask(queue.ask, "errors.ask")
            found = queue.reply.match(answer.text) if answer is not None else None
            if found is None:
                self._queue_unreadable = True
                if answer is not None:
                    self.explain_pattern(answer.raw, queue.reply, "errors.reply", no_better)
                return entries
            if int(found["number"]) == 0:
                return entries
            assert answer is not None
            entries.append(answer.text)
        self._queue_unreadable = True
        self.say_wrong(
            f"the error queue does not end after {queue.most} entries, the last '{entries[-1]}'",
            "Check 'errors': its number is 0 when the queue is empty.",
        )
        return entries

    def look_at_queue(self, when: str) -> None:
        """Empty the error queue and tell what was in it."""
        if self.profile.errors is None:
            return
        entries = self.queue()
        if entries:
            self.say("remark", f"the error queue held {'; '.join(entries)} {when}")
        elif not self._queue_unreadable:
            self.say("right", f"the error queue is empty {when}")

    def obey(self, commands: Sequence[str], where: str) -> None:
        """Send commands, and look after each whether it was refused."""
        for command in commands:
            self.session.tell(command)
            entries = self.queue()
            if entries:
                self.say_wrong(f"it refuses '{command}': {'; '.join(entries)}", f"Correct {where}.")

    def confirm(self, checks: Sequence[Check], values: Mapping[str, str], where: str) -> float | None:
        """Ask checks, and tell which do not hold; returns the range that one of them names."""
        named: float | None = None
        for check in checks:
            question = fill(check.ask, values)
            answer = self.ask(question, where)
            if answer is None:
                continue
            if check.reply.match(answer.text) is None:
                self.explain_pattern(answer.raw, check.reply, f"{where}, '{question}'", no_better)
                continue
            checked = self.session.check(check, values)
            if not checked.holds:
                wanted = values.get(check.equals, check.text or "within its bounds")
                self.say_wrong(
                    f"'{question}' is answered by '{answer.text}', and {check.equals or 'it'} should be {wanted}",
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
    if trouble.kind not in NO_ANSWER:
        raise trouble
