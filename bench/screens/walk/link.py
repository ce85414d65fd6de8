"""What a screen needs of the line to a runner, and the real line behind it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from bench.runner.address import RunnerAddress
    from bench.runner.client import Client
    from bench.runner.protocol import ToClient, Wish
    from bench.walk.events import Entry

    Heard = Entry | ToClient | None
    """What comes over the line: the record's entries, live readings, refusals, goodbyes; None once when it is cut."""


class Link(Protocol):
    """One end of the line; its methods may be called from any thread and return at once."""

    @property
    def you(self) -> str:
        """The name under which the runner knows this screen."""

    @property
    def record(self) -> str:
        """Where the record is."""

    @property
    def seat(self) -> str:
        """Who held the operator's seat when this screen came in; empty: nobody."""

    def wish(self, event: Wish) -> None:
        """Ask the runner to record an event.

        Raises:
            ConnectionError: the line is cut.
        """

    def take_seat(self) -> None:
        """Take the operator's seat.

        Raises:
            ConnectionError: the line is cut.
        """

    def busy(self, covered: bool) -> None:
        """Say whether something covers the page: the walk does not go on meanwhile.

        Raises:
            ConnectionError: the line is cut.
        """

    def close(self) -> None:
        """Leave."""


Connect = Callable[[Callable[["Heard"], None]], Link]
"""Makes a line; what comes over it is handed to the given callable, from one thread.

It is called off the screen's own thread, so it may take its time: start a runner, wait until it answers.

Raises:
    ConnectionError, OSError: there is no runner; the text says why.
"""


class ClientLink:
    """The line of a :class:`bench.runner.client.Client`."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self.you = client.you
        self.record = client.welcome.record
        self.seat = client.welcome.seat

    def wish(self, event: Wish) -> None:
        """See :meth:`Link.wish`."""
        self._client.wish(event)

    def take_seat(self) -> None:
        """See :meth:`Link.take_seat`."""
        self._client.take_seat()

    def busy(self, covered: bool) -> None:
        """See :meth:`Link.busy`."""
        self._client.busy(covered)

    def close(self) -> None:
        """See :meth:`Link.close`."""
        self._client.close()


def through(find: Callable[[], RunnerAddress], name: str) -> Connect:
    """A connection to a runner.

    Args:
        find: says where the runner answers; called off the screen's thread, so it may start a runner and wait for it.
        name: of the person at this screen.
    """

    def connect(heard: Callable[[Heard], None]) -> Link:
        from bench.runner.client import Client

        client = Client(find(), name, heard)
        client.start()
        return ClientLink(client)

    return connect
