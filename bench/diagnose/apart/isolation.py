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

from collections.abc import Sequence
from math import comb

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width, join_up, separate
from bench.diagnose.script import End, Probe, Script


class Shorts(msgspec.Struct, frozen=True):
    """Groups of nets that are joined (two or more each), and how many readings it took."""

    groups: tuple[tuple[str, ...], ...]
    readings: int


def find_shorts(nets: Sequence[str], end: End = "near") -> Script[Shorts]:
    """A script that finds all shorts among nets that should be apart.

    Args:
        nets: their names.
        end: of the cable, where they are probed.

    Raises:
        DiagnoseError: a net is named twice, or there is none.
    """
    _check_nets(nets, 1)
    return _find_shorts(tuple(nets), end)


def _find_shorts(nets: tuple[str, ...], end: End) -> Script[Shorts]:
    count = 0

    def ask(red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        nonlocal count
        count += 1
        return bool((yield Probe(end, tuple(red), tuple(black), "joined")))

    pairs = yield from separate(nets, ask)
    return Shorts(join_up(nets, pairs), count)


class Insulation(msgspec.Struct, frozen=True):
    """Pairs below the limit with what was read; every other pair is proven to be at or above it."""

    limit: float
    bad: tuple[tuple[str, str, float], ...]
    readings: int


def prove_insulation(nets: Sequence[str], limit: float, end: End = "near") -> Script[Insulation]:
    """A script that proves every pair of nets to be far enough apart, or names it.

    With all well it takes ceil(log2 n) readings. A failing group is halved on both sides until it passes or a single
    pair is left. A reading that cannot be taken counts as failing.

    Args:
        nets: their names.
        limit: ohms that every pair must have at least.
        end: of the cable, where they are probed.

    Raises:
        DiagnoseError: a net is named twice, there is none, or the limit is not above 0.
    """
    _check_nets(nets, 1)
    if not limit > 0:
        raise DiagnoseError(f"limit of {limit} ohm; expected more than 0")
    return _Insulated(tuple(nets), limit, end).run()


class _Insulated:
    """The script of an insulation proof."""

    def __init__(self, nets: tuple[str, ...], limit: float, end: End) -> None:
        self._nets, self._limit, self._end = nets, limit, end
        self._bad: dict[tuple[str, str], float] = {}
        self._known: dict[str, set[str]] = {}
        self._count = 0

    def run(self) -> Script[Insulation]:
        """Carry it out."""
        for bit in range(counting_width(len(self._nets))):
            yield from self._prove(
                [net for number, net in enumerate(self._nets) if not number >> bit & 1],
                [net for number, net in enumerate(self._nets) if number >> bit & 1],
            )
        return Insulation(self._limit, tuple((a, b, ohms) for (a, b), ohms in self._bad.items()), self._count)

    def _prove(self, red: Sequence[str], black: Sequence[str]) -> Script[None]:
        """Prove all pairs across but those that are known bad."""
        if not red or not black:
            return
        for net in red if self._known else ():
            known = self._known[net].intersection(black) if net in self._known else None
            if known:
                yield from self._prove([other for other in red if other != net], black)
                yield from self._prove([net], [other for other in black if other not in known])
                return
        self._count += 1
        value = yield Probe(self._end, tuple(red), tuple(black), "ohms")
        ohms = 0.0 if value is None else float(value)
        # all pairs across are in parallel, so a group at the limit proves each; one below it proves nothing of any pair
        if ohms >= self._limit:
            return
        if len(red) == len(black) == 1:
            self._bad[red[0], black[0]] = ohms
            self._known.setdefault(red[0], set()).add(black[0])
            self._known.setdefault(black[0], set()).add(red[0])
            return
        # the larger side is halved; both halves have to be looked at
        if len(red) >= len(black):
            yield from self._prove(red[: len(red) // 2], black)
            yield from self._prove(red[len(red) // 2 :], black)
        else:
            yield from self._prove(red, black[: len(black) // 2])
            yield from self._prove(red, black[len(black) // 2 :])


class HandPlan(msgspec.Struct, frozen=True):
    """A series of splits of some nets over two bars, with what it costs.

    Attributes:
        words: for each net, on which bar (0 or 1) it lies in each split. Every two nets differ in some split.
        splits: how many.
        clip_moves: the first clipping and every change of bar.
        seconds: for all of it.
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

    Of all series in which every net lies on a bar all the time: for each number of splits the words with the fewest
    changes of bar are taken, and of all numbers of splits the cheapest. The two ends of the scale are the bits of the
    numbers (fewest dwells, n + (B - 1) n / 2 moves) and one clip at a time (n / 2 dwells, n + n - 2 moves).

    Args:
        nets: how many.
        dwell: seconds for one reading.
        move: seconds to move one clip.
        lead: seconds more for each reading (discharge, writing down).
        splits: how many there are to be; None for the cheapest number.

    Raises:
        DiagnoseError: there are fewer than two nets, a cost is negative, or the splits are too few.
    """
    if nets < 2:
        raise DiagnoseError(f"{nets} nets; expected 2 or more")
    if min(dwell, move, lead) < 0:
        raise DiagnoseError(f"costs of {dwell}, {move}, {lead} s; expected none below 0")
    least = counting_width(nets)
    if splits is not None and splits < least:
        raise DiagnoseError(f"{splits} splits cannot part {nets} nets; expected {least} or more")
    choices = range(least, max(least, -(-nets // 2)) + 1) if splits is None else [splits]
    best = min(
        ((_changes(nets, length), length) for length in choices),
        key=lambda one: (one[1] * (dwell + lead) + (nets + one[0]) * move, one[1]),
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


def _check_nets(nets: Sequence[str], least: int) -> None:
    if len(nets) < least:
        raise DiagnoseError(f"{len(nets)} nets; expected {least} or more")
    if len(set(nets)) != len(nets):
        twice = sorted({net for net in nets if list(nets).count(net) > 1})
        raise DiagnoseError(f"nets named more than once: {', '.join(twice)}")
