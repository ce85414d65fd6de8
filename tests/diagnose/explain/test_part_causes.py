"""Parts of connectors landed in another order: made in the circuit, read by every cross, told as one mistake."""

from __future__ import annotations

import pytest

from bench.diagnose.explain.causes import Mirrored, Open, PartOpen, Relanded, StrayJoin
from bench.diagnose.explain.records import explained
from bench.plant import faults as k
from bench.plant.resolve import resolve
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.connectors import numbered
from tests.diagnose.explain.damaged_plant import all_crosses, plant_of, walked

ONE = range(1, 10)
OTHER = range(10, 19)


def told(faults, pins=18, rows=1, cables=1):
    file = plant_of(pins, rows, cables)
    return explained([walked(file, faults, all_crosses(resolve(file)))])


@pytest.mark.parametrize(
    ("faults", "rows", "order", "words"),
    [
        (d.moved_along("K1", "W1", 8, 18, 1), 1, "moved along", "K1.8 to K1.17 are landed one place too high"),
        (d.moved_along("K1", "W1", 8, 18, -1), 1, "moved along", "K1.9 to K1.18 are landed one place too low"),
        (d.moved_along("K1", "W1", 1, 9, 1), 2, "moved along", "the wire for K1.9 meets nothing"),
        (d.exchanged_runs("K1", ONE, OTHER), 1, "exchanged", "K1.1 to K1.9 and those for K1.10 to K1.18"),
        (d.exchanged_runs("K1", range(1, 6), range(6, 11)), 1, "exchanged", "K1.1 to K1.5 and those for K1.6 to K1.10"),
        (d.end_for_end("K1", 1, 9), 2, "end for end", "K1.1 to K1.9 are landed end for end"),
        (d.neighbours("K1", 18), 1, "neighbours", "Every two neighbours among K1.1 to K1.18 are exchanged (1 with 2"),
        (d.counted_across("K1", 18, 2), 2, "counted across", "across its rows in place of along them"),
        (d.no_order("K1", range(1, 19), 3), 1, "no order", "proveout identify W1 --flags K1 --known RECORD"),
    ],
)
@pytest.mark.quick_cases(3)
def test_a_part_in_another_order_is_one_cause(faults, rows, order, words):
    (one,) = told(faults, rows=rows)
    (finding,) = one.explanation.findings
    assert isinstance(finding.cause, Relanded) and finding.cause.order == order
    assert words in finding.sentence
    assert one.explanation.unexplained == ()


def test_a_part_and_a_single_wire_are_two_causes():
    """What is beside the part is told beside it, and no wire is named twice."""
    (one,) = told([*d.moved_along("K1", "W1", 8, 18, 1), k.Open(conductor="W1.3")])
    assert {type(cause) for cause in one.explanation.causes} == {Relanded, Open}


def test_both_rows_exchanged_is_a_mirrored_connector_and_a_dead_row_a_dead_part():
    (one,) = told(d.exchanged_runs("K1", ONE, OTHER), rows=2)
    assert one.explanation.causes == (Mirrored("K1", "rows"),)
    (one,) = told([k.Open(conductor=f"W1.{wire}") for wire in OTHER], rows=2)
    assert isinstance(one.explanation.causes[0], PartOpen)


def test_three_wires_in_one_joint_are_one_cause():
    """On three connectors that one record holds: the joint is told once, with all three."""
    from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin
    from bench.diagnose.explain.search import explain

    ends = [(numbered(f"A{n}", 4), numbered(f"B{n}", 4)) for n in (1, 2, 3)]
    wires = tuple(
        Conductor(f"W{n}.{pin}", Pin(f"A{n}", str(pin)), Pin(f"B{n}", str(pin)))
        for n in (1, 2, 3)
        for pin in range(1, 5)
    )
    design = Design(tuple(a for a, _ in ends), tuple(b for _, b in ends), wires)
    own = {(wire.near, wire.far) for wire in wires}
    joint = {(Pin("A1", "2"), Pin("A2", "3")), (Pin("A2", "3"), Pin("A3", "4"))}
    explanation = explain(design, Measured(frozenset(own | joint), crosses="sampled"))
    (cause,) = explanation.causes
    assert isinstance(cause, StrayJoin) and len(cause.pins) == 3
