"""Naming the conductors of a cable, each way, with and without faults."""

import math
import random
from math import inf

import pytest
from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.chain import plan_chain
from bench.diagnose.identify.naming import Colours, Effort
from bench.diagnose.identify.sizes import plan_sizes
from bench.diagnose.identify.star import plan_star
from bench.diagnose.identify.tag import plan_tags
from bench.diagnose.identify.tags import Loop, Meter, Tag, drawer
from bench.diagnose.identify.ways import AtHand, ways
from bench.diagnose.script import Probe, SetUp, carry_out
from tests.diagnose.identify.cable_bench import Cable

LOOP, METER = Loop(0, 5), Meter(0.01, 1.0)
TAGS = drawer("E96", 0.01)
FINE = drawer("E96", 0.001)


def plan_for(way, cable, colours=None, **more):
    """A plan of one way for a cable, whose tags and meter get their errors."""
    cable.electric(TAGS, LOOP, METER)
    ends = cable.conductors, cable.flags
    if way == "tags":
        return plan_tags(*ends, TAGS, LOOP, METER, colours, **more)
    if way == "star":
        return plan_star(*ends, TAGS, LOOP, METER, colours, **more)
    if way == "chain":
        return plan_chain(*ends, colours=colours, **more)
    return plan_sizes(*ends, **more)


def run(way, cable, colours=None, **more):
    return carry_out(plan_for(way, cable, colours, **more).script(), cable.look)


def check(cable, result):
    """No end has a wrong name, every end is accounted for, and nothing broken is proven."""
    said = {**result.names, **result.by_elimination, **result.by_colour}
    assert {f: cable.truth[f] for f in said} == said
    for found in result.shorted:
        assert len({cable.part(f) for f in found.flags} | {cable.near_part(c) for c in found.conductors}) == 1
    assert not set(result.names.values()) & cable.opens
    spoken = {*said, *result.open_flags, *(s.flag for s in result.strange)}
    spoken |= {f for s in result.shorted for f in s.flags}
    spoken |= {f for a in result.ambiguous for f in a.flags}
    if not result.contradictions:
        assert spoken == set(cable.flags)


@pytest.mark.slow
@pytest.mark.parametrize("way", ["tags", "star", "chain", "sizes"])
def test_every_count_from_3_to_300_is_named(way):
    for size in range(3, 301):
        if way == "sizes" and size in (5, 9):
            continue
        cable = Cable(size, seed=size)
        result = run(way, cable, **({"bar": True} if way == "sizes" else {}))
        check(cable, result)
        assert {**result.names, **result.by_elimination} == cable.truth
        # one small count leaves a conductor that is alone both times, so that nothing proves it
        unproven = {"chain": (4,)}.get(way, ())
        assert result.complete == (size not in unproven)
        assert result.touches == cable.measured


@pytest.mark.slow
@pytest.mark.parametrize("way", ["tags", "star", "chain"])
def test_every_count_with_an_open_and_a_short(way):
    """Up to 120 every count, then some; the benchmark takes all up to 300."""
    for size in (*range(3, 121), *range(121, 301, 9)):
        opens, shorts = [(1, 0), (0, 1), (1, 1)][size % 3]
        cable = Cable(size, seed=900 + size, opens=opens, shorts=shorts)
        result = run(way, cable)
        check(cable, result)
        assert not result.complete
        if size >= 20:
            assert len(result.names) >= size - 2 * opens - 2 * shorts - 1


@pytest.mark.parametrize("way", ["tags", "star", "chain", "sizes"])
@pytest.mark.parametrize("faults", [(2, 0), (0, 2), (2, 1), (3, 2)])
@pytest.mark.quick_cases(4)
def test_several_faults_never_make_a_wrong_name(way, faults):
    sizes = (3, 4, 6, 7, 8, 11, 16, 23, 40, 75)
    if way in ("chain", "sizes") and faults[0] >= 2 and faults[1]:
        # In a tiny cable two broken conductors whose far parts touch imitate a sound pair.
        sizes = sizes[5:]
    for size in sizes:
        for seed in range(4):
            cable = Cable(size, 77_000 + 100 * size + seed, *faults)
            check(cable, run(way, cable))


