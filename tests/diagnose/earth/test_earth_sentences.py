"""What is said at the rack, and the pictures."""

import math
from xml.etree import ElementTree

import numpy as np
import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.choose import routine_readings
from bench.diagnose.earth.fit import Case, Meter, Reading
from bench.diagnose.earth.hunt import Ask, Hunt
from bench.diagnose.earth.lifts import StrayPath, certify, cutting_plan, resistance
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.picture import layout, svg, text
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.sentences import (
    CAUTION,
    certificate_words,
    chance_words,
    fault_words,
    finding_words,
    ohms_words,
    plan_words,
    stretch_words,
    suspect_words,
    visibility_words,
)
from bench.diagnose.earth.visible import planned, visibility

METER = Meter()


@pytest.fixture(scope="module")
def hall():
    points = [
        Point("main", "main earth bar"),
        Point("be", "building earth", outside=True),
        *(Point(f"t{k}", f"cable tray at {5 * k} m", outside=True, run="tray T1", metres=5.0 * k) for k in range(4)),
        *(Point(f"b{k}", f"bay {k} frame") for k in range(1, 7)),
        Point("ret", "return <A> bar", is_return=True),
    ]
    bonds = [
        Bond("SPC", "main", "be", 0.5e-3),
        Bond("T0", "be", "t0", 1e-3),
        *(Bond(f"T{k}", f"t{k - 1}", f"t{k}", 1.5e-3) for k in range(1, 4)),
        *(Bond(f"E{k}", "main", f"b{k}", 1e-3 + 0.3e-3 * k) for k in range(1, 7)),
        Bond("R", "main", "ret", 0.8e-3),
    ]
    return BondNetwork(points, bonds, "main")


def read(network, strays, pairs=None, seed=3):
    rng = np.random.default_rng(seed)
    found = []
    for a, b in pairs or routine_readings(network):
        ohms = resistance(network, a, b, strays)
        shown = ohms + rng.normal() * float(METER.u(ohms))
        found.append(Reading(a, b, shown, float(METER.u(shown))))
    return found


def test_a_second_path_is_named_by_titles_with_its_size(hall):
    every = [(a.name, b.name) for n, a in enumerate(hall.points) for b in hall.points[:n]]
    posterior = explain(hall, read(hall, [StrayPath("b3", "t2", 12e-3)], every))
    said = suspect_words(posterior, posterior.suspects[0])
    assert said.startswith("a second path joins bay 3 frame to cable tray at 10 m, about 1")
    assert "mΩ" in said and "away from main earth bar" in said and said.endswith("%")


def test_along_a_run_the_stretch_is_named_to_the_next_known_points(hall):
    every = [(a.name, b.name) for n, a in enumerate(hall.points) for b in hall.points[:n]]
    posterior = explain(hall, read(hall, [StrayPath("b3", "t2", 2e-3)], every))
    assert posterior.suspects[0].chance > 0.95
    (said,) = stretch_words(posterior)
    assert said == (
        "look along tray T1 from 5 m to 15 m; points within: cable tray at 5 m, cable tray at 10 m"
        " and cable tray at 15 m"
    )


def test_each_kind_of_fault_has_its_words(hall):
    place = hall.index
    beside = Case(((place["main"], place["b1"]),))
    assert fault_words(hall, beside) == "a second conductor lies beside bond E1, main earth bar to bay 1 frame"
    poor = Case(poor=(hall.bond_index["E2"],))
    assert fault_words(hall, poor, (9e-3, 8e-3, 10e-3)) == (
        "bond E2 (main earth bar to bay 2 frame) is poor, about 9 mΩ (8 mΩ to 10 mΩ); 1.6 mΩ was designed"
    )
    assert fault_words(hall, Case(opened=(0,))) == "bond SPC (main earth bar to building earth) is open"
    inside = Case(((place["b1"], place["b2"]),))
    assert fault_words(hall, inside, (9e-3, 9e-3, 9e-3)) == (
        "a second path joins bay 1 frame to bay 2 frame, about 9 mΩ"
    )
    with pytest.raises(ValueError, match="one fault expected"):
        fault_words(hall, Case())
    assert [chance_words(c) for c in (0.999, 0.97, 0.004)] == ["over 99 %", "97 %", "under 1 %"]
    assert ohms_words(math.inf) == "open"


def test_a_clear_finding_says_what_could_not_be_seen(hall):
    hunt = Hunt.begin(hall, METER)
    rng = np.random.default_rng(5)
    taken = []
    while isinstance(ask := hunt.next(taken), Ask):
        ohms = resistance(hall, ask.a, ask.b)
        shown = ohms + rng.normal() * float(METER.u(ohms))
        taken.append(Reading(ask.a, ask.b, shown, float(METER.u(shown))))
    lines = finding_words(ask, visibility(hall, taken), 50e-3)
    assert lines[0] == f"nothing in these {len(taken)} readings points to a second path or a poor bond"
    assert any("50 mΩ would show at" in line for line in lines)
    assert any(line.startswith("lifting bond") for line in lines)
    assert lines[-1] == "without lifting, no reading proves that there is no poorer second path"


