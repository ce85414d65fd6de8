from __future__ import annotations

import json

import jsonschema
import msgspec
import pytest

from bench.files import BadFile, from_text
from bench.instruments.bench_file import Day, bench_schema, load_bench, parse_bench
from bench.instruments.values import Identity
from bench.walk.facts import BenchFacts
from tests.instruments.server import LIBRARY

BENCH = """
bench: hall
title: The bench in the hall
instruments:
  - name: meter
    profile: scpi-bench-meter
    port: /dev/serial/by-id/usb-meter
    line: {baud: 115200, timeout: 3 s}
    serial: '0001'
    calibrated: 2026-03-02
    due: 2027-03-02
    leads: {resistance: 0.2 ohm, within: 0.05 ohm, emf: 5 uV}
roles: {ohms: meter}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}
"""


@pytest.fixture
def write(tmp_path):
    def make(text: str):
        path = tmp_path / "bench.yaml"
        path.write_text(text)
        return path

    return make


def problems(path) -> list[str]:
    with pytest.raises(BadFile) as caught:
        load_bench(path, LIBRARY)
    return [str(problem) for problem in caught.value.problems]


def test_a_bench(write):
    bench = load_bench(write(BENCH), LIBRARY)
    assert not bench.simulated
    # volts and amps need not be listed: one instrument alone can fill them
    assert bench.role_of == {"ohms": "meter", "volts": "meter", "amps": "meter"}
    line = bench.line("meter")
    assert (line.baud, line.timeout.value, line.bits) == (115200, 3.0, 8)
    assert bench.file.instruments[0].leads.bounds == (pytest.approx(0.15), pytest.approx(0.25))


def test_what_a_record_keeps_is_plain_and_is_read_by_the_walk(write):
    bench = load_bench(write(BENCH), LIBRARY)
    plain = bench.describe({"meter": Identity("a,b,0001,1", "a", "b", "0001", "1")})
    assert json.loads(json.dumps(plain)) == plain
    facts = msgspec.convert(plain, BenchFacts, dec_hook=from_text)
    meter = facts.for_role("ohms")
    assert meter is not None
    assert meter.profile == "scpi-bench-meter"
    assert meter.calibrated == "2026-03-02"
    assert meter.leads_ohm == (pytest.approx(0.15), pytest.approx(0.25))
    assert meter.emf_volt == pytest.approx(5e-6)
    assert not meter.outputs
    assert len(meter.rows) == 56
    assert meter.table is not None
    assert facts.references[0].ohms.value == 100.0
    assert facts.references[0].tolerance == 0.001
    assert plain["instruments"][0]["identity"]["serial"] == "0001"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("profile: scpi-bench-meter", "profile: scpi-bench-metre", "did you mean 'scpi-bench-meter'"),
        ("roles: {ohms: meter}", "roles: {ohm: meter}", "did you mean 'ohms'"),
        ("roles: {ohms: meter}", "roles: {ohms: metre}", "did you mean 'meter'"),
        ("roles: {ohms: meter}", "roles: {supply: meter}", "fills one of 'ohms', 'volts', 'amps' only"),
        ("baud: 115200", "baud: 115000", "nearest is 115200"),
        ("due: 2027-03-02", "due: 2026-03-01", "a day after 2026-03-02"),
        ("2026-03-02", "02.03.2026", "a day such as"),
        ("2026-03-02", "20260302", "a day such as"),
        ("tolerance: 0.1 %", "tolerance: 0 %", "above 0 %"),
        ("within: 0.05 ohm", "within: 0.5 ohm", "less than the resistance"),
        ("port: /dev/serial/by-id/usb-meter", "port: ''", "a port"),
        ("bench: hall", "bench: hall\nsimulate: {seed: 3}", "'simulate' on a bench of real ports"),
    ],
)
def test_each_problem_says_what_and_where(write, old, new, says):
    assert old in BENCH
    path = write(BENCH.replace(old, new))
    found = problems(path)
    assert any(says in problem for problem in found), found
    assert all(problem.startswith(f"{path}:") for problem in found)


