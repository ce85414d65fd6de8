"""Texts from files, meters and records, made harmless before a terminal or a page shows them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Final

_KINDS: Final = r"\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff"
"""Delete, the second set of control characters, and what is not seen or turns the direction of what follows."""
_ONE_LINE: Final = re.compile(rf"[\x00-\x1f{_KINDS}]")
_LINES: Final = re.compile(rf"[\x00-\x08\x0b-\x1f{_KINDS}]")
_WITH_BELL: Final = re.compile(rf"[\x00-\x06\x08\x0b-\x1f{_KINDS}]")
_WITH_RETURNS: Final = re.compile(rf"[\x00-\x06\x08\x0b\x0c\x0e-\x1f{_KINDS}]")

_COMMAND: Final = re.compile(r"\bproveout [^\n';]*?(?=  |'|;|$)", re.MULTILINE)
"""A command in what is printed: to a quote, a semicolon, a gap before words about it, or the line's end."""
_UNIT: Final = re.compile(
    r"(?<=±) (?=\d)|(?<=\+-) (?=\d)|(?<=\d) (?=(?:[pnuµmkMGT]?(?:Ω|ohm|V|A|W|F|Hz|s)|%|°C|mm|cm|m|min|h)(?!\w))"
)
KEPT: Final = "\0"
"""Stands for a blank at which no line is parted; nothing printed has one."""
_WITH_DEGREE: Final = re.compile("°?.", re.DOTALL)
"""A character, with the degree sign before it: degrees are spelled with their letter."""


def clean(text: str) -> str:
    """The text on one line, with nothing in it that a terminal would act upon.

    Names from files and replies from meters must not carry control characters into a terminal.
    """
    return _ONE_LINE.sub(lambda found: " " if found.group() in "\t\n\r" else "\ufffd", text)


def clean_lines(text: str) -> str:
    """The same for a text of several lines: line ends and tabs stay."""
    return _LINES.sub("\ufffd", text)


def with_units(text: str) -> str:
    """The text with :data:`KEPT` between each number and its unit, and between ± and its number."""
    return _UNIT.sub(KEPT, text)


def folded(text: str, columns: int) -> str:
    """The text with its long lines parted between words; what goes on below stands a little further in.

    A command that somebody may copy stays in one piece.

    Args:
        text: any number of lines.
        columns: characters that a line may have.
    """
    whole = with_units(_COMMAND.sub(lambda found: found.group().replace(" ", KEPT), text))
    parts = (_folded(line, columns) if len(line) > columns else line for line in whole.split("\n"))
    return "\n".join(parts).replace(KEPT, " ")


def _folded(line: str, columns: int) -> str:
    import textwrap  # most of what is printed fits

    inset = len(line) - len(line.lstrip(" "))
    parts = textwrap.wrap(
        line[inset:],
        columns,
        initial_indent=" " * inset,
        subsequent_indent=" " * min(inset + 2, columns // 2),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(parts)


class OutputEnded(OSError):
    """What is printed has nowhere to go: the disk that it goes to is full."""


class Harmless:
    """A text stream that lets through nothing that a terminal would act upon but line ends, tabs and the bell.

    Everything that a command prints goes through one, so no single message can forget it. What the stream cannot encode
    is spelled: an ohm sign that becomes a question mark leaves a figure that nobody can read.

    Args:
        stream: what is written to.
        spell: writes a text in ASCII.
        returns: carriage returns stay too, for a line that is written over.
        columns: how wide a line may be; a longer one goes on below between two words. By default as wide as it is.
    """

    def __init__(
        self,
        stream: Any,
        spell: Callable[[str], str],
        *,
        returns: bool = False,
        columns: Callable[[], int] | None = None,
    ) -> None:
        self._stream = stream
        self._spell = spell
        self._strange = _WITH_RETURNS if returns else _WITH_BELL
        self._columns = columns
        self._begins = True

    def write(self, text: str) -> int:
        """Write a text, made harmless.

        Raises:
            BrokenPipeError: whoever read has enough.
            OutputEnded: it cannot be written.
        """
        text = self._strange.sub("\ufffd", text)
        columns = self._columns() if self._columns is not None else 0
        if columns > 0 and self._begins and "\r" not in text:
            text = folded(text, columns)
        self._begins = text.endswith(("\n", "\r")) if text else self._begins
        try:
            self._stream.write(text)
        except BrokenPipeError:
            raise
        except OSError as error:
            raise OutputEnded(error.errno, error.strerror) from error
        except UnicodeEncodeError:
            encoding = getattr(self._stream, "encoding", None) or "ascii"
            self._stream.write(_WITH_DEGREE.sub(lambda found: self._fitted(found.group(), encoding), text))
        return len(text)

    def _fitted(self, part: str, encoding: str) -> str:
        try:
            part.encode(encoding)
        except UnicodeEncodeError:
            return self._spell(part)
        return part

    def writelines(self, lines: Any) -> None:
        """Write texts, made harmless."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
