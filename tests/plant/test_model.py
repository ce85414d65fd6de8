"""The resolved plant: names, places, landings, expected resistance, the electrical view and the loops."""

from __future__ import annotations

import networkx
import pytest

from bench.plant.load import load_plant
from bench.plant.model import NoPath, UnknownName

TEXT = """\
plant: small
ambient: 20 degC
connector-types:
  - {name: R50, pins: 50, rows: 2, pairs: halves, view: wiring}
  - {name: D9, rows: [[1, 2, 3, 4, 5], [6, 7, 8, 9]], stagger: 0.5}
  - {name: SNAKE, pins: 6, rows: 2, numbering: snake}
  - {name: COLUMNS, pins: 6, rows: 2, numbering: down-columns}
cable-types:
  - {name: P25, pairs: 25, size: AWG 24}
  - {name: P50, pairs: 50, size: AWG 26}
  - {name: P4, pairs: 4, size: AWG 24, screen: AWG 22}
  - {name: N6, conductors: 6, size: 0.5 mm2, class: 5}
  - {name: PW, colours: [BU, BK], size: 2.5 mm2, class: 5}
card-types:
  - {name: RX, title: receiver, idle: 0.5 A, spread: 10 %}
  - {name: TX, idle: 1 A, spread: 0 %}
bays:
  - name: "1"
    shelves:
      - name: 1A
        title: top
        slots: 3
        cards: {1-2: RX, 3: TX}
        inlets: [A]
        connectors:
          - {name: J1, type: R50, at: left}
          - {name: J2, type: R50}
          - {name: J3, type: D9, faces: front}
      - name: 1B
        halves:
          - {name: 1B-L, slots: 1, cards: {1: RX}, inlets: [A], connectors: [{name: J4, type: D9}]}
          - {name: 1B-R, connectors: [{name: J5, type: SNAKE}, {name: J6, type: COLUMNS}]}
  - name: "2"
    shelves:
      - name: 2A
        connectors:
          - {name: J7, type: R50}
          - {name: J8, type: R50}
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR}
supplies:
  - {name: G1, feed: A, position: battery room}
busbars:
  - {name: BA, feed: A, at: "1"}
  - {name: BR, pole: return, at: "1"}
breakers:
  - {name: F1, feed: A, rating: 10 A, at: "1", position: top row, line-on: BA.2}
  - {name: F2, feed: A, rating: 6 A, at: 1A, line-on: BA.3}
trays:
  - name: T1
    sections: [{name: 1, title: over bay 1}, {name: 2}]
cables:
  - {name: W1, type: P25, length: 12 m, trays: [T1], from: J1, to: J7}
  - {name: W2, type: P50, length: 5 m, from: [J2, J8], to: cut}
  - {name: W3, type: P4, length: 3 m, from: J3, to: J4, to-status: claimed, screen-from: ES.1}
  - name: W4
    type: N6
    length: 2 m
    length-tolerance: 10 cm
    from: J5
    to: J6
    to-status: unknown
    conductors:
      - {conductor: 2, to: J6.2, to-status: known, length: 4 m, size: 1 mm2, remark: relaid}
      - {conductor: 6, from: cut}
  - {name: W5, type: PW, length: 2 m, from: [J3.9, cut], to: [BR.9, unknown], from-status: claimed}
  - {name: WG, type: PW, length: 10 m, from: [G1.feed, G1.return], to: [BA.1, BR.1]}
  - {name: WA, type: PW, length: 2 m, from: [F1.load, BR.2], to: [1A.A, 1A.A-return]}
  - {name: WB, type: PW, length: 3 m, from: [F2.load, BR.3], to: [1B-L.A, 1B-L.A-return]}
earth:
  single-point: L1
  points:
    - {name: EB, kind: bar}
    - {name: E1, at: "1"}
    - {name: ES, kind: screen-bar, at: "1"}
    - {name: ER, kind: return-bar, busbar: BR}
    - {name: X1, kind: building, network: outside}
  bonds:
    - {name: L1, from: EB, to: X1, size: 16 mm2, length: 5 m}
    - {name: L2, from: E1, to: EB, ohms: 1 mohm, spread: 20 %}
    - {name: L3, from: ES.2, to: E1, ohms: 2 mohm}
    - {name: L4, from: ER, to: EB, size: 16 mm2, length: 1 m}
"""


