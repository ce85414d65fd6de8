"""Reading files: everything that is wrong, in one go, each with its place."""

import sys
from pathlib import Path
from typing import Any, Literal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench import files
from bench.files import BadFile, Inconsistent
from bench.quantity import Amount, Resistance, Temperature


class Caution(msgspec.Struct, frozen=True, tag="caution", tag_field="step"):
    text: str


class Measure(msgspec.Struct, frozen=True, tag="measure", tag_field="step"):
    limit: Resistance
    read: Literal["ohms", "volts"] = "ohms"
    at: Amount | None = None

    def __post_init__(self) -> None:
        if self.limit.value > 1e9:
            raise Inconsistent(f"a limit of {self.limit}", "at most 1 GΩ")


class Job(msgspec.Struct, frozen=True):
    name: str
    steps: list[Caution | Measure] = []
    ambient: Temperature | None = None
    pins: int | list[str] = 3
    on: bool = False
    part: float = 1.0
    bounds: tuple[Resistance, Resistance] | None = None
    by_name: dict[str, int] = {}


def problems(text: str) -> list[str]:
    with pytest.raises(BadFile) as caught:
        files.parse(text, Job, "job.yaml")
    return [str(problem) for problem in caught.value.problems]


def test_reads_a_whole_file() -> None:
    text = "name: 0012\nsteps:\n- {step: caution, text: 'null'}\n- {step: measure, limit: 2 ohm}\nambient: 18 degC\n"
    job, places = files.parse(text, Job, "job.yaml")
    assert job == Job("0012", [Caution("null"), Measure(Resistance(2.0))], Temperature(18.0))
    assert str(places.of(job.steps[1], "limit")) == "job.yaml:4:26"
    assert str(places.of(object())) == "job.yaml"


def test_every_problem_is_told_with_its_place_and_the_near_miss() -> None:
    text = """\
name: x
steps:
- step: cauton
  text: hi
- {step: measure, limit: 4.7 V, whta: 1}
- {step: measure, limit: 2 Gohm}
- {step: measure}
- just text
on: yes
pins: {a: 1}
part: many
bounds: [1 ohm]
by_name: {a: x}
ambeint: 18 degC
"""
    assert problems(text) == [
        "job.yaml:3:9: steps[0].step: found 'cauton', expected one of 'caution', 'measure'; did you mean 'caution'?",
        "job.yaml:5:26: steps[1].limit: found '4.7 V', expected a resistance such as '4.7 kohm'",
        "job.yaml:5:33: steps[1].whta: found the field 'whta', expected one of 'limit', 'read', 'at'",
        "job.yaml:6:3: steps[2]: found a limit of 2 GΩ, expected at most 1 GΩ",
        "job.yaml:7:3: steps[3]: found no field 'limit', expected the field 'limit'",
        "job.yaml:8:3: steps[4]: found 'just text', expected a mapping with 'text' or "
        "a mapping with one of 'limit', 'read', 'at'",
        "job.yaml:9:5: on: found 'yes', expected true or false; write true",
        "job.yaml:10:7: pins: found a mapping, expected a whole number or a list",
        "job.yaml:11:7: part: found 'many', expected a number",
        "job.yaml:12:9: bounds: found 1 items, expected 2 items",
        "job.yaml:13:14: by_name.a: found 'x', expected a whole number",
        "job.yaml:14:1: ambeint: found the field 'ambeint', expected one of 'name', 'steps', 'ambient', 'pins', "
        "'on', 'part', 'bounds', 'by_name'; did you mean 'ambient'?",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name: x\nname: y\n", "the key 'name' again"),
        ("name: &a x\npins: *a\n", "an anchor '&a'"),
        ("name: &a x\npins: *a\n", "an alias '*a'"),
        ("name: !!int 3\n", "a tag"),
        ("name: [\n", "YAML that cannot be read"),
        ("\tname: x\n", "indent with spaces, not tabs"),
        ('name: "\\e[31mred"\n', "a control character"),
        ('name: "MI\\r"\n', "in single quotes"),
        ('name: "\\u202Eabc"\n', "a control character"),
        ("[" * 100, "more than 40 levels"),
        ("", "an empty file"),
        ("# only a comment\n", "an empty file"),
        ("name: x\n---\nname: y\n", "a second document"),
        ("{[1]: 2, name: x}\n", "a list or mapping as a key"),
    ],
)
def test_form_that_is_refused(text: str, said: str) -> None:
    assert said in "\n".join(problems(text))


def test_problems_of_form_and_of_type_are_told_together() -> None:
    told = problems("name: x\nname: y\non: maybe\n")
    assert len(told) == 2


