"""A screen's end of the line to a runner."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
from collections.abc import Callable
from typing import Final

from bench.record.chain import decode
from bench.runner import protocol as p
from bench.runner.address import RunnerAddress
from bench.walk.events import Entry

PATIENCE: Final = 10.0
"""Seconds that a runner may take to let a client in."""


class NotLetIn(ConnectionError):
    """The runner refused the client, or speaks another version."""


class Client:
    """Connects to a runner and calls ``heard`` for everything that it says, from one thread.

    Record lines arrive as entries. When the line is cut, ``heard`` is called once with None.
    """

    def __init__(self, address: RunnerAddress, name: str, heard: Callable[[p.ToClient | Entry | None], None]) -> None:
        try:
            self._link = address.connect(PATIENCE)
        except OSError as error:
            raise NotLetIn(f"nobody answers at the runner of {address.record}") from error
        self._heard = heard
        self._sending = threading.Lock()
        self._stream = self._link.makefile("rb")
        self._link.settimeout(PATIENCE)
        where = f"{socket.gethostname()} process {os.getpid()}"
        try:
            self._send(p.Hello(token=address.token, name=name, where=where))
            welcome = p.to_client(self._stream.readline(p.LONGEST))
        except (OSError, p.BadMessage) as error:
            self.close()
            raise NotLetIn(f"the runner of {address.record} did not let this screen in") from error
        if not isinstance(welcome, p.Welcome) or welcome.version != p.VERSION:
            self.close()
            raise NotLetIn(f"the runner of {address.record} speaks another version")
        self._link.settimeout(None)
        self.you = welcome.you
        self.welcome = welcome
        self._thread = threading.Thread(target=self._listen, name="runner line", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def wish(self, event: p.Wish) -> None:
        """Ask the runner to record an event.

        Raises:
            ConnectionError: the line is cut.
        """
        self._send(p.Do(wish=event))

    def take_seat(self) -> None:
        """Take the operator's seat."""
        self._send(p.TakeSeat())

    def busy(self, covered: bool) -> None:
        """Say whether something covers the page.

        Raises:
            ConnectionError: the line is cut.
        """
        self._send(p.Busy(covered=covered))

    def close(self) -> None:
        """Leave."""
        with contextlib.suppress(OSError):
            self._link.shutdown(socket.SHUT_RDWR)
        self._stream.close()
        self._link.close()

    def _send(self, message: p.FromClient) -> None:
        try:
            with self._sending:
                self._link.sendall(p.encode(message))
        except OSError as error:
            raise ConnectionError("the runner is gone") from error

    def _listen(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            while line := self._stream.readline(p.LONGEST):
                message = p.to_client(line)
                self._heard(decode(message.raw.encode()) if isinstance(message, p.Line) else message)
        self._heard(None)
