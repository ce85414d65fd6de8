"""The bench meter, over a world of plain numbers."""

import math
import statistics

import msgspec
import pytest

from bench.quantity import Amount, Ratio
from bench.simulate.twins.figures import shipped_profile
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.world.terminals import AMPS, HI, LO, SENSE_HI, SENSE_LO

PROFILE = shipped_profile("scpi-bench-meter")


class Numbers:
    """A world that is what its attributes say."""

    def __init__(self, ohms=50.0, four=None, volts=0.0, ac=0.0, amps=0.0):
        self.ohms, self.four, self.volts, self.ac, self.amps = ohms, four, volts, ac, amps
        self.asked = []

    def resistance(self, hi, lo, time):
        assert (hi, lo) == (HI, LO)
        self.asked.append(time)
        return self.ohms(time) if callable(self.ohms) else self.ohms

    def four_wire(self, force_hi, sense_hi, sense_lo, force_lo, time):
        assert (force_hi, sense_hi, sense_lo, force_lo) == (HI, SENSE_HI, SENSE_LO, LO)
        return self.ohms if self.four is None else self.four

    def voltage(self, hi, lo, time, loading):
        assert (hi, lo) in ((HI, LO), (SENSE_HI, SENSE_LO))
        assert loading in (10e6, math.inf)
        return self.volts

    def ac_voltage(self, hi, lo, time, loading):
        return self.ac

    def current(self, into, out, time, burden):
        assert (into, out) == (AMPS, LO)
        return self.amps


def ask(meter, message, now=None, wait=100.0):
    """Send a message and take what is answered within ``wait`` seconds."""
    now = getattr(meter, "last", 0.0) if now is None else now
    meter.last = now + wait
    meter.receive(message.encode() + b"\n", now)
    return meter.send(now + wait).decode().strip()


def value(meter, message, now=None):
    return float(ask(meter, message, now))


def wrong(meter):
    out = []
    while len(meter.errors):
        out.append(meter.errors.pop().number)
    return out


def test_each_function_reads_within_its_accuracy():
    world = Numbers(ohms=47.0, volts=53.7, ac=230.0, amps=0.75)
    cases = [
        ("MEAS:VOLT?", 53.7, 100.0, "volts dc"),
        ("MEASure:VOLTage:DC?", 53.7, 100.0, "volts dc"),
        ("MEAS:VOLT:AC? 1000", 230.0, 1000.0, "volts ac"),
        ("MEAS:CURR:DC?", 0.75, 1.0, "amps dc"),
    ]
    for seed in range(30):
        meter = MeterTwin(world, seed=seed)
        for message, true, full_scale, name in cases:
            row = PROFILE.function(name).range_for(full_scale).accuracy[-1]
            bound = row.of_reading.value * true + row.of_range.value * full_scale
            assert value(meter, message) == pytest.approx(true, abs=bound + 6e-6 * full_scale)
        assert wrong(meter) == []


def test_two_wire_has_the_leads_in_it_and_four_wire_has_not():
    world = Numbers(ohms=0.350)
    meter = MeterTwin(world, seed=3, lead_ohms=0.4)
    bound = 0.00012 * 0.75 + 0.005
    assert value(meter, "MEAS:RES?") == pytest.approx(0.75, abs=bound + 1e-3)
    assert value(meter, "MEAS:FRES?") == pytest.approx(0.35, abs=bound + 1e-3)


def test_thermal_voltage_and_offset_compensation():
    # 100 uV at 1 mA is 0.1 ohm of error; compensation takes it out.
    world = Numbers(ohms=1.0)
    meter = MeterTwin(world, seed=1, lead_ohms=0.0, lead_emf=100e-6, error_scale=0.0)
    plain = value(meter, "MEAS:FRES?")
    assert plain == pytest.approx(1.1, abs=1e-3)
    assert ask(meter, "SENS:FRES:OCOM ON;OCOM?") == "1"
    assert value(meter, "READ?") == pytest.approx(1.0, abs=1e-3)
    # 0.15 V is beyond what compensation can do; without it, it is 150 ohm too many.
    world.volts = 0.15
    assert value(meter, "READ?") == 9.9e37
    assert value(meter, "FRES:OCOM OFF;:READ?") == pytest.approx(151.1, abs=0.01)
    world.volts = 48.0  # a live feed: beyond every range
    assert value(meter, "READ?") == 9.9e37


