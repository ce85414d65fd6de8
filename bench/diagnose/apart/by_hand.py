"""What it costs to hold many nets apart by hand, clips and dwells together, in words."""

from __future__ import annotations

from typing import Final, Literal

from bench.diagnose.apart.isolation import hand_plan
from bench.diagnose.apart.search import nets_of
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width
from bench.plant.model import Plant
from bench.sequence.file import Find, Seek

MOVE_S: Final = 5.0
"""Seconds to move one clip from bar to bar (common practice, no source)."""
DWELL_S: Final = {"crosses": 3.0, "isolation": 15.0}
"""Seconds that one reading takes: a settled contact; a test voltage as the drafted sequence has it."""
DISCHARGE_S: Final = {"crosses": 0.0, "isolation": 10.0}
"""Seconds more for each reading with test voltage: discharge, proof of it, hands off and on again (own choice)."""


def hand_lines(plant: Plant, of: str, kind: Literal["crosses", "isolation"] | str) -> list[str]:
    """The cheapest way by hand for the nets of a cable or connector, beside its two neighbours; empty below two nets.

    Args:
        plant: the plant.
        of: the cable or connector.
        kind: ``crosses`` or ``isolation``.
    """
    find: Find = "isolation" if kind == "isolation" else "crosses"
    try:
        nets = len(nets_of(plant, Seek(find=find, of=of)))
    except DiagnoseError:
        return []
    dwell, lead = DWELL_S[find], DISCHARGE_S[find]
    best = hand_plan(nets, dwell, MOVE_S, lead)
    fewest = hand_plan(nets, dwell, MOVE_S, lead, splits=counting_width(nets))
    pairs = nets * (nets - 1) // 2
    slow = pairs * (dwell + lead + MOVE_S) / 60
    lines = [
        f"By hand, where all is well: {nets} nets on two bars in {fewest.splits} readings and {fewest.clip_moves} clip "
        f"moves, about {fewest.minutes:.0f} min; pair by pair it would be {pairs} readings, about {slow:.0f} min.",
    ]
    if best.splits != fewest.splits:
        lines.append(
            f"Cheapest in clip moves and dwells together: {best.splits} readings with {best.clip_moves} clip moves, "
            f"about {best.minutes:.0f} min."
        )
    return lines
