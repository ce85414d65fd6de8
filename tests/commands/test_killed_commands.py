"""Commands that write plant files, caches, pages and disturbances are killed where they write: nothing is torn, and the
same command does its work the next time.

``python -m tests.benchmarks kills`` kills each of them at every moment."""

from __future__ import annotations

import random
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.job.asfound import as_found
from bench.job.folder import open_folder
from bench.plant.load import load_plant
from bench.record.index import DISTURBANCES, chain_of, declared
from tests.commands.dying import Dying
from tests.job.test_asfound import HUT, reading
from tests.job.test_findings import identified, recorded, seek
from tests.job.test_learn_command import read_whole

COMMANDS = {
    "findings": ["findings", "plant.yaml", "C3", "--write"],
    "learn": ["learn", "plant.yaml", "W1", "--write"],
    "ready": ["ready", "plant.yaml"],
    "report": ["report", "logs", "-o", "page.html"],
    "export": ["export", "logs", "-o", "table.csv"],
    "disturb": ["disturb", "C1", "--note", "moved", "--plant", "plant.yaml"],
    "draft": ["draft", "plant.yaml", "next"],
}
LAST = 4


def made(kind: str, folder: Path) -> Path:
    """A job whose records say what the plant file does not."""
    folder.mkdir(parents=True)
    if kind == "learn":
        return read_whole(folder)
    (folder / "logs").mkdir()
    shutil.copy(HUT, folder / "plant.yaml")
    names = {f"C3.far/{flag}": f"C3.{number}" for number, flag in ((1, 4), (2, 9), (3, 1))}
    recorded(folder, "one.jsonl", seek(), day=3, found=identified(names=names))
    recorded(folder, "two.jsonl", reading("C1.1"), day=4, ohms={"C1.1": 0.1})
    return folder


class Killed:
    """One command, killed on a fresh copy of a job each time.

    Args:
        kind: of :data:`COMMANDS`.
        folder: for the copies.
        dying: runs the commands.
    """

    def __init__(self, kind: str, folder: Path, dying: Dying) -> None:
        self.words, self._dying, self._folder = COMMANDS[kind], dying, folder
        self._job = made(kind, folder / "job")
        self._before = self._files(self._job)
        whole = self._copy("whole")
        self.code, self.moments = self._run(whole, 0)
        assert self.code in (0, 1), self.words
        self._after = self._files(whole)
        self._ready = self._asked(whole)

    def _copy(self, name: str) -> Path:
        return Path(shutil.copytree(self._job, self._folder / name))

    def _run(self, job: Path, at: int) -> tuple[int, int]:
        return self._dying.run(self._words_in(job), at)

    def _words_in(self, job: Path) -> list[str]:
        """The command with the job's own paths."""
        paths = {name: str(job / name) for name in ("plant.yaml", "logs", "page.html", "table.csv")}
        words = [paths.get(word, word) for word in self.words]
        return words if self.words[0] in ("report", "export") else [*words, "--logs", paths["logs"]]

    def _files(self, job: Path) -> dict[str, bytes]:
        return {
            str(path.relative_to(job)): path.read_bytes()
            for path in sorted(job.rglob("*"))
            if path.is_file() and not any(part.startswith(".") for part in path.relative_to(job).parts)
        }

    def _asked(self, job: Path) -> object:
        """What readiness says of a job."""
        plant = load_plant(job / "plant.yaml")
        found = as_found(open_folder(job / "logs", plant.name), plant)
        return [(one.name, one.status) for one in found.ready.things], found.contradictions

    def at(self, moment: int) -> None:
        """Kill it at a moment; look at all files; run it again; look at them again."""
        job = self._copy(f"at-{moment}")
        code, _ = self._run(job, moment)
        assert code == -9, f"{self.words} ended with {code} before its moment {moment}"
        for name, data in self._files(job).items():
            if name == f"logs/{DISTURBANCES}":
                declared(job / "logs")  # a last line may be torn, and is left out
            elif name == "page.html":
                assert data.rstrip().endswith(b"</html>")
            else:
                assert data in (self._before.get(name), self._after.get(name)), f"{name} is torn at {moment}"
        load_plant(job / "plant.yaml")
        assert self._run(job, 0)[0] == self.code
        # half a line that was being written is set aside beside its file
        now = {name: data for name, data in self._files(job).items() if ".torn-" not in name}
        assert now.keys() == self._after.keys()
        for name, data in now.items():
            if name.startswith("logs/"):
                assert not chain_of(job / name).torn
            elif name != "page.html":
                assert data == self._after[name], f"{name} after the kill at {moment}"
        assert len(declared(job / "logs")) in ((1, 2) if self.words[0] == "disturb" else (0,))
        assert self._asked(job) == self._ready
        shutil.rmtree(job)


@pytest.fixture(scope="module")
def dying(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dying]:
    with Dying(tmp_path_factory.mktemp("dying")) as one:
        yield one


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL and fork")
@pytest.mark.parametrize("kind", COMMANDS)
def test_a_command_that_is_killed_where_it_writes_leaves_all_whole(tmp_path: Path, dying: Dying, kind: str) -> None:
    killed = Killed(kind, tmp_path, dying)
    assert killed.moments > LAST
    # what the command is for is written last
    drawn = random.Random(f"killed {kind}").randint(1, killed.moments - LAST)
    for moment in (drawn, *range(killed.moments - LAST + 1, killed.moments + 1)):
        killed.at(moment)
