"""Reading a chain of clips at the other end: which end is which conductor, in every way that fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

_MOST = 16
"""More ways to read a chain than this are not looked for; nothing is named then."""


class Reading(msgspec.Struct):
    """One way to read a chain: far end to conductor, and ends whose order is not known."""

    names: dict[str, str] = msgspec.field(default_factory=dict)
    joined: list[tuple[tuple[str, ...], tuple[str, ...]]] = msgspec.field(default_factory=list)


def readings(
    first: Sequence[tuple[str, ...]],
    faults: Sequence[tuple[str, ...]],
    seen: Sequence[tuple[str, ...]],
    pairs: Sequence[tuple[str, ...]],
    singles: Sequence[str],
) -> list[Reading]:
    """All ways to lay the chain of the far end along the groups seen at the near end.

    A link holds the end of one pair, the start of the next, and the single that was hung on it if that gets through.

    Args:
        first: what was clipped, or found joined, at the near end.
        faults: those that were found joined.
        seen: the groups at the near end.
        pairs: what was found in pairs and chained at the far end.
        singles: what was found alone and hung on the chain.
    """
    group_of = {c: g for g in faults for c in g}
    shorted = set(group_of)
    mate = {a: b for g in first if len(g) == 2 and g not in faults for a, b in (g, g[::-1])}
    town = {c: k for k, group in enumerate(seen) for c in group}
    # Only a conductor that lost its partner can hang on a link: the partner is seen nowhere else.
    lost = {c for c in town if c not in mate or len(seen[town[mate[c]]]) == 1 or mate[c] in shorted}
    hung = dict(enumerate(singles[: max(1, len(pairs))]))
    found: list[Reading] = []
    if not pairs:
        return found

    # Paths still to be extended: pairs laid, the town where the path stands, conductors used, the links
    # that lie in that town, and what was read.
    paths: list[tuple[int, int, frozenset[str], tuple[int, ...], Reading]] = [
        (0, where, frozenset(), (0,), Reading())
        for where, group in enumerate(seen)
        if any(c in mate or c in group_of for c in group)
    ]
    while paths and len(found) <= _MOST:
        number, where, used, slack, path = paths.pop()
        loose = [c for c in seen[where] if c not in used]
        if number == len(pairs):
            closed = _hang(path, loose, slack, hung, shorted, lost)
            if closed is not None:
                found.append(closed)
            continue
        a, b = pairs[number]
        for start in loose:
            if start in group_of:
                # Two of a group that is joined anyhow lie in this town; nobody can tell which.
                held = group_of[start]
                if start == held[0]:
                    step = (*slack, number + 1)
                    grown = Reading(path.names, [*path.joined, ((a, b), held)])
                    paths.append((number + 1, where, used | set(held), step, grown))
                continue
            end = mate.get(start)
            if end is None or end in used or town[end] == where:
                continue
            left = [c for c in loose if c != start]
            here = _hang(path, left, slack, hung, shorted, lost)
            if here is not None:
                grown = Reading({**here.names, a: start, b: end}, here.joined)
                paths.append((number + 1, town[end], used | {start, end, *left}, (number + 1,), grown))
    if len(found) > _MOST:
        # The ways that were not looked for may agree with nothing.
        found.append(Reading())
    return found


def agreeing(before: Sequence[Reading], now: Sequence[Reading]) -> list[Reading]:
    """The ways to read several chains of the same ends: each of one that goes with one of the other, put together.

    Args:
        before: those of the chains so far; none for the first.
        now: those of the chain that was laid last.

    Returns:
        The ways that are left; those of the last chain alone where no two go together.
    """
    if not before or not now:
        return list(now or before)
    found: list[Reading] = []
    for one in before:
        for other in now:
            names = {**one.names, **other.names}
            alike = all(names[flag] == name for flag, name in one.names.items())
            if alike and len(set(names.values())) == len(names) and all(names != known.names for known in found):
                found.append(Reading(names))
    return found or list(now)


def _hang(
    path: Reading,
    loose: Sequence[str],
    slack: Sequence[int],
    hung: Mapping[int, str],
    shorted: set[str],
    lost: set[str],
) -> Reading | None:
    """The path with the conductors that are left in a town as the singles hung there, if they fit.

    Conductors that are joined to others may be there without being hung.
    """
    flags = [hung[k] for k in slack if k in hung]
    sound = [c for c in loose if c not in shorted]
    if len(sound) > len(flags) or not lost.issuperset(sound):
        return None
    if len(loose) == len(sound) == len(flags) == 1:
        return Reading({**path.names, flags[0]: loose[0]}, path.joined)
    return path
