"""What is said of a plant file that cannot be used: whole texts, all at once, each with its place."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.files import BadFile
from bench.plant.load import load_plant
from tests.drawn import draws

TYPES = """\
connector-types:
  - {name: R50, pins: 50, rows: 2, pairs: halves}
  - {name: D9, rows: [[1, 2, 3, 4, 5], [6, 7, 8, 9]]}
cable-types:
  - {name: P25, pairs: 25, size: AWG 24}
  - {name: C3, colours: [BN, BU, GNYE], size: 1.5 mm2, class: 5}
card-types:
  - {name: RX, idle: 0.5 A}
"""

BAYS = """\
bays:
  - name: "1"
    shelves:
      - name: 1A
        slots: 4
        cards: {1: RX}
        connectors:
          - {name: J1, type: R50}
          - {name: J2, type: R50}
          - {name: J3, type: D9}
"""


def check_place(problem):
    """Where a problem quotes one text of the file, that text stands at the place that it names."""
    quoted = re.fullmatch(r"'([^']+)'", problem.found)
    if quoted is not None and problem.place.line:
        line = Path(problem.place.file).read_text().splitlines()[problem.place.line - 1]
        assert line[problem.place.column - 1 :].lstrip("\"'").startswith(quoted[1])


@pytest.fixture
def problems(tmp_path):
    """Load a plant of the given text; returns the texts of its problems, with the folder cut off."""

    def said(text: str, **pin_lists: str) -> list[str]:
        (tmp_path / "plant.yaml").write_text("plant: try\n" + text)
        for name, rows in pin_lists.items():
            (tmp_path / f"{name}.csv").write_text(rows)
        with pytest.raises(BadFile) as caught:
            load_plant(tmp_path / "plant.yaml")
        for problem in caught.value.problems:
            check_place(problem)
        return [str(problem).replace(f"{tmp_path}/", "") for problem in caught.value.problems]

    return said


def test_a_name_is_used_once_in_the_whole_plant(problems):
    cables = "cables:\n  - {name: J1, type: P25, length: 2 m, from: J1, to: J2}\n"
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:21:12: cables[0].name: found the name 'J1' again, expected each name once in the whole plant; "
        "it is the connector of line 17"
    ]


def test_unknown_names_come_with_the_near_miss(problems):
    cables = "cables:\n  - {name: W1, type: P52, length: 2 m, from: J1, to: J22}\n"
    assert problems(TYPES + BAYS + cables.replace("P52", "P25")) == [
        "plant.yaml:21:54: cables[0].to: found 'J22', expected a connector, or a terminal such as 'J101.12', 'F3.load' "
        "or 'BA.2'; 'cut' for what hangs loose, 'unknown' for what goes nobody knows where; did you mean 'J2'?"
    ]
    assert problems(TYPES + BAYS + cables.replace("J22", "J2")) == [
        "plant.yaml:21:22: cables[0].type: found 'P52', expected a cable type: one of 'P25', 'C3'; did you mean 'P25'?"
    ]


def test_wrong_units(problems):
    cables = "cables:\n  - {name: W1, type: P25, length: 2 V, from: J1, to: J2}\n"
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:21:35: cables[0].length: found '2 V', expected a length such as '12 m'"
    ]
    assert problems(TYPES.replace("AWG 24", "24 gauge") + BAYS) == [
        "plant.yaml:6:34: cable-types[0].size: found '24 gauge', "
        "expected a conductor size such as 'AWG 24' or '0.5 mm2'"
    ]


def test_an_impossible_pin(problems):
    cables = "cables:\n  - {name: W1, type: C3, length: 2 m, from: [J3.1, J3.2, J3.10], to: cut}\n"
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:21:58: cables[0].from[2]: found pin '10' of J3, expected one of '1', '2', '3', '4', '5', '6', '7', "
        "'8', '9'; did you mean '1'?"
    ]


def test_two_conductors_on_one_pin(problems):
    cables = """\
cables:
  - {name: W1, type: P25, length: 2 m, from: J1, to: J2}
  - {name: W2, type: P25, length: 2 m, from: J2, to: cut}
  - {name: W3, type: C3, length: 2 m, from: [J3.1, J3.1, J1.7], to: cut}
"""
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:22:46: cables[1].from: found J2.26 and 49 more pins, where conductors of W1 end, "
        "expected a pin for each conductor",
        "plant.yaml:23:45: cables[2].from: found J3.1, where conductors of W3 end, expected a pin for each conductor",
        "plant.yaml:23:45: cables[2].from: found J1.7, where conductors of W1 end, expected a pin for each conductor",
    ]


def test_pairs_that_do_not_fit_a_connector(problems):
    cables = "cables:\n  - {name: W1, type: P25, length: 2 m, from: J3, to: [J1, J2]}\n"
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:21:46: cables[0].from: found room for 4 of 25 pairs on J3, expected room for all 25 pairs, "
        "or 'cut' or 'unknown' for the rest",
        "plant.yaml:21:59: cables[0].to[1]: found 'J2', for which no conductor is left, "
        "expected ends for 50 conductors",
    ]


def test_too_few_ends_and_pairs_after_an_odd_conductor(problems):
    cables = """\
