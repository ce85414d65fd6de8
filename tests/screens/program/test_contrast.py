"""Every pair of colours can be told apart by eyes that are not young, with 256 colours too.

The ratio is that of the Web Content Accessibility Guidelines 2.2 of the W3C, "contrast ratio" and "relative luminance";
4.5 is what they ask of text at level AA (success criterion 1.4.3).
"""

from __future__ import annotations

import colorsys

import pytest
from rich.color import Color, ColorSystem
from rich.style import Style

from bench.screens.program.palette import DAY, NIGHT, WIRES, style_of
from bench.screens.program.terminal import THEMES

ENOUGH = 4.5
TURN = 20.0
"""Degrees on the colour circle by which a colour may turn where there are 256: red stays red."""
PALETTES = {"night": NIGHT, "day": DAY}


def luminance(colour: Color) -> float:
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in colour.get_truecolor().normalized]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(front: Color, ground: Color) -> float:
    dark, light = sorted((luminance(front), luminance(ground)))
    return (light + 0.05) / (dark + 0.05)


def of_256(colour: Color) -> Color:
    return colour.downgrade(ColorSystem.EIGHT_BIT)


def too_close(name: str, front: Color | None, ground: Color | None) -> list[str]:
    assert front is not None and ground is not None, name
    pairs = {"in full colour": (front, ground), "of 256": (of_256(front), of_256(ground))}
    return [f"{name} {how}: {contrast(*pair):.2f}" for how, pair in pairs.items() if contrast(*pair) < ENOUGH]


def test_the_ratio_is_the_published_one():
    # from memory of the guidelines' own examples: black on white is 21, and #767676 is the lightest grey that passes
    assert contrast(Color.parse("#000000"), Color.parse("#ffffff")) == pytest.approx(21.0)
    assert contrast(Color.parse("#767676"), Color.parse("#ffffff")) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("palette", PALETTES)
def test_every_style_stands_out(palette):
    names = [*PALETTES[palette], *(f"wire:{name}" for name in WIRES)]
    looks = {name: style_of(name, palette) for name in names}
    assert [one for name, look in looks.items() for one in too_close(name, look.color, look.bgcolor)] == []


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_what_a_box_says_stands_out(theme):
    panel, ground = Color.parse(theme.panel), Color.parse(theme.background)
    fronts = {name: Color.parse(getattr(theme, name)) for name in ("foreground", "accent", "error")}
    found = [one for name, front in fronts.items() for one in too_close(f"{name} on the box", front, panel)]
    assert found + too_close("what is typed", fronts["foreground"], ground) == []


def turned(colour: Color) -> float:
    """By how many degrees a colour turns where there are 256."""
    hues = [colorsys.rgb_to_hsv(*one.get_truecolor().normalized)[0] for one in (colour, of_256(colour))]
    apart = abs(hues[0] - hues[1]) * 360
    return min(apart, 360 - apart)


def test_a_colour_with_a_name_keeps_its_hue_where_there_are_256():
    greys = ("white", "black", "slate", "grey", "silver")
    named = {name: Color.parse(hue) for name, hue in WIRES.items() if name not in greys}
    for palette, table in PALETTES.items():
        lead = Style.parse(table["red"]).bgcolor
        assert lead is not None
        named[f"the red lead, {palette}"] = lead
    assert {name: turned(colour) for name, colour in named.items() if turned(colour) > TURN} == {}
