"""Lets the tests here use the walks on paper and share their helpers."""

import pytest

from tests.walk import paper_walk


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> paper_walk.Made:
    """A small plant and a sequence with every kind of step."""
    return paper_walk.made(tmp_path_factory.mktemp("small"))
