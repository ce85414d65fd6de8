"""Verifying records: every change is found, and where it is is said."""

import hashlib
import json
from datetime import timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec
import pytest

from bench.cli import main
from bench.exits import BAD_INPUT, NOT_PASSED, PASS
from bench.record.append import RecordWriter
from bench.record.chain import FIRST, decode, seal
from bench.record.index import DISTURBANCES, declare, declared
from bench.record.read import BrokenRecord
from bench.record.verify import changed_lines, verify
from bench.walk import events as e
from bench.walk.results import annotated
from bench.walk.state import start, take
from tests.walk import paper_walk as paper

PLANT = """
plant: p
connector-types: [{name: R, pins: 2}]
cable-types: [{name: P, conductors: 2, size: AWG 24}]
bays: [{name: "1", shelves: [{name: 1A, connectors: [{name: J1, type: R}, {name: J2, type: R}]}]}]
cables: [{name: W, type: P, length: 1 m, from: J1, to: J2}]
"""
SEQUENCE = """
sequence: s
plant: plant.yaml
steps:
  - {step: measure, read: resistance, between: [J1.1, J2.1], limit: {at-most: 2 ohm, source: a test}}
  - {step: measure, read: resistance, between: [J1.2, J2.2], limit: {at-most: 2 ohm, source: a test}}
"""
BARE = msgspec.structs.replace(
    paper.BENCH,
    instruments=[
        msgspec.structs.replace(paper.METER, rows=paper.ohm_rows()[:1], accuracy_of={"resistance 2w": "ohms 2w"})
    ],
    role_of={"ohms": "meter"},
    references=[],
)


class Clock:
    def __init__(self):
        self.now = paper.NIGHT

    def __call__(self):
        self.now += timedelta(seconds=1)
        return self.now


@cache
def events():
    """A whole walk, each reading with the note that a runner writes beside it."""
    with TemporaryDirectory() as folder:
        made = paper.made(Path(folder), SEQUENCE, PLANT, BARE)
    walker = paper.PaperWalk(made.began)
    walker.readings = lambda state, step: {"value": 0.5 + 0.01 * step.index, "raw": ["+5E-1\\xff\\n"]}
    walker.add(e.Noted(text='the "lamp" flickers é', by="Zoë"))
    state, found = start(), []
    for entry in walker.finish().entries:
        state = take(state, entry)
        found.append(annotated(entry, state).event)
    return tuple(found)


def write(path, what=None):
    with RecordWriter.create(path, Clock()) as writer:
        for event in what or events():
            writer.append(writer.envelope(event))
    return path.read_bytes().splitlines(keepends=True)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "walk.jsonl"


@pytest.fixture
def lines(path):
    return write(path)


def wrong(path):
    return [(finding.line, finding.words) for finding in verify(path).findings if finding.weight == "wrong"]


def test_a_sound_record_is_sound(path, lines):
    """All its lines, its ending, and the hash to write down elsewhere."""
    found = verify(path)
    assert not found.wrong and found.findings == ()
    assert (found.lines, found.ending, found.kind) == (len(lines), "done", "walk")
    assert found.last == lines[-1][-67:-3].decode()


@pytest.mark.slow
def test_every_flipped_byte_is_found_in_its_line(lines):
    """All positions, one bit of each byte in its turn; the line that is named holds the byte, or lost its end."""
    whole = b"".join(lines)
    bounds = [0]
    for line in lines:
        bounds.append(bounds[-1] + len(line))
    missed, misplaced = [], []
    for place in range(len(whole)):
        flipped = bytes([whole[place] ^ (1 << place % 8)])
        changed = whole[:place] + flipped + whole[place + 1 :]
        line = next(i for i in range(len(lines)) if place < bounds[i + 1]) + 1
        # a record is read by its line ends, wherever they are now
        found = changed_lines(changed.splitlines(keepends=True) if b"\r" not in changed else split(changed))
        if not found:
            missed.append(place)
        elif line not in {one.line for one in found}:
            misplaced.append((place, line, [one.line for one in found]))
    assert not missed
    assert not misplaced


