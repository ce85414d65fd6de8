"""Records: what is written is read back, what was changed is found, what was torn is set aside."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec
import pytest

from bench.record import append as appending
from bench.record.append import (
    CannotKeep,
    RecordBusy,
    RecordTrouble,
    RecordWriter,
    mended,
    stamp,
)
from bench.record.chain import FIRST, LONGEST, BadLine, check, decode, hash_of, seal
from bench.record.read import BrokenRecord, read_lines, read_record
from bench.sequence.file import Do, Found, Rig
from bench.walk import events as e
from bench.walk.results import verdict_lines
from tests.walk import paper_walk as paper

TINY_PLANT = """
plant: p
connector-types: [{name: R, pins: 2}]
cable-types: [{name: P, conductors: 2, size: AWG 24}]
bays: [{name: "1", shelves: [{name: 1A, connectors: [{name: J1, type: R}, {name: J2, type: R}]}]}]
cables: [{name: W, type: P, length: 1 m, from: J1, to: J2}]
"""
TINY = """
sequence: s
plant: plant.yaml
steps: [{step: measure, read: resistance, between: [J1.1, J2.1], limit: {at-most: 2 ohm, source: a test}}]
"""
BARE = msgspec.structs.replace(
    paper.BENCH,
    instruments=[
        msgspec.structs.replace(paper.METER, rows=paper.ohm_rows()[:1], accuracy_of={"resistance 2w": "ohms 2w"})
    ],
    role_of={"ohms": "meter"},
    references=[],
)


@cache
def tiny() -> paper.Made:
    with TemporaryDirectory() as folder:
        return paper.made(Path(folder), TINY, TINY_PLANT, BARE)


@cache
def tiny_walk() -> tuple[e.Entry, ...]:
    """A whole walk in a few events, with characters beyond ASCII and raw bytes among them."""
    walker = paper.PaperWalk(tiny().began)
    walker.add(e.Noted(text='the „lamp" flickers\n\t\\ é Ω 𝄞', by="Zoë"))
    walker.readings = lambda state, step: {"value": 0.123456789012345, "raw": ["+1.2E-1\\xff\\n"], "spread": 1e-300}
    return tuple(walker.finish().entries)


class Clock:
    """A time of day that goes on by a second whenever it is looked at."""

    def __init__(self) -> None:
        self.now = paper.NIGHT

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def write(path: Path, entries: tuple[e.Entry, ...]) -> bytes:
    """Write entries as a record; returns its bytes."""
    with RecordWriter.create(path, Clock()) as writer:
        for entry in entries:
            writer.append(writer.envelope(entry.event))
    return path.read_bytes()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "walk.jsonl"


@pytest.fixture
def whole(path: Path) -> bytes:
    return write(path, tiny_walk())


# round trip


def test_what_is_written_is_read_back(path: Path, whole: bytes) -> None:
    events = [entry.event for entry in read_record(path)]
    assert events == [entry.event for entry in tiny_walk()]
    assert [entry.n for entry in read_record(path)] == list(range(1, len(events) + 1))
    assert whole.count(b"\n") == len(events)


def test_a_whole_walk_comes_back_with_the_same_verdicts(tmp_path: Path, path: Path) -> None:
    walker = paper.PaperWalk(paper.made(tmp_path).began).finish()
    with RecordWriter.create(path) as writer:
        for entry in walker.entries:
            writer.append(entry)
    state = paper.refold(read_record(path))
    assert state == walker.state
    assert list(verdict_lines(state)) == list(verdict_lines(walker.state))


def test_every_kind_of_event_survives(path: Path) -> None:
    began = tiny().began
    events: list[e.Event] = [
        began,
        e.Met(number=1, instrument="meter", roles=["ohms"], identity="a,b,c", address="x", serial="1", version="2"),
        e.Answered(number=2, answer="21.5", by="Ana", how="contact"),
        e.Read(
            number=3, instrument="meter", function="voltage", unit="V", value=-48.1, flags=["slow"], range=100.0,
            resolution=1e-5, raw=["-4.81E1"], count=3, spread=0.1, took=0.3, tries=2, judged={"a": [1, {"b": None}]},
        ),
        e.Read(number=4, instrument="meter", function="resistance 2w", unit="Ω", over="+"),
        e.Read(number=4, instrument="meter", function="resistance 2w", unit="Ω", nan=True),
        e.Troubled(number=5, instrument="meter", kind="late", what="nothing", advice="look", raw=["\\x00"]),
        e.Switched(number=6, instrument="supply", state="on", confirmed=True, raw=["1"]),
        e.Energised(
            number=7, instrument="supply", state="off", confirmed=True, why="over", times=[0.1, 0.2], amps=[None, 0.5],
            terminal=[(0.1, 48.0)], sets=[(0.0, 48.0, 1.0)], tripped=1, thinned=2, raw=["0.5"],
        ),
        e.Elapsed(number=7, seconds=0.1),
        e.Advised(number=8, want=Do(text="Lift.", lift=["B1"], rig=Rig(join=[["a", "b"]])), done=1, left=2, why="so"),
        e.Advised(number=8, want=Found(verdict="fail", sentence="Joined.", facts={"joined": [["a", "b"]]})),
        e.Skipped(number=8, reason="no", by="Ana"),
        e.Went(number=9, to=3, then="go-on", by="Ana"),
        e.Noted(text=""),
        e.Disturbed(touches=["J1", ""], text="t"),
        e.Paused(why="w", make_safe=True),
        e.Continued(),
        e.Seated(by="Ana", where="here"),
        e.Resumed(software="2", bench=began.bench),
        e.Mended(bytes=3, sha256="0" * 64, kept="k"),
        e.Aborted(why="w"),
        e.MadeSafe(number=10, confirmed={"supply": False}, left=["the breaker"]),
        e.Guarded(why="the runner was gone", confirmed={"supply": True}, left=[]),
        e.OutputsSeen(states={"supply": "off"}, text="the lamp is dark", by="Ana"),
        e.Attached(files=[e.KeptFile(name="lug.jpg", sha256="0" * 64, size=9)], text="the lug", by="Ana"),
        e.Said(console="unit", lines=[(0.1, "up"), (0.0, "\\xff")], wrong="noise"),
        e.Sending(number=11, console="unit", line="reset\\r", by="Ana"),
        e.Tripped(thing="F1", what="again", by="Ana"),
    ]  # fmt: skip
    assert {type(event) for event in events} == set(e.Event.__args__)  # type: ignore[attr-defined]
    with RecordWriter.create(path) as writer:
        for event in events:
            writer.append(writer.envelope(event))
    assert [entry.event for entry in read_record(path)] == events


def test_the_line_is_as_the_format_says(path: Path, whole: bytes) -> None:
    """By hand, with nothing of the room: JSON, and SHA-256 over the previous hash and the line up to its own."""
    import hashlib
    import json

    previous = "0" * 64
    for number, line in enumerate(whole.splitlines(), 1):
        told = json.loads(line)
        assert list(told) == ["n", "at", "event", "hash"]
        assert told["n"] == number
        assert datetime.fromisoformat(told["at"]).tzinfo is not None and told["at"].endswith("Z")
        body = line.rsplit(b',"hash":"', 1)[0]
        assert told["hash"] == hashlib.sha256(previous.encode() + body).hexdigest()
        previous = told["hash"]


def test_appending_gives_the_raw_line(path: Path) -> None:
    with RecordWriter.create(path) as writer:
        lines = [writer.append(writer.envelope(entry.event)) for entry in tiny_walk()]
    assert b"".join(lines) == path.read_bytes()
    assert [line for _, line in read_lines(path)] == lines


def test_an_entry_out_of_order_is_a_bug(path: Path) -> None:
    with RecordWriter.create(path) as writer, pytest.raises(ValueError, match="entry 2 does not follow 0"):
        writer.append(e.Entry(n=2, at=stamp(paper.NIGHT), event=e.Noted(text="")))


@pytest.mark.parametrize(
    "event",
    [
        e.Elapsed(number=1, seconds=float("nan")),
        e.Read(number=1, instrument="m", function="voltage", unit="V", value=float("inf")),
        e.Read(number=1, instrument="m", function="voltage", unit="V", value=float("nan")),
        e.Noted(text="\ud800"),
    ],
    ids=["a required nan", "an infinite reading", "a reading that is no number", "half a character"],
)
def test_what_would_come_back_as_something_else_is_not_kept(path: Path, event: e.Event) -> None:
    whole = write(path, tiny_walk())
    writer, _, _ = RecordWriter.reopen(path)
    with writer:
        with pytest.raises(CannotKeep):
            writer.append(writer.envelope(event))
        assert path.read_bytes() == whole
        writer.append(writer.envelope(e.Noted(text="it goes on")))
    assert len(list(read_record(path))) == len(tiny_walk()) + 1


def test_a_line_that_no_reader_would_take_is_not_written(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(appending, "LONGEST", 20_000)
    with RecordWriter.create(path) as writer:
        writer.append(writer.envelope(tiny().began))
        with pytest.raises(CannotKeep, match=r"Noted takes \d+ bytes, more than a line may have"):
            writer.append(writer.envelope(e.Noted(text="x" * 30_000)))


# what was changed is found


def broken(path: Path) -> bool:
    try:
        for _ in read_record(path):
            pass
    except BrokenRecord:
        return True
    return False


def test_every_flipped_byte_is_found(path: Path, whole: bytes) -> None:
    """Every bit of every byte; in the long first line one bit of every byte, each in its turn."""
    assert not broken(path)
    missed = []
    first = whole.index(b"\n")
    with path.open("r+b", buffering=0) as stream:
        for place, byte in enumerate(whole):
            for bit in [place % 8] if place < first else range(8):
                stream.seek(place)
                stream.write(bytes([byte ^ (1 << bit)]))
                if not broken(path):
                    missed.append((place, bit))
            stream.seek(place)
            stream.write(bytes([byte]))
    assert not missed
    assert path.read_bytes() == whole


def test_a_flipped_byte_is_never_set_aside_as_torn(path: Path, whole: bytes) -> None:
    """Reopening to go on refuses too, and changes nothing; above all not the last line, which is whole."""
    last = whole.rindex(b"\n", 0, -1) + 1
    for place in [*range(0, last, 97), *range(last, len(whole))]:
        changed = bytearray(whole)
        changed[place] ^= 0x01
        path.write_bytes(changed)
        with pytest.raises(BrokenRecord):
            RecordWriter.reopen(path)
        assert path.read_bytes() == changed
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("line", range(6))
def test_lines_removed_doubled_swapped_or_added_are_found(path: Path, whole: bytes, line: int) -> None:
    lines = whole.splitlines(keepends=True)
    assert len(lines) > 6
    entry = decode(lines[line])
    forged, _ = seal(entry, FIRST)
    variants = {
        "removed": [*lines[:line], *lines[line + 1 :]],
        "doubled": [*lines[: line + 1], *lines[line:]],
        "swapped": [*lines[:line], lines[line + 1], lines[line], *lines[line + 2 :]],
        "added": [*lines[: line + 1], forged, *lines[line + 1 :]],
        "an empty line": [*lines[: line + 1], b"\n", *lines[line + 1 :]],
        "joined": [*lines[:line], lines[line][:-1] + lines[line + 1], *lines[line + 2 :]],
        "with a carriage return": [*lines[:line], lines[line][:-1] + b"\r\n", *lines[line + 1 :]],
    }
    for name, changed in variants.items():
        path.write_bytes(b"".join(changed))
        assert broken(path), name
        with pytest.raises(BrokenRecord):
            RecordWriter.reopen(path)


def test_a_chain_made_anew_shows_by_its_numbers(path: Path, whole: bytes) -> None:
    """Somebody who knows the format can seal lines anew; the numbers still tell that a line is missing."""
    entries = [decode(line) for line in whole.splitlines(keepends=True)]
    del entries[2]
    chain, lines = FIRST, []
    for entry in entries:
        line, chain = seal(entry, chain)
        lines.append(line)
    path.write_bytes(b"".join(lines))
    with pytest.raises(BrokenRecord, match="jsonl:3: event 4 stands where event 3 belongs"):
        list(read_record(path))


def test_the_first_event_begins_a_walk(path: Path) -> None:
    line, _ = seal(e.Entry(n=1, at=stamp(paper.NIGHT), event=e.Noted(text="")), FIRST)
    path.write_bytes(line)
    with pytest.raises(BrokenRecord, match="the first event does not begin a walk"):
        list(read_record(path))
    with pytest.raises(BrokenRecord, match="the first event does not begin a walk"):
        RecordWriter.reopen(path)


def test_a_broken_record_names_file_line_and_reason(path: Path, whole: bytes) -> None:
    path.write_bytes(whole.replace(b"flickers", b"flackers"))
    with pytest.raises(BrokenRecord) as caught:
        list(read_record(path))
    assert caught.value.line == 2 and caught.value.path == path
    assert str(caught.value) == (
        f"{path}:2: the line or one before it was changed, removed, added or moved: its hash does not fit"
    )


def test_what_comes_before_a_broken_line_is_given_out(path: Path, whole: bytes) -> None:
    path.write_bytes(whole.replace(b"flickers", b"flackers"))
    reading = read_record(path)
    assert isinstance(next(reading).event, e.Began)
    with pytest.raises(BrokenRecord):
        next(reading)


@pytest.mark.parametrize("text", [b"", b"not a record\n", b"{}\n", b"\x00" * 5000 + b"\n", b'"}\n', b"}\n", b"\n"])
def test_other_files_are_refused(path: Path, text: bytes) -> None:
    path.write_bytes(text)
    if text:
        with pytest.raises(BrokenRecord, match=r"jsonl:1: no whole line of a record"):
            list(read_record(path))
    else:
        assert list(read_record(path)) == []


def test_a_line_without_an_end_is_not_read_into_memory(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from bench.record import read

    monkeypatch.setattr(read, "LONGEST", 1000)
    path.write_bytes(b"x" * 5000)
    with pytest.raises(BrokenRecord, match="a line of more than 1000 bytes"):
        list(read_record(path))
    assert LONGEST > 1_000_000


def test_a_record_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BrokenRecord, match="cannot be read: No such file"):
        list(read_record(tmp_path / "none.jsonl"))
    with pytest.raises(BrokenRecord, match="cannot be read: Is a directory"):
        list(read_record(tmp_path))
    with pytest.raises(RecordTrouble, match="cannot be opened for writing: No such file"):
        RecordWriter.reopen(tmp_path / "none.jsonl")


# versions


def resealed(line: bytes, old: bytes, new: bytes) -> bytes:
    """A first line with something replaced in it, sealed again as a newer program would have done."""
    body = line[: line.rindex(b',"hash":"')]
    assert old in body
    body = body.replace(old, new, 1)
    return body + b',"hash":"' + hash_of(body, FIRST) + b'"}\n'


def test_a_newer_format_is_refused_in_plain_words(path: Path, whole: bytes) -> None:
    first = whole.splitlines(keepends=True)[0]
    for new in (
        b'"is":"began","format":2,',
        b'"is":"began","format":2,"something-new":{"a":[1]},',
    ):
        path.write_bytes(resealed(first, b'"is":"began",', new))
        with pytest.raises(BrokenRecord) as caught:
            list(read_record(path))
        assert caught.value.why == (
            "written in format 2 by version 0.0 test; this version reads formats up to 1: use the newer one"
        )


def test_a_newer_format_is_told_also_where_the_line_makes_no_sense_any_more(path: Path, whole: bytes) -> None:
    first = whole.splitlines(keepends=True)[0]
    path.write_bytes(resealed(first, b'"is":"began",', b'"is":"begun","format":7,'))
    with pytest.raises(BrokenRecord, match=r"written in format 7 by version 0\.0 test"):
        list(read_record(path))


def test_an_unknown_event_is_refused_by_name(path: Path, whole: bytes) -> None:
    first = whole.splitlines(keepends=True)[0]
    path.write_bytes(resealed(first, b'"is":"began",', b'"is":"teleported",'))
    with pytest.raises(BrokenRecord, match="no event that this version knows: Invalid value 'teleported'"):
        list(read_record(path))


def test_a_field_of_the_wrong_kind_is_refused(path: Path, whole: bytes) -> None:
    first = whole.splitlines(keepends=True)[0]
    path.write_bytes(resealed(first, b'"ambient":"', b'"ambient":5,"title":"'))
    with pytest.raises(BrokenRecord, match="no event that this version knows"):
        list(read_record(path))
    path.write_bytes(resealed(first, b'"operator":"Ana"', b'"operator":' + b"[" * 3000 + b"]" * 3000))
    with pytest.raises(BrokenRecord, match="no event that this version knows"):
        list(read_record(path))


def test_a_field_that_this_version_does_not_know_is_passed_over(path: Path, whole: bytes) -> None:
    """Fields are added and never change their meaning, so an older program reads what it knows."""
    first = whole.splitlines(keepends=True)[0]
    path.write_bytes(resealed(first, b'"is":"began",', b'"is":"began","mood":"good",'))
    assert isinstance(next(read_record(path)).event, e.Began)


# torn ends


@pytest.mark.slow
def test_cut_at_every_byte_exactly_the_torn_bytes_are_set_aside(
    path: Path, whole: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    # thousands of files: the disk is not waited for
    monkeypatch.setattr(appending, "_sync", lambda descriptor: None)
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
    ends = [place + 1 for place, byte in enumerate(whole) if byte == 0x0A]
    # in the long first line every eleventh byte, and its two ends
    inside = set(range(200, ends[0] - 200)) - set(range(200, ends[0], 11))
    for cut in sorted(set(range(len(whole) + 1)) - inside):
        path.write_bytes(whole[:cut])
        sure = max((end for end in ends if end <= cut), default=0)
        assert [entry.n for entry in read_record(path)] == list(range(1, ends.index(sure) + 2 if sure else 1))
        writer, entries, torn = RecordWriter.reopen(path, Clock())
        with writer:
            assert [entry.event for entry in entries] == [entry.event for entry in tiny_walk()[: len(entries)]]
            assert path.read_bytes() == whole[:sure]
            assert (torn is None) == (sure == cut)
            if torn is None:
                continue
            kept = path.with_name(torn.kept)
            assert kept.read_bytes() == whole[sure:cut]
            assert torn.bytes == cut - sure
            kept.unlink()
            if entries and cut % 20 == 0:
                writer.append(writer.envelope(mended(torn)))
                *before, last = read_record(path)
                assert before == entries
                assert last.event == e.Mended(bytes=torn.bytes, sha256=torn.sha256, kept=torn.kept)


def test_a_line_without_its_newline_only_is_torn_too(path: Path, whole: bytes) -> None:
    """It was on disk whole but for the last byte, so nobody was told that it is kept."""
    path.write_bytes(whole[:-1])
    writer, entries, torn = RecordWriter.reopen(path)
    writer.close()
    assert torn is not None and len(entries) == len(tiny_walk()) - 1


def test_a_torn_end_that_cannot_be_set_aside_is_left_where_it_is(path: Path, whole: bytes) -> None:
    path.write_bytes(whole[:-5])
    _, _, torn = reopened_and_closed(path)
    assert torn is not None
    path.write_bytes(whole[:-5])
    kept = path.with_name(torn.kept)
    kept.unlink()
    kept.mkdir()  # something is in the way
    with pytest.raises(RecordTrouble, match="cannot be set aside"):
        RecordWriter.reopen(path)
    assert path.read_bytes() == whole[:-5]


def reopened_and_closed(path: Path) -> tuple[RecordWriter, list[e.Entry], appending.Torn | None]:
    writer, entries, torn = RecordWriter.reopen(path)
    writer.close()
    return writer, entries, torn


# while it is being written


def test_a_record_is_read_while_it_is_being_written(path: Path) -> None:
    with RecordWriter.create(path) as writer:
        for number, entry in enumerate(tiny_walk(), 1):
            writer.append(writer.envelope(entry.event))
            assert len(list(read_record(path))) == number
        with path.open("ab") as stream:
            stream.write(b'{"n":99,"at":')  # as seen in the middle of a write
        assert len(list(read_record(path))) == len(tiny_walk())


HOLDS = """
import sys
from pathlib import Path
from bench.record.append import RecordWriter
writer, entries, torn = RecordWriter.reopen(Path(sys.argv[1]))
print(len(entries), flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def holder(path: Path, whole: bytes) -> Iterator[subprocess.Popen[str]]:
    """Another process that has the record open for writing."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == f"{len(tiny_walk())}\n"
        yield process
        process.kill()


def test_two_processes_never_write_one_record(path: Path, whole: bytes, holder: subprocess.Popen[str]) -> None:
    with pytest.raises(RecordBusy, match="is being written by another process"):
        RecordWriter.reopen(path)
    assert path.read_bytes() == whole
    assert len(list(read_record(path))) == len(tiny_walk()), "reading is free"
    holder.kill()  # whatever way a process ends, the system lets go for it
    holder.wait()
    writer, _, _ = RecordWriter.reopen(path)
    with writer:
        writer.append(writer.envelope(e.Noted(text="mine now")))


def test_in_one_process_too(path: Path, whole: bytes) -> None:
    writer, _, _ = RecordWriter.reopen(path)
    with writer, pytest.raises(RecordBusy):
        RecordWriter.reopen(path)
    RecordWriter.reopen(path)[0].close()


def test_a_record_is_never_overwritten(path: Path, whole: bytes) -> None:
    with pytest.raises(FileExistsError, match=r"walk\.jsonl is there already; a record is never overwritten"):
        RecordWriter.create(path)
    assert path.read_bytes() == whole


# trouble with the disk

FULL = """
import resource, sys
from pathlib import Path
from bench.record.append import RecordTrouble, RecordWriter
from bench.walk.events import Noted

path = Path(sys.argv[1])
writer, _, _ = RecordWriter.reopen(path)
size = path.stat().st_size
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100, hard))
for _ in range(2):
    try:
        writer.append(writer.envelope(Noted(text="x" * 1000)))
    except RecordTrouble as error:
        print(error, path.stat().st_size == size, flush=True)
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
writer.append(writer.envelope(Noted(text="there is room again")))
"""


def test_a_full_disk_keeps_nothing_of_the_event_and_is_got_over(path: Path, whole: bytes) -> None:
    done = subprocess.run([sys.executable, "-c", FULL, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [f"{path} cannot be written: File too large True"] * 2
    *before, last = read_record(path)
    assert len(before) == len(tiny_walk())
    assert last.event == e.Noted(text="there is room again")


@pytest.mark.skipif(os.geteuid() != 0 or shutil.which("mount") is None, reason="only root mounts a tiny disk")
def test_a_disk_that_is_really_full(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("no disk can be mounted here")
    try:
        path = disk / "walk.jsonl"
        write(path, tiny_walk())
        writer, _, _ = RecordWriter.reopen(path)
        with writer:
            ballast = disk / "ballast"
            with pytest.raises(OSError, match="No space left"), ballast.open("wb", buffering=0) as stream:
                while True:
                    stream.write(b"x" * 1024)
            kept = path.read_bytes()
            with pytest.raises(RecordTrouble, match="cannot be written: No space left"):
                writer.append(writer.envelope(e.Noted(text="x" * 5000)))
            assert path.read_bytes() == kept
            ballast.unlink()
            writer.append(writer.envelope(e.Noted(text="there is room again")))
        assert not broken(path)
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def gone(*_: object) -> None:
    raise OSError(5, "Input/output error")


def test_what_cannot_be_cut_back_at_once_is_cut_back_before_the_next_line(
    path: Path, whole: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The drive goes in the middle of a line, is gone for cutting it back too, and comes again."""
    writer, _, _ = RecordWriter.reopen(path)
    write_some = os.write
    with writer:
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", lambda descriptor, data: write_some(descriptor, bytes(data[:20])))
            patched.setattr(os, "ftruncate", gone)
            patched.setattr(appending, "_sync", gone)
            for _ in range(2):
                with pytest.raises(RecordTrouble, match="Input/output error"):
                    writer.append(writer.envelope(e.Noted(text="lost")))
        assert len(path.read_bytes()) > len(whole), "something of the line is still there"
        writer.append(writer.envelope(e.Noted(text="kept")))
    *before, last = read_record(path)
    assert len(before) == len(tiny_walk()) and last.event == e.Noted(text="kept")


