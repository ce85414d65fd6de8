"""Plants that the power tests share."""

from __future__ import annotations

import pytest

from bench.plant.load import load_plant
from bench.plant.model import Plant
from tests.power import small_hall


@pytest.fixture(scope="session")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """A small hall with two feeds and three shelves."""
    return small_hall.small(tmp_path_factory.mktemp("hall"))


@pytest.fixture(scope="session")
def gannet() -> Plant:
    """The shipped plant."""
    return load_plant(small_hall.GANNET)
