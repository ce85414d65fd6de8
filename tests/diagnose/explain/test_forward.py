"""Causes run forward, each against a map worked out by hand."""

import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    ConnectorsExchanged,
    Mirrored,
    Moved,
    Open,
    PairReversed,
    PairsExchanged,
    PairsSplit,
    PinsExchanged,
    Shifted,
    StrayJoin,
    Unplugged,
)
from bench.diagnose.explain.forward import differences, predict
from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin
from tests.diagnose.explain.connectors import numbered


def two_cables():
    """Two cables of six wires on connectors of two rows: 1 2 3 over 4 5 6; pairs 1-2, 3-4, 5-6."""
    near = (numbered("A", 6, 2), numbered("C", 6, 2))
    far = (numbered("B", 6, 2), numbered("D", 6, 2))
    wires = [
        Conductor(f"{a}{k}", Pin(a, str(k)), Pin(b, str(k)), f"{a}p{(k + 1) // 2}", f"{a}{b}")
        for a, b in (("A", "B"), ("C", "D"))
        for k in range(1, 7)
    ]
    return Design(near, far, tuple(wires))


def shown(design, *causes):
    """The predicted map as text: near pin and the far pins that it reaches."""
    found = {}
    for a, b in predict(design, causes):
        found.setdefault(str(a), []).append(str(b))
    return {a: " ".join(sorted(bs)) for a, bs in sorted(found.items())}


STRAIGHT = {f"{a}.{k}": f"{b}.{k}" for a, b in (("A", "B"), ("C", "D")) for k in range(1, 7)}


def but(**changes):
    """The straight map with some lines changed; None takes a line away."""
    changed = {**STRAIGHT, **{k.replace("_", "."): v for k, v in changes.items()}}
    return {k: v for k, v in changed.items() if v is not None}


@pytest.mark.parametrize(
    ("causes", "expected"),
    [
        ([], STRAIGHT),
        ([PinsExchanged(("A1", "C2"))], but(A_1="D.2", C_2="B.1")),
        ([PairReversed("Ap2")], but(A_3="B.4", A_4="B.3")),
        ([PairsSplit(("A1", "A3"))], but(A_1="B.3", A_3="B.1")),
        ([PairsExchanged(("Ap1", "Cp3"))], but(A_1="D.5", A_2="D.6", C_5="B.1", C_6="B.2")),
        ([PairsExchanged(("Ap1", "Cp3"), True)], but(A_1="D.6", A_2="D.5", C_6="B.1", C_5="B.2")),
        # 1 sits where 3 belongs, 2 where 1 belongs, 3 where 2 belongs.
        ([Moved(("A1", "A2", "A3"))], but(A_1="B.3", A_2="B.1", A_3="B.2")),
        ([Moved(("A1",), Pin("B", "2"))], but(A_1="B.2", A_2="B.2")),
        ([Moved(("A1",), Pin("A", "2"), "near")], but(A_1=None, A_2="B.1 B.2")),
        ([Open("C4")], but(C_4=None)),
        ([Bridged((Pin("B", "1"), Pin("B", "2")))], but(A_1="B.1 B.2", A_2="B.1 B.2")),
        ([Open("A1"), Bridged((Pin("B", "1"), Pin("B", "2")))], but(A_1=None, A_2="B.1 B.2")),
        ([StrayJoin((Pin("A", "1"), Pin("D", "6")))], but(A_1="B.1 D.6", C_6="B.1 D.6")),
        (
            [Shifted("B", 1)],
            but(A_1="B.2", A_2="B.3", A_3=None, A_4="B.5", A_5="B.6", A_6=None),
        ),
        (
            [Shifted("B", -1, "rows")],
            but(A_1=None, A_2=None, A_3=None, A_4="B.1", A_5="B.2", A_6="B.3"),
        ),
        (
            [Shifted("B", 2, "count")],
            but(A_1="B.3", A_2="B.4", A_3="B.5", A_4="B.6", A_5=None, A_6=None),
        ),
        # At the near end the socket shows the wires of the pins before it.
        (
            [Shifted("A", 1)],
            but(A_1=None, A_2="B.1", A_3="B.2", A_4=None, A_5="B.4", A_6="B.5"),
        ),
        (
            [Mirrored("D", "ends")],
            but(C_1="D.3", C_3="D.1", C_4="D.6", C_6="D.4"),
        ),
        (
            [Mirrored("D", "rows")],
            but(C_1="D.4", C_2="D.5", C_3="D.6", C_4="D.1", C_5="D.2", C_6="D.3"),
        ),
        (
            [Mirrored("D", "both")],
            but(C_1="D.6", C_2="D.5", C_3="D.4", C_4="D.3", C_5="D.2", C_6="D.1"),
        ),
        (
            [Mirrored("D", "ends"), Shifted("D", 1)],
            but(C_1=None, C_2="D.3", C_3="D.2", C_4=None, C_5="D.6", C_6="D.5"),
        ),
        ([Unplugged("D")], {k: v for k, v in STRAIGHT.items() if k.startswith("A")}),
        (
            [ConnectorsExchanged(("B", "D"))],
            {f"{a}.{k}": f"{b}.{k}" for a, b in (("A", "D"), ("C", "B")) for k in range(1, 7)},
        ),
        # The plug brings its own faults into the other socket.
        (
            [PinsExchanged(("A1", "A2")), Unplugged("D"), ConnectorsExchanged(("B", "D"))],
            {"A.1": "D.2", "A.2": "D.1", **{f"A.{k}": f"D.{k}" for k in range(3, 7)}},
        ),
    ],
)
def test_each_cause_makes_the_map_worked_out_by_hand(causes, expected):
    assert shown(two_cables(), *causes) == expected


