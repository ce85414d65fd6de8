"""A reading through a relay matrix on real ports: closed, read back, read, read back, opened; or trouble."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from bench.files import Place
from bench.instruments.matrix_wiring import Routes
from bench.quantity import Amount, Resistance
from bench.runner.crew import InstrumentCrew
from bench.runner.ports import Manner
from bench.runner.routed import RoutedHands, channels_for
from bench.sequence.file import Limit, Measure, Prove, Zero
from bench.sequence.plan import Step
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.meter import MeterTwin
from bench.walk import events as e
from bench.walk import requests as r
from tests.benchmarks.bench_abort import Inbox, Watched, _member
from tests.instruments.server import Bars, served
from tests.runner.fake_world import FakeScreen, world
from tests.walk.paper_walk import Made

ROLES = {"ohms": "meter", "volts": "meter", "amps": "meter"}
SAME = b"-5.34000000E+01"
ROUTES = Routes(
    "matrix",
    "meter",
    6,
    frozenset({"resistance"}),
    {f"J1.{n}": f"1{n:02}" for n in range(1, 9)},
    {f"J1.{n}": f"2{n:02}" for n in range(1, 9)},
    {"together": ("197", "298")},
    {"J1.1": ("instruments[1].wired.rows", Place("bench.yaml"))},
)


def step(source: Any) -> Step:
    return Step(0, "0", source.__struct_config__.tag, "read", "", "", source, "")


def reading(red: str, black: str, **more: Any) -> Step:
    limit = Limit(at_most=Amount(1.0, "Ω"), source="none")
    return step(Measure(read=more.pop("read", "resistance"), between=(red, black), limit=limit, **more))


@pytest.mark.parametrize(
    ("wanted", "channels"),
    [
        (reading("J1.1", "J1.2"), ("101", "202")),
        (reading("J1.1", "J1.2", join=[["J1.1", "J1.3"], ["J1.2", "J1.4"]]), ("101", "103", "202", "204")),
        (reading("J1.1", "J1.2", join=[["J1.3", "J1.4"]]), None),
        (reading("J1.1", "J1.2", join=[["J1.1", "J1.2"]]), None),
        (reading("J1.1", "J2.2"), None),
        (reading("J1.1", "J1.2", wires=4), None),
        (reading("J1.1", "J1.2", read="voltage"), None),
        (reading("J1.1", "J1.2", read="insulation"), None),
        (step(Zero(at_most=Resistance(2.0))), ("197", "298")),
        (step(Prove(against="reference")), None),
        (step(Prove(against="open-leads")), ()),
        (step(Prove(against="live-source", read="voltage")), None),
    ],
    ids=[
        "two places",
        "a group on each bus",
        "a group that no lead is on",
        "both leads in one group",
        "a place that is not wired",
        "four wires",
        "volts, which it may not carry",
        "a test voltage",
        "leads together",
        "no reference wired",
        "open leads: nothing closed",
        "a live source",
    ],
)
def test_what_the_matrix_reaches(wanted: Step, channels: tuple[str, ...] | None) -> None:
    assert channels_for(ROUTES, ROLES, wanted) == channels
    assert RoutedHands(Nobody(), ROUTES, ROLES).reaches(wanted) == ("matrix" if channels is not None else "")


def test_another_meter_is_not_behind_the_relays() -> None:
    assert channels_for(ROUTES, {"ohms": "the old meter"}, reading("J1.1", "J1.2")) is None


@dataclass
class Nobody:
    """Hands that note what they were asked."""

    name: str = "nobody"
    did: list[str] = field(default_factory=list)

    def reaches(self, step: Step) -> str:
        return ""

    def place(self, step: Step) -> None:
        self.did.append("place")

    def lift(self) -> None:
        self.did.append("lift")

    def act(self, step: Step) -> None:
        self.did.append("act")

    def answer(self, step: Step) -> str:
        return ""

    def jump(self, seconds: float) -> bool:
        return False


def test_probes_are_off_where_the_matrix_places_and_on_where_it_does_not() -> None:
    hands = Nobody()
    routed = RoutedHands(hands, ROUTES, ROLES)
    routed.place(reading("J1.1", "J1.2"))
    routed.place(reading("J1.1", "J2.2"))
    assert hands.did == ["lift", "place"]


class Relays:
    """Where the matrix of the tests puts its contacts; a meter reads 5 ohms through a closed pair."""

    def __init__(self) -> None:
        self.closed: frozenset[int] = frozenset()
        self.history: list[frozenset[int]] = []

    def switched(self, closed: frozenset[int], time: float) -> None:
        self.closed = closed
        self.history.append(closed)


class Behind(Bars):
    """What the meter sees behind the relays."""

    def __init__(self, relays: Relays) -> None:
        super().__init__(ohms=5.0)
        self._relays = relays
        self.seen: list[frozenset[int]] = []
        self.feeds = False
        """There is a feed behind them; ohms are read of what is dead."""

    def resistance(self, hi: str, lo: str, time: float) -> float:
        self.seen.append(self._relays.closed)
        # no two wires are quite alike
        return 5.0 + 0.01 * (103 in self._relays.closed) if self._relays.closed else float("inf")

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        if not self.feeds:
            return 0.0
        self.seen.append(self._relays.closed)
        return -53.4 if self._relays.closed else 0.0


class Sticking(Watched):
    """A meter that gives one figure again and again, whatever it is on, while it is stuck."""

    stuck = False

    def send(self, now: float) -> bytes:
        data: bytes = super().send(now)
        return re.sub(rb"\+[45]\.\d{8}E\+00|\+9\.9\d*E\+37", b"+5.00000000E+00", data, count=1) if self.stuck else data


class Lying(Watched):
    """A matrix that does something else than it is told from some question on."""

    def __init__(self, engine: MatrixTwin, *, upset_at: int = -1) -> None:
        super().__init__(engine)
        self.asked = 0
        self.upset_at = upset_at
        """At this question for the closed channels somebody switches it off and on first."""

    def receive(self, data: bytes, now: float) -> None:
        self.asked += data.count(b"ROUT:CLOS:STAT?")
        if self.upset_at == self.asked and b"STAT?" in data:
            self.engine.reset(now)
        super().receive(data, now)


@dataclass
class Rig:
    crew: InstrumentCrew
    inbox: Inbox
    relays: Relays
    seen: list[frozenset[int]]
    matrix: Lying
    meter: Sticking
    matrix_port: Any


@contextmanager
def at_work(
    *, upset_at: int = -1, dead_after: bytes = b"", carries: str = "resistance", **stuck: list[int]
) -> Iterator[Rig]:
    relays = Relays()
    behind = Behind(relays)
    behind.feeds = carries == "voltage"
    matrix = Lying(MatrixTwin(relays, rows=99, **stuck), upset_at=upset_at)
    meter = Sticking(MeterTwin(behind, seed=1, lead_ohms=0.0), dead_after=dead_after)
    inbox = Inbox()
    with served(matrix) as matrix_port, served(meter) as meter_port:
        members = [
            _member("matrix", "scpi-relay-matrix", matrix_port.address),
            _member("meter", "scpi-bench-meter", meter_port.address),
        ]
        routes = replace(ROUTES, reads=frozenset({carries}))
        crew = InstrumentCrew(members, ROLES, inbox.post, routes=routes)
        try:
            crew.make_safe(0)
            safe = inbox.wait_for(e.MadeSafe)
            assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"matrix": True}
            crew.meet(("ohms",), 1)
            inbox.wait_for(e.Met)
            yield Rig(crew, inbox, relays, behind.seen, matrix, meter, matrix_port)
        finally:
            crew.close()


def test_the_route_is_closed_for_the_reading_and_open_after() -> None:
    with at_work() as rig:
        for number, (red, black) in enumerate([("J1.1", "J1.2"), ("J1.3", "J1.2")], 2):
            rig.crew.measure(reading(red, black), number)
            read = rig.inbox.wait_for((e.Read, e.Troubled))
            assert isinstance(read, e.Read) and read.number == number
            assert read.instrument == "meter" and read.value == pytest.approx(5.0, abs=0.1)
            assert read.raw[-1] == f"matrix: (@10{1 if number == 2 else 3},202)\\n", (
                "what the matrix said is kept with it"
            )
            assert rig.relays.closed == frozenset(), "open before the reading counts"
        assert set(rig.seen) == {frozenset({101, 202}), frozenset({103, 202})}
        # break before make: what is closed goes through nothing closed
        moved = [closed for closed in rig.relays.history if closed]
        assert all(len(closed) <= 2 for closed in moved)


def nth(index: int, red: str, black: str) -> Step:
    """A reading that is the plan's step of this index."""
    return replace(reading(red, black), index=index)


