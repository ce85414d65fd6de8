"""Draws ``docs/commands.md``: every command with all that can be said after it, as its own parser has it."""

from __future__ import annotations

import argparse
import importlib
from pathlib import Path
from typing import Any, Final

from bench.cli import COMMANDS

PAGE: Final = Path(__file__).parents[2] / "docs" / "commands.md"
HEAD: Final = """# Every command

Drawn from the program by `make docs`; a test holds it against it. `proveout COMMAND --help` says the same.

Exit codes are the same for all: 0 all passed; 1 something failed, is undecided or was skipped; 2 bad input; 3 aborted,
or trouble with an instrument or a record.
"""


def page() -> str:
    """The page as it should be."""
    lines = [HEAD, "| command | what it does |", "| --- | --- |"]
    lines += [f"| [`proveout {name}`](#proveout-{name}) | {_cell(does)} |" for name, does in COMMANDS.items()]
    for name in COMMANDS:
        lines += ["", *_command(name)]
    return "\n".join(lines) + "\n"


def _command(name: str) -> list[str]:
    module = importlib.import_module(f"bench.commands.{name}")
    parser = argparse.ArgumentParser(prog=f"proveout {name}", add_help=False)
    module.arguments(parser)
    lines = [f"## proveout {name}", "", *_paragraphs(module.__doc__ or "")]
    rows = [(_written(action), action.help or "") for action in _actions(parser) if action.help != argparse.SUPPRESS]
    if rows:
        lines += ["", "| after it | |", "| --- | --- |"]
        lines += [f"| `{_cell(written)}` | {_cell(_filled(does, parser))} |" for written, does in rows]
    return lines


def _actions(parser: argparse.ArgumentParser) -> list[Any]:
    return list(parser._actions)  # there is no public way to ask


def _written(action: Any) -> str:
    """One option or argument as it is written, such as ``--bench BENCH``."""
    value = action.metavar or action.dest.upper()
    if action.choices is not None and action.metavar is None:
        value = "{" + ",".join(map(str, action.choices)) + "}"
    if not action.option_strings:
        name = action.metavar or (value if action.choices is not None else action.dest)
        return f"{name}{' ...' if action.nargs in ('*', '+') else ''}"
    said = ", ".join(action.option_strings)
    if action.nargs == 0:
        return said
    if action.nargs == "?":
        return f"{said} [{value}]"
    return f"{said} {value}{' ...' if action.nargs in ('*', '+') else ''}"


def _filled(text: str, parser: argparse.ArgumentParser) -> str:
    return text.replace("%(prog)s", parser.prog).replace("%%", "%")


def _paragraphs(text: str) -> list[str]:
    """A module's text as Markdown: its blocks that are set in stay as they are."""
    return [line.replace("``", "`") for line in text.strip().splitlines()]


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|").replace("<", "&lt;")
