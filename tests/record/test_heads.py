"""Heads that are kept outside of records, and a meter's bytes, show what a chain that was made anew does not."""

import re
import shutil
import stat

import msgspec
import pytest

from bench.cli import main
from bench.exits import BAD_INPUT, NOT_PASSED, PASS
from bench.record.chain import FIRST, decode, seal
from bench.record.heads import LETTERS, NoHeads, heads_of, letters_of, new_key, public_key, read_heads, signed
from bench.record.index import chain_of, files_in
from bench.record.raw import contradicts
from bench.record.verify import verify
from bench.walk.events import Read
from tests.job.season_folder import season
from tests.job.test_asfound import at, conductor, reading, walk


@pytest.fixture
def logs(tmp_path):
    """Three records of a job."""
    folder = tmp_path / "logs"
    for number in range(3):
        walk(folder / f"{number}.jsonl", reading(conductor()), by="Anna", when=at(12 + number), ohms=50.0)
    return folder


def rewritten(path, change, until=None):
    """Write a record anew from the first line that is changed on, hashes and all: its chain holds."""
    chain, lines = FIRST, []
    for line in path.read_bytes().splitlines(keepends=True)[:until]:
        line, chain = seal(change(decode(line)), chain)
        lines.append(line)
    path.write_bytes(b"".join(lines))
    chain_of(path)


def to_pass(entry):
    """A fail becomes a pass, the bytes of the meter with it."""
    if not isinstance(entry.event, Read):
        return entry
    event = msgspec.structs.replace(entry.event, value=0.1, raw=["+1.00000000E-01\n"], judged={})
    return msgspec.structs.replace(entry, event=event)


def cut(path):
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-2]))


def kept(tmp_path, logs, *words):
    target = tmp_path / "heads.txt"
    assert main(["heads", str(logs), "-o", str(target), *words]) == PASS
    return target


def held(logs, target, *words):
    return main(["verify", str(logs), "--chain-only", "--heads", str(target), *words])


def test_a_record_that_was_rewritten_whole_contradicts_the_heads(tmp_path, logs, capsys):
    """The last one, which no other record saw: nothing else shows it."""
    target = kept(tmp_path, logs)
    assert held(logs, target) == PASS
    rewritten(logs / "2.jsonl", to_pass)
    assert main(["verify", str(logs), "--chain-only"]) == PASS, "so far as the records themselves tell"
    assert held(logs, target) == NOT_PASSED
    assert "2.jsonl was written anew from some line on" in capsys.readouterr().out


@pytest.mark.parametrize(
    "harm, words",
    [
        (
            lambda path: path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-2])),
            "its end is missing",
        ),
        (lambda path: path.unlink(), "2.jsonl is not there as the list has it"),
    ],
    ids=["cut", "removed"],
)
def test_a_cut_tail_and_a_missing_record_contradict_the_heads(tmp_path, logs, capsys, harm, words):
    target = kept(tmp_path, logs)
    harm(logs / "2.jsonl")
    assert held(logs, target) == NOT_PASSED
    assert words in capsys.readouterr().out


def test_what_came_after_a_list_was_made_and_other_names_contradict_nothing(tmp_path, logs):
    target = kept(tmp_path, logs)
    walk(logs / "3.jsonl", reading(conductor()), by="Ben", when=at(20), ohms=0.1)
    shutil.move(logs / "0.jsonl", logs / "first.jsonl")
    assert held(logs, target) == PASS


def test_sixteen_letters_tell_the_list_that_was_written_down(tmp_path, logs, capsys):
    target = kept(tmp_path, logs)
    letters = re.search(r"letters ([A-Z ]+)\n", capsys.readouterr().out)[1]
    assert len(letters.replace(" ", "")) == 16 and set(letters) <= {*LETTERS, " "}
    assert held(logs, target, "--letters", letters.lower()) == PASS
    rewritten(logs / "2.jsonl", to_pass)
    forged = kept(tmp_path, logs)
    assert held(logs, forged) == PASS
    assert held(logs, forged, "--letters", letters) == NOT_PASSED
    assert "is not the list that was written down" in capsys.readouterr().out


