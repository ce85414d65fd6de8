"""A record that is open for writing, with the walk that its entries come to."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from bench.record.append import RecordWriter
from bench.walk import events as e
from bench.walk.state import State, take


class OpenRecord(msgspec.Struct):
    """A record that is open for writing, with the fold of what it holds.

    Attributes:
        writer: the record.
        state: after its last line.
        lines: all its raw lines.
        told: called with every entry and the state after it, in order (the console prints from here).
    """

    writer: RecordWriter
    state: State
    lines: list[bytes]
    told: Callable[[e.Entry, State], None] = lambda entry, state: None

    def add(self, event: e.Event) -> e.Entry:
        """Write an event down and take it.

        Raises:
            RecordTrouble: the record cannot be written.
            Refused: the event does not fit.
        """
        entry = self.writer.envelope(event)
        self.state = take(self.state, entry)
        self.lines.append(self.writer.append(entry))
        self.told(entry, self.state)
        return entry
