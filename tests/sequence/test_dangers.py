"""What a draft asks of hands where something may be live, on both jobs: one feed of -48 V, one of +24 V."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.sequence.draft import KINDS, CannotDraft
from bench.sequence.file import Do, Energise, Hold, Limit, Measure, Prove, Single, Wait
from tests.power import small_hall

ROOT = Path(__file__).parents[2]
JOBS = {
    "gannet-head": (ROOT / "sequences" / "gannet-head" / "plant.yaml", "2", "2C"),
    "beacon-hut": (ROOT / "tests" / "jobs" / "beacon-hut" / "plant.yaml", "signals", "keyers"),
}
BOTH = pytest.mark.parametrize("job", JOBS)


@cache
def plant_of(job: str) -> Plant:
    return load_plant(JOBS[job][0])


@cache
def steps_of(job: str, kind: str) -> list[Single]:
    _, bay, shelf = JOBS[job]
    return list(KINDS[kind](plant_of(job), shelf if kind == "supply-search" else bay).steps)  # type: ignore[arg-type]


def before_dead(job: str, kind: str) -> list[Single]:
    """The steps before the word DEAD."""
    steps = steps_of(job, kind)
    return steps[: next(i for i, step in enumerate(steps) if isinstance(step, Hold) and step.word == "DEAD")]


@BOTH
@pytest.mark.parametrize("kind", ["first-power", "supply-search", "polarity", "idle-current"])
@pytest.mark.quick_cases(4)
def test_every_point_is_proved_dead_in_all_pairs_between_two_proofs(job: str, kind: str) -> None:
    plant, steps = plant_of(job), before_dead(job, kind)
    proofs = [i for i, step in enumerate(steps) if isinstance(step, Prove) and step.against == "live-source"]
    assert len(proofs) == 2
    read = {
        frozenset(plant.terminal(end).node for end in step.between)
        for step in steps[proofs[0] : proofs[1]]
        if isinstance(step, Measure) and step.read == "voltage"
    }
    _, bay, shelf = JOBS[job]
    shelves = [plant.shelves[shelf]] if kind == "supply-search" else plant.shelves_of(bay)
    inlets = [inlet for one in shelves for inlet in one.inlets]
    frames = {point.node for point in plant.earth_points.values() if not (point.outside or point.is_return)}
    for one in shelves:
        nodes = [end.node for inlet in one.inlets for end in (inlet.live, inlet.back)]
        # a feed, a return and a frame are three pairs; two feeds are ten (arithmetic: 5 x 4 / 2)
        pairs = {pair for pair in read if len(pair & set(nodes)) == 2} | {
            pair for pair in read if len(pair & set(nodes)) == 1 and pair & frames
        }
        places = len(nodes) + 1
        assert len(pairs) == places * (places - 1) // 2
    for inlet in inlets:
        path = plant.supply_path(inlet.shelf, inlet.feed)
        ends = [end for name in path.breakers for end in (plant.breakers[name].line, plant.breakers[name].load)]
        for end in [*ends, plant.supplies[path.supply].live]:
            mine = [pair for pair in read if end.node in pair]
            assert any(pair & frames for pair in mine) and any(not pair & frames for pair in mine), end.name


@BOTH
@pytest.mark.parametrize("kind", ["first-power", "supply-search", "polarity", "idle-current"])
def test_a_typed_word_alone_proves_nothing(job: str, kind: str) -> None:
    steps = before_dead(job, kind)
    word = steps_of(job, kind)[len(steps)]
    assert isinstance(word, Hold)
    assert {step.subject for step in steps if isinstance(step, Measure)} <= set(word.proven)


@BOTH
@pytest.mark.parametrize("kind", ["first-power", "supply-search"])
def test_the_bench_supply_is_moved_by_acts_and_shows_where_it_is_before_it_goes_higher(job: str, kind: str) -> None:
    plant = plant_of(job)
    at: set[str] = set()
    safe_read = False
    on = False
    for step in steps_of(job, kind):
        if isinstance(step, Do) and step.connect:
            assert not at and not on, f"{step.title}: still at {at}"
            at, safe_read = set(step.connect), False
            for name in step.connect:
                supply = plant.supplies[name]
                plus = "its plus on " + (supply.live.name if supply.volts > 0 else supply.back.name)
                minus = "its minus on " + (supply.back.name if supply.volts > 0 else supply.live.name)
                assert plus in step.text and minus in step.text
        if isinstance(step, Do) and step.disconnect:
            assert not on
            at = set()
        if getattr(step, "output", "") == "off":
            on = False
        if isinstance(step, Measure) and step.live and step.limit == Limit(computed="shelf-voltage") and on:
            safe_read = True
        if isinstance(step, Energise):
            assert set(step.at) == at
            volts = [*(stage.to.value for stage in step.ramp), step.voltage.value]
            assert max(volts) <= 6.0 or safe_read, step.title
            on = True
    assert not at and not on


@BOTH
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_texts_follow_the_sign_of_the_feed(job: str, kind: str) -> None:
    if kind in ("first-power", "supply-search", "polarity", "idle-current"):
        texts = " ".join(getattr(step, "text", "") for step in steps_of(job, kind))
        wrong = "return is positive" if job == "beacon-hut" else "feed is positive"
        assert wrong not in texts and "its plus on the return" not in texts


def test_a_running_plant_is_taken_as_it_is() -> None:
    for job in JOBS:
        steps = KINDS["earth-live"](plant_of(job), "").steps
        assert not any(step.changes for step in steps if isinstance(step, Do))


@BOTH
@pytest.mark.parametrize("kind", ["first-power", "idle-current"])
def test_no_meter_lead_makes_or_breaks_a_current(job: str, kind: str) -> None:
    """The ammeter goes across a breaker while it is closed, and comes off when it is closed again."""
    closed: set[str] = set()
    across = ""
    for step in steps_of(job, kind):
        if isinstance(step, Do):
            if step.title.startswith("Ammeter across"):
                across = step.open[0]
                assert across in closed
            closed = closed - set(step.open) | set(step.close)
        if isinstance(step, Measure) and step.read == "current":
            assert step.between[0].partition(".")[0] == across
        if isinstance(step, Do) and across in step.close:
            across = ""
    assert not across


@BOTH
@pytest.mark.parametrize("kind", ["polarity", "idle-current"])
def test_a_battery_meets_nothing_without_proof(job: str, kind: str) -> None:
    for step in steps_of(job, kind):
        if isinstance(step, Do) and step.energises:
            assert step.proven, step.title


def test_cards_go_in_after_the_computed_wait() -> None:
    """R C ln(V0 / V) x 1.26: 2.2 mF, 22 kohm, 48 V to 5 V: 138 s (arithmetic, see the values of the reference)."""
    waits = 0
    # a dummy load comes off between the wait and the cards
    steps = [step for step in steps_of("gannet-head", "first-power") if step.title != "Dummy load off"]
    for before, step in pairwise(steps):
        if isinstance(step, Do) and step.put_in:
            assert isinstance(before, Wait) and before.time is not None
            assert before.time.value >= math.ceil(2.2e-3 * 22e3 * math.log(48 / 5) * 1.26)
            waits += before.time.value == math.ceil(2.2e-3 * 22e3 * math.log(48 / 5) * 1.26)
    assert waits == 4


def test_where_no_bleeder_is_known_the_place_itself_is_read(tmp_path: Path) -> None:
    made = KINDS["first-power"](small_hall.small(tmp_path), "2A").steps
    steps = [step for step in made if step.title != "Dummy load off"]
    for before, step in pairwise(steps):
        if isinstance(step, Do) and step.put_in:
            assert isinstance(before, Do) and "behind the diodes" in before.text and "2 V" in before.text


@BOTH
def test_one_word_for_each_new_danger(job: str) -> None:
    """Per shelf one without cards and one with them; the plant's own supplies have theirs."""
    steps = steps_of(job, "first-power")
    battery = next(i for i, step in enumerate(steps) if isinstance(step, Hold) and step.word == "BATTERY")
    shelves = plant_of(job).shelves_of(JOBS[job][1])
    feeds = {inlet.feed for shelf in shelves for inlet in shelf.inlets}
    words = [step for step in steps[:battery] if isinstance(step, Hold)]
    assert len(words) <= 1 + 2 * len(shelves) + len(feeds)


