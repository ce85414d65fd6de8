"""Groupings that tell conductors apart without tags: theory, and how to clip.

Join the conductors of a cable in groups at the near end and find the groups at the far end; then
join in other groups at the far end and find those at the near end. A conductor is known when the
group it had first and the group it had then single it out.

Going by group sizes alone, with two groupings in which no two conductors have the same two sizes,
is the partition problem of Knowlton and Graham: it can be done for every number of conductors
except 2, 5 and 9 (R. L. Graham, On partitions of a finite set, 1966; quoted with D. E. Knuth, The
Knowlton-Graham partition problem, arXiv math/9502237). It exists exactly when there is a matrix of
zeros and ones with n ones whose row sums r_j and column sums c_j are multiples of j (the same note).
With a conductor known at both ends in one group of each grouping, that group is known whatever its
size, and any number can be done (own computation, up to 500).

Remembering who was with whom, the rule is wider: draw a point for every first group and every second
group, and a line for every conductor between its two. The two groupings tell all conductors apart
exactly when the drawing has no symmetry that keeps the sides and moves a line. So pairs alone do:
the chain, pair after pair, each end of one clipped to the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.script import Card, Clear, Clip, End

Groups = Sequence[Sequence[str]]

KNOWN = 0
"""Row and column of the group that holds the conductor known at both ends."""


class SizePlan(msgspec.Struct, frozen=True):
    """How many conductors have first group size j and second group size k, for every j and k.

    Attributes:
        cells: the pairs (j, k), one conductor each; size KNOWN is the group with the known conductor.
        rows: how many conductors are in first groups of each size.
        columns: how many are in second groups of each size.
    """

    cells: tuple[tuple[int, int], ...]
    rows: dict[int, int]
    columns: dict[int, int]


def size_plan(conductors: int, known: bool = False) -> SizePlan:
    """Two groupings in which no two conductors have the same two group sizes.

    Where it can be, no conductor is alone both times, so that each is proven to conduct.

    Args:
        conductors: how many.
        known: whether there is one more, known at both ends, that may join a group of each grouping.

    Raises:
        DiagnoseError: no such groupings exist (2, 5 and 9 without a known conductor), or none was found.
    """
    if conductors < 1:
        raise DiagnoseError(f"{conductors} conductors; expected 1 or more")
    second_best: SizePlan | None = None
    for rows in _row_sums(conductors, known):
        sums = dict(sorted(rows.items()))
        if feasible(list(sums.values()), list(sums.values())):
            plan = SizePlan(_cells(sums), sums, sums)
            if (1, 1) not in plan.cells:
                return plan
            second_best = second_best or plan
    if second_best:
        return second_best
    if not known and conductors <= 12:
        for first in _partitions(conductors, conductors):
            for second in _partitions(conductors, conductors):
                if feasible(list(first.values()), list(second.values())):
                    return SizePlan(_cells(first, second), first, second)
        # two ends can always be exchanged: no clips tell them apart, the chain's no more than others
        other = "with a tag" if conductors < 3 else "by the chain"
        raise DiagnoseError(
            f"{conductors} conductors cannot be told apart by two group sizes; they can with one "
            f"conductor known at both ends, or {other}"
        )
    raise DiagnoseError(f"no two groupings by size were found for {conductors} conductors")


def _row_sums(total: int, known: bool) -> Iterator[dict[int, int]]:
    """Row sums to try: one group of each size, and the rest as a few more groups of some sizes."""
    widest = int(((8 * total + 1) ** 0.5 - 1) / 2)
    for width in range(widest, max(0, widest - 3), -1):
        base = {j: j for j in range(1, width + 1)}
        rest = total - width * (width + 1) // 2
        if known:
            yield {**base, KNOWN: rest} if rest else base
            continue
        if not rest:
            yield base
            continue
        for j in range(width, 0, -1):
            for more in range(j, rest + 1, j):
                left = rest - more
                if not left:
                    yield {**base, j: base[j] + more}
                    continue
                for i in range(j - 1, 0, -1):
                    if left % i == 0:
                        yield {**base, j: base[j] + more, i: base[i] + left}


def _partitions(total: int, largest: int) -> Iterator[dict[int, int]]:
    """All ways to have groups with a total of members: size to members in groups of that size."""
    if total == 0:
        yield {}
        return
    for size in range(min(total, largest), 0, -1):
        for count in range(1, total // size + 1):
            for rest in _partitions(total - size * count, size - 1):
                yield {size: size * count, **rest}


def feasible(rows: Sequence[int], columns: Sequence[int]) -> bool:
    """Whether a matrix of zeros and ones has these row and column sums (Gale and Ryser)."""
    if sum(rows) != sum(columns):
        return False
    ordered = sorted(rows, reverse=True)
    total = 0
    for count, row in enumerate(ordered, 1):
        total += row
        if total > sum(min(column, count) for column in columns):
            return False
    return True


def _cells(rows: dict[int, int], columns: dict[int, int] | None = None) -> tuple[tuple[int, int], ...]:
    """The ones of such a matrix: fullest rows first, each into the columns with most room."""
    room = dict(columns or rows)
    cells = []
    for row in sorted(rows, key=lambda j: -rows[j]):
        for column in sorted(room, key=lambda k: (-room[k], k))[: rows[row]]:
            cells.append((row, column))
            room[column] -= 1
    assert not any(room.values())
    return tuple(sorted(_proven(set(cells))))


def _proven(cells: set[tuple[int, int]]) -> set[tuple[int, int]]:
    """The same sums, if it can be, without a conductor that is alone both times and never proven."""
    if (1, 1) not in cells:
        return cells
    for row, column in sorted(cells):
        if 1 not in (row, column) and (1, column) not in cells and (row, 1) not in cells:
            return cells - {(1, 1), (row, column)} | {(1, column), (row, 1)}
    return cells


def in_groups(members: dict[int, list[str]]) -> tuple[tuple[str, ...], ...]:
    """Members by group size, cut into groups of that size; those of size KNOWN make one group."""
    groups: list[tuple[str, ...]] = []
    for size, names in members.items():
        step = size or max(1, len(names))
        groups += [tuple(names[k : k + step]) for k in range(0, len(names), step)]
    return tuple(groups)


def chain_pairs(names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """First groups of the chain: pairs in order; one single for an odd number, two for an even."""
    paired = (len(names) - 1) // 2 * 2
    return (
        *(tuple(names[k : k + 2]) for k in range(0, paired, 2)),
        *((name,) for name in names[paired:]),
    )


def chain_links(pairs: Sequence[tuple[str, ...]], singles: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Second groups of the chain: the end of each pair with the start of the next.

    The singles are hung on, one to each link from the first on, so that they are proven too and
    give the chain its direction; those for which there is no link stay alone.
    """
    links: list[tuple[str, ...]] = []
    for number in range(len(pairs) + 1):
        link = [*pairs[number - 1][1:], *pairs[number][:1]] if 0 < number < len(pairs) else []
        if number == 0 and pairs:
            link = [pairs[0][0]]
        elif number == len(pairs) and pairs:
            link = [pairs[-1][1]]
        if number < max(1, len(pairs)) and number < len(singles):
            link.append(singles[number])
        if link:
            links.append(tuple(link))
    hung = {name for link in links for name in link}
    return (*links, *((name,) for name in singles if name not in hung))


