"""The page of forty mistakes says what the tool says, and no order on it harms."""

from __future__ import annotations

import pytest

from tests.diagnose.explain import mistakes_table


@pytest.mark.slow
def test_the_page_is_what_is_said():
    """Where it differs: ``python -m tests.diagnose.explain.mistakes_table``, and read what changed."""
    assert len(mistakes_table.MISTAKES) == 40
    assert mistakes_table.PAGE.read_text("utf-8") == mistakes_table.page()
