"""Start a job: a folder with a plant file that checks, a bench without instruments yet, and what to do next.

What no option says is asked: the name, the feed's voltage with its sign, the bays. Everything can be changed later in
the files, whose fields editors explain."""

from __future__ import annotations

import argparse
import json
import re
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

from bench import exits
from bench.commands.common import LOGS, relative
from bench.errors import BadRequest

if TYPE_CHECKING:
    from collections.abc import Callable

Read = TypeVar("Read")
_NAME: Final = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_PART: Final = re.compile(r"[A-Za-z0-9_+-]+")
LOWEST, HIGHEST = 40.5 / 48.0, 57.0 / 48.0
"""What a feed may be at the equipment as parts of its nominal voltage: ETSI EN 300 132-2 allows 40.5 V to 57 V at 48 V
(quoted from memory); at other voltages the same parts are a first guess."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("folder", type=Path, help="a folder that is not there yet, or is empty")
    parser.add_argument("--name", help="its name in files: small letters, digits and -; by default from the title")
    parser.add_argument("--title", help="what the plant is called, in words")
    parser.add_argument("--feed", metavar="VOLTS", help="nominal voltage of the feeds with its sign, such as '-48 V'")
    parser.add_argument("--feeds", metavar="NAMES", help="the feeds, with commas, such as A,B")
    parser.add_argument("--bays", metavar="NAMES", help="the bays as they stand from left to right, or how many")


def run(options: argparse.Namespace) -> int:
    """Ask what was not said, write the files, check them, and say what to do next."""
    from bench.files import shipped
    from bench.plant.load import plant_of
    from bench.saved import save

    folder: Path = options.folder
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadRequest(f"{folder} is there already; a new job wants a folder that is not there, or is empty")
    title = options.title
    if title is None:
        title = options.name or _asked("What the plant is called, in words", folder.resolve().name)
    name = _name(options.name or _plain_name(title, folder))
    volts = _said(_volts, options.feed, "The feeds' nominal voltage, with its sign", "-48 V")
    feeds = _said(partial(_names, "feeds"), options.feeds, "The feeds, with commas between", "A")
    bays = _said(_bays, options.bays, "The bays from left to right, with commas between, or how many", "1")
    taken = {*feeds} & {*bays}
    if taken:
        raise BadRequest(f"'{min(taken)}' is a feed and a bay; each name is used once in the whole plant")
    schemas = shipped("sequences") / "schemas"
    text = _plant_text(name, title, volts, feeds, bays, relative(folder, schemas / "plant.json"))
    plant_of(text, folder / "plant.yaml")
    (folder / "benches").mkdir(parents=True, exist_ok=True)
    (folder / LOGS).mkdir(exist_ok=True)
    save(folder / "plant.yaml", text)
    bench = _BENCH.format(schema=relative(folder / "benches", schemas / "bench.json"))
    save(folder / "benches" / "bench.yaml", bench)
    print(_next(folder))
    return exits.PASS


def _asked(question: str, usual: str) -> str:
    print(f"{question} [{usual}]: ", end="", flush=True)
    line = sys.stdin.readline()
    if not sys.stdin.isatty():
        print()
    return line.strip() or usual


def _said(read: Callable[[str], Read], option: str | None, question: str, usual: str) -> Read:
    """What an option says, else what is answered; whoever slips at a terminal is asked again.

    Raises:
        BadRequest: a wrong option, or a wrong answer where nobody can be asked again.
    """
    if option:
        return read(option)
    while True:
        try:
            return read(_asked(question, usual))
        except BadRequest as error:
            if not sys.stdin.isatty():
                raise
            print(error)


def _plain_name(title: str, folder: Path) -> str:
    """The plant's name in files, from its name in words: ``Lookout hut`` is ``lookout-hut``."""
    words = (title, folder.resolve().name, "plant")
    return next(name for name in (re.sub(r"[^a-z0-9]+", "-", one.casefold()).strip("-") for one in words) if name)


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise BadRequest(f"the plant's name: found '{text}', expected small letters, digits and -, such as gannet-head")
    return text


def _volts(text: str) -> float:
    from bench.quantity import QuantityError, Voltage

    try:
        value = Voltage.parse(text if text.strip().endswith("V") else f"{text} V").value
    except QuantityError as error:
        raise BadRequest(f"the feed's voltage: {error}") from error
    if not 1.0 <= abs(value) <= 1000.0:
        raise BadRequest(f"the feed's voltage: found {text}, expected 1 V to 1000 V with its sign, such as -48 V")
    return value


def _names(what: str, text: str) -> list[str]:
    names = [part.strip() for part in text.split(",") if part.strip()]
    if not names or len(set(names)) != len(names) or not all(_PART.fullmatch(name) for name in names):
        raise BadRequest(
            f"the {what}: found '{text}', expected names with commas between, each once: letters, digits, - _ +"
        )
    return names


def _bays(text: str) -> list[str]:
    if text.isdecimal() and 1 <= int(text) <= 100:
        return [str(number + 1) for number in range(int(text))]
    return _names("bays", text)


def _plant_text(name: str, title: str, volts: float, feeds: list[str], bays: list[str], schema: str) -> str:
    from bench.quantity import Voltage

    ends = sorted((volts * LOWEST, volts * HIGHEST))
    allowed = ", ".join(str(Voltage(round(end, 1))) for end in ends)
    lines = [
        f"# yaml-language-server: $schema={schema}",
        "#",
        "# What is known of the plant. An end of a cable that hangs is 'cut', one that nobody has found yet 'unknown'.",
        f"plant: {name}",
        f"title: {json.dumps(title, ensure_ascii=False)}",
        "",
        "bays:",
        *(f'  - {{name: "{bay}"}}' for bay in bays),
        "",
        "# what is allowed at the equipment is a first guess: see what its papers say",
        "feeds:",
        *(f'  - {{name: "{feed}", nominal: {Voltage(volts)}, allowed: [{allowed}]}}' for feed in feeds),
    ]
    return "\n".join(lines) + "\n"


_BENCH: Final = """# yaml-language-server: $schema={schema}
#
# No instruments yet. 'proveout ports --ask' looks for meters and writes them down.
bench: bench
instruments: []
"""


def _next(folder: Path) -> str:
    rows = [
        (f"proveout survey {folder}", "a pile of cables nobody knows: note what hangs and what is free, find by find"),
        (f"edit {folder}/plant.yaml", "cables that you know: write connectors and cables there"),
        ("proveout ports --ask", "look for meters, and write them down; one without a port is typed"),
        (f"proveout open {folder}", "the job on the screen: where it stands, what is next"),
    ]
    width = max(len(does) for does, _ in rows)
    told = "\n".join(f"  {does:{width}}  {why}" for does, why in rows)
    return f"""{folder}/plant.yaml and {folder}/benches/bench.yaml are written.
What to do next:
{told}
Before anything else: what is live, and who is licensed to say that it is not? Pull and touch nothing until then."""
