"""A distance in words and drawn on the cable's way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bench.diagnose.hunt.distance import READINGS, TITLES, Distance, Prospect
from bench.plant.route import Stretch, where_words

WIDE: Final = 70
"""Signs that the drawn way takes."""


def metres(value: float, half: float) -> str:
    """Metres to the digit that the doubt leaves."""
    return f"{value:.2f} m" if half < 0.1 else f"{value:.1f} m"


def lines(told: Distance, stretches: tuple[Stretch, ...], near: str) -> list[str]:
    """Where the fault is, how sure that is, and what decides.

    Args:
        told: the distance.
        stretches: of the cable.
        near: name of the end that it counts from.
    """
    half = told.half
    low, high = (metres(one, half).removesuffix(" m") for one in (told.low, told.high))
    where = where_words(stretches, told.low, told.metres, told.high)
    return [
        f"{metres(told.metres, half)} from {near}, 95 % between {low} and {high}: {where}",
        f"of the cable's length: {told.share:.3f}, 95 % between {told.share_low:.3f} and {told.share_high:.3f}",
        *told.remarks,
        "the doubt comes from: " + ", ".join(f"{cause} {part:.0%}" for cause, part in told.shares if part >= 0.01),
        *drawing(told, stretches),
    ]


def drawing(told: Distance, stretches: tuple[Stretch, ...], wide: int = WIDE) -> list[str]:
    """The way as two lines: its stretches with the interval over them, and their names."""
    length = stretches[-1].end

    def column(at: float) -> int:
        return min(wide - 1, max(0, round(at / length * (wide - 1))))

    way = ["-"] * wide
    for one in stretches:
        way[column(one.begin)] = way[column(one.end)] = "|"
    for place in range(column(told.low), column(told.high) + 1):
        way[place] = "="
    way[column(told.metres)] = "X"
    names = [" "] * wide
    for one in stretches:
        word = one.name or "hangs"
        begin = column(one.begin) + 1
        for place, sign in enumerate(word[: max(0, column(one.end) - begin)], begin):
            names[place] = sign
    return ["".join(way), "".join(names).rstrip()]


def prospect_lines(found: Sequence[Prospect]) -> list[str]:
    """Which methods a bench can do, and how well."""
    rows = []
    for one in found:
        if one.half is None:
            rows.append(f"  no        {TITLES[one.method]}: {one.why}")
            continue
        rows.append(f"  ±{metres(one.half, one.half):9}{TITLES[one.method]} ({one.method}); {one.why}")
        rows += [f"              {name}: {where}" for name, _, where in READINGS[one.method]]
    return rows


def svg(told: Distance, stretches: tuple[Stretch, ...], title: str) -> str:
    """The cable's way with the fault on it, as a picture of its own."""
    from html import escape

    length, wide, left = stretches[-1].end, 760.0, 20.0

    def across(at: float) -> float:
        return left + at / length * wide

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 130" role="img" font-family="sans-serif" '
        f'font-size="12"><title>{escape(title)}</title>',
        f'<text x="{left}" y="18">{escape(title)}</text>',
    ]
    for number, one in enumerate(stretches):
        shade = "#d9d4c4" if number % 2 else "#efe9d8"
        parts.append(
            f'<rect x="{across(one.begin):.1f}" y="50" width="{across(one.end) - across(one.begin):.1f}" height="24" '
            f'fill="{shade}" stroke="#666"{" stroke-dasharray=" + chr(34) + "4 3" + chr(34) if one.guessed else ""}/>'
        )
        name = one.name or "hangs"
        parts.append(f'<text x="{across(one.begin) + 3:.1f}" y="66">{escape(name)}</text>')
        parts.append(f'<text x="{across(one.begin):.1f}" y="90" fill="#555">{one.begin:.1f} m</text>')
    parts.append(
        f'<rect x="{across(told.low):.1f}" y="40" width="{max(1.5, across(told.high) - across(told.low)):.1f}" '
        f'height="44" fill="#b02a12" fill-opacity="0.25" stroke="#b02a12"/>'
    )
    parts.append(f'<path d="M{across(told.metres):.1f} 34v56" stroke="#b02a12" stroke-width="2"/>')
    half = told.half
    parts.append(
        f'<text x="{left}" y="118">{metres(told.metres, half)}, 95 % between {metres(told.low, half)} and '
        f"{metres(told.high, half)}</text></svg>"
    )
    return "".join(parts)
