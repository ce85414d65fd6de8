"""One suite over every file in ``drivers/``: put a profile there, and it is tested.

Each profile needs a twin in ``twins.py``, so that it is tried whole: opened, set, read, made safe, and in trouble.
"""

from __future__ import annotations

import sys
import time

import msgspec
import pytest

from bench.files import shipped
from bench.instruments.examples import replay
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import Query
from bench.instruments.profile.profile import Example, Exchange
from bench.instruments.wire_text import WireText
from bench.judge.accuracy import AccuracyTable
from bench.quantity import Duration
from tests.drivers.twins import PLAIN, TWINS, Hall
from tests.instruments.server import Mangled, VirtualLine, served

LIBRARY = Library.for_job()
NAMES = [name for name in LIBRARY.names() if not (profile := LIBRARY.entry(name).profile) or not profile.by_eye]
"""Those with a wire; what a person reads is tried in test_read_by_eye.py."""
PROFILES = {name: LIBRARY.profile(name) for name in NAMES}
EXAMPLES = [
    pytest.param(name, example, id=f"{name}-{number}-{example.does}")
    for name, profile in PROFILES.items()
    for number, example in enumerate(profile.examples)
]
FUNCTIONS = [
    pytest.param(name, function.name, id=f"{name}-{function.name}")
    for name, profile in PROFILES.items()
    for function in profile.functions
]
FULL = {"scpi-insulation-tester": {"voltage": 500}}
"""Settings that a function must be given."""


def expected(function, world, sample) -> list[float]:
    """What the reading may be: it was taken between trigger and reply."""
    if function.reads == "resistance":
        moments = [sample.started, *range(int(sample.started) + 1, int(sample.finished) + 1)]
        return [world.ohms(moment) for moment in moments]
    return [
        {
            "insulation": 3e9,
            "voltage": world.volts if world.held is None else 48.0,
            "ac-voltage": 231.4,
            "current": world.amps if world.held is None else 48.0 / 120.0,
            "ac-current": 2 * world.amps,
            "temperature": world.celsius,
            "capacitance": world.farads(0.0),
        }[function.reads]
    ]


def bench(name: str, mangle=None, *, byte_by_byte: bool = False):
    world = Hall()
    engine = TWINS[name](world, 0.0)
    wire = Mangled(engine) if mangle is None else Mangled(engine, mangle)
    line = VirtualLine(wire, byte_by_byte=byte_by_byte)
    notices = []
    instrument = Instrument(PROFILES[name], line, line.clock, decoder=LIBRARY.decoder(name), notice=notices.append)
    return instrument, line, wire, world, notices


def ready(name: str, function: str, **options):
    """An instrument that is open, set, and whose dial is turned."""
    instrument, line, wire, world, notices = bench(name, **options)
    if hasattr(wire.engine, "dial"):
        wire.engine.turn(instrument.profile.function(function).reads)
    instrument.open()
    if instrument.profile.outputs:
        instrument.set_output(True, {"voltage": 48.0, "current": 1.0})
    instrument.configure(function, None, FULL.get(name))
    return instrument, line, wire, world, notices


def check(sample, instrument, world) -> None:
    function = instrument.profile.function(sample.function)
    resolution = sample.resolution or 0.0
    wanted = expected(function, world, sample)
    # a part in a hundred: twins have errors of their own, and what is looked for here is a wrong reading
    near = [
        pytest.approx(value, rel=0.04 if function.reads == "insulation" else 0.01, abs=resolution) for value in wanted
    ]
    if sample.function == "ohms 2w" and instrument.profile.profile == "scpi-bench-meter":
        near = [pytest.approx(value + 0.2, rel=1e-3) for value in wanted]
    assert any(sample.value == value for value in near), (sample, wanted)
    assert sample.unit == function.base_unit


# ---- the files -----------------------------------------------------------------------------


def test_every_file_can_be_used():
    for entry in LIBRARY.entries():
        assert entry.profile is not None, "\n".join(map(str, entry.problems))


