"""Two trips without tags by group sizes alone, for bare probes and no memory of who was with whom.

Groups by size at both ends (see `bench.diagnose.identify.clip_plans`). Where the sizes found differ from the
plan, on either trip, nothing is named. Joined ends could make up for open ones and imitate the plan, so the
ends are proven apart at both sides before anything is clipped; open ones alone make groups smaller, and show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from math import log2

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width
from bench.diagnose.identify.clip_plans import KNOWN, SizePlan, clip_card, in_groups, size_plan, told_sizes
from bench.diagnose.identify.grouping import Grouper
from bench.diagnose.identify.naming import Effort, Identification, Prober, Shorted, check_ends
from bench.diagnose.identify.rehearsal import MOST, readings_of
from bench.diagnose.script import Card, Clear, Script


class SizesPlan(msgspec.Struct, frozen=True, dict=True):
    """Groups by size at both ends. known: a conductor known at both ends, if there is one."""

    conductors: tuple[str, ...]
    flags: tuple[str, ...]
    sizes: SizePlan
    known: str | None
    bar: bool

    def first_groups(self) -> tuple[tuple[str, ...], ...]:
        """The groups of the near end; the known conductor is in the last if it is used."""
        rows = {j: list[str]() for j in sorted(self.sizes.rows, reverse=True)}
        for conductor, (row, _) in zip(self.conductors, self.sizes.cells, strict=True):
            rows[row].append(conductor)
        return _with_known(in_groups(rows), KNOWN in rows, self.known)

    def cards(self) -> tuple[Card, Card]:
        """What to clip at the near end first, and at the far end if all is well.

        At the far end an end in a group of j is called j.1, j.2, ... in any order.
        """
        count: dict[int, int] = {}
        columns: dict[int, list[str]] = {k: [] for k in sorted(self.sizes.columns, reverse=True)}
        for row, column in self.sizes.cells:
            count[row] = count.get(row, 0) + 1
            columns[column].append(f"{row or self.known}.{count[row]}")
        far = _with_known(in_groups(columns), KNOWN in columns, self.known)
        return clip_card("near", self.first_groups()), clip_card("far", far)

    @cached_property
    def effort(self) -> Effort:
        """Readings to expect when all is well: those of a rehearsal, or an estimate.

        For the estimate half the groups are tried each time, with a probe.
        """
        size = len(self.conductors)
        if size <= MOST:
            return Effort.of(size, readings_of(self.script, self.conductors, self.flags))
        groups = len(self.first_groups())
        each = log2(size) if self.bar else groups / 2
        return Effort.of(size, 2 * size * each + 2 * counting_width(groups) + 2 * counting_width(size))

    def script(self) -> Script[Identification]:
        """The plan carried out."""
        return _by_sizes(self)


def plan_sizes(
    conductors: Sequence[str],
    flags: Sequence[str],
    known: str | None = None,
    bar: bool = False,
) -> SizesPlan:
    """Plan two trips by group sizes alone.

    Args:
        conductors: their names.
        flags: the loose ends.
        known: the name, at both ends, of a conductor that is known at both, such as a shield, apart from the others.
        bar: whether a shorting bar is at hand.

    Raises:
        DiagnoseError: the ends do not match, or there are 2, 5 or 9 conductors without a known one.
    """
    check_ends(conductors, flags, 1)
    if known is not None and (known in conductors or known in flags):
        raise DiagnoseError(f"{known} is known at both ends; expected it apart from the others")
    sizes = size_plan(len(conductors), known is not None)
    return SizesPlan(tuple(conductors), tuple(flags), sizes, known, bar)


def _with_known(groups: Sequence[tuple[str, ...]], used: bool, known: str | None) -> tuple[tuple[str, ...], ...]:
    if not used or known is None:
        return tuple(groups)
    # The group of size KNOWN is the last, since sizes are sorted downwards.
    return (*groups[:-1], (*groups[-1], known)) if groups else ((known,),)


def _by_sizes(plan: SizesPlan) -> Script[Identification]:
    prober = Prober()
    yield from prober.set_up(Card("near", (Clear(),)))
    yield from prober.set_up(Card("far", (Clear(),)))
    near_ends = [*plan.conductors, *([plan.known] if plan.known else [])]
    far_ends = [*plan.flags, *([plan.known] if plan.known else [])]
    # Nothing is clipped yet: what is joined at either end is a fault. Only joins could make up for what is open
    # and imitate the plan.
    there = yield from Grouper(prober, "far", plan.bar).apart(far_ends, [(f,) for f in far_ends])
    here = yield from Grouper(prober, "near", plan.bar).apart(near_ends, [(c,) for c in near_ends])
    faults = [Shorted((), g) for g in here if len(g) > 1] or [Shorted(g, ()) for g in there if len(g) > 1]
    if faults:
        return Identification(
            names={},
            shorted=tuple(faults),
            contradictions=("conductors are joined before anything was clipped: part them first",),
            touches=prober.touches,
            trips=0,
        )
    first = plan.first_groups()
    yield from prober.set_up(clip_card("near", first))
    prober.trips += 1
    sizes = [len(g) for g in first]
    found = yield from Grouper(prober, "far", plan.bar).groups(far_ends, sizes)
    row = _read_sizes(found, plan.known)
    rows = _members(row, plan.flags)
    if {j: len(m) for j, m in rows.items()} != plan.sizes.rows:
        return _mismatch(prober, "far", sizes, [len(g) for g in found])
    columns: dict[int, list[str]] = {k: [] for k in sorted(plan.sizes.columns, reverse=True)}
    name_of: dict[tuple[int, int], str] = {}
    for cell in plan.sizes.cells:
        flag = rows[cell[0]].pop(0)
        columns[cell[1]].append(flag)
        name_of[cell] = flag
    second = _with_known(in_groups(columns), KNOWN in columns, plan.known)
    yield from prober.set_up(clip_card("far", second))
    yield from prober.set_up(Card("near", (Clear(),)))
    prober.trips += 1
    seen = yield from Grouper(prober, "near", plan.bar).groups(near_ends, [len(g) for g in second])
    column = _read_sizes(seen, plan.known)
    # a known conductor that no group takes in lies alone
    if sorted(map(len, seen)) != sorted([*map(len, second), *[1] * (len(near_ends) - sum(map(len, second)))]):
        return _mismatch(prober, "near", [len(g) for g in second], [len(g) for g in seen])
    planned = _read_sizes(first, plan.known)
    names: dict[str, str] = {}
    for conductor in plan.conductors:
        cell = planned[conductor], column[conductor]
        if cell not in name_of or name_of[cell] in names:
            return _mismatch(prober, "near", [len(g) for g in second], [len(g) for g in seen])
        names[name_of[cell]] = conductor
    # A conductor that was alone both times was seen by nobody: it is what was left, if it gets through at all.
    alone = name_of.get((1, 1))
    proven = next((flag for flag in names if flag != alone), None)
    if alone is None or proven is None:
        left = {alone: names.pop(alone)} if alone is not None else {}
        return Identification(names=names, by_elimination=left, touches=prober.touches, trips=prober.trips)
    yield from prober.set_up(clip_card("far", [(proven, alone)]))
    yield from prober.set_up(Card("near", (Clear(),)))
    prober.trips += 1
    if (yield from prober.joined("near", [names[proven]], [names[alone]])):
        return Identification(names=names, touches=prober.touches, trips=prober.trips)
    lost = names.pop(alone)
    return Identification(
        names=names,
        by_elimination={alone: lost},
        open_flags=(alone,),
        open_conductors=(lost,),
        touches=prober.touches,
        trips=prober.trips,
    )


def _read_sizes(groups: Sequence[Sequence[str]], known: str | None) -> dict[str, int]:
    """The size of everyone's group, KNOWN for the group with the known conductor."""
    return {
        name: KNOWN if known is not None and known in group and len(group) > 1 else len(group)
        for group in groups
        for name in group
        if name != known
    }


def _members(sizes: Mapping[str, int], names: Sequence[str]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for name in names:
        found.setdefault(sizes[name], []).append(name)
    return found


def _mismatch(prober: Prober, end: str, expected: Sequence[int], found: Sequence[int]) -> Identification:
    return Identification(
        names={},
        contradictions=(
            f"groups at the {end} end: expected {told_sizes(sorted(expected))}, found "
            f"{told_sizes(sorted(found))}; nothing can be named by sizes",
        ),
        touches=prober.touches,
        trips=prober.trips,
    )
