"""When identical digits mean that a meter stands still, and when a sound one shows them too."""

from __future__ import annotations

import pytest

from bench.roles import ROLE_OF, UNIT_OF, Reads
from bench.runner.stuck import ALIKE, SAME_WHEN_SOUND, STUCK_AFTER, ZERO_WHEN_LIFTED, Digits
from bench.walk import events as e

MOVING = [one for one in ROLE_OF if one not in SAME_WHEN_SOUND]


def read(reads: Reads, value: float | None = 47.11, resolution: float | None = 0.01) -> e.Read:
    return e.Read(
        number=1,
        instrument="it",
        function=reads,
        unit=UNIT_OF[reads],
        value=value,
        over="" if value is not None else "+",
        resolution=resolution,
        range=100.0,
        raw=[],
    )


def taken(
    digits: Digits, reads: Reads, number: int, opened: bool = False, silent: bool = False, **figures: object
) -> int:
    """A reading at the place of this number; at how many places the digits were the same by then."""
    digits.taken(reads, (f"J{number}",), read(reads, **figures), opened=opened, silent=silent)  # type: ignore[arg-type]
    return len(digits.places)


@pytest.mark.parametrize("reads", MOVING)
def test_a_display_that_stands_still_while_the_probes_move_is_counted(reads: Reads) -> None:
    digits = Digits()
    for number in range(1, STUCK_AFTER + 1):
        digits.shown(47.11)
        assert taken(digits, reads, number) == number


@pytest.mark.parametrize("reads", MOVING)
@pytest.mark.parametrize("lifted", [None, 0.0, 47.10])
def test_one_that_showed_anything_else_in_between_is_alive(reads: Reads, lifted: float | None) -> None:
    digits = Digits()
    for number in range(9):
        digits.shown(lifted)
        digits.shown(47.11)
        assert taken(digits, reads, number) == 1


@pytest.mark.parametrize("reads", MOVING)
def test_what_nobody_looked_at_in_between_says_nothing_but_where_a_tester_is_silent(reads: Reads) -> None:
    digits = Digits()
    assert [taken(digits, reads, number) for number in range(4)] == [1, 1, 1, 1]
    digits = Digits()
    assert [taken(digits, reads, number, silent=True) for number in range(3)] == [1, 2, 3]


def test_one_place_that_is_read_again_and_again_is_one_place() -> None:
    digits = Digits()
    for _ in range(9):
        digits.shown(-53.4)
        assert taken(digits, "voltage", 1, value=-53.4) == 1


@pytest.mark.parametrize("reads", sorted(ZERO_WHEN_LIFTED))
@pytest.mark.parametrize(("value", "resolution"), [(0.0, None), (0.0, 0.01), (-0.1, 0.01), (0.03, 0.01)])
def test_a_dead_plant_reads_near_zero_everywhere_and_so_do_lifted_probes(
    reads: Reads, value: float, resolution: float | None
) -> None:
    digits = Digits()
    for number in range(9):
        digits.shown(value)
        assert taken(digits, reads, number, value=value, resolution=resolution) == 0


def test_a_resistance_of_nothing_everywhere_is_a_stuck_meter_since_lifted_probes_read_open() -> None:
    digits = Digits()
    for number in range(1, 4):
        digits.shown(0.0)
        assert taken(digits, "resistance", number, value=0.0) == number


@pytest.mark.parametrize("reads", sorted(SAME_WHEN_SOUND))
def test_a_room_may_stay_as_it_is(reads: Reads) -> None:
    digits = Digits()
    for number in range(9):
        digits.shown(47.11)
        assert taken(digits, reads, number) == 0  # type: ignore[arg-type]


def test_insulation_at_the_bottom_of_a_coarse_scale_may_be_alike() -> None:
    digits = Digits()
    for number in range(9):
        assert taken(digits, "insulation", number, silent=True, value=3e6, resolution=0.1e6) == 0


def test_over_range_everywhere_is_no_stuck_meter() -> None:
    digits = Digits()
    for number in range(9):
        digits.shown(None)
        assert taken(digits, "resistance", number, value=None) == 0


def test_relays_open_between_two_readings() -> None:
    digits = Digits()
    assert [taken(digits, "voltage", number, opened=True) for number in range(ALIKE)] == [1, 2]
    digits.forget()
    assert taken(digits, "voltage", 7, opened=True) == 1
