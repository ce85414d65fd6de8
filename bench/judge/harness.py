"""Acceptance of cable and wire harness: the defaults of IPC/WHMA-A-620 section 19.

They hold where buyer and maker agreed nothing else, so every figure here can be overridden. Continuity was read in a
third party's quotation of revision A; the insulation figures are from memory and say so in their source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from bench.judge.conductor import ExpectedResistance
from bench.judge.judge_error import JudgeError, number
from bench.judge.limit import Limit
from bench.quantity import engineering

CONTINUITY_FLOOR_OHM: Final = 2.0
CONTINUITY_EXTRA_OHM: Final = 1.0

_LONG_FROM_M: Final = 3.0
_INSULATION_SHORT_OHM: Final = 100e6
_INSULATION_LONG_OHM: Final = 10e6

ProductClass = Literal[1, 2, 3]
"""1 general, 2 dedicated service, 3 high performance."""


def continuity_limit(
    wire: ExpectedResistance,
    *,
    floor_ohm: float = CONTINUITY_FLOOR_OHM,
    extra_ohm: float = CONTINUITY_EXTRA_OHM,
) -> Limit:
    """Largest end-to-end resistance of a class 3 harness wire: 2 Ω, or 1 Ω more than the wire itself.

    The larger of the two is taken; that "whichever is greater" is meant is from memory, not confirmed.

    Args:
        wire: the wire alone, without contacts; its nominal resistance is used.
        floor_ohm: in place of 2 Ω.
        extra_ohm: in place of 1 Ω.

    Raises:
        JudgeError: a negative figure.
    """
    floor = number("continuity floor", floor_ohm, "Ω", above=0.0)
    extra = number("continuity extra", extra_ohm, "Ω", least=0.0)
    return Limit.at_most(
        max(floor, wire.nominal_ohm + extra),
        "Ω",
        f"IPC/WHMA-A-620 class 3 default as quoted: {engineering(floor, 'Ω')}, or {engineering(extra, 'Ω')} plus the "
        f"wire ({wire.basis})",
    )


def insulation_limit(length_m: float) -> Limit:
    """Smallest insulation resistance of a harness: 100 MΩ up to 3 m, 10 MΩ when longer; from memory, not confirmed.

    Raises:
        JudgeError: a length that is not above zero.
    """
    length = number("length", length_m, "m", above=0.0)
    short = length <= _LONG_FROM_M
    return Limit.at_least(
        _INSULATION_SHORT_OHM if short else _INSULATION_LONG_OHM,
        "Ω",
        f"IPC/WHMA-A-620 default for {'up to' if short else 'over'} 3 m, from memory, not confirmed",
    )


@dataclass(frozen=True, slots=True)
class RequiredTest:
    """Whether a harness must have a test.

    Attributes:
        name: of the test.
        need: ``required``, ``required unless``, or ``agree`` where the parties must say.
        sentence: the condition in words.
    """

    name: str
    need: Literal["required", "required unless", "agree"]
    sentence: str


def required_tests(product_class: ProductClass) -> tuple[RequiredTest, ...]:
    """Tests that a harness of a class must have (IPC/WHMA-A-620B table 19-1, which its issuer lets anybody copy).

    Args:
        product_class: 1, 2 or 3.

    Raises:
        JudgeError: not a class.
    """
    if product_class not in (1, 2, 3):
        raise JudgeError("product class", repr(product_class), "1, 2 or 3")
    high: tuple[Literal["required", "agree"], str] = (
        ("required", "Required for class 3.")
        if product_class == 3
        else ("agree", "Required for class 3 and some of class 2: agree on it.")
    )
    return (
        RequiredTest("continuity", "required", "Required."),
        RequiredTest(
            "shorts",
            "required unless",
            "Required unless withstand voltage or insulation resistance is tested.",
        ),
        RequiredTest("withstand voltage", *high),
        RequiredTest("insulation resistance", *high),
    )