@pytest.fixture(scope="module")
def plant(tmp_path_factory):
    path = tmp_path_factory.mktemp("small") / "plant.yaml"
    path.write_text(TEXT)
    return load_plant(path)


def ends(plant, name):
    conductor = plant.conductors[name]
    return str(conductor.near), str(conductor.far), conductor.near_status, conductor.far_status


def test_pairs_land_by_the_connectors_convention(plant):
    assert ends(plant, "W1.33") == ("J1.42", "J7.42", "known", "known")
    assert ends(plant, "W1.34") == ("J1.17", "J7.17", "known", "known")
    tip = plant.conductors["W1.33"]
    assert (tip.pair, tip.leg, tip.mate, tip.colour, tip.mate_colour) == (
        17,
        "tip",
        "W1.34",
        "yellow/orange",
        "orange/yellow",
    )
    assert tip.letters == "OGYE"
    assert ends(plant, "W3.1") == ("J3.1", "J4.1", "known", "claimed")
    assert ends(plant, "W3.8") == ("J3.8", "J4.8", "known", "claimed")


def test_a_cable_of_two_groups_fills_two_connectors(plant):
    assert ends(plant, "W2.1") == ("J2.26", "None", "known", "cut")
    assert ends(plant, "W2.51") == ("J8.26", "None", "known", "cut")
    assert plant.conductors["W2.1"].binder == "white/blue"
    assert plant.conductors["W2.51"].binder == "white/orange"
    assert plant.conductors["W2.51"].colour == "white/blue"
    assert plant.cables["W2"].near == ("J2", "J8")
    assert plant.cables["W2"].far == ()


def test_ends_may_be_cut_after_those_that_land(plant):
    assert ends(plant, "W5.1") == ("J3.9", "BR.9", "claimed", "known")
    assert ends(plant, "W5.2") == ("None", "None", "cut", "unknown")


def test_loose_ends_are_terminals_that_a_probe_can_touch(plant):
    conductor = plant.conductors["W2.51"]
    assert conductor.far is None
    assert conductor.far_end.name == "W2.51.far"
    assert plant.terminal("W2.51.far") is conductor.far_end
    assert plant.where("W2.51.far") == (
        "cable W2, far end, conductor 51 (white/blue, pair 26 tip, binder white/orange), cut"
    )


def test_single_conductors_differ_from_the_rest(plant):
    assert ends(plant, "W4.1") == ("J5.1", "None", "known", "unknown")
    assert ends(plant, "W4.2") == ("J5.2", "J6.2", "known", "known")
    assert ends(plant, "W4.6") == ("None", "None", "cut", "unknown")
    relaid = plant.conductors["W4.2"]
    assert (relaid.length_m, str(relaid.wire.size), relaid.remark) == (4.0, "1 mm²", "relaid")
    assert relaid.tolerance_m == pytest.approx(0.2)
    assert plant.conductors["W4.1"].tolerance_m == pytest.approx(0.1)


def test_a_screen_is_a_conductor_of_its_own(plant):
    screen = plant.cables["W3"].screen
    assert screen is plant.conductors["W3.screen"]
    assert screen.is_screen
    assert (screen.near.name, screen.far) == ("ES.1", None)
    assert screen not in plant.conductors_of("W3")
    assert len(plant.conductors_of("W3")) == 8


def test_pins_count_as_the_type_says(plant):
    def rows(connector):
        return [list(row) for row in plant.connectors[connector].layout.grid]

    assert rows("J5") == [["1", "2", "3"], ["6", "5", "4"]]
    assert rows("J6") == [["1", "3", "5"], ["2", "4", "6"]]
    assert [len(row) for row in rows("J1")] == [25, 25]
    assert rows("J3") == [["1", "2", "3", "4", "5"], ["6", "7", "8", "9"]]


