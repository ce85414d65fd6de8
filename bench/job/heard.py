"""What consoles of the plant said about the time of a reading, out of the record that holds it."""

from __future__ import annotations

from collections.abc import Sequence
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


def said_when_it_changed(folder: Path, studies: Sequence[Study]) -> list[tuple[str, ...]]:
    """What machines said when a point's reading was first bad, of each series; nothing where they said nothing.

    Args:
        folder: of the records.
        studies: what became of the point's series.
    """
    found: list[tuple[str, ...]] = []
    known: dict[str, list[e.Entry]] = {}
    for one in studies:
        if one.window is None:
            found.append(())
            continue
        bad = one.window.first_bad
        if bad.record not in known:
            path = folder / bad.record
            path = path if path.suffix else path.with_suffix(".jsonl")
            try:
                known[bad.record] = [entry for entry in read_record(path) if isinstance(entry.event, e.Said)]
            except (BrokenRecord, OSError):
                known[bad.record] = []  # whoever reads the folder says so already
        lines = said_about(known[bad.record], bad.at)
        head = f"said on consoles about {one.key.text}, {bad.record}:{bad.n}:"
        found.append((head, *(f"  {line}" for line in lines)) if lines else ())
    return found
