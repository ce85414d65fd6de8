"""Every kind of sequence of Gannet Head, walked whole with nothing but instruments that a person reads."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from bench.plant.faults import Open, Short
from bench.plant.load import load_plant
from bench.sequence.draft import draft
from bench.walk.by_eye import FLAG
from bench.walk.results import outcomes, results
from bench.walk.state import Phase, State
from tests.instruments.server import LIBRARY
from tests.walk.by_hand_hall import JOB, began, walked

slow = pytest.mark.slow


def read_by_eye(state: State) -> int:
    """How many readings the walk has; all of them were typed."""
    readings = [one.reading for one in outcomes(state) if one.reading is not None]
    assert readings and all(FLAG in one.flags for one in readings)
    return len(readings)


def verdicts(state: State) -> Counter[str]:
    return Counter(one.verdict for one in results(state).values())


@pytest.mark.parametrize(
    ("sequence", "amps"),
    [
        ("polarity-bay-2.yaml", "hand-held"),
        ("earth-live.yaml", "clamp"),
        pytest.param("idle-current-bay-2.yaml", "hand-held", marks=slow),
    ],
)
def test_a_shipped_one_comes_to_its_end(tmp_path: Path, sequence: str, amps: str) -> None:
    state = walked(began(tmp_path, Path(sequence), amps=amps))
    assert state.phase is Phase.DONE and read_by_eye(state) > 10
    assert not verdicts(state)["fail"], "the plant is sound"


@slow
def test_the_insulation_of_a_cable_comes_to_its_end_and_a_leak_is_found(tmp_path: Path) -> None:
    state = walked(began(tmp_path, Path("insulation-W101.yaml")))
    assert state.phase is Phase.DONE and read_by_eye(state) > 10
    assert not verdicts(state)["fail"]


@slow
@pytest.mark.parametrize("kind", ["crosses", "isolation"])
def test_a_search_among_nets_comes_to_its_end_and_finds_a_short(tmp_path: Path, kind: str) -> None:
    text = draft(load_plant(JOB / "plant.yaml"), kind, "W101", "plant.yaml", "sequence.json")
    first = began(tmp_path, text)
    assert not verdicts(walked(first))["fail"]
    short = Short(between=("J101.1", "J101.7"))
    state = walked(first, [short])
    assert state.phase is Phase.DONE
    found = next(one.found for one in results(state).values() if one.found is not None)
    assert found.verdict == "fail" and {"J101.1", "J101.7"} <= set(str(found.facts).replace("'", " ").split())


@slow
def test_the_earth_where_the_meter_can(tmp_path: Path) -> None:
    state = walked(began(tmp_path, Path("earth.yaml"), ohms="low-ohm"))
    assert state.phase is Phase.DONE and read_by_eye(state) > 10
    assert not verdicts(state)["fail"]


def test_an_open_wire_is_found_by_a_beeper(tmp_path: Path) -> None:
    """It tells no resistance: what beeps stays undecided and is said so, what is silent fails."""
    sequence = """
sequence: two wires with a beeper
plant: plant.yaml
steps:
  - step: each
    over: conductors
    of: W101
    only: [W101.1, W101.12]
    steps:
      - step: measure
        read: resistance
        between: ["{conductor.near}", "{conductor.far}"]
        limit: {computed: conductor}
"""
    bench = """
bench: a beeper
instruments:
  - {name: beeper, profile: continuity-beeper, port: typed}
"""
    state = walked(began(tmp_path, sequence, bench), [Open(conductor="W101.12")])
    found = {one.subject: one for one in results(state).values()}
    assert found["W101.12"].verdict == "fail" and found["W101.12"].connected == "no"
    assert found["W101.1"].verdict == "undecided" and found["W101.1"].connected == "undecided"


def test_an_indicator_says_dead_and_live_and_is_proven_before(tmp_path: Path) -> None:
    sequence = """
sequence: dead with an indicator
plant: plant.yaml
steps:
  - {step: prove, against: live-source, read: voltage, text: On the proving unit.}
  - step: measure
    read: voltage
    between: [GA.feed, GA.return]
    limit: {at-least: -25 V, at-most: 25 V, source: set by hand for this indicator}
"""
    bench = """
bench: an indicator
instruments:
  - {name: indicator, profile: two-pole-indicator, port: typed}
"""
    state = walked(began(tmp_path, sequence, bench), live=60.0)
    assert [one.verdict for one in results(state).values()] == ["pass", "pass"]


@pytest.mark.parametrize("word", ["low", "live"])
def test_a_live_bar_of_48_volts_lights_a_lower_step_alone_and_is_not_dead(word: str, tmp_path: Path) -> None:
    """The lamp for dangerous voltage begins at 120 V direct (IEC 61243-3, as printed in makers' manuals)."""
    says = {one.word: one for one in LIBRARY.profile("two-pole-indicator").functions[0].says}
    low, dark, live = says["low"].at_least, says["dark"].at_most, says["live"].at_least
    assert low is not None and dark is not None and live is not None
    assert low.value <= dark.value and low.value < 24.0 < 48.0 < live.value, (
        "24 and 48 V show as low, and never as dark"
    )
    assert says[word].at_least.value > 1.0, "what is lit is never within a volt of nothing"