def test_every_decoder_belongs_to_a_profile():
    wanted = {f"{p.dialogue.decoder}_frame.py" for p in PROFILES.values() if hasattr(p.dialogue, "decoder")}
    assert {path.name for path in shipped("drivers").glob("*.py")} == wanted


def test_every_profile_has_a_twin():
    assert set(TWINS) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_examples_cover_what_it_can_do(name):
    profile = PROFILES[name]
    done = {example.does for example in profile.examples}
    assert "open" in done
    assert {example.function for example in profile.examples if example.does == "read"} >= {
        function.name for function in profile.functions if len(profile.functions) > 0 and not profile.errors
    }
    if profile.functions:
        assert any(example.does == "read" and example.gives.value is not None for example in profile.examples)
        stands_for = profile.specials.over + profile.specials.nan
        if stands_for and profile.profile != "scpi-supply":
            assert any(example.gives.over or example.gives.nan for example in profile.examples)
    if profile.outputs:
        assert done >= {"on", "off", "safe"}
    if profile.switch is not None:
        assert done >= {"close-channels", "safe"}
    if profile.marks:
        stops = [mark for mark in profile.marks if mark.stops]
        assert sum(example.gives.trouble == "mismatch" for example in profile.examples) >= len(stops)


@pytest.mark.parametrize(("name", "example"), EXAMPLES)
def test_examples_are_replayed_byte_for_byte(name, example):
    assert replay(PROFILES[name], example, LIBRARY.decoder(name)) == []


def _cut(example: Example) -> Example:
    """The same example, each byte of each answer by itself."""
    exchanges = []
    for exchange in example.exchange:
        data = exchange.received.data
        exchanges.append(Exchange(sent=exchange.sent, received=WireText(data[:1])))
        exchanges += [Exchange(received=WireText(data[k : k + 1])) for k in range(1, len(data))]
    return msgspec.structs.replace(example, exchange=exchanges)


@pytest.mark.parametrize(("name", "example"), EXAMPLES)
def test_examples_are_the_same_byte_by_byte(name, example):
    assert replay(PROFILES[name], _cut(example), LIBRARY.decoder(name)) == []


@pytest.mark.parametrize(("name", "example"), [case for case in EXAMPLES if case.values[1].does == "read"])
@pytest.mark.quick_cases(31)
def test_no_example_with_a_byte_lost_gives_another_value(name, example):
    """Any one byte of the first answer may be lost on the way: what comes of it is the same value, or none."""
    first = example.exchange[0].received.data
    for at in range(len(first)):
        worse = Exchange(sent=example.exchange[0].sent, received=WireText(first[:at] + first[at + 1 :]))
        gives = msgspec.structs.replace(example.gives, trouble="")
        cut = msgspec.structs.replace(example, exchange=[worse, *example.exchange[1:]], gives=gives)
        for wrong in replay(PROFILES[name], cut, LIBRARY.decoder(name)):
            assert not wrong.startswith(("value", "unit", "bound")), (at, wrong)


@pytest.mark.parametrize("name", NAMES)
def test_accuracy_covers_each_range_of_each_function(name):
    profile = PROFILES[name]
    if not profile.functions:
        return
    table = AccuracyTable(profile.profile, accuracy_rows(profile))
    assert set(table.functions) == {function.name for function in profile.functions}
    for function in profile.functions:
        for part in function.ranges:
            for value in (part.top, part.range.value, part.range.value / 2):
                row = table.pick(function.name, value, range_top=part.range.value).row
                assert 0 < row.error_at(value, 23.0).half_width < value
                # a hall without heating
                assert row.error_at(value, 5.0).half_width >= row.error_at(value, 23.0).half_width


@pytest.mark.parametrize("name", NAMES)
def test_it_is_named_by_its_behaviour_and_says_where_its_figures_come_from(name):
    profile = PROFILES[name]
    assert profile.title[:2] in ("a ", "an")
    if profile.functions:
        assert "replace by your own" in profile.accuracy_source


# ---- against the twin ----------------------------------------------------------------------


