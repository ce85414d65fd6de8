"""The distribution tree: what is on, what flows, which voltage is left, what would be too much."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.sequence.limits import idle_window
from bench.sequence.power_tree import DERATING, Powered, PowerTree, WillNotCarry, headroom_line
from tests.power import spice

ALL_A = frozenset({"FA", "FA2A", "FA2B", "FA2C"})


def test_what_is_on_follows_the_breakers(hall: Plant) -> None:
    tree = PowerTree(hall)
    assert tree.shelves_on(["GA"], {"FA", "FA2A"}) == ("2A",)
    assert tree.shelves_on(["GA"], {"FA2A"}) == ()
    assert tree.shelves_on(["GA"], {"FA", "FA2A", "FB", "FB2B"}) == ("2A",)
    assert tree.shelves_on(["GA", "GB"], {"FA", "FA2A", "FB", "FB2B"}) == ("2A", "2B")


def test_one_shelf_alone_draws_what_the_limit_says(hall: Plant) -> None:
    """The window of a step and the tree are two ways to the same sum."""
    supply = hall.supplies["GA"]
    powered = Powered(("GA",), supply.volts, supply.ohms, closed=frozenset({"FA", "FA2A"}))
    forecast = PowerTree(hall).forecast(powered)
    typical, least, most, at = idle_window(hall, "2A", "A")
    assert forecast.typical.amps == pytest.approx(typical, rel=1e-9)
    assert abs(forecast.typical.shelves["2A"].volts) == pytest.approx(at, rel=1e-9)
    assert forecast.least.amps == pytest.approx(least, rel=3e-3)
    assert forecast.most.amps == pytest.approx(most, rel=3e-3)


def test_drops_add_up_and_power_is_kept(gannet: Plant) -> None:
    flow = PowerTree(gannet).flow(Powered(("GA",), -48.0, closed=frozenset(gannet.breakers)))
    ohms = {edge.id: edge.ohms for edge in gannet.graph(gannet.breakers)}
    lost = sum(current**2 * ohms[edge] for edge, current in flow.edges.items())
    drawn = sum(abs(volts) * amps for shelf in flow.shelves.values() for volts, amps in shelf.inlets.values())
    assert lost + drawn == pytest.approx(48.0 * flow.amps, rel=1e-6)
    assert len(flow.shelves) == 28


def test_the_sign_is_the_feeds(hall: Plant) -> None:
    flow = PowerTree(hall).flow(Powered(("GA",), -48.0, closed=ALL_A))
    assert all(-48.0 < shelf.volts < -47.0 for shelf in flow.shelves.values())


def test_the_other_shelves_pull_the_voltage_down(hall: Plant) -> None:
    tree = PowerTree(hall)
    alone = tree.flow(Powered(("GA",), -48.0, closed=frozenset({"FA", "FA2A"}))).shelves["2A"]
    together = tree.flow(Powered(("GA",), -48.0, closed=ALL_A)).shelves["2A"]
    assert abs(together.volts) < abs(alone.volts)


def test_cards_that_are_out_do_not_draw(hall: Plant) -> None:
    tree = PowerTree(hall)
    out = frozenset(card.name for card in hall.shelves["2A"].cards if card.type.name != "CV")
    flow = tree.flow(Powered(("GA",), -48.0, closed=frozenset({"FA", "FA2A"}), out=out))
    assert flow.amps == pytest.approx(0.06, rel=0.01)
    loaded = tree.flow(Powered(("GA",), -48.0, closed=frozenset({"FA", "FA2A"}), out=out, dummy={"2A": 0.5}))
    assert loaded.amps == pytest.approx(0.56, rel=0.02)


def test_an_overload_is_found_with_its_headroom(hall: Plant) -> None:
    strict = PowerTree(hall, derating=0.25)
    forecast = strict.forecast(Powered(("GA",), -48.0, closed=ALL_A))
    # 4 A of the main, 1.5 A of each shelf's
    assert [load.breaker for load in forecast.overloads] == ["FA2A"]
    assert "TOO MUCH" in headroom_line(forecast.overloads[0], 0.25)
    calm = PowerTree(hall).forecast(Powered(("GA",), -48.0, closed=ALL_A))
    assert calm.overloads == ()
    assert calm.breakers["FA"].allowed == pytest.approx(16.0 / 1.25)
    assert pytest.approx(1 / 1.25) == DERATING, "the 125 % continuous-load rule"


def test_least_typical_and_most_lie_in_order_and_likely_between(gannet: Plant) -> None:
    forecast = PowerTree(gannet).forecast(Powered(("GA",), -48.0, closed=frozenset(gannet.breakers)))
    low, high = forecast.likely
    assert forecast.least.amps < low < forecast.typical.amps < high < forecast.most.amps


def test_more_power_than_the_way_can_carry_is_said(hall: Plant) -> None:
    with pytest.raises(WillNotCarry):
        PowerTree(hall).flow(Powered(("GA",), -48.0, ohms=20.0, closed=ALL_A))


@pytest.mark.skipif(spice.NGSPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize("which", ["one shelf", "feed A", "both feeds"])
@pytest.mark.parametrize("volts", [-57.0, -48.0, -40.5])
@pytest.mark.quick_cases(4)
def test_every_voltage_is_that_of_a_circuit_simulator(
    hall: Plant, gannet: Plant, tmp_path: Path, which: str, volts: float
) -> None:
    """An independent solver (ngspice) on the same tree, at full, nominal and lowest voltage."""
    plant = hall if which == "one shelf" else gannet
    at = ("GA", "GB") if which == "both feeds" else ("GA",)
    closed = frozenset({"FA", "FA2A"}) if which == "one shelf" else frozenset(plant.breakers)
    _agrees(plant, Powered(at, volts, closed=closed), tmp_path)


@pytest.mark.skipif(spice.NGSPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize("volts", [28.8, 24.0, 21.0])
def test_so_it_is_on_a_positive_feed(tmp_path: Path, volts: float) -> None:
    plant = load_plant(Path(__file__).parents[1] / "jobs" / "beacon-hut" / "plant.yaml")
    _agrees(plant, Powered(("BATP",), volts, closed=frozenset(plant.breakers)), tmp_path)


def _agrees(plant: Plant, powered: Powered, folder: Path) -> None:
    """Each inlet within 1e-6 of its voltage, and the current of all within 1e-6 of its own."""
    tree = PowerTree(plant)
    deck, number = spice.netlist(plant, tree, powered)
    on = list(tree.inlets_on(powered.at, powered.closed))
    ends = {end.node for inlet in on for end in (inlet.live, inlet.back)}
    theirs = spice.solved(deck, [number[node] for node in sorted(ends)], folder)
    flow = tree.flow(powered)
    assert len(theirs) == len(ends)
    worst = max(abs(flow.nodes[node] - theirs[number[node]]) for node in ends)
    assert worst <= 1e-6 * abs(powered.volts)
    amps = spice.drawn(plant, on, {node: theirs[number[node]] for node in ends})
    assert flow.amps == pytest.approx(amps, rel=1e-6)


@pytest.mark.parametrize("volts", [40.5, 44.0, 48.0, 53.5, 57.0])
def test_the_idle_window_follows_the_voltage_that_is_read(hall: Plant, volts: float) -> None:
    """A sound shelf is inside at every voltage, and one with a receiver missing outside (constant power: P / U)."""
    cards = [card.type for card in hall.shelves["2A"].cards]
    assert all(one.load == "constant-power" for one in cards)
    sound = sum(one.idle.value for one in cards) * 48.0 / volts
    missing = sound - 0.55 * 48.0 / volts
    typical, least, most, at = idle_window(hall, "2A", "A", read=-volts)
    assert at == volts and typical == pytest.approx(sound, rel=1e-9)
    assert least < sound < most and missing < least