def test_neighbours(plant):
    def names(pin):
        return {terminal.pin for terminal in plant.neighbours(pin)}

    assert names("J1.1") == {"2", "26"}
    assert names("J1.37") == {"36", "38", "12"}
    # staggered by half a pitch: pin 6 lies between 1 and 2
    assert names("J3.6") == {"7", "1", "2"}
    assert names("J3.2") == {"1", "3", "6", "7"}
    assert names("J6.4") == {"2", "6", "3"}
    assert plant.neighbours("BA") == ()
    both = plant.neighbours_of("J3")
    assert len(both) == len({frozenset((a.name, b.name)) for a, b in both}) == 4 + 3 + 8


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("J7.12", "bay 2, shelf 2A rear, connector J7, pin 12 (row 1, 12th from the left, seen from the wiring side)"),
        (
            "J1.42",
            "bay 1, shelf 1A rear, connector J1 (left), pin 42 (row 2, 17th from the left, seen from the wiring side)",
        ),
        (
            "J4.6",
            "bay 1, half-shelf 1B-L rear, connector J4, pin 6 (row 2, 1st from the left, seen from the mating side)",
        ),
        ("J3", "bay 1, shelf 1A front, connector J3"),
        ("1A", "bay 1, shelf 1A (1st from the top; top)"),
        ("1B-R", "bay 1, half-shelf 1B-R (2nd from the top)"),
        ("1", "bay 1"),
        ("1A/2", "bay 1, shelf 1A, slot 2, receiver"),
        ("1A.A", "bay 1, shelf 1A, inlet of feed A"),
        ("1A.A-return", "bay 1, shelf 1A, inlet of feed A, return terminal"),
        ("F1", "bay 1, top row, breaker F1"),
        ("F1.load", "bay 1, top row, breaker F1, load side"),
        ("BA.2", "bay 1, busbar BA, stud 2"),
        ("G1.feed", "battery room, supply G1, feed terminal"),
        ("E1", "bay 1, earth point E1"),
        ("ES.2", "bay 1, earth point ES, stud 2"),
        ("L1", "bond L1, the single-point connection, from EB to X1"),
        ("T1.1", "cable tray T1, section T1.1 (over bay 1)"),
        ("A", "feed A, -48 V"),
        ("W1", "cable W1, from J1 to J7, by T1.1, T1.2, 12 m"),
        ("W1.33", "cable W1, conductor 33 (yellow/orange, pair 17 tip), from J1.42 to J7.42"),
        ("W3.1", "cable W3, conductor 1 (white/blue, pair 1 tip), from J3.1 to J4.1 as claimed"),
        ("W3.screen", "cable W3, the screen, from ES.1 to a cut end"),
        ("W4.1", "cable W4, conductor 1, from J5.1 to an unknown end"),
    ],
)
def test_where_things_are(plant, name, words):
    assert plant.where(name) == words


def test_everything_is_somewhere(plant):
    for name in plant.things:
        assert plant.where(name)


def test_unknown_names_carry_the_near_miss(plant):
    with pytest.raises(KeyError) as caught:
        plant.find("J1.420")
    assert str(caught.value) == "found 'J1.420', expected a name of the plant small; did you mean 'J1.42'?"
    with pytest.raises(UnknownName, match="did you mean 'W1'"):
        plant.find("w1")
    with pytest.raises(UnknownName) as caught:
        plant.terminal("W1")
    assert str(caught.value) == "found 'W1', expected a terminal such as 'J101.12'; 'W1' is a cable"


def test_a_conductor_reads_what_published_tables_say(plant):
    # 25.67 ohm per 1000 ft of AWG 24 at 20 degC: public tables of ASTM B258 sizes
    expected = plant.conductors["W1.1"].expected(20.0)
    wire = 12 / 0.3048 / 1000 * 25.67
    assert expected.nominal_ohm == pytest.approx(wire + 2 * 0.005, rel=1e-3)
    assert expected.low_ohm < expected.nominal_ohm < expected.high_ohm
    # a cut end has no contact
    loose = plant.conductors["W2.1"].expected(20.0)
    assert loose.basis.count("pin of 5 mΩ") == 1
    warm = plant.conductors["W1.1"].expected(30.0).nominal_ohm - 0.01
    assert warm == pytest.approx((expected.nominal_ohm - 0.01) * (234.5 + 30) / 254.5, rel=2e-4)