def test_an_open_conductor_is_found_and_named_by_elimination():
    for way in ("tags", "star", "chain"):
        for seed in range(10):
            cable = Cable(21, seed, opens=1)
            result = run(way, cable)
            (gone,) = cable.opens
            flag = next(f for f, c in cable.truth.items() if c == gone)
            if way == "star" and gone == "c1":
                continue
            assert result.by_elimination == {flag: gone}, (way, seed)
            assert result.open_conductors == (gone,)


def test_joined_conductors_are_found_by_name():
    for way in ("tags", "star", "chain"):
        for seed in range(10):
            cable = Cable(30, seed, shorts=1)
            result = run(way, cable)
            a, b, _ = cable.shorts[0]
            flags = {f for f, c in cable.truth.items() if c in (a, b)}
            assert [set(s.flags) for s in result.shorted] == [flags], (way, seed)
            assert set(result.shorted[0].conductors) == {a, b}
            assert len(result.names) == 28


def test_sizes_that_differ_from_the_plan_name_nothing():
    for seed in range(10):
        broken = run("sizes", Cable(30, seed, opens=1))
        assert not broken.names
        assert "expected" in broken.contradictions[0]
        joined = run("sizes", Cable(30, seed, shorts=1))
        assert not joined.names
        assert {*joined.shorted[0].conductors} == {*Cable(30, seed, shorts=1).shorts[0][:2]}


def test_a_high_joint_is_strange_or_out_of_the_scale_but_never_a_name():
    """One conductor has 4 kohm in a joint: its end fits no tag or another's, and is not named so."""
    for seed in range(30):
        cable = Cable(24, seed)
        plan = plan_for("tags", cable)
        flag = cable.flags[seed % 24]
        look = cable.look

        def poor(request, flag=flag, look=look):
            value = look(request)
            if value is not None and getattr(request, "red", None) == (flag,):
                return value + 4000.0
            return value

        result = carry_out(plan.script(), poor)
        assert all(cable.truth[f] == c for f, c in result.names.items())
        assert len(result.names) >= 22


def test_a_short_to_the_common_is_told():
    cable = Cable(12, 4)
    plan = plan_for("tags", cable)
    flag = cable.flags[3]
    look = lambda r: 1.2 if getattr(r, "red", None) == (flag,) else cable.look(r)  # noqa: E731
    result = carry_out(plan.script(), look)
    assert [(s.flag, s.why) for s in result.strange] == [(flag, "joined to the common")]
    assert len(result.names) == 11


def test_an_end_that_could_not_be_measured_is_left_out():
    cable = Cable(12, 4)
    plan = plan_for("tags", cable)
    flag = cable.flags[3]
    look = lambda r: None if getattr(r, "red", None) == (flag,) else cable.look(r)  # noqa: E731
    result = carry_out(plan.script(), look)
    assert [(s.flag, s.why) for s in result.strange] == [(flag, "not measured")]
    assert result.by_elimination == {flag: cable.truth[flag]}


# The star.


def test_a_star_that_cannot_prove_its_direct_conductor_is_refused_or_ambiguous():
    ends = ("a", "b", "c"), ("1", "2", "3")
    lone = (Tag(100, 0.05), Tag(200_000, 0.05), Tag(400_000, 0.05))
    with pytest.raises(DiagnoseError, match="cannot prove which end is the direct one"):
        plan_star(*ends, lone, LOOP, METER)
    with pytest.raises(DiagnoseError, match="expected 3 or more"):
        plan_star(("a", "b"), ("1", "2"), TAGS, LOOP, METER)
    with pytest.raises(DiagnoseError, match="is not one of"):
        plan_star(*ends, TAGS, LOOP, METER, direct="z")


def test_ambiguous_readings_of_a_star_are_called_so():
    """Only the direct conductor and one other arrive: the two ends can be exchanged."""
    cable = Cable(3, 1)
    cable.opens = {"c3"}
    result = run("star", cable)
    assert result.names == {}
    assert result.ambiguous and set(result.ambiguous[0].flags) == {f for f, c in cable.truth.items() if c != "c3"}