def test_yaml_1_1_surprises_are_gone() -> None:
    class Plain(msgspec.Struct):
        values: list[str]

    text = "values: [no, on, 1:30, 017, 00123, 1e3, 12_000, 2026-11-25, 1.10, 0x1F]"
    made, _ = files.parse(text, Plain, "x")
    assert made.values == ["no", "on", "1:30", "017", "00123", "1e3", "12_000", "2026-11-25", "1.10", "0x1F"]


def test_a_bomb_of_aliases_is_refused_at_once() -> None:
    lines = ["a0: &a0 [x,x,x,x,x,x,x,x,x]"]
    lines += [f"a{i}: &a{i} [{','.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 30)]
    assert problems("\n".join(lines))


def test_unreadable_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="no readable file"):
        files.load(tmp_path / "gone.yaml", Job)
    bad = tmp_path / "latin.yaml"
    bad.write_bytes(b"name: x\npart: caf\xe9\n")
    with pytest.raises(BadFile, match=r"latin.yaml:2:10: found byte 0xe9, expected UTF-8 text"):
        files.load(bad, Job)
    huge = tmp_path / "huge.yaml"
    huge.write_bytes(b"#" * (files.LARGEST + 1))
    with pytest.raises(BadFile, match="at most"):
        files.load(huge, Job)


def test_values_survive_the_way_through_json() -> None:
    job = Job("x", [Measure(Resistance(0.1 + 0.2), at=Amount(-48.0, "V"))], Temperature(-3.25))
    raw = msgspec.json.encode(job, enc_hook=files.exact)
    assert msgspec.json.decode(raw, type=Job, dec_hook=files.from_text) == job


def test_schema_accepts_what_the_reader_accepts() -> None:
    import jsonschema

    schema = files.json_schema(Job, "job")
    validator = jsonschema.Draft202012Validator(schema)
    good: dict[str, Any] = {"name": 12, "steps": [{"step": "measure", "limit": "2 ohm"}], "ambient": "18 degC"}
    assert not list(validator.iter_errors(good))
    assert list(validator.iter_errors({**good, "ambeint": "18 degC"}))
    assert list(validator.iter_errors({"steps": [{"step": "cauton"}]}))


@given(text=st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        job, _ = files.parse(text, Job, "x")
    except BadFile as error:
        assert error.problems
    else:
        assert isinstance(job, Job)


@given(
    st.recursive(
        st.text(max_size=5) | st.integers() | st.none() | st.booleans(),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(Job.__struct_fields__), inner),
        max_leaves=12,
    )
)
def test_any_tree_is_read_or_refused(tree: object) -> None:
    import yaml

    text = yaml.safe_dump(tree)
    try:
        files.parse(text, Job, "x")
    except BadFile as error:
        assert all(problem.found and problem.expected for problem in error.problems)


def test_near_misses() -> None:
    assert files.near("bay2", ["Bay 2", "bay3", "x"]) in ("did you mean 'bay3'?", "did you mean 'Bay 2'?")
    assert files.near("zzz", ["bay3"]) == ""


def test_nothing_is_nothing_and_a_quoted_nothing_is_a_text() -> None:
    job, _ = files.parse("name: ''\nambient:\npins: ~\n", Job, "job.yaml")
    assert job.name == ""
    assert job.ambient is None
    assert job.pins == 3
    assert problems("name:\n") == ["job.yaml:1:6: name: found nothing, expected a text"]
    assert problems("name: null\n") == ["job.yaml:1:7: name: found nothing, expected a text"]


@pytest.mark.parametrize(("found", "meant"), [("W1O1", "W101"), ("w1o1", "W101"), ("W51O", "W510"), ("J2O5", "J205")])
def test_a_name_that_only_looks_alike_is_the_one_that_is_meant(found: str, meant: str) -> None:
    known = ["W511", "W510", "W121", "W101", "W110", "J523", "J250", "J205"]
    assert files.near(found, known) == f"did you mean '{meant}'?"


def calls_for(unknown: int) -> int:
    """Calls of functions that it takes to tell of so many fields that nobody knows."""
    text = "part: 1\n" + "".join(f"feild{n}: 1\n" for n in range(unknown))
    counted = 0

    def count(frame: object, event: str, told: object) -> None:
        nonlocal counted
        counted += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        files.parse(text, Job, "job.yaml")
    except BadFile as error:
        str(error)
        told = len(error.problems)
    finally:
        sys.setprofile(None)
    assert told >= unknown
    return counted


def test_twice_as_many_unknown_fields_take_twice_the_work() -> None:
    """Four thousand of them took 13.7 s, of which most was work in proportion to their square."""
    calls_for(1)  # what is made once is made by now
    assert calls_for(400) < 2.3 * calls_for(200)
