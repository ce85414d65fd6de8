"""What consoles of the plant say in a walk, as the machine takes it: expected, dreaded, late; and what is sent."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import results
from bench.walk.state import Phase, Refused, Stale
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Desk, Made

SEQUENCE = """
sequence: a console
plant: plant.yaml
dreads: [{text: PANIC}]
steps:
  - {step: do, text: Switch it on.}
  - {step: listen, console: unit, expect: in service, within: 3 s, dreads: [FAILED], subject: 2A}
  - {step: hold, text: It may test itself., word: AGREED}
  - {step: send, console: unit, line: selftest}
  - {step: listen, console: unit, expect: passed, within: 3 s}
  - {step: do, text: The end.}
"""


def made(tmp_path: Path, sequence: str = SEQUENCE) -> Desk:
    return Desk(paper.made(tmp_path, sequence, paper.PLANT).began)


def said(*texts: str, console: str = "unit") -> e.Said:
    return e.Said(console=console, lines=[(0.1, text) for text in texts])


def upto(desk: Desk, title: str) -> None:
    while title not in desk.step.title:
        desk.one()


def verdict(desk: Desk, title: str) -> str:
    assert desk.state.setting is not None
    steps = desk.state.setting.plan.steps
    return next(one.sentence for index, one in results(desk.state).items() if title in steps[index].title)


def test_what_is_expected_passes_as_soon_as_it_comes(tmp_path: Path) -> None:
    desk = made(tmp_path)
    upto(desk, "in service")
    desk.add(said("booting"))
    desk.add(said("in service", console="other"))
    assert desk.state.phase is Phase.WAITING and isinstance(desk.asked, r.Wait)
    desk.add(said("4 circuits in service"))
    assert (
        desk.state.phase is Phase.ASKING and verdict(desk, "in service") == "Pass: unit said '4 circuits in service'."
    )


def test_what_came_while_the_act_before_was_confirmed_counts_and_what_came_before_that_does_not(tmp_path: Path) -> None:
    desk = made(tmp_path)
    while not isinstance(desk.asked, r.Ask):
        desk.one()
    desk.add(said("in service"))
    desk.one()
    assert verdict(desk, "in service").startswith("Pass")
    upto(desk, "Send")
    desk.one()
    assert desk.state.phase is Phase.WAITING and "passed" in desk.step.title
    earlier = made(tmp_path)
    upto(earlier, "Hold point")
    earlier.add(said("the last test has passed"))
    upto(earlier, "Send")
    earlier.one()
    assert earlier.state.phase is Phase.WAITING


def test_what_does_not_come_in_time_fails_and_the_walk_goes_on(tmp_path: Path) -> None:
    desk = made(tmp_path)
    upto(desk, "in service")
    for _ in range(3):
        desk.add(e.Elapsed(number=desk.state.number, seconds=1.0))
    assert verdict(desk, "in service") == "Fail: unit did not say 'in service' within 3 s."
    assert desk.state.phase is Phase.ASKING


def test_what_the_step_dreads_fails_it_and_stops_the_walk(tmp_path: Path) -> None:
    desk = made(tmp_path)
    upto(desk, "in service")
    desk.add(said("circuit 3 FAILED"))
    assert verdict(desk, "in service") == "Fail: unit said 'circuit 3 FAILED'."
    assert desk.state.phase is Phase.PAUSED and "FAILED" in desk.state.pending.why_paused
    desk.add(e.Continued())
    assert desk.state.phase is Phase.ASKING and "Hold" in desk.step.title


@pytest.mark.parametrize("title", ["Do this", "in service", "Hold point", "Send", "passed"])
def test_what_the_sequence_dreads_stops_the_walk_wherever_it_stands(tmp_path: Path, title: str) -> None:
    desk = made(tmp_path)
    while not isinstance(desk.asked, r.Ask):
        desk.one()
    upto(desk, title)
    index = desk.step.index
    desk.add(said("PANIC: stack", console="another"))
    assert desk.state.phase is Phase.PAUSED and desk.state.pending.why_paused == "another said 'PANIC: stack'"
    desk.add(said("PANIC again"))  # it rests already
    desk.add(e.Continued())
    # what was held is held by nobody any more: nothing is sent before the hold point was passed again
    assert desk.step.title == "Hold point" if title == "Send" else desk.step.index == index


def test_nothing_is_sent_but_by_a_step_that_says_what_behind_its_hold_point(tmp_path: Path) -> None:
    desk = made(tmp_path)
    while not isinstance(desk.asked, r.Ask):
        desk.one()
    with pytest.raises(Refused, match="nothing is sent"):
        desk.add(e.Sending(number=desk.state.number, console="unit", line="reboot"))
    upto(desk, "Send")
    assert desk.state.outputs.held
    with pytest.raises(Stale):
        desk.add(e.Sending(number=desk.state.number - 1, console="unit", line="selftest"))
    desk.add(e.Sending(number=desk.state.number, console="unit", line="selftest"))
    desk.add(e.Paused(why="lunch", make_safe=True))
    desk.add(e.Continued())
    assert desk.step.kind == "hold"


def test_a_sequence_that_sends_without_a_hold_point_is_no_good(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="a hold point before it"):
        made(tmp_path, "sequence: x\nplant: plant.yaml\nsteps: [{step: send, console: unit, line: reboot}]\n")


def test_somebody_says_that_a_breaker_tripped_and_a_thing_that_is_none_is_refused(tmp_path: Path) -> None:
    desk = made(tmp_path)
    upto(desk, "in service")
    desk.add(e.Tripped(thing="F1", what="with a bang", by="Ana"))
    assert desk.state.phase is Phase.WAITING
    with pytest.raises(Refused, match="no breaker or shelf"):
        desk.add(e.Tripped(thing="F9"))


def test_the_record_folds_to_the_same(tmp_path: Path) -> None:
    desk = made(tmp_path)
    upto(desk, "in service")
    desk.add(said("in service"))
    desk.one()
    assert paper.refold(desk.entries) == desk.state
    first: Made = paper.made(tmp_path, SEQUENCE, paper.PLANT)
    assert first.began.sequence.dreads[0].text == "PANIC"
