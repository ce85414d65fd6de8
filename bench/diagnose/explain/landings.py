"""The search for what became of wires that do not get through: asks for few readings, and tells what was done wrong.

It takes what the walk has read so far (:mod:`bench.diagnose.explain.walk_map`), speaks a reveal
(:mod:`bench.diagnose.explain.reveal`) as readings between pins and bars, and explains all of it together.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.pin_map import Design, Measured, pins_on
from bench.diagnose.explain.reveal import BothWays, Revealed, place, reveal
from bench.diagnose.explain.search import explain
from bench.diagnose.explain.sentences import name_anew
from bench.diagnose.explain.unread_joins import unread_joins, unread_told
from bench.diagnose.explain.walk_map import (
    CONDUCTS_BELOW_OHM,
    Pair,
    WalkMap,
    beside_told,
    off_the_map,
    troubled_map,
)
from bench.diagnose.script_search import Speech, spoken
from bench.plant.model import Plant
from bench.plant.things import Cable
from bench.quantity import Amount
from bench.say.lists import count
from bench.sequence.file import Do, Found, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.walk.adviser import followed
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State

FEWEST = 3
"""Wires that do not get through before an early look is worth its readings (own choice)."""


def search(state: State, step: Step, trail: Trail) -> Search:
    """The search for where wires are landed that do not get through.

    Settings: ``look``, ``early`` for one in the middle of a walk, which asks only where several wires failed and only
    until one mistake explains them all but surely; by default every wire is looked for. ``joins``, ``no`` to leave out
    the joins among the near ends.

    Raises:
        DiagnoseError: a setting is of no use.
    """
    return followed(_search(state, step), trail)


def _search(state: State, step: Step) -> Search:
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    look, joins = source.settings.get("look", "all"), source.settings.get("joins", "yes")
    if look not in ("all", "early") or joins not in ("yes", "no"):
        raise DiagnoseError(f"found look: {look}, joins: {joins}; expected look all or early, joins yes or no")
    plant = state.setting.plant
    thing = plant.find(source.of) if source.of else None
    cables = [thing.name] if isinstance(thing, Cable) else [c.name for c in plant.cables_of(source.of)] if thing else []
    one = troubled_map(state, cables)
    failed = [] if one is None else _failed(one)
    if one is None or (look == "early" and len(failed) < FEWEST):
        few = f"{count(len(failed), 'wire')} did not get through so far; what became of them is looked for in the end."
        text = few if failed else "Every wire that was read gets through: nothing is to be looked for."
        unread = unread_told(unread_joins([state], cables)) if look == "all" and not failed else ""
        return Found(
            verdict="undecided" if failed else "pass",
            sentence=text,
            lines=[unread] if unread else [],
            facts={"search": "landings"},
        )
    whole = look == "all"
    beside = _beside(plant, one)
    script = reveal(one.design, one.measured, check=whole, joins=whole and joins == "yes", beside=beside)

    def say(act: Do | Measure, answers: Sequence[Answer]) -> Wanted:
        what = f"{count(len(failed), 'wire')} did not get through" if failed else "pins are joined that should not be"
        return Wanted(act, f"{what}: this tells what became of them")

    ended = yield from spoken(script, _speech(source), say)
    if ended.result is None:
        text = f"What was done wrong is not known: {ended.stopped}."
        return Found(verdict="undecided", sentence=text, facts={"search": "landings", "readings": ended.readings})
    return _told(plant, one, failed, ended.result, ended.readings)


def _failed(one: WalkMap) -> list[str]:
    """The conductors whose own two ends were found apart."""
    parted = {frozenset(pair) for pair in one.measured.parted}
    return [wire.name for wire in one.design.conductors if frozenset((wire.near, wire.far)) in parted]


def _beside(plant: Plant, one: WalkMap) -> list[str]:
    """Frames of the bays and screens of the cables that a map's wires should be apart from, one place for each net."""
    connectors = [c.name for c in one.design.near]
    bays = {plant.connectors[name].bay for name in connectors}
    names = [point.name for point in plant.earth_points.values() if point.kind == "frame" and point.at in bays]
    screens = [plant.cables[cable].screen for cable in one.cables]
    names += [screen.near_end.name for screen in screens if screen is not None]
    together = plant.joins()
    known = {together[wire.near_end.name] for cable in one.cables for wire in plant.cables[cable].conductors}
    kept = []
    for name in names:
        # a return that is meant to reach the frame says nothing
        if together[name] not in known:
            known.add(together[name])
            kept.append(name)
    return kept


def _speech(source: Seek) -> Speech:
    limit = Limit(at_least=Amount(CONDUCTS_BELOW_OHM, "Ω"), source="below this two pins count as joined")

    def title(red: Sequence[str], black: Sequence[str]) -> str:
        return f"{_side(red)} against {_side(black)}"

    def text(red: Sequence[str], black: Sequence[str]) -> str:
        lines = [
            f"{colour}, on a bar: {runs(side)}" for colour, side in (("Red", red), ("Black", black)) if len(side) > 1
        ]
        return "\n".join(lines)

    return Speech(
        place=lambda end, name: name,
        read=source.read,
        wires=source.wires,
        joined=limit,
        title=title,
        text=text,
    )


