"""What a walk says at its end of what it brought up: on the console, in 'explain' and in the report."""

from __future__ import annotations

import io
import json
import random
from pathlib import Path

import pytest

from bench.diagnose.supply.patterns import findings, raised
from bench.plant import faults as k
from bench.quantity import Current, Duration, Resistance, Voltage
from bench.report.console import Console, summary
from bench.screens.walk import findings as shown
from bench.sequence.file import Do, Energise
from bench.sequence.plan import Step
from bench.walk import power
from bench.walk.outcome import Outcome
from bench.walk.results import passed, results
from bench.walk.state import State
from tests.power import pure_walk, small_hall
from tests.walks.tool import proveout


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> State:
    folder = tmp_path_factory.mktemp("words")
    return pure_walk.begun(folder, small_hall.written(folder), "2A")


def walked(first: State, *faults: k.Fault) -> pure_walk.PureWalk:
    assert first.setting is not None
    walk = pure_walk.PureWalk(first, first.setting.plant, faults, 3)
    walk.run()
    return walk


@pytest.fixture(scope="module")
def turned(first: State) -> pure_walk.PureWalk:
    return walked(first, k.PolarityReversed(shelf="2A", feed="B"))


def test_a_feed_that_is_the_wrong_way_round_is_said_in_words(turned: pure_walk.PureWalk) -> None:
    told = [one.sentence for one in shown.summary(turned.state).seen]
    assert len(told) == 1 and told[0].startswith("Feed and return are exchanged at 2A.B")
    assert "too high" not in told[0] and "too low" not in told[0]
    out = io.StringIO()
    Console(out).summary(turned.state, Path("record.jsonl"))
    assert f"found     {told[0]}" in out.getvalue()
    assert summary(turned.state, Path("r"))["found"][0]["kind"] == "reversed"


def test_explain_and_the_report_say_it_from_the_record_alone(turned: pure_walk.PureWalk, tmp_path: Path) -> None:
    record = turned.record(tmp_path / "turned.jsonl")
    told = proveout("explain", record, cwd=tmp_path)
    assert told.returncode == 1 and "Feed and return are exchanged at 2A.B" in told.stdout, told.stderr
    causes = json.loads(proveout("explain", record, "--json", cwd=tmp_path).stdout)[0]["causes"]
    assert [(one["kind"], one["pins"]) for one in causes] == [("reversed", ["2A.B"])]
    assert proveout("report", record, "-o", tmp_path / "r.html", cwd=tmp_path).returncode in (0, 1)
    assert "Feed and return are exchanged at 2A.B" in (tmp_path / "r.html").read_text("utf-8")


def test_a_walk_that_brings_nothing_up_has_nothing_to_say(first: State) -> None:
    assert not raised(first) and not findings(first)


class Forgetful(pure_walk.PureWalk):
    """Once the converter is in nobody closes a breaker any more, and everybody says so."""

    converter_in = False

    def act(self, step: Step) -> None:
        super().act(step)
        if not isinstance(step.source, Do):
            return
        self.converter_in = self.converter_in or "converter" in step.title
        if step.source.close and self.converter_in:
            self.world.breakers([], self.t)


def test_a_shelf_that_gets_nothing_is_not_said_to_miss_a_card(first: State) -> None:
    assert first.setting is not None
    walk = Forgetful(first, first.setting.plant, (), 3)
    walk.run()
    failed = [one.sentence for one in results(walk.state).values() if one.verdict == "fail"]
    assert any("draws too little" in one for one in failed), failed
    named = findings(walk.state)
    assert [(one.kind, one.subject) for one in named] == [("dead", "2A.A")]
    assert named[0].sentence.endswith("closed: look first whether each of them is.")


LUG = k.HighResistanceLug(terminal="FA2A.load", ohms=Resistance(0.120))


@pytest.mark.slow
def test_a_hot_joint_that_costs_too_little_voltage_to_show_is_found_by_its_millivolts(first: State) -> None:
    """120 mohm at an ampere are 0.12 V of 48 V, and every voltage at the shelf passes."""
    walk = walked(first, LUG)
    failed = [
        first.setting.plan.steps[one.index].title  # type: ignore[union-attr]
        for one in results(walk.state).values()
        if one.verdict == "fail"
    ]
    assert failed[0] == "Joints from FA2A.load to 2A.A"
    named = findings(walk.state)
    assert [(one.kind, one.subject) for one in named] == [("joint", "FA2A.load")]
    # I R and I^2 R at the current that was measured (arithmetic)
    amps = next(event.amps[-1] for step, event in walk.fed if "all cards in" in step.title)
    assert amps is not None
    assert "W of heat" in named[0].sentence and "torque" in named[0].sentence
    assert passed(walked(first).state)


@pytest.mark.parametrize(
    ("jump", "word", "told", "not_told"),
    [(0.030, "creeps", "Find what warms up", "switches off"), (-0.030, "restless", "switches off", "warms")],
)
def test_a_current_that_falls_does_not_warm_up(jump: float, word: str, told: str, not_told: str) -> None:
    drawn = random.Random("falls")
    watched = [(0.5 * n, 0.4 + (jump if n > 70 else 0.0) + drawn.gauss(0, 0.001)) for n in range(120)]
    source = Energise(text="", at=["GA"], voltage=Voltage(48.0), current_limit=Current(1.0), soak=Duration(60.0))
    found = power._soaked(source, Outcome(0, "", 1, "pass", "Pass.", "2A"), watched, 0.4, 0.0)
    assert found.verdict == "fail" and found.finding == word
    assert told in found.sentence and not_told not in found.sentence
