"""Profiles: how a family of instruments talks and how accurate it is, as data in ``drivers/*.yaml``.

The file has these parts; each type below says what its fields mean.

    limits     what it must not be put on, in words
    line       how to reach it: baud, terminators, modem lines, how long an answer may take
    dialogue   how it talks: `query`, `stream`, `poll`, `frames`, `modbus`; `by-eye`: a person reads it
    identify   how to know it; `probe` how to be sure that an answer belongs to its question
    setup      commands after identification; `errors` its error queue
    functions  what it measures: how to configure and read each, its ranges, and how accurate they are
    outputs    what it can switch on; `switch` the channels it can close; `safe` how to make it safe
    specials   how it says over range or no number; `marks` hold, low battery
    examples   exchanges byte for byte, which the tests replay

A command is text with placeholders such as ``{range}``; see :mod:`bench.instruments.profile.template`. A pattern is a
regular expression over the whole reply, with the named groups ``value``, ``unit``, ``function``, ``range``, ``marks``.

No pattern takes longer than its reply is long: looking ahead, looking back and groups by number are refused. A decoder
module beside a profile is trusted like code.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Final, Literal

import msgspec

from bench.files import Inconsistent
from bench.instruments.profile.functions import Check, Function, Setting
from bench.instruments.profile.line import (
    ByEye,
    Dialogue,
    ErrorQueue,
    Frames,
    Identify,
    Line,
    Mbus,
    Modbus,
    Point,
    Poll,
    Probe,
    Query,
    Register,
    Snmp,
    Stream,
    seconds,
    wire,
)
from bench.instruments.profile.template import holes
from bench.instruments.wire_text import Pattern, WireText
from bench.quantity import Amount, Duration
from bench.roles import Reads, Role


class Watchdog(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A timer of the instrument's own that switches an output off when it hears nothing from the program.

    It is set before the output goes on, fed while that is on, and cleared when everything is made safe.
    """

    within: Duration
    """How long the instrument waits for a word; ``{seconds}`` in its commands."""
    set: list[str]
    """Sent before the output goes on."""
    confirm: list[Check] = []
    """Asked then: did it take that? ``equals: seconds`` holds ``value`` against ``within``."""
    feed: list[str] = []
    """Sent again and again while the output is on. Empty: any question feeds it."""
    clear: list[str] = []
    """Sent after the output went off."""

    def __post_init__(self) -> None:
        if self.within.value < LEAST_WATCH:
            raise Inconsistent(
                f"within {self.within}", f"at least {LEAST_WATCH:g} s: a busy line is late by a second or two"
            )
        for command in (*self.set, *self.feed, *self.clear, *(check.ask for check in self.confirm)):
            unknown = holes(command) - {"seconds"}
            if unknown:
                raise Inconsistent(f"{{{min(unknown)}}} in {command!r}", "{seconds} or nothing")
        if any(holes(command) for command in (*self.feed, *self.clear)):
            raise Inconsistent("a placeholder in 'feed' or 'clear'", "commands that need nothing to be known")
        for check in self.confirm:
            if check.equals not in ("", "seconds"):
                raise Inconsistent(f"equals '{check.equals}'", "'seconds'")


LEAST_WATCH: Final = 3.0
"""Seconds. An output that is on is asked twice a second; a loaded machine may be late (common practice, no source)."""


