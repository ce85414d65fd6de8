"""A watch as one page: what happened, which place it is, a long watch's minutes as a band. No script, all escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

import msgspec

from bench.diagnose.hunt.watched import (
    clock,
    figure,
    happened,
    moment,
    ranked_lines,
    ranking_of,
    verdict_line,
)
from bench.texts import clean
from bench.walk.watching import Watch

COLUMNS: Final = 360
"""Pieces that a band is drawn in."""
_STYLE: Final = """
@page { size: auto; margin: 15mm; }
body { font: 11pt/1.4 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #111; background: #fff;
  margin: 0 auto; padding: 1rem; max-width: 62rem; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; } h2 { font-size: 1.2rem; border-bottom: 2px solid #111; }
pre { white-space: pre-wrap; margin: 0; } figure { break-inside: avoid; margin: 1rem 0; } svg { width: 100%; }
"""


class Band(msgspec.Struct, frozen=True):
    """A minute of a point, as it is drawn.

    Attributes:
        point: index of the point.
        minute: which.
        low: the lowest.
        high: the highest.
    """

    point: int
    minute: int
    low: float
    high: float


def watch_page(
    name: str, watch: Watch, minutes: Iterable[Band] = (), said: Sequence[tuple[float, str, str]] = ()
) -> str:
    """The page.

    Args:
        name: the record's name.
        watch: what it holds.
        minutes: of a long watch.
        said: seconds, console and text of each line of the plant's consoles, in order.
    """
    ranking = ranking_of(watch)
    title = f"Watch {name} of {watch.head.plant.title or watch.head.plant.plant}"
    parts = [
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{_safe(title)}</title>'
        f"<style>{_STYLE}</style></head><body><h1>{_safe(title)}</h1>",
        f"<p>Begun {_safe(moment(watch, 0.0))} UTC{f' by {_safe(watch.head.by)}' if watch.head.by else ''}: "
        f"{_safe(', '.join(point.name for point in watch.head.points))}.</p>",
        f"<p><b>{_safe(verdict_line(watch, ranking))}</b></p>",
    ]
    if watch.head.places:
        parts += ["<h2>Places</h2>", _listed(ranked_lines(watch, ranking, len(watch.head.places)))]
    parts += ["<h2>What happened</h2>", _listed(happened(watch, said) or ["nothing"])]
    drawn = sorted(minutes, key=lambda one: (one.point, one.minute))
    for number, point in enumerate(watch.head.points):
        mine = [one for one in drawn if one.point == number]
        if mine:
            events = [one.at for one in watch.noticed if one.point == number]
            caption = f"{point.name}: least and most; a mark below for each event"
            parts.append(f"<figure>{_band(mine, events, point.unit)}<figcaption>{_safe(caption)}</figcaption></figure>")
    if watch.gaps:
        gaps = [f"{clock(one.begin)} to {clock(one.end)}  {one.why}" for one in watch.gaps]
        parts += ["<h2>Not seen</h2>", _listed(gaps)]
    if watch.remarks:
        parts += ["<h2>Remarks</h2>", _listed(f"{clock(at)}  {by}: {text}" for at, by, text in watch.remarks)]
    return "".join([*parts, "</body></html>\n"])


def _safe(text: str) -> str:
    return escape(clean(text))


def _listed(lines: Iterable[str]) -> str:
    return f"<pre>{chr(10).join(_safe(line) for line in lines)}</pre>"


def _band(minutes: Sequence[Band], events: Sequence[float], unit: str) -> str:
    """The least and the most over time, as one closed shape for each stretch without a gap."""
    first, last = minutes[0].minute, minutes[-1].minute + 1
    low, high = min(one.low for one in minutes), max(one.high for one in minutes)
    wide, tall = 760.0, 140.0
    span, room = max(1, last - first), (high - low) or 1.0

    def down(value: float) -> float:
        return 10.0 + (high - value) / room * tall

    columns: dict[int, list[Band]] = {}
    for one in minutes:
        columns.setdefault((one.minute - first) * COLUMNS // span, []).append(one)
    each = wide / COLUMNS
    bars = "".join(
        f'<rect x="{20 + place * each:.1f}" y="{down(max(one.high for one in held)):.1f}" width="{each:.2f}" '
        f'height="{max(1.0, down(min(one.low for one in held)) - down(max(one.high for one in held))):.1f}"/>'
        for place, held in sorted(columns.items())
    )
    marks = "".join(f'<path d="M{20 + (at / 60.0 - first) / span * wide:.1f} 156l4 9h-8z"/>' for at in events)
    return (
        f'<svg viewBox="0 0 800 185" role="img" font-family="sans-serif" font-size="11"><g fill="#8a4f00">{bars}</g>'
        f'<g fill="#b02a12">{marks}</g><text x="20" y="9">{_safe(figure(high, unit))}</text>'
        f'<text x="20" y="182">{_safe(figure(low, unit))} at least; {span} minutes</text></svg>'
    )
