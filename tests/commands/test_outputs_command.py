"""What a record that ends with an output on says everywhere, until somebody says what was seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli import main
from bench.record.append import RecordWriter
from bench.walk.state import Phase
from tests.walk.paper_walk import Made, PaperWalk


@pytest.fixture
def killed(tmp_path: Path, small: Made) -> Path:
    """A record whose runner was killed while its supply was on."""
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.SWITCHING)
    walker.one()
    path = tmp_path / "logs" / "killed.jsonl"
    path.parent.mkdir()
    with RecordWriter.create(path) as writer:
        for entry in walker.entries:
            writer.append(entry)
    return path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    main(list(words))
    captured = capsys.readouterr()
    return captured.out + captured.err


def test_every_command_that_reads_it_says_so(
    killed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    record, plant = str(killed), tmp_path / "plant.yaml"
    from tests.walk.paper_walk import PLANT

    plant.write_text(PLANT, "utf-8")
    page = tmp_path / "page.html"

    def everywhere() -> dict[str, str]:
        told = {
            "outputs": said(capsys, "outputs", record),
            "replay": said(capsys, "replay", record, "--no-screen"),
            "verify": said(capsys, "verify", record),
            "ready": said(capsys, "ready", str(plant), "--logs", str(killed.parent)),
            "walk": said(capsys, "walk", "--plain", "--attach", record),
        }
        page.unlink(missing_ok=True)
        said(capsys, "report", record, "-o", str(page))
        return {**told, "report": page.read_text("utf-8")}

    for command, text in everywhere().items():
        assert "supply is on" in text, command
        assert "48 V" in text, command
    said(capsys, "outputs", record, "--seen-off", "supply", "--note", "lamp dark, proved dead at J1", "--by", "Ana")
    for command, text in everywhere().items():
        assert "supply is on" not in text, command
    assert "lamp dark" in page.read_text("utf-8")


def test_an_output_is_not_seen_by_accident(killed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = killed.read_bytes()
    for words in (["--seen-off", "kettle", "--note", "dark"], ["--seen-off", "supply"]):
        assert main(["outputs", str(killed), *words]) == 2
    assert killed.read_bytes() == before
    assert "expected an instrument of this record with an output: supply" in capsys.readouterr().err


def test_the_job_screen_says_it_before_anything_else(killed: Path, tmp_path: Path) -> None:
    from bench.commands.job_source import JobSource
    from bench.screens.job.paint import paint_job as paint
    from bench.screens.job.view import JobView
    from tests.walk.paper_walk import PLANT

    (tmp_path / "plant.yaml").write_text(PLANT, "utf-8")
    survey = JobSource(tmp_path / "plant.yaml", killed.parent).survey(lambda *told: None)
    picture = paint(JobView(survey=survey), 100, 30)
    text = "\n".join("".join(part.text for part in line) for line in picture.lines)
    assert "OUTPUT ON: The output of supply is on, 48 V" in text
    assert text.index("OUTPUT ON") < text.index("bay 1")
