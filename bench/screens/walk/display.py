"""What stands on the display of an instrument that a person reads, where a twin shows it."""

from __future__ import annotations

import math

from bench.runner.protocol import Live
from bench.walk.by_eye import display_of, function_of
from bench.walk.state import Phase, State, by_eye_at


def on_display(state: State, live: Live | None) -> str:
    """The figure as a person would type it; empty where nothing is shown, or nobody is to read it.

    Args:
        state: the walk.
        live: the last live reading of the step under way.
    """
    read, step = by_eye_at(state), state.step
    if read is None or step is None or live is None or live.wrong or state.phase is not Phase.PLACING:
        return ""
    value = {"+": math.inf, "-": -math.inf}.get(live.over) if live.value is None else live.value
    return "" if value is None else display_of(value, read.displays.get(function_of(step)[1], []))