def test_the_whole_path_adds_up(plant):
    path = plant.path("1A.A", "G1.feed")
    assert [edge.id for edge in path] == ["WA.1", "F1", "BA.2", "BA.1", "WG.1"]
    expected = plant.path_expected("1A.A", "G1.feed")
    # 7.98 ohm/km: IEC 60228 class 5, as quoted in public tables; contacts as the file's defaults give them
    by_hand = 12 * 7.98e-3 + 4 * 0.0002 + 0.004 + 2 * 50e-6
    assert expected.nominal_ohm == pytest.approx(by_hand, rel=1e-9)
    assert expected.low_ohm < expected.nominal_ohm < expected.high_ohm
    assert plant.path("F1.line", "BA.2") == ()
    assert plant.path_expected("F1.line", "BA.2").high_ohm == 0.0


def test_bonds_carry_a_path_only_where_nothing_else_does(plant):
    assert [edge.id for edge in plant.path("1A.A-return", "G1.return")] == ["WA.2", "BR.2", "BR.1", "WG.2"]
    assert [edge.id for edge in plant.path("ES.1", "X1")] == ["L3", "L2", "L1"]
    assert [edge.id for edge in plant.path("BR.2", "E1")] == ["BR.2", "L4", "L2"]
    with pytest.raises(NoPath):
        plant.path("J1.1", "J1.2")


def test_supply_path(plant):
    found = plant.supply_path("1B-L", "A")
    assert found.supply == "G1"
    assert found.breakers == ("F2",)
    assert [edge.id for edge in found.out] == ["WB.1", "F2", "BA.3", "BA.1", "WG.1"]
    assert [edge.id for edge in found.back] == ["WB.2", "BR.3", "BR.1", "WG.2"]
    with pytest.raises(UnknownName, match="expected a feed that comes into shelf 1A: A"):
        plant.supply_path("1A", "B")
    with pytest.raises(UnknownName, match="expected a shelf"):
        plant.supply_path("9A", "A")


def test_the_graph_holds_everything_and_closed_breakers_only(plant):
    closed = plant.graph(["F1"])
    assert {edge.id for edge in closed if edge.kind == "breaker"} == {"F1"}
    assert {edge.id for edge in plant.graph() if edge.kind == "breaker"} == set()
    assert {edge.id for edge in closed if edge.kind == "conductor"} == set(plant.conductors)
    assert {edge.id for edge in closed if edge.kind == "bond"} == set(plant.bonds)
    assert {edge.id for edge in closed if edge.kind == "busbar"} == {
        "BA.1",
        "BA.2",
        "BA.3",
        "BR.1",
        "BR.2",
        "BR.3",
        "BR.9",
    }
    for edge in closed:
        assert edge.ohms == pytest.approx(plant.expected(edge.id).nominal_ohm)
    with pytest.raises(UnknownName, match="did you mean 'F1'"):
        plant.graph(["f1"])


@pytest.mark.parametrize("closed", [[], ["F1"], ["F1", "F2"]])
def test_joins_are_the_connected_parts(plant, closed):
    """Against networkx."""
    graph = networkx.Graph()
    graph.add_nodes_from(terminal.node for terminal in plant.terminals.values())
    graph.add_edges_from((edge.a, edge.b) for edge in plant.graph(closed))
    part = {node: number for number, nodes in enumerate(networkx.connected_components(graph)) for node in nodes}
    joins = plant.joins(closed)
    assert joins.keys() == plant.terminals.keys()
    for name, together in joins.items():
        mine = part[plant.terminals[name].node]
        assert together == {t.name for t in plant.terminals.values() if part[t.node] == mine}


def test_paths_are_as_short_as_can_be(plant):
    """Against networkx."""
    graph = networkx.MultiGraph((edge.a, edge.b) for edge in plant.graph(plant.breakers) if edge.kind != "bond")
    for a in ("1A.A", "F2.load", "BR.2", "WB.2.far", "J1.42", "G1.return"):
        if a not in plant.terminals:
            continue
        start = plant.terminals[a].node
        lengths = networkx.single_source_shortest_path_length(graph, start)
        for b, terminal in plant.terminals.items():
            if terminal.node in lengths:
                assert len(plant.path(a, b)) == lengths[terminal.node]


