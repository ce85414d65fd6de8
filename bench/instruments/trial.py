"""The profile kit: talks to a meter as its profile says, shows what comes, and says what the profile gets wrong.

It goes on past a mistake, so that one run finds all of them. Only where nothing is wrong, the program itself opens the
meter and reads each function, as it would in a walk. Nothing that energises or switches is touched unless that was
asked for, and then only by the program itself, which makes safe whatever happens.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Callable
from typing import Final

from bench.instruments.examples import replay
from bench.instruments.hints import suggested_identity
from bench.instruments.parts import Decoder, Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function, Range
from bench.instruments.profile.line import Frames, Poll, Query, Stream
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill, fill_all
from bench.instruments.trial_asking import NO_ANSWER, PATIENCE, Asker, Tell, Told, no_better
from bench.instruments.trial_outputs import look_at_outputs, use_whole
from bench.instruments.wire.framing import Frame
from bench.instruments.wire.interpret import Meaning, meaning_of, number_of, refuse_beyond
from bench.instruments.wire_text import show
from bench.quantity import engineering

READINGS: Final = 3
"""Readings of each function: the median of their times is told."""
_WRITTEN: Final = {"Ω": "ohm", "°C": "degC"}
"""Base units as profiles write them, where that is another text."""


def examples(profile: Profile, decoder: Decoder | None, tell: Tell) -> int:
    """Replay a profile's examples byte for byte; returns how many come out otherwise than they say."""
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
    shown = {example.function for example in profile.examples if example.does == "read"}
    bare = [function.name for function in profile.functions if function.name not in shown]
    if bare:
        advice = "Add one of each, with the bytes that --port shows, so that it is tried without the meter."
        tell(Told("remark", f"no example of a reading of {', '.join(bare)}", advice))
    return wrong


def examine(
    asker: Asker,
    *,
    energise: bool = False,
    act: Callable[[str], bool] = lambda instruction: True,
) -> int:
    """Try everything that a profile says on the meter at an open port; returns how much is wrong.

    Args:
        asker: asks the meter and tells what is found.
        energise: whether outputs, and functions that energise, may be used.
        act: asks a person to do something at the meter; returns whether it was done.

    Raises:
        InstrumentTrouble: ``lost``; ``unable`` for a setting that cannot have its value.
    """
    asker.say("head", "who it is")
    asker.session.conversation.pause(asker.line.settle.value)
    if not (_hear(asker) if asker.session.unasked else _know(asker)):
        asker.say("left", "all else: nothing can be tried before it is heard")
        return asker.wrong
    _try_probe(asker)
    asker.look_at_queue("before anything was set")
    left: dict[str, str] = {}

    def leave(function: Function, why: str, advice: str) -> None:
        left[function.name] = why
        asker.say("left", f"{function.name}: {why}", advice)

    for function in asker.profile.functions:
        wires = f", {function.wires} wires" if function.reads == "resistance" else ""
        asker.say("head", f"{function.name} ({function.reads}{wires})")
        if function.energises:
            if not energise:
                leave(function, "it energises: --energise tries it", "")
        elif function.dial and not act(function.dial):
            leave(function, "the meter was not set to it", function.dial)
        else:
            _Trial(asker, function, leave).run()
    look_at_outputs(asker)
    asker.look_at_queue("at the end")
    use_whole(asker, [f for f in asker.profile.functions if f.name not in left], leave, energise=energise)
    return asker.wrong


# ---- who it is -------------------------------------------------------------------------------


