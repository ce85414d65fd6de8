"""A cable as it really is: two conductors of unlike resistance, two halves of unlike warmth, and what a meter reads."""

from __future__ import annotations

import random
from dataclasses import dataclass

from bench.diagnose.hunt.distance import ALPHA, Accuracy, CableLine, Figure, Method

FARAD_PER_M = 60e-12
AMPS = 0.1
ARM = 100.0


@dataclass(frozen=True)
class True_:
    """One cable with one fault, and the meter that reads it.

    Attributes:
        length: of the cable.
        at: metres to the fault.
    """

    length: float
    at: float
    figures: dict[str, Figure]


def drawn(
    method: Method, line: CableLine, accuracy: Accuracy, fault: float, seed: object, wander: float = 0.0
) -> True_:
    """Draw a cable, a place and a meter within what is stated of them, and read."""
    rng = random.Random(f"line {seed}")
    length = line.length_m * (1 + rng.uniform(-line.length_part, line.length_part))
    at = length * rng.uniform(0.05, 0.95)
    warm = rng.uniform(-line.halves_k, line.halves_k)
    share = at / length
    near_half = 0.5 * (1 + ALPHA * warm / 2)
    phi = near_half * share / 0.5 if share <= 0.5 else near_half + (1 - near_half) * (share - 0.5) / 0.5
    each = line.ohm_per_m * (1 + rng.uniform(-line.ohm_part, line.ohm_part)) * length
    a, b, c, d = (each * (1 + rng.gauss(0, line.unequal)) for _ in range(4))
    gain = 1 + rng.uniform(-accuracy.scale, accuracy.scale)

    def read(value: float) -> Figure:
        shown = value * gain + rng.uniform(-accuracy.own, accuracy.own)
        return Figure(max(shown, 1e-12), accuracy.scale, accuracy.own, "meter")

    def wandering() -> float:
        return fault + rng.uniform(-wander, wander)

    x, loop = a * phi, a + b
    rest = a - x
    near = FARAD_PER_M * at
    far = FARAD_PER_M * (length - at) / (1 + rng.gauss(0, line.uneven / 2))
    sibling = FARAD_PER_M * length / (1 + rng.gauss(0, line.uneven))
    balance = loop - 2 * x
    values: dict[Method, dict[str, float]] = {
        "short-both-ends": {"near": (a + b) * phi + fault, "far": (a + b) * (1 - phi) + wandering(), "loop": c + d},
        "loop-by-resistances": {"faulty": x + fault, "sound": loop - x + wandering(), "loop": loop},
        "loop-by-voltages": {"faulty": AMPS * x, "sound": AMPS * (loop - x)},
        "murray": {"p": ARM, "q": ARM * x / (loop - x)},
        "varley": {"p": ARM, "q": ARM, "whole": loop, "balance": balance},
        "earth-one-wire": {"open": x + wandering(), "earthed": x + fault * rest / (fault + rest), "whole": a},
        "open-both-ends": {"near": near, "far": far},
        "open-by-sibling": {"near": near, "sibling": sibling},
    }
    return True_(length, at, {name: read(value) for name, value in values[method].items()})
