"""Faults in the electrical view: each against networkx, which knows nothing of how faults are put in."""

from __future__ import annotations

import math

import msgspec
import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.files import Places, exact, from_text, parse, shipped
from bench.plant import faults as k
from bench.plant.faulty import affected_pins, apply_faults, loose_is_open, random_faults
from bench.plant.load import load_plant
from bench.plant.model import UnknownName
from bench.quantity import Current, Duration, Ratio, Resistance
from tests.drawn import draws

PLANT = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")


def network(edges):
    graph = networkx.Graph()
    graph.add_nodes_from(terminal.node for terminal in PLANT.terminals.values())
    for edge in edges:
        if edge.ohms < math.inf and edge.a != edge.b:
            known = graph.get_edge_data(edge.a, edge.b, {"ohms": math.inf})["ohms"]
            graph.add_edge(edge.a, edge.b, ohms=min(known, edge.ohms))
    return graph


def reading(graph, conductor):
    """Ohms from pin to pin along the way of least resistance; leaks of 10 kohm and more are no continuity."""
    a, b = conductor.near_end.node, conductor.far_end.node
    try:
        ohms = networkx.dijkstra_path_length(graph, a, b, weight="ohms")
    except networkx.NetworkXNoPath:
        return math.inf
    return ohms if ohms < 1e4 else math.inf


DESIGN = network(PLANT.graph())


def changed_conductors(edges, cable):
    before, after = DESIGN, network(edges)
    return {
        c.name
        for c in PLANT.cables[cable].conductors
        if not math.isclose(reading(before, c), reading(after, c), rel_tol=1e-9)
    }


def changed_isolation(edges):
    part = {}
    for number, nodes in enumerate(networkx.connected_components(DESIGN)):
        part.update(dict.fromkeys(nodes, number))
    found = set()
    for nodes in networkx.connected_components(network(edges)):
        known = {part[node] for node in nodes if node in part}
        if len(known) > 1:
            found |= nodes
    return {t.name for t in PLANT.terminals.values() if t.node in found}


def test_open():
    fault = k.Open(conductor="W101.33")
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    assert edges["W101.33"].ohms == math.inf
    assert edges.keys() == {edge.id for edge in PLANT.graph()}
    assert affected_pins(fault, PLANT).continuity == {"W101.33"}
    assert affected_pins(fault, PLANT).isolation == frozenset()


def test_high_resistance():
    fault = k.HighResistance(conductor="W101.33", ohms=Resistance(40.0))
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    expected = PLANT.conductors["W101.33"].expected(PLANT.ambient_c).nominal_ohm
    assert edges["W101.33"].ohms == pytest.approx(expected + 40.0)
    assert affected_pins(fault, PLANT).continuity == {"W101.33"}


def test_exchanged_pins():
    fault = k.Exchanged(pins=("J205.12", "J205.13"))
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    assert (edges["W101.24"].a, edges["W101.24"].b) == ("J101.12", "J205.13")
    assert (edges["W101.26"].a, edges["W101.26"].b) == ("J101.13", "J205.12")
    assert affected_pins(fault, PLANT).continuity == {"W101.24", "W101.26"}
    assert affected_pins(fault, PLANT).isolation == {"J101.12", "J101.13", "J205.12", "J205.13"}


def test_pair_reversed():
    fault = k.PairReversed(cable="W101", pair=17)
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    assert edges["W101.33"].b == "J205.17"
    assert edges["W101.34"].b == "J205.42"
    near = {edge.id: edge for edge in apply_faults(PLANT, [k.PairReversed(cable="W101", pair=17, end="near")])}
    assert (near["W101.33"].a, near["W101.33"].b) == ("J101.17", "J205.42")


def test_a_split_at_both_ends_escapes_continuity():
    one = k.SplitPair(cable="W101", pairs=(3, 4))
    both = k.SplitPair(cable="W101", pairs=(3, 4), end="both")
    assert affected_pins(one, PLANT).continuity == {"W101.6", "W101.8"}
    assert affected_pins(both, PLANT).continuity == frozenset()
    assert affected_pins(both, PLANT).isolation == frozenset()
    edges = {edge.id: edge for edge in apply_faults(PLANT, [both])}
    assert (edges["W101.6"].a, edges["W101.6"].b) == ("J101.4", "J205.4")


