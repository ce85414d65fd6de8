"""Readings that a person takes from a display and types: what the digits say, and what must be asked again.

The digits typed fix the resolution, and value and last digit together fix the range. What no range of the meter shows
is asked again before it counts; so is a reading that would fail. Pure, as the machine is.
"""

from __future__ import annotations

import math
import re
from datetime import datetime
from math import isclose
from typing import Final, Literal

import msgspec

from bench.roles import UNIT_OF, Reads
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import Display, InstrumentFacts

FLAG: Final = "by-eye"
"""Marks a reading that a person read and typed."""
WANTED: Final = (
    "what the meter shows, with its unit's prefix: 0.4, 4.72 k, -53.4, 120 m; "
    "over range OL M, or with the range on its dial: OL 20 M"
)

_PREFIXES: Final = {"": 0, "k": 3, "K": 3, "M": 6, "G": 9, "m": -3, "u": -6, "µ": -6, "μ": -6}
_FIGURE: Final = re.compile(r"([+-]?)([0-9]{1,7})(?:[.,]([0-9]{1,6}))?\s*([kKMGmuµμ]?)")
_OVER: Final = re.compile(r"(-?)(?:OL|ol|0L|oL|Ol|∞)\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)?\s*([kKMGmuµμ]?)")


class Shown(msgspec.Struct, frozen=True):
    """What a display shows, in the base unit.

    Attributes:
        value: None where it is over range.
        resolution: one step of the last digit typed; over range, the size of the prefix.
        over: over range, above or below.
        on: over range, the range that was typed with it; None where none was.
        display: of a word in place of a figure, what that says.
    """

    value: float | None
    resolution: float
    over: Literal["", "+", "-"] = ""
    on: float | None = None
    display: Display | None = None


def read_display(text: str) -> Shown | None:
    """What was typed, as a display's figure; None where it is none. Comma and point are the same."""
    typed = text.strip()
    over = _OVER.fullmatch(typed)
    if over is not None:
        power = _PREFIXES[over[3]]
        on = float(f"{over[2].replace(',', '.')}e{power}") if over[2] else None
        return Shown(None, float(f"1e{power}"), "-" if over[1] else "+", on)
    figure = _FIGURE.fullmatch(typed)
    if figure is None:
        return None
    sign, whole, part, prefix = figure[1], figure[2], figure[3] or "", figure[4]
    exponent = _PREFIXES[prefix] - len(part)
    return Shown(float(f"{sign}{whole}{part}e{exponent}"), float(f"1e{exponent}"))


def read_from(text: str, displays: list[Display]) -> Shown | None:
    """What was typed as read from this instrument: a figure, over range, or a word that it has in place of figures."""
    words = {one.word.casefold(): one for one in displays if one.word}
    said = words.get(text.strip().casefold())
    if said is not None:
        return Shown(None, 0.0, "+", display=said) if said.beyond else Shown(0.0, said.top, display=said)
    return None if words else read_display(text)


def wanted(displays: list[Display]) -> str:
    """What is to be typed for it."""
    words = [one.word for one in displays if one.word]
    return f"what it shows: {' or '.join(words)}" if words else WANTED


def display_of(value: float, displays: list[Display]) -> str:
    """What a meter that ranges by itself shows for a value, as a person types it: ``4.72 k``, ``OL M``.

    Args:
        value: at the meter's terminals, in the base unit.
        displays: its ranges for that function, the lowest first.
    """
    for one in displays:
        step = one.resolution or one.range / 1000.0
        if math.isfinite(value) and round(abs(value) / step) * step <= one.top * 1.0001:
            return _on(one, value)
    sign = "-" if value < 0 else ""
    return f"{sign}OL {_prefix(displays[-1])[0]}".strip() if displays else f"{value:g}"


def _on(display: Display, value: float) -> str:
    """What stands on a range's display for a value."""
    step = display.resolution or display.range / 1000.0
    prefix, power = _prefix(display)
    places = max(0, round(power - math.log10(step)))
    return f"{round(value / step) * step / 10.0**power:.{places}f} {prefix}".strip()


def _prefix(display: Display) -> tuple[str, int]:
    """The prefix that a display has on its range, and its power of ten."""
    if display.prefix is not None:
        return display.prefix, _PREFIXES[display.prefix]
    power = min(9, max(-6, 3 * math.floor(math.log10(display.range) / 3 + 1e-9)))
    return {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "u"}[power], power


def function_of(step: Step) -> tuple[Reads, str]:
    """What a step reads, and that function's name in readings."""
    return step.source.read, step.source.function


def _fits(shown: Shown, display: Display) -> bool:
    return shown.value is not None and abs(shown.value) <= display.top * 1.001


def range_of(shown: Shown, displays: list[Display]) -> Display | None:
    """The range that the meter is on: by its last digit, else the lowest that reaches so far.

    Over range, the range that was typed with it, or the highest below; else only the prefix tells: the value is beyond
    the lowest range that is shown with it, and more is not known.
    """
    if shown.value is None and shown.on is not None:
        below = [one for one in displays if one.range <= shown.on * 1.001]
        return below[-1] if below else None
    if shown.value is None:
        unit = shown.resolution
        named = (one for one in displays if unit <= one.range < 1000 * unit)
        return next(named, displays[0] if displays else None)
    fitting = [one for one in displays if _fits(shown, one)]
    exact = (one for one in fitting if one.resolution and isclose(one.resolution, shown.resolution, rel_tol=1e-6))
    return next(exact, fitting[0] if fitting else None)


