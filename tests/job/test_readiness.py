"""Readiness: what is proven, what blocks, what comes next."""

import random

import msgspec
import pytest

from bench.job.claims import Claims
from bench.job.folder import open_folder
from bench.job.reach import Reaching
from bench.job.readiness import Weighed, _Readiness, readiness, void
from bench.job.rows import ENERGISED, PARTLY
from bench.job.standing import folded
from bench.plant.model import NoPath, Plant
from tests.job.season_folder import apart, disturbed, plant, reading, season


@pytest.fixture(scope="module")
def ready():
    folder = open_folder(season(), "gannet-head")
    return readiness(plant(), void(folder.rows, folder.told, Reaching(plant())))


def thing(ready, kind, name):
    return next(one for one in ready.things if (one.kind, one.name) == (kind, name))


def test_nothing_read_nothing_proven():
    """Every thing is there, never tested, and every gate is shut."""
    empty = readiness(plant(), [])
    assert {one.status for one in empty.things} == {"never tested"}
    assert all(gate.blockers for gate in empty.gates)
    assert {one.kind for one in empty.things} == {"shelf", "feed", "cable", "bond"}
    assert len(empty.of_kind("cable")) == len(plant().cables)
    assert len(empty.gates) == 2 * len(plant().shelves_of())


def test_all_five_states_are_told_apart():
    """Of five conductors of one cable."""
    ends = {n: (f"J412.{n}", f"J421.{n}") for n in range(1, 5)}
    rows = [
        reading("W402.1", ends[1]),
        reading("W402.2", ends[2], "fail"),
        reading("W402.3", ends[3], "undecided"),
        reading("W402.4", ends[4]),
    ]
    found = readiness(plant(), void(rows, [disturbed("W402.4")], Reaching(plant())))
    states = {one.claim.about: one.status for one in thing(found, "cable", "W402").states}
    # the wires beside the disturbed one are void with it
    assert states["W402.1"] == "proven" and states["W402.2"] == "failing"
    assert states["W402.3"] == "void" and states["W402.4"] == "void" and states["W402.9"] == "never tested"
    still = readiness(plant(), void(rows, [], Reaching(plant())))
    states = {one.claim.about: one.status for one in thing(still, "cable", "W402").states}
    assert states["W402.3"] == "undecided"
    assert thing(still, "cable", "W402").status == "failing"


def test_the_newest_reading_that_is_not_void_counts():
    """A repair is proven by a later pass; a void reading does not undo an older one that stands."""
    ends = ("J412.1", "J421.1")
    mended = [
        reading("W402.1", ends, "fail", at="2026-03-01T00:00:00.000000Z"),
        reading("W402.1", ends, "pass", at="2026-03-02T00:00:00.000000Z"),
        reading("W402.1", ends, "void", at="2026-03-03T00:00:00.000000Z"),
        reading("W402.1", ends, "skipped", at="2026-03-04T00:00:00.000000Z"),
    ]
    states = {one.claim.about: one.status for one in thing(readiness(plant(), mended), "cable", "W402").states}
    assert states["W402.1"] == "proven"
    worse = [*mended, reading("W402.1", ends, "fail", at="2026-03-05T00:00:00.000000Z")]
    states = {one.claim.about: one.status for one in thing(readiness(plant(), worse), "cable", "W402").states}
    assert states["W402.1"] == "failing"


def test_a_short_is_the_same_at_either_end():
    """Evidence speaks for nets: pins 1 and 2 apart at J421 says so for J412, too, where the wires run straight."""
    claims = Claims(plant())
    here, there = apart("J412.1", "J412.2"), apart("J421.2", "J421.1")
    assert claims.keys_of(here) == claims.keys_of(there) != ()
    assert claims.keys_of(apart("J412.1", "J412.3")) != claims.keys_of(here)


