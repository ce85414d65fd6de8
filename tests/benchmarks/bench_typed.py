"""Every kind of sequence, walked whole with typed instruments only: line by line at a terminal, and by keys.

Each is a process of its own at a real terminal, the hall is simulated beside it, what its displays show is typed. Run
from the top folder (use ``nice``):

    python -m tests.benchmarks.bench_typed                    all, an hour and a half by the clock
    python -m tests.benchmarks.bench_typed earth "by keys"    one kind, in one manner
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from bench.walk.by_eye import FLAG
from bench.walk.results import outcomes, results
from bench.walk.state import Phase
from tests.walks.typist import KINDS, walked_by


def main(only: str = "", how: str = "") -> bool:
    """Walk all; returns whether all came to their end and nothing sound was failed.

    Args:
        only: a kind; empty for all.
        how: a manner; empty for both.
    """
    good = True
    for manner in ("line by line", "by keys"):
        for kind in KINDS if how in ("", manner) else ():
            if only not in ("", kind):
                continue
            with tempfile.TemporaryDirectory() as folder:
                state, typed = walked_by(kind, manner, Path(folder))
            readings = [one.reading for one in outcomes(state) if one.reading is not None]
            verdicts = Counter(one.verdict for one in results(state).values())
            whole = state.phase is Phase.DONE and all(FLAG in one.flags for one in readings) and not verdicts["fail"]
            good &= whole
            told = ", ".join(f"{count} {verdict}" for verdict, count in verdicts.most_common())
            print(
                f"{manner:13} {kind:27} {'whole' if whole else 'NOT WHOLE'}: {typed:3} answers, "
                f"{len(readings):3} readings, all typed; {told}",
                flush=True,
            )
    return good


if __name__ == "__main__":
    sys.exit(0 if main(*sys.argv[1:3]) else 1)
