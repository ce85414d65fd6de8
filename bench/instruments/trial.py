"""Trying a profile: talks to a meter as it says, shows what comes, and says what the profile gets wrong.

It goes on past a mistake, so that one run finds all of them. Only where nothing is wrong, the program itself opens the
meter and reads each function, as it would in a walk. Nothing that energises or switches is touched unless that was
asked for, and then only by the program itself, which makes safe whatever happens.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Callable
from functools import partial
from typing import Final

import msgspec

from bench.instruments.examples import replay
from bench.instruments.hints import suggested_identity
from bench.instruments.lenient_session import PATIENCE, LenientSession, Tell, Told, no_better
from bench.instruments.parts import Decoder, Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function, Range
from bench.instruments.profile.line import Frames, Poll, Query, Stream
from bench.instruments.profile.profile import Example, Profile
from bench.instruments.profile.template import fill, fill_all
from bench.instruments.reading import READY_PAUSE, Taken, Taker
from bench.instruments.trial_outputs import look_at_outputs, use_whole
from bench.instruments.values import Identity
from bench.instruments.wire.framing import Frame
from bench.instruments.wire.interpret import Meaning, meaning_of, number_of, refuse_beyond
from bench.instruments.wire_text import Pattern, WireText, show
from bench.quantity import engineering

READINGS: Final = 3
"""Readings of each function: the median of their times is told."""
_WRITTEN: Final = {"Ω": "ohm", "°C": "degC"}
"""Base units as profiles write them, where that is another text."""


def examples(profile: Profile, decoder: Decoder | None, tell: Tell) -> int:
    """Replay a profile's examples byte for byte; returns how many do not come out as they say."""
    wrong = 0
    for number, example in enumerate(profile.examples, 1):
        about = " ".join(part for part in (example.does, example.function) if part)
        name = f"example {number}, {about}{f' ({example.about})' if example.about else ''}"
        differs = replay(profile, example, decoder)
        if differs:
            wrong += 1
            tell(Told("wrong", f"{name}: {'; '.join(differs)}", "Correct the example, or the part that it tries."))
        else:
            tell(Told("right", name))
            lost = _another_value(profile, example, decoder)
            if lost:
                advice = "Match exactly as many figures as there are, give a 'length', or let two readings agree."
                tell(Told("remark", f"{name}: with one byte lost it reads as another value: '{lost}'", advice))
    shown = {example.function for example in profile.examples if example.does == "read"}
    bare = [function.name for function in profile.functions if function.name not in shown]
    if bare:
        advice = "Add one of each, with the bytes that --port shows, so that it is tried without the meter."
        tell(Told("remark", f"no example of a reading of {', '.join(bare)}", advice))
    return wrong


def _another_value(profile: Profile, example: Example, decoder: Decoder | None) -> str:
    """A first answer that lost one byte on the wire and gives another value all the same; empty where none does."""
    if example.does != "read" or example.gives.trouble or example.gives.value is None or not example.exchange:
        return ""
    first, *rest = example.exchange
    answer = first.received.data
    for place in range(len(answer)):
        cut = answer[:place] + answer[place + 1 :]
        worse = msgspec.structs.replace(first, received=WireText(cut))
        tried = msgspec.structs.replace(example, exchange=[worse, *rest])
        if any(wrong.startswith("value") for wrong in replay(profile, tried, decoder)):
            return show(cut)
    return ""


def examine(
    meter: LenientSession,
    *,
    energise: bool = False,
    act: Callable[[str], bool] = lambda instruction: True,
) -> int:
    """Try everything that a profile says on the meter at an open port; returns how much is wrong.

    Args:
        meter: the session with it, which tells what is found.
        energise: whether outputs, and functions that energise, may be used.
        act: asks a person to do something at the meter; returns whether it was done.

    Raises:
        InstrumentTrouble: ``lost``; ``unable`` for a setting that cannot have its value.
    """
    meter.report("head", "who it is")
    meter.conversation.pause(meter.line.settle.value)
    for data in meter.line.wake:
        meter.conversation.wake(data.data, meter.line.wake_pause.value)
    if not (_hear(meter) if meter.unasked else _know(meter)):
        meter.report("left", "all else: nothing can be tried before it is heard")
        return meter.wrong
    _try_probe(meter)
    meter.look_at_queue("before anything was set")
    if meter.profile.setup and (energise or meter.profile.safe is None):
        # as a walk does: many a meter listens to nothing before it is remote; what has outputs would lose them
        meter.obey(meter.profile.setup, "setup")
    left: dict[str, str] = {}

    def leave(function: Function, why: str, advice: str) -> None:
        left[function.name] = why
        meter.report("left", f"{function.name}: {why}", advice)

    for function in meter.profile.functions:
        wires = f", {function.wires} wires" if function.reads == "resistance" else ""
        meter.report("head", f"{function.name} ({function.reads}{wires})")
        if function.energises:
            if not energise:
                leave(function, "it energises: --energise tries it", "")
        elif function.dial and not act(function.dial):
            leave(function, "the meter was not set to it", function.dial)
        else:
            _Trial(meter, function, leave).run()
    look_at_outputs(meter)
    meter.look_at_queue("at the end")
    use_whole(meter, [f for f in meter.profile.functions if f.name not in left], leave, energise=energise)
    return meter.wrong