def test_the_bond_and_the_floating_inside_are_two_claims():
    """Between the same two points: joined with the single-point connection in place, apart with it lifted."""
    claims = Claims(plant())
    joined = reading("L1", ("EB", "X1"), high=0.01, value=0.002, standard=1e-4)
    floats = reading("L1", ("EB", "X1"), high=None, low=1000.0, over="+")
    assert claims.keys_of(joined) != claims.keys_of(floats)
    assert {key[0] for key in (*claims.keys_of(joined), *claims.keys_of(floats))} == {"joined", "floats"}
    assert len(claims.of_bond["L1"]) == 2 and len(claims.of_bond["LE1"]) == 1


def floating(verdict="pass", day=1, top=100.0, **more):
    """The inside with the single-point connection lifted."""
    row = reading("L1", ("EB", "X1"), verdict, high=None, low=1e5, at=f"2026-03-{day:02d}T00:00:00.000000Z",
                  n=day, **({"over": "+"} | more))  # fmt: skip
    return msgspec.structs.replace(row, range=top)


def state_of_floating(rows):
    found = readiness(plant(), rows)
    (state,) = [one for one in thing(found, "bond", "L1").states if one.claim.kind == "floats"]
    return state.status


def test_an_overload_of_a_meter_for_milliohms_takes_nothing_from_what_another_meter_read_open():
    """One ohmmeter a walk: that the inside floats is read with the one, its bonds in the next walk with the other."""
    open_by_the_first = floating(top=1.2e8)
    too_coarse = floating("undecided", 2, top=200.0)
    assert state_of_floating([too_coarse]) == "undecided"
    assert state_of_floating([open_by_the_first, too_coarse]) == "proven"
    assert state_of_floating([open_by_the_first, too_coarse, floating("undecided", 3, top=20.0)]) == "proven"
    # what it would contradict does not stand: more than it ever showed, or a reading that is no overload
    assert state_of_floating([floating(over="", value=150e3), floating("undecided", 2, top=1e6)]) == "undecided"
    assert state_of_floating([open_by_the_first, floating("undecided", 2, over="", value=9e4)]) == "undecided"
    # nor is a fail taken back by it, and a later fail counts
    assert state_of_floating([floating("fail", over="", value=3.0), too_coarse]) == "undecided"
    assert state_of_floating([open_by_the_first, too_coarse, floating("fail", 3, over="", value=3.0)]) == "failing"


class InOrder:
    """Rows of one record after another, each later than the one before."""

    def orders(self, record):
        return True

    def row_before(self, one, other):
        return one.n < other.n


def test_what_is_left_out_behind_later_readings_changes_no_state_whatever_came_before_and_comes_after():
    draw, known, claims = random.Random(5), plant(), Claims(plant())
    reaching = Reaching(known)
    kinds = [{}, {"verdict": "fail", "over": "", "value": 3.0}, {"verdict": "undecided", "top": 200.0},
             {"verdict": "undecided", "over": "", "value": 9e4}, {"verdict": "void"}]  # fmt: skip
    left_out = 0
    for _ in range(150):
        rows = [floating(day=day, **draw.choice(kinds)) for day in range(1, 8)]
        cut = draw.randrange(2, 8)
        kept = folded(Weighed(rows[:cut], [1] * cut), claims, reaching, InOrder())
        left_out += cut - len(kept.rows)
        later = Weighed([*kept.rows, *rows[cut:]], [*kept.weights, *[1] * (7 - cut)], kept.void, kept.others)
        every = Weighed(rows, [1] * len(rows))
        said, whole = (_Readiness(known, one, InOrder(), claims) for one in (later, every))
        assert said.states(claims.of_bond["L1"]) == whole.states(claims.of_bond["L1"])
        assert said._readings == 7
    assert left_out > 100


def test_the_season_clears_one_shelf(ready):
    """4B-L was proven from end to end; its neighbour was not."""
    gates = {(gate.shelf, gate.gate): gate.blockers for gate in ready.gates}
    assert gates["4B-L", "first power"] == gates["4B-L", "cards in"] == ()
    assert thing(ready, "shelf", "4B-L").status == "proven"
    assert ("cable", "WA4A") in gates["4A", "first power"]


