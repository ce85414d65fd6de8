"""What the drafts share: what a draft is, steps that many kinds begin and end with, and names for a scope."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import msgspec

from bench.plant.model import Plant
from bench.plant.things import KIND_WORDS, Cable
from bench.quantity import Amount
from bench.sequence.file import Ask, Caution, Do, Hold, Limit, Prove, Step, Zero
from bench.sequence.limits import shelves_at
from bench.sequence.writer import Comments


class CannotDraft(ValueError):
    """The plant lacks what the sequence would be about, or the plan would overload it; the sentence says what."""


class Beside(msgspec.Struct, frozen=True):
    """A step with comments beside its fields, by the field's name in the struct."""

    step: Step
    comments: Mapping[str, str]


Part = Step | Beside | str
"""A step, a step with comments beside its fields, or a comment that stands above whatever step comes next."""


class Draft(msgspec.Struct, frozen=True):
    """What a sequence is to hold.

    Attributes:
        about: what it finds, in a sentence.
        parts: its steps in order, with comments.
    """

    about: str
    parts: Sequence[Part]

    @property
    def steps(self) -> list[Step]:
        """The steps alone."""
        return [part.step if isinstance(part, Beside) else part for part in self.parts if not isinstance(part, str)]

    def comments(self, head: Sequence[str] = (), above_steps: Sequence[str] = ()) -> Comments:
        """The comments alone, by the places of the steps.

        Args:
            head: lines above the whole file.
            above_steps: lines above the steps.
        """
        above: dict[int, list[str]] = {}
        beside: dict[int, Mapping[str, str]] = {}
        number = 0
        for part in self.parts:
            if isinstance(part, str):
                above.setdefault(number, []).append(part)
                continue
            if isinstance(part, Beside):
                beside[number] = part.comments
            number += 1
        return Comments(tuple(head), tuple(above_steps), above, beside)


def by_hand(source: str, *, at_least: str = "", at_most: str = "") -> Limit:
    """A limit that was set by hand.

    Args:
        source: where it comes from.
        at_least: the lower bound as a file has it; '' for none.
        at_most: the upper bound.
    """
    low = Amount.parse(at_least) if at_least else None
    high = Amount.parse(at_most) if at_most else None
    return Limit(at_least=low, at_most=high, source=source)


def apart_limit() -> Limit:
    """What wires that should be apart must read."""
    return by_hand("common practice, no source: wires that should be apart read open", at_least="100 kohm")


def section(title: str) -> str:
    """A comment that parts a long sequence."""
    return f"{'-' * 64} {title}"


def unique(names: Iterable[str]) -> list[str]:
    """Names in the order of their first mention, each once."""
    return list(dict.fromkeys(names))


def dead(what: str, looks: Sequence[Part] = (), stands_on: Sequence[str] = ()) -> list[Part]:
    """What makes sure of a dead plant.

    Args:
        what: what is to be handled, in words.
        looks: at what can feed it.
        stands_on: what they must have found as it should be.
    """
    return [
        Caution(
            title="Work on a dead plant only",
            text="Nothing of this plant may be live while wires are handled. Follow the site's rules and local codes. "
            "If you are not sure that it is dead, stop and ask the person in charge.",
        ),
        *looks,
        Hold(
            title="Isolated and locked off",
            text=f"What can feed {what} is isolated, locked off and tagged, and has been proved dead by the person in "
            "charge. Type the word only if you have seen it done.",
            word="DEAD",
            proven=list(stands_on),
        ),
    ]


def cards_out(plant: Plant, cables: Iterable[Cable], why: str, stands_on: Sequence[str] = ()) -> list[Part]:
    """The act that takes the cards out at both ends of cables.

    Args:
        plant: the plant.
        cables: of it.
        why: they must be out, in a sentence.
        stands_on: what must have been found as it should be before anybody does it.
    """
    full = [name for name in shelves_at(plant, list(cables)) if plant.shelves[name].cards]
    if not full:
        return []
    return [
        Do(
            title="Take the cards out at both ends",
            text=f"Take all cards out of {', '.join(full)}, and keep their places noted. {why}",
            take_out=full,
            proven=list(stands_on),
        )
    ]


AMBIENT: Final = Ask(title="Room temperature", text="What is the temperature beside the cable, in °C?", name="ambient")

OPENING: Final[tuple[Part, ...]] = (
    Prove(against="open-leads", text="Hold the probes apart, touching nothing."),
    Zero(text="Hold the two probe tips firmly together."),
    Prove(against="reference", text="Put the probes on the bench's reference resistor."),
)
"""The meter and its leads are proven before two-wire readings."""

CLOSING: Final[tuple[Part, ...]] = (
    "This shows how far the leads' zero has moved; the difference counts as uncertainty of everything between.",
    Zero(title="Zero the leads again", text="Hold the two probe tips firmly together once more."),
)
"""And after them."""


def called(plant: Plant, of: str) -> str:
    """What a draft is about, in words: ``bay 2``, ``shelf 2A``, ``the plant``.

    Args:
        plant: the plant.
        of: a name of it; '' for all of it.

    Raises:
        UnknownName: nothing is called ``of``.
    """
    return f"{KIND_WORDS[type(plant.find(of))]} {of}" if of else "the plant"


def place_of(plant: Plant, name: str) -> str:
    """Where something is, without its own name once more.

    Args:
        plant: the plant.
        name: of it.
    """
    return plant.where(name).removesuffix(f", breaker {name}")
