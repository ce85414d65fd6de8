"""A meter whose leads lie at two places for good, beside one whose leads hands move: it reads an alarm contact."""

from __future__ import annotations

from bench.simulate.world.power import PowerWorld


class LyingLeads:
    """The plant as such a meter's terminals see it: a :class:`~bench.simulate.world.terminals.MeterWorld`.

    Args:
        world: the plant.
        red: where one lead lies.
        black: and the other.
    """

    def __init__(self, world: PowerWorld, red: str, black: str) -> None:
        self._world, self._between = world, (red, black)

    def resistance(self, hi: str, lo: str, time: float) -> float:
        """Ohms between the places."""
        with self._world.seen_from(*self._between):
            return self._world.resistance(hi, lo, time)

    def four_wire(self, force_hi: str, sense_hi: str, sense_lo: str, force_lo: str, time: float) -> float:
        """Ohms between the places, leads left out."""
        with self._world.seen_from(*self._between):
            return self._world.four_wire(force_hi, sense_hi, sense_lo, force_lo, time)

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """Volts between the places."""
        with self._world.seen_from(*self._between):
            return self._world.voltage(hi, lo, time, loading)

    def ac_voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """Volts of alternating current between the places."""
        with self._world.seen_from(*self._between):
            return self._world.ac_voltage(hi, lo, time, loading)

    def current(self, into: str, out: str, time: float, burden: float) -> float:
        """Amperes through it: its leads lie across a contact and in no way."""
        return 0.0
