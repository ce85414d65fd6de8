"""Whatever a first power may meet can be played: each from a bench file's own words, as meter and supply show it."""

from __future__ import annotations

import math
import statistics

import pytest

from bench.instruments.bench_file import parse_bench
from bench.instruments.profile.library import Library
from bench.plant.model import Plant
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.power_input import BLEED_OHM, OWN_FARAD
from tests.power import small_hall
from tests.simulate.world.test_power_world import ONE, Rig

LIBRARY = Library.for_job(small_hall.ROOT)


def played(hall: Plant, words: str = "", broken: str = "") -> Rig:
    """A supply and a meter on the plant of a bench file that names this fault.

    Args:
        hall: the plant.
        words: of the file's ``faults``.
        broken: of its ``broken-leads``.
    """
    text = small_hall.BENCH.format(faults=words) + (f"  broken-leads: [{broken}]\n" if broken else "")
    simulate = parse_bench(text, "bench.yaml", LIBRARY).file.simulate
    assert simulate is not None
    rig = Rig(hall)
    rig.world = PowerWorld(hall, simulate.faults, seed=simulate.seed, broken=simulate.broken_leads)
    rig.supply = PlantSupplyTwin(rig.world, seed=simulate.seed)
    rig.world.supply_at(["GA"], 0.0)
    rig.world.breakers(ONE, 0.0)
    return rig


def at_five(hall: Plant, words: str = "") -> Rig:
    rig = played(hall, words)
    rig.on(5.0, 0.3, 2.0)
    return rig


def test_a_wrong_sign(hall: Plant) -> None:
    assert at_five(hall).volts("2A.A", "2A.A-return") == pytest.approx(-5.0, abs=0.05)
    turned = at_five(hall, "{fault: polarity-reversed, shelf: 2A, feed: A}")
    assert turned.volts("2A.A", "2A.A-return") == pytest.approx(5.0, abs=0.05)
    assert turned.volts("FA2A.load", "BR") == pytest.approx(-5.0, abs=0.05), "right behind the breaker"


def test_swapped_supply_leads(hall: Plant) -> None:
    swapped = at_five(hall, "{fault: supply-leads-swapped}")
    assert swapped.volts("FA2A.load", "BR") == pytest.approx(5.0, abs=0.05), "wrong from the supply on"


def test_an_open_return_with_a_live_feed(hall: Plant) -> None:
    stuck = ", ".join(f"{{fault: breaker-stays-closed, breaker: {name}}}" for name in ONE)
    back = hall.supply_path("2A", "A").back[0].id
    rig = played(hall, f"{{fault: supply-stays-on, supply: GA}}, {stuck}, {{fault: open, conductor: {back}}}")
    rig.world.breakers([], 0.0)
    assert abs(rig.volts("2A.A", "2A.A-return")) < 1.0, "feed to its own return shows nothing"
    assert rig.volts("2A.A", "BR") == pytest.approx(-53.5, abs=0.1)


def test_a_breaker_left_closed_elsewhere(hall: Plant) -> None:
    assert abs(at_five(hall).volts("2B.A", "2B.A-return")) < 0.1
    left = at_five(hall, "{fault: breaker-stays-closed, breaker: FA2B}")
    assert left.volts("2B.A", "2B.A-return") == pytest.approx(-5.0, abs=0.05)


def test_a_shorted_diode_with_the_cards_in(hall: Plant) -> None:
    sound, shorted = played(hall), played(hall, "{fault: diode-shorted, shelf: 2A, feed: B}")
    for rig, volts in ((sound, 0.0), (shorted, -48.0)):
        rig.on(48.0, 4.0, 6.0)
        assert rig.volts("2A.B", "2A.B-return") == pytest.approx(volts, abs=1.0)


def test_a_hot_joint(hall: Plant) -> None:
    sound, hot = played(hall), played(hall, "{fault: high-resistance-lug, terminal: FA2A.load, ohms: 120 mohm}")
    lost = []
    for rig in (sound, hot):
        amps = rig.on(48.0, 4.0, 12.0)[-1][1]
        lost.append(rig.volts("FA2A.load", "2A.A") / amps)
    assert abs(lost[1]) - abs(lost[0]) == pytest.approx(0.120, abs=0.005)


