"""What is kept of a job from one look to the next says what folding all of it says, and costs what came since."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import pytest

from bench.job import standing as standings
from bench.job.folder import Folder, open_folder
from bench.job.readiness import Readiness, readiness
from bench.job.standing import Since, Standing, standing
from bench.plant.load import load_plant
from bench.record.index import declare
from bench.walk import events as e
from tests.job.drawn_jobs import Job, Laptop, hut
from tests.job.test_asfound import at, closing, reading, walk

FIRST, SECOND = "C1.1", "C2.5"


class Looked(Job):
    """A drawn job whose folders are asked after every event, each way."""

    def after(self, laptop: Laptop) -> None:
        said = standing(open_folder(laptop.folder, hut().name), hut())
        assert said == of_all(laptop.folder)
        assert said == standing(open_folder(laptop.folder, hut().name), hut())


def of_all(folder: Path) -> Readiness:
    """What folding every reading gives."""
    found = open_folder(folder, hut().name)
    return readiness(hut(), found.counting(hut()), found.order)


@pytest.fixture
def ways(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often what is kept was gone on from, and how often it could not be."""
    counted: Counter[str] = Counter()
    since_then = standings.since_then

    def seen(kept: Standing, folder: Folder) -> Since | None:
        found = since_then(kept, folder)
        counted["anew" if found is None else "gone on" if found.chapters or found.told else "as it was"] += 1
        counted["disturbances"] += len(found.told) if found is not None else 0
        return found

    monkeypatch.setattr(standings, "since_then", seen)
    return counted


@pytest.mark.parametrize("seed", [3, 7])
def test_after_every_event_of_a_drawn_job_it_says_what_all_records_say(
    tmp_path: Path, ways: Counter[str], seed: int
) -> None:
    Looked(seed, tmp_path).run()
    assert ways["anew"] and ways["gone on"] and ways["as it was"] and ways["disturbances"]


def evenings(folder: Path, number: int) -> None:
    """Evenings on which the same two conductors are read, the second one broken on every other one."""
    for day in range(1, number + 1):
        ohms = 50.0 if day % 2 else 0.1
        steps = [*reading(FIRST), *reading(SECOND), *closing(next(iter(hut().breakers)))]
        walk(folder / f"{day:02d}.jsonl", steps, by="Anna", when=at(day), ohms=ohms)
        standing(open_folder(folder, hut().name), hut())


def disturb(folder: Path, name: str, day: int, **told: object) -> None:
    saw = open_folder(folder, hut().name).whole_order.heads()[1]
    event = e.Disturbed(touches=[name], text="moved", by="Ben", saw=saw, **told)  # type: ignore[arg-type]
    declare(folder, event, at(day))


def test_what_stands_behind_later_readings_is_counted_and_voided_with_them(tmp_path: Path, ways: Counter[str]) -> None:
    evenings(tmp_path, 6)
    assert ways == {"gone on": 5, "disturbances": 0}
    disturb(tmp_path, SECOND, 7)
    said = standing(open_folder(tmp_path, hut().name), hut())
    assert ways["disturbances"] == 1 and not ways["anew"]
    assert said == of_all(tmp_path) and said.readings == 12
    assert list(said.voids.values()) == [(6, 1)]


def test_another_evening_reads_no_evidence_but_its_own(
    tmp_path: Path, ways: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    evenings(tmp_path, 4)
    read: list[str] = []
    evidence_of = Folder.evidence_of
    monkeypatch.setattr(Folder, "evidence_of", lambda self, one: read.append(one.record) or evidence_of(self, one))
    standing(open_folder(tmp_path, hut().name), hut())
    assert read == []
    walk(tmp_path / "05.jsonl", reading(FIRST), by="Anna", when=at(5))
    standing(open_folder(tmp_path, hut().name), hut())
    assert read == ["05.jsonl"]


def test_what_is_not_surely_later_is_folded_with_all(tmp_path: Path, ways: Counter[str]) -> None:
    """A record of another laptop, a disturbance that is told later, one whose file was changed, a plant file."""
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir(), there.mkdir()
    walk(there / "other.jsonl", reading(FIRST), by="Ben", when=at(2), ohms=50.0)
    evenings(here, 3)

    def folded_anew() -> Readiness:
        before = ways["anew"]
        said = standing(open_folder(here, hut().name), hut())
        assert ways["anew"] == before + 1 and said == of_all(here)
        return said

    shutil.copy(there / "other.jsonl", here / "other.jsonl")
    said = folded_anew()
    disturb(here, FIRST, 8, when=at(2, 20)().strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
    assert folded_anew() != said
    lines = (here / "disturbances.jsonl").read_bytes()
    (here / "disturbances.jsonl").unlink()
    assert folded_anew() == said
    (here / "disturbances.jsonl").write_bytes(lines)
    (here / "01.jsonl").unlink()
    folded_anew()


def test_an_altered_record_is_found_though_all_of_it_is_kept(tmp_path: Path) -> None:
    evenings(tmp_path, 3)
    path = tmp_path / "02.jsonl"
    data = bytearray(path.read_bytes())
    place = data.rindex(b'"value":') + len(b'"value":')
    data[place] ^= 1
    path.write_bytes(bytes(data))
    found = open_folder(tmp_path, hut().name)
    assert [error.path for error in found.broken] == [path]
    assert standing(found, hut()) == of_all(tmp_path)


def test_what_was_kept_for_another_plant_file_is_not_taken(tmp_path: Path, ways: Counter[str]) -> None:
    evenings(tmp_path, 2)
    file = tmp_path / "plant.yaml"
    text = Path("tests/jobs/beacon-hut/plant.yaml").read_text("utf-8")
    file.write_text(text.replace("length: 7 m", "length: 7.5 m"), "utf-8")
    assert file.read_text("utf-8") != text
    other, asked = load_plant(file), ways.total()
    found = open_folder(tmp_path, other.name)
    assert standing(found, other) == readiness(other, found.counting(other), found.order)
    assert ways.total() == asked
