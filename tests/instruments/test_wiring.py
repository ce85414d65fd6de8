"""A relay matrix that is wired to the plant: what its file may say, and which channels join which places."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.assemble import load_job
from bench.files import BadFile
from bench.instruments.bench_file import parse_bench
from bench.instruments.matrix_wiring import Routes, side_by_side
from tests.instruments.server import LIBRARY

JOB = Path(__file__).parents[2] / "sequences" / "gannet-head"
SHIPPED = JOB / "benches" / "simulated-matrix.yaml"
BENCH = """
bench: hall
instruments:
  - {{name: meter, profile: scpi-bench-meter, port: simulated}}
  - name: matrix
    profile: scpi-relay-matrix
    port: simulated
    wired:
      meter: {meter}
      red: '{red}'
      black: '2{{row}}'
      rows:
        {rows}
      together: {together}
"""


def text(*, meter: str = "meter", red: str = "1{row}", rows: str = "J1.1-3: 01-03", together: str = "[97, 98]") -> str:
    return BENCH.format(meter=meter, red=red, rows=rows, together=together)


def routes(**changes: str) -> Routes:
    found = parse_bench(text(**changes), "bench.yaml", LIBRARY).routes
    assert found is not None
    return found


def problems(written: str) -> list[str]:
    with pytest.raises(BadFile) as caught:
        parse_bench(written, "bench.yaml", LIBRARY)
    return [str(problem) for problem in caught.value.problems]


def test_ranges_run_side_by_side() -> None:
    assert list(side_by_side("J111.8-11", "098-101")) == [
        ("J111.8", "098"),
        ("J111.9", "099"),
        ("J111.10", "100"),
        ("J111.11", "101"),
    ]
    assert list(side_by_side("2A.A-return", "07")) == [("2A.A-return", "07")]


def test_two_places_are_joined_by_a_channel_on_each_bus() -> None:
    assert routes().closing(["J1.1"], ["J1.3"]) == ("101", "203")
    assert routes().pairs == {"together": ("197", "298")}


def test_groups_are_joined_on_the_buses() -> None:
    assert routes().closing(["J1.1", "J1.2"], ["J1.3"]) == ("101", "102", "203")


@pytest.mark.parametrize(
    ("red", "black"),
    [(["J1.1"], ["J2.1"]), (["J1.1"], ["J1.1"]), ([], ["J1.1"]), (["J1.1", "J1.2"], ["J1.2", "J1.3"])],
    ids=["not wired", "one place on both", "nothing on one side", "sides that overlap"],
)
def test_what_it_cannot_join_is_left_to_hands(red: list[str], black: list[str]) -> None:
    assert routes().closing(red, black) is None


def test_no_more_channels_than_the_profile_allows() -> None:
    many = routes(rows="J1.1-80: 01-80")
    assert many.closing([f"J1.{n}" for n in range(1, 60)], ["J1.60"]) is not None
    assert many.closing([f"J1.{n}" for n in range(1, 61)], ["J1.61"]) is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"meter": "metre"}, ["bench.yaml:9", "wired.meter", "did you mean 'meter'"]),
        ({"meter": "matrix"}, ["bench.yaml:9", "the instrument 'matrix'"]),
        ({"red": "1"}, ["bench.yaml:9", "{row}"]),
        ({"red": "2{row}"}, ["bench.yaml:9", "for both buses"]),
        ({"rows": "J1.1-3: 01-04"}, ["bench.yaml:13", "of 3 and 4"]),
        ({"rows": "J1.1-3: 01"}, ["bench.yaml:13", "as many rows as places"]),
        ({"rows": "J1.1: 01-03"}, ["bench.yaml:13", "as many places as rows"]),
        ({"rows": "J1.1: 1"}, ["bench.yaml:13", "the channel '11'", "did you mean row '01'"]),
        ({"rows": "{J1.1: 01, J1.2: 01}"}, ["bench.yaml:13", "the row '01' again", "'J1.1' is on it already"]),
        ({"rows": "{J1.1-3: 01-03, J1.2: 09}"}, ["bench.yaml:13", "the place 'J1.2' again"]),
        ({"together": "['03', '98']"}, ["bench.yaml:14", "the row '03' again"]),
        ({"together": "['98', '98']"}, ["bench.yaml:14", "the row '98' again"]),
    ],
)
def test_mistakes_name_their_line_and_the_near_miss(changes: dict[str, str], said: list[str]) -> None:
    found = problems(text(**changes))
    assert any(all(part in one for part in said) for one in found), found


def test_only_a_switch_is_wired_and_only_one() -> None:
    wired = "{meter: matrix, red: '1{row}', black: '2{row}', rows: {J1.1: '01'}}"
    at_the_meter = text().replace("port: simulated}", f"port: simulated, wired: {wired}}}", 1)
    found = problems(at_the_meter)
    assert any("whose profile switches no channels" in one for one in found), found
    assert any("a second matrix" in one for one in found), found


@pytest.mark.slow
def test_a_place_that_the_plant_lacks_is_named_with_the_near_miss(tmp_path: Path) -> None:
    bench = tmp_path / "bench.yaml"
    bench.write_text(SHIPPED.read_text("utf-8").replace("J208.1-37", "J280.1-37"), "utf-8")
    with pytest.raises(BadFile) as caught:
        load_job(JOB / "matrix-W111.yaml", bench)
    found = [str(problem) for problem in caught.value.problems]
    assert len(found) == 37
    assert "bench.yaml:26" in found[0] and "'J280.1'" in found[0] and "did you mean" in found[0]