@BOTH
def test_back_feed_is_read_with_cards_in_on_each_feed_alone(job: str) -> None:
    inside, fed = False, ""
    seen: set[tuple[str, str]] = set()
    plant = plant_of(job)
    for step in steps_of(job, "first-power"):
        if isinstance(step, Do):
            inside = (inside and not step.take_out) or bool(step.put_in)
        if isinstance(step, Energise):
            fed = plant.supplies[step.at[0]].feed if len(step.at) == 1 and step.voltage.value > 6 else ""
        if isinstance(step, Measure) and step.live and inside and fed and "does not rise" in step.title:
            inlet = plant.inlets[step.subject]
            if inlet.feed != fed:
                seen.add((inlet.name, fed))
    for shelf in plant.shelves_of(JOBS[job][1]):
        for one in shelf.inlets:
            for other in shelf.inlets:
                assert one is other or (one.name, other.feed) in seen


@BOTH
def test_no_stage_stands_where_converters_may_or_may_not_run(job: str) -> None:
    """Makers' data of converters for 36 to 75 V: they start at 32.5 V at the least (live.conv.on, read)."""
    plant = plant_of(job)
    for step in steps_of(job, "first-power"):
        if isinstance(step, Energise) and "in" in step.title.split() and step.ramp:
            nominal = abs(plant.feeds[plant.supplies[step.at[0]].feed].nominal_v)
            assert max(stage.to.value for stage in step.ramp) < nominal * 32.5 / 48


