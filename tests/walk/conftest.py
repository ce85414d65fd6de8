"""Lets the tests here share their helper modules; property tests draw the same cases every time."""

from pathlib import Path

import pytest
from hypothesis import settings

from tests.walk import paper_walk, walk_explorer

settings.register_profile("walk", deadline=None, derandomize=True)
settings.load_profile("walk")


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> paper_walk.Made:
    """A small plant and a sequence with every kind of step, read by the real loaders."""
    return paper_walk.made(tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="session")
def shipped() -> paper_walk.Made:
    """The shipped continuity sequence over the shipped plant."""
    root = Path(__file__).parents[2] / "sequences" / "gannet-head"
    return paper_walk.made_from(root / "continuity-W101.yaml")


@pytest.fixture(scope="session")
def explored(tmp_path_factory: pytest.TempPathFactory) -> dict[str, walk_explorer.Explored]:
    """Everything that two small walks can get into."""
    return walk_explorer.explored(tmp_path_factory.mktemp("explored"))
