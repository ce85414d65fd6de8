"""When the probes sit still: simulated traces of hands and meters."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.runner.contact import FLOOR_OHM, HELD, OFF, OLDEST, OPEN_OHM, SAMPLES, Contact

OPEN: list[float | None] = [None, None, None]


def settled_at(
    values: list[float | None], *, rate: float = 20.0, resolution: float | None = 0.001, contact: Contact | None = None
) -> list[int]:
    """At which readings a contact settled, for readings that come ``rate`` times in a second."""
    detector = contact or Contact()
    return [n for n, value in enumerate(values) if detector.feed(n / rate, value, resolution)]


def hand(seconds: float, ohms: float, wobble: float, *, rate: float = 20.0, seed: int = 1) -> list[float | None]:
    """A contact under a hand: it wanders slowly, by so many ohms from end to end."""
    chance = random.Random(seed)
    phase = chance.random() * math.tau
    return [
        ohms + wobble / 2 * math.sin(phase + math.tau * 1.3 * n / rate) + chance.uniform(-1e-4, 1e-4)
        for n in range(int(seconds * rate))
    ]


def test_a_still_contact_settles_once() -> None:
    assert settled_at([*OPEN, *[0.857] * 100]) == [len(OPEN) + 5]


def test_it_takes_its_time_and_its_readings() -> None:
    at = settled_at([0.857] * 50, rate=100.0)[0]
    assert at / 100.0 == pytest.approx(HELD, abs=0.011)
    assert settled_at([0.857] * 50, rate=2.0) == [SAMPLES - 1]


def test_an_open_wire_never_settles() -> None:
    assert settled_at([None] * 200) == []
    chance = random.Random(2)
    damp: list[float | None] = [chance.choice([None, OPEN_OHM * chance.uniform(1, 40)]) for _ in range(200)]
    assert settled_at(damp) == []


def test_a_hand_that_presses_settles_and_one_that_trembles_does_not() -> None:
    assert settled_at([*OPEN, *hand(3.0, 0.857, 0.003)])
    assert settled_at([*OPEN, *hand(3.0, 0.857, 0.2)]) == []
    assert settled_at([*OPEN, *hand(1.0, 0.857, 0.2), *hand(1.0, 0.857, 0.002)]), "when it has come to rest"


def test_the_wobble_that_is_borne_grows_with_the_resistance() -> None:
    assert settled_at([*OPEN, *hand(3.0, 100.0, 0.2)])
    assert settled_at([*OPEN, *hand(3.0, 0.1, 0.2)]) == []


@pytest.mark.parametrize("resolution", [0.001, 0.01, 0.1])
def test_noise_in_a_coarse_meters_last_digit_is_no_wobble(resolution: float) -> None:
    chance = random.Random(3)
    noise: list[float | None] = [round(0.857 / resolution + chance.choice([-1, 0, 1])) * resolution for _ in range(60)]
    assert settled_at([*OPEN, *noise], resolution=resolution)
    rougher: list[float | None] = [0.857 + chance.choice([-9, 0, 9]) * resolution for _ in range(60)]
    assert settled_at([*OPEN, *rougher], resolution=resolution) == []


def test_a_touch_that_was_taken_is_never_taken_twice() -> None:
    contact = Contact()
    assert settled_at([*OPEN, *[0.857] * 20], contact=contact)
    contact.taken()
    assert contact.touch == "lift"
    assert settled_at([*[0.857] * 200, *[1.3] * 200], contact=contact) == [], "sliding to another pin is no lifting"
    assert settled_at([*OPEN, *[1.3] * 20], contact=contact)


def test_a_touch_of_before_is_not_taken_though_it_never_settled() -> None:
    contact = Contact()
    settled_at([*OPEN, 0.857, 0.857], contact=contact)
    contact.taken()
    assert settled_at([0.857] * 100, contact=contact) == []


def test_a_bounce_is_no_lifting() -> None:
    contact = Contact()
    contact.taken()
    bounces: list[float | None] = [0.857, 0.857, *[None] * (OFF - 1)] * 50
    assert settled_at(bounces, contact=contact) == []
    assert contact.touch == "lift"


def test_a_bounce_begins_the_count_anew() -> None:
    trace: list[float | None] = [*OPEN, *[0.857] * 4, None, *[0.857] * 20]
    assert settled_at(trace) == [len(OPEN) + 4 + 1 + 5]


def test_a_settled_contact_settles_again_only_after_it_was_off() -> None:
    assert len(settled_at([*OPEN, *[0.857] * 20, *[2.0] * 100])) == 1
    assert len(settled_at([*OPEN, *[0.857] * 20, *OPEN, *[2.0] * 100])) == 2


@pytest.mark.parametrize("rate", [1.0, 2.5, 5.0, 20.0, 100.0, 1000.0])
def test_slow_and_fast_meters_settle_alike(rate: float) -> None:
    count = int(max(10, rate * 2))
    at = settled_at([*OPEN, *[0.857] * count], rate=rate)
    assert len(at) == 1
    assert (at[0] - len(OPEN)) / rate <= max(HELD + 0.02, (SAMPLES - 1) / rate)


def test_readings_from_long_ago_do_not_count() -> None:
    """The meter was silent for a while: nobody knows what the probes did in between."""
    contact = Contact()
    contact.feed(0.0, 0.857, 0.001)
    contact.feed(0.1, 0.857, 0.001)
    contact.feed(0.2, 0.857, 0.001)
    assert not contact.feed(0.2 + OLDEST + 0.1, 0.857, 0.001)
    assert contact.settled < 1.0


def test_no_number_never_settles() -> None:
    assert settled_at([math.nan] * 50) == []


def test_a_negative_reading_of_a_nulled_meter_settles() -> None:
    assert settled_at([*OPEN, *[-0.001, -0.002] * 10])


def test_the_bar_goes_up_while_it_holds_and_down_when_it_slips() -> None:
    contact = Contact()
    bar = []
    for n in range(10):
        contact.feed(n / 20.0, 0.857, 0.001)
        bar.append(contact.settled)
    assert all(later >= earlier for earlier, later in pairwise(bar))
    assert bar[-1] == 1.0
    contact = Contact()
    for n in range(4):
        contact.feed(n / 20.0, 0.857, 0.001)
    high = contact.settled
    contact.feed(4 / 20.0, 1.2, 0.001)
    assert contact.settled < high
    contact.feed(5 / 20.0, None, 0.001)
    assert contact.settled == 0.0


@given(
    st.lists(st.one_of(st.none(), st.floats(0.0, 2.0), st.just(0.5)), max_size=200),
    st.floats(1.0, 200.0),
)
def test_whatever_comes_a_touch_counts_once_and_only_when_still(trace: list[float | None], rate: float) -> None:
    times = settled_at(trace, rate=rate)
    for earlier, later in pairwise(times):
        between = trace[earlier:later]
        assert any(all(value is None for value in between[n : n + OFF]) for n in range(len(between) - OFF + 1))
    for at in times:
        held = [value for value in trace[max(0, at - SAMPLES + 1) : at + 1] if value is not None]
        assert len(held) == SAMPLES
        assert max(held) - min(held) <= max(FLOOR_OHM, 0.003, 0.004 * held[-1]) + 1e-12
