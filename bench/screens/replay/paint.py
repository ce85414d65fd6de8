"""The pages of a replay: what the operator saw, what the meter said, the events, and the time line. Pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bench.quantity import engineering
from bench.say.reading import asked
from bench.say.verdict import WORDS, without_word
from bench.screens.program.cells import EMPTY, Line, Span, centred, clip, cut, line, sides, width, wrap, wrapped
from bench.screens.program.glyphs import Glyphs
from bench.screens.program.keys import Key, action_list, key_help, one_row
from bench.screens.program.picture import Picture, filled, framed, inner, note_line
from bench.screens.replay.keys import actions, keys, replay_keys
from bench.screens.replay.playback import RANK, Kind, words
from bench.screens.replay.view import Reading, ReplayView
from bench.screens.walk import findings
from bench.screens.walk.paint import seen
from bench.screens.walk.reading_page import verdict_block
from bench.screens.walk.sayings import last_reading
from bench.screens.walk.scrolled import Body, scrolled
from bench.walk.left_on import ends_with
from bench.walk.outcome import Outcome

TALL: Final = 36
"""Rows from which meter and events have a strip of their own below what the operator saw."""
LEAST_HALF: Final = 36
"""Cells that the meter's words and the events want, each, to be read side by side."""
STRIP: Final = 11
"""Rows of that strip."""
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


