"""One suite over every profile that a person reads: each range is shown, typed and judged, and each word."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench import assemble
from bench.files import BadFile
from bench.instruments.bench_file import load_bench, parse_bench
from bench.instruments.profile.library import Library, load_profile
from bench.judge.judge_error import JudgeError
from bench.judge.reading import reading_budget
from bench.roles import UNIT_OF, function_name
from bench.walk.by_eye import display_of, doubt, range_of, read_from
from bench.walk.facts import BenchFacts

LIBRARY = Library.for_job()
BY_EYE = [name for name in LIBRARY.names() if LIBRARY.profile(name).by_eye]
FUNCTIONS = [(name, one.name) for name in BY_EYE for one in LIBRARY.profile(name).functions]


def bench_of(name: str) -> BenchFacts:
    text = f"bench: by hand\ninstruments:\n  - {{name: it, profile: {name}, port: typed}}\n"
    return assemble.bench_facts(parse_bench(text, "bench.yaml", LIBRARY))


def test_every_kind_of_instrument_is_there() -> None:
    """A meter, an insulation tester, a clamp, an indicator, a beeper, a thermometer, a low-ohm meter, a supply."""
    reads = {one.reads for name in BY_EYE for one in LIBRARY.profile(name).functions}
    asked = {"resistance", "insulation", "voltage", "ac-voltage", "current", "ac-current", "temperature"}
    assert reads == asked < set(UNIT_OF)
    assert len(BY_EYE) == 8
    assert {one.wires for name in BY_EYE for one in LIBRARY.profile(name).functions} == {2, 4}


@pytest.mark.parametrize("name", BY_EYE)
def test_it_says_that_its_figures_are_pessimistic(name: str) -> None:
    source = LIBRARY.profile(name).accuracy_source
    assert "no leaflet" in source or "from memory" in source, "where the figures come from"


@pytest.mark.parametrize(("name", "function"), FUNCTIONS)
def test_what_it_shows_is_typed_and_has_an_accuracy(name: str, function: str) -> None:
    facts = bench_of(name).instruments[0]
    assert facts.by_eye and facts.table is not None
    one = LIBRARY.profile(name).function(function)
    shown_by = facts.displays[function_name(one.reads, one.wires)]
    words = [part for part in shown_by if part.word]
    if words:
        assert any(part.beyond for part in words) and not all(part.beyond for part in words)
        for part in words:
            read = read_from(part.word.upper(), shown_by)
            assert read is not None and read.display == part
        assert read_from("12.3", shown_by) is None, "it has no figures"
        return
    assert all(part.resolution is None for part in shown_by) or all(part.resolution for part in shown_by)
    for part, row in zip(one.ranges, [row for row in facts.table.rows if row.function == function], strict=True):
        value = 0.7 * part.top
        text = display_of(value, [_known(held, whole) for held, whole in zip(shown_by, one.ranges, strict=True)])
        read = read_from(text, shown_by)
        assert read is not None and read.value is not None and not doubt(read, shown_by)
        assert read.value == pytest.approx(value, rel=0.01)
        held = range_of(read, shown_by)
        assert held is not None and held.range == pytest.approx(part.range.value)
        try:
            budget = reading_budget(read.value, facts.table.pick(function, read.value, range_top=held.range))
        except JudgeError as error:
            raise AssertionError(f"{row.name}: {error}") from error
        assert budget.expanded_uncertainty > 0


def _known(held: object, whole: object) -> object:
    import msgspec

    return msgspec.structs.replace(held, resolution=whole.resolution.value)  # type: ignore[attr-defined, type-var]


def test_a_wire_cannot_be_put_to_it(tmp_path: Path) -> None:
    path = tmp_path / "bench.yaml"
    path.write_text("bench: b\ninstruments:\n  - {name: m, profile: hand-held-meter, port: /dev/ttyUSB0}\n", "utf-8")
    with pytest.raises(BadFile, match="which a person reads"):
        load_bench(path)


OUTPUT = """
profile: x
title: x
dialogue: {kind: by-eye}
functions:
  - {name: v, reads: voltage, says: [{word: live, at-least: 50 V}], energises: true, repeatable: false, end: [X]}
safe: {send: [A], checks: [{ask: B, reply: 'c'}]}
"""


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (OUTPUT, "by eye"),
        (
            "profile: x\ntitle: x\ndialogue: {kind: by-eye}\nfunctions:\n  - {name: v, reads: voltage}\n",
            "what it shows",
        ),
        (
            "profile: x\ntitle: x\ndialogue: {kind: poll, ask: D, reply: '(?P<value>\\d)'}\n"
            "functions:\n  - {name: v, reads: voltage, says: [{word: live, at-least: 50 V}]}\n",
            "'says'",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "x.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(BadFile, match=why):
        load_profile(path)


def test_the_form_in_the_docs_is_a_profile_that_can_be_used(tmp_path: Path) -> None:
    """``docs/leaflet-form.yaml``, as it stands, with the numbers that its text explains."""
    form = (Path(__file__).parents[2] / "docs" / "leaflet-form.yaml").read_text("utf-8")
    path = tmp_path / "my-meter.yaml"
    path.write_text(form, "utf-8")
    profile = load_profile(path)
    assert profile.by_eye and {one.reads for one in profile.functions} >= {"resistance", "voltage", "current"}
