"""Identity before power: who answers is asked who it is and how it stands, and told nothing before that."""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import msgspec
import pytest

from bench.files import Inconsistent
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Profile
from bench.instruments.values import Expected
from bench.instruments.wire_text import WireText
from bench.quantity import Amount
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened
from bench.sequence.file import Limit, Measure
from bench.sequence.plan import Step
from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.supply import SupplyTwin
from bench.walk import events as e
from tests.drivers.twins import Hall
from tests.instruments.server import LIBRARY, served

KINDS: dict[str, Callable[..., object]] = {
    "scpi-supply": SupplyTwin,
    "scpi-insulation-tester": InsulationTwin,
    "scpi-relay-matrix": MatrixTwin,
}
NAMED = "Gannet Head,somebody else's,0042,1.0"


class Heard:
    """What is behind a port, with every line that came to it."""

    def __init__(self, engine: object) -> None:
        self.engine = engine
        self.bytes = b""

    @property
    def told(self) -> list[bytes]:
        """Lines that are no question."""
        return [line for line in self.bytes.split(b"\n") if line and not line.endswith(b"?")]

    def receive(self, data: bytes, now: float) -> None:
        self.bytes += data
        self.engine.receive(data, now)  # type: ignore[attr-defined]

    def send(self, now: float) -> bytes:
        return self.engine.send(now)  # type: ignore[attr-defined,no-any-return]

    @property
    def wake_at(self) -> float | None:
        return self.engine.wake_at  # type: ignore[attr-defined,no-any-return]


@dataclass
class Rig:
    """A crew with one instrument that nobody has named yet, and what really answers on its port."""

    crew: InstrumentCrew
    heard: Heard
    inbox: queue.Queue[object]
    role: str
    number: int = 0

    def next(self) -> e.Event:
        while True:
            message = self.inbox.get(timeout=60)
            if isinstance(message, Happened):
                return message.event

    def meet(self) -> e.Event:
        self.number += 1
        self.crew.meet((self.role,), self.number)
        return self.next()

    def make_safe(self) -> e.MadeSafe:
        self.number += 1
        self.crew.make_safe(self.number)
        event = self.next()
        assert isinstance(event, e.MadeSafe)
        return event


@pytest.fixture(params=KINDS)
def rig(request: pytest.FixtureRequest) -> Iterator[Rig]:
    """An instrument with an output, of a kind whose name any four fields match."""
    profile = LIBRARY.profile(request.param)
    heard = Heard(KINDS[request.param](Hall(), identity=NAMED))
    inbox: queue.Queue[object] = queue.Queue()
    with served(heard) as port:
        opener = lambda: Instrument(profile, open_port(port.address, profile.line))  # noqa: E731
        crew = InstrumentCrew([InstrumentPort("it", opener, True, confirm=True)], {profile.roles[0]: "it"}, inbox.put)
        try:
            yield Rig(crew, heard, inbox, profile.roles[0])
        finally:
            crew.close()


def test_a_walk_that_begins_asks_a_stranger_and_tells_it_nothing(rig: Rig) -> None:
    assert rig.make_safe().confirmed == {"it": True}, "it is off, and was found so"
    told = rig.meet()
    assert isinstance(told, e.Troubled) and told.kind == "stranger" and NAMED in told.what
    assert rig.heard.bytes and rig.heard.told == []
    # nobody has answered: it is neither met nor told anything by being asked again, by pauses, or by giving up
    again = rig.meet()
    assert isinstance(again, e.Troubled) and again.kind == "stranger"
    assert rig.make_safe().confirmed == {"it": True}
    assert rig.heard.told == []


def test_after_a_person_has_said_that_it_is_the_one_it_is_set_up(rig: Rig) -> None:
    rig.make_safe()
    assert isinstance(rig.meet(), e.Troubled)
    rig.crew.agreed("it")
    met = rig.meet()
    assert isinstance(met, e.Met) and met.identity == NAMED
    assert b"*RST" in rig.heard.told
    # and what it was asked before it was told anything is how its output stands
    before = rig.heard.bytes.partition(b"*RST")[0]
    assert b"OUTP?" in before or b"ROUT:CLOS:STAT?" in before or b"MEAS:VOLT?" in before or rig.role == "insulation"


