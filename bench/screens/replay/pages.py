"""The pages of a replay: what the operator saw, what the meter said, the events, and the time line. Pure functions."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from bench.quantity import engineering
from bench.say.reading import asked
from bench.say.verdict import WORDS, without_word
from bench.screens.program.cells import EMPTY, Line, Span, clip, cut, line, shown, sides, width, wrap, wrapped
from bench.screens.program.glyphs import UNICODE, Glyphs
from bench.screens.replay.keys import actions, line_of, replay_keys
from bench.screens.replay.winding import RANK, Axis, Kind, Moment, Tape, words
from bench.screens.walk import findings
from bench.screens.walk.keys import Key
from bench.screens.walk.pages import Body, scrolled
from bench.screens.walk.paint import MARGIN, Picture, one_row, seen
from bench.screens.walk.reading_page import verdict_block
from bench.screens.walk.sayings import last_reading
from bench.screens.walk.view import View
from bench.walk.outcome import Outcome

FACES: Final = ("seen", "meter", "events")
"""What fills the screen, one after the other."""
TALL: Final = 36
"""Rows from which meter and events have a strip of their own below what the operator saw."""
STRIP: Final = 11
"""Rows of that strip."""
SPEEDS: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 100.0)
"""How fast it may play."""
_LABELS: Final[dict[Kind, str]] = {
    "fail": "fail",
    "undecided": "undecided",
    "trouble": "trouble",
    "disturbance": "touched",
    "pause": "pause",
}
_STYLES: Final[dict[Kind, str]] = {
    "fail": "fail",
    "undecided": "undecided",
    "trouble": "alarm",
    "disturbance": "void",
    "pause": "hint",
}


def sign(kind: Kind, glyphs: Glyphs) -> str:
    """How something is marked on the time line: by its shape, colour only ever adds."""
    return {
        "fail": glyphs.failed,
        "undecided": glyphs.undecided,
        "trouble": "!",
        "disturbance": glyphs.void,
        "pause": "=",
    }[kind]


@dataclass(frozen=True)
class Showing:
    """All that a replay shows at one moment.

    Attributes:
        tape: the record.
        axis: how its entries lie on the time line.
        moment: where it stands.
        now: the time on the wall of that moment.
        keys: what the keys do now.
        face: one of :data:`FACES`.
        playing: whether it runs.
        speed: how fast.
        mirrored: connectors from their other side.
        help: the help page is open.
        typed: what was typed into the list of all actions; None where it is not open.
        chosen: which of its lines is chosen.
        scroll: lines by which a long page is moved up.
        note: something to tell once.
        glyphs: the signs to draw with.
    """

    tape: Tape
    axis: Axis
    moment: Moment
    now: datetime
    keys: tuple[Key, ...] = ()
    face: str = "seen"
    playing: bool = False
    speed: float = 1.0
    mirrored: bool = False
    help: bool = False
    typed: str | None = None
    chosen: int = 0
    scroll: int = 0
    note: str = ""
    glyphs: Glyphs = field(default=UNICODE)

    @property
    def found(self) -> list[Key]:
        """The actions that have what was typed."""
        known = replay_keys(playing=self.playing, face=self.face, long=True, unicode=self.glyphs.unicode)
        return actions(self.typed or "", known)

    @property
    def view(self) -> View:
        """The moment as the walking screen knows it, seen from the operator's seat."""
        moment = self.moment
        return View(
            state=moment.state,
            you=moment.state.seat,
            record=str(self.tape.record),
            mirrored=self.mirrored,
            scroll=self.scroll,
            scrolled_by="j and k",
            now=self.now,
            elapsed=max(0.0, self.now.timestamp() - moment.since),
            left=moment.left,
            glyphs=self.glyphs,
        )


