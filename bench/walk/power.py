"""What the walk makes of a load that was brought up: the ramp beforehand, the verdict afterwards.

Verdicts are derived from the readings in the event and from the plant. A load that tripped has failed, whatever its
readings were before; one that came up is judged by the mean of its settled readings against the window of the cards
that were in.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Collection, Sequence
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.limit import Limit
from bench.judge.ramp import LEAST_READINGS, QUIET_READINGS, SOAK_READINGS, RampUp, inrush
from bench.judge.soak import soak
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.quantity import engineering
from bench.say.reading import reading as reading_text
from bench.sequence.file import Energise
from bench.sequence.limits import Held
from bench.sequence.plan import Step
from bench.sequence.power_steps import at_stages, powered, ramp, window
from bench.sequence.power_tree import Forecast, WillNotCarry, headroom_line, power_tree
from bench.walk import events as e
from bench.walk.outcome import Bounds, Outcome

SHORT_VOLTS: Final = 0.5
"""A supply in its limit with less than this part of the voltage that was set is on a short."""

NEXT_TO_NOTHING: Final = 0.005
"""Amperes: where no card is in, what flows is leakage."""


MANY: Final = 5
"""This number of readings one after the other is no noise."""
SURELY: Final = 2.7
"""Nor is what falls at all stages by this number of standard deviations: a supply that is asked slowly has few readings
of a short decay. Noise alone does so once in 250."""
SLOW_S: Final = 1.0
"""An ammeter that renews no oftener than this is said to be slow (common practice, no source)."""
MOVES: Final = 0.010
"""Amperes: less than this over a soak does not matter (common practice, no source)."""


class Prepared(msgspec.Struct, frozen=True):
    """An energise step with what was really done before it.

    Attributes:
        ramp: what to follow.
        forecast: what should be seen.
        refusal: why it must not be; empty where it may.
    """

    ramp: RampUp | None
    forecast: Forecast | None
    refusal: str = ""


def prepare(
    plant: Plant, step: Energise, closed: Collection[str], out: Collection[str], renews_s: float = 0.0
) -> Prepared:
    """Work a step out for the breakers that are closed and the cards that are in now.

    Args:
        plant: the plant.
        step: the step.
        closed: the closed breakers.
        out: the cards that are out.
        renews_s: from one new value of the ammeter to the next.
    """
    tree = power_tree(plant, step.derating.value)
    try:
        forecast = tree.forecast(powered(step, plant, closed, out))
    except WillNotCarry as error:
        return Prepared(None, None, str(error))
    if forecast.overloads:
        lines = "; ".join(headroom_line(load, step.derating.value) for load in forecast.overloads)
        return Prepared(None, forecast, f"it would overload breaker {lines}")
    lower = at_stages(step, tree, forecast.powered)
    return Prepared(ramp(step, forecast, lower, renews_s), forecast)


def judge_energised(
    step: Step, event: e.Energised, found: Prepared, base: Outcome, hold: Callable[[e.Read, Held], Outcome]
) -> Outcome:
    """The verdict on a load that was brought up.

    Args:
        step: the step.
        event: what was seen.
        found: the step as it was worked out.
        base: an outcome that says what is the same in every case.
        hold: holds a reading against a limit.
    """
    source = step.source
    assert isinstance(source, Energise)
    if found.forecast is None or found.ramp is None:
        return replace(base, verdict="undecided", said=f"Undecided: {found.refusal}.")
    low, high = window(source, found.forecast)
    names = ", ".join(found.forecast.typical.shelves) or "no shelf"
    source_text = f"cards of {names} with their spread at {engineering(found.forecast.powered.volts, 'V')}"
    base = replace(base, bounds=Bounds(low, high, source_text))
    if event.why != "done":
        word = _word(source, event, found.forecast, found.ramp.renews_s)
        told = _tripped(event, found, high, word)
        figure = replace(base.figure, value=_last(event))
        return replace(base, verdict="fail", figure=figure, finding=word, said=told)
    return _came_up(source, event, found, base, (low, high), hold)


def _last(event: e.Energised) -> float | None:
    return event.amps[-1] if event.amps else None


_FINDINGS: Final = {"limit": "heavy", "over": "heavy", "volts": "heavy", "leaks": "leaks", "restless": "restless"}


def _word(source: Energise, event: e.Energised, forecast: Forecast, renews_s: float) -> str:
    """What is wrong with a load that tripped, in one word; see :attr:`bench.walk.outcome.Outcome.finding`."""
    word = _FINDINGS.get(event.why, "stopped")
    if word != "heavy":
        return word
    if _shorted(event):
        return "short"
    if forecast.typical.amps < NEXT_TO_NOTHING:
        return "leaks"
    return "creeps" if _crept(source, event, renews_s) else "heavy"


def _crept(source: Energise, event: e.Energised, renews_s: float) -> bool:
    """Whether a current that was right at first rose beyond the window bit by bit, and not by one jump."""
    if event.why != "over" or len(event.sets) <= len(source.ramp):
        return False
    begun = event.sets[-1][0] + source.inrush.value + renews_s
    seen = [(t, a) for t, a in zip(event.times, event.amps, strict=True) if t > begun and a is not None]
    # the last reading is the one that was beyond, new or not
    inside = [a for _, a in [*new_values(seen[:-1], renews_s), *seen[-1:]]]
    if len(inside) < LEAST_READINGS:
        return False
    return inside[-1] - inside[-2] < 0.5 * (inside[-1] - inside[0])


def _shorted(event: e.Energised) -> bool:
    """Whether the supply's terminals had next to nothing of what was set."""
    if event.why != "limit" or not event.terminal or not event.sets:
        return False
    set_at, volts, _ = event.sets[-1]
    at, terminal = event.terminal[-1]
    return at >= set_at and terminal < SHORT_VOLTS * volts


