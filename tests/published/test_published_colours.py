"""Colours and pins against published tables.

Sources: the 25-pair colour code of telephone cables and the pins of the 50-position micro-ribbon, as public tables of
the code give them; IEC 60757:2021 clauses 4 and 5, as quoted in public texts (its letters also stand in a table that
quotes IEC 757). The standards themselves were not opened.
"""

from __future__ import annotations

import pytest

from bench.plant.colours import (
    IEC_60757,
    MOST_PAIRS,
    ColourError,
    colour_words,
    iec_letters,
    pair_colours,
    split_letters,
)
from bench.plant.file import ConnectorType
from bench.plant.layout import layout_of

MICRO_RIBBON = layout_of(ConnectorType(name="micro-ribbon", pins=50, rows=2, pairs="halves"))

# every fifth row of the published table, its ends, and its worked example
PAIRS = [
    (1, "white", "blue", 26, 1),
    (2, "white", "orange", 27, 2),
    (3, "white", "green", 28, 3),
    (4, "white", "brown", 29, 4),
    (5, "white", "slate", 30, 5),
    (6, "red", "blue", 31, 6),
    (11, "black", "blue", 36, 11),
    (16, "yellow", "blue", 41, 16),
    (17, "yellow", "orange", 42, 17),
    (21, "violet", "blue", 46, 21),
    (25, "violet", "slate", 50, 25),
]


@pytest.mark.parametrize(("pair", "tip", "ring", "tip_pin", "ring_pin"), PAIRS)
def test_pair_has_the_published_colours_and_pins(pair, tip, ring, tip_pin, ring_pin):
    colours = pair_colours(pair)
    assert (colours.tip, colours.ring, colours.binder) == (tip, ring, "")
    assert MICRO_RIBBON.pair_pins(pair) == (str(tip_pin), str(ring_pin))


def test_each_wire_has_its_own_colour_first_and_its_mates_colour_as_tracer():
    colours = pair_colours(1)
    assert colours.words("tip") == "white/blue"
    assert colours.words("ring") == "blue/white"


def test_pair_number_follows_from_the_two_colours():
    tips = ["white", "red", "black", "yellow", "violet"]
    rings = ["blue", "orange", "green", "brown", "slate"]
    for pair in range(1, 26):
        colours = pair_colours(pair)
        assert pair == 5 * tips.index(colours.tip) + rings.index(colours.ring) + 1


def test_all_fifty_pins_are_used_once():
    pins = [pin for pair in range(1, 26) for pin in MICRO_RIBBON.pair_pins(pair)]
    assert sorted(pins, key=int) == [str(pin) for pin in range(1, 51)]


@pytest.mark.parametrize(
    ("pair", "binder"),
    [(1, "white/blue"), (25, "white/blue"), (26, "white/orange"), (50, "white/orange"), (51, "white/green")],
)
def test_binder_groups_follow_the_same_order(pair, binder):
    assert pair_colours(pair, 600).binder == binder


def test_violet_slate_is_no_binder_so_the_code_ends_at_600_pairs():
    assert MOST_PAIRS == 600
    assert pair_colours(600, 600).binder == "violet/brown"
    with pytest.raises(ColourError):
        pair_colours(601, 700)


def test_iec_60757_letters():
    assert " ".join(IEC_60757) == "BK BN RD OG YE GN BU VT GY WH PK GD TQ SR GNYE"


def test_colours_of_one_item_run_together_in_the_tables_order():
    # the standard's own example is red with blue: RDBU
    assert iec_letters("blue", "red") == "RDBU"
    assert split_letters("RDBU") == ("RD", "BU")
    with pytest.raises(ColourError, match="order of IEC 60757: 'RDBU'"):
        split_letters("BURD")


def test_green_with_yellow_is_kept_for_the_protective_conductor():
    assert colour_words("GNYE") == ("green-yellow", "GNYE")
    assert split_letters("GNYE") == ("GNYE",)
    for colours in (("green", "yellow"), ("yellow", "green"), ("GNYE", "red")):
        with pytest.raises(ColourError):
            iec_letters(*colours)


def test_a_yellow_green_pair_of_the_code_has_no_letters():
    # pair 18 of the telephone code is yellow/green, which the letters cannot say
    assert colour_words(pair_colours(18).words("tip")) == ("yellow/green", "")


def test_slate_is_grey():
    assert iec_letters("slate") == iec_letters("grey") == "GY"
