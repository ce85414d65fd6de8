"""Control characters and terminal escapes of a file, a meter or a record reach no terminal and no report."""

from __future__ import annotations

import io
import unicodedata
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.cli import main
from bench.quantity import ascii_only
from bench.record.append import RecordWriter
from bench.screens.program.cells import wrap
from bench.texts import Harmless, clean, clean_lines, folded
from bench.walk import events as e
from bench.walk.state import start, take
from tests.drawn import draws
from tests.walk import paper_walk as paper

HOSTILE = "\x1b]0;owned\x07\x1b[2J\x1b[31m\x9b2J\u202e\u2066x\x00\x08\x7f\r"
ALLOWED = {"\n", "\t", "\x07"}


def harmful(text: str, allowed: set[str] = ALLOWED) -> set[str]:
    """What a terminal would act upon."""
    return {c for c in text if c not in allowed and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")} - {
        "\u00ad",
        *map(chr, range(0xE0000, 0xE0080)),
    }


@given(st.text(max_size=40))
@draws(200)
def test_nothing_gets_through(text: str) -> None:
    for shown, allowed in ((clean(text), set()), (clean_lines(text), {"\n", "\t"})):
        assert not {c for c in shown if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") and c not in allowed}
        assert not set(shown) & set("\u200b\u200e\u202a\u202e\u2066\u2069\ufeff")
    out = io.StringIO()
    Harmless(out, ascii_only).write(text)
    assert out.getvalue().replace("\x07", "\ufffd") == clean_lines(text)
    assert clean_lines(clean_lines(text)) == clean_lines(text)


def test_letters_stay_as_they_are() -> None:
    text = "Ω µ °C ± – “Größe” 中文 \U0001f600 e\u0301\tend\n"
    assert clean_lines(text) == text


@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        ("ascii", "4.7 mohm +/- 2 uV at 18 degC, Cafe ?\n"),
        ("latin-1", "4.7 mohm ± 2 µV at 18 °C, Café ?\n"),
        ("utf-8", "4.7 mΩ ± 2 µV at 18 °C, Café 中\n"),
    ],
)
def test_what_cannot_be_encoded_is_spelled(encoding: str, written: str) -> None:
    raw = io.BytesIO()
    out = Harmless(io.TextIOWrapper(raw, encoding=encoding), ascii_only)
    out.write("4.7 mΩ ± 2 µV at 18 °C, Café 中\n")
    out.flush()
    assert raw.getvalue().decode(encoding) == written