def _tripped(event: e.Energised, found: Prepared, high: float, word: str) -> str:
    """Why the output went off, in words for a person at the rack."""
    assert found.forecast is not None
    at = event.times[event.tripped] if event.tripped is not None and event.times else 0.0
    set_at, volts, limit = event.sets[-1] if event.sets else (0.0, 0.0, 0.0)
    amps = _last(event)
    shown = engineering(amps, "A", digits=3) if amps is not None else "no number"
    when = f"{at - set_at:.2f} s after {volts:g} V was set"
    terminal = event.terminal[-1][1] if event.terminal else None
    names = ", ".join(found.forecast.typical.shelves) or "what is on"
    match event.why:
        case "limit" if word == "short" and terminal is not None:
            head = f"short: the supply gives its limit of {limit:g} A and no more than {terminal:.2f} V come up"
            tail = "Look for a short in the shelf or its feed"
        case "over" if word == "creeps":
            head = f"{names} creeps: the current rose to {shown} where {high:.3f} A is the most"
            tail = "Find what warms up"
        case "limit" | "over":
            head = f"{names} draws too much: {shown} where {_most(found, event, high):.3f} A is the most"
            tail = "Look at the last card that went in"
        case "volts":
            head = f"the supply does not hold {volts:g} V: {terminal if terminal is not None else 0.0:.2f} V"
            tail = "Its own protection may have tripped"
        case "leaks":
            head = f"{names} leaks: still {shown} after its capacitors had their time to reform"
            tail = "Give them more time at this voltage, or replace them"
        case "restless":
            head = f"{names} does not settle: {shown} and still moving"
            tail = "Look for something that warms up"
        case "no-number":
            head, tail = "the meter showed no number", "Look at the meter and its range"
        case _:
            head = f"stopped: {event.why}"
            tail = "Nothing is proven"
    off = "Output off" if event.state == "off" and event.confirmed else "OUTPUT NOT CONFIRMED OFF"
    if event.by_hand and event.state == "off":
        off = "Output off, says who switched it"
    return f"Fail: {head}, {when}. {off}. {tail}."


def _most(found: Prepared, event: e.Energised, high: float) -> float:
    """The most that was allowed at the stage where it tripped, in amperes."""
    if found.ramp is None or not event.sets or len(event.sets) >= len(found.ramp.levels):
        return high
    return found.ramp.levels[len(event.sets) - 1].most_a


