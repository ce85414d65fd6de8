"""What consoles of the plant say in a walk, as the machine takes it: expected, dreaded, late; and what is sent."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import results
from bench.walk.state import Phase, Refused, Stale
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, PaperWalk

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


def made(tmp_path: Path, sequence: str = SEQUENCE) -> PaperWalk:
    return PaperWalk(paper.made(tmp_path, sequence, paper.PLANT).began)


def said(*texts: str, console: str = "unit") -> e.Said:
    return e.Said(console=console, lines=[(0.1, text) for text in texts])


def upto(walker: PaperWalk, title: str) -> None:
    while title not in walker.step.title:
        walker.one()


def verdict(walker: PaperWalk, title: str) -> str:
    assert walker.state.setting is not None
    steps = walker.state.setting.plan.steps
    return next(one.sentence for index, one in results(walker.state).items() if title in steps[index].title)


def test_what_is_expected_passes_as_soon_as_it_comes(tmp_path: Path) -> None:
    walker = made(tmp_path)
    upto(walker, "in service")
    walker.add(said("booting"))
    walker.add(said("in service", console="other"))
    assert walker.state.phase is Phase.WAITING and isinstance(walker.asked, r.Wait)
    walker.add(said("4 circuits in service"))
    assert (
        walker.state.phase is Phase.ASKING
        and verdict(walker, "in service") == "Pass: unit said '4 circuits in service'."
    )


def test_what_came_while_the_act_before_was_confirmed_counts_and_what_came_before_that_does_not(tmp_path: Path) -> None:
    walker = made(tmp_path)
    while not isinstance(walker.asked, r.Ask):
        walker.one()
    walker.add(said("in service"))
    walker.one()
    assert verdict(walker, "in service").startswith("Pass")
    upto(walker, "Send")
    walker.one()
    assert walker.state.phase is Phase.WAITING and "passed" in walker.step.title
    earlier = made(tmp_path)
    upto(earlier, "Hold point")
    earlier.add(said("the last test has passed"))
    upto(earlier, "Send")
    earlier.one()
    assert earlier.state.phase is Phase.WAITING


def test_what_does_not_come_in_time_fails_and_the_walk_goes_on(tmp_path: Path) -> None:
    walker = made(tmp_path)
    upto(walker, "in service")
    for _ in range(3):
        walker.add(e.Elapsed(number=walker.state.number, seconds=1.0))
    assert verdict(walker, "in service") == "Fail: unit did not say 'in service' within 3 s."
    assert walker.state.phase is Phase.ASKING


def test_what_the_step_dreads_fails_it_and_stops_the_walk(tmp_path: Path) -> None:
    walker = made(tmp_path)
    upto(walker, "in service")
    walker.add(said("circuit 3 FAILED"))
    assert verdict(walker, "in service") == "Fail: unit said 'circuit 3 FAILED'."
    assert walker.state.phase is Phase.PAUSED and "FAILED" in walker.state.pending.why_paused
    walker.add(e.Continued())
    assert walker.state.phase is Phase.ASKING and "Hold" in walker.step.title


@pytest.mark.parametrize("title", ["Do this", "in service", "Hold point", "Send", "passed"])
def test_what_the_sequence_dreads_stops_the_walk_wherever_it_stands(tmp_path: Path, title: str) -> None:
    walker = made(tmp_path)
    while not isinstance(walker.asked, r.Ask):
        walker.one()
    upto(walker, title)
    index = walker.step.index
    walker.add(said("PANIC: stack", console="another"))
    assert walker.state.phase is Phase.PAUSED and walker.state.pending.why_paused == "another said 'PANIC: stack'"
    walker.add(said("PANIC again"))  # it rests already
    walker.add(e.Continued())
    # what was held is held by nobody any more: nothing is sent before the hold point was passed again
    assert walker.step.title == "Hold point" if title == "Send" else walker.step.index == index


def test_nothing_is_sent_but_by_a_step_that_says_what_behind_its_hold_point(tmp_path: Path) -> None:
    walker = made(tmp_path)
    while not isinstance(walker.asked, r.Ask):
        walker.one()
    with pytest.raises(Refused, match="nothing is sent"):
        walker.add(e.Sending(number=walker.state.number, console="unit", line="reboot"))
    upto(walker, "Send")
    assert walker.state.outputs.held
    with pytest.raises(Stale):
        walker.add(e.Sending(number=walker.state.number - 1, console="unit", line="selftest"))
    walker.add(e.Sending(number=walker.state.number, console="unit", line="selftest"))
    walker.add(e.Paused(why="lunch", make_safe=True))
    walker.add(e.Continued())
    assert walker.step.kind == "hold"


def test_a_sequence_that_sends_without_a_hold_point_is_no_good(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="a hold point before it"):
        made(tmp_path, "sequence: x\nplant: plant.yaml\nsteps: [{step: send, console: unit, line: reboot}]\n")


def test_somebody_says_that_a_breaker_tripped_and_a_thing_that_is_none_is_refused(tmp_path: Path) -> None:
    walker = made(tmp_path)
    upto(walker, "in service")
    walker.add(e.Tripped(thing="F1", what="with a bang", by="Ana"))
    assert walker.state.phase is Phase.WAITING
    with pytest.raises(Refused, match="no breaker or shelf"):
        walker.add(e.Tripped(thing="F9"))


def test_the_record_folds_to_the_same(tmp_path: Path) -> None:
    walker = made(tmp_path)
    upto(walker, "in service")
    walker.add(said("in service"))
    walker.one()
    assert paper.refold(walker.entries) == walker.state
    first: Made = paper.made(tmp_path, SEQUENCE, paper.PLANT)
    assert first.began.sequence.dreads[0].text == "PANIC"
