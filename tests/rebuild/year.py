"""The year after: faults come up one after the other, and are located by the one way or the other.

Somebody sees that something does not work: a signal of a known conductor that is gone or comes and goes, hum, a shelf
that resets. From the call to the repair the clock runs.
"""

from __future__ import annotations

from typing import Final

from bench.diagnose.hunt.ranking import LATE_S, LATE_SPREAD_S, Movement, Ranking
from bench.plant import faults as k
from bench.plant.loose_places import places_on
from bench.walk.results import passed
from tests.rebuild import harm
from tests.rebuild.by_hand import ByHand
from tests.rebuild.came import Came, Later
from tests.rebuild.proveout import WithProveout
from tests.rebuild.team import OPEN_UP, REPAIR

MOVES_S: Final = 5.0
REST_S: Final = 1.5
STEP_S: Final = 0.1
"""A meter on its fast setting, or a beeper by ear: ten looks a second (assumed the same for both)."""
SWEEPS: Final = 96
"""Movements after which a hunt is given up."""
ISOLATED: Final = 10.0
"""Minutes until the part is isolated and proved dead, and until it is back."""
RESOLDER: Final = 30.0
"""Minutes to bring a new wire in where one is damaged inside its cable."""
Work = ByHand | WithProveout


def a_year(work: Work, came: Came) -> None:
    """All faults of the year, one after the other.

    Args:
        work: who rebuilt it, with the plant as it is.
        came: takes up what came of each.
    """
    ledger = came.later
    for fault in work.drawn.year:
        work.ledger = ledger
        ledger.stage = "year"
        ledger.spend(ISOLATED)
        begun = ledger.minutes
        work.site.faults.append(fault)
        located = _located(work, came, fault)
        if not located:
            ledger.spend(120.0)
        work.site.mend([fault])
        came.year.append(Later(fault, located, ledger.minutes - begun + ISOLATED))


def _located(work: Work, came: Came, fault: k.Fault) -> bool:
    if isinstance(fault, k.Intermittent):
        return _hunt(work, came, fault)
    return _with_tool(work, fault) if isinstance(work, WithProveout) else _by_hand(work, fault)


def _gone(work: Work, fault: k.Fault) -> bool:
    return fault not in work.site.faults


def _with_tool(work: WithProveout, fault: k.Fault) -> bool:
    """The draft that reads where it shows, until what it finds is mended."""
    plant = work.site.plant
    match fault:
        case k.Open() | k.Damaged():
            shelf = plant.conductors[fault.conductor].near_end.shelf
            drafts = [("continuity", name) for name in harm.signals_of(plant, shelf)]
            # the signal that is gone runs in one of them; the one that fails is found first or last by chance
            work.team.dice(str(fault)).shuffle(drafts)
        case k.SecondEarthPath():
            drafts = [("earth", "")]
        case k.HighResistanceLug():
            # the shelf is known that resets, and not by which feed
            shelf = fault.terminal.split(".")[0][2:]
            drafts = [("continuity", f"PW{inlet.feed}{shelf}") for inlet in plant.shelves[shelf].inlets]
            work.team.dice(str(fault)).shuffle(drafts)
        case k.ShelfLight():
            drafts = [("idle-current", fault.shelf)]
        case _:
            return False
    for _ in range(2):
        for kind, of in drafts:
            state = work.once(kind, of)
            if _gone(work, fault):
                return True
            if not isinstance(fault, k.Damaged) or state is None or passed(state):
                continue
            if of == plant.conductors[fault.conductor].cable:
                # it shows as a join, and is nowhere at the ends: a new wire, as by hand
                work.ledger.spend(RESOLDER)
                work.site.mend([fault])
                return True
    return False


