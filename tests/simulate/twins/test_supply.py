"""The DC supply, over a load of plain numbers."""

import math

import pytest

from bench.simulate.twins.supply import SupplyTwin, regulate


class Load:
    """Ohms, or watts above a lockout voltage; a voltage from outside when nothing holds it."""

    def __init__(self, ohms=math.inf, watts=0.0, lockout=0.0, outside=0.0):
        self.ohms, self.watts, self.lockout, self.outside = ohms, watts, lockout, outside
        self.held = []

    def draw(self, volts, time):
        amps = (volts - self.outside) / self.ohms
        if self.watts and volts > self.lockout:
            amps += self.watts / volts
        return amps

    def hold(self, volts, time):
        self.held.append((time, volts))

    def idle_voltage(self, time):
        return self.outside


def ask(supply, message, now, wait=1.0):
    supply.receive(message.encode() + b"\n", now)
    return supply.send(now + wait).decode().strip()


def wrong(supply):
    out = []
    while len(supply.errors):
        out.append(supply.errors.pop().number)
    return out


def test_output_is_off_at_power_on_and_reset():
    load = Load(ohms=50.0)
    supply = SupplyTwin(load)
    assert ask(supply, "OUTP?;:VOLT?;:CURR?", 0.0) == "0;+0.00000000E+00;+1.00000000E-01"
    ask(supply, "VOLT 48;:CURR 2;:OUTP ON", 2.0)
    assert load.held[-1][1] == pytest.approx(48.0, abs=0.04)
    ask(supply, "*RST", 4.0)
    assert load.held[-1] == (4.0, None)
    assert ask(supply, "OUTP?;:VOLT?;:FUNC:MODE?", 6.0) == "0;+0.00000000E+00;NONE"
    supply.receive(b"OUTP 1\n", 8.0)
    supply.clear(8.0)
    assert ask(supply, "OUTP?", 9.0) == "1"  # device clear is about messages, not about outputs


def test_constant_voltage_and_current():
    load = Load(ohms=100.0)
    supply = SupplyTwin(load, seed=5)
    ask(supply, "VOLT 50;:CURR 1;:OUTP ON", 0.0)
    assert float(ask(supply, "MEAS:VOLT?", 2.0)) == pytest.approx(50.0, abs=0.07)
    assert float(ask(supply, "MEAS:CURR:DC?", 4.0)) == pytest.approx(0.5, abs=0.006)
    assert ask(supply, "FUNC:MODE?;:STAT:QUES:COND?", 6.0) == "VOLT;2"
    load.ohms = 20.0
    assert float(ask(supply, "MEAS:CURR?", 8.0)) == pytest.approx(1.0, abs=0.012)
    assert float(ask(supply, "MEAS:VOLT?", 10.0)) == pytest.approx(20.0, abs=0.3)
    assert ask(supply, "FUNC:MODE?;:STAT:QUES:COND?", 12.0) == "CURR;1"
    ask(supply, "VOLT 61", 14.0)
    ask(supply, "CURR -1", 16.0)
    assert wrong(supply) == [-222, -222]
    ask(supply, "OUTP OFF", 18.0)
    assert abs(float(ask(supply, "MEAS:VOLT?", 20.0))) < 0.012
    assert load.held[-1][1] is None


def test_current_protection_trips_after_its_delay():
    load = Load(ohms=100.0)
    supply = SupplyTwin(load)
    ask(supply, "VOLT 50;:CURR 1;:CURR:PROT:STAT ON;DEL 0.5;:OUTP ON", 0.0)
    assert ask(supply, "CURR:PROT:TRIP?", 2.0) == "0"
    load.ohms = 10.0
    assert supply.wake_at == pytest.approx(3.1)
    supply.send(3.1)
    assert supply.on
    for tenth in range(32, 36):
        supply.send(tenth / 10)
        assert supply.on
    supply.send(3.61)
    assert not supply.on
    assert load.held[-1] == (pytest.approx(3.6), None)
    assert ask(supply, "OUTP?;:CURR:PROT:TRIP?;:VOLT:PROT:TRIP?", 4.0) == "0;1;0"
    assert ask(supply, "STAT:QUES:COND?", 6.0) == "1024"
    ask(supply, "OUTP ON", 8.0)
    assert wrong(supply) == [-221]
    assert not supply.on
    load.ohms = 100.0
    ask(supply, "OUTP:PROT:CLE;:OUTP ON", 10.0)
    assert ask(supply, "OUTP?;:STAT:QUES:COND?", 12.0) == "1;2"


