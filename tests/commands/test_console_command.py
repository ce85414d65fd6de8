"""A console of the plant over a real port: in a walk, in a watch, at another rate; and what tripped, out of records."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest
import yaml

from bench.commands.job_source import JobSource
from bench.job.trips_told import trips_in
from bench.record.read import read_record
from bench.record.verify import verify
from bench.record.watch import read_watch, spoken
from bench.walk import events as e
from tests.one_process import command

JOB = Path("sequences/gannet-head")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "benches").mkdir()
    for name in ("plant.yaml", "console.yaml", "benches/console.yaml"):
        shutil.copy(JOB / name, tmp_path / name)
    shutil.copytree(JOB / "pins", tmp_path / "pins")
    return tmp_path


def walked(job: Path, record: str = "a.jsonl") -> str:
    words = [
        "run",
        job / "console.yaml",
        "--bench",
        job / "benches" / "console.yaml",
        "--record",
        job / "logs" / record,
    ]
    return command(words, job).stdout


def events(job: Path, record: str = "a.jsonl") -> list[e.Event]:
    return [one.event for one in read_record(job / "logs" / record)]


def test_a_walk_sends_hears_what_it_waits_for_and_keeps_every_line_with_its_time(job: Path) -> None:
    out = walked(job)
    assert "sent      line unit: selftest" in out
    assert "pass      2A: line unit said '12 of 12 circuits: selftest passed'." in out
    said = [one for one in events(job) if isinstance(one, e.Said)]
    lines = [text for one in said for _, text in one.lines]
    assert "selftest running" in lines and all(0.0 <= ago < 5.0 for one in said for ago, _ in one.lines)
    # on disk before the first character goes; that it is in service the unit says by itself, before or after
    order = events(job)
    sending = next(number for number, one in enumerate(order) if isinstance(one, e.Sending))
    answers = [number for number, one in enumerate(order) if isinstance(one, e.Said) and "selftest" in str(one.lines)]
    assert sending < min(answers)
    assert not verify(job / "logs" / "a.jsonl").wrong
    replayed = command(["replay", job / "logs" / "a.jsonl"], job).stdout
    assert "line unit: selftest running" in replayed and "selftest passed" in replayed


def test_a_dreaded_line_stops_the_walk(job: Path) -> None:
    bench = job / "benches" / "console.yaml"
    bench.write_text(bench.read_text().replace("'12 of 12 circuits: selftest passed'", "'PANIC: no clock'"))
    out = walked(job)
    assert "line unit said 'PANIC: no clock'" in out and "aborted" in out
    assert "Wire 24, after" not in out


def test_another_rate_is_recognised_and_said(job: Path) -> None:
    bench, sequence = job / "benches" / "console.yaml", job / "console.yaml"
    text = bench.read_text().replace("line: {baud: 9600}", "line: {baud: 38400}")
    bench.write_text(text.replace("after: 2 s", "every: 0.2 s"))
    sequence.write_text(sequence.read_text().replace("within: 20 s", "within: 2 s"))
    out = walked(job)
    assert "most likely another one than 38400 baud" in out and "did not say 'selftest passed'" in out


def test_a_console_that_a_step_names_and_the_bench_lacks_is_told_before_the_walk(job: Path) -> None:
    bench = job / "benches" / "console.yaml"
    bench.write_text(
        bench.read_text().replace("name: line unit, port", "name: unit, port").replace("    line unit:", "    unit:")
    )
    words = ["run", job / "console.yaml", "--bench", bench]
    assert "no console 'line unit'" in command(words, job).stderr


def test_a_trace_tells_what_the_machine_said_beside_the_reading_that_changed(job: Path) -> None:
    bench, sequence = job / "benches" / "console.yaml", job / "console.yaml"
    head, _, _ = sequence.read_text().partition("steps:")
    reading = "  - {step: measure, read: resistance, between: [J101.12, J205.12], limit: {computed: path}}"
    wait = "  - {step: listen, text: It says how it is., console: line unit, expect: circuit 12, within: 20 s}"
    sequence.write_text(f"{head}steps:\n{wait}\n{reading}\n")
    sound = bench.read_text()
    found = [line for line in sound.splitlines(keepends=True) if "fault: intermittent" in line]
    says = "- {text: circuit 12 lost its loop, loose: W101.24}"
    assert len(found) == 1 and says in sound
    in_order = sound.replace(f"  faults:\n{found[0]}", "").replace(says, "- {text: circuit 12 in order, every: 0.5 s}")
    bench.write_text(in_order)
    walked(job, "a.jsonl")
    broken = sound.replace(found[0], "    - {fault: open, conductor: W101.24}\n")
    bench.write_text(broken.replace(says, "- {text: circuit 12 lost its loop, every: 0.5 s}"))
    walked(job, "b.jsonl")
    words = ["trace", "W101.24", "--logs", job / "logs", "--plant", job / "plant.yaml"]
    told = command(words, job).stdout.splitlines()
    assert any("last good" in text and "a.jsonl" in text for text in told)
    at = next(number for number, text in enumerate(told) if text.startswith("said on consoles about"))
    assert "b.jsonl:" in told[at]
    assert "line unit: circuit 12 lost its loop" in "\n".join(told[at:])
    assert not any("circuit 12 in order" in text for text in told)
    source = JobSource(job / "plant.yaml", job / "logs")
    source.survey(lambda text, done, of: None)
    traced = source.trace("W101.24", lambda text, done, of: None)
    assert any("circuit 12 lost its loop" in text for said in traced.said for text in said)


@pytest.mark.slow
def test_a_watch_hears_too_and_tells_what_was_said_when_it_jumped(job: Path) -> None:
    bench, record = job / "benches" / "console.yaml", job / "logs" / "watch-a.jsonl"
    bench.write_text(
        bench.read_text()
        .replace("moved: 0.5 Hz, lasts: 0.3 s", "alone: 2 s, lasts: 0.5 s")
        .replace("line: {baud: 9600}}", "alarms: [{says: lost its loop, thing: 2A}]}")
    )
    words = ["watch", "J101.12~J205.12", "--bench", bench, "--record", record, "--plain", "--quiet", "--for", "12"]
    shown = command(words, job).stdout
    assert "SAID" in shown and "circuit 12 lost its loop" in shown
    watch = read_watch(record)
    assert watch.jumps and any("lost its loop" in text for _, _, text in spoken(record))
    told = command(["replay", record], job).stdout
    assert "said" in told and "circuit 12 lost its loop" in told
    trips = trips_in(job / "logs")
    assert trips and {one.thing for one in trips} == {"2A"} and trips[0].how == "console line unit"
    told = command(["trace", "J205.12", "--logs", job / "logs", "--plant", job / "plant.yaml"], job).stdout
    assert "said" in told and "circuit 12 lost its loop" in told
    page = job / "page.html"
    command(["report", record, "--output", page], job)
    assert "circuit 12 lost its loop" in page.read_text("utf-8")
    ranked = command(["trips", job / "plant.yaml", "--logs", job / "logs"], job).stdout
    assert "circuit 12 lost its loop (console line unit)" in ranked
    # the line that tells the job of it works as it is printed
    line = command(["watch", "--tell", record], job).stdout.splitlines()[-1]
    words = shlex.split(line)[1:]
    assert words[:3] == ["disturb", "J101.12", "J205.12"]
    done = command([*words, "--plant", job / "plant.yaml"], job)
    assert done.returncode == 0 and "J101.12" in done.stdout, done.stdout + done.stderr


@pytest.mark.slow
def test_a_contact_that_goes_while_a_walk_stands_is_a_trip_in_its_record(job: Path) -> None:
    bench, sequence = job / "benches" / "console.yaml", job / "console.yaml"
    played = yaml.safe_load(bench.read_text())
    # the contact is wire 12 of a bundle that the walk has nothing to do with, read by a meter of its own
    alarm = {"name": "alarm meter", "profile": "scpi-bench-meter", "port": "simulated", "serial": "GH-0009"}
    played["instruments"].append(alarm)
    played["roles"] = dict.fromkeys(("ohms", "volts", "amps"), "meter")
    played["contacts"] = [{"thing": "2A", "instrument": "alarm meter", "between": ["J111.12", "J208.12"]}]
    played["simulate"]["faults"].append(
        {"fault": "intermittent", "conductor": "W111.12", "at": "J208", "alone": "40 s", "lasts": "20 s"}
    )
    bench.write_text(yaml.safe_dump(played))
    # it stands there waiting for a line that never comes
    sequence.write_text(
        sequence.read_text().replace("selftest passed", "never said", 1).replace("within: 20 s", "within: 12 s")
    )
    out = walked(job)
    assert "did not say 'never said' within 12 s" in out
    (tripped,) = [one for one in events(job) if isinstance(one, e.Tripped)]
    assert (tripped.thing, tripped.by) == ("2A", "contact J111.12~J208.12")
    # readings of the walk itself are where its own leads lie
    assert out.count("pass      J101.12~J205.12: 0.89") == 2
    trips = trips_in(job / "logs")
    assert {(one.thing, one.how) for one in trips} == {("2A", "contact J111.12~J208.12")}
    replayed = command(["replay", job / "logs" / "a.jsonl"], job).stdout
    assert "2A" in replayed and "its alarm contact changed" in replayed
    # a watch on the same bench reads it too, beside its own point
    words = ["watch", "W101.24", "--bench", bench, "--record", job / "logs" / "watch-a.jsonl", "--plain", "--quiet"]
    command([*words, "--for", "40", "--speed", "4"], job)
    watch = read_watch(job / "logs" / "watch-a.jsonl")
    assert {one.by for one in watch.tripped} == {"contact J111.12~J208.12"}


def test_a_contact_of_nothing_or_by_a_meter_that_walks_need_is_told_before_the_walk(job: Path) -> None:
    bench = job / "benches" / "console.yaml"
    played = yaml.safe_load(bench.read_text())
    played["contacts"] = [{"thing": "2A", "instrument": "meter", "between": ["J111.12", "J208.12"]}]
    bench.write_text(yaml.safe_dump(played))
    words = ["run", job / "console.yaml", "--bench", bench]
    assert "'meter', which fills the role" in command(words, job).stderr
    played["instruments"].append({"name": "other", "profile": "scpi-bench-meter", "port": "simulated"})
    played["roles"] = dict.fromkeys(("ohms", "volts", "amps"), "meter")
    played["contacts"] = [{"thing": "9Z", "instrument": "other", "between": ["J111.12", "J208.99"]}]
    bench.write_text(yaml.safe_dump(played))
    told = command(words, job).stderr
    assert "expected a breaker or shelf of the plant" in told and "'J208.99'" in told