def identifies(first: Groups, second: Groups) -> bool:
    """Whether two groupings tell all members apart, by who was with whom.

    Colour refinement on the drawing of groups as points and members as lines, and, where that
    leaves points alike, a search for a symmetry that exchanges two of them.

    Raises:
        DiagnoseError: the groupings do not have the same members, each once.
    """
    home: list[dict[str, int]] = []
    for grouping in (first, second):
        where = {name: k for k, group in enumerate(grouping) for name in group}
        if len(where) != sum(map(len, grouping)):
            raise DiagnoseError("a member is in two groups of one grouping; expected one")
        home.append(where)
    if home[0].keys() != home[1].keys():
        raise DiagnoseError("the two groupings do not have the same members")
    lines = [(home[0][name], home[1][name]) for name in home[0]]
    if len(set(lines)) != len(lines):
        return False
    drawing: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for a, b in lines:
        drawing.setdefault((0, a), []).append((1, b))
        drawing.setdefault((1, b), []).append((0, a))
    colours = _refine(drawing, {point: point[0] for point in drawing})
    return not _has_symmetry(drawing, colours)


Drawing = dict[tuple[int, int], list[tuple[int, int]]]
Colouring = dict[tuple[int, int], int]


def _refine(drawing: Drawing, colours: Colouring) -> Colouring:
    """Give points different colours as long as their neighbours' colours differ."""
    count = len(set(colours.values()))
    while True:
        marks = {point: (colours[point], tuple(sorted(colours[n] for n in drawing[point]))) for point in drawing}
        number = {mark: k for k, mark in enumerate(sorted(set(marks.values())))}
        colours = {point: number[mark] for point, mark in marks.items()}
        if len(number) == count:
            return colours
        count = len(number)