def test_the_season_s_faults_fail(ready):
    """Those that are still there in the last round, and no others."""
    failing = {
        one.claim.about for kind in ("cable", "bond") for found in ready.of_kind(kind) for one in found.states
        if one.status == "failing"
    }  # fmt: skip
    assert failing == {"W101.34", "W103.7", "W103.13", "W103.14", "W103.15", "W103.16", "LE3"}
    # a fault in the earthing network of bay 3 keeps bay 3 from its first power, and nobody else
    blocked = {gate.shelf for gate in ready.gates if gate.gate == "first power" and ("earth", "") in gate.blockers}
    assert blocked == {"3A", "3B-L", "3B-R", "3C", "3D"}


def test_what_was_disturbed_and_not_proven_again_is_void(ready):
    """The tray was lifted in April: the neighbours of J101 were read in March only."""
    void_ones = {one.claim.about for one in thing(ready, "cable", "W101").states if one.status == "void"}
    assert len(void_ones) == 73 and all(about.startswith("J101.") for about in void_ones)
    why, (readings, still) = max(ready.voids.items(), key=lambda item: item[1][0])
    assert "T1.2 disturbed on 2026-04-11" in why and still == 73 < readings


def test_tasks_come_in_the_order_that_clears_most(ready):
    """Each task once; every goal is cleared exactly when its last blocker is done; less work comes first."""
    names = [(task.kind, task.about) for task in ready.tasks]
    assert len(names) == len(set(names))
    done, cleared = set(), set()
    for task in ready.tasks:
        done.add((task.kind, task.about))
        now = {(gate.shelf, gate.gate) for gate in ready.gates if gate.blockers and set(gate.blockers) <= done}
        assert now - cleared == set(task.clears)
        cleared = now
    assert cleared == {(gate.shelf, gate.gate) for gate in ready.gates if gate.blockers}
    first = next(i for i, task in enumerate(ready.tasks) if task.clears)
    least = min(len(gate.blockers) for gate in ready.gates if gate.blockers)
    assert first + 1 == least


def test_live_work_is_marked_as_such(ready):
    """Polarity is a task for licensed or authorised people, and the text says so."""
    polarity = [task for task in ready.tasks if task.kind == "polarity"]
    assert polarity and all("licensed or authorised" in task.text for task in polarity)


def test_failing_things_are_mended_first_in_their_task(ready):
    """And named."""
    task = next(task for task in ready.tasks if (task.kind, task.about) == ("cable", "W103"))
    assert "mend" in task.text and "W103.7" in task.text


# Live evidence


def volts(low, high, value, verdict="pass", inlet="4B-L.A", **more):
    return reading(inlet, (inlet, f"{inlet}-return"), verdict, reads="voltage", low=low, high=high, value=value, **more)


def kinds(row):
    return {key[0] for key in Claims(plant()).keys_of(row)}


def test_a_dead_inlet_proves_no_polarity():
    """It passes for reading nothing: only a limit that leaves out zero, on the feed's side, speaks of polarity."""
    assert kinds(volts(-1.0, 1.0, 0.0)) == {"quiet"}
    assert kinds(volts(-57.0, -40.5, -53.0)) == {"polarity"}
    assert kinds(volts(-12.6, -11.0, -12.0)) == {"polarity"}, "a few volts show the sign as well"
    assert kinds(volts(40.5, 57.0, 53.0)) == set(), "the wrong way round was asked for"
    assert kinds(volts(None, 60.0, 53.0)) == set()
    found = readiness(plant(), [volts(-1.0, 1.0, 0.0)])
    states = {one.claim.kind: one.status for one in thing(found, "shelf", "4B-L").states if one.claim.about == "4B-L.A"}
    assert states == {"apart": "never tested", "polarity": "never tested", "quiet": "proven"}


def test_what_is_live_where_it_should_be_dead_shuts_the_gates():
    """A feed that comes up at the other inlet keeps everybody away from the shelf."""
    found = readiness(plant(), [volts(-1.0, 1.0, -48.0, "fail")])
    blockers = {gate.gate: gate.blockers for gate in found.gates if gate.shelf == "4B-L"}
    assert all(("inlets", "4B-L") in names for names in blockers.values())
    assert thing(found, "shelf", "4B-L").status == "failing"
    task = next(task for task in found.tasks if (task.kind, task.about) == ("inlets", "4B-L"))
    assert "mend 4B-L.A" in task.text


