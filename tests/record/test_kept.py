"""Files that are kept with a step, a name, a find or a note: by hash, beside the record, shown and checked."""

from __future__ import annotations

import asyncio
import hashlib
import shutil
from pathlib import Path

import pytest

from bench.cli import main
from bench.commands.report import write_report
from bench.record.append import RecordTrouble
from bench.record.kept import FILES, PHOTOS, keep_file, keep_photo, named, place_of
from bench.record.read import read_record
from bench.record.verify import verify
from bench.saved import CannotWrite
from bench.walk import events as e
from tests.screens.scenes import SCENES
from tests.screens.stage import on_stage
from tests.screens.walk.test_plain import Runner, played

OLD = Path(__file__).parent / "data" / "first-power-2C.jsonl"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """The record of a walk that is over."""
    (tmp_path / "logs").mkdir()
    return Path(shutil.copy(OLD, tmp_path / "logs" / "a.jsonl"))


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    path = tmp_path / "The lug.PNG"
    path.write_bytes(PNG)
    return path


def attached(path: Path) -> list[e.Attached]:
    return [entry.event for entry in read_record(path) if isinstance(entry.event, e.Attached)]


def wrong(path: Path) -> list[str]:
    return [one.words for one in verify(path).findings if one.weight == "wrong"]


def test_a_photo_is_kept_with_a_step_of_a_walk_that_is_over(record: Path, picture: Path, tmp_path: Path) -> None:
    words = ["attach", str(record), str(picture), "--about", "2C.A", "--note", "burnt", "--by", "Ana"]
    assert main(words) == 0
    (event,) = attached(record)
    (kept,) = event.files
    assert (kept.name, kept.size, kept.sha256) == (picture.name, len(PNG), hashlib.sha256(PNG).hexdigest())
    assert event.about and (event.text, event.by) == ("burnt", "Ana")
    assert place_of(record, kept) == record.parent / FILES / f"{kept.sha256}.png"
    assert place_of(record, kept).read_bytes() == PNG
    assert not verify(record).wrong
    page = write_report([record], tmp_path / "report.html").path.read_text("utf-8")
    assert "The lug.PNG" in page and kept.sha256 in page and "burnt" in page and "2C.A" in page
    assert "data:image/png;base64," in page and 'src="http' not in page
    picture.unlink()
    assert not verify(record).wrong, "the copy is its own"


@pytest.mark.parametrize(("damage", "told"), [("torn", "was changed or is torn"), ("gone", "is no longer there")])
def test_a_torn_file_or_one_that_is_gone_is_told(
    record: Path, picture: Path, tmp_path: Path, damage: str, told: str
) -> None:
    assert main(["attach", str(record), str(picture)]) == 0
    ((kept,),) = [event.files for event in attached(record)]
    place = place_of(record, kept)
    if damage == "torn":
        place.write_bytes(PNG[:100])
    else:
        place.unlink()
    assert [told in words for words in wrong(record)] == [True]
    assert main(["verify", str(record)]) == 1
    page = write_report([record], tmp_path / "report.html").path.read_text("utf-8")
    assert "NOT as it was kept" in page and "data:image/png" not in page
    # kept again it is whole again: the hash says which one was meant
    keep_file(record, picture)
    assert not verify(record).wrong


def test_a_disk_that_fills_up_leaves_no_half_file(record: Path, picture: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> None:
        raise CannotWrite(28, "No space left on device")

    monkeypatch.setattr("bench.record.kept.save", full)
    with pytest.raises(RecordTrouble, match="cannot be kept"):
        keep_file(record, picture)
    assert not list(record.parent.rglob("*.png")) and not attached(record)


def test_a_checksum_alone(record: Path, picture: Path, tmp_path: Path) -> None:
    assert main(["attach", str(record), str(picture), "--sum-only"]) == 0
    (event,) = attached(record)
    assert not event.files[0].copied and not (record.parent / FILES).exists()
    assert not verify(record).wrong
    assert "its checksum alone" in write_report([record], tmp_path / "r.html").path.read_text("utf-8")


@pytest.mark.parametrize("words", [["nothing.jpg"], ["{}", "--about", "2Z.A"]])
def test_what_is_not_there_is_no_attachment(record: Path, picture: Path, words: list[str]) -> None:
    before = record.read_bytes()
    assert main(["attach", str(record), *(word.format(picture) for word in words)]) == 2
    assert record.read_bytes() == before


def test_a_remark_names_its_files() -> None:
    assert named("the lug @a.jpg was loose") == ("the lug was loose", [Path("a.jpg")])
    assert named('@"two words.pdf" @b.csv') == ("", [Path("two words.pdf"), Path("b.csv")])
    assert named("mail ana@hall.example") == ("mail ana@hall.example", [])


def test_line_by_line_a_note_keeps_a_file_with_the_step_under_way(tmp_path: Path, picture: Path) -> None:
    runner = Runner(SCENES["place-open"]().walk, seat="Ana")
    runner.record = str(tmp_path / "logs" / "a.jsonl")
    _, said = played(runner, [f'note the lug @"{picture}"', "note @nothing.jpg"])
    (wish,) = [one for one in runner.wishes if isinstance(one, e.Attached)]
    assert wish.text == "the lug" and place_of(Path(runner.record), wish.files[0]).read_bytes() == PNG
    assert "kept beside the record: The lug.PNG" in said and "there is no file nothing.jpg" in said


@pytest.mark.slow
def test_on_the_screen_a_note_keeps_a_file(tmp_path: Path, picture: Path) -> None:
    plain = Path(shutil.copy(picture, tmp_path / "lug.png"))

    async def show() -> None:
        async with on_stage(SCENES["place-open"]()) as stage:
            stage.link.record = str(tmp_path / "logs" / "a.jsonl")
            assert stage.app.program is not None
            stage.app.program.change(record=stage.link.record)  # type: ignore[attr-defined]
            await stage.press("o")
            await stage.until(lambda: "@FILE" in stage.text)
            await stage.press(*f"burnt @{plain}")
            await stage.press("enter")
            await stage.until(lambda: stage.link.wishes)
            (wish,) = [one for one in stage.link.wishes if isinstance(one, e.Attached)]
            assert wish.text == "burnt" and place_of(Path(stage.link.record), wish.files[0]).read_bytes() == PNG

    asyncio.run(show())


def test_a_torn_picture_of_a_find_is_told(tmp_path: Path, picture: Path) -> None:
    from bench.record.kept import wrong_photos

    survey = tmp_path / "logs" / "survey.jsonl"
    digest = keep_photo(survey.parent, picture)
    assert not list(wrong_photos(survey, [digest]))
    (survey.parent / PHOTOS / f"{digest}.png").write_bytes(PNG[:9])
    assert [words for words in wrong_photos(survey, [digest]) if "was changed or is torn" in words]
    keep_photo(survey.parent, picture)
    assert not list(wrong_photos(survey, [digest]))