def split(whole):
    return [piece + b"\n" for piece in whole.split(b"\n")[:-1]] + [one for one in [whole.split(b"\n")[-1]] if one]


def test_what_was_done_to_a_line_is_said(path, lines):
    """Content, hash, removed, moved, added, torn: each in its own words and at its own line."""
    body = lines[3].replace(b'"at":"2', b'"at":"3', 1)
    path.write_bytes(b"".join([*lines[:3], body, *lines[4:]]))
    assert wrong(path) == [(4, "its content was changed")]

    other = lines[3][:-4] + (b"0" if lines[3][-4:-3] != b"0" else b"1") + lines[3][-3:]
    path.write_bytes(b"".join([*lines[:3], other, *lines[4:]]))
    assert wrong(path) == [(4, "its hash was changed; its content is as it was written")]

    path.write_bytes(b"".join([*lines[:3], *lines[4:]]))
    assert wrong(path) == [(4, "event 4 is missing before it, removed or moved")]

    path.write_bytes(b"".join([*lines[:3], *lines[5:]]))
    assert wrong(path) == [(4, "events 4 to 5 are missing before it, removed or moved")]

    path.write_bytes(b"".join([*lines[:5], lines[2], *lines[5:]]))
    assert wrong(path) == [(6, "event 3 stands where event 6 belongs: the line was added or moved")]

    path.write_bytes(b"".join(lines) + b'{"n":99,"at"')
    assert wrong(path) == [(len(lines) + 1, "the end is torn: 12 bytes without a line's end")]


def test_the_place_is_given_in_bytes_too(path, lines):
    """First and last byte of the line that is wrong."""
    path.write_bytes(b"".join([*lines[:3], lines[3].replace(b'"n":4', b'"n":5'), *lines[4:]]))
    finding = next(one for one in verify(path).findings if one.weight == "wrong")
    begin = sum(map(len, lines[:3]))
    assert (finding.start, finding.end) == (begin, begin + len(lines[3]))


def test_a_line_made_anew_with_its_own_hash_breaks_the_next(path, lines):
    """Who changes a line and its hash must change every line after it."""
    previous = lines[2][-67:-3]
    forged, _ = seal(msgspec.structs.replace(decode(lines[3]), at="2026-01-01T00:00:00.000000Z"), previous)
    path.write_bytes(b"".join([*lines[:3], forged, *lines[4:]]))
    assert [line for line, _ in wrong(path)] == [5]


def test_a_walk_cut_short_at_a_line_is_told_as_not_over(path, lines):
    """The chain cannot show it, the machine can."""
    path.write_bytes(b"".join(lines[:-1]))
    found = verify(path)
    assert not found.wrong
    assert [one.weight for one in found.findings] == ["note"] and "not over" in found.findings[0].words


def test_an_event_that_does_not_follow_is_found_behind_a_sound_chain(path):
    """A record that was written anew with an event left out."""
    write(path, [*events()[:4], *events()[5:]])
    assert any("does not follow" in words for _, words in wrong(path))


def test_a_verdict_that_today_s_code_does_not_derive_is_told(path):
    """And a value; the chain itself is sound."""
    notes = iter([{"verdict": "fail"}, {"value": 77.0}])
    written = [
        msgspec.structs.replace(event, judged={**event.judged, **next(notes)}) if isinstance(event, e.Read) else event
        for event in events()
    ]
    write(path, written)
    found = verify(path)
    words = [finding.words for finding in found.findings]
    assert [finding.weight for finding in found.findings] == ["judged otherwise"] * 2
    assert "noted as fail, today pass" in words[0] and "noted as 77.0" in words[1]
    assert verify(path, judge=False).findings == ()


def test_a_torn_end_that_was_set_aside_is_looked_up(path, lines):
    """Its file is there and unchanged, or changed, or gone."""
    path.write_bytes(b"".join(lines[:-2]) + b'{"n":8')
    writer, entries, torn = RecordWriter.reopen(path, Clock())
    with writer:
        writer.append(writer.envelope(e.Mended(bytes=torn.bytes, sha256=torn.sha256, kept=torn.kept)))
    kept = path.with_name(torn.kept)
    assert any("was set aside here" in one.words for one in verify(path).findings)
    kept.write_bytes(b"other")
    assert verify(path).wrong
    kept.unlink()
    assert not verify(path).wrong and any("no longer there" in one.words for one in verify(path).findings)
    assert entries


