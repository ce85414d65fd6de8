"""The start stays quick: help loads none of the heavy libraries."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {"textual", "numpy", "scipy", "pyvisa", "yaml", "msgspec", "serial", "pymodbus", "jinja2", "networkx"}


def loaded(code: str) -> set[str]:
    text = f"import sys\n{code}\nprint('\\n'.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    return {name.partition(".")[0] for name in done.stdout.split()}


def test_help_loads_nothing_heavy() -> None:
    code = "from bench.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit: pass"
    assert not loaded(code) & HEAVY


@pytest.mark.parametrize("command", ["check", "schema", "ports", "profile", "run", "walk", "replay", "demo", "runner"])
def test_a_command_s_help_loads_nothing_heavy(command: str) -> None:
    code = f"from bench.cli import main\ntry:\n    main(['{command}', '--help'])\nexcept SystemExit: pass"
    assert not loaded(code) & HEAVY


def test_the_machine_loads_no_solver_and_no_screen() -> None:
    assert not loaded("import bench.walk.state, bench.record.append") & {
        "textual",
        "numpy",
        "scipy",
        "pyvisa",
        "serial",
    }
    assert not loaded("import bench.runner.core, bench.report.console") & {"textual", "numpy", "scipy", "pyvisa"}