def test_a_meter_that_is_stuck_at_its_last_value_is_found_with_every_relay_open() -> None:
    with at_work() as rig:
        rig.meter.stuck = True
        came = []
        for number, red in enumerate(("J1.1", "J1.3", "J1.4"), 2):
            rig.crew.measure(nth(number, red, "J1.2"), number)
            came.append(rig.inbox.wait_for((e.Read, e.Troubled)))
        assert isinstance(came[0], e.Read)
        assert isinstance(came[1], e.Troubled) and came[1].kind == "stuck"
        assert "with every relay open" in came[1].what
        assert rig.relays.closed == frozenset()


@pytest.mark.parametrize("stands_still", [True, False])
def test_volts_that_stay_with_every_relay_open_are_a_stuck_meters(stands_still: bool) -> None:
    class Alike(Sticking):
        def send(self, now: float) -> bytes:
            data = Watched.send(self, now)
            # a feed reads alike at every place; with the relays open it is gone, but for a display that stands still
            return re.sub(rb"-5[0-9.]+E\+01|[+-]\d\.\d+E-\d\d" if stands_still else rb"-5[0-9.]+E\+01", SAME, data)

    with at_work(carries="voltage") as rig:
        rig.meter.__class__ = Alike
        came = []
        for number, red in enumerate(("J1.1", "J1.3", "J1.4", "J1.5"), 2):
            rig.crew.measure(replace(reading(red, "J1.2", read="voltage"), index=number), number)
            came.append(rig.inbox.wait_for((e.Read, e.Troubled)))
        assert isinstance(came[0], e.Read) and came[0].value == pytest.approx(-53.4, abs=0.01)
        kinds = [one.kind if isinstance(one, e.Troubled) else "read" for one in came]
        assert kinds == (["read", "stuck"] * 2 if stands_still else ["read"] * 4)
        assert frozenset() in rig.seen


