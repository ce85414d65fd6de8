"""Commands of a SCPI instrument: their declared headers, their parameters, and finding one."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol, TypeAlias

import msgspec

from bench.simulate.scpi.error_queue import ScpiError
from bench.simulate.scpi.syntax import Datum

__all__ = [
    "Block",
    "Boolean",
    "Call",
    "Channels",
    "Choice",
    "Command",
    "CommandTree",
    "Number",
    "Parameter",
    "Text",
    "setting",
    "short_form",
    "spell",
]

# ---- mnemonics -----------------------------------------------------------------------------


def short_form(word: str) -> str:
    """The short form of a mnemonic by the rule of SCPI-1999 volume 1 6.2.1, in upper case.

    Words of up to four letters have none; longer ones keep four letters, or three when the fourth
    is a vowel (y counts as one).
    """
    upper = word.upper()
    if len(upper) <= 4:
        return upper
    return upper[:3] if upper[3] in "AEIOUY" else upper[:4]


def spell(word: str) -> frozenset[str]:
    """The two spellings that a mnemonic such as ``RESistance`` may take, in upper case.

    Raises ValueError where the capitals do not follow the rule of :func:`short_form`.
    """
    short = "".join(c for c in word if not c.islower())
    if short != short_form(word) or not word.upper().startswith(short):
        raise ValueError(f"mnemonic {word!r}: the short form is {short_form(word)!r}")
    return frozenset({short, word.upper()})


# ---- parameters ----------------------------------------------------------------------------


class Parameter(Protocol):
    """Reads one element of program data; raises :class:`ScpiError` where it does not fit."""

    @property
    def optional(self) -> bool:
        """Whether it may be left out."""

    def read(self, datum: Datum) -> Any:
        """The value of the datum."""


# The error for a datum of a kind that the parameter does not take.
_NOT_ALLOWED = {
    "number": -128,
    "character": -148,
    "string": -158,
    "block": -168,
    "expression": -178,
}

# IEEE 488.2 table 7-2, suffix multipliers.
_MULTIPLIERS = {
    "EX": 1e18,
    "PE": 1e15,
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "": 1.0,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
    "F": 1e-15,
    "A": 1e-18,
}
# The two suffix units that are no multiplier and unit: M is mega before OHM and HZ (488.2 7.7.3,
# as quoted in public tables of suffix multipliers).
_MEGA = ("OHM", "HZ")


def _multiplier(suffix: str, unit: str) -> float:
    if not suffix:
        return 1.0
    if not unit:
        raise ScpiError(-138)
    if suffix.endswith(unit):
        prefix = suffix[: -len(unit)]
        if prefix == "M" and unit in _MEGA:
            return 1e6
        if prefix in _MULTIPLIERS:
            return _MULTIPLIERS[prefix]
    raise ScpiError(-131)


Value: TypeAlias = float | Callable[[], float]


def _value(value: Value) -> float:
    return value() if callable(value) else value


class Number(msgspec.Struct, frozen=True):
    """Decimal numeric data with its unit, limits and default.

    Limits may be callables where they depend on the state. ``MINimum``, ``MAXimum`` and, with a
    default, ``DEFault`` stand for their values; ``words`` adds further keywords with their values.
    Beyond the limits is -222. ``integer`` rounds, as SCPI asks of integer settings.
    """

    unit: str = ""
    minimum: Value = -math.inf
    maximum: Value = math.inf
    default: Value | None = None
    integer: bool = False
    words: Mapping[str, Any] = msgspec.field(default_factory=dict)
    optional: bool = False

    def read(self, datum: Datum) -> Any:
        """A float (an int when ``integer``), or the value of a keyword."""
        if datum.kind == "character":
            return self.keyword(str(datum.value))
        if datum.kind != "number":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        value = float(datum.value) * _multiplier(datum.suffix, self.unit)
        if not math.isfinite(value):
            raise ScpiError(-222)
        if self.integer:
            value = math.floor(value + 0.5)
        low, high = _value(self.minimum), _value(self.maximum)
        # A limit reached through a multiplier may miss by a rounding: 0.1 GOHM is 100 MOHM.
        slack = 1e-12 * abs(value)
        if not low - slack <= value <= high + slack:
            raise ScpiError(-222)
        value = min(max(value, low), high)
        return int(value) if self.integer else value

    def keyword(self, word: str) -> Any:
        """The value of MINimum, MAXimum, DEFault or a further keyword; -224 for others."""
        for name, value in self.words.items():
            if word in spell(name):
                return value
        if word in ("MIN", "MINIMUM") and _value(self.minimum) > -math.inf:
            out = _value(self.minimum)
        elif word in ("MAX", "MAXIMUM") and _value(self.maximum) < math.inf:
            out = _value(self.maximum)
        elif word in ("DEF", "DEFAULT") and self.default is not None:
            out = _value(self.default)
        else:
            raise ScpiError(-224)
        return int(out) if self.integer else out


class Boolean(msgspec.Struct, frozen=True):
    """``ON``, ``OFF``, or a number that is rounded: zero is off, all else on."""

    optional: bool = False

    def read(self, datum: Datum) -> bool:
        """True for on."""
        if datum.kind == "number":
            if datum.suffix:
                raise ScpiError(-138)
            value = float(datum.value)
            return not math.isfinite(value) or math.floor(value + 0.5) != 0
        if datum.kind != "character":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        if datum.value not in ("ON", "OFF"):
            raise ScpiError(-224)
        return datum.value == "ON"


class Choice(msgspec.Struct, frozen=True):
    """Character data from a list, each in long or short form; its value is the short form."""

    words: tuple[str, ...]
    optional: bool = False

    def read(self, datum: Datum) -> str:
        """The short form, in upper case."""
        if datum.kind != "character":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        for word in self.words:
            if datum.value in spell(word):
                return short_form(word)
        raise ScpiError(-224)


class Text(msgspec.Struct, frozen=True):
    """A string in single or double quotes."""

    optional: bool = False

    def read(self, datum: Datum) -> str:
        """The string, its quotes and doubled quotes undone."""
        if datum.kind != "string":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        return str(datum.value)


class Block(msgspec.Struct, frozen=True):
    """Arbitrary block data of definite or indefinite length."""

    optional: bool = False

    def read(self, datum: Datum) -> bytes:
        """The bytes."""
        if datum.kind != "block" or not isinstance(datum.value, bytes):
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        return datum.value


_CHANNEL = re.compile(r"\s*(\d{1,9})\s*(?::\s*(\d{1,9})\s*)?", re.ASCII)
# A list longer than this is too much data (-223), so that ``(@1:999999999)`` costs nothing.
MOST_CHANNELS = 10_000


class Channels(msgspec.Struct, frozen=True):
    """A channel list such as ``(@101,102:105)``; a range may run downwards."""

    optional: bool = False

    def read(self, datum: Datum) -> tuple[int, ...]:
        """The channel numbers in the order given. An empty list ``(@)`` is allowed."""
        if datum.kind != "expression":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        text = str(datum.value).strip()
        if not text.startswith("@"):
            raise ScpiError(-171)
        if not text[1:].strip():
            return ()
        out: list[int] = []
        for part in text[1:].split(","):
            found = _CHANNEL.fullmatch(part)
            if found is None:
                raise ScpiError(-171)
            first = int(found[1])
            last = first if found[2] is None else int(found[2])
            step = 1 if last >= first else -1
            if abs(last - first) + len(out) >= MOST_CHANNELS:
                raise ScpiError(-223)
            out.extend(range(first, last + step, step))
        return tuple(out)


# ---- commands ------------------------------------------------------------------------------


class Call(msgspec.Struct):
    """One command being carried out: its arguments, its time.

    ``now`` is when it starts, in seconds; :meth:`spend` says how long it takes, and the reply of a
    query is not given before. A missing optional argument is None.
    """

    args: tuple[Any, ...]
    now: float
    until: float
    indefinite: bool = False

    def spend(self, seconds: float) -> float:
        """Add to the time that this command takes; returns when it will end."""
        self.until += seconds
        return self.until


Response: TypeAlias = str | bytes
Handler: TypeAlias = Callable[[Call], None]
# A query answers at once, or gives what makes the answer when the time it spends is over.
Query: TypeAlias = Callable[[Call], Response | Callable[[float], Response]]


class Command(msgspec.Struct, frozen=True):
    """A header such as ``[:SENSe]:RESistance:RANGe[:UPPer]`` with what it does.

    Square brackets mark nodes that may be left out. ``perform`` carries out the command form, ``query`` answers the
    query form; a form that is None is an undefined header. A common command starts with an asterisk.
    """

    header: str
    perform: Handler | None = None
    query: Query | None = None
    parameters: tuple[Parameter, ...] = ()
    query_parameters: tuple[Parameter, ...] = ()


class _Limit(msgspec.Struct, frozen=True):
    """MINimum, MAXimum or DEFault after the query form of a numeric setting."""

    number: Number
    optional: bool = True

    def read(self, datum: Datum) -> Any:
        if datum.kind != "character":
            raise ScpiError(_NOT_ALLOWED[datum.kind])
        return self.number.keyword(str(datum.value))


def setting(
    header: str,
    parameter: Parameter,
    put: Callable[[Any], None],
    get: Callable[[], Any],
    show: Callable[[Any], Response],
) -> Command:
    """A command with one parameter and its query; a number is also queried for its limits."""

    def perform(call: Call) -> None:
        put(call.args[0])

    def query(call: Call) -> Response:
        asked = call.args[0] if call.args else None
        return show(get() if asked is None else asked)

    limits = (_Limit(parameter),) if isinstance(parameter, Number) else ()
    return Command(header, perform, query, (parameter,), limits)


class _Node:
    __slots__ = ("command", "spelled", "words")

    def __init__(self, spelled: frozenset[str] = frozenset()) -> None:
        self.spelled = spelled
        self.words: dict[str, _Node] = {}
        self.command: Command | None = None


_PART = re.compile(r"(\[)?:?([A-Za-z]+)(?(1)\])")


class CommandTree:
    """All headers of an instrument; raises ValueError for a header that is wrong or repeated."""

    def __init__(self, commands: Iterable[Command]) -> None:
        self._root = _Node()
        self._common: dict[str, Command] = {}
        for command in commands:
            self._add(command)

    def _add(self, command: Command) -> None:
        if command.header.startswith("*"):
            if command.header in self._common:
                raise ValueError(f"header {command.header!r} is declared twice")
            self._common[command.header] = command
            return
        parts: list[tuple[bool, frozenset[str]]] = []
        at = 0
        while at < len(command.header):
            found = _PART.match(command.header, at)
            if found is None:
                raise ValueError(f"header {command.header!r} is not understood at {at}")
            parts.append((found[1] is not None, spell(found[2])))
            at = found.end()
        self._grow(self._root, parts, command)

    def _grow(self, node: _Node, parts: list[tuple[bool, frozenset[str]]], command: Command) -> None:
        if not parts:
            if node is self._root or (node.command not in (None, command)):
                raise ValueError(f"header {command.header!r} is declared twice or empty")
            node.command = command
            return
        (optional, words), *rest = parts
        if optional:
            self._grow(node, rest, command)
        child = next((node.words[word] for word in words if word in node.words), None) or _Node(words)
        if child.spelled != words:
            raise ValueError(f"header {command.header!r}: {min(words & child.spelled)} is ambiguous")
        node.words.update(dict.fromkeys(words, child))
        self._grow(child, rest, command)

    def common(self, word: str) -> Command:
        """The common command of this name; -113 where there is none."""
        command = self._common.get(word)
        if command is None:
            raise ScpiError(-113)
        return command

    def find(self, path: tuple[str, ...]) -> Command:
        """The command of a full path.

        Raises:
            ScpiError: -113 for an unknown path, -114 for a numeric suffix, which no header takes.
        """
        node = self._root
        for word in path:
            found = node.words.get(word)
            if found is None:
                base = word.rstrip("0123456789")
                raise ScpiError(-114 if base != word and base in node.words else -113)
            node = found
        if node.command is None:
            raise ScpiError(-113)
        return node.command
