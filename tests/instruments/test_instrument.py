from __future__ import annotations

import msgspec
import pytest

from bench.instruments.instrument import Instrument, NotConfigured
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.values import Expected
from bench.simulate.twins.meter import MeterTwin
from tests.instruments.server import LIBRARY, Bars, Mangled, VirtualLine

PROFILE = LIBRARY.profile("scpi-bench-meter")


def bench(world=None, identity="Gannet Head,bench meter,0001,1.0", **options):
    wire = Mangled(MeterTwin(world or Bars(42.0), error_scale=0.0, identity=identity))
    line = VirtualLine(wire)
    return Instrument(PROFILE, line, line.clock, **options), line, wire


def opened(*args, **options):
    dmm, line, wire = bench(*args, **options)
    dmm.open()
    return dmm, line, wire


def test_the_identity_has_its_fields():
    dmm, _, _ = opened()
    assert (dmm.identity.maker, dmm.identity.model, dmm.identity.serial, dmm.identity.version) == (
        "Gannet Head",
        "bench meter",
        "0001",
        "1.0",
    )


def test_the_expected_serial_number():
    dmm, _, _ = bench(expected=Expected("0001"))
    dmm.open()
    dmm, _, _ = bench(expected=Expected("0002"))
    with pytest.raises(InstrumentTrouble) as caught:
        dmm.open()
    assert caught.value.kind == "stranger"
    assert "0001" in caught.value.what
    assert "0002" in caught.value.what


def test_reading_before_configuring_is_a_bug():
    dmm, _, _ = opened()
    with pytest.raises(NotConfigured):
        dmm.read()
    with pytest.raises(NotConfigured):
        next(dmm.live())


@pytest.mark.parametrize(
    ("ohms", "asked", "range"), [(42.0, 100.0, 100.0), (42.0, 119.0, 100.0), (42.0, 121.0, 1000.0), (42.0, 0.0, 100.0)]
)
def test_the_range_is_the_smallest_that_shows_the_value(ohms, asked, range):
    dmm, _, wire = opened(Bars(ohms))
    setup = dmm.configure("ohms 4w", asked)
    assert setup.range == range
    sample = dmm.read()
    assert sample.range == range
    assert b"FRES:RANG %d" % range in wire.questions


def test_without_a_range_it_ranges_by_itself_and_says_on_which_it_is():
    dmm, _, _ = opened(Bars(4200.0))
    assert dmm.configure("ohms 2w").range is None
    sample = dmm.read()
    assert sample.range == 1e4
    assert sample.resolution == pytest.approx(0.01)
    assert sample.value == pytest.approx(4200.2, rel=1e-4)


def test_over_range_is_a_reading_with_a_meaning():
    dmm, _, _ = opened(Bars(4200.0))
    dmm.configure("ohms 4w", 1000.0)
    sample = dmm.read()
    assert (sample.value, sample.over, sample.nan, sample.overload) == (None, "+", False, True)
    assert sample.bound == 1200.0


def test_over_range_on_the_negative_side():
    dmm, _, _ = opened(Bars(volts=-53.0))
    dmm.configure("volts dc", 10.0)
    sample = dmm.read()
    assert (sample.value, sample.over) == (None, "-")


def test_volts_keep_their_sign():
    dmm, _, _ = opened(Bars(volts=-53.5))
    dmm.configure("volts dc", 100.0)
    assert dmm.read().value == pytest.approx(-53.5, abs=0.01)


@pytest.mark.parametrize("cycles", ["0.02", "0.2", "1", "10", "100"])
def test_the_resolution_follows_the_integration_time_as_the_twin_has_it(cycles):
    dmm, _, wire = opened()
    dmm.configure("ohms 4w", 100.0, {"nplc": cycles})
    part = wire.engine.parts["FRES"]
    assert dmm.read().resolution == pytest.approx(part.cycles[float(cycles)] * part.scale.step)


@pytest.mark.parametrize(
    ("function", "range", "settings", "says"),
    [
        ("ohms 3w", None, {}, "ohms 4w"),
        ("ohms 4w", 1e9, {}, "100 MΩ"),
        ("ohms 4w", None, {"nplc": "7"}, "0.02"),
        ("ohms 4w", None, {"cycles": "1"}, "nplc"),
        ("volts ac", None, {"nplc": "1"}, "none"),
    ],
)
def test_what_it_cannot_do_says_what_it_can(function, range, settings, says):
    dmm, _, _ = opened()
    with pytest.raises(InstrumentTrouble) as caught:
        dmm.configure(function, range, settings)
    assert caught.value.kind == "unable"
    assert says in caught.value.advice
    assert dmm.setup is None


