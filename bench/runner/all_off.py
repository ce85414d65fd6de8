"""Switches off, from any screen, what walks under way have on: the one thing that needs no seat."""

from __future__ import annotations

import queue
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from bench.record.append import stamp, utc_now
from bench.runner import protocol as p
from bench.runner.address import RunnerAddress
from bench.runner.client import Client
from bench.walk import events as e

OFF_WITHIN: Final = 45.0
"""Seconds that a walk may take to say how it went: charge takes up to 30 s to leave a long cable."""
WHY: Final = "everything was switched off from another screen"


def everything_off(runners: Iterable[RunnerAddress], name: str = "") -> list[str]:
    """Have the walks under way switch everything off, and rest.

    Args:
        runners: where they answer.
        name: who asks for it.

    Returns:
        How it went, a sentence for each walk.
    """
    return [f"{Path(one.record).name}: {_off(one, name)}" for one in runners]


def _off(runner: RunnerAddress, name: str) -> str:
    heard: queue.SimpleQueue[p.ToClient | e.Entry | None] = queue.SimpleQueue()
    try:
        client = Client(runner, name, heard.put)
    except ConnectionError as error:
        return f"NOT KNOWN: {error}."
    try:
        asked_at = stamp(utc_now())
        client.start()
        client.wish(e.Paused(why=WHY, by=name, make_safe=True))
        return _how_it_went(heard, asked_at)
    except ConnectionError as error:
        return f"NOT KNOWN: {error}."
    finally:
        client.close()


def _how_it_went(heard: queue.SimpleQueue[p.ToClient | e.Entry | None], asked_at: str) -> str:
    """What the walk answers after it was told to; what it tells of before that is its past, by the same clock."""
    asked, until = False, time.monotonic() + OFF_WITHIN
    while (left := until - time.monotonic()) > 0:
        try:
            match heard.get(timeout=left):
                case None:
                    break
                case p.Refusal(why=why):
                    return f"nothing was switched: {why}."
                case e.Entry(event=e.Paused(why=why), at=at):
                    asked = asked or (why == WHY and at >= asked_at)
                case e.Entry(event=e.MadeSafe(confirmed=confirmed)) if asked:
                    on = [name for name, off in confirmed.items() if not off]
                    return f"NOT CONFIRMED OFF: {', '.join(on)}." if on else "everything is off, confirmed."
        except queue.Empty:
            break
    return "NOT KNOWN: it did not say in time that everything is off."
