"""What an alarm contact tells: that it left where it rests, once; that it is back; that its meter is gone."""

from __future__ import annotations

import random
from typing import Literal

import pytest

from bench.runner.alarm_contacts import Contact, ContactPort, ContactTold
from bench.runner.instrument_port import InstrumentPort
from bench.runner.watching import Found, Lost, Seen


def contact(reads: Literal["resistance", "voltage"] = "resistance") -> Contact:
    def opener() -> object:
        raise AssertionError("nothing is opened here")

    return Contact(ContactPort("2A", "J111.12~J208.12", reads, InstrumentPort("alarm", opener, False)))  # type: ignore[arg-type]


def fed(one: Contact, values: list[float | None], begin: float = 0.0) -> list[ContactTold]:
    told = [one.take(Seen(0, begin + number / 10, value, 0.01)) for number, value in enumerate(values)]
    return [each for each in told if each is not None]


def steady(value: float, count: int, wide: float = 0.02) -> list[float | None]:
    rng = random.Random(1)
    return [value + rng.uniform(-wide, wide) for _ in range(count)]


@pytest.mark.parametrize(
    ("reads", "rest", "away"),
    [
        ("resistance", steady(0.3, 40), [None] * 100),
        ("resistance", [None] * 40, steady(0.3, 100)),
        ("voltage", steady(-53.5, 40), steady(0.0, 100)),
        ("voltage", steady(0.0, 40), steady(-53.5, 100)),
    ],
    ids=["opens", "closes", "loses its volts", "gets volts"],
)
def test_a_contact_that_leaves_its_rest_and_stays_away_has_tripped_once(
    reads: Literal["resistance", "voltage"], rest: list[float | None], away: list[float | None]
) -> None:
    told = fed(contact(reads), [*rest, *away, *rest])
    assert [one.tripped for one in told] == [True, False]
    assert told[0].thing == "2A" and told[0].at == pytest.approx(4.0)
    assert "back where it rests" in told[1].text and told[1].at == pytest.approx(14.0)


def test_one_that_chatters_has_tripped_once_and_one_that_trips_again_later_twice() -> None:
    rest = steady(0.3, 40)
    told = fed(contact(), [*rest, *([None] * 3 + rest[:3]) * 8, *rest * 4, *[None] * 20])
    assert [one.at for one in told if one.tripped] == pytest.approx([4.0, 24.8])


def test_one_that_is_oxidised_wanders_and_tells_nothing() -> None:
    rng = random.Random(2)
    assert fed(contact(), [*steady(0.3, 40), *(abs(rng.gauss(1.5, 1.5)) for _ in range(300))]) == []


def test_a_meter_that_is_lost_is_said_and_so_is_that_it_reads_again() -> None:
    one = contact()
    fed(one, steady(0.3, 40))
    lost = one.take(Lost((0,), 5.0, "alarm: The port is gone."))
    again = one.take(Found((0,), 9.0, "meter"))
    assert lost is not None and "is not read: alarm: The port is gone." in lost.text and not lost.tripped
    assert again is not None and "is read again" in again.text
    assert one.take(Found((0,), 10.0, "meter")) is None
    assert [each.tripped for each in fed(one, [None] * 5, 10.0)] == [True]
