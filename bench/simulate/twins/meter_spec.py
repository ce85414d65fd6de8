"""What a bench meter can do: its functions, ranges, accuracy and speed, as plain values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["BENCH_METER", "CLAMP_METER", "LOW_OHM_METER", "FunctionSpec", "MeterSpec", "RangeSpec"]


@dataclass(frozen=True, slots=True)
class RangeSpec:
    """One range. Accuracy is ± (``reading_percent`` of the reading + ``range_percent`` of range).

    ``full_scale`` names the range, ``maximum`` is the largest magnitude that it shows, both in the
    function's unit. ``test_amps`` is the current forced by ohms ranges. ``settle_s`` passes before
    the input is integrated.
    """

    full_scale: float
    maximum: float
    reading_percent: float
    range_percent: float
    test_amps: float = math.nan
    settle_s: float = 0.0


@dataclass(frozen=True, slots=True)
class FunctionSpec:
    """One function: its ranges, from the lowest; ``fixed_s`` is its reading time if NPLC has none.

    ``input_ohms`` is the input resistance of a voltage function or the shunt of a current function.
    """

    ranges: tuple[RangeSpec, ...]
    fixed_s: float | None = None
    input_ohms: float = math.inf


@dataclass(frozen=True, slots=True)
class MeterSpec:
    """A bench meter.

    ``functions`` is keyed ``VOLT``, ``VOLT:AC``, ``CURR``, ``RES``, ``FRES``. ``resolution`` maps
    each integration time, in power line cycles, to the resolution as a part of full scale.
    ``noise`` is the standard deviation of a reading at one power line cycle as a part of full
    scale: it falls with the square root of longer integration, and rises as its inverse below one
    cycle, where hum is not averaged out.
    """

    functions: Mapping[str, FunctionSpec]
    resolution: Mapping[float, float] = field(
        default_factory=lambda: {0.02: 1e-4, 0.2: 1e-5, 1.0: 3e-6, 10.0: 1e-6, 100.0: 3e-7}
    )
    default_nplc: float = 10.0
    noise: float = 1e-6
    line_hz: float = 50.0
    #: Above this voltage between the leads, offset compensation has no answer.
    compensation_volts: float = 0.1

    def noise_part(self, nplc: float) -> float:
        """Standard deviation of the noise at this integration time, as a part of full scale."""
        return self.noise / (math.sqrt(nplc) if nplc >= 1.0 else nplc)


def _decades(first: float, count: int, reading: float, of_range: float) -> list[RangeSpec]:
    scales = [first * 10**k for k in range(count)]
    return [RangeSpec(s, 1.2 * s, reading, of_range) for s in scales]


def _ohms() -> tuple[RangeSpec, ...]:
    rows = (
        # full scale, % of reading, % of range, test current, settling time
        (1e2, 0.012, 0.005, 1e-3, 0.0),
        (1e3, 0.012, 0.002, 1e-3, 0.0),
        (1e4, 0.012, 0.002, 1e-4, 0.0),
        (1e5, 0.012, 0.002, 1e-5, 0.002),
        (1e6, 0.015, 0.002, 1e-6, 0.010),
        (1e7, 0.05, 0.002, 1e-7, 0.100),
        (1e8, 0.9, 0.01, 1e-7, 0.300),
    )
    return tuple(RangeSpec(s, 1.2 * s, a, b, i, t) for s, a, b, i, t in rows)


#: A generic six-and-a-half digit bench meter; its figures are our own, of a usual size (common
#: practice, no source).
BENCH_METER = MeterSpec(
    {
        "VOLT": FunctionSpec(
            (
                RangeSpec(0.1, 0.12, 0.006, 0.004),
                *_decades(1.0, 3, 0.005, 0.001),
                RangeSpec(1000.0, 1000.0, 0.006, 0.001),
            ),
            input_ohms=10e6,
        ),
        "VOLT:AC": FunctionSpec(
            (*_decades(0.1, 4, 0.1, 0.04), RangeSpec(1000.0, 1000.0, 0.1, 0.04)),
            fixed_s=0.4,
            input_ohms=1e6,
        ),
        "CURR": FunctionSpec((*_decades(0.01, 3, 0.06, 0.01), RangeSpec(10.0, 10.0, 0.15, 0.02)), input_ohms=0.05),
        "RES": FunctionSpec(_ohms()),
        "FRES": FunctionSpec(_ohms()),
    }
)


def _low_ohms() -> tuple[RangeSpec, ...]:
    rows = (
        # full scale, % of reading, % of range, test current
        (2e-2, 0.2, 0.03, 1.0),
        (2e-1, 0.2, 0.015, 1.0),
        (2e0, 0.2, 0.015, 1e-1),
        (2e1, 0.2, 0.015, 1e-2),
        (2e2, 0.2, 0.015, 1e-2),
        (2e3, 0.2, 0.015, 1e-3),
        (2e4, 0.2, 0.015, 1e-4),
        (2e5, 0.3, 0.015, 1e-5),
        (2e6, 0.5, 0.015, 1e-6),
    )
    return tuple(RangeSpec(s, 1.2 * s, a, b, i) for s, a, b, i in rows)


#: A four-wire meter for bonds and joints; its figures are our own, of a usual size (common practice, no source).
LOW_OHM_METER = MeterSpec(
    {"FRES": FunctionSpec(_low_ohms())},
    resolution={1.0: 5e-5, 10.0: 5e-6},
    noise=1e-5,
)

#: A clamp for small currents, direct and alternating; its figures are our own, of a usual size (common practice, no
#: source).
CLAMP_METER = MeterSpec(
    {
        "CURR": FunctionSpec(tuple(_decades(0.1, 4, 1.0, 0.5))),
        "CURR:AC": FunctionSpec(tuple(_decades(0.1, 4, 1.5, 0.5)), fixed_s=0.4),
    },
    resolution={1.0: 1e-3, 10.0: 1e-4},
    noise=2e-4,
)