def test_a_trip_level_below_the_limit():
    load = Load(ohms=25.0)
    supply = SupplyTwin(load)
    ask(supply, "VOLT 50;:CURR 5;:CURR:PROT 1.5;:CURR:PROT:STAT ON;DEL 0;:OUTP ON", 0.0, 0.0)
    assert not supply.on
    assert ask(supply, "CURR:PROT?;PROT:TRIP?", 1.0) == "+1.50000000E+00;1"


def test_voltage_protection():
    load = Load(ohms=100.0)
    supply = SupplyTwin(load)
    ask(supply, "VOLT 30;:CURR 1;:VOLT:PROT 40;:OUTP ON", 0.0)
    assert supply.on
    ask(supply, "VOLT 45", 2.0)
    assert not supply.on
    assert ask(supply, "VOLT:PROT:TRIP?;CLE;:VOLT 30;:OUTP ON;:OUTP?", 4.0) == "1;1"


def test_a_live_plant_is_seen_and_not_charged():
    load = Load(ohms=0.5, outside=53.0)
    supply = SupplyTwin(load)
    assert float(ask(supply, "MEAS:VOLT?", 0.0)) == pytest.approx(53.0, abs=0.05)
    ask(supply, "VOLT 48;:CURR 5;:OUTP ON", 2.0)
    assert float(ask(supply, "MEAS:VOLT?", 4.0)) == pytest.approx(53.0, abs=0.05)
    assert abs(float(ask(supply, "MEAS:CURR?", 6.0))) < 0.004
    assert ask(supply, "FUNC:MODE?", 8.0) == "NONE"


def test_regulation_on_constant_power():
    shelf = Load(watts=100.0, lockout=40.0)
    ample = regulate(lambda v: shelf.draw(v, 0.0), 50.0, 3.0)
    assert (ample.volts, ample.amps, ample.mode) == (50.0, 2.0, "VOLT")
    short = regulate(lambda v: shelf.draw(v, 0.0), 50.0, 1.0)
    assert (short.volts, short.mode) == (pytest.approx(40.0, rel=1e-6), "CURR")
    resistive = regulate(lambda v: v / 7.0, 50.0, 2.0)
    assert resistive.volts == pytest.approx(14.0, rel=1e-8)


def test_the_plant_is_told_once_and_watched_seldom():
    class Counted(Load):
        looks = 0

        def draw(self, volts, time):
            self.looks += 1
            return super().draw(volts, time)

    load = Counted(ohms=100.0)
    supply = SupplyTwin(load)
    for k in range(1000):
        supply.send(k / 1000)
    assert load.looks == 0 and load.held == []
    ask(supply, "VOLT 30;:CURR 1;:OUTP ON", 1.0, 0.0)
    for k in range(1000):
        supply.send(1.0 + k / 1000)
    assert load.looks < 15
    assert len(load.held) == 1
    # Switching on what is on does not put off a trip.
    ask(supply, "CURR:PROT 0.1;:CURR:PROT:STAT ON;DEL 0.5;:MEAS:CURR?", 2.0, 0.1)
    ask(supply, "OUTP ON", 2.4, 0.0)
    supply.send(2.7)
    assert not supply.on


def test_the_same_seed_reads_the_same():
    def run(seed):
        supply = SupplyTwin(Load(ohms=100.0), seed=seed)
        ask(supply, "VOLT 48;:CURR 1;:OUTP ON", 0.0)
        return ask(supply, "MEAS:VOLT?;CURR?", 2.0)

    assert run(1) == run(1)
    assert run(1) != run(2)
