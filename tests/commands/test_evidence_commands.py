"""The commands on a folder of records: what they print, and their exit codes."""

import json
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from bench.cli import COMMANDS, main
from bench.exits import BAD_INPUT, NOT_PASSED, PASS
from bench.job.folder import open_folder
from bench.record.append import RecordWriter
from bench.record.index import declared
from bench.record.read import read_record
from bench.walk import events as e
from tests.job.season_folder import PLANT, copy, record, season

MINE = ("ready", "disturb", "trace", "compare", "report", "verify", "export")


def run(capsys, *words):
    code = main([str(word) for word in words])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize("command", MINE)
def test_each_has_help_and_loads_nothing_heavy_for_it(command):
    """The start stays quick."""
    assert command in COMMANDS
    code = f"import sys; from bench.cli import main\ntry:\n main(['{command}', '--help'])\nexcept SystemExit: pass\n"
    code += "print([m for m in ('msgspec', 'yaml', 'jinja2', 'pyarrow', 'numpy', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("[]") and f"proveout {command}" in done.stdout


# ready


@pytest.mark.slow
def test_ready_in_text_and_as_data_say_the_same(capsys):
    """And that all of it is simulated."""
    code, out, _ = run(capsys, "ready", PLANT, "--logs", season())
    assert code == NOT_PASSED
    assert "All of it comes from simulated benches" in out
    assert "cable W101: W101.34: 2.937 Ω ± 23 mΩ is too high" in out
    assert "4B-L     clear                                  clear" in out
    assert "73 to be proven again" in out
    code, out, _ = run(capsys, "ready", PLANT, "--logs", season(), "--json")
    shown = json.loads(out)
    assert shown["records"] == 20 and shown["simulated"] and shown["broken"] == []
    clear = {gate["shelf"] for gate in shown["gates"] if gate["clear"]}
    assert clear == {"4B-L"}
    assert len(shown["next"]) > 100 and all(task["text"] for task in shown["next"])


@pytest.mark.slow
def test_ready_is_quick_the_second_time_and_notices_every_change(tmp_path, capsys, monkeypatch):
    """What was worked out is kept by the last hash: another record, another answer; a changed one is not counted."""
    folder = copy(tmp_path / "logs", worked_out=False)
    monkeypatch.setattr("bench.record.index.SETTLED_NS", -1)  # as if the files had rested for a while
    assert "20 records" in run(capsys, "ready", PLANT, "--logs", folder)[1]
    kept = list((folder / ".proveout-cache").iterdir())
    kinds = "a chapter of every record, what is known of all, and where the plant stands"
    assert len({path.name.partition("-")[0] for path in kept}) == 22, kinds
    monkeypatch.setattr("bench.job.rows.distil", None)  # nothing is folded again
    assert "W101.34" in run(capsys, "ready", PLANT, "--logs", folder)[1]
    monkeypatch.undo()
    last = next(folder.glob("*-weekly-round-14.jsonl"))
    lines = last.read_bytes().splitlines(keepends=True)
    last.write_bytes(b"".join([*lines[:80], *lines[81:]]))
    code, out, _ = run(capsys, "ready", PLANT, "--logs", folder)
    assert code == NOT_PASSED and f"NOT COUNTED: {last}:81" in out and "19 records" in out
    for path in kept:
        path.write_bytes(b"{")
    assert "19 records" in run(capsys, "ready", PLANT, "--logs", folder)[1]


def test_what_is_kept_proves_nothing_once_a_bit_of_it_turned(tmp_path):
    """A fail that reads as a pass in the cache, and any other byte that is another one, is worked out again."""
    folder = copy(tmp_path / "logs")
    rows = open_folder(folder, "gannet-head").rows
    assert any(row.verdict == "fail" for row in rows)
    turned = 0
    for path in (folder / ".proveout-cache").iterdir():
        kept = path.read_bytes()
        other = kept.replace(b'"verdict":"fail"', b'"verdict":"pass"')
        turned += other != kept
        path.write_bytes(other if other != kept else kept[:-20] + bytes([kept[-20] ^ 1]) + kept[-19:])
    assert turned > 5
    assert open_folder(folder, "gannet-head").rows == rows


