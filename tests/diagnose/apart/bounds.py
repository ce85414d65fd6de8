"""How many readings it takes to find what is joined: the bounds that the scripts are held against."""

from __future__ import annotations

from bench.diagnose.halving import counting_width


def shorts_bound(nets: int, surplus: int) -> int:
    """Most readings that finding all shorts takes, B + s (2 B - 1), s = nets less groups (own computation)."""
    width = counting_width(nets)
    return width + surplus * (2 * width - 1)


def kautz_bound(largest: int, clusters: int) -> int:
    """Tests that are needed and always enough for shorts, opens and wiring errors in clusters.

    Source: Kautz 1974, IEEE Transactions on Computers C-23(4) 358-363, abstract: p - 1 + ceil(log2 q); the rounding up
    is meant (forced by q = 3).

    Args:
        largest: terminals in the largest cluster.
        clusters: how many, counting isolated terminals.
    """
    return largest - 1 + counting_width(clusters)
