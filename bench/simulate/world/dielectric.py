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
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["Branch", "Dielectric"]

#: Below this the capacitance of the tester's own leads prevails, in farad.
LEAST_FARADS = 50e-12


@dataclass(frozen=True, slots=True)
class Branch:
    """A resistor and a capacitor in series: their product is the time constant in seconds."""

    ohms: float
    farads: float


@dataclass(slots=True)
class Dielectric:
    """Insulation of ``ohms`` and ``farads`` with absorption ``branches``, and the charge in it.

    ``volts`` is the voltage across it, ``held`` those of the branch capacitors. ``ohms`` may be
    changed at any time; infinity is a perfect insulator.
    """

    ohms: float
    farads: float = 0.0
    branches: tuple[Branch, ...] = ()
    volts: float = 0.0
    held: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    time: float = -math.inf

    def __post_init__(self) -> None:
        if not self.ohms >= 0.0 or not 0.0 <= self.farads < math.inf:
            raise ValueError(f"insulation of {self.ohms!r} ohm and {self.farads!r} F")
        for branch in self.branches:
            if not 0.0 < branch.ohms < math.inf or not 0.0 < branch.farads < math.inf:
                raise ValueError(f"a branch needs ohms and farads above 0, found {branch!r}")
        if len(self.held) != len(self.branches):
            self.held = np.zeros(len(self.branches))

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
        return leak + sum((volts - float(v)) / b.ohms for b, v in zip(self.branches, self.held, strict=True))

    def _hold(self, seconds: float, volts: float) -> None:
        self.volts = volts
        for k, branch in enumerate(self.branches):
            decay = math.exp(-seconds / (branch.ohms * branch.farads))
            self.held[k] = volts + (self.held[k] - volts) * decay

    def _system(self, siemens: float) -> tuple[npt.NDArray[np.float64], ...]:
        """Rates and modes of the free system: symmetric once scaled by the root of capacitance."""
        n = len(self.branches) + 1
        farads = np.array([max(self.farads, LEAST_FARADS), *(b.farads for b in self.branches)])
        conduct = np.zeros((n, n))
        conduct[0, 0] = siemens + (1.0 / self.ohms if self.ohms > 0.0 else 1e9)
        for k, branch in enumerate(self.branches, start=1):
            g = 1.0 / branch.ohms
            conduct[0, 0] += g
            conduct[k, k] += g
            conduct[0, k] -= g
            conduct[k, 0] -= g
        root = np.sqrt(farads)
        rates, modes = np.linalg.eigh(conduct / np.outer(root, root))
        return np.maximum(rates, 0.0), modes, root

    def _after(
        self,
        system: tuple[npt.NDArray[np.float64], ...],
        state: npt.NDArray[np.float64],
        seconds: float,
        amps: float,
    ) -> npt.NDArray[np.float64]:
        rates, modes, root = system
        drive = np.zeros(len(state))
        drive[0] = amps / root[0]
        start, push = modes.T @ (state * root), modes.T @ drive
        x = rates * seconds
        # The integral of exp(-r s) over the time, which is the time itself for a mode at rest.
        span = np.where(x > 1e-8, -np.expm1(-x) / np.where(rates > 0, rates, 1.0), seconds)
        out: npt.NDArray[np.float64] = modes @ (start * np.exp(-x) + push * span) / root
        return out

    def _drift(self, seconds: float, siemens: float, amps: float) -> None:
        state = np.concatenate([[self.volts], self.held])
        state = self._after(self._system(siemens), state, seconds, amps)
        self.volts, self.held = float(state[0]), state[1:]

    def _move(self, seconds: float, volts: float, amps: float) -> float:
        """A constant current until ``volts`` is crossed or the time is over; returns the time taken."""
        system = self._system(0.0)
        state = np.concatenate([[self.volts], self.held])
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
        self.volts, self.held = float(end[0]), end[1:]
        return taken
