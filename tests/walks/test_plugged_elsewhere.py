"""Unplugged, and plugged in again under another name: looked for by serial number, but only when a person tries again.

The system's list of serial ports shows no pseudo-terminals, so the list is given here; the ports themselves, and all
that goes over them, are real.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from bench.assemble import instrument_ports
from bench.instruments import discovery as finding
from bench.instruments.bench_file import parse_bench
from bench.instruments.ports.listing import Port
from bench.instruments.profile.library import Library
from bench.runner.crew import InstrumentCrew
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.supply import SupplyTwin
from bench.walk import events as e
from tests.benchmarks.bench_abort import Inbox, Watched
from tests.commands.test_ports_command import held
from tests.drivers.twins import Hall
from tests.instruments.server import served

BENCH = """\
bench: my bench
instruments:
  - {{name: meter, profile: scpi-bench-meter, port: {meter}, serial: '{serial}'}}
  - {{name: supply, profile: scpi-supply, port: {supply}, serial: '0002'}}
roles: {{ohms: meter, volts: meter, amps: meter, supply: supply}}
"""


def twin(kind: type, serial: str) -> Watched:
    return Watched(kind(Hall(), identity=f"Gannet Head,twin,{serial},1.0", now=time.monotonic()))


def heard(one: Watched) -> bytes:
    return b"".join(data for _, data in one.heard)


class Rig:
    """Ports, and a crew that is asked to meet the meter."""

    def __init__(self, stack: ExitStack, monkeypatch: pytest.MonkeyPatch) -> None:
        self.stack = stack
        self.listed: list[str] = []
        self.inbox = Inbox()
        self.number = 0
        monkeypatch.setattr(finding, "serial_ports", lambda: [Port(address) for address in self.listed])

    def plug(self, one: Watched, *, listed: bool = True):
        port = self.stack.enter_context(served(one))
        if listed:
            self.listed.append(port.address)
        return port

    def crew(self, meter: str, supply: str, serial: str = "0001") -> InstrumentCrew:
        text = BENCH.format(meter=meter, supply=supply, serial=serial)
        bench = parse_bench(text, "bench", Library.for_job())
        roles = {str(role): name for role, name in bench.role_of.items()}
        crew = InstrumentCrew(instrument_ports(bench, ("meter", "supply"), {}), roles, self.inbox.post)
        self.stack.callback(crew.close)
        return crew

    def meet(self, crew: InstrumentCrew) -> e.Met | e.Troubled:
        self.number += 1
        crew.meet(("ohms",), self.number)
        event = self.inbox.wait_for((e.Met, e.Troubled))
        assert isinstance(event, e.Met | e.Troubled) and event.number == self.number
        return event


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    with ExitStack() as stack:
        yield Rig(stack, monkeypatch)


def test_it_is_found_again_on_the_retry_of_a_person_who_was_told(rig: Rig) -> None:
    meter, supply, stranger, taken = (
        twin(MeterTwin, "0001"),
        twin(SupplyTwin, "0002"),
        twin(MeterTwin, "0009"),
        twin(MeterTwin, "0001"),
    )
    first, second = rig.plug(meter), rig.plug(supply)
    third, fourth = rig.plug(stranger), rig.plug(taken)
    crew = rig.crew(first.address, second.address)
    met = rig.meet(crew)
    assert isinstance(met, e.Met) and met.address == first.address
    first.close()
    rig.listed.remove(first.address)
    again = rig.plug(meter)
    with held(fourth.address):
        lost = rig.meet(crew)
        assert isinstance(lost, e.Troubled) and lost.kind == "lost"
        assert "try again: then every serial port that is free is asked who is there" in lost.advice
        assert "serial number 0001" in lost.advice
        # nothing was sent anywhere before the person tried again
        assert heard(stranger) == heard(taken) == heard(supply) == b""
        found = rig.meet(crew)
    assert isinstance(found, e.Met), found
    assert (found.address, found.serial) == (again.address, "0001")
    assert again.address != third.address
    # a stranger was asked its name; the bench's other instrument and a port that another program has were let be
    assert heard(stranger) == b"*IDN?\n"
    assert heard(supply) == heard(taken) == b""
    # from now on it is opened where it was found
    assert isinstance(rig.meet(crew), e.Met)


def test_where_it_is_nowhere_the_person_is_told_where_it_was_looked_for(rig: Rig) -> None:
    stranger, supply = twin(MeterTwin, "0009"), twin(SupplyTwin, "0002")
    port, other = rig.plug(stranger), rig.plug(supply)
    crew = rig.crew("/dev/ttyUSB7", other.address)
    assert isinstance(rig.meet(crew), e.Troubled)
    lost = rig.meet(crew)
    assert isinstance(lost, e.Troubled) and lost.kind == "lost"
    assert f"serial number 0001, was not found on any free port; asked: {port.address}" in lost.what


def test_without_a_serial_number_nothing_is_asked(rig: Rig) -> None:
    stranger, supply = twin(MeterTwin, "0009"), twin(SupplyTwin, "0002")
    rig.plug(stranger)
    crew = rig.crew("/dev/ttyUSB7", rig.plug(supply).address, serial="")
    for _ in range(3):
        lost = rig.meet(crew)
        assert isinstance(lost, e.Troubled) and lost.kind == "lost"
        assert "every serial port" not in lost.advice
    assert heard(stranger) == b""


@pytest.mark.parametrize("address", ["socket://127.0.0.1:1", "TCPIP0::192.0.2.1::INSTR"])
def test_what_is_on_no_serial_port_is_not_looked_for_on_them(address: str, tmp_path: Path) -> None:
    profile = Library.for_job().profile("scpi-bench-meter")
    assert not finding.identifies_by_serial(profile, "0001", address)
    assert finding.identifies_by_serial(profile, "0001", "/dev/ttyUSB0")
    polled = Library.for_job().profile("polled-text-meter")
    assert not finding.identifies_by_serial(polled, "0001", "/dev/ttyUSB0")
