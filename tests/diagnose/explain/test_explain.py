"""Explaining measured maps: the causes put in come out, and the map is always reproduced."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    ConnectorsExchanged,
    HighResistance,
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
from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin, pins_on
from bench.diagnose.explain.search import explain
from tests.diagnose.explain.connectors import numbered
from tests.diagnose.explain.wiring_damage import (
    BAD,
    KINDS,
    LIMIT,
    Damage,
    fanned,
    measured,
    names,
    ragged,
    scrambled,
    some_plant,
    straight,
)
from tests.drawn import draws

DESIGN = straight(4, 16, 2)


def test_a_right_map_needs_no_explanation():
    explanation = explain(DESIGN, Measured(predict(DESIGN)))
    assert (explanation.findings, explanation.unexplained, explanation.notes) == ((), (), ())


@pytest.mark.parametrize(
    ("cause", "told"),
    [
        (Shifted("B1", 1), "B1 sits 1 place to the right"),
        (Shifted("B1", -3), "B1 sits 3 places to the left"),
        (Shifted("B2", 1, "rows"), "B2 sits 1 place down"),
        (Shifted("B2", 2, "count"), "2 places too high in the numbering"),
        (Mirrored("B3", "ends"), "end for end"),
        (Mirrored("B3", "rows"), "rows in reversed order"),
        (Mirrored("B3", "both"), "half a turn"),
        (ConnectorsExchanged(("B1", "B4")), "The plugs of B1 and B4 are exchanged"),
        (ConnectorsExchanged(("B1", "B2", "B4")), "B2's plug is in the socket of B4"),
        (Unplugged("B2"), "Nothing arrives at B2"),
        (PairReversed("C1.3"), "Pair C1.3 is reversed: the wires for B1.5 and B1.6"),
        (PairsSplit(("C1w1", "C1w5")), "Pairs C1.1 and C1.3 are split"),
        (PairsExchanged(("C1.1", "C2.4")), "Pairs C1.1 and C2.4 are exchanged as a whole"),
        (PairsExchanged(("C1.1", "C2.4"), True), "has its two wires reversed as well"),
        (Moved(("C1w1", "C1w4", "C1w9")), "Wires have moved along"),
        (Moved(("C1w1",), Pin("B1", "7")), "The wire for B1.1 is landed on B1.7"),
        (Moved(("C1w1",), Pin("A1", "7"), "near"), "The wire for A1.1 is landed on A1.7"),
        (Open("C3w2"), "A3.2 to B3.2 is open"),
        (Bridged((Pin("B1", "1"), Pin("B1", "2"))), "B1.1 and B1.2 are joined"),
        (Bridged(tuple(Pin("B1", str(k)) for k in range(3, 9))), "B1.3, B1.4, B1.5, B1.6, B1.7 and B1.8 are joined"),
        (StrayJoin((Pin("B1", "3"), Pin("B2", "5"))), "B1.3 and B2.5 are joined and should not be"),
        (HighResistance(("C4w1",)), "A4.1 to B4.1 conducts, but its resistance is too high"),
    ],
)
def test_each_cause_alone_is_named_and_told(cause, told):
    explanation = explain(DESIGN, measured(DESIGN, [cause]))
    assert explanation.causes == (cause,)
    assert told in explanation.findings[0].sentence
    assert explanation.findings[0].pins
    assert explanation.unexplained == ()


def test_an_exchange_of_wires_without_pairs_has_its_plain_name():
    design = scrambled(3, 2, 24)
    bare = Design(design.near, design.far, tuple(Conductor(w.name, w.near, w.far) for w in design.conductors))
    cause = PinsExchanged(("C1w9", "C2w2"))
    assert explain(bare, measured(bare, [cause])).causes == (cause,)


def test_a_turned_cable_is_named():
    design = scrambled(5, 3, 24)
    assert explain(design, measured(design, [CableTurned("C2")])).causes == (CableTurned("C2"),)


def test_a_near_block_that_fans_out_is_blamed_once():
    design = fanned(4, 64, 4)
    for cause in (Shifted("K2", 2), Mirrored("K3", "rows"), ConnectorsExchanged(("K1", "K4"))):
        assert explain(design, measured(design, [cause])).causes == (cause,)


def test_faults_may_overlap():
    causes = [
        Mirrored("B2", "ends"),
        Shifted("B2", 2),
        ConnectorsExchanged(("B2", "B3")),
        PairReversed("C2.4"),
        Open("C3w9"),
        Bridged((Pin("B3", "9"), Pin("B3", "10"), Pin("B3", "11"))),
    ]
    explanation = explain(DESIGN, measured(DESIGN, causes))
    assert names(DESIGN, explanation.causes) == names(DESIGN, causes)


def test_one_connector_with_most_readings_high_is_one_cause():
    high = tuple(f"C1w{k}" for k in range(1, 14))
    explanation = explain(DESIGN, measured(DESIGN, [HighResistance(high)]))
    assert explanation.causes == (HighResistance(high),)
    assert "13 wires of B1 read too high together" in explanation.findings[0].sentence


def test_limits_by_conductor_go_before_the_general_one():
    joins = predict(DESIGN)
    ohms = {join: BAD for join in joins if join[0].connector == "A1" and join[0].name in ("1", "2")}
    seen = Measured(joins, resistances=ohms, limit=LIMIT, limits={"C1w2": BAD + 1})
    assert explain(DESIGN, seen).causes == (HighResistance(("C1w1",)),)
    turned = {(b, a): value for (a, b), value in ohms.items()}
    assert explain(DESIGN, Measured(joins, resistances=turned, limit=LIMIT)).causes == (
        HighResistance(("C1w1",)),
        HighResistance(("C1w2",)),
    )


# Partial maps.


def test_a_pin_that_was_not_tested_is_neither_joined_nor_open():
    skipped = frozenset(Pin("A1", str(k)) for k in (1, 2, 3)) | {Pin("B2", "5")}
    joins = frozenset(j for j in predict(DESIGN) if not skipped & set(j))
    explanation = explain(DESIGN, Measured(joins, not_tested=skipped))
    assert explanation.findings == ()
    assert explanation.notes == ("4 pins were not tested: neither joined nor open.",)


def test_an_exchange_with_one_end_not_tested_is_still_an_exchange():
    cause = PairsSplit(("C1w1", "C1w5"))
    skipped = Pin("A1", "1")
    joins = frozenset(j for j in predict(DESIGN, [cause]) if skipped not in j)
    explanation = explain(DESIGN, Measured(joins, not_tested=frozenset([skipped])))
    assert explanation.causes == (cause,)


@pytest.mark.parametrize(
    "cause",
    [
        Shifted("B1", 2),
        Mirrored("B2", "both"),
        ConnectorsExchanged(("B1", "B3")),
        Unplugged("B4"),
    ],
)
def test_plug_faults_are_named_when_a_third_of_the_pins_was_tested(cause):
    rng = random.Random(4)
    whole = predict(DESIGN, [cause])
    pins = [p for c in (*DESIGN.near, *DESIGN.far) for p in pins_on(c)]
    skipped = frozenset(rng.sample([p for p in pins if p.connector.startswith("A")], 42))
    joins = frozenset(j for j in whole if not skipped & set(j))
    explanation = explain(DESIGN, Measured(joins, not_tested=skipped))
    assert explanation.causes == (cause,)


def test_sampled_crosses_name_what_they_can_and_say_so():
    """Every wire tried against its own pin, and a few of the failures against more."""
    cause = Shifted("B1", 2)
    whole = predict(DESIGN, [cause])
    own = {(w.near, w.far) for w in DESIGN.conductors}
    crosses = {j for j in whole if j[0].name in ("1", "2", "3", "9") and j not in own}
    tried = own | crosses
    seen = Measured(frozenset(tried & whole), crosses="sampled", parted=frozenset(tried - whole))
    explanation = explain(DESIGN, seen)
    assert explanation.causes == (cause,)
    assert "Crosses were only sampled: 68 of 4096 pairs" in explanation.notes[0]


def test_own_pairs_alone_say_open_and_warn():
    own = {(w.near, w.far) for w in DESIGN.conductors}
    whole = predict(DESIGN, [PairReversed("C1.1")])
    seen = Measured(frozenset(own & whole), crosses="sampled", parted=frozenset(own - whole))
    explanation = explain(DESIGN, seen)
    assert explanation.causes == (Open("C1w1"), Open("C1w2"))
    assert "may be landed where nobody looked" in explanation.notes[0]


def test_a_shared_pin_that_was_not_tested_does_not_hide_an_open_wire():
    a, b = numbered("A", 3), numbered("B", 3)
    design = Design(
        (a,),
        (b,),
        (
            Conductor("w1", Pin("A", "1"), Pin("B", "1")),
            Conductor("w2", Pin("A", "2"), Pin("B", "1")),
            Conductor("w3", Pin("A", "2"), Pin("B", "2")),
            Conductor("w4", Pin("A", "3"), Pin("B", "3")),
        ),
    )
    joins = frozenset([(Pin("A", "2"), Pin("B", "2")), (Pin("A", "3"), Pin("B", "3"))])
    seen = Measured(joins, not_tested=frozenset([Pin("B", "1")]))
    explanation = explain(design, seen)
    assert differences(design, seen, explanation.causes) == ()
    assert len(explanation.causes) == 1 and isinstance(explanation.causes[0], Open)


# Maps that contradict themselves.


def test_a_reading_that_contradicts_others_is_left_unexplained():
    bridged = predict(DESIGN, [Bridged((Pin("B1", "1"), Pin("B1", "2")))])
    odd = (Pin("A1", "1"), Pin("B1", "2"))
    explanation = explain(DESIGN, Measured(bridged - {odd}))
    assert explanation.causes == (Bridged((Pin("B1", "1"), Pin("B1", "2"))),)
    assert [d.pins for d in explanation.unexplained] == [odd]
    assert "contradicts other readings" in explanation.notes[0]


SMALL = (straight(3, 6, 2), scrambled(2, 2, 24), ragged(2), fanned(2, 8, 2))


@st.composite
def any_map(draw):
    """A design and any relation between its pins, tested in any manner."""
    design = draw(st.sampled_from(SMALL))
    near = [p for c in design.near for p in pins_on(c)]
    far = [p for c in design.far for p in pins_on(c)]
    own = [(w.near, w.far) for w in design.conductors]
    pairs = st.one_of(
        st.sampled_from(own),
        st.tuples(st.sampled_from(near), st.sampled_from(far)),
        st.tuples(st.sampled_from(near), st.sampled_from(near)).filter(lambda p: p[0] != p[1]),
        st.tuples(st.sampled_from(far), st.sampled_from(far)).filter(lambda p: p[0] != p[1]),
    )
    lost = draw(st.sets(st.sampled_from(own), max_size=len(own)))
    joins = {tuple(sorted(p)) for p in (set(own) - lost) | draw(st.sets(pairs, max_size=8))}
    parted = {tuple(sorted(p)) for p in draw(st.sets(pairs, max_size=12))} - joins
    crosses = draw(st.sampled_from(["all", "sampled"]))
    not_tested = frozenset(draw(st.sets(st.sampled_from(near + far), max_size=12)))
    joins = {j for j in joins if not not_tested & set(j)}
    parted = {j for j in parted if not not_tested & set(j)}
    return design, Measured(frozenset(joins), not_tested, crosses, frozenset(parted))


@given(any_map())
@draws(300)
@pytest.mark.slow
def test_whatever_was_measured_is_reproduced_but_for_contradictions(case):
    design, seen = case
    explanation = explain(design, seen)
    left = differences(design, seen, explanation.causes)
    assert set(left) == set(explanation.unexplained)
    # What is left was found open between pins that other joins connect: nothing could make it.
    root = {p: p for c in (*design.near, *design.far) for p in pins_on(c)}

    def find(pin):
        while root[pin] != pin:
            pin = root[pin]
        return pin

    for a, b in seen.joins:
        root[find(a)] = find(b)
    for difference in left:
        assert not difference.joined
        assert find(difference.pins[0]) == find(difference.pins[1])


# Seeded damage. The full figures come from tests/benchmarks/bench_conductors.py.


@pytest.mark.slow
def test_injected_causes_are_named():
    named, cases = 0, 150
    for seed in range(cases):
        design = some_plant(seed)
        rng = random.Random(20_000 + seed)
        causes = Damage(design, rng).draw(rng.randint(1, 4))
        seen = measured(design, causes)
        explanation = explain(design, seen)
        assert not differences(design, seen, explanation.causes)
        assert not explanation.unexplained
        named += names(design, causes) == names(design, explanation.causes)
    assert named >= 0.99 * cases


@pytest.mark.slow
def test_dense_damage_is_reproduced_with_no_more_causes_than_were_made():
    lean, cases = 0, 160
    plants = (straight(4, 16, 2), straight(2, 32, 2), straight(4, 16, 1), straight(1, 64, 2))
    for seed in range(cases):
        design = plants[seed % 4]
        causes = Damage(design, random.Random(90_000 + seed), apart=False).draw(8)
        seen = measured(design, causes)
        explanation = explain(design, seen)
        assert not differences(design, seen, explanation.causes)
        assert not explanation.unexplained
        lean += len(explanation.causes) <= len(causes)
    assert lean >= 0.97 * cases


@pytest.mark.slow
def test_every_kind_of_damage_is_drawn():
    drawn = set()
    for seed in range(60):
        design = some_plant(seed)
        drawn |= {type(c) for c in Damage(design, random.Random(seed)).draw(4)}
    assert len(drawn) == len(KINDS)


def test_a_plant_of_ten_thousand_pins():
    design = straight(100, 100, 2)
    causes = [
        Mirrored("B7", "ends"),
        Mirrored("B20", "both"),
        Shifted("B7", -2),
        Shifted("B40", 1),
        Unplugged("B90"),
        ConnectorsExchanged(("B7", "B8")),
        ConnectorsExchanged(("B55", "B60")),
        PairReversed("C70.12"),
        PairsSplit(("C71w1", "C72w1")),
        Open("C73w9"),
        Bridged(tuple(Pin("B74", str(k)) for k in range(20, 26))),
        StrayJoin((Pin("B75", "3"), Pin("B76", "8"))),
    ]
    explanation = explain(design, measured(design, causes))
    assert names(design, explanation.causes) == names(design, causes)


def test_the_same_map_gives_the_same_words():
    causes = Damage(DESIGN, random.Random(8)).draw(4)
    assert explain(DESIGN, measured(DESIGN, causes)) == explain(DESIGN, measured(DESIGN, causes))