def _came_up(
    source: Energise,
    event: e.Energised,
    found: Prepared,
    base: Outcome,
    bounds: tuple[float, float],
    hold: Callable[[e.Read, Held], Outcome],
) -> Outcome:
    assert found.forecast is not None and found.ramp is not None
    renews = found.ramp.renews_s
    low, high = bounds
    last_set = event.sets[-1][0]
    rest = [
        (t, a)
        for t, a in zip(event.times, event.amps, strict=True)
        if a is not None and t >= max(last_set, event.times[-1] - source.settle.value - _soak_s(source, renews))
    ]
    rest = new_values(rest, renews)
    steady = [a for t, a in rest if t >= event.times[-1] - max(source.settle.value, renews)]
    mean = statistics.fmean(steady)
    read = e.Read(
        number=event.number,
        instrument=event.meter or event.instrument,
        function="current",
        unit="A",
        value=mean,
        count=len(steady),
        spread=statistics.stdev(steady) if len(steady) > 1 else None,
        raw=event.raw,
    )
    # where nothing need flow, a reading of nothing is no doubt
    held = Limit(unit="A", source=base.bounds.source, lower=low if low > 0 else None, upper=high)
    origin = Held(held, found.forecast.typical.amps)
    outcome = replace(hold(read, origin), reading=None)
    slow = reforming(source, event, found)
    told = f"{outcome.sentence} {_details(source, event, found, mean)}"
    outcome = replace(outcome, said=told, remark="; ".join(_remarks(source, found, mean, slow, event.by_hand)))
    if slow and outcome.verdict == "pass":
        outcome = replace(outcome, finding="reforms")
    if outcome.verdict == "fail" and mean < low:
        why = "Look for a card that is not seated, or a fuse that is open."
        told = f"Fail: draws too little: {told.removeprefix('Fail: ')} {why}"
        outcome = replace(outcome, finding="light", said=told)
    elif outcome.verdict == "fail":
        told = f"Fail: draws too much: {told.removeprefix('Fail: ')}"
        outcome = replace(outcome, finding="heavy", said=told)
    began = event.times[-1] - _soak_s(source, renews)
    watched = [(t, a) for t, a in rest if t >= began] if source.soak.value else []
    return _soaked(source, outcome, watched, mean, renews)


def new_values(readings: Sequence[tuple[float, float]], renews_s: float) -> list[tuple[float, float]]:
    """The readings without those that a slow meter only said once more.

    Args:
        readings: times, rising, and what was read.
        renews_s: seconds from one new value to the next; 0: each reading is new.
    """
    kept: list[tuple[float, float]] = []
    for t, value in readings:
        if not kept or t - kept[-1][0] >= renews_s:
            kept.append((t, value))
    return kept


def _soak_s(source: Energise, renews_s: float) -> float:
    """How long the soak lasted at least, in seconds: a slow meter needs longer for its readings."""
    return max(source.soak.value, SOAK_READINGS * renews_s) if source.soak.value else 0.0


def _soaked(
    source: Energise, outcome: Outcome, watched: list[tuple[float, float]], mean: float, renews_s: float
) -> Outcome:
    """The same outcome with what the soak says: what moves fails, and what cannot be told is said to be so."""
    if not watched or outcome.verdict != "pass":
        return outcome
    matters = max(source.drift.value * mean, MOVES)
    found = soak([t for t, _ in watched], [a for _, a in watched], matters, renews=renews_s)
    if found is None or found.answer == "steady":
        return outcome
    if found.answer == "undecided":
        lasts = f"soak it for {math.ceil(found.wants_s)} s" if found.wants_s else "soak it for longer"
        told = (
            f"Undecided: whether it creeps cannot be told: the readings scatter by {engineering(found.spread, 'A')}, "
            f"and {engineering(matters, 'A')} matter. To tell, {lasts}, and look once."
        )
        return replace(outcome, verdict="undecided", said=told)
    grows = (found.jump or found.each_minute) > 0
    if found.jump:
        seen = f"jumped by {engineering(found.jump, 'A', digits=2)} after {found.jump_at:.0f} s of the soak"
    else:
        each, doubt = (engineering(value, "A", digits=2) for value in (found.each_minute, found.doubt))
        seen = f"moves by {each} ± {doubt} each minute"
    head = "creeps" if grows else "does not stay"
    tail = "Find what warms up" if grows else "Find what switches off, or a contact that comes and goes"
    told = f"Fail: {head}: the current {seen} ({engineering(mean, 'A', digits=3)} at the end). {tail}."
    return replace(outcome, verdict="fail", finding="creeps" if grows else "restless", said=told)


