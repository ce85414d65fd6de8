"""Commands and simulated benches within the process of the tests, without the second that each takes to start.

The simulated bench is the same one, served by a thread in place of a process: its meters answer on the same
pseudo-terminals with the same bytes, and its hands obey the same lines over a pipe.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

from bench.cli import main
from bench.simulate import serve


class ServingThread:
    """Serves a simulated bench as the process of :func:`bench.simulate.process.start_server` does.

    Attributes:
        stdin: what the configuration and the hands' moves are written to.
        stdout: what comes of them.
    """

    def __init__(self) -> None:
        commands, told = os.pipe()
        answers, replies = os.pipe()
        self.stdin, self.stdout = os.fdopen(told, "wb"), os.fdopen(answers, "rb")
        self._thread = threading.Thread(target=self._serve, args=(commands, replies), name="simulated bench")
        self._thread.start()

    @staticmethod
    def _serve(commands: int, replies: int) -> None:
        try:
            serve.serve(commands, replies)
        finally:
            os.close(commands)
            os.close(replies)

    def wait(self, timeout: float | None = None) -> int:
        """Wait until it has ended.

        Raises:
            subprocess.TimeoutExpired: it did not in this time, in seconds.
        """
        self._thread.join(timeout)
        if self._thread.is_alive():
            raise subprocess.TimeoutExpired("the simulated bench", timeout or 0.0)
        return 0

    def kill(self) -> None:
        """A thread cannot be killed: it has hung, and that is a fault of the bench's."""
        raise AssertionError("the simulated bench did not end with its commands")


@contextlib.contextmanager
def _there(folder: Path, columns: int) -> Iterator[None]:
    """In a folder, with a terminal's width told, and nobody at the keyboard."""
    before, said, keyboard = Path.cwd(), os.environ.get("COLUMNS"), sys.stdin
    os.environ["COLUMNS"] = str(columns)
    os.chdir(folder)
    with open(os.devnull, encoding="utf-8") as nobody:  # noqa: PTH123
        sys.stdin = nobody
        try:
            yield
        finally:
            sys.stdin = keyboard
            os.chdir(before)
            if said is None:
                del os.environ["COLUMNS"]
            else:
                os.environ["COLUMNS"] = said


def command(words: Sequence[object], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command to its end in this process, without a terminal.

    An error that the command does not expect comes out of this, where a process would print it and exit with 1.

    Args:
        words: the command and its arguments.
        folder: that it is run in.

    Returns:
        What a process would have left: exit code and both streams.
    """
    texts = list(map(str, words))
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="", write_through=True) for _ in range(2))
    with _there(folder, 100), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code: int | str | None = main(texts)
        except SystemExit as end:
            code = end.code
    printed, told = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))
    return subprocess.CompletedProcess(texts, code if isinstance(code, int) else int(code is not None), printed, told)
