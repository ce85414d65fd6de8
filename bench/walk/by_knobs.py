"""A supply without a port: a person sets it by its knobs, watches it, and types what its ammeter shows. Pure.

Nothing switches such an output off but the hand at its knob. So each level is asked for by itself, what is too much is
answered at once by the order to switch off, and nothing goes on before the word OFF was typed. Between two looks nobody
sees the current: an inrush and a short rise leave no trace, and what came up says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from bench.judge.ramp import Level, RampUp, Why
from bench.quantity import engineering
from bench.walk import by_eye
from bench.walk import events as e
from bench.walk.facts import Display

OFF: Final = "OFF"
"""The word for an output that somebody has switched off and looked at."""
ON: Final = "ON"
LIMIT: Final = "LIMIT"
"""The word for a supply that is at its current limit: its lamp is on, or its volts have fallen."""
BY_HAND: Final = "by hand"
"""Why a watch ended that somebody ended."""


class Typed(msgspec.Struct, frozen=True):
    """What was typed, and when it was asked for and typed: times of day, UTC."""

    text: str
    asked: str
    at: str


class Course(msgspec.Struct, frozen=True):
    """How far it has come.

    Attributes:
        level: place in the ramp of the level that is up, or that is to be set now; the last one while it soaks.
        soaking: the last figure is wanted, after the soak.
        why: why it has to go off, or went off; empty while it goes on.
        over: all is typed.
        times: seconds since the first level was asked for, at each figure that counted.
        amps: those figures; None for a display over range.
        sets: seconds, volts and limit of each level that was asked for.
        said: what is to be told about the line before, such as why it does not count.
    """

    level: int = 0
    soaking: bool = False
    why: Why | Literal["by hand"] | Literal[""] = ""
    over: bool = False
    times: tuple[float, ...] = ()
    amps: tuple[float | None, ...] = ()
    sets: tuple[tuple[float, float, float], ...] = ()
    said: str = ""


def course(ramp: RampUp, lines: Sequence[Typed], displays: list[Display]) -> Course:
    """Follow what was typed.

    Args:
        ramp: what is to be followed.
        lines: what was typed so far, oldest first; each is a word or a figure, see :func:`understood`.
        displays: the ammeter's ranges; empty where they are not known.
    """
    now = Course(sets=((0.0, ramp.levels[0].volts, ramp.levels[0].limit_a),))
    for line in lines:
        now = _after(now, ramp, line, lines[0].asked, displays)
    return now


def understood(text: str, displays: list[Display]) -> bool:
    """Whether a line is a word or a figure at all."""
    return text.strip().upper() in (OFF, LIMIT) or by_eye.read_from(text, displays) is not None


def _after(now: Course, ramp: RampUp, line: Typed, begun: str, displays: list[Display]) -> Course:
    word, passed = line.text.strip().upper(), _seconds(begun, line.at)
    if word == OFF:
        return _with(now, why=now.why or BY_HAND, over=True, said="")
    if now.why:
        return _with(now, said="Switch it off first. Type OFF when it is off and its display shows nothing.")
    level, last = ramp.levels[now.level], now.level + 1 == len(ramp.levels)
    if word == LIMIT:
        return _with(now, why="limit", times=(*now.times, passed), amps=(*now.amps, level.limit_a), said=_go_off())
    shown = by_eye.read_from(line.text, displays)
    assert shown is not None
    if shown.value is not None and displays and by_eye.doubt(shown, displays) and shown.value <= level.most_a:
        return _with(now, said=by_eye.doubt(shown, displays))
    kept = _with(now, times=(*now.times, passed), amps=(*now.amps, shown.value), said="")
    if shown.value is None or abs(shown.value) > level.most_a:
        return _with(kept, why="over", said=_go_off())
    wait = _stands(ramp, now)
    stood = _seconds(line.asked, line.at)
    if stood < wait:
        return _with(now, said=f"It is to stand for {wait:g} s first, and {max(0.0, stood):.0f} s have gone.")
    # a display's last digit may stand for less than itself
    if level.leakage_a is not None and abs(shown.value) - shown.resolution > level.leakage_a:
        if passed - now.sets[-1][0] > level.within_s:
            return _with(kept, why="leaks", said=_go_off())
        most = engineering(level.leakage_a, "A", digits=2)
        return _with(kept, said=f"More than {most}: capacitors that slept take their time. Look again later.")
    if not last:
        after = ramp.levels[now.level + 1]
        return _with(kept, level=now.level + 1, sets=(*now.sets, (passed, after.volts, after.limit_a)))
    if ramp.soak_s and not now.soaking:
        return _with(kept, soaking=True)
    return _with(kept, why="done", over=True)


def _with(now: Course, **changes: object) -> Course:
    return replace(now, **changes)


def _go_off() -> str:
    return "TOO MUCH: switch it off now. Type OFF when it is off and its display shows nothing."


def _stands(ramp: RampUp, now: Course) -> float:
    """Seconds for which a level stands before its figure counts."""
    level = ramp.levels[now.level]
    if now.soaking:
        return ramp.soak_s
    if now.level + 1 < len(ramp.levels):
        return level.inrush_s + level.hold_s
    return level.inrush_s + max(level.hold_s, ramp.span_s)


def _seconds(begun: str, at: str) -> float:
    try:
        return max(0.0, (datetime.fromisoformat(at) - datetime.fromisoformat(begun)).total_seconds())
    except ValueError:
        return 0.0


def asks(ramp: RampUp, now: Course) -> str:
    """What a person does and types next, in words."""
    if now.why:
        return now.said
    level = ramp.levels[now.level]
    most = engineering(level.most_a, "A", digits=3)
    told = [now.said] if now.said else []
    if now.soaking:
        told.append(f"Leave it at {level.volts:g} V and watch it for {ramp.soak_s:g} s.")
    else:
        told.append(_set(level, first=now.level == 0))
    told.append(
        f"More than {most} is too much: switch it off AT ONCE, without asking, and type OFF. Do so too if anything "
        "looks, sounds or smells wrong. NOTHING SWITCHES THIS SUPPLY OFF BY ITSELF: your hand stays at its switch."
    )
    wait = _stands(ramp, now)
    told.append(f"When it has stood still for {wait:g} s, type what its ammeter shows; LIMIT if it is at its limit.")
    return "\n".join(told)


def _set(level: Level, *, first: bool) -> str:
    if not first:
        return f"Turn it up to {level.volts:g} V; current limit {level.limit_a:g} A."
    return (
        f"Its output is still off: set {level.volts:g} V, and its current limit to {level.limit_a:g} A as its leaflet "
        "says. Then switch its output on."
    )


def energised(now: Course, lines: Sequence[Typed], number: int, instrument: str, meter: str) -> e.Energised:
    """The event that tells what was seen.

    Args:
        now: the course, over.
        lines: what was typed.
        number: of the request that it answers.
        instrument: the supply.
        meter: the ammeter in its lead; empty where its own display was read.
    """
    tripped = len(now.amps) - 1 if now.why not in ("done", BY_HAND) and now.amps else None
    return e.Energised(
        number=number,
        instrument=instrument,
        meter=meter,
        state="on" if now.why == "done" else "off",
        confirmed=True,
        why=now.why,
        times=list(now.times),
        amps=list(now.amps),
        sets=list(now.sets),
        tripped=tripped,
        raw=[line.text for line in lines],
        by_hand=True,
    )