def test_idle_current(plant):
    assert plant.idle_current("1A") == pytest.approx((2.0, 1.9, 2.1))
    assert plant.idle_current("1B") == plant.idle_current("1B-L") == pytest.approx((0.5, 0.45, 0.55))
    assert plant.idle_current("2A") == (0.0, 0.0, 0.0)


def test_loops(plant):
    def names(things):
        return [thing.name for thing in things]

    assert len(plant.conductors_of("W1")) == 50
    assert names(plant.conductors_of("J4")) == [f"W3.{n}" for n in range(1, 9)]
    assert {c.cable for c in plant.conductors_of("2")} == {"W1", "W2"}
    assert len(plant.conductors_of()) == 50 + 100 + 8 + 6 + 2 + 6
    assert len(plant.pairs_of("W1")) == 25
    assert next((a.name, b.name) for a, b in plant.pairs_of("W3")) == ("W3.1", "W3.2")
    assert names(plant.pins_of("J3")) == [f"J3.{n}" for n in range(1, 10)]
    assert names(plant.connectors_of("1B")) == ["J4", "J5", "J6"]
    assert names(plant.shelves_of("1")) == ["1A", "1B-L", "1B-R"]
    assert names(plant.shelves_of("A")) == ["1A", "1B-L"]
    assert names(plant.shelves_of()) == ["1A", "1B-L", "1B-R", "2A"]
    assert names(plant.inlets_of("A")) == ["1A.A", "1B-L.A"]
    assert names(plant.inlets_of("1B")) == ["1B-L.A"]
    assert names(plant.breakers_of("A")) == ["F1", "F2"]
    assert names(plant.breakers_of("1A")) == ["F2"]
    assert names(plant.breakers_of("1")) == ["F1", "F2"]
    assert names(plant.cables_of("J1")) == ["W1"]
    assert names(plant.cables_of("T1.2")) == ["W1"]
    assert names(plant.cables_of("T1")) == ["W1"]
    assert names(plant.cables_of("1B")) == ["W3", "W4", "WB"]
    assert names(plant.cables_of("BR")) == ["W5", "WG", "WA", "WB"]
    assert names(plant.bonds_of("1")) == ["L2", "L3"]
    assert names(plant.bonds_of("EB")) == ["L1", "L2", "L4"]
    with pytest.raises(UnknownName, match="found 'BA', expected the name of a cable or connector or shelf or bay"):
        plant.conductors_of("BA")


def test_what_is_handled_with_a_thing(plant):
    assert plant.touched("W1.3") == {"W1.3"}
    assert plant.touched("J7.42") == {"W1.33"}
    assert plant.touched("W2.51.far") == {"W2.51"}
    assert plant.touched("J3") == {f"W3.{n}" for n in range(1, 9)} | {"W5.1"}
    assert plant.touched("W3") == {f"W3.{n}" for n in range(1, 9)} | {"W3.screen"}
    assert plant.touched("T1.1") == {f"W1.{n}" for n in range(1, 51)}
    assert plant.touched("1B") == {f"W3.{n}" for n in range(1, 9)} | {f"W4.{n}" for n in range(1, 6)} | {"WB.1", "WB.2"}
    assert plant.touched("F1") == {"WA.1"}
    assert plant.touched("1A.A") == {"WA.1", "WA.2"}
    assert plant.touched("BR") == {"W5.1", "WG.2", "WA.2", "WB.2"}


def test_earth(plant):
    assert plant.single_point is plant.bonds["L1"]
    assert plant.single_point_bar is plant.earth_points["EB"]
    assert plant.earth_points["ER"].is_return
    assert plant.earth_points["ER"].node == "BR"
    by_hand = plant.bonds["L2"].expected(20.0)
    assert (by_hand.low_ohm, by_hand.nominal_ohm, by_hand.high_ohm) == pytest.approx((0.0006, 0.001, 0.0014))
    # 1.15 ohm/km: IEC 60228 class 2, 16 mm2, as quoted in public tables, with two lugs
    assert plant.bonds["L1"].expected(20.0).nominal_ohm == pytest.approx(5 * 1.15e-3 + 0.0004)
