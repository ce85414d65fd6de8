"""The insulation tester, on pieces of insulation."""

import pytest

from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.world.dielectric import Branch, Dielectric


class Leads:
    """A world whose leads are where the test puts them."""

    def __init__(self, specimen, live=0.0):
        self.on, self.live = specimen, live

    def specimen(self, time):
        return self.on

    def live_voltage(self, time):
        return self.live


def cable(ohms=5e9):
    return Dielectric(ohms, 40e-9, (Branch(2e9, 5e-9), Branch(2e10, 3e-9)))


def ask(tester, message, now, wait=2.0):
    tester.receive(message.encode() + b"\n", now)
    return tester.send(now + wait).decode().strip()


def wrong(tester):
    out = []
    while len(tester.errors):
        out.append(tester.errors.pop().number)
    return out


def test_a_timed_test():
    leads = Leads(cable())
    tester = InsulationTwin(leads, seed=1)
    tester.receive(b"VOLT 500;:TRIG:DEL 60;:READ?\n", 0.0)
    assert tester.busy_until(0.0) == 60.0
    assert tester.wake_at == pytest.approx(0.1)  # the leads are watched meanwhile
    assert tester.send(59.9) == b""
    assert leads.on.volts == 500.0
    ohms = float(tester.send(60.0))
    amps = 500 / 5e9 + 500 / 2e10 * 2.718281828 ** (-60 / 60)
    assert ohms == pytest.approx(500 / amps, rel=0.045)
    assert not tester.on
    assert ask(tester, "FETC?", 62.0) == f"{ohms:+.8E}"


def test_resistance_rises_with_time_in_one_test():
    leads = Leads(cable(ohms=1e11))
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 1000;:OUTP ON", 0.0)
    one = float(ask(tester, "MEAS:RES?", 59.5))
    ten = float(ask(tester, "READ?", 599.5))
    assert ten > 2 * one
    assert float(ask(tester, "MEAS:CURR?", 610.0)) == pytest.approx(1000 / ten, rel=0.1)
    assert ask(tester, "OUTP?;:VOLT?", 620.0) == "1;+1.00000000E+03"


def test_discharge_and_what_is_left():
    leads = Leads(Dielectric(1e12, 10e-6))
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 1000;:OUTP ON", 0.0)
    tester.send(100.0)
    assert ask(tester, "STAT:QUES:COND?;:STAT:OPER:COND?", 100.0) == "1;16"
    tester.receive(b"OUTP OFF;:MEAS:VOLT?\n", 102.0)
    left = float(tester.send(102.5))  # 10 uF through 100 kohm: one second
    assert left == pytest.approx(1000 * 2.718281828**-0.5, rel=0.02)
    assert ask(tester, "STAT:QUES:COND?;:STAT:OPER:COND?", 103.0, 0.0) == "1;512"
    assert ask(tester, "STAT:QUES:COND?;:STAT:OPER:COND?", 112.0) == "0;0"
    assert abs(float(ask(tester, "MEAS:VOLT?", 115.0))) < 2.0


def test_stopping_a_test_is_at_once():
    leads = Leads(cable())
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 500;:TRIG:DEL 600;:INIT", 0.0)
    assert tester.on
    assert ask(tester, "INIT;*CLS;:OUTP?", 5.0) == "1"
    ask(tester, "OUTP OFF", 10.0)
    assert not tester.on
    ask(tester, "FETC?", 12.0)
    assert wrong(tester) == [-230]
    ask(tester, "INIT;ABOR", 20.0)
    assert not tester.on
    # A whole test by READ? holds up what follows; a device clear does not wait.
    tester.receive(b"READ?\nOUTP OFF\n", 30.0)
    assert tester.send(40.0) == b""
    assert tester.on
    tester.clear(41.0)
    assert not tester.on
    assert tester.send(700.0) == b""