@BOTH
def test_each_feed_fails_in_turn_while_the_other_is_read(job: str) -> None:
    """A feed is opened only while the other carries the load, read dead on its own, and closed before the next."""
    steps = steps_of(job, "first-power")
    begin = next(i for i, step in enumerate(steps) if isinstance(step, Hold) and step.word == "SERVICE")
    plant, closed, failed = plant_of(job), set[str](), list[str]()
    mains = {plant.supply_path(one.shelf, one.feed).breakers[0] for one in plant.inlets.values()}
    for step in steps[begin:]:
        if isinstance(step, Do):
            closed = closed - set(step.open) | set(step.close)
            if step.title.endswith(" fails"):
                failed.append(step.title)
                left = {plant.breakers[name].feed for name in closed & mains}
                assert left and left.isdisjoint(plant.breakers[name].feed for name in step.open)
            elif step.switch_off:
                assert not closed
        if isinstance(step, Measure) and " is dead without " in step.title:
            assert plant.inlets[step.subject].feed not in left and step.limit.at_most is not None
    assert len(failed) == 2


@BOTH
def test_the_battery_s_room_and_joints_come_before_its_lugs(job: str) -> None:
    steps = steps_of(job, "first-power")
    titles = [step.title for step in steps]
    lugs = next(i for i, step in enumerate(steps) if isinstance(step, Hold) and step.word == "BATTERY")
    protects = next(title for title in titles if title.startswith("What protects "))
    for title, words in (
        ("The battery's room", ("hydrogen", "spark", "covered")),
        (protects, ("fuse", "breaks", "direct voltage")),
        ("Joints made up and marked", ("torque", "marked")),
        ("Meter, leads and tools", ("direct voltage", "fuse")),
    ):
        act = steps[titles.index(title)]
        assert isinstance(act, Do) and titles.index(title) < lugs
        for word in words:
            assert word in act.text, (title, word)
    assert titles[-1] == "Joints again, cold"
    for step in steps:
        if isinstance(step, Do) and step.switch_on and not step.connect:
            assert "earthed pole last" in step.text, step.title


def test_a_floating_feed_and_two_polarities_are_refused(tmp_path: Path) -> None:
    both = small_hall.SMALL.replace(
        "{name: B, nominal: -48 V, allowed: [-57 V, -40.5 V]", "{name: B, nominal: +48 V, allowed: [40.5 V, 57 V]"
    )
    both = both.replace(
        "{name: GB, feed: B, kind: battery, voltage: -53.5 V", "{name: GB, feed: B, kind: battery, voltage: +53.5 V"
    )
    with pytest.raises(CannotDraft, match="both polarities"):
        KINDS["first-power"](small_hall.small(tmp_path, both), "2A")
    text = JOBS["beacon-hut"][0].read_text("utf-8").replace("kind: return-bar, busbar: MINUS", "kind: bar, at: power")
    floating = tmp_path / "floating.yaml"
    floating.write_text(text, "utf-8")
    with pytest.raises(CannotDraft, match="floating"):
        KINDS["first-power"](load_plant(floating), "signals")
