"""What a reply means: from its pieces to a value in the base unit, or to a clear no."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, Literal

import msgspec

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function, Range
from bench.instruments.profile.profile import Profile
from bench.instruments.wire_text import Pattern
from bench.quantity import engineering

_NUMBER: Final = re.compile(r"([+-]?)\s*((?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)", re.ASCII)
_SPECIAL: Final = 1e-6
"""Relative, for special numbers with an exponent: ``9.9E37`` comes in several spellings and with several digits."""
SMALLEST: Final = 1e-18
"""In any base unit: no instrument that people carry shows less, but for zero itself (common practice, no source)."""
LARGEST: Final = 1e18
"""And none shows more."""
FINEST: Final = 1e-6
"""Of the last digit: an instrument may send more digits than it shows, but hardly six more."""
_BEYOND: Final = 1.001
"""A value above its range's top by more than this is no value of that range."""


class Meaning(msgspec.Struct, frozen=True):
    """What a reply says.

    Attributes:
        value: in the base unit; None where the instrument showed over range or no number.
        over: ``+`` or ``-`` where it showed over range.
        nan: it showed that it has no number.
        bound: what the true value is beyond, in the base unit, where the instrument said so (``> 500 Mohm``).
        range: the range that the reply names.
        resolution: one step of the last digit that the reply shows; None where it does not tell.
        flags: what its marks mean, such as ``hold``.
    """

    value: float | None
    over: Literal["", "+", "-"]
    nan: bool
    bound: float | None
    range: Range | None
    resolution: float | None
    flags: tuple[str, ...]


def with_point(text: str, decimal: str) -> str:
    """A number with a point before its fraction, whatever stands there."""
    return text.replace(",", ".") if decimal == "comma" else text


def _pointed(figure: str, places: str) -> str:
    """A figure that came as bare digits, with its point put in, counted in places from the right."""
    sign, digits = (figure[:1], figure[1:]) if figure[:1] in ("+", "-") else ("", figure)
    bare = digits.strip()
    if not bare.isdecimal() or not places.isdecimal() or places == "0":
        return figure
    filled = bare.rjust(int(places) + 1, "0")
    return f"{sign}{filled[: -int(places)]}.{filled[-int(places) :]}"


def parts_of(text: str, pattern: Pattern, decimal: str = "point") -> Parts | None:
    """Take a text reply apart; None where it does not match from its first character to its last.

    Args:
        text: the reply.
        pattern: of the profile; its group ``point`` holds how many of the digits are behind the point.
        decimal: what stands before the fraction, ``point`` or ``comma``.
    """
    found = pattern.match(text)
    if found is None:
        return None
    marks = found.get("marks", "")
    return Parts(
        value=_pointed(with_point(found.get("sign", "") + found.get("value", ""), decimal), found.get("point", "")),
        unit=found.get("unit", "").strip(),
        function=found.get("function", "").strip(),
        range=found.get("range", "").strip(),
        marks=(marks,) if marks else (),
    )


@lru_cache(256)
def number_of(text: str) -> float | None:
    """A number as instruments write it: a blank may stand after the sign, and nowhere else; None for other texts."""
    match = _NUMBER.fullmatch(text.strip())
    return float(match[1] + match[2]) if match else None


def meaning_of(parts: Parts, function: Function, profile: Profile, *, marks_are_text: bool = True) -> Meaning:
    """What the pieces of a reply mean for the function that was asked for.

    Args:
        parts: the pieces.
        function: what was asked for.
        profile: says how over range and marks look.
        marks_are_text: a mark is looked for anywhere in the text of the group; else it must equal one.

    Raises:
        InstrumentTrouble: ``mismatch`` where the reply is of another function or a mark forbids it; ``garbled`` where
            it makes no sense.
    """
    _check_function(parts, function, profile)
    flags = _flags(parts, profile, marks_are_text)
    factor = _factor(parts, function, profile) * (function.register.scale if function.register is not None else 1.0)
    named = _named_range(parts, function)
    over: Literal["", "+", "-"] = ""
    text = parts.value.strip()
    more = profile.specials.more_than
    if more and text.startswith(more):
        number = number_of(text[len(more) :])
        if number is None:
            raise _nonsense(parts, function)
        return Meaning(None, "+", False, number * factor, named, None, flags)
    number = number_of(text)
    if _is_one_of(text, number, profile.specials.nan):
        return Meaning(None, "", True, None, named, None, flags)
    if _is_one_of(text, number, profile.specials.over):
        over = "+"
    elif _is_one_of(text, number, profile.specials.under):
        over = "-"
    if over:
        return Meaning(None, over, False, named.top if named else None, named, None, flags)
    if number is None:
        raise _nonsense(parts, function)
    _refuse_absurd(number * factor, function)
    return Meaning(number * factor, "", False, None, named, _last_digit(text, factor), flags)


