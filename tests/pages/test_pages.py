"""The pages tell the truth: what is drawn from the program is up to date, links lead somewhere, the site builds."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from bench.cli import COMMANDS
from tests.pages import commands, fields, keys
from tests.walks.tool import JOB, ROOT, proveout

PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


@pytest.mark.parametrize("page", [commands, fields, keys], ids=["commands", "files", "keys"])
def test_a_drawn_page_is_what_the_program_says(page: ModuleType) -> None:
    assert page.PAGE.read_text("utf-8") == page.page(), "run `make docs`"


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_links_and_pictures_lead_somewhere(path: Path) -> None:
    text = re.sub(r"```.*?```", "", path.read_text("utf-8"), flags=re.DOTALL)
    targets = [target for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", text) if "://" not in target]
    assert [target for target in targets if not (path.parent / target).exists()] == []


def test_every_page_is_reached_from_the_list_of_pages() -> None:
    told = (ROOT / "docs" / "README.md").read_text("utf-8") + (ROOT / "README.md").read_text("utf-8")
    site = (ROOT / "docs" / "index.rst").read_text("utf-8")
    names = [path.stem for path in (ROOT / "docs").glob("*.md") if path.name != "README.md"]
    assert [name for name in names if f"{name}.md" not in told] == []
    assert [name for name in names if not re.search(rf"^   {re.escape(name)}$", site, re.MULTILINE)] == []


def test_the_readme_is_short() -> None:
    assert len((ROOT / "README.md").read_text("utf-8").splitlines()) < 110


def test_every_command_that_a_page_names_exists() -> None:
    unknown = [
        (path.name, word)
        for path in PAGES
        for word in re.findall(r"(?:^    |`|^)proveout ([a-z]+)\b", path.read_text("utf-8"), re.MULTILINE)
        if word not in COMMANDS
    ]
    assert unknown == []


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
    page = (ROOT / "docs" / "told.md").read_text("utf-8")
    shown = re.search(r"^    plant\.yaml:\d+:\d+: (.*)$", page, re.MULTILINE)
    assert shown is not None
    told = re.search(r"plant\.yaml:\d+:\d+: (.*R5O.*)$", done.stderr, re.MULTILINE)
    assert told is not None, done.stderr
    assert told[1] == shown[1]


@pytest.mark.slow
def test_the_site_builds_and_no_link_in_it_is_dead(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-n", ROOT / "docs", tmp_path / "site"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "site" / "first-hour.html").exists()