# ---- who it is -------------------------------------------------------------------------------


def _hear(meter: LenientSession) -> bool:
    """Listen to an instrument that talks by itself; returns whether it is understood at all."""
    conversation, dialogue = meter.conversation, meter.profile.dialogue
    conversation.dialogue.skip_first()
    for command in dialogue.start if isinstance(dialogue, Stream) else ():
        meter.tell(command)
    moments: list[float] = []
    cut = isinstance(dialogue, Frames)
    while len(moments) <= READINGS:
        conversation.forget()
        try:
            found = conversation.listen(conversation.clock() + meter.line.timeout.value + PATIENCE * meter.slowest)
        except InstrumentTrouble as trouble:
            if trouble.kind == "lost":
                raise
            meter.explain_silence(trouble, "dialogue.start", "what it sends by itself")
            return False
        if cut and not isinstance(found, Frame):
            # opening came into the middle of a frame
            cut = False
            continue
        moments.append(conversation.clock())
        meter.report("shown", f"it sends '{show(found.raw)}'")
        if not isinstance(found, Frame) or meter.parts(found) is None:
            meter.explain_pattern(found.raw, meter.reply_of(None), "dialogue.reply")
            return False
    periods = [after - before for before, after in itertools.pairwise(moments)]
    meter.report("right", f"it sends a reading each {statistics.median(periods):.2g} s")
    slow = [function.name for function in meter.profile.functions if function.takes.value < max(periods)]
    if slow:
        meter.report(
            "remark",
            f"up to {max(periods):.2g} s lie between readings, and 'takes' of {', '.join(slow)} is shorter",
            f"Set it to {max(periods) * 1.25:.2g} s or more.",
        )
    return True


def _know(meter: LenientSession) -> bool:
    """Ask an instrument who it is; returns whether it answers at all."""
    conversation, identify = meter.conversation, meter.profile.identify
    conversation.dialogue.doubt("the port was opened just now")
    conversation.resynchronise()
    if identify is None:
        meter.report("remark", "this kind has no name or number of its own: two of a kind cannot be told apart")
        return _know_by_shape(meter)
    what = f"'{identify.ask}'" if identify.ask else "the register that identifies it"
    asks = "identify.ask" if identify.ask else "identify.register"

    def told() -> Identity | None:
        """Who it says it is, shown; None for a reply that is of no such kind."""
        try:
            identity, raw = meter.ask_identity()
        except InstrumentTrouble as trouble:
            if trouble.unmatched is None:
                raise
            meter.report("shown", f"{what} is answered by '{show(trouble.raw[-1])}'")
            _explain_name(meter, trouble.raw[-1], trouble.unmatched)
            return None
        meter.report("shown", f"{what} is answered by '{show(raw)}'")
        return identity

    first = meter.attempt(told, asks, what)
    if first is None:
        # an instrument that answers, if not as its profile says, can be tried further
        return meter.heard
    again = meter.attempt(meter.ask_identity, asks, what)
    if again is not None and again[0].text != first.text:
        meter.say_wrong(
            f"it gives another name when it is asked again: '{show(again[1])}'",
            "What changes is no identity: ask another question, or leave 'identify' out.",
        )
    elif again is not None:
        named = ((name, getattr(first, name)) for name in ("maker", "model", "serial", "version"))
        said = ", ".join(f"{name} {text}" for name, text in named if text)
        meter.report("right", f"it is {said or first.text}" if identify.ask else "it is of this kind")
    return True


