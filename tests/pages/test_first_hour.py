"""The first hour works: its commands are run in an empty folder, its files checked, its walk walked at a terminal."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from bench.record.replay import replay
from tests.walks.terminal import Terminal
from tests.walks.tool import ROOT, proveout

PAGE = (ROOT / "docs" / "first-hour.md").read_text("utf-8")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def typed(asked: str, place: int) -> str:
    """What somebody types who has the cable of the page before them, sound, and a poor meter."""
    if "Type a reason" in asked:
        return "that it is connected is enough for now"
    if "Type read" in asked:
        return "read"
    if "Type mated" in asked:
        return "mated"
    if "Type the word" in asked:
        return "DEAD"
    if "temperature" in asked:
        return "19"
    if "apart" in asked or re.search(r"J1\.\d against", asked):
        return "OL M" if place % 2 else "OL 20 M"
    if "resistor" in asked:
        return "100.2"
    return "0.3" if "tips" in asked else ("0.7", "0.8")[place % 2]


@pytest.mark.slow
def test_the_first_hour_goes_as_it_is_told(tmp_path: Path) -> None:
    folder, walked = tmp_path, False
    for kind, text in BLOCK.findall(PAGE):
        if kind == "yaml":
            name = re.match(r"# (\S+)\n", text)
            assert name is not None
            (folder / name[1]).write_text(text, "utf-8")
        for line in text.splitlines() if kind == "sh" else ():
            words = shlex.split(line)[1:]
            if words[0] == "walk":
                walk(words, folder)
                walked = True
                continue
            wild = [str(one) for one in folder.glob("logs/*.jsonl")]
            done = proveout(*(part for word in words for part in (wild if "*" in word else [word])), cwd=folder)
            # 1: not everything is proven, and a poor meter cannot prove all of it
            assert done.returncode in ((0, 1) if words[0] in ("ready", "report") or "--bench" in words else (0,)), line
            if words[0] == "new":
                folder = tmp_path / words[1]
    assert walked
    assert (folder / "report.html").exists()


def walk(words: list[str], folder: Path) -> None:
    """Walk it line by line, as a person does."""
    person = Terminal(*words, "--plain", "--operator", "Ann", cwd=folder)
    answers = 0
    while True:
        try:
            asked = person.until(r"\nType [^\n]*\n")
        except EOFError:
            break
        person.type(typed(asked, answers))
        answers += 1
        assert answers < 60, asked
    assert person.end() in (0, 1)
    (record,) = (folder / "logs").glob("*.jsonl")
    outcomes = replay(record).kept.latest.values()
    assert {one.verdict for one in outcomes if one.verdict} <= {"pass", "undecided", "done"}
    connected = [one for one in outcomes if one.verdict == "undecided"]
    assert len(connected) == 9, "a poor meter says that nine wires are connected, and no more"
