"""What can be done once a walk is over: what went wrong, a report, the failed ones measured again, what is next."""

from __future__ import annotations

import shlex
from pathlib import PurePath
from typing import Literal

import msgspec
from msgspec.structs import replace

from bench.sequence.file import Measure, Single
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State

Act = Literal["explain", "report", "again", "next"]


class After(msgspec.Struct, frozen=True):
    """One thing that can be done now.

    Attributes:
        act: what.
        words: what it is, for people.
        command: the words of the command that does it.
    """

    act: Act
    words: str
    command: tuple[str, ...]

    @property
    def typed(self) -> str:
        """The command as somebody types it."""
        return shlex.join(("proveout", *self.command))


def not_passed(state: State) -> list[Outcome]:
    """Readings of the plant that failed, were not decided or are void: those that are worth measuring again."""
    if state.setting is None:
        return []
    steps = state.setting.plan.steps
    return [one for index, one in results(state).items()
            if isinstance(steps[index].source, Measure) and one.verdict in ("fail", "undecided", "void")]  # fmt: skip


def measured_again(state: State) -> list[Single]:
    """The steps of a walk that measures again what did not pass, and nothing else; empty where it is walked as a whole.

    Cautions, looks, hold points, acts and the proofs of the bench stay as they were. Where something is made live each
    stage stands on the one below, so such a walk is done again from its beginning.
    """
    if state.setting is None:
        return []
    again = {one.index for one in not_passed(state)}
    steps = state.setting.plan.steps
    if not again or any(step.source.energises for step in steps):
        return []
    made: list[Single] = []
    for step in steps:
        source = step.source
        if isinstance(source, Measure):
            if step.index in again:
                made.append(replace(source, title=step.title, subject=step.subject))
        elif step.kind != "seek" and not (step.kind == "do" and source.probes is not None):
            made.append(source)
    return made


def afterwards(state: State, record: str) -> list[After]:
    """What can be done now that a walk is over, the most wanted first.

    Args:
        state: the walk.
        record: its record.
    """
    if state.setting is None or not state.finished:
        return []
    began = state.setting.began
    named = PurePath(state.setting.plan.sequence.plant)
    plant = str(named if named.is_absolute() else PurePath(began.job) / named.name)
    found = []
    wrong = not_passed(state)
    if any(one.verdict == "fail" for one in wrong):
        found.append(After("explain", "what went wrong, and what to do about it", ("explain", record)))
    if measured_again(state):
        file = str(PurePath(record).with_name(f"{PurePath(record).stem}-again.yaml"))
        words = f"the {len(wrong)} that did not pass, measured again" if len(wrong) > 1 else "it, measured again"
        command = ("draft", plant, "again", "--record", record, "-o", file)
        found.append(After("again", words, command))
    found.append(After("report", "a report of it", ("report", record)))
    logs = str(PurePath(record).parent)
    found.append(After("next", "what to do next", ("draft", plant, "next", "--logs", logs)))
    return found
