"""A comparison as lines of text, and as plain data for other programs."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final

from bench.job.compare import Difference
from bench.job.rows import Evidence
from bench.job.trace_words import reading_value
from bench.say.lists import some

_MOST: Final = 60


def lines(found: Sequence[Difference], before: str, after: str) -> Iterator[str]:
    """What changed between two sides.

    Args:
        found: the differences.
        before: what the first side is called.
        after: what the second side is called.
    """
    counts = Counter(one.what for one in found)
    both = counts["verdict"] + counts["value"] + counts["same"]
    yield f"{before} against {after}: {both} points on both sides"
    yield (
        f"{counts['verdict']} changed their verdict, {counts['value']} their value beyond both uncertainties; "
        f"{counts['only before']} only before, {counts['only after']} only after"
    )
    changed = [one for one in found if one.what in ("verdict", "value")]
    for one in changed[:_MOST]:
        assert one.before is not None and one.after is not None
        word = "worse" if one.worse else "verdict" if one.what == "verdict" else "value"
        yield f"  {word:8} {one.subject}: {_side(one.before)} -> {_side(one.after)}{_score(one)}"
    if len(changed) > _MOST:
        yield f"  and {len(changed) - _MOST} more; --json lists them"
    for what, words in (("only before", f"only in {before}"), ("only after", f"only in {after}")):
        names = [one.subject for one in found if one.what == what]
        if names:
            yield f"  {words}: {some(names, 12)}"


def _side(row: Evidence) -> str:
    if row.verdict == "void":
        return f"void ({row.sentence.removeprefix('Void: ').rstrip('.')})"
    return f"{reading_value(row)} {row.verdict}"


def _score(one: Difference) -> str:
    if one.score is None or math.isinf(one.score) or abs(one.score) < 1.0:
        return ""
    return f" ({abs(one.score):.1f} times what both uncertainties allow)"


def plain(found: Sequence[Difference]) -> list[dict[str, Any]]:
    """The same for other programs."""
    return [
        {
            "subject": one.subject,
            "reads": one.key.reads,
            "between": list(one.key.places),
            "what": one.what,
            "worse": one.worse,
            "score": None if one.score is None or math.isinf(one.score) else one.score,
            "before": _row(one.before),
            "after": _row(one.after),
        }
        for one in found
        if one.what != "same"
    ]


def _row(row: Evidence | None) -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "record": row.record,
        "event": row.n,
        "at": row.at,
        "value": row.value,
        "expanded_uncertainty": row.expanded,
        "unit": row.unit,
        "over": row.over,
        "verdict": row.verdict,
    }
