"""A supply that has a new value only now and then says the one before in between, and the bench's facts know it."""

from __future__ import annotations

from msgspec.structs import replace

from bench.assemble import bench_facts
from bench.instruments.bench_file import parse_bench
from bench.instruments.profile.library import Library
from bench.quantity import Duration
from bench.simulate.twins.figures import shipped_profile
from bench.simulate.twins.supply import SupplyTwin
from tests.drivers.twins import Hall
from tests.power.small_hall import BENCH, ROOT


def test_a_figure_stands_until_the_profile_says_that_a_new_one_comes() -> None:
    told = shipped_profile("scpi-supply")
    functions = [replace(one, renews=Duration(3.0)) if one.reads == "current" else one for one in told.functions]
    hall = Hall()
    twin = SupplyTwin(hall, profile=replace(told, functions=functions))

    def ask(text: bytes, now: float) -> float:
        twin.receive(text + b"\n", now)
        return float(twin.send(now + 0.1))

    twin.receive(b"VOLT 12;:CURR 1;:OUTP ON\n", 0.0)
    first = ask(b"MEAS:CURR?", 1.0)
    hall.draw = lambda volts, time: 0.5  # type: ignore[method-assign]
    assert ask(b"MEAS:CURR?", 2.0) == ask(b"MEAS:CURR?", 3.8) == first
    assert abs(ask(b"MEAS:CURR?", 4.2) - 0.5) < 0.05
    assert ask(b"MEAS:VOLT?", 5.0) != 0.0


def test_the_facts_of_a_bench_say_how_often_its_ammeter_renews() -> None:
    bench = parse_bench(BENCH.format(faults=""), "bench.yaml", Library.for_job(ROOT))
    assert bench_facts(bench).for_role("supply").renews == {}  # type: ignore[union-attr]
    functions = [replace(one, renews=Duration(2.5)) for one in bench.profiles["supply"].functions]
    bench.profiles["supply"] = replace(bench.profiles["supply"], functions=functions)
    assert bench_facts(bench).for_role("supply").renews == {"voltage": 2.5, "current": 2.5}  # type: ignore[union-attr]
