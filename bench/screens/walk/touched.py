"""Reading what a person says was touched or changed."""

from __future__ import annotations

from bench.walk import events as e
from bench.walk.state import State


def touched(text: str) -> e.Disturbed:
    """Names, parted by blanks or commas; then after a colon what happened."""
    names, _, what = text.partition(":")
    return e.Disturbed(touches=names.replace(",", " ").split(), text=what.strip())


def unknown(state: State, text: str) -> str:
    """What is wrong with it: a name that the plant does not know would put nothing in doubt. Empty if nothing is."""
    names = touched(text).touches
    if not names:
        return "at least one name is wanted, such as J101"
    for name in names:
        if state.setting is not None and name not in state.setting.plant.things:
            hint = state.setting.plant.near(name)
            return f"the plant has nothing called {name}{f'; {hint}' if hint else ''}"
    return ""
