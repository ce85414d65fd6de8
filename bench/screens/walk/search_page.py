"""Pages of a search: cards that say what to clip where, laid out in columns, and how far the search has come."""

from __future__ import annotations

from bench.diagnose.identify.rig_cards import EndCard, Row, cards_of
from bench.quantity import engineering
from bench.screens.program.cells import EMPTY, Line, Span, line, width, wrapped
from bench.screens.walk import sayings as words
from bench.screens.walk.view import View
from bench.walk.state import State


def has_cards(state: State) -> bool:
    """Whether the act that is asked for clips something on, or frees everything."""
    step = state.step
    return step is not None and step.source.rig is not None


def head(view: View, cells: int, most: int) -> list[Line]:
    """The same as lines, dim, below the title of a reading."""
    told = words.so_far(view.state)
    if not told:
        return []
    return wrapped(view.say(": ".join(told)), min(cells, 110), "dim", most, view.glyphs.ellipsis)


def cards(view: View, cells: int) -> list[Line]:
    """The act's page: what to take off, and a card for each end, in as many columns as there is room for."""
    step, setting = view.state.step, view.state.setting
    assert step is not None and setting is not None and step.source.rig is not None
    found = cards_of(setting.plant, step.source.rig)
    titles = {card.title for card in found}
    intro = [text for text in view.page.text.splitlines() if not text.startswith("  ") and text not in titles]
    lines: list[Line] = [*wrapped(view.page.title, cells, "title"), *head(view, cells, 2), EMPTY]
    for text in intro:
        lines += wrapped(text, min(cells, 96))
    for card in found:
        lines += [EMPTY, *_card(view, card, cells)]
    return lines


def _card(view: View, card: EndCard, cells: int) -> list[Line]:
    groups: dict[str, list[str]] = {}
    for row in card.rows:
        groups.setdefault(_heading(row), []).append(_cell(row))
    lines: list[Line] = [line(Span(f" {view.say(card.title)} ", "word"))]
    for heading, texts in groups.items():
        lines.append(line(Span(view.say(heading), "dim")))
        lines += _columns([view.say(text) for text in texts], cells)
    return lines


def _heading(row: Row) -> str:
    if row.ohms is None:
        return "join, each line on a clip or bar of its own"
    return f"straight to {row.places[1]}" if row.ohms == 0 else f"tag from each to {row.places[1]}"


def _cell(row: Row) -> str:
    if row.ohms is None:
        return " + ".join(row.places)
    return row.places[0] if row.ohms == 0 else f"{row.places[0]}  {engineering(row.ohms, 'Ω', digits=4)}"


def _columns(texts: list[str], cells: int) -> list[Line]:
    """Texts below each other, then beside each other: a column is read down, as hands go along the pins."""
    size = max(width(text) for text in texts) + 3
    across = max(1, min(len(texts), (cells - 2) // size))
    down = -(-len(texts) // across)
    rows: list[Line] = []
    for at in range(down):
        parts = [texts[column * down + at] for column in range(across) if column * down + at < len(texts)]
        padded = [f"{text}{' ' * (size - width(text))}" for text in parts]
        rows.append(line("  ", Span("".join(padded).rstrip(), "strong")))
    return rows
