"""Whole rebuilds, drawn: what must be so of each, whichever way it is done."""

from __future__ import annotations

import pytest

from tests.rebuild.figures import one, shelves_over


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 4, 5])
def test_a_whole_rebuild(number: int) -> None:
    """From the pile to the last shelf and a year on, both ways."""
    tool, hand = one(number, "proveout"), one(number, "hand")
    assert not shelves_over(tool) and not tool["harmed"] and not tool["told"], tool
    assert tool["readings"] and hand["readings"]
