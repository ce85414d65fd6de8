"""What the network looks like to its loads; loads that start higher than they stop."""

import math

import pytest

from bench.network.circuit import CurrentSource, Edge, Network, PowerLoad, VoltageSource


def feeder(ohms):
    return Network([Edge("go", "bus", "shelf", ohms / 2), Edge("back", "shelf-", "bus-", ohms / 2)])


def battery(volts):
    return [VoltageSource("battery", "bus", "bus-", volts, 0.01)]


def state(volts, running):
    load = PowerLoad("converter", "shelf", "shelf-", 100.0, cutoff_volts=40.0, starts_volts=44.0, running=running)
    return feeder(0.49).solve(voltages=battery(volts), loads=[load]).loads["converter"]


@pytest.mark.parametrize(
    "volts, running, on",
    [
        (54.0, False, True),
        (44.5, False, True),
        (43.5, False, False),  # below its start it stays off
        (43.5, True, True),  # but goes on if it ran
        (41.5, True, True),
        (40.5, True, False),  # 100 W over half an ohm takes it below its cutoff
        (39.5, True, False),
    ],
)
def test_a_converter_starts_higher_than_it_stops(volts, running, on):
    found = state(volts, running)
    assert found.on is on
    # the upper root of v^2 - V v + R P = 0
    loaded = (volts + math.sqrt(volts**2 - 4 * 0.5 * 100.0)) / 2
    assert found.volts == pytest.approx(loaded if on else volts, rel=1e-12)


def test_a_bus_that_runs_down_stops_and_starts_at_different_voltages():
    running, seen = False, []
    for volts in [54.0, 46.0, 42.0, 40.0, 43.0, 43.9, 44.1]:
        running = state(volts, running).on
        seen.append(running)
    assert seen == [True, True, True, False, False, False, True]


def test_what_several_pairs_see_is_thevenins_equivalent():
    # two shelves on one bar: 1 ohm to the bar, 2 and 3 ohm from it, by hand
    network = Network([Edge(1, "bar", "one", 2.0), Edge(2, "bar", "two", 3.0)], ["return", "alone"])
    seen = network.seen_from(
        [("one", "return"), ("return", "two"), ("alone", "return")],
        [VoltageSource("supply", "bar", "return", 10.0, 1.0)],
    )
    assert seen.open_volts[:2] == pytest.approx([10.0, -10.0])
    assert math.isnan(seen.open_volts[2])
    assert seen.ohms[0] == pytest.approx([3.0, -1.0, 0.0])
    assert seen.ohms[1] == pytest.approx([-1.0, 4.0, 0.0])
    assert seen.ohms[2] == [0.0, 0.0, 0.0]


def test_the_drop_of_every_stretch_at_measured_currents():
    # 3 A at the far shelf and 2 A at the near one: the first stretch carries both
    network = Network(
        [Edge("main", "bus", "near", 0.02), Edge("joint", "near", "mid", 0.0), Edge("on", "mid", "far", 0.1)]
    )
    solved = network.solve(
        currents=[CurrentSource("near", "bus", "near", 2.0), CurrentSource("far", "bus", "far", 3.0)]
    )
    assert solved.drop("main") == pytest.approx(0.1)
    assert solved.drop("joint") == 0.0
    assert solved.drop("on") == pytest.approx(0.3)
    assert solved.amps("main") == pytest.approx(5.0)
