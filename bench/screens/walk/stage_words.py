"""The stages of first power in words: for the walk line by line, and for the lines of its page. Pure functions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.quantity import engineering
from bench.screens.walk.stages import FINDINGS, HINTS, Headroom, Stage, Standing

if TYPE_CHECKING:
    from bench.judge.ramp import RampUp
    from bench.runner.protocol import Rise


def in_words(stands: Standing) -> list[str]:
    """The stages line by line, for who cannot see it or has no screen."""
    lines = [f"Live: {text}" for text in stands.live] or ["Nothing is live, as far as this walk knows."]
    lines += stands.beyond
    lines.append(f"Next to become live: {stands.next}." if stands.next else "Nothing more becomes live.")
    lines.append(f"The stages of {stands.group}:")
    lines += [f"  {number}. {words_of(stage)}" for number, stage in enumerate(stands.stages, 1)]
    lines += [headroom_words(one) for one in stands.breakers]
    return lines


def words_of(stage: Stage) -> str:
    """One stage in a line: ``without cards: up; 12 mA measured, 10 mA expected``."""
    parts = [f"{stage.title}: {stage.place}"]
    if stage.finding:
        hint = HINTS.get(stage.finding, "")
        parts.append(f"{FINDINGS.get(stage.finding, stage.finding)}{f', look for {hint}' if hint else ''}")
    shown = f"{amps(stage.measured)} measured, " if stage.measured is not None else ""
    if stage.expected is not None:
        parts.append(f"{shown}{amps(stage.expected)} expected, {stage.low:.3f} A to {stage.high:.3f} A allowed")
    for drop in stage.drops:
        read = f"{drop.measured:.2f} V measured, " if drop.measured is not None else ""
        parts.append(f"{drop.inlet} {read}{drop.expected:.2f} V expected")
    return "; ".join(parts)


def headroom_words(one: Headroom) -> str:
    """One breaker in a line."""
    read = f"{amps(one.measured)} measured, " if one.measured is not None else ""
    left = f"{one.left:.2f} A left" if one.left >= 0 else f"{-one.left:.2f} A TOO MUCH"
    return (
        f"Breaker {one.breaker}: {read}{amps(one.expected)} at the most of {one.allowed:.3g} A "
        f"({one.rating:g} A rated); {left}."
    )


def rise_words(rise: Rise, ramp: RampUp) -> list[str]:
    """A load that comes up, in a line or two: what is waited for, and how long at the most."""
    place = min(rise.level, len(ramp.levels) - 1)
    level = ramp.levels[place]
    last = place + 1 == len(ramp.levels)
    head = f"level {place + 1} of {len(ramp.levels)}: {level.volts:g} V set, limit {level.limit_a:g} A, "
    head += f"{rise.since:.0f} s on it"
    if rise.since <= level.inrush_s:
        return [head, f"inrush may pass for {level.inrush_s - rise.since:.0f} s more"]
    left = max(0.0, max(level.within_s, level.hold_s) - rise.since)
    now = abs(rise.amps or 0.0)
    if not last and level.leakage_a is not None and now > level.leakage_a:
        leak = f"{amps(now)} leaks and must fall below {amps(level.leakage_a)}"
        return [head, f"{leak}; {left:.0f} s left until the output goes off"]
    if not last:
        return [head, f"next level in {max(0.0, level.hold_s - rise.since):.0f} s"]
    if rise.settled is None:
        return [head, f"not settled yet; {left:.0f} s left until the output goes off"]
    soak = ramp.soak_s - rise.settled
    return [head, f"settled; soaks for {soak:.0f} s more" if soak > 0 else "settled"]


def amps(value: float | None) -> str:
    """A current in three figures; empty for none."""
    return "" if value is None else engineering(value, "A", digits=3)