def _side(places: Sequence[str]) -> str:
    return places[0] if len(places) == 1 else f"{len(places)} pins on a bar"


def runs(places: Sequence[str]) -> str:
    """Places by connector, numbers that follow one another as from first to last: ``K1.1 to K1.9, K1.12``."""
    told: list[list[str]] = []
    for name in places:
        owner, _, pin = name.rpartition(".")
        if told:
            last_owner, _, last = told[-1][-1].rpartition(".")
            if owner == last_owner and pin.isdigit() and last.isdigit() and int(pin) == int(last) + 1:
                told[-1].append(name)
                continue
        told.append([name])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in told)


def with_found(design: Design, measured: Measured, revealed: Revealed) -> Measured:
    """What was measured, with what a reveal found.

    Args:
        design: whose pins are meant.
        measured: before it.
        revealed: what it found.
    """
    pins = {place(pin): pin for connector in (*design.near, *design.far) for pin in pins_on(connector)}
    joins = set(measured.joins)
    both = {frozenset(one.between) for one in revealed.both}
    for a, b in revealed.joined:
        if a not in pins or b not in pins:
            continue  # a frame or a screen, which is on no map
        one, other = pins[a], pins[b]
        if (other, one) not in joins:
            joins.add((one, other))
    known = {frozenset(join) for join in joins}
    # what was read both ways counts as it was found last, or as nothing
    parted = {
        join for join in measured.parted if frozenset(map(place, join)) not in both and frozenset(join) not in known
    }
    for red, black in revealed.apart:
        parted |= {
            (pins[a], pins[b]) for a in red for b in black if a != b and frozenset((pins[a], pins[b])) not in known
        }
    touched = {pin for pair in (*joins, *parted) for pin in pair}
    return Measured(
        frozenset(joins),
        not_tested=frozenset(measured.not_tested - touched),
        crosses=measured.crosses,
        parted=frozenset(parted),
        resistances=measured.resistances,
        limit=measured.limit,
        limits=measured.limits,
    )


def _told(plant: Plant, one: WalkMap, failed: list[str], revealed: Revealed, readings: int) -> Found:
    pairs = [Pair((a, b), joined=True, failed=True) for a, b in revealed.joined]
    on_frames = off_the_map(plant, pairs)
    outside = [pair for pair in pairs if any(group.issuperset(pair.between) for group in on_frames)]
    mapped = replace(revealed, joined=[pair.between for pair in pairs if pair not in outside])
    explanation = explain(one.design, with_found(one.design, one.measured, mapped))
    told = [finding.sentence for finding in explanation.findings] + beside_told(plant, outside)
    if revealed.lost:
        told = [_lost(one, revealed)]
    told += [_both_ways(both) for both in revealed.both]
    facts = {
        "search": "landings",
        "failed": failed,
        "readings": readings,
        "checked": revealed.checked,
        "lost": revealed.lost,
        "between": {
            "joined": [list(pair) for pair in revealed.joined],
            "apart": [[list(red), list(black)] for red, black in revealed.apart],
        },
    }
    if revealed.both:
        facts["both-ways"] = [list(both.between) for both in revealed.both]
    first = told[0] if told else "Nothing was found wrong: read again what failed; a contact may come and go."
    more = f" And {count(len(told) - 1, 'cause')} more." if len(told) > 1 else ""
    rest = (
        ""
        if revealed.checked or revealed.lost
        else " Put it right and begin the walk anew, or go on: the rest is a check of this."
    )
    touches = {str(pin) for finding in explanation.findings for pin in finding.pins}
    return Found(
        verdict="fail",
        sentence=f"{first}{more}{rest}",
        lines=told,
        facts=facts,
        touches=sorted(touches),
    )


def _both_ways(both: BothWays) -> str:
    """What to do where two places were read joined and apart."""
    names = " and ".join(both.between)
    if not both.before:
        known = "were found joined by readings on a bar, and apart when they were read alone: they count as apart"
    elif both.joined is None:
        known = "were read apart first and joined later, and not once more: nothing is said of them"
    else:
        last = "joined" if both.joined else "apart"
        known = f"were read apart first, then joined, and {last} when they were read once more: they count as {last}"
    return (
        f"{names} {known}. A contact may come and go, a figure may be mistyped, or a probe was beside its place: move "
        "what ends there while you read the two again."
    )


def _lost(one: WalkMap, revealed: Revealed) -> str:
    """What to do where the wires of a connector are in no order."""
    index = one.design.index
    far = {place(pin): pin for connector in one.design.far for pin in pins_on(connector)}
    homes = [far[name].connector for pair in revealed.joined for name in pair if name in far]
    connector = max(sorted(set(homes)), key=homes.count)
    wires = [index.wires[wire] for wire in index.fed[index.connector_number[connector]]]
    cables = sorted({wire.cable for wire in wires if wire.cable is not None})
    return (
        f"The wires on {connector} are in no order that hands make by one mistake. To look for the rest one by one is "
        f"not worth it: end this walk and name them anew ({name_anew(cables, connector)})."
    )
