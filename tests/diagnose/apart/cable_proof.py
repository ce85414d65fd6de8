"""The insulation proof of a 25-pair screened cable, on a circuit with leaks between any of its nets."""

from __future__ import annotations

from collections.abc import Collection
from itertools import combinations

from bench.diagnose.apart.isolation import Insulation, prove_insulation
from bench.judge.charge import cable_capacitance

NETS = (*(f"W.{number}" for number in range(1, 51)), "W.screen", "frame")
PAIRS = tuple(combinations(NETS, 2))
LIMIT = 10e6
CABLE_F = cable_capacitance(12.0)
VOLTS = 250.0


def proven(leaks: Collection[tuple[str, str]], ohms: float = 50e3) -> tuple[Insulation, list[int]]:
    """What the proof finds with these leaks, and the number of ends charged in each reading."""
    script, charged = prove_insulation(NETS, LIMIT), []
    try:
        probe = next(script)
        while True:
            red, black = probe.red, probe.black
            charged.append(min(len(red), len(black)))
            through = sum((a in red and b in black) or (a in black and b in red) for a, b in leaks)
            probe = script.send(ohms / through if through else 1e12)
    except StopIteration as stop:
        return stop.value, charged


def named(found: Insulation) -> set[frozenset[str]]:
    return {frozenset((a, b)) for a, b, _ in found.bad}


def wanted(leaks: Collection[tuple[str, str]]) -> set[frozenset[str]]:
    return {frozenset(pair) for pair in leaks}
