"""The way to a runner: private, and found only while somebody is behind it."""

from __future__ import annotations

import os
import socket
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.record.append import RecordTrouble
from bench.runner import address as runners
from bench.runner.address import Listener, address_file, live_runners, read_address


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return tmp_path / "walk.jsonl"


@pytest.fixture(params=["a local socket", "loopback"])
def kind(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both kinds of socket, whatever this system has."""
    if request.param == "loopback":
        monkeypatch.setattr(runners, "HAS_UNIX", False)
    elif not runners.HAS_UNIX:
        pytest.skip("this system has no local sockets")
    return str(request.param)


@pytest.fixture
def frame(record: Path, kind: str) -> Iterator[Listener]:
    with Listener(record) as made:
        yield made


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_the_address_file_is_for_its_owner_only(record: Path, frame: Listener) -> None:
    assert mode(address_file(record)) == 0o600
    if frame.address.unix:
        assert mode(Path(frame.address.unix).parent) == 0o700, "nobody else reaches the socket either"
    else:
        assert frame.listener.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize("mask", [0o000, 0o022, 0o077])
def test_it_is_so_under_any_mask(record: Path, mask: int) -> None:
    before = os.umask(mask)
    try:
        with Listener(record):
            assert mode(address_file(record)) == 0o600
    finally:
        os.umask(before)


def test_a_left_over_or_a_trap_is_not_written_into(record: Path, tmp_path: Path) -> None:
    """A file of the same name, open to all or leading elsewhere, does not get the token."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("precious")
    fresh = address_file(record).with_name(f"{address_file(record).name}.{os.getpid()}")
    fresh.symlink_to(elsewhere)
    with Listener(record) as made:
        assert elsewhere.read_text() == "precious"
        assert made.address.token not in elsewhere.read_text()
        assert mode(address_file(record)) == 0o600
        assert not fresh.exists()


def test_tokens_are_long_and_never_the_same(record: Path, tmp_path: Path) -> None:
    tokens = set()
    for number in range(5):
        with Listener(tmp_path / f"{number}.jsonl") as made:
            tokens.add(made.address.token)
    assert len(tokens) == 5
    assert min(len(token) for token in tokens) >= 32


def test_the_file_leads_to_the_listener(record: Path, frame: Listener) -> None:
    address = read_address(address_file(record))
    assert address == frame.address
    assert (address.record, address.process) == (str(record.resolve()), os.getpid())
    with address.connect(1.0) as link:
        other, _ = frame.listener.accept()
        with other:
            link.sendall(b"x")
            assert other.recv(1) == b"x"
    assert live_runners(record.parent) == [address]


def test_what_was_closed_is_gone(record: Path, kind: str) -> None:
    with Listener(record) as made:
        address = made.address
    assert not address_file(record).exists()
    assert not address.unix or not Path(address.unix).parent.exists()
    with pytest.raises(OSError):
        address.connect(1.0)


def test_shutting_wakes_who_waits_for_a_knock(record: Path, kind: str) -> None:
    made = Listener(record)
    ended: list[type] = []

    def wait() -> None:
        try:
            made.listener.accept()
        except OSError as error:
            ended.append(type(error))

    waiting = threading.Thread(target=wait, daemon=True)
    waiting.start()
    made.close()
    waiting.join(10.0)
    assert not waiting.is_alive() and len(ended) == 1


def test_a_dead_runner_is_passed_over_and_left_alone(record: Path, tmp_path: Path, kind: str) -> None:
    """After a crash the file is still there; and other files may end alike."""
    with Listener(record) as made:
        dead = address_file(record).read_bytes()
    address_file(record).write_bytes(dead)
    (tmp_path / "rubbish.runner").write_bytes(b"\xff{")
    (tmp_path / "empty.runner").write_bytes(b"")
    (tmp_path / "folder.runner").mkdir()
    assert live_runners(tmp_path) == []
    assert address_file(record).read_bytes() == dead
    with Listener(tmp_path / "other.jsonl") as alive:
        assert live_runners(tmp_path) == [alive.address]
    with Listener(record) as again:
        assert read_address(address_file(record)).token == again.address.token != made.address.token


def test_two_runners_have_two_addresses_newest_first(tmp_path: Path) -> None:
    with Listener(tmp_path / "one.jsonl") as one, Listener(tmp_path / "two.jsonl") as two:
        os.utime(one.path, (1, 1))
        assert live_runners(tmp_path) == [two.address, one.address]
        os.utime(two.path, (0, 0))
        assert live_runners(tmp_path) == [one.address, two.address]


def test_the_address_file_another_runner_is_not_taken_away(record: Path) -> None:
    first = Listener(record)
    with Listener(record) as second:
        first.close()
        assert read_address(address_file(record)) == second.address


@pytest.mark.parametrize("text", [b"", b"{}", b"[]", b'{"record":1}', b"\x00\xff"])
def test_what_is_no_address_file_leads_nowhere(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "x.runner"
    path.write_bytes(text)
    with pytest.raises(FileNotFoundError, match="leads to no runner"):
        read_address(path)
    with pytest.raises(FileNotFoundError, match="leads to no runner"):
        read_address(tmp_path / "none.runner")


def test_an_address_that_cannot_be_put_up_is_told_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[str] = []
    make = runners.tempfile.mkdtemp
    monkeypatch.setattr(runners.tempfile, "mkdtemp", lambda prefix: made.append(make(prefix=prefix)) or made[-1])
    with pytest.raises(RecordTrouble, match=r"runner cannot be written: No such file or directory"):
        Listener(tmp_path / "no folder" / "walk.jsonl")
    assert made and not Path(made[0]).exists()


def test_where_the_path_is_too_long_for_a_socket_loopback_does(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = record.parent / ("x" * 100)
    deep.mkdir()
    monkeypatch.setattr(runners.tempfile, "mkdtemp", lambda prefix: str(deep))
    with Listener(record) as made:
        assert made.address.unix == "" and made.address.port
        with made.address.connect(1.0) as link:
            assert link.family == socket.AF_INET


LISTENS = """
import sys, time
from pathlib import Path
from bench.runner.address import Listener
made = Listener(Path(sys.argv[1]))
print(made.address.unix, flush=True)
sys.stdin.read()
"""


@pytest.mark.skipif(not runners.HAS_UNIX, reason="there is no socket with a path")
def test_what_a_killed_one_left_goes_when_its_record_is_gone_on_with(record: Path) -> None:
    """Its socket's folder; that of one that still answers stays."""
    words = [sys.executable, "-c", LISTENS, str(record)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        place = Path(process.stdout.readline().strip())
        runners._clear_away(address_file(record))
        assert place.is_socket()
        process.kill()
        process.wait()
    assert place.is_socket()
    with Listener(record) as made:
        assert not place.parent.exists() and Path(made.address.unix).is_socket()
