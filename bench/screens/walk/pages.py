"""The pages of everything that takes no reading: cautions, hold points, acts, waits, trouble, help and the end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from msgspec.structs import replace

from bench.quantity import engineering
from bench.screens.program.cells import (
    EMPTY,
    Line,
    Span,
    centred,
    clip,
    cut_front,
    indent,
    line,
    width,
    wrap,
    wrapped,
)
from bench.screens.program.glyphs import Glyphs
from bench.screens.program.keys import key_help
from bench.screens.walk import findings, search_page, stages, voltage_words
from bench.screens.walk import sayings as words
from bench.screens.walk.display import on_display
from bench.screens.walk.keys import caution_key, keys
from bench.screens.walk.reading_page import verdict_block, verdicts
from bench.screens.walk.scrolled import Body, scrolled
from bench.screens.walk.view import View
from bench.screens.widgets import digits
from bench.sequence.file import Do, Found, Send
from bench.walk.outcome import Outcome
from bench.walk.results import results

READ_FROM_AFAR: Final = 28
"""Rows from which a page has room for words that are read from a ladder."""
WIDE: Final = 72
"""Cells of a line of running text: longer ones are lost by tired eyes."""


def body(view: View, cells: int, rows: int) -> Body:
    """The page of the moment, scrolled where it is longer than its room."""
    make = _PAGES.get(view.kind, _plain)
    return make(view, cells, rows)


def _running(text: str, cells: int, style: str = "") -> list[Line]:
    return wrapped(text, min(cells, WIDE), style)


def _framed(view: View, title: str, inside: list[Line], cells: int, rows: int, style: str) -> Body:
    """A frame that fills the screen, with hatched bands above and below: nobody takes it for an ordinary step."""
    glyphs = view.glyphs
    if rows < 7 or cells < 20:
        return scrolled(view, [(Span(title, style),), *inside], rows)
    frame = glyphs.heavy
    inner = cells - 2
    if width(title) > inner - 6:
        # too long for the frame: its kind stays there, and the whole of it stands inside
        kind, _, rest = title.partition(": ")
        title, inside = kind, [*wrapped(rest or title, inner - 4, "title"), EMPTY, *inside]
    band = (Span(frame[7], style), Span(glyphs.beyond * inner, "hatch"), Span(frame[3], style))
    head = clip(line(Span(f" {title} ", "word")), inner - 4)
    lead = (inner - width(head)) // 2
    top = (
        Span(frame[0] + frame[1] * lead, style),
        *head,
        Span(frame[1] * (inner - lead - width(head)) + frame[2], style),
    )
    bottom = (Span(frame[6] + frame[5] * inner + frame[4], style),)
    room = rows - 4
    pad = max(0, (room - len(inside)) // 2)
    content, furthest = scrolled(view, [EMPTY] * pad + inside, room)
    content += [EMPTY] * (room - len(content))
    sides: list[Line] = []
    for one in content:
        one = clip(one, inner - 2)
        sides.append(
            (Span(frame[7], style), Span(" "), *one, Span(" " * (inner - 1 - width(one))), Span(frame[3], style))
        )
    return Body([top, band, *sides, band, bottom], furthest)


def _block(lines: list[Line], cells: int) -> list[Line]:
    """Lines flush left, as a block in the middle."""
    size = max((width(one) for one in lines), default=0)
    return [indent(one, max(0, (cells - size) // 2)) for one in lines]


def _press(key: str, what: str, cells: int) -> list[Line]:
    """Which key, and when; what has no room goes on below."""
    head = line("press  ", Span(f" {key} ", "word"), "  ")
    first, *rest = wrap(what, max(10, cells - width(head))) or [""]
    return [line(*head, first), *(indent(line(part), width(head)) for part in rest)]


def _caution(view: View, cells: int, rows: int) -> Body:
    now, inner = view.page, cells - 6
    lines = _running(now.text, inner, "strong")
    if view.watching:
        ask: list[Line] = []
    else:
        ask = [EMPTY, EMPTY, *_press(caution_key(view), "when you have read it and act on it", inner)]
    title = f"CAUTION: {now.title}" if now.title.casefold() != "caution" else "CAUTION"
    return _framed(view, title, _block([*lines, *ask], cells - 4), cells, rows, "warn")


def _hold(view: View, cells: int, rows: int) -> Body:
    now, inner = view.page, cells - 6
    step = view.state.step
    word = view.say(step.source.word) if step is not None else ""
    lines = [*_running(now.text, inner, "strong"), EMPTY, EMPTY]
    boxes: list[Span | str] = []
    for letter in word:
        boxes += [Span(f" {letter} ", "word"), " "]
    if width(line(*boxes)) > inner:
        boxes = [Span(f" {word} ", "word")]
    lines += [line(*boxes), EMPTY, *_running(now.hint, inner, "hint")]
    if not view.watching:
        lines += [EMPTY, *_press("Enter", "to type the word", inner)]
    title = f"HOLD POINT: {now.title}" if now.title.casefold() != "hold point" else "HOLD POINT"
    return _framed(view, title, _block(lines, cells - 4), cells, rows, "alarm")


def _plain(view: View, cells: int, rows: int) -> Body:
    """A page of words: what to do, what it touches, and what the next key does."""
    now = view.page
    if search_page.has_cards(view.state) and now.kind == "do":
        done = [] if view.watching else [EMPTY, *_press("Enter", "when it is done", cells)]
        return scrolled(view, [EMPTY, *search_page.cards(view, cells), *done], rows)
    lines: list[Line] = [*wrapped(now.title, cells, "title"), EMPTY, *_running(now.text, cells)]
    step = view.state.step
    if step is not None and isinstance(step.source, Do):
        lines += _handled(view, step.source, cells, far=rows >= READ_FROM_AFAR)
    if now.hint:
        lines += [EMPTY, *_running(now.hint, cells, "hint")]
    if shown := on_display(view.state, view.live):
        lines += [EMPTY, line(Span("The display shows  ", "dim"), Span(view.say(shown), "digits"))]
    if now.wanted and now.kind == "ask":
        lines += [EMPTY, *_running(f"wanted: {now.wanted}", cells, "strong")]
    if now.kind in ("do", "ask") and not view.watching:
        confirm = "to send it" if step is not None and isinstance(step.source, Send) else "when it is done"
        lines += [EMPTY, *_press("Enter", confirm if now.kind == "do" else "to type it", cells)]
    known = verdicts(view, cells, max(1, min(6, rows - len(lines) - 6)))
    spare = rows - len(lines) - len(known)
    if spare < 2:
        return scrolled(view, lines, rows)
    above = max(1, spare // 3)
    middle = [EMPTY] * above + _block(lines, cells)
    return Body([*middle, *[EMPTY] * (rows - len(middle) - len(known)), *known])


def _handled(view: View, source: Do, cells: int, *, far: bool) -> list[Line]:
    """What the act opens, closes, switches and handles, each under its own word."""
    lines: list[Line] = []
    for word, names in words.handled(source):
        parts = wrap(view.say(names), cells - 12)
        lines += [line(Span(f"{word} ", "dim"), Span(part, "strong")) for part in parts]
    if source.energises:
        lines += [EMPTY, *_live_from_here(view, cells, far=far)]
        lines.append(line(Span("Something may be live after this.", "alarm")))
    return [EMPTY, *lines] if lines else []


def _live_from_here(view: View, cells: int, *, far: bool) -> list[Line]:
    """The words that part what is dead from what may be live, as large as a reading where they have room."""
    if far:
        drawn = digits.draw(words.LIVE_FROM_HERE, 5, view.glyphs, narrow=True)
        if len(drawn[0]) <= cells:
            return [*(line(Span(row, "alarm")) for row in drawn), EMPTY]
    return [line(Span(f" {words.LIVE_FROM_HERE} ", "word"))]


def _wait(view: View, cells: int, rows: int) -> Body:
    now, glyphs = view.page, view.glyphs
    left = view.state.pending.left
    step = view.state.step
    whole = step.seconds if step is not None else left
    minutes, seconds = divmod(max(0, round(left)), 60)
    drawn = digits.draw(f"{minutes:02}:{seconds:02}", 7 if rows > 28 else 5, glyphs)
    bar = min(cells, 60)
    full = round(bar * (1 - left / whole)) if whole > 0 else bar
    lines: list[Line] = [
        *(centred(one, cells) for one in wrapped(now.title, cells, "title")),
        EMPTY,
        *(centred(one, cells) for one in _running(now.text, cells)),
        EMPTY,
        *(centred((Span(row, "digits"),), cells) for row in drawn),
        EMPTY,
        centred((Span(glyphs.full * full, "accent"), Span(glyphs.empty * (bar - full), "scale")), cells),
        EMPTY,
        *(centred(one, cells) for one in _running(now.hint, cells, "hint")),
    ]
    return _middle(view, lines, rows)


def _voltage(view: View, cells: int, rows: int) -> Body:
    """A test voltage: the count, the volts that are on, what is left of them. It looks like nothing else."""
    now, volts, inner = view.page, view.voltage, cells - 6
    step = view.state.step
    figure = voltage_words.of(step)
    head = f"TEST VOLTAGE {figure}"
    if volts is not None and volts.stage == "coming":
        figure = str(volts.seconds)
    elif volts is not None and volts.stage in ("on", "leaving"):
        figure = engineering(volts.volts, "V", digits=3)
    lines: list[Line] = _running(now.title, inner, "strong")
    if digits.can_draw(figure) and digits.drawn_width(figure, 5) <= inner and rows >= 16:
        lines += [EMPTY, *((Span(row, "alarm"),) for row in digits.draw(figure, 5, view.glyphs)), EMPTY]
    lines += _running(view.say(voltage_words.said(volts, None) if volts is not None else now.hint), inner, "strong")
    lines += [*_press("Enter", "or any other key: STOP", inner), EMPTY]
    for lead in now.leads:
        lines.append(line(Span(f"{lead.colour} lead: ", "dim"), Span(lead.label, "strong")))
    lines += _running(now.hint, inner, "hint")
    return _framed(view, head, _block(lines, cells - 4), cells, rows, "alarm")


def _middle(view: View, lines: list[Line], rows: int) -> Body:
    """The lines a little above the middle of the page."""
    if len(lines) >= rows:
        return scrolled(view, lines, rows)
    return Body([*[EMPTY] * ((rows - len(lines)) // 3), *lines])


def _starting(view: View, cells: int, rows: int) -> Body:
    lines: list[Line] = [
        centred((Span("Proveout", "accent"),), cells),
        EMPTY,
        centred((Span(view.say(view.starting) or view.page.text, "strong"),), cells),
    ]
    return _middle(view, lines, rows)


def _working(view: View, cells: int, rows: int) -> Body:
    """The bench works by itself; what it reads meanwhile is shown large."""
    now, live = view.page, view.live
    lines: list[Line] = [*(centred(one, cells) for one in wrapped(now.title, cells, "title")), EMPTY]
    lines += [centred(one, cells) for one in _running(now.text, cells)]
    if live is not None and live.value is not None:
        text = engineering(live.value, live.unit, resolution=live.resolution)
        if digits.can_draw(text) and digits.drawn_width(text, 5) <= cells:
            drawn = digits.draw(text, 5, view.glyphs)
            lines += [EMPTY, *(centred((Span(row, "digits"),), cells) for row in drawn), EMPTY]
        if now.kind == "safe":
            lines += [
                centred(one, cells) for one in _running(f"left on {view.say(live.role)}; it goes by itself", cells)
            ]
    lines += [centred(one, cells) for one in _running(now.hint, cells, "hint")]
    return _middle(view, lines, rows)


def _consent(view: View, cells: int, rows: int) -> Body:
    now = view.page
    lines: list[Line] = [*wrapped(now.title, cells, "warn"), EMPTY, *_running(now.text, cells), EMPTY]
    weak = view.state.setting.weak if view.state.setting is not None else ()
    for sentence in weak:
        lines += _item(view.glyphs.undecided, "undecided", view.say(sentence), cells)
    lines += [EMPTY, *_running(now.hint, cells, "hint")]
    if not view.watching:
        lines += [EMPTY, *_press("Enter", "to give the reason", cells), *_press("x", "to give the walk up", cells)]
    return scrolled(view, [EMPTY, *_block(lines, cells)], rows)


def _item(mark: str, style: str, text: str, cells: int) -> list[Line]:
    """A text with its mark in front, hanging."""
    first, *rest = wrap(text, min(cells, WIDE + 8) - 3) or [""]
    return [line(Span(f"{mark} ", style), first), *(line(f"  {part}") for part in rest)]


def _trouble(view: View, cells: int, rows: int) -> Body:
    now, inner = view.page, cells - 6
    trouble = view.state.pending.trouble
    lines = [*_running(now.text, inner, "strong")]
    if trouble is not None and trouble.instrument:
        lines += [line(Span(view.say(f"instrument {trouble.instrument}"), "dim"))]
    lines += _beyond(view, inner)
    if now.hint:
        lines += [EMPTY, *_running(now.hint, inner, "hint")]
    step = view.state.step
    if step is not None:
        lines += [EMPTY, *wrapped(view.say(f"The step is not done: {step.title}"), min(inner, WIDE), "dim")]
    lines.append(EMPTY)
    for one in keys(view):
        if one.does in ("retry", "skip", "abort"):
            word = {"retry": "try again", "skip": "skip this step, with a reason", "abort": "give the walk up"}[
                one.does
            ]
            lines.append(line(Span(f" {one.shown} ", "word"), f"  {word}"))
    return _framed(view, "TROUBLE", _block(lines, cells - 4), cells, rows, "alarm")


def _rest(view: View, cells: int, rows: int) -> Body:
    now = view.page
    lines: list[Line] = [*wrapped(now.title, cells, "title"), EMPTY, *_running(now.text, cells)]
    step = view.state.step
    if step is not None:
        lines += [EMPTY, *wrapped(view.say(f"It goes on at: {step.title}"), min(cells, WIDE), "dim")]
    lines += _beyond(view, cells)
    if view.state.outputs.unconfirmed:
        names = view.say(", ".join(view.state.outputs.unconfirmed))
        lines += [EMPTY, *_running(f"Not confirmed off: {names}. Look at it yourself.", cells, "alarm")]
    if not view.watching:
        lines += [EMPTY, *_press("p", "to go on", cells)]
    return _middle(view, _block(lines, cells), rows)


def _beyond(view: View, cells: int) -> list[Line]:
    """What stays on whatever this program does, and whom to tell."""
    lines: list[Line] = []
    for text in stages.beyond(view.state):
        lines += [EMPTY, *_running(view.say(f"STILL ON: {text}"), cells, "alarm")]
    return lines


def _failing(view: View, cells: int, rows: int) -> Body:
    text = (
        "Nothing goes on until it can be written. Outputs are made safe meanwhile. Make room on the disk, or plug the "
        "drive in again: it is tried every few seconds. Nothing that was recorded is lost."
    )
    inner = cells - 6
    lines = [*_running(view.say(view.failing), inner, "strong"), EMPTY, *_running(text, inner)]
    return _framed(view, "THE RECORD CANNOT BE WRITTEN", _block(lines, cells - 4), cells, rows, "alarm")


def _lost(view: View, cells: int, rows: int) -> Body:
    lost = view.lost
    why, broken = (lost.why, lost.broken) if lost is not None else ("", False)
    title, text = words.lost_words(why, finished=view.state.finished, broken=broken, record=view.record)
    lines = [*_running(view.say(text), cells - 6, "strong"), EMPTY, *_press("q", "to leave this screen", cells - 6)]
    return _framed(view, title.upper(), _block(lines, cells - 4), cells, rows, "alarm")


def _end(view: View, cells: int, rows: int) -> Body:
    """Counts, then everything that someone must look at, then where the record is."""
    state, glyphs = view.state, view.glyphs
    found = findings.summary(state)
    now = view.page
    style = "pass" if found.clean and now.kind == "done" and not found.unsafe else "alarm" if found.worries else "warn"
    lines: list[Line] = [EMPTY, (Span(now.title, style),), EMPTY, _tally(view, found), EMPTY]
    if found.unsafe:
        text = f"NOT CONFIRMED OFF: {view.say(', '.join(found.unsafe))}. Go and look before you touch anything."
        lines += [*wrapped(text, cells, "alarm"), EMPTY]
    lines += [*_beyond(view, cells), EMPTY] if stages.beyond(state) else []
    for one in found.seen:
        lines += [*wrapped(view.say(one.sentence), cells, "strong"), EMPTY]
    if found.connected:
        for text in (found.connected, *found.advice[:1]):
            lines += wrapped(view.say(text), cells, "strong" if text == found.connected else "")
        lines.append(EMPTY)
    for outcome in found.worries:
        lines += _worry(view, outcome, cells)
    for outcome in found.skipped:
        text = view.say(f"{findings.name_of(state, outcome)}: {outcome.sentence}")
        lines += _item(glyphs.mark("skipped"), "skipped", text, cells)
    for outcome in found.remarked:
        name = findings.name_of(state, outcome)
        said = outcome.news or outcome.remark
        text = view.say(said if said.startswith(name) else f"{name}: {said}")
        lines += _item(glyphs.mark(outcome.verdict), outcome.verdict, text, cells)
    for outcome in results(state).values():
        if outcome.found is not None and outcome.verdict in ("pass", "fail", "undecided"):
            lines += _concluded(view, outcome.found, cells)
    if found.open:
        lines.append(line(Span(f"{found.open} steps were not reached.", "dim")))
    if lines[-1]:
        lines.append(EMPTY)
    record = view.say(view.record)
    if record:
        lines.append(line(Span("record ", "dim"), Span(cut_front(record, cells - 7, glyphs.ellipsis), "strong")))
    return scrolled(view, lines, rows)


def _concluded(view: View, found: Found, cells: int) -> list[Line]:
    """What a search found, in full: troubles first, then what it named."""
    lines: list[Line] = [*wrapped(view.say(found.sentence), cells, "strong")]
    for text in found.lines:
        lines += [indent(one, 2) for one in wrapped(view.say(text), cells - 2)]
    return [*lines, EMPTY]


def _tally(view: View, found: findings.Summary) -> Line:
    names = {"pass": "passed", "fail": "failed", "undecided": "undecided", "void": "void", "skipped": "skipped"}
    spans: list[Span | str] = []
    for verdict, count in found.counts.items():
        if count:
            spans += ["   "] if spans else []
            spans += [Span(f"{view.glyphs.mark(verdict)} {count} {names[verdict]}", verdict)]
    return line(*spans) if spans else line(Span("nothing was measured", "dim"))


def _worry(view: View, outcome: Outcome, cells: int) -> list[Line]:
    """A failure: what, its sentence, where the leads were, and what would settle it."""
    lines: list[Line] = [
        line(verdict_block(view, outcome), " ", Span(view.say(findings.name_of(view.state, outcome)), "strong"))
    ]
    text = view.say(outcome.sentence)
    lines += [indent(one, 2) for one in wrapped(text, cells - 2)]
    for part in view.say(findings.place_of(view.state, outcome)).split("; "):
        if part:
            lines += [indent(one, 2) for one in wrapped(part, cells - 2, "dim")]
    for advice in outcome.advice[:2]:
        lines += [indent(one, 2) for one in wrapped(view.say(advice), cells - 2, "hint")]
    return [*lines, EMPTY]


_ABOUT: Final = {
    "place": "One reading is taken at the two places shown. The marks on the connectors are those of the leads. The "
    "wire across the screen closes when the probes touch; hold still until it is whole. The bar below is the limit: "
    "the hatched part is out of bounds, the grey band is how far the reading may be off.",
    "measure": "The bench is measuring. Keep still; with the insulation tester, keep your hands off.",
    "voltage": "An insulation test voltage is counted down, then it is on, then what is left of it is read back. "
    "Hands stay off, at the far end too, until it is said that it is discharged. Any key stops it at any time.",
    "caution": "Something here can hurt you or the plant. Read it, act on it, then press the key that is shown.",
    "hold": "A hold point is passed only by a person who has made sure. The word is recorded with your name.",
    "do": "Do what is written, then confirm.",
    "beep": "Touch the two places shown with the tips of the continuity tester, and say whether it beeps. Many ends on "
    "one side are held together on a bar meanwhile. Take the last answer back where you were not sure.",
    "ask": "A value is wanted from you; it bears on limits and on how sure the readings are.",
    "trouble": "The instrument or its line gave trouble; the step is not done. Look at plugs, batteries, switches.",
    "rest": "The walk is paused. Nothing is measured; outputs are off.",
    "consent": "The meters at hand are too coarse for some limits. You may go on; such readings may stay undecided.",
    "done": "The walk is over. What is listed here must be looked at by someone.",
    "energise": "A load comes up and is watched: the first reading beyond its window switches the output off. The bar "
    "is the window; below it is the way of the current so far, then the stages and what each breaker has left.",
    "stages": "The stages of the shelf under way with what each should show and showed, and what each breaker has "
    "left. What says TOO LITTLE is as much a finding as what says TOO MUCH.",
    "earth": "The earthing network hangs from its single-point connection, one line a place. Both ends of a suspected "
    "second path carry the same number in angle brackets; a bond that is poor says POOR.",
    "wait": "Time must pass, for instance until a charge is gone. The walk goes on by itself.",
}


def _help(view: View, cells: int, rows: int) -> Body:
    behind = replace(view, help=False, stages=False, earth=False)
    lines: list[Line] = [EMPTY, (Span("Help", "title"), Span(f"  {behind.page.title}", "dim")), EMPTY]
    about = _ABOUT.get(behind.kind, "")
    if about:
        lines += [*_running(about, cells), EMPTY]
    lines += key_help(keys(behind), min(cells, WIDE + 8))
    lines += [EMPTY, *_marks(view.glyphs)]
    return scrolled(view, lines, rows)


def _marks(glyphs: Glyphs) -> list[Line]:
    """What the marks mean."""
    return [
        line(
            Span(f" {glyphs.red} ", "red"),
            " red lead   ",
            Span(f" {glyphs.black} ", "black"),
            " black lead   ",
            Span(glyphs.free, "pin"),
            " not measured yet",
        ),
        line(
            Span(glyphs.passed, "pass"),
            " pass   ",
            Span(glyphs.failed, "fail"),
            " fail   ",
            Span(glyphs.undecided, "undecided"),
            " undecided   ",
            Span(glyphs.skipped, "skipped"),
            " skipped   ",
            Span(glyphs.void, "void"),
            " no longer counts",
        ),
    ]


_PAGES: Final[dict[str, Callable[[View, int, int], Body]]] = {
    "caution": _caution,
    "hold": _hold,
    "wait": _wait,
    "voltage": _voltage,
    "start": _starting,
    "starting": _starting,
    "safe": _working,
    "meet": _working,
    "switch": _working,
    "advise": _working,
    "consent": _consent,
    "trouble": _trouble,
    "rest": _rest,
    "failing": _failing,
    "lost": _lost,
    "done": _end,
    "aborted": _end,
    "help": _help,
}
