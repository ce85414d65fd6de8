"""Writes a sequence as YAML that people read, change and keep: texts folded, lists on one line, comments where told.

Read again by :func:`bench.files.parse` the text gives the very same structs. A field that holds its default is left
out, but for what people are told to do.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, Final

import msgspec

from bench.quantity import Amount, Duration, Quantity, Ratio, engineering, plain
from bench.sequence.file import Each, SequenceFile, Step

WIDTH: Final = 120
"""Columns of a line, as far as its words allow."""


class Comments(msgspec.Struct, frozen=True):
    """What a reader of the file should know besides what it holds.

    Attributes:
        head: lines above everything, written as they are.
        steps: lines above the steps.
        above: by a step's place in the sequence, the paragraphs above it.
        beside: by a step's place, the comment beside each of its fields, by the field's name in the struct.
    """

    head: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    above: Mapping[int, Sequence[str]] = msgspec.field(default_factory=dict)
    beside: Mapping[int, Mapping[str, str]] = msgspec.field(default_factory=dict)


def write(sequence: SequenceFile, comments: Comments | None = None) -> str:
    """The text of a sequence file.

    Args:
        sequence: what it holds.
        comments: what stands beside; none by default.

    Returns:
        YAML that reads back as an equal sequence.
    """
    told = comments or Comments()
    lines = [f"# {line}" for line in told.head]
    lines += _fields(sequence, "", {}, but=("decide", "steps"))
    # the rule is named even where it is the usual one: every verdict hangs on it
    lines.append(f"decide: {_flow_struct(sequence.decide, all_fields=True)}")
    lines.append("")
    if told.steps:
        lines += [*_comment(told.steps, ""), ""]
    lines.append("steps:")
    for number, step in enumerate(sequence.steps):
        above = told.above.get(number, ())
        lines += _comment(above, "  ")
        lines += [*_step(step, "  ", told.beside.get(number, {})), ""]
    return "\n".join(lines[:-1]) + "\n"


def _step(step: Step, indent: str, beside: Mapping[str, str]) -> list[str]:
    """A step as an item of a list."""
    below = indent + "  "
    lines = [f"{indent}- step: {step.__struct_config__.tag}", *_fields(step, below, beside, but=("steps",))]
    if isinstance(step, Each):
        lines.append(f"{below}steps:")
        inner = [_step(one, below + "  ", {}) for one in step.steps]
        for number, one in enumerate(inner):
            lines += [""] * (number > 0) + one
    return lines


def _fields(struct: msgspec.Struct, indent: str, beside: Mapping[str, str], but: Sequence[str]) -> list[str]:
    """The fields of a struct that hold something else than their default, each on lines of its own."""
    infos = [info for info in _infos(type(struct)) if info.name not in but]
    # what a person reads first stands first, and what a reading is held against stands last
    infos.sort(key=lambda info: {"title": 0, "text": 1, "limit": 3}.get(info.name, 2))
    lines: list[str] = []
    for info in infos:
        value = getattr(struct, info.name)
        # what people are told is shown even where it is the usual text
        if info.required or value != _default(info) or (info.name == "text" and value):
            mine = _field(info.encode_name, value, indent)
            lines += _with_comment(mine, beside.get(info.name, ""), indent)
    return lines


@cache
def _infos(kind: type[msgspec.Struct]) -> tuple[msgspec.structs.FieldInfo, ...]:
    """What fields a kind has: the library reads all its annotations anew each time."""
    return msgspec.structs.fields(kind)


def _default(info: msgspec.structs.FieldInfo) -> Any:
    return info.default if info.default_factory is msgspec.NODEFAULT else info.default_factory()


def _with_comment(lines: list[str], comment: str, indent: str) -> list[str]:
    if not comment:
        return lines
    first = f"{lines[0]}  # {comment}"
    # beside a value that goes on below only where the value begins on the next line
    if len(first) <= WIDTH and (len(lines) == 1 or lines[0].endswith(":")):
        return [first, *lines[1:]]
    return [*_comment([comment], indent), *lines]


def _comment(paragraphs: Sequence[str], indent: str) -> list[str]:
    lines: list[str] = []
    for paragraph in paragraphs:
        lines += textwrap.wrap(paragraph, WIDTH - len(indent) - 2, break_long_words=False, break_on_hyphens=False)
    return [f"{indent}# {line}" for line in lines]


def _field(name: str, value: Any, indent: str) -> list[str]:
    """One field: on a line of its own where it fits."""
    line = f"{indent}{name}: {_flow(value, block=True)}"
    below = indent + "  "
    if isinstance(value, str):
        return [f"{indent}{name}: >-", *_folded(value, below)] if len(line) > WIDTH and _folds(value) else [line]
    if isinstance(value, list | tuple) and value and isinstance(value[0], msgspec.Struct):
        return [f"{indent}{name}:", *(f"{below}- {_flow(one)}" for one in value)]
    if len(line) <= WIDTH:
        return [line]
    if isinstance(value, list | tuple):
        return _wrapped_list(name, [_flow(one) for one in value], indent)
    if isinstance(value, msgspec.Struct):
        return [f"{indent}{name}:", *_fields(value, below, {}, but=())]
    if isinstance(value, Mapping):
        return [f"{indent}{name}:", *(line for key in value for line in _field(_text(key), value[key], below))]
    return [line]


def _wrapped_list(name: str, items: list[str], indent: str) -> list[str]:
    lines = [f"{indent}{name}: ["]
    for number, item in enumerate(items):
        piece = item + ("]" if number + 1 == len(items) else ",")
        if len(lines[-1]) + 1 + len(piece) > WIDTH and not lines[-1].endswith("["):
            lines.append(f"{indent}  {piece}")
        else:
            lines[-1] += piece if lines[-1].endswith("[") else f" {piece}"
    return lines


def _flow(value: Any, *, block: bool = False) -> str:
    """A value on one line; ``block`` where no bracket is around it, so that a comma needs no quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value, block=block)
    if isinstance(value, Quantity | Amount):
        return quantity_text(value)
    if isinstance(value, msgspec.Struct):
        return _flow_struct(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_text(key)}: {_flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flow(one) for one in value) + "]"
    return repr(value)


