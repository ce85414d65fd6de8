"""The search for lost voltage as a walk: asked for reading by reading, each stretch named; by a real process too."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bench.diagnose.searches import adviser
from bench.diagnose.supply.locate import MissingVolts
from bench.plant.load import load_plant
from bench.sequence.draft import CannotDraft, draft
from bench.sequence.file import Found, Measure
from bench.sequence.power_tree import PowerTree
from bench.walk import events as e
from bench.walk.adviser import NoAdvice
from bench.walk.results import results
from bench.walk.state import Phase
from tests.power import small_hall
from tests.power.test_on_ports import BENCH
from tests.screens.walk.power_scenes import PowerWalk, sound
from tests.walk import paper_walk as paper
from tests.walk.test_energise_machine import BENCH as TWO
from tests.walks.tool import proveout


class Rack(paper.PaperWalk):
    """A small hall with a loss in some stretches of the way to 2A on feed A."""

    def __init__(self, folder: Path, bad: dict[str, float]) -> None:
        plant = small_hall.written(folder)
        path = folder / "search.yaml"
        path.write_text(draft(load_plant(plant), "supply-search", "2A", "plant.yaml", "sequence.json"), "utf-8")
        super().__init__(paper.made_from(path, TWO).began, readings=self._shown)
        self.bad = bad
        self.advise = adviser()
        self.asked_for: list[str] = []

    def _shown(self, state: Any, step: Any) -> dict[str, Any]:
        if state.seeking is None:
            if step.kind == "measure" and step.source.read == "resistance":
                return {"over": "+", "range": 1e5}
            return sound(state, step)
        fed = state.conditions.fed
        plant = state.setting.plant
        feed = "A" if "GA" in fed.at else "B"
        flow = PowerTree(plant).flow(fed)
        whole = MissingVolts.begin(plant, "2A", feed, flow, 0.0, 0.01)
        assert whole is not None
        self.asked_for.append(step.title)
        ends = step.source.between
        lost = 0.0
        for back, spot in ((False, ends[0]), (True, ends[1])):
            for stretch in (s for s in whole.way if s.back is back):
                if stretch.near == spot:
                    break
                lost += stretch.drop + self.bad.get(stretch.edge.id, 0.0)
                if stretch.far == spot:
                    break
        return {"value": -(48.0 - lost), "function": "voltage", "unit": "V"}

    def one(self) -> None:
        if self.state.phase is Phase.ADVISING:
            self.add(paper.msgspec.structs.replace(self.advise(self.state), number=self.state.number))
        elif self.state.phase is Phase.ENERGISING and self.state.step is not None:
            self.add(paper.brought_up(self.state, self.state.step, sets=[(0.0, 48.0, 3.0)]))
        else:
            super().one()

    def found(self) -> list[Found]:
        self.finish()
        return [o.found for o in results(self.state).values() if o.found is not None]


def ways(folder: Path) -> list[str]:
    plant = load_plant(small_hall.written(folder))
    path = plant.supply_path("2A", "A")
    return [edge.id for edge in (*path.out, *path.back)]


@pytest.mark.slow
def test_every_stretch_of_the_way_is_named_there_and_back(tmp_path: Path) -> None:
    for segment in ways(tmp_path):
        rack = Rack(tmp_path, {segment: 1.9})
        on_a, on_b = rack.found()
        assert on_a.verdict == "fail", segment
        (loss,) = on_a.facts["losses"]
        assert loss["segment"] == segment
        assert loss["volts"] == pytest.approx(1.9, abs=0.05)
        assert "Switch off, prove dead" in on_a.sentence
        # feed B shares no stretch with A but the return bar's studs, and nothing is missing there
        assert on_b.verdict == ("pass" if segment not in shared(tmp_path) else "fail")


def shared(folder: Path) -> set[str]:
    plant = load_plant(small_hall.written(folder))
    path = plant.supply_path("2A", "B")
    return {edge.id for edge in (*path.out, *path.back)}


def test_a_breaker_is_named_with_its_bay_and_its_drop(tmp_path: Path) -> None:
    on_a, _ = Rack(tmp_path, {"FA2A": 1.9}).found()
    assert on_a.sentence.startswith("Fail: Drop of 1.9 V across bay 2 breaker FA2A, where")
    assert {"2A", "2A.A", "FA2A"} <= set(on_a.touches)


def test_few_readings_do(tmp_path: Path) -> None:
    rack = Rack(tmp_path, {"FA2A": 1.9})
    rack.found()
    on_a = [title for title in rack.asked_for if "2A.B" not in title]
    assert len(on_a) <= 6, "a reading at every place would be more than twice as many"


def test_two_losses_are_both_named(tmp_path: Path) -> None:
    on_a, _ = Rack(tmp_path, {"FA2A": 1.9, "WA2A.2": 0.9}).found()
    assert {loss["segment"] for loss in on_a.facts["losses"]} == {"FA2A", "WA2A.2"}


def test_a_sound_way_passes_with_one_reading_on_each_feed(tmp_path: Path) -> None:
    rack = Rack(tmp_path, {})
    assert [one.verdict for one in rack.found()] == ["pass", "pass"]
    assert rack.asked_for == ["2A.A under load", "2A.B under load"]


def test_what_was_skipped_leaves_the_suspects_named(tmp_path: Path) -> None:
    rack = Rack(tmp_path, {"FA2A": 1.9})
    rack.until(phase=Phase.PLACING)
    while rack.state.seeking is None or not rack.state.seeking.trail:
        rack.one()
    rack.until(phase=Phase.PLACING)
    rack.skip("the place is behind a cover")
    found = rack.found()[0]
    assert found.verdict == "undecided" and "missing at 2A.A" in found.sentence and "among" in found.sentence


def test_the_readings_are_live_and_behind_a_caution_and_a_hold_point(tmp_path: Path) -> None:
    rack = Rack(tmp_path, {"FA2A": 1.9})
    assert rack.state.setting is not None
    kinds = [step.kind for step in rack.state.setting.plan.steps]
    assert kinds[0] == "caution" and "hold" in kinds[: kinds.index("energise")]
    rack.until(phase=Phase.ADVISING)
    advised = rack.advise(rack.state)
    assert isinstance(advised.want, Measure) and advised.want.live and "Live parts" in advised.want.text


def test_nothing_on_is_nothing_to_search(tmp_path: Path) -> None:
    rack = Rack(tmp_path, {})
    rack.until(phase=Phase.ENERGISING)
    step = rack.state.step
    assert step is not None
    rack.add(paper.brought_up(rack.state, step, state="off", why="over"))
    verdicts = [one.verdict for one in rack.found()]
    assert verdicts[0] == "undecided"


def test_only_a_shelf_that_is_fed_can_be_searched(tmp_path: Path) -> None:
    plant = load_plant(small_hall.written(tmp_path))
    with pytest.raises(CannotDraft, match="name one with --shelf"):
        draft(plant, "supply-search", "", "plant.yaml", "sequence.json")
    rack = Rack(tmp_path, {})
    with pytest.raises(NoAdvice):
        rack.advise(rack.state)


def test_a_shelf_that_loses_voltage_at_first_power_is_told_where_to_look() -> None:
    walk = PowerWalk()
    walk.readings = lambda state, step: {
        **sound(state, step),
        **({"value": -46.0} if step.title == "2A.A under load" else {}),
    }
    walk.finish()
    advice = [text for outcome in results(walk.state).values() for text in outcome.advice]
    assert advice and all("supply-search --shelf 2A" in text for text in advice)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("terminal", "segment"), [("2A.A", "WA2A.1"), ("2A.A-return", "WA2A.2"), ("FA.line", "WGA.1"), ("", "")]
)
def test_a_named_fault_is_found_on_real_ports(tmp_path: Path, terminal: str, segment: str) -> None:
    small_hall.written(tmp_path)
    fault = f"{{fault: high-resistance-lug, terminal: {terminal}, ohms: 1.1 ohm}}" if terminal else ""
    (tmp_path / "bench.yaml").write_text(BENCH.format(faults=fault), "utf-8")
    drafted = proveout("draft", "plant.yaml", "supply-search", "--shelf", "2A", "-o", "search.yaml", cwd=tmp_path)
    assert drafted.returncode == 0, drafted.stderr
    words = ("run", "search.yaml", "--bench", "bench.yaml", "--record", "r.jsonl", "--speed", "60", "--json")
    done = proveout(*words, cwd=tmp_path)
    assert done.returncode == (1 if segment else 0), done.stdout + done.stderr
    told = [one["sentence"] for one in json.loads(done.stdout)["verdicts"] if one["verdict"] == "fail"]
    assert len(told) == bool(segment)
    if segment:
        assert f"conductor {segment} with its lugs" in told[0] and "1.1 Ω too much" in told[0]
    from bench.record.read import read_record

    ends = [x.event.want for x in read_record(tmp_path / "r.jsonl") if isinstance(x.event, e.Advised)]
    facts = [end.facts for end in ends if isinstance(end, Found) and end.facts]
    assert [loss["segment"] for fact in facts for loss in fact["losses"]] == ([segment] if segment else [])