def test_a_clock_that_goes_back_is_a_note(path):
    """It happens; it does not make the record wrong."""
    chain, written = FIRST, []
    for n, event in enumerate(events(), 1):
        at = "2026-05-01T10:00:00.000000Z" if n != 4 else "2026-05-01T09:00:00.000000Z"
        line, chain = seal(e.Entry(n=n, at=at, event=event), chain)
        written.append(line)
    path.write_bytes(b"".join(written))
    found = verify(path)
    assert not found.wrong and "the clock went back" in found.findings[0].words


def test_the_command_says_it_in_its_exit_code(path, lines, tmp_path, capsys):
    """0 sound, 1 wrong, 2 no record."""
    assert main(["verify", str(path)]) == PASS
    assert capsys.readouterr().out.startswith("sound")
    path.write_bytes(b"".join([*lines[:3], *lines[4:]]))
    assert main(["verify", str(tmp_path)]) == NOT_PASSED
    assert f"{path}:4 (bytes" in capsys.readouterr().out
    (tmp_path / "foreign.jsonl").write_text('{"a": 1}\n')
    assert main(["verify", str(tmp_path), "--json"]) == BAD_INPUT
    shown = json.loads(capsys.readouterr().out)
    assert [one["sound"] for one in shown["records"]] == [False] and len(shown["unreadable"]) == 1
    assert main(["verify", str(tmp_path / "nowhere")]) == BAD_INPUT


# Disturbances told outside any walk


def test_disturbances_are_chained_like_a_record(tmp_path):
    """Written one after the other, read back, verified, and any change is found."""
    first, second = (
        e.Disturbed(touches=["W101"], text="moved", by="Tove"),
        e.Disturbed(touches=["T1.2", "J405"], when="2026-05-01T10:00:00.000000Z"),
    )
    path = declare(tmp_path, first, Clock())
    assert declare(tmp_path, second, Clock()) == path == tmp_path / DISTURBANCES
    assert [entry.event for entry in declared(tmp_path)] == [first, second]
    assert not verify(path).wrong and verify(path).kind == "disturbances"
    content = path.read_bytes()
    for place in range(len(content)):
        path.write_bytes(content[:place] + bytes([content[place] ^ 4]) + content[place + 1 :])
        with pytest.raises(BrokenRecord):
            declared(tmp_path)
    path.write_bytes(content[:-1] + b"\t")
    with pytest.raises(BrokenRecord):
        declare(tmp_path, first, Clock())
    assert path.read_bytes() == content[:-1] + b"\t", "a file that was changed is left as it is"


def test_a_torn_disturbance_is_set_aside_and_told(tmp_path):
    """The next one goes on behind it."""
    path = declare(tmp_path, e.Disturbed(touches=["W101"]), Clock())
    with path.open("ab") as stream:
        stream.write(b'{"n":2')
    assert len(declared(tmp_path)) == 1
    declare(tmp_path, e.Disturbed(touches=["W102"]), Clock())
    assert [entry.event.touches for entry in declared(tmp_path)] == [["W101"], ["W102"]]
    kept = next(tmp_path.glob("*.torn-*"))
    assert hashlib.sha256(kept.read_bytes()).hexdigest()[:12] in kept.name
    assert not verify(path).wrong


def test_whoever_was_stopped_in_the_first_line_of_a_file_of_disturbances_loses_nothing(tmp_path):
    """The torn end is set aside and told in the first line that stands; the file is read and verified all the same."""
    (tmp_path / DISTURBANCES).write_bytes(b'{"n":1,"at":"2026-05-12T18:00')
    declare(tmp_path, e.Disturbed(touches=["J101"], text="moved"))
    declare(tmp_path, e.Disturbed(touches=["J102"], text="moved too"))
    assert [entry.event.touches for entry in declared(tmp_path)] == [["J101"], ["J102"]]
    assert not [one for one in verify(tmp_path / DISTURBANCES).findings if one.weight == "wrong"]