def test_where_everything_would_show_no_lift_is_named(hall):
    every = [(a.name, b.name) for n, a in enumerate(hall.points) for b in hall.points[:n]]
    lines = visibility_words(visibility(hall, planned(hall, every, Meter(1e-4, 1e-7))), 1e-3)
    assert lines[0].startswith("a second path of 1 mΩ would show at 100 %") and len(lines) == 2


def test_a_found_path_comes_with_the_lift_and_the_caution(hall):
    hunt = Hunt.begin(hall, METER)
    rng = np.random.default_rng(6)
    strays = [StrayPath("b5", "t1", 4e-3)]
    taken = []
    while isinstance(ask := hunt.next(taken), Ask):
        ohms = resistance(hall, ask.a, ask.b, strays)
        shown = ohms + rng.normal() * float(METER.u(ohms))
        taken.append(Reading(ask.a, ask.b, shown, float(METER.u(shown))))
    lines = finding_words(ask, visibility(hall, taken), 5e-3)
    assert lines[0].startswith("a second path joins bay 5 frame to cable tray")
    assert any(line.startswith("second crossing to the building's earth: over 99 %") for line in lines)
    assert any(line.startswith("to prove it, lift bond") for line in lines) and CAUTION in lines


def test_plans_in_words_begin_with_the_caution(hall):
    lines = plan_words(hall, cutting_plan(hall, [StrayPath("b3", "t2", 12e-3)]))
    assert lines[0] == CAUTION
    assert lines[1].startswith("lift bond") and lines[-1].startswith("put bond")
    assert lines[2].startswith("remove the second path bay 3 frame to cable tray at 10 m")
    assert "open is expected" in lines[2]
    assert plan_words(hall, cutting_plan(hall, [])) == []
    proof = certificate_words(hall, certify(hall))
    assert proof[0] == CAUTION and proof[1].startswith("lift 7 bonds, all at once")


def test_the_picture_is_sound_xml_and_tells_without_colour(hall):
    strays = [StrayPath("b3", "t2", 12e-3)]
    picture = svg(hall, strays, ["E4"], title="Hall & bars")
    root = ElementTree.fromstring(picture)
    space = "{http://www.w3.org/2000/svg}"
    (path,) = [e for e in root.iter(f"{space}path") if e.get("class") == "second-path"]
    assert path.get("stroke-dasharray")
    words = [e.text for e in root.iter(f"{space}text")]
    assert "second path 12 mΩ" in words and any(w and w.endswith("poor bond") for w in words)
    assert "return <A> bar" in words and "main earth bar" in words
    assert root.find(f"{space}title").text == "Hall & bars"
    outside = sum(point.outside for point in hall.points)
    assert sum(1 for _ in root.iter(f"{space}rect")) == 2 * outside + (len(hall.points) - outside - 1) + 1
    assert "second-path" not in svg(hall)


def test_the_rows_of_the_picture_do_not_collide(hall):
    placed = layout(hall)
    assert len(placed.rows) == len(hall.points) == len(set(placed.of.values()))
    assert placed.rows[0].point.name == "main" and placed.closing == ()
    for row in placed.rows:
        if row.parent is not None:
            assert placed.rows[row.parent].layer == row.layer - 1
    assert [row.layer for row in placed.rows if row.point.name == "t3"] == [5]


def test_loops_by_design_and_points_without_bonds_are_drawn():
    network = BondNetwork(
        [Point(n, mesh=True) for n in "abc"] + [Point("lone")],
        [Bond("X", "a", "b", 1e-3), Bond("Y", "b", "c", 1e-3), Bond("Z", "c", "a", 1e-3)],
        "a",
    )
    assert [bond.name for bond in layout(network).closing] == ["Y"]
    ElementTree.fromstring(svg(network, poor=["Y"]))
    lines = text(network, poor=["Y"])
    assert "lone" in lines and lines[-1] == "also bond Y: b to c, 1 mΩ POOR"


def test_the_drawing_in_text(hall):
    lines = text(hall, [StrayPath("b1", "t0", 12e-3)], ["E2"])
    assert lines[0] == "main earth bar (single-point connection)"
    assert "├─ building earth (outside)  500 µΩ" in lines
    assert "│  └─ cable tray at 0 m (outside)  1 mΩ <1>" in lines
    assert "├─ bay 1 frame  1.3 mΩ <1>" in lines
    assert "├─ bay 2 frame  1.6 mΩ POOR" in lines
    assert "└─ return <A> bar (return)  800 µΩ" in lines
    assert lines[-1] == "<1> second path: bay 1 frame - - - cable tray at 0 m, about 12 mΩ"
    with pytest.raises(DiagnoseError):
        text(hall, [StrayPath("b1", "nowhere", 1e-3)])
    with pytest.raises(DiagnoseError):
        svg(hall, poor=["nothing"])
