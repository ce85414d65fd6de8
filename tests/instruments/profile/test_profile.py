from __future__ import annotations

import jsonschema
import msgspec
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from bench.files import BadFile, exact, from_text, parse
from bench.instruments.profile import library
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.library import Library, check_decoder, load_decoder, load_profile, profile_schema
from bench.instruments.profile.profile import Profile
from bench.instruments.profile.template import fill, holes, plain_number
from bench.instruments.wire_text import Pattern, Unreadable, WireText, show
from tests.instruments.server import LIBRARY

SMALL = r"""
profile: small
title: a small meter
line: {baud: 4800, read-end: '\r\n'}
dialogue: {kind: query, read: 'VAL?', reply: '(?P<value>[+-]\d+\.\d)(?P<unit>[a-z]+)'}
functions:
  - name: ohms
    reads: resistance
    units: {ohm: ohm, kohm: kohm}
    lock: ['RANGE {range}']
    ranges:
      - {range: 100 ohm, resolution: 0.1 ohm, accuracy: [{of-reading: 0.5 %, counts: 2}]}
      - {range: 1 kohm, resolution: 1 ohm}
accuracy-source: test
"""


def problems(text: str) -> list[str]:
    with pytest.raises(BadFile) as caught:
        parse(text, Profile, "small.yaml")
    return [str(problem) for problem in caught.value.problems]


def test_a_small_profile():
    profile, _ = parse(SMALL, Profile, "small.yaml")
    assert profile.roles == ("ohms",)
    assert profile.line.read_end.data == b"\r\n"
    assert profile.line.character_time == pytest.approx(10 / 4800)
    assert profile.functions[0].range_for(99.0).range.value == 100.0
    assert profile.functions[0].range_for(5000.0) is None
    assert profile.functions_for("resistance", 2) == (profile.functions[0],)
    assert profile.functions_for("resistance", 4) == ()
    (row,) = accuracy_rows(profile)
    assert (row.function, row.percent_of_reading, row.counts, row.resolution) == ("ohms", 0.5, 2.0, 0.1)
    # 0.5 % of 50 ohm and two counts of 0.1 ohm
    assert row.error_at(50.0).half_width == pytest.approx(0.25 + 0.2)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("baud: 4800", "baud: 4900", "nearest is 4800"),
        ("baud: 4800", "baud: fast", "a whole number"),
        ("baud: 4800", "bauds: 4800", "did you mean 'baud'"),
        ("read: 'VAL?'", "read: ''", "the command that takes a reading"),
        ("(?P<value>", "(?P<valu>", "group 'value'"),
        ("(?P<value>", "(?P<value", "a regular expression"),
        ("reads: resistance", "reads: resistence", "did you mean 'resistance'"),
        ("kohm: kohm", "kohm: kV", "a unit of resistance"),
        ("range: 1 kohm", "range: 10 ohm", "smallest first"),
        ("range: 1 kohm, resolution: 1 ohm", "range: 1 kV", "a range in Ω"),
        ("RANGE {range}", "RANGE {rnage}", "one of range"),
        ("resolution: 0.1 ohm, ", "", "the size of one count"),
        ("of-reading: 0.5 %, counts: 2", "", "'of-reading', 'of-range' or 'counts'"),
        ("accuracy-source: test", "about: x", "where the figures come from"),
        ("kind: query", "kind: telepathy", "one of 'query'"),
        ("read-end: '\\r\\n'", "read-end: '\\q'", "bytes as ASCII text"),
    ],
)
def test_each_problem_says_what_and_where(old, new, says):
    assert old in SMALL
    found = problems(SMALL.replace(old, new))
    assert any(says in problem for problem in found), found
    assert all(problem.startswith("small.yaml:") for problem in found)


def test_all_problems_come_at_once():
    found = problems(SMALL.replace("baud: 4800", "baud: fast").replace("reads: resistance", "reads: weight"))
    assert len(found) == 2


def test_an_output_needs_a_safe_state():
    text = SMALL + (
        "outputs:\n  - {on: ['ON'], off: ['OFF'], is_on: x}\n"
        "  - {on: ['ON'], off: ['OFF'], is-on: {ask: 'O?', reply: '1'}, is-off: {ask: 'O?', reply: '0'}}\n"
    )
    found = problems(text)
    assert any("did you mean 'is-on'" in problem for problem in found)
    one = SMALL + (
        "outputs:\n  - {on: ['ON'], off: ['OFF'], is-on: {ask: 'O?', reply: '1'}, is-off: {ask: 'O?', reply: '0'}}\n"
    )
    assert any("'safe': how it is made safe" in problem for problem in problems(one))