def paint(view: ReplayView, cells: int, rows: int, known: Sequence[Key] | None = None) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``.

    Args:
        view: the moment.
        cells: width.
        rows: height.
        known: its keys, where they are worked out already.
    """
    within = inner(cells)
    foot = _foot(view, keys(view) if known is None else known, within)
    room = max(0, rows - len(foot))
    middle, furthest = _body(view, within, rows, room)
    return Picture(framed([*filled(middle, room), *foot][-rows:], cells, view.glyphs), furthest)


def _body(view: ReplayView, cells: int, rows: int, room: int) -> Body:
    if view.help:
        return _help(view, cells, room)
    if view.typed is not None:
        return Body(action_list(view, actions(view), cells, room))
    if view.face == "meter":
        return scrolled(view.walk, meter(view, cells), room)
    if view.face == "events":
        return Body(events(view, cells, room))
    if rows < TALL:
        return seen(view.walk, cells, room)
    middle, furthest = seen(view.walk, cells, room - STRIP)
    return Body([*middle, *_strip(view, cells)], furthest)


def paint_reading(view: Reading, cells: int, rows: int) -> Picture:
    """What is shown until the record is read, or why it cannot be."""
    lines: list[Line] = [EMPTY] * max(1, rows // 3)
    lines += [centred((Span("Replay", "accent"),), cells), EMPTY]
    if view.failed is not None:
        text = view.say(f"{view.failed}. 'proveout verify' says more. q leaves.")
        lines += [centred(one, cells) for one in wrapped(text, max(1, min(72, cells - 4)), "alarm")]
    else:
        read = view.working.done if view.working is not None else 0
        text = view.say(f"Reading {view.record.name}: {read} events. q leaves.")
        lines.append(centred((Span(text, "strong"),), cells))
    return Picture(filled(lines, rows))


def _strip(view: ReplayView, cells: int) -> list[Line]:
    """Meter and events side by side, for screens that have the room; the events alone on one that is narrow."""
    half = cells // 2 - 2
    if half < LEAST_HALF:
        return [(Span(view.glyphs.rule * cells, "rule"),), *events(view, cells, STRIP - 1)]
    left, right = meter(view, half, brief=True), events(view, half, STRIP - 1)
    rows: list[Line] = [(Span(view.glyphs.rule * cells, "rule"),)]
    for number in range(STRIP - 1):
        a = clip(left[number], half, view.glyphs.ellipsis) if number < len(left) else EMPTY
        b = right[number] if number < len(right) else EMPTY
        rows.append((*a, Span(" " * (half - width(a) + 4)), *b))
    return rows


# The time line


def _foot(view: ReplayView, known: Sequence[Key], cells: int) -> list[Line]:
    """Marks, the line, where it stands, and the keys."""
    last = note_line(view.note, cells, view.glyphs) if view.note else one_row(known, cells, view.glyphs.ellipsis)
    on = " ".join(ends_with(view.playback.last))
    if on:
        # whatever moment is shown: somebody may be about to touch what hangs on it
        what = "OUTPUT ON NOW" if view.live else "OUTPUT ON"
        alarm = clip((Span(view.say(f"{what}: {on}"), "alarm"),), cells, view.glyphs.ellipsis)
        return [alarm, _marks(view, cells), _line(view, cells), _where(view, cells), last]
    return [_marks(view, cells), _line(view, cells), _where(view, cells), last]


def _column(view: ReplayView, index: int, cells: int) -> int:
    return round(view.timeline.share(index) * (cells - 1))


def _marks(view: ReplayView, cells: int) -> Line:
    """The marks, each above its place; the worst where two fall on one."""
    found: dict[int, Kind] = {}
    for mark in view.playback.marks:
        column = _column(view, mark.index, cells)
        there = found.get(column)
        if there is None or RANK.index(mark.kind) > RANK.index(there):
            found[column] = mark.kind
    spans: list[Span] = []
    at = 0
    for column in sorted(found):
        kind = found[column]
        spans += [Span(" " * (column - at)), Span(sign(kind, view.glyphs), _STYLES[kind])]
        at = column + 1
    return tuple(spans)


def _line(view: ReplayView, cells: int) -> Line:
    glyphs, column = view.glyphs, _column(view, view.at.index, cells)
    return (
        Span(glyphs.wire * column, "rule-done"),
        Span(glyphs.point, "point"),
        Span(glyphs.rule * (cells - column - 1), "rule"),
    )


def _where(view: ReplayView, cells: int) -> Line:
    """When this is, which event of how many, what it says, and how it plays."""
    moment, glyphs = view.at, view.glyphs
    kind, text = words(moment.entry, view.playback.verdicts[moment.index])
    outcome = moment.outcome
    if outcome is not None and outcome.verdict != "done":
        text = f"{WORDS[outcome.verdict]} {findings.name_of(moment.state, outcome)} {findings.reading(outcome)}"
    how = ["playing"] if view.playing else []
    how += [f"{view.speed:g}x"] if view.playing or view.speed != 1 else []
    how += [] if view.timeline.cut else ["real time"]
    left = line(
        Span(f"{view.now:%Y-%m-%d %H:%M:%S}", "strong"),
        Span(f"  {moment.index + 1} of {len(view.playback)}  ", "dim"),
        Span(f"{kind} ", "accent"),
        glyphs.say(text),
    )
    return sides(left, line(Span(f" {', '.join(how)}", "strong")) if how else EMPTY, cells, glyphs.ellipsis)


# What the meter said


def meter(view: ReplayView, cells: int, *, brief: bool = False) -> list[Line]:
    """The last reading up to this moment: raw replies, value, limit, verdict and where its uncertainty comes from.

    Args:
        view: the moment.
        cells: width.
        brief: leave out where the limit came from.
    """
    state, say = view.at.state, view.glyphs.say
    outcome = view.at.outcome
    if outcome is None or outcome.reading is None:
        outcome = last_reading(state)
    if outcome is None or outcome.reading is None or state.setting is None:
        return [(Span("What the meter said", "title"),), EMPTY, (Span("No reading yet.", "dim"),)]
    read = outcome.reading
    when = view.playback.local(view.playback.times[outcome.n - 1])
    about = Span(say(f"  {findings.name_of(state, outcome)}, event {outcome.n}, {when:%H:%M:%S}"), "dim")
    title = Span("What the meter said", "title")
    # a time with a figure cut off is another time
    beside = width(title.text) + width(about.text) <= cells
    lines: list[Line] = [line(title, about)] if beside else [line(title), *wrapped(about.text.strip(), cells, "dim")]
    raw = "  ".join(read.raw) or "(nothing kept)"
    lines += _field("raw", say(raw), cells, "strong")
    if read.trace:
        far, echo = engineering(read.trace[-1][0], "m"), max((height for _, height in read.trace), key=abs)
        lines += _field(
            "curve", say(f"{len(read.trace)} points to {far}; most that comes back: {echo:+.2f}"), cells, "strong"
        )
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
    zero = (
        f", {engineering(outcome.figure.zero, read.unit)} taken off for the leads"
        if outcome.figure.zero is not None
        else ""
    )
    lines += _field("value", say(f"{findings.reading(outcome)}{zero}"), cells, "strong")
    lines += _limit(view, outcome, cells, brief)
    block = verdict_block(view.walk, outcome)
    said = say(without_word(outcome.verdict, outcome.sentence))
    first, *rest = wrap(said, max(1, cells - width(block.text) - 1)) or [""]
    lines.append(line(block, f" {first}{view.glyphs.ellipsis if rest and brief else ''}"))
    lines += [] if brief else [line(" " * (width(block.text) + 1), part) for part in rest]
    return [*lines, *_budget(view, outcome, cells, brief=brief)]


def _field(name: str, text: str, cells: int, style: str = "") -> list[Line]:
    first, *rest = wrap(text, max(1, cells - 8)) or [""]
    head = line(Span(f"{cut(name, 7, ''):8}", "dim"), Span(first, style))
    return [head, *(line(" " * 8, Span(part, style)) for part in rest)]


def _limit(view: ReplayView, outcome: Outcome, cells: int, brief: bool) -> list[Line]:
    limit = asked(outcome.bounds.low, outcome.bounds.high, outcome.figure.unit)
    if not limit:
        return []
    source = f" ({outcome.bounds.source})" if outcome.bounds.source and not brief else ""
    return _field("limit", view.glyphs.say(f"{limit}{source}"), cells)


def _budget(view: ReplayView, outcome: Outcome, cells: int, *, brief: bool) -> list[Line]:
    """The components, the greatest share first, with a bar for each; what has no room beside it stands below, but for
    the brief ones."""
    budget, glyphs = outcome.figure.budget, view.glyphs
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
        basis = glyphs.say(f", {component.basis}") if component.basis else ""
        head: list[Span | str] = [
            Span(" " * 8),
            Span(glyphs.full * full, "accent"),
            Span(glyphs.empty * (bar - full), "scale"),
        ]
        whole = line(*head, text, Span(basis, "dim"))
        if brief or width(whole) <= cells:
            lines.append(clip(whole, cells, glyphs.ellipsis))
            continue
        lines.append(line(*head, glyphs.say(f" {share * 100:3.0f} %  {amount}")))
        lines += [line(" " * 8, *one) for one in wrapped(f"{glyphs.say(component.name)}{basis}", cells - 8, "dim")]
    return lines


# The events


def events(view: ReplayView, cells: int, rows: int) -> list[Line]:
    """The events around the moment, one in a line, the one that it stands at set off."""
    playback, glyphs, here = view.playback, view.glyphs, view.at.index
    top = max(0, min(here - rows // 2, len(playback) - rows))
    marked = {mark.index: mark.kind for mark in playback.marks if top <= mark.index < top + rows}
    lines: list[Line] = []
    for index in range(top, min(len(playback), top + rows)):
        entry, kind = playback.entries[index], marked.get(index)
        word, text = words(entry, playback.verdicts[index])
        time = playback.local(playback.times[index]).strftime("%H:%M:%S")
        head = Span(
            f"{glyphs.more_right if index == here else ' '}{index + 1:>6} {time} ", "" if index == here else "dim"
        )
        tag = Span(sign(kind, glyphs) if kind else " ", _STYLES[kind] if kind else "")
        one = line(head, tag, Span(f" {word:10} ", "accent" if index == here else "dim"), glyphs.say(text))
        lines.append(clip(one, cells, glyphs.ellipsis))
    return lines


def _help(view: ReplayView, cells: int, rows: int) -> Body:
    about = (
        "You look at a record: every page is drawn from it just as the operator had it. Nothing here measures, "
        "switches or writes. Live readings between two events were never recorded, so they are not shown."
    )
    lines: list[Line] = [EMPTY, (Span("Help", "title"), Span("  replay", "dim")), EMPTY]
    lines += [*wrapped(about, min(cells, 72)), EMPTY]
    known = replay_keys(playing=False, face="seen", long=True, unicode=view.glyphs.unicode)
    lines += key_help(known, min(cells, 80))
    marks: list[Span | str] = [" "]
    for kind in reversed(RANK):
        marks += [Span(sign(kind, view.glyphs), _STYLES[kind]), f" {_LABELS[kind]}   "]
    return scrolled(view.walk, [*lines, EMPTY, line(*marks)], rows)
