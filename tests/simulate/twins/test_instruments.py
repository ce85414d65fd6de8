"""What every simulated instrument keeps: any message leaves it standing, and bytes may come singly."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.supply import SupplyTwin
from bench.simulate.world.dielectric import Branch, Dielectric
from tests.drawn import draws


class World:
    """All worlds at once, with values that change with time."""

    def __init__(self):
        self.insulation = Dielectric(3e9, 20e-9, (Branch(1e9, 5e-9),))

    def resistance(self, hi, lo, time):
        return math.inf if int(time) % 5 == 4 else 120.0 + time

    def four_wire(self, force_hi, sense_hi, sense_lo, force_lo, time):
        return math.nan if int(time) % 3 == 2 else 0.01

    def voltage(self, hi, lo, time, loading):
        return math.nan if int(time) % 7 == 6 else 0.0

    def ac_voltage(self, hi, lo, time, loading):
        return 3.0

    def current(self, into, out, time, burden):
        return 0.2 if time < 20 else 30.0

    def draw(self, volts, time):
        return (volts - (5.0 if time > 30 else 0.0)) / 7.0

    def hold(self, volts, time):
        pass

    def idle_voltage(self, time):
        return 5.0 if time > 30 else 0.0

    def specimen(self, time):
        return self.insulation

    def live_voltage(self, time):
        return 60.0 if 40 < time < 50 else 0.0

    def switched(self, closed, time):
        pass


def matrix(world):
    return MatrixTwin(world, rows=12)


MAKERS = [MeterTwin, SupplyTwin, InsulationTwin, matrix]


def headers(make):
    """Every header that the instrument declares, brackets taken away or with what they hold."""
    out = []
    instrument = make(World())
    for command in [*instrument._standard_commands(), *instrument.commands()]:
        full = command.header.replace("[", "").replace("]", "")
        brief, depth = "", 0
        for c in command.header:
            depth += (c == "[") - (c == "]")
            if depth == 0 and c != "]":
                brief += c
        for form in {full, brief.lstrip(":")}:
            out += [form] * (command.perform is not None)
            out += [form + "?"] * (command.query is not None)
    return sorted(set(out))


DATA = ["", " 1", " 0", " ON", " OFF", " MAX", " MIN", " DEF", " 100", " 0.05", " 5E8", " 3 KV", " BUS", " IMM",
        ' "RES"', ' "VOLT:AC"', " (@101:104)", " (@101,201)", " 10,0.1", " -7", " 1E999", " AUTO"]  # fmt: skip


def streams(make):
    words = st.sampled_from(headers(make))
    unit = st.tuples(words, st.sampled_from(DATA)).map("".join)
    message = st.lists(unit, min_size=1, max_size=4).map(";:".join).map(lambda m: m.replace(":*", "*") + "\n")
    return st.lists(st.tuples(message, st.sampled_from([0.0, 0.03, 0.5, 4.0])), max_size=12)


@pytest.mark.parametrize("make", MAKERS)
@draws(80)
@given(st.data())
@pytest.mark.quick_cases(2)
def test_any_commands_in_any_order(make, data):
    whole, single = make(World()), make(World())
    now = 0.0
    for message, pause in data.draw(streams(make)):
        raw = message.encode()
        whole.receive(raw, now)
        for k in range(len(raw)):
            single.receive(raw[k : k + 1], now)
        assert whole.errors.entries == single.errors.entries
        now += pause
        reply = whole.send(now)
        assert reply == single.send(now)
        assert reply == b"" or reply.endswith(b"\n")
        wake = whole.wake_at
        assert wake is None or wake > now  # else a server would spin
        assert len(whole.errors) <= whole.errors.capacity
    whole.clear(now)
    whole.receive(b"*RST;*CLS\n*ESR?;:SYST:ERR?\n", now + 5000)
    assert whole.send(now + 6000) == b'0;0,"No error"\n'


@pytest.mark.parametrize("make", MAKERS)
def test_every_command_is_understood(make):
    for header in headers(make):
        instrument = make(World())
        instrument.receive(header.encode() + b"\n", 0.0)
        instrument.send(5000.0)
        numbers = {entry.number for entry in instrument.errors.entries}
        assert not numbers & {-100, -101, -102, -110, -111, -112, -113, -114}, header