def test_another_conductor_takes_the_place_of_a_broken_direct_one():
    for seed in range(8):
        cable = Cable(30, seed)
        cable.opens = {"c1"}
        result = run("star", cable)
        check(cable, result)
        assert result.trips == 2
        assert len(result.names) == 29


# The chain.


def test_a_chain_that_reads_both_ways_is_laid_anew():
    """The single of an odd chain is broken: nothing gives the chain its direction."""
    cable = Cable(15, 2)
    cable.opens = {"c15"}
    result = run("chain", cable)
    check(cable, result)
    assert result.trips >= 4
    assert len(result.names) == 14


@pytest.mark.slow
def test_a_very_large_cable():
    cable = Cable(2400, 1)
    result = run("chain", cable)
    assert {**result.names, **result.by_elimination} == cable.truth


def test_two_conductors_cannot_be_told_apart_by_clips():
    with pytest.raises(DiagnoseError, match="expected 3 or more"):
        plan_chain(("a", "b"), ("1", "2"))


@pytest.mark.parametrize("size", [3, 4, 5, 6, 9, 12])
def test_a_chain_with_one_wire_that_does_not_get_through_names_all_others(size):
    """Whichever it is; of three, two are left, which no clips tell apart."""
    for seed in range(40 * size, 40 * size + 6):
        cable = Cable(size, seed, 1)
        result = run("chain", cable)
        broken = next(flag for flag, name in cable.truth.items() if name in cable.opens)
        check_names(cable, result)
        # of four, one is alone on both trips: that may be what is left over, with nothing that proves it
        assert (result.open_flags or tuple(result.by_elimination)) == (broken,), seed
        assert set(result.open_conductors or result.by_elimination.values()) == cable.opens, seed
        if size > 3:
            assert len(result.names) == size - 1 and not result.ambiguous, seed
        else:
            (unsure,) = result.ambiguous
            assert set(unsure.flags) == set(cable.flags) - {broken}, seed
            assert set(unsure.conductors) == set(cable.conductors) - cable.opens, seed


def test_the_chain_with_single_probes():
    for size in (*range(3, 30), 61):
        cable = Cable(size, size)
        result = run("chain", cable, bar=False)
        assert {**result.names, **result.by_elimination} == cable.truth


# Sizes.


def test_sizes_with_a_known_conductor_do_2_5_and_9():
    for size in (1, 2, 5, 9, 12):
        cable = Cable(size, size)
        cable.truth["shield"] = "shield"
        cable.conductors += ("shield",)
        plan = plan_sizes(cable.conductors[:-1], cable.flags, known="shield")
        result = carry_out(plan.script(), cable.look)
        cable.truth.pop("shield")
        assert {**result.names, **result.by_elimination} == cable.truth
    with pytest.raises(DiagnoseError, match="cannot be told apart by two group sizes"):
        plan_sizes(("a", "b"), ("1", "2"))
    with pytest.raises(DiagnoseError, match="known at both ends"):
        plan_sizes(("a", "b", "c"), ("1", "2", "3"), known="a")


# Colours.


def coloured(cable, count, rng=None):
    """Colours for a cable: each conductor has one of so many."""
    near = {c: f"shade {k % count}" for k, c in enumerate(cable.conductors)}
    return Colours(near, {f: near[c] for f, c in cable.truth.items()})


def test_colours_cut_the_touches():
    for bar in (True, False):
        touches = []
        for count in (1, 4, 10, 50):
            cable = Cable(100, 3)
            result = run("chain", cable, coloured(cable, count), bar=bar)
            check(cable, result)
            assert not result.contradictions
            touches.append(result.touches)
        assert touches == sorted(touches, reverse=True)
        assert touches[-1] < 0.6 * touches[0]


def test_one_tag_serves_once_for_each_colour():
    tags = TAGS[::40]
    cable = Cable(60, 3)
    cable.electric(TAGS, LOOP, METER)
    plain = plan_tags(cable.conductors, cable.flags, tags, LOOP, METER)
    plan = plan_tags(cable.conductors, cable.flags, tags, LOOP, METER, coloured(cable, 10))
    assert len(plan.batches) == 1 < len(plain.batches)
    assert carry_out(plan.script(), cable.look).names == cable.truth


