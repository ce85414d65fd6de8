"""Who does the work: two volunteers with their slips, their way from bay to bay, and the instruments that they have.

Each rate is the chance for one opportunity. Those from a handbook are named with their table, and quoted from memory
where no copy was at hand; the others are assumed. Both ways of working have the same team with the same rates.
"""

from __future__ import annotations

import random
from collections import Counter
from typing import Final

import msgspec


class Rate(msgspec.Struct, frozen=True):
    """A chance of a slip, and where it comes from."""

    chance: float
    of: str
    source: str


THERP: Final = "Swain and Guttmann, NUREG/CR-1278 (1983)"
HEART: Final = "Williams, HEART (1986)"
RATES: Final = {
    "wrong place": Rate(
        0.003, "a probe, a wire or a plug at the wrong one of several like places",
        f"{THERP}, table 20-12: a control among like ones told by labels alone, 0.003 (a secondary copy agrees)",
    ),
    "misread": Rate(0.001, "a display read wrongly", f"{THERP}, table 20-10: a digital readout, 0.001 (from memory)"),
    "mistyped": Rate(
        0.004, "a figure written or typed wrongly",
        f"{THERP}, table 20-10: 0.001 a digit where there are more than three, four digits (from memory)",
    ),
    "forgotten": Rate(
        0.003, "an act of a list with a tick for each left out, such as one breaker",
        f"{THERP}, table 20-7: a long list with check-off, 0.003 (from memory)",
    ),
    "forgotten without a list": Rate(
        0.01, "the same from a notebook, without a tick for each", f"{THERP}, table 20-7: 0.01 (from memory)"
    ),
    "overlooked": Rate(
        0.01, "a wrong state right in front of one that is not noticed",
        f"{THERP}: 0.01 (a secondary copy agrees)",
    ),
    "bored": Rate(0.005, "a reading that is put down without being taken", "assumed"),
    "touched": Rate(0.05, "for each evening: something is caught and comes loose", "assumed"),
    "not told": Rate(0.3, "of these, the part that nobody tells or notices", "assumed"),
    "badly mended": Rate(0.02, "a repair that does not hold", f"{HEART}, task E: routine, 0.02 (from memory)"),
}  # fmt: skip

WALK: Final = 0.6
"""Minutes to another bay, and for each bay on the way :data:`A_BAY`; as the survey's own (assumed there too)."""
A_BAY: Final = 0.15
CLIMB: Final = 1.5
PLACE: Final = 0.2
"""Minutes to find two places and hold the probes on them: as the pace of a drafted walk has it."""
CHANGE_OVER: Final = 0.5
"""Minutes to lay one meter's leads down and take another one's (assumed)."""
AT_HAND: Final = 0.13
"""The same where a probe stays where it was."""
BY_EYE: Final = 0.13
"""Minutes to read a display and type it, or to write it down in a list."""
LOOK_UP: Final = 0.1
"""Minutes to find in a list by hand what comes next and what it should be."""
REPAIR: Final = 12.0
"""Minutes to mend what was found: a wire that is landed anew, a lug, a card that is exchanged."""
SEARCH: Final = 45.0
"""Minutes of a search by hand where nothing else came to a proof."""
OPEN_UP: Final = 8.0
"""Minutes to open up a place in order to look at it, and to close it again."""
EVENING: Final = 150.0
"""Minutes of work in an evening, without what comes before and after."""
PEOPLE: Final = 2


def _nowhere() -> list[str]:
    return [""] * PEOPLE


class Ledger(msgspec.Struct):
    """What was spent and done.

    Attributes:
        minutes: by the clock.
        by: minutes by what they went to.
        climbs: bays that somebody went up to.
        readings: taken.
        acts: of hands beside: breakers, cards, clips, repairs.
        touched: sound things that were opened or moved for nothing.
        alarms: findings that name what is sound.
    """

    minutes: float = 0.0
    by: dict[str, float] = {}
    climbs: int = 0
    readings: int = 0
    acts: int = 0
    touched: int = 0
    alarms: int = 0
    at: list[str] = msgspec.field(default_factory=_nowhere)
    stage: str = "survey"

    def spend(self, minutes: float) -> None:
        """Time goes by in the stage under way."""
        self.minutes += minutes
        self.by[self.stage] = self.by.get(self.stage, 0.0) + minutes

    def go(self, bays: tuple[str, ...]) -> None:
        """The two people stand where both places are: who is nearer goes."""
        for bay in dict.fromkeys(one for one in bays if one):
            if bay in self.at:
                continue
            free = next((n for n, here in enumerate(self.at) if here not in bays), 0)
            here = self.at[free]
            apart = abs(int(here) - int(bay)) if here else 0
            self.spend(WALK + A_BAY * apart + CLIMB)
            self.climbs += 1
            self.at[free] = bay

    @property
    def hours(self) -> float:
        """Person-hours."""
        return self.minutes * PEOPLE / 60.0

    @property
    def evenings(self) -> int:
        """Evenings, begun ones counted."""
        return int(self.minutes // EVENING) + 1


class Team:
    """Two people with their slips, drawn.

    Args:
        seed: of all that they do.
        factor: how much oftener than stated they slip.
    """

    def __init__(self, seed: str, factor: float = 1.0) -> None:
        self.seed = seed
        self.factor = factor
        self._times: Counter[str] = Counter()

    def dice(self, what: str) -> random.Random:
        """Dice of its own for each time that something is done: a reading more or less shifts nobody's slips."""
        self._times[what] += 1
        return random.Random(f"team {self.seed}: {what}, {self._times[what]}")

    def slips(self, kind: str, at: str) -> bool:
        """Whether it happens this time.

        Args:
            kind: of slip, in :data:`RATES`.
            at: what is done: places, a breaker, an evening.
        """
        return self.dice(f"{kind} at {at}").random() < min(0.5, RATES[kind].chance * self.factor)

    def typed(self, text: str, at: str) -> str:
        """A figure as it gets typed wrongly: one digit is another one, or two change places."""
        digits = [place for place, sign in enumerate(text) if sign.isdigit()]
        if not digits:
            return text
        dice = self.dice(f"typed at {at}")
        signs = list(text)
        place = dice.choice(digits)
        if place + 1 in digits and dice.random() < 0.5:
            signs[place], signs[place + 1] = signs[place + 1], signs[place]
        else:
            signs[place] = dice.choice("0123456789")
        return "".join(signs)