@pytest.mark.parametrize("byte_by_byte", [False, True], ids=["whole", "byte-by-byte"])
@pytest.mark.parametrize(("name", "function"), FUNCTIONS)
def test_each_function_reads_what_its_twin_is_on(name, function, byte_by_byte):
    instrument, _, _, world, _ = ready(name, function, byte_by_byte=byte_by_byte)
    for _ in range(3):
        sample = instrument.read(20.0 if instrument.profile.function(function).energises else 0.0)
        check(sample, instrument, world)
        assert sample.tries == 1


@pytest.mark.parametrize(("name", "function"), FUNCTIONS)
def test_each_range_can_be_locked_where_it_says_so(name, function):
    instrument, _, _, _, _ = ready(name, function)
    part = instrument.profile.function(function)
    for one in part.ranges:
        if part.lock:
            assert instrument.configure(function, one.range.value, FULL.get(name)).range == one.range.value
            sample = instrument.read()
            assert sample.range == one.range.value
        elif isinstance(instrument.profile.dialogue, Query):
            with pytest.raises(InstrumentTrouble) as caught:
                instrument.configure(function, one.range.value, FULL.get(name))
            assert caught.value.kind == "unable"


POSIX = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


@POSIX
@pytest.mark.parametrize("way", ["serial", "visa", "socket"])
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.quick_cases(18)
def test_it_answers_over_a_real_port(name, way):
    profile = PROFILES[name]
    world = Hall()
    quick = msgspec.structs.replace(profile.line, settle=Duration(0.0), timeout=Duration(0.5), quiet=Duration(0.02))
    if way == "visa":
        # the library sets one thing at a time, and a pty that can change none of what is set calls that an error
        quick = msgspec.structs.replace(quick, bits=8, parity="none", stop="1")
    with served(TWINS[name](world, time.monotonic()), tcp=way == "socket", speed=10.0) as port:
        address = f"ASRL{port.address}::INSTR" if way == "visa" else port.address
        instrument = Instrument(profile, open_port(address, quick), line=quick, decoder=LIBRARY.decoder(name))
        with instrument:
            instrument.open()
            if profile.functions:
                function = profile.functions[0]
                if profile.outputs:
                    instrument.set_output(True, {"voltage": 48.0, "current": 1.0})
                instrument.configure(function.name, None, FULL.get(name))
                sample = instrument.read(1.0 if function.energises else 0.0)
                # its clock runs ahead of ours, so what tells the time cannot be looked up
                assert sample.value is not None
                if function.reads != "resistance":
                    check(sample, instrument, world)
            if profile.switch is not None:
                assert instrument.set_channels(["101", "205"]) == ("101", "205")
                assert world.closed == {101, 205}
    if profile.outputs:
        assert world.held is None
    if profile.switch is not None:
        assert world.closed == frozenset()


# ---- in trouble ----------------------------------------------------------------------------