def test_a_sync_that_fails_keeps_nothing(path: Path, whole: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    writer, _, _ = RecordWriter.reopen(path)
    with writer:
        with monkeypatch.context() as patched:
            patched.setattr(appending, "_sync", gone)
            with pytest.raises(RecordTrouble):
                writer.append(writer.envelope(e.Noted(text="lost")))
        assert path.read_bytes() == whole
        writer.append(writer.envelope(e.Noted(text="kept")))
    assert not broken(path)


def test_every_line_is_synced_before_it_is_acknowledged(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    happened: list[str] = []
    sync, write_all = appending._sync, os.write
    monkeypatch.setattr(appending, "_sync", lambda fd: (happened.append("sync"), sync(fd)))
    monkeypatch.setattr(os, "write", lambda fd, data: (happened.append("write"), write_all(fd, data))[1])
    with RecordWriter.create(path) as writer:
        for entry in tiny_walk():
            writer.append(writer.envelope(entry.event))
            happened.append("acknowledged")
    assert happened == ["write", "sync", "acknowledged"] * len(tiny_walk())


AS_NOBODY = """
import os, sys
from pathlib import Path
from bench.record.append import RecordTrouble, RecordWriter
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
folder = Path(sys.argv[1])
for act, name in (
    (RecordWriter.create, "new.jsonl"),
    (RecordWriter.create, "deeper/new.jsonl"),
    (RecordWriter.reopen, "old.jsonl"),
):
    try:
        act(folder / name)
    except RecordTrouble as error:
        print(str(error).replace(str(folder), ""))
"""


def test_a_folder_that_cannot_be_written_is_told() -> None:
    # not below pytest's own folder, which others may not even enter
    with TemporaryDirectory() as name:
        folder = Path(name)
        write(folder / "old.jsonl", tiny_walk())
        (folder / "old.jsonl").chmod(0o444)
        folder.chmod(0o555)
        done = subprocess.run([sys.executable, "-c", AS_NOBODY, name], capture_output=True, text=True, check=False)
        folder.chmod(0o755)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "/new.jsonl cannot be written: Permission denied",
        "/deeper cannot be made: Permission denied",
        "/old.jsonl cannot be opened for writing: Permission denied",
    ]


# time


def test_a_clock_that_was_set_back_is_recorded_as_it_is(path: Path) -> None:
    times = iter(
        [
            datetime(2026, 10, 25, 2, 59, 59, 5, tzinfo=timezone(timedelta(hours=2))),
            datetime(2026, 10, 25, 2, 0, 1, tzinfo=timezone(timedelta(hours=1))),
            datetime(1970, 1, 1, tzinfo=UTC),
        ]
    )
    with RecordWriter.create(path, lambda: next(times)) as writer:
        for event in (tiny().began, e.Noted(text="second"), e.Noted(text="third")):
            writer.append(writer.envelope(event))
    assert [(entry.n, entry.at) for entry in read_record(path)] == [
        (1, "2026-10-25T00:59:59.000005Z"),
        (2, "2026-10-25T01:00:01.000000Z"),
        (3, "1970-01-01T00:00:00.000000Z"),
    ]


# size


@pytest.mark.slow
def test_a_long_record_is_read_in_constant_memory(path: Path) -> None:
    """100,000 lines, written without a sync for each so that the test is quick."""
    chain = FIRST
    with path.open("wb") as stream:
        line, chain = seal(e.Entry(n=1, at=stamp(paper.NIGHT), event=tiny().began), chain)
        stream.write(line)
        for number in range(2, 100_001):
            event = e.Answered(number=number, answer="", by="Ana", how="contact")
            line, chain = seal(e.Entry(n=number, at="2026-05-12T18:00:00.000000Z", event=event), chain)
            stream.write(line)
    size = path.stat().st_size
    assert size > 15_000_000
    tracemalloc.start()
    count = sum(1 for _ in read_record(path))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 100_000
    assert peak < 1_000_000, f"{peak} bytes for a file of {size}"


def test_the_chain_says_what_it_checks() -> None:
    line, digest = seal(tiny_walk()[0], FIRST)
    assert check(line, FIRST) == digest
    with pytest.raises(BadLine, match="its hash does not fit"):
        check(line, digest)


def test_line_ends_that_git_or_an_editor_changed_are_named(path: Path, whole: bytes) -> None:
    path.write_bytes(whole.replace(b"\n", b"\r\n"))
    with pytest.raises(BrokenRecord, match=r"line ends were turned into CR LF.*\.gitattributes"):
        list(read_record(path))
