"""Lifting bonds: the decisive test of an earthing network, with as few lifts as possible.

Lift a bond that is the only designed path between its two sides and read across the gap: open proves
that no second path joins the two sides; anything else is the loop's total less the bond. Four plans:

* `cutting_plan`: prove and break second paths that are known, with the reading to expect after each act;
* `LiftSearch`: find where a loop runs by lifting the bond that best halves what is still possible;
* `certify`: the fewest lifts that prove a star against any one second path;
* `fewest_removals`: what to take out so that no loop is left, sparing what is worth most.

Lifting an earth bond can leave metalwork at a dangerous voltage. A plan here says nothing about what is
energised: that is for the hold points of the sequence, the site's rules and licensed people.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import combinations
from math import inf, isfinite
from typing import Literal

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.model import BondNetwork
from bench.network.cases import Floats
from bench.network.circuit import Edge, Network
from bench.network.joined import Joined

_EXACT = 200_000  # sets of bonds tried before the fewest lifts are chosen greedily instead


class StrayPath(msgspec.Struct, frozen=True):
    """A conductor that the design does not have, between points ``a`` and ``b``."""

    a: str
    b: str
    ohms: float

    def __post_init__(self) -> None:
        if self.a == self.b or not (isfinite(self.ohms) and self.ohms > 0):
            raise DiagnoseError(
                f"second path {self.a} to {self.b} of {self.ohms} ohm; two points and more than 0 ohm are expected"
            )


def resistance(
    network: BondNetwork,
    a: str,
    b: str,
    strays: Iterable[StrayPath] = (),
    lifted: Iterable[str] = (),
    ohms: Floats | None = None,
) -> float:
    """Ohms between two points with second paths there and bonds lifted; infinite when nothing joins them.

    Args:
        network: as it was designed.
        a: one point.
        b: the other.
        strays: second paths that are there.
        lifted: bonds that are off.
        ohms: in place of the design's values of the bonds, shape (bonds,).
    """
    values = network.ohms if ohms is None else ohms
    edges = [Edge(bond.name, bond.a, bond.b, float(of)) for bond, of in zip(network.bonds, values, strict=True)]
    edges += [Edge(("second path", k), stray.a, stray.b, stray.ohms) for k, stray in enumerate(strays)]
    off = {network.bonds[network.bond_place(name)].name: inf for name in lifted}
    for name in (a, b):
        network.place(name)
    return Network(edges, network.index).changed(off).resistance(a, b)


def across_gap(
    network: BondNetwork,
    bond: str,
    strays: Iterable[StrayPath] = (),
    also_lifted: Iterable[str] = (),
    ohms: Floats | None = None,
) -> float:
    """What a meter shows across the gap when ``bond`` is lifted: infinite for open.

    With one second path of r ohm over a tree it is the loop's total less the bond.
    """
    of = network.bonds[network.bond_place(bond)]
    return resistance(network, of.a, of.b, strays, (bond, *also_lifted), ohms)


def deciding_bonds(network: BondNetwork, a: str, b: str) -> tuple[str, ...]:
    """Bonds whose lifting decides whether a second path joins a and b, in order along the way.

    They lie on the designed way from a to b and are the only way there. Empty where the design itself
    has a loop all along, or where it does not join the two.
    """
    way = network.path(network.place(a), network.place(b)) or []
    alone = set(network.bridges)
    return tuple(network.bonds[place].name for place in way if place in alone)


def buildings_own(network: BondNetwork) -> frozenset[str]:
    """Bonds with both ends in the building's earthing: lightning, aerials, pipes. Nobody lifts those for a search."""
    points = network.points
    return frozenset(
        bond.name
        for bond in network.bonds
        if points[network.index[bond.a]].outside and points[network.index[bond.b]].outside
    )


def to_lift(network: BondNetwork, a: str, b: str) -> tuple[str, ...]:
    """Those of `deciding_bonds` that may be lifted: not the building's own."""
    own = buildings_own(network)
    return tuple(bond for bond in deciding_bonds(network, a, b) if bond not in own)


def most_deciding(network: BondNetwork, places: Iterable[tuple[str, str]], but: Iterable[str] = ()) -> str:
    """The bond whose lifting decides the most of these possible second paths; empty where none would.

    Args:
        places: both ends of each.
        but: bonds that were lifted, or will not be.
    """
    counts: dict[str, int] = {}
    for a, b in places:
        for bond in to_lift(network, a, b):
            counts[bond] = counts.get(bond, 0) + 1
    refused = set(but)
    left = [bond for bond in counts if bond not in refused]
    return min(left, key=lambda bond: (-counts[bond], bond), default="")


class CutStep(msgspec.Struct, frozen=True):
    """One act of a cutting plan and the reading to expect after it, in ohm (infinite: open).

    ``lift`` a bond and read across its gap; ``cut`` a second path and read across the gap that is open;
    ``close`` the gap again and read across the bond. Where no bond needs lifting, ``cut`` has ``bond``
    empty and the reading is between the path's own ends.
    """

    act: Literal["lift", "cut", "close"]
    bond: str
    stray: StrayPath | None
    expected: float


