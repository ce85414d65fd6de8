"""The instruments of a cheap, a middling and a good bench, and what they show: within their leaflets, and off by it."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Final

import msgspec

from bench.assemble import bench_facts
from bench.instruments.bench_file import Bench, parse_bench
from bench.instruments.profile.library import Library
from bench.roles import function_name
from bench.simulate.twins.figures import scales
from bench.walk.facts import BenchFacts

ROOT: Final = Path(__file__).parents[2]
_HEAD: Final = """
bench: {name}
instruments:
{instruments}
roles: {roles}
references:
  - {{name: the 100 ohm resistor, value: 100 ohm, tolerance: 1 %}}
  - {{name: the 1 Mohm resistor, value: 1 Mohm, tolerance: 1 %}}
  - {{name: the 10 milliohm shunt, value: 10 mohm, tolerance: 0.5 %}}
"""
_KINDS: Final = {
    "cheap": {"meter": "hand-held-meter", "supply": "hand-set-supply"},
    "middling": {
        "meter": "scpi-bench-meter", "second": "scpi-bench-meter", "low-ohm": "hand-held-low-ohm-meter",
        "tester": "dial-insulation-tester",
        "supply": "hand-set-supply",
    },
    "good": {
        "meter": "scpi-bench-meter", "second": "scpi-bench-meter", "low-ohm": "scpi-low-ohm-meter",
        "tester": "dial-insulation-tester",
        "supply": "hand-set-supply",
    },
}  # fmt: skip
"""Instrument to its profile: a hand-held meter without a leaflet; two used bench meters, and a low-ohm meter
without a leaflet; and the same with a good low-ohm meter."""
NAMES: Final = tuple(_KINDS)


class Kit(msgspec.Struct, frozen=True):
    """A bench's instruments, and the two ways to lay them out: with the meter for all ohms, and with it beside a
    low-ohm meter for what that one does not prove.

    Attributes:
        name: ``cheap``, ``middling`` or ``good``.
        layouts: bench files, as they are read.
        facts: what a record keeps of each.
    """

    name: str
    layouts: tuple[Bench, ...]
    facts: tuple[BenchFacts, ...]

    @property
    def has_ammeter(self) -> bool:
        """Whether a meter is free to stand in the supply's lead while another one reads volts."""
        return self.facts[0].role_of["amps"] != self.facts[0].role_of["volts"]


def kit(name: str) -> Kit:
    """The bench of a name."""
    kinds = _KINDS[name]
    listed = "\n".join(f"  - {{name: {one}, profile: {kind}, port: typed}}" for one, kind in kinds.items())
    layouts = []
    for ohms in ("meter", "low-ohm"):
        if ohms not in kinds:
            continue
        roles = {
            "ohms": ohms,
            "volts": "meter",
            "amps": "second" if "second" in kinds else "meter",
            "supply": "supply",
        }
        if ohms == "low-ohm":
            roles["high-ohms"] = "meter"
        if "tester" in kinds:
            roles["insulation"] = "tester"
        words = ", ".join(f"{role}: {one}" for role, one in roles.items())
        text = _HEAD.format(name=f"{name}, {ohms}", instruments=listed, roles=f"{{{words}}}")
        layouts.append(parse_bench(text, "bench.yaml", Library.for_job(ROOT)))
    return Kit(name, tuple(layouts), tuple(bench_facts(one) for one in layouts))


class Errors:
    """How far off each range of each instrument of a kit is, all the months long: drawn within its leaflet."""

    def __init__(self, of: Kit, seed: str) -> None:
        draw = random.Random(f"errors {seed}")
        self._of: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
        for name, profile in of.layouts[0].profiles.items():
            for function in profile.functions:
                key = (name, function_name(function.reads, function.wires or 2))
                self._of[key] = []
                for part in scales(function):
                    # anywhere within its allowance, equally likely: as a leaflet's limits are taken
                    off = draw.uniform(-1.0, 1.0)
                    self._of[key].append((part.top, off * part.gain, off * part.offset))
        self._draw = draw

    def shown(self, instrument: str, function: str, value: float) -> float:
        """What an instrument makes of a value, before it is rounded to the display."""
        if value != value or abs(value) == float("inf"):
            return value
        ranges = self._of.get((instrument, function), ())
        for top, gain, offset in ranges:
            if abs(value) <= top:
                return value * (1.0 + gain) + offset
        return value