def _hear(asker: Asker) -> bool:
    """Listen to an instrument that talks by itself; returns whether it is understood at all."""
    session, conversation, dialogue = asker.session, asker.session.conversation, asker.profile.dialogue
    conversation.dialogue.skip_first()
    for command in dialogue.start if isinstance(dialogue, Stream) else ():
        session.tell(command)
    slowest = max(function.takes.value for function in asker.profile.functions)
    moments: list[float] = []
    cut = isinstance(dialogue, Frames)
    while len(moments) <= READINGS:
        conversation.forget()
        try:
            found = conversation.listen(conversation.clock() + asker.line.timeout.value + PATIENCE * slowest)
        except InstrumentTrouble as trouble:
            if trouble.kind == "lost":
                raise
            asker.explain_silence(trouble, "dialogue.start", "what it sends by itself")
            return False
        if cut and not isinstance(found, Frame):
            # opening came into the middle of a frame
            cut = False
            continue
        moments.append(conversation.clock())
        asker.say("shown", f"it sends '{show(found.raw)}'")
        if not isinstance(found, Frame) or session.parts(found) is None:
            pattern = dialogue.reply if isinstance(dialogue, Stream) else None
            asker.explain_pattern(found.raw, pattern, "dialogue.reply")
            return False
    periods = [after - before for before, after in itertools.pairwise(moments)]
    asker.say("right", f"it sends a reading each {statistics.median(periods):.2g} s")
    slow = [function.name for function in asker.profile.functions if function.takes.value < max(periods)]
    if slow:
        asker.say(
            "remark",
            f"up to {max(periods):.2g} s lie between readings, and 'takes' of {', '.join(slow)} is shorter",
            f"Set it to {max(periods) * 1.25:.2g} s or more.",
        )
    return True


def _know(asker: Asker) -> bool:
    """Ask an instrument who it is; returns whether it answers at all."""
    conversation, identify = asker.session.conversation, asker.profile.identify
    conversation.dialogue.doubt("the port was opened just now")
    conversation.resynchronise()
    if identify is None:
        asker.say("remark", "this kind cannot say who it is: another one of the kind is not told from it")
        return _know_by_shape(asker)
    if identify.register is not None:
        return _know_by_register(asker)
    answer = asker.ask_first(identify.ask, "identify.ask")
    if answer is None:
        return False
    asker.say("shown", f"'{identify.ask}' is answered by '{show(answer.raw)}'")
    found = identify.reply.match(answer.text)
    if found is None:
        asker.explain_pattern(answer.raw, identify.reply, "identify.reply", suggested_identity)
        return True
    again = asker.ask(identify.ask, "identify.ask")
    if again is not None and again.text != answer.text:
        asker.say_wrong(
            f"it names itself otherwise when it is asked again: '{show(again.raw)}'",
            "What changes is no identity: ask another question, or leave 'identify' out.",
        )
    elif again is not None:
        named = [f"{name} {found[name].strip()}" for name in ("maker", "model", "serial", "version") if name in found]
        asker.say("right", f"it is {', '.join(named) or answer.text}")
    return True


def _know_by_shape(asker: Asker) -> bool:
    """Whether anything comes where a few bytes ask for a reading: if not, no function needs to be tried."""
    dialogue = asker.profile.dialogue
    if not isinstance(dialogue, Poll | Frames):
        return True
    slowest = max(function.takes.value for function in asker.profile.functions)
    try:
        frame = asker.session.conversation.ask(dialogue.ask.data, asker.line.timeout.value + slowest)
    except InstrumentTrouble as trouble:
        if trouble.kind not in NO_ANSWER:
            raise
        asker.explain_silence(trouble, "dialogue.ask", f"'{show(dialogue.ask.data)}'")
        return trouble.kind != "silent"
    asker.say("shown", f"'{show(dialogue.ask.data)}' is answered by '{show(frame.raw)}'")
    return True


def _know_by_register(asker: Asker) -> bool:
    identify = asker.profile.identify
    assert identify is not None and identify.register is not None
    try:
        frame = asker.session.ask_register(identify.register)
    except InstrumentTrouble as trouble:
        if trouble.kind not in NO_ANSWER:
            raise
        asker.explain_silence(trouble, "identify.register", "the register that identifies it")
        return trouble.kind != "silent"
    text = frame.parts.value if frame.parts is not None else ""
    asker.say("shown", f"the register that identifies it holds {text}: '{show(frame.raw)}'")
    if identify.reply.match(text) is None:
        asker.say_wrong(
            f"the register holds {text}, which does not match the pattern of identify.reply, '{identify.reply.text}'",
            f"If this is the meter that is meant: '(?P<model>{text})'.",
        )
    else:
        asker.say("right", "it is of this kind")
    return True


