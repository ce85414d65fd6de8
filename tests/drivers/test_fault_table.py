"""Each named trouble with each kind of instrument ends in a right reading or a clear stop: never in a wrong value."""

from __future__ import annotations

import pytest

from bench.instruments.ports.trouble import InstrumentTrouble
from tests.drivers.fault_table import MEANT, NAMES, ROWS, SHIPPED, STOPS, cannot, outcome, rig_for, table
from tests.drivers.more_kinds import MORE

ENDS = ("right", "retried", "bounded", "anew", "-", *STOPS)


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("trouble", ROWS)
@pytest.mark.quick_cases(172)
def test_each_ends_well(name: str, trouble: str) -> None:
    assert outcome(name, trouble) in ENDS


@pytest.mark.parametrize("name", MORE)
@pytest.mark.quick_cases(4)
def test_each_ends_well_with_kinds_that_do_not_ship(name: str) -> None:
    for trouble in ROWS:
        assert outcome(name, trouble) in ENDS, trouble


def test_there_are_enough_of_them_and_few_are_left_out() -> None:
    assert len(ROWS) >= 40
    for name in NAMES:
        assert sum(not cannot(name, trouble) for trouble in ROWS) >= 25, name
    # what an honest instrument that is set wrongly makes of it is tried with each kind that it can happen to
    for trouble in MEANT:
        assert sum(not cannot(name, trouble) for name in NAMES) >= 5, trouble


@pytest.mark.slow
def test_all_three_ends_occur() -> None:
    cells = {text for row in table()[1:] for text in row[1:]}
    assert {"right", "retried", "bounded", "silent", "garbled", "lost", "mismatch", "stranger", "stuck"} <= cells


@pytest.mark.parametrize("name", [name for name in SHIPPED if rig_for(name).asked_in_lines and name != "scpi-supply"])
def test_a_trouble_that_is_not_undone_is_seen(name: str) -> None:
    """The table can fail: an answer that was made up in the instrument's own format counts as wrong."""
    rig = rig_for(name)
    before = rig.wire.mangle

    def lie(question: bytes, reply: bytes) -> list[tuple[float, bytes]]:
        if b"READ" in question or b"MEAS" in question or b"TEMP" in question:
            return [(0.0, reply.replace(b"1", b"7").replace(b"3", b"8").replace(b"2", b"6"))]
        return [(0.0, b"(@103)\n")] if b"CLOS" in question else before(question, reply)

    rig.wire.mangle = lie
    with pytest.raises((AssertionError, InstrumentTrouble)):
        for _ in range(5):
            rig.ask()
