"""Lets screens in: one reading and one writing thread for each, and a queue between.

A screen that does not read is dropped and never waited for; the walk must not hang on a stuck terminal. One that
takes what it is sent, however much there is of it at first, is not.
"""

from __future__ import annotations

import contextlib
import hmac
import itertools
import queue
import socket
import threading
import time
from collections.abc import Callable
from typing import Final

import msgspec

from bench.runner import protocol as p
from bench.runner.address import Listener

WAITING: Final = 2_000
"""Messages that a screen may be behind while it takes none: more than a minute of live readings."""
STUCK: Final = 10.0
"""Seconds that it may take none while it is so far behind; then it is dropped and may come back."""
FURTHEST: Final = 1_000_000
"""Messages that any screen may be behind: no record comes near that many lines."""
KNOCKING: Final = 10.0
"""Seconds that whoever connects may take to say who it is."""
LONGEST_WISH: Final = 2**16
"""Bytes of one message from a screen: a remark of many pages."""
_STOP: Final = b""


class RemoteScreen(msgspec.Struct, eq=False):
    """One screen that is let in.

    Attributes:
        link: the connection.
        name: who is there.
        where: at which screen.
        outbox: what is still to be sent.
        taken: when it took a message last.
        gone: whether it has left.
    """

    link: socket.socket
    name: str
    where: str
    outbox: queue.SimpleQueue[bytes] = msgspec.field(default_factory=queue.SimpleQueue)
    taken: float = msgspec.field(default_factory=time.monotonic)
    gone: bool = False

    def send(self, message: p.ToClient) -> None:
        """Queue a message; a client that is far behind and takes nothing is dropped."""
        self.send_raw(p.encode(message))

    def send_raw(self, raw: bytes) -> None:
        """Queue an encoded message; see :meth:`send`."""
        if self.gone:
            return
        behind = self.outbox.qsize()
        if behind > FURTHEST or (behind > WAITING and time.monotonic() - self.taken > STUCK):
            self.drop()
            return
        self.outbox.put(raw)

    def drop(self) -> None:
        """Cut the connection; both threads end."""
        self.gone = True
        self.outbox.put(_STOP)
        with contextlib.suppress(OSError):
            self.link.shutdown(socket.SHUT_RDWR)


class Server:
    """Accepts clients and hands what they say to ``heard``, ``came`` and ``left``.

    The three callables are called from the clients' threads; the runner's are puts into its one inbox.
    """

    def __init__(
        self,
        frame: Listener,
        *,
        came: Callable[[RemoteScreen], None],
        heard: Callable[[RemoteScreen, p.FromClient], None],
        left: Callable[[RemoteScreen], None],
    ) -> None:
        self._frame = frame
        self._came, self._heard, self._left = came, heard, left
        self._names = itertools.count(1)
        self.clients: list[RemoteScreen] = []
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, name="accepts screens", daemon=True).start()

    def broadcast(self, message: p.ToClient) -> None:
        """Send to every client."""
        raw = p.encode(message)
        with self._lock:
            clients = list(self.clients)
        for client in clients:
            client.send_raw(raw)

    def close(self, why: str) -> None:
        """Say goodbye and let the writers empty their queues, briefly."""
        with self._lock:
            clients, self.clients = list(self.clients), []
        writers = []
        for client in clients:
            client.send(p.Bye(why=why))
            client.outbox.put(_STOP)
            writers.append(client)
        for client in writers:
            writer = next((t for t in threading.enumerate() if t.name == f"writer {id(client)}"), None)
            if writer is not None:
                writer.join(timeout=2.0)
            client.drop()

    def _accept(self) -> None:
        while True:
            try:
                link, _ = self._frame.listener.accept()
            except OSError:
                if self._frame.listener.fileno() < 0:
                    return
                time.sleep(0.1)  # too many open files, say: those who are in are still served
                continue
            threading.Thread(target=self._serve, args=(link,), daemon=True).start()

    def _serve(self, link: socket.socket) -> None:
        with link, link.makefile("rb") as stream:
            link.settimeout(KNOCKING)
            try:
                client = self._admit(link, stream.readline(LONGEST_WISH))
            except OSError:
                return  # nothing was said in time, or the line is cut
            if client is None:
                return
            try:
                while (line := stream.readline(LONGEST_WISH)).endswith(b"\n"):
                    try:
                        self._heard(client, p.from_client(line))
                    except p.BadMessage as error:
                        client.send(p.Refusal(why=f"not understood: {error}"))
            except OSError:
                pass
            finally:
                client.drop()
                with self._lock, contextlib.suppress(ValueError):
                    self.clients.remove(client)
                self._left(client)

    def _admit(self, link: socket.socket, line: bytes) -> RemoteScreen | None:
        try:
            hello = p.from_client(line)
        except p.BadMessage:
            return None
        if not isinstance(hello, p.Hello):
            return None
        if not hmac.compare_digest(hello.token.encode(), self._frame.address.token.encode()):
            return None
        link.settimeout(None)
        name = hello.name or f"screen {next(self._names)}"
        client = RemoteScreen(link, name[:60], hello.where[:80])
        threading.Thread(target=_write, args=(client,), name=f"writer {id(client)}", daemon=True).start()
        with self._lock:
            self.clients.append(client)
        self._came(client)
        return client


def _write(client: RemoteScreen) -> None:
    try:
        while raw := client.outbox.get():
            client.link.sendall(raw)
            client.taken = time.monotonic()
    except OSError:
        pass
    client.drop()
