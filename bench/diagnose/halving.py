"""Which of many names are joined, told by readings between two groups, in the fewest readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.script import Script

Ask = Callable[[Sequence[str], Sequence[str]], Script[bool]]
"""Part of a script: takes the two sides, and says whether anything joins them."""


def counting_width(nets: int) -> int:
    """Readings with two bars that compare every pair of nets: ceil(log2 n); 0 for one net."""
    if nets < 1:
        raise DiagnoseError(f"{nets} nets; expected 1 or more")
    return (nets - 1).bit_length()


def separate(nets: Sequence[str], ask: Ask) -> Script[list[tuple[str, str]]]:
    """Pairs of joined nets that together say which nets are one; part of a script."""
    pairs: list[tuple[str, str]] = []
    floating: set[str] = set()
    for bit in range(counting_width(len(nets))):
        while True:
            low = [net for number, net in enumerate(nets) if not number >> bit & 1 and net not in floating]
            high = [net for number, net in enumerate(nets) if number >> bit & 1 and net not in floating]
            if not low or not high or not (yield from ask(low, high)):
                break
            one = yield from narrow(low, high, ask)
            other = yield from narrow(high, [one], ask)
            pairs.append((one, other))
            # its twin stands for it from here on
            floating.add(other)
    return pairs


def narrow(side: Sequence[str], against: Sequence[str], ask: Ask) -> Script[str]:
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
    return tuple(tuple(group) for group in groups.values() if len(group) > 1)
