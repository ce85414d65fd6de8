"""A work sheet to print: a table of places with a box for each reading, filled in by a team without a computer."""

from __future__ import annotations

from collections.abc import Collection
from html import escape
from itertools import groupby
from typing import Final

from bench.plant.model import Plant, UnknownName
from bench.report.scan_code import code
from bench.sequence.plan import Plan
from bench.texts import clean_lines
from bench.walk.work_sheet import asked, code_of, scan_text

_STYLE = """
body { font: 11pt/1.35 sans-serif; margin: 12mm; color: #000; background: #fff; }
table { border-collapse: collapse; width: 100%; margin: 0 0 6mm; }
th, td { border: 0.3mm solid #000; padding: 1.2mm 2mm; text-align: left; vertical-align: top; }
td.scan { width: 16mm; padding: 0.5mm; }
td.scan svg { width: 15mm; height: 15mm; display: block; }
td.box { width: 26mm; height: 9mm; }
.code { font: bold 16pt monospace; }
tr { break-inside: avoid; }
thead { display: table-header-group; }
"""


SHOWN: Final = ("Shows", "Looked again", "Who, when", "Scan")
"""Heads of the boxes, and of the code that leads the walk to the line."""


def page(plan: Plan, plant: Plant, roles: Collection[str] | None = None) -> str:
    """The sheet as one HTML file that needs nothing else.

    Args:
        plan: the sequence, unrolled.
        plant: its plant, for where places are.
        roles: those whose instruments a person reads; None: all of them.
    """
    number_of, parts = code_of(plan), []
    boxes = "<td class='box'></td>" * 3
    heads = "".join(f"<th>{one}</th>" for one in ("No.", "What", "Red", "Black", *SHOWN))
    for title, steps in groupby(asked(plan, roles), key=lambda step: step.section):
        rows = "".join(
            f"<tr><td>{number}</td><th scope='row'>{_text(step.title)}</th><td>{_place(plant, step.probes, 0)}</td>"
            f"<td>{_place(plant, step.probes, 1)}</td>{boxes}<td class='scan'>{code(scan_text(plan, step))}</td></tr>"
            for number, step in ((step.index + 1, step) for step in steps)
        )
        head = f"<h2>{_text(title or 'The bench itself')}</h2><table><thead><tr>{heads}</tr></thead>"
        parts.append(f"{head}<tbody>{rows}</tbody></table>")
    name = _text(plan.sequence.sequence)
    return (
        f"<!doctype html><html lang='en'><meta charset='utf-8'><title>Work sheet: {name}</title><style>{_STYLE}</style>"
        f"<h1>{name}</h1><p>Code of this sheet: <span class='code'>{number_of}</span></p>"
        "<p>Dead plant only, unless the sequence says otherwise: a person passes its cautions and hold points at the "
        "walk, and not on this paper. Write every digit that the display shows, the point, and the prefix k, M or m; "
        "OL as OL. Where a reading surprises you, look at probes and display once more and write that too. "
        "A code that is scanned at the walk leads it back to its line.</p>"
        f"{''.join(parts)}</html>\n"
    )


def _place(plant: Plant, probes: tuple[str, str] | None, which: int) -> str:
    if not probes or not probes[which]:
        return ""
    try:
        where = plant.where(probes[which])
    except UnknownName:
        where = ""
    return f"<b>{_text(probes[which])}</b><br>{_text(where)}" if where else f"<b>{_text(probes[which])}</b>"


def _text(text: str) -> str:
    return escape(clean_lines(text))
