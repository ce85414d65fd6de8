"""Every draft begins by looking at what it relies on; what was found otherwise than it was left is told at once."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from bench.plant.handled import Change, Mark
from bench.plant.load import load_plant
from bench.screens.walk.findings import summary, verdict_line
from bench.sequence.draft import draft
from bench.sequence.file import Gate, Hold, Look, Measure, Seek
from bench.sequence.load import load_sequence
from bench.walk import events as e
from bench.walk import requests as r
from tests.power.test_looking import HUT, MISSING, Person, left
from tests.screens.scenes import Scene
from tests.screens.stage import on_stage
from tests.screens.walk.test_plain import Runner, played

DRAFTS = {
    "continuity": "C1",
    "crosses": "C1",
    "isolation": "C1",
    "insulation": "C1",
    "landing": "C1",
    "identify": "C3",
    "earth": "",
    "polarity": "finder",
    "idle-current": "finder",
    "supply-search": "finder-top",
    "first-power": "finder",
}
"""Kind of draft to what it is about."""
FINDER = {"k1", "k2", "k3", "k4"}
LAST = {"C1": {"k1", "k3", "k5", "k6"}, "C3": {"k2", "k4"}}
"""Cable to the breakers before the shelves that it ends in."""


def looks(kind: str, of: str, tmp_path: Path) -> list[Look]:
    path = tmp_path / "drafted.yaml"
    path.write_text(draft(load_plant(HUT / "plant.yaml"), kind, of, str(HUT / "plant.yaml"), "s"), "utf-8")
    return [step.source for step in load_sequence(path).plan.steps if isinstance(step.source, Look)]


@pytest.mark.parametrize("kind", DRAFTS)
def test_every_draft_looks_at_every_breaker_upstream_and_beside(kind: str, tmp_path: Path) -> None:
    """Of both feeds, in every bay; and what must be open is looked at again where it was not."""
    made = looks(kind, DRAFTS[kind], tmp_path)
    assert {name for look in made if not look.expect for name in look.breakers} == set(
        load_plant(HUT / "plant.yaml").breakers
    )
    wanted = {name for look in made if look.expect for name in look.breakers}
    if DRAFTS[kind] in LAST:
        assert wanted == LAST[DRAFTS[kind]], "the rest of the plant may run"
    elif kind == "earth":
        assert wanted == set(load_plant(HUT / "plant.yaml").breakers)
    else:
        assert "k5" in wanted and "PS" in wanted


def test_what_a_draft_relies_on_besides_is_looked_at(tmp_path: Path) -> None:
    def named(kind: str, of: str, field: str) -> set[str]:
        return {name for look in looks(kind, of, tmp_path) for name in getattr(look, field)}

    assert named("continuity", "C1", "plugs") == named("isolation", "C1", "plugs") == {"X10", "X20"}
    assert named("earth", "", "supplies") == {"BATP", "BATQ"}
    assert named("earth", "", "bonds") == set(load_plant(HUT / "plant.yaml").bonds)
    assert named("idle-current", "finder-low", "cards") == {"finder-low/1", "finder-low/2", "finder-low/3"}
    # power wiring: its own feed from the supply on
    assert named("continuity", "w1", "supplies") == {"BATP"}
    assert named("earth-live", "", "supplies") == {"BATP", "BATQ"}


@pytest.mark.parametrize("kind", ["continuity", "isolation", "crosses", "earth", "polarity", "supply-search"])
def test_nothing_is_read_where_what_must_be_open_stays_closed(kind: str, tmp_path: Path) -> None:
    """The hold point is passed over, and with it every reading and search; the walk ends and says why."""
    person = Person(tmp_path, kind=kind, of=DRAFTS[kind])
    person.looks = "k5 closed, rest open"
    while not person.state.finished:
        asked = person.asked
        if isinstance(asked, r.Ask) and isinstance(asked.step.source, Look):
            names = asked.step.source.names
            state = {"breaker": "open", "supply": "off", "bond": "in place", "plug": "mated", "card": "in"}
            said = state[asked.step.source.kind]
            person.say(
                f"k5 closed, rest {said}" if "k5" in names and len(names) > 1 else "closed" if "k5" in names else said
            )
            continue
        if isinstance(asked, r.Place):
            # that all is dead is read whatever somebody saw
            assert asked.step.source.read == "voltage", asked.step.title
        assert not isinstance(asked, r.Energise)
        assert not (isinstance(asked, r.Ask) and isinstance(asked.step.source, Hold)), asked.step.title
        person.one()
    assert person.state.setting is not None
    steps = person.state.setting.plan.steps
    outcomes = [(steps[index], one) for index, one in person.state.kept.latest.items()]
    read = [one for step, one in outcomes if isinstance(step.source, Measure | Seek) and step.source.read != "voltage"]
    assert read or kind == "polarity"
    assert {one.verdict for one in read} <= {"skipped"} and all(one.barred for one in read)
    assert kind == "polarity" or any(
        "was not passed" in one.sentence or "does not count as passed" in one.sentence for one in read
    )


def test_a_bond_that_somebody_took_off_is_an_unexplained_change(tmp_path: Path) -> None:
    was = Mark(Change("bond", "GF", "in place"), "Anna", "2026-03-12T19:00:00Z", "march.jsonl", 9)
    person = Person(tmp_path, kind="earth", of="", found=(was,))
    while not (isinstance(person.asked, r.Ask) and isinstance(person.step.source, Look) and person.step.source.bonds):
        person.looks = (
            "off" if isinstance(person.step, object) and getattr(person.step.source, "supplies", None) else "open"
        )
        person.one()
    person.say("GF lifted, rest in place", "Ben")
    assert person.outcomes("look")[-1].remark == (
        "Unexplained change: GF is lifted and was in place on 2026-03-12 (Anna, record march.jsonl)."
    )


# what people see


class Told(Runner):
    """A runner in small round a walk of the hut."""

    def __init__(self, walk: Person) -> None:
        super().__init__(walk, seat="Ana")  # type: ignore[arg-type]


def at_the_look(tmp_path: Path, **more: object) -> Person:
    person = Person(tmp_path, **more)  # type: ignore[arg-type]
    person.until(Look)
    person.add(e.Seated(by="Ana"))
    return person


def test_line_by_line_a_look_says_what_is_known_and_what_changed(tmp_path: Path) -> None:
    found = tuple(left(name, "open") for name in ("MP", "PF", "k5"))
    runner = Told(at_the_look(tmp_path, found=found))
    _, said = played(runner, ["yes", "k5 closed, rest open", "open"])
    assert "MP, PF and k5 were open on 2026-03-12 (Anna, record march.jsonl): open, closed or locked off now?" in said
    assert "Nobody has said how PS, k1 and k2 stand" in said
    assert "'yes' ends with no state: open, closed, locked off" in said
    assert "Unexplained change: k5 is closed and was open on 2026-03-12 (Anna, record march.jsonl)." in said


def test_line_by_line_a_gate_says_what_is_missing_and_who_passed_it(tmp_path: Path) -> None:
    person = Person(tmp_path, gates=MISSING)
    person.until(Gate)
    person.add(e.Seated(by="Ana"))
    _, said = played(Told(person), ["", "the cable is new"])
    assert "Not proven: cable W9: prove 3 points ('proveout draft PLANT continuity --cable W9')." in said
    assert "Type a reason to go on without, in words." in said
    assert "Ana goes on all the same: the cable is new" in said


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
@pytest.mark.quick_cases(1)
def test_on_the_screen_a_look_says_what_is_known_and_what_changed(tmp_path: Path, size: tuple[int, int]) -> None:
    async def walk() -> None:
        person = at_the_look(tmp_path, found=(left("k5", "open"),))
        async with on_stage(Scene("look", person), size=size) as stage:  # type: ignore[arg-type]
            words = stage.words
            assert "k5 was open on 2026-03-12 (Anna, record march.jsonl): open, closed or locked off now?" in words
            assert "wanted: open, closed, locked off; or one by one, as in: MP closed, rest open" in words
            await stage.press("enter")
            await stage.press(*"open")
            await stage.press("enter")
            await stage.until(lambda: stage.link.wishes)
            assert [one.answer for one in stage.link.wishes if isinstance(one, e.Answered)] == ["open"]
            stage.hear(person.add(e.Answered(number=person.state.number, answer="k5 closed, rest open", by="Ana")))
            await stage.settle()
            assert "Unexplained change: k5 is closed" in stage.words

    asyncio.run(walk())


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
@pytest.mark.quick_cases(1)
def test_on_the_screen_a_gate_wants_a_reason(tmp_path: Path, size: tuple[int, int]) -> None:
    async def walk() -> None:
        person = Person(tmp_path, gates=MISSING)
        person.until(Gate)
        person.add(e.Seated(by="Ana"))
        async with on_stage(Scene("gate", person), size=size) as stage:  # type: ignore[arg-type]
            words = stage.words
            assert "Not proven: cable W9: prove 3 points ('proveout draft PLANT continuity --cable W9')." in words
            assert "wanted: a reason to go on without, in words" in words
            await stage.press("enter")
            await stage.press(*"late")
            await stage.press("enter")
            await stage.until(lambda: stage.link.wishes)
            assert [one.answer for one in stage.link.wishes if isinstance(one, e.Answered)] == ["late"]
            person.add(e.Answered(number=person.state.number, answer="late", by="Ana"))
            (told,) = summary(person.state).remarked
            assert verdict_line(person.state, told).endswith("Ana goes on all the same: late")

    asyncio.run(walk())