class CutPlan(msgspec.Struct, frozen=True):
    """Acts in order, and the bonds lifted: the fewest through which every second path's loop runs."""

    steps: tuple[CutStep, ...]
    lifts: tuple[str, ...]


def cutting_plan(network: BondNetwork, strays: Sequence[StrayPath], ohms: Floats | None = None) -> CutPlan:
    """Prove and break second paths with the fewest lifts, and the reading to expect after each act.

    One lift serves every loop that runs through the bond: after the last of them is cut, its gap must
    read open, which proves that nothing else joins the two sides either. The set of bonds is the
    smallest that every loop runs through, found exactly for the few paths of real life (greedily when
    more than `_EXACT` sets would have to be tried).

    Args:
        strays: the second paths, with their likely ohms.
        ohms: the bonds' ohms as fitted, shape (bonds,); the design's if None.
    """
    values = network.ohms if ohms is None else ohms
    ways = {stray: frozenset(to_lift(network, stray.a, stray.b)) for stray in strays}
    lifts = _hitting([way for way in ways.values() if way])
    steps: list[CutStep] = []
    left = list(dict.fromkeys(strays))
    for bond in lifts:
        through = [stray for stray in left if bond in ways[stray]]
        steps.append(CutStep("lift", bond, None, across_gap(network, bond, left, (), values)))
        for stray in through:
            left.remove(stray)
            now = across_gap(network, bond, left, (), values)
            steps.append(CutStep("cut", bond, stray, now))
        end = network.bonds[network.bond_place(bond)]
        closed = resistance(network, end.a, end.b, left, (), values)
        steps.append(CutStep("close", bond, None, closed))
    for stray in list(left):
        left.remove(stray)
        now = resistance(network, stray.a, stray.b, left, (), values)
        steps.append(CutStep("cut", "", stray, now))
    return CutPlan(tuple(steps), lifts)


def _hitting(ways: Sequence[frozenset[str]]) -> tuple[str, ...]:
    """The fewest names of which every set holds one; of equal sets the first by name."""
    names = sorted(frozenset[str]().union(*ways))
    tried = 0
    for size in range(len(ways) + 1):
        for chosen in combinations(names, size):
            tried += 1
            if all(way.intersection(chosen) for way in ways):
                return chosen
            if tried > _EXACT:
                return _greedy(ways, names)
    raise AssertionError("one name from every set always does")


def _greedy(ways: Sequence[frozenset[str]], names: Sequence[str]) -> tuple[str, ...]:
    left = list(ways)
    chosen = []
    while left:
        best = max(names, key=lambda name: sum(name in way for way in left))
        chosen.append(best)
        left = [way for way in left if best not in way]
    return tuple(chosen)


class Candidate(msgspec.Struct, frozen=True):
    """A place where a second path may run, how likely it is, and the bonds whose lifting would decide."""

    a: str
    b: str
    weight: float
    bonds: frozenset[str]


class LiftSearch(msgspec.Struct, frozen=True):
    """Find where a loop runs, one lift at a time: ask `next`, lift, read, `take`, put the bond back.

    ``none`` is the weight of there being no second path at all; ``taken`` the outcomes so far: bond, and
    whether its gap read open; ``left`` the candidates that they allow.
    """

    network: BondNetwork
    left: tuple[Candidate, ...]
    none: float = 0.0
    taken: tuple[tuple[str, bool], ...] = ()

    @classmethod
    def among(cls, network: BondNetwork, places: Iterable[tuple[str, str, float]], none: float = 0.0) -> LiftSearch:
        """Begin with possible second paths: both ends and a weight each."""
        found = [Candidate(a, b, weight, frozenset(deciding_bonds(network, a, b))) for a, b, weight in places]
        return cls(network, tuple(found), none)

    def next(self, but: Collection[str] = ()) -> str | None:
        """The bond whose lifting best halves the weight that is left; None when none would divide it.

        Args:
            but: bonds that may not be lifted.
        """
        total = self.none + sum(candidate.weight for candidate in self.left)
        through: dict[str, float] = {}
        for candidate in self.left:
            for bond in candidate.bonds:
                through[bond] = through.get(bond, 0.0) + candidate.weight
        divide = [bond for bond in through if bond not in but and 1e-12 < through[bond] / total < 1.0 - 1e-12]
        # Rounded, so that equal halves are equal and the name decides.
        return min(divide, key=lambda b: (round(abs(2.0 * through[b] / total - 1.0), 9), b), default=None)

    def take(self, bond: str, is_open: bool) -> LiftSearch:
        """The search after ``bond`` was lifted and its gap read.

        Raises:
            DiagnoseError: the bond is not the only designed way between its ends, so that its gap tells
                nothing; or the outcome contradicts every candidate.
        """
        if self.network.bond_place(bond) not in self.network.bridges:
            raise DiagnoseError(f"bond {bond!r} is bridged by the design itself: its gap cannot read open")
        left = tuple(c for c in self.left if (bond in c.bonds) != is_open)
        none = self.none if is_open else 0.0
        if not left and none <= 0:
            raise DiagnoseError(
                f"bond {bond!r} {'read open' if is_open else 'did not read open'} when lifted: no second path"
                " still thought possible does that; a lift was misread, or there are two second paths"
            )
        return LiftSearch(self.network, left, none, (*self.taken, (bond, is_open)))


