"""Pins read against those beside them: one lead stays, and one that stood beside its pin shows at the next reading."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

from bench.plant.faults import Fault, Short
from bench.plant.load import load_plant
from bench.quantity import Resistance
from bench.screens.walk.sayings import back_to, page
from bench.sequence.draft import draft
from bench.sequence.file import Over
from bench.sequence.plan import Step
from bench.sequence.views import objects
from bench.simulate.messages import Move
from bench.walk import events as e
from bench.walk.results import results
from tests.walk.by_hand_hall import Person, began
from tests.walks.tool import JOB

PLANT = load_plant(JOB / "plant.yaml")
APART = """
sequence: apart
plant: plant.yaml
steps:
  - step: each
    over: wires-in-turn
    of: J101
    steps:
      - step: measure
        title: "{neighbours.pin} against {neighbours.other}"
        read: resistance
        between: ["{neighbours.red}", "{neighbours.black}"]
        range: 10 Mohm
        limit: {at-least: 100 kohm, source: "common practice, no source: apart"}
"""
ROW = [f"J101.{number}" for number in range(1, 5)]


class Beside(Person):
    """One whose black lead comes to stand one pin on, once, and stays there as long as the page has it stay.

    Args:
        first: how it begins.
        faults: of the plant.
        at: the reading.
        sees: whether the page's question makes them look.
    """

    def __init__(self, first: e.Began, faults: list[Fault], at: tuple[str, str], *, sees: bool = True) -> None:
        self.pages: dict[str, str] = {}
        self.went: list[str] = []
        self._at, self._sees, self._tip = at, sees, ""
        super().__init__(first, faults)

    def placed(self, step: Step) -> e.Event:
        text = page(self.state).text
        self.pages.setdefault(step.title, text)
        assert step.probes is not None
        red, black = step.probes
        if self.state.pending.typed:
            if "go back with b" in text and self._tip and self._sees:
                self._tip = ""
                self.went.append(step.title)
                return e.Went(number=self.state.number, to=back_to(self.state), then="go-on")
            self._tip = self._tip if not self._sees else ""
        elif f"The black lead stays on {black}." not in text:
            self._tip = ""
        if step.probes == self._at and not self.went:
            self._tip = ROW[ROW.index(black) + 1]
        answer = super().placed(step)
        if not self._tip:
            return answer
        self._hall.move(Move(place=(red, self._tip)))
        return self.answered("0.3" if self._tip == red else "OL M")


def walk(folder: Path, faults: list[Fault], **more: object) -> Beside:
    person = Beside(began(folder, APART), faults, **more)  # type: ignore[arg-type]
    person.run()
    return person


@pytest.mark.parametrize("over", ["neighbours", "wires-beside", "wires-in-turn"])
def test_one_lead_stays_where_two_readings_share_a_pin(over: Over) -> None:
    """Each two are the same two as ever; a pin that two in a row share has the same lead on it."""
    views = objects(PLANT, over, "J101")
    leads = [(view.properties["red"], view.properties["black"]) for view in views]
    for view, two in zip(views, leads, strict=True):
        assert set(two) == {view.properties["pin"], view.properties["other"]}
    shared = 0
    for before, now in pairwise(leads):
        if len({*before, *now}) == 3:
            shared += 1
            assert sum(was == is_now for was, is_now in zip(before, now, strict=True)) == 1, (before, now)
    assert shared > len(leads) / 3


def test_in_turn_means_along_each_row_and_then_from_row_to_row() -> None:
    beside = objects(PLANT, "wires-beside", "J101")
    turn = objects(PLANT, "wires-in-turn", "J101")
    assert {view.name for view in turn} == {view.name for view in beside} and len(turn) == len(beside)
    apart = [abs(int(a.partition(".")[2]) - int(b.partition(".")[2])) for a, b in (view.subjects for view in turn)]
    along = apart.index(25)
    assert set(apart[:along]) == {1} and set(apart[along:]) == {25}, "two rows of 25"


def test_a_draft_reads_so() -> None:
    text = draft(PLANT, "continuity", "W101", plant_file="plant.yaml", schema="sequence.json")
    assert "over: wires-in-turn" in text and "{neighbours.red}" in text


def test_the_page_says_which_lead_stays(tmp_path: Path) -> None:
    person = walk(tmp_path, [], at=("", ""))
    told = [re.search(r"The (red|black) lead stays on (\S+)\.", text) for text in person.pages.values()]
    assert told[0] is None, "before the first reading both move"
    steps = [step for step in person.state.setting.plan.steps if step.probes]
    for step, found in zip(steps[1:], told[1:], strict=True):
        if found is not None:
            assert step.probes[("red", "black").index(found[1])] == found[2]
    assert sum(found is not None for found in told) > len(told) / 3
    assert all(one.verdict == "pass" for one in results(person.state).values())


def test_a_lead_that_stood_beside_is_found_and_what_was_read_with_it_is_read_again(tmp_path: Path) -> None:
    """Two pins are joined, and the black lead was past the second of them: it read open."""
    joined: list[Fault] = [Short(between=(ROW[0], ROW[1]), ohms=Resistance(0.3))]
    first = (ROW[0], ROW[1])
    person = walk(tmp_path, joined, at=first)
    assert person.went, "the next reading told that something was wrong"
    found = {f"{one.subject}": one.verdict for one in results(person.state).values()}
    assert found[f"{ROW[0]}~{ROW[1]}"] == "fail", "it was read again, and conducts"
    # who does not look types what is there, and the joined pins stay unseen: the page can only ask
    unseen = walk(tmp_path, joined, at=first, sees=False)
    found = {f"{one.subject}": one.verdict for one in results(unseen.state).values()}
    assert found[f"{ROW[0]}~{ROW[1]}"] == "pass" and "fail" in found.values()
