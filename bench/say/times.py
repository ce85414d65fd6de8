"""Times for people: always those of the zone that this computer is set to, which is said beside them.

Records hold times in UTC with a Z; whoever types a time without a zone means the one on the wall.
"""

from __future__ import annotations

import time
from datetime import datetime, timedelta


def local(at: str) -> datetime | None:
    """A record's time of day on the clock on the wall; None where it is no time."""
    try:
        return datetime.fromisoformat(at).astimezone()
    except (ValueError, OverflowError):
        return None


def day(at: str) -> str:
    """A record's day: ``2026-05-12``; the text itself where it is no time."""
    moment = local(at)
    return moment.strftime("%Y-%m-%d") if moment is not None else at[:10]


def minute(at: str) -> str:
    """A record's time of day to the minute: ``2026-05-12 18:03``; the text itself where it is no time."""
    moment = local(at)
    return moment.strftime("%Y-%m-%d %H:%M") if moment is not None else at[:16]


def second(at: str) -> str:
    """A record's time of day to the second: ``2026-05-12 18:03:11``; the text itself where it is no time."""
    moment = local(at)
    return moment.strftime("%Y-%m-%d %H:%M:%S") if moment is not None else at[:19]


def tenth(at: str, before: float = 0.0) -> str:
    """A moment some seconds before a record's time of day, to the tenth: ``18:03:11.4``; empty where it is none."""
    moment = local(at)
    if moment is None:
        return ""
    return f"{moment - timedelta(seconds=before):%H:%M:%S.%f}"[:-5]


def zone() -> str:
    """The zone that times are shown and read in: ``UTC``, or ``CET/CEST`` where there is a summer time."""
    return "/".join(dict.fromkeys(time.tzname)) if time.daylight else time.tzname[0]