TROUBLES = {
    "late": lambda q, r: [(20.0, r)],
    "cut": lambda q, r: [(0.0, r[: len(r) // 2])],
    "noise": lambda q, r: [(0.0, b"\xff\x00\x55" + r)],
    "noise within": lambda q, r: [(0.0, r[: len(r) // 2] + b"\x80" + r[len(r) // 2 + 1 :])],
    "silent": lambda q, r: [],
    "twice": lambda q, r: [(0.0, r + r)],
}


class Within:
    """Trouble with the pieces that come out between two counts."""

    def __init__(self, pieces, start: int, stop: int):
        self.pieces, self.start, self.stop, self.count = pieces, start, stop, 0

    def __call__(self, question, reply):
        self.count += 1
        return self.pieces(question, reply) if self.start <= self.count < self.stop else [(0.0, reply)]


@pytest.mark.parametrize("trouble", TROUBLES)
@pytest.mark.parametrize(("name", "function"), FUNCTIONS)
@pytest.mark.quick_cases(54)
def test_no_trouble_makes_a_wrong_reading(name, function, trouble):
    instrument, _, wire, world, _ = ready(name, function)
    if trouble == "late" and instrument._session.unasked:
        pytest.skip("lines that come by themselves carry no time: how long they were on the way cannot be told")
    # what does not answer in lines comes out byte by byte, so trouble lasts for a while there; lateness adds up
    lines = isinstance(instrument.profile.dialogue, Query)
    wire.mangle = Within(TROUBLES[trouble], 2, 3 if lines or trouble == "late" else 40)
    after = 20.0 if instrument.profile.function(function).energises else 0.0
    for _ in range(4):
        try:
            check(instrument.read(after), instrument, world)
        except InstrumentTrouble as found:
            assert found.kind in ("silent", "garbled", "mismatch", "unsafe")
            assert found.what
    for _ in range(3):
        try:
            sample = instrument.read(after)
        except InstrumentTrouble:
            continue
    check(sample, instrument, world)


@pytest.mark.parametrize("name", NAMES)
def test_an_instrument_that_says_nothing_is_silent(name):
    instrument, _, wire, _, _ = bench(name)
    wire.mangle = lambda q, r: []
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.open()
    assert caught.value.kind == "silent"
    assert caught.value.advice


@pytest.mark.parametrize("name", NAMES)
def test_noise_alone_is_no_instrument(name):
    instrument, _, wire, _, _ = bench(name)
    wire.mangle = lambda q, r: [(0.0, bytes((b ^ 0xB7) | 0x80 for b in r))]
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.open()
    assert caught.value.kind in ("silent", "garbled")


@pytest.mark.parametrize("name", NAMES)
def test_an_unplugged_instrument_is_lost(name):
    instrument, line, _, _, _ = bench(name)
    instrument.open()
    line.unplugged = True
    with pytest.raises(InstrumentTrouble) as caught:
        if instrument.profile.functions:
            instrument.configure(instrument.profile.functions[0].name, None, FULL.get(name))
            instrument.read()
        else:
            instrument.set_channels(["101"])
    # a switch that cannot be reached is not known to be safe, and that is said first
    if instrument.profile.safe is None:
        assert caught.value.kind == "lost"
    else:
        assert caught.value.kind in ("lost", "unsafe")


@pytest.mark.parametrize("name", [name for name in NAMES if PROFILES[name].identify is not None])
def test_another_kind_of_instrument_is_noticed_where_it_can_tell(name):
    others = {
        "modbus-panel-meter": lambda engine: setattr(engine, "kind", 4711),
    }
    instrument, _, wire, _, _ = bench(name)
    if name not in others:
        wire.engine.identity = "x,y,z,1"
        instrument.open()
        assert instrument.identity.serial == "z"
        return
    others[name](wire.engine)
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.open()
    assert "4711" in caught.value.what


HANDHELDS = [name for name in NAMES if not isinstance(PROFILES[name].dialogue, Query) and PROFILES[name].marks]


@pytest.mark.parametrize("name", HANDHELDS)
@pytest.mark.parametrize("function", ["ohms 2w", "volts dc", "volts ac", "amps dc"])
@pytest.mark.parametrize("dial", ["resistance", "voltage", "ac-voltage", "current"])
def test_a_dial_on_another_function_stops_and_says_what_to_do(name, function, dial):
    instrument, _, wire, world, _ = ready(name, function)
    wire.engine.turn(dial)
    reads = instrument.profile.function(function).reads
    if reads == dial:
        check(instrument.read(), instrument, world)
        return
    with pytest.raises(InstrumentTrouble) as caught:
        # the twin goes on with what it had measured
        [instrument.read() for _ in range(3)]
    assert caught.value.kind == "mismatch"
    assert "dial" in caught.value.advice
    wire.engine.turn(reads)
    check([instrument.read() for _ in range(2)][-1], instrument, world)


@pytest.mark.parametrize("name", HANDHELDS)
@pytest.mark.parametrize(("mark", "says"), [("hold", "HOLD"), ("battery", "battery")])
def test_hold_and_a_weak_battery_stop(name, mark, says):
    instrument, _, wire, world, _ = ready(name, "ohms 2w")
    wire.engine.marks = mark
    with pytest.raises(InstrumentTrouble) as caught:
        [instrument.read() for _ in range(3)]
    assert caught.value.kind == "mismatch"
    assert says in caught.value.advice
    wire.engine.marks = ""
    check([instrument.read() for _ in range(2)][-1], instrument, world)


@pytest.mark.parametrize("name", HANDHELDS)
def test_live_readings_of_what_the_operator_holds(name):
    instrument, _, _, _, _ = ready(name, "volts dc")
    live = instrument.live()
    assert [next(live).value for _ in range(5)] == [pytest.approx(-53.4, abs=0.05)] * 5


# ---- safe ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in NAMES if PROFILES[name].safe is not None])
def test_it_is_made_safe_whatever_the_line_is_like(name):
    instrument, _line, wire, world, _ = bench(name)
    instrument.open()
    if instrument.profile.outputs:
        instrument.set_output(True, {"voltage": 48.0, "current": 1.0})
        assert world.held is not None
    elif instrument.profile.switch is not None:
        instrument.set_channels(["101", "202"])
        assert world.closed == {101, 202}
    # half a command is on the wire, and what comes back is late
    wire.receive(b"VOLT 4", 0.0)
    wire.mangle = Within(lambda q, r: [(3.0, r)], 1, 2)
    instrument.abort()
    state = instrument.make_safe()
    assert state.confirmed, state.what
    assert world.held is None
    assert world.closed == frozenset()


@pytest.mark.parametrize("name", [name for name in NAMES if PROFILES[name].safe is not None])
def test_a_safe_state_that_cannot_be_read_back_is_not_confirmed(name):
    instrument, _, wire, _, _ = bench(name)
    instrument.open()
    wire.mangle = lambda q, r: []
    state = instrument.make_safe()
    assert not state.confirmed
    assert state.needed
    assert "Not confirmed" in state.what


# ---- what no shipped profile needs, on those that are there --------------------------------


def test_binary_frames_that_are_asked_for():
    class Asked(TWINS["seven-segment-frames"](Hall(), 0.0).__class__):
        def receive(self, data, now):
            for _ in range(data.count(b"?")):
                self.put(self.said(self.look(now)), now + 0.1)

        def step(self, now):
            """Nothing comes by itself."""

        def next_step(self):
            return None

    profile = PROFILES["seven-segment-frames"]
    dialogue = msgspec.structs.replace(profile.dialogue, ask=WireText(b"?"))
    profile = msgspec.structs.replace(profile, dialogue=dialogue, examples=[])
    world = Hall()
    wire = Mangled(Asked(world, **PLAIN))
    line = VirtualLine(wire)
    instrument = Instrument(profile, line, line.clock, decoder=LIBRARY.decoder("seven-segment-frames"))
    instrument.open()
    instrument.configure("ohms 2w")
    wire.mangle = Within(TROUBLES["noise within"], 2, 12)
    for _ in range(3):
        check(instrument.read(), instrument, world)


def test_a_bus_of_two_wires_that_sends_back_what_was_sent():
    class Echoing(Mangled):
        def receive(self, data, now):
            self.inject(data, now)
            super().receive(data, now)

    world = Hall()
    line = VirtualLine(Echoing(TWINS["modbus-panel-meter"](world, 0.0)))
    profile = PROFILES["modbus-panel-meter"]
    echoing = msgspec.structs.replace(profile.line, echo=True)
    instrument = Instrument(profile, line, line.clock, line=echoing)
    instrument.open()
    instrument.configure("volts dc")
    assert [instrument.read().value for _ in range(3)] == [-53.4] * 3


def test_a_modbus_station_with_another_number_does_not_answer():
    world = Hall()
    line = VirtualLine(Mangled(TWINS["modbus-panel-meter"](world, 0.0)))
    line.engine.engine.station = 2
    instrument = Instrument(PROFILES["modbus-panel-meter"], line, line.clock)
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.open()
    assert caught.value.kind == "silent"
