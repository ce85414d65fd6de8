"""Kinds of instrument beyond ohms, volts and amperes: read, in their units, judged with their accuracy."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from bench.files import BadFile, parse
from bench.instruments.examples import Script, replay
from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.profile import Profile
from bench.instruments.reading import Taker
from bench.instruments.session import Session
from bench.quantity import Amount, engineering
from bench.roles import ROLE_OF, UNIT_OF
from bench.walk.facts import InstrumentFacts
from bench.walk.results import results
from bench.walk.state import Phase
from tests.instruments.server import VirtualLine
from tests.walk import paper_walk as paper

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


LOAD = r"""
profile: electronic-load
title: an electronic load
dialogue: {kind: query, reply: '(?P<value>\d{2}\.\d{3})'}
identify: {ask: 'ID', reply: '(?P<model>LOAD) (?P<serial>\d+)'}
accuracy-source: test
functions:
  - {name: volts dc, reads: voltage, read: 'V', takes: 0.5 s,
     ranges: [{range: 80 V, resolution: 1 mV, accuracy: [{of-reading: 0.1 %, counts: 5}]}]}
outputs:
  - name: input
    sinks: true
    settings: [{name: current, unit: A, least: 0, most: 10}]
    prepare: ['C {current}']
    confirm: [{ask: 'C', reply: '(?P<value>.+)', equals: current}]
    'on': ['IN1']
    'off': ['IN0']
    is-on: {ask: 'IN', reply: '1'}
    is-off: {ask: 'IN', reply: '0'}
safe: {text: the load takes no current, send: ['IN0'], checks: [{ask: 'IN', reply: '0'}]}
"""
WITH_LOAD = """
sequence: a converter on an electronic load
plant: plant.yaml
steps:
  - {step: hold, text: Everybody is clear., word: CLEAR}
  - {step: set, text: The supply goes on., output: 'on', voltage: 48 V, current-limit: 2 A}
  - {step: set, text: It takes its current., by: load, output: 'on', current-limit: 1.5 A}
  - {step: measure, read: voltage, between: [BA, RA], live: true, limit: {at-least: -57 V, source: us}}
  - {step: set, text: It lets go., by: load, output: 'off'}
  - {step: measure, read: voltage, between: [BA, RA], live: true, limit: {at-least: -57 V, source: us}}
  - {step: set, text: The supply goes off., output: 'off'}
"""


class Loaded:
    """That load."""

    wake_at = None

    def __init__(self) -> None:
        self.on = False
        self.amps = "0"
        self.identity = "LOAD 12"
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        for line in data.decode().split("\n"):
            word, _, value = line.partition(" ")
            answers = {"ID": self.identity, "V": "53.400", "IN": str(int(self.on)), "C": self.amps}
            if word == "C" and value:
                self.amps = value
            elif word in ("IN0", "IN1"):
                self.on = word == "IN1"
            elif word in answers:
                self._out += f"{answers[word]}\n".encode()

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


def test_an_electronic_load_takes_its_current_is_read_back_and_let_go() -> None:
    profile, _ = parse(LOAD, Profile, "load.yaml")
    assert profile.roles == ("volts", "load")
    twin = Loaded()
    line = VirtualLine(twin)
    load = Instrument(profile, line, line.clock)
    load.open()
    assert load.set_output(True, {"current": 1.5}).settings == {"current": "1.5"} and twin.on and twin.amps == "1.5"
    load.configure("volts dc")
    assert load.read().value == 53.4
    assert load.make_safe().confirmed and not twin.on
    with pytest.raises(InstrumentTrouble, match="0 to 10 A"):
        load.set_output(True, {"current": 11.0})


def test_a_walk_sets_a_load_beside_its_supply(tmp_path: Path) -> None:
    load = InstrumentFacts(name="load", profile="electronic-load", roles=["load"], outputs=True)
    bench = msgspec.structs.replace(
        paper.BENCH, instruments=[*paper.BENCH.instruments, load], role_of={**paper.BENCH.role_of, "load": "load"}
    )
    walker = paper.PaperWalk(paper.made(tmp_path, WITH_LOAD, bench=bench).began)
    walker.until(index=2, phase=Phase.SWITCHING)
    assert walker.state.step is not None and walker.state.step.title == "Load on"
    walker.until(index=3)
    assert set(walker.state.outputs.on) == {"supply", "load"}
    walker.until(index=5)
    assert set(walker.state.outputs.on) == {"supply"}
    walker.finish()
    assert results(walker.state)[5].verdict == "pass"
    # a reading that needs the supply is passed over where the load alone is on
    alone = WITH_LOAD.replace(
        "  - {step: set, text: The supply goes on., output: 'on', voltage: 48 V, current-limit: 2 A}\n", ""
    )
    folder = tmp_path / "alone"
    folder.mkdir()
    walker = paper.PaperWalk(paper.made(folder, alone, bench=bench).began).finish()
    assert "no output is on" in results(walker.state)[2].sentence


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (", current-limit: 1.5 A", "", "the current that it takes"),
        ("current-limit: 1.5 A", "current-limit: 1.5 A, voltage: 48 V", "a load puts out nothing"),
        ("  - {step: hold, text: Everybody is clear., word: CLEAR}\n", "", "a hold point before it"),
    ],
)
def test_a_slip_with_a_load_is_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in WITH_LOAD
    with pytest.raises(BadFile, match=says):
        paper.made(tmp_path, WITH_LOAD.replace(old, new))


REFLECTOMETER = r"""
profile: reflectometer
title: a cable-fault reflectometer
dialogue: {kind: query, read: 'D', reply: '(?P<value>\d{4}\.\d) (?P<unit>m)'}
accuracy-source: test
functions:
  - name: distance
    reads: distance
    units: {m: m}
    takes: 1 s
    trace:
      ask: 'T'
      reply: 'T(?P<points>[-+0-9.,]+)'
      step: 10 m
      scale: 0.01
      blind: 15 m
      least: 20 %
    ranges: [{range: 1 km, resolution: 0.1 m, accuracy: [{of-reading: 1 %, counts: 2}]}]
