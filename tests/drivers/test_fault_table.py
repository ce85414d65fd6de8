"""Each named trouble with each kind of instrument ends in a right reading or a clear stop: never in a wrong value."""

from __future__ import annotations

import pytest

from bench.instruments.ports.trouble import InstrumentTrouble
from tests.drivers.fault_table import NAMES, STOPS, TROUBLES, cannot, desk_for, outcome, table


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("trouble", TROUBLES)
def test_each_ends_well(name: str, trouble: str) -> None:
    assert outcome(name, trouble) in ("right", "retried", "-", *STOPS)


def test_there_are_enough_of_them_and_few_are_left_out() -> None:
    assert len(TROUBLES) >= 25
    for name in NAMES:
        assert sum(not cannot(name, trouble) for trouble in TROUBLES) >= 25, name


def test_all_three_ends_occur() -> None:
    cells = {text for row in table()[1:] for text in row[1:]}
    assert {"right", "retried", "silent", "garbled", "lost", "mismatch", "stranger"} <= cells


@pytest.mark.parametrize("name", [name for name in NAMES if desk_for(name).asked_in_lines and name != "scpi-supply"])
def test_a_trouble_that_is_not_undone_is_seen(name: str) -> None:
    """The table can fail: an answer that was made up in the instrument's own format counts as wrong."""
    desk = desk_for(name)
    before = desk.wire.mangle

    def lie(question: bytes, reply: bytes) -> list[tuple[float, bytes]]:
        if b"READ" in question or b"MEAS" in question or b"TEMP" in question:
            return [(0.0, reply.replace(b"1", b"7").replace(b"3", b"8").replace(b"2", b"6"))]
        return [(0.0, b"(@103)\n")] if b"CLOS" in question else before(question, reply)

    desk.wire.mangle = lie
    with pytest.raises((AssertionError, InstrumentTrouble)):
        for _ in range(5):
            desk.ask()