def test_autorange_and_lock():
    world = Numbers(ohms=47.0)
    meter = MeterTwin(world, lead_ohms=0.0)
    seen = []
    for ohms in (47.0, 119.0, 121.0, 4.7e3, 4.7e7, 119e6, 121e6, math.inf):
        world.ohms = ohms
        seen.append((value(meter, "MEAS:RES?"), float(ask(meter, "RES:RANG?"))))
    assert [r for _, r in seen] == [1e2, 1e2, 1e3, 1e4, 1e8, 1e8, 1e8, 1e8]
    assert seen[-1][0] == seen[-2][0] == 9.9e37
    assert ask(meter, "RES:RANG:AUTO?") == "1"
    world.ohms = 4.7e3
    assert ask(meter, "RES:RANG 500;RANG?;RANG:AUTO?") == "+1.00000000E+03;0"
    assert value(meter, "READ?") == 9.9e37
    world.ohms = 1e-3
    assert value(meter, "READ?") == pytest.approx(1e-3, abs=0.03)
    assert float(ask(meter, "RES:RANG?")) == 1e3  # locked: it does not come down
    assert ask(meter, "RES:RANG 1 MOHM;RANG?") == "+1.00000000E+06"
    assert ask(meter, "RES:RANG? MAX") == "+1.20000000E+08"
    ask(meter, "RES:RANG 1E9")
    assert wrong(meter) == [-222]


def test_overload_sets_the_questionable_bit():
    world = Numbers(ohms=math.inf)
    meter = MeterTwin(world)
    assert ask(meter, "CONF:RES 100;:READ?;:STAT:QUES:COND?;EVEN?") == "+9.90000000E+37;512;512"
    world.ohms = 10.0
    assert ask(meter, "READ?;:STAT:QUES:COND?").endswith(";0")
    world.volts = -5000.0
    assert ask(meter, "MEAS:VOLT?") == "-9.90000000E+37"


def test_open_leads():
    world = Numbers(ohms=5.0, four=math.nan, volts=math.nan)
    meter = MeterTwin(world)
    assert value(meter, "MEAS:FRES?") == 9.9e37
    assert abs(value(meter, "MEAS:VOLT?")) < 1e-4
    world.four = math.inf
    assert value(meter, "MEAS:FRES?") == 9.9e37


def test_the_same_seed_gives_the_same_readings():
    def run(seed):
        meter = MeterTwin(Numbers(ohms=88.0, volts=5.0), seed=seed)
        return [ask(meter, m) for m in ("MEAS:RES?", "MEAS:VOLT?", "READ?")]

    assert run(4) == run(4)
    assert run(4) != run(5)


def test_integration_sets_time_noise_and_resolution():
    meter = MeterTwin(Numbers(volts=5.0), seed=2, error_scale=0.0)
    # the profile's: how many times coarser the last digit of 10 uV is
    coarser = {"0.02": 100, "1": 3, "100": 0.3}
    spread = {}
    now = 0.0
    for nplc, times in coarser.items():
        ask(meter, f"CONF:VOLT 10;:VOLT:NPLC {nplc}", now, 0.0)
        readings = []
        for _ in range(200):
            meter.receive(b"READ?\n", now)
            end = now + float(nplc) / 50
            assert meter.send(end - 1e-6) == b""
            now = end + 1e-6
            readings.append(float(meter.send(now)))
        step = 10e-6 * times
        assert all(abs(v / step - round(v / step)) < 1e-3 for v in readings)
        spread[nplc] = statistics.pstdev(readings)
        assert statistics.mean(readings) == pytest.approx(5.0, abs=step + 4 * spread[nplc])
    assert spread["0.02"] > 10 * spread["1"] > 10 * spread["100"]
    # hum is not averaged out below one power line cycle
    assert spread["0.02"] == pytest.approx(10e-6 / 0.02, rel=0.5)
    meter.last = now
    assert ask(meter, "VOLT:NPLC 3;NPLC?") == "+1.00000000E+01"  # the next that there is
    assert ask(meter, "VOLT:NPLC MIN;NPLC?") == "+2.00000000E-02"
    ask(meter, "VOLT:NPLC 1000")
    ask(meter, "VOLT:AC:NPLC 1")
    assert wrong(meter) == [-222, -113]