def fed(value, verdict="pass", **more):
    """What shows at an inlet while another feed is on."""
    return msgspec.structs.replace(volts(-1.0, 1.0, value, verdict, **more), under=("from a bench supply",))


def due(*rows):
    """Whether the inlets of the shelf bar both of its gates for what one of them should not show."""
    found = readiness(plant(), list(rows))
    quiet = [task for task in found.tasks if "quiet" in {one.claim.kind for one in task.claims}]
    assert len(quiet) <= 1
    names = [gate.blockers for gate in found.gates if gate.shelf == "4B-L"]
    return bool(quiet) and len(names) == 2 and all((quiet[0].kind, quiet[0].about) in one for one in names)


def when(minute):
    return f"2026-05-01T10:{minute:02}:00.000000Z"


def test_what_shows_at_an_inlet_is_not_undone_by_another_reading_there():
    """A diode that passes the wrong way shows with the other feed on: dead it shows nothing, and neither do the two
    returns."""
    shows = fed(47.9, "fail", at=when(1))
    dead = volts(-1.0, 1.0, 0.0, at=when(2))
    beside = msgspec.structs.replace(fed(0.0, at=when(3)), between=("4B-L.A-return", "4B-L.B-return"))
    assert due(shows) and due(shows, dead) and due(shows, beside)
    assert not due(shows, fed(0.0, at=when(4))), "the same read again"
    # whatever was read of it first
    assert not due(msgspec.structs.replace(dead, at=when(0)), shows, fed(0.0, at=when(4)))


def test_what_was_mended_after_it_showed_is_read_again():
    """Somebody says that the diode is a new one: that is no proof, and what was quiet before is no open point."""
    shows = fed(47.9, "void", at=when(1))
    assert due(shows)
    assert not due(shows, fed(0.0, at=when(2)))
    assert not due(fed(0.0, "void", at=when(1)))


def came_up(shelf, verdict="pass", partly=False, at="2026-05-01T10:00:00.000000Z"):
    places = (shelf, PARTLY) if partly else (shelf,)
    row = reading(shelf, places, verdict, reads="current", low=0.5, high=0.7, value=0.6, at=at)
    return msgspec.structs.replace(row, function=ENERGISED)


def test_a_shelf_that_came_up_with_all_its_cards_draws_what_it_should():
    """With some of them it proves nothing, but it can fail."""

    def idle(*rows):
        return next(one.status for one in thing(readiness(plant(), rows), "shelf", "4B-L").states
                    if one.claim.kind == "idle")  # fmt: skip

    assert idle(came_up("4B-L")) == "proven"
    assert idle(came_up("4B-L", partly=True)) == "never tested"
    assert idle(came_up("4B-L", "fail", partly=True)) == "failing"
    assert idle(came_up("4B-L", "fail", partly=True), came_up("4B-L", at="2026-05-02T10:00:00.000000Z")) == "proven"
    rows = void([came_up("4B-L")], [disturbed("FA4", at="2026-06-01T00:00:00.000000Z")], Reaching(plant()))
    assert rows[0].verdict == "void", "how it came up rests on the way of its feeds"


def test_a_shelf_without_a_way_from_a_supply_is_never_clear(monkeypatch):
    """Nothing can prove an inlet that no supply reaches; such a plant file is refused, but it may be older."""

    def nowhere(self, shelf, feed):
        raise NoPath("nowhere")

    monkeypatch.setattr(Plant, "supply_path", nowhere)
    found = readiness(plant(), [])
    gate = next(gate for gate in found.gates if (gate.shelf, gate.gate) == ("4B-L", "first power"))
    assert ("inlets", "4B-L") in gate.blockers
    assert "a supply reaches inlet 4B-L.B" in Claims(plant()).path_to["4B-L.B"][0].text
