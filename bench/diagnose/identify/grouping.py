"""Finding which ends are joined, by touching: pairs or groups, by single probe or with a bar.

With a bar the ends lie in a comb, and the bar is pressed on a run of them; the probe on one end
then tells whether any of the run is joined to it, and halving finds which. Ends that were placed
before may lie under the bar as well: they cannot mislead, since they are joined to each other only.

Whatever way the groups were found, they are then proven to be apart from each other: all ends of each
group on one of two bars, by the bits of the groups' numbers. So joined conductors show here, and wrong groups.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from bench.diagnose.halving import join_up, separate
from bench.diagnose.identify.naming import Prober
from bench.diagnose.script import End, Script

May = Callable[[str, str], bool]
"""Whether two ends may be in one group, going by colour; a guess that only orders the search."""


class Grouper:
    """Finds the groups of one end."""

    def __init__(self, prober: Prober, end: End, bar: bool, may: May | None = None) -> None:
        self._prober, self._end, self._bar = prober, end, bar
        self._may = may

    def ask(self, red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        """Whether two sides are joined."""
        return self._prober.joined(self._end, red, black)

    def _may_join(self, one: str, other: str) -> bool:
        return self._may is None or self._may(one, other)

    def pairs(self, names: Sequence[str]) -> Script[tuple[tuple[str, ...], ...]]:
        """Groups, where most have one or two members: the first partner of each end."""
        left = list(names)
        groups: list[tuple[str, ...]] = []
        while left:
            first, *left = left
            likely = [one for one in left if self._may_join(first, one)]
            partner = yield from self._partner(first, likely)
            if partner is None and len(likely) < len(left):
                partner = yield from self._partner(first, [one for one in left if not self._may_join(first, one)])
            if partner is None:
                groups.append((first,))
            else:
                left.remove(partner)
                groups.append((first, partner))
        return (yield from self.apart(names, groups))

    def groups(self, names: Sequence[str], sizes: Sequence[int]) -> Script[tuple[tuple[str, ...], ...]]:
        """Groups of any size; `sizes` are those that the plan expects."""
        if self._bar:
            left = list(names)
            found: list[tuple[str, ...]] = []
            while left:
                first, *left = left
                mates = yield from self.all_mates(first, left)
                left = [n for n in left if n not in mates]
                found.append((first, *mates))
            return (yield from self.apart(names, found))
        expected = Counter(sizes)
        growing: list[list[str]] = []
        full: list[list[str]] = []
        for name in names:
            group = yield from self._group_of(name, growing)
            group.append(name)
            largest = max(expected, default=0)
            if len(group) == largest:
                # No group of the plan can grow beyond this one: nobody else belongs to it.
                growing = [g for g in growing if g is not group]
                full.append(group)
                expected -= Counter([largest])
        order = {name: k for k, name in enumerate(names)}
        merged = sorted((*growing, *full), key=lambda g: order[g[0]])
        return (yield from self.apart(names, [tuple(g) for g in merged]))

    def _group_of(self, name: str, growing: list[list[str]]) -> Script[list[str]]:
        for group in growing:
            if (yield from self.ask([name], [group[0]])):
                return group
        growing.append([])
        return growing[-1]

    def all_mates(self, name: str, among: Sequence[str], hit: bool = False) -> Script[list[str]]:
        """All of some ends that are joined to one; `hit` says that at least one is."""
        if not among or (not hit and not (yield from self.ask([name], among))):
            return []
        if len(among) == 1:
            return list(among)
        left, right = among[: len(among) // 2], among[len(among) // 2 :]
        found = yield from self.all_mates(name, left)
        return [*found, *(yield from self.all_mates(name, right, hit=not found))]

    def _partner(self, name: str, among: Sequence[str]) -> Script[str | None]:
        """One end that is joined to another, or None."""
        if not self._bar:
            for other in among:
                if (yield from self.ask([name], [other])):
                    return other
            return None
        sure = False
        while len(among) > 1:
            half = among[: len(among) // 2]
            if (yield from self.ask([name], half)):
                among, sure = half, True
            else:
                among = among[len(among) // 2 :]
        if among and (sure or (yield from self.ask([name], among))):
            return among[0]
        return None

    def apart(self, names: Sequence[str], groups: Sequence[tuple[str, ...]]) -> Script[tuple[tuple[str, ...], ...]]:
        """The same groups, merged where they are joined.

        All ends of a group are held against those of the others: a group that a slip of the probe made up shows too,
        since what really belongs together then lies on both sides.
        """
        heads = [group[0] for group in groups]
        home = {group[0]: group for group in groups}

        def ask(red: Sequence[str], black: Sequence[str]) -> Script[bool]:
            return self.ask([n for head in red for n in home[head]], [n for head in black for n in home[head]])

        joined = (yield from separate(heads, ask)) if heads else []
        merged = join_up(heads, joined)
        order = {name: k for k, name in enumerate(names)}
        grown = [tuple(sorted((n for head in m for n in home[head]), key=order.__getitem__)) for m in merged]
        moved = {head for m in merged for head in m}
        kept = [group for group in groups if group[0] not in moved]
        return tuple(sorted((*kept, *grown), key=lambda g: order[g[0]]))
