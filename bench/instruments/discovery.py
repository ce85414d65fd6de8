"""Finding out what is on a port: listen first, then ask who is there, each in bounded time.

What is sent is known beforehand (:func:`questions`), so that a person can consent to it. It is what identifies and
nothing else: no set-up, no reset, nothing that a profile sends to set or to switch. A port where something talks by
itself is only listened to, and one that another program has open is left alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence
from time import monotonic
from typing import Final

import msgspec

from bench.instruments.examples import Script
from bench.instruments.ports.address import is_visa, port_key
from bench.instruments.ports.listing import Port, holder, serial_ports
from bench.instruments.ports.transport import Transport, open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import ByEye, Frames, Line, Mbus, Modbus, Poll, Query, Register, Snmp, Stream
from bench.instruments.profile.profile import Exchange, Profile
from bench.instruments.session import Session
from bench.instruments.values import Identity
from bench.instruments.wire_text import WireText, show
from bench.quantity import Duration

LISTEN: Final = 1.5
"""Seconds that a port is listened to where no profile says how long: hand-held meters that talk do so each second."""
OPENING: Final = 1.0
"""Seconds that a question may take beyond its own waits, to open the port; after that it is given up."""
TALKS: Final = 8
"""From this many bytes on something is talking; fewer are what a line gives when it is switched."""


class Question(msgspec.Struct, frozen=True):
    """One thing to try on a port.

    Attributes:
        sends: what goes out; empty where the port is only listened to.
        line: the settings that it is tried with.
        profiles: which profiles it can recognise.
        seconds: how long it takes at most.
    """

    sends: bytes
    line: Line
    profiles: tuple[Profile, ...]
    seconds: float

    def describe(self, *, serial: bool = True) -> str:
        """For a person who is to consent to it.

        Args:
            serial: whether line settings matter on this port.
        """
        at = f" at {settings_text(self.line)}" if serial else ""
        does = f"sends '{show(self.sends)}'{at}" if self.sends else f"listens{at}, sends nothing"
        names = ", ".join(profile.profile for profile in self.profiles)
        return f"{does}, up to {self.seconds:.0f} s" + (f" ({names})" if names else "")


class Match(msgspec.Struct, frozen=True):
    """A profile that fits what was heard.

    Attributes:
        profile: the profile.
        identity: who the instrument said it is; empty where it cannot say.
        likeness: how well it fits: parts of the identity that its pattern pins down, and words that both share.
    """

    profile: Profile
    identity: Identity
    likeness: tuple[int, int] = (0, 0)


class Found(msgspec.Struct, frozen=True):
    """What came of asking at a port.

    Attributes:
        port: the port.
        matches: profiles that fit, best first.
        how: what was heard, in a sentence.
        trouble: why it could not be asked.
    """

    port: Port
    matches: tuple[Match, ...] = ()
    how: str = ""
    trouble: InstrumentTrouble | None = None

    @property
    def told_apart(self) -> bool:
        """Whether the first match fits better than all others."""
        return len(self.matches) == 1 or (len(self.matches) > 1 and self.matches[0].likeness > self.matches[1].likeness)


class _Heard(msgspec.Struct):
    """What one question brought."""

    matches: list[Match] = msgspec.field(default_factory=list)
    text: str = ""
    raw: bytes = b""


def settings_text(line: Line) -> str:
    """Line settings as people write them: ``9600 8N1``."""
    return f"{line.baud} {line.bits}{line.parity[0].upper()}{line.stop}"


def has_line(address: str) -> bool:
    """Whether line settings matter at this address."""
    return address.strip().upper().startswith("ASRL") or not (is_visa(address) or address.startswith("socket://"))


# ---- what to try -----------------------------------------------------------------------------


def questions(profiles: Iterable[Profile], address: str) -> tuple[Question, ...]:
    """What to try on a port so that these profiles are recognised, in order. What only listens comes first."""
    serial = has_line(address)
    # a resource that carries messages neither talks by itself nor takes loose bytes
    messages = is_visa(address) and not serial and not address.strip().upper().endswith("::SOCKET")
    groups: dict[tuple[object, ...], list[Profile]] = {}
    for profile in profiles:
        sends = _sends(profile)
        if sends is not None and (not messages or isinstance(profile.dialogue, Query)):
            groups.setdefault((sends, *_told_by(profile, serial)), []).append(profile)
    tries = [_question(key[0], group) for key, group in groups.items()]
    tries.sort(key=lambda one: (_loose(one.profiles[0]), -len(one.profiles), one.line.baud != 9600, one.line.baud))
    if tries and tries[0].sends and not messages:
        line = tries[0].line
        tries.insert(0, Question(b"", line, (), line.settle.value + LISTEN + OPENING))
    return tuple(tries)


def _sends(profile: Profile) -> bytes | None:
    """What identifies: empty for an instrument that talks by itself; None where it cannot be known by asking."""
    dialogue, identify = profile.dialogue, profile.identify
    match dialogue:
        case Query():
            if identify is None:
                return None
            return identify.ask.encode(profile.line.encoding) + profile.line.write_end.data
        case Poll() | Frames():
            return dialogue.ask.data
        case Modbus():
            from bench.instruments.wire.modbus import request

            register = identify.register if identify is not None else _first_register(profile)
            return None if register is None else request(dialogue, register)
        case ByEye() | Snmp() | Mbus():
            return None
        case _:
            return b""


def _first_register(profile: Profile) -> Register | None:
    return next((part.register for part in profile.functions), None)


def _told_by(profile: Profile, serial: bool) -> tuple[object, ...]:
    """Profiles that have this in common can be recognised by one answer."""
    line = profile.line
    common: tuple[object, ...] = ()
    if isinstance(profile.dialogue, Query):
        common = (line.read_end, line.encoding, line.echo)
    elif _sends(profile):
        common = (profile.profile,)
    if serial:
        common += (line.baud, line.bits, line.parity, line.stop, line.flow, line.dtr, line.rts)
    return common


def _loose(profile: Profile) -> int:
    """Listening comes first, and what an instrument of another kind passes over before loose characters."""
    if not _sends(profile):
        return 0
    return next(
        place for place, kind in enumerate((Query, Modbus, Frames, Poll), 1) if isinstance(profile.dialogue, kind)
    )


def _question(sends: object, group: Sequence[Profile]) -> Question:
    assert isinstance(sends, bytes)
    slowest = max(group, key=lambda profile: _seconds(profile))
    return Question(sends, slowest.line, tuple(group), _seconds(slowest))


def _seconds(profile: Profile) -> float:
    line = profile.line
    reading = max((function.takes.value for function in profile.functions), default=0.0)
    waits = line.settle.value + line.timeout.value + OPENING
    if _sends(profile) == b"":
        return waits + 2 * reading
    if isinstance(profile.dialogue, Poll | Frames):
        waits += reading
    return waits + max(line.quiet.value, 0.0 if profile.probe else line.timeout.value)


# ---- trying it -------------------------------------------------------------------------------


def ask(port: Port, library: Library, tries: Sequence[Question]) -> Found:
    """Try questions on one port until one is answered; never raises for trouble with it."""
    heard_before = b""
    for question in tries:
        who = holder(port.device)
        if who:
            return Found(
                port, trouble=InstrumentTrouble("busy", f"{port.device} is held by {who}.", "It was left alone.")
            )
        if question.sends and len(heard_before) >= TALKS:
            shown = show(heard_before[:60])
            return Found(port, how=f"talks by itself, as no profile describes: '{shown}'. Nothing was sent")
        try:
            heard = _try(port.address, question, library)
        except InstrumentTrouble as trouble:
            return Found(port, trouble=trouble)
        if not question.sends:
            heard_before += heard.raw
        if heard.matches:
            return Found(port, _best_first(heard.matches), _how(port, question, heard))
        if question.sends and heard.text:
            return Found(port, how=f"{_how(port, question, heard)}, which no profile knows")
    return Found(port, how="is silent, or is none of these")


def ask_all(
    asked: Sequence[tuple[Port, Sequence[Question]]],
    library: Library,
    told: Callable[[Found], None] = lambda found: None,
) -> list[Found]:
    """Ask at several ports, all at the same time.

    Args:
        asked: each port and what to try there.
        library: where the decoders of profiles are.
        told: called in this thread with each as soon as it is known.

    Returns:
        What was found, in the order of the ports.
    """
    found: dict[int, Found] = {}
    changed = threading.Condition()

    def work(index: int, port: Port, tries: Sequence[Question]) -> None:
        try:
            result = ask(port, library, tries)
        except Exception as error:
            what = f"The program failed at {port.device}: {type(error).__name__}: {error}"
            result = Found(port, trouble=InstrumentTrouble("unable", what))
        with changed:
            found[index] = result
            changed.notify()

    for index, (port, tries) in enumerate(asked):
        threading.Thread(target=work, args=(index, port, tries), name=f"ask {port.device}", daemon=True).start()
    shown: set[int] = set()
    while len(shown) < len(asked):
        with changed:
            changed.wait_for(lambda: len(found) > len(shown))
            fresh = sorted(set(found) - shown)
        for index in fresh:
            shown.add(index)
            told(found[index])
    return [found[index] for index in range(len(asked))]


def identifies_by_serial(profile: Profile, serial: str, address: str) -> bool:
    """Whether an instrument could be known again at another serial port: it tells a number, and which is known."""
    identify = profile.identify
    known = bool(serial) and identify is not None and "serial" in identify.reply.groups
    return known and bool(_sends(profile)) and "://" not in address and not is_visa(address)


def on_other_port(name: str, profile: Profile, line: Line, serial: str, others: Sequence[str], library: Library) -> str:
    """Look for an instrument by its serial number on all serial ports that are free; returns its address.

    Args:
        name: for messages.
        profile: how it identifies itself.
        line: its line settings.
        serial: the number that it must tell.
        others: ports of other instruments, which are left alone.
        library: where decoders are.

    Raises:
        InstrumentTrouble: ``lost``: it is on none of them.
    """
    taken = {port_key(address) for address in others}
    sends = _sends(profile)
    asked: list[str] = []
    for port in serial_ports():
        if port.key in taken or holder(port.device) or not sends:
            continue
        try:
            heard = _try(port.address, Question(sends, line, (profile,), _seconds(profile)), library)
        except InstrumentTrouble:
            continue
        asked.append(port.device)
        if any(match.identity.serial == serial for match in heard.matches):
            return port.address
    raise InstrumentTrouble(
        "lost",
        f"{name}, serial number {serial}, was not found on any free port; asked: {', '.join(asked) or 'none'}.",
        "Is it switched on and plugged in? Its own name below /dev/serial/by-id/ in the bench file saves the search.",
    )


def _try(address: str, question: Question, library: Library) -> _Heard:
    """Try one question.

    Raises:
        InstrumentTrouble: ``busy``, ``denied``, ``lost``, ``unable``. That nobody answers is no trouble here.
    """
    transport = open_port(address, question.line)
    stop = threading.Timer(question.seconds, transport.abort)
    stop.daemon = True
    heard = _Heard()
    stop.start()
    try:
        if question.sends:
            _ask(transport, question, library, heard)
        else:
            _listen(transport, question, library, heard)
    except InstrumentTrouble as trouble:
        if trouble.kind not in ("silent", "garbled", "aborted"):
            raise
    finally:
        stop.cancel()
        transport.close()
    return heard


def _listen(transport: Transport, question: Question, library: Library, heard: _Heard) -> None:
    until = monotonic() + question.seconds - OPENING
    while monotonic() < until and not heard.matches:
        data = transport.read(until)
        heard.raw += data
        if data:
            heard.matches += [
                Match(profile, Identity(), (1, 0))
                for profile in question.profiles
                if _is_talk_of(profile, heard.raw, library)
            ]


def _is_talk_of(profile: Profile, raw: bytes, library: Library) -> bool:
    """Whether what came by itself is what a profile describes: its own dialogue is fed with it, from no port."""
    script = Script([Exchange(received=WireText(raw))])
    changes: dict[str, object] = {"line": msgspec.structs.replace(profile.line, settle=Duration(0.0))}
    if isinstance(profile.dialogue, Stream):
        changes["dialogue"] = msgspec.structs.replace(profile.dialogue, start=[])
    silent = msgspec.structs.replace(profile, **changes)
    try:
        Session(silent, script, script.clock, decoder=library.decoder(profile.profile)).open()
    except InstrumentTrouble:
        return False
    return True


def _ask(transport: Transport, question: Question, library: Library, heard: _Heard) -> None:
    profile = max(question.profiles, key=_seconds)
    session = Session(profile, transport, monotonic, line=question.line, decoder=library.decoder(profile.profile))
    conversation = session.conversation
    # who is there is what is to be found out: nothing is proven, and nothing set, before that
    conversation.prove = None
    conversation.pause(question.line.settle.value)
    conversation.dialogue.doubt("the port was opened just now")
    conversation.resynchronise()
    identify = profile.identify
    reading = max((function.takes.value for function in profile.functions), default=0.0)
    match profile.dialogue:
        case Query():
            assert identify is not None
            heard.text, heard.raw = session.ask(identify.ask)
            heard.matches += [match for one in question.profiles if (match := _match(one, heard.text)) is not None]
        case Modbus():
            register = identify.register if identify is not None else _first_register(profile)
            assert register is not None
            frame = session.ask_register(register)
            heard.raw = frame.raw
            heard.text = frame.parts.value if frame.parts is not None else ""
            match = Match(profile, Identity()) if identify is None else _match(profile, heard.text)
            heard.matches += [match] if match is not None else []
        case Poll(ask=ask) | Frames(ask=ask):
            frame = conversation.ask(ask.data, question.line.timeout.value + reading)
            heard.raw = frame.raw
            heard.matches += [Match(profile, Identity())] if session.parts(frame) is not None else []


# ---- which profile it is ---------------------------------------------------------------------


def _match(profile: Profile, text: str) -> Match | None:
    identify = profile.identify
    if identify is None:
        return None
    found = identify.reply.match(text)
    if found is None:
        return None
    told = (found.get(name, "").strip() for name in ("maker", "model", "serial", "version"))
    return Match(profile, Identity(text, *told), likeness(profile, text))


def likeness(profile: Profile, text: str) -> tuple[int, int]:
    """How well a profile fits an identity that its pattern matches.

    Returns:
        How many comma-separated parts of the identity the pattern pins down (it matches no more with another text in
        their place), and how many words of the identity stand in the profile's name or title.
    """
    identify = profile.identify
    if identify is None:
        return (0, 0)
    parts = text.split(",")
    others = [",".join([*parts[:index], "Zq7", *parts[index + 1 :]]) for index in range(len(parts))]
    pinned = sum(identify.reply.match(other) is None for other in others)
    return (pinned, len(_words(text) & _words(f"{profile.profile} {profile.title}")))


def _words(text: str) -> set[str]:
    letters = "".join(character if character.isalnum() else " " for character in text.casefold())
    return {word for word in letters.split() if len(word) > 2}


def _best_first(matches: Iterable[Match]) -> tuple[Match, ...]:
    return tuple(
        sorted(matches, key=lambda one: (-one.likeness[0], -one.likeness[1], one.profile.profile)),
    )


def _how(port: Port, question: Question, heard: _Heard) -> str:
    at = f" at {settings_text(question.line)}" if has_line(port.device) else ""
    if not question.sends:
        return f"sends readings by itself{at}"
    return f"answers '{show(heard.raw)}' to '{show(question.sends)}'{at}"
