"""Outside clients at the simulated meter's port, and outside simulators before our profile."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from bench.plant.load import load_plant
from bench.simulate.messages import Configuration, Move, Twin
from bench.simulate.process import SimulatedBench
from tests.walks.tool import JOB

PLANT = load_plant(JOB / "plant.yaml")


@pytest.fixture(params=["", "tcp"])
def running(request: pytest.FixtureRequest) -> Iterator[SimulatedBench]:
    configuration = Configuration(
        plant=PLANT.file, twins=[Twin(name="meter", kind="scpi-bench-meter")], seed=4, port=request.param, lead_ohms=0.2
    )
    with SimulatedBench(configuration) as bench:
        yield bench


def test_pyvisa_reads_the_simulated_meter(running: SimulatedBench) -> None:
    import pyvisa

    address = running.ports["meter"]
    if address.startswith("socket://"):
        host, port = address.removeprefix("socket://").split(":")
        name = f"TCPIP::{host}::{port}::SOCKET"
    else:
        name = f"ASRL{address}::INSTR"
    manager = pyvisa.ResourceManager("@py")
    meter = manager.open_resource(name, read_termination="\n", write_termination="\n", timeout=5000)
    try:
        assert meter.query("*IDN?").split(",")[1] == "scpi-bench-meter"  # type: ignore[attr-defined]
        running.move(Move(place=("J101.1", "J205.1")))
        meter.write("CONFigure:RESistance 100")  # type: ignore[attr-defined]
        meter.write("sens:res:nplc 1")  # type: ignore[attr-defined]
        ohms = float(meter.query("READ?"))  # type: ignore[attr-defined]
        expected = PLANT.conductors["W101.2"].expected(18.0).nominal_ohm + 0.2
        assert ohms == pytest.approx(expected, abs=0.03)
        running.move(Move(place=("J101.1", "J205.2")))
        assert float(meter.query("MEAS:RES?")) == 9.9e37  # type: ignore[attr-defined]
        meter.write("CONF:NONSENSE")  # type: ignore[attr-defined]
        assert meter.query("SYSTem:ERRor:NEXT?").startswith("-113,")  # type: ignore[attr-defined]
        assert int(meter.query("SYST:ERR?").split(",")[0]) == 0  # type: ignore[attr-defined]
    finally:
        meter.close()
        manager.close()


def test_the_simulated_bench_goes_with_the_program_that_started_it(running: SimulatedBench) -> None:
    process = running._process
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait(timeout=10) == 0


def test_hands_say_what_they_cannot_do(running: SimulatedBench) -> None:
    from bench.simulate.process import SimulationFailed

    with pytest.raises(SimulationFailed, match="J999"):
        running.move(Move(place=("J999.1", "J205.1")))
    running.move(Move(place=("J101.1", "J205.1")))