def _explain_name(meter: LenientSession, raw: bytes, pattern: Pattern) -> None:
    identify = meter.profile.identify
    if identify is None or identify.register is None:
        meter.explain_pattern(raw, pattern, "identify.reply", suggested_identity)
        return
    # what is held against the pattern is the register's number, and not the bytes
    parts = meter.ask_register(identify.register).parts
    text = parts.value if parts is not None else ""
    meter.say_wrong(
        f"the register holds {text}, which does not match the pattern of identify.reply, '{pattern.text}'",
        f"If this is the meter that is meant: '(?P<model>{text})'.",
    )


def _know_by_shape(meter: LenientSession) -> bool:
    """Whether anything comes where a few bytes ask for a reading: if not, no function needs to be tried."""
    dialogue = meter.profile.dialogue
    if not isinstance(dialogue, Poll | Frames):
        return True
    what = f"'{show(dialogue.ask.data)}'"
    frame = meter.attempt(partial(meter.answer, dialogue.ask.data, meter.slowest), "dialogue.ask", what)
    if frame is not None:
        meter.report("shown", f"{what} is answered by '{show(frame.raw)}'")
    return meter.heard


def _try_probe(meter: LenientSession) -> None:
    """Whether the number that proves the order of answers is kept and given back."""
    probe = meter.profile.probe
    if probe is None:
        return

    kept = meter.attempt(partial(meter.keep_number, probe), "probe.ask", f"'{probe.ask}'", no_better, "probe.reply")
    if kept is None:
        meter.tell(fill(probe.set, {"number": str(probe.rest)}))
    elif kept[0] != kept[1]:
        meter.say_wrong(
            f"it was given the number {kept[0]} to keep, and '{probe.ask}' gives back '{kept[1]}'",
            "Use a setting that it keeps, or leave 'probe' out: late answers are then waited out.",
        )
    else:
        meter.report("right", "it gives back the number that proves the order of answers")


# ---- one function ----------------------------------------------------------------------------