def test_a_colour_of_its_own_needs_no_touch_if_colours_are_trusted():
    cable = Cable(20, 3)
    colours = coloured(cable, 17)
    result = run("tags", cable, colours, trust_colours=True)
    check(cable, result)
    assert len(result.by_colour) == 14
    assert result.touches == 6
    assert {**result.names, **result.by_colour} == cable.truth


def test_colours_that_contradict_the_readings_are_flagged():
    for way in ("tags", "star", "chain"):
        cable = Cable(20, 3)
        colours = coloured(cable, 20)
        a, b = cable.flags[2], cable.flags[5]
        colours.far[a], colours.far[b] = colours.far[b], colours.far[a]
        result = run(way, cable, colours)
        assert {**result.names, **result.by_elimination} == cable.truth
        assert len(result.contradictions) == 2
        assert f"{a} reads as {cable.truth[a]}" in result.contradictions[0]
        odd = coloured(cable, 20)
        odd.far[a] = "shade 99"
        assert any("shade 99" in c for c in run(way, Cable(20, 3), odd).contradictions)


# Plans as data.


@pytest.mark.parametrize("way", ["tags", "star", "chain", "sizes"])
def test_a_plan_gives_cards_and_counts(way):
    cable = Cable(25, 1)
    plan = plan_for(way, cable)
    assert all(card.lines()[0] == "free every end" for card in plan.cards())
    assert {c.end for c in plan.cards()} == {"near", "far"}
    effort = plan.effort
    assert effort.walking == 300 and effort.double_check == 625
    assert effort.bound == pytest.approx(math.log2(math.factorial(25)))
    result = carry_out(plan.script(), cable.look)
    assert 0.6 * result.touches <= effort.touches <= 1.6 * result.touches


def test_the_cards_of_a_chain():
    near, far = plan_chain([f"c{k}" for k in range(1, 8)], [f"f{k}" for k in range(1, 8)]).cards()
    assert near.lines() == ("free every end", "join c1 + c2", "join c3 + c4", "join c5 + c6")
    assert far.lines() == (
        "free every end",
        "join P1a + S1",
        "join P1b + P2a",
        "join P2b + P3a",
    )


def test_more_conductors_than_tags_take_more_trips():
    cable = Cable(40, 3)
    cable.electric(FINE, LOOP, METER)
    few = FINE[:200:20]
    plan = plan_tags(cable.conductors, cable.flags, few, LOOP, METER)
    result = carry_out(plan.script(), cable.look)
    assert result.names == cable.truth
    assert result.trips == len(plan.batches) == 4
    star = plan_star(cable.conductors, cable.flags, few, LOOP, METER)
    again = Cable(40, 3).electric(FINE, LOOP, METER)
    assert carry_out(star.script(), again.look).names == again.truth


def test_the_best_way_comes_first():
    cable = Cable(40, 1)
    ends = cable.conductors, cable.flags
    assert [w.method for w in ways(*ends, AtHand(TAGS), common=True)] == [
        "tags",
        "star",
        "chain",
        "sizes",
    ]
    assert [w.method for w in ways(*ends, AtHand(TAGS))] == ["star", "chain", "sizes"]
    # what each really takes decides between those without tags
    by_hand = ways(*ends, AtHand(bar=False))
    assert [w.method for w in by_hand] == ["sizes", "chain"]
    assert by_hand[0].plan.effort.touches < by_hand[1].plan.effort.touches
    large = Cable(200, 1)
    assert [w.method for w in ways(large.conductors, large.flags, AtHand(bar=False))] == ["sizes", "chain"]
    assert [w.method for w in ways(("a", "b"), ("1", "2"), AtHand(TAGS), common=True)] == ["tags", "sizes"]
    with pytest.raises(DiagnoseError, match="expected 3 or more"):
        ways(("a", "b"), ("1", "2"))
    with pytest.raises(DiagnoseError, match="as many of both"):
        ways(("a", "b"), ("1",))


