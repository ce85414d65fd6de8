"""What the earthing network of a plant is, what a bench can see of it, and what a search found, in lines of text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bench.diagnose.earth.choose import first_readings
from bench.diagnose.earth.finding import Picture
from bench.diagnose.earth.fit import Prior
from bench.diagnose.earth.lifts import certify, resistance
from bench.diagnose.earth.meter import BenchMeter
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.picture import text
from bench.diagnose.earth.sentences import certificate_words, ohms_words, visibility_words
from bench.diagnose.earth.visible import planned, visibility

SIZES = (0.001, 0.01, 0.1)
"""Ohms at which a meter's uncertainty is told."""


def network_lines(picture: Picture) -> list[str]:
    """The network as a tree, and how many of what there is."""
    network = picture.network
    outside = sum(point.outside for point in network.points)
    inside = len(network.points) - outside
    head = f"{inside} points inside, {outside} outside, {len(network.bonds)} bonds; all meet at"
    return [f"{head} {network.label(network.spc)}", *_indented(text(network, picture.strays, picture.poor))]


def expected_lines(network: BondNetwork) -> list[str]:
    """What every bond and every point to the main bar should read, with one standard deviation of the bonds."""
    lines = ["expected, with one standard deviation as the plant file gives it:"]
    for bond in network.bonds:
        ends = f"{network.label(bond.a)} to {network.label(bond.b)}"
        lines.append(f"  {bond.name:8}{ohms_words(bond.ohms):>10} ± {100 * bond.spread:.0f} %   {ends}")
    lines.append(f"expected to {network.label(network.main)}:")
    for point in network.points:
        if point.name != network.main:
            ohms = resistance(network, point.name, network.main)
            lines.append(f"  {point.name:8}{ohms_words(ohms):>10}   {point.label}")
    return lines


def between_line(network: BondNetwork, a: str, b: str) -> str:
    """What two points should read.

    Args:
        network: the earthing network.
        a: the name of a point.
        b: the name of another one.

    Raises:
        DiagnoseError: one of them is no point.
    """
    return f"expected from {network.label(a)} to {network.label(b)}: {ohms_words(resistance(network, a, b))}"


def sight_lines(network: BondNetwork, meter: BenchMeter, path: float, per_point: float = 2.7) -> list[str]:
    """What a bench's first set of readings, with nothing lifted, would show and would not.

    Args:
        network: the network.
        meter: the bench's ohmmeter.
        path: the second path that must not be missed, in ohms.
        per_point: readings for each point.
    """
    pairs = first_readings(network, meter, per_point)
    seen = visibility(network, planned(network, pairs, meter), Prior())
    every = len(network.points) * (len(network.points) - 1) // 2
    return [
        f"what this bench can see: {meter.words(*SIZES)}",
        f"  {len(pairs)} readings with nothing lifted, of {every} that all pairs would take:",
        *_indented(visibility_words(seen, path)),
    ]


def proof_lines(network: BondNetwork) -> list[str]:
    """The fewest lifts that prove the star against any one second path."""
    return ["to prove the star by lifting, all at once:", *_indented(certificate_words(network, certify(network)))]


def found_lines(sentence: str, lines: list[str], facts: Mapping[str, Any]) -> list[str]:
    """What a search found: the sentence, its lines, and the readings that moved most from what was designed.

    Args:
        sentence: what was found, in a sentence.
        lines: what else is told of it.
        facts: the finding as plain data, with its readings.
    """
    told = [sentence, *_indented(lines)]
    readings = facts.get("readings", ()) if facts.get("kind") != "clear" else ()
    moved = sorted((one for one in readings if _moved(one) > 0), key=_moved, reverse=True)[:8]
    if moved:
        told.append("readings that are furthest from the design:")
    for one in moved:
        lifted = f", {', '.join(one['lifted'])} off" if one["lifted"] else ""
        told.append(
            f"  {' to '.join(one['between'])}{lifted}: {_ohms(one['read'])} read, {_ohms(one['designed'])} designed,"
            f" {_ohms(one['explained'])} explained"
        )
    return told


def _moved(one: Mapping[str, Any]) -> float:
    if one["read"] == "open" or one["designed"] == "open":
        return 0.0 if one["read"] == one["designed"] else 1e9
    return float(abs(one["read"] - one["designed"]) / max(one["designed"], 1e-9))


def _ohms(value: float | str) -> str:
    return value if isinstance(value, str) else ohms_words(value)


def _indented(lines: list[str]) -> list[str]:
    return [f"  {line}" for line in lines]
