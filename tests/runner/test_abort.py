"""An abort reaches the supply while another port is blocked in a read."""

from __future__ import annotations

import pytest

from tests.benchmarks.bench_abort import abort_once, line


def test_an_abort_switches_the_supply_off_while_another_port_hangs(capsys: pytest.CaptureFixture[str]) -> None:
    times = abort_once()
    with capsys.disabled():
        print(f"\n  abort with the other port hung: {line('supply', [times])}")
    assert times.hung
    # told, then confirmed by the supply itself, then reported: in this order, and as it really is
    assert 0 < times.told < times.confirmed < times.reported
    assert times.event.confirmed == {"supply": True}
    assert times.event.left == []
    assert not times.still_on
