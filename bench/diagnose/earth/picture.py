"""A picture of the earthing network: SVG for paper and screen, and a drawing in text for terminals.

Both show the network as a tree from the single-point connection: one row for each point, set in by the
number of bonds on its way. Bonds that close a loop, and second paths, run in lanes of their own on the
right, so that nothing is crossed. Nothing is told by colour alone: a second path is dashed and carries its
label, the SPC has a thick frame, an outside point a double one, a return a cut-off corner, a poor bond
its word.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from xml.sax.saxutils import escape

import msgspec

from bench.diagnose.earth.lifts import StrayPath
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.sentences import ohms_words

_ROW, _HIGH, _INDENT, _MARGIN = 30, 22, 46, 16
_LETTER = 6.6  # mean width of a letter at this size, measured on common sans-serif faces
_LANE, _LABEL_LANE = 14, 138
_LONGEST = 46  # letters of a title in a box


class Row(msgspec.Struct, frozen=True):
    """One point of the drawing: its layer (bonds from the SPC), the bond it hangs by, what hangs from it.

    ``last`` says whether it is the last of those that hang from the same point.
    """

    point: Point
    layer: int
    bond: Bond | None
    parent: int | None
    last: bool


class Layout(msgspec.Struct, frozen=True):
    """Rows from the top, the row of each point by name, and the bonds that close a loop."""

    rows: tuple[Row, ...]
    of: Mapping[str, int]
    closing: tuple[Bond, ...]


def layout(network: BondNetwork) -> Layout:
    """The network as a tree along the fewest bonds from the SPC; points it does not reach start their own."""
    hangs: dict[str, list[tuple[str, Bond]]] = {}
    seen: set[str] = set()
    used: set[str] = set()
    roots = []
    for start in [network.spc, *(point.name for point in network.points)]:
        if start in seen:
            continue
        seen.add(start)
        roots.append(start)
        queue = [start]
        for here in queue:
            for place, by_bond in network.neighbours[network.index[here]]:
                there, bond = network.points[place].name, network.bonds[by_bond]
                if there not in seen:
                    seen.add(there)
                    used.add(bond.name)
                    hangs.setdefault(here, []).append((there, bond))
                    queue.append(there)
    rows: list[Row] = []
    for root in roots:
        todo: list[tuple[str, int, Bond | None, int | None, bool]] = [(root, 0, None, None, True)]
        while todo:
            name, layer, by, parent, last = todo.pop()
            number = len(rows)
            rows.append(Row(network.points[network.index[name]], layer, by, parent, last))
            below = hangs.get(name, [])
            for place in reversed(range(len(below))):
                child, bond = below[place]
                todo.append((child, layer + 1, bond, number, place == len(below) - 1))
    closing = tuple(bond for bond in network.bonds if bond.name not in used)
    return Layout(tuple(rows), {row.point.name: n for n, row in enumerate(rows)}, closing)


def svg(
    network: BondNetwork,
    strays: Iterable[StrayPath] = (),
    poor: Iterable[str] = (),
    title: str = "Earthing network",
) -> str:
    """An SVG document of the network, to stand alone or inside a page.

    Args:
        strays: second paths, suspected or proven, with their likely ohms.
        poor: names of bonds that are poor or open.
        title: for readers who cannot see the picture.

    Raises:
        DiagnoseError: a second path or a poor bond names something that is not there.
    """
    placed = layout(network)
    bad = {network.bonds[network.bond_place(name)].name for name in poor}
    found = list(strays)
    for stray in found:
        network.place(stray.a), network.place(stray.b)
    right = [_right(row, row.bond is not None and row.bond.name in bad) for row in placed.rows]
    first = max(right) + 2 * _LANE
    drawn = [_hanging(placed, n) for n in range(len(placed.rows))]
    lane = first
    for bond in placed.closing:
        words = f"{bond.name}, {ohms_words(bond.ohms)} by design" + (", poor" if bond.name in bad else "")
        ends = sorted((placed.of[bond.a], placed.of[bond.b]))
        line = _bracket(ends, right, lane)
        drawn.append(f'<path d="{line}" stroke-width="1.5"><title>{escape(words)}</title></path>')
        if bond.name in bad:
            drawn.append(_label(lane, (_middle(ends[0]) + _middle(ends[1])) / 2, "poor bond"))
        lane += _LANE
    lane += _LABEL_LANE / 2 - _LANE
    for number, row in enumerate(placed.rows):
        poor_here = row.bond is not None and row.bond.name in bad
        drawn.append(_box(placed, number, row.point.name == network.spc, poor_here))
    for stray in found:
        ends = sorted((placed.of[stray.a], placed.of[stray.b]))
        words = f"second path {ohms_words(stray.ohms)}"
        full = f"{network.label(stray.a)} to {network.label(stray.b)}: {words}"
        drawn.append(
            f'<path class="second-path" d="{_bracket(ends, right, lane)}" stroke="#b3261e" stroke-width="2.5"'
            f' stroke-dasharray="7 5"><title>{escape(full)}</title></path>'
        )
        drawn.append(_label(lane, (_middle(ends[0]) + _middle(ends[1])) / 2, words))
        lane += _LABEL_LANE
    width = lane + (_MARGIN if not found else _MARGIN - _LABEL_LANE / 2)
    height = 2 * _MARGIN + _ROW * len(placed.rows)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img"'
        f' font-family="sans-serif" font-size="12" fill="none" stroke="#222">'
    )
    return "\n".join([head, f"<title>{escape(title)}</title>", *drawn, "</svg>", ""])


def _middle(row: int) -> float:
    return _MARGIN + row * _ROW + _ROW / 2


def _left(row: Row) -> float:
    return _MARGIN + row.layer * _INDENT


def _words(point: Point) -> str:
    return point.label if len(point.label) <= _LONGEST else point.label[: _LONGEST - 1] + "…"


def _box_width(row: Row) -> float:
    return len(_words(row.point)) * _LETTER + 18


def _beside(row: Row, poor: bool) -> str:
    if row.bond is None:
        return ""
    return ohms_words(row.bond.ohms) + (", poor bond" if poor else "")


def _right(row: Row, poor: bool) -> float:
    """Where the row's box and the words beside it end."""
    return _left(row) + _box_width(row) + 8 + len(_beside(row, poor)) * _LETTER


