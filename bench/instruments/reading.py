"""Taking one reading in a function that an instrument was set to."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function, Range, Trace
from bench.instruments.profile.line import Frames, Mbus, Poll, Query, Snmp, Stream
from bench.instruments.profile.profile import AUTOMATIC, HELD_RANGE
from bench.instruments.profile.template import fill, fill_all
from bench.instruments.session import Session
from bench.instruments.values import Sample, Setup
from bench.instruments.wire.framing import Frame
from bench.instruments.wire.interpret import Meaning, meaning_of, number_of, refuse_beyond
from bench.quantity import engineering

READY_PAUSE: Final = 0.05
"""Seconds between two questions whether it is ready."""
MOST_NOISE: Final = 3
"""Pieces of noise that may lie between the readings of an instrument that talks by itself, before it is trouble."""


class Taken(msgspec.Struct, frozen=True):
    """A frame that came when it was wanted, the pieces in it, and when it was triggered and was whole."""

    frame: Frame
    parts: Parts
    started: float
    finished: float


class Taker:
    """Takes readings in one function.

    Args:
        session: the instrument's line.
        function: what to measure.
        held: the range to lock it to; None: it ranges by itself.
        texts: what the other settings are, as sent.
        patience: how many times longer than the profile says a reading that comes by itself is waited for.
    """

    def __init__(
        self,
        session: Session,
        function: Function,
        held: Range | None,
        texts: Mapping[str, str],
        patience: float = 1.0,
    ) -> None:
        self.function = function
        self._session = session
        self._held = held
        self._texts = dict(texts)
        self._patience = patience
        self._values = {**self._texts, **({"range": held.sent} if held is not None else {})}
        known = {setting.name: setting for setting in function.settings}
        stated = [known[name].takes(text) for name, text in texts.items()]
        self._coarser = math.prod(known[name].coarser(text) for name, text in texts.items())
        self._takes = max([t for t in stated if t is not None], default=function.takes.value)
        self.setup = Setup(
            function=function.name,
            unit=function.base_unit,
            range=held.range.value if held is not None else None,
            settings=self._texts,
            instruction=function.dial,
        )

    @property
    def takes(self) -> float:
        """Seconds that a reading takes at most: as the settings' choices say, else as the function does."""
        return self._takes

    # ---- configuring -----------------------------------------------------------------------

    def configure(self) -> None:
        """Send what sets the function and range, empty the error queue, and read back.

        Raises:
            InstrumentTrouble: ``unable``, ``refused``, ``mismatch``, or trouble on the line.
        """
        function, session = self.function, self._session
        asked = isinstance(session.profile.dialogue, Query)
        if self._held is not None and asked and not function.lock:
            raise InstrumentTrouble("unable", f"{function.name} cannot be locked to a range over the wire.")
        commands = list(fill_all(function.configure, self._values))
        commands += fill_all(function.lock if self._held is not None else function.automatic, self._values)
        session.conversation.forget()
        for command in commands:
            session.tell(command)
        session.refuse_errors(f"setting {function.name}")
        if function.settle.value:
            session.conversation.pause(function.settle.value)
        self._confirm("It did not take the setting")

    def _confirm(self, what: str) -> tuple[list[bytes], Range | None]:
        """Ask whether it is still as it was set; the raw answers, and the range that it says it is on."""
        raws: list[bytes] = []
        named = self._held
        for check in self.function.confirm:
            checked = self._session.check(check, self._values)
            raws.append(checked.raw)
            if not checked.holds:
                raise InstrumentTrouble(
                    "mismatch",
                    f"{what}: it answers {checked.text[:60]!r} to {fill(check.ask, self._values)!r}.",
                    f"Was a key pressed? It must be on {self._asked_for}. Set it again.",
                    raw=tuple(raws),
                )
            if check.equals == "range" and self._held is None and checked.value is not None:
                named = self._range_of(checked.value)
        return raws, named

    @property
    def _asked_for(self) -> str:
        if self._held is None:
            return self.function.name
        return f"{self.function.name}, {engineering(self._held.range.value, self.function.base_unit)} range"

    def _range_of(self, value: float) -> Range | None:
        for part in self.function.ranges:
            if abs(value - part.range.value) <= 1e-6 * part.range.value:
                return part
        return None

    # ---- taking ----------------------------------------------------------------------------

    def take_timed(self, moments: Sequence[float]) -> list[Sample]:
        """Take several readings while the test goes on, each a number of seconds after it began.

        Args:
            moments: rising, at least one.

        Raises:
            InstrumentTrouble: as :meth:`take`; ``unable`` for an instrument that is not asked.
        """
        session = self._session
        if session.unasked:
            raise InstrumentTrouble("unable", f"'{self.function.name}' cannot be timed: it sends when it likes.")
        session.conversation.forget()
        early: list[Taken] = []
        taken, raws, named = self._ask(moments[-1], moments[:-1], early)
        return [*(self._sample(one, [], named) for one in early), self._sample(taken, raws, named)]

    def take(self, after: float, *, live: bool = False) -> Sample:
        """Take one reading, triggered now.

        Args:
            after: seconds to wait between ``begin`` and the reading.
            live: it is only shown: what may be left out for speed is.

        Raises:
            InstrumentTrouble: it came to no reading that can be believed.
        """
        session = self._session
        session.conversation.forget()
        if session.unasked:
            # a live reading need not be proven to come after the trigger
            taken = self._listen(0 if live else self._skip)
            raws: list[bytes] = []
            named = None
        else:
            taken, raws, named = self._ask(after)
        if not live:
            taken = self._agreed(taken)
        sample = self._sample(taken, raws, named)
        return sample if live or self.function.trace is None else self._with_trace(sample, self.function.trace)

    def _with_trace(self, sample: Sample, trace: Trace) -> Sample:
        """The reading with the curve behind it, which must show an echo where the figure says that one is.

        Raises:
            InstrumentTrouble: ``garbled`` where the reply is no curve; ``mismatch`` where the two do not agree.
        """
        session = self._session
        text, raw = session.ask(trace.ask, self._takes)
        found = trace.reply.match(text)
        if found is None:
            raise session.nonsense(raw, "it is no curve as the profile describes one", trace.reply)
        parts = [number_of(one) for one in found["points"].split(",")]
        heights = [one * trace.scale for one in parts if one is not None]
        if len(heights) != len(parts) or any(abs(one) > 1.0 + 1e-9 for one in heights):
            raise session.nonsense(
                raw,
                "its curve shows more coming back than was sent, or has something in it that is no number",
                trace.reply,
            )
        step = trace.step.value
        curve = tuple((number * step, height) for number, height in enumerate(heights))
        blind = trace.blind.value if trace.blind is not None else 0.0
        echo = first_echo(curve, blind, trace.least.value)
        beyond = curve[-1][0] if curve else 0.0
        says = sample.value
        apart = 2 * step + 2 * (sample.resolution or 0.0)
        agrees = (
            (echo is None) == (says is None or says > beyond)
            if echo is None or says is None
            else (abs(echo[0] - says) <= apart)
        )
        if not agrees:
            shown = "nothing" if says is None else engineering(says, "m")
            at = "no echo" if echo is None else f"its first echo at {engineering(echo[0], 'm')}"
            raise InstrumentTrouble(
                "mismatch",
                f"It says {shown}, and its curve shows {at}.",
                "Look at its cursor, its gain and the velocity that it is set to.",
                raw=(*sample.raw, raw),
            )
        ends = () if echo is None else ("open-end",) if echo[1] > 0 else ("short",)
        return replace(sample, trace=curve, flags=(*sample.flags, *ends), raw=(*sample.raw, raw))

    def _agreed(self, first: Taken) -> Taken:
        """A reading that as many in a row confirm as the profile asks for.

        Raises:
            InstrumentTrouble: ``garbled`` where they do not come to agree.
        """
        dialogue = self._session.profile.dialogue
        wanted = dialogue.agree if isinstance(dialogue, Stream | Poll | Frames) else 1
        alike, last, tries = 1, first, 0
        while alike < wanted:
            if tries >= 3 * wanted:
                raise self._session.nonsense(last.frame.raw, f"no {wanted} readings in a row agree")
            tries += 1
            following = self._listen(0) if self._session.unasked else self._trigger()
            alike = alike + 1 if self._alike(last.parts, following.parts) else 1
            last = following
        return Taken(last.frame, last.parts, first.started, last.finished)

    def _alike(self, one: Parts, other: Parts) -> bool:
        dialogue = self._session.profile.dialogue
        assert isinstance(dialogue, Stream | Poll | Frames)
        if (one.unit, one.function, one.range, one.marks) != (other.unit, other.function, other.range, other.marks):
            return False
        values = number_of(one.value), number_of(other.value)
        if values[0] is None or values[1] is None:
            return one.value == other.value
        places = [len(part.value.strip().partition(".")[2]) for part in (one, other)]
        return (
            places[0] == places[1] and abs(values[0] - values[1]) <= dialogue.agree_within * 10.0 ** -places[0] * 1.001
        )

    def frame(self) -> Taken:
        """One reading as it comes, triggered now: nothing confirms the setting, and its meaning is not looked at.

        Raises:
            InstrumentTrouble: as :meth:`take`.
        """
        conversation = self._session.conversation
        if self._session.unasked:
            conversation.forget()
            return self._listen(self._skip)
        conversation.fresh()
        conversation.forget()
        return self._trigger()

    @property
    def _skip(self) -> int:
        dialogue = self._session.profile.dialogue
        return dialogue.skip if isinstance(dialogue, Stream | Frames) else 0

    def _ask(
        self, after: float, before: Sequence[float] = (), early: list[Taken] | None = None
    ) -> tuple[Taken, list[bytes], Range | None]:
        session, function = self._session, self.function
        session.conversation.fresh()
        resyncs = session.conversation.resyncs
        begun = session.conversation.clock()
        try:
            for command in fill_all(function.begin, self._values):
                session.tell(command)
            if function.begin:
                # an instrument that refuses says so here and not after the wait
                session.refuse_errors("beginning")
            for moment in before:
                self._pause_until(begun + moment)
                if early is not None:
                    early.append(self._trigger())
            if before:
                self._pause_until(begun + after)
            elif after > 0:
                session.conversation.pause(after)
            self._wait_until_ready(begun + after)
            raws = self._running()
            taken = self._trigger()
            after_raws, named = self._confirm("It changed during the reading")
            if session.profile.errors is not None and session.profile.errors.each_reading:
                session.refuse_errors("reading")
            session.conversation.collect()
            if resyncs != session.conversation.resyncs or not session.conversation.dialogue.trusted:
                # which of the two was the answer to the trigger cannot be told
                raise session.nonsense(taken.frame.raw, "more came than was asked for")
        except InstrumentTrouble:
            # what must end is ended by the safe state, which every function that energises has
            if function.end and not function.energises:
                session.conversation.dialogue.doubt("a reading was broken off")
            raise
        for command in fill_all(function.end, self._values):
            session.tell(command)
        return taken, raws + after_raws, named

    def _pause_until(self, moment: float) -> None:
        left = moment - self._session.conversation.clock()
        if left > 0:
            self._session.conversation.pause(left)

    def _wait_until_ready(self, moment: float) -> None:
        """Ask until it says that it is ready.

        Raises:
            InstrumentTrouble: ``mismatch`` where it does not say so in time.
        """
        session, function = self._session, self.function
        until = moment + self._takes + session.line.timeout.value
        for check in function.ready:
            while not (checked := session.check(check, self._values)).holds:
                if session.conversation.clock() >= until:
                    raise InstrumentTrouble(
                        "mismatch",
                        f"{check.text or 'It does not get ready'}: it answers {checked.text[:60]!r}.",
                        "Look at the instrument; if it only takes longer, 'takes' of the profile is too short.",
                        raw=(checked.raw,),
                    )
                session.conversation.pause(READY_PAUSE)

    def _running(self) -> list[bytes]:
        raws: list[bytes] = []
        for check in self.function.running:
            checked = self._session.check(check, self._values)
            raws.append(checked.raw)
            if not checked.holds:
                raise InstrumentTrouble(
                    "mismatch",
                    f"{check.text or 'The test does not run'}: it answers {checked.text[:60]!r}.",
                    "Look at the instrument; it may refuse to test a circuit that is live.",
                    raw=tuple(raws),
                )
        return raws

    def _trigger(self) -> Taken:
        session, function = self._session, self.function
        clock = session.conversation.clock
        dialogue = session.profile.dialogue
        started = clock()
        if function.register is not None:
            frame = session.ask_register(function.register, self._takes)
        elif isinstance(dialogue, Snmp | Mbus):
            frame = session.ask_point(function.read, self._takes)
        elif isinstance(dialogue, Poll | Frames):
            frame = session.answer(dialogue.ask.data, self._takes)
        else:
            assert isinstance(dialogue, Query)
            command = fill(function.read or dialogue.read, self._values)
            frame = session.answer(session.encoded(command), self._takes)
        finished = clock()
        parts = session.parts(frame, function)
        if parts is None:
            raise session.nonsense(
                frame.raw, "it does not match the pattern of the profile", session.reply_of(function)
            )
        return Taken(frame, parts, started, finished)

    def _listen(self, skip: int) -> Taken:
        session = self._session
        conversation = session.conversation
        started = conversation.clock()
        conversation.drop_old()
        deadline = started + session.line.timeout.value + self._takes * self._patience * (skip + 1)
        noise: list[bytes] = []
        while True:
            found = conversation.listen(deadline)
            parts = session.parts(found, self.function) if isinstance(found, Frame) else None
            if not isinstance(found, Frame) or parts is None:
                noise.append(found.raw)
                if len(noise) > MOST_NOISE:
                    raise session.nonsense(
                        found.raw,
                        "it is not as the profile says, and neither were those before it",
                        session.reply_of(self.function),
                    )
                continue
            if skip > 0:
                skip -= 1
                continue
            return Taken(found, parts, started, conversation.clock())

    # ---- what it means ---------------------------------------------------------------------

    def _sample(self, taken: Taken, raws: list[bytes], named: Range | None) -> Sample:
        session, function = self._session, self.function
        meaning = meaning_of(taken.parts, function, session.profile, marks_are_text=taken.frame.parts is None)
        held = self._held or meaning.range or named
        if meaning.over and held is None and function.ranges_itself and function.ranges:
            held = function.ranges[-1]
        if isinstance(session.profile.dialogue, Poll | Stream | Frames):
            # nobody set it over the wire, whatever was asked for
            held = meaning.range or self._shown(taken.parts, meaning)
        if self._held is not None and meaning.range is not None and meaning.range != self._held:
            raise InstrumentTrouble(
                "mismatch",
                f"It is on its {engineering(meaning.range.range.value, function.base_unit)} range, and the "
                f"{engineering(self._held.range.value, function.base_unit)} range is asked for.",
                "Set the range at the instrument.",
                raw=(taken.frame.raw,),
            )
        if meaning.value is not None:
            try:
                refuse_beyond(meaning.value, function, held)
                self._refuse_odd_digits(meaning)
            except InstrumentTrouble as trouble:
                raise session.nonsense(taken.frame.raw, trouble.what.rstrip(".")) from trouble
        return Sample(
            value=meaning.value,
            unit=function.base_unit,
            function=function.name,
            range=held.range.value if held is not None else None,
            resolution=self._resolution(held, meaning),
            over=meaning.over,
            nan=meaning.nan,
            bound=meaning.bound if meaning.bound is not None or not meaning.over else (held.top if held else None),
            flags=meaning.flags,
            sent=session.conversation.sent,
            raw=(taken.frame.raw, *raws),
            started=taken.started,
            finished=taken.finished,
        )

    def _shown(self, parts: Parts, meaning: Meaning) -> Range | None:
        """The range that a meter is on which cannot be set over the wire, as far as its reply tells.

        A figure tells by its last digit. Over range tells by the meter's signs: one that says that it ranges by itself
        is on its highest range then. All others may be held on a range by a key: the value is beyond the lowest range
        of the unit that is shown, and more is not known.
        """
        ranges = self.function.ranges
        if meaning.value is not None:
            fitting = (part for part in ranges if abs(meaning.value) <= part.top)
            return next((part for part in fitting if _is_step(part, meaning.resolution)), None)
        if not meaning.over or not ranges:
            return None
        if self._ranges_itself(meaning) or self.function.ranges_itself:
            return ranges[-1]
        unit = self.function.unit_factor(parts.unit)
        if unit is None:
            return ranges[0]
        return next((part for part in ranges if unit <= part.range.value < 1000 * unit), ranges[0])

    def _ranges_itself(self, meaning: Meaning) -> bool:
        """Whether the meter says that it ranges by itself: by a sign that is lit, or one for a held range that is not.

        Both at once is a meter that contradicts itself, and says nothing.
        """
        has_held_sign = any(mark.flag == HELD_RANGE for mark in self._session.profile.marks)
        held = HELD_RANGE in meaning.flags
        return not held and (AUTOMATIC in meaning.flags or has_held_sign)

    def _refuse_odd_digits(self, meaning: Meaning) -> None:
        """Refuse a figure whose last digit belongs to no range that could show it: a prefix or a point was garbled.

        Only where the reply is what the display shows: over a command dialogue more digits may come than those.

        Raises:
            InstrumentTrouble: ``garbled``.
        """
        ranges = [meaning.range] if meaning.range is not None else self.function.ranges
        shows_display = isinstance(self._session.profile.dialogue, Poll | Stream | Frames)
        stated = all(part.resolution is not None for part in ranges)
        if not ranges or not shows_display or not stated or meaning.resolution is None or meaning.value is None:
            return
        if any(abs(meaning.value) <= part.top * 1.001 and _is_step(part, meaning.resolution) for part in ranges):
            return
        unit = self.function.base_unit
        raise InstrumentTrouble(
            "garbled",
            f"Found {engineering(meaning.value, unit)} with a last digit of {engineering(meaning.resolution, unit)}, "
            f"and no range of {self.function.name} shows that.",
            "Check cable and line settings, and 'range' and 'resolution' of the profile against the display.",
        )

    def _resolution(self, held: Range | None, meaning: Meaning) -> float | None:
        if held is not None and held.resolution is not None:
            return held.resolution.value * self._coarser
        return meaning.resolution


def first_echo(curve: Sequence[tuple[float, float]], blind: float, least: float) -> tuple[float, float] | None:
    """The first place beyond the blind stretch from which enough comes back, and the height to which that echo rises.

    Args:
        curve: metres, and the part of the pulse that comes back from there.
        blind: metres that are not looked at.
        least: a smaller part is none.

    Returns:
        Metres and part; None where nothing comes back.
    """
    inside = [(at, height) for at, height in curve if at > blind]
    begun = next((number for number, (_, height) in enumerate(inside) if abs(height) >= least), None)
    if begun is None:
        return None
    sign = math.copysign(1.0, inside[begun][1])
    top = begun
    while top + 1 < len(inside) and sign * inside[top + 1][1] > sign * inside[top][1]:
        top += 1
    return inside[begun][0], inside[top][1]


def _is_step(part: Range, resolution: float | None) -> bool:
    """Whether a range's last digit is the one that is shown."""
    return (
        part.resolution is not None
        and resolution is not None
        and math.isclose(part.resolution.value, resolution, rel_tol=1e-6)
    )