def test_a_profile_survives_a_round_trip_through_json():
    for entry in LIBRARY.entries():
        data = msgspec.json.encode(entry.profile, enc_hook=exact)
        assert msgspec.json.decode(data, type=Profile, dec_hook=from_text) == entry.profile


@pytest.mark.slow
def test_the_schema_accepts_the_shipped_profiles_and_refuses_a_typing_error():
    schema = profile_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for entry in LIBRARY.entries():
        plain = yaml.safe_load(entry.path.read_text(encoding="utf-8"))
        assert list(validator.iter_errors(plain)) == []
        assert list(validator.iter_errors({**plain, "titel": "x"}))


# ---- bytes, patterns, templates ------------------------------------------------------------


@given(st.binary(max_size=40))
def test_wire_text_reads_back_what_it_shows(data):
    assert WireText.parse(show(data)).data == data
    assert WireText.parse(WireText(data).exact()) == WireText(data)


@pytest.mark.parametrize("text", ["\\q", "\\x4", "\\", "\\xzz", "Ω"])
def test_wire_text_refuses(text):
    with pytest.raises(Unreadable):
        WireText.parse(text)


def test_digits_of_other_scripts_are_no_digits():
    assert Pattern(r"(?P<value>\d+)").match("٣") is None
    assert Pattern(r"(?P<value>\d+)").match("3") == {"value": "3"}


def test_a_pattern_matches_from_end_to_end():
    assert Pattern(r"\d+").match("12\n") is None
    assert Pattern(r"\d+").match("x12") is None


def test_templates_are_filled_and_nothing_is_evaluated():
    assert holes("RANG {range};NPLC {nplc}") == {"range", "nplc"}
    assert fill("RANG {range}", {"range": "100"}) == "RANG 100"
    assert fill("{range.__class__} {0} {}", {}) == "{range.__class__} {0} {}"
    with pytest.raises(KeyError):
        fill("RANG {range}", {})


@pytest.mark.parametrize("value", ["1\nOUTP ON", "1;OUTP ON", "{other}", "1\x00", "é"])
def test_no_value_can_start_another_command(value):
    with pytest.raises(ValueError, match="no value may hold"):
        fill("RANG {range}", {"range": value})


@given(st.floats(1e-9, 1e12))
def test_plain_numbers_read_back(value):
    text = plain_number(value)
    assert float(text) == pytest.approx(value, rel=1e-8, abs=1e-9)
    assert "," not in text


# ---- the library ---------------------------------------------------------------------------


def test_the_jobs_own_profiles_come_first(tmp_path):
    drivers = tmp_path / "drivers"
    drivers.mkdir()
    (drivers / "scpi-bench-meter.yaml").write_text(SMALL.replace("profile: small", "profile: scpi-bench-meter"))
    library = Library.for_job(tmp_path)
    assert library.profile("scpi-bench-meter").title == "a small meter"
    assert Library.for_job(tmp_path / "other").profile("scpi-bench-meter").title != "a small meter"


def test_a_profile_is_taken_apart_once_however_many_ask_for_it_and_anew_when_its_text_is_another(tmp_path, monkeypatch):
    folder = tmp_path / "drivers"
    folder.mkdir()
    path = folder / "small.yaml"
    path.write_text(SMALL, "utf-8")
    taken_apart = []
    plain = library.parse
    monkeypatch.setattr(library, "parse", lambda text, *rest: taken_apart.append(1) or plain(text, *rest))
    first = [Library.for_job(tmp_path).profile("small") for _ in range(5)]
    assert len(taken_apart) == 1 and all(one == first[0] for one in first)
    path.write_text(SMALL.replace("title: ", "title: another "), "utf-8")
    assert Library.for_job(tmp_path).profile("small").title == f"another {first[0].title}"
    assert len(taken_apart) == 2


