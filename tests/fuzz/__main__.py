"""Damages input for as long as it is told: ``python -m tests.fuzz [TARGET...] [--seconds N] [--seed N]``.

With ``--coverage``, atheris drives one target and looks for input that reaches new code (``pip install atheris``).
Input that breaks a promise is written to the folder that ``--keep`` names.
"""

from __future__ import annotations

import argparse
import faulthandler
import random
import sys
import tempfile
import time
import traceback
from pathlib import Path

from tests.fuzz.damage import damaged

HANGS = 20.0
"""Seconds after which input is said to hang."""


def damage(name: str, seconds: float, seed: int, keep: Path) -> int:
    """Damage sound input for so long; returns how many inputs broke a promise."""
    from tests.fuzz.targets import TARGETS, seeds

    until, number, accepted, slowest, broken = time.monotonic() + seconds, 0, 0, 0.0, 0
    told: set[str] = set()
    while time.monotonic() < until:
        draw = random.Random(f"{name} {seed} {number}")
        data = damaged(draw, draw.choice(seeds(name)))
        number += 1
        began = time.monotonic()
        (keep / f"{name}-last").write_bytes(data)
        faulthandler.dump_traceback_later(HANGS, exit=True)
        try:
            accepted += TARGETS[name](data)
        except Exception as error:
            broken += 1
            where = traceback.extract_tb(error.__traceback__)[-1]
            what = f"{type(error).__name__} {where.filename}:{where.lineno}"
            if what not in told:
                told.add(what)
                kept = keep / f"{name}-{number}"
                kept.write_bytes(data)
                print(f"{name}: {what}: {str(error)[:200]!a}; input in {kept}", flush=True)
        slowest = max(slowest, time.monotonic() - began)
    faulthandler.cancel_dump_traceback_later()
    print(
        f"{name}: {number} inputs, {accepted} accepted, {broken} broke a promise, slowest {slowest:.2f} s", flush=True
    )
    return broken


def cover(name: str, seconds: float) -> None:
    """Let atheris look for new code."""
    import atheris

    # its eyes are put into modules as they are loaded: nothing of the program may be loaded before
    with atheris.instrument_imports(include=["bench"]):
        from tests.fuzz.targets import TARGETS, seeds
    corpus = Path(tempfile.mkdtemp(prefix="corpus-"))
    for number, seed in enumerate(seeds(name)):
        (corpus / str(number)).write_bytes(seed)

    def once(data: bytes) -> None:
        TARGETS[name](data)

    words = [sys.argv[0], str(corpus), f"-max_total_time={seconds:.0f}", f"-timeout={HANGS:.0f}", "-max_len=20000"]
    atheris.Setup(words, once)
    atheris.Fuzz()


def main() -> int:
    """Damage and report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument(
        "targets", nargs="*", metavar="TARGET", help="such as plant, record or scpi-supply; all by default"
    )
    parser.add_argument("--seconds", type=float, default=30.0, help="for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--coverage", action="store_true", help="let atheris look for new code; one target")
    parser.add_argument("--keep", type=Path, help="where input goes that breaks a promise; by default a new folder")
    asked = parser.parse_args()
    if asked.coverage:
        if len(asked.targets) != 1:
            parser.error("--coverage wants one target")
        cover(asked.targets[0], asked.seconds)
        return 0
    from tests.fuzz.targets import TARGETS

    wanted = asked.targets or list(TARGETS)
    unknown = [name for name in wanted if name not in TARGETS]
    if unknown:
        parser.error(f"found {', '.join(unknown)}, expected some of {', '.join(TARGETS)}")
    keep = asked.keep or Path(tempfile.mkdtemp(prefix="broke-"))
    keep.mkdir(parents=True, exist_ok=True)
    return int(sum(damage(name, asked.seconds, asked.seed, keep) for name in wanted) > 0)


if __name__ == "__main__":
    sys.exit(main())
