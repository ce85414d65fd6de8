"""Draft of a few readings between pins of a free place, which tell its family. Only what is dead is read."""

from __future__ import annotations

from collections.abc import Sequence

from bench.quantity import Amount
from bench.sequence.drafts.parts import AMBIENT, CLOSING, OPENING, Draft, Part, dead
from bench.sequence.file import Limit, Measure


def fingerprint(connector: str, pairs: Sequence[tuple[str, str]]) -> Draft:
    """Readings that are compared with those of other places; none of them can fail.

    Args:
        connector: whose pins are read.
        pairs: the pins, two by two.
    """
    limit = Limit(at_least=Amount(0.0, "Ω"), source="a reading to compare with other places: every value is one")
    parts: list[Part] = [*dead(connector), AMBIENT, *OPENING]
    parts.append("Straps, terminations and supply pins differ from one family of sockets and cards to the next.")
    parts += [
        Measure(
            title=f"{connector}.{one} against {connector}.{other}",
            read="resistance",
            between=(f"{connector}.{one}", f"{connector}.{other}"),
            limit=limit,
        )
        for one, other in pairs
    ]
    return Draft(f"A few readings between pins of {connector}, which tell its family.", [*parts, *CLOSING])