cables:
  - {name: W1, type: C3, length: 2 m, from: [J3.1, J3.2], to: [cut, J2]}
  - {name: W2, type: P25, length: 2 m, from: [J3.9, J1], to: []}
"""
    assert problems(TYPES + BAYS + cables) == [
        "plant.yaml:21:45: cables[0].from: found ends for 2 of 3 conductors on J3.1, J3.2, "
        "expected ends for all 3 conductors, or 'cut' or 'unknown' for the rest",
        "plant.yaml:21:64: cables[0].to[0]: found 'cut' before other ends, expected 'cut' at the end",
        "plant.yaml:22:53: cables[1].from[1]: found J1 after an odd number of conductors, "
        "expected whole pairs on a connector",
        "plant.yaml:22:62: cables[1].to: found an empty list, expected where the conductors land, 'cut' or 'unknown'",
    ]


FEEDS = """\
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR}
"""


def test_the_sign_of_a_feed(problems):
    assert problems(FEEDS.replace("nominal: -48 V", "nominal: 48 V")) == [
        "plant.yaml:3:5: feeds[0]: found nominal 48 V, expected a voltage within the allowed -57 V to -40.5 V, "
        "with the same sign"
    ]
    assert problems(FEEDS.replace("[-57 V, -40.5 V]", "[-40.5 V, -57 V]")) == [
        "plant.yaml:3:5: feeds[0]: found allowed -40.5 V to -57 V, "
        "expected the lower number first, such as [-57 V, -40.5 V]"
    ]
    supply = "supplies:\n  - {name: G1, feed: A, voltage: 53 V}\nbusbars:\n  - {name: BR, pole: return}\n"
    assert problems(FEEDS + supply) == [
        "plant.yaml:5:34: supplies[0].voltage: found 53 V, expected a voltage with the sign of feed A, -48 V"
    ]


def test_slots_cards_and_halves(problems):
    bays = """\
bays:
  - name: "1"
    shelves:
      - name: 1A
        slots: 4
        cards: {1-3: RX, 3: RX, 5: RX, six: RX, 2-1: RX, 4: TX}
      - name: 1B
        cards: {1: RX}
      - name: 1C
        slots: 8
        halves:
          - {name: 1C-L, slots: 6}
          - {name: left, slots: 6}
      - name: 1D
        halves:
          - {name: 1D-L}
"""
    assert problems(TYPES + bays) == [
        "plant.yaml:15:29: bays[0].shelves[0].cards.3: found a second card in slot 3, expected one card in a slot",
        "plant.yaml:15:36: bays[0].shelves[0].cards.5: found a card in slot 5, expected a slot from 1 to 4",
        "plant.yaml:15:45: bays[0].shelves[0].cards.six: found the slot 'six', "
        "expected a slot number such as '5', or a span such as '1-6'",
        "plant.yaml:15:54: bays[0].shelves[0].cards.2-1: found the slot '2-1', "
        "expected a slot number such as '5', or a span such as '1-6'",
        "plant.yaml:15:61: bays[0].shelves[0].cards.4: found 'TX', expected a card type: 'RX'",
        "plant.yaml:17:20: bays[0].shelves[1].cards.1: found a card in slot 1, expected 'slots' for shelf 1B",
        "plant.yaml:21:11: bays[0].shelves[2].halves: found halves with 12 slots together, "
        "expected at most the shelf's 8 slots",
        "plant.yaml:22:20: bays[0].shelves[2].halves[1].name: found the half-shelf 'left', "
        "expected a name that begins with the shelf's: '1C-L' or '1C-R'",
        "plant.yaml:25:11: bays[0].shelves[3].halves: found one half, expected two halves, or none",
    ]


POWER = """\
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR}
  - {name: B, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR}
supplies:
  - {name: GA, feed: A}
  - {name: GB, feed: B}
busbars:
  - {name: BA, feed: A}
  - {name: BR, pole: return}
breakers:
  - {name: F1, feed: A, rating: 10 A, line-on: BA.2}
cable-types:
  - {name: PW, conductors: 2, size: 2.5 mm2, class: 5}
card-types:
  - {name: RX, idle: 0.5 A}
bays:
  - name: "1"
    shelves:
      - {name: 1A, inlets: [A], slots: 1, cards: {1: RX}}
cables:
  - {name: WA, type: PW, length: 3 m, from: [GA.feed, GA.return], to: [BA.1, BR.1]}
  - {name: W1, type: PW, length: 3 m, from: [F1.load, BR.2], to: [1A.A, 1A.A-return]}