def test_a_shifted_plug_drops_what_falls_off_the_end():
    fault = k.Shifted(connector="J205", by=2)
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    assert edges["W101.2"].b == "J205.3"  # was on pin 1
    assert edges["W101.1"].b == "J205.28"  # was on pin 26
    # pins 24 and 25, 49 and 50 of the plug hang in the air
    assert {e.id for e in edges.values() if e.b == f"{e.id}.far" and e.id.startswith("W101.")} == {
        "W101.47",
        "W101.48",
        "W101.49",
        "W101.50",
    }
    assert affected_pins(fault, PLANT).continuity == {f"W101.{n}" for n in range(1, 51)}
    left = {edge.id: edge for edge in apply_faults(PLANT, [k.Shifted(connector="J205", by=-1)])}
    assert left["W101.2"].b == "W101.2.far"
    assert left["W101.4"].b == "J205.1"


def test_exchanged_plugs():
    fault = k.ConnectorsExchanged(connectors=("J205", "J206"))
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault])}
    assert (edges["W101.1"].a, edges["W101.1"].b) == ("J101.26", "J206.26")
    assert (edges["W203.1"].a, edges["W203.1"].b) == ("J205.26", "J711.26")
    assert affected_pins(fault, PLANT).continuity == {f"{w}.{n}" for w in ("W101", "W203") for n in range(1, 51)}


def test_a_shifted_plug_in_the_wrong_connector():
    edges = {
        edge.id: edge
        for edge in apply_faults(
            PLANT,
            [k.ConnectorsExchanged(connectors=("J205", "J206")), k.Shifted(connector="J205", by=1)],
        )
    }
    # the plug of W101 sits one pin off wherever it is put
    assert edges["W101.2"].b == "J206.2"
    assert edges["W203.2"].a == "J205.1"


def test_scrambled_ends_are_the_same_for_the_same_seed():
    def order(seed):
        edges = apply_faults(PLANT, [k.Scrambled(cable="W501", seed=seed)])
        return [edge.b for edge in edges if edge.id.startswith("W501.")]

    assert order(1) == order(1) != order(2)
    assert sorted(order(1)) == sorted(f"W501.{n}.far" for n in range(1, 201))


def test_shorts_and_leaks():
    short = k.Short(between=("W101.1", "W101.4"))
    leak = k.Leakage(between=("W101.7", "E2"), ohms=Resistance(2e5))
    edges = apply_faults(PLANT, [short, leak])
    extra = edges[len(PLANT.graph()) :]
    assert [(edge.a, edge.b, edge.kind, edge.ohms) for edge in extra] == [
        ("J101.26", "J101.2", "fault", 0.05),
        ("J101.29", "E2", "fault", 2e5),
    ]
    assert affected_pins(short, PLANT).continuity == frozenset()
    assert affected_pins(short, PLANT).isolation == {"J101.26", "J101.2", "J205.26", "J205.2"}
    assert {"J101.29", "J205.29", "EB", "BR"} <= affected_pins(leak, PLANT).isolation


def test_feeds_crossed_and_polarity_reversed():
    crossed = {edge.id: edge for edge in apply_faults(PLANT, [k.FeedsCrossed(shelf="2C")])}
    assert (crossed["WA2C.1"].b, crossed["WA2C.2"].b) == ("2C.B", "2C.B-return")
    assert (crossed["WB2C.1"].b, crossed["WB2C.2"].b) == ("2C.A", "2C.A-return")
    reversed_ = {edge.id: edge for edge in apply_faults(PLANT, [k.PolarityReversed(shelf="2C", feed="B")])}
    assert (reversed_["WB2C.1"].b, reversed_["WB2C.2"].b) == ("2C.B-return", "2C.B")
    assert reversed_["WA2C.1"].b == "2C.A"