def test_a_setting_given_as_a_number_is_the_choice_of_that_value():
    dmm, _, wire = opened()
    dmm.configure("ohms 4w", None, {"nplc": 1.0})
    assert b"FRES:NPLC 1" in wire.questions


def test_an_error_in_the_queue_after_configuring_refuses_the_setting():
    function = PROFILE.function("ohms 4w")
    worse = msgspec.structs.replace(function, configure=["CONF:FRES", "FRES:SPEED {nplc}"])
    profile = msgspec.structs.replace(PROFILE, functions=[worse], examples=[])
    wire = Mangled(MeterTwin(Bars(42.0)))
    line = VirtualLine(wire)
    dmm = Instrument(profile, line, line.clock)
    dmm.open()
    with pytest.raises(InstrumentTrouble) as caught:
        dmm.configure("ohms 4w")
    assert caught.value.kind == "refused"
    assert "-113" in caught.value.what
    assert caught.value.raw


def test_a_sample_keeps_what_went_over_the_wire():
    traced = []
    dmm, line, _ = opened(trace=lambda direction, data, at: traced.append((direction, data, at)))
    dmm.configure("ohms 4w", 100.0)
    traced.clear()
    sample = dmm.read()
    assert sample.sent == b"READ?\nFUNC?\nFRES:RANG?\n"
    assert b"".join(data for direction, data, _ in traced if direction == "sent") == sample.sent
    assert b"".join(data for direction, data, _ in traced if direction == "received") == b"".join(sample.raw)
    assert sample.raw_text[0].endswith("\\n")
    assert sample.finished == pytest.approx(line.now)
    assert sample.took == pytest.approx(0.4, abs=0.05)


def test_the_same_reading_twice_is_the_same_to_the_last_byte():
    """Nothing here depends on the time of day, on threads or on the order of a set."""

    def run():
        traced = []
        dmm, _, _ = opened(trace=lambda direction, data, at: traced.append((direction, data, at)))
        dmm.configure("ohms 4w", 100.0)
        return [dmm.read() for _ in range(5)], traced

    assert run() == run()


def test_live_readings_go_on_until_they_are_stopped():
    dmm, _, _ = opened()
    dmm.configure("ohms 4w", 100.0)
    live = dmm.live()
    assert [next(live).value for _ in range(3)] == [pytest.approx(42.0, abs=0.01)] * 3
    live.close()
    assert dmm.read().value is not None


def test_a_key_that_somebody_pressed_is_set_right_by_the_next_live_reading():
    dmm, line, wire = opened()
    dmm.configure("ohms 4w", 100.0)
    live = dmm.live()
    assert next(live).value is not None
    wire.engine.receive(b"CONF:VOLT:DC\n", line.now)
    with pytest.raises(InstrumentTrouble) as caught:
        next(live)
    assert caught.value.kind == "mismatch"
    assert next(dmm.live()).value == pytest.approx(42.0, abs=0.01)


def test_reconnecting_identifies_anew_and_sets_up_as_before():
    notices = []
    dmm, line, wire = opened(notice=notices.append)
    dmm.configure("ohms 4w", 100.0, {"nplc": "1"})
    line.unplugged = True
    with pytest.raises(InstrumentTrouble):
        dmm.read()
    fresh = VirtualLine(wire)
    fresh.now = line.now
    wire.engine.receive(b"*RST\n", line.now)
    dmm._clock = fresh.clock
    dmm.reconnect(fresh)
    assert line.closed
    sample = dmm.read()
    assert (sample.value, sample.range) == (pytest.approx(42.0, abs=0.01), 100.0)
    assert "reconnected" in [notice.kind for notice in notices]


def test_reconnecting_to_another_instrument_is_refused():
    dmm, _, _ = opened()
    other = VirtualLine(Mangled(MeterTwin(Bars(42.0), identity="Gannet Head,bench meter,0002,1.0")))
    dmm._clock = other.clock
    with pytest.raises(InstrumentTrouble) as caught:
        dmm.reconnect(other)
    assert caught.value.kind == "stranger"


def test_an_instrument_without_outputs_is_safe_as_it_is():
    dmm, _, wire = opened()
    before = len(wire.questions)
    state = dmm.make_safe()
    assert (state.confirmed, state.needed) == (True, False)
    assert len(wire.questions) == before
