"""Runs the benchmarks one after the other: ``python -m tests.benchmarks [NAME...]``, names without ``bench_``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Run those that are named, or all."""
    found = {path.stem.removeprefix("bench_"): path for path in sorted(Path(__file__).parent.glob("bench_*.py"))}
    wanted = sys.argv[1:] or list(found)
    unknown = [name for name in wanted if name not in found]
    if unknown:
        print(f"found {', '.join(unknown)}, expected some of {', '.join(found)}", file=sys.stderr)
        return 2
    for name in wanted:
        print(f"== {name}", flush=True)
        code = subprocess.run([sys.executable, "-m", f"tests.benchmarks.bench_{name}"], check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