def test_all_problems_of_a_bench_come_at_once(write):
    text = BENCH.replace("profile: scpi-bench-meter", "profile: nothing").replace("{ohms: meter}", "{ohms: other}")
    assert len(problems(write(text))) == 2


SECOND = """
  - name: second
    profile: scpi-bench-meter
    port: {port}
roles:"""


@pytest.mark.parametrize(
    ("port", "says"),
    [
        ("/dev/serial/by-id/usb-meter", "'meter' is on it already"),
        ("ASRL/dev/serial/by-id/usb-meter::INSTR", "'meter' is on it already"),
        ("simulated", "real or simulated as a whole"),
    ],
)
def test_two_instruments_on_one_port(write, port, says):
    found = problems(write(BENCH.replace("\nroles:", SECOND.format(port=port))))
    assert any(says in problem for problem in found), found


def test_a_name_twice(write):
    text = BENCH.replace("\nroles:", SECOND.format(port="/dev/other").replace("name: second", "name: meter"))
    assert any("each name once" in problem for problem in problems(write(text)))


def test_a_role_that_two_could_fill_is_left_open_unless_it_is_said(write):
    text = BENCH.replace("\nroles:", SECOND.format(port="/dev/other"))
    assert load_bench(write(text), LIBRARY).role_of == {"ohms": "meter"}


SIMULATED = """
bench: practice
instruments:
  - {name: meter, profile: scpi-bench-meter, port: simulated}
simulate:
  seed: 7
  faults:
    - {fault: open, conductor: W101.12}
  lead-resistance: 0.3 ohm
"""


def test_a_simulated_bench(write):
    bench = load_bench(write(SIMULATED), LIBRARY)
    assert bench.simulated
    assert bench.file.simulate is not None
    assert bench.file.simulate.seed == 7
    assert bench.file.simulate.faults[0].conductor == "W101.12"
    assert bench.describe()["simulated"] is True


def test_a_fault_that_there_is_not(write):
    found = problems(write(SIMULATED.replace("fault: open", "fault: opne")))
    assert any("did you mean 'open'" in problem for problem in found)


def test_a_profile_that_cannot_be_used_brings_its_problems(write, tmp_path):
    (tmp_path / "drivers").mkdir()
    (tmp_path / "drivers" / "broken.yaml").write_text("profile: broken\n")
    with pytest.raises(BadFile) as caught:
        load_bench(write(BENCH.replace("profile: scpi-bench-meter", "profile: broken")))
    texts = [str(problem) for problem in caught.value.problems]
    assert any("which cannot be used" in text for text in texts)
    assert any("no field 'title'" in text for text in texts)


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(bench_schema())


def test_days_are_read_back():
    assert Day.parse("2026-03-02").exact() == "2026-03-02"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("serial: '0001'", "serial: '0000'", "a number of its own"),
        ("profile: scpi-bench-meter", "profile: polled-text-meter", "does not ask for one"),
    ],
)
def test_a_serial_number_that_nothing_can_be_held_against_is_refused(write, old, new, says):
    with pytest.raises(BadFile, match=says):
        load_bench(write(BENCH.replace(old, new)), LIBRARY)


def _supply_bench(more: str) -> str:
    return f"""
bench: hall
instruments:
  - {{name: supply, profile: scpi-supply, port: /dev/ttyUSB7{more}}}
"""


def test_an_output_that_nothing_tells_from_others_is_shown_to_a_person_before_it_is_used():
    from bench.assemble import instrument_ports

    def asks(more: str) -> bool:
        bench = parse_bench(_supply_bench(more), "bench.yaml", LIBRARY)
        return instrument_ports(bench, ["supply"], {})[0].confirm

    assert asks("")
    assert not asks(", serial: '0042'")
    assert not asks(", identity: 'Gannet Head,bench supply,0001,1.0'")
    assert asks(", identity: 'Gannet Head,bench supply,0,1.0'"), "any other one of its kind answers so"


def test_a_name_that_its_kind_cannot_answer_is_refused():
    with pytest.raises(BadFile) as caught:
        parse_bench(_supply_bench(", identity: a supply"), "bench.yaml", LIBRARY)
    assert "which no instrument of the profile 'scpi-supply' answers" in str(caught.value)