"""


def test_sound_power_is_accepted(tmp_path):
    (tmp_path / "plant.yaml").write_text("plant: try\n" + POWER)
    assert load_plant(tmp_path / "plant.yaml").remarks == ()


def test_a_shelf_that_no_supply_reaches(problems):
    lost = "".join(line for line in POWER.splitlines(keepends=True) if "name: W1" not in line)
    assert problems(lost) == [
        "plant.yaml:20:28: bays[0].shelves[0].inlets: found 1A.A, which no conductor reaches, "
        "expected a way to GA.feed",
        "plant.yaml:20:28: bays[0].shelves[0].inlets: found 1A.A-return, which no conductor reaches, "
        "expected a way to GA.return",
    ]
    halfway = POWER.replace("from: [F1.load, BR.2]", "from: [F1.load, GB.return]")
    assert problems(halfway) == [
        "plant.yaml:20:28: bays[0].shelves[0].inlets: found 1A.A-return, which no supply or busbar of feed A reaches, "
        "expected a way to GA.return"
    ]


def test_a_loose_end_on_the_way_is_remarked_and_not_refused(tmp_path):
    (tmp_path / "plant.yaml").write_text(
        "plant: try\n" + POWER.replace("from: [F1.load, BR.2]", "from: [F1.load, cut]")
    )
    remarks = [str(remark) for remark in load_plant(tmp_path / "plant.yaml").remarks]
    assert len(remarks) == 1
    assert remarks[0].endswith(
        "bays[0].shelves[0].inlets: found 1A.A-return, which nothing feeds while cable W1 has a loose end, "
        "expected a way to GA.return"
    )


def test_poles_and_feeds_on_one_net(problems):
    assert problems(POWER.replace("to: [1A.A, 1A.A-return]", "to: [1A.A-return, 1A.A]")) == [
        "plant.yaml:23:5: cables[1]: found GA.return (return of A) and 1A.A (feed of A) on one net, "
        "expected feeds apart from each other and from returns",
        "plant.yaml:23:5: cables[1]: found GA.feed (feed of A) and 1A.A-return (return of A) on one net, "
        "expected feeds apart from each other and from returns",
    ]
    assert problems(POWER.replace("[GA.feed, GA.return]", "[GB.feed, GB.return]"))[0] == (
        "plant.yaml:22:5: cables[0]: found GB.feed (feed of B) and BA (feed of A) on one net, "
        "expected feeds apart from each other and from returns"
    )


def test_a_breaker_that_is_large_for_its_conductor_is_remarked(tmp_path):
    (tmp_path / "plant.yaml").write_text("plant: try\n" + POWER.replace("rating: 10 A", "rating: 32 A"))
    remarks = [str(remark) for remark in load_plant(tmp_path / "plant.yaml").remarks]
    assert [remark.partition("breakers")[2] for remark in remarks] == [
        "[0].rating: found 32 A before conductor W1.1 of 2.5 mm², "
        "expected at most 20 A (IEC 60364-5-52, method B2); local codes rule"
    ]


@pytest.mark.parametrize(
    ("size", "rating", "trips", "ohms", "told"),
    [
        # 0.14 mm2 is 0.422 mm across: Preece's 10244 d^1.5, d in inches, gives 21.9 A by hand
        (
            "0.14 mm2",
            "10 A",
            "C",
            "10 mohm",
            "10 A (C) before conductor W1.1 of 0.14 mm², which melts at 22 A in the long run (Preece), expected a wire "
            "that outlasts 25.5 A: the breaker may carry that for a minute; local codes rule",
        ),
        # 987 circular mils by sqrt(log10(1058/259 + 1) / (33 * 0.02)) melt at 1,021 A, by hand
        (
            "0.5 mm2",
            "6 A",
            "B",
            "1 mohm",
            "of 0.5 mm², which melts at 1 kA in 0.02 s (Onderdonk), expected a wire that",
        ),
        # (115 * 1 mm2 / 1.6 kA) squared is 5.2 ms, by hand
        (
            "1 mm2",
            "6 A",
            "B",
            "20 mohm",
            "of 1 mm², whose insulation bears a short of 1.6 kA for 5.1 ms, expected a wire that bears it for 0.01 s",
        ),
        ("0.5 mm2", "6 A", "B", "400 mohm", ""),  # such a supply drives too little
        ("0.5 mm2", "6 A", "fuse", "1 mohm", ""),  # how fast a fuse opens is the maker's to say
        ("2.5 mm2", "10 A", "C", "10 mohm", ""),
    ],
)
def test_a_wire_that_comes_to_harm_before_its_breaker_opens_is_remarked(size, rating, trips, ohms, told, tmp_path):
    thick = "  - {name: PW25, conductors: 2, size: 25 mm2, class: 5}\ncard-types:"
    text = POWER.replace("card-types:", thick).replace("name: WA, type: PW", "name: WA, type: PW25")
    text = text.replace("size: 2.5 mm2", f"size: {size}").replace("rating: 10 A", f"rating: {rating}, trips: {trips}")
    text = text.replace("{name: GA, feed: A", f"{{name: GA, feed: A, resistance: {ohms}")
    assert "resistance" in text and "trips" in text
    (tmp_path / "plant.yaml").write_text("plant: try\n" + text)
    remarks = [
        str(one) for one in load_plant(tmp_path / "plant.yaml").remarks if re.search("which melts|bears", str(one))
    ]
    assert len(remarks) == bool(told) and (not told or told in remarks[0]), remarks


def test_load_and_drop_are_remarked(tmp_path):
    heavy = POWER.replace("idle: 0.5 A", "idle: 9 A").replace("return: BR}", "return: BR, drop: 0.2 V}")
    (tmp_path / "plant.yaml").write_text("plant: try\n" + heavy)
    remarks = [str(remark).partition(": found ")[2] for remark in load_plant(tmp_path / "plant.yaml").remarks]
    assert remarks[0] == "9.9 A through F1 when its feed is alone, expected at most 8 A, 80 % of its rating"
    assert remarks[1].startswith("0.9") or remarks[1].startswith("1.0")
    assert remarks[1].endswith("V lost on the way to 1A.A, expected at most 0.2 V")


EARTH = """\
busbars:
  - {name: BR, pole: return}
