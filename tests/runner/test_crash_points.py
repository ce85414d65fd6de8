"""Killed at any moment: nothing that was told is lost, outputs go off first, and the verdicts are the same."""

from __future__ import annotations

import pytest

from tests.runner import crash_points


@pytest.mark.parametrize("kind", crash_points.KINDS)
@pytest.mark.quick_cases(1)
def test_killed_once(kind: str) -> None:
    stories, whole = crash_points.compared(kind, 16, 1)
    assert sum(len(story.deaths) for story in stories) == len(stories)
    assert len({story.deaths[0] for story in stories}) > 4, "moments of many kinds"
    assert whole.readings > 2


@pytest.mark.parametrize("kind", crash_points.KINDS)
@pytest.mark.quick_cases(2)
def test_killed_again_and_again(kind: str) -> None:
    stories, _ = crash_points.compared(kind, 2, 2, at_once=8)
    assert sum(len(story.deaths) for story in stories) > 8