BY_HAND: Final = (
    "Set by its knobs and read by eye: nobody saw what came between two looks, and nothing would have switched it off "
    "but a hand"
)
"""What a load that was brought up by hand cannot promise."""


def _remarks(source: Energise, found: Prepared, mean: float, slow: str, by_hand: bool) -> list[str]:
    """What is worth a look although the verdict stands."""
    assert found.forecast is not None
    told = [slow] if slow else []
    if by_hand:
        told.append(BY_HAND)
    if found.ramp is not None and found.ramp.renews_s >= SLOW_S:
        told.append(
            f"The ammeter has a new value each {found.ramp.renews_s:g} s: what is too much is seen later by as long, "
            "and until then the supply's limit alone holds it"
        )
    first, second = found.forecast.likely
    margin = source.margin.value
    if not first - margin <= mean <= second + margin and found.forecast.typical.amps > 0:
        told.append(f"Outside {first:.3f} A to {second:.3f} A, where most such sums lie.")
    return told


def _details(source: Energise, event: e.Energised, found: Prepared, mean: float) -> str:
    """Predicted against measured, the inrush, and what the breaker that is loaded most has left."""
    assert found.forecast is not None
    expected = engineering(found.forecast.typical.amps, "A", digits=3)
    told = f"Measured {engineering(mean, 'A', digits=3)}, expected {expected}"
    seen = inrush(event.times, [a or 0.0 for a in event.amps], event.sets[-1][0], source.inrush.value)
    if seen is not None and seen.peak_a > 0 and not event.by_hand:
        told += f"; inrush {engineering(seen.peak_a, 'A', digits=3)}"
    tightest = min(found.forecast.breakers.values(), key=lambda load: load.headroom / load.rating, default=None)
    if tightest is not None:
        told += f"; {headroom_line(tightest, source.derating.value)}"
    return f"{told}."


def reforming(source: Energise, event: e.Energised, found: Prepared) -> str:
    """Whether capacitors took their time on the lower levels; empty where they did not."""
    levels = found.ramp.levels if found.ramp is not None else ()
    renews = found.ramp.renews_s if found.ramp is not None else 0.0
    starts = [t for t, _, _ in event.sets]
    told: list[str] = []
    stages: list[list[float]] = []
    for place, level in enumerate(source.ramp):
        leakage = levels[place].leakage_a if place < len(levels) else None
        if level.leakage is None or leakage is None or place >= len(starts):
            continue
        end = starts[place + 1] if place + 1 < len(starts) else math.inf
        inside = [
            (t - starts[place], a)
            for t, a in zip(event.times, event.amps, strict=True)
            if a is not None and starts[place] + level.inrush.value + renews < t < end
        ]
        inside = new_values(inside, renews)
        stages.append([a for _, a in inside])
        # the mean of three, as many as end the stage: noise alone brings one below
        means = (statistics.fmean(a for _, a in inside[k : k + QUIET_READINGS]) for k in range(len(inside) - 2))
        first_below = next((k for k, mean in enumerate(means) if mean <= leakage), len(inside))
        above = inside[: max(first_below, 1)]
        if len(above) == len(inside) or above[0][1] <= leakage:
            continue
        told.append(
            f"Capacitors reform: at {level.to} the leakage fell from {engineering(above[0][1], 'A', digits=2)} "
            f"below {engineering(leakage, 'A', digits=2)} within {inside[len(above)][0]:.0f} s."
        )
        if len(above) >= MANY:
            return told[0]
    # what noise lifts over the limit now and then is no charge that goes in; what falls stage after stage is
    return told[0] if len(told) > 1 and falls(stages) >= SURELY else ""


