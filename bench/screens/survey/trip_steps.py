"""What is asked on a trip, step by step: touches, then pulls, then pins of places that were proved dead."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from bench.diagnose.survey.trips import Trip

MOVES: Final = ("yes", "no", "could not be told")
DEAD: Final = ("yes, just now", "no, or not sure: nothing is read here")
_UNTOUCHED: Final = "could not be touched"


class Step(msgspec.Struct, frozen=True):
    """One thing to do on a trip.

    Attributes:
        act: a touch, a pull, the proof that a place is dead, or a reading between two of its pins.
        bay: where.
        name: the end that is touched or felt at, or the place.
        among: the ends that are tagged; the one that is pulled at; the two pins, none where any will do.
    """

    act: Literal["touch", "pull", "dead", "pins"]
    bay: str
    name: str
    among: tuple[str, ...] = ()

    @property
    def question(self) -> str:
        """What is asked."""
        match self.act:
            case "touch":
                single = len(self.among) == 1
                return (
                    f"Does {self.name} answer to {self.among[0]}?" if single else f"Which tag answers at {self.name}?"
                )
            case "pull":
                return f"Does {self.name} move when {self.among[0]} is pulled?"
            case "dead":
                return f"Is {self.name} proved dead?"
            case "pins":
                between = f"pins {' and '.join(self.among)}" if self.among else "which of its pins"
                return f"What does the meter show at {self.name} between {between}?"

    @property
    def hint(self) -> str:
        """How to do it, or to answer."""
        match self.act:
            case "touch":
                return "touch every conductor of it"
            case "pull":
                return "gently, and never by the contacts"
            case "dead":
                return "at its own pins, with a meter that was proved before and after; nothing live is read"
            case "pins":
                if self.among:
                    return "0.3, open, 4.7 kohm; Enter where it was not read"
                return "1-2 0.3, 5-9 open: the same pins at each place of its kind; Enter where none was read"

    @property
    def choices(self) -> tuple[str, ...]:
        """What a number chooses."""
        match self.act:
            case "touch":
                return ("yes", "no", _UNTOUCHED) if len(self.among) == 1 else (*self.among, "none", _UNTOUCHED)
            case "pull":
                return MOVES
            case "dead":
                return DEAD
            case "pins":
                return ()


def steps_of(trip: Trip) -> tuple[Step, ...]:
    """Everything to do on a trip, in order.

    Args:
        trip: the trip.
    """
    steps = [Step("touch", bay, name, tagged) for bay, name, tagged in trip.touches]
    steps += [Step("pull", bay, felt, (pulled,)) for bay, felt, pulled in trip.pulls]
    for bay, read in trip.reads:
        steps.append(Step("dead", bay, read.place))
        steps += [Step("pins", bay, read.place, pair) for pair in read.pins or ((),)]
    return tuple(steps)
