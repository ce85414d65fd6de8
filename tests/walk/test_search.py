"""A search inside a walk: what it asks for, what its trail holds, and every way out of it and back."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from bench.files import BadFile, Inconsistent
from bench.quantity import Amount
from bench.sequence.file import Do, Found, Limit, Measure, Rig
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import annotated, results
from bench.walk.state import Phase, Refused, State, fold, request, start, take
from tests.walk import paper_walk as paper

SEARCH = """
sequence: crosses of W1
plant: plant.yaml
steps:
  - {step: zero}
  - {step: seek, find: crosses, of: W1}
  - {step: do, text: Tidy up.}
"""


class Search:
    """A walk that is driven event by event."""

    def __init__(self, folder: Path, text: str = SEARCH) -> None:
        self.entries: list[e.Entry] = []
        self.state: State = start()
        self.say(paper.made(folder, text).began)

    def say(self, event: e.Event) -> None:
        entry = e.Entry(n=len(self.entries) + 1, at="2026-05-12T18:00:00.000000Z", event=event)
        self.state = take(self.state, entry)
        self.entries.append(entry)

    @property
    def asked(self) -> r.Request:
        return request(self.state)

    def arrive(self) -> None:
        """Up to the search."""
        self.say(e.MadeSafe(number=self.state.number))
        self.say(e.Met(number=self.state.number, instrument="meter", roles=["ohms"], identity="m"))
        self.say(e.Answered(number=self.state.number))
        self.say(paper.reading(self.state, self.step, value=0.2))

    @property
    def step(self):  # type: ignore[no-untyped-def]
        assert self.state.step is not None
        return self.state.step

    def advise(self, want: Do | Measure | Found) -> None:
        self.say(e.Advised(number=self.state.number, want=want))

    def read(self, value: float) -> None:
        self.say(e.Answered(number=self.state.number))
        self.say(paper.reading(self.state, self.step, value=value))


def apart(a: str, b: str) -> Measure:
    return Measure(read="resistance", between=(a, b), limit=Limit(at_least=Amount(1e5, "Ω"), source="for this test"))


@pytest.fixture
def walk(tmp_path: Path) -> Search:
    made = Search(tmp_path)
    made.arrive()
    return made


def test_each_answer_asks_the_adviser_again_and_the_finding_ends_it(walk: Search) -> None:
    assert isinstance(walk.asked, r.Advise) and walk.step.kind == "seek"
    walk.advise(Do(text="Clip J1.1 to J1.2.", rig=Rig(join=[["J1.1", "J1.2"]])))
    assert isinstance(walk.asked, r.Ask) and walk.step.key == "2/1"
    walk.say(e.Answered(number=walk.state.number))
    assert walk.state.conditions.rig is not None
    walk.advise(apart("J1.1", "J1.3"))
    assert isinstance(walk.asked, r.Place) and walk.asked.step.probes == ("J1.1", "J1.3")
    walk.read(2.0)
    assert isinstance(walk.asked, r.Advise)
    assert walk.state.seeking is not None
    act, reading = walk.state.seeking.trail
    assert act.reading is None and act.ohms is None
    assert reading.outcome.verdict == "fail" and reading.ohms == pytest.approx(1.8)
    walk.advise(Found(verdict="fail", sentence="J1.1 and J1.3 are joined.", facts={"joined": [["J1.1", "J1.3"]]}))
    assert isinstance(walk.asked, r.Ask) and walk.step.text == "Tidy up."
    found = results(walk.state)[1]
    assert (found.verdict, found.subject, found.sentence) == ("fail", "W1", "J1.1 and J1.3 are joined.")
    assert found.found is not None and found.found.facts == {"joined": [["J1.1", "J1.3"]]}
    assert walk.state.seeking is None
    assert fold(walk.entries) == walk.state


def test_a_bench_check_that_fails_afterwards_voids_what_was_found(tmp_path: Path) -> None:
    walk = Search(tmp_path, SEARCH + "  - {step: prove, against: reference}\n")
    walk.arrive()
    walk.advise(apart("J1.1", "J1.3"))
    walk.read(1e6)
    walk.advise(Found(verdict="pass", sentence="All apart."))
    walk.say(e.Answered(number=walk.state.number))
    assert results(walk.state)[1].verdict == "pass"
    walk.read(250.0)
    assert results(walk.state)[1].verdict == "void"


def test_a_reading_of_many_ends_at_once_names_no_pair(walk: Search) -> None:
    groups = [["J1.1", "J1.2"], ["J1.3", "J1.4"]]
    walk.advise(msgspec.structs.replace(apart("J1.1", "J1.3"), join=groups))
    walk.say(e.Answered(number=walk.state.number))
    event = paper.reading(walk.state, walk.step, value=1e6)
    walk.say(event)
    noted = annotated(walk.entries[-1], walk.state).event
    assert isinstance(noted, e.Read)
    assert (noted.judged["between"], noted.judged["subject"], noted.judged["verdict"]) == ([], "W1", "pass")


def test_going_to_the_search_from_within_takes_the_last_answer_back(walk: Search) -> None:
    for value in (1e6, 2e6):
        walk.advise(apart("J1.1", "J1.3"))
        walk.read(value)
    keys = {link.outcome.key for link in walk.state.seeking.trail}  # type: ignore[union-attr]
    walk.say(e.Went(number=walk.state.number, to=1))
    seeking = walk.state.seeking
    assert seeking is not None and [link.outcome.figure.value for link in seeking.trail] == [pytest.approx(1e6 - 0.2)]
    walk.advise(apart("J1.1", "J1.3"))
    walk.read(3e6)
    assert walk.state.seeking.trail[-1].outcome.key not in keys, "a key never stands for two readings"  # type: ignore[union-attr]


def test_what_was_open_is_asked_for_again_after_a_rest_and_after_trouble(walk: Search) -> None:
    walk.advise(apart("J1.1", "J1.3"))
    walk.read(1e6)
    walk.advise(apart("J1.2", "J1.3"))
    walk.say(e.Paused(why="tea"))
    walk.say(e.Continued())
    assert isinstance(walk.asked, r.Place) and walk.asked.step.probes == ("J1.2", "J1.3")
    walk.say(e.Answered(number=walk.state.number))
    walk.say(e.Troubled(number=walk.state.number, instrument="meter", kind="late", what="It did not answer."))
    walk.say(e.Answered(number=walk.state.number, answer="retry"))
    walk.say(e.Met(number=walk.state.number, instrument="meter", roles=["ohms"], identity="m"))
    assert isinstance(walk.asked, r.Place) and walk.asked.step.probes == ("J1.2", "J1.3")
    walk.say(e.Resumed(software="0"))
    walk.say(e.MadeSafe(number=walk.state.number))
    walk.say(e.Met(number=walk.state.number, instrument="meter", roles=["ohms"], identity="m"))
    assert isinstance(walk.asked, r.Place) and len(walk.state.seeking.trail) == 1  # type: ignore[union-attr]


def test_a_step_measured_again_leaves_the_search_where_it_stood(walk: Search) -> None:
    walk.advise(apart("J1.1", "J1.3"))
    walk.read(1e6)
    walk.say(e.Went(number=walk.state.number, to=0))
    walk.say(e.Answered(number=walk.state.number))
    walk.say(paper.reading(walk.state, walk.step, value=0.21))
    assert isinstance(walk.asked, r.Advise) and len(walk.state.seeking.trail) == 1  # type: ignore[union-attr]


def test_going_back_for_good_begins_the_search_anew(walk: Search) -> None:
    walk.advise(apart("J1.1", "J1.3"))
    walk.read(1e6)
    walk.say(e.Went(number=walk.state.number, to=0, then="go-on"))
    assert walk.state.seeking is None


def test_one_reading_may_be_skipped_or_the_whole_search(walk: Search) -> None:
    walk.advise(apart("J1.1", "J1.3"))
    walk.say(e.Skipped(number=walk.state.number, reason="out of reach"))
    assert isinstance(walk.asked, r.Advise)
    assert walk.state.seeking.trail[-1].ohms is None  # type: ignore[union-attr]
    walk.say(e.Skipped(number=walk.state.number, reason="no time today", whole=True))
    assert results(walk.state)[1].verdict == "skipped" and walk.state.seeking is None


def test_no_advice_is_trouble_that_can_be_tried_again_or_skipped(walk: Search) -> None:
    walk.say(e.Troubled(number=walk.state.number, instrument="", kind="no-advice", what="It makes no sense."))
    assert walk.state.phase is Phase.TROUBLED and not walk.state.instruments.to_meet
    walk.say(e.Answered(number=walk.state.number, answer="retry"))
    assert isinstance(walk.asked, r.Advise)


@pytest.mark.parametrize("live", [{"switch_on": ["G1"]}, {"close": ["F1"]}])
def test_nothing_that_makes_anything_live_is_taken_from_an_adviser(walk: Search, live: dict[str, list[str]]) -> None:
    with pytest.raises(Refused, match="never makes anything live"):
        walk.advise(Do(text="Switch it on.", **live))  # type: ignore[arg-type]


def test_a_bond_is_lifted_only_while_nothing_is_live(tmp_path: Path) -> None:
    text = SEARCH.replace(
        "  - {step: seek",
        "  - {step: hold, text: Clear., word: CLEAR}\n  - {step: do, text: On., switch-on: [G1]}\n  - {step: seek",
    )
    walk = Search(tmp_path, text)
    walk.arrive()
    walk.say(e.Answered(number=walk.state.number, answer="CLEAR"))
    walk.say(e.Answered(number=walk.state.number))
    assert isinstance(walk.asked, r.Advise)
    with pytest.raises(Refused, match="live"):
        walk.advise(Do(text="Lift it.", lift=["B1"]))


@pytest.mark.parametrize(("answer", "beeped"), [("yes", True), ("Y", True), ("no", False), (" n ", False)])
def test_what_a_tester_says_is_kept_in_the_trail_and_asked_for_till_it_is_yes_or_no(
    walk: Search, answer: str, beeped: bool
) -> None:
    walk.advise(Do(text="", beeps=("J1.1", "J2.1"), join=[["J1.1", "J1.2"]]))
    asked = walk.asked
    assert isinstance(asked, r.Ask) and asked.step.probes == ("J1.1", "J2.1")
    assert asked.step.role is None and asked.step.pair is None and asked.step.touches == ()
    for other in ("", "beep", "maybe", "yes no"):
        with pytest.raises(Refused, match="yes if the tester beeps, or no if it is silent"):
            walk.say(e.Answered(number=walk.state.number, answer=other))
    walk.say(e.Answered(number=walk.state.number, answer=answer))
    assert walk.state.seeking is not None
    (link,) = walk.state.seeking.trail
    assert link.beeped is beeped and link.reading is None and link.outcome.verdict == "done"
    assert fold(walk.entries) == walk.state


def test_a_tester_that_was_not_asked_said_nothing(walk: Search) -> None:
    walk.advise(Do(text="", beeps=("J1.1", "J2.1")))
    walk.say(e.Skipped(number=walk.state.number, reason="out of reach"))
    walk.advise(Do(text="Clip them."))
    walk.say(e.Answered(number=walk.state.number))
    assert walk.state.seeking is not None
    assert [link.beeped for link in walk.state.seeking.trail] == [None, None]


BEEPS = """
sequence: by ear
plant: plant.yaml
steps:
  - {step: do, title: Is it through?, text: Touch both., beeps: [%s], join: [[J1.1, J1.2]]}
