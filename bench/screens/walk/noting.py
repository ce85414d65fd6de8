"""A remark that somebody types, with the files that it names."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from bench.record.append import RecordTrouble
from bench.record.kept import keep_file, named
from bench.sequence.plan import Step
from bench.walk import events as e

_TRIP: Final = re.compile(r"\s*trip(?:ped)?\s+([^\s:]+)\s*(?::\s*(.*))?", re.IGNORECASE | re.DOTALL)


def note(
    text: str, record: str, begun_at: Step | None = None, now: Step | None = None
) -> e.Noted | e.Attached | e.Tripped:
    """The event of a remark.

    One that begins with ``trip`` and a name is what that breaker or shelf did. Files that it names by ``@FILE`` are
    kept beside the record first.

    Where one cannot be kept the remark is, and says so: what somebody typed is never lost.

    Args:
        text: what was typed.
        record: the record's path.
        begun_at: the step at which somebody began to type it.
        now: the step that the walk stands at now; where that is another one, the remark names the one that it is about.
    """
    words, files = named(text)
    trip = _TRIP.fullmatch(text)
    if trip is not None and not files:
        return e.Tripped(thing=trip[1], what=(trip[2] or "").strip())
    if begun_at is not None and (now is None or now.key != begun_at.key):
        text, words = (f"at {begun_at.title}: {one}".rstrip(": ") for one in (text, words))
    if not files:
        return e.Noted(text=text)
    try:
        return e.Attached(files=[keep_file(Path(record), one) for one in files], text=words)
    except RecordTrouble as error:
        return e.Noted(text=f"{text} (not kept: {error})")


def wrong_with(text: str) -> str:
    """Why a remark will not do yet; empty where it will."""
    if not text.strip():
        return "nothing is written yet"
    missing = [str(one) for one in named(text)[1] if not one.is_file()]
    return f"there is no file {', '.join(missing)}" if missing else ""