@pytest.mark.parametrize("way", ["tags", "star", "chain", "sizes"])
def test_the_same_answers_always_lead_to_the_same_request(way):
    cable = Cable(13, 6, opens=1)
    plan = plan_for(way, cable)
    asked, answers = [], []

    def noted(request):
        asked.append(request)
        answers.append(cable.look(request))
        return answers[-1]

    whole = carry_out(plan.script(), noted)
    again = iter(zip(asked, answers, strict=True))

    def same(request):
        expected, answer = next(again)
        assert request == expected
        return answer

    assert carry_out(plan.script(), same) == whole
    assert sum(isinstance(request, SetUp) for request in asked) == cable.set_ups


def test_effort_of_a_large_cable():
    assert Effort.of(100, 0).bound == pytest.approx(524.765, abs=1e-3)


def test_bad_ends_are_told():
    with pytest.raises(DiagnoseError, match="conductors named more than once: a"):
        plan_tags(("a", "a"), ("1", "2"), TAGS, LOOP, METER)
    with pytest.raises(DiagnoseError, match="none of the tags"):
        plan_tags(("a",), ("1",), [Tag(1, 0.1)], LOOP, METER)
    with pytest.raises(DiagnoseError, match="0 tags can be told apart"):
        plan_star(("a", "b", "c"), ("1", "2", "3"), [Tag(1, 0.1)], LOOP, METER)


def test_readings_at_the_edges_of_meter_and_tags_are_still_right():
    """Every error at its extreme, in one direction or the other."""
    for seed in range(20):
        cable = Cable(60, seed)
        plan = plan_for("tags", cable)
        rng = random.Random(seed)
        cable.tags = {t.ohms: t.within()[rng.randrange(2)] for t in TAGS}
        cable.rng = _Extremes(rng)
        assert carry_out(plan.script(), cable.look).names == cable.truth


class _Extremes:
    def __init__(self, rng):
        self._rng = rng

    def uniform(self, low, high):
        return (low, high)[self._rng.randrange(2)]


@pytest.mark.parametrize("bar", [True, False])
@pytest.mark.parametrize("plan", [plan_chain, plan_sizes])
@pytest.mark.quick_cases(2)
def test_far_parts_that_touch_never_make_up_for_open_ones(plan, bar):
    """Tiny cables, where joined far parts of open conductors can imitate the plan: told, or not named, never wrong."""
    for size in (3, 4, 6, 7, 8, 11):
        for seed in range(40):
            cable = Cable(size, 977 * seed + size, opens=1 + seed % 3, shorts=1 + seed % 2, sides=("far",))
            found = carry_out(plan(cable.conductors, cable.flags, bar=bar).script(), cable.look)
            said = {**found.names, **found.by_elimination}
            assert all(cable.truth[flag] == name for flag, name in said.items()), (size, seed)
            assert not found.complete


def slipping(cable, at, slip):
    """Hands whose reading number `at` is wrong: the red or the black probe on the next end, or no contact at all."""
    count = [0]

    def look(request):
        if not isinstance(request, Probe):
            return cable.look(request)
        count[0] += 1
        if count[0] != at:
            return cable.look(request)
        if slip == "no contact":
            return inf if request.wants == "ohms" else False
        names = cable.flags if request.end == "far" else cable.conductors
        first, *rest = getattr(request, slip)
        moved = replace(request, **{slip: (names[(names.index(first) + 1) % len(names)], *rest)})
        return 0.3 if moved.wants == "ohms" and moved.red == moved.black else cable.look(moved)

    return look


@pytest.mark.parametrize("faults", [(0, 0), (1, 0), (0, 1), (1, 1)])
@pytest.mark.parametrize("slip", ["red", "black", "no contact"])
@pytest.mark.quick_cases(3)
def test_one_slip_of_a_probe_in_a_star_never_makes_a_wrong_name(slip, faults):
    """Every reading slips once; among them the ones that once made a tagged end pass as the direct one."""
    for size, seed in ((5, 0), (5, 1), (12, 0)):
        whole = run("star", Cable(size, seed, *faults))
        for at in range(1, whole.touches + 1):
            cable = Cable(size, seed, *faults)
            script = plan_for("star", cable).script()
            check_names(cable, carry_out(script, slipping(cable, at, slip)), (size, seed, at))


