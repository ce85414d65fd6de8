"""A plant file goes into a record as JSON and comes out as it was; what it resolves to is the same."""

from __future__ import annotations

import types
import typing

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.files import Inconsistent, exact, from_text, json_schema, parse, shipped
from bench.plant import file as f
from bench.plant.load import load_plant
from bench.plant.resolve import resolve
from bench.plant.size import Size
from bench.quantity import Quantity, QuantityError, Temperature, Voltage
from tests.drawn import draws


def through_json(plant_file):
    return msgspec.json.decode(msgspec.json.encode(plant_file, enc_hook=exact), type=f.PlantFile, dec_hook=from_text)


def sizes():
    awg = st.integers(4, 40).map(lambda n: Size.parse(f"AWG {n}"))
    heavy = st.sampled_from(["AWG 1/0", "AWG 4/0"]).map(Size.parse)
    metric = st.floats(0.05, 500, allow_nan=False).map(lambda area: Size.parse(f"{area!r} mm2"))
    return awg | heavy | metric


def quantities(kind):
    least = -200.0 if kind in (Temperature, Voltage) else 0.0
    return st.floats(least, 1e6, allow_nan=False).map(kind)


def values(kind):
    """A strategy for any field's type."""
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return st.one_of([values(option) for option in arguments])
    if origin is typing.Literal:
        return st.sampled_from(arguments)
    if origin is list:
        return st.lists(values(arguments[0]), max_size=3)
    if origin is dict:
        return st.dictionaries(values(arguments[0]), values(arguments[1]), max_size=3)
    if origin is tuple:
        return st.tuples(*(values(part) for part in arguments))
    if kind is type(None):
        return st.none()
    if kind is str:
        return st.text(max_size=8)
    if kind is int:
        return st.integers(-5, 60)
    if kind is bool:
        return st.booleans()
    if kind is Size:
        return sizes()
    if issubclass(kind, Quantity):
        return quantities(kind)
    return entries(kind)


@st.composite
def entries(draw, kind):
    """Any entry whose own fields fit each other: the type refuses the others."""
    hints = typing.get_type_hints(kind)
    needed = [info.name for info in msgspec.structs.fields(kind) if info.required]
    for _ in range(20):
        chosen = draw(st.sets(st.sampled_from([*kind.__struct_fields__]), max_size=4)) | set(needed)
        fields = {name: draw(values(hints[name])) for name in sorted(chosen)}
        try:
            return kind(**fields)
        except (Inconsistent, QuantityError):
            continue
    return draw(st.nothing())


@draws(60)
@given(st.data())
@pytest.mark.parametrize(
    "kind",
    [
        f.ConnectorType, f.CableType, f.CardType, f.Bay, f.Feed, f.Supply, f.Busbar, f.Breaker, f.Tray, f.Cable,
        f.EarthPoint, f.Bond, f.Contacts, f.ConductorEntry,
    ],
)  # fmt: skip
@pytest.mark.quick_cases(1)
def test_every_entry_comes_out_of_json_as_it_was(kind, data):
    entry = data.draw(entries(kind))
    text = msgspec.json.encode(entry, enc_hook=exact)
    assert msgspec.json.decode(text, type=kind, dec_hook=from_text) == entry


@pytest.mark.slow
@draws(60)
@given(entries(f.PlantFile))
def test_every_plant_file_comes_out_of_json_as_it_was(plant_file):
    assert through_json(plant_file) == plant_file


def test_a_plant_out_of_a_record_is_the_same_plant():
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    again = resolve(through_json(plant.file))
    assert again.file == plant.file
    for kind in ("conductors", "terminals", "cables", "shelves", "breakers", "bonds", "earth_points", "inlets"):
        assert getattr(again, kind) == getattr(plant, kind)
    assert again.graph(again.breakers) == plant.graph(plant.breakers)


def test_json_is_itself_a_plant_file():
    """JSON is YAML: what a record holds can be read as a file again."""
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    text = msgspec.json.encode(plant.file, enc_hook=exact).decode()
    assert parse(text, f.PlantFile, "plant.json")[0] == plant.file


def test_there_is_a_schema():
    schema = json_schema(f.PlantFile, "A plant")
    assert "cable-types" in str(schema)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("AWG 24", "AWG 24"),
        ("awg24", "AWG 24"),
        ("24 AWG", "AWG 24"),
        ("AWG 08", "AWG 8"),
        ("AWG 2/0", "AWG 2/0"),
        ("AWG 00", "AWG 2/0"),
        ("0.5 mm2", "0.5 mm²"),
        ("0.5 mm²", "0.5 mm²"),
        ("16mm2", "16 mm²"),
    ],
)
def test_sizes_as_they_are_written(text, size):
    assert str(Size.parse(text)) == size
    assert Size.parse(Size.parse(text).exact()) == Size.parse(text)


@pytest.mark.parametrize("text", ["24", "0.5", "0,5 mm2", "0 mm2", "AWG 99", "AWG 5/0", "AWG -1", "mm2", "0.5 mm", ""])
def test_what_is_no_size(text):
    with pytest.raises(QuantityError, match="expected a conductor size such as"):
        Size.parse(text)