def test_a_charged_shelf_that_no_inlet_shows(hall: Plant) -> None:
    rig = played(hall, "{fault: shelf-charged, shelf: 2A, voltage: 48 V}")
    rig.world.cards([card.name for card in hall.shelves["2A"].cards], 0.0)
    assert rig.world.charge("2A", 0.0) == pytest.approx(48.0, abs=0.1)
    assert math.isnan(rig.volts("2A.A", "2A.A-return")), "a meter there floats"
    # V0 exp(-t / R C): the capacitor through its bleeder alone
    tau = BLEED_OHM * OWN_FARAD
    assert rig.world.charge("2A", tau) == pytest.approx(48.0 / math.e, rel=0.04)


@pytest.mark.parametrize("volts", [40.5, 44.0, 48.0, 57.0])
def test_a_battery_at_any_voltage(hall: Plant, volts: float) -> None:
    rig = played(hall, f"{{fault: battery-at, supply: GA, voltage: {volts} V}}")
    rig.world.supply_at([], 0.0)
    rig.world.breakers([], 0.0)
    rig.world.energise(["GA"])
    assert rig.volts("FA.line", "BR") == pytest.approx(-volts, abs=0.01)


def test_a_battery_at_any_charge(hall: Plant) -> None:
    """A lead-acid cell at rest: 1.95 V empty to 2.13 V full, 24 of them (common practice, no source)."""
    for charge, cell in (("0 %", 1.95), ("100 %", 2.13)):
        rig = played(hall, f"{{fault: battery-at, supply: GA, charge: {charge}}}")
        rig.world.supply_at([], 0.0)
        rig.world.breakers([], 0.0)
        rig.world.energise(["GA"])
        assert rig.volts("FA.line", "BR") == pytest.approx(-24 * cell, abs=0.05)


def settled(rig: Rig, seconds: float = 40.0) -> list[float]:
    return [amps for t, amps in rig.on(48.0, 4.0, seconds + 12.0) if t > 12.0]


def test_ripple(hall: Plant) -> None:
    """A sine of amplitude A has a spread of A / sqrt 2 (arithmetic)."""
    quiet = statistics.stdev(settled(played(hall)))
    seen = settled(played(hall, "{fault: current-noise, noise: 0 A, ripple: 20 mA, frequency: 101.3 Hz}"))
    assert quiet < 0.001 and max(seen) - min(seen) < 0.043
    assert statistics.stdev(seen) == pytest.approx(0.020 / math.sqrt(2), rel=0.3)


def test_noise(hall: Plant) -> None:
    seen = settled(played(hall, "{fault: current-noise, noise: 8 mA}"))
    assert len(seen) > 40 and statistics.stdev(seen) == pytest.approx(0.008, rel=0.4)


def test_a_slow_ammeter(hall: Plant) -> None:
    """A new value each four seconds, however often it is asked."""
    slow = "{fault: slow-ammeter, renews: 4 s}, {fault: current-noise, noise: 8 mA}"
    seen = settled(played(hall, slow))
    assert 8 <= len(set(seen)) <= 12 < len(seen)


def test_a_broken_test_lead(hall: Plant) -> None:
    rig = played(hall, broken="{of: volts, after: 2}")
    rig.world.supply_at([], 0.0)
    rig.world.breakers([], 0.0)
    rig.world.energise(["GA"])
    read = [rig.volts("FA.line", "BR") for _ in range(4)]
    assert read[:2] == pytest.approx([-53.5, -53.5], abs=0.1)
    assert all(map(math.isnan, read[2:])), "nothing is across the meter any more"


def test_a_slow_capacitor_gives_back_no_more_than_it_took(hall: Plant) -> None:
    """Asked each ten seconds after it went off: long steps once made charge out of nothing, and it never fell."""
    rig = played(hall, "{fault: slow-capacitor, shelf: 2A, capacitance: 19.5 mF, through: 203 ohm}")
    rig.world.cards([card.name for card in hall.shelves["2A"].cards], 0.0)
    rig.on(24.0, 0.5, 40.0)
    rig.tell("OUTP OFF")
    seen = [rig.world.charge("2A", rig.t + 10.0 * n) for n in range(1, 120)]
    assert seen == sorted(seen, reverse=True) and 0.05 < seen[-1] / seen[0] < 0.4
