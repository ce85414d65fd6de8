"""What all tests share: how property tests draw, where simulated benches are served, small plants."""

from __future__ import annotations

import gc
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from bench.plant.load import load_plant
from bench.simulate import process
from tests import drawn, made_once
from tests.power import small_hall
from tests.spent import (  # noqa: F401
    pytest_collection_modifyitems,
    pytest_generate_tests,
    pytest_pycollect_makeitem,
    pytest_runtest_makereport,
    pytest_runtest_protocol,
    pytest_terminal_summary,
)
from tests.walk import paper_walk

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bench.plant.model import Plant
    from tests.one_process import ServingThread

# the same cases every time, and a busy machine is no failure; `make test` draws a fifth, `make test-slow` all of them
settings.register_profile("same", deadline=None, derandomize=True)
settings.load_profile("same")


def pytest_configure(config: pytest.Config) -> None:
    """Draw few cases where only the quick part is wanted."""
    if config.option.markexpr == "not slow":
        drawn.quick_part_only()


def pytest_collection() -> None:
    """Next to nothing that is loaded goes again: nobody looks for it meanwhile."""
    gc.disable()


def pytest_collection_finish() -> None:
    """All that was loaded stays: to look through it again and again for what may go takes a tenth of the time.

    Of what is made later it is looked for seldom: a twentieth of the time of a test goes into it otherwise.
    """
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)
    gc.enable()


def _serving_thread() -> ServingThread:
    from tests.one_process import ServingThread  # loads the solver, which most tests do without

    return ServingThread()


@pytest.fixture(scope="session", autouse=True)
def benches_in_this_process() -> None:
    """Simulated benches that are started from this process are served in it."""
    process.start_server = _serving_thread  # type: ignore[assignment]


@pytest.fixture(scope="session", autouse=True)
def nothing_kept_at_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a program keeps for its user goes into the folder of the run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.getbasetemp() / "config"))
        yield


@pytest.fixture(scope="session", autouse=True)
def made_for_all_workers(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> None:
    """What is made once is kept in the folder of the run, above the workers' own."""
    base = tmp_path_factory.getbasetemp()
    made_once.keep_in(base.parent if hasattr(request.config, "workerinput") else base)


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> paper_walk.Made:
    """A small plant and a sequence with every kind of step, read by the real loaders."""
    return paper_walk.made(tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="session")
def shipped() -> paper_walk.Made:
    """The shipped continuity sequence over the shipped plant."""
    root = Path(__file__).parents[1] / "sequences" / "gannet-head"
    return paper_walk.made_from(root / "continuity-W101.yaml")


@pytest.fixture(scope="session")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """A small hall with two feeds and three shelves."""
    return small_hall.small(tmp_path_factory.mktemp("hall"))


@pytest.fixture(scope="session")
def gannet() -> Plant:
    """The shipped plant."""
    return load_plant(small_hall.GANNET)
