"""Writes ``docs/published.md``: every outside source, what it is for, who can check it and how.

python -m tests.published.page
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from tests.published.values import published

HERE: Final = Path(__file__).parent
ROOT: Final = HERE.parents[1]
PAGE: Final = ROOT / "docs" / "published.md"
READ: Final = {
    "issuer": "the issuer's own text was read",
    "quoted": "a public text that quotes it was read",
    "memory": "**from memory, not confirmed**",
    "maths": "follows by arithmetic",
    "practice": "**no source**",
}
NAMED: Final = re.compile(
    r"\b(?:(?:IEC|ISO(?:/IEC)?|IEEE|ASTM|JCGM|ILAC|IPC/WHMA|NIST|NBS|ITU-T|SCPI|ANSI/TIA|DIN|NEC|RFC)"
    r"(?: (?:Handbook|Technical Note))?[ -](?:[A-Z]{1,2}[.-]?)?[0-9]+(?:[.-][0-9]+)*"
    r"|EN [0-9]{3,5}(?: [0-9]{3})?(?:-[0-9]+)*|HSG ?[0-9]+|ANSI/NETA)"
)
"""How documents are named in code and tests."""


def sources() -> dict[str, Any]:
    """What ``sources.yaml`` says."""
    return published("sources.yaml")


def rows() -> Iterator[str]:
    """The source of every published figure of the tests."""

    def walk(node: object) -> Iterator[str]:
        if isinstance(node, dict):
            if isinstance(node.get("source"), str):
                yield node["source"]
            for value in node.values():
                yield from walk(value)
        elif isinstance(node, list):
            for value in node:
                yield from walk(value)

    for name in ("judge_values.yaml", "change_values.yaml"):
        yield from walk(published(name))


def named_in_code() -> dict[str, list[str]]:
    """Each document that code, shipped files or published checks name, to the files that do."""
    found: dict[str, list[str]] = {}
    folders = (ROOT / "bench", ROOT / "sequences", ROOT / "drivers", HERE)
    for path in sorted(one for folder in folders for one in folder.rglob("*") if one.suffix in (".py", ".yaml")):
        if path.name in ("sources.yaml", "page.py"):
            continue
        for name in set(NAMED.findall(path.read_text("utf-8"))):
            found.setdefault(name, []).append(str(path.relative_to(ROOT)))
    return found


def covers(document: str, name: str) -> bool:
    """Whether an entry is about a document as it is named: parts and years of it are the same document."""
    return name == document or bool(re.match(rf"{re.escape(document)}(?![0-9A-Za-z])", name))


def _room(file: str) -> str:
    """The room of a file: the page changes with rooms and not with every file."""
    parts = file.split("/")
    return parts[1] if parts[0] == "bench" else parts[0]


def text() -> str:
    """The page."""
    told, named = sources(), named_in_code()
    lines = [
        "# Where figures come from",
        "",
        "Drawn from `tests/published/sources.yaml` by `python -m tests.published.page`; a test holds it against every",
        "standard that the code names and every row of the published checks. A figure from memory waits for somebody",
        "who has the document: open it, compare, and say so in that file.",
        "",
        "| document | clause | used for | how it was read | who can check it | named in |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for one in told["documents"]:
        rooms = sorted({_room(file) for name, at in named.items() if covers(one["name"], name) for file in at})
        where = ", ".join(rooms) or "tests only"
        cells = (one["name"], one["clause"], one["for"], READ[one["read"]], one["check"], where)
        lines.append(f"| {' | '.join(cells)} |")
    lines += [
        "",
        "Rows of the checks that rest on no such document:",
        "",
        "| source | rows | how it was read | who can check it |",
        "| --- | --- | --- | --- |",
    ]
    for one in told["rows"]:
        count = sum(1 for row in rows() if row.startswith(one["begins"]))
        lines.append(f"| {one['begins'].strip()} ... | {count} | {READ[one['read']]} | {one['check']} |")
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    PAGE.write_text(text(), "utf-8")
