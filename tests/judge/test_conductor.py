"""Expected resistance of conductors and of whole paths."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.conductor import (
    Contact,
    ExpectedResistance,
    Run,
    awg_conductor,
    bar,
    joints,
    length_from,
    metric_conductor,
    parallel,
    round_trip,
    series,
    voltage_drop,
)
from bench.judge.gauge import awg_area_mm2, awg_diameter_mm, awg_name, awg_number
from bench.judge.metals import ALUMINIUM, COPPER, TINNED_COPPER, to_20_celsius

PIN = Contact(0.005, 0.050)

lengths = st.floats(0.1, 500.0)
gauges = st.integers(-3, 40)
paths = st.builds(
    lambda low, more, most: ExpectedResistance(low + more, low, low + more + most, "path"),
    st.floats(1e-6, 100.0),
    st.floats(0.0, 10.0),
    st.floats(0.0, 10.0),
)


@pytest.mark.parametrize(
    ("written", "gauge", "name"),
    [
        (24, 24, "AWG 24"),
        ("24", 24, "AWG 24"),
        ("AWG 24", 24, "AWG 24"),
        ("awg24", 24, "AWG 24"),
        ("24 AWG", 24, "AWG 24"),
        ("0", 0, "AWG 1/0"),
        ("1/0", 0, "AWG 1/0"),
        ("00", -1, "AWG 2/0"),
        ("2/0", -1, "AWG 2/0"),
        ("000", -2, "AWG 3/0"),
        ("0000", -3, "AWG 4/0"),
        ("4/0", -3, "AWG 4/0"),
        (-3, -3, "AWG 4/0"),
        ("1", 1, "AWG 1"),
    ],
)
def test_awg_sizes_are_read(written, gauge, name):
    assert awg_number(written) == gauge
    assert awg_name(written) == name


def test_each_gauge_is_thinner_than_the_one_before():
    diameters = [awg_diameter_mm(gauge) for gauge in range(-3, 57)]
    assert diameters == sorted(diameters, reverse=True)
    # six sizes nearly halve the diameter, three sizes nearly halve the area (a well-known rule of the gauge)
    assert awg_diameter_mm(24) / awg_diameter_mm(30) == pytest.approx(2.005, abs=0.002)


def test_expected_resistance_says_where_it_came_from():
    expected = awg_conductor("24", Run(12.0, temperature_c=18.0), contacts=[PIN, PIN])
    assert expected.basis.startswith("AWG 24 copper, 12 m at 18 °C: 1.003 Ω (ASTM B258 geometry")
    assert expected.basis.endswith("2 contacts of 5 mΩ, up to 50 mΩ each")
    assert expected.nominal_ohm == pytest.approx(1.0027 + 0.010, abs=5e-4)
    assert expected.sentence.startswith("Expect about 1.013 Ω (")


def test_bounds_hold_diameter_length_temperature_and_contacts():
    plain = awg_conductor(24, Run(12.0))
    assert plain.low_ohm == pytest.approx(plain.nominal_ohm / 1.01 / 1.01**2, rel=1e-9)
    assert plain.high_ohm == pytest.approx(plain.nominal_ohm / 0.99**2, rel=1e-9)
    loose = awg_conductor(24, Run(12.0, 0.5, 20.0, 5.0), contacts=[PIN])
    assert loose.low_ohm == pytest.approx(plain.low_ohm * 11.5 / 12 * (1 - 0.00393 * 5), rel=1e-9)
    assert loose.high_ohm == pytest.approx(plain.high_ohm * 12.5 / 12 * (1 + 0.00393 * 5) + 0.05, rel=1e-9)


def test_warm_copper_reads_higher_and_comes_back():
    cold, warm = awg_conductor(24, Run(12.0)), awg_conductor(24, Run(12.0, temperature_c=60.0))
    assert warm.nominal_ohm / cold.nominal_ohm == pytest.approx(1 + 0.00393 * 40)
    assert to_20_celsius(warm.nominal_ohm, 60.0) == pytest.approx(cold.nominal_ohm)


def test_stranded_wire_is_longer_and_less_certain():
    solid, stranded = awg_conductor(24, Run(10.0)), awg_conductor(24, Run(10.0), stranded=True)
    assert stranded.nominal_ohm == pytest.approx(1.02 * solid.nominal_ohm)
    assert stranded.low_ohm < solid.low_ohm and stranded.high_ohm > solid.high_ohm


def test_stranded_area_holds_usual_make_ups():
    """Own computation: areas of 7 and 19 whole-gauge wires against the solid size."""
    for wires, finer in ((7, 8), (19, 12), (19, 13)):
        part = wires * awg_area_mm2(22 + finer) / awg_area_mm2(22)
        assert 0.93 <= part <= 1.18


def test_tinned_wire_lies_between_bare_copper_and_the_permitted_maximum():
    for gauge in (10, 18, 24, 26, 30):
        bare = awg_conductor(gauge, Run(10.0))
        tinned = awg_conductor(gauge, Run(10.0), material="tinned copper")
        assert bare.nominal_ohm < tinned.nominal_ohm < 1.04 * bare.nominal_ohm
        assert tinned.high_ohm > bare.high_ohm
    thick, thin = (TINNED_COPPER.resistivity(d)[2] for d in (3.0, 0.1))
    assert thick < thin
    assert TINNED_COPPER.resistivity(0.05)[2] == TINNED_COPPER.high


def test_aluminium_reads_more_than_copper():
    ratio = awg_conductor(10, Run(1.0), material=ALUMINIUM).nominal_ohm / awg_conductor(10, Run(1.0)).nominal_ohm
    assert ratio == pytest.approx(0.028264 * 58, rel=1e-9)


def test_tabled_metric_size_takes_the_maximum_and_an_untabled_one_says_so():
    tabled = metric_conductor(0.5, Run(1000.0), conductor_class=1)
    assert (tabled.nominal_ohm, tabled.high_ohm) == (36.0, 36.0)
    assert tabled.low_ohm == pytest.approx(1000 / 58 / 1.01 / 0.5)
    odd = metric_conductor(0.22, Run(1000.0))
    assert "computed from the cross-section" in odd.basis and "IEC 60228 was not at hand" in odd.basis
    assert odd.nominal_ohm == pytest.approx(1000 / 58 * 1.02 / 0.22)
    assert odd.high_ohm > odd.nominal_ohm > odd.low_ohm


def test_metric_and_gauge_geometry_agree_for_a_solid_wire():
    same = bar(awg_area_mm2(24), Run(12.0))
    assert same.nominal_ohm == pytest.approx(awg_conductor(24, Run(12.0)).nominal_ohm, rel=1e-12)


def test_a_feed_adds_up_from_battery_to_shelf():
    feeder = metric_conductor(35, Run(14.0))
    breaker = joints([Contact(0.002, 0.010, name="breaker")])
    busbar = bar(200, Run(2.0), name="busbar")
    cable = metric_conductor(6, Run(3.0), conductor_class=5, contacts=[Contact(0.0005, 0.002, name="lug")] * 2)
    path = feeder + breaker + busbar + cable
    assert path.nominal_ohm == pytest.approx(0.524 * 14e-3 + 0.002 + 2 / 58 / 200 + 3.30 * 3e-3 + 0.001)
    assert len(path.parts) == 4
    for word in ("35 mm² class 2", "breaker of 2 mΩ", "busbar 200 mm²", "2 lugs of 500 µΩ"):
        assert word in path.basis
    drop = voltage_drop(round_trip(path), 40.0)
    assert drop.nominal_v == pytest.approx(80 * path.nominal_ohm)
    assert drop.power_w == pytest.approx(2 * path.nominal_ohm * 1600)
    assert drop.low_v < drop.nominal_v < drop.high_v
    assert drop.sentence.startswith("At 40 A the path loses")


def test_round_trip_can_come_back_another_way():
    out, back = metric_conductor(35, Run(14.0)), metric_conductor(70, Run(14.0))
    assert round_trip(out, back).nominal_ohm == pytest.approx(out.nominal_ohm + back.nominal_ohm)


def test_computed_limit_carries_its_basis():
    expected = awg_conductor(24, Run(12.0), contacts=[PIN, PIN])
    limit = expected.limit(0.1)
    assert limit.lower == expected.low_ohm
    assert limit.upper == pytest.approx(expected.high_ohm + 0.1)
    assert limit.source.startswith("computed from the conductor plus 0.1 Ω: AWG 24 copper, 12 m")


def test_length_comes_back_from_the_reading():
    each = awg_conductor(24, Run(1.0))
    reading = awg_conductor(24, Run(37.0), contacts=[PIN, PIN])
    found = length_from(reading.nominal_ohm, each, [PIN, PIN])
    assert found.nominal_m == pytest.approx(37.0)
    assert found.low_m < 37.0 < found.high_m
    assert length_from(0.0, each, [PIN]).nominal_m == 0.0


@given(gauges, lengths, lengths)
def test_resistance_is_in_proportion_to_length(gauge, one, other):
    first, second = awg_conductor(gauge, Run(one)), awg_conductor(gauge, Run(other))
    assert first.nominal_ohm * other == pytest.approx(second.nominal_ohm * one)


@given(gauges, lengths, st.floats(-40, 120), st.booleans(), st.sampled_from(["copper", "tinned copper", "aluminium"]))
def test_bounds_are_in_order_whatever_the_conductor(gauge, length, temperature, stranded, material):
    expected = awg_conductor(gauge, Run(length, length / 10, temperature, 10.0), material=material, stranded=stranded)
    assert 0 < expected.low_ohm < expected.nominal_ohm < expected.high_ohm


@given(st.floats(0.05, 1000.0), st.sampled_from([1, 2, 5]), st.sampled_from(["copper", "tinned copper", "aluminium"]))
def test_bounds_are_in_order_for_any_cross_section(area, conductor_class, material):
    expected = metric_conductor(area, Run(10.0), conductor_class=conductor_class, material=material)
    assert 0 < expected.low_ohm <= expected.nominal_ohm <= expected.high_ohm


@given(st.lists(paths, min_size=1, max_size=6))
def test_series_adds_and_order_does_not_matter(parts):
    forward, backward = series(*parts), series(*reversed(parts))
    assert forward.nominal_ohm == pytest.approx(math.fsum(p.nominal_ohm for p in parts))
    assert (forward.low_ohm, forward.high_ohm) == pytest.approx((backward.low_ohm, backward.high_ohm))
    step_by_step = parts[0]
    for part in parts[1:]:
        step_by_step = step_by_step + part
    assert step_by_step.nominal_ohm == pytest.approx(forward.nominal_ohm)
    assert step_by_step.parts == forward.parts or len(parts) == 1


@given(st.lists(paths, min_size=1, max_size=6))
def test_parallel_is_never_more_than_its_best_path(parts):
    together = parallel(*parts)
    assert together.nominal_ohm <= min(p.nominal_ohm for p in parts) * (1 + 1e-12)
    assert together.low_ohm <= together.nominal_ohm <= together.high_ohm


def test_two_equal_paths_halve():
    path = metric_conductor(35, Run(10.0))
    assert parallel(path, path).nominal_ohm == pytest.approx(path.nominal_ohm / 2)


def test_material_table_is_what_it_says():
    assert 1 / COPPER.nominal == pytest.approx(58.0)
    assert 1 / ALUMINIUM.nominal == pytest.approx(35.38, abs=0.01)
