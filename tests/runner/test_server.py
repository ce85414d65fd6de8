"""Letting screens in over a real socket: the wrong ones, the slow ones, many of them."""

from __future__ import annotations

import contextlib
import random
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bench.runner import client as clients
from bench.runner import protocol as p
from bench.runner import server as servers
from bench.runner.address import Listener
from bench.runner.client import NotLetIn
from bench.runner.server import RemoteScreen, Server
from bench.walk import events as e
from tests.runner.fake_world import PATIENCE, Bell


class Porch:
    """A server whose three callables keep what they are called with."""

    def __init__(self, frame: Listener) -> None:
        self.frame = frame
        self.bell = Bell()
        self.came: list[RemoteScreen] = []
        self.heard: list[tuple[str, p.FromClient]] = []
        self.left: list[RemoteScreen] = []
        self.server = Server(frame, came=self._came, heard=self._heard, left=self._left)

    def _came(self, client: RemoteScreen) -> None:
        client.send(p.Welcome(record="r", you=client.name))
        self.came.append(client)
        self.bell.ring()

    def _heard(self, client: RemoteScreen, message: p.FromClient) -> None:
        self.heard.append((client.name, message))
        self.bell.ring()

    def _left(self, client: RemoteScreen) -> None:
        self.left.append(client)
        self.bell.ring()

    def wait(self, holds: Callable[[], object]) -> None:
        self.bell.wait(holds)

    def knock(self) -> socket.socket:
        link = self.frame.address.connect(1.0)
        link.settimeout(PATIENCE)
        return link

    def enter(self, name: str) -> socket.socket:
        link = self.knock()
        link.sendall(p.encode(p.Hello(token=self.frame.address.token, name=name)))
        assert b"welcome" in line_of(link)
        return link


def line_of(link: socket.socket) -> bytes:
    """The next line, byte by byte so that nothing after it is taken; empty where the line is cut."""
    line = b""
    while not line.endswith(b"\n"):
        try:
            byte = link.recv(1)
        except ConnectionError:
            return b""
        if not byte:
            return b""
        line += byte
    return line


@pytest.fixture
def porch(tmp_path: Path) -> Iterator[Porch]:
    with Listener(tmp_path / "walk.jsonl") as frame:
        made = Porch(frame)
        yield made
        made.server.close("the end of the test")


GARBAGE = [
    b"\n",
    b"GET / HTTP/1.1\r\n\r\n",
    b'{"say":"hello","token":"wrong"}\n',
    b'{"say":"hello","token":""}\n',
    b'{"say":"hello"}\n',
    b'{"say":"take-seat"}\n',
    b'{"say":"hello","token":"\xc3\xa9"}\n',
    b"\x00" * 100 + b"\n",
    b"[" * 60_000 + b"\n",
    b"x" * 70_000 + b"\n",
]


@pytest.mark.parametrize("first", GARBAGE, ids=range(len(GARBAGE)))
def test_without_the_token_nobody_is_let_in(porch: Porch, first: bytes) -> None:
    with porch.knock() as link:
        with contextlib.suppress(ConnectionError):  # cut while still talking
            link.sendall(first)
        assert line_of(link) == b""
    assert porch.came == [] and porch.server.clients == []
    porch.enter("Ana").close()


def test_a_token_that_begins_right_is_wrong(porch: Porch) -> None:
    token = porch.frame.address.token
    for wrong in (token[:-1], token + "x", token.swapcase(), token + "\u0000"):
        with porch.knock() as link:
            link.sendall(p.encode(p.Hello(token=wrong)))
            assert line_of(link) == b""
    assert porch.came == []


