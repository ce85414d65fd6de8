"""Commands with placeholders. ``{name}`` is replaced by a text and by nothing else; nothing is evaluated."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

_HOLE: Final = re.compile(r"\{([a-z][a-z0-9-]*)\}")
_UNSAFE: Final = re.compile(r"[^\x20-\x7e]|[;{}]")


def holes(template: str) -> frozenset[str]:
    """The names of the placeholders."""
    return frozenset(_HOLE.findall(template))


def fill(template: str, values: Mapping[str, str]) -> str:
    """Replace every placeholder.

    Raises:
        KeyError: a placeholder has no value.
        ValueError: a value holds a character that could end the command or start another.
    """

    if "{" not in template:
        return template

    def value(match: re.Match[str]) -> str:
        text = values[match[1]]
        if _UNSAFE.search(text):
            raise ValueError(f"the value {text!r} for {{{match[1]}}} holds a character that no value may hold")
        return text

    return _HOLE.sub(value, template)


def fill_all(templates: Iterable[str], values: Mapping[str, str]) -> tuple[str, ...]:
    """Replace the placeholders of several commands; see :func:`fill`."""
    return tuple(fill(template, values) for template in templates)


def plain_number(value: float, digits: int = 9) -> str:
    """A number as commands carry it: plain decimal where that is short, else with an exponent; never a comma."""
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-6 <= abs(value) < 1e12:
        text = f"{value:.9f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return text.upper()
