"""Conductor sizes as the trade writes them: ``AWG 24`` or ``0.5 mm2``."""

from __future__ import annotations

import re
from typing import Final, Self

from bench.judge.gauge import awg_area_mm2
from bench.quantity import QuantityError

_AWG: Final = re.compile(r"(?:AWG\s*(\d{1,2}|[1-4]/0|0{1,4})|(\d{1,2}|[1-4]/0|0{1,4})\s*AWG)", re.IGNORECASE)
_METRIC: Final = re.compile(r"(\d+(?:\.\d+)?)\s*mm(?:2|²)")
_WANTED: Final = "a conductor size such as 'AWG 24' or '0.5 mm2'"


class Size:
    """A conductor's size.

    Attributes:
        awg: the gauge as text (``24``, ``2/0``); empty for a metric size.
        area_mm2: nominal cross-section in mm²; for a gauge that of the solid wire (ASTM B258).
    """

    __slots__ = ("area_mm2", "awg")

    awg: str
    area_mm2: float

    def __init__(self, awg: str, area_mm2: float) -> None:
        self.awg = awg
        self.area_mm2 = area_mm2

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read one size.

        Raises:
            QuantityError: the text is no size.
        """
        stripped = text.strip()
        gauge = _AWG.fullmatch(stripped)
        if gauge is not None:
            number = gauge[1] or gauge[2]
            if set(number) == {"0"}:
                number = f"{len(number)}/0"
            number = number.lstrip("0") or "0"
            try:
                return cls(number, awg_area_mm2(number))
            except ValueError as error:
                raise QuantityError(text, _WANTED) from error
        metric = _METRIC.fullmatch(stripped)
        if metric is None or float(metric[1]) <= 0:
            raise QuantityError(text, _WANTED)
        return cls("", float(metric[1]))

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return _WANTED

    def exact(self) -> str:
        """The text that parses back to exactly this size."""
        return f"AWG {self.awg}" if self.awg else f"{self.area_mm2!r} mm2"

    def __str__(self) -> str:
        return f"AWG {self.awg}" if self.awg else f"{self.area_mm2:g} mm²"

    def __repr__(self) -> str:
        return f"Size({self.awg!r}, {self.area_mm2!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Size) and (other.awg, other.area_mm2) == (self.awg, self.area_mm2)

    def __hash__(self) -> int:
        return hash((self.awg, self.area_mm2))