def test_a_turned_cable_shows_where_its_map_is_not_its_own_inverse():
    a, b = numbered("A", 3), numbered("B", 3)
    to = {"1": "2", "2": "3", "3": "1"}
    design = Design((a,), (b,), tuple(Conductor(f"w{k}", Pin("A", k), Pin("B", v), cable="X") for k, v in to.items()))
    assert shown(design, CableTurned("X")) == {"A.2": "B.1", "A.3": "B.2", "A.1": "B.3"}


def test_wires_that_share_a_pin_are_one_common():
    a, b = numbered("A", 3), numbered("B", 3)
    design = Design(
        (a,),
        (b,),
        (
            Conductor("r1", Pin("A", "1"), Pin("B", "1")),
            Conductor("r2", Pin("A", "2"), Pin("B", "1")),
            Conductor("w", Pin("A", "3"), Pin("B", "3")),
        ),
    )
    assert shown(design) == {"A.1": "B.1", "A.2": "B.1", "A.3": "B.3"}
    assert shown(design, Open("r2")) == {"A.1": "B.1", "A.3": "B.3"}


def test_differences_are_counted_on_tested_pairs_only():
    design = two_cables()
    whole = predict(design)
    missing = (Pin("A", "1"), Pin("B", "1"))
    seen = Measured(whole - {missing})
    found = differences(design, seen)
    assert [str(d) for d in found] == ["A.1 to B.1 does not conduct"]
    unseen = Measured(whole - {missing}, not_tested=frozenset([Pin("A", "1")]))
    assert differences(design, unseen) == ()
    sampled = Measured(
        frozenset([(Pin("A", "2"), Pin("B", "3"))]),
        crosses="sampled",
        parted=frozenset([(Pin("C", "1"), Pin("D", "1"))]),
    )
    assert {str(d) for d in differences(design, sampled)} == {
        "A.2 to B.3 conducts",
        "C.1 to D.1 does not conduct",
    }


def test_names_that_the_design_lacks_are_told():
    design = two_cables()
    for cause, told in [
        (Open("nix"), "no conductor nix"),
        (PairReversed("nix"), "no pair nix"),
        (Mirrored("nix", "ends"), "no connector nix"),
        (CableTurned("nix"), "no cable nix"),
        (Moved(("A1",), Pin("B", "77")), "no pin B.77"),
        (ConnectorsExchanged(("A", "B")), "not on one side"),
    ]:
        with pytest.raises(DiagnoseError, match=told):
            predict(design, [cause])
    with pytest.raises(DiagnoseError, match=r"A\.99"):
        differences(design, Measured(frozenset([(Pin("A", "99"), Pin("B", "1"))])))
    with pytest.raises(DiagnoseError, match="not tested"):
        differences(design, Measured(predict(design), not_tested=frozenset([Pin("A", "1")])))


def test_designs_are_checked_and_every_fault_is_told_at_once():
    a, b = numbered("A", 2), numbered("B", 2)
    with pytest.raises(DiagnoseError) as told:
        Design(
            (a,),
            (b,),
            (
                Conductor("w", Pin("A", "1"), Pin("B", "9"), "p"),
                Conductor("w", Pin("X", "1"), Pin("B", "1")),
            ),
        )
    for part in ("B.9", "X.1", "conductor w appears twice", "pair p has 1"):
        assert part in str(told.value)
    pair = (Pin("A", "1"), Pin("B", "1"))
    with pytest.raises(DiagnoseError, match="both as joined and as parted"):
        Measured(frozenset([pair]), parted=frozenset([pair[::-1]]))
    with pytest.raises(DiagnoseError, match="itself"):
        Measured(frozenset([(pair[0], pair[0])]))
    with pytest.raises(DiagnoseError, match="expected 'all' or 'sampled'"):
        Measured(frozenset(), crosses="some")
