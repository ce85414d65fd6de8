"""A hunt over a real port, with the simulated bench in its own process."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from bench.job.trips_told import trips_in
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
        (["J101.12~J205.12", "--bench", BENCH, "--contact", "9Z=J101.13~J205.13"], "expected a breaker or shelf"),
        (["J101.12~J205.12", "--bench", BENCH, "--contact", "2A"], "an equals sign and a point"),
        (["--bench", BENCH], "expected what to read"),
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

    went_on = proveout("--resume", record, "--plain", "--for", "90", "--speed", "10", typed="! on again\n")
    assert went_on.returncode in (0, 1), went_on.stdout + went_on.stderr
    watch = read_watch(record)
    assert watch.gaps and watch.gaps[0].why == "nobody watched"
    assert watch.remarks[-1][2] == "on again"


@pytest.mark.slow
def test_an_alarm_contact_that_opens_is_a_trip_of_its_shelf_and_speaks_for_no_place(tmp_path: Path) -> None:
    (tmp_path / "benches").mkdir()
    shutil.copy(JOB / "plant.yaml", tmp_path / "plant.yaml")
    shutil.copytree(JOB / "pins", tmp_path / "pins")
    bench, record = tmp_path / "benches" / "contact.yaml", tmp_path / "logs" / "watch-contact.jsonl"
    played = yaml.safe_load((JOB / "benches" / "simulated-matrix.yaml").read_text())
    played["simulate"]["faults"] = [
        {"fault": "intermittent", "conductor": "W111.12", "at": "J208", "alone": "3 s", "lasts": "2 s"}
    ]
    bench.write_text(yaml.safe_dump(played))
    # the wire that is watched is sound; the contact is read by the same meter, through the relays
    words = ["watch", "W111.5", "--contact", "2A=W111.12", "--bench", bench, "--record", record, "--plain", "--quiet"]
    shown = command([*words, "--for", "14", "--speed", "4"], tmp_path)
    assert "JUMP" in shown.stdout and "alarm contact of 2A, J111.12~J208.12" in shown.stdout, shown.stdout
    watch = read_watch(record)
    assert [point.thing for point in watch.head.points] == ["", "2A"]
    assert watch.jumps and {one.point for one in watch.jumps} == {1}
    told = command(["watch", "--tell", record], tmp_path).stdout
    assert "no jump in" in told
    trips = trips_in(tmp_path / "logs")
    assert {(one.thing, one.how) for one in trips} == {("2A", "contact J111.12~J208.12")}
    ranked = command(["trips", tmp_path / "plant.yaml", "--logs", tmp_path / "logs"], tmp_path).stdout
    assert "2A  its alarm contact changed (contact J111.12~J208.12)" in ranked
    command(["report", record, "--output", tmp_path / "page.html"], tmp_path)
    assert "alarm contact of 2A" in (tmp_path / "page.html").read_text("utf-8")
