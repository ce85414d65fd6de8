"""Small plants of any make: bays, shelves, cards, two feeds of either sign, a signal cable, an earthing network."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st


@st.composite
def plant_texts(draw: Any) -> str:
    """The text of a plant file that is sound, with names and numbers of every kind."""
    sign = draw(st.sampled_from(["-", ""]))
    nominal = draw(st.sampled_from([24, 48, 60]))
    shelves = draw(st.integers(1, 3))
    receivers = [draw(st.integers(0, 3)) for _ in range(shelves)]
    both = [draw(st.booleans()) for _ in range(shelves)]
    bay = draw(st.sampled_from(["2", "R", "yes", "n0"]))
    pairs = draw(st.integers(2, 5))
    far = draw(st.sampled_from(["J2", "unknown", "cut"]))
    length = draw(st.floats(1, 40).map(lambda metres: round(metres, 2)))
    earthed = draw(st.booleans())
    kind = draw(st.sampled_from(["battery", "rectifier", "bench"]))
    allowed = sorted((1.2 * nominal, 0.84 * nominal))
    bounds = [f"{sign}{value:g} V" for value in (reversed(allowed) if sign else allowed)]
    lines = [
        f"plant: random-{pairs}",
        "ambient: 20 degC",
        "connector-types:",
        f"  - {{name: R, pins: {2 * pairs}, rows: 2, view: wiring, pairs: halves}}",
        "cable-types:",
        "  - {name: PW, colours: [BU, BK], size: 6 mm2, class: 5}",
        f"  - {{name: SIG, pairs: {pairs}, size: AWG 24, capacitance: 50 nF/km}}",
        "card-types:",
        "  - {name: CV, title: shelf converter, idle: 0.06 A, spread: 20 %, input-capacitance: 1000 uF,"
        f" works-from: {0.8 * nominal:g} V, works-to: {1.3 * nominal:g} V}}",
        "  - {name: RX, title: receiver, idle: 0.3 A, spread: 8 %, input-capacitance: 470 uF,"
        f" works-from: {0.8 * nominal:g} V, works-to: {1.3 * nominal:g} V}}",
        "bays:",
        f'  - name: "{bay}"',
        "    shelves:",
    ]
    names = [f"{bay}{'ABC'[number]}" for number in range(shelves)]
    for name, count, two in zip(names, receivers, both, strict=True):
        cards = "1: CV" + (f", 2-{count + 1}: RX" if count > 1 else ", 2: RX" if count else "")
        holds = ", connectors: [{name: J1, type: R}, {name: J2, type: R}]" if name == names[0] else ""
        lines.append(
            f'      - {{name: "{name}", slots: 6, cards: {{{cards}}}, inlets: [A{", B" if two else ""}]{holds}}}'
        )
    feeds = ["A", "B"] if any(both) else ["A"]
    lines.append("feeds:")
    for feed in feeds:
        lines.append(f"  - {{name: {feed}, nominal: {sign}{nominal} V, allowed: [{', '.join(bounds)}], return: BR}}")
    lines.append("supplies:")
    for feed in feeds:
        lines.append(
            f"  - {{name: G{feed}, feed: {feed}, kind: {kind}, voltage: {sign}{1.1 * nominal:g} V, resistance: 8 mohm}}"
        )
    lines.append("busbars:")
    lines += [f'  - {{name: B{feed}, feed: {feed}, at: "{bay}"}}' for feed in feeds]
    lines.append(f'  - {{name: BR, pole: return, at: "{bay}"}}')
    lines.append("breakers:")
    cables = ["cables:"]
    back = 0
    for feed in feeds:
        lines.append(f'  - {{name: F{feed}, feed: {feed}, rating: 32 A, at: "{bay}", load-on: B{feed}.1}}')
        back += 1
        cables.append(
            f"  - {{name: WG{feed}, type: PW, length: 9 m, from: [G{feed}.feed, G{feed}.return],"
            f" to: [F{feed}.line, BR.{back}]}}"
        )
        for number, name in enumerate(names):
            if feed == "B" and not both[number]:
                continue
            back += 1
            lines.append(
                f'  - {{name: "F{feed}{name}", feed: {feed}, rating: 6 A, at: "{bay}", line-on: B{feed}.{number + 2}}}'
            )
            cables.append(
                f'  - {{name: "W{feed}{name}", type: PW, length: {length} m, from: ["F{feed}{name}.load", BR.{back}],'
                f' to: ["{name}.{feed}", "{name}.{feed}-return"]}}'
            )
    cables.append(f"  - {{name: W1, type: SIG, length: {length} m, from: J1, to: {far}}}")
    lines += cables
    if earthed:
        lines += [
            "earth:",
            "  single-point: L1",
            "  points:",
            f'    - {{name: EB, kind: bar, at: "{bay}"}}',
            f'    - {{name: E1, kind: frame, at: "{bay}"}}',
            "    - {name: ER, kind: return-bar, busbar: BR}",
            "    - {name: X1, kind: building, network: outside, position: cable entry}",
            "  bonds:",
            "    - {name: L1, from: EB, to: X1, size: 16 mm2, length: 2 m}",
            "    - {name: L2, from: E1, to: EB, size: 6 mm2, length: 3 m}",
            "    - {name: L3, from: ER, to: EB, size: 16 mm2, length: 1 m}",
        ]
    return "\n".join(lines) + "\n"
