"""Nets that must be apart: all joins between them found, or all insulation proven, in few readings.

Half of the nets are held against the other half, in as many ways as their count has binary digits; where nothing is
wrong that is all (Kautz 1974). Where a group reads low it is halved until the pair is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from bench.diagnose.apart.isolation import Insulation, Shorts, find_shorts, prove_insulation
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width
from bench.diagnose.script_search import Ended, Speech, spoken
from bench.diagnose.search_settings import ohms_of
from bench.judge.charge import SAFE_RESIDUAL_V, cable_capacitance, discharge_time
from bench.judge.insulation import insulation_rule
from bench.plant.model import Plant
from bench.quantity import Amount, engineering
from bench.sequence.file import Do, Found, Limit, Measure, Seek
from bench.sequence.limits import cables_at, insulation_by_length
from bench.sequence.plan import Step
from bench.walk.adviser import followed
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State

APART = "100 kΩ"
"""Two nets that read less count as joined (own choice: far above any conductor, far below any sound insulation)."""


def search(state: State, step: Step, trail: Trail) -> Search:
    """The search for crosses or for poor insulation.

    Settings: ``apart`` (for crosses), a resistance, or ``minimum`` (for insulation), a resistance or ``by length``;
    ``nets``, places separated by commas, in place of all nets of the cable or connector, its screens and, for
    insulation, the frame at its near end.

    Raises:
        DiagnoseError: there are no two nets to hold against each other, or a setting is of no use.
    """
    return followed(_search(state, step), trail)


def _search(state: State, step: Step) -> Search:
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    plant = state.setting.plant
    nets = nets_of(plant, source)
    least, count = counting_width(len(nets)), len(nets)
    why = f"{count} nets in {least} readings where all is well, {count * (count - 1) // 2} pair by pair"

    def say(act: Do | Measure, answers: Sequence[Answer]) -> Wanted:
        return Wanted(act, why, max(0, least - sum(answer.counts for answer in answers)))

    if source.find == "crosses":
        apart = ohms_of(source.settings.get("apart", APART), "apart")
        limit = Limit(at_least=Amount(apart, "Ω"), source="below this two nets count as joined")
        shorts = yield from spoken(find_shorts(nets), _speech(plant, source, limit), say)
        return _stopped(nets, shorts) if shorts.result is None else _crosses(nets, shorts.result, shorts.readings)
    limit = _minimum(plant, source)
    assert limit.at_least is not None
    script = prove_insulation(nets, limit.at_least.value)
    poor = yield from spoken(script, _speech(plant, source, limit), say)
    return _stopped(nets, poor) if poor.result is None else _isolation(nets, poor.result, poor.readings)


def nets_of(plant: Plant, source: Seek) -> list[str]:
    """One place on each net that a search is about, in order.

    Raises:
        DiagnoseError: fewer than two.
    """
    if "nets" in source.settings:
        names = [name.strip() for name in source.settings["nets"].split(",")]
        unknown = [name for name in names if name not in plant.terminals]
        if unknown:
            raise DiagnoseError(f"setting 'nets': found {', '.join(unknown)}, expected terminals of the plant")
    elif source.of in plant.connectors:
        names = [pin.name for pin in plant.pins_of(source.of)]
    else:
        names = [conductor.near_end.name for conductor in plant.conductors_of(source.of)]
    if "nets" not in source.settings:
        names += around(plant, source)
    together = plant.joins()
    # the first place that stands for its net
    first: dict[frozenset[str], str] = {}
    for name in names:
        first.setdefault(together[name], name)
    kept = list(first.values())
    if len(kept) < 2:
        raise DiagnoseError(f"{source.of or 'the plant'} has {len(kept)} net; expected two or more to hold apart")
    return kept


def around(plant: Plant, source: Seek) -> list[str]:
    """What a search's conductors must be apart from besides one another: their screens, and the frame at the near end.

    The frame is there for insulation only: on a built plant returns are meant to reach it.
    """
    cables = cables_at(plant, (), source.of)
    names = [cable.screen.near_end.name for cable in cables if cable.screen is not None]
    if source.find != "isolation":
        return names
    owners = {owner for cable in cables for owner in cable.near}
    bays = {plant.connectors[owner].bay for owner in owners if owner in plant.connectors}
    frames = [point.name for point in plant.earth_points.values() if point.kind == "frame" and point.at in bays]
    return [*names, *frames]


BY_LENGTH = "by length"
"""The setting ``minimum`` that takes the limit from the cables' length."""


def _minimum(plant: Plant, source: Seek) -> Limit:
    if source.settings.get("minimum") == BY_LENGTH:
        least = insulation_by_length(cables_at(plant, (), source.of))
        assert least.lower is not None
        return Limit(at_least=Amount(least.lower, "Ω"), source=least.source)
    if "minimum" in source.settings:
        return Limit(at_least=Amount(ohms_of(source.settings["minimum"], "minimum"), "Ω"), source="set in the sequence")
    rule = insulation_rule(max((abs(feed.nominal_v) for feed in plant.feeds.values()), default=50.0))
    return Limit(at_least=Amount(rule.minimum_ohm, "Ω"), source=rule.source)


BLEED_OHM = 1e6
"""What an insulation tester bleeds a charge through, as the drafted sequences take it (common practice, no source)."""