earth:
  single-point: L1
  points:
    - {name: EB, kind: bar}
    - {name: E1}
    - {name: ER, kind: return-bar, busbar: BR}
    - {name: X1, kind: building, network: outside}
  bonds:
    - {name: L1, from: EB, to: X1, size: 16 mm2, length: 5 m}
    - {name: L2, from: E1, to: EB, ohms: 1 mohm}
    - {name: L3, from: ER, to: EB, ohms: 1 mohm}
"""


def test_the_single_point_connection(problems):
    assert problems(EARTH.replace("single-point: L1", "single-point: L9")) == [
        "plant.yaml:5:17: earth.single-point: found 'L9', expected a bond: one of 'L1', 'L2', 'L3'"
    ]
    assert problems(EARTH.replace("  single-point: L1\n", "")) == [
        "plant.yaml:5:3: earth: found no field 'single-point', expected the field 'single-point'"
    ]
    assert problems(EARTH.replace("single-point: L1", "single-point: L2")) == [
        "plant.yaml:5:17: earth.single-point: found 'L2', which joins E1 and EB, both inside, "
        "expected the bond between the isolated bonding network and the building (ITU-T K.27)"
    ]


def test_a_second_conductor_on_the_bar_is_the_same_connection(tmp_path):
    text = EARTH + "    - {name: L4, from: EB, to: X1, ohms: 1 mohm}\n"
    (tmp_path / "plant.yaml").write_text("plant: try\n" + text)
    assert [bond.name for bond in load_plant(tmp_path / "plant.yaml").single_point_bonds] == ["L1", "L4"]


def test_a_second_bond_to_the_building_and_a_return_bonded_twice(problems):
    assert problems(EARTH + "    - {name: L4, from: E1, to: X1, ohms: 1 mohm}\n") == [
        "plant.yaml:15:7: earth.bonds[3]: found 'L4', a second bond from inside to outside, E1 to X1, "
        "expected one connection, at 'EB', where 'L1' lands (ITU-T K.27)"
    ]
    assert problems(EARTH + "    - {name: L4, from: ER, to: E1, ohms: 1 mohm}\n") == [
        "plant.yaml:15:7: earth.bonds[3]: found bonds L3, L4 on the return of BR, "
        "expected one bond to earth for a d.c. return (ITU-T K.27, 3.2.10)"
    ]


def test_a_loop_on_paper_and_an_island(problems, tmp_path):
    def loads(text: str) -> None:
        (tmp_path / "good.yaml").write_text("plant: try\n" + text)
        load_plant(tmp_path / "good.yaml")

    points = EARTH.replace("    - {name: E1}\n", "    - {name: E1}\n    - {name: E2}\n")
    bonds = "    - {name: L4, from: E1, to: E2, ohms: 1 mohm}\n    - {name: L5, from: E2, to: EB, ohms: 1 mohm}\n"
    assert problems(points + bonds) == [
        "plant.yaml:17:7: earth.bonds[4]: found 'L5', which closes a loop: E2 - EB - E1 - E2, "
        "expected one way between two points; where loops are meant, 'mesh: true' at each of them (ITU-T K.27)"
    ]
    meant = points.replace("{name: EB, kind: bar}", "{name: EB, kind: bar, mesh: true}")
    meant = meant.replace("{name: E1}", "{name: E1, mesh: true}").replace("{name: E2}", "{name: E2, mesh: true}")
    loads(meant + bonds)
    assert problems(points) == [
        "plant.yaml:9:7: earth.points[2]: found 'E2', which no bond joins to EB, "
        "expected a bond from every point inside, by any way, to it"
    ]
    loads(points.replace("{name: E2}", "{name: E2, network: outside}"))
    # two bonds side by side are a loop too
    assert "closes a loop: E1 - EB" in problems(EARTH + "    - {name: L4, from: E1, to: EB, ohms: 1 mohm}\n")[0]


def test_bonds_join_two_earth_points_and_say_what_they_are(problems):
    more = """\
    - {name: L4, from: E1, to: BR, ohms: 1 mohm}
    - {name: L5, from: E1, to: E1, ohms: 1 mohm}
