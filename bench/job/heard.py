"""What consoles of the plant said about the time of a reading, out of the record that holds it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from bench.job.study import Study
from bench.record.read import BrokenRecord, read_record
from bench.say.times import tenth
from bench.walk import events as e

BEFORE_S: Final = 60.0
"""Seconds before a reading whose lines are told with it."""
AFTER_S: Final = 20.0
"""And after it."""
MOST: Final = 12
"""Lines that are told at most: those nearest to the reading."""


def said_about(entries: Sequence[e.Entry], at: str) -> list[str]:
    """The lines that lie nearest to a moment, in their order.

    Args:
        entries: of a record.
        at: the moment, UTC.
    """
    moment = datetime.fromisoformat(at).timestamp()
    found: list[tuple[float, str]] = []
    for entry in entries:
        if not isinstance(entry.event, e.Said):
            continue
        written = datetime.fromisoformat(entry.at).timestamp()
        for ago, text in entry.event.lines:
            if -BEFORE_S <= written - ago - moment <= AFTER_S:
                found.append((written - ago - moment, f"{tenth(entry.at, ago)} {entry.event.console}: {text}"))
    nearest = sorted(found, key=lambda one: abs(one[0]))[:MOST]
    return [text for _, text in sorted(nearest)]


def said_when_it_changed(folder: Path, studies: Sequence[Study]) -> Iterator[str]:
    """What machines said when a point's reading was first bad, series by series.

    Args:
        folder: of the records.
        studies: what became of the point's series.
    """
    for one in studies:
        if one.window is None:
            continue
        bad = one.window.first_bad
        path = folder / bad.record
        path = path if path.suffix else path.with_suffix(".jsonl")
        try:
            lines = said_about(list(read_record(path)), bad.at)
        except (BrokenRecord, OSError):
            continue  # whoever reads the folder says so already
        if lines:
            yield f"said on consoles about {one.key.text}, {bad.record}:{bad.n}:"
            yield from (f"  {line}" for line in lines)
