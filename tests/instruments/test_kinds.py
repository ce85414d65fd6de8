"""Kinds of instrument beyond ohms, volts and amperes: read, in their units, judged with their accuracy."""

from __future__ import annotations

import pytest

from bench.files import parse
from bench.instruments.examples import Script, replay
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.profile import Profile
from bench.instruments.reading import Taker
from bench.instruments.session import Session
from bench.quantity import Amount, engineering
from bench.roles import ROLE_OF, UNIT_OF

KINDS = {
    # what is read, as its replies name the unit, a range, the last digit, a reading, in the base unit, as it is shown
    "capacitance": ("uF: uF", "100 uF", "0.01 uF", "047.12 uF", 47.12e-6, "47.12 µF"),
    "inductance": ("mH: mH", "100 mH", "0.01 mH", "010.05 mH", 10.05e-3, "10.05 mH"),
    "impedance": ("mOhm: mohm", "30 mohm", "0.01 mohm", "004.31 mOhm", 4.31e-3, "4.31 mΩ"),
    "frequency": ("kHz: kHz", "100 kHz", "1 Hz", "049.987 kHz", 49987.0, "49.987 kHz"),
    "level": ("dBm: dB", "30 dB", "0.1 dB", "-012.3 dBm", -12.3, "-12.3 dB"),
    "distance": ("m: m", "1 km", "0.1 m", "0128.4 m", 128.4, "128.4 m"),
    "humidity": ("'%': '%RH'", "100 %RH", "0.1 %RH", "045.2 %", 45.2, "45.2 %RH"),
    "running-time": ("h: h", "10000 h", "1 h", "01234 h", 1234 * 3600.0, "1234 h"),
}


@pytest.mark.parametrize("reads", KINDS)
def test_a_kind_is_read_from_its_profile(reads):
    units, top, step, reply, value, shown = KINDS[reads]
    text = f"""
profile: kind
title: a meter of one kind
dialogue: {{kind: query, read: R, reply: '(?P<value>[+-]?\\d+(?:\\.\\d+)?) (?P<unit>[A-Za-z%]+)'}}
accuracy-source: test
functions:
  - name: {reads}
    reads: {reads}
    units: {{{units}}}
    takes: 1 s
    ranges: [{{range: {top}, resolution: {step}, accuracy: [{{of-reading: 1 %, counts: 2}}]}}]
examples:
  - does: read
    function: {reads}
    exchange: [{{sent: 'R\\n', received: '{reply}\\n'}}]
    gives: {{value: {value!r}, unit: {UNIT_OF[reads]!r}}}
"""
    told, _ = parse(text, Profile, "kind.yaml")
    assert replay(told, told.examples[0]) == []
    assert told.roles == (ROLE_OF[reads],)
    (row,) = accuracy_rows(told)
    assert row.error_at(value).half_width == pytest.approx(abs(value) * 0.01 + 2 * Amount.parse(step).value)
    assert engineering(value, UNIT_OF[reads], resolution=Amount.parse(step).value) == shown


INSULATION = """
profile: kind
title: a tester
dialogue: {{kind: query, read: R, reply: '(?P<value>OL|[0-9.]+)'}}
specials: {{over: [OL]}}
functions:
  - {{name: insulation, reads: insulation, takes: 1 s, {more}
     ranges: [{{range: 1 Mohm, resolution: 1 kohm}}, {{range: 10 Gohm, resolution: 10 Mohm}}]}}
examples:
  - {{does: read, function: insulation, exchange: [{{sent: 'R\\n', received: 'OL\\n'}}],
     gives: {{unit: Ω, over: '+'{bound}}}}}
"""


@pytest.mark.parametrize(("more", "bound"), [("ranges-itself: true,", ", bound: 1e10"), ("", "")])
def test_over_range_of_an_unknown_range_proves_only_what_the_profile_says_of_it(more, bound):
    told, _ = parse(INSULATION.format(more=more, bound=bound), Profile, "kind.yaml")
    assert replay(told, told.examples[0]) == []
    function = told.functions[0]
    line = Script(list(told.examples[0].exchange))
    sample = Taker(Session(told, line, line.clock), function, None, {}).take(0.0)
    assert sample.range == (1e10 if more else None)


def test_every_kind_has_a_unit_that_files_can_write():
    for reads, unit in UNIT_OF.items():
        one = Amount(1.0, unit)
        assert Amount.parse(one.exact()) == one, reads
