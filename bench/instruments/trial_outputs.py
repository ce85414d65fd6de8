"""The end of trying a profile: outputs as they stand, and the program itself, which opens the meter and uses it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import partial

from bench.instruments.instrument import Instrument
from bench.instruments.lenient_session import LenientSession
from bench.instruments.outputs import UNSAFE_ADVICE
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.functions import Function
from bench.instruments.profile.profile import Output, Profile
from bench.instruments.values import Sample
from bench.instruments.wire_text import show
from bench.judge.accuracy import AccuracyTable
from bench.judge.judge_error import JudgeError
from bench.quantity import engineering

Leave = Callable[[Function, str, str], None]


def look_at_outputs(meter: LenientSession) -> None:
    """Ask how outputs stand; nothing is changed."""
    profile = meter.profile
    if profile.safe is None:
        return
    meter.report("head", "outputs")
    for output in profile.outputs:
        _look_at_output(meter, output)
    if profile.switch is not None:
        told = meter.look(profile.switch.closed, {}, "'closed' of the switch")
        if told is not None:
            meter.report("right", f"it tells its closed channels: '{show(told.raw)}'")
    for check in profile.safe.checks:
        checked = meter.attempt(partial(meter.check, check, {}), "'safe'", f"'{check.ask}'")
        if checked is not None:
            text = f"'{check.ask}' is answered by '{checked.text}'"
            how = "safe" if checked.holds else "not safe as it stands"
            meter.report("right" if checked.holds else "remark", f"{text}: {how}")


def _look_at_output(meter: LenientSession, output: Output) -> None:
    holds: list[bool] = []
    said = ""
    for state, check in (("on", output.is_on), ("off", output.is_off)):
        checked = meter.attempt(partial(meter.check, check, {}), f"'is-{state}' of {output.name}", f"'{check.ask}'")
        if checked is None:
            return
        said = checked.text
        holds.append(checked.holds)
    if holds[0] == holds[1]:
        fits = "both 'is-on' and 'is-off'" if holds[0] else "neither 'is-on' nor 'is-off'"
        meter.say_wrong(f"{output.name}: the reply '{said}' fits {fits}", "Correct these two.")
    else:
        meter.report("right", f"{output.name} reads as {'ON' if holds[0] else 'off'}")


def use_whole(meter: LenientSession, functions: Iterable[Function], leave: Leave, *, energise: bool) -> None:
    """Let the program itself open the meter and use it, as in a walk. Makes safe, whatever happens.

    Args:
        meter: the session with it; it has told nothing wrong so far, or nothing is done.
        functions: what is to be read.
        leave: is told of a function that turns out not to be what the meter is on.
        energise: whether outputs, and functions that energise, may be used.

    Raises:
        InstrumentTrouble: ``lost``, ``unable``.
    """
    meter.report("head", "the program itself")
    profile = meter.profile
    if meter.wrong:
        meter.report("left", "the profile must be corrected first")
        return
    if profile.safe is not None and not energise:
        text = "to set it up, switch it and make it safe would switch its outputs: --energise tries that"
        meter.report("left", text)
        return
    instrument = Instrument(profile, meter.transport, decoder=meter.decoder, trace=meter.trace)
    try:
        identity = instrument.open()
        meter.report("right", f"it opens it: {identity.text or profile.title}")
        for function in functions:
            _use_function(meter, instrument, function, leave)
        for output in profile.outputs:
            _use_output(meter, instrument, output)
        _use_switch(meter, instrument)
    except InstrumentTrouble as trouble:
        if trouble.kind in ("lost", "unable"):
            raise
        meter.say_wrong(trouble.what, trouble.advice)
    finally:
        if profile.safe is not None:
            state = instrument.make_safe()
            if state.confirmed:
                meter.report("right", f"it makes it safe. {state.what}")
            else:
                meter.say_wrong(f"NOT CONFIRMED SAFE. {state.what}", UNSAFE_ADVICE)


def _use_function(meter: LenientSession, instrument: Instrument, function: Function, leave: Leave) -> None:
    settings: dict[str, str | float] = dict(meter.texts(function.settings, function.name))
    try:
        instrument.configure(function.name, None, settings)
        sample = instrument.read()
    except InstrumentTrouble as trouble:
        if trouble.kind in ("lost", "unable", "unsafe"):
            raise
        if trouble.kind == "mismatch" and function.dial:
            leave(function, f"the meter is not on it: {trouble.what}", function.dial)
        else:
            meter.say_wrong(f"{function.name}: {trouble.what}", trouble.advice)
        return
    shown = "over range" if sample.over else "no number"
    if sample.value is not None:
        shown = engineering(sample.value, sample.unit, resolution=sample.resolution)
    at = ", ".join(f"{name} {text}" for name, text in settings.items())
    text = f"it reads {function.name}{f' at {at}' if at else ''}: {shown}, in {sample.took:.3g} s"
    true = meter.known.get(function.name)
    if true is None:
        meter.report(
            "remark",
            f"{text}; whether that is right is not proven",
            f"Put something known on it and say what: --known '{function.name}=VALUE'.",
        )
        return
    off = None if sample.value is None else abs(sample.value - true)
    is_on = engineering(true, sample.unit)
    if off is not None and off <= _allowed(meter.profile, sample, true):
        meter.report("right", f"{text}, where {is_on} is on it")
    else:
        meter.say_wrong(f"{text}, where {is_on} is on it", _why_off(sample.value, true))


def _allowed(profile: Profile, sample: Sample, true: float) -> float:
    """How far a right reading may be from what is on it: what is known is seldom better than 2 % (our own figure)."""
    rows = accuracy_rows(profile)
    far = 0.02 * abs(true) + 2 * (sample.resolution or 0.0)
    if rows and sample.value is not None:
        table = AccuracyTable(profile.profile, rows)
        try:
            row = table.pick(sample.function, sample.value, range_top=sample.range, allow_overdue=True).row
        except JudgeError:
            return far
        far += row.error_at(sample.value, 23.0).half_width
    return far


def _why_off(value: float | None, true: float) -> str:
    """What is most often wrong with a profile whose reading is off by this much."""
    if value is None or not value or not true:
        return "Look what is on it, and at the place of the point, the order of words and 'scale'."
    tens = math.log10(abs(value / true))
    if value * true < 0 and abs(tens) < 0.05:
        return "The sign is the other way round: exchange the leads, or let 'scale' be negative."
    if abs(tens) > 0.5 and abs(tens - round(tens)) < 0.02:
        return f"It is off by {10.0 ** round(tens):g}: look at 'units', 'unit', 'point' and 'scale'."
    if abs(tens) > 3:
        return "It is nowhere near: look at the order of words and bytes, and at 'type'."
    return "Look what is on it; then at 'units', 'scale' and the reply's pattern."


def _use_output(meter: LenientSession, instrument: Instrument, output: Output) -> None:
    settings: dict[str, str | float] = dict(meter.texts(output.settings, output.name))
    on = instrument.set_output(True, settings, output.name)
    off = instrument.set_output(False, None, output.name)
    at = ", ".join(f"{name} {text}" for name, text in settings.items())
    heard = " and ".join(f"'{state.raw_text[-1]}'" for state in (on, off))
    meter.report("right", f"it switches {output.name} on at {at or 'its settings'}, and off: confirmed by {heard}")


def _use_switch(meter: LenientSession, instrument: Instrument) -> None:
    if meter.profile.switch is None:
        return
    channels = [name.strip() for name in meter.settings.get("channels", "").split(",") if name.strip()]
    if not channels:
        meter.report("left", "closing channels: --set channels=NAME,NAME tries them")
        return
    instrument.set_channels(channels)
    instrument.set_channels(())
    meter.report("right", f"it closes {', '.join(channels)} and opens them again, confirmed")
