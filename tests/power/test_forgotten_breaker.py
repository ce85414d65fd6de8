"""A breaker that was forgotten: the walk names those of the way at once, and goes on once it is closed."""

from __future__ import annotations

import pytest

from bench.plant import faults as k
from bench.screens.walk.sayings import back_to
from bench.sequence.file import Do, Energise
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import Phase, State
from tests.power import pure_walk, small_hall

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> State:
    """A first power of one shelf with one feed."""
    folder = tmp_path_factory.mktemp("forgotten")
    return pure_walk.begun(folder, small_hall.written(folder), "2C")


class Forgets(pure_walk.PureWalk):
    """Who leaves a breaker open when it is to be closed for the nth time, says that it is closed, and reads on."""

    forgotten = "FA2C"
    nth = 1
    closings = 0

    def act(self, step: Step) -> None:
        super().act(step)
        if isinstance(step.source, Do) and self.forgotten in step.source.close:
            self.closings += 1
        if self.closings == self.nth:
            self.world.breakers(self.handled.closed - {self.forgotten}, self.t)

    def until_failed(self) -> str:
        """To the first failure; what it says."""
        while not self.state.finished:
            self.one()
            wrong = [one for one in results(self.state).values() if one.verdict == "fail"]
            if wrong:
                return wrong[0].sentence
        return ""


def forgetful(first: State, breaker: str = "FA2C", nth: int = 1) -> Forgets:
    assert first.setting is not None
    walk = Forgets(first, first.setting.plant, (), 3)
    walk.forgotten, walk.nth = breaker, nth
    return walk


@pytest.mark.parametrize("breaker", ["FA2C", "FA"])
def test_at_a_harmless_voltage_it_is_closed_and_read_again_and_the_walk_goes_on(first: State, breaker: str) -> None:
    walk = forgetful(first, breaker)
    said = walk.until_failed()
    assert "Nothing arrives. Look at FA, then FA2C first" in said
    assert "close it by its handle, and measure again" in said
    latest = max(results(walk.state).values(), key=lambda one: one.n)
    assert walk.state.setting is not None
    assert walk.state.setting.plan.steps[latest.index].subject == "FA2C", "said at the first reading, not the last one"
    # what the page asks for: one look, one handle, the same reading
    walk.world.breakers(walk.handled.closed, walk.t)
    walk.add(e.Went(number=walk.state.number, to=latest.index, then="return"))
    while not (walk.state.step is not None and isinstance(walk.state.step.source, Energise)):
        walk.one()
    passed = results(walk.state)
    assert all(one.verdict != "fail" for one in passed.values())
    assert passed[latest.index].verdict == "pass" and walk.state.step.subject == "2C"


def test_one_that_was_closed_in_its_place_is_to_be_opened_first(first: State) -> None:
    said = forgetful(first).until_failed()
    assert said.index("none beside that was not asked for (open that first)") < said.index("close it by its handle")


def test_with_volts_on_it_nobody_is_told_to_close_it_before_the_output_is_off(first: State) -> None:
    walk = forgetful(first, nth=2)
    said = walk.until_failed()
    assert "draws too little" in said and "Nothing is drawn. Look at FA, then FA2C first" in said
    assert "stays open until the output is off" in said and "by its handle" not in said
    # off, and back to where it is closed: it is brought up from below, and the walk goes on
    while walk.state.outputs.on or walk.state.phase is not Phase.ASKING:
        walk.one()
    assert walk.state.setting is not None
    back = back_to(walk.state)
    assert walk.state.setting.plan.steps[back].source.close == ["FA2C"]  # type: ignore[union-attr]
    walk.add(e.Went(number=walk.state.number, to=back, then="go-on"))
    walk.nth, came_up = -1, len(walk.fed)
    walk.run()
    assert walk.fed[came_up][0].subject == "2C" and len(walk.fed[came_up][1].sets) > 1
    assert not [one.sentence for one in results(walk.state).values() if one.verdict not in ("pass", "done")]


def test_what_arrives_too_low_or_the_wrong_way_round_is_no_forgotten_breaker(first: State) -> None:
    assert first.setting is not None
    walk = Forgets(first, first.setting.plant, (k.PolarityReversed(shelf="2C", feed="A"),), 3)
    walk.nth = -1
    said = walk.until_failed()
    assert "wrong way round" in said and "Nothing arrives" not in said


@pytest.fixture(scope="module")
def idle(tmp_path_factory: pytest.TempPathFactory) -> State:
    """What a shelf draws on the battery."""
    folder = tmp_path_factory.mktemp("idle")
    return pure_walk.begun(folder, small_hall.written(folder), "2C", "idle-current")


def goes_on(walk: Forgets) -> None:
    """What failed is read again with all as the walk asked, and nothing has failed at its end."""
    latest = max(results(walk.state).values(), key=lambda one: one.n)
    walk.nth = -1
    walk.world.breakers(walk.handled.closed, walk.t)
    walk.add(e.Went(number=walk.state.number, to=latest.index, then="return"))
    walk.run()
    assert not [one.sentence for one in results(walk.state).values() if one.verdict == "fail"]


def test_on_a_battery_the_breakers_are_worked_in_the_order_that_the_walk_asked(idle: State) -> None:
    walk = forgetful(idle)
    said = walk.until_failed()
    assert "Nothing arrives. Look at FA, then FA2C first: each must be closed, and none beside" in said
    assert "Where one is open, open those after it too" in said
    goes_on(walk)


class LeavesClosed(Forgets):
    """Who does not open the breaker that the meter is across."""

    def act(self, step: Step) -> None:
        super().act(step)
        if self.nth >= 0 and step.title.startswith("Ammeter across"):
            self.world.breakers(self.handled.closed | {self.forgotten}, self.t)


def test_a_breaker_that_is_still_closed_beside_the_meter_is_named(idle: State) -> None:
    assert idle.setting is not None
    walk = LeavesClosed(idle, idle.setting.plant, (), 3)
    walk.nth = 99
    said = walk.until_failed()
    assert "Nothing runs through the meter. Look at FA2C first: with the meter across it, it must be open." in said
    goes_on(walk)
