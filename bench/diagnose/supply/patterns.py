"""What is wrong with a shelf that met its first power, by name: the pattern of the readings over the ladder's rungs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from bench.plant.model import Plant
from bench.quantity import engineering
from bench.sequence.file import Energise, Measure
from bench.sequence.plan import Step
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State

Named = Literal[
    "short",
    "crossed",
    "breaker",
    "reversed",
    "dead",
    "heavy",
    "light",
    "creeps",
    "leaks",
    "reforms",
    "restless",
    "lossy",
]
"""What can be wrong."""

THERE: Final = 0.5
"""A place that has more than this part of the voltage that was set is fed."""


@dataclass(frozen=True, slots=True)
class PowerFinding:
    """Something wrong with a shelf.

    Attributes:
        kind: its name.
        subject: the shelf, inlet or breaker.
        sentence: in words, with what to do.
    """

    kind: Named
    subject: str
    sentence: str


_SENTENCES: Final = {
    "heavy": "draws more than its cards should: take out the cards that went in last, and look at each alone",
    "light": "draws less than its cards should: a card is not seated, or a fuse is open",
    "creeps": "draws more and more as it warms up: find what warms",
    "leaks": "leaks at a voltage at which nothing should run: its capacitors do not reform",
    "reforms": "has capacitors that slept and reform: go up slowly, and look again after a day",
    "restless": "does not settle",
    "short": "is shorted: the supply's voltage does not come up",
}


def findings(state: State) -> list[PowerFinding]:
    """What is wrong, in the order in which the ladder meets it; each thing once."""
    setting = state.setting
    if setting is None:
        return []
    plan, plant = setting.plan.steps, setting.plant
    found: dict[tuple[str, str], PowerFinding] = {}
    block: list[tuple[Step, Outcome]] = []
    under: Energise | None = None

    def add(finding: PowerFinding | None) -> None:
        if finding is not None:
            found.setdefault((finding.kind, finding.subject), finding)

    outcomes = results(state)
    for index, outcome in outcomes.items():
        step = plan[index]
        source = step.source
        if isinstance(source, Energise):
            for one in _of_block(plant, under, block):
                add(one)
            block, under = [], source
            if outcome.finding in _SENTENCES:
                text = f"Shelf {step.subject} {_SENTENCES[outcome.finding]}. {outcome.sentence}"
                # the keys of the sentences are names; a type checker does not follow that
                add(PowerFinding(outcome.finding, step.subject, text))  # type: ignore[arg-type]
        elif isinstance(source, Measure) and source.live:
            block.append((step, outcome))
        elif isinstance(source, Measure) and source.read == "resistance" and outcome.verdict == "fail":
            add(_short(step, outcome))
    for one in _of_block(plant, under, block):
        add(one)
    return list(found.values())


def _short(step: Step, outcome: Outcome) -> PowerFinding:
    shown = engineering(outcome.figure.value, "Ω", digits=3) if outcome.figure.value is not None else "too little"
    text = (
        f"Short at {step.subject}: {shown} with the cards out. Do not feed it. Look at the shelf's wiring and filters."
    )
    return PowerFinding("short", step.subject, text)


def _of_block(plant: Plant, under: Energise | None, block: list[tuple[Step, Outcome]]) -> list[PowerFinding]:
    """What the readings say that were taken while one output was on."""
    if under is None or not block:
        return []
    height = under.voltage.value
    volts = {step.probes: outcome.figure.value for step, outcome in block if outcome.figure.value is not None}
    found: list[PowerFinding] = []
    fed = {plant.supplies[name].feed for name in under.at}
    for step, outcome in block:
        inlet = plant.inlets.get(step.subject)
        if inlet is None or outcome.verdict != "fail" or outcome.figure.value is None or inlet.feed not in fed:
            continue
        nominal = plant.feeds[inlet.feed].nominal_v
        along = outcome.figure.value * (1 if nominal > 0 else -1)
        if along < -THERE * height:
            read = f"{outcome.figure.value:+.1f} V"
            text = f"Feed and return are exchanged at {inlet.name}: it reads {read}. Do not feed it."
            found.append(PowerFinding("reversed", inlet.name, text))
        elif along < THERE * height:
            found.append(_dead(plant, inlet.name, inlet.shelf, volts, height))
        else:
            lost = height - along
            text = (
                f"{inlet.name} loses {lost:.2f} V on its way under load, more than it should. "
                "Look for a lug or contact that is not tight."
            )
            found.append(PowerFinding("lossy", inlet.name, text))
    return found


def _dead(
    plant: Plant, name: str, shelf: str, volts: dict[tuple[str, str] | None, float], height: float
) -> PowerFinding:
    """An inlet that gets nothing: where does it go instead?"""
    breakers = plant.supply_path(shelf, plant.inlets[name].feed).breakers
    for other in plant.inlets.values():
        seen = volts.get((other.live.name, other.back.name), 0.0)
        if other.name == name or abs(seen) < THERE * height:
            continue
        if other.shelf == shelf:
            text = f"Feeds are crossed at shelf {shelf}: what is switched on for {name} arrives at {other.name}."
            return PowerFinding("crossed", shelf, text)
        text = f"Breaker {breakers[-1]} feeds {other.name} and not {name}."
        return PowerFinding("breaker", breakers[-1], text)
    return PowerFinding("dead", name, f"Nothing arrives at {name} with {', '.join(breakers)} closed.")
