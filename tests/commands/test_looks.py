"""How what a command shows looks: page or lines, which signs, light or dark, and what is kept of it."""

from __future__ import annotations

import argparse
import fcntl
import io
import os
import struct
import termios
from pathlib import Path
from types import SimpleNamespace

import pytest

from bench import cli
from bench.commands import looks
from bench.screens.walk.plain import Plain
from bench.texts import Harmless

PLANT = Path(__file__).parents[2] / "sequences" / "gannet-head" / "plant.yaml"


class AtTerminal(io.StringIO):
    """A stream that says it is a terminal of this encoding."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return True


def chosen(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    looks.arguments(parser)
    return parser.parse_args(words)


@pytest.fixture(autouse=True)
def terminal(monkeypatch, tmp_path):
    for name in ("LC_ALL", "LC_CTYPE", "LANG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("TERM", "xterm-256color")
    # not the real ones, which pytest puts back before each test
    monkeypatch.setattr(looks, "sys", SimpleNamespace(stdin=AtTerminal(), stdout=AtTerminal()))


def test_a_page_needs_a_terminal_that_can_paint(monkeypatch):
    assert looks.paints()
    monkeypatch.setenv("TERM", "dumb")
    assert not looks.paints()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(looks.sys, "stdout", io.StringIO())
    assert not looks.paints()


@pytest.mark.parametrize(
    ("said", "encoding", "signs"),
    [
        ({}, "utf-8", True),
        ({"LANG": "en_GB.UTF-8"}, "utf-8", True),
        ({"LANG": "C.UTF-8"}, "utf-8", True),
        ({"LANG": "en_GB.UTF-8", "LC_ALL": "C"}, "utf-8", False),
        ({"LC_CTYPE": "POSIX"}, "utf-8", False),
        ({"LANG": "de_DE.ISO-8859-1"}, "iso-8859-1", False),
        ({}, "no-such-encoding", False),
    ],
)
def test_signs_are_plain_where_the_locale_has_no_others(monkeypatch, said, encoding, signs):
    for name, value in said.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(looks.sys, "stdout", AtTerminal(encoding))
    assert looks.settings_of(chosen()).unicode is signs
    assert not looks.settings_of(chosen("--ascii")).unicode


def test_the_look_that_was_left_comes_back():
    assert not looks.settings_of(chosen()).day, "dark at first"
    assert looks.settings_of(chosen("--light")).day
    looks.settings_of(chosen()).turned(True)
    assert looks.settings_of(chosen()).day
    looks.settings_of(chosen()).turned(False)
    assert not looks.settings_of(chosen()).day


@pytest.mark.parametrize("kept", ["", "[]", "{", '{"light": "yes"}', "\udcff"])
def test_what_is_kept_may_be_spoiled(tmp_path, kept):
    looks.keep_look(True)
    (path,) = (tmp_path / "config").rglob("look.json")
    path.write_bytes(kept.encode("utf-8", "surrogateescape"))
    assert not looks.settings_of(chosen()).day


def test_a_look_that_cannot_be_kept_is_no_trouble(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "file"))
    looks.keep_look(True)
    assert not looks.settings_of(chosen()).day


def test_the_job_is_printed_where_nothing_can_be_painted(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.chdir(tmp_path)
    assert cli.main(["open", str(PLANT)]) in (0, 1)
    said = capsys.readouterr().out
    assert "Gannet Head" in said and "clears" in said


def test_lines_break_between_words_where_the_terminal_ends():
    main, slave = os.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 40, 0, 0))
    text = "  Put the red probe on J101 pin 12 and the black probe on J205 pin 12, then hold still."
    file = io.StringIO()
    with os.fdopen(main, "rb", 0) as shown, os.fdopen(slave, "w") as out:
        for stream in (out, file):
            printed = Harmless(stream, str, columns=cli._end_of(stream))
            Plain(None, printed, io.StringIO())._say(text)  # type: ignore[arg-type]
        lines = shown.read(4096).decode().splitlines()
    assert len(lines) > 2 and max(map(len, lines)) <= 40
    assert " ".join(" ".join(lines).split()) == " ".join(text.split())
    assert file.getvalue() == f"{text}\n", "whole to a file"
