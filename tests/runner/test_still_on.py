"""A reading that needs a supply's output counts only where that was read back on before it and after it."""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.assemble import instrument_ports
from bench.instruments.bench_file import load_bench
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.values import Expected
from bench.quantity import Current, Voltage
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened, WentOff
from bench.sequence.file import Limit, Measure, Set, Single
from bench.sequence.plan import Step
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.supply import SupplyTwin
from bench.walk import events as e
from tests.drivers.twins import Hall
from tests.instruments.server import LIBRARY, served


def _step(source: Single) -> Step:
    return Step(index=0, key="1", kind="x", title="", text="", section="", source=source, subject="s")


ON = _step(Set(text="", output="on", voltage=Voltage(48.0), current_limit=Current(1.0)))
OFF = _step(Set(text="", output="off"))
READ = _step(
    Measure(read="voltage", between=("J1.1", "J1.2"), limit=Limit(at_most=Voltage(1.0), source="none may be there"))
)


@dataclass
class At:
    """A crew with a meter and a supply on real ports, and the twins behind them."""

    crew: InstrumentCrew
    inbox: queue.Queue[object]
    supply: SupplyTwin
    meter: MeterTwin
    unplug: Callable[[], None]
    port: str

    def next_of(self, kind: type) -> object:
        """The next message of a kind."""
        while True:
            message = self.inbox.get(timeout=60)
            if isinstance(message, kind):
                return message

    def next(self) -> e.Event:
        """What happened next."""
        while True:
            message = self.inbox.get(timeout=60)
            if isinstance(message, Happened):
                return message.event


def _port(name: str, profile: str, address: str) -> InstrumentPort:
    told = LIBRARY.profile(profile)
    return InstrumentPort(name, lambda: Instrument(told, open_port(address, told.line)), told.safe is not None)


@pytest.fixture
def at() -> Iterator[At]:
    world = Hall()
    supply, meter = SupplyTwin(world), MeterTwin(world, error_scale=0.0)
    inbox: queue.Queue[object] = queue.Queue()
    with served(supply) as first, served(meter) as second:
        ports = [
            _port("supply", "scpi-supply", first.address),
            _port("meter", "scpi-bench-meter", second.address),
        ]
        crew = InstrumentCrew(ports, {"supply": "supply", "volts": "meter"}, inbox.put)
        made = At(crew, inbox, supply, meter, first.close, first.address)
        try:
            for number, role in enumerate(("supply", "volts")):
                crew.meet((role,), number)
                assert isinstance(made.next(), e.Met)
            crew.switch(ON, 2)
            switched = made.next()
            assert isinstance(switched, e.Switched) and switched.state == "on"
            yield made
        finally:
            crew.close()


def test_a_reading_counts_while_the_output_is_on_and_after_it_was_switched_off_on_purpose(at: At) -> None:
    at.crew.measure(READ, 3)
    assert isinstance(at.next(), e.Read)
    at.crew.switch(OFF, 4)
    assert isinstance(at.next(), e.Switched)
    at.crew.measure(READ, 5)
    assert isinstance(at.next(), e.Read)


def test_a_supply_that_tripped_is_named_and_nothing_is_read(at: At) -> None:
    at.supply.on = False
    for number in (3, 4):  # however often it is tried
        at.crew.measure(READ, number)
        trouble = at.next()
        assert isinstance(trouble, e.Troubled), trouble
        assert (trouble.instrument, trouble.kind, trouble.number) == ("supply", "mismatch", number)
        assert "before the reading" in trouble.what and "Pause" in trouble.advice


def test_a_supply_that_trips_during_the_reading_takes_the_reading_with_it(at: At) -> None:
    class Tripping(Hall):
        def voltage(self, hi: object, lo: object, time: float, loading: float) -> float:
            at.supply.on = False
            return 0.0

    at.meter.world = Tripping()  # type: ignore[assignment]
    at.crew.measure(READ, 3)
    trouble = at.next()
    assert isinstance(trouble, e.Troubled) and trouble.instrument == "supply"
    assert "while the reading was taken" in trouble.what


def test_after_everything_was_made_safe_no_output_is_counted_on(at: At) -> None:
    at.supply.on = False
    at.crew.measure(READ, 3)
    assert isinstance(at.next(), e.Troubled)
    at.crew.make_safe(4)
    assert isinstance(at.next(), e.MadeSafe)
    at.crew.measure(READ, 5)
    assert isinstance(at.next(), e.Read)


def test_an_output_that_went_off_is_told_though_nothing_is_read(at: At) -> None:
    at.supply.on = False
    gone = at.next_of(WentOff)
    assert isinstance(gone, WentOff) and gone.instrument == "supply" and "look for a short" in gone.what


def test_a_supply_that_was_unplugged_is_told_though_nothing_is_read(at: At) -> None:
    at.unplug()
    gone = at.next_of(WentOff)
    assert isinstance(gone, WentOff) and gone.instrument == "supply" and "not known to be on" in gone.what


def test_that_it_was_off_already_is_told_where_it_is_to_go_off(at: At) -> None:
    at.crew.switch(OFF, 3)
    switched = at.next()
    assert isinstance(switched, e.Switched) and not switched.already
    at.crew.switch(ON, 4)
    assert isinstance(at.next(), e.Switched)
    at.supply.on = False
    at.crew.switch(OFF, 5)
    switched = at.next()
    assert isinstance(switched, e.Switched) and switched.state == "off" and switched.already


def test_an_output_that_is_off_on_purpose_is_not_missed(at: At) -> None:
    at.crew.switch(OFF, 3)
    assert isinstance(at.next(), e.Switched)
    at.crew.switch(ON, 4)
    assert isinstance(at.next(), e.Switched)
    at.crew.make_safe(5)
    while True:
        message = at.inbox.get(timeout=60)
        assert not isinstance(message, WentOff)
        if isinstance(message, Happened) and isinstance(message.event, e.MadeSafe):
            return


def test_an_instrument_has_the_time_to_become_safe_that_its_profile_gives_it() -> None:
    bench = load_bench(Path("sequences/gannet-head/benches/simulated.yaml"))
    ports = {port.name: port for port in instrument_ports(bench, bench.profiles, {})}
    tester = ports[bench.role_of["insulation"]]
    assert tester.safe_within == 30.0
    crew = InstrumentCrew([tester], {"insulation": tester.name}, lambda message: None)
    try:
        assert crew.safe_within > 30.0
    finally:
        crew.close()


def test_who_answers_is_shown_once_before_an_output_is_used(at: At) -> None:
    address = at.port
    profile = LIBRARY.profile("scpi-supply")
    at.crew.close()
    for identity, kinds in (
        ("", [e.Troubled, e.Met, e.Met]),
        ("Gannet Head,bench supply,0001,9.9", [e.Met]),
        ("Gannet Head,bench supply,0007,1.0", [e.Troubled, e.Troubled]),
    ):
        inbox: queue.Queue[object] = queue.Queue()
        port = InstrumentPort(
            "supply",
            lambda: Instrument(profile, open_port(address, profile.line), expected=Expected(identity=identity)),  # noqa: B023
            True,
            confirm=not identity,
        )
        crew = InstrumentCrew([port], {"supply": "supply"}, inbox.put)
        try:
            for number, kind in enumerate(kinds):
                crew.meet(("supply",), number)
                message = inbox.get(timeout=60)
                assert isinstance(message, Happened) and isinstance(message.event, kind), message
                if isinstance(message.event, e.Troubled):
                    assert message.event.kind == "stranger"
                    assert "Gannet Head,bench supply,0001" in message.event.what
                    crew.agreed("supply")
        finally:
            crew.close()
