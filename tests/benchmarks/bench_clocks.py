"""What readiness says of 400 drawn jobs with wrong clocks, copies, merges and damage, against an oracle that knows.

Run it with ``python -m tests.benchmarks.bench_clocks [JOBS]``. Half of the jobs end with a damaged record. Readiness
must say of each conductor what is true, or that it is not known; never anything else. The baseline is the same readings
ordered by the wall clock alone, damaged records left out.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.job.drawn_jobs import UNKNOWN, Job, against, by_clock

JOBS = 200


def study(jobs: int, *, damage: bool) -> bool:
    """Draw jobs, say how it went, and whether nothing was said against the truth."""
    drawn: Counter[str] = Counter()
    said: Counter[str] = Counter()
    clock = 0
    for seed in range(jobs):
        with tempfile.TemporaryDirectory(prefix="clocks-") as folder:
            job = Job(seed, Path(folder), damage=damage)
            job.run()
            for laptop, name, truth, word in job.verdicts():
                known = "unknown" if word in UNKNOWN and word != truth else "true"
                said["against" if against(truth, word) else known] += 1
                if against(truth, word):
                    print(f"AGAINST THE TRUTH: job {seed}, {laptop}, {name}: {truth}, said to be {word}")
            clock += sum(against(truth, word) for _, _, truth, word in by_clock(job))
            drawn += job.drawn
    ends = "ended by a damaged record" if damage else "without damage"
    print(f"{jobs} jobs {ends}: {', '.join(f'{n} {what}' for what, n in sorted(drawn.items()))}")
    print(
        f"of {said.total()} answers {said['true']} are true, {said['unknown']} say that it is not known, "
        f"{said['against']} are against the truth (target 0); by the wall clock alone {clock}"
    )
    return not said["against"]


def main() -> int:
    """Both halves."""
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else JOBS
    return 0 if all([study(jobs, damage=False), study(jobs, damage=True)]) else 1


if __name__ == "__main__":
    sys.exit(main())
