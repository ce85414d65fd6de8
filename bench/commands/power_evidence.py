"""Whether the records of a folder clear shelves for power, for sequences that bring them up on such evidence."""

from __future__ import annotations

from pathlib import Path

from bench.commands.common import say_progress
from bench.job.folder import open_folder
from bench.job.readiness import readiness
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.say.lists import some
from bench.sequence.file import Energise
from bench.sequence.plan import Plan

MOST = 4
"""Things in the way that are named at most."""


def cleared(plan: Plan, plant: Plant, beside: Path, simulated: bool) -> dict[str, str]:
    """Shelf to why its records do not clear it for power; empty where they do.

    Args:
        plan: the sequence, unrolled; only steps that name other records as their evidence are looked at.
        plant: the plant as it is now.
        beside: the folder of the sequence: the folder of records is looked for from there, then from here.
        simulated: whether the bench is: what a simulator said clears nothing at a real rack.
    """
    found: dict[str, str] = {}
    folders: dict[str, _Clearance] = {}
    handled = Handled()
    for step in plan.steps:
        source = step.source
        handled = handled.after(source.changes)
        if not isinstance(source, Energise) or not source.evidence:
            continue
        if source.evidence not in folders:
            folders[source.evidence] = _Clearance(source.evidence, plant, beside, simulated)
        for shelf in step.subject.split("+"):
            if shelf in plant.shelves:
                cards = any(card.name not in handled.out for card in plant.shelves[shelf].cards)
                why = folders[source.evidence].why_not(shelf, cards)
                found[shelf] = found.get(shelf) or why
    return found


class _Clearance:
    """What one folder of records says about shelves."""

    def __init__(self, named: str, plant: Plant, beside: Path, simulated: bool) -> None:
        self.wrong = ""
        self._gates: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        path = next((path for path in (beside / named, Path(named)) if path.is_dir()), None)
        if path is None:
            self.wrong = f"there is no folder of records '{named}'"
            return
        folder = open_folder(path, plant.name, say_progress)
        if folder.broken:
            self.wrong = f"{folder.broken[0]}"
        elif not folder.chapters:
            self.wrong = f"{path} holds no record of this plant"
        elif folder.simulated and not simulated:
            self.wrong = f"all of {path} comes from simulated benches and proves nothing here"
        gates = readiness(plant, folder.counting(plant), folder.order).gates
        self._gates = {(gate.shelf, gate.gate): gate.blockers for gate in gates}

    def why_not(self, shelf: str, cards: bool) -> str:
        """Why a shelf is not clear, with or without its cards; empty where it is."""
        if self.wrong:
            return self.wrong
        gates = ["first power", *(["cards in"] if cards else [])]
        missing = [(shelf, gate) for gate in gates if (shelf, gate) not in self._gates]
        if missing:
            return "nothing is known of it"
        in_the_way = list(dict.fromkeys(blocker for gate in gates for blocker in self._gates[shelf, gate]))
        named = some([f"{kind} of {about}" if about else kind for kind, about in in_the_way], MOST)
        return f"not proven: {named}" if in_the_way else ""
