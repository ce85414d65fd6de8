"""One replay of a record: each entry goes through the machine, and what does not fit is told by file and line.

Replaying, judging again, reports, exports, verifying and going on after a crash all come through here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from bench.record.read import BrokenRecord, read_record
from bench.walk.events import Entry
from bench.walk.outcome import Outcome
from bench.walk.results import outcomes
from bench.walk.setting import Rules
from bench.walk.state import OutOfTurn, Refused, Stale, State, start, take


class Taken(NamedTuple):
    """One entry of a record, with the state before it and the state after it."""

    before: State
    entry: Entry
    after: State


def take_next(state: State, entry: Entry, record: Path) -> State:
    """The state after the next entry of a record.

    Args:
        state: before it.
        entry: the entry.
        record: where it stands, for the message.

    Raises:
        BrokenRecord: the machine cannot have written it here.
    """
    try:
        return take(state, entry)
    except (OutOfTurn, Refused, Stale) as error:
        raise BrokenRecord(record, entry.n, f"does not follow from the lines before it: {error}") from error


def follow(record: Path, entries: Iterable[Entry] | None = None, rules: Rules | None = None) -> Iterator[Taken]:
    """Take the entries of a record one after the other, from the beginning of its walk.

    Args:
        record: the record; it is read, its chain checked, unless its entries are given.
        entries: all of them, in order, where they are at hand already.
        rules: other limits or another decision rule than the walk's own.

    Yields:
        Each entry with the states around it.

    Raises:
        BrokenRecord: a line is wrong, or the machine cannot have written an entry where it stands.
    """
    state = start(rules)
    for entry in read_record(record) if entries is None else entries:
        before, state = state, take_next(state, entry, record)
        yield Taken(before, entry, state)


def brought(step: Taken) -> Outcome | None:
    """The outcome that an entry itself brought; None where it brought none.

    Steps that the walk passed over in consequence stand after it in the history and are left out.
    """
    for outcome in outcomes(step.after):
        if outcome.n != step.entry.n:
            return None
        if not outcome.barred:
            return outcome
    return None


def replay(path: Path, rules: Rules | None = None, told: Callable[[Entry, State], None] | None = None) -> State:
    """Read a record, its chain checked, and take all of it.

    Args:
        path: the record.
        rules: other limits or another decision rule than the walk's own.
        told: is called with every entry and the state after it.

    Returns:
        The state at its end.

    Raises:
        BrokenRecord: it is no record of a walk, or not one that the machine could have written.
    """
    state = start(rules)
    for _, entry, state in follow(path, rules=rules):
        if told is not None:
            told(entry, state)
    if state.setting is None:
        raise BrokenRecord(path, 0, "holds no walk")
    return state
