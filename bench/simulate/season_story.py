"""What happens in the simulated season: the evenings, the faults that appear, who touched what, which meter was odd."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final, Literal

import msgspec

FIRST_EVENING: Final = datetime(2026, 3, 3, 18, 30, tzinfo=UTC)
ROUNDS: Final = 14
"""Weekly rounds, one every Tuesday."""
OPERATORS: Final = ("Ines", "Marek", "Tove")


def evening_of(week: int) -> datetime:
    """When the round of a week begins; weeks count from 0."""
    return FIRST_EVENING + timedelta(weeks=week)


class Appearing(msgspec.Struct, frozen=True):
    """A fault that appears in the season.

    Attributes:
        item: the conductor or bond.
        kind: ``step`` stays, ``drift`` grows week by week, ``open-now-and-then`` opens in the weeks that are listed.
        week: the first round that shows it.
        ohms: of a step, the rise; of a drift, the rise each week.
        weeks: of the rounds in which it is open.
        cause: the names that were touched shortly before; empty where nobody knows.
    """

    item: str
    kind: Literal["step", "drift", "open-now-and-then"]
    week: int
    ohms: float = 0.0
    weeks: frozenset[int] = frozenset()
    cause: tuple[str, ...] = ()

    def adds(self, week: int) -> float:
        """Ohms on top of the sound value in a week; infinite where it is open."""
        if self.kind == "open-now-and-then":
            return float("inf") if week in self.weeks else 0.0
        if week < self.week:
            return 0.0
        return self.ohms if self.kind == "step" else self.ohms * (week - self.week + 1)


class Touched(msgspec.Struct, frozen=True):
    """Something was touched between two rounds.

    Attributes:
        week: the round before which it was.
        days_before: how long before it.
        names: what was touched.
        text: what was done.
        by: who did it.
        told: in the round before it (``walk``) or afterwards, outside any walk (``later``).
    """

    week: int
    days_before: float
    names: tuple[str, ...]
    text: str
    by: str
    told: Literal["walk", "later"] = "later"


APPEARING: Final = (
    Appearing("W101.34", "step", 6, ohms=1.9, cause=("T1.2",)),
    Appearing("W103.7", "drift", 3, ohms=0.045),
    Appearing("W101.9", "open-now-and-then", 4, weeks=frozenset({4, 8, 9})),
    Appearing("W103.13", "step", 9, ohms=0.42, cause=("J405",)),
    Appearing("W103.14", "step", 9, ohms=0.55, cause=("J405",)),
    Appearing("W103.15", "step", 9, ohms=0.36, cause=("J405",)),
    Appearing("W103.16", "step", 9, ohms=0.48, cause=("J405",)),
    Appearing("LE3", "step", 8, ohms=0.0095, cause=("E3",)),
)
TOUCHED: Final = (
    Touched(3, 3.0, ("7A",), "the left position was carried to its place", "Tove"),
    Touched(6, 2.9, ("T1.2",), "the tray was lifted over bay 2 to lay the new screen", "Marek"),
    Touched(8, 4.1, ("E3",), "the frame of bay 3 was levelled, its lug taken off and put back", "Ines"),
    Touched(9, 1.2, ("J405",), "unplugged to clean it", "Tove", told="walk"),
    Touched(11, 5.0, ("5C",), "dust covers fitted", "Marek"),
)
ODD_WEEKS: Final = frozenset({11, 12})
"""Rounds made with the spare meter, which had been dropped. Nobody had the reference resistor at hand."""
ODD_GAIN: Final = 0.07
"""By how much the spare meter reads high then, as a part of the reading."""


class Work(msgspec.Struct, frozen=True):
    """One walk of the season.

    Attributes:
        name: of the sequence.
        begins: when.
        by: the operator.
        steps: the steps of the sequence, as YAML.
        meter: which meter is on the bench.
        week: the round's week, or the week that it falls into.
        without_reference: the proof against the reference resistor is skipped.
    """

    name: str
    begins: datetime
    by: str
    steps: str
    week: int
    meter: Literal["bench", "spare"] = "bench"
    without_reference: bool = False
    touched: tuple[Touched, ...] = msgspec.field(default=())


OPENING: Final = """\
  - step: caution
    text: Nothing of this plant may be live while wires are handled. Follow the site's rules and local codes.
  - {step: hold, text: "Isolated, locked off, tagged and proved dead by the person in charge.", word: DEAD}
  - {step: ask, name: ambient, text: "What is the temperature beside the cable, in °C?"}
  - {step: prove, against: open-leads, text: Hold the probes apart.}
  - {step: zero}
  - {step: prove, against: reference, text: Put the probes on the reference resistor.}
"""
CLOSING: Final = """\
  - {step: zero, title: Zero the leads again}
"""


def conductors(of: str, only: list[str] | None = None, wires: int = 2) -> str:
    """Steps that read every conductor of a cable from end to end; thick ones want four wires."""
    chosen = f"    only: [{', '.join(only)}]\n" if only else ""
    return f"""\
  - step: each
    over: conductors
    of: {of}
{chosen}    title: Continuity of {of}
    steps:
      - step: measure
        read: resistance
        wires: {wires}
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}
"""


def neighbours(of: str) -> str:
    """Steps that read every two neighbouring pins of a connector."""
    return f"""\
  - step: each
    over: neighbours
    of: {of}
    title: Neighbouring pins of {of} apart
    steps:
      - step: measure
        read: resistance
        between: ["{{neighbours.pin}}", "{{neighbours.other}}"]
        range: 10 Mohm
        limit: {{at-least: 100 kohm, source: "common practice, no source: wires that should be apart read open"}}
