"""A conductor has two limits: connected, which a cheap meter decides, and sound, which it often cannot."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from bench import assemble
from bench.job.claims import Claims
from bench.judge.accuracy import AccuracyRow
from bench.judge.conductor import Run, awg_conductor
from bench.judge.harness import continuity_limit
from bench.plant.model import Plant
from bench.quantity import Amount
from bench.report.console import summary
from bench.sequence.file import Limit as LimitFile
from bench.sequence.file import Measure
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.by_eye import read_display
from bench.walk.results import connections, results
from bench.walk.setting import Rules
from bench.walk.state import State, fold, start
from tests.walk.hand_held import LEADS, Hand, walked
from tests.walks.tool import JOB

BENCH = """
bench: by hand
instruments:
  - {name: hand-held, profile: polled-text-meter, port: typed}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 1 %}
"""
OPEN = {"W101.12"}
POOR = {"W101.31": 4.7}
SHORT = {"J101.19", "J101.20"}


def test_the_limit_is_that_of_the_harness_practice() -> None:
    """IPC/WHMA-A-620 19.5.1 as quoted: 2 ohm, or 1 ohm beside the wire; 12 m of AWG 24 has 1.011 ohm (ASTM B258)."""
    wire = awg_conductor(24, Run(12.0)).nominal_ohm
    assert continuity_limit(wire).upper == pytest.approx(2.011, abs=0.002)
    assert continuity_limit(0.2).upper == 2.0


def ohms(state: State, step: Step) -> float:
    """What is between the probes in a bundle with an open wire, a poor joint and a short."""
    if set(step.probes or ()) == SHORT:
        return 0.05
    if step.subject in OPEN or step.section.startswith("Neighbouring"):
        return 1e9
    assert state.setting is not None
    held = state.setting.limit(step, state.conditions)
    if held.expected is None:
        return 0.05 if meets(state.setting.plant, step) else 1e9
    return held.expected + POOR.get(step.subject, 0.0)


def meets(plant: Plant, step: Step) -> bool:
    """Whether any way leads in that bundle from one probe to the other, over what is held together on bars."""
    assert isinstance(step.source, Measure) and step.probes is not None
    wires = [wire for wire in plant.conductors.values() if wire.name not in OPEN]
    joined = (
        [{wire.near_end.name, wire.far_end.name} for wire in wires] + [SHORT] + [set(bar) for bar in step.source.join]
    )
    reached, before = {step.probes[0]}, 0
    while len(reached) > before:
        before = len(reached)
        reached.update(*(group for group in joined if group & reached))
    return step.probes[1] in reached


@cache
def _walked() -> State:
    return fold(_entries())


@cache
def _entries() -> tuple[e.Entry, ...]:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(JOB / "plant.yaml", folder)
        shutil.copytree(JOB / "pins", folder / "pins")
        shutil.copy(JOB / "continuity-W101.yaml", folder / "sequence.yaml")
        (folder / "bench.yaml").write_text(BENCH, "utf-8")
        began = assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")
        kept: list[e.Entry] = []
        walked(began, Hand(began.bench.instruments[0], ohms), kept=kept)
        return tuple(kept)


@pytest.mark.slow
def test_a_cheap_meter_decides_what_is_connected_and_finds_the_faults() -> None:
    state = _walked()
    found = connections(state)
    assert len(found.yes) + len(found.no) == 50 and not found.undecided
    assert set(found.no) == {"W101.12", "W101.31", "W101.38", "W101.40"}
    assert len(found.unsound) > 40, "this meter is too coarse for the other limit"
    assert "46 of 50 conductors are connected, 4 not" in found.sentence


def test_what_is_undecided_does_not_drown_what_fails() -> None:
    from bench.screens.walk.findings import summary as seen

    shown = seen(_walked())
    assert {one.subject or one.key for one in shown.worries} >= {"W101.12", "W101.31"}
    assert len(shown.worries) <= 4
    assert not shown.clean
    assert "46 of 50 conductors are connected" in shown.connected and shown.advice


def test_the_siblings_are_compared_although_they_are_undecided() -> None:
    def one_is_poor(state: State, step: Step) -> float:
        return ohms(state, step) + (0.4 if step.subject == "W101.7" else 0.0)

    state = _walked()
    assert state.setting is not None
    began = state.setting.began
    again = walked(began, Hand(began.bench.instruments[0], one_is_poor))
    poor = next(one for one in results(again).values() if one.subject == "W101.7")
    assert poor.connected == "yes" and poor.verdict == "undecided"
    assert poor.odd and "above its siblings" in poor.remark
    assert "1 stands out from its siblings" in connections(again).sentence
    assert "None stands out" in connections(state).sentence


def test_a_margin_that_somebody_answers_for_is_proposed_before_a_better_meter() -> None:
    coarse = next(one for one in results(_walked()).values() if one.connected_at_least)
    assert "margin of" in coarse.advice[0] and "meter that is good to" in coarse.advice[-1]


def test_a_program_is_told_the_same() -> None:
    state = _walked()
    told = summary(state, Path("r.jsonl"))
    assert len(told["connected"]["yes"]) == 46 and set(told["connected"]["no"]) >= {"W101.12"}
    row = next(one for one in told["verdicts"] if one["subject"] == "W101.5")
    assert row["connected"] == "yes" and row["verdict"] == "undecided"


def test_a_display_shows_what_the_hand_holds() -> None:
    state = _walked()
    assert state.setting is not None
    hand = Hand(state.setting.began.bench.instruments[0], ohms)
    assert hand.display("resistance 2w", 1.27) == "1.3" and LEADS == 0.2
    assert hand.display("resistance 2w", 3715.0) == "3.715 k"
    assert hand.display("resistance 2w", 1e9) == "OL M"
    shown = read_display(hand.display("resistance 2w", 2.2e6))
    assert shown is not None and shown.value == pytest.approx(2.2e6)


def test_check_says_of_each_limit_whether_the_bench_can_prove_it() -> None:
    state = _walked()
    assert state.setting is not None
    step = next(one for one in state.setting.plan.steps if one.subject == "W101.5")
    answer = state.setting.capabilities[step.index]
    assert not isinstance(answer, str) and answer.answer == "cannot"
    assert answer.sentence.startswith(
        "This bench can prove that it is connected (at most 2.134 Ω). Whether it is sound:"
    )


def test_the_report_says_read_by_eye_and_tells_the_two_limits_apart() -> None:
    from datetime import UTC, datetime

    from bench.record.replay import follow
    from bench.record.verify import Verified
    from bench.report.page import page
    from bench.report.sheet import sheet

    sound = Verified(Path("r.jsonl"), "walk", len(_entries()), "", "done", ())
    made = sheet(Path("r.jsonl"), follow(Path("r.jsonl"), _entries()), sound)
    text = page([made], [], datetime(2026, 5, 2, tzinfo=UTC))
    assert "46 of 50 conductors are connected" in text
    assert text.count("read by eye") >= 120, "each of the readings says so"
    assert "read by eye; typed before it: OL M" in text, "and what was typed before it counted"
    failed = text.split("<h2>Findings</h2>")[1].split("<h2>Summary</h2>")[0]
    assert 4 <= failed.count('class="verdict v-') <= 6, "what is only undecided does not stand among what failed"


def test_readiness_takes_connected_for_signals_and_not_for_a_supply() -> None:
    from bench.job.readiness import readiness
    from bench.job.rows import distil
    from bench.record.replay import Taken
    from bench.report.ready_text import lines
    from bench.walk.state import start, take

    before, taken = start(), []
    for entry in _entries():
        after = take(before, entry)
        taken.append(Taken(before, entry, after))
        before = after
    rows = distil("r.jsonl", taken).evidence
    setting = _walked().setting
    assert setting is not None
    ready = readiness(setting.plant, rows)
    states = {one.claim.about: one.status for thing in ready.things if thing.name == "W101" for one in thing.states}
    assert states["W101.5"] == "connected" and states["W101.12"] == "failing"
    gate = next(
        one for one in ready.gates if one.shelf in _shelves_of(setting.plant, "W101") and one.gate == "cards in"
    )
    assert ("cable", "W101") in gate.blockers, "what fails is in the way"
    mended = [msgspec.structs.replace(row, verdict="pass") if row.verdict == "fail" else row for row in rows]
    again = readiness(setting.plant, mended)
    gate = next(one for one in again.gates if one.shelf == gate.shelf and one.gate == "cards in")
    assert ("cable", "W101") not in gate.blockers, "connected is enough for signals"
    assert any("Connected:" in line for line in lines(again))
    # a conductor on the way of a supply must be sound
    supply = next(claim for claims in Claims(setting.plant).path_to.values() for claim in claims)
    row = msgspec.structs.replace(
        next(row for row in rows if row.connected == "yes" and row.verdict == "undecided"), subject=supply.about
    )
    ready = readiness(setting.plant, [row])
    cable = setting.plant.conductors[supply.about].cable
    held = [one.shelf for one in ready.gates if one.gate == "first power" and ("cable", cable) in one.blockers]
    assert held


def _shelves_of(plant: Plant, cable: str) -> set[str]:
    ends = {*plant.cables[cable].near, *plant.cables[cable].far}
    powered = [plant.shelves[inlet.shelf] for inlet in plant.inlets.values()]
    return {shelf.name for shelf in powered if ends & {one.name for one in plant.connectors_of(shelf.name)}}


def test_the_same_record_judged_later_with_a_better_accuracy_table() -> None:
    """Somebody finds the leaflet: what was undecided is decided, and what was asked again then still was."""
    state = _walked()
    assert state.setting is not None
    meter = state.setting.bench.instruments[0]
    better = msgspec.structs.replace(meter, rows=tuple(_finer(row) for row in meter.rows))
    again = fold(_entries(), start(Rules(accuracy={meter.name: better})))
    assert again.number == state.number and again.finished
    before, after = results(state), results(again)
    assert sum(one.verdict == "undecided" for one in before.values()) > 40
    assert not [one for one in after.values() if one.verdict == "undecided" and one.subject not in POOR]
    worse = msgspec.structs.replace(meter, rows=tuple(_coarser(row) for row in meter.rows))
    assert fold(_entries(), start(Rules(accuracy={meter.name: worse}))).finished
    # and under a limit that makes every reading fail, which nobody was asked again for then
    tight = LimitFile(at_most=Amount.parse("0.1 ohm"), source="set for this test")
    under = fold(_entries(), start(Rules(limits={"W101.5": tight})))
    assert next(one for one in results(under).values() if one.subject == "W101.5").verdict == "fail"


def _finer(row: AccuracyRow) -> AccuracyRow:
    return replace(row, percent_of_reading=0.1, counts=0.0, resolution=0.01 * row.resolution)


def _coarser(row: AccuracyRow) -> AccuracyRow:
    return replace(row, percent_of_reading=10.0, counts=20.0)
