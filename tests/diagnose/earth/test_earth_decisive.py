"""Which one reading of an earthing network is worth a second look before anybody opens anything."""

from __future__ import annotations

import msgspec

from bench.diagnose.earth.decisive import decisive
from bench.diagnose.earth.fit import Meter, Reading
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.visible import planned

# as a hand-held milliohm meter has it, whose last digit is a milliohm
METER = Meter(0.0005, 2.9e-3)
OHMS = (2.7e-3, 3.9e-3, 4.3e-3, 5.7e-3, 7.1e-3)
ARMS = [f"b{arm}" for arm in range(len(OHMS))]
NETWORK = BondNetwork(
    [Point("main"), *(Point(arm) for arm in ARMS)],
    [Bond(f"E{arm}", "main", arm, ohms, 0.3) for arm, ohms in zip(ARMS, OHMS, strict=True)],
    "main",
)
PAIRS = [("main", arm) for arm in ARMS] + [(one, other) for one in ARMS for other in ARMS if one < other]


def read(**wrong: float) -> list[Reading]:
    """Every pair as designed, but for those between the arms that are named."""
    sound = planned(NETWORK, PAIRS, METER)
    return [
        msgspec.structs.replace(one, ohms=wrong[f"{one.a}_{one.b}"]) if f"{one.a}_{one.b}" in wrong else one
        for one in sound
    ]


def test_a_figure_without_its_point_is_found_though_poor_bonds_explain_it_best() -> None:
    """9.01 Ω for some milliohms between two arms whose own bonds read well."""
    readings = read(b1_b3=9.01)
    posterior = explain(NETWORK, readings)
    stand = [one.fault for one in posterior.suspects if one.chance > 0.95]
    assert stand, "one figure makes what is sound poor, over 95 %"
    (wrong,) = [one for one in readings if one.ohms == 9.01]
    assert decisive(posterior, stand, readings) is wrong
    assert decisive(posterior, stand, [one for one in readings if one is not wrong]) is None, "not to be had again"


def test_what_several_readings_say_hangs_on_none() -> None:
    readings = planned(NETWORK, PAIRS, METER, ohms=NETWORK.ohms * [1, 1, 1, 30, 1])
    posterior = explain(NETWORK, readings)
    stand = [one.fault for one in posterior.suspects if one.chance > 0.95]
    assert [one.poor for one in stand] == [(3,)]
    assert decisive(posterior, stand, readings) is None
