"""The second job of the tests from an empty folder to both bays on: two laptops, proofs, a reason, real bytes.

Its meters are simulated in a process of their own and answer over real ports.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from bench.assemble import load_job, new_walk
from bench.commands.report import write_report
from bench.job.asfound import as_found, before_a_walk
from bench.job.folder import open_folder
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.record.read import read_record
from bench.runner.ports import Manner
from bench.sequence.draft import KINDS, draft, file_text
from bench.sequence.drafts.parts import Draft
from bench.sequence.file import Gate, Look
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import Phase, State

HUT = Path("tests/jobs/beacon-hut").resolve()
SPEED = 400.0
REASON = "the yard proved the wiring of that bay; its sheet is in the folder"
FINDER_POWER = ("WP", "WQ", "WPF", "WQF", "w1", "w2", "w3", "w4")
"""The power wiring from both batteries to the shelves of the finder bay."""


def begun(folder: Path) -> Plant:
    """An empty folder becomes the job: its plant and its benches, and nothing else."""
    shutil.copy(HUT / "plant.yaml", folder / "plant.yaml")
    shutil.copytree(HUT / "benches", folder / "benches")
    return load_plant(folder / "plant.yaml")


class Somebody:
    """The simulator's hands, by a name, with a reason of their own where a gate asks for one."""

    def __init__(self, hands: Any, name: str) -> None:
        self._hands, self.name = hands, name

    def answer(self, step: Step) -> str:
        return REASON if isinstance(step.source, Gate) else str(self._hands.answer(step))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._hands, name)


def walked(job: Path, sequence: str, bench: str, record: str, operator: str) -> State:
    """Walk a sequence of the job by the simulator's hands, in this process; its meters are in another one."""
    ready = load_job(job / f"{sequence}.yaml", job / "benches" / f"{bench}.yaml")
    manner = Manner(alone=True)
    with new_walk(ready, job / record, operator=operator, manner=lambda simulated: manner, speed=SPEED) as walk:
        walk.runner._hands = Somebody(walk.runner._hands, operator)  # type: ignore[assignment]
        state = walk.run()
    assert state.phase is Phase.DONE
    return state


def outcomes(state: State, kind: type) -> dict[str, str]:
    """Subject or title to what came of the steps of a kind, in words."""
    assert state.setting is not None
    steps = state.setting.plan.steps
    return {steps[index].subject or steps[index].title: one.sentence for index, one in results(state).items()
            if isinstance(steps[index].source, kind)}  # fmt: skip


@pytest.mark.slow
def test_from_an_empty_folder_to_both_bays_on(tmp_path: Path) -> None:
    job, other = tmp_path / "job", tmp_path / "other"
    for folder in (job, other):
        folder.mkdir()
    plant = begun(job)
    shutil.copytree(job, other, dirs_exist_ok=True)

    # Anna proves the earth and the power wiring of the finder bay; Ben, on his own laptop, its signal cables
    proofs = [part for kind, of in (("earth", ""), *(("continuity", name) for name in FINDER_POWER))
              for part in KINDS[kind](plant, of).parts]  # fmt: skip
    text = file_text(plant, "earth and power wiring", Draft("Proofs.", proofs), "plant.yaml", "s")
    (job / "proofs.yaml").write_text(text, "utf-8")
    walked(job, "proofs", "low-ohm", "logs/anna.jsonl", "Anna")
    signals = [part for kind, of in (("continuity", "C1"), ("continuity", "C2"), ("isolation", "C3"))
               for part in KINDS[kind](plant, of).parts]  # fmt: skip
    text = file_text(plant, "signal cables", Draft("Proofs.", signals), "plant.yaml", "s")
    (other / "signals.yaml").write_text(text, "utf-8")
    walked(other, "signals", "simulated", "logs/ben.jsonl", "Ben")

    # the folders merge by copying; neither knew of the other, and nothing contradicts
    shutil.copy(other / "logs" / "ben.jsonl", job / "logs" / "ben.jsonl")
    found = as_found(open_folder(job / "logs", plant.name), plant)
    assert not found.contradictions
    assert found.handled.state("breaker", "k1") == "open" and found.handled.state("bond", "G1") == "in place"

    # both bays: the gates of the finder on proof, those of the signals bay on a reason with a name
    (job / "first.yaml").write_text(draft(plant, "first-power", "", "plant.yaml", "s"), "utf-8")
    state = walked(job, "first", "simulated", "logs/first.jsonl", "Cora")
    gates = outcomes(state, Gate)
    assert {shelf for shelf, said in gates.items() if said.startswith("Proven by the records")} == {
        "finder-top",
        "finder-low",
    }
    for shelf in ("keyers", "relays"):
        assert gates[shelf].startswith("Not proven: ") and f"Cora goes on all the same: {REASON}" in gates[shelf], (
            gates[shelf]
        )
    assert all(said.startswith(("Found", "Not needed")) for said in outcomes(state, Look).values())
    bad = [one for one in results(state).values() if one.verdict not in ("pass", "done")]
    assert not bad, [(one.verdict, one.subject, one.sentence) for one in bad]
    came_up = {step.subject for step in state.setting.plan.steps if step.kind == "energise"}  # type: ignore[union-attr]
    assert {"finder-top", "finder-low", "keyers", "relays"} <= came_up
    left = as_found(open_folder(job / "logs", plant.name), plant).handled
    assert left.live == {"BATP", "BATQ"}, "both batteries serve"
    assert {"k1", "k2", "k3", "k4", "k5", "k6", "k7"} <= left.closed, "both bays are on"

    # the reasons stand in the record and in the report, with the name
    said = [entry.event for entry in read_record(job / "logs" / "first.jsonl") if isinstance(entry.event, e.Answered)]
    assert [event.by for event in said if event.answer == REASON] == ["Cora", "Cora"]
    page = write_report([job / "logs" / "first.jsonl"], tmp_path / "report.html").path.read_text("utf-8")
    assert "What the records have proven for keyers: not proven" in page and REASON in page


@pytest.mark.slow
def test_a_breaker_left_closed_in_the_other_bay_is_found_before_anything_is_energised(tmp_path: Path) -> None:
    """The same job; the signals bay's breaker was closed since, and nobody wrote it down."""
    plant = begun(tmp_path)
    bench = (tmp_path / "benches" / "simulated.yaml").read_text("utf-8")
    assert "{seed: 24}" in bench
    (tmp_path / "benches" / "left.yaml").write_text(bench.replace("{seed: 24}", "{seed: 24, closed: [k5]}"), "utf-8")
    (tmp_path / "look.yaml").write_text(
        f"sequence: a look\nplant: plant.yaml\nsteps:\n  - {{step: look, breakers: [{', '.join(plant.breakers)}]}}\n",
        "utf-8",
    )
    walked(tmp_path, "look", "simulated", "logs/look.jsonl", "Anna")
    assert before_a_walk(tmp_path / "logs", plant, simulated=True).found
    (tmp_path / "finder.yaml").write_text(draft(plant, "first-power", "finder", "plant.yaml", "s"), "utf-8")
    state = walked(tmp_path, "finder", "left", "logs/finder.jsonl", "Cora")
    events = [entry.event for entry in read_record(tmp_path / "logs" / "finder.jsonl")]
    assert not [event for event in events if isinstance(event, e.Energised | e.Switched)]
    looks = outcomes(state, Look)
    assert looks["Nothing beside is fed"].startswith("Fail: k5 is closed")
    remarks = [one.remark for one in results(state).values() if one.remark]
    assert any(remark.startswith("Unexplained change: k5 is closed and was open on ") for remark in remarks), remarks