def test_initiate_runs_beside_other_commands():
    tester = InsulationTwin(Leads(cable()))
    assert ask(tester, "VOLT 250;:TRIG:DEL 10;:INIT;:OUTP?;*OPC?", 0.0, 9.9) == ""
    assert tester.send(10.0) == b"1;1\n"
    assert 1e9 < float(ask(tester, "FETC?", 11.0)) < 1e10


def test_a_live_circuit_is_refused():
    tester = InsulationTwin(Leads(cable(), live=-53.0))
    assert ask(tester, "STAT:QUES:COND?", 0.0) == "1"
    ask(tester, "OUTP ON", 2.0)
    ask(tester, "READ?", 4.0)
    assert wrong(tester) == [-221, -221]
    assert not tester.on
    assert float(ask(tester, "MEAS:VOLT?", 6.0)) == pytest.approx(-53.0, abs=1.1)


def test_scale_and_short():
    leads = Leads(Dielectric(1e15))
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 500;:TRIG:DEL 5", 0.0)
    assert float(ask(tester, "READ?", 2.0, 10.0)) == 9.9e37
    leads.on = Dielectric(47e3)
    assert float(ask(tester, "READ?", 20.0, 10.0)) == pytest.approx(47e3, rel=0.04)
    leads.on = Dielectric(0.0)
    assert float(ask(tester, "READ?", 40.0, 10.0)) < 1.0


def test_charge_stays_on_the_cable_that_the_leads_leave():
    first, second = Dielectric(1e13, 1e-6), Dielectric(1e13, 1e-6)
    leads = Leads(first)
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 500;:OUTP ON", 0.0)
    tester.send(10.0)
    leads.on = second
    tester.send(10.0)
    ask(tester, "OUTP OFF", 10.0)
    assert first.volts == 500.0
    assert abs(second.volts) < 1.0
    leads.on = first
    assert float(ask(tester, "MEAS:VOLT?", 70.0, 0.5)) < 10.0  # the tester discharges it
    first_left = first.volts
    assert first_left == pytest.approx(500.0 * 2.718281828**-5, rel=0.01)


def test_settings():
    tester = InsulationTwin(Leads(cable()))
    ask(tester, "VOLT 300", 0.0)
    assert wrong(tester) == [-224]
    ask(tester, "VOLT 2 KV", 2.0)
    assert wrong(tester) == [-222]
    assert ask(tester, "VOLT 0.25 KV;:VOLT?;:VOLT? MAX;:CURR:LIM?", 4.0) == (
        "+2.50000000E+02;+1.00000000E+03;+1.00000000E-03"
    )
    ask(tester, "OUTP ON;:VOLT 500", 6.0)
    assert wrong(tester) == [-221]
    assert ask(tester, "*RST;OUTP?;VOLT?;:TRIG:DEL?", 8.0) == "0;+5.00000000E+01;+6.00000000E+01"
    assert not tester.on


def test_leads_that_are_lifted_in_the_middle_of_a_test():
    first, air = cable(), Dielectric(1e15)
    leads = Leads(first)
    tester = InsulationTwin(leads)
    ask(tester, "VOLT 500;:TRIG:DEL 60;:INIT", 0.0)
    for tenth in range(20, 400):
        tester.send(tenth / 10)
    leads.on = air
    for tenth in range(400, 601):
        tester.send(tenth / 10)
    assert not tester.on
    assert float(ask(tester, "FETC?", 61.0)) == 9.9e37
    assert first.volts == 500.0  # what it held when the leads left it
    assert first.time == pytest.approx(40.0, abs=0.2)


def test_the_same_seed_reads_the_same():
    def run(seed):
        tester = InsulationTwin(Leads(cable()), seed=seed)
        return ask(tester, "VOLT 500;:TRIG:DEL 5;:READ?;:MEAS:VOLT?", 0.0, 20.0)

    assert run(3) == run(3)
    assert run(3) != run(4)