def _has_symmetry(drawing: Drawing, colours: Colouring) -> bool:
    """Whether some symmetry moves a point, given a refined colouring."""
    cells: dict[int, list[tuple[int, int]]] = {}
    for point, colour in colours.items():
        cells.setdefault(colour, []).append(point)
    alike = [cell for cell in cells.values() if len(cell) > 1]
    if not alike:
        return False
    cell = min(alike, key=len)
    fixed = cell[0]
    if any(_alike(drawing, colours, colours, fixed, other) for other in cell[1:]):
        return True
    # Nothing moves this point, so it may be marked and the rest looked at.
    return _has_symmetry(drawing, _refine(drawing, {**colours, fixed: len(drawing)}))


def _alike(
    drawing: Drawing,
    left: Colouring,
    right: Colouring,
    a: tuple[int, int],
    b: tuple[int, int],
) -> bool:
    """Whether a symmetry takes one colouring to the other and one point to another."""
    left = _refine_both(drawing, {**left, a: len(drawing)})
    right = _refine_both(drawing, {**right, b: len(drawing)})
    if sorted(left.values()) != sorted(right.values()):
        return False
    cells: dict[int, list[tuple[int, int]]] = {}
    for point, colour in left.items():
        cells.setdefault(colour, []).append(point)
    loose = [cell for cell in cells.values() if len(cell) > 1]
    if not loose:
        image = {colour: point for point, colour in right.items()}
        return all({image[left[n]] for n in drawing[point]} == set(drawing[image[left[point]]]) for point in drawing)
    first = loose[0][0]
    return any(_alike(drawing, left, right, first, other) for other, colour in right.items() if colour == left[first])


def _refine_both(drawing: Drawing, colours: Colouring) -> Colouring:
    """Refinement whose colours mean the same in every colouring: numbered by content."""
    marks: dict[tuple[int, int], object] = dict(colours)
    count = len(set(marks.values()))
    while True:
        marks = {
            point: hash((marks[point], tuple(sorted(hash(marks[n]) for n in drawing[point])))) for point in drawing
        }
        fresh = len(set(marks.values()))
        if fresh == count:
            return {point: hash(mark) for point, mark in marks.items()}
        count = fresh


def clip_card(end: End, groups: Sequence[Sequence[str]]) -> Card:
    """A card that frees an end and joins groups there."""
    return Card(end, (Clear(), *(Clip(tuple(g)) for g in groups if len(g) > 1)))


def told_sizes(sizes: Sequence[int]) -> str:
    """Sizes of groups in words, such as "3 of 2, 1 of 1"."""
    counts = {size: sizes.count(size) for size in sorted(set(sizes), reverse=True)}
    return ", ".join(f"{count} of {size}" for size, count in counts.items()) or "none"
