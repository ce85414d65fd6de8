"""Slips of who types what a meter shows, drawn by chance: how many are asked about before they count.

What is at the probes fails, whatever it is; the meter's display is mistyped. A slip that makes it pass unasked must be
one that no range of the meter contradicts. The same readings typed right tell what is asked needlessly.
"""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from bench import assemble
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.by_eye import display_of, read_display
from bench.walk.facts import Display
from bench.walk.state import State, typed_reading
from tests.walks.tool import JOB

BENCH: Final = """
bench: by hand
instruments:
  - {name: hand-held, profile: polled-text-meter, port: typed}
"""
BEFORE: Final = """
sequence: something before, and then this
plant: plant.yaml
steps:
  - step: measure
    title: Something before
    read: READ
    between: [PLACES]
    limit: {at-most: WIDE, source: by hand}
"""
STEPS: Final = {
    "a wire, at most 10 ohm": """
  - step: measure
    title: Wire 1
    read: resistance
    between: [J101.1, J205.1]
    limit: {at-most: 10 ohm, source: by hand}
""",
    "two wires, at least 100 kohm": """
  - step: measure
    title: Wire 1 from its neighbour
    read: resistance
    between: [J101.1, J101.2]
    limit: {at-least: 100 kohm, source: by hand}
""",
    "a feed, -57 to -40.5 V": """
  - step: measure
    title: A feed
    read: voltage
    between: [GA.feed, GA.return]
    limit: {at-least: -57 V, at-most: -40.5 V, source: by hand}
""",
}
"""What is measured, and the limit that it breaks."""


def _failing(case: str, rng: random.Random) -> float:
    """A value that breaks the limit."""
    if case.startswith("a wire"):
        return 10 ** rng.uniform(1.3, 7.4)
    if case.startswith("two wires"):
        return 10 ** rng.uniform(0.0, 4.9)
    return rng.choice([rng.uniform(-120.0, -60.0), rng.uniform(-38.0, -0.5), rng.uniform(0.5, 120.0)])


def _before(case: str, rng: random.Random) -> float:
    """What was read before was anything: a wire of an ohm or a leak of a megohm, a battery or a bar."""
    if case.startswith("a feed"):
        return rng.uniform(-120.0, 120.0)
    return 10 ** rng.uniform(-0.3, 7.4)


def _swapped(text: str, rng: random.Random) -> str:
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    place = rng.randrange(len(digits) - 1)
    signs = list(text)
    signs[digits[place]], signs[digits[place + 1]] = signs[digits[place + 1]], signs[digits[place]]
    return "".join(signs)


def _moved(text: str, rng: random.Random) -> str:
    """The comma one place off."""
    at = text.find(".")
    if at < 0:
        return text
    bare = text.replace(".", "")
    to = at + rng.choice([-1, 1])
    first = 1 if text.startswith("-") else 0
    return f"{bare[:to]},{bare[to:]}" if first < to < len(bare.split()[0]) else text


MISTAKES: Final[dict[str, Callable[[str, str, random.Random], str]]] = {
    "digits swapped": lambda text, last, rng: _swapped(text, rng),
    "unit lost": lambda text, last, rng: text.rstrip(" kM"),
    "comma lost": lambda text, last, rng: text.replace(".", ""),
    "comma moved": lambda text, last, rng: _moved(text, rng),
    "wrong range": lambda text, last, rng: text.rstrip(" kM") + rng.choice([" m", " k", " M"]),
    "last value again": lambda text, last, rng: last,
}


class TypedWalk(Walker):
    """A walk whose readings are typed.

    Args:
        began: how it begins; None where it goes on from a state that is set.
    """

    by = "Ada"

    def __init__(self, began: e.Began | None) -> None:
        if began is not None:
            self.begin(began)
            self.settle()

    @classmethod
    def standing(cls, state: State) -> TypedWalk:
        """One that stands there already."""
        walk = cls(None)
        walk.state, walk.entries = state, []
        return walk

    def measured(self, step: Step) -> e.Event:
        return typed_reading(self.state, self.state.number)

    def settle(self) -> None:
        """Do what the runner does by itself."""
        while isinstance(self.asked, r.MakeSafe | r.Meet | r.Measure):
            self.one()

    def type(self, text: str) -> State:
        """Type a line, and do what follows by itself."""
        self.add(self.answered(text))
        self.settle()
        return self.state


