"""What came of one rebuild, whichever way it was done."""

from __future__ import annotations

import msgspec

from bench.plant import faults as k
from tests.rebuild.harm import Over
from tests.rebuild.team import Ledger


class Later(msgspec.Struct, frozen=True):
    """A fault of the year after.

    Attributes:
        fault: the fault.
        located: whether it was found.
        minutes: by the clock, from the call to its repair or to giving up.
    """

    fault: k.Fault
    located: bool
    minutes: float


class Came(msgspec.Struct):
    """What came of one rebuild.

    Attributes:
        ledger: what was spent until all shelves were on.
        later: what was spent in the year after.
        over: volts on a shelf over a fault that readings could have shown; each shelf and fault once.
        beside: shelves that had volts and should have had none.
        harmed: shelves whose cards took harm.
        late: landings that were found wrong only when the plant was on.
        there: faults that were there when the last shelf came up.
        left: of them, those that nobody ever found.
        year: faults of the year after.
        mates: of each end's mate that was called: with which chance, and whether it was so.
        readings: of readings by what they read: how many, in how many the stated interval of 95 % held what was at the
            probes, and in how many the one of 95 % by the budget's own shapes did.
        named: of places that a hunt named: with which chance, and whether it was so.
        dark: shelves that were given up: what they draw was never as it should be, or never read.
        told: what was noteworthy, in words.
    """

    ledger: Ledger
    later: Ledger
    over: list[Over] = []
    beside: list[str] = []
    harmed: set[str] = set()
    late: int = 0
    there: list[k.Fault] = []
    left: list[k.Fault] = []
    year: list[Later] = []
    mates: list[tuple[float, bool]] = []
    readings: dict[str, list[int]] = {}
    named: list[tuple[float, bool]] = []
    dark: list[str] = []
    told: list[str] = []

    def saw(self, found: list[Over]) -> None:
        """Keep what is wrong with shelves that have volts, each once."""
        known = {(one.shelf, one.kind, one.cards) for one in self.over}
        for one in found:
            if (one.shelf, one.kind, one.cards) not in known:
                self.over.append(one)
            if one.harms:
                self.harmed.add(one.shelf)
