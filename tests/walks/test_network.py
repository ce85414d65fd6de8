"""Nothing listens on the network, and nothing is called over it, unless somebody asks for that."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import wave
from pathlib import Path

import pytest

from bench.cli import COMMANDS
from bench.runner.address import address_file, read_address
from tests.walks.terminal import Terminal
from tests.walks.test_new_job import TABLE
from tests.walks.tool import JOB, bench_without_faults, environment, started, wait_for_lines

HOOK = """
import os, socket, sys

def watch(event, arguments):
    if event in ("socket.bind", "socket.connect", "socket.getaddrinfo", "socket.sendto"):
        family = getattr(arguments[0], "family", None)
        if family != getattr(socket, "AF_UNIX", None):
            with open(os.environ["HEARD"], "a") as out:
                out.write(f"{event} {arguments} in {sys.argv}\\n")

sys.addaudithook(watch)
"""
"""Loaded by every Python that is started with it on its path, the program's own children too."""

ASKED = frozenset({"browser"})
"""Commands that are there to be reached over a network; they have tests of their own."""

EACH = """
import contextlib, io, sys
from bench.cli import main
for words in {commands!r}:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out), contextlib.suppress(SystemExit):
        code = main(words)
    assert code in (0, 1), (words, code, out.getvalue())
"""


@pytest.fixture
def watched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Has every process that is started write down its dealings with the network; the file."""
    (tmp_path / "hook").mkdir()
    (tmp_path / "hook" / "sitecustomize.py").write_text(HOOK, "utf-8")
    heard = tmp_path / "heard.txt"
    monkeypatch.setenv("HEARD", str(heard))
    path = os.pathsep.join((str(tmp_path / "hook"), environment()["PYTHONPATH"]))
    for module in ("tests.walks.tool", "tests.walks.terminal"):
        monkeypatch.setattr(f"{module}.environment", lambda: {**os.environ, "PYTHONPATH": path, "COLUMNS": "100"})
    monkeypatch.setenv("PYTHONPATH", path)
    return heard


def sockets_of(process: int) -> list[str]:
    """The lines of a process's internet sockets, as the system has them."""
    mine = set()
    for link in Path(f"/proc/{process}/fd").iterdir():
        try:
            mine.add(str(link.readlink()))
        except OSError:
            continue  # closed just now
    found = []
    for table in ("tcp", "tcp6", "udp", "udp6"):
        path = Path(f"/proc/{process}/net/{table}")
        for line in path.read_text("ascii").splitlines()[1:] if path.exists() else ():
            if f"socket:[{line.split()[9]}]" in mine:
                found.append(f"{table} {line}")
    return found


def test_the_hook_hears(watched: Path) -> None:
    code = "import socket\nsocket.create_server(('127.0.0.1', 0)).close()"
    subprocess.run([sys.executable, "-c", code], check=True)
    assert "socket.bind" in watched.read_text("utf-8")


@pytest.mark.slow
def test_no_command_deals_with_the_network(watched: Path, tmp_path: Path) -> None:
    bench, sequence = bench_without_faults(tmp_path), JOB / "polarity-bay-2.yaml"
    logs, plant = tmp_path / "logs", JOB / "plant.yaml"
    one, two = logs / "1.jsonl", logs / "2.jsonl"
    job, finds = tmp_path / "job", tmp_path / "finds.csv"
    finds.write_text(TABLE, "utf-8")
    trips, tone = tmp_path / "trips.csv", tmp_path / "tone.wav"
    trips.write_text("at,thing\n2026-05-09T14:30,FA2A\n2026-05-10T14:30,FA2A\n", "utf-8")
    with wave.open(str(tone), "wb") as sound:
        sound.setparams((1, 2, 8000, 0, "NONE", ""))
        sound.writeframes(b"".join(struct.pack("<h", 1000 * (n % 2)) for n in range(16000)))
    commands = [
        ["check", plant, sequence, "--bench", bench],
        ["schema", "record"],
        ["ports"],
        ["profile", "scpi-bench-meter"],
        ["draft", plant, "continuity", "--cable", "W101", "-o", tmp_path / "drafted.yaml"],
        ["run", sequence, "--bench", bench, "--record", one, "--speed", "300"],
        ["run", sequence, "--bench", bench, "--record", two, "--speed", "300"],
        ["replay", one],
        ["ready", plant, "--logs", logs],
        ["disturb", "2A", "--plant", plant, "--logs", logs],
        ["trace", "2A.A", "--logs", logs],
        ["compare", one, two],
        ["report", one, "-o", tmp_path / "r.html"],
        ["verify", logs],
        ["export", one, "-o", tmp_path / "r.csv"],
        ["earth", plant],
        ["identify", "W512", "--plant", plant, "--plan"],
        ["sheet", sequence, "-o", tmp_path / "sheet.csv"],
        ["outputs", one],
        ["findings", plant, "--logs", logs],
        ["new", job, "--name", "hut", "--title", "", "--feed", "+24 V", "--feeds", "A,B", "--bays", "3"],
        ["survey", job, "--import", finds, "--tell"],
        ["attach", one, finds],
        ["heads", logs],
        ["distance", "W104.1", "short", "--bench", bench, "--plant", plant],
        ["noise", tone],
        ["trips", plant, trips],
    ]
    words = [[str(word) for word in command] for command in commands]
    code = EACH.format(commands=words)
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert not watched.exists(), watched.read_text("utf-8")
    tried = {command[0] for command in words}
    # a walk of its own below; these load nothing that those above do not
    assert set(COMMANDS) - tried <= ASKED | {"walk", "demo", "open", "explain", "judge", "watch", "learn"}


@pytest.mark.skipif(not Path("/proc/self/net/tcp").exists(), reason="the system does not show a process's sockets")
def test_a_walk_at_a_terminal_and_its_runner_have_no_socket_on_the_network(watched: Path, tmp_path: Path) -> None:
    record = tmp_path / "walk.jsonl"
    words = ("walk", JOB / "continuity-W101.yaml", "--bench", bench_without_faults(tmp_path), "--record", record)
    terminal = Terminal(*words, "--plain", "--give-up-after", "5", cwd=tmp_path)
    try:
        terminal.expect("CAUTION")
        door = read_address(address_file(record))
        assert door.unix and not door.port and len(door.token) >= 32
        assert address_file(record).stat().st_mode & 0o077 == 0
        for process in (terminal.process.pid, door.process):
            assert sockets_of(process) == []
    finally:
        terminal.process.kill()
        terminal.process.wait()
    assert not watched.exists(), watched.read_text("utf-8")


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/net/tcp").exists(), reason="the system does not show a process's sockets")
def test_a_run_has_no_socket_on_the_network(tmp_path: Path) -> None:
    record = tmp_path / "run.jsonl"
    words = ("run", JOB / "continuity-W101.yaml", "--bench", bench_without_faults(tmp_path), "--record", record)
    process = started(*words, "--speed", 2, cwd=tmp_path)
    try:
        wait_for_lines(record, 12)
        assert sockets_of(process.pid) == []
        assert process.poll() is None
    finally:
        process.terminate()
        process.communicate(timeout=20)