def _by_hand(work: ByHand, fault: k.Fault) -> bool:
    """The same signs, and the leader's own way."""
    plant = work.site.plant
    for _ in range(2):
        match fault:
            case k.Open() | k.Damaged():
                shelf = plant.conductors[fault.conductor].near_end.shelf
                cables = harm.signals_of(plant, shelf)
                work.team.dice(str(fault)).shuffle(cables)
                for name in cables:
                    odd = work.ring_out(plant.cables[name], 1)
                    if _gone(work, fault):
                        return True
                    if odd and isinstance(fault, k.Damaged) and name == plant.conductors[fault.conductor].cable:
                        # it is rung as a join, and is nowhere at the ends: a new wire
                        work.ledger.spend(RESOLDER)
                        work.site.mend([fault])
                        return True
            case k.SecondEarthPath():
                work.earth()
            case k.HighResistanceLug():
                work.supplies(fault.terminal.split(".")[0][2:])
            case k.ShelfLight():
                work.idle(fault.shelf)
        if _gone(work, fault):
            return True
    return False


def _hunt(work: Work, came: Came, fault: k.Intermittent) -> bool:
    """A contact that comes and goes: one thing after the other is moved while somebody watches."""
    plant = work.site.plant
    tonight = work.site.tonight()
    world, clock, draw = tonight.world, tonight.clock, work.team.dice(str(fault))
    wire = plant.conductors[fault.conductor]
    places = [place.name for place in places_on(plant, fault.conductor)]
    informed = isinstance(work, WithProveout) and "hunting" not in work.without
    world.place(wire.near_end.name, wire.far_end.name, clock.now())
    movements: list[Movement] = []
    jumps: list[float] = []
    score = [0] * len(places)
    tried: set[int] = set()
    for turn in range(SWEEPS):
        ranking = Ranking([1.0] * len(places), movements, jumps, clock.now())
        wanted = ranking.next(MOVES_S) if informed else None
        moved = wanted.places if wanted is not None else (turn % len(places),)
        begin = clock.now()
        late = draw.gammavariate((LATE_S / LATE_SPREAD_S) ** 2, LATE_SPREAD_S**2 / LATE_S)
        before = len(jumps)
        world.moving([places[one] for one in moved], clock.now())
        _watched(world, clock, jumps, MOVES_S)
        world.moving([], clock.now())
        _watched(world, clock, jumps, REST_S)
        movements.append(Movement(begin + late, begin + late + MOVES_S, moved))
        work.ledger.spend((MOVES_S + REST_S) / 60.0 + 0.05)
        work.ledger.acts += 1
        for one in moved:
            score[one] += len(jumps) - before
        if informed:
            ranking = Ranking([1.0] * len(places), movements, jumps, clock.now())
            best = ranking.named
            if best is None or best in tried:
                continue
            came.named.append((ranking.chances[best], places[best] == fault.at))
        else:
            # by ear: after each round what jumped most, and twice at least
            if (turn + 1) % len(places):
                continue
            best = max(
                (one for one in range(len(places)) if one not in tried), key=lambda one: score[one], default=None
            )
            if best is None or score[best] < 2:
                continue
        tried.add(best)
        work.ledger.spend(OPEN_UP)
        if places[best] == fault.at:
            work.ledger.spend(REPAIR)
            work.site.mend([fault])
            return True
        work.ledger.touched += 1
        work.ledger.alarms += 1
    return False


def _watched(world: object, clock: object, jumps: list[float], seconds: float) -> None:
    """Looks at the reading for some seconds, and notes each time at which it jumps open."""
    end = clock.now() + seconds  # type: ignore[attr-defined]
    was_open = False
    while clock.now() < end:  # type: ignore[attr-defined]
        clock.jump(STEP_S)  # type: ignore[attr-defined]
        ohms = world.resistance("hi", "lo", clock.now())  # type: ignore[attr-defined]
        is_open = ohms > 1e3
        if is_open and not was_open and (not jumps or clock.now() - jumps[-1] >= 1.0):  # type: ignore[attr-defined]
            jumps.append(clock.now())  # type: ignore[attr-defined]
        was_open = is_open