def test_simulated_evidence_does_not_count_beside_real(tmp_path, capsys):
    """What a simulator says proves nothing at the rack."""
    folder = copy(tmp_path / "logs")
    real = folder / "real.jsonl"
    with RecordWriter.create(real) as writer:
        for entry in read_record(record(1)):
            event = entry.event
            if isinstance(event, e.Began):
                bench = msgspec.structs.replace(event.bench, simulated=False)
                event = msgspec.structs.replace(event, bench=bench)
            writer.append(writer.envelope(event))
    code, out, _ = run(capsys, "ready", PLANT, "--logs", folder)
    assert code == NOT_PASSED and "left out: 20 records, simulated" in out and "All of it" not in out
    assert "1 record since" in out
    _, out, _ = run(capsys, "trace", "W101.34", "--logs", folder, "--alone")
    assert "1 reading in 1 record" in out


def test_ready_wants_a_folder(tmp_path, capsys):
    """In a sentence."""
    code, _, err = run(capsys, "ready", PLANT, "--logs", tmp_path / "none")
    assert code == BAD_INPUT and "found no folder" in err


# disturb


def test_disturb_voids_and_says_how_much(tmp_path, capsys):
    """What was proven is void from then on, in `ready` too."""
    folder = copy(tmp_path / "logs")
    code, out, _ = run(capsys, "disturb", "W402", "--logs", folder, "--note", "pulled by the ladder", "--by", "Ines")
    assert code == PASS and "evidence about 25 conductors" in out
    assert declared(folder)[-1].event.text == "pulled by the ladder"
    code, out, _ = run(capsys, "ready", PLANT, "--logs", folder)
    assert "W402 disturbed on" in out and "pulled by the ladder (Ines)" in out
    assert "4B-L     clear                                  blocked by" in out
    assert run(capsys, "verify", folder / "disturbances.jsonl")[0] == PASS


@pytest.mark.slow
def test_disturb_says_so_where_nothing_is_void_by_it(tmp_path, capsys):
    """It happened before anything was read; a time that is mistyped by a year must not go unnoticed."""
    folder = copy(tmp_path / "logs")
    before = run(capsys, "ready", PLANT, "--logs", folder, "--json")[1]
    code, out, _ = run(capsys, "disturb", "W402", "--logs", folder, "--note", "pulled", "--when", "2025-05-02")
    assert code == PASS
    assert "no evidence is void by it: nothing that counts was read of W402 before 2025-05-02" in out
    assert (
        json.loads(run(capsys, "ready", PLANT, "--logs", folder, "--json")[1])["gates"] == json.loads(before)["gates"]
    )


def test_disturb_takes_the_tray_along_when_told_to(tmp_path, capsys):
    """The sections that the cable runs in are written down with it."""
    folder = copy(tmp_path / "logs")
    run(capsys, "disturb", "W101", "--logs", folder, "--note", "re-dressed", "--tray", "--when", "2026-06-02")
    event = declared(folder)[-1].event
    assert event.touches == ["W101", "T1.1", "T1.2"] and event.when.startswith("2026-06-0")
    code, _, err = run(capsys, "disturb", "J405", "--logs", folder, "--note", "x", "--tray")
    assert code == BAD_INPUT and "--tray is about cables" in err


@pytest.mark.parametrize(
    "words, said",
    [
        (("W1o1", "--note", "x"), "did you mean 'W"),
        (("W101", "--note", " "), "--note wants words"),
        (("W101", "--note", "x", "--when", "last week"), "expected a time such as"),
        (("W101", "--note", "x", "--when", "2999-01-01T10:00"), "a time that has passed"),
    ],
)
def test_disturb_refuses_what_cannot_be_meant(tmp_path, capsys, words, said):
    """And writes nothing then."""
    folder = copy(tmp_path / "logs")
    before = (folder / "disturbances.jsonl").read_bytes()
    code, _, err = run(capsys, "disturb", *words, "--logs", folder)
    assert code == BAD_INPUT and said in err
    assert (folder / "disturbances.jsonl").read_bytes() == before


# trace


