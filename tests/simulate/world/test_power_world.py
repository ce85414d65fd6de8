"""The simulated plant under a bench supply: what the supply sees, and what the meters see of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from bench.plant import faults as k
from bench.plant.model import Plant
from bench.quantity import Capacitance, Current, Duration, Resistance
from bench.sequence.power_tree import Powered, PowerTree
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.power_input import BLEED_OHM, OWN_FARAD, WAITING_A

ONE = ("FA", "FA2A")


class Rig:
    """A supply on a plant, in simulated time, spoken to in its own language."""

    def __init__(
        self, plant: Plant, faults: Sequence[k.Fault] = (), closed: Sequence[str] = ONE, seed: int = 3
    ) -> None:
        self.world = PowerWorld(plant, faults, seed=seed)
        self.supply = PlantSupplyTwin(self.world, seed=seed)
        self.t = 0.0
        self.world.supply_at(["GA"], 0.0)
        self.world.breakers(closed, 0.0)

    def tell(self, text: str) -> None:
        self.supply.receive(text.encode() + b"\n", self.t)
        self.supply.send(self.t)

    def ask(self, text: str) -> float:
        self.supply.receive(text.encode() + b"\n", self.t)
        while not (answer := self.supply.send(self.t)):
            assert self.supply.wake_at is not None
            self.t = self.supply.wake_at
        return float(answer.decode())

    def on(self, volts: float, limit: float, seconds: float) -> list[tuple[float, float]]:
        """Set it and read current until the time is over."""
        self.tell(f"CURR {limit};:VOLT {volts};:OUTP ON")
        began, trace = self.t, []
        while self.t < began + seconds:
            amps = self.ask("MEAS:CURR?")
            trace.append((self.t - began, amps))
        return trace

    def volts(self, red: str, black: str) -> float:
        self.world.place(red, black, self.t)
        return self.world.voltage("hi", "lo", self.t, 1e7)


def test_a_shelf_draws_what_its_cards_draw_once_it_has_settled(hall: Plant) -> None:
    rig = Rig(hall)
    trace = rig.on(48.0, 4.0, 12.0)
    forecast = PowerTree(hall).forecast(Powered(("GA",), -48.0, closed=frozenset(ONE)))
    assert forecast.least.amps <= trace[-1][1] <= forecast.most.amps
    assert rig.volts("2A.A", "2A.A-return") == pytest.approx(forecast.typical.shelves["2A"].volts, abs=0.1)


@pytest.mark.slow
def test_the_quiet_plant_is_the_static_one(gannet: Plant) -> None:
    """Once nothing moves, currents and drops are those of the network solved at once, card by card."""
    rig = Rig(gannet, closed=("FA", "FA2", "FA2A", "FA2C"))
    amps = rig.on(48.0, 5.0, 200.0)[-1][1]
    drawn = rig.world._drawn
    watts = 48.0 * sum(drawn[card.name] for shelf in ("2A", "2C") for card in gannet.shelves[shelf].cards)
    red, black = rig.volts("2A.A", "BR2"), rig.volts("2A.A-return", "BR2")
    # what the converters do not take is lost on the way: a good volt of 48 at three amperes
    assert watts < amps * 48.0 < watts * 1.03
    assert -48.0 < red < -46.0 and -0.5 < black < 0.0, "the return's current flows into the shelf"


def test_inrush_runs_into_the_limit_and_goes(hall: Plant) -> None:
    trace = Rig(hall).on(12.0, 0.5, 2.0)
    assert trace[0][1] == pytest.approx(0.5, abs=0.01)
    assert trace[-1][1] < 0.01


def test_charge_that_goes_in_is_charge_that_is_there(hall: Plant) -> None:
    """At a limited current a capacitor rises by I t / C."""
    world = PowerWorld(hall, seed=1)
    world.supply_at(["GA"], 0.0)
    world.breakers(ONE, 0.0)
    farad = OWN_FARAD + 1e-3 + 3 * 470e-6
    world.drive(48.0, 0.1, 0.0)
    state = world.drive(48.0, 0.1, 1.0)
    assert state.mode == "CURR"
    across = 0.1 * 1.5
    # the converter's waiting current and the bleeder take their part of it
    assert state.volts - across == pytest.approx((0.1 - WAITING_A / 2) * 1.0 / farad, rel=0.05)


def test_a_converter_waits_starts_softly_and_holds_its_power(hall: Plant) -> None:
    rig = Rig(hall)
    low = rig.on(30.0, 4.0, 3.0)
    # makers' data: it starts at 32.5 V at the least, and takes 18 mA at the most while it waits
    assert low[-1][1] < 0.02, "below its turn-on it waits"
    trace = rig.on(44.0, 4.0, 40.0)
    high = rig.on(52.0, 4.0, 40.0)
    assert trace[1][1] < 0.3
    assert trace[-1][1] * 44.0 == pytest.approx(high[-1][1] * 52.0, rel=0.01)


def test_a_short_holds_the_voltage_down(hall: Plant) -> None:
    rig = Rig(hall, [k.ShelfShort(shelf="2A", feed="A", ohms=Resistance(0.2))])
    assert rig.on(12.0, 0.5, 3.0)[-1][1] == pytest.approx(0.5, abs=0.01)
    assert rig.ask("MEAS:VOLT?") < 1.0


def test_a_capacitor_that_reforms_takes_its_time(hall: Plant) -> None:
    slow = k.SlowCapacitor(shelf="2A", capacitance=Capacitance(0.01), through=Resistance(1000.0))
    rig = Rig(hall, [slow])
    trace = rig.on(12.0, 0.5, 40.0)
    readings = {round(t): amps for t, amps in trace}
    assert readings[1] > 0.009
    # one time constant later a part of e is left, above the bleeder and the readback's offset
    floor = readings[40]
    assert (readings[12] - floor) / (readings[2] - floor) == pytest.approx(math.exp(-1), abs=0.1)


@pytest.mark.parametrize(
    ("fault", "change"),
    [
        (k.ShelfHeavy(shelf="2A", by=Current(0.6)), 0.6),
        (k.ShelfLight(shelf="2A", by=Current(0.6)), -0.6),
        (k.ShelfDrifts(shelf="2A", by=Current(0.3), over=Duration(60.0)), 0.3),
    ],
)
@pytest.mark.quick_cases(1)
def test_a_heavy_a_light_and_a_creeping_shelf(hall: Plant, fault: k.Fault, change: float) -> None:
    sound = Rig(hall).on(48.0, 4.0, 90.0)[-1][1]
    assert Rig(hall, [fault]).on(48.0, 4.0, 90.0)[-1][1] - sound == pytest.approx(change, rel=0.05)


def test_what_is_wrong_sits_in_the_last_card(hall: Plant) -> None:
    rig = Rig(hall, [k.ShelfHeavy(shelf="2A", by=Current(0.6))])
    rig.world.cards([card.name for card in hall.shelves["2A"].cards][1:], 0.0)
    assert rig.on(48.0, 4.0, 10.0)[-1][1] == pytest.approx(0.06, abs=0.02)


def test_crossed_feeds_show_at_the_other_inlet(hall: Plant) -> None:
    rig = Rig(hall, [k.FeedsCrossed(shelf="2A")])
    rig.on(48.0, 4.0, 3.0)
    assert rig.volts("2A.B", "2A.B-return") == pytest.approx(-48.0, abs=0.5)
    assert math.isnan(rig.volts("2A.A", "2A.A-return")) or abs(rig.volts("2A.A", "2A.A-return")) < 1.0


def test_a_reversed_inlet_shows_by_its_sign_and_draws_nothing(hall: Plant) -> None:
    rig = Rig(hall, [k.PolarityReversed(shelf="2A", feed="A")])
    assert rig.on(48.0, 4.0, 3.0)[-1][1] < 0.01
    assert rig.volts("2A.A", "2A.A-return") == pytest.approx(48.0, abs=0.5)


def test_a_lug_that_is_not_tight_loses_voltage_under_load_only(hall: Plant) -> None:
    fault = k.HighResistanceLug(terminal="2A.A", ohms=Resistance(1.0))
    rig = Rig(hall, [fault])
    rig.on(30.0, 4.0, 3.0)
    assert abs(rig.volts("2A.A", "2A.A-return")) == pytest.approx(30.0, abs=0.1)
    amps = rig.on(48.0, 4.0, 12.0)[-1][1]
    assert 48.0 - abs(rig.volts("2A.A", "2A.A-return")) == pytest.approx(amps * 1.2, abs=0.2)


def test_an_ohmmeter_charges_the_input_capacitor(hall: Plant) -> None:
    world = PowerWorld(hall, seed=1)
    world.place("2A.A", "2A.A-return", 100.0)
    for since in (0.5, 5.0, 15.0, 200.0):
        expected = BLEED_OHM * (1 - math.exp(-since / (BLEED_OHM * OWN_FARAD)))
        assert world.resistance("hi", "lo", 100.0 + since) == pytest.approx(expected, rel=0.01)


def test_the_same_calls_give_the_same_answers(hall: Plant) -> None:
    """Determinism itself: two plants that are asked the same things at the same times."""
    faults = [k.SlowCapacitor(shelf="2A"), k.ShelfHeavy(shelf="2A", by=Current(0.1))]
    first, second = (Rig(hall, faults, seed=5).on(48.0, 2.0, 20.0) for _ in range(2))
    assert first == second


def test_off_is_off_and_what_was_charged_leaves(hall: Plant) -> None:
    rig = Rig(hall)
    rig.on(48.0, 4.0, 5.0)
    rig.tell("OUTP OFF")
    assert rig.ask("MEAS:CURR?") == pytest.approx(0.0, abs=0.004)
    rig.t += 3600.0
    rig.world.voltage("hi", "lo", rig.t, 1e7)
    assert rig.world._inputs["2A"].volts < 1.0


def test_names_that_are_none_are_refused(hall: Plant) -> None:
    world = PowerWorld(hall)
    for act in (
        lambda: world.cards(["9Z/1"], 0.0),
        lambda: world.dummies({"9Z": 1.0}, 0.0),
        lambda: world.supply_at(["GZ"], 0.0),
    ):
        with pytest.raises(ValueError, match="found"):
            act()


@pytest.mark.parametrize("gap", [0.2, 0.24, 0.3, 1.0, 7.0])
@pytest.mark.quick_cases(2)
def test_a_quiet_load_reads_the_same_however_seldom_it_is_looked_at(hall: Plant, gap: float) -> None:
    """What is carried on in long steps and then looked at after a short one shows no kick."""
    rig = Rig(hall)
    steady = rig.on(48.0, 4.0, 120.0)[-1][1]
    readings = []
    for _ in range(40):
        rig.t += gap
        readings.append(rig.ask("MEAS:CURR?"))
    assert max(readings) - min(readings) < 0.003
    assert readings[-1] == pytest.approx(steady, abs=0.003)
