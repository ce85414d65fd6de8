"""The same tree in a circuit simulator's words."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

import networkx as nx

from bench.plant.model import Plant
from bench.plant.things import Inlet
from bench.sequence.power_tree import Powered, PowerTree

NGSPICE = shutil.which("ngspice")


def netlist(plant: Plant, tree: PowerTree, powered: Powered) -> tuple[str, dict[str, int]]:
    """A deck with every edge that may carry current, the supplies, and the cards as sources; and nodes by number."""
    number: dict[str, int] = {}

    def node(name: str) -> int:
        return number.setdefault(name, len(number) + 1)

    supply = plant.supplies[powered.at[0]]
    lines = ["the distribution tree"]
    edges = [edge for edge in plant.graph(powered.closed) if edge.kind != "bond"]
    whole = nx.Graph([(edge.a, edge.b) for edge in edges])
    fed = set()
    for name in powered.at:
        for end in (plant.supplies[name].live.node, plant.supplies[name].back.node):
            fed |= nx.node_connected_component(whole, end)
    for place, edge in enumerate(edges):
        if edge.a in fed:
            lines.append(f"R{place} {node(edge.a)} {node(edge.b)} {edge.ohms!r}")
    for place, name in enumerate(powered.at):
        one = plant.supplies[name]
        plus, minus = node(one.live.node), 0 if place == 0 else node(one.back.node)
        lines.append(f"V{place} {plus} {minus} DC {powered.volts!r}")
        if place:
            lines.append(f"Vback{place} {minus} 0 DC 0")
    lines.append(f"Vzero {node(supply.back.node)} 0 DC 0")
    on = {inlet.name: inlet for inlet in tree.inlets_on(powered.at, powered.closed)}
    for inlet in plant.inlets.values():
        if inlet.name not in on:
            continue
        mine = [one for one in on.values() if one.shelf == inlet.shelf]
        a, b = node(inlet.live.node), node(inlet.back.node)
        nominal = abs(plant.feeds[inlet.feed].nominal_v)
        watts = sum(
            card.type.idle.value * nominal
            for card in plant.shelves[inlet.shelf].cards
            if card.type.load == "constant-power" and card.name not in powered.out
        ) / len(mine)
        siemens = sum(
            card.type.idle.value / nominal
            for card in plant.shelves[inlet.shelf].cards
            if card.type.load == "resistive" and card.name not in powered.out
        ) / len(mine)
        lines.append(f"B{inlet.name.replace('.', '_')} {a} {b} I = {watts!r}/V({a},{b}) + {siemens!r}*V({a},{b})")
        # a start for Newton's method
        lines.append(f".nodeset V({a})={powered.volts} V({b})=0")
    return "\n".join(lines), number


def drawn(plant: Plant, inlets: Sequence[Inlet], volts: Mapping[str, float]) -> float:
    """What all cards draw at the voltages that were found, in amperes.

    Args:
        plant: the plant.
        inlets: that are on.
        volts: node to its voltage.
    """
    amps = 0.0
    for inlet in inlets:
        mine = sum(one.shelf == inlet.shelf for one in inlets)
        across = abs(volts[inlet.live.node] - volts[inlet.back.node])
        nominal = abs(plant.feeds[inlet.feed].nominal_v)
        for card in plant.shelves[inlet.shelf].cards:
            ratio = nominal / across if card.type.load == "constant-power" else across / nominal
            amps += card.type.idle.value * ratio / mine
    return amps


def solved(deck: str, nodes: list[int], folder: Path) -> dict[int, float]:
    """Node voltages by ngspice, to the digits that it prints."""
    assert NGSPICE is not None
    printed = "\n".join(f"print v({node})" for node in nodes)
    text = (
        f"{deck}\n.options gmin=1e-15 reltol=1e-9 abstol=1e-14 vntol=1e-12\n"
        f".control\nset numdgt=12\nop\n{printed}\n.endc\n.end\n"
    )
    path = folder / "tree.cir"
    path.write_text(text)
    out = subprocess.run([NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=60, check=False).stdout
    found = {}
    for line in out.splitlines():
        left, _, right = line.partition("=")
        if left.strip().startswith("v(") and right.strip():
            found[int(left.strip()[2:-1])] = float(right)
    return found