def test_trace_tells_the_story_of_a_point(capsys, tmp_path):
    """Last good, first bad, the likeliest cause, every reading with its conditions; the same as data, and drawn."""
    drawn = tmp_path / "point.svg"
    code, out, _ = run(capsys, "trace", "W101.34", "--logs", season(), "--svg", drawn)
    assert code == NOT_PASSED
    assert "a step from 1.04 Ω at 20 °C to 2.96 Ω" in out
    assert "last good  2026-04-07" in out and "first bad  2026-04-14" in out
    assert "1. 2026-04-11" in out and "T1.2: the tray section that it runs in" in out
    assert out.count("GH-0007") >= 12 and "changed at the same time, of 94 points" in out
    assert drawn.read_text("utf-8").startswith("<svg") and "<style>" in drawn.read_text("utf-8")
    code, out, _ = run(capsys, "trace", "W101.34", "--logs", season(), "--json", "--judge-again")
    shown = json.loads(out)
    first = shown["series"][0]
    assert first["change"]["kind"] == "step" and first["first_bad"]["at"].startswith("2026-04-14")
    assert len(first["readings"]) == 14 and first["suspects"][0]["names"] == ["T1.2"]
    assert first["changed_together"]["points_read"] == 94


def test_trace_of_a_steady_point_is_no_alarm(capsys):
    """Exit code 0."""
    code, out, _ = run(capsys, "trace", "W402.3", "--logs", season())
    assert code == PASS and "last good" not in out


def test_trace_of_everything_puts_the_odd_meter_first(capsys):
    """And points that changed by themselves before those that it read."""
    code, out, _ = run(capsys, "trace", "--all", "--logs", season())
    assert code == NOT_PASSED
    assert "the meter is the suspect, not the wiring" in out
    assert out.index("W101.34 ") < out.index("(the meter?)")


def test_trace_wants_one_point_or_all(capsys):
    """Not both, not neither."""
    assert run(capsys, "trace", "--logs", season())[0] == BAD_INPUT
    assert run(capsys, "trace", "W101.1", "--all", "--logs", season())[0] == BAD_INPUT
    code, _, err = run(capsys, "trace", "W999", "--logs", season())
    assert code == BAD_INPUT and "found 'W999'" in err


# compare


def test_compare_two_records(capsys):
    """The point that got worse first; the same record twice has no differences."""
    code, out, _ = run(capsys, "compare", record(6), record(7))
    assert code == NOT_PASSED
    assert "2 changed their verdict" in out
    assert out.splitlines()[2].startswith("  worse    W101.34: 1.016 Ω ± 23 mΩ pass -> 2.918 Ω ± 23 mΩ fail")
    assert run(capsys, "compare", record(6), record(6))[0] == PASS


def test_compare_two_dates(capsys):
    """What counted at the end of each day, disturbances among it."""
    code, out, _ = run(capsys, "compare", "2026-04-08", "2026-05-06", "--logs", season(), "--json")
    shown = {one["subject"]: one for one in json.loads(out)["differences"]}
    assert code == NOT_PASSED
    assert shown["W103.14"]["what"] == "verdict" and shown["W103.14"]["worse"]
    assert shown["J101.3~J101.4"]["after"]["verdict"] == "void"
    code, _, err = run(capsys, "compare", "then", "2026-05-06", "--logs", season())
    assert code == BAD_INPUT and "expected a record, or a date" in err


@pytest.mark.slow
def test_the_same_season_twice(tmp_path):
    """The same seed gives the same bytes; another seed other readings; nothing is overwritten."""
    from bench.simulate.season import make_season

    one, other = make_season(tmp_path / "one", 1), make_season(tmp_path / "other", 2)
    assert [path.name for path in one] == [path.name for path in other]
    for path in one:
        assert path.read_bytes() == (season() / path.name).read_bytes()
    assert one[0].read_bytes() != other[0].read_bytes()
    with pytest.raises(FileExistsError):
        make_season(tmp_path / "one", 1)


def test_a_job_that_was_not_begun_is_no_mistake(tmp_path, monkeypatch, capsys):
    """Without any record there is no logs folder yet: everything is still to prove, and nothing is wrong."""
    plant = Path("sequences/gannet-head/plant.yaml").resolve()
    monkeypatch.chdir(tmp_path)
    assert main(["ready", str(plant)]) == 1
    assert "0 records" in capsys.readouterr().out
    # a folder that somebody named and that is not there is a mistake
    assert main(["ready", str(plant), "--logs", "lgos"]) == 2
