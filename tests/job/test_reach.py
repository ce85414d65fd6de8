"""What a disturbance reaches, what a changed plant file changes."""

import msgspec
import pytest

from bench.job.reach import Reaching, differences
from bench.job.readiness import void
from bench.plant.file import ConductorEntry
from bench.plant.resolve import resolve
from bench.quantity import Length
from tests.job.season_folder import apart, disturbed, plant, reading


@pytest.fixture(scope="module")
def reaching():
    return Reaching(plant())


def verdicts(reaching, rows, *told, changed=None):
    return {row.subject: row.verdict for row in void(rows, told, reaching, changed)}


CABLE = reading("W101.12", ("J101.6", "J205.6"))
OTHER = reading("W103.12", ("J103.6", "J405.6"))
NEXT = apart("J101.6", "J101.7")
FAR_OFF = apart("J102.6", "J102.7")


def test_a_cable_voids_its_own_and_nothing_else(reaching):
    """Its conductors and the pins that they end on."""
    found = verdicts(reaching, [CABLE, OTHER, NEXT, FAR_OFF], disturbed("W101"))
    assert found == {"W101.12": "void", "W103.12": "pass", "J101.6~J101.7": "void", "J102.6~J102.7": "pass"}


def test_one_conductor_voids_its_neighbours_on_the_connector(reaching):
    """The wires on the pins beside may have been bent; wires farther off were not."""
    beside = reading("W101.14", ("J101.7", "J205.7"))
    farther = reading("W101.20", ("J101.10", "J205.10"))
    found = verdicts(reaching, [CABLE, beside, farther, apart("J101.9", "J101.10")], disturbed("W101.12"))
    assert found == {"W101.12": "void", "W101.14": "void", "W101.20": "pass", "J101.9~J101.10": "pass"}


def test_a_tray_section_voids_all_that_shares_it(reaching):
    """W101 and W103 both run in T1.2; the power cable WA1 runs elsewhere."""
    power = reading("WA1.1", ("FA1.load", "BA1.1"))
    found = verdicts(reaching, [CABLE, OTHER, power], disturbed("T1.2"))
    assert found == {"W101.12": "void", "W103.12": "void", "WA1.1": "pass"}


def test_what_was_read_afterwards_counts(reaching):
    """And so does what was read before a disturbance is told, but after it happened."""
    later = msgspec.structs.replace(CABLE, at="2026-04-02T00:00:00.000000Z")
    assert verdicts(reaching, [later], disturbed("W101")) == {"W101.12": "pass"}
    told_late = disturbed("W101", at="2026-04-05T00:00:00.000000Z", when="2026-04-01T00:00:00.000000Z")
    assert verdicts(reaching, [later], told_late) == {"W101.12": "pass"}
    assert verdicts(reaching, [CABLE], told_late) == {"W101.12": "void"}


def test_power_evidence_rests_on_the_whole_way_from_the_supply(reaching):
    """The polarity at an inlet is void when a breaker, bar or cable on its way is handled."""
    polarity = reading("4A.A", ("4A.A", "4A.A-return"), reads="voltage", low=-57.0, high=-40.5, value=-53.0)
    for name in ("FA4", "WA4", "BA4", "GA", "4A"):
        assert verdicts(reaching, [polarity], disturbed(name)) == {"4A.A": "void"}, name
    for name in ("FA3", "WB4A", "GB", "4B-L", "W101"):
        assert verdicts(reaching, [polarity], disturbed(name)) == {"4A.A": "pass"}, name


def test_an_earth_point_voids_its_bonds(reaching):
    """And a card voids the current of its shelf alone."""
    bond = reading("LE3", ("E3", "EB"), high=0.012, value=0.008, standard=0.0003)
    other = reading("LE4", ("E4", "EB"), high=0.012, value=0.006, standard=0.0003)
    assert verdicts(reaching, [bond, other], disturbed("E3")) == {"LE3": "void", "LE4": "pass"}
    idle = reading("2C.A", ("FA2C.load", "FA2C.line"), reads="current", low=0.7, high=0.9, value=0.8)
    found = verdicts(reaching, [idle, reading("W101.12", ("J101.6", "J205.6"))], disturbed("2C/3"))
    assert found == {"2C.A": "void", "W101.12": "pass"}


def changed(cable, **changes):
    """Gannet Head with one cable changed."""
    file = plant().file
    cables = [msgspec.structs.replace(one, **changes) if one.name == cable else one for one in file.cables]
    return resolve(msgspec.structs.replace(file, cables=cables))


def test_the_same_plant_has_no_differences():
    """Whatever was read stands."""
    assert differences(plant(), resolve(plant().file)) == {}


def test_a_conductor_that_lands_elsewhere_voids_itself_and_the_pins(reaching):
    """Nothing else of the plant."""
    swapped = [
        ConductorEntry(conductor="12", start="6", end="7"),
        ConductorEntry(conductor="14", start="7", end="6"),
    ]
    new = changed("W101", conductors=swapped)
    found = differences(plant(), new)
    assert set(found) == {"W101.12", "W101.14", "J205.6", "J205.7"}
    assert "far end" in found["W101.12"]
    rows = [
        CABLE,
        reading("W101.20", ("J101.10", "J205.10")),
        NEXT,
        apart("J205.6", "J205.31"),
        apart("J205.9", "J205.10"),
    ]
    after = void(rows, [], Reaching(new), {"r1": found})
    assert {row.subject: row.verdict for row in after} == {
        "W101.12": "void",
        "W101.20": "pass",
        "J101.6~J101.7": "void",  # the wires on these two pins end elsewhere now
        "J205.6~J205.31": "void",
        "J205.9~J205.10": "pass",
    }
    assert "the plant file says otherwise now" in next(row.sentence for row in after if row.verdict == "void")


def test_titles_and_remarks_void_nothing():
    """They change nothing that was measured."""
    assert differences(plant(), changed("W101", title="another", remark="seen again", to_status="claimed")) == {}


def test_another_length_voids_the_cable_alone():
    """What it should read is another value now."""
    found = differences(plant(), changed("W101", length=Length(13.0)))
    assert set(found) == {f"W101.{n}" for n in range(1, 51)}


def test_a_changed_feed_voids_what_rests_on_it():
    """The way to every inlet behind a main cable has changed with it."""
    found = differences(plant(), changed("WA4", length=Length(9.0)))
    assert {"WA4.1", "WA4.2", "4A.A", "4B-L.A", "4B-R.A", "4C.A", "4D.A"} <= set(found)
    assert "3A.A" not in found and "3A.B" not in found