@dataclass
class Tally:
    """What came of slips of each kind, and of readings typed right."""

    tried: Counter[str] = field(default_factory=Counter)
    asked: Counter[str] = field(default_factory=Counter)
    passed: Counter[str] = field(default_factory=Counter)
    told: list[str] = field(default_factory=list)
    """Those that passed unasked though a range could have told."""
    right: int = 0
    needless: int = 0
    """Right readings that would pass, and those of them that were asked about."""


POWERS: Final = {"": 0, "m": -3, "k": 3, "M": 6}


def shown_by_a_range(text: str, displays: list[Display]) -> bool:
    """Whether some range shows such a figure: it reaches so far, ends in that digit and has that prefix."""
    figure, _, prefix = text.replace(",", ".").strip().partition(" ")
    places = len(figure.partition(".")[2])
    value, step = float(figure) * 10 ** POWERS[prefix], 10.0 ** (POWERS[prefix] - places)
    return any(
        one.resolution is not None
        and abs(value) <= one.top * 1.001
        and abs(step / one.resolution - 1.0) < 1e-6
        and 1.0 <= one.range / 10 ** POWERS[prefix] < 1000.0
        for one in displays
    )


def began(case: str, folder: Path) -> e.Began:
    """The beginning of a walk in which something else is read before."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins", dirs_exist_ok=True)
    volts = "read: voltage" in STEPS[case]
    words = ("voltage", "500 V", "GB.feed, GB.return") if volts else ("resistance", "40 Mohm", "J101.3, J205.3")
    first = BEFORE.replace("READ", words[0]).replace("WIDE", words[1]).replace("PLACES", words[2])
    (folder / "sequence.yaml").write_text(first + STEPS[case].lstrip("\n"), "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


def drawn(folder: Path, count: int, seed: int = 18) -> Tally:
    """Slips in typing readings that fail, and as many readings typed right that pass.

    Args:
        folder: an empty one.
        count: slips in all, the kinds and cases by turns of the dice.
        seed: of the dice.
    """
    rng, tally = random.Random(seed), Tally()
    fresh = {case: TypedWalk(began(case, folder / str(nth))).state for nth, case in enumerate(STEPS)}
    while tally.tried.total() < count:
        case, kind = rng.choice(list(STEPS)), rng.choice(list(MISTAKES))
        function = "voltage" if case.startswith("a feed") else "resistance 2w"
        displays = fresh[case].setting.bench.instruments[0].displays[function]  # type: ignore[union-attr]
        right = display_of(_failing(case, rng), displays)
        last = display_of(_before(case, rng), displays)
        wrong = MISTAKES[kind](right, last, rng)
        if read_display(wrong) is None or read_display(wrong) == read_display(right):
            continue
        tally.tried[kind] += 1
        walk = TypedWalk.standing(fresh[case])
        _insisted(walk, last)
        state = walk.type(wrong)
        outcome = state.kept.latest.get(1)
        tally.asked[kind] += outcome is None
        assert outcome is None or outcome.verdict != "fail", f"{right} typed as {wrong} failed unasked"
        if outcome is not None and outcome.verdict == "pass":
            tally.passed[kind] += 1
            if not shown_by_a_range(wrong, displays):
                tally.told.append(f"{case}: {right} typed as {wrong}")
        passing = {"a wire": 1.7, "two wires": 12e6, "a feed": -48.3}[case.split(",")[0]]
        walk = TypedWalk.standing(fresh[case])
        _insisted(walk, last)
        tally.right += 1
        outcome = walk.type(display_of(passing * rng.uniform(0.9, 1.1), displays)).kept.latest.get(1)
        tally.needless += outcome is None
    return tally


def _insisted(walk: TypedWalk, text: str) -> None:
    """What was read before counts, asked about or not."""
    if walk.type(text).kept.latest.get(0) is None:
        walk.type(text)