def test_wires_that_read_alike_are_no_stuck_meter_where_it_reads_open_between_them() -> None:
    class Alike(Sticking):
        def send(self, now: float) -> bytes:
            data = Watched.send(self, now)
            return re.sub(rb"\+[45]\.\d{8}E\+00", b"+5.00000000E+00", data)

    with at_work() as rig:
        rig.meter.__class__ = Alike
        for number, red in enumerate(("J1.1", "J1.3", "J1.4", "J1.5"), 2):
            rig.crew.measure(nth(number, red, "J1.2"), number)
            assert isinstance(rig.inbox.wait_for((e.Read, e.Troubled)), e.Read)
        assert frozenset() in rig.seen


def test_without_relays_a_person_is_asked_to_look_after_three_places_with_the_same_digits() -> None:
    with at_work() as rig:
        rig.meter.stuck = True
        came = []
        for number in range(2, 6):
            rig.crew.live(nth(number, "J1.1", f"J2.{number}"))
            rig.inbox.wait_for_sample()
            rig.crew.live(None)
            rig.crew.measure(nth(number, "J1.1", f"J2.{number}"), number)
            came.append(rig.inbox.wait_for((e.Read, e.Troubled)))
        assert [type(one) for one in came] == [e.Read, e.Read, e.Troubled, e.Read]
        assert came[2].kind == "stuck" and "same digits at 3 places" in came[2].what


