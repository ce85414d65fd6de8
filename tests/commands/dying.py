"""The program's own commands, killed by SIGKILL at each moment at which they write.

Each command runs in a process of its own, forked from one that has loaded the program, and kills itself at a moment
that is counted: before a file is opened to be written, renamed, made or removed, while it is open and empty, in the
middle of a write, before and after a sync. Told which moment on a line of JSON, this process answers with how the
command ended and how many moments there were.
"""

from __future__ import annotations

import builtins
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

CHANGES: Final = frozenset({"os.rename", "os.remove", "os.mkdir", "os.chmod", "os.truncate"})
WRITES: Final = os.O_WRONLY | os.O_RDWR


class Dying:
    """The process that forks.

    Args:
        folder: that the commands run in.
    """

    def __init__(self, folder: Path) -> None:
        words = [sys.executable, "-m", "tests.commands.dying", str(folder)]
        self._process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def run(self, words: Sequence[str], at: int = 0) -> tuple[int, int]:
        """Run a command to its end, or until it is killed.

        Args:
            words: after ``proveout``.
            at: the moment that kills it; 0 for none.

        Returns:
            Its exit code, -9 where it was killed, and how many moments there were.
        """
        assert self._process.stdin is not None and self._process.stdout is not None
        print(json.dumps({"words": list(words), "at": at}), file=self._process.stdin, flush=True)
        told = json.loads(self._process.stdout.readline())
        return told["code"], told["moments"]

    def __enter__(self) -> Dying:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate()


class _Moments:
    """Counts the moments of this process, and ends it at one of them."""

    def __init__(self) -> None:
        self.count = self.at = 0
        self.on = False
        self._write = os.write
        sys.addaudithook(self._hook)
        os.write = self._written
        for where in (io, builtins):
            where.open = self._opening(where.open)
        for name in ("fsync", "fdatasync"):
            setattr(os, name, self._around(getattr(os, name)))

    def moment(self, before: Any = None) -> None:
        if not self.on:
            return
        self.count += 1
        if self.count == self.at:
            if before is not None:
                before()
            os.kill(os.getpid(), signal.SIGKILL)

    def _hook(self, name: str, arguments: tuple[Any, ...]) -> None:
        if name in CHANGES or (name == "open" and isinstance(arguments[2], int) and arguments[2] & WRITES):
            self.moment()

    def _written(self, descriptor: int, data: Any) -> int:
        self.moment(lambda: self._write(descriptor, data[: len(data) // 2]))
        return self._write(descriptor, data)

    def _opening(self, opens: Any) -> Any:
        def opened(file: Any, mode: str = "r", *more: Any, **named: Any) -> Any:
            found = opens(file, mode, *more, **named)
            if "w" in mode:
                self.moment()
            return found

        return opened

    def _around(self, sync: Any) -> Any:
        def synced(descriptor: int) -> None:
            self.moment()
            sync(descriptor)
            self.moment()

        return synced


def _serve(folder: Path) -> None:
    moments = _Moments()  # before the program takes these functions for itself
    from bench.cli import main
    from bench.record import index

    # a module that is loaded for the first time in this checkout is not compiled to disk, and what is kept of a file is
    # kept at once: else the first run has more moments than the next, and a slow machine more than a quick one
    sys.dont_write_bytecode = True
    index.SETTLED_NS = -1  # type: ignore[misc]
    os.chdir(folder)
    for line in sys.stdin:
        asked = json.loads(line)
        reads, writes = os.pipe()
        child = os.fork()
        if child == 0:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            moments.at, moments.on = asked["at"], True
            code = main(asked["words"])
            sys.stdout.flush()
            moments.on = False
            os.write(writes, str(moments.count).encode())
            os._exit(code)
        os.close(writes)
        told = os.read(reads, 32)
        os.close(reads)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        print(json.dumps({"code": code, "moments": int(told or b"0")}), flush=True)


if __name__ == "__main__":
    _serve(Path(sys.argv[1]))