@pytest.mark.parametrize("slip", ["red", "black"])
def test_one_slip_in_a_star_of_several_batches_never_makes_a_wrong_name(slip):
    few = FINE[:200:20]
    for at in range(1, 60, 2):
        cable = Cable(16, at, opens=at % 2).electric(FINE, LOOP, METER)
        script = plan_star(cable.conductors, cable.flags, few, LOOP, METER).script()
        check_names(cable, carry_out(script, slipping(cable, at, slip)), at)


def test_a_star_where_all_is_well_takes_no_reading_twice():
    for size in (6, 25, 80):
        cable = Cable(size, size)
        seen = []
        script = plan_for("star", cable).script()

        def look(request, cable=cable, seen=seen):
            if isinstance(request, Probe):
                seen.append(frozenset((*request.red, *request.black)))
            return cable.look(request)

        assert carry_out(script, look).complete
        assert len(seen) == len(set(seen))


@pytest.mark.parametrize("bar", [True, False])
@pytest.mark.parametrize(
    ("size", "opens", "shorts", "sides", "seed"),
    [
        (8, 1, 1, ("far",), 8592),
        (9, 3, 1, ("far",), 10596),
        (10, 1, 3, ("near", "far"), 11058),
        (11, 1, 1, ("near", "far"), 12921),
        (14, 5, 1, ("far",), 15086),
    ],
)
def test_dense_damage_that_once_gave_a_wrong_name_by_the_chain(size, opens, shorts, sides, seed, bar):
    """All that is apart from the others and gets through is named here, and rightly."""
    cable = Cable(size, seed, opens, shorts, sides)
    result = run("chain", cable, bar=bar)
    check_names(cable, result)
    bare = cable._bare()
    parts = [bare[end] for end in bare]
    sound = {f for f, c in cable.truth.items() if c not in cable.opens and parts.count(bare[c, "far"]) == 2}
    assert set(result.names) == sound and not result.complete


@pytest.mark.slow
def test_dense_damage_in_tiny_cables_never_makes_a_wrong_name_by_the_chain():
    for size in (3, 5, 8, 11):
        for opens in range(4):
            for shorts in range(4):
                for seed in range(6):
                    cable = Cable(size, 5_000_000 + 1000 * seed + 10 * opens + shorts, opens, shorts)
                    check_names(cable, run("chain", cable), (size, opens, shorts, seed))


def test_a_false_answer_after_a_fault_was_seen_decides_no_name_by_the_chain():
    """One answer is turned round, each in its turn, from the proof of the names on; one once gave a wrong name."""
    for at in range(100, 150):
        cable = Cable(15, 1, 1, 1)
        count = [0]

        def look(request, cable=cable, count=count, at=at):
            if not isinstance(request, Probe):
                return cable.look(request)
            count[0] += 1
            return cable.look(request) != (count[0] == at)

        check_names(cable, carry_out(plan_for("chain", cable).script(), look), at)


def check_names(cable, result, case=None):
    """No name is wrong, nor given to a conductor that does not get through; a guess by what is left over may be."""
    said = {**result.names, **result.by_elimination}
    assert {f: cable.truth[f] for f in said} == said, case
    assert not set(result.names.values()) & cable.opens, case


@pytest.mark.parametrize("bar", [True, False])
@pytest.mark.parametrize("size", [4, 6, 7, 12, 25, 40])
@pytest.mark.parametrize("plan", [plan_chain, plan_sizes])
def test_announced_readings_are_those_taken(plan, size, bar):
    """On the mean of cables whose order nobody knows, all sound."""
    taken = []
    for seed in range(12):
        cable = Cable(size, 900 + seed)
        made = plan(cable.conductors, cable.flags, bar=bar)
        taken.append(carry_out(made.script(), cable.look).touches)
    mean = sum(taken) / len(taken)
    assert abs(made.effort.touches - mean) <= 0.1 * mean + 1.5


def test_no_way_is_named_that_does_not_lead_there():
    """Two conductors are told apart by no clips at all, the chain's neither."""
    with pytest.raises(DiagnoseError, match="or with a tag"):
        plan_sizes(("a", "b"), ("1", "2"))
    with pytest.raises(DiagnoseError, match="or by the chain"):
        plan_sizes(tuple("abcde"), tuple("12345"))