def test_wires_that_read_alike_are_no_stuck_meter_where_nobody_saw_it_stand_still() -> None:
    with at_work() as rig:
        rig.meter.stuck = True
        for number in range(2, 8):
            if number > 4:  # or where it was seen to move while the probes were lifted
                rig.meter.stuck = False
                rig.crew.live(nth(number, "J1.1", f"J2.{number}"))
                rig.inbox.wait_for_sample()
                rig.crew.live(None)
                rig.meter.stuck = True
            rig.crew.measure(nth(number, "J1.1", f"J2.{number}"), number)
            assert isinstance(rig.inbox.wait_for((e.Read, e.Troubled)), e.Read)


def test_a_reading_for_hands_is_taken_with_all_relays_open() -> None:
    with at_work() as rig:
        rig.crew.measure(reading("J1.1", "J2.1"), 2)
        read = rig.inbox.wait_for((e.Read, e.Troubled))
        assert isinstance(read, e.Read) and read.over == "+"
        assert set(rig.seen) == {frozenset()}


# the questions for the closed channels: 1 as found, 2 made safe, 3 opened, 4 closed, 5 after the reading, 6 opened
@pytest.mark.parametrize("upset_at", [4, 5])
def test_relays_that_are_not_as_told_make_trouble_and_no_reading(upset_at: int) -> None:
    with at_work(upset_at=upset_at) as rig:
        rig.crew.measure(reading("J1.1", "J1.2"), 2)
        event = rig.inbox.wait_for((e.Read, e.Troubled))
        assert isinstance(event, e.Troubled)
        assert (event.instrument, event.kind) == ("matrix", "mismatch")
        assert "should be 101, 202" in event.what
        assert rig.relays.closed == frozenset()
        # and goes on from the same step
        rig.crew.measure(reading("J1.1", "J1.2"), 3)
        assert isinstance(rig.inbox.wait_for((e.Read, e.Troubled)), e.Read)


def test_a_meter_that_hangs_leaves_no_route_closed() -> None:
    with at_work(dead_after=b"READ?") as rig:
        rig.crew.measure(reading("J1.1", "J1.2"), 2)
        assert rig.meter.dead.wait(30.0)
        assert rig.relays.closed == frozenset({101, 202})
        rig.crew.drop_work()
        rig.crew.make_safe(3)
        safe = rig.inbox.wait_for((e.MadeSafe, e.Read))
        assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"matrix": True}
        assert rig.relays.closed == frozenset()


def test_a_route_that_was_asked_for_before_making_safe_is_not_closed_after() -> None:
    with at_work(dead_after=b"READ?") as rig:
        rig.crew.measure(reading("J1.1", "J1.2"), 2)
        assert rig.meter.dead.wait(30.0)
        rig.crew.measure(reading("J1.3", "J1.4"), 3)
        rig.crew.drop_work()
        rig.crew.make_safe(4)
        rig.inbox.wait_for(e.MadeSafe)
        rig.crew.close()
        assert rig.relays.closed == frozenset()
        assert frozenset({103, 204}) not in rig.relays.history


def test_a_matrix_that_is_lost_is_trouble_and_no_reading() -> None:
    with at_work() as rig:
        rig.matrix_port.close()
        rig.crew.measure(reading("J1.1", "J1.2"), 2)
        event = rig.inbox.wait_for((e.Read, e.Troubled))
        assert isinstance(event, e.Troubled)
        assert event.instrument == "matrix"
        assert not rig.seen, "nothing was read"


def test_a_person_is_not_asked_where_the_matrix_places(tmp_path: Path, small: Made) -> None:
    with world(tmp_path, small.began, Manner()) as made:
        made.hands.matrix = "matrix"
        screen = FakeScreen(made, "Ada")
        made.start()
        while not made.crew.count("measure"):
            made.wait(lambda: made.crew.count("measure") or isinstance(made.asked, r.Place | r.Ask), "a request")
            asked = made.asked
            assert not isinstance(asked, r.Place) or made.crew.count("measure")
            if isinstance(asked, r.Ask):
                screen.wish(e.Answered(number=asked.number, answer=made.hands.answer(asked.step)))
                made.settle()
        placed = [event for event in made.events(e.Answered) if event.how == "matrix"]
        assert placed and placed[0].by == "matrix"
        screen.wish(e.Aborted(why="enough"))
        made.finish()
