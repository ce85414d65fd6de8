"""First power as it is drafted, on plants that are sound and on plants that are not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.diagnose.supply.patterns import findings
from bench.files import BadFile
from bench.plant import faults as k
from bench.plant.load import load_plant
from bench.quantity import Resistance
from bench.sequence.draft import CannotDraft, draft
from bench.sequence.drafts.power import STAYS_OFF
from bench.sequence.file import Do, Energise
from bench.sequence.load import load_sequence
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import passed, results
from bench.walk.state import Phase, Refused, State, request, take
from tests.power import pure_walk, small_hall
from tests.power import season_of_faults as season


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> State:
    """The drafted stages of bay 2, begun."""
    folder = tmp_path_factory.mktemp("first-power")
    return pure_walk.begun(folder, small_hall.written(folder), "2")


def walked(first: State, seed: int) -> tuple[pure_walk.PureWalk, season.Drawn]:
    drawn = season.drawn(seed)
    assert first.setting is not None
    walk = pure_walk.PureWalk(first, first.setting.plant, [drawn.fault] if drawn.fault else [], seed)
    walk.run()
    return walk, drawn


@pytest.mark.parametrize("seed", range(len(season.KINDS)), ids=season.KINDS)
@pytest.mark.quick_cases(1)
def test_every_fault_is_found_by_its_name_and_stopped_in_time(first: State, seed: int) -> None:
    walk, drawn = walked(first, seed)
    found = findings(walk.state)
    assert walk.state.phase is Phase.DONE
    named = [(one.kind, one.subject) for one in found]
    assert named == ([(drawn.kind, drawn.subject)] if drawn.fault else [])
    if drawn.fault is None:
        assert passed(walk.state)
    for step, event in walk.fed:
        shelves = step.subject.split("+")
        if drawn.fault is not None and drawn.shelf in shelves:
            assert max(volts for _, volts, _ in event.sets) <= drawn.highest
    assert all(trip.beyond == 1 for trip in walk.trips)
    if drawn.kind == "lossy":
        shelf = drawn.subject.partition(".")[0]
        assert season.segment(walk, walk.plant, drawn.subject) == f"WA{shelf}.1"


@pytest.mark.slow
def test_the_same_seed_gives_the_same_walk(first: State) -> None:
    one, other = (walked(first, 5)[0] for _ in range(2))
    assert one.fed == other.fed
    assert results(one.state) == results(other.state)


def test_a_shelf_that_failed_stays_off_and_says_why(first: State) -> None:
    walk, drawn = walked(first, 1)
    assert first.setting is not None
    barred = [o for o in results(walk.state).values() if o.barred]
    assert barred
    texts = [o.sentence for o in barred if first.setting.plan.steps[o.index].kind == "energise"]
    assert any(f"'{drawn.subject} is free of shorts' does not count as passed (fail)" in text for text in texts)
    assert all(not event.sets or drawn.shelf not in step.touches for step, event in walk.fed)


@pytest.mark.slow
def test_the_other_shelves_come_up_all_the_same(first: State) -> None:
    walk, drawn = walked(first, 5)
    up = {step.subject for step, event in walk.fed if event.why == "done" and event.sets[-1][1] == 48.0}
    other = {"2A", "2B"} - {drawn.shelf}
    assert other <= up


@pytest.mark.parametrize("off", ["2A", "2B"])
@pytest.mark.slow
def test_a_shelf_that_is_off_from_the_start_keeps_no_neighbour_off(first: State, off: str) -> None:
    """Its stages are passed over, and the readings at its neighbours that belong to them."""
    assert first.setting is not None
    short = k.ShelfShort(shelf=off, feed="B", ohms=Resistance(0.5))
    walk = pure_walk.PureWalk(first, first.setting.plant, [short], 3)
    walk.run()
    up = {step.subject for step, event in walk.fed if event.why == "done" and event.sets[-1][1] == 48.0}
    assert {"2A", "2B", "2C"} - {off} <= up and off not in up


@pytest.mark.slow
def test_no_hold_point_is_passed_but_by_its_word(first: State) -> None:
    """Every hold point of the drafted stages, tried with all that is not its word; and none is left out on the way."""
    assert first.setting is not None
    walk = pure_walk.PureWalk(first, first.setting.plant, [], 0)
    holds, live_asked = 0, 0
    while not walk.state.finished:
        state, asked = walk.state, request(walk.state)
        if isinstance(asked, r.Ask) and asked.step.kind == "hold":
            holds += 1
            for event in (
                *(
                    e.Answered(number=state.number, answer=word)
                    for word in ("", " ", "y", "yes", "ok", "retry", "skip")
                ),
                e.Skipped(number=state.number, reason="in a hurry", by="Ana"),
                e.Went(number=state.number, to=state.place.cursor + 1, by="Ana"),
            ):
                with pytest.raises(Refused):
                    take(state, e.Entry(n=state.taken + 1, at=state.at, event=event))
        if isinstance(asked, r.Energise) or (
            isinstance(asked, r.Ask) and isinstance(asked.step.source, Do) and asked.step.source.energises
        ):
            live_asked += 1
            before = [s.index for s in state.setting.plan.steps[: state.place.cursor] if s.kind == "hold"]  # type: ignore[union-attr]
            assert before[-1] in state.outputs.held
        event = walk.event()
        walk.state = take(state, e.Entry(n=state.taken + 1, at=state.at, event=event))
    assert holds == sum(step.kind == "hold" for step in first.setting.plan.steps) > 9 and live_asked > 30


def test_every_stage_lies_behind_the_word_of_its_own_shelf(first: State) -> None:
    """One word for a shelf without cards, one with them: none by reflex, and none of another shelf."""
    assert first.setting is not None
    word, inside = "", False
    for step in first.setting.plan.steps:
        source = step.source
        if step.kind == "hold":
            word = step.title
        if isinstance(source, Do):
            inside = (inside or bool(source.put_in)) and not step.title.startswith("Bench supply off")
        if isinstance(source, Energise):
            assert word.startswith("Clear to energise") and set(step.subject.split("+")) <= set(
                re.findall(r"\w+", word)
            )
            assert not inside or "without" not in word


def test_each_stage_shows_what_is_on_and_what_is_left(first: State) -> None:
    assert first.setting is not None
    levels = [step for step in first.setting.plan.steps if step.kind == "energise"]
    full = next(step for step in levels if step.title == "2A on A alone, all cards in")
    for words in ("In the place of GA", "On: shelf 2A", "Expected", "Breaker FA2A", "80% of 6 A", "left"):
        assert words in full.text


def test_the_draft_is_a_sequence_with_cautions(first: State, tmp_path: Path) -> None:
    assert first.setting is not None
    kinds = [step.kind for step in first.setting.plan.steps]
    assert kinds[0] == "caution"
    text = first.setting.plan.steps[0].text
    assert "codes" in text and "authorised" in text and "no safety device" in text


def test_a_draft_that_would_overload_is_refused(tmp_path: Path) -> None:
    weak = small_hall.SMALL.replace("{name: FA2A, feed: A, rating: 6 A", "{name: FA2A, feed: A, rating: 2 A")
    plant = load_plant(small_hall.written(tmp_path, weak))
    with pytest.raises(CannotDraft, match=r"FA2A .* TOO MUCH"):
        draft(plant, "first-power", "2A", "plant.yaml", "schema.json")


@pytest.mark.parametrize(
    ("step", "told"),
    [
        ("{step: energise, text: On., at: [GX], voltage: 48 V, current-limit: 4 A}", "a supply of the plant"),
        ("{step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 1 A}", "more than the"),
        (
            "{step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 4 A, derating: 20 %}",
            "would overload breaker",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused_before_the_walk(tmp_path: Path, step: str, told: str) -> None:
    small_hall.written(tmp_path)
    path = tmp_path / "sequence.yaml"
    path.write_text(
        "sequence: try\nplant: plant.yaml\nsteps:\n"
        "  - {step: hold, text: Clear., word: CLEAR}\n"
        "  - {step: do, text: Close., close: [FA, FA2A]}\n"
        "  - {step: measure, read: resistance, between: [2A.A, 2A.A-return], limit: {at-least: 1 kohm, source: here}}\n"
        f"  - {step}\n"
    )
    with pytest.raises(BadFile, match=told):
        load_sequence(path)


def test_nothing_comes_up_in_a_plan_without_evidence_or_hold_point(tmp_path: Path) -> None:
    small_hall.written(tmp_path)
    path = tmp_path / "sequence.yaml"
    level = "{step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 4 A"
    close = "  - {step: do, text: Close., close: [FA, FA2A]}\n"
    hold = "  - {step: hold, text: Clear., word: CLEAR}\n"
    path.write_text(f"sequence: try\nplant: plant.yaml\nsteps:\n{hold}{close}  - {level}}}\n")
    with pytest.raises(BadFile, match="nothing was measured before"):
        load_sequence(path)
    path.write_text(f"sequence: try\nplant: plant.yaml\nsteps:\n{hold}{close}  - {level}, evidence: record 7}}\n")
    assert load_sequence(path).plan.steps[-1].subject == "2A"
    path.write_text(f"sequence: try\nplant: plant.yaml\nsteps:\n  - {level}}}\n")
    with pytest.raises(BadFile, match="a hold point before it"):
        load_sequence(path)


@pytest.mark.parametrize(("field", "first"), [(", converter: true", True), (", converter: false", False), ("", False)])
def test_a_converter_is_one_by_its_field_whatever_its_title(tmp_path: Path, field: str, first: bool) -> None:
    title = "title: shelf converter, idle: 0.06 A"
    assert title in small_hall.SMALL
    text = small_hall.SMALL.replace(title, f"title: supply card{field}, idle: 0.06 A")
    steps = draft(load_plant(small_hall.written(tmp_path, text)), "first-power", "2A", "plant.yaml", "schema.json")
    assert ("Put in: converter" in steps) is first
    assert ("dummy: 0.5 A" in steps) is first


def test_a_reversed_feed_is_said_in_words_and_its_shelf_is_made_safe_and_left(first: State) -> None:
    """No reading that is merely too low or too high, and no further card, breaker or word for that shelf."""
    walk, drawn = walked(first, season.KINDS.index("reversed"))
    assert drawn.kind == "reversed" and first.setting is not None
    steps = first.setting.plan.steps
    bad = [o for o in results(walk.state).values() if o.verdict == "fail"]
    assert bad and "the feed is the wrong way round" in bad[0].sentence
    assert "too low" not in bad[0].sentence and "too high" not in bad[0].sentence
    after = [steps[o.index] for o in results(walk.state).values() if o.verdict == "done" and o.index > bad[0].index]
    for step in after:
        source = step.source
        if isinstance(source, Do):
            assert not any(name.partition("/")[0] == drawn.shelf for name in source.put_in)
            assert not any(name.endswith(drawn.shelf) for name in source.close)
        # a word for several shelves names it beside the others, and says that what failed stays off
        shelves = set(re.findall(r"\b2[A-C]\b", step.title))
        assert step.kind != "hold" or shelves != {drawn.shelf}
        assert step.kind != "hold" or drawn.shelf not in shelves or STAYS_OFF in step.text
    opened = [s for s in after if isinstance(s.source, Do) and any(n.endswith(drawn.shelf) for n in s.source.open)]
    assert opened, "its breaker is asked to be opened"