class _Trial:
    """Tries one function that does not energise."""

    def __init__(self, meter: LenientSession, function: Function, leave: Callable[[Function, str, str], None]) -> None:
        self._meter = meter
        self._function = function
        self._leave = leave
        self._texts = meter.texts(function.settings, function.name)
        self._taker = Taker(meter, function, None, self._texts, PATIENCE)
        self._asked = isinstance(meter.profile.dialogue, Query)

    def run(self) -> None:
        """Set it, read it, and lock its ranges."""
        meter, function, texts = self._meter, self._function, self._texts
        before = meter.wrong
        meter.obey(fill_all((*function.configure, *function.automatic), texts), f"'configure' of {function.name}")
        meter.conversation.pause(function.settle.value)
        self._read()
        if function.lock and meter.wrong == before:
            self._lock_ranges()

    def _read(self) -> None:
        """Take readings; what confirms the setting is asked after each, as in a walk."""
        meter, function = self._meter, self._function
        where = f"'confirm' of {function.name}"
        times: list[float] = []
        for _ in range(READINGS):
            before = meter.wrong
            meter.obey(fill_all(function.begin, self._texts), f"'begin' of {function.name}")
            self._wait_until_ready()
            meter.confirm(function.running, self._texts, f"'running' of {function.name}")
            taken = self._trigger() if meter.wrong == before else None
            meter.obey(fill_all(function.end, self._texts), f"'end' of {function.name}")
            meaning = self._meaning(taken) if taken is not None else None
            named = meter.confirm(function.confirm, self._texts, where)
            if taken is None or meaning is None or meter.wrong > before:
                return
            took = taken.finished - taken.started
            times.append(took)
            held = meaning.range or next((part for part in function.ranges if part.range.value == named), None)
            meter.report("shown", f"'{show(taken.frame.raw)}' is {_words(meaning, function, held)}, after {took:.3g} s")
        meter.report("right", f"{function.name} reads, in {statistics.median(times):.3g} s (median of {len(times)})")
        if max(times) > self._taker.takes and not meter.unasked:
            meter.report(
                "remark",
                f"a reading took {max(times):.2g} s, and 'takes' of {self._timed} says {self._taker.takes:g} s",
                f"Set it to {max(times) * 1.25:.2g} s or more.",
            )

    @property
    def _timed(self) -> str:
        """Whose time it is: the function's, or that of a setting's choice."""
        for setting in self._function.settings:
            if setting.takes(self._texts[setting.name]) == self._taker.takes:
                return f"{self._function.name}, {setting.name} {self._texts[setting.name]},"
        return self._function.name

    def _wait_until_ready(self) -> None:
        """Ask what says that a reading is ready, as long as a walk would; tell where it does not come."""
        meter, function = self._meter, self._function
        until = meter.conversation.clock() + self._taker.takes + meter.line.timeout.value
        for check in function.ready:
            where = f"'ready' of {function.name}"
            question = fill(check.ask, self._texts)
            ask = partial(meter.check, check, self._texts)
            while (checked := meter.attempt(ask, where, f"'{question}'")) is not None and not checked.holds:
                if meter.conversation.clock() >= until:
                    meter.say_wrong(
                        f"'{question}' is answered by '{checked.text}' for {self._taker.takes:g} s and longer",
                        f"Correct {where}, or make 'takes' longer.",
                    )
                    return
                meter.conversation.pause(READY_PAUSE)

    def _trigger(self) -> Taken | None:
        """One reading as it comes; None after telling why there is none."""
        meter, function = self._meter, self._function
        where = f"'register' of {function.name}" if function.register is not None else "dialogue.ask"
        what = f"a reading of {function.name}"
        if self._asked:
            where, dialogue = f"'read' of {function.name}", meter.profile.dialogue
            command = function.read or (dialogue.read if isinstance(dialogue, Query) else "")
            what = f"'{fill(command, self._texts)}'"
        reply = f"function {function.name}" if function.reply is not None else "dialogue.reply"
        return meter.attempt(self._taker.frame, where, what, reply=reply)

    def _meaning(self, taken: Taken) -> Meaning | None:
        """What a reading means; None after telling why it means nothing."""
        meter, function, frame, parts = self._meter, self._function, taken.frame, taken.parts
        try:
            meaning = meaning_of(parts, function, meter.profile, marks_are_text=frame.parts is None)
            if meaning.value is not None:
                refuse_beyond(meaning.value, function, meaning.range)
            return meaning
        except InstrumentTrouble as trouble:
            self._explain(show(frame.raw), parts, trouble)
            return None

    def _explain(self, raw: str, parts: Parts, trouble: InstrumentTrouble) -> None:
        """Tell why a reply that was taken apart is no reading of the function."""
        meter, function = self._meter, self._function
        marks = {mark for one in meter.profile.functions for mark in one.marks}
        units = {unit for one in meter.profile.functions for unit in one.units}
        if function.marks and parts.function not in marks:
            meter.say_wrong(
                f"'{raw}': no function of the profile has the mark '{parts.function}'",
                f"Add it to 'marks' of the function that it stands for, such as {function.name}.",
            )
        elif parts.unit and parts.unit not in units:
            unit = function.unit or _WRITTEN.get(function.base_unit, function.base_unit)
            meter.say_wrong(
                f"'{raw}': no function of the profile has the unit '{parts.unit}'",
                f"Say in 'units' of {function.name} what it is, such as units: {{{parts.unit}: {unit}}}.",
            )
        elif trouble.kind == "mismatch" and function.dial:
            self._leave(function, f"the meter is not on it: {trouble.what}", function.dial)
        else:
            advice = trouble.advice
            if number_of(parts.value) is not None and trouble.kind == "garbled":
                advice = f"If the meter means over range by it: specials: {{over: ['{parts.value.strip()}']}}. {advice}"
            meter.say_wrong(f"'{raw}' makes no reading of {function.name}: {trouble.what}", advice)

    def _lock_ranges(self) -> None:
        """Lock each range, and look whether it is taken."""
        meter, function = self._meter, self._function
        before = meter.wrong
        for part in function.ranges:
            values = {**self._texts, "range": part.sent}
            where = f"'lock' of {function.name} for {engineering(part.range.value, function.base_unit)}"
            meter.obey(fill_all(function.lock, values), where)
            meter.confirm(function.confirm, values, where)
        meter.obey(fill_all(function.automatic, self._texts), f"'automatic' of {function.name}")
        if meter.wrong == before:
            names = ", ".join(engineering(part.range.value, function.base_unit) for part in function.ranges)
            meter.report("right", f"it takes each range: {names}")


def _words(meaning: Meaning, function: Function, held: Range | None) -> str:
    unit = function.base_unit
    on = f" on the {engineering(held.range.value, unit)} range" if held is not None else ""
    flags = f" [{', '.join(meaning.flags)}]" if meaning.flags else ""
    if meaning.value is not None:
        return engineering(meaning.value, unit, resolution=meaning.resolution) + on + flags
    return ("over range" if meaning.over else "no number") + on + flags
