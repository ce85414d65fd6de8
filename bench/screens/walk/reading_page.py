"""The page of a step that takes a reading: one wire from the red lead to the black, and what the meter says of it.

The wire runs across the screen from one place to the other. It is broken while the probes touch nothing, closes from
both ends while a contact settles, and has the conductor's own colours. The last verdict stays until the next touch.

Over 500 lines, since all of it is one page.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import Final

import msgspec

from bench.judge.judge_error import JudgeError
from bench.quantity import engineering
from bench.roles import UNIT_OF
from bench.say.verdict import WORDS
from bench.screens.program.cells import (
    EMPTY,
    Line,
    Span,
    beside,
    centred,
    clip,
    cut,
    joined,
    line,
    sides,
    width,
    wrapped,
)
from bench.screens.walk import findings, search_page
from bench.screens.walk import sayings as words
from bench.screens.walk.findings import READ, look_of
from bench.screens.walk.sayings import Lead, relays_for
from bench.screens.walk.scrolled import Body, scrolled
from bench.screens.walk.view import View
from bench.screens.widgets import digits, face, scale
from bench.sequence.file import NO_LIMIT, Measure, Prove, Zero
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.by_eye import WANTED
from bench.walk.outcome import Outcome
from bench.walk.state import Phase, State, by_eye_at

TALL: Final = 32
"""Rows from which there is room for air."""
HUGE: Final = 46
"""Rows from which digits and words are drawn twice as large."""
READ_ON: Final = 4.0
"""Seconds after which a reading has been seen, and what is next is what matters: where no live reading says that the
probes went away."""
NEXT_GAP: Final = "    "
"""Between the two pins that are next: the red lead's and the black one's."""
BESIDE: Final = 22
"""Cells that stand beside the large digits: what they are at the left, limit and doubt at the right."""
WIRE: Final = 8
"""The fewest cells of a wire beside what is said of it: both ends and a little between."""
TOUCHES: Final = ("touching", "settled")
FAR: Final = 5
"""Rows of the words that are as large as a reading."""
APART: Final = " " * 8
"""Between a verdict and what to do, both drawn large."""
WHOLE_FACE: Final = 5
"""Rows of a connector's face below which it is no help beside words that are read from afar."""
HOLD_STILL: Final = "HOLD STILL"
SHOWN: Final = "what the meter shows: 0.4, 4.72 k, OL M"
"""What is typed of a display, in short: the box to type in says it whole."""
PROBES_UP: Final = "PROBES UP"


class LargeFigure(msgspec.Struct, frozen=True):
    """The figure in large digits, with what belongs to it.

    Attributes:
        label: ``NOW``, ``NEXT``, ``TO GO`` or ``LAST``.
        text: what the digits say; empty where there is nothing yet.
        gauge: the scale below.
        outcome: the last outcome, for ``LAST`` and ``NEXT``.
    """

    label: str
    text: str
    gauge: scale.Gauge
    outcome: Outcome | None = None


