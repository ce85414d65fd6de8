"""The plant as handled: one value, what an act makes of it, and what two records say together."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.plant.handled import STATES, UNKNOWN, Change, Handled, merge

NOON = "2026-05-12T12:00:00.000000Z"


def closed(name: str) -> Change:
    return Change("breaker", name, "closed")


def opened(name: str) -> Change:
    return Change("breaker", name, "open")


def test_what_nobody_spoke_of_is_unknown() -> None:
    assert Handled().state("breaker", "FA") == UNKNOWN
    assert Handled().said("breaker", "FA") == ()
    assert Handled().closed == frozenset()


def test_an_act_says_what_who_and_when() -> None:
    handled = Handled(record="monday").after([closed("FA"), Change("card", "2A/1", "out", ("tray 3",))], 7, "Ana", NOON)
    (mark,) = handled.said("breaker", "FA")
    assert (mark.change.state, mark.by, mark.at, mark.record, mark.n) == ("closed", "Ana", NOON, "monday", 7)
    assert handled.said("card", "2A/1")[0].change.where == ("tray 3",)
    assert handled.closed == {"FA"} and handled.out == {"2A/1"} and handled.seen == {"monday": 7}


def test_the_last_of_one_act_counts() -> None:
    assert Handled().after([closed("FA"), opened("FA")]).state("breaker", "FA") == "open"


def test_nothing_done_is_the_very_same_value() -> None:
    handled = Handled().after([closed("FA")])
    assert handled.after([]) is handled


def test_a_state_that_such_a_thing_never_has_is_refused() -> None:
    with pytest.raises(ValueError, match="a bond is never 'closed'"):
        Change("bond", "L1", "closed")
    assert Handled().after([Change("bond", "L1", UNKNOWN)]).state("bond", "L1") == UNKNOWN


def test_an_output_that_may_be_on_counts_as_on() -> None:
    handled = Handled().after([Change("output", "supply", "may be on")])
    assert handled.on == {"supply"}
    assert handled.after([Change("output", "supply", "off")]).on == frozenset()


def test_two_records_that_know_nothing_of_one_another_contradict() -> None:
    before = Handled(record="monday").after([opened("FA")], 1, "Ana", NOON)
    one = before.in_record("left laptop").after([closed("FA")], 3, "Ana", NOON)
    other = before.in_record("right laptop").after([Change("breaker", "FA", "locked off")], 2, "Ben", NOON)
    both = merge(one, other)
    assert both.state("breaker", "FA") == UNKNOWN
    assert both.disputed == (("breaker", "FA"),)
    assert [mark.by for mark in both.said("breaker", "FA")] == ["Ana", "Ben"]
    looked = both.in_record("friday").after([opened("FA")], 1, "Cleo", NOON)
    assert looked.state("breaker", "FA") == "open" and not looked.disputed
    assert merge(looked, one) == looked, "what was looked at since is not undone by an old copy"


def test_two_records_that_say_the_same_agree() -> None:
    one = Handled(record="a").after([closed("FA")], 1)
    other = Handled(record="b").after([closed("FA")], 1)
    assert merge(one, other).closed == {"FA"} and not merge(one, other).disputed


def test_whoever_did_not_speak_of_a_thing_takes_nothing_away() -> None:
    before = Handled(record="monday").after([closed("FA")], 1)
    one = before.in_record("tuesday").after([opened("FA")], 1)
    other = before.in_record("wednesday").after([closed("FB")], 1)
    assert merge(one, other).state("breaker", "FA") == "open"
    assert merge(one, other).closed == {"FB"}


def test_who_looks_hears_what_is_said_otherwise() -> None:
    handled = Handled().after([closed("FA")], 4, "Ben", NOON)
    assert [mark.by for mark in handled.against(opened("FA"))] == ["Ben"]
    assert handled.against(closed("FA")) == () == handled.against(closed("FB"))


def test_it_is_plain_data() -> None:
    handled = Handled(record="monday").after(
        [closed("FA"), Change("output", "supply", "on", ("GA",), 48.0)], 3, "Ana", NOON
    )
    assert handled.closed == {"FA"}  # worked out once, and kept beside the fields
    assert msgspec.json.decode(msgspec.json.encode(handled), type=Handled) == handled


THINGS = [(kind, name) for kind in ("breaker", "bond") for name in "xyz"]


@st.composite
def histories(draw: st.DrawFn) -> list[Handled]:
    """Values as they come about: records that go on from a value, or from two that were merged."""
    found = [Handled()]
    for record in range(draw(st.integers(1, 6))):
        base = found[draw(st.integers(0, len(found) - 1))]
        if draw(st.booleans()):
            base = merge(base, found[draw(st.integers(0, len(found) - 1))])
        now = base.in_record(f"record {record}")
        for n in range(1, draw(st.integers(1, 3)) + 1):
            kind, name = draw(st.sampled_from(THINGS))
            now = now.after([Change(kind, name, draw(st.sampled_from(STATES[kind])))], n)
            found.append(now)
    return found


def content(handled: Handled) -> tuple[object, ...]:
    return handled.marks, handled.seen


@given(histories(), st.data())
def test_merging_does_not_depend_on_the_order(found: list[Handled], data: st.DataObject) -> None:
    one, two, three = (data.draw(st.sampled_from(found)) for _ in range(3))
    assert content(merge(one, one)) == content(one)
    assert content(merge(one, two)) == content(merge(two, one))
    assert content(merge(merge(one, two), three)) == content(merge(one, merge(two, three)))


@given(histories())
def test_what_was_taken_later_in_the_same_line_wins(found: list[Handled]) -> None:
    """To merge with what a value came from changes nothing."""
    for earlier in found:
        for later in found:
            if all(later.seen.get(record, -1) >= n for record, n in earlier.seen.items()):
                assert content(merge(earlier, later)) == content(later)