"""
    assert problems(EARTH + more) == [
        "plant.yaml:15:32: earth.bonds[3].to: found 'BR', a terminal of the kind busbar, expected an earth point; "
        "list the busbar as an earth point of the kind return-bar",
        "plant.yaml:16:32: earth.bonds[4].to: found 'E1', the same place as 'E1', expected another place",
    ]
    assert problems(EARTH + "    - {name: L4, from: E1, to: EB, size: 6 mm2}\n") == [
        "plant.yaml:15:7: earth.bonds[3]: found bond 'L4' with a mixture of 'size', 'length', 'ohms', "
        "expected 'size' and 'length', or 'ohms'"
    ]


W1 = "cables:\n  - {name: W1, type: C3, length: 2 m, from: J3, to: J3, pins: w1.csv}\n"
GOOD = "conductor,from_pin,to_pin,colour,status\n1,1,6,BN,\n2,2,7,BU,known\n3,cut,unknown,GNYE,\n"


def test_a_pin_list_is_taken(tmp_path):
    (tmp_path / "plant.yaml").write_text("plant: try\n" + TYPES + BAYS + W1)
    (tmp_path / "w1.csv").write_text(GOOD)
    plant = load_plant(tmp_path / "plant.yaml")
    ends = [
        (c.near and c.near.name, c.far and c.far.name, c.near_status, c.far_status)
        for c in plant.cables["W1"].conductors
    ]
    assert ends == [
        ("J3.1", "J3.6", "known", "known"),
        ("J3.2", "J3.7", "known", "known"),
        (None, None, "cut", "unknown"),
    ]


def test_cells_of_a_pin_list(problems):
    rows = (
        "conductor,from_pin,to_pin,colour,status\n"
        "1,11,6,BN,\n"
        '2,"2",7,BNBU,maybe\n'
        "2,2,7,BU,\n"
        "2,3,8,BU,\n"
        "4,4,9,BU,\n"
        "3,5,,RD,\n"
    )
    assert problems(TYPES + BAYS + W1, w1=rows) == [
        "w1.csv:2:3: from: found pin '11', expected a pin of J3: one of '1', '2', '3', '4', '5', '6', '7', '8', '9'; "
        "did you mean '1'?",
        "w1.csv:3:14: status: found 'maybe', expected one of 'known', 'claimed', 'unknown'",
        "w1.csv:5:1: conductor: found conductor 2 again, expected each conductor once",
        "w1.csv:6:1: conductor: found '4', expected a conductor from 1 to 3",
        "w1.csv:7:1: to: found nothing, expected a pin, 'cut' or 'unknown'",
        "w1.csv:7:6: colour: found 'RD', expected 'green-yellow', the colour of conductor 3",
    ]


def test_lines_of_a_pin_list(problems):
    assert problems(TYPES + BAYS + W1, w1="conductor,from_pin,to-pin,kolour\n1,1,6,BN\n") == [
        "w1.csv:1:27: found the column 'kolour', expected one of 'conductor', 'from_pin', 'to_pin', 'colour', "
        "'status', 'from_status', 'to_status', 'from_flag', 'to_flag', 'size', 'length', 'remark'; "
        "did you mean 'colour'?"
    ]
    assert problems(TYPES + BAYS + W1, w1="conductor,from_pin\n1,1\n") == [
        "w1.csv:1:1: found no column 'to_pin', expected the columns conductor, from_pin, to_pin and others"
    ]
    assert problems(TYPES + BAYS + W1, w1=GOOD.replace("2,2,7,BU,known", "2,2,7")) == [
        "w1.csv:3:1: found 3 cells, expected 5 cells, as the first line has columns"
    ]
    assert problems(TYPES + BAYS + W1, w1="") == [
        "w1.csv: found an empty file, expected a line with the columns conductor, from_pin, to_pin"
    ]
    assert problems(TYPES + BAYS + W1, w1=GOOD.replace("2,2,7,BU,known", '2,2,7,"BU')) == [
        "w1.csv:3:1: found CSV that cannot be read (unexpected end of data), expected valid CSV"
    ]
    assert problems(TYPES + BAYS + W1, w1=GOOD.replace("2,2,7,BU,known\n", "")) == [
        "plant.yaml:21:63: cables[0].pins: found no line for conductor 2 in w1.csv, "
        "expected one line for each of 3 conductors; a spare says 'cut'"
    ]


def test_a_pin_with_the_status_unknown_and_a_pin_that_is_taken(problems):
    rows = "conductor,from_pin,to_pin,status\n1,1,6,unknown\n2,2,7,\n3,2,8,\n"
    assert problems(TYPES + BAYS + W1, w1=rows) == [
        "w1.csv:2:3: from: found '1' with the status unknown, expected the status 'claimed', or 'unknown' for the pin",
        "w1.csv:2:5: to: found '6' with the status unknown, expected the status 'claimed', or 'unknown' for the pin",
        "w1.csv:4:3: from: found J3.2 for W1.3, where W1.2 ends, expected a pin for each conductor",
    ]


@pytest.mark.parametrize("path", ["../w1.csv", "/etc/passwd.csv", "sub/../../w1.csv"])
def test_a_path_may_not_leave_the_folder(problems, path):
    assert problems(TYPES + BAYS + W1.replace("w1.csv", path)) == [
        f"plant.yaml:21:63: cables[0].pins: found '{path}', which leads out of the job's folder, "
        "expected a path inside the job's folder such as 'pins/w214.csv'"
    ]


def test_a_link_may_not_leave_the_folder(problems, tmp_path):
    outside = tmp_path.parent / f"{tmp_path.name}-outside.csv"
    outside.write_text(GOOD)
    (tmp_path / "w1.csv").symlink_to(outside)
    found = problems(TYPES + BAYS + W1)
    assert [text.partition("found ")[2].partition(",")[0] for text in found] == ["'w1.csv'"]
    assert "leads out of the job's folder" in found[0]


def test_a_pin_list_that_is_not_there(problems):
    assert problems(TYPES + BAYS + W1, w11=GOOD) == [
        "plant.yaml:21:63: cables[0].pins: found no file 'w1.csv', expected a file that is there; "
        "did you mean 'w11.csv'?"
    ]
    assert problems(TYPES + BAYS + W1.replace("w1.csv", "w1.txt")) == [
        "plant.yaml:21:63: cables[0].pins: found 'w1.txt', expected a file that ends in .csv, or a name in 'pin-lists'"
    ]


def test_problems_of_form_type_sense_and_pin_lists_come_in_one_go(problems):
    text = TYPES.replace("idle: 0.5 A", "idle: 0.5") + BAYS.replace("{1: RX}", "{1: RX, 9: RX}") + W1
    text += "  - {name: W2, type: P25, length: 2 m, form: J1, to: J9}\n"
    text += "  - {name: W3, type: P25, length: 2 m, from: J1, to: J9}\n"
    assert problems(text, w1=GOOD.replace("1,1,6", "1,1,66")) == [
        "plant.yaml:9:22: card-types[0].idle: found '0.5', expected a current such as '2.5 A'",
        "plant.yaml:15:27: bays[0].shelves[0].cards.9: found a card in slot 9, expected a slot from 1 to 4",
        "plant.yaml:22:40: cables[1].form: found the field 'form', expected one of 'name', 'type', 'title', 'length', "
        "'length-tolerance', 'trays', 'from', 'to', 'from-status', 'to-status', 'pins', 'conductors' and 4 more; "
        "did you mean 'from'?",
        "plant.yaml:23:54: cables[2].to: found 'J9', expected a connector, or a terminal such as 'J101.12', 'F3.load' "
        "or 'BA.2'; 'cut' for what hangs loose, 'unknown' for what goes nobody knows where",
        "w1.csv:2:5: to: found pin '66', expected a pin of J3: one of '1', '2', '3', '4', '5', '6', '7', '8', '9'; "
        "did you mean '6'?",
    ]


def test_what_follows_from_an_unreadable_entry_is_not_said(problems):
    cables = "cables:\n  - {name: W1, type: P25, length: 2 m, from: J1, to: J2}\n"
    bays = BAYS.replace("{name: J2, type: R50}", "{name: J2, typ: R50}")
    assert (
        problems(TYPES + bays + cables)
        == [
            "plant.yaml:18:24: bays[0].shelves[0].connectors[1].typ: found the field 'typ', "
            "expected one of 'name', 'type', 'at', 'faces'; did you mean 'type'?",
            "plant.yaml:18:13: bays[0].shelves[0].connectors[1]: found no field 'type', expected the field 'type'",
        ][::-1]
    )


def test_broken_yaml_is_said_with_its_place(problems):
    assert problems("bays: [\n") == [
        "plant.yaml:3:1: found YAML that cannot be read (did not find expected node content), expected valid YAML"
    ]


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(BadFile, match="found no readable file"):
        load_plant(Path(tmp_path / "plant.yaml"))


def test_colours_and_layouts_of_types(problems):
    assert problems("cable-types:\n  - {name: C, colours: [BN, BRN, GNYEBU], size: AWG 20}\n") == [
        "plant.yaml:3:29: cable-types[0].colours[1]: found 'BRN', expected letters of IEC 60757: one of 'BK', 'BN', "
        "'RD', 'OG', 'YE', 'GN', 'BU', 'VT', 'GY', 'WH', 'PK', 'GD', 'TQ', 'SR', 'GNYE'",
        "plant.yaml:3:34: cable-types[0].colours[2]: found 'GNYEBU', "
        "expected no green with yellow: the pair of colours is kept for GNYE",
    ]
    assert problems("connector-types:\n  - {name: R, pins: 50, rows: 4}\n") == [
        "plant.yaml:3:5: connector-types[0]: found 50 pins in 4 rows, "
        "expected rows of equal length, or 'rows' written out"
    ]
    assert problems("connector-types:\n  - {name: R, rows: [[1, 2], [2, 3]]}\n") == [
        "plant.yaml:3:5: connector-types[0]: found pin 2 more than once, expected each pin once"
    ]


def test_names_are_plain(problems):
    assert problems('bays:\n  - name: "bay one"\n  - name: cut\n  - name: J1.2\n') == [
        "plant.yaml:3:11: bays[0].name: found the name 'bay one', "
        "expected letters, digits, '-', '_' or '+', at most 32, beginning with a letter or digit",
        "plant.yaml:4:11: bays[1].name: found the name 'cut', "
        "expected another name: this word has a meaning of its own",
        "plant.yaml:5:11: bays[2].name: found the name 'J1.2', "
        "expected letters, digits, '-', '_' or '+', at most 32, beginning with a letter or digit",
    ]


def test_a_misspelt_list_hides_nothing_but_what_follows_from_it(problems):
    cables = (
        "cables:\n  - {name: W1, type: P25, length: 2 m, from: J1, to: J2}\n  - {name: W1, type: P7, length: 2 m}\n"
    )
    assert problems(TYPES.replace("cable-types", "cabel-types") + BAYS + cables) == [
        "plant.yaml:5:1: cabel-types: found the field 'cabel-types', expected one of 'plant', 'title', 'about', "
        "'ambient', 'length-tolerance', 'contacts', 'connector-types', 'cable-types', 'card-types', 'shelf-input', "
        "'bays', 'feeds' and 7 more; did you mean 'cable-types'?",
        "plant.yaml:22:12: cables[1].name: found the name 'W1' again, expected each name once in the whole plant; "
        "it is the cable of line 21",
        "plant.yaml:22:22: cables[1].type: found 'P7', expected a cable type, but the plant has none",
    ]


def test_pins_of_no_connector_are_said_once(problems):
    rows = "conductor,from_pin,to_pin\n1,J3.1,6\n2,J3.2,7\n3,J3.3,8\n"
    assert problems(TYPES + BAYS + W1.replace("to: J3, ", ""), w1=rows) == [
        "w1.csv:2:8: to: found pin '6' of no connector, "
        "expected one connector in the cable's 'to', or a terminal such as 'J101.12'"
    ]
    assert problems(TYPES + BAYS + W1.replace("to: J3", "to: J33"), w1=rows) == [
        "plant.yaml:21:53: cables[0].to: found 'J33', expected a connector, or a terminal such as 'J101.12', 'F3.load' "
        "or 'BA.2'; 'cut' for what hangs loose, 'unknown' for what goes nobody knows where; did you mean 'J3'?"
    ]


def test_pin_lists_may_stand_in_the_file(tmp_path, problems):
    inline = W1.replace("pins: w1.csv", "pins: theirs") + (
        "pin-lists:\n  theirs:\n"
        "    - {conductor: 1, from: 1, to: 6}\n"
        "    - {conductor: 2, from: 2, to: J3.7}\n"
        "    - {conductor: 3, from: 33, to: cut}\n"
    )
    assert problems(TYPES + BAYS + inline) == [
        "plant.yaml:26:28: pin-lists.theirs[2].from: found pin '33', expected a pin of J3: "
        "one of '1', '2', '3', '4', '5', '6', '7', '8', '9'; did you mean '3'?"
    ]
    (tmp_path / "plant.yaml").write_text("plant: try\n" + TYPES + BAYS + inline.replace("33", "3"))
    plant = load_plant(tmp_path / "plant.yaml")
    assert [str(c.far) for c in plant.cables["W1"].conductors] == ["J3.6", "J3.7", "None"]


WHOLE = """\
connector-types:
  - {name: R50, pins: 50, rows: 2, pairs: halves}
  - {name: D9, rows: [[1, 2, 3, 4, 5], [6, 7, 8, 9]]}