def body(view: View, cells: int, rows: int) -> Body:
    """The page below the head and above the notes.

    What to do and where each lead goes is never cut: all else gives way to it, what is looked back at first. Where not
    even that has room, the page scrolls.

    Args:
        view: what there is to show.
        cells: width in terminal cells.
        rows: height in lines; the lines that are returned may be fewer.
    """
    step = view.state.step
    assert step is not None
    now = view.page
    figure = figure_of(view)
    hint = view.say(_hint(view, step))
    needed = _needed(view, hint, cells, rows >= TALL - 4, rows - 1)
    joint = [wire(view, step, cells)]
    bar = [one for one in scale.draw(figure.gauge, cells, view.glyphs) if one]
    small = _small_figure(view, figure, cells)
    if needed.height + 1 > rows:
        return scrolled(view, [*needed.lines, *joint, *small, *bar, *verdicts(view, cells, 1)], rows)
    if needed.height + len(joint) + len(bar) + 5 > rows:
        return Body(_crowded(view, needed, [joint, bar, small], cells, rows))
    taken = needed.height + len(joint) + len(bar) + 1
    said = len(verdicts(view, cells, 2))  # what failed is told whole before what a place looks like
    far = _far_words(view, cells, 2 * FAR if rows >= HUGE else FAR)
    # whoever holds the probes there has found the place: its picture gives way to what the hands do, and so does the
    # line that says once more what passed
    far = far if len(far) <= rows - taken - 5 + (said == 1) else []
    taken += len(far)
    faces = _faces(view, now.leads, cells, rows - taken - 5) if not far or rows - taken - 5 >= WHOLE_FACE else []
    places = _places(view, now.leads, cells, spots=rows - taken - 5 - len(faces) >= said)
    taken += len(faces) + len(places) - len(needed.places)
    figures = _figures(view, figure, cells, rows - taken)
    blocks = [needed.instruction, places, faces, [*joint, *needed.hint], far, figures, bar]
    spare = rows - taken - len(figures)
    wanted = len(verdicts(view, cells, 1 + spare)) - 1 if spare < 3 else 0
    if far:
        wanted = min(spare, 1 + len(verdicts(view, cells, 3)))
    lines = _aired(blocks, min(spare - wanted, rows // 4))
    left = rows - len(lines)
    if left > 2:
        lines.append(EMPTY)
        left -= 1
    return Body([*lines, *verdicts(view, cells, left)][:rows])


def _hint(view: View, step: Step) -> str:
    """How the hands go on: what the live reading says of the probes, or what is typed of a meter read by eye."""
    if view.kind == "ask":
        return f"Type {SHOWN if view.page.wanted == WANTED else view.page.wanted}"
    return words.placing(step, view.live) if view.page.kind == "place" else words.measuring(step)


def beep_body(view: View, cells: int, rows: int) -> Body:
    """The page of an act after which the operator says whether a continuity tester beeps; see :func:`body`."""
    step, now = view.state.step, view.page
    assert step is not None
    needed = _needed(view, now.hint, cells, rows >= TALL - 4, rows - 1)
    joint = [wire(view, step, cells)]
    answers = line(Span(" y ", "word"), "  it beeps      ", Span(" n ", "word"), "  it is silent")
    press = [] if view.watching else [centred(answers, cells)]
    if needed.height + len(press) > rows:
        return scrolled(view, [*needed.lines, *press, *joint], rows)
    if needed.height + len(joint) + len(press) > rows:
        return Body(_crowded(view, needed, [press, joint], cells, rows))
    taken = needed.height + len(joint) + len(press)
    faces = _faces(view, now.leads, cells, rows - taken)
    places = _places(view, now.leads, cells, spots=rows - taken - len(faces) >= 5)
    taken += len(faces) + len(places) - len(needed.places)
    blocks = [needed.instruction, places, faces, [*joint, *needed.hint], press]
    lines = _aired(blocks, min(rows - taken, rows // 4))
    left = rows - len(lines)
    if left > 2:
        lines.append(EMPTY)
        left -= 1
    return Body([*lines, *verdicts(view, cells, left)][:rows])


def _far_words(view: View, cells: int, height: int) -> list[Line]:
    """What the hands do, as large as the reading, for whoever stands on a ladder: to hold still, or the verdict and
    that the probes may come up. Empty where there is nothing of it, and where the words are too wide."""
    live, step, last = view.live, view.state.step, view.state.kept.history
    measuring = view.state.phase is Phase.MEASURING
    if step is None or relays_for(view.state, step) or (live is not None and live.wrong):
        return []
    words_now: list[tuple[str, str]] = []
    if live is not None and live.touch == "lift" and not measuring:
        words_now = [(PROBES_UP, "hint")]
        if last is not None and last.outcome is not None and look_of(last.outcome) in ("pass", "fail", "undecided"):
            words_now.insert(0, (WORDS[last.outcome.verdict], last.outcome.verdict))
    elif measuring or (live is not None and live.touch in TOUCHES):
        words_now = [(HOLD_STILL, "hint")]
    # the verdict is the news: where both have no room, the line above says that the probes may come up
    for high, said in ((high, said) for said in (words_now, words_now[:1]) for high in (height, FAR)):
        drawn = [(digits.draw(text, high, view.glyphs, narrow=True), style) for text, style in said]
        if drawn and sum(len(rows[0]) for rows, _ in drawn) + len(APART) * (len(drawn) - 1) <= cells:
            spans = [[Span(row, style) for row in rows] for rows, style in drawn]
            return [EMPTY, *(centred(line(*_apart(parts)), cells) for parts in zip(*spans, strict=True))]
    return []


def _apart(parts: Sequence[Span], gap: str = APART) -> list[Span]:
    return [one for number, part in enumerate(parts) for one in ((Span(gap), part) if number else (part,))]


class _Needed(msgspec.Struct, frozen=True):
    """What nobody can do the step without."""

    instruction: list[Line]
    places: list[Line]
    hint: list[Line]

    @property
    def lines(self) -> list[Line]:
        return [*self.instruction, *self.places, *self.hint]

    @property
    def height(self) -> int:
        return len(self.lines)


def _needed(view: View, hint: str, cells: int, tall: bool, rows: int) -> _Needed:
    """What to do, where each lead goes, and how to hold; how far a search has come gives way where rows are few."""
    now = view.page
    told = [*wrapped(now.title, cells, "title"), *wrapped(now.text, min(cells, 96))]
    places = _places(view, now.leads, cells)
    held = [centred(one, cells) for one in wrapped(hint, cells, "hint")]
    far = search_page.head(view, cells, 3 if tall else 2)
    return _Needed(told + far[: max(0, rows - len(told) - len(places) - len(held))], places, held)


def _crowded(view: View, needed: _Needed, more: Sequence[list[Line]], cells: int, rows: int) -> list[Line]:
    """What is needed, and of the rest what has room: what comes last in it is kept first."""
    left = rows - needed.height
    kept: list[list[Line]] = []
    for block in reversed(more):
        kept.insert(0, block if len(block) <= left else [])
        left -= len(kept[0])
    return [*needed.lines, *(one for block in kept for one in block), *verdicts(view, cells, left)][:rows]


def _small_figure(view: View, figure: LargeFigure, cells: int) -> list[Line]:
    """The figure on one line, where large digits have no room."""
    style = "digits"
    mark: list[Span | str] = []
    if figure.outcome is not None and look_of(figure.outcome) in ("pass", "fail", "undecided"):
        style = figure.outcome.verdict if figure.label == "LAST" else style
        mark = ["  ", verdict_block(view, figure.outcome)]
    asked: list[Span | str] = []
    if figure.gauge.bounds:
        asked = [Span("   limit ", "dim"), Span(view.say(figure.gauge.bounds), "wall")]
    text = view.say(figure.text) or view.glyphs.gap * 3
    return [clip(line(Span(f"{figure.label} ", "dim"), Span(text, style), *mark, *asked), cells, view.glyphs.ellipsis)]


def _aired(blocks: Sequence[list[Line]], spare: int) -> list[Line]:
    """The blocks one below the other, with empty lines between as long as there are any to spare."""
    present = [block for block in blocks if block]
    gaps = max(1, len(present) - 1)
    lines: list[Line] = []
    for number, block in enumerate(present):
        if number:
            # the first gaps get what cannot be shared out evenly
            lines += [EMPTY] * min(2, spare // gaps + (number <= spare % gaps))
        lines += block
    return lines


# The figure


def figure_of(view: View) -> LargeFigure:
    """What the large digits show: the reading as it is now, the last one with its verdict until the probes are lifted,
    and then the pins that are next."""
    state, live = view.state, view.live
    step = state.step
    assert step is not None
    if live is not None and live.wrong:
        return LargeFigure("NOW", "", limit_gauge(state, step))  # it reads something else: no figure of that is of use
    measuring = state.phase is Phase.MEASURING
    last = state.kept.history.outcome if state.kept.history is not None else None
    known = last if last is not None and last.reading is not None else None
    away = (live is not None and live.touch == "open") or by_eye_at(state) is not None
    unsaid = live is None or not live.touch  # nothing tells when the probes go away from what was read last
    away = away or (unsaid and (known is None or view.elapsed >= READ_ON))
    if away and not measuring and (places := _next_places(view, step)):
        return LargeFigure("NEXT", places, limit_gauge(state, step), known)
    if live is not None and (live.touch in TOUCHES or measuring or last is None or last.reading is None):
        return _live_figure(state, step, view)
    if last is not None and last.reading is not None and not measuring:
        return LargeFigure("LAST", _digits_of(last), _gauge_of(last), last)
    waiting = _seconds_left(view, step)
    if waiting is not None:
        return LargeFigure("TO GO", f"{waiting} s", limit_gauge(state, step))
    return LargeFigure("NOW", "", limit_gauge(state, step))


def _next_places(view: View, step: Step) -> str:
    """Where the leads go next, red first, to be read from afar: pins, the numbers of flags, what a breaker or a bar is
    called. Empty where relays place them, where a lead goes to nothing so short, and where both go to one thing."""
    state, leads = view.state, view.page.leads
    if state.setting is None or len(leads) != 2 or relays_for(state, step):
        return ""
    plant = state.setting.plant
    flags = [plant.flags.get(lead.name) for lead in leads]
    barred = {name for group in step.source.join for name in group} if isinstance(step.source, Measure) else set()
    if any(flags):
        # of a bar with many flags, and of what stays clipped on, the words above tell
        numbers = [flag.pin.partition("/")[2] for flag in flags if flag is not None and flag.name not in barred]
        text = NEXT_GAP.join(numbers) if len(numbers) == 2 else f"FLAG {numbers[0]}" if numbers else ""
    else:
        owners = [plant.terminals[lead.name].owner if lead.name in plant.terminals else "" for lead in leads]
        names = [lead.pin or owner for lead, owner in zip(leads, owners, strict=True)]
        alike = not any(lead.pin for lead in leads) and owners[0] == owners[1]
        text = "" if alike or not all(names) else NEXT_GAP.join(names).upper()
    return text if digits.can_draw(text) else ""


def _seconds_left(view: View, step: Step) -> int | None:
    """Seconds until a reading that takes its time counts; None for one that does not, or that is not under way."""
    whole = step.source.lasts
    if view.state.phase is not Phase.MEASURING or not whole:
        return None
    return max(0, round(whole - view.elapsed))


def _digits_of(outcome: Outcome) -> str:
    if outcome.figure.value is not None:
        return findings.reading(outcome).split(" ±")[0]
    return _over(outcome.figure.over, outcome.figure.unit)


def _over(over: str, unit: str) -> str:
    """Over range as a word: nothing joins the probes, or more than the range shows."""
    if not over:
        return ""
    if unit == "Ω":
        return "OPEN"
    return "- OVER" if over == "-" else "OVER"


def _gauge_of(outcome: Outcome) -> scale.Gauge:
    if outcome.bounds.source == NO_LIMIT:
        return scale.Gauge(
            outcome.figure.unit, value=outcome.figure.value, expanded=outcome.figure.expanded, over=outcome.figure.over
        )
    return scale.Gauge(
        outcome.figure.unit,
        outcome.bounds.low,
        outcome.bounds.high,
        outcome.figure.value,
        outcome.figure.expanded,
        outcome.figure.over,
    )


def limit_gauge(state: State, step: Step) -> scale.Gauge:
    """The scale of a step before anything is read."""
    unit = UNIT_OF[step.source.read] if step.reads else ""
    match step.source:
        case Zero(at_most=most):
            return scale.Gauge(unit, high=most.value)
        case Measure(limit=limit) if limit.source != NO_LIMIT and state.setting is not None:
            with contextlib.suppress(JudgeError):
                held = state.setting.limit(step, state.conditions, state.rules).limit
                return scale.Gauge(held.unit, held.lower, held.upper)
    return scale.Gauge(unit)


def _live_figure(state: State, step: Step, view: View) -> LargeFigure:
    """The live reading, judged as the real one would be, so that the band on the scale is the real one's too."""
    live = view.live
    assert live is not None
    if live.value is None:
        text = _over(live.over or "+", live.unit)
        gauge = limit_gauge(state, step)
        shown = scale.Gauge(gauge.unit or live.unit, gauge.low, gauge.high, over=live.over or "+")
        return LargeFigure("NOW", text, shown)
    text = engineering(live.value, live.unit, resolution=live.resolution)
    outcome = foreseen(state, step, live.role, live.unit, live.value, live.resolution)
    if outcome is None or outcome.figure.value is None:
        gauge = limit_gauge(state, step)
        return LargeFigure("NOW", text, scale.Gauge(live.unit, gauge.low, gauge.high, live.value))
    # the scale shows the corrected value: the one that will be held against the limit
    corrected = engineering(outcome.figure.value, live.unit, resolution=live.resolution)
    return LargeFigure("NOW", corrected, _gauge_of(outcome))


def foreseen(state: State, step: Step, role: str, unit: str, value: float, resolution: float | None) -> Outcome | None:
    """What a live reading would be judged to be if it were taken now; None where that cannot be said."""
    met = state.instruments.met.get(role)
    if met is None or state.setting is None:
        return None
    read = e.Read(
        number=state.number,
        instrument=met.instrument,
        function=step.source.function,
        unit=unit,
        value=value,
        resolution=resolution,
    )
    try:
        return state.setting.judge(step, read, state.taken + 1, state.conditions, state.rules, state.at)[0]
    except JudgeError:
        return None


def _figures(view: View, figure: LargeFigure, cells: int, room: int) -> list[Line]:
    """The large digits in the middle, what they are at the left, limit and doubt at the right; as large as goes into
    this many rows with something of what was read before below."""
    height = next(high for high, least in ((10, 22), (7, 10), (5, room)) if room >= least)
    drawn = _drawn(view, figure, cells - BESIDE, height)
    if room > 5 and len(drawn) < 5 and (large := _drawn(view, figure, cells, 5))[4:]:
        return _stacked(view, figure, large, cells, min(room, 7))
    block = max((width(row) for row in drawn), default=0)
    side = (cells - block) // 2 - 2
    left, right = _figure_left(view, figure, side), _figure_right(view, figure, side)
    style = "digits-last" if figure.label == "LAST" else "digits"
    if figure.label == "LAST" and figure.outcome is not None:
        style = figure.outcome.verdict if look_of(figure.outcome) in ("pass", "fail", "undecided") else style
    rows = []
    top = max(0, (height - 5) // 2)
    for number in range(height):
        a = left[number - top] if 0 <= number - top < len(left) else EMPTY
        b = right[number - top] if 0 <= number - top < len(right) else EMPTY
        middle = drawn[number] if number < len(drawn) else ""
        pad = max(0, (cells - block) // 2 - width(a))
        tail = max(0, cells - block - (cells - block) // 2 - width(b))
        rows.append((*a, Span(" " * pad), Span(middle.ljust(block), style), Span(" " * tail), *b))
    return rows


def _stacked(view: View, figure: LargeFigure, large: Sequence[str], cells: int, rows: int) -> list[Line]:
    """The large digits over the whole width, where that is small: what belongs to them stands above."""
    outcome, gauge = figure.outcome, figure.gauge
    style = "digits-last" if figure.label == "LAST" else "digits"
    left: list[Span | str] = [Span(figure.label, "dim")]
    if outcome is not None:
        if figure.label == "LAST" and look_of(outcome) in ("pass", "fail", "undecided"):
            style = outcome.verdict
        left += [" " if figure.label == "LAST" else Span("   LAST ", "dim"), verdict_block(view, outcome)]
    bounds = [Span(view.say(gauge.bounds), "wall")] if gauge.bounds else []
    doubt: list[Span] = []
    if gauge.expanded is not None and gauge.value is not None:
        doubt = [Span(view.say(f"± {engineering(gauge.expanded, gauge.unit, digits=2)}"), "band")]
    if rows < 7:
        bounds, doubt = _apart([*bounds, *doubt], "  "), []
    above = [sides(line(*left), line(*bounds), cells, view.glyphs.ellipsis)]
    above += [sides(EMPTY, line(*doubt), cells)] if doubt else []
    wide = max(width(row) for row in large)
    return [*above, *(centred((Span(row.ljust(wide), style),), cells) for row in large), EMPTY][:rows]


def _drawn(view: View, figure: LargeFigure, cells: int, height: int) -> list[str]:
    """The digits as rows, with fewer figures where the room is short; the bare text where it is shorter still.

    Args:
        view: what there is to show.
        figure: what they say.
        cells: width that they may have.
        height: rows of the digits, and of what stands beside them.
    """
    text = figure.text
    if not text:
        return []
    ways = [*((text, high) for high in digits.HEIGHTS if high <= height), (text.replace(NEXT_GAP, "  "), 5)]
    value, unit = figure.gauge.value, figure.gauge.unit
    if value is not None and digits.can_draw(text):
        ways += [(engineering(value, unit, digits=4), 5), (engineering(value, unit, digits=3), 5)]
    for way, high in ways:
        if digits.can_draw(way) and digits.drawn_width(way, high) <= cells:
            rows = digits.draw(way, high, view.glyphs)
            return [""] * ((height - high + 1) // 2) + rows
    return ["", "", cut(view.say(text), max(1, cells), view.glyphs.ellipsis)]


def _figure_left(view: View, figure: LargeFigure, cells: int) -> list[Line]:
    if cells < 8:
        return []
    lines: list[Line] = [(Span(figure.label, "dim"),)]
    outcome = figure.outcome
    if outcome is None:
        touch = view.live.touch if view.live is not None else ""
        lines.append((Span(touch, "dim"),))
        return lines
    name = (Span(cut(view.say(findings.name_of(view.state, outcome)), cells, view.glyphs.ellipsis), "strong"),)
    if figure.label == "NEXT":
        return [*lines, EMPTY, (Span("LAST", "dim"),), name, (verdict_block(view, outcome),)]
    return [*lines, name, EMPTY, (verdict_block(view, outcome),)]


def verdict_block(view: View, outcome: Outcome) -> Span:
    """A verdict as a mark and a word, set off so that it is seen from afar."""
    look = look_of(outcome)
    word = f" {view.glyphs.mark(look)} {WORDS[look]} "
    return Span(word, f"{look}-block" if look not in ("skipped", "done", READ) else look)


def _figure_right(view: View, figure: LargeFigure, cells: int) -> list[Line]:
    if cells < 8:
        return []
    gauge = figure.gauge
    lines: list[Line] = []
    if gauge.bounds:
        bounds = [view.say(gauge.bounds)]
        if width(bounds[0]) > cells:
            *first, number, unit = bounds[0].split(" ")
            bounds = [" ".join(first), f"{number} {unit}"]
        lines += [(Span("limit", "dim"),), *((Span(part, "wall"),) for part in bounds)]
    if gauge.expanded is not None and gauge.value is not None:
        lines.append((Span(view.say(f"± {engineering(gauge.expanded, gauge.unit, digits=2)}"), "band"),))
    return [clip(one, cells, view.glyphs.ellipsis) for one in lines]


# The wire


def wire(view: View, step: Step, cells: int) -> Line:
    """The wire between the two leads; its shape says whether they touch, its middle says which wire it is."""
    glyphs = view.glyphs
    label = view.say(_wire_label(view.state, step))
    while ", " in label and width(label) + 2 > cells - WIRE:
        label = label.rpartition(", ")[0]  # what is said first of a wire matters most
    text = f" {label} " if label else ""
    text = cut(text, max(0, cells - WIRE), glyphs.ellipsis)
    each = (cells - 4 - width(text)) // 2
    other = cells - 4 - width(text) - each
    closed = _closed(view)
    styles = _wire_styles(view.state, step)
    return joined(
        (
            Span(glyphs.red, "red"),
            Span(" "),
            *_half(each, closed, styles, view, forward=True),
            Span(text, "strong"),
            *_half(other, closed, styles, view, forward=False),
            Span(" "),
            Span(glyphs.black, "black"),
        )
    )


def _closed(view: View) -> float:
    """0 to 1: how much of the wire is drawn solid."""
    if view.state.phase is Phase.MEASURING:
        return 1.0
    live = view.live
    if live is None or live.touch in ("open", "lift", ""):
        return 0.0
    return 1.0 if live.touch == "settled" else max(0.08, live.settled)


def _half(cells: int, closed: float, styles: tuple[str, str], view: View, *, forward: bool) -> list[Span]:
    solid = round(cells * closed)
    own, tracer = styles
    spans = [
        Span(view.glyphs.wire, tracer if place % 6 == 5 else own) if place < solid else Span(view.glyphs.gap, "scale")
        for place in range(cells)
    ]
    return spans if forward else spans[::-1]


def _wire_styles(state: State, step: Step) -> tuple[str, str]:
    conductor = words.conductor_of(state, step)
    if conductor is None or not conductor.colour:
        return "accent", "accent"
    own, _, tracer = conductor.colour.replace("-", "/").partition("/")
    return f"wire:{own}", f"wire:{tracer or own}"


def _wire_label(state: State, step: Step) -> str:
    source = step.source
    if isinstance(source, Zero):
        return "tip to tip"
    if isinstance(source, Prove) and state.setting is not None:
        if source.against == "reference":
            known = state.setting.bench.reference_for(source.read)
            return f"reference {known.name}, {known.ohms}" if known is not None else "reference"
        return source.against.replace("-", " ")
    conductor = words.conductor_of(state, step)
    if conductor is not None:
        return f"{conductor.name}  {words.wire_words(conductor)}"
    # a search's title says it already, and flags have long names
    if "/" in step.subject:
        return ""
    # as the leads lie, red first
    two = step.subject.split("~")
    return " to ".join(step.probes if step.probes and sorted(step.probes) == sorted(two) else two)


# Places and faces


def _places(view: View, leads: Sequence[Lead], cells: int, *, spots: bool = False) -> list[Line]:
    """For each lead its place, whole: side by side, or one below the other where that takes fewer lines.

    Args:
        view: what there is to show.
        leads: red first.
        cells: width of both together.
        spots: whether there is room for what each place looks like, which pin or which wire.
    """
    if not leads:
        return []
    half = cells // 2 - 1
    columns = [_place(view, lead, half, spots, at_right=bool(number)) for number, lead in enumerate(leads)]
    below = [one for lead in leads for one in _place(view, lead, cells, spots, at_right=False)]
    if len(columns) < 2 or len(below) < max(len(one) for one in columns):
        return below
    return beside(columns[0], columns[1], cells)


def _place(view: View, lead: Lead, cells: int, spots: bool, *, at_right: bool) -> list[Line]:
    """One lead's colour and place, in as many lines as they take."""
    sides = words.seen_from(view.state, mirrored=view.mirrored)
    side = f"({sides[lead.connector]} side)" if lead.connector else ""
    tag, label, seen = Span(f" {lead.colour.upper()} ", lead.colour), Span(lead.label, "strong"), Span(side, "dim")
    name = _row([seen, label, tag] if at_right else [tag, label, seen])
    lines = [name]
    if width(name) > cells:
        beside_tag = [seen, tag] if at_right else [tag, seen]
        lines = [_row(beside_tag), *wrapped(lead.label, cells, "strong")]
    last = lead.spot or lead.wire
    lines += wrapped(lead.where, cells) if lead.where else []
    if spots and last:
        lines += wrapped(last, cells, "dim")
    return lines


def _row(parts: Sequence[Span]) -> Line:
    """Parts that are there, with a blank between."""
    spans: list[Span] = []
    for part in parts:
        if part.text:
            spans += [Span(" "), part] if spans else [part]
    return tuple(spans)


def _faces(view: View, leads: Sequence[Lead], cells: int, rows: int) -> list[Line]:
    """The face of each connector that a lead goes to, below its lead; one face where both go to one connector."""
    state = view.state
    if state.setting is None or rows < 3:
        return []
    plant = state.setting.plant
    shown: dict[str, dict[str, str]] = {}
    for lead in leads:
        if lead.connector:
            shown.setdefault(lead.connector, {})[lead.pin] = lead.colour
    if not shown:
        return []
    for name, colour in _barred(state).items():
        terminal = plant.terminals.get(name)
        if terminal is not None and terminal.owner in shown:
            shown[terminal.owner].setdefault(terminal.pin, colour)
    alone = len(shown) == 1
    drawn: dict[str, list[Line]] = {}
    for name, marks in shown.items():
        layout = plant.connectors[name].layout
        offsets = tuple(layout.stagger * (number % 2) for number in range(len(layout.grid)))
        drawing = face.Face(layout.grid, marks, _pin_verdicts(state, name), offsets if layout.stagger else ())
        drawing = drawing.mirrored() if view.mirrored else drawing
        drawn[name] = face.draw(drawing, cells if alone else cells // 2 - 1, view.glyphs, rows=rows - 2)
    if alone:
        (lines,) = drawn.values()
        if len({lead.connector for lead in leads}) == 1:
            return [centred(one, cells) for one in _block(lines)]
        at_left = leads[0].connector in drawn
        return beside(lines if at_left else [], [] if at_left else lines, cells, ragged=True)
    return beside(drawn[leads[0].connector], drawn[leads[1].connector], cells, ragged=True)


def _barred(state: State) -> dict[str, str]:
    """Places that are held on a bar with one that a lead goes to, each with that lead's colour."""
    source = state.step.source if state.step is not None else None
    if source is None or source.probes is None:
        return {}
    colours = dict(zip(source.probes, ("red", "black"), strict=True))
    return {
        name: colours[first]
        for group in source.join
        for first in (next((one for one in group if one in colours), ""),)
        if first
        for name in group
    }


def _block(lines: list[Line]) -> list[Line]:
    """The lines made equally wide, so that the middle of all is the same."""
    size = max(width(one) for one in lines)
    return [(*one, Span(" " * (size - width(one)))) for one in lines]


def _pin_verdicts(state: State, connector: str) -> dict[str, str]:
    """Pin to the verdict that it has from the same entry of the sequence as the step under way."""
    setting, step = state.setting, state.step
    assert setting is not None and step is not None
    entry = step.key.partition(":")[0]
    found: dict[str, str] = {}
    for index, outcome in state.kept.latest.items():
        other = setting.plan.steps[index]
        if other.kind != "measure" or other.key.partition(":")[0] != entry:
            continue
        for name in other.probes or ():
            owner, _, pin = name.rpartition(".")
            if owner == connector and _RANK.get(outcome.verdict, 0) > _RANK.get(found.get(pin, ""), -1):
                found[pin] = outcome.verdict
    return found


_RANK: Final = {"pass": 1, "skipped": 2, "void": 3, "undecided": 4, "fail": 5}
"""A pin that takes part in several readings shows the worst of them."""


# The newest verdicts


def verdicts(view: View, cells: int, rows: int) -> list[Line]:
    """The last verdicts, newest first: one line with as many as fit, or a line with its sentence for each."""
    if rows < 1:
        return []
    known = []
    for outcome in findings.telling(view.state):
        known.append(outcome)
        if len(known) >= max(rows, 12):
            break
    if known and known[0].news:
        return _whole_sentence(view, known[0], cells, rows)
    if rows > 2:
        return [_sentence(view, outcome, cells, column=10) for outcome in known[:rows]]
    if known and look_of(known[0]) not in ("pass", "skipped", READ):
        return _whole_sentence(view, known[0], cells, rows)
    return [_newest(view, known, cells)]


def _sentence(view: View, outcome: Outcome, cells: int, column: int = 0) -> Line:
    """One outcome with its sentence; with its time, and the verdicts' words in a column, where one is asked for."""
    look = look_of(outcome)
    word = WORDS[look]
    text = view.say(findings.verdict_line(view.state, outcome)).removeprefix(f"{word} ")
    when = f"{words.local_time(outcome.circumstances.at, view.now.tzinfo):5} " if column else ""
    head = Span(f"{view.glyphs.mark(look)} {word:{column}} ", look)
    return clip(line(Span(when, "dim"), head, text), cells, view.glyphs.ellipsis)


def _whole_sentence(view: View, outcome: Outcome, cells: int, rows: int) -> list[Line]:
    """An outcome that someone must do something about, in as many lines as there are."""
    word = WORDS[outcome.verdict]
    head = f"{view.glyphs.mark(outcome.verdict)} {word} "
    text = view.say(findings.verdict_line(view.state, outcome)).removeprefix(f"{word} ")
    lines = wrapped(f"{head}{text}", cells, "", rows, view.glyphs.ellipsis)
    first = lines[0][0].text
    return [(Span(head, outcome.verdict), Span(first[len(head) :])), *lines[1:]]


def _newest(view: View, known: Sequence[Outcome], cells: int) -> Line:
    """The newest outcomes, as many as one line takes."""
    spans: list[Span] = []
    used = 0
    for outcome in known:
        look = look_of(outcome)
        mark = f"{view.glyphs.mark(look)} {WORDS[look]}"
        name = view.say(findings.name_of(view.state, outcome))
        value = view.say(findings.reading(outcome).split(" ±")[0])
        text = f" {name}{f' {value}' if value else ''}"
        size = width(mark) + width(text) + (3 if spans else 0)
        if used + size > cells:
            break
        spans += [Span("   ")] if spans else []
        spans += [Span(mark, look), Span(text, "dim" if spans else "")]
        used += size
    return line(*spans)
