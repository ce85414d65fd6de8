from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.files import parse
from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Profile
from bench.instruments.wire.interpret import meaning_of, number_of, parts_of

HAND, _ = parse(
    r"""
profile: hand
title: a hand-held meter
dialogue: {kind: stream, reply: '(?P<function>[A-Z]{3}) (?P<value>[-> .\dA-Z]{7}) (?P<unit>[A-Za-z]+?)(?P<marks>[HB]*)'}
specials: {over: [OL], under: [-OL], nan: ['----'], more-than: '>'}
marks:
  - {mark: H, flag: hold, stops: true, advice: Press HOLD.}
  - {mark: B, flag: low-battery}
functions:
  - name: ohms
    reads: resistance
    dial: Turn the dial to ohms.
    marks: [RES]
    units: {Ohm: ohm, kOhm: kohm, MOhm: Mohm}
    ranges: [{range: 600 ohm, mark: R1}, {range: 6 Mohm, mark: R5}]
  - name: volts
    reads: voltage
    dial: Turn the dial to volts.
    marks: [VDC]
    units: {V: V, mV: mV}
""",
    Profile,
    "hand.yaml",
)
OHMS = HAND.function("ohms")


def mean(text: str):
    parts = parts_of(text, HAND.dialogue.reply)
    assert parts is not None
    return meaning_of(parts, OHMS, HAND)


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    [
        ("RES  123.45 Ohm", 123.45, 0.01),
        ("RES  1.2345 kOhm", 1234.5, 0.1),
        ("RES -  1.23 Ohm", -1.23, 0.01),
        ("RES    0.05 Ohm", 0.05, 0.01),
        ("RES   12.00 MOhm", 12e6, 1e4),
    ],
)
def test_values(text, value, resolution):
    meaning = mean(text)
    assert meaning.value == pytest.approx(value)
    assert meaning.resolution == pytest.approx(resolution)
    assert meaning.flags == ()


@pytest.mark.parametrize(
    ("text", "over", "nan", "bound"),
    [
        ("RES    OL   MOhm", "+", False, None),
        ("RES   -OL   MOhm", "-", False, None),
        ("RES  >550.0 MOhm", "+", False, 550e6),
    ],
)
def test_what_stands_in_place_of_a_number(text, over, nan, bound):
    meaning = mean(text)
    assert (meaning.value, meaning.over, meaning.nan, meaning.bound) == (None, over, nan, bound)


def test_low_battery_is_told_and_hold_stops():
    assert mean("RES  123.45 OhmB").flags == ("low-battery",)
    with pytest.raises(InstrumentTrouble) as caught:
        mean("RES  123.45 OhmHB")
    assert caught.value.kind == "mismatch"
    assert caught.value.advice == "Press HOLD."


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("VDC   12.34 V", "mismatch", "on volts, and ohms is asked for"),
        ("RES   12.34 V", "mismatch", "shows V, so it is on volts"),
        ("XYZ   12.34 Ohm", "mismatch", "on XYZ"),
        ("RES   12.34 Ohms", "garbled", "expected one of Ohm, kOhm, MOhm"),
        ("RES   1 2.4 Ohm", "garbled", "where a number"),
        ("RES   1.2.4 Ohm", "garbled", "where a number"),
        ("RES   ABC   Ohm", "garbled", "where a number"),
    ],
)
def test_what_is_refused(text, kind, says):
    with pytest.raises(InstrumentTrouble) as caught:
        mean(text)
    assert caught.value.kind == kind
    assert says in caught.value.what
    if kind == "mismatch" and "volts" in says:
        assert caught.value.advice == "Turn the dial to ohms."


def test_a_range_that_is_named():
    assert meaning_of(Parts("1.0", "Ohm", "RES", "R5"), OHMS, HAND).range == OHMS.ranges[1]
    with pytest.raises(InstrumentTrouble, match="range 'R9'"):
        meaning_of(Parts("1.0", "Ohm", "RES", "R9"), OHMS, HAND)


@pytest.mark.parametrize("text", ["", "+", ".", "1,5", "1e", "1e5000", "0x10", "nan", "inf", "1_0", "1 0", "--1", "٣"])
def test_texts_that_are_no_number(text):
    assert number_of(text) is None


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_every_way_to_write_a_number_reads_back(value):
    for text in (f"{value:.8E}", f"{value:+.8E}", f"{value!r}"):
        assert number_of(text) == pytest.approx(value, rel=1e-7)


@given(st.sampled_from(["9.9E37", "+9.90000000E+37", "9.9e+37", "99.0E36"]))
def test_infinity_of_scpi_in_its_spellings(text):
    from tests.instruments.server import LIBRARY

    profile = LIBRARY.profile("scpi-bench-meter")
    meaning = meaning_of(Parts(text), profile.function("ohms 4w"), profile)
    assert (meaning.value, meaning.over) == (None, "+")