"""
OPEN = "T95,80,2,1,-3,2,4,25,60,71,50,20,5,0"
"""The pulse and the lead, then an open end at 70 m."""
SHORTED = "T95,80,2,1,-3,2,4,-25,-60,-71,-50,-20,-5,0"


class Reflecting:
    """That reflectometer."""

    wake_at = None

    def __init__(self, figure: str, curve: str) -> None:
        self._says = {"D": figure, "T": curve}
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        self._out += b"".join(f"{self._says[line]}\n".encode() for line in data.decode().split("\n") if line)

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


def distance_with(curve: str, figure: str = "0070.0 m"):
    """A reading of a reflectometer that says this figure and this curve."""
    told, _ = parse(REFLECTOMETER, Profile, "reflectometer.yaml")
    line = VirtualLine(Reflecting(figure, curve))
    meter = Instrument(told, line, line.clock)
    meter.open()
    meter.configure("distance")
    return meter.read()


@pytest.mark.parametrize(("curve", "end"), [(OPEN, "open-end"), (SHORTED, "short")])
def test_a_reflectometer_gives_a_distance_and_the_curve_behind_it(curve: str, end: str) -> None:
    sample = distance_with(curve)
    assert (sample.value, sample.unit, sample.flags) == (70.0, "m", (end,))
    assert len(sample.trace) == 14 and sample.trace[7][0] == 70.0 and abs(sample.trace[9][1]) == pytest.approx(0.71)
    assert len(sample.raw) == 2, "both replies are kept"


@pytest.mark.parametrize(
    ("curve", "figure", "kind", "says"),
    [
        (OPEN, "0110.0 m", "mismatch", "first echo at 70"),  # its cursor was left elsewhere
        ("T95,80,2,1,-3,2,4,5,6,7,5,2,5,0", "0070.0 m", "mismatch", "no echo"),
        ("T950,800,2,1", "0070.0 m", "garbled", "its curve shows more"),
        (
            "T95,80,,1",
            "0070.0 m",
            "garbled",
            "its curve shows more coming back than was sent, or has something in it that is no number",
        ),
        ("nothing", "0070.0 m", "garbled", "no curve"),
    ],
)
def test_a_cursor_that_the_curve_does_not_bear_out_is_no_reading(curve: str, figure: str, kind: str, says: str) -> None:
    with pytest.raises(InstrumentTrouble, match=says) as stop:
        distance_with(curve, figure)
    assert stop.value.kind == kind


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "reads: distance\n    units: {m: m}",
            "reads: voltage\n    units: {m: V}",
            "with 'distance' only|a range in V",
        ),
        ("step: 10 m", "step: 10 s", "metres"),
        ("least: 20 %", "least: 0 %", "above 0"),
        ("<points>", "<figures>", "points"),
    ],
)
def test_a_slip_with_a_curve_is_told(old: str, new: str, says: str) -> None:
    with pytest.raises(BadFile, match=says):
        parse(REFLECTOMETER.replace(old, new), Profile, "reflectometer.yaml")
