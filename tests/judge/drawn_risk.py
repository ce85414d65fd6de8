"""Decisions drawn by chance: how often a rule passes what is just beyond its limit, or fails what is just within it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from bench.judge.decision import Rule, decide
from bench.judge.limit import Limit
from bench.judge.typea import repeated
from bench.judge.uncertainty import Budget, Component

Shape = Sequence[tuple[str, float]]
"""Components of a budget: distribution and standard uncertainty."""

WIDTH: Final = {"rectangular": math.sqrt(3), "triangular": math.sqrt(6), "u-shaped": math.sqrt(2)}
SHAPES: Final[dict[str, Shape]] = {
    "rectangular alone": [("rectangular", 1.0)],
    "rectangular over normal": [("rectangular", 1.0), ("normal", 0.2)],
    "two rectangular": [("rectangular", 1.0), ("rectangular", 0.6)],
    "five rectangular": [("rectangular", each) for each in (1.0, 0.8, 0.5, 0.3, 0.2)],
    "triangular": [("triangular", 1.0), ("rectangular", 0.3)],
    "u-shaped": [("u-shaped", 1.0), ("rectangular", 0.3)],
    "u-shaped alone": [("u-shaped", 1.0)],
    "normal": [("normal", 1.0), ("normal", 0.5)],
}
LEVELS: Final = (0.6, 0.7, 0.8, 0.9, 0.93, 0.95, 0.99)
BESIDE: Final[dict[str, Shape]] = {
    "nothing": [],
    "rectangular": [("rectangular", 0.7)],
    "normal": [("normal", 0.7)],
    "both": [("normal", 0.3), ("rectangular", 1.0)],
}
"""What is known well beside the scatter of a few readings."""
LIMIT: Final = Limit.at_most(100.0, "Ω", "drawn")
JUST_BEYOND: Final = 100.0 + 1e-9
JUST_WITHIN: Final = 100.0 - 1e-9


def rules(level: float) -> dict[str, Rule]:
    """The rules that state a chance at a level."""
    return {
        "guarded": Rule.guarded(level),
        "guarded-acceptance": Rule("guarded-acceptance", level),
        "guarded-rejection": Rule("guarded-rejection", level),
    }


def errors(rng: np.random.Generator, parts: Shape, size: int) -> np.ndarray:
    """Errors of readings with such components."""
    total = np.zeros(size)
    for shape, u in parts:
        if shape == "normal":
            total += rng.normal(0.0, u, size)
        elif shape == "rectangular":
            total += rng.uniform(-1, 1, size) * u * WIDTH[shape]
        elif shape == "triangular":
            total += (rng.uniform(-1, 1, size) + rng.uniform(-1, 1, size)) * 0.5 * u * WIDTH[shape]
        else:
            total += np.cos(rng.uniform(0, np.pi, size)) * u * WIDTH[shape]
    return total


def wrong(rule: Rule, parts: Shape, draws: int, seed: int = 20260512) -> tuple[float | None, float | None]:
    """Shares of wrong passes and of wrong fails; None where the rule states no chance for that side.

    Args:
        rule: the rule.
        parts: the budget's components.
        draws: decisions for each side.
        seed: of the draws.
    """
    rng = np.random.default_rng(seed)
    components = tuple(Component(f"part {n}", u, kind) for n, (kind, u) in enumerate(parts))

    def share(true: float, verdict: str) -> float:
        shown = true + errors(rng, parts, draws)
        return sum(decide(Budget(float(v), "Ω", components), LIMIT, rule).verdict == verdict for v in shown) / draws

    passes = share(JUST_BEYOND, "pass") if rule.guards_acceptance or rule.kind == "simple" else None
    fails = share(JUST_WITHIN, "fail") if rule.guards_rejection or rule.kind == "simple" else None
    return passes, fails


def wrong_of_few(rule: Rule, count: int, parts: Shape, draws: int, seed: int = 7) -> tuple[float, float]:
    """Shares of wrong passes and of wrong fails where each decision rests on a few readings of its own.

    Args:
        rule: the rule.
        count: readings for each decision; their scatter, of 1 Ω, is all that is known of it.
        parts: components beside the scatter.
        draws: decisions for each side.
        seed: of the draws.
    """
    rng = np.random.default_rng(seed)
    others = tuple(Component(f"part {n}", u, kind) for n, (kind, u) in enumerate(parts))

    def share(true: float, verdict: str) -> float:
        found = 0
        for off in errors(rng, parts, draws):
            several = repeated([float(v) for v in true + off + rng.normal(0.0, 1.0, count)], "reading")
            budget = Budget(several.mean, "Ω", (several.component("scatter"), *others))
            found += decide(budget, LIMIT, rule).verdict == verdict
        return found / draws

    return share(JUST_BEYOND, "pass"), share(JUST_WITHIN, "fail")


def wrong_near_zero(u: float, level: float, draws: int, seed: int = 11) -> float:
    """Share of bonds that are too high among those that pass, with a meter as coarse as the limit itself.

    The bonds have anything from nothing to three times the limit of 10 mΩ, all alike likely.

    Args:
        u: standard uncertainty of a reading, in ohms.
        level: the rule's.
        draws: bonds.
        seed: of the draws.
    """
    rng = np.random.default_rng(seed)
    limit, rule = Limit.at_most(0.010, "Ω", "bond"), Rule.guarded(level)
    true = rng.uniform(0.0, 0.030, draws)
    shown = true + rng.normal(0.0, u, draws)
    part = (Component("all", u),)
    passed = np.array([decide(Budget(float(v), "Ω", part), limit, rule).verdict == "pass" for v in shown])
    return float(np.count_nonzero(passed & (true > 0.010)) / max(1, np.count_nonzero(passed)))


def at_most(stated: float, draws: int) -> float:
    """What a share of draws may come to by chance (four standard deviations) where the true one is as stated."""
    return stated + 4.0 * math.sqrt(stated * (1 - stated) / draws) + 1e-9