def test_a_lug_that_is_not_tight():
    design = {edge.id: edge.ohms for edge in PLANT.graph()}
    edges = {e.id: e.ohms for e in apply_faults(PLANT, [k.HighResistanceLug(terminal="BA2.1", ohms=Resistance(0.1))])}
    assert {name for name in edges if edges[name] != design[name]} == {"WA2.1"}
    assert edges["WA2.1"] == pytest.approx(design["WA2.1"] + 0.1)
    bonds = {e.id: e.ohms for e in apply_faults(PLANT, [k.HighResistanceLug(terminal="E3", ohms=Resistance(0.1))])}
    assert {name for name in bonds if bonds[name] != design[name]} == {"LE3", "LS3"}


def test_earth_faults():
    poor = affected_pins(k.BondPoor(bond="LE3", ohms=Resistance(0.05)), PLANT)
    assert (poor.continuity, poor.bonds) == (frozenset(), {"LE3"})
    assert affected_pins(k.BondOpen(bond="LE3"), PLANT).bonds == {"LE3"}
    second = k.SecondEarthPath(between=("E3", "X3"), ohms=Resistance(0.02))
    assert affected_pins(second, PLANT).bonds == {"LE3", "L1", "LX3"}
    edges = apply_faults(PLANT, [second])
    assert (edges[-1].a, edges[-1].b, edges[-1].ohms) == ("E3", "X3", 0.02)


def test_a_shelf_short_joins_feed_and_return():
    edges = apply_faults(PLANT, [k.ShelfShort(shelf="2C", feed="A")])
    assert (edges[-1].a, edges[-1].b, edges[-1].ohms) == ("2C.A", "2C.A-return", 0.2)


@pytest.mark.parametrize(
    "fault",
    [
        k.ShelfHeavy(shelf="2C", by=Current(0.3)),
        k.ShelfLight(shelf="2C", by=Current(0.3)),
        k.SlowCapacitor(shelf="2C"),
        k.Loose(conductor="W101.1"),
    ],
)
def test_what_is_no_matter_of_joined_nodes_is_left_alone(fault):
    assert apply_faults(PLANT, [fault], closed=PLANT.breakers) == PLANT.graph(PLANT.breakers)


def test_a_loose_contact_opens_once_in_each_period():
    fault = k.Loose(conductor="W101.1", period=Duration(2.0), open=Ratio(0.25), seed=7)
    seen = [loose_is_open(fault, step / 1000) for step in range(20_000)]
    assert sum(seen) == pytest.approx(5000, abs=20)
    for period in range(10):
        flips = sum(
            a != b for a, b in zip(seen[period * 2000 :], seen[period * 2000 + 1 : period * 2000 + 2000], strict=False)
        )
        assert flips in (1, 2)
    moment = seen.index(True) / 1000
    edges = {edge.id: edge for edge in apply_faults(PLANT, [fault], seconds=moment)}
    assert edges["W101.1"].ohms == math.inf
    assert affected_pins(fault, PLANT).continuity == {"W101.1"}


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.quick_cases(5)
def test_what_a_fault_changes_is_just_what_networkx_finds_changed(seed):
    faults = random_faults(PLANT, "W101", seed, 3)
    edges = apply_faults(PLANT, faults)
    parts = [affected_pins(fault, PLANT) for fault in faults]
    assert changed_conductors(edges, "W101") == frozenset().union(*(part.continuity for part in parts))
    assert changed_isolation(edges) == frozenset().union(*(part.isolation for part in parts))


@pytest.mark.parametrize(
    "fault",
    [
        k.Shifted(connector="J205", by=3),
        k.ConnectorsExchanged(connectors=("J205", "J206")),
        k.SplitPair(cable="W101", pairs=(1, 25), end="both"),
        k.Scrambled(cable="W101", seed=4),
        k.Exchanged(pins=("J101.1", "J101.50")),
    ],
)
def test_moved_plugs_against_networkx(fault):
    edges = apply_faults(PLANT, [fault])
    found = affected_pins(fault, PLANT)
    assert changed_conductors(edges, "W101") == {name for name in found.continuity if name.startswith("W101.")}
    assert changed_isolation(edges) == found.isolation