def test_a_profile_that_cannot_be_used_is_listed_with_its_reason(tmp_path):
    drivers = tmp_path / "drivers"
    drivers.mkdir()
    (drivers / "broken.yaml").write_text(SMALL.replace("baud: 4800", "baud: fast"))
    (drivers / "misnamed.yaml").write_text(SMALL)
    library = Library.for_job(tmp_path)
    by_name = {entry.name: entry for entry in library.entries()}
    assert "scpi-bench-meter" in by_name
    assert by_name["broken"].profile is None
    assert "a whole number" in str(by_name["broken"].problems[0])
    assert "'misnamed', the file's name" in str(by_name["misnamed"].problems[0])
    with pytest.raises(BadFile, match="a whole number"):
        library.profile("broken")
    with pytest.raises(BadFile, match="did you mean 'scpi-bench-meter'"):
        library.profile("scpi-bench-metre")


@pytest.mark.parametrize("name", ["../small", "a/b", ""])
def test_a_name_does_not_lead_out_of_the_folder(tmp_path, name):
    (tmp_path / "small.yaml").write_text(SMALL)
    (tmp_path / "drivers").mkdir()
    assert Library([tmp_path / "drivers"]).entry(name) is None


DECODER = """from bench.instruments.parts import BadFrame, Parts
import struct
def decode(data: bytes) -> Parts | None:
    return Parts(value=str(struct.unpack(">h", data[:2])[0]), used=2) if len(data) >= 2 else None
"""


def test_a_decoder_is_checked_and_loaded_by_its_path(tmp_path):
    path = tmp_path / "pair_frame.py"
    path.write_text(DECODER)
    assert load_decoder(path)(b"\x00\x07").value == "7"
    import sys

    assert not any("pair_frame" in name for name in sys.modules)


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("import numpy\n" + DECODER, "an import of numpy"),
        ("from bench.simulate import meter\n" + DECODER, "an import of bench.simulate"),
        (
            "from bench.instruments.ports.transport import open_port\n" + DECODER,
            "an import of bench.instruments.ports.transport",
        ),
        ("from . import other\n" + DECODER, "an import of ."),
        ("def f():\n    import serial\n" + DECODER, "an import of serial"),
        ("__import__('serial')\n" + DECODER, "a use of __import__"),
        ("open('/etc/passwd')\n" + DECODER, "a use of open"),
        ("def decode(data):\n    return\n)", "Python"),
        ("x = 1\n", "no function 'decode'"),
    ],
)
def test_a_decoder_that_reaches_out_is_never_run(tmp_path, code, says):
    path = tmp_path / "bad_frame.py"
    marker = tmp_path / "was-run"
    path.write_text(f"from pathlib import Path\nPath({str(marker)!r}).touch()\n{code}")
    with pytest.raises(BadFile, match=says.replace(".", r"\.")):
        load_decoder(path)
    assert not marker.exists()


def test_a_decoder_that_fails_when_loaded_says_so(tmp_path):
    path = tmp_path / "bad_frame.py"
    path.write_text("1 / 0\n" + DECODER)
    check_decoder(path)
    with pytest.raises(BadFile, match="ZeroDivisionError"):
        load_decoder(path)


def test_a_profile_whose_decoder_is_missing_cannot_be_used(tmp_path):
    path = tmp_path / "frames.yaml"
    path.write_text(
        "profile: frames\ntitle: frames\ndialogue: {kind: frames, decoder: none}\n"
        "functions: [{name: ohms, reads: resistance}]\n"
    )
    with pytest.raises(BadFile, match=r"no file none_frame\.py"):
        load_profile(path)


def test_no_pattern_can_take_for_ever_over_a_garbled_reply():
    """With an engine that backtracks this one takes 2**n steps for n characters: a reply of 35 froze the runner."""
    fields = Pattern(r"(\w+,?)+(?P<value>\d+);")
    assert fields.match("v" * 60_000 + "!") is None
    assert fields.match("volt,ampere,12;") == {"value": "2"}


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        (r"(?=\d)(?P<value>.+)", "time that grows with the reply only"),
        (r"(?P<value>(\d)\2+)", "time that grows with the reply only"),
        (r"(?P<value>\d+", "missing"),
        (r"(?P<value>(\d{500}){500}x)", "time that grows with the reply only"),
    ],
)
def test_a_pattern_that_cannot_be_bounded_is_refused_by_check(pattern, says):
    (problem,) = problems(SMALL.replace(r"(?P<value>[+-]\d+\.\d)(?P<unit>[a-z]+)", pattern))
    assert says in problem