class Certificate(msgspec.Struct, frozen=True):
    """How to prove a star against any one second path.

    Attributes:
        lift: bonds to lift, all at once.
        stay: bonds that may stay.
        parts: names of the points that still hang together then.
        readings: for each reading, the parts (by number) ganged on one side, all others on the other; every one must
            read open. They compare every two parts.
    """

    lift: tuple[str, ...]
    stay: tuple[str, ...]
    parts: tuple[tuple[str, ...], ...]
    readings: tuple[tuple[int, ...], ...]


def certify(network: BondNetwork) -> Certificate:
    """The fewest lifts after which any second path between points not directly bonded must show.

    With some bonds left in place, a second path is missed when both its ends lie in one part; so a part
    may be a single point, two points with the bond between them, or an area in which the design allows
    loops. The bonds that stay are therefore a matching, and the fewest lifts of a tree are its bonds less
    its largest matching. A second conductor beside a bond that stays is not seen: that bond must be
    lifted for it.

    Raises:
        DiagnoseError: the design itself has a loop where a star is wanted.
    """
    node = _areas(network).labels()
    size = [node.count(label) for label in range(len(node))]
    forest = Joined(len(network.points))
    between: dict[int, tuple[int, int]] = {}
    for place, (a, b) in enumerate(zip(network.tails.tolist(), network.heads.tolist(), strict=True)):
        if node[a] == node[b]:
            continue
        if not forest.join(node[a], node[b]):
            raise DiagnoseError(
                f"bond {network.bonds[place].name!r} closes a loop in the design itself; a star is expected"
            )
        between[place] = (node[a], node[b])
    free = {place: ends for place, ends in between.items() if size[ends[0]] == size[ends[1]] == 1}
    stay = _largest_matching(free)
    lift = [place for place in between if place not in stay]
    hanging = _areas(network)
    for place in stay:
        hanging.join(int(network.tails[place]), int(network.heads[place]))
    labels = hanging.labels()
    parts = tuple(
        tuple(point.name for point, mine in zip(network.points, labels, strict=True) if mine == label)
        for label in dict.fromkeys(labels)
    )
    bits = max(len(parts) - 1, 0).bit_length()
    return Certificate(
        tuple(network.bonds[place].name for place in lift),
        tuple(network.bonds[place].name for place in sorted(stay)),
        parts,
        tuple(tuple(n for n in range(len(parts)) if n >> bit & 1) for bit in range(bits)),
    )


def _areas(network: BondNetwork) -> Joined:
    """The points with each area in which the design allows loops made one."""
    joined = Joined(len(network.points))
    first: dict[int, int] = {}
    for place, area in enumerate(network.meshes):
        if area >= 0:
            joined.join(first.setdefault(area, place), place)
    return joined


def _largest_matching(forest: Mapping[int, tuple[int, int]]) -> set[int]:
    """Places of a largest set of edges of a forest no two of which meet: always match a leaf first."""
    around: dict[int, dict[int, int]] = {}
    for place, (a, b) in forest.items():
        around.setdefault(a, {})[b] = place
        around.setdefault(b, {})[a] = place
    leaves = sorted(node for node, near in around.items() if len(near) == 1)
    chosen: set[int] = set()
    while leaves:
        leaf = leaves.pop(0)
        if len(around[leaf]) != 1:
            continue
        ((mate, place),) = around[leaf].items()
        chosen.add(place)
        del around[leaf][mate]
        for other in list(around[mate]):
            del around[mate][other]
            around[other].pop(mate, None)
            if len(around[other]) == 1:
                leaves.append(other)
    return chosen


def fewest_removals(
    network: BondNetwork,
    strays: Sequence[StrayPath] = (),
    worth: Mapping[str, float] | None = None,
) -> tuple[tuple[str, ...], tuple[StrayPath, ...]]:
    """Bonds and second paths to take out so that no unwanted loop is left: as few as can be.

    Their number is conductors - points + parts, counted with each area that may be meshed as one point.
    What stays is a spanning forest of greatest worth (Kruskal), so second paths go before designed bonds
    and bonds of little ``worth`` before others.

    Args:
        worth: of bonds by name, above 0; 1 where not given. Second paths are worth 0.
    """
    value = {} if worth is None else dict(worth)
    for name in value:
        network.bond_place(name)
    area = network.meshes
    joined = _areas(network)
    ordered = sorted(range(len(network.bonds)), key=lambda k: -value.get(network.bonds[k].name, 1.0))
    gone: list[str] = []
    for place in ordered:
        a, b = int(network.tails[place]), int(network.heads[place])
        if area[a] >= 0 and area[a] == area[b]:
            continue
        if not joined.join(a, b):
            gone.append(network.bonds[place].name)
    out = []
    for stray in strays:
        a, b = network.place(stray.a), network.place(stray.b)
        if (area[a] < 0 or area[a] != area[b]) and not joined.join(a, b):
            out.append(stray)
    return tuple(gone), tuple(out)