def falls(stages: Sequence[Sequence[float]]) -> float:
    """How surely values fall within their stages, all stages taken together, in standard deviations of chance.

    Kendall's count of pairs that fall less those that rise, summed over the stages, each with its own variance
    n (n - 1) (2 n + 5) / 18 (Hirsch, Slack and Smith 1982, Water Resources Research 18, 107, for seasons; from memory).
    It asks nothing of how values are spread, and a decay that is quick against the readings shows in it too.

    Args:
        stages: the values of each stage in the order in which they were read.
    """
    fallen, variance = 0, 0.0
    for values in stages:
        n = len(values)
        fallen += sum((one > later) - (one < later) for k, one in enumerate(values) for later in values[k + 1 :])
        variance += n * (n - 1) * (2 * n + 5) / 18
    return fallen / math.sqrt(variance) if variance else 0.0


def joint_words(outcome: Outcome, amps: float) -> str:
    """What a drop says of the joints and wires that it is read over: their resistance, and how much they heat.

    Args:
        outcome: of the drop, held against what a sound way loses at that current.
        amps: the current that flows.
    """
    drop, most = outcome.figure.value, outcome.bounds.high
    assert drop is not None and most is not None
    ohms, watts = abs(drop) / amps, abs(drop) * amps
    shown = engineering(ohms, "Ω", digits=3), engineering(amps, "A", digits=3), engineering(watts, "W", digits=2)
    heat = f"{shown[0]} at {shown[1]}: {shown[2]} of heat."
    if outcome.verdict == "undecided":
        return f"{outcome.sentence} {heat}"
    lost = reading_text(abs(drop), "V", expanded=outcome.figure.expanded)
    more = "more than a sound way loses" if outcome.verdict == "fail" else "as a sound way does"
    return f"{outcome.verdict.capitalize()}: loses {lost}, {more}: {engineering(most, 'V')} at most. {heat}"


def loses(outcome: Outcome) -> bool:
    """Whether a voltage at a shelf is there, with the right sign, and lower than it should be."""
    if outcome.verdict != "fail" or outcome.figure.value is None or not outcome.bounds.low or not outcome.bounds.high:
        return False
    nearest = min(outcome.bounds.low, outcome.bounds.high, key=abs)
    return 0.5 < outcome.figure.value / nearest < 1


def wrong_way_round(outcome: Outcome, shown: str) -> str:
    """A voltage with the other sign in words, for a person at the rack; empty where the sign is right.

    Args:
        outcome: of a reading of volts.
        shown: the reading with its unit.
    """
    if outcome.verdict != "fail" or not outcome.figure.value or not outcome.bounds.low or not outcome.bounds.high:
        return ""
    if outcome.bounds.low < 0.0 < outcome.bounds.high:
        return ""  # nothing should be there, whichever sign it has
    nearest = min(outcome.bounds.low, outcome.bounds.high, key=abs)
    if not outcome.figure.value / nearest < -0.5:
        return ""
    right = "plus" if nearest > 0 else "minus"
    return (
        f"Fail: the feed is the wrong way round here: {shown}, where the right sign is {right}. Take the feed off. "
        "Look at the bench supply's or battery's leads first, then for feed and return exchanged on the way."
    )


def search_offer(shelf: str) -> str:
    """What finds the place where a shelf loses voltage."""
    return (
        f"Where it is lost is found reading by reading: draft the search with 'proveout draft PLANT supply-search "
        f"--shelf {shelf}' and walk it."
    )


def still_live(plant: Plant, handled: Handled) -> list[str]:
    """What the program cannot switch off itself, and whom to tell to open what.

    Args:
        plant: the plant.
        handled: its supplies and breakers as they were left.
    """
    told = []
    for name in sorted(handled.live):
        supply = plant.supplies[name]
        fed = [one for one, breaker in plant.breakers.items() if breaker.feed == supply.feed]
        behind = [one for one in fed if one in handled.closed]
        main = behind[0] if behind else ""
        kind = supply.kind if supply.kind != "bench" else "supply"
        if main:
            where = plant.where(main)
            told.append(
                f"{kind} {name} is on and this program cannot switch it off. Tell the person at breaker {main} "
                f"({where}) to open it; closed behind it: {', '.join(behind)}."
            )
        else:
            told.append(
                f"{kind} {name} is on up to its open breakers, and this program cannot switch it off. "
                "Tell the person in charge of it."
            )
    return told
