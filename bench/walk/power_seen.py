"""Whether a walk tells that its plant had power, in it or before. Pure.

Power is what was ever fed, and whatever may feed that was on or connected: it stays true after all is off again, since
capacitors keep their charge and what was connected once may be so again. That somebody looked and found a supply off is
none. That somebody switched one off, or took it off its leads, is: it may have been on until then, unless it was noted
as off before.
"""

from __future__ import annotations

from typing import Final

from bench.plant.handled import UNKNOWN, Handled
from bench.sequence.file import Do, Measure
from bench.sequence.power_tree import DEAD_V
from bench.walk import events as e
from bench.walk.standing import Phase, State

_FEEDS: Final = {"supply": ("on", UNKNOWN), "connection": ("connected", UNKNOWN)}
"""Kind of thing to the states in which it feeds, or may."""


def may_feed(handled: Handled) -> bool:
    """Whether anything is on or connected that may feed, or nobody can say how such a thing stands.

    Args:
        handled: the plant as it was left, or is now.
    """
    return any(
        mark.change.state in states
        for kind, states in _FEEDS.items()
        for said in handled.marks.get(kind, {}).values()  # type: ignore[call-overload]
        for mark in said
    )


def tells_power(before: State, entry: e.Entry, after: State) -> bool:
    """Whether an event tells that the plant had power, or that it may have had.

    Args:
        before: the walk before it.
        entry: the event.
        after: the walk after it.
    """
    setting = after.setting
    if setting is None:
        return False
    event, step = entry.event, before.step
    if isinstance(event, e.Began) and may_feed(setting.found):
        return True
    if after.conditions.handled is not before.conditions.handled and may_feed(after.conditions.handled):
        return True
    now = after.step
    if now is not None and after.phase in (Phase.SWITCHING, Phase.ENERGISING) and now.source.energises:
        # from here on its output may be on
        return True
    match event:
        case e.Energised() | e.Tripped():
            return True
        case e.Disturbed(touches=touches):
            return bool(set(touches) & set(setting.plant.supplies))
        case e.Read(value=value, over=over) if step is not None and _reads_volts(step.source):
            return bool(over) or (value is not None and abs(value) > DEAD_V)
        case e.Answered() if step is not None and isinstance(step.source, Do) and before.phase is Phase.ASKING:
            return after is not before and _was_not_off(before, step.source)
    return False


def _reads_volts(source: object) -> bool:
    return isinstance(source, Measure) and source.read == "voltage"


def _was_not_off(state: State, act: Do) -> bool:
    """Whether an act takes off a supply that nobody had noted as off."""
    assert state.setting is not None
    found = state.setting.found
    supplies = {*act.switch_off, *act.disconnect} & set(state.setting.plant.supplies)
    return any(not state.conditions.handled.said("supply", one) and not found.said("supply", one) for one in supplies)
