"""The pile of cables at the beginning, and the two ways to find out which ends are one cable."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Final

from msgspec.structs import replace

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.pile import Pile
from bench.diagnose.survey.rates import Costs
from bench.diagnose.survey.trips import next_trips
from bench.plant import faults as k
from bench.plant.finds import Find, FreePlace, Hall, ListLine, LooseEnd, Tried
from bench.plant.model import Plant
from bench.simulate.pile import loose_pile
from tests.diagnose.survey.study import arrive
from tests.rebuild.came import Came
from tests.rebuild.plants import Drawn, signal_cables
from tests.rebuild.team import Ledger, Team

LIST_WRONG: Final = 0.08
"""Lines of the old list that name another place than where the cable goes (assumed)."""
NOTE: Final = 2.0
"""Minutes to note an end or a place with all that is seen of it; a label alone takes half of that by hand."""
SMALL_STEPS: Final = 6_000
"""Steps of the sampling: a pile of a few cables does not want more."""
MOST_TRIPS: Final = 12


class Heap:
    """The finds of a drawn plant, with the truth that only the site answers from.

    Args:
        drawn: the plant.
        team: who notes.
    """

    def __init__(self, drawn: Drawn, team: Team) -> None:
        finds, self._mates = loose_pile(drawn.plant, drawn.number)
        draw = random.Random(f"list {drawn.number}")
        places = [find.name for find in finds if isinstance(find, FreePlace)]
        self.finds: list[Find] = []
        for find in finds:
            if isinstance(find, ListLine) and draw.random() < LIST_WRONG:
                find = replace(find, to_place=draw.choice(places), to_bay="")
            if isinstance(find, LooseEnd) and find.label and team.slips("misread", find.name):
                find = replace(find, label=f"{find.label[:-1]}{draw.choice('0123456789')}")
            self.finds.append(find)
        self.hall = Hall(bays=list(drawn.plant.bays))
        self.ends = {find.name: find for find in self.finds if isinstance(find, LooseEnd)}
        self._place: dict[str, str] = {}
        names = iter(self._mates)
        for cable in signal_cables(drawn.plant):
            for side in (drawn.plant.cables[cable].near, drawn.plant.cables[cable].far):
                self._place[next(names)] = side[0]

    def rung(self, touched: str, among: Sequence[str], team: Team) -> Tried:
        """What touching an end says while others are tagged."""
        mate = self._mates[touched]
        answer = mate if mate in among else ""
        at = f"{touched} rung"
        if team.slips("wrong place", at):
            answer = team.dice(at).choice([*among, ""])
        return Tried(touched=touched, among=list(among), answer=answer, way="ring" if len(among) == 1 else "tags")

    def is_mate(self, one: str, other: str) -> bool:
        """Whether two ends are one cable."""
        return self._mates[one] == other

    def plugged(self, plant: Plant, where: dict[str, str]) -> list[k.Fault]:
        """The plugs that sit wrong where each end is plugged in by what was found out; what does not fit is seen."""
        found: dict[frozenset[str], k.Fault] = {}
        # a cable that lies the other way round is the same cable: its wires run straight
        turned = [{*cable.near, *cable.far} for cable in plant.cables.values()]
        for end, place in where.items():
            true = self._place[end]
            if (
                place != true
                and {place, true} not in turned
                and plant.connectors[place].type.name == plant.connectors[true].type.name
            ):
                used = {one for pair in found for one in pair}
                if not used & {place, true}:
                    found[frozenset((place, true))] = k.ConnectorsExchanged(connectors=(true, place))
        return list(found.values())

    def truth_of(self, end: str) -> str:
        """Where an end belongs, once it was rung out to its place."""
        return self._place[end]


def by_belief(heap: Heap, team: Team, ledger: Ledger, came: Came, number: int) -> dict[str, str]:
    """The survey: note all, ask, take the trip that tells most, until what is worth a trip is known; the rest is rung.

    Returns:
        End to the place where it gets plugged in.
    """
    ledger.stage = "survey"
    ledger.spend(NOTE * (len(heap.finds)) / 2)
    ledger.climbs += len(heap.hall.bays)
    ledger.spend(1.5 * len(heap.hall.bays))
    tried: list[Tried] = []
    here = ""
    for _ in range(MOST_TRIPS):
        answer = Answer(Pile.of(heap.finds, heap.hall, tried), seed=number, steps=SMALL_STEPS)
        trips = next_trips(answer, Costs(), here, 1)
        if all(standing.sure for standing in answer.standings) or not trips or not trips[0].touches:
            break
        trip = trips[0]
        ledger.spend(trip.minutes)
        ledger.climbs += trip.climbs
        for _, touched, tagged in trip.touches:
            ledger.readings += 1
            tried.append(heap.rung(touched, tagged, team))
        here = trip.last_bay
    answer = Answer(Pile.of(heap.finds, heap.hall, tried), seed=number, steps=SMALL_STEPS)
    for standing in answer.standings:
        if standing.fits:
            best = standing.fits[0]
            came.mates.append((best.chance, heap.is_mate(standing.name, best.name) if best.name else False))
    where: dict[str, str] = {}
    rung_out: list[str] = []
    for mate, place in zip(answer.standings, answer.place_standings, strict=True):
        if mate.sure and place.sure and place.fits[0].name:
            where[mate.name] = place.fits[0].name
        else:
            rung_out.append(mate.name)
    _ring_out(heap, rung_out, where, team, ledger)
    return where


def by_label(heap: Heap, team: Team, ledger: Ledger) -> dict[str, str]:
    """By hand: read the labels, lay the nearest ones together, ring each pair, go on until all have a mate.

    Then each cable goes where its label and the list say, where they do; else it is rung to its place from what is
    known of the shelves.
    """
    ledger.stage = "survey"
    ledger.spend(NOTE / 2 * len(heap.ends) / 2)
    ledger.climbs += len(heap.hall.bays)
    ledger.spend(1.5 * len(heap.hall.bays))
    costs, bays, left = Costs(), heap.hall.bays, dict(heap.ends)
    order = sorted(left, key=lambda name: (bays.index(left[name].bay), name))
    minutes, climbs, here = 0.0, 0, ""
    done: set[str] = set()
    for one in order:
        if one in done:
            continue
        others = [name for name in order if name != one and name not in done]
        # what differs in number or colour of conductors is not rung against it
        others = [name for name in others if _alike(left[one], left[name])]
        minutes, climbs, here = arrive(minutes, climbs, here, left[one].bay, bays, costs)
        minutes += costs.clip
        for other in sorted(others, key=lambda name: (_differ(left[one].label, left[name].label), order.index(name))):
            minutes, climbs, here = arrive(minutes, climbs, here, left[other].bay, bays, costs)
            minutes += costs.touch
            ledger.readings += 1
            if heap.rung(other, [one], team).answer:
                done |= {one, other}
                break
    ledger.spend(minutes)
    ledger.climbs += climbs
    where: dict[str, str] = {}
    lines = {find.label: find for find in heap.finds if isinstance(find, ListLine)}
    rung_out: list[str] = []
    for name, end in heap.ends.items():
        line = lines.get(end.label)
        place = "" if line is None else line.from_place if line.from_bay == end.bay else line.to_place
        if place and place not in where.values():
            where[name] = place
        else:
            rung_out.append(name)
    _ring_out(heap, rung_out, where, team, ledger)
    return where


def _ring_out(heap: Heap, ends: list[str], where: dict[str, str], team: Team, ledger: Ledger) -> None:
    """Ends whose place nobody knows: what the shelf's wiring and the key of the plug say, looked up one by one."""
    costs = Costs()
    for end in ends:
        ledger.spend(costs.climb + costs.walk + 4 * costs.touch + costs.reread)
        ledger.climbs += 1
        ledger.readings += 4
        place = heap.truth_of(end)
        if not team.slips("wrong place", end):
            where[end] = place
            continue
        free = [one.name for one in heap.finds if isinstance(one, FreePlace) and one.name not in where.values()]
        where[end] = team.dice(end).choice(free or [place])


def _alike(one: LooseEnd, other: LooseEnd) -> bool:
    if one.colours and other.colours and one.colours != other.colours:
        return False
    return one.conductors is None or other.conductors is None or one.conductors == other.conductors


def _differ(one: str, other: str) -> int:
    if not one or not other or len(one) != len(other):
        return 4
    return sum(a != b for a, b in zip(one, other, strict=True))
