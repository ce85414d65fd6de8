"""Quantities: what is read, what is refused, how it is written."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.quantity import (
    READABLE,
    Amount,
    Area,
    Capacitance,
    CapacitancePerLength,
    Current,
    Duration,
    Length,
    Quantity,
    QuantityError,
    Ratio,
    Resistance,
    Temperature,
    Voltage,
    engineering,
    plain,
    with_uncertainty,
)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (Resistance, "10 megohm", 10e6),
        (Resistance, "0.5 M\u03a9", 0.5e6),
        (Resistance, "0.5 M\u2126", 0.5e6),
        (Resistance, "500 mohm", 0.5),
        (Resistance, "500 Mohm", 500e6),
        (Resistance, "4.7kohm", 4700.0),
        (Resistance, "4.7 kohm", 4700.0),
        (Capacitance, "2.2 \u00b5F", 2.2e-6),
        (Capacitance, "2.2 \u03bcF", 2.2e-6),
        (Capacitance, "2.2 uF", 2.2e-6),
        (CapacitancePerLength, "50 nF/km", 50e-12),
        (Duration, "5 min", 300.0),
        (Length, "500 m", 500.0),
        (Length, "100 ft", 30.48),
        (Area, "0.5 mm2", 0.5),
        (Temperature, "25 °C", 25.0),
        (Temperature, "-5 degC", -5.0),
        (Voltage, "-48 V", -48.0),
        (Current, "1.5e-3 A", 0.0015),
        (Ratio, "50 ppm", 50e-6),
        (Ratio, "95 %", 0.95),
        (Ratio, "0.95", 0.95),
    ],
)
def test_reads(kind: type[Quantity], text: str, value: float) -> None:
    assert kind.parse(text).value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (Resistance, "4,7 kohm"),
        (Resistance, "4k7"),
        (Resistance, ">500 Mohm"),
        (Resistance, "5"),
        (Resistance, "5 V"),
        (Resistance, "-5 ohm"),
        (Resistance, "1e400 ohm"),
        (Resistance, "nan ohm"),
        (Resistance, "inf ohm"),
        (Resistance, ""),
        (Voltage, "1 kV dc"),
        (Length, "5 µ m"),
        (Duration, "-1 s"),
        (Temperature, "-300 degC"),
        (Current, "1 000 A"),
    ],
)
def test_refuses(kind: type[Quantity], text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        kind.parse(text)
    assert kind.dimension in str(caught.value)


def test_a_decimal_comma_is_named() -> None:
    with pytest.raises(QuantityError, match="no comma"):
        Resistance.parse("4,7 kohm")
    with pytest.raises(QuantityError, match="no comma"):
        Amount.parse("4,7 kohm")


@pytest.mark.parametrize("kind", READABLE)
@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_exact_text_parses_back_to_the_same_value(kind: type[Quantity], value: float) -> None:
    if value < kind.least:
        value = abs(value)
    quantity = kind(value)
    assert kind.parse(quantity.exact()) == quantity
    amount = Amount(value, kind.unit)
    if kind is not Ratio:
        assert Amount.parse(amount.exact()) == amount


@given(text=st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    for kind in (*READABLE, Length, Area, CapacitancePerLength):
        try:
            value = kind.parse(text).value
        except QuantityError:
            continue
        assert math.isfinite(value)


def test_quantities_do_not_change_and_do_not_mix() -> None:
    assert Resistance(1.0) != Voltage(1.0)
    assert len({Resistance(1.0), Resistance(1.0), Voltage(1.0)}) == 2
    with pytest.raises(AttributeError):
        Resistance(1.0).value = 2.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("value", "unit", "resolution", "shown"),
    [
        (0.42, "Ω", None, "0.42 Ω"),
        (1.3e9, "Ω", None, "1.3 GΩ"),
        (-53.9, "V", None, "-53.9 V"),
        (0.08712, "Ω", 1e-4, "87.1 mΩ"),
        (1.0123, "Ω", 1e-4, "1.0123 Ω"),
        (1.0, "Ω", 1e-4, "1.0000 Ω"),
        (0.0, "Ω", None, "0 Ω"),
        (-0.00001, "V", 0.001, "0.000 V"),
        (999_990.0, "Ω", None, "1 MΩ"),
        (12.34e-6, "A", None, "12.34 µA"),
        (21.5, "°C", 0.1, "21.5 °C"),
        (0.5, "mm²", None, "0.5 mm²"),
        (math.inf, "Ω", None, "over range"),
        (math.nan, "Ω", None, "not a number"),
    ],
)
def test_writes_as_engineers_do(value: float, unit: str, resolution: float | None, shown: str) -> None:
    assert engineering(value, unit, resolution=resolution) == shown


@given(value=st.floats(min_value=1e-11, max_value=1e13), unit=st.sampled_from(["Ω", "V", "A", "F", "s"]))
def test_what_is_written_is_close_to_the_value(value: float, unit: str) -> None:
    number, shown_unit = engineering(value, unit, digits=6).split(" ")
    kind = next(kind for kind in READABLE if kind.unit == unit)
    assert kind.parse(f"{number} {shown_unit}").value == pytest.approx(value, rel=1e-5)


def test_uncertainty_has_two_digits_and_sets_the_value_s() -> None:
    assert with_uncertainty(0.87431, 0.0123, "Ω") == "0.874 Ω ± 12 mΩ"
    assert with_uncertainty(1.2e9, 3e7, "Ω") == "1.200 GΩ ± 30 MΩ"


def test_plain_text_is_ascii() -> None:
    assert plain("4.7 k\u03a9, 2 \u00b5F, 20 °C, 1 mm²").isascii()
