"""The quick tests of a file run in one worker, so that what they share is made once."""

from __future__ import annotations

import pytest


def test_a_worker_knows_the_group_of_a_test(request: pytest.FixtureRequest) -> None:
    """The runner sends to one worker what has one name behind an ``@``; without it each test goes where one is free."""
    if not getattr(request.config.option, "loadgroup", False):
        pytest.skip("no workers here")
    assert request.node.nodeid.endswith("@test_grouping")
