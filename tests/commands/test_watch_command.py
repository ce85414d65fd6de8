"""A hunt over a real port, with the simulated bench in its own process."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.plant.loose_places import NoWay, places_between, places_on
from bench.record.verify import verify
from bench.record.watch import read_watch
from tests.one_process import command

JOB = Path("sequences/gannet-head")
BENCH = JOB / "benches" / "loose-contact.yaml"


def proveout(*words: str | Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "bench.cli", "watch", *map(str, words)]
    return subprocess.run(command, input=typed, capture_output=True, text=True, timeout=300)


def test_the_places_on_a_way_stand_in_their_order() -> None:
    plant = load_plant(JOB / "plant.yaml")
    names = [place.name for place in places_between(plant, "J101.12", "J205.12")]
    assert names == [
        "J101",
        "J101.12",
        "W101 at J101",
        "W101 in T1.1",
        "W101 in T1.2",
        "W101 at J205",
        "J205.12",
        "J205",
    ]
    back = [place.name for place in places_between(plant, "J205.12", "J101.12")]
    assert back == names[::-1]
    pair = places_between(plant, "J101.12", "J101.37", [["J205.12", "J205.37"]])
    assert [place.name for place in pair].count("J205") == 1 and pair[-1].name == "J101.37"
    with pytest.raises(NoWay, match="'join'"):
        places_between(plant, "J101.12", "J101.37")
    assert [place.name for place in places_on(plant, "W101.24")] == names


def test_what_cannot_be_watched_is_said() -> None:
    for words, said in (
        (["J101.12~J205.12"], "--bench"),
        (["J101.12", "--bench", BENCH], "two places"),
        (["sound:J101.12~J205.12", "--bench", BENCH], "expected what is read"),
        (["J101.12~J205.12", "W101.1", "--bench", BENCH], "its leads lie on one at a time"),
        (["J101.12~J205.12", "--bench", BENCH, "--record", "hunt.jsonl"], "begins with watch"),
    ):
        done = command(["watch", *words], Path.cwd())
        assert done.returncode == 2 and said in done.stdout + done.stderr, done.stderr


@pytest.mark.slow
def test_a_loose_crimp_is_found_and_the_record_says_so_again(tmp_path: Path) -> None:
    record = tmp_path / "watch-crimp.jsonl"
    places = ["J101", "J205.12"]
    typed = "".join(f"{name}\n" for name in places)
    # at ten times the speed of the world; the watch ends by its own time
    done = proveout(
        "J101.12~J205.12", "--bench", BENCH, "--record", record, "--plain", "--for", "60", "--speed", "10", typed=typed
    )
    assert "TROUBLE" not in done.stdout and done.returncode in (0, 1), done.stdout + done.stderr
    watch = read_watch(record)
    assert [one.places for one in watch.moved] == [("J101",), ("J205.12",)]
    assert watch.points[0].count > 30
    assert not verify(record).wrong
    told = proveout("--tell", record)
    assert told.returncode == done.returncode
    assert "none of these" in told.stdout

    went_on = proveout("--resume", record, "--plain", "--for", "70", "--speed", "10", typed="! on again\n")
    assert went_on.returncode in (0, 1), went_on.stdout + went_on.stderr
    watch = read_watch(record)
    assert watch.gaps and watch.gaps[0].why == "nobody watched"
    assert watch.remarks[-1][2] == "on again"