def doubt(shown: Shown, displays: list[Display]) -> str:
    """Why this meter can hardly show that; empty where it can."""
    if not displays or shown.display is not None:
        return ""
    found = range_of(shown, displays)
    if shown.value is None:
        return "" if found is not None else "This meter has no range as low as that. Please look at the dial once more."
    if found is None:
        return "That is more than this meter can show. Please look at the prefix of its unit: k, M, m or none?"
    if found.resolution is not None and not isclose(found.resolution, shown.resolution, rel_tol=1e-6):
        return "No range of this meter ends in that digit. Please type every digit that it shows, and its prefix."
    return ""


def otherwise(shown: Shown, text: str, displays: list[Display]) -> str:
    """Why a figure is asked about whose range shows it with another point and prefix; empty where it shows it so.

    A point is soon lost: 11.61 k becomes 1161 k, and the range that reaches so far would show 1.161 M.
    """
    found = range_of(shown, displays) if shown.display is None and displays else None
    if shown.value is None or found is None or found.resolution is None:
        return ""
    figure = _FIGURE.fullmatch(text.strip())
    if figure is None or _PREFIXES[figure[4]] == _prefix(found)[1]:
        return ""
    return f"On that range it would show {_on(found, shown.value)}. Please look at the point and the prefix once more."


def impossible(shown: Shown, displays: list[Display]) -> bool:
    """Whether no range reaches so far: that never counts, however often it is typed."""
    return bool(displays) and shown.display is None and range_of(shown, displays) is None


WOULD_FAIL: Final = "That would fail. Please look at the probes and the display once more, and type what it shows now."
"""Why a failing reading is asked for again: a second look, and then it is believed."""
UNSTEADY: Final = (
    "That would fail too, and it is another figure. Does the display stand still? Type what it shows now: that counts."
)
"""Why a failing reading is asked for a third time: what does not stand still is never the same twice."""
WHICH_RANGE: Final = (
    "OL of which range? Where M or k stands beside it, type OL M or OL k. "
    "With ranges on the dial, type the range with it: OL 20 M."
)
"""Why an OL that could be of the lowest range is asked about, where that would leave the question open."""
FAR: Final = 5.0
"""A reading this many times less than expected is asked about again: a point or a prefix is soon lost. Common practice,
no source."""
TELLING: Final = 3
"""With this number of digits two readings of different things are hardly the same by chance."""


def unlikely(shown: Shown, expected: float | None) -> str:
    """Why a reading that would pass is far from what is expected; empty where it is not, or nothing is expected."""
    if shown.value is None or expected is None or shown.display is not None:
        return ""
    if abs(expected) <= FAR * max(abs(shown.value), shown.resolution):
        return ""
    return "That is far below what is expected. Please look at the point and the prefix on the display once more."


def same_again(text: str, before: e.Read | None, alike: bool) -> str:
    """Why a figure that is the last reading's over again is asked about; empty where it may well be the same.

    Args:
        text: what was typed.
        before: the last reading that this person typed from this instrument.
        alike: whether both are of the same kind of thing, where few digits are often the same.
    """
    if before is None or not before.raw or before.value is None:
        return ""
    last, shown = read_display(before.raw[-1]), read_display(text)
    if last is None or shown is None or shown.value is None or last != shown or not shown.value:
        return ""
    digits = len(re.sub(r"[^0-9]", "", text).lstrip("0"))
    if alike and digits < TELLING:
        return ""
    return "That is the reading before once more, digit by digit. Please look at what it shows now."


def too_soon(wait: float, asked_at: str, at: str) -> str:
    """Why a reading that must run for a while does not count yet, by the walk's clock; empty where it has run.

    Args:
        wait: seconds that it must run.
        asked_at: time of day at which it was asked for.
        at: time of day at which it was typed.
    """
    try:
        passed = (datetime.fromisoformat(at) - datetime.fromisoformat(asked_at)).total_seconds()
    except ValueError:
        return ""
    if passed >= wait:
        return ""
    return f"The test runs {wait:g} s before it counts, and {max(0.0, passed):.0f} s have gone. Type it then."


def reading(facts: InstrumentFacts, step: Step, typed: tuple[str, ...], number: int) -> e.Read:
    """The reading of what was typed last; everything typed for it before is kept in ``raw``.

    Args:
        facts: the instrument.
        step: what it was read for.
        typed: the lines, oldest first; the last is a figure.
        number: of the request that it answers.
    """
    if step.source.times:
        each = [_reading(facts, step, (line,), number) for line in typed]
        series = [(moment.value, one.value) for moment, one in zip(step.source.times, each, strict=True)]
        return msgspec.structs.replace(each[-1], raw=list(typed), series=series)
    return _reading(facts, step, typed, number)


def _reading(facts: InstrumentFacts, step: Step, typed: tuple[str, ...], number: int) -> e.Read:
    reads, function = function_of(step)
    displays = facts.displays.get(function, [])
    shown = read_from(typed[-1], displays)
    assert shown is not None
    if shown.display is not None:
        return e.Read(
            number=number,
            instrument=facts.name,
            function=function,
            unit=UNIT_OF[reads],
            value=shown.value,
            over=shown.over,
            bound=shown.display.top if shown.over else None,
            flags=[FLAG],
            range=shown.display.range if not shown.over else None,
            raw=list(typed),
        )
    held = range_of(shown, displays)
    if shown.over and reads == "insulation" and displays:
        # such a tester ranges by itself to the top of its scale before it says so (common practice, no source)
        held = displays[-1]
    coarser = [shown.resolution, (held.resolution or 0.0) if held is not None else 0.0]
    return e.Read(
        number=number,
        instrument=facts.name,
        function=function,
        unit=UNIT_OF[reads],
        value=shown.value,
        over=shown.over,
        bound=held.top if held is not None and shown.over else None,
        flags=[FLAG],
        range=held.range if held is not None else None,
        resolution=max(coarser) if shown.value is not None else None,
        raw=list(typed),
    )
