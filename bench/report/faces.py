"""Connector faces as SVG text: every pin where it lies, with what was found of it.

Shapes tell verdicts apart, colours only help: a filled circle passed, a cross failed, a ring is undecided, a bar is
void, a small dot was not measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Final

from bench.plant.things import Connector
from bench.texts import clean

PITCH: Final = 26.0
WORST: Final[tuple[str, ...]] = ("fail", "undecided", "void", "skipped", "pass")
"""Verdicts, the worst first: a pin shows its worst."""
WORDS: Final = {
    "fail": "failed",
    "undecided": "undecided",
    "void": "void",
    "skipped": "skipped",
    "pass": "passed",
    "": "not measured",
}


def worst(verdicts: list[str]) -> str:
    """The worst of some verdicts; empty where there is none."""
    return next((verdict for verdict in WORST if verdict in verdicts), "")


def face(connector: Connector, found: Mapping[str, list[str]]) -> str:
    """One connector.

    Args:
        connector: the connector.
        found: pin terminal such as ``J101.12`` to the verdicts of the readings that touched it.
    """
    places = connector.layout.places
    wide = max(place.across for place in places.values()) + 1.0
    rows = max(place.row for place in places.values())
    width, height = wide * PITCH + 24.0, rows * (PITCH + 10.0) + 14.0
    counts: dict[str, int] = {}
    pins = []
    for pin, place in places.items():
        name = f"{connector.name}.{pin}"
        verdict = worst(found.get(name, []))
        counts[verdict] = counts.get(verdict, 0) + 1
        x, y = 12.0 + (place.across + 0.5) * PITCH, 8.0 + (place.row - 1) * (PITCH + 10.0) + PITCH / 2
        pins.append(
            f"<g><title>{_text(name)}: {WORDS[verdict]}</title>{_shape(x, y, verdict)}"
            f'<text class="pin" x="{x:.1f}" y="{y + 19:.1f}" text-anchor="middle">{_text(pin)}</text></g>'
        )
    told = ", ".join(f"{counts[verdict]} {WORDS[verdict]}" for verdict in (*WORST, "") if counts.get(verdict))
    title = f"Connector {connector.name}, seen from the {connector.layout.view} side"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" class="face" '
        f'style="max-width:{width:.0f}px"><title>{_text(title)}</title><desc>{_text(told)}</desc>'
        f'<rect class="shell" x="2" y="2" width="{width - 4:.1f}" height="{height - 4:.1f}" rx="8"/>'
        f"{''.join(pins)}</svg>"
    )


def _shape(x: float, y: float, verdict: str) -> str:
    match verdict:
        case "fail":
            return f'<path class="fail" d="M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12"/>'
        case "undecided":
            return f'<circle class="undecided" cx="{x:.1f}" cy="{y:.1f}" r="6"/>'
        case "void" | "skipped":
            return f'<path class="void" d="M{x - 6:.1f} {y:.1f}h12"/>'
        case "pass":
            return f'<circle class="pass" cx="{x:.1f}" cy="{y:.1f}" r="6"/>'
        case _:
            return f'<circle class="none" cx="{x:.1f}" cy="{y:.1f}" r="1.8"/>'


def _text(text: str) -> str:
    return escape(clean(text), quote=True)


STYLE: Final = """
svg.face{width:100%;height:auto;font-family:inherit}
svg.face .shell{fill:none;stroke:#555;stroke-width:1.4}
svg.face .pin{font-size:9px;fill:#222}
svg.face .pass{fill:#1b5e20}
svg.face .fail{fill:none;stroke:#b00020;stroke-width:3.2}
svg.face .undecided{fill:#fff;stroke:#8a5a00;stroke-width:2.6}
svg.face .void{fill:none;stroke:#555;stroke-width:3}
svg.face .none{fill:#777}
"""