"""


BONDS: Final = """\
  - step: each
    over: bonds
    title: Bonds of the earthing network
    steps:
      - step: measure
        read: resistance
        wires: 4
        between: ["{bond.from}", "{bond.to}"]
        limit: {computed: path}
"""


def inlets_free(of: str) -> str:
    """Steps that show the inlets of a shelf free of shorts."""
    return f"""\
  - step: each
    over: inlets
    of: {of}
    title: Inlets of {of} free of shorts
    steps:
      - step: measure
        read: resistance
        between: ["{{inlet.live}}", "{{inlet.return}}"]
        limit: {{at-least: 10 ohm, source: "common practice, no source: no dead short, breakers open and cards out"}}
"""


def polarity(of: str, supplies: list[str], breakers: list[str]) -> str:
    """Steps that read the voltage at the inlets of a shelf, with its sign."""
    return f"""\
  - {{step: hold, text: "The person in charge has cleared it for power, cards out.", word: ENERGISE}}
  - {{step: do, text: "Switch on and close.", switch-on: [{", ".join(supplies)}], close: [{", ".join(breakers)}]}}
  - step: each
    over: inlets
    of: {of}
    title: Polarity and voltage of {of}
    steps:
      - step: measure
        read: voltage
        between: ["{{inlet.live}}", "{{inlet.return}}"]
        limit: {{computed: feed-voltage}}
  - {{step: do, text: "Open and switch off.", open: [{", ".join(breakers)}], switch-off: [{", ".join(supplies)}]}}
"""


def idle_current(of: str, inlet: str, supply: str, breakers: list[str]) -> str:
    """Steps that read what a shelf draws on one feed."""
    return f"""\
  - {{step: hold, text: "Cleared for power by the person in charge.", word: ENERGISE}}
  - {{step: do, text: "Switch on and close.", switch-on: [{supply}], close: [{", ".join(breakers)}]}}
  - step: each
    over: inlets
    of: {of}
    only: [{inlet}]
    title: Idle current of {of}
    steps:
      - step: measure
        read: current
        between: ["{{inlet.load}}", "{{inlet.line}}"]
        limit: {{computed: idle-current}}
  - {{step: do, text: "Open and switch off.", open: [{", ".join(breakers)}], switch-off: [{supply}]}}
"""


ROUND: Final = OPENING + conductors("W101") + conductors("W103", [f"W103.{n}" for n in range(1, 25)]) + BONDS + CLOSING
"""The weekly round: what is watched over the whole season."""

_POWER_4BL: Final = ("WGA", "WGB", "WA4", "WB4", "WA4B-L", "WB4B-L")


def works() -> list[Work]:
    """All walks of the season, in the order of time."""
    found = [
        Work(
            f"weekly round {week + 1}",
            evening_of(week),
            OPERATORS[week % 3],
            ROUND,
            week,
            meter="spare" if week in ODD_WEEKS else "bench",
            without_reference=week in ODD_WEEKS,
            touched=tuple(one for one in TOUCHED if one.week == week and one.told == "walk"),
        )
        for week in range(ROUNDS)
    ]
    power = "".join(conductors(name, wires=4) for name in _POWER_4BL)
    two_days = timedelta(days=2)
    feeds = {"A": ["FA", "FA4", "FA4B-L"], "B": ["FB", "FB4", "FB4B-L"]}
    found += [
        Work("neighbours of J101", evening_of(0) + two_days, "Tove", OPENING + neighbours("J101") + CLOSING, 0),
        Work(
            "watch changeover W402",
            evening_of(1) + two_days,
            "Ines",
            OPENING + conductors("W402") + neighbours("J412") + neighbours("J421") + CLOSING,
            1,
        ),
        Work("power to 4B-L", evening_of(2) + two_days, "Marek", OPENING + power + inlets_free("4B-L") + CLOSING, 2),
        Work(
            "the inside floats with L1 lifted",
            evening_of(4) + two_days,
            "Ines",
            OPENING
            + """\
  - {step: do, text: "Lift L1 at the main bar, behind a hold on all power.", touches: [L1]}
  - step: measure
    read: resistance
    subject: L1
    between: [EB, X1]
    limit: {at-least: 1 kohm, source: "common practice, no source: with L1 lifted the inside floats"}
"""
            + CLOSING,
            4,
        ),
        Work(
            "polarity of 4B-L",
            evening_of(5) + two_days,
            "Marek",
            polarity("4B-L", ["GA", "GB"], [*feeds["A"], *feeds["B"]]),
            5,
        ),
        Work(
            "idle current of 4B-L",
            evening_of(5) + two_days + timedelta(hours=1),
            "Marek",
            idle_current("4B-L", "4B-L.A", "GA", feeds["A"][:2]),
            5,
        ),
    ]
    return sorted(found, key=lambda work: work.begins)
