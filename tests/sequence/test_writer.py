"""A sequence that is written as YAML reads back as the very same structs, whatever its texts and comments hold."""

from __future__ import annotations

import types
import typing

import msgspec
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from bench.files import BadFile, Inconsistent, parse
from bench.quantity import Amount, Current, Duration, Quantity, QuantityError, Ratio, Resistance, Temperature, Voltage
from bench.sequence import file as f
from bench.sequence.writer import WIDTH, Comments, quantity_text, write
from tests.drawn import draws

# a file holds no control characters: the reader refuses them
PRINTABLE = st.characters(exclude_categories=("Cc", "Cf", "Cs", "Cn", "Zl", "Zp"))
TEXTS = st.text(PRINTABLE, max_size=30) | st.lists(
    st.sampled_from(["open", "FA2.load", "-", "#", "a:", "'so'", '"x"', "{pin.near}", "°C", "no", "1", "  "]),
    max_size=60,
).map(" ".join)
LEAST = {Temperature: -200.0, Voltage: -1e4, Current: -1e3}


# what no file can hold is not drawn: nothing is colder than absolute zero, and only these have a sign
COLDEST = {"V": -1e9, "A": -1e9, "°C": -273.15, "": -1e9}


def amounts():
    units = st.sampled_from(["Ω", "V", "A", "s", "Hz", "°C", ""])
    return units.flatmap(lambda unit: st.builds(Amount, st.floats(COLDEST.get(unit, 0.0), 1e9), st.just(unit)))


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
        return TEXTS
    if kind is int:
        return st.integers(-5, 60)
    if kind is float:
        return st.floats(-1e6, 1e6)
    if kind is bool:
        return st.booleans()
    if kind is Amount:
        return amounts()
    if issubclass(kind, Quantity):
        return st.floats(LEAST.get(kind, 0.0), 1e6).map(kind)
    return structs(kind)


SINGLE = (f.Caution, f.Hold, f.Do, f.Ask, f.Measure, f.Zero, f.Prove, f.Wait, f.Set, f.Energise, f.Seek)


@st.composite
def structs(draw, kind):
    """Any struct whose own fields fit each other: the type refuses the others."""
    hints = typing.get_type_hints(kind)
    needed = [info.name for info in msgspec.structs.fields(kind) if info.required]
    for _ in range(20):
        chosen = draw(st.sets(st.sampled_from([*kind.__struct_fields__]), max_size=3)) | set(needed)
        fields = {
            name: draw(st.lists(st.one_of([structs(one) for one in SINGLE]), min_size=1, max_size=2))
            if name == "steps"
            else draw(values(hints[name]))
            for name in sorted(chosen)
        }
        try:
            return kind(**fields)
        except (Inconsistent, QuantityError):
            continue
    return draw(st.nothing())


@st.composite
def sequences(draw):
    steps = draw(st.lists(st.one_of([structs(one) for one in (*SINGLE, f.Each)]), min_size=1, max_size=3))
    about, name = draw(TEXTS), draw(TEXTS)
    decide = f.Decide(probability=Ratio(draw(st.floats(0.5, 0.999))))
    return f.SequenceFile(sequence=name, plant="plant.yaml", about=about, steps=steps, decide=decide)


@st.composite
def with_comments(draw):
    sequence = draw(sequences())
    words = st.lists(st.sampled_from(["so", "#", "a:", "{x}", "- b", "yes", "it's", "w" * 60]), max_size=20).map(
        " ".join
    )
    above = {number: draw(st.lists(words, max_size=2)) for number in range(len(sequence.steps))}
    beside = {
        number: {name: draw(words) for name in draw(st.sets(st.sampled_from(step.__struct_fields__), max_size=3))}
        for number, step in enumerate(sequence.steps)
    }
    return sequence, Comments(("yaml-language-server: x",), tuple(draw(st.lists(words, max_size=2))), above, beside)


@draws(100)
@given(with_comments())
@pytest.mark.slow
def test_what_is_written_reads_back_as_it_was(drawn):
    sequence, comments = drawn
    text = write(sequence, comments)
    again, _ = parse(text, f.SequenceFile, "written")
    assert again == sequence
    # a reader of plain YAML sees the same texts: nothing became a number or a truth by itself
    plain = yaml.safe_load(text)
    assert plain["sequence"] == sequence.sequence and plain.get("about", "") == sequence.about
    for shown, step in zip(plain["steps"], sequence.steps, strict=True):
        assert shown.get("title", "") == step.title and shown.get("text", "") == getattr(step, "text", "")
        assert {key: type(value) for key, value in shown.items() if key == "output"} in ({}, {"output": str})


@draws(100)
@given(st.one_of(amounts(), *(values(kind) for kind in (Resistance, Voltage, Current, Duration, Ratio, Temperature))))
def test_a_quantity_reads_back_to_the_last_bit(quantity):
    assert type(quantity).parse(quantity_text(quantity)) == quantity


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Amount(100e3, "Ω"), "100 kohm"),
        (Amount(-48.0, "V"), "-48 V"),
        (Current(0.008), "8 mA"),
        (Duration(15.0), "15 s"),
        (Duration(1800.0), "30 min"),
        (Duration(7200.0), "2 h"),
        (Temperature(20.0), "20 degC"),
        (Ratio.parse("95 %"), "95 %"),
        (Resistance(4.7e3), "4.7 kohm"),
    ],
)
def test_quantities_are_written_as_people_type_them(quantity, text):
    assert quantity_text(quantity) == text


def test_lines_end_where_a_page_ends_and_comments_stand_where_they_belong():
    long = " ".join(["Hold the probes still."] * 20)
    measure = f.Measure(
        title="A reading",
        text=long,
        read="resistance",
        between=("J1.1", "J1.2"),
        after=Duration(15.0),
        proven=[f"FA{number}" for number in range(60)],
        limit=f.Limit(computed="path"),
    )
    sequence = f.SequenceFile(sequence="s", plant="p.yaml", steps=[f.Zero(), measure])
    comments = Comments(above={1: [long]}, beside={1: {"after": "a timed reading", "proven": "all of them"}})
    text = write(sequence, comments)
    assert parse(text, f.SequenceFile, "x")[0] == sequence
    assert all(len(line) <= WIDTH for line in text.splitlines())
    assert "    after: 15 s  # a timed reading\n" in text
    assert "    # all of them\n    proven: [FA0, FA1," in text
    assert text.index("  # Hold the probes") < text.index("step: measure")
    assert text.endswith("    limit: {computed: path}\n")


def test_a_field_at_its_default_is_left_out_but_not_what_people_are_told():
    text = write(f.SequenceFile(sequence="s", plant="p.yaml", steps=[f.Zero()]))
    assert "at-most" not in text and "Hold the two probe tips" in text


def test_a_damaged_text_does_not_read_back():
    text = write(f.SequenceFile(sequence="s", plant="p.yaml", steps=[f.Zero()]))
    with pytest.raises(BadFile):
        parse(text.replace("step: zero", "step: nought"), f.SequenceFile, "x")
