"""The report: one HTML file, complete in itself, that prints on A4 and Letter.

Contents follow what ISO/IEC 17025:2017, clause 7.8, asks of a test report where it applies to work like this (from
memory, not confirmed): title, place, identification of the report and of each page, method, item, dates, results with
units and uncertainty, decision rule, deviations, conditions, and who answers for it. There is no script and no outside
request; every text from a record is escaped.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import msgspec

from bench import __version__
from bench.job.rows import Evidence
from bench.job.study import study
from bench.report import faces, svg
from bench.report.sheet import Searched, Section, Sheet
from bench.report.trace_text import drawing
from bench.say.times import second, zone
from bench.texts import clean_lines

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATE: Final = Path(__file__).with_name("report.html")
MOST_PARTS: Final = 25
"""Readings of one section that are plotted against their limit: the nearest to it and beyond."""
MOST_HISTORIES: Final = 12
PICTURES: Final = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".gif": "image/gif"}
MOST_PICTURE: Final = 8_000_000
"""Bytes of a picture that still goes into the page; a bigger one is named there."""
FEWEST_RUNS: Final = 3
"""Runs without which no history is drawn."""


class Drawn(msgspec.Struct, frozen=True):
    """A drawing with its caption."""

    caption: str
    svg: str


def page(sheets: Sequence[Sheet], readings: Sequence[Evidence], issued: datetime, left: Sequence[str] = ()) -> str:
    """Render the report.

    Args:
        sheets: one for each record, in the order of time; at least one.
        readings: all readings of all of them, for histories.
        issued: when the report is made.
        left: why other records are not in it.
    """
    from markupsafe import Markup

    def safe(drawn: Sequence[Drawn]) -> list[dict[str, Any]]:
        # our own drawings, whose texts are escaped where they are made
        return [{"caption": one.caption, "svg": Markup(one.svg)} for one in drawn]

    parts = [
        {
            "sheet": one,
            "faces": safe(_faces(one)),
            "plots": {section.title: safe(_parts(section)) for section in one.sections},
            "pictures": _pictures(one),
            "searches": [(searched, safe(_searched(one, searched))) for searched in one.searches],
        }
        for one in sheets
    ]
    plants = list(dict.fromkeys(one.setting.plant.file.title or one.setting.plant.name for one in sheets))
    return _template().render(
        title=f"Test report: {', '.join(plants)}",
        number=number(sheets),
        issued=f"{issued.astimezone():%Y-%m-%d %H:%M}",
        zone=zone(),
        version=__version__,
        simulated=[one for one in sheets if one.bench.simulated],
        sheets=sheets,
        parts=parts,
        histories=safe(_histories(readings)),
        style=Markup(svg.STYLE + faces.STYLE),
        moment=second,
        left=[clean_lines(text) for text in left],
    )


def number(sheets: Sequence[Sheet]) -> str:
    """The report's number: it follows from the records' last hashes, so that it names just these records."""
    digest = hashlib.sha256("".join(one.verified.last for one in sheets).encode()).hexdigest()
    return f"{digest[:4]}-{digest[4:8]}-{digest[8:12]}".upper()


def _pictures(one: Sheet) -> list[dict[str, str]]:
    """The pictures that were kept and are as they were, each within the page itself."""
    found = []
    for kept in one.attachments:
        kind = PICTURES.get(Path(kept.name).suffix.lower())
        if kind is None or kept.place is None or kept.wrong or kept.size > MOST_PICTURE:
            continue
        data = base64.b64encode(kept.place.read_bytes()).decode()
        caption = ": ".join(filter(None, (kept.name, kept.happened.text)))
        found.append({"caption": caption, "data": f"data:{kind};base64,{data}"})
    return found


def _faces(one: Sheet) -> list[Drawn]:
    """The connectors that readings touched."""
    plant = one.setting.plant
    owners = {plant.terminals[name].owner for name in one.pins if name in plant.terminals}
    return [
        Drawn(plant.where(name), faces.face(connector, one.pins))
        for name, connector in plant.connectors.items()
        if name in owners
    ]


def _searched(one: Sheet, searched: Searched) -> list[Drawn]:
    """The earthing network with what a search for a second path found in it."""
    if searched.found.facts.get("search") != "second-path":
        return []
    from bench.diagnose.earth.finding import picture_of
    from bench.diagnose.earth.picture import svg as drawn

    picture = picture_of(one.setting.plant, searched.found.facts)
    caption = "The earthing network; a second path is dashed and carries its label, a poor bond its word"
    return [Drawn(caption, drawn(picture.network, picture.strays, picture.poor, searched.found.sentence))]


def _parts(section: Section) -> list[Drawn]:
    """The readings nearest to their upper limit, where there are several."""
    if len(section.parts) < 2:
        return []
    nearest = sorted(section.parts, key=lambda part: -part[1])[:MOST_PARTS]
    left = len(section.parts) - len(nearest)
    caption = f"{section.title}: readings as parts of their upper limit"
    caption += f", the {len(nearest)} nearest to it" if left else ""
    return [Drawn(caption, svg.parts_of_limit(nearest, caption))]


def _histories(readings: Sequence[Evidence]) -> list[Drawn]:
    """How points went over the records: those that changed most."""
    found: list[Drawn] = []
    for one in study(readings):
        if one.window is not None and len(one.runs) >= FEWEST_RUNS and len(found) < MOST_HISTORIES:
            found.append(Drawn(f"{one.subject}: {one.key.text}", drawing(one)))
    return found


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_shown
    )
    return environment.from_string(TEMPLATE.read_text("utf-8"))


def _shown(value: Any) -> Any:
    """A text from a record without control characters, which autoescape lets pass; our own drawings as they are."""
    return clean_lines(value) if type(value) is str else value
