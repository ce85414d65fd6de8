"""How often decisions are wrong against the chance that the rule states: 10,000 drawn for each rule and budget shape.

True values lie just beyond the limit for wrong passes and just within it for wrong fails: there both are likeliest. Few
readings, and bonds near zero on a meter as coarse as the limit, are drawn beside. Run from the top folder (``nice``):

    python -m tests.benchmarks.bench_risk           10,000 decisions each, about half an hour of one core
    python -m tests.benchmarks.bench_risk 1000      fewer
    python -m tests.benchmarks.bench_risk 10000 both      few readings with this beside them alone (or ``near-zero``)
    python -m tests.benchmarks.bench_risk 10000 both:3    three of them alone, for a busy machine
"""

from __future__ import annotations

import sys
from typing import Final

from bench.judge.decision import Rule
from tests.judge.drawn_risk import BESIDE, LEVELS, SHAPES, Shape, at_most, rules, wrong, wrong_near_zero, wrong_of_few

FEW_LEVELS: Final = (0.8, 0.9, 0.95, 0.99)


def _cell(share: float | None) -> str:
    return "      -" if share is None else f"{share:7.2%}"


def main(draws: int, part: str = "") -> bool:
    """Print the rates; returns whether each is within what its rule states.

    Args:
        draws: decisions for each.
        part: what is beside few readings, and how many these are; or ``near-zero``: that alone; empty for all.
    """
    good = bool(part) or many(draws)
    wanted, _, count = part.partition(":")
    for beside, parts in BESIDE.items():
        if wanted in ("", beside):
            good &= few(beside, parts, draws, (int(count),) if count else (2, 3, 5))
    if part in ("", "near-zero"):
        good &= near_zero(draws)
    print("all within what is stated" if good else "NOT within what is stated")
    return good


def many(draws: int) -> bool:
    """Budgets whose components are known well."""
    good = True
    print(f"{draws:,} decisions each; in words of the rule: stated, then wrong passes and wrong fails")
    for shape, parts in SHAPES.items():
        for level in LEVELS:
            stated = 1.0 - level
            line = f"{shape:24} {stated:5.0%}"
            for name, rule in rules(level).items():
                passes, fails = wrong(rule, parts, draws)
                line += f"  {name} {_cell(passes)} {_cell(fails)}"
                good &= all(share is None or share <= at_most(stated, draws) for share in (passes, fails))
            print(line, flush=True)
    print("a guard band of the expanded uncertainty (stated 2.5 %), and simple acceptance, which states nothing:")
    for shape, parts in SHAPES.items():
        passes, fails = wrong(Rule.guarded_by_factor(1.0), parts, draws)
        simple, _ = wrong(Rule.simple(), parts, draws)
        good &= all(share is not None and share <= at_most(0.025, draws) for share in (passes, fails))
        print(f"{shape:24} 2.5%  {_cell(passes)} {_cell(fails)}   simple {_cell(simple)}", flush=True)
    return good


def few(beside: str, parts: Shape, draws: int, counts: tuple[int, ...]) -> bool:
    """Decisions that rest on a few readings of their own.

    Beside each a band of the expanded uncertainty, U: it states no chance of its own, and its budget says that it falls
    short of 2.5 % where two or three readings rule.
    """
    good = True
    print(f"few readings beside {beside}: stated, then wrong passes and wrong fails")
    for count in counts:
        line = f"{count} readings"
        for level in FEW_LEVELS:
            shares = wrong_of_few(Rule.guarded(level), count, parts, draws)
            good &= max(shares) <= at_most(1 - level, draws)
            line += f"  {1 - level:3.0%} {_cell(shares[0])} {_cell(shares[1])}"
        shares = wrong_of_few(Rule.guarded_by_factor(1.0), count, parts, draws)
        print(f"{line}  U {_cell(shares[0])} {_cell(shares[1])}", flush=True)
    return good


def near_zero(draws: int) -> bool:
    """Bonds on a meter as coarse as the limit itself."""
    good = True
    print("bonds of 0 to 30 mΩ that pass at most 10 mΩ though they are more:")
    for u in (0.002, 0.004, 0.006, 0.008, 0.012):
        share = wrong_near_zero(u, 0.95, 10 * draws)
        good &= share <= 0.05 + 0.01
        print(f"uncertainty {u * 1e3:4.0f} mΩ, stated   5%  {_cell(share)}", flush=True)
    return good


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000, *sys.argv[2:3]) else 1)