def _hanging(placed: Layout, number: int) -> str:
    row = placed.rows[number]
    if row.parent is None or row.bond is None:
        return ""
    x = _left(placed.rows[row.parent]) + _INDENT / 2
    words = f"{row.bond.name}, {ohms_words(row.bond.ohms)} by design"
    line = f"M{x:.1f} {_middle(row.parent) + _HIGH / 2:.1f}V{_middle(number):.1f}H{_left(row):.1f}"
    return f'<path d="{line}" stroke-width="1.5"><title>{escape(words)}</title></path>'


def _bracket(ends: list[int], right: list[float], lane: float) -> str:
    a, b = ends
    return f"M{right[a] + 4:.1f} {_middle(a):.1f}H{lane:.1f}V{_middle(b):.1f}H{right[b] + 4:.1f}"


def _label(x: float, y: float, words: str) -> str:
    wide = len(words) * _LETTER + 10
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y - 10:.1f}" width="{wide:.1f}" height="20" rx="3" fill="#fff"'
        f' stroke="#b3261e"/><text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="middle" fill="#111"'
        f' stroke="none">{escape(words)}</text>'
    )


def _box(placed: Layout, number: int, is_spc: bool, poor: bool) -> str:
    row = placed.rows[number]
    point = row.point
    x, y, wide = _left(row), _middle(number) - _HIGH / 2, _box_width(row)
    outline = f'fill="#fff" stroke-width="{3 if is_spc else 1}"'
    if point.is_return:
        shape = f'<path d="M{x + 8:.1f} {y:.1f}h{wide - 8:.1f}v{_HIGH}h-{wide:.1f}v-{_HIGH - 8}z" {outline}/>'
    else:
        shape = f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{_HIGH}" rx="4" {outline}/>'
    if point.outside:
        shape += f'<rect x="{x + 3:.1f}" y="{y + 3:.1f}" width="{wide - 6:.1f}" height="{_HIGH - 6}" rx="2"/>'
    what = "single-point connection" if is_spc else ("outside" if point.outside else "inside")
    return (
        f"<g>{shape}<title>{escape(point.label)} ({what})</title>"
        f'<g fill="#111" stroke="none"><text x="{x + wide / 2:.1f}" y="{y + 15:.1f}" text-anchor="middle">'
        f"{escape(_words(point))}</text>"
        f'<text x="{x + wide + 6:.1f}" y="{y + 15:.1f}">{escape(_beside(row, poor))}</text></g></g>'
    )


def text(
    network: BondNetwork, strays: Iterable[StrayPath] = (), poor: Iterable[str] = (), off: Iterable[str] = ()
) -> list[str]:
    """The network as lines of text, one point each, hanging from the single-point connection.

    Second paths are numbered; a point that one touches carries ``<1>``. Bonds that close a loop follow. A bond that
    is ``off`` at the moment says so.

    Raises:
        DiagnoseError: a second path or a poor bond names something that is not there.
    """
    placed = layout(network)
    bad = {network.bonds[network.bond_place(name)].name for name in poor}
    lifted = set(off)
    found = list(strays)
    touched: dict[str, str] = {}
    for number, stray in enumerate(found, 1):
        for name in (stray.a, stray.b):
            network.place(name)
            touched[name] = touched.get(name, "") + f" <{number}>"
    lines: list[str] = []
    leads: list[str] = []  # what stands before anything that hangs from the row
    for row in placed.rows:
        above = "" if row.parent is None else leads[row.parent]
        branch = "" if row.parent is None else ("└─ " if row.last else "├─ ")
        leads.append("" if row.parent is None else above + ("   " if row.last else "│  "))
        marks = " (single-point connection)" if row.point.name == network.spc else ""
        marks += " (outside)" if row.point.outside else ""
        marks += " (return)" if row.point.is_return else ""
        if row.bond is not None:
            marks += f"  {ohms_words(row.bond.ohms)}{' POOR' if row.bond.name in bad else ''}"
            marks += " OFF" if row.bond.name in lifted else ""
        lines.append(f"{above}{branch}{row.point.label}{marks}{touched.get(row.point.name, '')}")
    for bond in placed.closing:
        ends = f"{network.label(bond.a)} to {network.label(bond.b)}, {ohms_words(bond.ohms)}"
        lines.append(f"also bond {bond.name}: {ends}{' POOR' if bond.name in bad else ''}")
    for number, stray in enumerate(found, 1):
        ends = f"{network.label(stray.a)} - - - {network.label(stray.b)}"
        lines.append(f"<{number}> second path: {ends}, about {ohms_words(stray.ohms)}")
    return lines