def _refuse_absurd(value: float, function: Function) -> None:
    """Refuse what no instrument shows: bytes in a wrong order make numbers that are next to nothing, or huge.

    Raises:
        InstrumentTrouble: ``garbled``.
    """
    size = abs(value)
    steps = [part.resolution.value for part in function.ranges if part.resolution is not None]
    least = max(SMALLEST, FINEST * min(steps)) if steps and len(steps) == len(function.ranges) else SMALLEST
    if size == 0 or least <= size <= LARGEST:
        return
    raise InstrumentTrouble(
        "garbled",
        f"Found {value:.3g} {function.base_unit}, which no instrument shows as {function.reads}.",
        "Check the order of words and the type of the register, and the scale; where it stands for over range, "
        "'specials' of the profile lacks it.",
    )


def _nonsense(parts: Parts, function: Function) -> InstrumentTrouble:
    return InstrumentTrouble(
        "garbled",
        f"Found {parts.value!r} where a number of {function.name} belongs.",
        "Check cable and line settings; if the instrument means something by it, 'specials' of the profile lacks it.",
    )


def _is_one_of(text: str, number: float | None, specials: list[str]) -> bool:
    for special in specials:
        if text.upper() == special.upper():
            return True
        meant = number_of(special)
        if meant is None or number is None:
            continue
        near = _SPECIAL * abs(meant) if "E" in special.upper() else 0.0
        if abs(number - meant) <= near:
            return True
    return False


def _check_function(parts: Parts, function: Function, profile: Profile) -> None:
    if not function.marks or parts.function in function.marks:
        return
    other = next((f.name for f in profile.functions if parts.function in f.marks), parts.function or "nothing")
    raise InstrumentTrouble(
        "mismatch", f"The instrument is on {other}, and {function.name} is asked for.", function.dial or "Set it anew."
    )


def _factor(parts: Parts, function: Function, profile: Profile) -> float:
    if not function.units:
        if parts.unit:
            raise InstrumentTrouble("garbled", f"Found the unit {parts.unit!r} in a reply that should carry none.")
        return function.factor
    factor = function.unit_factor(parts.unit)
    if factor is not None:
        return factor
    other = next((f for f in profile.functions if parts.unit in f.units and f.name != function.name), None)
    if other is not None:
        raise InstrumentTrouble(
            "mismatch",
            f"The instrument shows {parts.unit}, so it is on {other.name}, and {function.name} is asked for.",
            function.dial or "Set it anew.",
        )
    raise InstrumentTrouble("garbled", f"Found the unit {parts.unit!r}, expected one of {', '.join(function.units)}.")


def _named_range(parts: Parts, function: Function) -> Range | None:
    if not parts.range:
        return None
    for part in function.ranges:
        if parts.range == part.mark:
            return part
    number = number_of(parts.range)
    if number is not None:
        for part in function.ranges:
            if abs(number - part.range.value) <= 1e-6 * part.range.value:
                return part
    raise InstrumentTrouble("garbled", f"Found the range {parts.range!r}, which {function.name} does not have.")


def _flags(parts: Parts, profile: Profile, marks_are_text: bool) -> tuple[str, ...]:
    flags: list[str] = []
    for mark in profile.marks:
        lit = any(mark.mark in text if marks_are_text else mark.mark == text for text in parts.marks)
        if not lit:
            continue
        if mark.stops:
            raise InstrumentTrouble(
                "mismatch", f"The instrument shows '{mark.flag}', so its reading does not count.", mark.advice
            )
        flags.append(mark.flag)
    return tuple(flags)


def _last_digit(text: str, factor: float) -> float | None:
    if "e" in text.lower():
        return None
    places = len(text.partition(".")[2])
    return abs(10.0**-places * factor)


def refuse_beyond(value: float, function: Function, held: Range | None) -> None:
    """Refuse a value that the range, or the function's highest range, cannot show.

    Raises:
        InstrumentTrouble: ``garbled``.
    """
    top = held.top if held is not None else max((part.top for part in function.ranges), default=float("inf"))
    if abs(value) > top * _BEYOND:
        unit = function.base_unit
        where = f"the {engineering(held.range.value, unit)} range" if held else function.name
        raise InstrumentTrouble(
            "garbled",
            f"Found {engineering(value, unit)}, and {where} ends at {engineering(top, unit)}.",
            "Check cable and line settings, and that the profile fits this instrument.",
        )
