"""What both ways to do a rebuild have in common: the site, the team, the clock, and what happens beside."""

from __future__ import annotations

from abc import ABC, abstractmethod

from bench.plant import faults as k
from bench.plant.things import Cable
from tests.rebuild import harm
from tests.rebuild.bench import Errors, kit
from tests.rebuild.came import Came
from tests.rebuild.plants import Drawn, signal_cables
from tests.rebuild.site import Site
from tests.rebuild.team import EVENING, REPAIR, SEARCH, Ledger, Team


class Way(ABC):
    """One rebuild, whichever way it is done.

    Args:
        drawn: what there is.
        bench: the instruments.
        factor: how much oftener than stated people slip.
    """

    def __init__(self, drawn: Drawn, bench: str = "middling", factor: float = 1.0) -> None:
        self.drawn = drawn
        self.site = Site(drawn)
        self.team = Team(f"{drawn.number}", factor)
        self.kit = kit(bench)
        self.errors = Errors(self.kit, str(drawn.number))
        self.came = Came(Ledger(), Ledger())
        self.ledger = self.came.ledger
        self.hidden: list[k.Fault] = []
        self._evenings = 0

    def run(self) -> Came:
        """All of it."""
        self.build()
        self.came.there = list(self.site.faults)
        self.function_test()
        self.came.left = list(self.site.faults)
        return self.came

    @abstractmethod
    def build(self) -> None:
        """From the pile to the last shelf."""

    @abstractmethod
    def told(self, fault: k.Fault, cable: Cable) -> None:
        """Somebody says that a wire of this cable came loose."""

    def nights(self) -> None:
        """For each evening that is over: now and then something is caught and comes loose."""
        while self._evenings < int(self.ledger.minutes // EVENING):
            self._evenings += 1
            evening = f"evening {self._evenings}"
            if not self.team.slips("touched", evening):
                continue
            dice = self.team.dice(evening)
            cable = self.site.plant.cables[dice.choice(signal_cables(self.site.plant))]
            wire = dice.choice(cable.conductors)
            if any(cable.name in harm.cable_of(self.site.plant, fault) for fault in self.site.faults):
                continue
            fault = k.Open(conductor=wire.name)
            self.site.faults.append(fault)
            if self.team.slips("not told", evening):
                self.hidden.append(fault)
            else:
                self.told(fault, cable)

    def function_test(self) -> None:
        """All is on: what does not work now is found by its function, late."""
        self.ledger.stage = "late"
        for fault in list(self.site.faults):
            if isinstance(fault, k.Exchanged | k.Shifted | k.ConnectorsExchanged | k.Short | k.Open):
                self.came.late += 1
                self.ledger.spend(SEARCH + REPAIR)
                self.site.mend([fault])
