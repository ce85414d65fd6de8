"""The network solver: its edge cases, its updates, its loads, its digits."""

import math
import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.network.circuit import (
    CircuitError,
    CurrentSource,
    Edge,
    Network,
    PowerLoad,
    UndervoltageCollapse,
    VoltageSource,
)
from bench.network.factor import Updated
from tests.drawn import draws


def plant(rng, n, leaks=True):
    """A tree of wires with some loops, loads and leaks to one frame: the shape of a real plant."""
    edges = [Edge(("wire", i), i, rng.randrange(max(0, i - 8), i), rng.uniform(0.005, 0.5)) for i in range(1, n)]
    edges += [Edge(("load", k), rng.randrange(n), rng.randrange(n), rng.uniform(100, 1e5)) for k in range(n // 4)]
    if leaks:
        edges += [Edge(("leak", i), i, "frame", 10 ** rng.uniform(8, 11)) for i in range(n)]
    return edges


def test_islands_zero_ohms_and_open_edges():
    network = Network(
        [
            Edge("w", "a", "b", 2.0),
            Edge("clip", "b", "c", 0.0),
            Edge("clip2", "c", "d", 0.0),
            Edge("open", "d", "e", math.inf),
            Edge("self", "a", "a", 5.0),
        ],
        nodes=["alone"],
    )
    assert network.resistance("a", "d") == pytest.approx(2.0, rel=1e-15)
    assert network.resistance("b", "d") == 0.0
    assert network.resistance("a", "a") == 0.0
    assert network.resistance("alone", "alone") == 0.0
    assert network.resistance("a", "e") == math.inf
    assert network.resistance("a", "alone") == math.inf
    assert network.connected("a", "d") and not network.connected("a", "e")
    assert network.nodes == ("a", "b", "c", "d", "e", "alone")
    assert Network([], nodes=["p", "q"]).resistance("p", "q") == math.inf


@pytest.mark.parametrize("ohms", [-1.0, math.nan, -math.inf])
def test_a_resistance_that_is_none_is_refused(ohms):
    with pytest.raises(CircuitError, match="edge 'w'"):
        Network([Edge("w", "a", "b", ohms)])
    with pytest.raises(CircuitError, match="edge 'w'"):
        Network([Edge("w", "a", "b", 1.0)]).changed({"w": ohms})


def test_names_are_checked():
    network = Network([Edge("w", "a", "b", 1.0)])
    with pytest.raises(CircuitError, match="used twice"):
        network.extended([Edge("w", "a", "b", 1.0)])
    with pytest.raises(CircuitError, match="no edge is named 'x'"):
        network.changed({"x": 1.0})
    with pytest.raises(CircuitError, match="no node is named 'z'"):
        network.resistance("a", "z")
    with pytest.raises(CircuitError, match="no node is named 'z'"):
        network.solve(voltages=[VoltageSource("s", "a", "z", 1.0, 1.0)])
    with pytest.raises(CircuitError, match="name is used twice"):
        network.solve(currents=[CurrentSource("s", "a", "b", 1.0), CurrentSource("s", "b", "a", 1.0)])


def test_milliohm_bonds_beside_teraohm_insulation_keep_their_digits():
    # Two harnesses of milliohm joints with one teraohm path between them; 15 decades in one matrix.
    edges = []
    for side in "ab":
        for k in range(200):
            edges.append(Edge((side, k), (side, k), (side, k + 1), 1e-3))
    edges.append(Edge("insulation", ("a", 0), ("b", 0), 1e12))
    network = Network(edges)
    assert network.resistance(("a", 0), ("b", 0)) == pytest.approx(1e12, rel=1e-12)
    assert network.resistance(("a", 0), ("a", 200)) == pytest.approx(0.2, rel=1e-12)
    # A second path in the middle of both: parallel, to all digits.
    twice = network.extended([Edge("moist", ("a", 100), ("b", 100), 3e12)])
    assert twice.resistance(("a", 50), ("b", 50)) == pytest.approx(0.75e12, rel=1e-11)
    assert twice.resistance(("a", 0), ("a", 200)) == pytest.approx(0.2, rel=1e-12)


def test_four_wire_leaves_the_leads_out():
    network = Network(
        [
            Edge("lead1", "F+", "x", 0.3),
            Edge("lead2", "S+", "x", 0.4),
            Edge("part", "x", "y", 0.012),
            Edge("lead3", "S-", "y", 0.5),
            Edge("lead4", "F-", "y", 0.2),
        ],
        nodes=["nowhere"],
    )
    assert network.four_wire("F+", "S+", "S-", "F-") == pytest.approx(0.012, rel=1e-12)
    assert network.four_wire("F+", "S-", "S+", "F-") == pytest.approx(-0.012, rel=1e-12)
    assert network.resistance("F+", "F-") == pytest.approx(0.512, rel=1e-12)
    assert network.four_wire("F+", "S+", "S-", "nowhere") == math.inf
    assert math.isnan(network.four_wire("F+", "S+", "nowhere", "F-"))


def same(first, second, pairs, rel=1e-9):
    for mine, fresh in zip(first.resistances(pairs), second.resistances(pairs), strict=True):
        assert mine == pytest.approx(fresh, rel=rel)


def factor_of(network, node):
    """The factor that is kept for a node's island."""
    return network._ready()[network._node(node)].factor


def afresh(network, edges):
    return Network([Edge(e.id, e.a, e.b, network.ohms(e.id)) for e in edges])


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.quick_cases(2)
def test_changes_answer_as_a_fresh_network_does(seed):
    rng = random.Random(seed)
    edges = plant(rng, 120, leaks=seed % 2 == 0)
    network = Network(edges)
    pairs = [tuple(rng.sample(range(120), 2)) for _ in range(12)]
    network.resistances(pairs)
    updates = 0
    for _ in range(40):
        changes = {}
        for edge in rng.sample(edges, rng.choice([1, 1, 1, 3])):
            changes[edge.id] = rng.choice([0.0, math.inf, 0.02, 7.0, 1e4, network.ohms(edge.id) * 1.7])
        network = network.changed(changes)
        same(network, afresh(network, edges), pairs)
        updates += any(isinstance(factor_of(network, node), Updated) for node in network.nodes)
    assert updates > 0  # the cheap way was really taken


def test_one_changed_wire_uses_the_factor_that_is_there():
    edges = plant(random.Random(3), 300)
    network = Network(edges)
    network.resistance(1, 2)
    child = network.changed({("wire", 40): 0.9})
    same(child, afresh(child, edges), [(1, 299), (40, 39), (40, "frame")], rel=1e-11)
    factor = factor_of(child, 40)
    assert isinstance(factor, Updated)
    assert factor.base is factor_of(network, 40)
    # and the parent is as it was
    same(network, Network(edges), [(1, 299), (40, 39)], rel=1e-12)


def test_cutting_and_joining_islands():
    edges = [Edge("w1", 1, 2, 1.0), Edge("w2", 2, 3, 1.0), Edge("w3", 3, 4, 1.0)]
    network = Network(edges)
    assert network.resistance(1, 4) == pytest.approx(3.0)
    cut = network.changed({"w2": math.inf})
    assert cut.resistance(1, 4) == math.inf
    assert cut.resistance(1, 2) == pytest.approx(1.0)
    joined = cut.extended([Edge("jumper", 1, 4, 0.5)])
    assert joined.resistance(2, 3) == pytest.approx(2.5)
    clipped = joined.changed({"jumper": 0.0})
    assert clipped.resistance(2, 3) == pytest.approx(2.0)
    assert clipped.changed({"w2": 2.0}).resistance(2, 3) == pytest.approx(1.0)


def test_a_wire_opened_beside_a_leak_is_exact():
    # Opening 5 mohm in parallel with 1 Gohm cancels nearly all digits of a rank-1 update.
    network = Network([Edge("wire", 1, 2, 5e-3), Edge("leak", 1, 2, 1e9)])
    network.resistance(1, 2)
    opened = network.changed({"wire": math.inf})
    assert opened.resistance(1, 2) == pytest.approx(1e9, rel=1e-13)
    closed = opened.changed({"wire": 5e-3})
    assert closed.resistance(1, 2) == pytest.approx(5e-3, rel=1e-10)


def test_a_loaded_divider():
    network = Network([Edge("top", "+", "mid", 30.0), Edge("low", "mid", "-", 60.0)])
    solved = network.solve(voltages=[VoltageSource("battery", "+", "-", 100.0, 10.0)])
    assert solved.source_amps["battery"] == pytest.approx(1.0)
    assert solved.volts("mid", "-") == pytest.approx(60.0)
    assert solved.volts("-", "mid") == pytest.approx(-60.0)
    assert solved.amps("top") == pytest.approx(1.0)
    pushed = network.solve(currents=[CurrentSource("i", "mid", "-", 0.5)])
    assert pushed.volts("mid", "-") == pytest.approx(30.0)
    assert pushed.amps("top") == pytest.approx(0.0, abs=1e-15)


def test_two_sources_share_one_busbar():
    # Superposition, by hand: 10 V/1 ohm and 8 V/1 ohm on 1 ohm: (10 + 8)/3 = 6 V.
    network = Network([Edge("load", "bar", "return", 1.0)])
    solved = network.solve(
        voltages=[
            VoltageSource("A", "bar", "return", 10.0, 1.0),
            VoltageSource("B", "bar", "return", 8.0, 1.0),
        ]
    )
    assert solved.volts("bar", "return") == pytest.approx(6.0)
    assert solved.source_amps["A"] == pytest.approx(4.0)
    assert solved.source_amps["B"] == pytest.approx(2.0)


def test_floating_nodes_have_no_voltage_and_no_return_is_an_error():
    network = Network([Edge("a", 1, 2, 1.0), Edge("b", 3, 4, 1.0)])
    solved = network.solve(voltages=[VoltageSource("v", 1, 2, 1.0, 1.0)])
    assert math.isnan(solved.volts(1, 3))
    assert solved.volts(3, 4) == 0.0
    with pytest.raises(CircuitError, match="no return path"):
        network.solve(currents=[CurrentSource("i", 1, 3, 1.0)])
    with pytest.raises(CircuitError, match="series resistance"):
        network.solve(voltages=[VoltageSource("v", 1, 2, 1.0, 0.0)])


def test_the_current_in_a_zero_ohm_edge_is_refused():
    solved = Network([Edge("clip", 1, 2, 0.0), Edge("r", 1, 2, 1.0)]).solve()
    with pytest.raises(CircuitError, match="undefined"):
        solved.amps("clip")


@draws(60)
@given(st.integers(0, 10**6))
def test_currents_balance_and_power_balances(seed):
    rng = random.Random(seed)
    edges = plant(rng, 25)
    network = Network(edges)
    source = VoltageSource("battery", 3, 20, 54.0, 0.01)
    load = PowerLoad("shelf", 7, 22, 0.5, cutoff_volts=5.0)
    solved = network.solve(voltages=[source], loads=[load])
    into = dict.fromkeys(network.nodes, 0.0)
    burnt = 0.0
    for edge in edges:
        amps = solved.amps(edge.id)
        into[edge.a] -= amps
        into[edge.b] += amps
        burnt += amps**2 * edge.ohms
    supplied = solved.source_amps["battery"]
    into[3] += supplied
    into[20] -= supplied
    state = solved.loads["shelf"]
    into[7] -= state.amps
    into[22] += state.amps
    assert max(map(abs, into.values())) < 1e-8 * max(1.0, abs(supplied))
    burnt += supplied**2 * source.ohms
    burnt += 0.5 if state.on else 0.0
    assert supplied * source.volts == pytest.approx(burnt, rel=1e-6)


def feeder(ohms):
    return Network([Edge("go", "bus", "shelf", ohms / 2), Edge("back", "shelf-", "bus-", ohms / 2)])


def test_one_power_load_has_the_closed_form():
    # v = (V + sqrt(V^2 - 4 R P)) / 2, the upper root of v^2 - V v + R P = 0.
    solved = feeder(0.49).solve(
        voltages=[VoltageSource("battery", "bus", "bus-", 54.0, 0.01)],
        loads=[PowerLoad("card", "shelf", "shelf-", 300.0)],
    )
    expected = (54.0 + math.sqrt(54.0**2 - 4 * 0.5 * 300.0)) / 2
    state = solved.loads["card"]
    assert state.on
    assert state.volts == pytest.approx(expected, rel=1e-12)
    assert state.amps == pytest.approx(300.0 / expected, rel=1e-12)
    assert solved.volts("shelf", "shelf-") == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("part, collapses", [(0.999, False), (0.999999, False), (1.001, True)])
def test_collapse_comes_at_the_maximum_power(part, collapses):
    watts = 54.0**2 / (4 * 0.5) * part
    source = [VoltageSource("battery", "bus", "bus-", 54.0, 0.01)]
    load = [PowerLoad("card", "shelf", "shelf-", watts)]
    if collapses:
        with pytest.raises(UndervoltageCollapse, match="undervoltage collapse") as caught:
            feeder(0.49).solve(voltages=source, loads=load)
        assert caught.value.loads == ("card",)
    else:
        state = feeder(0.49).solve(voltages=source, loads=load).loads["card"]
        assert state.volts == pytest.approx(27.0 * (1 + math.sqrt(1 - part)), rel=1e-6)


def test_many_loads_draw_their_power_and_the_sum_balances():
    edges = []
    for k in range(30):
        edges.append(Edge(("go", k), ("bus", k), ("bus", k + 1), 0.002))
        edges.append(Edge(("back", k), ("ret", k), ("ret", k + 1), 0.002))
    network = Network(edges)
    loads = [PowerLoad(k, ("bus", k + 1), ("ret", k + 1), 20.0 + k) for k in range(30)]
    solved = network.solve(voltages=[VoltageSource("battery", ("bus", 0), ("ret", 0), 54.0, 0.001)], loads=loads)
    for load in loads:
        state = solved.loads[load.id]
        assert state.volts * state.amps == pytest.approx(load.watts, rel=1e-12)
        assert solved.volts(load.plus, load.minus) == pytest.approx(state.volts, rel=1e-10)
    assert solved.source_amps["battery"] == pytest.approx(sum(s.amps for s in solved.loads.values()), rel=1e-9)


def test_lockout_and_reversed_feed():
    source = [VoltageSource("battery", "bus", "bus-", 54.0, 0.01)]
    low = feeder(2.0).solve(voltages=source, loads=[PowerLoad("card", "shelf", "shelf-", 300.0, cutoff_volts=44.0)])
    assert not low.loads["card"].on
    assert low.loads["card"].volts == pytest.approx(54.0)
    assert low.loads["card"].amps == 0.0
    # Of two cards, the one that is worst off goes, and the other then has enough.
    both = feeder(1.0).solve(
        voltages=source,
        loads=[
            PowerLoad("near", "bus", "bus-", 100.0, cutoff_volts=44.0),
            PowerLoad("far", "shelf", "shelf-", 500.0, cutoff_volts=44.0),
        ],
    )
    assert both.loads["near"].on and not both.loads["far"].on
    # Past the maximum power, the one with a lockout gives way; without any, the bus collapses.
    greedy = [
        PowerLoad("locks", "shelf", "shelf-", 2000.0, cutoff_volts=20.0),
        PowerLoad("stays", "shelf", "shelf-", 300.0),
    ]
    gave_way = feeder(0.5).solve(voltages=source, loads=greedy)
    assert gave_way.loads["stays"].on and not gave_way.loads["locks"].on
    reversed_feed = feeder(0.5).solve(
        voltages=[VoltageSource("battery", "bus-", "bus", 54.0, 0.01)],
        loads=[PowerLoad("card", "shelf", "shelf-", 300.0)],
    )
    assert not reversed_feed.loads["card"].on
    assert reversed_feed.loads["card"].volts == pytest.approx(-54.0)
    with pytest.raises(CircuitError, match="load 'card'"):
        feeder(0.5).solve(loads=[PowerLoad("card", "shelf", "shelf-", -1.0)])


@pytest.mark.slow
def test_ten_thousand_nodes():
    rng = random.Random(5)
    edges = plant(rng, 10_000)
    network = Network(edges)
    started = time.process_time()
    network.resistance(17, 9_000)
    first = time.process_time() - started
    child = network.changed({("wire", 77): 0.33})
    started = time.process_time()
    child.resistance(17, 9_000)
    second = time.process_time() - started
    assert isinstance(factor_of(child, 77), Updated)
    assert second < first  # the factor was not made again
    same(child, afresh(child, edges), [(17, 9_000), (77, "frame"), (3, 4)])
