"""From a moment to the lines of the screen. Pure: the same moment always looks the same.

Every page has a head line with where the walk is, a rule that fills as the walk goes on, its body, one line for notes,
and one line of keys.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bench.screens.program.cells import EMPTY, Line, Span, line, sides, width, wrapped
from bench.screens.program.keys import Key, action_list, key_line, one_row
from bench.screens.program.picture import Picture, filled, framed, inner, note_line
from bench.screens.walk import earth_page, pages, stage_page, voltage_words
from bench.screens.walk import reading_page as walking
from bench.screens.walk import sayings as words
from bench.screens.walk.keys import actions, keys
from bench.screens.walk.scrolled import Body
from bench.screens.walk.view import View
from bench.walk.left_on import live_words

LEAST_CELLS, LEAST_ROWS = 40, 14
"""Below this a page says that it is too small, and what is on."""

LEAST_NAME: Final = 6
"""Cells from which on the beginning of a heading's name is worth showing."""


def paint(view: View, cells: int, rows: int, known: Sequence[Key] | None = None) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``.

    Args:
        view: the moment.
        cells: width.
        rows: height.
        known: its keys, where they are worked out already.
    """
    within = inner(cells)
    if cells < LEAST_CELLS or rows < LEAST_ROWS:
        said = filled([*_live(view, within), *_too_small(cells, rows)], rows)
        return Picture(framed(said, cells, view.glyphs))
    head = [_head(view, within), _rule(view, within), *_live(view, within)]
    foot = _foot(view, keys(view) if known is None else known, within)
    room = max(0, rows - len(head) - len(foot))
    middle, furthest = body(view, within, room)
    return Picture(framed([*head, *filled(middle, room), *foot][:rows], cells, view.glyphs), furthest)


def _too_small(cells: int, rows: int) -> list[Line]:
    """What is said where an instruction would be cut into pieces that nobody can act on."""
    least = f"{LEAST_CELLS} by {LEAST_ROWS}"
    text = f"Too small: {cells} by {rows}. Make this window at least {least}, or its letters smaller."
    return wrapped(text, max(1, cells - 1), "alarm")


def seen(view: View, cells: int, rows: int) -> Body:
    """The same without notes and keys: what was to be seen, for those who look back at it."""
    head = [_head(view, cells), _rule(view, cells), *_live(view, cells)]
    middle, furthest = body(view, cells, max(0, rows - len(head)))
    return Body([*head, *middle][:rows], furthest)


def body(view: View, cells: int, rows: int) -> Body:
    """What stands between head and notes."""
    if view.kind == "actions":
        return Body(action_list(view, actions(view), cells, rows))
    if view.kind in ("energise", "stages"):
        return stage_page.body(view, cells, rows)
    if view.kind == "earth":
        return earth_page.body(view, cells, rows)
    if view.kind == "beep":
        return walking.beep_body(view, cells, rows)
    if view.kind in ("place", "measure") or (view.kind == "ask" and view.page.leads):
        return walking.body(view, cells, rows)
    return pages.body(view, cells, rows)


def _head(view: View, cells: int) -> Line:
    state = view.state
    clock = view.now.strftime("%H:%M")
    where = words.progress(state)
    if state.setting is None or where is None:
        return sides(line(Span("Proveout", "accent")), line(Span(clock, "dim")), cells, view.glyphs.ellipsis)
    plan = state.setting.plan
    right: list[Span | str] = []
    if where.section and not state.finished:
        right.append(Span(f"{where.step} of {where.total}", "strong"))
        left = words.left(view.left)
        right += [Span(f", {left}", "dim")] if left else []
        right.append("  ")
    right.append(Span(clock, "dim"))
    tag: list[Span | str] = [Span(" SIMULATED ", "tag"), " "] if state.setting.bench.simulated else []
    if len(right) > 2 and width(line(*tag)) + 1 + width(line(*right)) > cells:
        del right[1]  # how long it takes matters less than that it is a simulation
    name, section = view.say(plan.sequence.sequence), view.say(where.section)
    whole = line(*tag, Span(name, "accent"))
    if section and section != name:
        both = line(*whole, Span(f" {view.glyphs.more_right} {section}", "dim"))
        # the heading says more about where one is than the sequence's name
        alone = width(both) + 1 + width(line(*right)) > cells
        whole = line(*tag, Span(section, "accent")) if alone else both
    room = cells - width(line(*right)) - 1
    if width(whole) > room < width(line(*tag)) + LEAST_NAME:
        whole = line(*tag)
    return sides(whole, line(*right), cells, view.glyphs.ellipsis)


def _rule(view: View, cells: int) -> Line:
    where = words.progress(view.state)
    done = round(cells * min(1.0, where.share)) if where is not None else 0
    return (Span(view.glyphs.wire * done, "rule-done"), Span(view.glyphs.rule * (cells - done), "rule"))


def _live(view: View, cells: int) -> list[Line]:
    """What is on, at how many volts, a test voltage too: on every page, whatever else it shows."""
    on = live_words(view.state)
    told = [(f"ON: {'; '.join(on)}", "word")] if on else []
    if view.voltage is not None:
        told.append((voltage_words.heading(view.voltage), "pass" if view.voltage.stage == "gone" else "word"))
    found = []
    for text, style in told:
        # never cut: what does not fit into one line goes on in the next
        for one in wrapped(view.say(text), max(1, cells - 2), style):
            found.append((Span(" ", style), *one, Span(" ", style)))
    return found


def _foot(view: View, known: Sequence[Key], cells: int) -> list[Line]:
    """Two lines: what must be said now and the keys; or the keys alone, where nothing must be said."""
    hidden = ("theme", "sound", "actions", "copy", *(() if view.watching else ("seat",)))
    wanted = [one for one in known if one.does not in hidden]
    note = _note(view, cells)
    if note:
        return [note, one_row(wanted, cells, view.glyphs.ellipsis)]
    rows: list[list[Key]] = [[], []]
    for one in wanted:
        row = rows[0] if not rows[1] and width(key_line([*rows[0], one])) <= cells else rows[1]
        row.append(one)
    if not rows[1]:
        return [EMPTY, key_line(rows[0])]
    return [key_line(rows[0]), one_row(rows[1], cells, view.glyphs.ellipsis)]


def _note(view: View, cells: int) -> Line:
    """What must be said now: a note first, then who holds the seat."""
    if view.note:
        return note_line(view.note, cells, view.glyphs)
    late = words.overdue(view.state)
    if late and view.kind in ("place", "measure"):
        return note_line(view.say(late), cells, view.glyphs)
    seat = view.say(words.seat_words(view.state, view.you))
    if seat and not view.state.finished and view.kind != "lost":
        return line(Span(f" {seat}; k takes it ", "watch"))
    return EMPTY
