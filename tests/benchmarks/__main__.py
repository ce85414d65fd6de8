"""Runs the benchmarks one after the other and writes their figures into RESULTS.md.

``python -m tests.benchmarks [NAME...]``, names without ``bench_``; by default all that have a target. A section of
RESULTS.md is replaced when its benchmark was run, and the others stay as they are.
"""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

HERE: Final = Path(__file__).parent
RESULTS: Final = HERE / "RESULTS.md"
ORDERED: Final[dict[str, tuple[str, ...]]] = {
    "start": (),
    "step": (),
    "reading": (),
    "record": (),
    "job": (),
    "network": (),
    "live": (),
    "evidence": ("--only", "folder"),
    "abort": (),
    "guard": (),
    "faults": (),
    "power": (),
    "crash": (),
    "kills": (),
    "conductors": (),
    "map": ("1000", "12000"),
    "earth": ("--plants", "50"),
    "survey": (),
    "risk": (),
    "insulation": (),
    "typed": (),
    "mistyped": (),
    "clocks": (),
    "first_powers": ("all",),
    "hunt": (),
    "distance": (),
    "long_watch": (),
    "rebuild": (),
}
"""Benchmark to its arguments, in the order of the page; what is not named here comes after, without arguments."""
LONG: Final = frozenset(
    {
        "crash",
        "kills",
        "conductors",
        "map",
        "earth",
        "survey",
        "risk",
        "insulation",
        "typed",
        "clocks",
        "first_powers",
        "hunt",
        "distance",
        "long_watch",
    }
)
"""Those that take many minutes: run by name only."""
WHOLE: Final[dict[str, tuple[str, ...]]] = {"rebuild": ("--count", "1000")}
"""What ``--all`` asks of a benchmark in place of that."""
HEAD: Final = """# Figures

Each section is what its command printed, and is written by it. `make bench` runs the quick ones, `make bench-long` all.
Every figure of speed is a ratio against a baseline in the same run, both sides by turns; only ratios carry over to
another machine.
"""


def found() -> list[str]:
    """The benchmarks that are there, in the page's order."""
    there = {path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py")}
    return [*(name for name in ORDERED if name in there), *sorted(there - set(ORDERED))]


def section(name: str, printed: str) -> str:
    """A benchmark's section of the page."""
    module = (HERE / f"bench_{name}.py").read_text("utf-8")
    about = re.match(r'(?:#[^\n]*\n)*"""(.*?)(?:\n\n|""")', module, re.DOTALL)
    assert about is not None, f"bench_{name} does not say what it is"
    when = datetime.now(UTC).strftime("%Y-%m-%d")
    where = f"{os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"
    told = " ".join(about[1].split())
    command = f"`python -m tests.benchmarks {name}` ({when}; {where}; the machine was shared)"
    return f"## {name}\n\n{told}\n\n{command}\n\n```text\n{printed.strip()}\n```\n"


def kept() -> dict[str, str]:
    """The sections that the page has now."""
    if not RESULTS.exists():
        return {}
    parts = re.split(r"^(?=## )", RESULTS.read_text("utf-8"), flags=re.MULTILINE)
    return {
        part.split("\n", 1)[0].removeprefix("## "): part.rstrip() + "\n" for part in parts if part.startswith("## ")
    }


def run(name: str, *, whole: bool = False) -> tuple[int, str]:
    """Run one, showing what it prints as it comes; returns its exit code and that."""
    given = WHOLE.get(name) if whole else None
    words = [sys.executable, "-m", f"tests.benchmarks.bench_{name}", *(given or ORDERED.get(name, ()))]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        printed = []
        for line in process.stdout:
            print(line, end="", flush=True)
            printed.append(line)
    return process.returncode, "".join(printed)


def main() -> int:
    """Run those that are named, or all quick ones; ``--all`` runs the long ones too."""
    wanted = sys.argv[1:] or [name for name in found() if name not in LONG]
    whole = wanted == ["--all"]
    if whole:
        wanted = found()
    unknown = [name for name in wanted if name not in found()]
    if unknown:
        print(f"found {', '.join(unknown)}, expected some of {', '.join(found())}", file=sys.stderr)
        return 2
    for name in wanted:
        print(f"== {name}", flush=True)
        code, printed = run(name, whole=whole)
        if code:
            return code
        sections = {**kept(), name: section(name, printed)}
        RESULTS.write_text("\n".join([HEAD, *(sections[one] for one in found() if one in sections)]), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
