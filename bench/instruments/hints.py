"""Why a reply does not match a pattern, and which pattern would: hints for people who write profiles."""

from __future__ import annotations

import re
from typing import Final

from bench.instruments.wire_text import Pattern, Unreadable, compiled, show

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_PLAIN: Final = re.compile(r"[A-Za-z0-9 ,:;_=/%\"'<>!@#&~`-]", re.ASCII)
"""Characters that mean themselves in a regular expression, in the middle of one."""


def why_no_match(text: str, pattern: Pattern) -> str:
    """Where a reply and a pattern part ways, in words; empty where nothing helpful can be said."""
    if pattern.match(text) is not None:
        return ""
    for stripped, what in (
        (text.strip(" "), "blanks"),
        (text.strip(), "blanks, or characters of a line end,"),
        (text.strip("\0"), "zero bytes"),
    ):
        if stripped != text and pattern.match(stripped) is not None:
            return f"it would match without the {what} at its ends"
    if compiled(pattern.text, any_case=True).fullmatch(text):
        return "it would match with other capitals"
    inside = pattern.expression.search(text)
    if inside is not None and inside[0]:
        left = [show(part.encode("latin-1", "replace")) for part in (text[: inside.start()], text[inside.end() :])]
        over = " and ".join(f"'{part}'" for part in left if part)
        return f"it matches but for {over}, and a pattern must match the whole reply"
    return _where_it_ends(text, pattern)


def _where_it_ends(text: str, pattern: Pattern) -> str:
    """How far the beginning of the pattern goes in the reply."""
    best = (0, 0)
    for end in range(len(pattern.text), 0, -1):
        try:
            begins = compiled(pattern.text[:end])
        except Unreadable:
            continue
        found = begins.match(text)
        if found is not None and found.end() > best[0]:
            best = (found.end(), end)
    matched, end = best
    if not matched:
        return ""
    rest, wanted = text[matched:], pattern.text[end:]
    if not rest:
        return f"the reply ends where the pattern goes on with '{wanted}'"
    return f"it matches as far as '{text[:matched]}', and '{rest}' is not '{wanted}'" if wanted else ""


def suggested(text: str) -> str:
    """A pattern for a reading like this one; empty where there is no number in it."""
    number = _NUMBER.search(text)
    if number is None:
        return ""
    figure = re.sub(r"\d+", lambda digits: r"\d+", number[0].lstrip("+-").replace(".", r"\."))
    figure = re.sub(r"([eE])[+-]?", r"\1[+-]?", figure)
    return f"{_escaped(text[: number.start()])}(?P<value>[+-]?{figure}){_unit(text[number.end() :])}"


def suggested_identity(text: str) -> str:
    """A pattern for an identity like this one."""
    parts = text.split(",")
    if len(parts) == 4:
        return ",".join(f"(?P<{name}>[^,]+)" for name in ("maker", "model", "serial", "version"))
    return _escaped(text)


def _unit(text: str) -> str:
    found = re.fullmatch(r"( *)([A-Za-z]+)", text)
    return _escaped(text) if found is None else f"{found[1]}(?P<unit>[A-Za-z]+)"


def _escaped(text: str) -> str:
    return "".join(character if _PLAIN.match(character) else re.escape(character) for character in text)
