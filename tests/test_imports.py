"""The start stays quick: help loads none of the heavy libraries."""

from __future__ import annotations

import subprocess
import sys

import pytest

from bench.cli import COMMANDS, help_text, main

HEAVY = {"textual", "numpy", "scipy", "pyvisa", "yaml", "msgspec", "serial", "pymodbus", "jinja2", "networkx"}


def loaded(code: str) -> set[str]:
    text = f"import sys\n{code}\nprint('\\n'.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    return {name.partition(".")[0] for name in done.stdout.split()}


def test_help_loads_nothing_heavy() -> None:
    code = "from bench.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit: pass"
    # `typing` and `argparse` each take about as long to load as bare Python takes to start
    assert not loaded(code) & (HEAVY | {"typing", "argparse", "re", "shutil"})


@pytest.mark.parametrize("columns", ["40", "80", "200"])
def test_help_tells_every_command_and_keeps_to_the_terminal(columns: str) -> None:
    text = help_text(int(columns))
    table = text[text.index("options:") : text.index("`proveout COMMAND")]
    rows = [line for line in table.partition("commands:")[2].splitlines() if line[2:3].islower()]
    assert [row.split()[0] for row in rows] == [*COMMANDS]
    assert max(map(len, table.splitlines())) <= max(int(columns), 40)
    assert "walk a sequence on the screen" in " ".join(table.split())


def test_a_word_that_is_no_command_is_told_with_its_near_miss(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["dmeo"]) == 2
    assert "found 'dmeo', expected a command; did you mean 'demo'?" in capsys.readouterr().err
    assert main(["\x1b[2J"]) == 2
    assert "\x1b" not in capsys.readouterr().err
    assert main([]) == 2


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
