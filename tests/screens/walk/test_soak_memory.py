"""An hour of a soak on the screen: what it holds in memory stays what it was after some minutes."""

from __future__ import annotations

import asyncio
import functools
import gc
import math
import sys
import tracemalloc

import pytest

from bench.runner import protocol as p
from bench.walk.state import Phase
from tests.screens.scenes import Scene
from tests.screens.stage import on_stage
from tests.screens.walk.power_scenes import FULL, PowerWalk, rising

READINGS_A_SECOND = 2
PAINTED = 60
"""Readings from one look at the page to the next."""
GROWS = 100_000
"""Bytes that may come and go with the points of the trend, of which some hundred are kept; what came in an hour takes
over a million."""


def used() -> int:
    """Bytes in use, but for what caches of a bounded size hold: these fill up, and no more."""
    for module in list(sys.modules.values()):
        for one in list(vars(module).values()):
            if isinstance(one, functools._lru_cache_wrapper) and one.cache_info().maxsize is not None:
                one.cache_clear()
    gc.collect()
    return tracemalloc.get_traced_memory()[0]


@pytest.mark.slow
def test_an_hour_of_readings_leaves_no_more_in_memory_than_ten_minutes() -> None:
    walk = PowerWalk().seated().to(FULL, Phase.ENERGISING)
    held: list[int] = []

    async def soak() -> None:
        async with on_stage(Scene("soak", walk, said=tuple(rising(3, 1.2, 3.0, settled=1.0)))) as stage:
            tracemalloc.start()
            for n in range(3600 * READINGS_A_SECOND):
                at = 60.0 + n / READINGS_A_SECOND
                amps = 1.2 + 0.01 * math.sin(at)
                stage.hear(p.Rise(at=at, level=3, since=at, amps=amps, volts=47.98, settled=at - 5.0))
                if n % PAINTED == 0:
                    await stage.settle()
                if (n + 1) % (600 * READINGS_A_SECOND) == 0:
                    held.append(used())
            tracemalloc.stop()
            assert "A" in stage.words

    asyncio.run(soak())
    assert len(held) == 6
    assert max(held[1:]) < held[0] + GROWS, held
