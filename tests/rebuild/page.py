"""Writes the figures of kept rebuilds into ``docs/does-it-help.md``: ``python -m tests.rebuild.page FILE``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

from tests.rebuild.figures import Kept, chosen, intervals, said, shelves_over, table, wilson
from tests.rebuild.plants import CHANCES
from tests.rebuild.proveout import PARTS
from tests.rebuild.team import RATES

PAGE: Final = Path(__file__).parents[2] / "docs" / "does-it-help.md"
BEGIN: Final = "<!-- {name} begin -->\n"
END: Final = "<!-- {name} end -->"
TWO: Final = [("by hand", "hand", "middling", 1.0, ""), ("with Proveout", "proveout", "middling", 1.0, "")]


def figures(lines: list[dict[str, Any]]) -> list[str]:
    """The tables of the page.

    Args:
        lines: of rebuilds.
    """
    rows = table(lines, TWO)
    whole = chosen(lines, "proveout")
    rows += ["", "How sure it said it was, against how often that was so:", "", *intervals(whole), ""]
    for name, words in (("mates", "which two ends are one cable"), ("named", "where a contact comes and goes")):
        rows += [f"- {words}: {row}" for row in said((chance, right) for line in whole for chance, right in line[name])]
    bad = [line for line in whole if shelves_over(line)]
    rows += ["", f"Rebuilds with Proveout in which a shelf had volts over a fault that readings could have shown: "
                 f"{len(bad)} of {len(whole)}."]  # fmt: skip
    for line in bad:
        words = "; ".join(sorted({f"{shelf}, {kind}" for shelf, kind, _, _, untold in line["over"] if not untold}))
        rows.append(f"- rebuild {line['number']}: {words}")
    hand = [line for line in chosen(lines, "hand") if shelves_over(line)]
    low, high = wilson(len(bad), len(whole))
    rows += ["", f"By hand practice: {len(hand)} of {len(chosen(lines, 'hand'))}. "
                 f"With Proveout the chance lies between {100 * low:.1f} % and {100 * high:.1f} % (95 %)."]  # fmt: skip
    parts = [part for part in PARTS if chosen(lines, "proveout", without=part)]
    if parts:
        numbers = {line["number"] for part in parts for line in chosen(lines, "proveout", without=part)}
        mine = [line for line in lines if line["number"] in numbers]
        columns = [("all of it", "proveout", "middling", 1.0, "")]
        columns += [(f"without {part}", "proveout", "middling", 1.0, part) for part in parts]
        rows += ["", "One part left out, on the same draws:", "", *table(mine, columns)]
    for bench in ("cheap", "good"):
        if chosen(lines, "proveout", bench):
            columns = [(f"{title}, {bench} bench", way, bench, 1.0, "") for title, way, *_ in TWO]
            rows += ["", *table(lines, columns)]
    for factor, words in ((0.5, "half"), (2.0, "twice")):
        if chosen(lines, "proveout", factor=factor):
            columns = [(f"{title}, {words} the slips", way, "middling", factor, "") for title, way, *_ in TWO]
            rows += ["", *table(lines, columns)]
    return rows


def assumptions() -> list[str]:
    """The rates of slips and of faults, as a table."""
    rows = ["| slip | chance each time | source |", "| --- | --- | --- |"]
    rows += [f"| {one.of} | {one.chance:g} | {one.source} |" for one in RATES.values()]
    listed = ", ".join(f"{name} {chance:g}" for name, chance in CHANCES.items())
    return [*rows, "", f"What is wrong with a plant, and how often (all assumed): {listed}."]


def written(text: str, name: str, rows: list[str]) -> str:
    """The page with one of its parts written anew."""
    begin, end = BEGIN.format(name=name), END.format(name=name)
    head, rest = text.split(begin, 1)
    return head + begin + "\n".join(rows) + "\n" + end + rest.split(end, 1)[1]


def main() -> int:
    """Write the page."""
    text = written(PAGE.read_text("utf-8"), "figures", figures(Kept(Path(sys.argv[1])).lines))
    PAGE.write_text(written(text, "assumptions", assumptions()), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
