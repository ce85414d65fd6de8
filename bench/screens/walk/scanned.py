"""A code that was scanned from a work sheet leads the walk to its reading."""

from __future__ import annotations

from typing import Final

from bench.screens.walk.sayings import page
from bench.walk import events as e
from bench.walk.state import State
from bench.walk.work_sheet import SCANNED, code_of

FIRST: Final = "#"
"""What each scanned code begins with: no answer to anything does."""


def led_to(state: State, text: str) -> e.Went | str | None:
    """Where a scanned code leads.

    Args:
        state: of the walk.
        text: a line that was typed or scanned.

    Returns:
        The event that goes there, why nothing goes there, or None where the text is no such code.
    """
    found = SCANNED.fullmatch(text.strip())
    if found is None or state.setting is None:
        return None
    plan = state.setting.plan
    if found["code"] != code_of(plan):
        return f"that sheet is of another sequence: its code is {found['code']}, this one's {code_of(plan)}"
    to = int(found["line"]) - 1
    if to >= len(plan.steps) or not plan.steps[to].reads:
        return "no reading has that number"
    if to == state.place.cursor:
        return f"that is what is asked now: {page(state).title}"
    if to > state.place.reached:
        return f"'{plan.steps[to].title}' is not reached yet: what comes before it comes first"
    return e.Went(number=state.number, to=to, then="return")