def test_a_stranger_that_feeds_something_is_not_switched_off_in_silence() -> None:
    """It was somebody's own supply, on at 50 V: a person decides what becomes of it."""
    profile = LIBRARY.profile("scpi-supply")
    twin = SupplyTwin(Hall(), identity=NAMED)
    twin.receive(b"VOLT 50\nCURR 1\nOUTP ON\n", 0.0)
    assert twin.on
    heard, inbox = Heard(twin), queue.Queue[object]()
    with served(heard) as port:
        opener = lambda: Instrument(profile, open_port(port.address, profile.line))  # noqa: E731
        crew = InstrumentCrew([InstrumentPort("it", opener, True, confirm=True)], {"supply": "it"}, inbox.put)
        rig = Rig(crew, heard, inbox, "supply")
        try:
            made = rig.make_safe()
            assert made.confirmed == {"it": False}
            assert NAMED in made.left[0] and "not told to go off" in made.left[0]
            crew.agreed("it")  # nobody was asked yet: to try again is no word for it
            assert rig.make_safe().confirmed == {"it": False}
            assert heard.told == [] and twin.on
            twin.on = False  # by hand
            assert rig.make_safe().confirmed == {"it": True}
        finally:
            crew.close()


def test_an_instrument_that_does_not_say_how_its_output_stands_is_not_set_up() -> None:
    class Vague(SupplyTwin):
        def receive(self, data: bytes, now: float) -> None:
            super().receive(data.replace(b"OUTP?", b"CURR?"), now)

    profile = LIBRARY.profile("scpi-supply")
    heard, inbox = Heard(Vague(Hall(), identity=NAMED)), queue.Queue[object]()
    with served(heard) as port:
        opener = lambda: Instrument(  # noqa: E731
            profile, open_port(port.address, profile.line), expected=Expected(identity=NAMED)
        )
        crew = InstrumentCrew([InstrumentPort("it", opener, True)], {"supply": "it"}, inbox.put)
        try:
            told = Rig(crew, heard, inbox, "supply").meet()
            assert isinstance(told, e.Troubled) and told.kind == "mismatch" and "neither" in told.what
            assert heard.told == []
        finally:
            crew.close()


@pytest.mark.parametrize("where", ["setup", "wake", "safe", "off", "prepare"])
def test_a_profile_that_switches_on_where_nobody_asks_for_it_is_refused(where: str) -> None:
    good = LIBRARY.profile("scpi-supply")
    (output,) = good.outputs
    replace = msgspec.structs.replace
    slips: dict[str, Callable[[], Profile]] = {
        "setup": lambda: replace(good, setup=["*RST", "OUTP ON"]),
        "wake": lambda: replace(good, line=replace(good.line, wake=[WireText(b"\rOUTP ON\r")])),
        "safe": lambda: replace(good, safe=replace(good.safe, send=["OUTP ON"])),
        "off": lambda: replace(good, outputs=[replace(output, off=["OUTP ON"])]),
        "prepare": lambda: replace(good, outputs=[replace(output, prepare=["OUTP ON"])]),
    }
    with pytest.raises(Inconsistent, match="switches on"):
        slips[where]()


def test_a_meter_that_was_exchanged_within_a_walk_is_taken_when_a_person_says_so() -> None:
    profile = LIBRARY.profile("scpi-thermometer")
    from bench.simulate.twins.thermometer import ThermometerTwin

    inbox: queue.Queue[object] = queue.Queue()
    first = ThermometerTwin(Hall(), identity="Gannet Head,thermometer,0001,1.0")
    other = ThermometerTwin(Hall(), identity="Gannet Head,thermometer,0002,1.0")
    with served(first) as one, served(other) as two:
        at = [one.address]
        opener = lambda: Instrument(profile, open_port(at[0], profile.line))  # noqa: E731
        crew = InstrumentCrew([InstrumentPort("it", opener, False)], {"thermometer": "it"}, inbox.put)
        rig = Rig(crew, Heard(first), inbox, "thermometer")
        try:
            assert isinstance(rig.meet(), e.Met)
            at[0] = two.address
            for _ in range(2):
                told = rig.meet()
                assert isinstance(told, e.Troubled) and told.kind == "stranger" and "0002" in told.what
                assert "checked anew" in told.advice
            crew.agreed("it")
            met = rig.meet()
            assert isinstance(met, e.Met) and met.serial == "0002"
            at[0] = one.address
            told = rig.meet()
            assert isinstance(told, e.Troubled), "the first one is the stranger now"
        finally:
            crew.close()