def test_tokens_are_compared_in_constant_time(porch: Porch, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the library's function for it, with bytes on both sides so that its length does not matter either."""
    compared: list[tuple[Any, Any]] = []
    real = servers.hmac.compare_digest
    monkeypatch.setattr(servers.hmac, "compare_digest", lambda a, b: (compared.append((a, b)), real(a, b))[1])
    porch.enter("Ana").close()
    assert compared == [(porch.frame.address.token.encode(), porch.frame.address.token.encode())]


def test_who_says_nothing_is_not_waited_for(porch: Porch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(servers, "KNOCKING", 0.05)
    with porch.knock() as link:
        link.sendall(b'{"say":"hel')
        assert line_of(link) == b""
    assert porch.came == []


def test_a_client_that_is_let_in_may_be_silent_as_long_as_it_likes(
    porch: Porch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(servers, "KNOCKING", 0.05)
    with porch.enter("Ana") as link:
        for _ in range(2):
            with porch.knock() as other:
                assert line_of(other) == b"", "two that came later were sent away meanwhile, one after the other"
        link.sendall(p.encode(p.TakeSeat()))
        porch.wait(lambda: porch.heard)


def test_garbage_from_one_who_is_in_is_refused_and_the_line_stays(porch: Porch) -> None:
    chance = random.Random(5)
    good = p.encode(p.Do(wish=e.Noted(text="hello")))
    with porch.enter("Ana") as link:
        for _ in range(200):
            line = bytearray(good[:-1])
            for _ in range(chance.randint(1, 6)):
                line[chance.randrange(len(line))] = chance.choice([b for b in range(256) if b != 10])
            link.sendall(bytes(line) + b"\n")
        link.sendall(b"[" * 60_000 + b"\n")
        link.sendall(p.encode(p.TakeSeat()))
        porch.wait(lambda: ("Ana", p.TakeSeat()) in porch.heard)
        refusals = 0
        for client in porch.came:
            client.send(p.Bye(why="enough"))
        while b'"bye"' not in (line := line_of(link)):
            assert b'"refusal"' in line and b"not understood" in line
            refusals += 1
    assert refusals + len(porch.heard) == 202


def test_who_talks_without_end_is_dropped(porch: Porch) -> None:
    with porch.enter("Ana") as link:
        link.sendall(b"x" * (servers.LONGEST_WISH + 10))
        porch.wait(lambda: porch.left)
    assert porch.heard == []


def test_a_slow_screen_is_dropped_and_nobody_waits_for_it(porch: Porch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(servers, "WAITING", 20)
    monkeypatch.setattr(servers, "STUCK", 0.0)
    with porch.enter("slow") as slow, porch.enter("quick") as quick:
        got: list[bytes] = []
        reading = threading.Thread(target=lambda: got.extend(iter(lambda: line_of(quick), b"")), daemon=True)
        stuck = next(client for client in porch.came if client.name == "slow")
        big = p.Line(raw="x" * 100_000)
        for _ in range(100):
            stuck.send(big)  # its socket is full long before that
        porch.wait(lambda: stuck in porch.left)
        assert stuck.gone
        monkeypatch.setattr(servers, "STUCK", 10.0)
        reading.start()
        for number in range(50):
            porch.server.broadcast(p.Refusal(why=str(number)))
        porch.server.close("done")
        reading.join(PATIENCE)
        assert [line for line in got if b'"refusal"' in line] == [
            p.encode(p.Refusal(why=str(number))) for number in range(50)
        ]
        assert got[-1] == p.encode(p.Bye(why="done"))
        assert slow.fileno() >= 0


def test_a_screen_that_comes_late_is_not_dropped_for_all_that_it_has_to_read(
    porch: Porch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(servers, "WAITING", 20)
    with porch.enter("late") as link:
        client = porch.came[0]
        for number in range(20_000):
            client.send(p.Line(raw=str(number)))
        with link.makefile("rb") as stream:
            for number in range(20_000):
                assert p.to_client(stream.readline()) == p.Line(raw=str(number))
        assert not client.gone


def test_the_longest_queue_has_an_end(porch: Porch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(servers, "FURTHEST", 30)
    with porch.enter("slow"):
        client = porch.came[0]
        for _ in range(200):
            client.send(p.Line(raw="x" * 100_000))
        assert client.gone


def test_many_screens_come_hear_everything_and_leave_nothing_behind(porch: Porch) -> None:
    before = threading.active_count()
    links = [porch.enter(f"screen {number}") for number in range(30)]
    porch.wait(lambda: len(porch.came) == 30)
    assert len(porch.server.clients) == 30
    porch.server.broadcast(p.Refusal(why="hello"))
    for number, link in enumerate(links):
        assert line_of(link) == p.encode(p.Refusal(why="hello"))
        link.sendall(p.encode(p.Do(wish=e.Noted(text=str(number)))))
    porch.wait(lambda: len(porch.heard) == 30)
    assert {name for name, _ in porch.heard} == {f"screen {number}" for number in range(30)}
    for link in links:
        link.close()
    porch.wait(lambda: len(porch.left) == 30)
    assert porch.server.clients == []
    for thread in threading.enumerate():
        if thread.name.startswith("writer "):
            thread.join(PATIENCE)
    assert threading.active_count() <= before + 30, "readers end by themselves"
    assert not any(thread.name.startswith("writer ") for thread in threading.enumerate())


def test_names_are_given_to_those_who_have_none_and_cut_where_too_long(porch: Porch) -> None:
    porch.enter("").close()
    porch.enter("").close()
    porch.enter("n" * 1000).close()
    porch.wait(lambda: len(porch.came) == 3)
    assert [client.name for client in porch.came] == ["screen 1", "screen 2", "n" * 60]


def test_a_door_that_fails_for_a_moment_still_opens_afterwards(tmp_path: Path) -> None:
    """Too many open files, say: the thread at the door must not end for that."""

    class Faltering:
        def __init__(self, listener: socket.socket) -> None:
            self.listener = listener
            self.failed = False

        def accept(self) -> tuple[socket.socket, Any]:
            if not self.failed:
                self.failed = True
                raise OSError(24, "Too many open files")
            return self.listener.accept()

        def fileno(self) -> int:
            return self.listener.fileno()

    with Listener(tmp_path / "walk.jsonl") as frame:
        faltering: Any = SimpleNamespace(listener=Faltering(frame.listener), address=frame.address)
        porch = Porch(faltering)
        porch.enter("Ana").close()
        assert faltering.listener.failed
        porch.server.close("")


# the client's end


def client_of(porch: Porch, heard: list[Any], bell: Bell | None = None) -> clients.Client:
    def hear(message: Any) -> None:
        heard.append(message)
        if bell is not None:
            bell.ring()

    return clients.Client(porch.frame.address, "Ana", hear)


def test_a_client_says_who_it_is_and_hears_once_that_the_line_is_cut(porch: Porch) -> None:
    heard: list[Any] = []
    bell = Bell()
    client = client_of(porch, heard, bell)
    assert client.you == "Ana"
    client.start()
    client.wish(e.Noted(text="hello"))
    client.take_seat()
    porch.wait(lambda: len(porch.heard) == 2)
    assert [message for _, message in porch.heard] == [p.Do(wish=e.Noted(text="hello")), p.TakeSeat()]
    porch.came[0].send(p.Refusal(why="no"))
    bell.wait(lambda: heard)
    porch.came[0].drop()
    bell.wait(lambda: heard[-1] is None)
    assert heard == [p.Refusal(why="no"), None]
    client.close()
    with pytest.raises(ConnectionError, match="the runner is gone"):
        client.wish(e.Noted(text="anybody?"))


def test_a_client_that_leaves_hears_so_too(porch: Porch) -> None:
    heard: list[Any] = []
    bell = Bell()
    client = client_of(porch, heard, bell)
    client.start()
    client.close()
    bell.wait(lambda: heard == [None])


def test_garbage_from_a_runner_ends_the_line_and_not_the_screen(porch: Porch) -> None:
    heard: list[Any] = []
    bell = Bell()
    client = client_of(porch, heard, bell)
    client.start()
    porch.came[0].send_raw(b"\xff\n")
    bell.wait(lambda: heard == [None])
    client.close()


def test_a_client_with_the_wrong_token_is_not_let_in(porch: Porch) -> None:
    from msgspec.structs import replace

    with pytest.raises(NotLetIn, match="did not let this screen in"):
        clients.Client(replace(porch.frame.address, token="wrong"), "Ana", lambda message: None)


def test_nobody_answers_at_a_dead_door(tmp_path: Path) -> None:
    with Listener(tmp_path / "walk.jsonl") as frame:
        door = frame.address
    with pytest.raises(NotLetIn, match="nobody answers at the runner of"):
        clients.Client(door, "Ana", lambda message: None)


def test_a_runner_of_another_version_is_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Listener(tmp_path / "walk.jsonl") as frame:
        server = Server(
            frame,
            came=lambda client: client.send(p.Welcome(record="r", you="x", version=p.VERSION + 1)),
            heard=lambda client, message: None,
            left=lambda client: None,
        )
        with pytest.raises(NotLetIn, match="speaks another version"):
            clients.Client(frame.address, "Ana", lambda message: None)
        server.close("")


def test_a_runner_that_does_not_answer_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clients, "PATIENCE", 0.05)
    with Listener(tmp_path / "walk.jsonl") as frame, pytest.raises(NotLetIn, match="did not let this screen in"):
        clients.Client(frame.address, "Ana", lambda message: None)