@draws(40)
@given(
    seed=st.integers(0, 10**6),
    count=st.integers(0, 12),
    cable=st.sampled_from(["W101", "W111", "W202", "W303", "W404"]),
)
@pytest.mark.slow
def test_random_faults_can_be_had_and_stored(seed, count, cable):
    faults = random_faults(PLANT, cable, seed, count)
    assert len(faults) == count
    assert faults == random_faults(PLANT, cable, seed, count)
    assert k.check_faults(faults, PLANT, Places("bench.yaml")) == []
    for fault in faults:
        assert (
            msgspec.json.decode(msgspec.json.encode(fault, enc_hook=exact), type=k.Fault, dec_hook=from_text) == fault
        )
    touched = [name for fault in faults for name in touched_by(fault)]
    assert len(touched) == len(set(touched))


def touched_by(fault):
    part = affected_pins(fault, PLANT)
    return part.continuity or {PLANT.landings[pin][0].name for pin in part.isolation}


def test_too_many_faults_are_refused():
    with pytest.raises(ValueError, match="found 7 conductors in W601, expected more for 9 faults"):
        random_faults(PLANT, "W601", 1, 9)
    with pytest.raises(ValueError, match="found 'J101', expected a cable"):
        random_faults(PLANT, "J101", 1, 1)
    with pytest.raises(UnknownName):
        random_faults(PLANT, "W999", 1, 1)


class Bench(msgspec.Struct, frozen=True, kw_only=True):
    faults: list[k.Fault]


def said(text):
    bench, places = parse(text, Bench, "bench.yaml")
    return [str(problem) for problem in k.check_faults(bench.faults, PLANT, places)]


def test_faults_of_a_bench_file_are_checked_with_their_place():
    assert said(
        """\
faults:
  - {fault: open, conductor: W101.133}
  - {fault: short, between: [W101.1, J205.99]}
  - {fault: exchanged, pins: [J205.1, J205.1]}
  - {fault: pair-reversed, cable: W111, pair: 3}
  - {fault: split-pair, cable: W101, pairs: [3, 26]}
  - {fault: shifted, connector: J205, by: 25}
  - {fault: connectors-exchanged, connectors: [J205, J208]}
  - {fault: feeds-crossed, shelf: 7C}
  - {fault: polarity-reversed, shelf: 2CC, feed: A}
  - {fault: high-resistance-lug, terminal: J205.50, ohms: 1 ohm}
  - {fault: high-resistance-lug, terminal: J221.50, ohms: 1 ohm}
  - {fault: high-resistance-lug, terminal: J342.c32, ohms: 1 ohm}
  - {fault: second-earth-path, between: [E3, X5], ohms: 10 mohm}
  - {fault: bond-open, bond: LE33}
  - {fault: shelf-heavy, shelf: 1B-R, by: 0.2 A}
"""
    ) == [
        "bench.yaml:2:30: conductor: found 'W101.133', expected the name of a conductor; did you mean 'W101.33'?",
        "bench.yaml:3:38: between[1]: found 'J205.99', expected a conductor, a terminal or an earth point; "
        "did you mean 'J205.9'?",
        "bench.yaml:4:39: pins[1]: found 'J205.1' twice, expected two different ones",
        "bench.yaml:5:35: cable: found 'W111', which has no pairs, expected a cable with pairs",
        "bench.yaml:6:49: pairs[1]: found pair 26, expected a pair from 1 to 25",
        "bench.yaml:7:43: by: found by 25, expected less than the 25 pins of a row",
        "bench.yaml:8:47: connectors: found J205 of type R50 and J208 of type D37, "
        "expected two connectors with the same pins",
        "bench.yaml:9:5: feeds[1]: found feed 'B' at shelf 7C, expected 'A'",
        "bench.yaml:10:39: shelf: found '2CC', expected the name of a shelf; did you mean '2C'?",
        "bench.yaml:13:44: terminal: found 'J342.c32', where no conductor ends, expected a terminal with a conductor",
        "bench.yaml:14:46: between[1]: found 'X5', expected the name of a terminal",
        "bench.yaml:15:30: bond: found 'LE33', expected the name of a bond; did you mean 'LE3'?",
    ]
