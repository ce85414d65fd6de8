"""A draft for a dead plant proves it dead where the plant has had power: every point, between two proofs."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.commands.common import has_had_power
from bench.plant.load import load_plant
from bench.sequence.draft import KINDS, draft
from bench.sequence.drafts.dead_first import PROVED, dead_first
from bench.sequence.file import Do, Each, Hold, Measure, Prove, Seek, SequenceFile, Step
from bench.sequence.redraft import kept, marked
from bench.sequence.unroll import unroll

JOB = Path(__file__).parents[2] / "sequences" / "gannet-head"
PLANT = load_plant(JOB / "plant.yaml")
DRAFTS = (
    ("continuity", "2"),
    ("continuity", "W101"),
    ("landing", "W101"),
    ("identify", "W702"),
    ("crosses", "J101"),
    ("isolation", "J101"),
    ("insulation", "W101"),
    ("earth", ""),
)


def parted(steps: list[Step]) -> tuple[list[Step], Hold, list[Step]]:
    """What comes before the hold point, it, and what comes after."""
    at = next(n for n, step in enumerate(steps) if isinstance(step, Hold) and step.word == "DEAD")
    hold = steps[at]
    assert isinstance(hold, Hold)
    return steps[:at], hold, steps[at + 1 :]


@pytest.mark.parametrize(("kind", "of"), DRAFTS)
def test_every_point_is_read_between_two_proofs_before_the_word_counts(kind: str, of: str) -> None:
    made = dead_first(PLANT, of, KINDS[kind](PLANT, of))
    unroll(SequenceFile(sequence=kind, plant="plant.yaml", steps=made.steps), PLANT)
    before, hold, after = parted(made.steps)
    proofs = [n for n, step in enumerate(before) if isinstance(step, Prove)]
    readings = [n for n, step in enumerate(before) if isinstance(step, Measure)]
    assert len(proofs) == 2 and readings and proofs[0] < min(readings) <= max(readings) < proofs[1]
    assert hold.proven and PROVED in hold.text
    about = {step.subject for step in before if isinstance(step, Measure)}
    assert about <= set(hold.proven), "the word counts only where each of them is dead"
    stop = after[0]
    assert isinstance(stop, Do) and stop.unless_proven == hold.proven
    for step in after[1:]:
        inner = step.steps if isinstance(step, Each) else [step]
        assert all(one.proven for one in inner if isinstance(one, Measure | Do | Seek)), step


def test_all_pairs_of_each_shelf_at_the_ends_are_read_to_the_frame_too() -> None:
    made = dead_first(PLANT, "W101", KINDS["continuity"](PLANT, "W101"))
    before, _, _ = parted(made.steps)
    pairs = {frozenset(step.between) for step in before if isinstance(step, Measure)}
    cable = PLANT.cables["W101"]
    shelves = {PLANT.connectors[one].shelf for one in (*cable.near, *cable.far)}
    for name in shelves:
        shelf = PLANT.shelves[name]
        inlets = shelf.inlets or [
            one for whole in PLANT.shelves.values() if name in whole.halves for one in whole.inlets
        ]
        for inlet in inlets:
            assert frozenset((inlet.live.name, inlet.back.name)) in pairs
            assert sum(inlet.live.name in pair for pair in pairs) >= 3, "return, frame and the other feed"


def test_a_draft_that_reads_already_is_left_as_it_is() -> None:
    for kind, of in (("first-power", "2"), ("polarity", "2"), ("supply-search", "2B")):
        made = KINDS[kind](PLANT, of)
        assert dead_first(PLANT, of, made) is made


def test_after_a_live_reading_in_the_search_for_lost_voltage_no_ohms_are_asked_for() -> None:
    _, hold, after = parted(KINDS["supply-search"](PLANT, "2B").steps)
    ohms = [step for step in after if isinstance(step, Measure) and step.read == "resistance"]
    assert ohms and all(set(hold.proven) <= set(step.proven) for step in ohms)


def test_without_records_nothing_had_power(tmp_path: Path) -> None:
    assert not has_had_power(tmp_path / "logs", PLANT)


def test_a_draft_from_before_the_power_is_told_to_be_stale() -> None:
    old = marked(draft(PLANT, "continuity", "W101", "plant.yaml", "x"), "continuity", "W101")
    said = kept(PLANT, old, "plant.yaml", "x", powered=True)
    assert said is not None and "has had power" in said.stale
    new = marked(draft(PLANT, "continuity", "W101", "plant.yaml", "x", powered=True), "continuity", "W101")
    for powered in (True, False):
        fresh = kept(PLANT, new, "plant.yaml", "x", powered=powered)
        assert fresh is not None and not fresh.stale
