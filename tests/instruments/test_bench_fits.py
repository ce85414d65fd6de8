"""What check accepts a run walks: whether a bench fits a sequence is said before the walk, by one rule for both."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.assemble import load_job
from bench.files import BadFile
from bench.instruments.bench_file import parse_bench
from bench.instruments.profile.library import Library
from tests.walks.tool import proveout

HUT = Path("tests/jobs/beacon-hut").resolve()
METER = "{name: meter, profile: scpi-bench-meter, port: simulated}"
SUPPLY = "{name: supply, profile: scpi-supply, port: simulated}"
CLAMP = "{name: clamp, profile: scpi-clamp-meter, port: simulated}"
LOW = "{name: low, profile: scpi-low-ohm-meter, port: simulated}"
LIMIT = "limit: {at-most: 20 A, source: invented}"


def wrong(tmp_path: Path, steps: str, instruments: list[str], roles: str = "{}") -> str:
    """What is said of a bench for these steps; empty where it fits. Check and run say the same."""
    sequence, bench = tmp_path / "steps.yaml", tmp_path / "bench.yaml"
    sequence.write_text(f"sequence: some\nplant: {HUT / 'plant.yaml'}\nsteps:\n{steps}", "utf-8")
    bench.write_text(
        f"bench: some\ninstruments: [{', '.join(instruments)}]\nroles: {roles}\n"
        "references: [{name: r, value: 100 ohm, tolerance: 1 %}]\nsimulate: {seed: 1}\n",
        "utf-8",
    )
    try:
        load_job(sequence, bench)
    except BadFile as error:
        return str(error)
    return ""


def read(what: str, more: str = "") -> str:
    return f"  - {{step: measure, read: {what}, between: [k1.line, k1.load], {LIMIT}{more}}}\n"


def test_a_supply_is_no_ammeter_of_one_breaker(tmp_path: Path) -> None:
    """It reads the whole of what it gives; so neither by itself nor where somebody writes so."""
    assert "no instrument that fills the role 'amps'" in wrong(tmp_path, read("current"), [SUPPLY])
    said = wrong(tmp_path, read("current"), [SUPPLY, METER], "{amps: supply}")
    assert "found supply, a supply, to read current" in said and "a meter whose leads go to the places" in said
    assert not wrong(tmp_path, read("current"), [SUPPLY, METER]), "with one meter nothing need be said"


def test_a_clamp_is_wanted_where_nothing_may_be_opened(tmp_path: Path) -> None:
    clamped = read("current", ", clamp: true")
    assert "no instrument that fills the role 'clamp'" in wrong(tmp_path, clamped, [METER])
    assert not wrong(tmp_path, clamped, [METER, CLAMP], "{amps: meter}")
    by_eye = "{name: clamp, profile: hand-held-clamp, port: typed}"
    assert "clamp" in parse_bench(f"bench: b\ninstruments: [{by_eye}]\n", "b", Library.for_job(tmp_path)).role_of


def test_where_two_could_fill_a_role_it_says_which_they_are(tmp_path: Path) -> None:
    other = METER.replace("name: meter", "name: other")
    said = wrong(tmp_path, read("voltage").replace("20 A", "20 V"), [METER, other])
    assert "nothing that says which of meter, other fills the role 'volts'" in said
    assert "'volts: meter' below 'roles'" in said


@pytest.mark.parametrize(
    "step",
    ["{step: zero}", "{step: prove, against: reference}", "{step: seek, find: crosses, of: C1}"],
)
def test_two_wires_on_a_meter_with_four_are_refused_beforehand(tmp_path: Path, step: str) -> None:
    said = wrong(tmp_path, f"  - {step}\n", [LOW])
    assert "low, which does not read resistance with 2 wires" in said and "'wires: 4' in the step" in said


def test_check_and_run_say_the_same(tmp_path: Path) -> None:
    assert wrong(tmp_path, "  - {step: zero}\n", [LOW])
    words = ("steps.yaml", "--bench", "bench.yaml")
    checked, ran = proveout("check", *words, cwd=tmp_path), proveout("run", *words, cwd=tmp_path)
    assert checked.returncode == ran.returncode == 2
    assert "does not read resistance with 2 wires" in checked.stderr
    assert checked.stderr == ran.stderr