def test_a_list_that_was_changed_is_none(tmp_path, logs):
    text = kept(tmp_path, logs).read_text("utf-8")
    for at_ in range(text.index("\n", 60) + 1, text.index("letters"), 7):
        changed = text[:at_] + ("0" if text[at_] != "0" else "1") + text[at_ + 1 :]
        if changed.split("  ")[0] != text.split("  ")[0]:  # a name stands for nothing
            with pytest.raises(NoHeads):
                read_heads(changed)
    with pytest.raises(NoHeads):
        read_heads("a letter to a friend\n")


def test_a_signed_list_names_who_signed_it_and_nobody_else_can(tmp_path, logs, capsys):
    key, other = tmp_path / "key", tmp_path / "other"
    assert main(["heads", "--new-key", str(key)]) == PASS
    new_key(other)
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    target = kept(tmp_path, logs, "--sign", str(key))
    assert read_heads(target.read_text("utf-8")).signer == public_key(tmp_path / "key.pub")
    assert held(logs, target, "--signed-by", str(tmp_path / "key.pub")) == PASS
    assert held(logs, target, "--signed-by", str(tmp_path / "other.pub")) == NOT_PASSED
    assert "signed by another key" in capsys.readouterr().out
    rewritten(logs / "2.jsonl", to_pass)
    mine = heads_of(files_in([logs]), logs, "now").text
    old = target.read_text("utf-8").splitlines()[-1]
    target.write_text(f"{mine}{old}\n", "utf-8")
    assert held(logs, target) == NOT_PASSED
    assert "its signature does not fit" in capsys.readouterr().out
    target.write_text(signed(mine, other), "utf-8")
    assert held(logs, target, "--signed-by", str(tmp_path / "key.pub")) == NOT_PASSED
    with pytest.raises(NoHeads, match="no private key"):
        signed(mine, tmp_path / "key.pub")
    assert main(["heads", str(logs), "--sign", str(tmp_path / "none")]) == BAD_INPUT


def test_letters_follow_from_the_content():
    """Worked out by hand from SHA-256 of nothing at all, e3b0c442...: its remainders by 24, one after the other."""
    number = int("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", 16)
    expected = "".join(LETTERS[number // 24**place % 24] for place in range(16))
    assert letters_of(b"").replace(" ", "") == expected


# bytes of a meter


def test_a_value_that_its_bytes_contradict_is_wrong_though_the_chain_holds(tmp_path):
    path = tmp_path / "season.jsonl"
    shutil.copy(next(season().glob("*-weekly-round-3.jsonl")), path)
    assert not [one for one in verify(path, judge=False).findings if one.weight == "wrong"]
    seen = []

    def change(entry):
        if isinstance(entry.event, Read) and entry.event.value and len(seen) < 1:
            seen.append(entry.n)
            return msgspec.structs.replace(
                entry, event=msgspec.structs.replace(entry.event, value=entry.event.value * 3)
            )
        return entry

    rewritten(path, change)
    (found,) = [one for one in verify(path, judge=False).findings if one.weight == "wrong"]
    assert found.line == seen[0] and "the meter sent" in found.words


@pytest.mark.parametrize(
    "raw, value, told",
    [
        (["+2.13200000E-01\n"], 0.2132, False),
        (["+2.13200000E-01\n"], 213.2, True),
        (["+2.1E-01\n", "+2.3E-01\n"], 0.22, False),
        (["+2.1E-01\n", "+2.3E-01\n"], 0.21, False),
        (["+2.1E-01\n", "-2.3E-01\n"], 0.22, False),
        (["4.710\r\n"], 4710.0, False),
        (["4.710\r\n"], 4720.0, True),
        (["\\x01\\x03\\x02"], 4720.0, None),
        (["OL\r\n"], 1.0, None),
        ([], 1.0, None),
    ],
)
def test_what_bytes_say_of_a_value(raw, value, told):
    assert contradicts(Read(number=1, instrument="m", function="f", unit="Ω", value=value, raw=raw)) is told
