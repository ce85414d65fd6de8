"""Which find carries which part of an answer: what a pair's weight would be without each thing that was noted.

The weight of a pair is worked out once with everything, and once without each feature; the quotient is what that
feature says, in times likelier. Features work together (a label tells more where a list has its cable), so the parts
need not multiply to the whole; each says what would be lost if that were not known.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Final

import msgspec

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.matching import Floats
from bench.diagnose.survey.pile import FEATURES
from bench.diagnose.survey.weights import Weighing
from bench.plant.finds import LooseEnd

_SAYS_SOMETHING: Final = 1.25
"""Times likelier, or less likely, from which on a part is told."""


class Part(msgspec.Struct, frozen=True):
    """What one thing that was noted says of a pair.

    Attributes:
        feature: one of :data:`bench.diagnose.survey.pile.FEATURES`, or ``readings``.
        times: how much likelier it makes the pair; below 1 it speaks against it.
        finds: the finds that it rests on.
        words: what was noted.
    """

    feature: str
    times: float
    finds: tuple[str, ...]
    words: str


class Carried:
    """What each feature says of every pair of a pile.

    Args:
        answer: what is believed of the pile.
    """

    def __init__(self, answer: Answer) -> None:
        self._answer = answer
        self._at = {end.name: number for number, end in enumerate(answer.pile.ends)}

    @cached_property
    def _without(self) -> dict[str, Floats]:
        answer = self._answer
        found = {feature: Weighing(answer.pile, answer.rates, (feature,)).mates() for feature in FEATURES}
        if answer.pile.tried:
            untried = msgspec.structs.replace(answer.pile, tried=())
            found["readings"] = Weighing(untried, answer.rates).mates()
        return found

    def parts(self, one: str, other: str) -> tuple[Part, ...]:
        """What speaks for and against two ends being one cable, the strongest first.

        Args:
            one: an end's name.
            other: the other's.
        """
        at = self._at[one], self._at[other]
        whole = float(self._answer.weights[at])
        found = []
        for feature, weights in self._without.items():
            times = whole / max(float(weights[at]), 1e-12)
            if max(times, 1.0 / max(times, 1e-12)) >= _SAYS_SOMETHING:
                finds, words = self._noted(feature, one, other)
                found.append(Part(feature, times, finds, words))
        return tuple(sorted(found, key=_weakest_last))

    def _noted(self, feature: str, one: str, other: str) -> tuple[tuple[str, ...], str]:
        ends = [self._answer.pile.ends[self._at[name]] for name in (one, other)]
        both = (one, other)
        if feature == "label":
            return both, " and ".join(f"'{end.label}'" if end.label else "no label" for end in ends)
        if feature == "length":
            return both, " and ".join(_length(end) for end in ends)
        if feature == "bay":
            return both, f"bay {ends[0].bay or '?'} and bay {ends[1].bay or '?'}"
        if feature == "tray":
            return both, f"tray {ends[0].tray or '?'} and tray {ends[1].tray or '?'}"
        if feature == "kind":
            return both, " and ".join(" ".join(_kind(end)) or "nothing noted" for end in ends)
        if feature == "list":
            lines = self._lines(ends[0], ends[1])
            return lines, f"line {', '.join(lines)}" if lines else "no line of its own"
        tries = [
            tried
            for tried in self._answer.pile.tried
            if one in (tried.touched, *tried.among) and other in (tried.touched, *tried.among)
        ]
        return both, f"{len(tries)} tried between them"

    def _lines(self, one: LooseEnd, other: LooseEnd) -> tuple[str, ...]:
        """The lines whose cable runs between the bays of two ends, as far as these are told, and reads like one."""
        found = []
        for line in self._answer.pile.lines:
            bays = {line.from_bay, line.to_bay}
            reads = any(
                len(end.label) == len(line.label)
                and sum(sign == true for sign, true in zip(end.label, line.label, strict=True)) >= len(line.label) - 1
                for end in (one, other)
            )
            if reads or (bays == {one.bay, other.bay} and line.conductors in (one.conductors, other.conductors)):
                found.append((not reads, line.name))
        return tuple(name for _, name in sorted(found)[:3])


def _weakest_last(part: Part) -> tuple[float, str]:
    return -max(part.times, 1.0 / max(part.times, 1e-12)), part.feature


def _length(end: LooseEnd) -> str:
    if end.length is None:
        return "length not known"
    by = {"marks": "by its marks", "tape": "by tape", "eye": "by eye"}.get(end.length_by, "")
    return f"{end.length} {by}".strip()


def _kind(end: LooseEnd) -> Iterator[str]:
    if end.connector:
        yield f"{end.connector} {end.gender}".strip()
    if end.jacket:
        yield end.jacket
    if end.conductors is not None:
        yield f"{end.conductors} conductors"
    if end.colours:
        yield end.colours
    if end.diameter is not None:
        yield f"{end.diameter:g} mm"
