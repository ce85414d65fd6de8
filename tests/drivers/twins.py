"""What plays each profile in the tests, and what all of them are on.

Each is fed bytes and asked for bytes, and told the time. Errors are off: what is looked for is a wrong reading.
"""

from __future__ import annotations

from bench.simulate.twins.handhelds import PolledText, SevenSegment, StreamingText
from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.meter import CapacitanceTwin, ClampTwin, LowOhmTwin, MeterTwin
from bench.simulate.twins.panel import PanelTwin
from bench.simulate.twins.supply import SupplyTwin
from bench.simulate.twins.thermometer import ThermometerTwin
from bench.simulate.world.dielectric import Dielectric


class Hall:
    """What every instrument of the tests is on: a resistance that tells the time, a feed, a load, a cable."""

    def __init__(self):
        self.volts = -53.4
        self.amps = 0.25
        self.celsius = 18.5
        self.insulation = Dielectric(ohms=3e9, farads=20e-9)
        self.held = None
        self.closed: frozenset[int] = frozenset()
        self.live = 0.0

    def ohms(self, at: float) -> float:
        return 10.0 + int(at) % 80

    def farads(self, at: float) -> float:
        return 744.2e-12

    # a meter's world
    def resistance(self, hi, lo, time):
        return self.ohms(time)

    def four_wire(self, force_hi, sense_hi, sense_lo, force_lo, time):
        return self.ohms(time)

    def voltage(self, hi, lo, time, loading):
        # a voltage between the leads would disturb ohms; both are measured here by turns
        return self.volts if loading < 1e12 else 0.0

    def ac_voltage(self, hi, lo, time, loading):
        return 231.4

    def current(self, into, out, time, burden):
        return self.amps

    # a capacitance meter's world
    def capacitance(self, hi, lo, time):
        return self.farads(time), float("inf")

    # a clamp's world
    def clamped(self, time):
        return self.amps

    def clamped_ac(self, time):
        return 2 * self.amps

    # a thermometer's world
    def temperature(self, time):
        return self.celsius

    # a supply's, a tester's and a matrix's world
    def draw(self, volts, time):
        return volts / 120.0

    def hold(self, volts, time):
        self.held = volts

    def idle_voltage(self, time):
        return 0.0

    def specimen(self, time):
        return self.insulation

    def live_voltage(self, time):
        return self.live

    def switched(self, closed, time):
        self.closed = closed


PLAIN = {"lead_ohms": 0.0, "error_scale": 0.0, "dial": "resistance"}

TWINS = {
    "scpi-bench-meter": lambda world, now: MeterTwin(world, now=now, error_scale=0.0),
    "scpi-low-ohm-meter": lambda world, now: LowOhmTwin(world, now=now, error_scale=0.0),
    "scpi-capacitance-meter": lambda world, now: CapacitanceTwin(world, now=now, error_scale=0.0),
    "scpi-clamp-meter": lambda world, now: ClampTwin(world, now=now, error_scale=0.0),
    "scpi-supply": lambda world, now: SupplyTwin(world, now=now),
    "scpi-insulation-tester": lambda world, now: InsulationTwin(world, now=now),
    "scpi-relay-matrix": lambda world, now: MatrixTwin(world, rows=24, now=now),
    "scpi-thermometer": lambda world, now: ThermometerTwin(world, now=now, error_scale=0.0),
    "streaming-text-meter": lambda world, now: StreamingText(world, now=now, **PLAIN),
    "seven-segment-frames": lambda world, now: SevenSegment(world, now=now, **PLAIN),
    "polled-text-meter": lambda world, now: PolledText(world, now=now, **PLAIN),
    "modbus-panel-meter": lambda world, now: PanelTwin(world, now=now, error_scale=0.0),
}
"""Profile to what plays it: from what it is on, and the time."""
