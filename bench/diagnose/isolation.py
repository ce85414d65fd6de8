"""All shorts among many nets in the fewest measurements, and proof of insulation in groups.

Two bars: some nets lie on the one, some on the other, and one reading between the bars compares
every net of one side with every net of the other. Give each net a number; the bits of the numbers
say which bar it lies on; after ceil(log2 n) readings every two nets were on different bars once.
Fewer readings cannot do, because the complete graph on n points is not the union of fewer
bipartite graphs.

When a split conducts, one side is halved, then the other, until a pair is left; one net of the
pair is left floating from then on, since its twin stands for it. With B = ceil(log2 n) and s the
number of nets less the number of groups this takes at most B + s (2 B - 1) readings (own
computation; never exceeded in the seeded runs of the tests).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import comb

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.planner import End, Measure, Planner, Script

# Published widths.


def counting_width(nets: int) -> int:
    """Readings with two bars that compare every pair of nets: ceil(log2 n); 0 for one net."""
    _at_least(nets, 1)
    return (nets - 1).bit_length()


def modified_counting_width(nets: int) -> int:
    """Width of the modified counting code, ceil(log2(n + 2)): no word all 0 or all 1.

    Source: Goel and McMahon 1982, from memory, not confirmed.
    """
    _at_least(nets, 1)
    return (nets + 1).bit_length()


def true_complement_width(nets: int) -> int:
    """Width of the true/complement code, 2 ceil(log2 n).

    Source: Wagner 1987, from memory, not confirmed.
    """
    return 2 * counting_width(nets)


def kautz_bound(largest: int, clusters: int) -> int:
    """Tests that are needed and always enough for shorts, opens and wiring errors in clusters.

    `largest` terminals in the largest cluster, `clusters` clusters counting isolated terminals:
    p - 1 + ceil(log2 q). Source: Kautz 1974, IEEE Transactions on Computers C-23(4) 358-363,
    abstract; the rounding up is meant (forced by q = 3).
    """
    _at_least(largest, 1)
    return largest - 1 + counting_width(clusters)


def modified_counting_codes(nets: int) -> tuple[int, ...]:
    """One word for each net, 1 to n, in `modified_counting_width` bits."""
    modified_counting_width(nets)
    return tuple(range(1, nets + 1))


def true_complement_codes(nets: int) -> tuple[int, ...]:
    """One word for each net: its number, and the complement of its number beside it."""
    width = counting_width(nets)
    mask = (1 << width) - 1
    return tuple(k << width | (k ^ mask) for k in range(nets))


def aliases(codes: Sequence[int]) -> int:
    """In how many shorts of two nets, where high wins, both answer like a third sound net."""
    words = set(codes)
    return sum((a | b) in words and (a | b) not in (a, b) for k, a in enumerate(codes) for b in codes[:k])


def shorts_bound(nets: int, surplus: int) -> int:
    """Most readings that `find_shorts` takes: B + s (2 B - 1), s = nets less groups."""
    width = counting_width(nets)
    return width + surplus * (2 * width - 1)


# Finding shorts.


@dataclass(frozen=True)
class Shorts:
    """Groups of nets that are joined (two or more each), and how many readings it took."""

    groups: tuple[tuple[str, ...], ...]
    readings: int


def find_shorts(nets: Sequence[str], end: End = "near") -> Planner[Shorts]:
    """A planner that finds all shorts among nets that should be apart.

    Raises DiagnoseError when a net is named twice or there is none.
    """
    _distinct(nets)
    fixed = tuple(nets)

    def script() -> Script[Shorts]:
        count = 0

        def ask(red: Sequence[str], black: Sequence[str]) -> Script[bool]:
            nonlocal count
            count += 1
            return bool((yield Measure(end, tuple(red), tuple(black), "joined")))

        pairs = yield from separate(fixed, ask)
        return Shorts(join_up(fixed, pairs), count)

    return Planner(script)


def separate(
    nets: Sequence[str], ask: Callable[[Sequence[str], Sequence[str]], Script[bool]]
) -> Script[list[tuple[str, str]]]:
    """Pairs of joined nets that together say which nets are one; part of a script."""
    pairs: list[tuple[str, str]] = []
    floating: set[str] = set()
    for bit in range(counting_width(len(nets))):
        while True:
            low = [n for k, n in enumerate(nets) if not k >> bit & 1 and n not in floating]
            high = [n for k, n in enumerate(nets) if k >> bit & 1 and n not in floating]
            if not low or not high or not (yield from ask(low, high)):
                break
            x = yield from narrow(low, high, ask)
            y = yield from narrow(high, [x], ask)
            pairs.append((x, y))
            floating.add(y)
    return pairs


def narrow(
    side: Sequence[str],
    against: Sequence[str],
    ask: Callable[[Sequence[str], Sequence[str]], Script[bool]],
) -> Script[str]:
    """One net of a side that is known to be joined to the other side, by halving."""
    while len(side) > 1:
        half = side[: len(side) // 2]
        side = half if (yield from ask(half, against)) else side[len(side) // 2 :]
    return side[0]


def join_up(names: Sequence[str], pairs: Sequence[tuple[str, str]]) -> tuple[tuple[str, ...], ...]:
    """The groups of two or more that these pairs make, each in the order of the names."""
    root = {name: name for name in names}

    def find(name: str) -> str:
        while root[name] != name:
            root[name] = root[root[name]]
            name = root[name]
        return name

    for a, b in pairs:
        root[find(b)] = find(a)
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(find(name), []).append(name)
    return tuple(tuple(g) for g in groups.values() if len(g) > 1)


# Insulation.


@dataclass(frozen=True)
class Insulation:
    """Pairs below the limit with what was read; every other pair is proven to be at or above it."""

    limit: float
    bad: tuple[tuple[str, str, float], ...]
    readings: int


def group_proves(reading: float, limit: float) -> bool:
    """Whether a reading between two groups proves every pair across them.

    All pairs across are in parallel, so a group that reads at least the limit proves each of them.
    A group that reads less proves nothing about any one pair: many sound pairs may do it together.
    """
    return reading >= limit


def prove_insulation(nets: Sequence[str], limit: float, end: End = "near") -> Planner[Insulation]:
    """A planner that proves every pair of nets to be at least `limit` ohms apart, or names it.

    With all well it takes ceil(log2 n) readings. A failing group is halved on both sides until it
    passes or a single pair is left. A reading that cannot be taken (None) counts as failing.

    Raises DiagnoseError when a net is named twice, there is none, or the limit is not above 0.
    """
    _distinct(nets)
    if not limit > 0:
        raise DiagnoseError(f"limit of {limit} ohm; expected more than 0")
    fixed = tuple(nets)

    def script() -> Script[Insulation]:
        bad: dict[tuple[str, str], float] = {}
        count = 0

        def prove(red: Sequence[str], black: Sequence[str]) -> Script[None]:
            """Prove all pairs across but those known bad."""
            nonlocal count
            if not red or not black:
                return
            for a in red:
                known = {b for b in black if (a, b) in bad or (b, a) in bad}
                if known:
                    yield from prove([r for r in red if r != a], black)
                    yield from prove([a], [b for b in black if b not in known])
                    return
            count += 1
            value = yield Measure(end, tuple(red), tuple(black), "ohms")
            reading = 0.0 if value is None else float(value)
            if group_proves(reading, limit):
                return
            if len(red) == len(black) == 1:
                bad[red[0], black[0]] = reading
                return
            # Halve the larger side; both halves have to be looked at.
            if len(red) >= len(black):
                yield from prove(red[: len(red) // 2], black)
                yield from prove(red[len(red) // 2 :], black)
            else:
                yield from prove(red, black[: len(black) // 2])
                yield from prove(red, black[len(black) // 2 :])

        for bit in range(counting_width(len(fixed))):
            yield from prove(
                [n for k, n in enumerate(fixed) if not k >> bit & 1],
                [n for k, n in enumerate(fixed) if k >> bit & 1],
            )
        return Insulation(limit, tuple((a, b, r) for (a, b), r in bad.items()), count)

    return Planner(script)


# By hand: clips and dwells.


@dataclass(frozen=True)
class HandPlan:
    """A series of splits of n nets over two bars, with what it costs.

    words: for each net, on which bar (0 or 1) it lies in each split. Every two nets differ in some
    split. clip_moves counts the first clipping and every change of bar.
    """

    words: tuple[tuple[int, ...], ...]
    splits: int
    clip_moves: int
    seconds: float

    @property
    def minutes(self) -> float:
        """The whole time in minutes."""
        return self.seconds / 60


def hand_plan(
    nets: int, dwell: float = 60.0, move: float = 5.0, lead: float = 0.0, splits: int | None = None
) -> HandPlan:
    """The series of splits that costs least in clip moves and dwells together.

    dwell: seconds for one reading, lead: seconds more for each reading (discharge, writing down),
    move: seconds to move one clip. `splits` fixes how many splits there are. Of all series in which
    every net lies on a bar all the time: for so many splits the words with the fewest changes of
    bar are taken, and of all numbers of splits the cheapest. The two ends of the scale are the bits
    of the numbers (fewest dwells, n + (B - 1) n / 2 moves) and one clip at a time (n / 2 dwells,
    n + n - 2 moves).

    Raises DiagnoseError for fewer than two nets, a negative cost, or too few splits.
    """
    _at_least(nets, 2)
    if min(dwell, move, lead) < 0:
        raise DiagnoseError(f"costs of {dwell}, {move}, {lead} s; expected none below 0")
    least = counting_width(nets)
    if splits is not None and splits < least:
        raise DiagnoseError(f"{splits} splits cannot part {nets} nets; expected {least} or more")
    choices = range(least, max(least, -(-nets // 2)) + 1) if splits is None else [splits]
    best = min(
        ((_changes(nets, length), length) for length in choices),
        key=lambda c: (c[1] * (dwell + lead) + (nets + c[0]) * move, c[1]),
    )
    changes, length = best
    moves = nets + changes
    return HandPlan(_words(nets, length), length, moves, length * (dwell + lead) + moves * move)


def _changes(nets: int, length: int) -> int:
    """Fewest changes of bar in all, for n different words of a length."""
    total, left = 0, nets
    for changes in range(length):
        words = min(left, 2 * comb(length - 1, changes))
        total += words * changes
        left -= words
        if not left:
            break
    return total


def _words(nets: int, length: int) -> tuple[tuple[int, ...], ...]:
    found: list[tuple[int, ...]] = []

    def extend(word: list[int], changes: int) -> None:
        if len(found) == nets:
            return
        room = length - len(word)
        if changes > room:
            return
        if not room:
            found.append(tuple(word))
            return
        extend([*word, word[-1]], changes)
        if changes:
            extend([*word, 1 - word[-1]], changes - 1)

    for changes in range(length):
        for first in (0, 1):
            extend([first], changes)
    return tuple(found)


# Bad ones against the frame.


@dataclass(frozen=True)
class Bad:
    """Nets that are joined to the reference, and how many readings it took.

    sure: whether all others were proven good; without that the result rests on the number of bad
    ones that was taken as known.
    """

    nets: tuple[str, ...]
    readings: int
    sure: bool


def bad_bound(nets: int, most: int, exactly: bool = False) -> tuple[int, int]:
    """Fewest readings any way can do with for d bad of n, and the most that splitting takes.

    The first is ceil(log2 C(n, d)). When exactly d are bad, splitting takes at most that plus d - 1
    (Hwang 1972, from memory, not confirmed); when fewer may be bad, one more.
    """
    least = (comb(nets, most) - 1).bit_length()
    return least, least + most - (1 if exactly and most else 0)


def find_bad(
    nets: Sequence[str],
    reference: str,
    most: int,
    sure: bool = True,
    exactly: bool = False,
    end: End = "near",
) -> Planner[Bad]:
    """A planner for nets that are joined to a reference, at most so many of them being expected.

    Generalized binary splitting: groups of a size that suits the expected number, and halving where
    a group is bad. With `exactly` just so many are taken as bad, and nothing is asked whose answer
    follows from that. With `sure` the nets that were taken as good because enough bad ones were found
    are tested together at the end, and on if they fail: the saving rests on the number being a true
    upper bound, which in a rebuilt plant nobody knows.

    Raises DiagnoseError when a net is named twice, there is none, or the number is negative.
    """
    _distinct(nets)
    if most < 0:
        raise DiagnoseError(f"at most {most} bad nets; expected 0 or more")
    fixed = tuple(nets)

    def script() -> Script[Bad]:
        search = _Splitting(fixed, reference, end, exactly)
        yield from search.run(most)
        while search.left and sure and (yield from search.ask(search.left)):
            search.exactly = False
            yield from search.run(1)
        order = {net: k for k, net in enumerate(fixed)}
        bad = tuple(sorted(search.bad, key=order.__getitem__))
        return Bad(bad, search.count, sure or not search.left)

    return Planner(script)


class _Splitting:
    """Generalized binary splitting over the nets that are left."""

    def __init__(self, nets: Sequence[str], reference: str, end: End, exactly: bool) -> None:
        self.left = list(nets)
        self.bad: list[str] = []
        self.count = 0
        self.exactly = exactly
        self._reference, self._end = reference, end

    def ask(self, group: Sequence[str]) -> Script[bool]:
        """Whether a group holds a bad net."""
        self.count += 1
        return bool((yield Measure(self._end, tuple(group), (self._reference,), "joined")))

    def _holds(self, group: Sequence[str], expected: int) -> Script[bool]:
        # The rest is too small for all the bad ones, so some of them are in the group.
        if self.exactly and len(self.left) - len(group) < expected:
            return True
        return (yield from self.ask(group))

    def run(self, expected: int) -> Script[None]:
        """Find so many bad nets, or fewer if there are no more; what is left was not tested."""
        while self.left and expected > 0:
            if len(self.left) <= 2 * expected - 2:
                size = 1
            else:
                size = 1 << ((len(self.left) - expected + 1) // expected).bit_length() - 1
            group = self.left[:size]
            if not (yield from self._holds(group, expected)):
                self.left = self.left[size:]
                continue
            while len(group) > 1:
                half = group[: len(group) // 2]
                if (yield from self.ask(half)):
                    group = half
                else:
                    self.left = [n for n in self.left if n not in half]
                    group = group[len(group) // 2 :]
            self.bad.append(group[0])
            self.left.remove(group[0])
            expected -= 1


def _at_least(number: int, least: int) -> None:
    if number < least:
        raise DiagnoseError(f"{number} nets; expected {least} or more")


def _distinct(nets: Sequence[str]) -> None:
    _at_least(len(nets), 1)
    if len(set(nets)) != len(nets):
        twice = sorted({n for n in nets if list(nets).count(n) > 1})
        raise DiagnoseError(f"nets named more than once: {', '.join(twice)}")