"""


def test_a_sequence_may_ask_for_a_tester_and_then_needs_no_instrument(tmp_path: Path) -> None:
    search = Search(tmp_path, BEEPS % "J1.1, J2.1")
    assert search.state.setting is not None and search.state.setting.plan.roles == ()
    search.say(e.MadeSafe(number=search.state.number))
    search.say(e.Answered(number=search.state.number, answer="no"))
    outcome = results(search.state)[0]
    assert (outcome.answer, outcome.verdict, outcome.sentence) == ("no", "done", "It is silent.")


@pytest.mark.parametrize(("places", "said"), [("J1.1, J2.99", "J2.99"), ("J1.1, J1.1", "J1.1")])
def test_a_tester_wants_two_places_of_the_plant(tmp_path: Path, places: str, said: str) -> None:
    with pytest.raises(BadFile, match=said):
        Search(tmp_path, BEEPS % places)


def test_a_tester_is_an_act_of_its_own() -> None:
    for more in ({"close": ["F1"]}, {"lift": ["B1"]}, {"rig": Rig()}, {"put_in": ["1A/1"]}):
        with pytest.raises(Inconsistent):
            Do(text="", beeps=("J1.1", "J2.1"), **more)  # type: ignore[arg-type]
    with pytest.raises(Inconsistent):
        Do(text="", join=[["J1.1", "J1.2"]])
