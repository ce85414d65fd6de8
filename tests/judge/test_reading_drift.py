"""A budget to which the drift of the zero is added later is the same as one that knew of it from the beginning."""

from hypothesis import given
from hypothesis import strategies as st

from bench.judge.accuracy import AccuracyRow
from bench.judge.ohms import Leads
from bench.judge.reading import reading_budget, with_drift

ROW = AccuracyRow("ohms", "Ω", 100.0, percent_of_reading=0.02, percent_of_range=0.004, resolution=1e-3)


@given(
    value=st.floats(0.2, 99.0),
    drift=st.floats(0.0, 0.5),
    several=st.booleans(),
    spread=st.floats(1e-4, 0.1),
)
def test_drift_that_is_known_later_adds_the_same(value, drift, several, spread):
    readings = [value, value + spread, value - spread / 2] if several else value
    leads = Leads.nulled(0.1, 0.004)
    later = with_drift(reading_budget(readings, ROW, temperature_c=21.0, leads=leads), drift)
    at_once = reading_budget(readings, ROW, temperature_c=21.0, leads=leads, zero_drift=drift)
    assert later == at_once
    assert later.expanded_uncertainty == at_once.expanded_uncertainty