def _charged(plant: Plant, source: Seek, ends: int) -> str:
    """What a reading at test voltage leaves on a number of wires, and how long it takes to go."""
    cables = [plant.cables[source.of]] if source.of in plant.cables else plant.cables_of(source.of)
    farad = ends * max((cable_capacitance(one.length_m, one.type.capacitance.value) for one in cables), default=0.0)
    volts = source.at.value if source.at is not None else 500.0
    seconds = (
        2.0 * discharge_time(farad, BLEED_OHM, volts, SAFE_RESIDUAL_V) if volts > SAFE_RESIDUAL_V and farad > 0 else 0.0
    )
    return (
        f"{ends} wires at once hold {engineering(farad, 'F', digits=2)}: hands off, and wait until the tester says "
        f"that they are discharged, {max(1, round(seconds + 0.5))} s at least; prove them dead before you move a clip."
    )


def _speech(plant: Plant, source: Seek, limit: Limit) -> Speech:
    assert limit.at_least is not None
    least = limit.at_least.value

    def title(red: Sequence[str], black: Sequence[str]) -> str:
        if len(red) == len(black) == 1:
            return f"{red[0]} against {black[0]}"
        return f"{len(red)} ends against {len(black)}"

    def text(red: Sequence[str], black: Sequence[str]) -> str:
        if len(red) == len(black) == 1:
            return ""
        told = f"Red, on one bar: {listed(red)}\nBlack, on the other: {listed(black)}"
        if source.read != "insulation":
            return told
        return f"{told}\n{_charged(plant, source, min(len(red), len(black)))}"

    def proven(answer: Answer) -> float | None:
        # what straddles the limit proves nothing: it is halved like what is below
        if answer.ohms is None or answer.outcome.verdict == "pass":
            return None if answer.ohms is None else max(answer.ohms, least)
        return min(answer.ohms, 0.999 * least)

    return Speech(
        place=lambda end, name: name,
        read=source.read,
        wires=source.wires,
        at=source.at,
        after=source.after,
        limit=limit,
        ohms=proven,
        title=title,
        text=text,
    )


def listed(names: Sequence[str]) -> str:
    """Places as a person reads them off: by owner, in order, runs in one: ``J101.1-4, 7; W101.3.far``."""
    owners: dict[str, list[str]] = {}
    for name in names:
        owner, _, pin = name.rpartition(".")
        owners.setdefault(owner if pin.isdigit() else name, []).append(pin)
    return "; ".join(f"{owner}.{_runs(pins)}" if pins[0].isdigit() else owner for owner, pins in owners.items())


def _runs(pins: Sequence[str]) -> str:
    told: list[str] = []
    # consecutive numbers differ from their places in the row by the same amount
    for _, run in groupby(enumerate(sorted(map(int, pins))), lambda at: at[1] - at[0]):
        numbers = [number for _, number in run]
        told += [f"{numbers[0]}-{numbers[-1]}"] if len(numbers) > 2 else [str(number) for number in numbers]
    return ", ".join(told)


def _stopped(nets: Sequence[str], ended: Ended[Shorts] | Ended[Insulation]) -> Found:
    sentence = f"What is joined among {len(nets)} nets is not known: {ended.stopped}."
    return Found(verdict="undecided", sentence=sentence, facts={"readings": ended.readings})


def _crosses(nets: Sequence[str], shorts: Shorts, readings: int) -> Found:
    groups = shorts.groups
    cost = f"{readings} readings; pair by pair {len(nets) * (len(nets) - 1) // 2}"
    if not groups:
        return Found(
            verdict="pass",
            sentence=f"No two of {len(nets)} nets are joined ({cost}).",
            facts={"nets": list(nets), "joined": [], "readings": readings},
        )
    lines = ["joined: " + ", ".join(group) for group in groups]
    return Found(
        verdict="fail",
        sentence=f"{len(groups)} {'groups' if len(groups) > 1 else 'group'} of nets joined that should be apart: "
        f"{'; '.join(' + '.join(group) for group in groups[:3])}{' ...' if len(groups) > 3 else ''} ({cost}).",
        lines=lines,
        facts={"nets": list(nets), "joined": [list(group) for group in groups], "readings": readings},
        touches=sorted({name for group in groups for name in group}),
    )


def _isolation(nets: Sequence[str], insulation: Insulation, readings: int) -> Found:
    bad, limit = insulation.bad, insulation.limit
    cost = f"{readings} readings; pair by pair {len(nets) * (len(nets) - 1) // 2}"
    facts = {
        "nets": list(nets),
        "poor": [[a, b, ohms] for a, b, ohms in bad],
        "minimum": limit,
        "readings": readings,
    }
    if not bad:
        sentence = f"Every pair of {len(nets)} nets is proven to be at least {engineering(limit, 'Ω')} apart ({cost})."
        return Found(verdict="pass", sentence=sentence, facts=facts)
    lines = [f"{a} to {b}: {engineering(ohms, 'Ω')}" for a, b, ohms in bad]
    return Found(
        verdict="fail",
        sentence=f"{len(bad)} of the pairs {'are' if len(bad) > 1 else 'is'} not proven to be at least "
        f"{engineering(limit, 'Ω')} apart: {'; '.join(lines[:3])}{' ...' if len(lines) > 3 else ''} ({cost}).",
        lines=lines,
        facts=facts,
        touches=sorted({name for a, b, _ in bad for name in (a, b)}),
    )