def test_its_figures_are_those_of_the_profile_that_it_answers_to():
    """A profile with other figures makes another meter: one range only, coarser, and out by a part in ten."""
    function = PROFILE.function("volts dc")
    part = msgspec.structs.replace(
        function.ranges[2],
        highest=Amount.parse("15 V"),
        resolution=Amount.parse("0.5 V"),
        accuracy=[msgspec.structs.replace(function.ranges[2].accuracy[0], of_reading=Ratio.parse("10 %"))],
    )
    only = msgspec.structs.replace(function, ranges=[part])
    other = msgspec.structs.replace(PROFILE, functions=[only], examples=[PROFILE.examples[0]])
    read = [value(MeterTwin(Numbers(volts=12.6), seed=seed, profile=other), "MEAS:VOLT?") for seed in range(40)]
    assert all(abs(v - 12.6) <= 1.26 + 0.5 and v % 0.5 == 0.0 for v in read)
    assert max(read) - min(read) > 1.2
    assert value(MeterTwin(Numbers(volts=15.5), profile=other), "MEAS:VOLT?") == 9.9e37
    meter = MeterTwin(Numbers(), profile=other)
    ask(meter, "CONF:RES")
    assert wrong(meter) == [-113]


def test_functions_are_chosen_by_name():
    meter = MeterTwin(Numbers())
    for sent, name in [
        ('"RES"', "RES"),
        ("'fresistance'", "FRES"),
        ('"VOLTage:DC"', "VOLT"),
        ('"VOLT:AC"', "VOLT:AC"),
        ('"CURR"', "CURR"),
    ]:
        assert ask(meter, f"SENS:FUNC {sent};FUNC?") == f'"{name}"'
    ask(meter, 'FUNC "RESI"')
    ask(meter, 'FUNC "RES:DC"')
    ask(meter, "FUNC RES")
    assert wrong(meter) == [-224, -224, -148]


def test_readings_see_the_world_when_they_are_taken():
    # 10 NPLC at 50 Hz: readings at 0.2, 0.4, 0.6 s; the contact opens at 0.5 s.
    world = Numbers(ohms=lambda time: 20.0 if time < 0.5 else math.inf)
    meter = MeterTwin(world, lead_ohms=0.0)
    ask(meter, "CONF:RES 100", now=-1.0, wait=0.0)
    meter.receive(b"READ?\nREAD?\nREAD?\n", 0.0)
    assert meter.wake_at == pytest.approx(0.2)
    first, second = (float(v) for v in meter.send(0.59).split())
    assert (first, second) == (pytest.approx(20.0, abs=0.02), pytest.approx(20.0, abs=0.02))
    assert float(meter.send(0.601)) == 9.9e37
    assert world.asked == pytest.approx([0.2, 0.4, 0.6])


def test_a_probe_lifted_during_the_integration_is_seen():
    world = Numbers(ohms=20.0)
    meter = MeterTwin(world)
    meter.receive(b"MEAS:RES?\n", 0.0)
    assert meter.send(0.1) == b""
    world.ohms = math.inf
    assert float(meter.send(0.3)) == 9.9e37


def test_a_device_clear_ends_a_reading():
    meter = MeterTwin(Numbers(ohms=20.0))
    meter.receive(b"CONF:RES;:READ?\n", 0.0)
    assert meter.send(0.1) == b""
    assert meter.operation.condition == 16
    meter.clear(0.15)
    assert ask(meter, "STAT:OPER:COND?", 0.2) == "0"
    assert meter.send(5.0) == b""
    assert ask(meter, "*OPC?", 6.0) == "1"


def test_high_ohms_take_time_to_settle():
    meter = MeterTwin(Numbers(ohms=50e6))
    ask(meter, "CONF:RES 1E8")
    assert meter.reading_s == pytest.approx(0.5)
    ask(meter, "CONF:RES 1E3")
    assert meter.reading_s == pytest.approx(0.2)


def test_reset():
    meter = MeterTwin(Numbers(ohms=20.0))
    ask(meter, "CONF:RES 100;:RES:OCOM ON;*RST")
    assert ask(meter, "FUNC?;:RES:OCOM?;RANG:AUTO?") == '"VOLT";0;1'
    assert ask(meter, "*IDN?") == "Gannet Head,bench meter,0001,1.0"


def test_a_meter_out_of_calibration_reads_wrong():
    good = [MeterTwin(Numbers(ohms=90.0), seed=s, lead_ohms=0.0) for s in range(40)]
    bad = [MeterTwin(Numbers(ohms=90.0), seed=s, lead_ohms=0.0, error_scale=20) for s in range(40)]
    limit = (0.012 * 90 + 0.005 * 100) / 100
    assert all(abs(value(m, "MEAS:RES? 100") - 90.0) < limit + 1e-3 for m in good)
    assert sum(abs(value(m, "MEAS:RES? 100") - 90.0) > limit for m in bad) > 20