def _try_probe(asker: Asker) -> None:
    """Whether the number that proves the order of answers is kept and given back."""
    probe = asker.profile.probe
    if probe is None:
        return
    number = str(probe.least + 1)
    command = fill(probe.set, {"number": number})
    asker.session.tell(command)
    answer = asker.ask(probe.ask, "probe.ask")
    if answer is None:
        return
    found = probe.reply.match(answer.text)
    if found is None:
        asker.explain_pattern(answer.raw, probe.reply, "probe.reply", no_better)
    elif found["number"].lstrip("+").lstrip("0") != number:
        asker.say_wrong(
            f"it was given the number {number} to keep with '{command}', and '{probe.ask}' gives back '{answer.text}'",
            "Use a setting that it keeps, or leave 'probe' out: late answers are then waited out.",
        )
    else:
        asker.say("right", "it gives back the number that proves the order of answers")
    asker.session.tell(fill(probe.set, {"number": str(probe.rest)}))


# ---- one function ----------------------------------------------------------------------------


class _Trial:
    """Tries one function that does not energise."""

    def __init__(self, asker: Asker, function: Function, leave: Callable[[Function, str, str], None]) -> None:
        self._asker = asker
        self._function = function
        self._leave = leave
        self._texts = asker.texts(function.settings, function.name)
        self._asked = isinstance(asker.profile.dialogue, Query)

    def run(self) -> None:
        """Set it, read it, and lock its ranges."""
        asker, function, texts = self._asker, self._function, self._texts
        before = asker.wrong
        if self._asked:
            asker.obey(fill_all((*function.configure, *function.automatic), texts), f"'configure' of {function.name}")
            asker.session.conversation.pause(function.settle.value)
            asker.obey(fill_all(function.begin, texts), f"'begin' of {function.name}")
            asker.confirm(function.running, texts, f"'running' of {function.name}")
        self._read()
        if self._asked:
            asker.obey(fill_all(function.end, texts), f"'end' of {function.name}")
        if function.lock and asker.wrong == before:
            self._lock_ranges()

    def _read(self) -> None:
        """Take readings; what confirms the setting is asked after each, as in a walk."""
        asker, function = self._asker, self._function
        where = f"'confirm' of {function.name}"
        times: list[float] = []
        for _ in range(READINGS):
            before = asker.wrong
            taken = self._trigger()
            meaning = self._meaning(taken[0]) if taken is not None else None
            named = asker.confirm(function.confirm, self._texts, where)
            if taken is None or meaning is None or asker.wrong > before:
                return
            frame, took = taken
            times.append(took)
            held = meaning.range or next((part for part in function.ranges if part.range.value == named), None)
            asker.say("shown", f"'{show(frame.raw)}' is {_words(meaning, function, held)}, after {took:.3g} s")
        asker.say("right", f"{function.name} reads, in {statistics.median(times):.3g} s (median of {len(times)})")
        if max(times) > function.takes.value and not asker.session.unasked:
            asker.say(
                "remark",
                f"a reading took {max(times):.2g} s, and 'takes' of {function.name} says {function.takes}",
                f"Set it to {max(times) * 1.25:.2g} s or more.",
            )

    def _trigger(self) -> tuple[Frame, float] | None:
        """One reading's frame and how long it took; None after telling why there is none."""
        asker, function = self._asker, self._function
        dialogue, takes = asker.profile.dialogue, function.takes.value
        if isinstance(dialogue, Query):
            command = fill(function.read or dialogue.read, self._texts)
            answer = asker.ask(command, f"'read' of {function.name}", takes)
            return (Frame(answer.raw, answer.text.encode(asker.line.encoding)), answer.took) if answer else None
        conversation = asker.session.conversation
        began = conversation.clock()
        try:
            frame = self._frame(takes)
        except InstrumentTrouble as trouble:
            if trouble.kind not in NO_ANSWER:
                raise
            where = f"'register' of {function.name}" if function.register is not None else "dialogue.ask"
            asker.explain_silence(trouble, where, f"a reading of {function.name}")
            return None
        return frame, conversation.clock() - began

    def _frame(self, takes: float) -> Frame:
        session = self._asker.session
        conversation, dialogue = session.conversation, self._asker.profile.dialogue
        if session.unasked:
            conversation.forget()
            conversation.drop_old()
            # what comes first may be of before somebody turned the dial
            for _ in range(1 + (dialogue.skip if isinstance(dialogue, Stream | Frames) else 0)):
                found = conversation.listen(conversation.clock() + self._asker.line.timeout.value + PATIENCE * takes)
            if isinstance(found, Frame):
                return found
            raise InstrumentTrouble("garbled", f"'{show(found.raw)}' came: {found.why}.", raw=(found.raw,))
        conversation.fresh()
        conversation.forget()
        if self._function.register is not None:
            return session.ask_register(self._function.register, takes)
        assert isinstance(dialogue, Poll | Frames)
        return conversation.ask(dialogue.ask.data, self._asker.line.timeout.value + takes)

    def _meaning(self, frame: Frame) -> Meaning | None:
        """What a frame means; None after telling why it means nothing."""
        asker, function = self._asker, self._function
        dialogue = asker.profile.dialogue
        parts = asker.session.parts(frame, function)
        if parts is None:
            pattern = function.reply or (dialogue.reply if isinstance(dialogue, Query | Stream | Poll) else None)
            where = f"function {function.name}" if function.reply is not None else "dialogue.reply"
            asker.explain_pattern(frame.raw, pattern, where)
            return None
        try:
            meaning = meaning_of(parts, function, asker.profile, marks_are_text=frame.parts is None)
            if meaning.value is not None:
                refuse_beyond(meaning.value, function, meaning.range)
            return meaning
        except InstrumentTrouble as trouble:
            self._explain(show(frame.raw), parts, trouble)
            return None

    def _explain(self, raw: str, parts: Parts, trouble: InstrumentTrouble) -> None:
        """Tell why a reply that was taken apart is no reading of the function."""
        asker, function = self._asker, self._function
        marks = {mark for one in asker.profile.functions for mark in one.marks}
        units = {unit for one in asker.profile.functions for unit in one.units}
        if function.marks and parts.function not in marks:
            asker.say_wrong(
                f"'{raw}': no function of the profile has the mark '{parts.function}'",
                f"Add it to 'marks' of the function that it stands for, such as {function.name}.",
            )
        elif parts.unit and parts.unit not in units:
            unit = function.unit or _WRITTEN.get(function.base_unit, function.base_unit)
            asker.say_wrong(
                f"'{raw}': no function of the profile has the unit '{parts.unit}'",
                f"Say in 'units' of {function.name} what it is, such as units: {{{parts.unit}: {unit}}}.",
            )
        elif trouble.kind == "mismatch" and function.dial:
            self._leave(function, f"the meter is not on it: {trouble.what}", function.dial)
        else:
            advice = trouble.advice
            if number_of(parts.value) is not None and trouble.kind == "garbled":
                advice = f"If the meter means over range by it: specials: {{over: ['{parts.value.strip()}']}}. {advice}"
            asker.say_wrong(f"'{raw}' makes no reading of {function.name}: {trouble.what}", advice)

    def _lock_ranges(self) -> None:
        """Lock each range, and look whether it is taken."""
        asker, function = self._asker, self._function
        before = asker.wrong
        for part in function.ranges:
            values = {**self._texts, "range": part.sent}
            where = f"'lock' of {function.name} for {engineering(part.range.value, function.base_unit)}"
            asker.obey(fill_all(function.lock, values), where)
            asker.confirm(function.confirm, values, where)
        asker.obey(fill_all(function.automatic, self._texts), f"'automatic' of {function.name}")
        if asker.wrong == before:
            names = ", ".join(engineering(part.range.value, function.base_unit) for part in function.ranges)
            asker.say("right", f"it takes each range: {names}")


def _words(meaning: Meaning, function: Function, held: Range | None) -> str:
    unit = function.base_unit
    on = f" on the {engineering(held.range.value, unit)} range" if held is not None else ""
    flags = f" [{', '.join(meaning.flags)}]" if meaning.flags else ""
    if meaning.value is not None:
        return engineering(meaning.value, unit, resolution=meaning.resolution) + on + flags
    return ("over range" if meaning.over else "no number") + on + flags
