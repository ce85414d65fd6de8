"""A walk by an operator at the other end of a real socket, who goes, and another who comes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from bench.runner import protocol as p
from bench.runner.address import Listener, live_runners
from bench.runner.all_off import everything_off
from bench.runner.client import Client
from bench.runner.core import Came, Heard, Left
from bench.runner.ports import Manner
from bench.runner.server import Server
from bench.simulate.on_paper import at_rest
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import passed, verdict_lines
from bench.walk.state import Phase, State, request, start, take
from tests.runner.fake_world import Bell, World, world
from tests.walk.paper_walk import Made


class Person:
    """Somebody at a screen: folds what comes over the line, and answers what they see asked."""

    def __init__(self, folder: Path, name: str) -> None:
        self.bell = Bell()
        self.state: State = start()
        self.heard: list[Any] = []
        self.answered = -1
        (door,) = live_runners(folder)
        self.client = Client(door, name, self._hear)
        self.client.start()

    def _hear(self, message: Any) -> None:
        if isinstance(message, e.Entry):
            self.state = take(self.state, message)
        self.heard.append(message)
        self.bell.ring()

    def work(self, until: Any = lambda state: False, clock: Any = None) -> None:
        """Answer what is asked until something holds or the walk is over."""
        while True:
            self.bell.wait(
                lambda: until(self.state) or self.state.finished or self.state.number > self.answered,
                f"something new after {self.state.phase}",
            )
            if until(self.state) or self.state.finished:
                return
            asked = request(self.state)
            self.answered = asked.number
            match asked:
                case r.Ask(number=number, step=step):
                    words = {
                        "hold": getattr(step.source, "word", ""),
                        "ask": "21.5",
                        "look": at_rest(step),
                        "gate": "to see",
                    }
                    self.client.wish(e.Answered(number=number, answer=words.get(step.kind, "")))
                case r.Place(number=number):
                    self.client.wish(e.Answered(number=number))
                case r.Rest():
                    self.client.wish(e.Continued())
                case r.Wait():
                    clock()


@pytest.fixture
def served(tmp_path: Path, small: Made) -> Iterator[World]:
    with world(tmp_path, small.began, Manner(give_up_after=600.0), seated=True) as made, Listener(made.path) as frame:
        inbox = made.runner.inbox
        server = Server(
            frame,
            came=lambda client: inbox.put(Came(client)),
            heard=lambda client, message: inbox.put(Heard(client, message)),
            left=lambda client: inbox.put(Left(client)),
        )
        made.start()
        yield made
        server.close("the walk is over")


def test_a_whole_walk_over_the_line(served: World, tmp_path: Path) -> None:
    ana = Person(tmp_path, "Ana")
    watcher = Person(tmp_path, "Ben")
    ana.work(clock=lambda: served.advance(1.0))
    state = served.finish()
    assert passed(state) and ana.state == state
    watcher.bell.wait(lambda: watcher.state.finished)
    assert list(verdict_lines(watcher.state)) == list(verdict_lines(state))
    assert {event.by for event in served.events(e.Answered)} == {"Ana"}
    ana.client.close()
    watcher.client.close()


def test_the_operator_vanishes_and_another_goes_on(served: World, tmp_path: Path) -> None:
    ana = Person(tmp_path, "Ana")
    ana.work(until=lambda state: bool(state.outputs.on), clock=lambda: served.advance(1.0))
    assert served.crew.on
    ana.client.close()  # a closed lid, a lost line, a killed screen: the socket is cut
    served.wait(lambda: served.state.phase is Phase.PAUSED, "the walk is paused")
    assert not served.crew.on
    ben = Person(tmp_path, "Ben")
    ben.work(clock=lambda: served.advance(1.0))
    assert passed(served.finish())
    seats = [event.by for event in served.events(e.Seated)]
    assert seats == ["Ana", "", "Ben"]
    words = [event.answer for event in served.events(e.Answered) if event.answer in ("DEAD", "CLEAR")]
    assert words == ["DEAD", "CLEAR", "CLEAR"], "the hold point was passed again, by the one who was there"
    ben.client.close()


def test_everything_goes_off_from_another_screen_without_the_seat(served: World, tmp_path: Path) -> None:
    ana = Person(tmp_path, "Ana")
    ana.work(until=lambda state: bool(state.outputs.on), clock=lambda: served.advance(1.0))
    assert served.crew.on
    (told,) = everything_off(live_runners(tmp_path), "Ben")
    assert told == f"{served.path.name}: everything is off, confirmed."
    assert not served.crew.on and served.state.phase is Phase.PAUSED and served.state.seat == "Ana"
    assert [event.by for event in served.events(e.Paused)] == ["Ben"]
    # with nothing on it is no more than a wish of somebody without the seat
    (told,) = everything_off(live_runners(tmp_path), "Ben")
    assert "nothing was switched: Ana holds the operator's seat" in told
    ana.client.close()


def test_a_runner_that_is_gone_is_said_to_be(served: World, tmp_path: Path) -> None:
    (runner,) = live_runners(tmp_path)
    gone = msgspec.structs.replace(runner, unix=str(tmp_path / "nobody"), token="x")
    (told,) = everything_off([gone])
    assert "NOT KNOWN" in told


def test_nobody_comes_back_over_the_line(served: World, tmp_path: Path) -> None:
    ana = Person(tmp_path, "Ana")
    ana.work(until=lambda state: state.place.cursor >= 3, clock=lambda: served.advance(1.0))
    ana.client.close()
    served.wait(lambda: served.state.phase is Phase.PAUSED, "the walk is paused")
    served.clock.advance(601.0)
    assert served.finish().phase is Phase.ABORTED


def test_refusals_and_goodbyes_come_over_the_line(served: World, tmp_path: Path) -> None:
    ana, ben = Person(tmp_path, "Ana"), Person(tmp_path, "Ben")
    ana.work(until=lambda state: state.place.cursor >= 1)
    ben.bell.wait(lambda: ben.state.place.cursor >= 1)
    ben.client.wish(e.Answered(number=ben.state.number, answer="DEAD"))
    ben.bell.wait(lambda: any(isinstance(message, p.Refusal) for message in ben.heard))
    assert ben.heard[-1] == p.Refusal(why="Ana holds the operator's seat; take it first")
    ben.client.take_seat()
    ben.bell.wait(lambda: ben.state.seat == "Ben")
    ben.client.wish(e.Answered(number=ben.state.number, answer="DEAD"))
    ana.bell.wait(lambda: ana.state.place.cursor == 2)
    for person in (ana, ben):
        person.client.close()