def _flow_struct(struct: msgspec.Struct, *, all_fields: bool = False) -> str:
    told = [
        f"{info.encode_name}: {_flow(getattr(struct, info.name))}"
        for info in _infos(type(struct))
        if all_fields or info.required or getattr(struct, info.name) != _default(info)
    ]
    return "{" + ", ".join(told) + "}"


_LONGER: Final = ((3600.0, "h"), (60.0, "min"))


def quantity_text(quantity: Quantity | Amount) -> str:
    """A quantity as people type it: the shortest text in engineering notation that reads back as exactly this value.

    Args:
        quantity: of any dimension.
    """
    value, unit = quantity.value, quantity.unit
    tries: list[str] = []
    if isinstance(quantity, Duration) or unit == "s":
        tries += [f"{value / factor:g} {name}" for factor, name in _LONGER if value >= 2 * factor]
        tries.append(f"{value:g} s")
    if isinstance(quantity, Ratio) or unit == "":
        tries.append(f"{value * 100:.6g} %")
    tries += [plain(engineering(value, unit, digits=digits)) for digits in (4, 7, 10)]
    reader = type(quantity)
    for text in tries:
        # 'over range' and the like never read back
        if len(text) <= _LONGEST and _reads(reader, text) == quantity:
            return text
    return plain(quantity.exact())


_LONGEST: Final = 16


def _reads(reader: type[Quantity | Amount], text: str) -> Quantity | Amount | None:
    try:
        return reader.parse(text)
    except ValueError:
        return None


# ---- texts ----------------------------------------------------------------------------------------------------------

_PLAIN: Final = re.compile(r"[^\W\d_](?:[^:#{}\[\]\"'`&*!|>@\\,]|(?<=\w)'(?=\w))*")
_PLAIN_WITH_COMMAS: Final = re.compile(r"[^\W\d_](?:[^:#{}\[\]\"'`&*!|>@\\]|(?<=\w)'(?=\w))*")
_NO_TEXT: Final = frozenset({"y", "n", "yes", "no", "on", "off", "true", "false", "null", "nan", "inf"})
"""Words that some readers of YAML take for something else than a text."""


def _text(text: str, *, block: bool = False) -> str:
    """A text on one line, in quotes where YAML asks for them or a reader could take it for something else."""
    pattern = _PLAIN_WITH_COMMAS if block else _PLAIN
    bare = text.isprintable() and pattern.fullmatch(text) is not None and not text.endswith(" ")
    if bare and text.casefold() not in _NO_TEXT:
        return text
    return '"' + "".join(_escaped(character) for character in text) + '"'


def _escaped(character: str) -> str:
    if character in '"\\':
        return f"\\{character}"
    if character == "\n":
        return "\\n"
    if character.isprintable():
        return character
    code = ord(character)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def _folds(text: str) -> bool:
    """Whether a folded block gives the text back: words with single spaces between."""
    return text.isprintable() and text == " ".join(text.split(" ")) and "  " not in text and text == text.strip()


def _folded(text: str, indent: str) -> list[str]:
    lines = textwrap.wrap(text, WIDTH - len(indent), break_long_words=False, break_on_hyphens=False)
    return [indent + line for line in lines]
