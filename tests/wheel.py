"""Proves the wheel: built, installed into an empty environment, and run from a folder that is no checkout.

Run it with ``make wheel``. It is no test of the suite, since it needs the package registry.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def installer(python: Path) -> list[str]:
    """The command that installs into an environment: uv where it is, else pip."""
    for uv in (shutil.which("uv"), Path(sys.executable).with_name("uv")):
        if uv is not None and Path(uv).exists():
            return [str(uv), "pip", "install", "-q", "--python", str(python)]
    return [str(python), "-m", "pip", "install", "-q", "--disable-pip-version-check"]


def main() -> int:
    """Build, install, run."""
    with tempfile.TemporaryDirectory(prefix="proveout-wheel-") as scratch:
        folder = Path(scratch)
        subprocess.run(
            [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)], cwd=ROOT, check=True
        )
        (wheel,) = folder.glob("*.whl")
        names = zipfile.ZipFile(wheel).namelist()
        for wanted in ("bench/shipped/drivers/scpi-bench-meter.yaml", "bench/shipped/sequences/gannet-head/plant.yaml"):
            assert wanted in names, f"{wanted} is not in the wheel"
        assert not any(name.startswith("tests/") for name in names), "tests are in the wheel"
        home = folder / "environment"
        subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
        python = home / ("Scripts" if os.name == "nt" else "bin") / "python"
        subprocess.run([*installer(python), str(wheel)], check=True)
        work = folder / "work"
        work.mkdir()
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        done = subprocess.run(
            [str(python.with_name("proveout")), "demo", "--json"],
            cwd=work,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1, f"exit code {done.returncode}: {done.stderr}"
        summary = json.loads(done.stdout)
        # undecided: what the look after the first wires leaves open is found in the end
        assert summary["counts"] == {"pass": 122, "fail": 6, "undecided": 1}, summary["counts"]
        assert len(list((work / "logs").glob("*.jsonl"))) == 1
    print(f"the wheel works in an empty environment: {summary['counts']}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