cable-types:
  - {name: P25, pairs: 25, size: AWG 24, screen: AWG 22}
  - {name: PW, colours: [BU, BK], size: 2.5 mm2, class: 5}
card-types:
  - {name: RX, idle: 0.5 A, input-capacitance: 100 uF}
bays:
  - name: "1"
    shelves:
      - name: 1A
        slots: 4
        cards: {1-2: RX}
        inlets: [A]
        connectors:
          - {name: J1, type: R50}
          - {name: J2, type: R50}
      - name: 1B
        halves:
          - {name: 1B-L, connectors: [{name: J3, type: D9}]}
          - {name: 1B-R, slots: 1, inlets: [A], cards: {1: RX}}
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}
supplies:
  - {name: GA, feed: A, kind: battery, resistance: 8 mohm, fuse: 20 A, fuse-breaks: 10 kA}
busbars:
  - {name: BA, feed: A, at: "1"}
  - {name: BR, pole: return}
breakers:
  - {name: F1, feed: A, rating: 10 A, breaks: 10 kA, line-on: BA.2, at: "1"}
  - {name: F2, feed: A, rating: 6 A, breaks: 10 kA, line-on: BA.3, trips: B}
trays:
  - {name: T1, sections: [{name: 1}, {name: 2, length: 3 m}]}
