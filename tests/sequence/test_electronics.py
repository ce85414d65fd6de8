"""No test voltage where electronics hang on: cards are out by a step, or somebody looked, and none went in since."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.files import BadFile
from bench.plant.load import load_plant
from bench.sequence.draft import draft
from bench.sequence.load import load_sequence
from tests.walks.tool import JOB

PLANT = JOB / "plant.yaml"
HOLD = "  - {step: hold, text: Isolated., word: DEAD}\n"
OUT = "  - {step: do, text: Take the cards out., take-out: [1C, 2C]}\n"
IN = "  - {step: do, text: Put one in., put-in: [2C/1]}\n"
LOOK = "  - {step: look, text: Look., cards: [%s], expect: [out]}\n"
SIGNAL = "between: [J101.1, J101.2]"
POWER = "between: [2C.A, 2C.A-return]"
POWER_OUT = "  - {step: do, text: Take the cards out., take-out: [2C]}\n"


def problems(folder: Path, before: str, between: str = SIGNAL) -> str:
    path = folder / "s.yaml"
    test = f"  - {{step: measure, read: insulation, {between}, at: 250 V, limit: {{computed: insulation}}}}\n"
    path.write_text(f"sequence: s\nplant: {PLANT}\nsteps:\n{before}{test}", "utf-8")
    try:
        load_sequence(path)
    except BadFile as error:
        return str(error)
    return ""


@pytest.mark.parametrize("before", ["", HOLD, HOLD + OUT + IN, HOLD + OUT + IN + HOLD])
def test_refused_while_cards_may_hang_on(tmp_path: Path, before: str) -> None:
    assert "cards at its ends" in problems(tmp_path, before)


def test_allowed_with_the_cards_out(tmp_path: Path) -> None:
    plant = load_plant(PLANT)
    cards = ", ".join(card.name for name in ("1C", "2C") for card in plant.shelves[name].cards)
    for before in (OUT + HOLD, HOLD + OUT, HOLD + LOOK % cards, HOLD + OUT + IN + OUT):
        assert problems(tmp_path, before) == ""


def test_a_power_cable_has_its_shelf_for_electronics(tmp_path: Path) -> None:
    assert "2C/" in problems(tmp_path, HOLD, POWER)
    assert problems(tmp_path, HOLD + POWER_OUT, POWER) == ""


@pytest.mark.parametrize("kind", ["insulation", "isolation"])
def test_drafts_take_the_cards_out(tmp_path: Path, kind: str) -> None:
    for cable in ("W101", "W202"):
        path = tmp_path / f"{cable}.yaml"
        path.write_text(draft(load_plant(PLANT), kind, cable, str(PLANT), "s.json"), "utf-8")
        load_sequence(path)
