"""The README tells the truth: its commands exist and all are told, its pictures are there, its error text is real."""

from __future__ import annotations

import re
from pathlib import Path

from bench.cli import COMMANDS
from tests.walks.tool import JOB, ROOT, proveout

README = (ROOT / "README.md").read_text("utf-8")
TOLD = set(re.findall(r"^\| `proveout ([a-z-]+)", README, re.MULTILINE))


def test_every_command_is_told_and_every_told_command_exists() -> None:
    assert set(COMMANDS) == TOLD


def test_pictures_and_links_lead_somewhere() -> None:
    targets = [target for target in re.findall(r"\]\(([^)#]+)\)", README) if "://" not in target]
    assert targets
    assert [target for target in targets if not (ROOT / target).exists()] == []


def test_each_command_has_help_that_says_what_it_does(tmp_path: Path) -> None:
    for name in COMMANDS:
        done = proveout(name, "--help", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert f"usage: proveout {name}" in done.stdout
        assert "exit codes:" in done.stdout


def test_the_error_that_it_shows_is_what_check_says(tmp_path: Path) -> None:
    text = (JOB / "plant.yaml").read_text("utf-8")
    broken = tmp_path / "plant.yaml"
    broken.write_text(text.replace("type: R50", "type: R5O", 1), "utf-8")
    for pins in (JOB / "pins").iterdir():
        (tmp_path / "pins").mkdir(exist_ok=True)
        (tmp_path / "pins" / pins.name).write_bytes(pins.read_bytes())
    done = proveout("check", broken, cwd=tmp_path)
    assert done.returncode == 2
    shown = re.search(r"^    plant\.yaml:\d+:\d+: (.*)$", README, re.MULTILINE)
    assert shown is not None
    told = re.search(r"plant\.yaml:\d+:\d+: (.*R5O.*)$", done.stderr, re.MULTILINE)
    assert told is not None, done.stderr
    assert told[1] == shown[1]
