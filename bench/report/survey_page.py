"""A survey as one page for whoever leads the work, and flags to print. No script, no outside request; all is escaped.

The drawing shows the bays in their order, the loose ends in each, and the trays with the cables that are called: a line
for each pair that is sure, a dashed one for each that is likely.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

from bench.diagnose.survey import sentences as words
from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.trips import Trip
from bench.plant.finds import Find, LooseEnd
from bench.report.scan_code import code
from bench.texts import clean
from bench.walk.surveying import kind_of

_STYLE: Final = """
@page { size: auto; margin: 15mm; }
* { box-sizing: border-box; }
body { font: 11pt/1.4 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #111; background: #fff;
  margin: 0 auto; padding: 1rem; max-width: 62rem; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; }
h2 { font-size: 1.2rem; border-bottom: 2px solid #111; break-after: avoid; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { border: 1px solid #999; padding: .25rem .4rem; text-align: left; vertical-align: top; }
thead th { background: #eee; } tr, figure, .card, .flag { break-inside: avoid; }
.card { border: 2px solid #111; padding: .4rem .8rem; margin: .6rem 0; white-space: pre-wrap; }
.bad { border-left: .5rem solid #111; padding-left: .6rem; }
.bar { height: 1.1rem; border: 1px solid #111; display: flex; } .bar span { display: block; }
.sure { background: #1b5e20; } .alone { background: #777; } .open { background: #fff; }
svg { width: 100%; height: auto; }
.flags { display: grid; grid-template-columns: repeat(auto-fill, minmax(74mm, 1fr)); gap: 0; }
.flag { border: 1px dashed #777; padding: 3mm; display: flex; gap: 3mm; align-items: center; min-height: 28mm; }
.flag svg { width: 22mm; height: 22mm; flex: none; } .flag b { font-size: 1.8rem; line-height: 1; }
.flag p { margin: 0; font-size: .8rem; overflow-wrap: anywhere; }
"""
_HEAD: Final = (
    '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
    "<title>{title}</title><style>{style}</style></head><body>\n"
)
_BAY: Final = 120.0
_LIKELY: Final = 0.5


def _safe(text: str) -> str:
    return escape(clean(text))


def survey_page(
    title: str, answer: Answer, trips: Sequence[Trip], tags: Sequence[Sequence[tuple[str, str]]] = ()
) -> str:
    """The page: what is found, what is matched and how surely, what contradicts itself, what is left, the next trips.

    Args:
        title: of the plant.
        answer: what the finds come to.
        trips: the next ones, the best first.
        tags: for each trip the value of each of its tags and what a reading of it may show; none where nobody said
            which resistors there are.
    """
    ends = len(answer.pile.ends)
    sure = [standing for standing in answer.standings if standing.sure]
    alone = sum(1 for standing in sure if not standing.fits[0].name)
    parts = [
        _HEAD.format(title=_safe(f"Survey of {title}"), style=_STYLE),
        f"<h1>Survey of {_safe(title)}</h1>\n",
        *(f"<p>{_safe(text)}</p>\n" for text in words.summary(answer)),
    ]
    if ends:
        shares = (("sure", len(sure) - alone), ("alone", alone), ("open", ends - len(sure)))
        bars = "".join(
            f'<span class="{name}" style="width:{100 * number / ends:.1f}%"></span>' for name, number in shares
        )
        parts.append(f'<div class="bar" role="img" aria-label="share of ends that are clear">{bars}</div>\n')
        parts.append(f"<figure>{drawing(answer)}<figcaption>Loose ends by bay; a full line joins a pair that is sure, "
                     "a dashed one a pair that is likely.</figcaption></figure>\n")  # fmt: skip
    contradictions = list(words.contradictions(answer))
    if contradictions:
        parts.append(
            "<h2>Contradictions</h2>\n" + "".join(f'<p class="bad">{_safe(text)}</p>\n' for text in contradictions)
        )
    parts.append("<h2>The next trips</h2>\n")
    if not trips:
        parts.append("<p>Nothing is left to try that would tell anything.</p>\n")
    for trip, values in zip(trips, tags or [()] * len(trips), strict=True):
        parts.append(f'<div class="card">{_safe_lines(words.trip_card(trip, answer.pile.ends, values))}</div>\n')
    parts.append("<h2>Loose ends</h2>\n" + _table(answer))
    if answer.pile.places:
        rows = "".join(f"<p>{_safe(text)}</p>\n" for text in words.place_lines(answer))
        parts.append("<h2>Free places</h2>\n" + (rows or "<p>No end is likely to go to any of them yet.</p>\n"))
    return "".join([*parts, "</body></html>\n"])


def _safe_lines(lines: Iterable[str]) -> str:
    return "\n".join(_safe_keeping(line) for line in lines)


def _safe_keeping(text: str) -> str:
    """A text escaped, with the blanks at its beginning."""
    bare = text.lstrip()
    return " " * (len(text) - len(bare)) + _safe(bare)


def _table(answer: Answer) -> str:
    rows = []
    for end, standing in zip(answer.pile.ends, answer.standings, strict=True):
        said = "sure" if standing.sure else "open"
        rows.append(
            f'<tr><th scope="row">{_safe(end.name)}</th><td>{_safe(words.where(end))}</td><td>{_safe(end.label)}</td>'
            f"<td>{said}</td><td>{_safe(words.fits_words(standing))}</td></tr>\n"
        )
    head = "".join(f'<th scope="col">{text}</th>' for text in ("Flag", "Where", "Label", "", "Its other end"))
    return f"<table><thead><tr>{head}</tr></thead><tbody>\n{''.join(rows)}</tbody></table>\n"


def drawing(answer: Answer) -> str:
    """The bays with their loose ends, and the pairs between them, as SVG."""
    bays = list(answer.pile.hall.bays)
    bays += sorted({end.bay for end in answer.pile.ends if end.bay and end.bay not in bays})
    nowhere = any(not end.bay for end in answer.pile.ends)
    columns = [*bays, *([""] if nowhere else [])] or [""]
    stacked: dict[str, int] = {}
    at: dict[str, tuple[float, float]] = {}
    tallest = max((sum(end.bay == bay for end in answer.pile.ends) for bay in columns), default=1)
    top = 70.0 + 12.0 * len({end.tray for end in answer.pile.ends if end.tray})
    height = top + 18.0 * tallest + 40.0
    width = _BAY * len(columns)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        'font-family="DejaVu Sans, Arial, sans-serif" font-size="11"><title>bays, trays and cables as known</title>'
    ]
    trays = sorted({end.tray for end in answer.pile.ends if end.tray})
    for number, tray in enumerate(trays):
        level = 28.0 + 12.0 * number
        users = [columns.index(end.bay) for end in answer.pile.ends if end.tray == tray and end.bay in columns]
        left, right = min(users) * _BAY + 10, (max(users) + 1) * _BAY - 10
        parts.append(f'<path d="M{left:.0f} {level:.0f}H{right:.0f}" stroke="#999" stroke-width="5" fill="none"/>')
        parts.append(f'<text x="{left:.0f}" y="{level - 5:.0f}" fill="#555">{_safe(tray)}</text>')
    for number, bay in enumerate(columns):
        left = number * _BAY + 8
        parts.append(
            f'<rect x="{left:.0f}" y="{top:.0f}" width="{_BAY - 16:.0f}" height="{height - top - 8:.0f}" fill="none" '
            f'stroke="#111"/><text x="{left + 5:.0f}" y="{top + 14:.0f}" font-weight="bold">'
            f"{_safe(f'bay {bay}' if bay else 'bay not noted')}</text>"
        )
    for end in answer.pile.ends:
        column = columns.index(end.bay) if end.bay in columns else len(columns) - 1
        row = stacked[end.bay] = stacked.get(end.bay, 0) + 1
        at[end.name] = (column * _BAY + 24, top + 14 + 18.0 * row)
    for one, other, chance in _joins(answer):
        (x1, y1), (x2, y2) = at[one], at[other]
        if x1 == x2:
            path = (
                f"M{x1 + 46:.0f} {y1 - 4:.0f}C{x1 + 80:.0f} {y1:.0f} {x2 + 80:.0f} {y2:.0f} {x2 + 46:.0f} {y2 - 4:.0f}"
            )
        else:
            path = f"M{x1:.0f} {y1 - 4:.0f}C{x1:.0f} {top - 30:.0f} {x2:.0f} {top - 30:.0f} {x2:.0f} {y2 - 4:.0f}"
        dash = "" if chance >= 0.99 else ' stroke-dasharray="5 4"'
        parts.append(f'<path d="{path}" fill="none" stroke="#0b5394" stroke-width="1.5"{dash}>'
                     f"<title>{_safe(f'{one} and {other}: {words.percent(chance)}')}</title></path>")  # fmt: skip
    for name, (x, y) in at.items():
        parts.append(
            f'<circle cx="{x:.0f}" cy="{y - 4:.0f}" r="3.5"/><text x="{x + 7:.0f}" y="{y:.0f}">{_safe(name)}</text>'
        )
    return "".join([*parts, "</svg>"])


def _joins(answer: Answer) -> Iterable[tuple[str, str, float]]:
    """The pairs that are more likely than not."""
    names = [end.name for end in answer.pile.ends]
    for one in range(len(names)):
        for other in range(one):
            chance = float(answer.mates[one, other])
            if chance >= _LIKELY:
                yield names[one], names[other], chance


def flags_page(title: str, finds: Iterable[Find]) -> str:
    """Numbered flags to print and tie on, each with a code that a scanner types.

    Args:
        title: of the plant.
        finds: what gets a flag.
    """
    parts = [_HEAD.format(title=_safe(f"Flags for {title}"), style=_STYLE), '<div class="flags">\n']
    for find in finds:
        about = words.where(find) if isinstance(find, LooseEnd) else f"bay {find.bay}" if find.bay else ""
        parts.append(
            f'<div class="flag">{code(find.name)}<div><b>{_safe(find.name)}</b>'
            f"<p>{_safe(kind_of(find))}</p><p>{_safe(about)}</p></div></div>\n"
        )
    return "".join([*parts, "</div></body></html>\n"])
