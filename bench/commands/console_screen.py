"""A person at the terminal as the one screen of a runner in the same process."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from bench.record.chain import decode
from bench.runner import protocol as p
from bench.runner.core import Came, Heard, Left, Runner, Signalled
from bench.screens.walk.plain import Plain

if TYPE_CHECKING:
    from bench.assemble import Walk
    from bench.walk.events import Entry
    from bench.walk.state import State


class LocalScreen:
    """Both ends of the line to a runner in the same process: what the runner sends, and what the person wishes.

    To the runner it is a screen (:class:`bench.runner.core.Screen`), to the plain walk a link
    (:class:`bench.screens.walk.link.Link`).
    """

    where = "this terminal"
    seat = ""

    def __init__(
        self, runner: Runner, record: str, name: str, heard: Callable[[p.ToClient | Entry | None], None]
    ) -> None:
        self.name = self.you = name
        self.record = record
        self._runner = runner
        self._heard = heard
        runner.inbox.put(Came(self))

    def send(self, message: p.ToClient) -> None:
        """What the runner says."""
        self._heard(decode(message.raw.encode()) if isinstance(message, p.Line) else message)

    def wish(self, event: p.Wish) -> None:
        """Ask the runner to record an event."""
        self._runner.inbox.put(Heard(self, p.Do(wish=event)))

    def take_seat(self) -> None:
        """Take the operator's seat."""
        self._runner.inbox.put(Heard(self, p.TakeSeat()))

    def busy(self, covered: bool) -> None:
        """Say whether something covers what is shown."""
        self._runner.inbox.put(Heard(self, p.Busy(covered=covered)))

    def close(self) -> None:
        """Leave."""
        self._runner.inbox.put(Left(self))


def run_with_person(walk: Walk, name: str) -> State:
    """Run a walk with the person at this terminal, line by line; leaving gives the walk up safely.

    So does a terminal whose window was closed, and a screen that fails: whatever ends it, outputs are made safe before
    this returns or raises.

    Raises:
        whatever the runner raised, or the screen.
    """
    ended: list[State | BaseException] = []

    def work() -> None:
        try:
            ended.append(walk.run())
        except BaseException as error:
            ended.append(error)

    thread = threading.Thread(target=work, name="runner")
    plain = Plain(lambda heard: LocalScreen(walk.runner, str(walk.writer.path), name, heard), sys.stdout, sys.stdin)
    thread.start()
    try:
        plain.run()
    except OSError:
        # the terminal is gone, and with it whoever could be told
        _write_to_nobody()
    finally:
        # nobody is left to answer: the walk is over, or it ends now and is made safe
        if thread.is_alive():
            walk.runner.inbox.put(Signalled("the operator, who left the terminal"))
        thread.join()
    outcome = ended[0]
    if isinstance(outcome, BaseException):
        raise outcome
    return outcome


def _write_to_nobody() -> None:
    """Let what is still printed go nowhere: at a terminal that is gone it would fail once more on the way out."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
