"""A damaged file of disturbances, folders within folders, records that a runner holds, and clocks that were wrong."""

import json

import pytest

from bench.cli import main
from bench.job.asfound import before_a_walk
from bench.job.folder import open_folder
from bench.plant.load import load_plant
from bench.quantity import Amount
from bench.record.append import RecordBusy, RecordWriter
from bench.record.index import DISTURBANCES, declare
from bench.sequence.draft import KINDS
from bench.sequence.file import Do, Hold, Limit, Measure, SequenceFile
from bench.sequence.unroll import unroll
from bench.walk import events as e
from tests.job.test_asfound import HUT, at, walk

DEAD = Hold(text="Dead.", word="DEAD")


def reading(at_most="2 ohm"):
    return Measure(read="resistance", between=("X10.1", "X20.1"), subject="C1.1",
                   limit=Limit(at_most=Amount.parse(at_most), source="invented"))  # fmt: skip


@pytest.fixture
def logs(tmp_path):
    """Two disturbances that were told outside any walk; the line of the second was damaged."""
    (tmp_path / "logs").mkdir()
    walk(tmp_path / "logs" / "a.jsonl", [reading()], by="Anna", when=at(3), ohms=0.7)
    for name in ("C1", "C2"):
        declare(tmp_path / "logs", e.Disturbed(touches=[name], text="moved", by="Ben"))
    path = tmp_path / "logs" / DISTURBANCES
    first, second = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + second.replace(b"moved", b"mowed"))
    return tmp_path / "logs"


def test_a_damaged_file_of_disturbances_is_told_and_what_stands_before_the_damage_counts(logs, capsys):
    folder = open_folder(logs, "beacon-hut")
    assert [one.names for one in folder.declared] == [("C1",)]
    assert [(error.path.name, error.line) for error in folder.broken] == [(DISTURBANCES, 2)]
    assert [row.verdict for row in folder.counting(load_plant(HUT))] == ["void"]
    assert main(["ready", str(HUT), "--logs", str(logs)]) == 1
    assert f"{DISTURBANCES}:2: " in capsys.readouterr().out


def test_a_walk_begins_beside_it_and_every_gate_says_that_something_is_lost(logs):
    plant = load_plant(HUT)
    steps = KINDS["first-power"](plant, "finder").steps
    plan = unroll(SequenceFile(sequence="first", plant="plant.yaml", steps=list(steps)), plant)
    before = before_a_walk(logs, plant, plan, simulated=False)
    assert len(before.saw) == 1 and set(before.gates) == {"finder-top", "finder-low"}
    assert all(names[0] == f"what {DISTURBANCES} said, which is damaged" for names in before.gates.values())


def test_traces_say_so_too(logs, capsys):
    walk(logs / "b.jsonl", [reading()], by="Anna", when=at(5), ohms=1.9)
    main(["trace", "C1.1", "--logs", str(logs), "--json"])
    assert any(DISTURBANCES in text for text in json.loads(capsys.readouterr().out)["broken"])


def test_records_in_folders_within_the_folder_are_of_the_same_job(tmp_path):
    """A walk that is recorded in a folder of its own knows those beside that folder, and they know it."""
    evening = tmp_path / "logs" / "2026" / "03"
    evening.mkdir(parents=True)
    walk(tmp_path / "logs" / "a.jsonl", [DEAD, Do(text="Close.", close=["k5"])], by="Anna", when=at(3))
    before = before_a_walk(evening, load_plant(HUT), simulated=False)
    assert [mark.change.name for mark in before.found] == ["k5"] and before.saw
    walk(evening / "b.jsonl", [DEAD, Do(text="Open.", open=["k5"])], by="Ben", when=at(4))
    (mark,) = before_a_walk(tmp_path / "logs", load_plant(HUT), simulated=False).found
    assert (mark.change.state, mark.by) == ("open", "Ben")


def test_a_record_that_a_walk_waits_in_says_how_to_get_there(tmp_path):
    path = tmp_path / "a.jsonl"
    with RecordWriter.create(path, at(3)), pytest.raises(RecordBusy) as caught:
        RecordWriter.reopen(path)
    assert f"proveout walk --attach {path}" in str(caught.value)


def test_a_trace_follows_the_order_that_records_tell(tmp_path, capsys):
    """Ben's clock is a week slow. By it the fault would lie between two good readings."""
    logs = tmp_path / "logs"
    logs.mkdir()
    for name, day, ohms in (("one", 2, 0.7), ("two", 9, 0.7), ("three", 20, 0.7), ("four", 13, 7.0)):
        walk(logs / f"{name}.jsonl", [reading()], by="Ben" if name == "four" else "Anna", when=at(day), ohms=ohms)
    main(["trace", "C1.1", "--logs", str(logs), "--alone"])
    said = capsys.readouterr().out
    assert "the readings of four.jsonl are taken for 168.0 h later than it says" in said, said
    main(["trace", "C1.1", "--logs", str(logs), "--alone", "--json"])
    (series,) = json.loads(capsys.readouterr().out)["series"]
    assert (series["last_good"]["record"], series["first_bad"]["record"]) == ("three.jsonl", "four.jsonl")


def test_days_are_compared_in_the_order_that_records_tell(tmp_path, capsys):
    """Ben's clock is a week slow: what he read after Anna, and knowing her record, is the later reading."""
    logs = tmp_path / "logs"
    logs.mkdir()
    walk(logs / "one.jsonl", [reading()], by="Anna", when=at(2), ohms=0.7)
    walk(logs / "two.jsonl", [reading()], by="Anna", when=at(20), ohms=0.7)
    walk(logs / "three.jsonl", [reading()], by="Ben", when=at(13), ohms=7.0)
    assert main(["compare", "2026-03-03", "2026-03-30", "--logs", str(logs), "--json"]) == 1
    (found,) = json.loads(capsys.readouterr().out)["differences"]
    assert found["what"] == "verdict" and found["after"]["record"] == "three.jsonl", found
