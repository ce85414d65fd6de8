"""What is drafted from a plant: its file holds the structs that were built, loads with its plant, and is what ships."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, event, given

from bench.files import parse
from bench.plant.load import load_plant
from bench.plant.model import Plant, UnknownName
from bench.sequence.draft import KINDS, CannotDraft, again, draft, file_text, identify
from bench.sequence.drafts.parts import called
from bench.sequence.file import Energise, Hold, Measure, Prove, Seek, SequenceFile, Zero
from bench.sequence.load import load_sequence
from tests.drawn import draws
from tests.power import small_hall
from tests.sequence import random_plants

JOB = small_hall.GANNET.parent
SHIPPED = {
    "earth": ("earth", ""),
    "earth-live": ("earth-live", ""),
    "insulation-W101": ("insulation", "W101"),
    "polarity-bay-2": ("polarity", "2"),
    "idle-current-bay-2": ("idle-current", "2"),
}


def scopes(plant: Plant) -> list[str]:
    """The whole plant, and everything of it that has a name and can be asked for."""
    return ["", *plant.bays, *plant.shelves, *plant.cables, *plant.connectors]


def drafted(plant: Plant, kind: str, of: str) -> SequenceFile | None:
    """The sequence as it reads back, equal to what was built; None where there is nothing to draft."""
    try:
        made = KINDS[kind](plant, of)
    except (CannotDraft, UnknownName) as error:
        assert str(error)
        return None
    sequence, _ = parse(draft(plant, kind, of, "plant.yaml", "schema.json", ["a: remark"]), SequenceFile, "drafted")
    assert sequence.steps == made.steps and sequence.about == made.about
    words = kind.replace("-", " ")
    assert sequence.sequence == (f"{words}, {called(plant, of)}" if of else words) and sequence.plant == "plant.yaml"
    return sequence


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.quick_cases(1)
def test_drafts_of_gannet_head_read_back_as_they_were_built(kind: str) -> None:
    plant = load_plant(small_hall.GANNET)
    asked = (
        ["W101", "W512", "J101", "2", "2A", "5D-L", "WGA", ""]
        if kind not in ("first-power", "supply-search")
        else ["2A"]
    )
    made = [drafted(plant, kind, of) for of in asked]
    assert any(made), kind


@pytest.mark.quick_cases(2)
@pytest.mark.parametrize(
    "kind", [kind for kind in KINDS if kind not in ("earth", "earth-two-wires", "earth-live", "identify", "insulation")]
)
def test_drafts_of_the_small_hall_read_back_as_they_were_built(kind: str, tmp_path: Path) -> None:
    plant = small_hall.small(tmp_path)
    assert any(drafted(plant, kind, of) for of in scopes(plant)), kind


@draws(10, suppress_health_check=[HealthCheck.too_slow])
@given(random_plants.plant_texts())
@pytest.mark.slow
def test_drafts_of_any_plant_read_back_and_load(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_text(text, "utf-8")
        plant = load_plant(path)
        for kind in KINDS:
            made = [of for of in scopes(plant) if drafted(plant, kind, of) is not None]
            for of in made[:1]:
                event(kind)
                sequence = Path(folder) / "s.yaml"
                sequence.write_text(draft(plant, kind, of, "plant.yaml", "schema.json"), "utf-8")
                assert load_sequence(sequence).plan.steps


@pytest.mark.parametrize("name", SHIPPED)
def test_a_draft_is_what_ships(name: str) -> None:
    kind, of = SHIPPED[name]
    text = draft(load_plant(JOB / "plant.yaml"), kind, of, "plant.yaml", "../schemas/sequence.json")
    assert text == (JOB / f"{name}.yaml").read_text("utf-8")


def test_with_two_wires_the_leads_are_proven_and_the_same_is_read() -> None:
    plant = load_plant(JOB / "plant.yaml")
    four, two = KINDS["earth"](plant, "").steps, KINDS["earth-two-wires"](plant, "").steps
    assert all(getattr(step, "wires", 2) == 2 for step in two)
    assert [one.between for one in two if isinstance(one, Measure)] == [
        one.between for one in four if isinstance(one, Measure)
    ]
    proofs = [type(step) for step in two if isinstance(step, Prove | Zero | Seek)]
    assert proofs == [Prove, Zero, Prove, Seek, Zero]
    assert not any("our-wire" in getattr(step, "text", "") for step in two)


def test_what_is_proven_again_after_a_repair_reads_back(tmp_path: Path) -> None:
    plant = load_plant(JOB / "plant.yaml")
    made = again(plant, "gannet-head", "Proof.", ["W101.1", "W101.2"], [("J101.1", "J101.2")])
    path = tmp_path / "s.yaml"
    path.write_text(file_text(plant, "proof", made, str(JOB / "plant.yaml"), "x"), "utf-8")
    loaded = load_sequence(path)
    assert loaded.sequence.steps == made.steps
    assert {step.subject for step in loaded.plan.steps if step.kind == "measure"} >= {"W101.1", "W101.2"}


def test_the_settings_of_a_search_and_its_tester_are_in_the_draft() -> None:
    plant = load_plant(JOB / "plant.yaml")
    told = {"method": "sizes", "tester": "yes", "colours": "1 white/blue; 2 blue/white"}
    made = identify(plant, "W512", told)
    sequence, _ = parse(file_text(plant, "identify", made, "plant.yaml", "x"), SequenceFile, "x")
    assert sequence.steps == made.steps
    assert [step.title for step in sequence.steps if step.title.startswith("Prove the tester")] == [
        "Prove the tester",
        "Prove the tester again",
    ]
    assert any(getattr(step, "settings", None) == told for step in sequence.steps)


def test_nothing_is_brought_up_but_behind_a_hold_point(tmp_path: Path) -> None:
    steps = KINDS["first-power"](small_hall.small(tmp_path), "2").steps
    word = ""
    for step in steps:
        if isinstance(step, Hold):
            word = step.word
        if isinstance(step, Energise):
            assert word == "ENERGISE"
