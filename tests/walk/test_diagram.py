"""The drawing of the machine is drawn from the machine."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.walk.state import Phase
from tests.walk import diagram


@pytest.fixture
def page(tmp_path: Path) -> Path:
    path = tmp_path / "page.md"
    path.write_text(f"# A page\n\n{diagram.BEGIN}\nold\n{diagram.END}\n\nand more\n", "utf-8")
    return path


def test_it_is_written_between_the_markers_and_nowhere_else(page: Path) -> None:
    assert diagram.main([str(page)]) == 0
    text = page.read_text("utf-8")
    assert text.startswith(f"# A page\n\n{diagram.BEGIN}\n```mermaid\nstateDiagram-v2\n")
    assert text.endswith(f"```\n{diagram.END}\n\nand more\n")
    assert "old" not in text
    for phase in Phase:
        assert f" {phase.value}" in text
    assert diagram.main([str(page), "--check"]) == 0
    page.write_text(text.replace("empty --> safing : Began", "empty --> meeting : Began"), "utf-8")
    changed = page.read_bytes()
    assert diagram.main([str(page), "--check"]) == 1
    assert page.read_bytes() == changed


def test_a_page_without_markers_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "page.md"
    page.write_text(f"{diagram.END}\n{diagram.BEGIN}\n", "utf-8")
    assert diagram.main([str(page)]) == 2
    assert "no <!-- walk diagram begin --> with" in capsys.readouterr().err
    assert page.read_text("utf-8") == f"{diagram.END}\n{diagram.BEGIN}\n"


def test_the_page_for_developers_shows_the_machine_as_it_is() -> None:
    try:
        text = diagram.DEVELOPERS.read_text("utf-8")
        wanted = diagram.drawn(text, diagram.diagram())
    except (FileNotFoundError, diagram.NoMarkers) as error:
        pytest.skip(f"DEVELOPERS.md has no place for the diagram yet: {error}")
    assert text == wanted, "run `make diagram`"
