"""Readings that a person types: what the digits say, what is asked again, how much of what is mistyped is caught."""

from __future__ import annotations

import shutil
from pathlib import Path

import msgspec
import pytest

from bench import assemble
from bench.walk import events as e
from bench.walk.by_eye import FLAG, read_display
from bench.walk.state import Phase, Refused, State
from tests.walk.mistyped import BENCH, TypedWalk, drawn
from tests.walks.tool import JOB

SEQUENCE = """
sequence: one wire by hand
plant: plant.yaml
steps:
  - step: measure
    title: Wire 1
    read: resistance
    between: [J101.1, J205.1]
    limit: {at-most: 10 ohm, source: by hand}
  - step: measure
    title: Wire 1 from its neighbour
    read: resistance
    between: [J101.1, J101.2]
    limit: {at-least: 100 kohm, source: by hand}
"""


@pytest.fixture(scope="module")
def began(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    folder = tmp_path_factory.mktemp("job")
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins")
    (folder / "sequence.yaml").write_text(SEQUENCE, "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


def verdict(state: State, index: int = 0) -> str:
    outcome = state.kept.latest.get(index)
    return outcome.verdict if outcome is not None else ""


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    [
        ("0.4", 0.4, 0.1),
        ("4,72 k", 4720.0, 10.0),
        ("4.72k", 4720.0, 10.0),
        ("-53.4", -53.4, 0.1),
        ("120 m", 0.12, 0.001),
        ("12.50 M", 12.5e6, 1e4),
        ("3 u", 3e-6, 1e-6),
        ("007.0", 7.0, 0.1),
    ],
)
def test_the_digits_typed_fix_value_and_resolution(text: str, value: float, resolution: float) -> None:
    shown = read_display(text)
    assert shown is not None and shown.value == pytest.approx(value) and shown.resolution == pytest.approx(resolution)


@pytest.mark.parametrize("text", ["", "abc", "1.2.3", "1 000", "4.", "--3", "nan", "inf", "1e5", "12 x", "OLD", "٣.٤"])
def test_what_is_no_figure_is_refused_and_the_walk_stays(began: e.Began, text: str) -> None:
    walk = TypedWalk(began)
    with pytest.raises(Refused, match="what the meter shows"):
        walk.type(text)
    assert walk.state.phase is Phase.PLACING


def test_a_reading_counts_with_its_range_and_last_digit(began: e.Began) -> None:
    walk = TypedWalk(began)
    state = walk.type("1.7")
    assert verdict(state) == "pass"
    reading = state.kept.latest[0].reading
    assert reading is not None and (reading.range, reading.resolution) == (400.0, 0.1)
    assert reading.flags == [FLAG] and reading.raw == ["1.7"]


def test_an_odd_last_digit_is_asked_again_once_and_the_correction_is_kept(began: e.Began) -> None:
    walk = TypedWalk(began)
    state = walk.type("1.72")
    assert verdict(state) == "" and "type every digit" in state.pending.doubt
    state = walk.type("1.7")
    reading = state.kept.latest[0].reading
    assert verdict(state) == "pass" and reading is not None and reading.raw == ["1.72", "1.7"]
    # whoever insists is believed, with the display's own step and no finer one
    walk = TypedWalk(began)
    walk.type("1.72")
    reading = walk.type("1,72").kept.latest[0].reading
    assert reading is not None and reading.value == pytest.approx(1.72) and reading.resolution == 0.1


def test_more_than_the_meter_can_show_never_counts(began: e.Began) -> None:
    walk = TypedWalk(began)
    for _ in range(3):
        state = walk.type("4000 M")
        assert verdict(state) == "" and "more than this meter can show" in state.pending.doubt


def test_a_failure_is_typed_twice(began: e.Began) -> None:
    walk = TypedWalk(began)
    state = walk.type("47.1")
    assert verdict(state) == "" and "would fail" in state.pending.doubt
    assert verdict(walk.type("47.1")) == "fail"
    walk = TypedWalk(began)
    walk.type("47.1")
    assert verdict(walk.type("1.7")) == "pass", "the second look found a better contact"


def test_a_display_that_does_not_stand_still_is_asked_twice_and_not_for_ever(began: e.Began) -> None:
    walk = TypedWalk(began)
    assert "look at the probes" in walk.type("47.1").pending.doubt
    state = walk.type("112.6")
    assert verdict(state) == "" and "stand still" in state.pending.doubt
    state = walk.type("61.9")
    reading = state.kept.latest[0].reading
    assert verdict(state) == "fail" and reading is not None and reading.raw == ["47.1", "112.6", "61.9"]


def test_a_last_digit_that_moves_is_the_same_figure_still(began: e.Began) -> None:
    walk = TypedWalk(began)
    walk.type("47.1")
    assert verdict(walk.type("47.2")) == "fail"
    # a figure that would pass is not believed for the one before, and begins the second look anew
    walk = TypedWalk(began)
    walk.type("1.72")
    assert "look at the probes" in walk.type("47.1").pending.doubt


def test_a_record_of_before_asked_until_the_same_was_typed_twice(began: e.Began) -> None:
    walk = TypedWalk(msgspec.structs.replace(began, edition=7))
    for text in ("47.1", "112.6", "61.9", "61.8"):
        state = walk.type(text)
        assert verdict(state) == "" and "look at the probes" in state.pending.doubt
    assert verdict(walk.type("61.8")) == "fail"


def test_over_range_says_only_what_the_prefix_tells(began: e.Began) -> None:
    walk = TypedWalk(began)
    walk.type("1.7")
    state = walk.type("OL")
    assert verdict(state, 1) == "" and "OL of which range" in state.pending.doubt
    assert verdict(walk.type("OL"), 1) == "undecided", "beyond 400 ohm is not beyond 100 kohm"
    walk = TypedWalk(began)
    walk.type("1.7")
    state = walk.type("OL M")
    assert verdict(state, 1) == "pass"
    reading = state.kept.latest[1].reading
    assert reading is not None and reading.bound == 4e6


@pytest.mark.parametrize(
    ("text", "bound", "said"), [("OL 4 M", 4e6, "pass"), ("OL 40 k", 4e4, "undecided"), ("OL 9,9 M", 4e6, "pass")]
)
def test_over_range_with_its_range_says_what_that_range_tells(
    began: e.Began, text: str, bound: float, said: str
) -> None:
    walk = TypedWalk(began)
    walk.type("1.7")
    walk.type("OL")
    state = walk.type(text)
    reading = state.kept.latest[1].reading
    assert reading is not None and (verdict(state, 1), reading.bound) == (said, bound)
    assert reading.raw == ["OL", text]


def test_a_range_that_the_meter_has_not_never_counts(began: e.Began) -> None:
    walk = TypedWalk(began)
    walk.type("1.7")
    for _ in range(3):
        state = walk.type("OL 2")
        assert verdict(state, 1) == "" and "no range as low" in state.pending.doubt


def test_where_an_ol_decides_nobody_is_asked_of_its_range(began: e.Began) -> None:
    """A wire that is open fails on any range; it is looked at twice as every failure is."""
    walk = TypedWalk(began)
    assert "would fail" in walk.type("OL").pending.doubt
    assert verdict(walk.type("OL")) == "fail"


def test_a_record_of_before_folds_as_it_was_walked(began: e.Began) -> None:
    walk = TypedWalk(msgspec.structs.replace(began, edition=3))
    walk.type("1.7")
    assert verdict(walk.type("OL"), 1) == "undecided"


def test_the_record_folds_to_the_same(began: e.Began) -> None:
    walk = TypedWalk(began)
    walk.type("1.72")
    walk.type("1.7")
    facts = msgspec.json.decode(msgspec.json.encode(walk.state.kept.latest[0].reading), type=e.Read)
    assert facts == walk.state.kept.latest[0].reading


@pytest.fixture(scope="module")
def after_another(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    """A walk in which something else was read before the wire."""
    folder = tmp_path_factory.mktemp("job")
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins")
    first = """steps:
  - step: measure
    title: Something before
    read: resistance
    between: [J101.3, J205.3]
    limit: {at-most: 40 Mohm, source: by hand}
"""
    (folder / "sequence.yaml").write_text(SEQUENCE.replace("steps:\n", first), "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


@pytest.mark.slow
def test_most_slips_are_asked_about_and_none_passes_that_a_range_contradicts(tmp_path: Path) -> None:
    """A sample of ``tests/benchmarks/bench_mistyped.py``."""
    found = drawn(tmp_path, 240)
    assert not found.told
    assert found.asked.total() > 0.9 * found.tried.total() and found.needless < 0.05 * found.right


def test_a_lost_point_is_told_by_the_prefix_of_the_range_that_reaches_so_far(began: e.Began) -> None:
    """11.61 k fails; 1161 k would pass, and the meter shows 1.161 M for it."""
    walk = TypedWalk(began)
    walk.type("1.7")
    state = walk.type("1161 k")
    assert verdict(state, 1) == "" and "1.161 M" in state.pending.doubt
    walk.type("11.61 k")
    assert verdict(walk.type("11.61 k"), 1) == "fail"
    # a record of before counted it at once, and so it folds
    walk = TypedWalk(msgspec.structs.replace(began, edition=4))
    walk.type("1.7")
    assert verdict(walk.type("1161 k"), 1) == "pass"


def test_a_display_with_a_prefix_of_its_own_is_believed(began: e.Began) -> None:
    """Some dials say 4000 k where others say 4 M: the profile says so, and nobody is asked."""
    meter = began.bench.instruments[0]
    function = "resistance 2w"
    shown = [msgspec.structs.replace(one, prefix="k" if one.range == 4e6 else None) for one in meter.displays[function]]
    meter = msgspec.structs.replace(meter, displays={**meter.displays, function: shown})
    own = msgspec.structs.replace(began, bench=msgspec.structs.replace(began.bench, instruments=[meter]))
    walk = TypedWalk(own)
    walk.type("1.7")
    assert verdict(walk.type("1161 k"), 1) == "pass"
    walk = TypedWalk(own)
    walk.type("1.7")
    assert "1161 k" in walk.type("1.161 M").pending.doubt


def test_the_reading_before_once_more_is_asked_about_where_digits_can_tell(after_another: e.Began) -> None:
    walk = TypedWalk(after_another)
    walk.type("4.71")
    walk.type("4.71")
    assert verdict(walk.state) == "pass", "whoever insists on the first is believed"
    state = walk.type("4.71")
    assert verdict(state, 1) == "" and state.pending.doubt
    # two wires of a cable often read the same to two digits
    walk = TypedWalk(after_another)
    walk.type("1.7")
    assert verdict(walk.type("1.7"), 1) == "pass"


def test_a_bench_that_cannot_be_typed_is_refused(tmp_path: Path) -> None:
    from bench.files import BadFile
    from bench.instruments.bench_file import load_bench

    path = tmp_path / "bench.yaml"
    path.write_text("bench: b\ninstruments:\n  - {name: s, profile: scpi-supply, port: typed}\n", "utf-8")
    with pytest.raises(BadFile, match="made safe"):
        load_bench(path)


def test_typed_and_ported_instruments_are_on_one_bench(tmp_path: Path) -> None:
    from bench.instruments.bench_file import load_bench

    path = tmp_path / "bench.yaml"
    path.write_text(
        "bench: b\ninstruments:\n"
        "  - {name: a, profile: polled-text-meter, port: typed}\n"
        "  - {name: b, profile: polled-text-meter, port: typed}\n"
        "  - {name: c, profile: scpi-bench-meter, port: /dev/ttyUSB0}\n"
        "roles: {ohms: a, amps: b, volts: c}\n",
        "utf-8",
    )
    facts = assemble.bench_facts(load_bench(path))
    assert [one.by_eye for one in facts.instruments] == [True, True, False]
    assert facts.instruments[2].displays == {}
