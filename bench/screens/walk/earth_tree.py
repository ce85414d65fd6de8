"""The earthing network during a search for a second path, in words: the same for the screen and line by line."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from bench.sequence.file import Seek
from bench.walk.results import outcomes
from bench.walk.state import State

if TYPE_CHECKING:
    from bench.plant.model import Plant


MOST: Final = 4
"""How many suspects are named at most."""
NAMED: Final = 0.01
"""The chance below which one is not told."""


def has_earth(state: State) -> bool:
    """Whether a search for a second path is under way, or was in this walk."""
    setting = state.setting
    if setting is None:
        return False
    steps = setting.plan.steps[: state.place.cursor + 1]
    return any(isinstance(step.source, Seek) and step.source.find == "second-path" for step in steps)


def facts_of(state: State) -> Mapping[str, Any]:
    """What is suspected now, or was found last; empty where nothing is yet."""
    if state.seeking is not None and state.seeking.facts:
        return state.seeking.facts
    for outcome in outcomes(state):
        if outcome.found is not None and outcome.found.facts.get("search") == "second-path":
            return outcome.found.facts
    return {}


def tree(state: State) -> list[str]:
    """The network as lines of text; both ends of a suspected path carry its number, a poor bond its word."""
    assert state.setting is not None
    facts = facts_of(state)
    paths = tuple((str(a), str(b), float(ohms)) for a, b, ohms in facts.get("paths", ()))
    poor = tuple(str(name) for name in facts.get("poor-bonds", ()))
    celsius = float(facts.get("celsius", state.conditions.ambient))
    off = tuple(sorted(state.conditions.handled.lifted))
    drawn = _drawn(_Known(state.setting.plant), celsius, paths, poor, off)
    # what the numbers stand for is told with the chances
    return [text for text in drawn if not text.startswith("<")]


class _Known:
    """A plant as the key of a cache: the same object, the same network."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Known) and other.plant is self.plant

    def __hash__(self) -> int:
        return id(self.plant)


@lru_cache(maxsize=4)
def _drawn(
    known: _Known,
    celsius: float,
    paths: tuple[tuple[str, str, float], ...],
    poor: tuple[str, ...],
    off: tuple[str, ...],
) -> tuple[str, ...]:
    # these load a solver; the page is seldom opened
    from bench.diagnose.earth.finding import KIND, picture_of
    from bench.diagnose.earth.picture import text

    facts = {"search": KIND, "celsius": celsius, "paths": paths, "poor-bonds": poor}
    picture = picture_of(known.plant, facts)
    return tuple(text(picture.network, picture.strays, picture.poor, off))


def suspicion(state: State) -> list[str]:
    """What is suspected, with its chance, the likeliest first; one line that says so where nothing is."""
    facts = facts_of(state)
    numbers = {frozenset((a, b)): number for number, (a, b, _) in enumerate(facts.get("paths", ()), 1)}
    told = []
    for one in [one for one in facts.get("posterior", ()) if float(one["chance"]) >= NAMED][:MOST]:
        number = numbers.get(frozenset(one.get("between", ())))
        mark = f"<{number}> " if number is not None else ""
        told.append(f"{_chance(float(one['chance'])):>10}  {mark}{one['words']}")
    if told:
        return told
    if not facts:
        return ["nothing to suspect before every bond was read once"]
    return ["nothing is suspected so far"] if "kind" not in facts else ["nothing was found"]


def _chance(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def standing(state: State) -> str:
    """How far the search is."""
    seeking = state.seeking
    if seeking is None:
        return "the search came to its end"
    read = sum(1 for link in seeking.trail if link.reading is not None)
    left = seeking.advised.left if seeking.advised is not None else 0
    off = ", ".join(sorted(state.conditions.handled.lifted))
    told = f"{read} readings so far" + (f", about {left} more" if left else "")
    return f"{told}; OFF NOW: {off}" if off else told


def in_words(state: State) -> list[str]:
    """The page for a walk line by line."""
    if not has_earth(state):
        return ["this walk has come to no search for a second path to earth"]
    return [f"The earthing network: {standing(state)}", *suspicion(state), *tree(state)]
