"""What a shelf draws when it idles, on a battery that is full, usual or low: the window follows from its voltage."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from bench.plant import faults as k
from bench.quantity import Current, Voltage
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State
from tests.power import pure_walk, small_hall
from tests.power.season_of_both import BEACON

RECEIVER = Current(0.55)
"""At nominal voltage: one receiver of shelf 2B."""


@pytest.fixture(scope="module")
def idle(tmp_path_factory: pytest.TempPathFactory) -> State:
    folder = tmp_path_factory.mktemp("idle")
    return pure_walk.begun(folder, small_hall.written(folder), "2", "idle-current")


@pytest.fixture(scope="module")
def beacon(tmp_path_factory: pytest.TempPathFactory) -> State:
    return pure_walk.begun(tmp_path_factory.mktemp("idle-beacon"), BEACON, "signals", "idle-current")


def currents(first: State, faults: Sequence[k.Fault]) -> dict[str, Outcome]:
    """Walk it to its end; what came of each shelf's current."""
    assert first.setting is not None
    walk = pure_walk.PureWalk(first, first.setting.plant, faults, 4)
    walk.run()
    steps = first.setting.plan.steps
    return {
        steps[index].subject.partition(".")[0]: outcome
        for index, outcome in results(walk.state).items()
        if steps[index].kind == "measure" and getattr(steps[index].source, "read", "") == "current"
    }


def at(volts: float, supply: str = "GA") -> k.Fault:
    return k.BatteryAt(supply=supply, voltage=Voltage(volts))


@pytest.mark.parametrize("volts", [41.2, 44.0, 48.0, 53.5, 56.9])
@pytest.mark.quick_cases(2)
def test_sound_shelves_pass_and_one_without_a_receiver_fails(idle: State, volts: float) -> None:
    sound = currents(idle, [at(volts)])
    assert {name: one.verdict for name, one in sound.items()} == dict.fromkeys(("2A", "2B", "2C"), "pass")
    missing = currents(idle, [at(volts), k.ShelfLight(shelf="2B", by=RECEIVER)])
    assert {name: one.verdict for name, one in missing.items()} == {"2A": "pass", "2B": "fail", "2C": "pass"}


def test_constant_power_draws_more_on_a_low_battery_and_relays_less(idle: State) -> None:
    """The windows too: held as amperes of one voltage, one of them would be wrong at 44 V or at 57 V."""
    low, high = currents(idle, [at(44.0)]), currents(idle, [at(56.9)])
    for name in ("2A", "2B"):
        assert low[name].figure.value > 1.2 * high[name].figure.value  # type: ignore[operator]
        assert low[name].bounds.low > 1.2 * high[name].bounds.low  # type: ignore[operator]
    assert low["2A"].bounds.high > 1.2 * high["2A"].bounds.high  # type: ignore[operator]
    # a receiver less at 44 V draws within the window of 57 V: there a fixed window would pass it
    missing = currents(idle, [at(44.0), k.ShelfLight(shelf="2B", by=RECEIVER)])["2B"]
    assert missing.verdict == "fail" and "too" in missing.sentence


@pytest.mark.parametrize("volts", [21.5, 24.0, 28.5])
def test_a_feed_that_is_positive_has_windows_of_its_own(beacon: State, volts: float) -> None:
    found = currents(beacon, [at(volts, "BATP"), at(volts, "BATQ")])
    assert found and {one.verdict for one in found.values()} == {"pass"}