cables:
  - {name: W1, type: P25, length: 2 m, from: J1, to: J2, trays: [T1.1], screen-from: E1}
  - name: W2
    type: PW
    length: 2 m
    from: [J3.1, J3.2]
    to: cut
    conductors:
      - {conductor: 2, from: J3.9, status: claimed}
  - {name: WG, type: PW, length: 3 m, from: [GA.feed, GA.return], to: [BA.1, BR.1]}
  - {name: W3, type: PW, length: 3 m, from: [F1.load, BR.2], to: [1A.A, 1A.A-return]}
  - {name: W4, type: PW, length: 3 m, from: [F2.load, BR.3], to: [1B-R.A, 1B-R.A-return]}
earth:
  single-point: L1
  points:
    - {name: EB, kind: bar}
    - {name: E1, at: "1"}
    - {name: ER, kind: return-bar, busbar: BR}
    - {name: X1, kind: building, network: outside}
  bonds:
    - {name: L1, from: EB, to: X1, size: 16 mm2, length: 5 m}
    - {name: L2, from: E1, to: EB, ohms: 1 mohm}
    - {name: L3, from: ER, to: EB, ohms: 1 mohm}
"""
WORDS = [*sorted(set(re.findall(r"[\w.-]+", WHOLE))), "cut", "unknown", "-1", "0", "[]", "{}", "null", "''", "9" * 30]


def test_the_whole_text_is_sound(tmp_path):
    (tmp_path / "plant.yaml").write_text("plant: try\n" + WHOLE)
    assert load_plant(tmp_path / "plant.yaml").remarks == ()


@pytest.mark.slow
@draws(300)
@given(
    st.lists(st.tuples(st.integers(0, 10_000), st.sampled_from(["drop", "double", *WORDS])), min_size=1, max_size=4),
)
def test_a_damaged_file_is_refused_with_places_or_is_a_plant(tmp_path_factory, damages):
    lines = WHOLE.splitlines()
    for number, damage in damages:
        number %= len(lines)
        words = list(re.finditer(r"[\w.-]+", lines[number]))
        if damage == "drop":
            lines[number] = ""
        elif damage == "double":
            lines.insert(number, lines[number])
        elif words:
            word = words[(number * 7 + len(damage)) % len(words)]
            lines[number] = lines[number][: word.start()] + damage + lines[number][word.end() :]
    path = tmp_path_factory.getbasetemp() / "damaged.yaml"
    path.write_text("plant: try\n" + "\n".join(lines) + "\n")
    try:
        plant = load_plant(path)
    except BadFile as bad:
        assert bad.problems
        assert all(problem.place.line for problem in bad.problems)
    else:
        assert all(plant.where(name) for name in plant.things)


def calls_of(path: Path) -> int:
    """How many calls it takes to refuse a plant file."""
    count = 0

    def counted(*_: object) -> None:
        nonlocal count
        count += 1

    sys.setprofile(counted)
    try:
        load_plant(path)
    except BadFile:
        pass
    finally:
        sys.setprofile(None)
    return count


@pytest.mark.parametrize("slip", ["unknown{n}: x\n", "  - {{name: B{n}, colour: red}}\n"], ids=["fields", "bays"])
@pytest.mark.slow
def test_refusing_takes_as_long_as_the_slips_are_many_and_no_more(tmp_path: Path, slip: str) -> None:
    path = tmp_path / "plant.yaml"
    takes = []
    for many in (500, 4000):
        head = "plant: p\n" + ("bays:\n" if slip.startswith(" ") else "")
        path.write_text(head + "".join(slip.format(n=n) for n in range(many)), "utf-8")
        takes.append(calls_of(path))
    assert takes[1] < 11 * takes[0], "eight times the slips; each against each would take 64 times as long"


def test_a_name_is_on_one_line(tmp_path: Path) -> None:
    path = tmp_path / "plant.yaml"
    path.write_text('plant: "a\\nb"\nbays: [{name: "B\\n1"}]\n', "utf-8")
    with pytest.raises(BadFile) as caught:
        load_plant(path)
    assert [(one.field, one.expected) for one in caught.value.problems] == [
        ("plant", "a name on one line"),
        ("bays[0].name", "a name on one line"),
    ]
