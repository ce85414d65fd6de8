"""A piece of insulation: leakage, capacitance, and the slow charge that stays in it.

The model is the usual one of dielectric absorption: the geometric capacitance and the leakage
resistance in parallel with branches of a resistor and a capacitor in series (an extended Debye, or
ladder, model; common practice, no source). After a step of voltage the branch currents die away
with their time constants, so the resistance that is read rises with time; after a short discharge
the branches lift the voltage again, which is why a tested cable is discharged for long.

The equations are linear while the way of connection stays, and are solved exactly: any step of time
is stable and gives the same answer as many small ones.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import msgspec

from bench.network import dense

__all__ = ["Branch", "Dielectric"]

LEAST_FARADS = 50e-12
"""Below this the capacitance of the tester's own leads prevails, in farad."""

_System: TypeAlias = tuple[list[float], list[list[float]], list[float]]
"""Rates and modes, and the root of each capacitance."""


class Branch(msgspec.Struct, frozen=True):
    """A resistor and a capacitor in series: their product is the time constant in seconds."""

    ohms: float
    farads: float


class Dielectric(msgspec.Struct):
    """Insulation of ``ohms`` and ``farads`` with absorption ``branches``, and the charge in it.

    ``volts`` is the voltage across it, ``held`` those of the branch capacitors. ``ohms`` may be
    changed at any time; infinity is a perfect insulator.
    """

    ohms: float
    farads: float = 0.0
    branches: tuple[Branch, ...] = ()
    volts: float = 0.0
    held: list[float] = msgspec.field(default_factory=list)
    time: float = -math.inf

    def __post_init__(self) -> None:
        if not self.ohms >= 0.0 or not 0.0 <= self.farads < math.inf:
            raise ValueError(f"insulation of {self.ohms!r} ohm and {self.farads!r} F")
        for branch in self.branches:
            if not 0.0 < branch.ohms < math.inf or not 0.0 < branch.farads < math.inf:
                raise ValueError(f"a branch needs ohms and farads above 0, found {branch!r}")
        if len(self.held) != len(self.branches):
            self.held = [0.0] * len(self.branches)

    # ---- what happens to it ------------------------------------------------------------------

    def leave(self, time: float) -> None:
        """Nothing is connected until ``time``: charge leaks, and moves out of the branches."""
        self._drift(self._elapsed(time), 0.0, 0.0)

    def discharge(self, time: float, ohms: float) -> None:
        """A resistor of ``ohms`` (above 0) lies across it until ``time``."""
        self._drift(self._elapsed(time), 1.0 / ohms, 0.0)

    def drive(self, time: float, volts: float, limit: float) -> None:
        """A source of ``volts``, at most ``limit`` amperes, is connected until ``time``.

        The source gives its limit until the voltage is reached, and holds the voltage from then on.
        It takes no current in: what was charged higher before falls by itself until it is reached.
        """
        left = self._elapsed(time)
        while left > 0.0:
            there = abs(self.volts - volts) <= 1e-12 * abs(volts)
            if there and 0.0 <= self._needs(volts) <= limit:
                self._hold(left, volts)
                return
            needs_more = self.volts < volts or (there and self._needs(volts) > limit)
            taken = self._move(left, volts, limit if needs_more else 0.0)
            if taken <= 1e-12 * left:  # at the edge between two regimes, to rounding
                self._hold(left, volts)
                return
            left -= taken

    def current(self, volts: float, limit: float) -> float:
        """Amperes out of a source of ``volts`` and ``limit`` that is connected now."""
        if self.volts < volts * (1 - 1e-9):
            return limit
        if self.volts > volts * (1 + 1e-9):
            return 0.0
        return min(max(self._needs(self.volts), 0.0), limit)

    # ---- the equations -----------------------------------------------------------------------

    def _elapsed(self, time: float) -> float:
        elapsed = 0.0 if math.isinf(self.time) else max(time - self.time, 0.0)
        self.time = max(self.time, time)
        return elapsed

    def _needs(self, volts: float) -> float:
        """Amperes that hold it at ``volts``."""
        leak = volts / self.ohms if self.ohms > 0.0 else math.inf
        return leak + sum((volts - v) / b.ohms for b, v in zip(self.branches, self.held, strict=True))

    def _hold(self, seconds: float, volts: float) -> None:
        self.volts = volts
        for k, branch in enumerate(self.branches):
            decay = math.exp(-seconds / (branch.ohms * branch.farads))
            self.held[k] = volts + (self.held[k] - volts) * decay

    def _system(self, siemens: float) -> _System:
        """Rates and modes of the free system: symmetric once scaled by the root of capacitance."""
        root = [math.sqrt(farads) for farads in (max(self.farads, LEAST_FARADS), *(b.farads for b in self.branches))]
        conduct = [[0.0] * len(root) for _ in root]
        conduct[0][0] = siemens + (1.0 / self.ohms if self.ohms > 0.0 else 1e9)
        for k, branch in enumerate(self.branches, start=1):
            g = 1.0 / branch.ohms
            conduct[0][0] += g
            conduct[k][k] += g
            conduct[0][k] -= g
            conduct[k][0] -= g
        rates, modes = dense.modes(
            [[g / (root[i] * root[j]) for j, g in enumerate(row)] for i, row in enumerate(conduct)]
        )
        return [max(rate, 0.0) for rate in rates], modes, root

    def _after(self, system: _System, state: list[float], seconds: float, amps: float) -> list[float]:
        rates, modes, root = system
        scaled = [volts * farads for volts, farads in zip(state, root, strict=True)]
        found = [0.0] * len(state)
        for rate, mode in zip(rates, modes, strict=True):
            x = rate * seconds
            # The integral of exp(-r s) over the time, which is the time itself for a mode at rest.
            span = -math.expm1(-x) / rate if x > 1e-8 else seconds
            share = dense.dot(mode, scaled) * math.exp(-x) + mode[0] * amps / root[0] * span
            found = [volts + share * part for volts, part in zip(found, mode, strict=True)]
        return [volts / farads for volts, farads in zip(found, root, strict=True)]

    def _drift(self, seconds: float, siemens: float, amps: float) -> None:
        self.volts, *self.held = self._after(self._system(siemens), [self.volts, *self.held], seconds, amps)

    def _move(self, seconds: float, volts: float, amps: float) -> float:
        """A constant current until ``volts`` is crossed or the time is over; returns the time taken."""
        system = self._system(0.0)
        state = [self.volts, *self.held]
        end = self._after(system, state, seconds, amps)
        taken = seconds
        before = state[0] - volts
        if before != 0.0 and (end[0] - volts) * before < 0.0:
            low, high = 0.0, seconds
            for _ in range(80):
                middle = 0.5 * (low + high)
                if (self._after(system, state, middle, amps)[0] - volts) * before <= 0.0:
                    high = middle
                else:
                    low = middle
            taken = high
            end = self._after(system, state, taken, amps)
            end[0] = volts
        self.volts, *self.held = end
        return taken
