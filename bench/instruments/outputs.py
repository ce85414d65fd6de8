"""Switching outputs and channels, and making safe. Everything that is switched is read back.

The order when something goes wrong: first the commands that switch off go out, whatever state the line is in, and only
then is the line brought in step and the state read back.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypeVar

from bench.instruments.ports.shared import SharedPort
from bench.instruments.ports.trouble import InstrumentTrouble, Yielded
from bench.instruments.profile.functions import Setting
from bench.instruments.profile.profile import Output, Safe, Switch
from bench.instruments.profile.template import fill, fill_all, plain_number
from bench.instruments.session import Session
from bench.instruments.values import OutputState, SafeState

T = TypeVar("T")
Told = Callable[[float, str], None]
"""Is told what is left, and its unit, while charge leaves."""


def nobody(left: float, unit: str) -> None:
    """Nobody watches."""


SAFE_TRIES: Final = 3
"""Switching off may be repeated without harm; after three times without an answer a person must act."""
CHECK_PAUSE: Final = 0.1
"""Seconds between two looks at a charge that leaves: a tenth of what a person notices as waiting."""
UNSAFE_ADVICE: Final = "Treat it as live: switch it off at its own switch, and prove it dead before touching anything."


def set_output(session: Session, on: bool, wanted: Mapping[str, str | float], name: str | None) -> OutputState:
    """Switch an output; see :meth:`bench.instruments.instrument.Instrument.set_output`."""
    session.refuse_hands_off()
    output = output_of(session, name)
    if not on and wanted:
        raise InstrumentTrouble("unable", f"'{output.name}' needs no settings to be switched off.")
    texts = texts_of(output.settings, wanted, output.name) if on else {}
    return _or_safe(session, lambda: _switch(session, output, on, texts))


def _or_safe(session: Session, act: Callable[[], T]) -> T:
    """Act; where that fails in whatever way, make safe before the error goes on its way."""
    try:
        return act()
    except InstrumentTrouble as trouble:
        state = make_safe(session)
        if state.confirmed:
            raise
        raise InstrumentTrouble(
            "unsafe", f"{trouble.what} {state.what}", UNSAFE_ADVICE, raw=trouble.raw + state.raw
        ) from trouble
    except BaseException:
        make_safe(session)
        raise


def change_output(session: Session, wanted: Mapping[str, str | float], name: str | None) -> OutputState:
    """Change an output that is on; see :meth:`bench.instruments.instrument.Instrument.change_output`."""
    output = output_of(session, name)
    if not output.change:
        return set_output(session, True, wanted, name)
    texts = texts_of(output.settings, wanted, output.name)
    try:
        session.conversation.forget()
        for command in fill_all(output.change, texts):
            session.tell(command)
        session.refuse_errors(f"changing {output.name}")
        raws = []
        # what it was asked to be, and that it is still on
        for check in (*(one for one in output.confirm if one.equals), output.is_on):
            checked = session.check(check, texts)
            raws.append(checked.raw)
            if not checked.holds:
                raise InstrumentTrouble(
                    "mismatch",
                    f"{output.name} answers {checked.text[:60]!r} to {fill(check.ask, texts)!r}.",
                    "Its protection may have tripped: look for a short or a load that is too heavy.",
                    raw=tuple(raws),
                )
        return OutputState(output.name, True, dict(texts), tuple(raws))
    except BaseException as error:
        state = make_safe(session)
        if state.confirmed or not isinstance(error, InstrumentTrouble):
            raise
        raise InstrumentTrouble(
            "unsafe", f"{error.what} {state.what}", UNSAFE_ADVICE, raw=error.raw + state.raw
        ) from error


def confirm_output(session: Session, wanted: Mapping[str, str | float], name: str | None) -> OutputState:
    """Read back that it is on; see :meth:`bench.instruments.instrument.Instrument.confirm_output`."""
    output = output_of(session, name)
    texts = texts_of(output.settings, wanted, output.name)
    session.conversation.forget()
    checked = session.check(output.is_on, texts)
    if not checked.holds:
        raise InstrumentTrouble(
            "mismatch",
            f"{output.name} was on, and answers {checked.text[:60]!r} now.",
            "Its protection tripped, or somebody switched it off: look for a short or a load that is too heavy.",
            raw=(checked.raw,),
        )
    return OutputState(output.name, True, dict(texts), (checked.raw,))


def output_of(session: Session, name: str | None) -> Output:
    """An output by its name; the first where none is given.

    Raises:
        InstrumentTrouble: ``unable`` where there is none of that name.
    """
    for output in session.profile.outputs:
        if name in (None, output.name):
            return output
    known = ", ".join(output.name for output in session.profile.outputs) or "none"
    raise InstrumentTrouble("unable", f"It has no output '{name or ''}'.", f"Its outputs are: {known}.")


def _switch(session: Session, output: Output, on: bool, texts: Mapping[str, str]) -> OutputState:
    session.conversation.forget()
    raws: list[bytes] = []
    if on:
        for command in fill_all(output.prepare, texts):
            session.tell(command)
        session.refuse_errors(f"setting {output.name}")
        checks, values = list(output.confirm), dict(texts)
        if output.watchdog is not None:
            values["seconds"] = plain_number(output.watchdog.within.value)
            for command in fill_all(output.watchdog.set, values):
                session.tell(command)
            session.refuse_errors("setting the watchdog")
            checks += output.watchdog.confirm
        for check in checks:
            checked = session.check(check, values)
            raws.append(checked.raw)
            if not checked.holds:
                raise InstrumentTrouble(
                    "mismatch",
                    f"{output.name} was not switched on: it answers {checked.text[:60]!r} to "
                    f"{fill(check.ask, values)!r}.",
                    "It did not take what was set.",
                    raw=tuple(raws),
                )
    for command in fill_all(output.on if on else output.off, texts):
        session.tell(command)
    session.refuse_errors(f"switching {output.name} {'on' if on else 'off'}")
    if output.watchdog is not None and not on:
        for command in output.watchdog.clear:
            session.tell(command)
    if output.settle.value:
        session.conversation.pause(output.settle.value)
    checked = session.check(output.is_on if on else output.is_off, texts)
    raws.append(checked.raw)
    if not checked.holds:
        raise InstrumentTrouble(
            "mismatch",
            f"{output.name} should be {'on' if on else 'off'}, and answers {checked.text[:60]!r}.",
            "Its protection may have tripped: look for a short or a load that is too heavy.",
            raw=tuple(raws),
        )
    return OutputState(output.name, on, dict(texts), tuple(raws))


def set_channels(session: Session, channels: tuple[str, ...]) -> tuple[str, ...]:
    """Close these channels and open all others; see :meth:`bench.instruments.instrument.Instrument.set_channels`."""
    session.refuse_hands_off()
    switch = session.profile.switch
    if switch is None:
        raise InstrumentTrouble("unable", "It has no channels to switch.")
    for channel in channels:
        if switch.channel.match(channel) is None:
            raise InstrumentTrouble(
                "unable", f"It has no channel '{channel}'.", f"Names look like {switch.channel.text}."
            )
    if len(set(channels)) > switch.most:
        raise InstrumentTrouble("unable", f"{len(set(channels))} channels at once.", f"At most {switch.most} may be.")
    wanted = tuple(dict.fromkeys(channels))
    return _or_safe(session, lambda: _set_channels(session, switch, wanted))


def _set_channels(session: Session, switch: Switch, channels: tuple[str, ...]) -> tuple[str, ...]:
    session.conversation.forget()
    # open before close: two places must never be joined through the matrix on the way
    for command in switch.open_all:
        session.tell(command)
    _expect_closed(session, switch, ())
    if channels:
        for command in fill_all(switch.close, {"channels": ",".join(channels)}):
            session.tell(command)
        session.refuse_errors("closing channels")
        if switch.settle.value:
            session.conversation.pause(switch.settle.value)
        _expect_closed(session, switch, channels)
    return channels


def confirm_channels(session: Session, channels: tuple[str, ...]) -> tuple[bytes, ...]:
    """Read back; see :meth:`bench.instruments.instrument.Instrument.confirm_channels`."""
    switch = session.profile.switch
    if switch is None:
        raise InstrumentTrouble("unable", "It has no channels to switch.")
    session.conversation.forget()
    return _or_safe(session, lambda: (_expect_closed(session, switch, channels),))


def _expect_closed(session: Session, switch: Switch, channels: tuple[str, ...]) -> bytes:
    text, raw = session.ask(switch.closed.ask)
    found = switch.closed.reply.match(text)
    if found is None:
        raise session.nonsense(raw, "it is no list of channels")
    listed = found.get("channels", "")
    closed = {name.strip() for name in listed.split(",") if name.strip()}
    if closed != set(channels):
        raise InstrumentTrouble(
            "mismatch",
            f"Closed channels should be {', '.join(channels) or 'none'}, and are {listed or 'none'}.",
            "A relay may be stuck: take the probes' cable off before going on.",
            raw=(raw,),
        )
    return raw


def make_safe(session: Session, told: Told = nobody) -> SafeState:
    """Bring the instrument to its safe state; see :meth:`bench.instruments.instrument.Instrument.make_safe`."""
    safe = session.profile.safe
    if safe is None:
        return SafeState(True, False, "It has no output.")
    conversation = session.conversation
    commands = _orders_off(session)
    conversation.transport.heed_abort(False)
    conversation.forget()
    if session.hands_off:
        return _as_it_stands(session, safe)
    what, lost, tries = "", False, 0
    try:
        while tries < SAFE_TRIES:
            tries += 1
            try:
                conversation.urgent(commands)
                holds, what = _safe_checks(session, told)
                if holds:
                    return SafeState(True, True, f"Confirmed: {safe.text}.", conversation.received)
                break
            except Yielded as trouble:
                what = trouble.what
                tries -= 1  # it did not have the line to itself
            except InstrumentTrouble as trouble:
                what = trouble.what
                lost = trouble.kind == "lost"
                if lost:
                    break
            if isinstance(conversation.transport, SharedPort):
                # what does not answer keeps nobody else from being seen to be off
                conversation.transport.turns.rest(CHECK_PAUSE)
        return SafeState(False, True, f"Not confirmed that {safe.text}. {what}", conversation.received, lost)
    finally:
        conversation.transport.heed_abort(True)


def _orders_off(session: Session) -> tuple[bytes, ...]:
    safe = session.profile.safe
    if safe is None:
        return ()
    dogs = [output.watchdog for output in session.profile.outputs if output.watchdog is not None]
    told_off = [*safe.send, *(command for dog in dogs for command in dog.clear)]
    return tuple(session.encoded(command) for command in told_off)


def off_first(session: Session) -> tuple[bytes, ...]:
    """What switches it off, as it goes over the wire; nothing where it is only asked."""
    orders = () if session.hands_off else _orders_off(session)
    return session.conversation.pieces(orders) if orders else ()


def _as_it_stands(session: Session, safe: Safe) -> SafeState:
    """How an instrument stands that is only asked, since nobody has said yet that it is the one that is meant."""
    conversation = session.conversation
    who = f"{session.identity.text[:80]!r}" if session.identity is not None else "What answers"
    try:
        for check in safe.checks:
            checked = session.check(check, {})
            if not checked.holds:
                what = (
                    f"{who} answers {checked.text[:60]!r} to {check.ask!r}, so it is not known that {safe.text}. "
                    "It was not told to go off, since nobody has said yet that it is the one that is meant."
                )
                return SafeState(False, True, what, conversation.received)
        return SafeState(True, True, f"It was so already, and nothing was sent: {safe.text}.", conversation.received)
    except InstrumentTrouble as trouble:
        return SafeState(False, True, trouble.what, conversation.received, trouble.kind == "lost")
    finally:
        conversation.transport.heed_abort(True)


def _safe_checks(session: Session, told: Told) -> tuple[bool, str]:
    safe = session.profile.safe
    assert safe is not None
    conversation = session.conversation
    deadline = conversation.clock() + safe.within.value
    while True:
        failed = ""
        for check in safe.checks:
            checked = session.check(check, {})
            if not checked.holds:
                failed = f"It answers {checked.text[:60]!r} to {check.ask!r}."
                if check.unit and checked.value is not None:
                    told(checked.value, check.unit)
                break
        if not failed:
            return True, ""
        if conversation.clock() >= deadline:
            return False, failed
        if isinstance(conversation.transport, SharedPort):
            # others have outputs on this line too
            conversation.transport.turns.rest(CHECK_PAUSE)
        else:
            conversation.pause(CHECK_PAUSE)


def texts_of(known: list[Setting], wanted: Mapping[str, str | float], name: str) -> dict[str, str]:
    """What is sent for each setting.

    Raises:
        InstrumentTrouble: ``unable``.
    """
    unknown = set(wanted) - {setting.name for setting in known}
    if unknown:
        raise InstrumentTrouble(
            "unable",
            f"'{name}' has no setting '{min(unknown)}'.",
            f"It has: {', '.join(setting.name for setting in known) or 'none'}.",
        )
    texts: dict[str, str] = {}
    for setting in known:
        value = wanted.get(setting.name, setting.default)
        if value == "":
            raise InstrumentTrouble("unable", f"'{name}' needs a value for '{setting.name}'.")
        try:
            texts[setting.name] = setting.text_for(value)
        except ValueError as error:
            raise InstrumentTrouble(
                "unable", f"'{name}' cannot have {setting.name} {value}.", f"It can have {error}."
            ) from error
    return texts
