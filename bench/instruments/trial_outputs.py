"""The end of the profile kit: outputs as they stand, and the program itself, which opens the meter and uses it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from bench.instruments.instrument import Instrument
from bench.instruments.outputs import UNSAFE_ADVICE
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function
from bench.instruments.profile.profile import Output
from bench.instruments.trial_asking import Asker, no_better
from bench.instruments.wire_text import show
from bench.quantity import engineering

Leave = Callable[[Function, str, str], None]


def look_at_outputs(asker: Asker) -> None:
    """Ask how outputs stand; nothing is changed."""
    profile = asker.profile
    if profile.safe is None:
        return
    asker.say("head", "outputs")
    for output in profile.outputs:
        _look_at_output(asker, output)
    if profile.switch is not None:
        answer = asker.ask(profile.switch.closed.ask, "'closed' of the switch")
        if answer is not None and profile.switch.closed.reply.match(answer.text) is None:
            asker.explain_pattern(answer.raw, profile.switch.closed.reply, "'closed' of the switch", no_better)
        elif answer is not None:
            asker.say("right", f"it tells its closed channels: '{show(answer.raw)}'")
    for check in profile.safe.checks:
        answer = asker.ask(check.ask, "'safe'")
        if answer is not None:
            holds = asker.session.check(check, {}).holds
            text = f"'{check.ask}' is answered by '{answer.text}'"
            asker.say("right" if holds else "remark", f"{text}: {'safe' if holds else 'not safe as it stands'}")


def _look_at_output(asker: Asker, output: Output) -> None:
    holds: list[bool] = []
    said = ""
    for state, check in (("on", output.is_on), ("off", output.is_off)):
        answer = asker.ask(check.ask, f"'is-{state}' of {output.name}")
        if answer is None:
            return
        said = answer.text
        holds.append(asker.session.check(check, {}).holds)
    if holds[0] == holds[1]:
        fits = "both 'is-on' and 'is-off'" if holds[0] else "neither 'is-on' nor 'is-off'"
        asker.say_wrong(f"{output.name}: the reply '{said}' fits {fits}", "Correct these two.")
    else:
        asker.say("right", f"{output.name} reads as {'ON' if holds[0] else 'off'}")


def use_whole(asker: Asker, functions: Iterable[Function], leave: Leave, *, energise: bool) -> None:
    """Let the program itself open the meter and use it, as in a walk. Makes safe, whatever happens.

    Args:
        asker: has told nothing wrong so far, or nothing is done.
        functions: what is to be read.
        leave: is told of a function that turns out not to be what the meter is on.
        energise: whether outputs, and functions that energise, may be used.

    Raises:
        InstrumentTrouble: ``lost``, ``unable``.
    """
    asker.say("head", "the program itself")
    profile = asker.profile
    if asker.wrong:
        asker.say("left", "the profile must be corrected first")
        return
    if profile.safe is not None and not energise:
        text = "to set it up, switch it and make it safe moves its outputs: --energise tries that"
        asker.say("left", text)
        return
    instrument = Instrument(profile, asker.transport, decoder=asker.decoder, trace=asker.trace)
    try:
        identity = instrument.open()
        asker.say("right", f"it opens it: {identity.text or profile.title}")
        for function in functions:
            _use_function(asker, instrument, function, leave)
        for output in profile.outputs:
            _use_output(asker, instrument, output)
        _use_switch(asker, instrument)
    except InstrumentTrouble as trouble:
        if trouble.kind in ("lost", "unable"):
            raise
        asker.say_wrong(trouble.what, trouble.advice)
    finally:
        if profile.safe is not None:
            state = instrument.make_safe()
            if state.confirmed:
                asker.say("right", f"it makes it safe. {state.what}")
            else:
                asker.say_wrong(f"NOT CONFIRMED SAFE. {state.what}", UNSAFE_ADVICE)


def _use_function(asker: Asker, instrument: Instrument, function: Function, leave: Leave) -> None:
    settings: dict[str, str | float] = dict(asker.texts(function.settings, function.name))
    try:
        instrument.configure(function.name, None, settings)
        sample = instrument.read()
    except InstrumentTrouble as trouble:
        if trouble.kind in ("lost", "unable", "unsafe"):
            raise
        if trouble.kind == "mismatch" and function.dial:
            leave(function, f"the meter is not on it: {trouble.what}", function.dial)
        else:
            asker.say_wrong(f"{function.name}: {trouble.what}", trouble.advice)
        return
    shown = "over range" if sample.over else "no number"
    if sample.value is not None:
        shown = engineering(sample.value, sample.unit, resolution=sample.resolution)
    at = ", ".join(f"{name} {text}" for name, text in settings.items())
    asker.say("right", f"it reads {function.name}{f' at {at}' if at else ''}: {shown}, in {sample.took:.3g} s")


def _use_output(asker: Asker, instrument: Instrument, output: Output) -> None:
    settings: dict[str, str | float] = dict(asker.texts(output.settings, output.name))
    on = instrument.set_output(True, settings, output.name)
    off = instrument.set_output(False, None, output.name)
    at = ", ".join(f"{name} {text}" for name, text in settings.items())
    heard = " and ".join(f"'{state.raw_text[-1]}'" for state in (on, off))
    asker.say("right", f"it switches {output.name} on at {at or 'its settings'}, and off: confirmed by {heard}")


def _use_switch(asker: Asker, instrument: Instrument) -> None:
    if asker.profile.switch is None:
        return
    channels = [name.strip() for name in asker.settings.get("channels", "").split(",") if name.strip()]
    if not channels:
        asker.say("left", "closing channels: --set channels=NAME,NAME tries them")
        return
    instrument.set_channels(channels)
    instrument.set_channels(())
    asker.say("right", f"it closes {', '.join(channels)} and opens them again, confirmed")