def paint(showing: Showing, cells: int, rows: int) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``."""
    inner = max(1, cells - 2 * MARGIN)
    foot = _foot(showing, inner)
    room = max(0, rows - len(foot))
    if showing.help:
        middle, furthest = _help(showing, inner, room)
    elif showing.typed is not None:
        middle, furthest = _palette(showing, inner, room), 0
    elif showing.face == "meter":
        middle, furthest = scrolled(showing.view, meter(showing, inner), room)
    elif showing.face == "events":
        middle, furthest = events(showing, inner, room), 0
    elif rows >= TALL:
        middle, furthest = seen(showing.view, inner, room - STRIP)
        middle = [*middle, *_strip(showing, inner)]
    else:
        middle, furthest = seen(showing.view, inner, room)
    middle = middle[:room]
    middle += [EMPTY] * (room - len(middle))
    lines = [*middle, *foot][-rows:]
    return Picture(shown(((Span(" " * MARGIN), *one) for one in lines), cells, showing.glyphs), furthest)


def _strip(showing: Showing, cells: int) -> list[Line]:
    """Meter and events side by side, for screens that have the room."""
    half = cells // 2 - 2
    left, right = meter(showing, half, brief=True), events(showing, half, STRIP - 1)
    rows: list[Line] = [(Span(showing.glyphs.rule * cells, "rule"),)]
    for number in range(STRIP - 1):
        a = clip(left[number], half, showing.glyphs.ellipsis) if number < len(left) else EMPTY
        b = right[number] if number < len(right) else EMPTY
        rows.append((*a, Span(" " * (half - width(a) + 4)), *b))
    return rows


# The time line


def _foot(showing: Showing, cells: int) -> list[Line]:
    """Marks, the line, where it stands, and the keys."""
    note = showing.note
    last = line(Span(f" ! {cut(showing.glyphs.say(note), cells - 4)} ", "note")) if note else _keys(showing, cells)
    return [_marks(showing, cells), _line(showing, cells), _where(showing, cells), last]


def _keys(showing: Showing, cells: int) -> Line:
    return one_row(list(showing.keys), cells, showing.glyphs.ellipsis)


def _column(showing: Showing, index: int, cells: int) -> int:
    return round(showing.axis.share(index) * (cells - 1))


def _marks(showing: Showing, cells: int) -> Line:
    """The marks, each above its place; the worst where two fall on one."""
    found: dict[int, Kind] = {}
    for mark in showing.tape.marks:
        column = _column(showing, mark.index, cells)
        there = found.get(column)
        if there is None or RANK.index(mark.kind) > RANK.index(there):
            found[column] = mark.kind
    spans: list[Span] = []
    at = 0
    for column in sorted(found):
        kind = found[column]
        spans += [Span(" " * (column - at)), Span(sign(kind, showing.glyphs), _STYLES[kind])]
        at = column + 1
    return tuple(spans)


def _line(showing: Showing, cells: int) -> Line:
    glyphs, column = showing.glyphs, _column(showing, showing.moment.index, cells)
    return (
        Span(glyphs.wire * column, "rule-done"),
        Span(glyphs.point, "point"),
        Span(glyphs.rule * (cells - column - 1), "rule"),
    )


def _where(showing: Showing, cells: int) -> Line:
    """When this is, which event of how many, what it says, and how it plays."""
    moment, glyphs = showing.moment, showing.glyphs
    kind, text = words(moment.entry, showing.tape.verdicts[moment.index])
    outcome = moment.outcome
    if outcome is not None and outcome.verdict != "done":
        text = f"{WORDS[outcome.verdict]} {findings.name_of(moment.state, outcome)} {findings.reading(outcome)}"
    how = ["playing"] if showing.playing else []
    how += [f"{showing.speed:g}x"] if showing.playing or showing.speed != 1 else []
    how += [] if showing.axis.cut else ["real time"]
    left = line(
        Span(f"{showing.now:%Y-%m-%d %H:%M:%S}", "strong"),
        Span(f"  {moment.index + 1} of {len(showing.tape)}  ", "dim"),
        Span(f"{kind} ", "accent"),
        glyphs.say(text),
    )
    return sides(left, line(Span(f" {', '.join(how)}", "strong")) if how else EMPTY, cells, glyphs.ellipsis)


# What the meter said


def meter(showing: Showing, cells: int, *, brief: bool = False) -> list[Line]:
    """The last reading up to this moment: raw replies, value, limit, verdict and where its uncertainty comes from.

    Args:
        showing: what is shown.
        cells: width.
        brief: leave out where the limit came from.
    """
    state, say = showing.moment.state, showing.glyphs.say
    outcome = showing.moment.outcome
    if outcome is None or outcome.reading is None:
        outcome = last_reading(state)
    if outcome is None or outcome.reading is None or state.setting is None:
        return [(Span("What the meter said", "title"),), EMPTY, (Span("No reading yet.", "dim"),)]
    read = outcome.reading
    when = showing.tape.local(showing.tape.times[outcome.n - 1])
    lines: list[Line] = [
        line(
            Span("What the meter said", "title"),
            Span(say(f"  {findings.name_of(state, outcome)}, event {outcome.n}, {when:%H:%M:%S}"), "dim"),
        )
    ]
    raw = "  ".join(read.raw) or "(nothing kept)"
    lines += _field("raw", say(raw), cells, "strong")
    facts = [findings.raw_reading(read), read.function]
    if read.range is not None:
        facts.append(f"range {engineering(read.range, read.unit)}")
    if read.resolution:
        facts.append(f"steps of {engineering(read.resolution, read.unit)}")
    if read.count > 1:
        facts.append(f"mean of {read.count}")
    if read.took:
        facts.append(f"took {read.took:.2g} s")
    if read.tries > 1:
        facts.append(f"{read.tries} tries")
    lines += _field(say(read.instrument), say(", ".join(facts)), cells)
    zero = f", {engineering(outcome.zero, read.unit)} taken off for the leads" if outcome.zero is not None else ""
    lines += _field("value", say(f"{findings.reading(outcome)}{zero}"), cells, "strong")
    lines += _limit(showing, outcome, cells, brief)
    block = verdict_block(showing.view, outcome)
    said = say(without_word(outcome.verdict, outcome.sentence))
    first, *rest = wrap(said, max(1, cells - width(block.text) - 1)) or [""]
    lines.append(line(block, f" {first}{showing.glyphs.ellipsis if rest and brief else ''}"))
    lines += [] if brief else [line(" " * (width(block.text) + 1), part) for part in rest]
    return [*lines, *_budget(showing, outcome, cells)]


def _field(name: str, text: str, cells: int, style: str = "") -> list[Line]:
    first, *rest = wrap(text, max(1, cells - 8)) or [""]
    head = line(Span(f"{cut(name, 7, ''):8}", "dim"), Span(first, style))
    return [head, *(line(" " * 8, Span(part, style)) for part in rest)]


def _limit(showing: Showing, outcome: Outcome, cells: int, brief: bool) -> list[Line]:
    limit = asked(outcome.low, outcome.high, outcome.unit)
    if not limit:
        return []
    source = f" ({outcome.source})" if outcome.source and not brief else ""
    return _field("asked", showing.glyphs.say(f"{limit}{source}"), cells)


def _budget(showing: Showing, outcome: Outcome, cells: int) -> list[Line]:
    """The components, the greatest share first, with a bar for each."""
    budget, glyphs = outcome.budget, showing.glyphs
    if budget is None:
        return []
    k = f"k = {budget.coverage_factor:.2f}, {budget.level * 100:g} % sure"
    combined = engineering(budget.standard_uncertainty, budget.unit, digits=2)
    lines: list[Line] = [line(Span("doubt   ", "dim"), Span(glyphs.say(f"combined {combined}, {k}"), ""))]
    bar = 10
    for component in sorted(budget.components, key=budget.share, reverse=True):
        share = budget.share(component)
        full = round(bar * share)
        amount = engineering(abs(component.contribution), budget.unit, digits=2)
        text = glyphs.say(f" {share * 100:3.0f} %  {amount}  {component.name}")
        lines.append(
            clip(
                line(
                    Span(" " * 8),
                    Span(glyphs.full * full, "accent"),
                    Span(glyphs.empty * (bar - full), "scale"),
                    text,
                    Span(glyphs.say(f", {component.basis}") if component.basis else "", "dim"),
                ),
                cells,
                glyphs.ellipsis,
            )
        )
    return lines


# The events


def events(showing: Showing, cells: int, rows: int) -> list[Line]:
    """The events around the moment, one in a line, the one that it stands at set off."""
    tape, glyphs, here = showing.tape, showing.glyphs, showing.moment.index
    top = max(0, min(here - rows // 2, len(tape) - rows))
    marked = {mark.index: mark.kind for mark in tape.marks if top <= mark.index < top + rows}
    lines: list[Line] = []
    for index in range(top, min(len(tape), top + rows)):
        entry, kind = tape.entries[index], marked.get(index)
        word, text = words(entry, tape.verdicts[index])
        time = tape.local(tape.times[index]).strftime("%H:%M:%S")
        head = Span(
            f"{glyphs.more_right if index == here else ' '}{index + 1:>6} {time} ", "" if index == here else "dim"
        )
        tag = Span(sign(kind, glyphs) if kind else " ", _STYLES[kind] if kind else "")
        one = line(head, tag, Span(f" {word:10} ", "accent" if index == here else "dim"), glyphs.say(text))
        lines.append(clip(one, cells, glyphs.ellipsis))
    return lines


def _palette(showing: Showing, cells: int, rows: int) -> list[Line]:
    """What was typed, and every action that has it."""
    glyphs, found = showing.glyphs, showing.found
    lines: list[Line] = [
        line(Span("all actions", "title"), Span("   type a few letters; arrows choose", "dim")),
        line(Span(f" {glyphs.say(showing.typed or '')}_ ", "watch")),
        EMPTY,
    ]
    room = max(1, rows - len(lines))
    top = max(0, min(showing.chosen - room // 2, len(found) - room))
    for place, one in enumerate(found[top : top + room], top):
        here = place == showing.chosen
        mark = Span(f"{glyphs.more_right} " if here else "  ", "key")
        lines.append((mark, *clip((Span(line_of(one), "cursor" if here else ""),), cells - 2, glyphs.ellipsis)))
    return lines if found else [*lines, line(Span("nothing has these letters", "dim"))]


def _help(showing: Showing, cells: int, rows: int) -> Body:
    about = (
        "You look at a record: every page is drawn from it just as the operator had it. Nothing here measures, "
        "switches or writes. Live readings between two events were never recorded, so they are not shown."
    )
    lines: list[Line] = [EMPTY, (Span("Help", "title"), Span("  replay", "dim")), EMPTY]
    lines += [*wrapped(about, min(cells, 72)), EMPTY]
    known = replay_keys(playing=False, face="seen", long=True, unicode=showing.glyphs.unicode)
    size = max(width(one.shown) for one in known)
    for one in known:
        first, *rest = wrap(one.more, min(cells, 80) - size - 3) or [""]
        lines.append(line(Span(f" {one.shown}", "key"), f"{' ' * (size - width(one.shown) + 2)}{first}"))
        lines += [line(f"{' ' * (size + 3)}{part}") for part in rest]
    marks: list[Span | str] = [" "]
    for kind in reversed(RANK):
        marks += [Span(sign(kind, showing.glyphs), _STYLES[kind]), f" {_LABELS[kind]}   "]
    return scrolled(showing.view, [*lines, EMPTY, line(*marks)], rows)
