"""Opens the job screen, and carries out what wants the terminal to itself."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from msgspec.structs import replace

from bench import exits
from bench.commands import looks
from bench.commands.common import record_name
from bench.errors import BadRequest
from bench.screens.job.app import open_job
from bench.screens.job.data import Source, Wish
from bench.screens.job.view import JobView, Place
from bench.screens.program.settings import Settings


def show_job(
    plant: Path | None,
    logs: Path,
    settings: Settings,
    place: Place | None = None,
    *,
    passed: Iterable[str] = (),
    operator: str = "",
) -> int:
    """Show the job screen until it is left for good; walks that are started in it take the terminal in between.

    Args:
        plant: the plant file; None for the newest record's plant.
        logs: the folder of records.
        settings: how the screen behaves.
        place: where to begin.
        passed: options that every walk gets.
        operator: who says what was touched.

    Raises:
        BadRequest: there is no terminal to paint on.
    """
    if not looks.paints():
        raise BadRequest("there is no terminal to paint on: 'proveout ready' and 'proveout trace' print")

    def source() -> Source:
        # it reads every kind of file: the first picture does not wait for that
        from bench.commands.job_source import JobSource

        return JobSource(plant, logs, operator)

    start = place or Place("start")
    view: JobView | None = JobView(place=start, behind=(Place("start"),) if start != Place("start") else ())
    while True:
        left = open_job(source, settings, view)
        if left.wish is None or left.view is None:
            return exits.PASS
        view = replace(left.view, note=carry_out(left.wish, logs, passed))
        settings = replace(settings, day=left.day)


def carry_out(wish: Wish, logs: Path, passed: Iterable[str] = ()) -> str:
    """Walk, in a process of its own: just as if it had been typed.

    Args:
        wish: which walk to begin, continue or attach to.
        logs: the folder of records.
        passed: options that every walk gets.

    Returns:
        What to say of it when one is back.
    """
    words = words_of(wish, logs, passed)
    code = subprocess.call([sys.executable, "-m", "bench.cli", *words])
    if code in (exits.BAD_INPUT, exits.STOPPED) and sys.stdin.isatty():
        # what it said would be gone when the screen is painted over it
        input("Enter goes back to the job: ")
    return _ENDED.get(code, f"the walk ended with code {code}")


_ENDED: Final = {
    exits.PASS: "the walk is done: all passed",
    exits.NOT_PASSED: "the walk is done: something failed, is undecided or was skipped; see its record",
    exits.BAD_INPUT: "the walk could not start",
    exits.STOPPED: "the walk is not finished: its record tells how it stands",
}


def words_of(wish: Wish, logs: Path, passed: Iterable[str] = ()) -> list[str]:
    """The words of the command that carries a wish out.

    Args:
        wish: which walk to begin, continue or attach to.
        logs: the folder of records.
        passed: options that every walk gets.
    """
    if wish.act == "walk":
        record = record_name(logs, Path(wish.path).stem)
        return ["walk", wish.path, "--bench", wish.bench, "--record", str(record), *passed]
    return ["walk", f"--{wish.act}", wish.path, *passed]