def test_a_meter_without_a_number_that_was_away_may_be_another_one_and_one_with_a_number_tells() -> None:
    """Its plug went into a second meter of the same kind, and nothing that comes over the wire says so."""
    from bench.simulate.twins.handhelds import PolledText
    from bench.simulate.twins.meter import MeterTwin

    kinds = {
        "polled-text-meter": lambda: PolledText(Hall(), dial="resistance"),
        "scpi-bench-meter": lambda: MeterTwin(Hall()),
    }
    for name, twin in kinds.items():
        profile, inbox = LIBRARY.profile(name), queue.Queue[object]()
        with served(twin()) as one, served(twin()) as other:
            at = [one]
            opener = lambda: Instrument(profile, open_port(at[0].address))  # noqa: B023, E731
            crew = InstrumentCrew([InstrumentPort("it", opener, False)], {"ohms": "it"}, inbox.put)
            rig = Rig(crew, Heard(one), inbox, "ohms")
            try:
                first = rig.meet()  # of this process: a walk that goes on may have met another one before
                assert isinstance(first, e.Met) and first.other == (name == "polled-text-meter"), first
                again = rig.meet()
                assert isinstance(again, e.Met) and not again.other, "it was there all the time"
                one.close()
                at[0] = other
                crew.measure(reading(), 77)
                gone = rig.next()
                assert isinstance(gone, e.Troubled) and gone.kind in ("lost", "silent"), gone
                met = rig.meet()
                assert isinstance(met, e.Met) and met.other == (name == "polled-text-meter")
            finally:
                crew.close()


def reading() -> Step:
    limit = Limit(at_most=Amount(1.0, "Ω"), source="none")
    source = Measure(read="resistance", between=("J1.1", "J1.2"), limit=limit)
    return Step(0, "0", "measure", "read", "", "", source, "")


def test_an_output_without_a_number_of_its_own_is_asked_about_again_after_it_was_out_of_sight() -> None:
    """Its plug went into another one of the same kind, and nothing that it answers says so."""
    profile = LIBRARY.profile("scpi-supply")
    heard, inbox = Heard(SupplyTwin(Hall(), identity="Gannet Head,bench supply,0,1.0")), queue.Queue[object]()
    away: list[str] = []
    with served(heard) as port:

        def opener() -> Instrument:
            if away:
                raise InstrumentTrouble("lost", away.pop())
            return Instrument(profile, open_port(port.address, profile.line))

        crew = InstrumentCrew([InstrumentPort("it", opener, True, confirm=True)], {"supply": "it"}, inbox.put)
        rig = Rig(crew, heard, inbox, "supply")
        try:
            first = rig.meet()
            assert isinstance(first, e.Troubled) and "asked at each start" in first.advice
            crew.agreed("it")
            assert isinstance(rig.meet(), e.Met)
            again = rig.meet()
            assert isinstance(again, e.Met) and not again.other, "it was there all the time"
            away.append("Its cable is out.")
            assert isinstance(rig.meet(), e.Troubled)
            told = len(heard.told)
            asked = rig.meet()
            assert isinstance(asked, e.Troubled) and asked.kind == "stranger" and len(heard.told) == told
            # what was met a moment ago is told to go off all the same
            away.append("Its cable is out.")
            rig.meet()
            assert rig.make_safe().confirmed == {"it": True} and len(heard.told) > told
            rig.meet()
            crew.agreed("it")
            met = rig.meet()
            assert isinstance(met, e.Met) and met.other
        finally:
            crew.close()
