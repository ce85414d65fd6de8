"""How long drafts are for the people who walk them: steps, words to type, moves of the bench supply, minutes."""

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.sequence.draft import KINDS
from bench.sequence.drafts.dead_first import dead_first
from bench.sequence.file import Do, Hold, SequenceFile
from bench.sequence.pace import seconds_of
from bench.sequence.unroll import unroll

PLANTS = {"hall": Path("sequences/gannet-head/plant.yaml"), "hut": Path("tests/jobs/beacon-hut/plant.yaml")}


def drafted(job, kind, of, *, powered=False):
    plant = load_plant(PLANTS[job])
    made = KINDS[kind](plant, of)
    made = dead_first(plant, of, made) if powered else made
    return unroll(SequenceFile(sequence="s", plant="plant.yaml", steps=made.steps), plant).steps


@pytest.mark.parametrize(
    ("job", "kind", "of", "powered", "steps", "words", "moves", "hours"),
    [
        ("hall", "first-power", "2", False, 550, 12, 4, 5.7),
        ("hall", "first-power", "2C", False, 150, 3, 4, 2.0),
        ("hut", "first-power", "finder", False, 320, 10, 4, 3.2),
        ("hall", "continuity", "2", False, 940, 1, 0, 3.0),
        ("hall", "continuity", "2", True, 1070, 1, 0, 3.4),
        ("hall", "continuity", "W101", True, 150, 1, 0, 0.7),
        ("hall", "polarity", "2", False, 155, 2, 0, 1.4),
    ],
)
@pytest.mark.quick_cases(1)
def test_a_draft_is_no_longer_than_people_bear(job, kind, of, powered, steps, words, moves, hours):
    found = drafted(job, kind, of, powered=powered)
    typed = sum(isinstance(step.source, Hold) for step in found)
    moved = sum(isinstance(step.source, Do) and bool(step.source.connect) for step in found)
    took = seconds_of(found) / 3600.0
    assert len(found) <= steps and typed <= words and moved <= moves and took <= hours, (len(found), typed, moved, took)


@pytest.mark.slow
def test_moving_the_bench_supply_costs_most_of_an_act():
    """Four shelves share its four moves: a bay takes less than its shelves one by one."""
    bay = seconds_of(drafted("hall", "first-power", "2"))
    assert bay < 0.95 * sum(seconds_of(drafted("hall", "first-power", shelf)) for shelf in ("2A", "2B", "2C", "2D"))
