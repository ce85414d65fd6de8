"""Plots as SVG text: a point's history with its limits, and readings as parts of their limits.

Shapes and not colours tell verdicts apart: a filled circle passed, a cross failed, a ring is undecided, a small bar is
void. Every plot has a title and a description for those who cannot see it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from html import escape
from typing import Final

import msgspec

from bench.say.axis import Axis
from bench.texts import clean

WIDTH: Final = 680
HEIGHT: Final = 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 84.0, 12.0, 14.0, 26.0


class Dot(msgspec.Struct, frozen=True):
    """One reading in a plot.

    Attributes:
        x: seconds since 1970, or a number in order.
        y: the value.
        half: half the length of its uncertainty bar.
        verdict: what decides its shape.
        label: what a pointer over it shows.
        beyond: 1 where the meter showed over range, -1 below it: drawn as an arrow at the edge.
    """

    x: float
    y: float
    half: float
    verdict: str
    label: str
    beyond: int = 0


def history(
    dots: Sequence[Dot],
    *,
    title: str,
    unit: str,
    low: float | None = None,
    high: float | None = None,
    bracket: tuple[float, float] | None = None,
    level: Sequence[tuple[float, float]] = (),
    shown: Sequence[str] = (),
) -> str:
    """A point's readings over time.

    Args:
        dots: the readings in the order of time; at least one.
        title: of the plot.
        unit: written at the axis.
        low: lower limit, drawn as a dashed line.
        high: upper limit.
        bracket: from when to when the change fell, drawn as a band.
        level: a line through it: the model, or a smoothed mean.
        shown: texts for the lowest and the highest value at the axis.
    """
    inside = [dot for dot in dots if not dot.beyond]
    values = [dot.y - dot.half for dot in inside] + [dot.y + dot.half for dot in inside]
    values += [one for one in (low, high) if one is not None] + [y for _, y in level]
    bottom, top = (min(values), max(values)) if values else (0.0, 1.0)
    values_axis = Axis.around((bottom, top), 0.08)
    times = Axis(dots[0].x, max(dots[-1].x, dots[0].x + 1.0))

    def across(x: float) -> float:
        return _LEFT + times.place(x) * (WIDTH - _LEFT - _RIGHT)

    def up(y: float) -> float:
        return HEIGHT - _BOTTOM - values_axis.place(y) * (HEIGHT - _TOP - _BOTTOM)

    parts = [_open(WIDTH, HEIGHT, title, _told(dots))]
    if bracket is not None:
        x0, x1 = across(bracket[0]), across(bracket[1])
        parts.append(f'<rect class="bracket" x="{x0:.1f}" y="{_TOP}" width="{max(2.0, x1 - x0):.1f}" '
                     f'height="{HEIGHT - _TOP - _BOTTOM:.1f}"/>')  # fmt: skip
    parts.append(f'<path class="axis" d="M{_LEFT} {_TOP}V{HEIGHT - _BOTTOM}H{WIDTH - _RIGHT}"/>')
    for limit, name in ((low, "lower limit"), (high, "upper limit")):
        if limit is not None:
            y = up(limit)
            parts.append(f'<path class="limit" d="M{_LEFT} {y:.1f}H{WIDTH - _RIGHT}"/>')
            parts.append(f'<text class="small" x="{WIDTH - _RIGHT - 2}" y="{y - 3:.1f}" '
                         f'text-anchor="end">{name}</text>')  # fmt: skip
    for y, text in zip((bottom, top), shown, strict=False):
        parts.append(f'<text class="small" x="{_LEFT - 6}" y="{up(y) + 4:.1f}" text-anchor="end">{_text(text)}</text>')
    parts.append(f'<text class="small" x="4" y="{_TOP + 8}">{_text(unit)}</text>')
    for x, anchor in ((dots[0].x, "start"), (dots[-1].x, "end")):
        day = datetime.fromtimestamp(x).strftime("%Y-%m-%d")
        parts.append(f'<text class="small" x="{across(x):.1f}" y="{HEIGHT - 8}" text-anchor="{anchor}">{day}</text>')
    if len(level) > 1:
        line = " ".join(f"{across(x):.1f},{up(y):.1f}" for x, y in level)
        parts.append(f'<polyline class="level" points="{line}"/>')
    for dot in dots:
        parts.append(_mark(across(dot.x), dot, up))
    parts.append("</svg>")
    return "".join(parts)


def parts_of_limit(rows: Iterable[tuple[str, float, float, str]], title: str) -> str:
    """Readings as parts of their upper limit, one short line each, worst first.

    Args:
        rows: name, reading over limit, uncertainty over limit, verdict. Beyond twice the limit counts as twice.
        title: of the plot.
    """
    items = sorted(rows, key=lambda row: -row[1])
    height = 30 + 16 * len(items)
    left, right, whole = 150.0, WIDTH - 40.0, Axis(0.0, 2.0)

    def across(part: float) -> float:
        return left + min(1.0, max(0.0, whole.place(part))) * (right - left)

    described = "; ".join(
        f"{name} at {part * 100:.0f} % of its limit, {verdict}" for name, part, _, verdict in items[:8]
    )
    made = [_open(WIDTH, height, title, described)]
    x = across(1.0)
    made.append(f'<path class="limit" d="M{x:.1f} 16V{height - 4}"/>')
    made.append(f'<text class="small" x="{x:.1f}" y="11" text-anchor="middle">limit</text>')
    for number, (name, part, half, verdict) in enumerate(items):
        y = 28.0 + 16 * number
        made.append(f'<text class="small" x="{left - 8}" y="{y + 4}" text-anchor="end">{_text(name)}</text>')
        made.append(f'<path class="rule" d="M{left} {y}H{right}"/>')
        ends = (across(part - half), across(part + half))
        made.append(f'<path class="doubt" d="M{ends[0]:.1f} {y}H{ends[1]:.1f}"/>')
        made.append(_shape(across(part), y, verdict, f"{name}: {part * 100:.0f} % of its limit, {verdict}"))
        if part > 2.0:
            made.append(f'<text class="small" x="{right + 4}" y="{y + 4}">&gt; 2x</text>')
    made.append("</svg>")
    return "".join(made)


def _open(width: float, height: float, title: str, description: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" class="plot">'
        f"<title>{_text(title)}</title><desc>{_text(description)}</desc>"
    )


def _told(dots: Sequence[Dot]) -> str:
    return "; ".join(dot.label for dot in dots[-40:])


def _mark(x: float, dot: Dot, up: object) -> str:
    assert callable(up)
    if dot.beyond:
        y = _TOP + 6 if dot.beyond > 0 else HEIGHT - _BOTTOM - 6
        tip = -5 if dot.beyond > 0 else 5
        path = f"M{x - 4:.1f} {y - tip / 2:.1f}L{x:.1f} {y + tip:.1f}L{x + 4:.1f} {y - tip / 2:.1f}Z"
        return f'<path class="{_class(dot.verdict)}" d="{path}"><title>{_text(dot.label)}</title></path>'
    y = up(dot.y)
    bar = ""
    if dot.half > 0:
        bar = f'<path class="doubt" d="M{x:.1f} {up(dot.y - dot.half):.1f}V{up(dot.y + dot.half):.1f}"/>'
    return bar + _shape(x, y, dot.verdict, dot.label)


def _shape(x: float, y: float, verdict: str, label: str) -> str:
    title = f"<title>{_text(label)}</title>"
    kind = _class(verdict)
    if verdict == "fail":
        path = f"M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8"
        return f'<path class="{kind}" d="{path}">{title}</path>'
    if verdict == "void":
        return f'<path class="{kind}" d="M{x - 4:.1f} {y:.1f}h8">{title}</path>'
    return f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="3.5">{title}</circle>'


def _class(verdict: str) -> str:
    return verdict if verdict in ("pass", "fail", "undecided", "void") else "other"


def _text(text: str) -> str:
    """Escaped, with what no XML may hold left out."""
    return escape(clean(text), quote=True)


STYLE: Final = """
svg.plot{width:100%;max-width:680px;height:auto;font-family:inherit}
svg.plot .axis,svg.plot .rule{fill:none;stroke:#777;stroke-width:1}
svg.plot .rule{stroke:#ddd}
svg.plot .limit{fill:none;stroke:#000;stroke-width:1.2;stroke-dasharray:6 3}
svg.plot .level{fill:none;stroke:#555;stroke-width:1}
svg.plot .doubt{fill:none;stroke:#888;stroke-width:1}
svg.plot .bracket{fill:#eee;stroke:#999;stroke-dasharray:2 2}
svg.plot .small{font-size:10px;fill:#222}
svg.plot .pass{fill:#1b5e20;stroke:none}
svg.plot .fail{fill:none;stroke:#b00020;stroke-width:2.4}
svg.plot path.fail[d$="Z"]{fill:#b00020}
svg.plot .undecided{fill:#fff;stroke:#8a5a00;stroke-width:1.8}
svg.plot .void,svg.plot .other{fill:none;stroke:#555;stroke-width:2}
"""
"""The plots' style sheet; for a plot of its own put it into a style element."""