def spoiled(value: Any) -> Any:
    """The same event with the hostile text behind every text that is only shown."""
    shown = {"text", "title", "what", "advice", "reason", "by", "why", "identity", "serial", "raw", "operator", "flags"}
    if isinstance(value, dict):
        return {
            key: (
                [one + HOSTILE if isinstance(one, str) else one for one in inner]
                if isinstance(inner, list)
                else inner + HOSTILE
            )
            if key in shown and (isinstance(inner, str) or (isinstance(inner, list) and key in ("raw", "flags")))
            else spoiled(inner)
            for key, inner in value.items()
        }
    return [spoiled(one) for one in value] if isinstance(value, list) else value


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a record, whole and chained, whose texts are all hostile."""
    folder = tmp_path_factory.mktemp("hostile")
    walker = paper.PaperWalk(paper.made(folder).began)
    while len(walker.entries) < 40 and not walker.state.finished:
        walker.one()
    state = start()
    with RecordWriter.create(folder / "hostile.jsonl") as writer:
        for entry in walker.entries:
            event = entry.event
            if not isinstance(event, e.Began):
                raw = msgspec.to_builtins(event, enc_hook=str)
                event = msgspec.convert(spoiled(raw), type(event), strict=False)
            else:
                event = msgspec.structs.replace(event, operator="Ana" + HOSTILE)
            try:
                state = take(state, msgspec.structs.replace(entry, event=event, n=writer.last + 1))
            except ValueError:  # a typed word is refused: the event stays as it was
                event = entry.event
                state = take(state, msgspec.structs.replace(entry, n=writer.last + 1))
            writer.append(msgspec.structs.replace(entry, event=event, n=writer.last + 1))
        for free in (e.Noted(text=HOSTILE, by=HOSTILE), e.Disturbed(touches=["W1"], text=HOSTILE)):
            writer.append(writer.envelope(free))
    return folder


@pytest.mark.parametrize(
    "words",
    [
        ["replay", "{record}"],
        ["replay", "{record}", "--json"],
        ["verify", "{folder}"],
        ["trace", "W1.3", "--logs", "{folder}"],
        ["judge", "{record}"],
        ["explain", "{record}"],
        ["check", "{yaml}"],
        ["replay", "{odd}"],
        ["profile", HOSTILE.replace("\x00", "")],
        ["verify", "{folder}/" + HOSTILE.replace("\x00", "")],
    ],
    ids=lambda words: (
        " ".join(words[:2]).encode("ascii", "replace").decode().replace("\x1b", "").replace("\x07", "")[:20]
    ),
)
def test_no_command_prints_it(words: list[str], records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = records / "hostile.jsonl"
    yaml = records / "plant.yaml"
    yaml.write_text(f'plant: "x\\e[2J\\x9b"\ntitle: [1\n{HOSTILE[:4]}', "utf-8")
    odd = records / "odd.jsonl"
    odd.write_text('{"n":1,"event":{"is":"\\u001b[2J"}}' + HOSTILE, "utf-8")
    filled = [word.format(record=record, folder=records, yaml=yaml, odd=odd) for word in words]
    try:
        main(filled)
    except SystemExit as ended:
        assert ended.code in (0, 1, 2, 3)
    told = capsys.readouterr()
    odd.unlink()
    assert told.out or told.err
    assert not harmful(told.out), harmful(told.out)
    assert not harmful(told.err, ALLOWED | {"\r"}), harmful(told.err)


def test_no_report_holds_it(records: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    assert main(["report", str(records / "hostile.jsonl"), "-o", str(page)]) in (0, 1)
    text = page.read_text("utf-8")
    assert "owned" in text, "the text itself is told"
    assert not harmful(text, {"\n", "\t"})


@pytest.mark.parametrize(
    ("text", "columns", "shown"),
    [
        ("short", 10, "short"),
        ("one two three four", 10, "one two\n  three\n  four"),
        ("  1. one two three", 12, "  1. one two\n    three"),
        ("a-word-that-is-longer than the line", 10, "a-word-that-is-longer\n  than the\n  line"),
        ("first line here\nsecond", 10, "first line\n  here\nsecond"),
        ("name        does this", 14, "name\n  does this"),
        ("go on: proveout walk --resume r.jsonl", 14, "go on:\n  proveout walk --resume r.jsonl"),
        ("  proveout new  start a job", 18, "  proveout new\n    start a job"),
        ("it reads 10.7 mΩ ± 5.7 mΩ", 15, "it reads\n  10.7 mΩ\n  ± 5.7 mΩ"),
        ("in 4 minutes of 5", 6, "in 4\n  minutes\n  of 5"),
    ],
)
def test_a_long_line_goes_on_below_between_two_words(text: str, columns: int, shown: str) -> None:
    assert folded(text, columns) == shown


@pytest.mark.parametrize(
    ("text", "cells", "shown"),
    [
        ("known to ± 0.41 Ω here", 10, ["known to", "± 0.41 Ω", "here"]),
        ("known to +- 0.41 ohm here", 12, ["known to", "+- 0.41 ohm", "here"]),
        ("at 95 % in 20 min, at 12 V", 8, ["at 95 %", "in", "20 min,", "at 12 V"]),
        ("4 metres and 3 volts", 7, ["4", "metres", "and 3", "volts"]),
        ("± 5.7 mΩ", 5, ["± 5.7", " mΩ"]),
    ],
)
def test_on_a_page_a_number_stays_with_its_unit(text: str, cells: int, shown: list[str]) -> None:
    assert wrap(text, cells) == shown


def test_what_is_printed_is_folded_on_a_terminal_and_what_is_written_over_is_not() -> None:
    out = io.StringIO()
    stream = Harmless(out, str, returns=True, columns=lambda: 12)
    stream.write("one two three four")
    stream.write("\n")
    stream.write("\rreading records: 1 of 2")
    assert out.getvalue() == "one two\n  three four\n\rreading records: 1 of 2"
