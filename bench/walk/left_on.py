"""Which outputs of the bench are on or may be, in the middle of a walk and where a record ends. Pure."""

from __future__ import annotations

import msgspec

from bench.quantity import engineering
from bench.sequence.file import Energise, Measure, Prove, Set
from bench.walk.power import still_live
from bench.walk.standing import Phase, State


class Output(msgspec.Struct, frozen=True):
    """An output that is on or may be.

    Attributes:
        name: the instrument's.
        sure: it was read back as on and nobody knows better; else it may be on.
        volts: what it was set to, without sign; None where not known.
    """

    name: str
    sure: bool
    volts: float | None = None

    @property
    def words(self) -> str:
        """In words: ``supply is on, 48 V``."""
        at = f", {engineering(self.volts, 'V')}" if self.volts is not None else ""
        return f"{self.name} {'is' if self.sure else 'may be'} on{at}"


def outputs_on(state: State) -> tuple[Output, ...]:
    """The outputs of instruments that are on or may be, by name.

    One that is being switched on counts as one that may be on, and so does an insulation tester while it reads: where
    the record ends there nobody heard how that went.
    """
    found: dict[str, Output] = {}
    said = state.conditions.handled.marks.get("output", {})
    for name, marks in said.items():
        change = marks[-1].change
        if change.state != "off":
            found[name] = Output(name, change.state == "on", change.volts)
    for name in (*state.outputs.on, *state.outputs.unconfirmed):
        found.setdefault(name, Output(name, False))
    under_way = _under_way(state)
    if under_way is not None:
        found[under_way.name] = under_way
    return tuple(one for name, one in sorted(found.items()) if name not in state.pending.seen_off)


def _under_way(state: State) -> Output | None:
    """What the request that is open may have switched on by now."""
    step, source = state.step, state.step.source if state.step is not None else None
    if step is None or step.role is None or state.setting is None:
        return None
    name = state.setting.bench.role_of.get(step.role, "")
    if state.phase in (Phase.SWITCHING, Phase.ENERGISING) and isinstance(source, Set | Energise):
        on = isinstance(source, Energise) or source.output == "on"
        volts = source.voltage.value if source.voltage is not None else None
        return Output(name, False, volts) if name and on else None
    if state.phase is Phase.MEASURING and isinstance(source, Measure | Prove) and source.read == "insulation":
        return Output(name, False, source.at.value if source.at is not None else None) if name else None
    return None


def live_words(state: State) -> tuple[str, ...]:
    """All that is on, in a few words each: outputs of the bench with their volts, and supplies of the plant."""
    told = [one.words for one in outputs_on(state)]
    if state.setting is not None:
        supplies = state.setting.plant.supplies
        for name in sorted(state.conditions.handled.live):
            told.append(f"{name} is on, {engineering(supplies[name].volts, 'V')}")
    return tuple(told)


def ends_with(state: State) -> tuple[str, ...]:
    """What a record ends with that nobody may take for dead, in sentences; empty where all that was on went off.

    For a record that nobody is writing any more: an output that was never confirmed off stays in it until somebody says
    what was seen, and so does a supply that no program can switch off.
    """
    told = [f"It ends with an output on: {one.words}." for one in outputs_on(state)]
    if state.setting is not None:
        told += [
            f"It ends with a supply on: {text}" for text in still_live(state.setting.plant, state.conditions.handled)
        ]
    return tuple(told)


def knobs_off(state: State) -> dict[str, bool]:
    """Supplies that a person sets by their knobs and that were on, to whether somebody said that they are off."""
    if state.setting is None:
        return {}
    on = {one.name for one in outputs_on(state)}
    mine = [one.name for one in state.setting.bench.instruments if one.by_eye and one.outputs]
    return {
        name: name not in on
        for name in mine
        if name in on or name in state.outputs.on or name in state.outputs.unconfirmed
    }
