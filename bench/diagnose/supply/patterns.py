"""What is wrong with what met its first power, by name and in words: the pattern of all that was read.

A number alone helps nobody at the rack. "11.99 V is too high" and "-5.99 V is too low" are one and the same feed that
is the wrong way round; a voltage that is missing at one inlet and there at another is a wire on the wrong breaker. So
the readings that were taken while one output was on are looked at together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal

import msgspec

from bench.plant.model import NoPath, Plant
from bench.plant.things import Breaker, Inlet
from bench.quantity import engineering
from bench.sequence.file import Energise, Measure, Prove
from bench.sequence.plan import Step
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State

Named = Literal[
    "live",
    "meter",
    "short",
    "crossed",
    "breaker",
    "beside",
    "reversed",
    "swapped",
    "dead",
    "backfeed",
    "heavy",
    "light",
    "creeps",
    "leaks",
    "reforms",
    "restless",
    "lossy",
    "joint",
    "welded",
    "battery",
]
"""What can be wrong."""

NOTHING: Final = 0.02
"""Part of what a shelf should draw at least below which it draws nothing: less than any card of it alone (assumed)."""
THERE: Final = 0.5
"""A place that has more than this part of the voltage that was set is fed."""
BENCH_SUPPLY: Final = "bench supply"
FORM_FIRST: Final = (
    "With its cards in it draws too much: let the capacitors form first, and only then look at the cards."
)


class PowerFinding(msgspec.Struct, frozen=True):
    """Something wrong with a shelf, a feed or the bench.

    Attributes:
        kind: its name.
        subject: the shelf, inlet, breaker, supply or stretch.
        sentence: in words, with what to do.
    """

    kind: Named
    subject: str
    sentence: str


_SENTENCES: Final[dict[Named, str]] = {
    "heavy": "draws more than its cards should: take out the cards that went in last, and look at each alone",
    "light": "draws less than its cards should: a card is not seated, or a fuse is open",
    "creeps": "draws more and more as it warms up: find what warms",
    "leaks": "leaks at a voltage at which nothing should run: its capacitors do not reform",
    "reforms": "has capacitors that slept and reform: go up slowly, and look again after a day",
    "restless": "does not settle",
    "short": "is shorted: the supply's voltage does not come up",
}


def raised(state: State) -> bool:
    """Whether a walk came to bringing anything up, or read what a shelf draws that is on."""
    sources = [_step(state, index).source for index in state.kept.latest]
    return any(isinstance(one, Energise) or (isinstance(one, Measure) and one.read == "current") for one in sources)


def _step(state: State, index: int) -> Step:
    assert state.setting is not None
    return state.setting.plan.steps[index]


def findings(state: State) -> list[PowerFinding]:
    """What is wrong, in the order in which the walk met it; each thing once."""
    setting = state.setting
    if setting is None:
        return []
    plan, plant = setting.plan.steps, setting.plant
    brings_up = any(isinstance(step.source, Energise) for step in plan)
    found: dict[tuple[str, str], PowerFinding] = {}
    block: list[_Seen] = []
    under: Energise | None = None
    dead: list[_Seen] = []
    draws_nothing: set[str] = set()
    for index, outcome in results(state).items():
        step = plan[index]
        source = step.source
        made: Iterator[PowerFinding | None] = iter(())
        if isinstance(source, Energise):
            made = iter([*_of_block(plant, under, block), _of_load(step, outcome)])
            block, under = [], source
            if _draws_nothing(outcome):
                draws_nothing.add(step.subject)
        elif isinstance(source, Measure) and source.live:
            block.append(_Seen(step, source, outcome))
        elif isinstance(source, Measure) and source.read == "resistance":
            made = iter([_short(step, outcome) if brings_up and outcome.verdict == "fail" else None])
        elif isinstance(source, Measure) and source.read == "voltage" and outcome.verdict == "fail":
            one = _Seen(step, source, outcome)
            if source.limit.computed is None and not _on(outcome):
                dead.append(one)
            else:
                made = iter([_on_the_plant(plant, one)])
        elif isinstance(source, Measure) and source.read == "current" and not source.clamp:
            made = iter([_idle(plant, step, outcome)])
        elif isinstance(source, Prove) and source.against == "live-source" and outcome.verdict == "fail":
            made = iter([_meter(step, outcome)])
        for finding in (*_live(dead, source), *made):
            if finding is not None:
                _add(found, finding)
        dead = [] if not isinstance(source, Measure) else dead
    for finding in (*_live(dead, None), *_of_block(plant, under, block)):
        if finding is not None:
            _add(found, finding)
    for inlet in [plant.inlets[one.subject] for one in found.values() if one.kind == "dead"]:
        # what gets nothing draws nothing, and no card of it is to blame
        if inlet.shelf in draws_nothing:
            found.pop(("light", inlet.shelf), None)
    return list(found.values())


def _draws_nothing(outcome: Outcome) -> bool:
    """Whether a shelf that should draw something draws next to nothing."""
    value, low = outcome.figure.value, outcome.bounds.low
    return outcome.verdict == "fail" and value is not None and low is not None and abs(value) < NOTHING * low


def _add(found: dict[tuple[str, str], PowerFinding], new: PowerFinding) -> None:
    """Keep a finding; what a shelf draws too much while its capacitors reform is put down to them until they have."""
    forming = found.get(("reforms", new.subject))
    if new.kind == "heavy" and forming is not None:
        if FORM_FIRST not in forming.sentence:
            text = f"{forming.sentence} {FORM_FIRST}"
            found["reforms", new.subject] = PowerFinding("reforms", new.subject, text)
        return
    found.setdefault((new.kind, new.subject), new)


class _Seen(msgspec.Struct, frozen=True):
    """A reading of volts with its step."""

    step: Step
    source: Measure
    outcome: Outcome

    @property
    def value(self) -> float:
        return self.outcome.figure.value if self.outcome.figure.value is not None else 0.0

    @property
    def shown(self) -> str:
        return f"{engineering(self.value, 'V', digits=3)} between {self.source.between[0]} and {self.source.between[1]}"


def _on(outcome: Outcome) -> bool:
    """Whether a supply of the plant was on by then, as far as the walk knew."""
    return outcome.circumstances.handled is not None and bool(outcome.circumstances.handled.live)


# before anything is on


def _live(dead: Sequence[_Seen], following: object) -> list[PowerFinding]:
    """Readings of what should be dead and is not, taken together once the last of them is in."""
    if not dead or isinstance(following, Measure):
        return []
    worst = max(dead, key=lambda one: abs(one.value))
    where = ", ".join(dict.fromkeys(one.step.subject for one in dead if one.step.subject))
    text = (
        f"LIVE: {worst.shown} where all should be dead ({where}). Hands away. Find what feeds it, and open and lock it"
    )
    frames = all(one.value and "frame" in one.source.text for one in dead)
    if frames:
        text += ". It shows to the frame only: a return is open or a feed is crossed, and feed to return reads nothing"
    return [PowerFinding("live", dead[0].step.subject, f"{text}. Then prove it dead again, all of it.")]


def _meter(step: Step, outcome: Outcome) -> PowerFinding:
    shown = engineering(outcome.figure.value, "V", digits=3) if outcome.figure.value is not None else "nothing"
    text = (
        f"The meter does not show a source that is known to be live ({shown}): a lead is broken, or the meter. What "
        "was read since it last did proves nothing. Mend it, and read all of that again."
    )
    return PowerFinding("meter", outcome.reading.instrument if outcome.reading is not None else "meter", text)


def _short(step: Step, outcome: Outcome) -> PowerFinding:
    shown = engineering(outcome.figure.value, "Ω", digits=3) if outcome.figure.value is not None else "too little"
    text = (
        f"Short at {step.subject}: {shown} with the cards out. Do not feed it. Look at the shelf's wiring and filters."
    )
    return PowerFinding("short", step.subject, text)


# on the bench supply


def _of_load(step: Step, outcome: Outcome) -> PowerFinding | None:
    kind = next((name for name in _SENTENCES if name == outcome.finding), None)
    if kind is None:
        return None
    return PowerFinding(kind, step.subject, f"Shelf {step.subject} {_SENTENCES[kind]}. {outcome.sentence}")


def _idle(plant: Plant, step: Step, outcome: Outcome) -> PowerFinding | None:
    """What a shelf draws that runs on its own supply, where that is not what its cards should."""
    inlet = plant.inlets.get(step.subject)
    shelf = inlet.shelf if inlet is not None else step.subject
    value, low = outcome.figure.value, outcome.bounds.low
    if outcome.verdict != "fail" or value is None or shelf not in plant.shelves:
        return None
    kind: Literal["light", "heavy"] = "light" if low is not None and value < low else "heavy"
    return PowerFinding(kind, shelf, f"Shelf {shelf} {_SENTENCES[kind]}. {outcome.sentence}")


def _of_block(plant: Plant, under: Energise | None, block: Sequence[_Seen]) -> list[PowerFinding]:
    """What the readings say that were taken while one output was on."""
    if under is None or not block:
        return []
    height = under.voltage.value
    fed = {plant.supplies[name].feed for name in under.at}
    sign = 1 if plant.supplies[under.at[0]].volts > 0 else -1
    turned = [one for one in block if one.step.subject in plant.breakers and one.value * sign < -THERE * height]
    if turned:
        right = "plus" if sign > 0 else "minus"
        text = (
            f"The bench supply is the wrong way round: {turned[0].shown} right behind breaker "
            f"{turned[0].step.subject}, where the feed is {right}. Output off, and change its two leads over."
        )
        return [PowerFinding("swapped", BENCH_SUPPLY, text)]
    found: list[PowerFinding | None] = []
    missing = False
    for one in block:
        if one.outcome.verdict != "fail" or one.outcome.figure.value is None:
            continue
        if one.source.limit.computed == "stretch-drop":
            found.append(_joint(one))
            continue
        inlet = plant.inlets.get(one.step.subject)
        if one.source.limit.computed == "shelf-voltage":
            if inlet is not None and inlet.feed in fed:
                finding = _at_inlet(plant, one, inlet, block, sign, height)
                missing = missing or finding.kind in ("dead", "crossed", "breaker")
                found.append(finding)
        elif not missing:
            found.append(_besides(plant, one, fed, height))
    return [one for one in found if one is not None]


def _at_inlet(plant: Plant, one: _Seen, inlet: Inlet, block: Sequence[_Seen], sign: int, height: float) -> PowerFinding:
    along = one.value * sign
    if along < -THERE * height:
        text = (
            f"Feed and return are exchanged at {inlet.name}: it reads {one.value:+.1f} V, the wrong way round, and the "
            "way there is right. Do not feed it. Look at the two wires on its terminals."
        )
        return PowerFinding("reversed", inlet.name, text)
    if along < THERE * height:
        return _dead(plant, inlet, block, height)
    lost = height - along
    text = (
        f"{inlet.name} loses {lost:.2f} V on its way under load, more than it should. "
        "Look for a lug or contact that is not tight."
    )
    return PowerFinding("lossy", inlet.name, text)


def _dead(plant: Plant, inlet: Inlet, block: Sequence[_Seen], height: float) -> PowerFinding:
    """An inlet that gets nothing: where does it go instead?"""
    breakers = plant.supply_path(inlet.shelf, inlet.feed).breakers
    for one in block:
        other = _inlet_at(plant, one)
        if other is None or other.name == inlet.name or abs(one.value) < THERE * height:
            continue
        if other.shelf == inlet.shelf:
            text = (
                f"Feeds are crossed at shelf {inlet.shelf}: what is switched on for {inlet.name} arrives at "
                f"{other.name}. Exchange them at the shelf, or where they come together."
            )
            return PowerFinding("crossed", inlet.shelf, text)
        text = f"Breaker {breakers[-1]} feeds {other.name} and not {inlet.name}: the wires behind it are exchanged."
        return PowerFinding("breaker", breakers[-1], text)
    text = f"Nothing arrives at {inlet.name} with {', '.join(breakers)} closed"
    behind = next((one for one in block if one.step.subject == breakers[-1]), None)
    if behind is not None and abs(behind.value) > THERE * height:
        text += f", though it is there behind {breakers[-1]}: the feed or the return is open between the two"
    else:
        text += ": look first whether each of them is"
    return PowerFinding("dead", inlet.name, f"{text}.")


def _besides(plant: Plant, one: _Seen, fed: set[str], height: float) -> PowerFinding | None:
    """A place that should have stayed at nothing, while the place that should be fed is."""
    other = _inlet_at(plant, one)
    if other is None or abs(one.value) < THERE * height:
        return None
    mine = [own for own in plant.shelves[other.shelf].inlets if own.feed in fed]
    if other.feed not in fed and mine and one.step.subject in plant.supplies:
        last = plant.supply_path(other.shelf, mine[0].feed).breakers[-1]
        text = (
            f"{other.name} stands at {engineering(one.value, 'V', digits=3)} although feed {other.feed} is off: "
            f"breaker {last} is closed though it was said to be open, and the feeds are crossed at shelf "
            f"{other.shelf}. Output off, and look at both."
        )
        return PowerFinding("beside", last, text)
    if other.feed not in fed:
        text = (
            f"Back-feed: {other.name} stands at {engineering(one.value, 'V', digits=3)} while feed {other.feed} is "
            f"off. Shelf {other.shelf} lets the other feed out there: its diode is shorted. Whoever works on feed "
            f"{other.feed} believes it dead. Find it before anything else goes on."
        )
        return PowerFinding("backfeed", other.name, text)
    try:
        last = plant.supply_path(other.shelf, other.feed).breakers[-1]
    except (NoPath, IndexError):
        last = other.name
    text = (
        f"{other.name} is fed too: breaker {last} is closed though it was said to be open, or its wire is on another "
        "breaker. Output off, and look."
    )
    return PowerFinding("beside", last, text)


def _inlet_at(plant: Plant, one: _Seen) -> Inlet | None:
    """The inlet whose two poles a reading is between, whatever its verdict is about."""
    return next(
        (inlet for inlet in plant.inlets.values() if one.source.between == (inlet.live.name, inlet.back.name)), None
    )


def _joint(one: _Seen) -> PowerFinding:
    found = one.outcome.sentence.removeprefix("Fail: ")
    text = (
        f"A joint between {one.source.between[0]} and {one.source.between[1]} is poor: it {found} Off and "
        "dead, undo it, clean it, make it up to its torque and mark it; then read it again."
    )
    return PowerFinding("joint", one.source.between[0], text)


# on the plant's own supply


def _on_the_plant(plant: Plant, one: _Seen) -> PowerFinding | None:
    breaker = plant.breakers.get(one.step.subject)
    if one.source.limit.computed is None:
        return _welded(breaker, one) if breaker is not None else None
    if one.source.limit.computed != "feed-voltage":
        return None
    name = breaker.feed if breaker is not None else one.step.subject.rpartition(".")[2]
    feed = plant.feeds.get(name)
    if feed is None:
        return None
    sign = 1 if feed.nominal_v > 0 else -1
    along, nominal = one.value * sign, abs(feed.nominal_v)
    if along < -THERE * nominal:
        text = f"Feed {name} is the wrong way round: {one.shown}. Open it at once: the battery's leads are exchanged."
        return PowerFinding("reversed", one.step.subject, text)
    if along < THERE * nominal:
        text = (
            f"Nothing arrives at {one.step.subject} from feed {name}: {one.shown}. A fuse, link or joint before it is "
            "open."
        )
        return PowerFinding("dead", one.step.subject, text)
    low, high = sorted((abs(feed.low_v), abs(feed.high_v)))
    state = "is run down" if along < low else "is too high" if along > high else "is not right"
    text = (
        f"The supply of feed {name} {state}: {one.shown}, where {low:g} V to {high:g} V may be. "
        "Charge it, or look at its rectifier, before a shelf goes onto it."
    )
    return PowerFinding("battery", name, text)


def _welded(breaker: Breaker, one: _Seen) -> PowerFinding:
    text = (
        f"Breaker {breaker.name} does not open: {one.shown} behind it. Its contacts are welded, or something else "
        "feeds that side. Open what lies before it; it is to be replaced."
    )
    return PowerFinding("welded", breaker.name, text)
