"""Nets that must be apart: all joins between them found, or all insulation proven, in few readings.

Half of the nets are held against the other half, in as many ways as their count has binary digits; where nothing is
wrong that is all (Kautz 1974). Where a group reads low it is halved until the pair is named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.isolation import Insulation, Shorts, counting_width, find_shorts, prove_insulation
from bench.diagnose.planned_search import Reached, Translation, ohms_of, reached
from bench.diagnose.seek import finding
from bench.judge.charge import SAFE_RESIDUAL_V, cable_capacitance, discharge_time
from bench.judge.insulation import insulation_rule
from bench.plant.model import Plant
from bench.quantity import Amount, engineering
from bench.sequence.file import Found, Limit, Seek
from bench.sequence.plan import Step
from bench.walk.events import Advised
from bench.walk.seeking import Link
from bench.walk.state import State

APART = "100 kΩ"
"""Two nets that read less count as joined (own choice: far above any conductor, far below any sound insulation)."""


def wanted(state: State, step: Step, trail: tuple[Link, ...]) -> Advised:
    """What a search for crosses or for poor insulation wants next.

    Settings: ``apart`` (for crosses) or ``minimum`` (for insulation), a resistance; ``nets``, places separated by
    commas, in place of all nets of the cable or connector.

    Raises:
        DiagnoseError: there are no two nets to hold against each other, or a setting is of no use.
    """
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    plant = state.setting.plant
    nets = nets_of(plant, source)
    if source.find == "crosses":
        apart = ohms_of(source.settings.get("apart", APART), "apart")
        limit = Limit(at_least=Amount(apart, "Ω"), source="below this two nets count as joined")
        shorts = reached(find_shorts(nets), trail, _words(plant, source, limit), (tuple(nets), step.key, apart))
        return _told(shorts, len(nets), lambda: _crosses(nets, shorts))
    limit = _minimum(plant, source)
    assert limit.at_least is not None
    least = limit.at_least.value
    poor = reached(prove_insulation(nets, least), trail, _words(plant, source, limit), (tuple(nets), step.key, least))
    return _told(poor, len(nets), lambda: _isolation(nets, poor))


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
    together = plant.joins()
    # the first place that stands for its net
    first: dict[frozenset[str], str] = {}
    for name in names:
        first.setdefault(together[name], name)
    kept = list(first.values())
    if len(kept) < 2:
        raise DiagnoseError(f"{source.of or 'the plant'} has {len(kept)} net; expected two or more to hold apart")
    return kept


def _minimum(plant: Plant, source: Seek) -> Limit:
    if "minimum" in source.settings:
        return Limit(at_least=Amount(ohms_of(source.settings["minimum"], "minimum"), "Ω"), source="set in the sequence")
    rule = insulation_rule(max((abs(feed.nominal_v) for feed in plant.feeds.values()), default=50.0))
    return Limit(at_least=Amount(rule.minimum_ohm, "Ω"), source=rule.source)


BLEED_OHM = 1e6
"""What an insulation tester bleeds a charge through, as the drafted sequences take it (common practice, no source)."""


def _charged(plant: Plant, source: Seek, ends: int) -> str:
    """What a reading at test voltage leaves on so many wires, and how long it takes to go."""
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


def _words(plant: Plant, source: Seek, limit: Limit) -> Translation:
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

    def proven(link: Link) -> float | None:
        # what straddles the limit proves nothing: it is halved like what is below
        if link.ohms is None or link.outcome.verdict == "pass":
            return None if link.ohms is None else max(link.ohms, least)
        return min(link.ohms, 0.999 * least)

    return Translation(
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
    # numbers that follow one another differ from their place in the row by the same
    for _, run in groupby(enumerate(sorted(map(int, pins))), lambda at: at[1] - at[0]):
        numbers = [number for _, number in run]
        told += [f"{numbers[0]}-{numbers[-1]}"] if len(numbers) > 2 else [str(number) for number in numbers]
    return ", ".join(told)


def _told(at: Reached[Shorts] | Reached[Insulation], nets: int, end: Callable[[], Found]) -> Advised:
    if at.want is not None:
        left = max(0, counting_width(nets) - at.readings)
        why = f"{nets} nets in {counting_width(nets)} readings where all is well, {nets * (nets - 1) // 2} pair by pair"
        return Advised(number=0, want=at.want, done=at.readings, left=left, why=why)
    if at.stopped:
        sentence = f"What is joined among {nets} nets is not known: {at.stopped}."
        return finding(Found(verdict="undecided", sentence=sentence, facts={"readings": at.readings}), at.readings)
    return finding(end(), at.readings)


def _crosses(nets: Sequence[str], at: Reached[Shorts]) -> Found:
    assert at.result is not None
    groups = at.result.groups
    cost = f"{at.readings} readings; pair by pair {len(nets) * (len(nets) - 1) // 2}"
    if not groups:
        return Found(
            verdict="pass",
            sentence=f"No two of {len(nets)} nets are joined ({cost}).",
            facts={"nets": list(nets), "joined": [], "readings": at.readings},
        )
    lines = ["joined: " + ", ".join(group) for group in groups]
    return Found(
        verdict="fail",
        sentence=f"{len(groups)} {'groups' if len(groups) > 1 else 'group'} of nets joined that should be apart: "
        f"{'; '.join(' + '.join(group) for group in groups[:3])}{' ...' if len(groups) > 3 else ''} ({cost}).",
        lines=lines,
        facts={"nets": list(nets), "joined": [list(group) for group in groups], "readings": at.readings},
        touches=sorted({name for group in groups for name in group}),
    )


def _isolation(nets: Sequence[str], at: Reached[Insulation]) -> Found:
    assert at.result is not None
    bad, limit = at.result.bad, at.result.limit
    cost = f"{at.readings} readings; pair by pair {len(nets) * (len(nets) - 1) // 2}"
    facts = {
        "nets": list(nets),
        "poor": [[a, b, ohms] for a, b, ohms in bad],
        "minimum": limit,
        "readings": at.readings,
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
