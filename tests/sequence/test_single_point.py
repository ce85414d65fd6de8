"""A second conductor on the bar of the single-point connection is one connection (ITU-T K.27)."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.sequence.draft import draft
from bench.walk.results import results
from bench.walk.state import Phase
from tests.walk import by_hand_hall
from tests.walks.tool import JOB

L1 = "    - {name: L1, from: EB, to: X1, size: 50 mm2, length: 6 m}"


@pytest.fixture
def doubled(tmp_path: Path) -> Path:
    """Gannet Head with a second conductor beside L1."""
    import shutil

    shutil.copytree(JOB / "pins", tmp_path / "pins")
    text = (JOB / "plant.yaml").read_text("utf-8")
    assert L1 in text
    (tmp_path / "plant.yaml").write_text(text.replace(L1, f"{L1}\n{L1.replace('L1', 'L1B').replace('6 m', '7 m')}"))
    return tmp_path


def test_the_plant_is_sound_and_says_what_the_conductor_is(doubled: Path) -> None:
    plant = load_plant(doubled / "plant.yaml")
    assert [bond.name for bond in plant.single_point_bonds] == ["L1", "L1B"]
    assert "beside the single-point connection" in plant.where("L1B")


def test_both_are_lifted_and_each_is_proven_alone(doubled: Path) -> None:
    text = draft(load_plant(doubled / "plant.yaml"), "earth", "", "plant.yaml", "s.json")
    assert "lift: [L1, L1B]" in text and "Put L1B back" in text and "lift: [L1]" in text and "refit: [L1]" in text
    live = draft(load_plant(doubled / "plant.yaml"), "earth-live", "", "plant.yaml", "s.json")
    assert "direct current in L1B" in live and "direct current in L1\n" in live


@pytest.mark.slow
def test_the_walk_finds_one_connection(doubled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = draft(load_plant(doubled / "plant.yaml"), "earth", "", "plant.yaml", "s.json")
    monkeypatch.setattr(by_hand_hall, "JOB", doubled)
    folder = doubled / "walk"
    folder.mkdir()
    state = by_hand_hall.walked(by_hand_hall.began(folder, text, ohms="low-ohm"))
    assert state.phase is Phase.DONE and state.setting is not None
    found = {state.setting.plan.steps[index].title: one for index, one in results(state).items()}
    for title in ("L1 is proven again", "L1B is proven again"):
        assert found[title].verdict == "pass" and not found[title].remark, found[title].sentence
    assert found["The single-point connection with all its conductors"].verdict == "pass"
    # this hand-held meter is too coarse to exclude every path, and says so; it takes neither conductor for a second one
    assert not [one.sentence for one in found.values() if one.verdict == "fail"]