class Output(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Something that the instrument can switch on."""

    name: str = "output"
    settings: list[Setting] = []
    prepare: list[str] = []
    """Sent while it is off: voltage, current limit, protection."""
    confirm: list[Check] = []
    """Asked before switching on: did it take what was set?"""
    on: list[str]
    change: list[str] = []
    """Sent while it is on, for other settings: what makes it safer first. Empty: it goes off and on again."""
    off: list[str]
    is_on: Check
    is_off: Check
    settle: Duration = seconds(0.0)
    """Wait between switching and reading back."""
    sinks: bool = False
    """It puts out nothing and takes current: an electronic load."""
    watchdog: Watchdog | None = None
    """What the instrument itself switches it off by, should the program be gone."""

    def __post_init__(self) -> None:
        known = {setting.name for setting in self.settings}
        asked = [check.ask for check in (*self.confirm, self.is_on, self.is_off)]
        for command in (*self.prepare, *self.on, *self.change, *self.off, *asked):
            unknown = holes(command) - known
            if unknown:
                raise Inconsistent(f"{{{min(unknown)}}} in {command!r}", f"one of {', '.join(sorted(known)) or 'none'}")
        for check in self.confirm:
            if check.equals and check.equals not in known:
                raise Inconsistent(f"equals '{check.equals}'", f"one of {', '.join(sorted(known)) or 'none'}")
        if any(holes(command) for command in self.off):
            raise Inconsistent("a placeholder in 'off'", "commands that need nothing to be known")


class Switch(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Channels of a relay matrix. ``{channels}`` is a list of channel names with commas between."""

    channel: Pattern
    """What a channel's name looks like."""
    close: list[str]
    open_all: list[str]
    """Sent before any are closed: channels are never exchanged one by one."""
    closed: Check
    """Asks for all closed channels; the group ``channels`` holds their names with commas between, or nothing."""
    most: int = 2
    """How many may be closed at once."""
    settle: Duration = seconds(0.02)

    def __post_init__(self) -> None:
        if "channels" not in self.closed.reply.groups:
            raise Inconsistent("'closed' without the group 'channels'", "(?P<channels>...)")
        for command in self.close:
            if holes(command) != {"channels"}:
                raise Inconsistent(f"the command {command!r}", "a command with {channels}")
        if any(holes(command) for command in self.open_all):
            raise Inconsistent("a placeholder in 'open-all'", "commands that need nothing to be known")


class Safe(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How the instrument is made safe, and how that is known."""

    send: list[str]
    checks: list[Check]
    """All must hold. They are asked again until they do or ``within`` has passed: charge takes time to leave."""
    within: Duration = seconds(2.0)
    text: str = "all outputs off"
    """What safe means here, for people."""

    def __post_init__(self) -> None:
        if not self.send or not self.checks:
            raise Inconsistent("a safe state without 'send' or without 'checks'", "both: told, and read back")
        if any(holes(command) for command in (*self.send, *(check.ask for check in self.checks))):
            raise Inconsistent("a placeholder in 'safe'", "commands that need nothing to be known")


class Specials(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """What stands in place of a number. A text that is a number is compared as one, so ``9.9E37`` is ``+9.90E+37``."""

    over: list[str] = []
    under: list[str] = []
    """Over range on the negative side."""
    nan: list[str] = []
    more_than: str = ""
    """A sign before the number that says ``more than this``, such as ``>``."""


AUTOMATIC: Final = "automatic-range"
HELD_RANGE: Final = "held-range"
FLAGS: Final[dict[str, str]] = {
    AUTOMATIC: "the meter ranges by itself, so over range means beyond its highest range",
    HELD_RANGE: "a key holds it on a range, so over range means beyond that range only",
    "hold": "the display is frozen: an old reading",
    "low-battery": "the battery is nearly empty",
    "minimum": "the smallest reading since a key was pressed",
    "maximum": "the largest reading since a key was pressed",
    "average": "a mean since a key was pressed",
    "relative": "the difference from a reading that was kept",
    "peak": "the highest moment of a reading",
    "diode-test": "the diode test is selected",
    "continuity": "the continuity test is selected",
}
"""Words for what a sign means that the program knows; a meter's other signs may have other words."""


class Mark(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A sign in a reply beside the number."""

    mark: str
    """The text in the group ``marks``, or a mark of a decoder."""
    flag: str
    """What it means. Words that the program knows: ``automatic-range`` (it ranges by itself, so over range means beyond
    the highest range), ``held-range`` (a key holds it on a range), ``hold``, ``low-battery``, ``minimum``, ``maximum``,
    ``average``, ``relative``, ``peak``, ``diode-test``, ``continuity``. Any other word is kept with the reading and
    means nothing to the program."""
    stops: bool = False
    """A reading with it does not count."""
    advice: str = ""

    def __post_init__(self) -> None:
        near = [] if self.flag in FLAGS else get_close_matches(self.flag.casefold(), FLAGS, 1, 0.75)
        if near:
            # a word of one's own is free, a slip in one of these would change what a reading proves
            raise Inconsistent(f"the flag '{self.flag}'", f"'{near[0]}' ({FLAGS[near[0]]}), or a word unlike it")


class Expected(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """What an example's exchange must come to."""

    value: float | None = None
    unit: str = ""
    over: Literal["", "+", "-"] = ""
    nan: bool = False
    bound: float | None = None
    flags: list[str] = []
    identity: str = ""
    trouble: str = ""
    """The kind of trouble, where it must not come to a reading."""


class Exchange(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Bytes that are sent and those that come back."""

    sent: WireText = wire(b"")
    received: WireText = wire(b"")


class Example(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """An exchange byte for byte, and what it must come to."""

    does: Literal["open", "configure", "read", "on", "off", "safe", "close-channels"]
    about: str = ""
    function: str = ""
    range: Amount | None = None
    settings: dict[str, str] = {}
    channels: list[str] = []
    exchange: list[Exchange]
    gives: Expected = msgspec.field(default_factory=Expected)


class Profile(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A family of instruments, as it stands in its file."""

    profile: str
    """Its name: that of the file without ``.yaml``."""
    title: str
    """What it is in a few words, for people; never a maker's name."""
    about: str = ""
    limits: list[str] = []
    """What it must not be put on, in words for the operator."""
    line: Line = msgspec.field(default_factory=Line)
    dialogue: Dialogue
    identify: Identify | None = None
    probe: Probe | None = None
    setup: list[str] = []
    errors: ErrorQueue | None = None
    functions: list[Function] = []
    outputs: list[Output] = []
    switch: Switch | None = None
    safe: Safe | None = None
    specials: Specials = msgspec.field(default_factory=Specials)
    marks: list[Mark] = []
    accuracy_source: str = ""
    """Where the accuracy figures come from."""
    examples: list[Example] = []

    def __post_init__(self) -> None:
        if not (self.functions or self.outputs or self.switch):
            raise Inconsistent("a profile that can do nothing", "'functions', 'outputs' or 'switch'")
        for what, names in (
            ("function", [part.name for part in self.functions]),
            ("output", [part.name for part in self.outputs]),
        ):
            twice = {name for name in names if names.count(name) > 1}
            if twice:
                raise Inconsistent(f"two {what}s called '{min(twice)}'", "a name for each")
        slowest = max((part.takes.value for part in self.functions), default=0.0)
        for output in self.outputs:
            if output.watchdog is not None and output.watchdog.within.value < 2 * slowest:
                found = f"a watchdog of {output.watchdog.within} beside a reading that takes {slowest:g} s"
                raise Inconsistent(found, "at least twice that: no word is heard meanwhile")
        energises = bool(self.outputs) or self.switch is not None or any(f.energises for f in self.functions)
        if energises and self.safe is None:
            raise Inconsistent("an instrument with an output and no 'safe'", "'safe': how it is made safe")
        if self.by_eye:
            self._check_by_eye()
        elif any(part.says for part in self.functions):
            raise Inconsistent("'says' for an instrument with a wire", "'says' in the dialogue 'by-eye' only")
        if any(part.accuracy for f in self.functions for part in f.ranges) and not self.accuracy_source:
            raise Inconsistent("accuracy figures without 'accuracy-source'", "where the figures come from")
        self._check_dialogue()
        self._check_on()
        known = {part.name for part in self.functions}
        for example in self.examples:
            if example.function and example.function not in known:
                raise Inconsistent(f"an example of '{example.function}'", f"one of {', '.join(sorted(known))}")

    def _check_on(self) -> None:
        """Refuse a command that switches on where nobody asks for it: a slip in a profile must not do so."""
        switches_on = {command.strip() for output in self.outputs for command in output.on}
        switches_on |= {command.strip() for part in self.functions if part.energises for command in part.begin}
        woken = b"\n".join(data.data for data in self.line.wake).decode("latin-1")
        quiet = {
            "line.wake": [one for one in switches_on if one and one in woken],
            "setup": self.setup,
            "safe.send": self.safe.send if self.safe is not None else [],
            **{f"'off' of {one.name}": one.off for one in self.outputs},
            **{f"'prepare' of {one.name}": one.prepare for one in self.outputs},
        }
        for where, commands in quiet.items():
            found = next((command for command in commands if command.strip() in switches_on), None)
            if found is not None:
                raise Inconsistent(f"{found!r}, which switches on, in {where}", "what leaves outputs off")

    @property
    def by_eye(self) -> bool:
        """Whether a person reads it: it has no wire."""
        return isinstance(self.dialogue, ByEye)

    @property
    def set_by_hand(self) -> bool:
        """Whether it is a supply that a person sets by its knobs."""
        return isinstance(self.dialogue, ByEye) and self.dialogue.output

    def _check_by_eye(self) -> None:
        if self.outputs or self.switch is not None or any(part.energises for part in self.functions):
            raise Inconsistent("an output that is switched by eye", "a profile of an instrument with a port")
        for part in self.functions:
            if not part.says and not (part.ranges and all(one.resolution is not None for one in part.ranges)):
                found = f"'{part.name}' without what it shows"
                raise Inconsistent(found, "'ranges' with a 'resolution' each, or 'says'")

    def _check_dialogue(self) -> None:
        dialogue = self.dialogue
        for part in self.functions:
            if isinstance(dialogue, Query):
                pattern = part.reply or dialogue.reply
                if not (part.read or dialogue.read):
                    raise Inconsistent(f"'{part.name}' without 'read'", "the command that takes a reading")
                if pattern is None or "value" not in pattern.groups:
                    raise Inconsistent(f"'{part.name}' without a reply with the group 'value'", "(?P<value>...)")
            elif isinstance(dialogue, Modbus) != (part.register is not None):
                raise Inconsistent(
                    f"'{part.name}' of a {dialogue.__struct_config__.tag} dialogue", "'register' for modbus only"
                )
            if isinstance(dialogue, Snmp | Mbus) and part.read not in dialogue.points:
                known = ", ".join(dialogue.points)
                raise Inconsistent(f"'{part.name}' that reads {part.read!r}", f"a point's name: {known}")
            commands = (*part.configure, *part.lock, *part.automatic, *part.begin, *part.end)
            if commands and isinstance(dialogue, Stream | Poll):
                raise Inconsistent(f"commands of '{part.name}' in a dialogue without commands", "none")
        if isinstance(dialogue, Stream | Poll) and "value" not in dialogue.reply.groups:
            raise Inconsistent("a reply without the group 'value'", "(?P<value>...)")
        commands_needed = bool(self.setup or self.outputs or self.switch or self.errors or self.probe)
        if commands_needed and (isinstance(dialogue, Stream | Poll) or self._talks_by_itself):
            raise Inconsistent("commands in a dialogue that has none", "the dialogue 'query'")
        if isinstance(dialogue, Mbus) and (
            commands_needed or self.safe is not None or any(map(_tells, self.functions))
        ):
            raise Inconsistent("commands on M-Bus", "readings only: nothing is set or switched there")
        if isinstance(dialogue, Modbus | Snmp):
            self._check_points(dialogue)

    @property
    def _talks_by_itself(self) -> bool:
        return isinstance(self.dialogue, Frames) and not self.dialogue.ask.data

    def _check_points(self, dialogue: Modbus | Snmp) -> None:
        """Every command and question of such an instrument names a point that can be written or read."""
        checks = [*(self.safe.checks if self.safe is not None else [])]
        told = [*self.setup, *(self.safe.send if self.safe is not None else [])]
        for output in self.outputs:
            told += [*output.prepare, *output.on, *output.change, *output.off]
            checks += [*output.confirm, output.is_on, output.is_off]
            if output.watchdog is not None:
                told += [*output.watchdog.set, *output.watchdog.feed, *output.watchdog.clear]
                checks += output.watchdog.confirm
        for part in self.functions:
            told += [*part.configure, *part.lock, *part.automatic, *part.begin, *part.end]
            checks += [*part.confirm, *part.ready, *part.running]
        if self.switch is not None or self.errors is not None or self.probe is not None:
            raise Inconsistent("a switch, an error queue or a probe of points", "outputs, one for each relay")
        known = ", ".join(dialogue.points) or "none"
        for command in told:
            name, equals, _ = command.partition("=")
            point = dialogue.points.get(name.strip())
            if not equals or point is None:
                raise Inconsistent(f"the command {command!r}", f"NAME=VALUE with a point's name: {known}")
            if isinstance(point, Register) and point.table in ("input", "discrete"):
                raise Inconsistent(f"the command {command!r}", "a point that can be written: 'holding' or 'coil'")
            if isinstance(point, Point) and not point.set:
                raise Inconsistent(f"the command {command!r}", "a point with 'set: true'")
        for check in checks:
            if check.ask.strip() not in dialogue.points:
                raise Inconsistent(f"the question {check.ask!r}", f"a point's name: {known}")

    @property
    def roles(self) -> tuple[Role, ...]:
        """The roles that an instrument of this kind can fill."""
        roles: dict[Role, None] = dict.fromkeys(part.role for part in self.functions)
        if any(part.clamp for part in self.functions):
            roles["clamp"] = None
        if self.set_by_hand:
            roles["supply"] = None
        roles.update(dict.fromkeys("load" if output.sinks else "supply" for output in self.outputs))
        if self.switch is not None:
            roles["switch"] = None
        return tuple(roles)

    def function(self, name: str) -> Function:
        """The function of a name.

        Raises:
            KeyError: there is none.
        """
        for part in self.functions:
            if part.name == name:
                return part
        raise KeyError(name)

    def functions_for(self, reads: Reads, wires: int | None = None) -> tuple[Function, ...]:
        """The functions that measure something, with this number of wires if it matters."""
        return tuple(f for f in self.functions if f.reads == reads and wires in (None, f.wires))


def _tells(part: Function) -> bool:
    """Whether a function needs anything but a reading."""
    return bool(part.configure or part.lock or part.automatic or part.begin or part.end or part.confirm or part.ready)
