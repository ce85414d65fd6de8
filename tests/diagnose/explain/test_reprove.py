"""What to prove again after a repair."""

import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    Bridged,
    ConnectorsExchanged,
    HighResistance,
    Open,
    PairReversed,
    PairsSplit,
    Shifted,
    StrayJoin,
)
from bench.diagnose.explain.pin_map import Pin
from bench.diagnose.explain.reprove import reprove
from tests.diagnose.explain.wiring_damage import straight

# Two rows of eight: 1 to 8 over 9 to 16; pairs 1-2, 3-4, ...
DESIGN = straight(3, 16, 2)


def table(proofs):
    return {p.conductor: (p.why, p.apart) for p in proofs}


def test_an_open_wire_and_the_wires_around_it():
    found = table(reprove(DESIGN, [Open("C1w3")]))
    around = tuple(f"C1w{k}" for k in (2, 4, 10, 11, 12))
    assert found["C1w3"] == ("repaired", around)
    assert {c for c, (why, _) in found.items() if why == "neighbour"} == set(around)
    assert len(found) == 6


def test_exchanged_wires_are_both_proven_with_their_partners_and_neighbours():
    found = table(reprove(DESIGN, [PairsSplit(("C1w1", "C2w8"))]))
    assert {c for c, (why, _) in found.items() if why == "repaired"} == {"C1w1", "C2w8"}
    assert set(found["C1w1"][1]) == {"C1w2", "C1w9", "C1w10", "C2w8"}
    assert set(found["C2w8"][1]) == {"C2w7", "C2w15", "C2w16", "C1w1"}
    assert found["C1w2"][0] == found["C2w7"][0] == "neighbour"


def test_a_reversed_pair_is_proven_apart_from_itself():
    found = table(reprove(DESIGN, [PairReversed("C1.1")]))
    assert "C1w2" in found["C1w1"][1] and "C1w1" in found["C1w2"][1]


def test_a_plug_that_was_taken_out_is_proven_whole():
    causes = [ConnectorsExchanged(("B1", "B2")), Open("C3w1")]
    found = table(reprove(DESIGN, causes, [causes[0]]))
    assert set(found) == {w.name for w in DESIGN.conductors if w.cable in ("C1", "C2")}
    assert {why for why, _ in found.values()} == {"same connector"}
    shifted = table(reprove(DESIGN, [Shifted("B3", 1)]))
    assert set(shifted) == {w.name for w in DESIGN.conductors if w.cable == "C3"}


def test_parted_pins_are_proven_apart():
    causes = [Bridged(tuple(Pin("B1", k) for k in ("1", "2", "3")))]
    found = table(reprove(DESIGN, causes))
    assert set(found["C1w1"][1]) >= {"C1w2", "C1w3"}
    stray = table(reprove(DESIGN, [StrayJoin((Pin("B1", "5"), Pin("B2", "16")))]))
    assert "C2w16" in stray["C1w5"][1] and "C1w5" in stray["C2w16"][1]


def test_a_cleaned_connector_is_proven_whole():
    found = table(reprove(DESIGN, [HighResistance(("C1w1", "C1w2", "C1w3"))]))
    assert set(found) == {w.name for w in DESIGN.conductors if w.cable == "C1"}
    assert found["C1w1"][0] == "repaired" and found["C1w16"][0] == "same connector"


def test_only_the_connectors_where_hands_worked_count():
    both = reprove(DESIGN, [Open("C1w3")])
    one = reprove(DESIGN, [Open("C1w3")], ends=["B1"])
    none = reprove(DESIGN, [Open("C1w3")], ends=["B2"])
    assert [p.conductor for p in both] == [p.conductor for p in one]
    assert {p.conductor for p in none} == {"C1w3", "C1w4"}


def test_repaired_wires_come_first():
    order = [p.why for p in reprove(DESIGN, [Open("C2w9"), Shifted("B1", 1), Open("C2w1")])]
    assert order == sorted(order, key=["repaired", "neighbour", "same connector"].index)


def test_bad_input_is_told():
    with pytest.raises(DiagnoseError, match="was not among the causes"):
        reprove(DESIGN, [Open("C1w1")], [Open("C1w2")])
    with pytest.raises(DiagnoseError, match="no connector Z9"):
        reprove(DESIGN, [Open("C1w1")], ends=["Z9"])
