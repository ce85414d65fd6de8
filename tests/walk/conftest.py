"""Lets the tests here share what was explored."""

import pytest

from tests.walk.walk_explorer import Walks


@pytest.fixture(scope="session")
def explored(tmp_path_factory: pytest.TempPathFactory) -> Walks:
    """Everything that small walks can get into; what takes it runs in one worker, so that it is found once."""
    return Walks(tmp_path_factory.mktemp("explored"))
