"""The report: one HTML file, complete in itself, that prints on A4 and Letter.

Contents follow what ISO/IEC 17025:2017, clause 7.8, asks of a test report where it applies to work like this (from
memory, not confirmed): title, place, identification of the report and of each page, method, item, dates, results with
units and uncertainty, decision rule, deviations, conditions, and who answers for it. There is no script and no outside
request; every text from a record is escaped.
"""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
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
from bench.report.sheet import NotPassed, Searched, Section, Sheet
from bench.report.trace_text import drawing
from bench.say.lists import some
from bench.say.times import second, zone
from bench.texts import clean_lines

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATE: Final = Path(__file__).with_name("report.html")
MOST_PARTS: Final = 25
"""Readings of one section that are plotted against their limit: the nearest to it and beyond."""
MOST_HISTORIES: Final = 12
MOST_FINDINGS: Final = 12
"""Findings on the first page; what is more stands with its record."""
MOST_WHOLE: Final = 3
"""Records whose every reading is listed without the appendix; of more, those that did not pass."""
MOST_FACES: Final = 4
"""Connector faces on the first page."""
MOST_SOURCES: Final = 6
FEW_SOURCES: Final = 2
"""Sources of limits that are named below the results of one section, with and without the appendix."""
URGENT: Final = {"fail": 0, "undecided": 1, "void": 2, "skipped": 3}
"""The order of findings."""
PICTURES: Final = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".gif": "image/gif"}
MOST_PICTURE: Final = 8_000_000
"""Bytes of a picture that still goes into the page; a bigger one is named there."""
FEWEST_RUNS: Final = 3
"""Runs without which no history is drawn."""


class Drawn(msgspec.Struct, frozen=True):
    """A drawing with its caption."""

    caption: str
    svg: str


USUAL: Final = {
    "fail": (
        "Look at both places that are named with it, and at the joints and the wire between them. Put right what is "
        "wrong there. Then measure it again: 'proveout draft PLANT again --record RECORD' drafts what did not pass.",
    ),
    "void": ("It was disturbed after it had been read: measure it again.",),
}
"""What to do about a finding where the reading itself has no better advice."""


def page(
    sheets: Sequence[Sheet],
    readings: Sequence[Evidence],
    issued: datetime,
    left: Sequence[str] = (),
    *,
    full: bool = False,
) -> str:
    """Render the report: what was found and what to do stand first, then how it came about.

    Args:
        sheets: one for each record, in the order of time; at least one.
        readings: all readings of all of them, for histories.
        issued: when the report is made.
        left: why other records are not in it.
        full: with the appendix: places, limit and time of every reading, all faces, plots against the limits.
    """
    from markupsafe import Markup

    def safe(drawn: Sequence[Drawn]) -> list[dict[str, Any]]:
        # our own drawings, whose texts are escaped where they are made
        return [{"caption": one.caption, "svg": Markup(one.svg)} for one in drawn]

    findings = _findings(sheets)
    found = [one for one in sheets[0].searches if one.verdict != "pass"] if len(sheets) == 1 else []
    searched = {one.title for one in found}
    front = {id(one) for one in findings[:MOST_FINDINGS]}
    plants_told: set[str] = set()
    parts = [
        {
            "sheet": one,
            "first": _first_time(one.setting.plant.name, plants_told),
            "on_front": all(id(it) in front or it.line.title in searched for it in one.not_passed),
            "searched_on_front": len(found) == len(one.searches),
            "faces": safe(_faces(one)) if full else [],
            "plots": {section.title: safe(_parts(section)) if full else [] for section in one.sections},
            "sources": MOST_SOURCES if full else FEW_SOURCES,
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
        full=full,
        brief=len(sheets) > MOST_WHOLE and not full,
        findings=findings,
        most=MOST_FINDINGS,
        wrong_with=list(dict.fromkeys(sentence for one in sheets for sentence in one.seen)) if len(sheets) == 1 else [],
        found=[(one, safe(_searched(sheets[0], one))) for one in found],
        front_faces=safe(_front_faces(sheets, findings)),
        to_do=_to_do(findings),
        histories=safe(_histories(readings)),
        style=Markup(svg.STYLE + faces.STYLE),
        moment=second,
        left=[clean_lines(text) for text in left],
    )


def _first_time(name: str, told: set[str]) -> bool:
    """Whether a name comes up for the first time."""
    new = name not in told
    told.add(name)
    return new


def _findings(sheets: Sequence[Sheet]) -> list[NotPassed]:
    """What did not pass when it was read last, over all records; what passed later in another one is mended."""
    found: dict[tuple[str, ...], NotPassed] = {}
    for one in sheets:
        for line in (line for section in one.sections for line in section.lines):
            found.pop((line.title, *line.between), None)
        searched = {search.title for search in one.searches} if len(sheets) == 1 else set()
        found.update((it.point, it) for it in one.not_passed if it.line.title not in searched)
    return sorted(found.values(), key=lambda one: URGENT.get(one.line.verdict, len(URGENT)))


def _to_do(findings: Sequence[NotPassed]) -> list[tuple[str, str]]:
    """What to do, each once, with the names that it is to be done for."""
    found: dict[str, list[str]] = {}
    for one in findings:
        for text in one.advice or USUAL.get(one.line.verdict, ()):
            found.setdefault(text, []).append(one.line.title)
    return [(text, some(list(dict.fromkeys(names)), 8)) for text, names in found.items()]


def _front_faces(sheets: Sequence[Sheet], findings: Sequence[NotPassed]) -> list[Drawn]:
    """The connectors that findings point at, each with all that was read of it; those with most findings first."""
    pointed = Counter(place.rpartition(".")[0] for one in findings for place in one.line.between)
    drawn: list[Drawn] = []
    for name, _ in pointed.most_common():
        one = next((one for one in reversed(sheets) if name in one.setting.plant.connectors), None)
        if one is not None and len(drawn) < MOST_FACES:
            plant = one.setting.plant
            drawn.append(Drawn(plant.where(name), faces.face(plant.connectors[name], one.pins)))
    return drawn


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
