"""Tracing points of the simulated season: every fault that was put in is found where it was put in."""

import functools
import math
import shutil

import msgspec
import pytest

from bench.job.common_changes import Across
from bench.job.history import History
from bench.job.points import names_in, point_of, surroundings
from bench.job.rows import Told
from bench.job.series import key_of, verdict_turn
from bench.job.study import Everything, study
from bench.job.suspects import suspects
from bench.plant.model import UnknownName
from bench.record.index import records_in
from bench.simulate.season_story import APPEARING, ODD_WEEKS, TOUCHED
from tests.job.season_folder import apart, plant, reading, season


@functools.cache
def source():
    return History(season(), records_in([season()]), "gannet-head")


def joined(name):
    """The study of a point's resistance, what happened in its window, and what changed with it."""
    point = point_of(plant(), name)
    found = next(one for one in study(filter(point.matches, source().rows(point.sought))) if one.key.asks == "joined")
    told = source().told(plant(), found.window)
    ranked = suspects(told, found.window.after_at, found.window.until.at, surroundings(plant(), point), plant())
    return found, ranked


def week_of(row):
    return int(row.record.removesuffix(".jsonl").rpartition("-")[2]) - 1


@pytest.mark.parametrize("fault", [f for f in APPEARING if f.kind == "step"], ids=lambda fault: fault.item)
def test_steps_are_dated_to_their_week_and_their_cause_comes_first(fault):
    """In spite of the two rounds with an odd meter."""
    found, ranked = joined(fault.item)
    assert found.series.change.kind == "step"
    assert week_of(found.window.first_bad) == fault.week
    assert week_of(found.window.last_good) == fault.week - 1
    assert found.series.change.after - found.series.change.before == pytest.approx(fault.ohms, rel=0.06)
    assert ranked[0].told.kind == "disturbance" and ranked[0].told.names == fault.cause


def test_the_drift_is_dated_to_the_run_beyond_the_limit():
    """Or the one beside it."""
    fault = next(fault for fault in APPEARING if fault.kind == "drift")
    found, _ = joined(fault.item)
    assert found.series.change.kind == "drift"
    over = next(i for i, row in enumerate(found.runs) if row.value > row.high)
    assert abs(found.series.change.first_bad - over) <= 1
    assert found.series.change.slope * 7 == pytest.approx(fault.ohms, rel=0.35)


def test_what_opens_now_and_then_is_seen_to_come_and_go():
    """In the weeks in which it did, and in those of the odd meter."""
    fault = next(fault for fault in APPEARING if fault.kind == "open-now-and-then")
    found, _ = joined(fault.item)
    assert found.series.change.kind == "intermittent"
    weeks = {week_of(found.runs[i]) for i in found.series.change.excursions}
    assert fault.weeks <= weeks <= fault.weeks | ODD_WEEKS


def test_sound_points_are_told_to_be_odd_only_with_the_odd_meter():
    """And that the meter is the suspect, not the wiring."""
    found, ranked = joined("W101.5")
    assert {week_of(found.runs[i]) for i in found.series.change.excursions} == ODD_WEEKS
    assert ranked[0].told.kind == "bench" and "GH-0011" in ranked[0].told.text
    across = Across(found.window.after_at, found.window.until.at)
    for row in source().rows():
        across.take(row)
    common = across.common(plant(), found.key)
    assert common.meter == "gain"
    assert "GH-0011" in common.words and "the meter is the suspect" in common.words


def test_pins_of_one_connector_are_seen_to_have_it_in_common():
    """Four pins of J405 changed in one week; the wiring is the suspect."""
    found, _ = joined("W103.14")
    across = Across(found.window.after_at, found.window.until.at)
    for row in source().rows():
        across.take(row)
    common = across.common(plant(), found.key)
    assert {"W103.13", "W103.15", "W103.16"} <= {one.subject for one in common.moved}
    assert common.meter == ""
    assert common.causes[0].kind == "connector" and "J405" in common.causes[0].name


def test_every_point_at_once_finds_the_same():
    """And sorts what changed together by the walk that showed it."""
    everything = Everything(source().rows())
    studies = everything.studies()
    changed = {one.subject: one for one in studies if one.window is not None}
    assert {fault.item for fault in APPEARING} <= set(changed)
    quiet = [one for one in studies if one.window is None]
    assert len(quiet) > 200 and all(not one.rows for one in quiet)
    alone, _ = joined("W101.34")
    assert changed["W101.34"].series.change.first_bad == alone.series.change.first_bad
    assert changed["W101.34"].window.first_bad.record == alone.window.first_bad.record
    episodes = everything.episodes(studies, plant())
    assert episodes[0].common.meter == "gain" and week_of(episodes[0].studies[0].window.first_bad) == 11
    assert any("J405" in cause.name for episode in episodes for cause in episode.common.causes)


def test_what_was_kept_and_what_is_worked_out_anew_give_the_same_story(tmp_path):
    """The quick way and the slow way over one point."""
    for record in records_in([season()]):
        shutil.copy(record, tmp_path)
    anew = History(tmp_path, records_in([tmp_path]), "gannet-head")
    point = point_of(plant(), "W103.7")
    quick = study(filter(point.matches, source().rows(point.sought)))
    slow = study(filter(point.matches, anew.rows(point.sought)))
    assert [one.key for one in quick] == [one.key for one in slow]
    assert quick[0].series.change.first_bad == slow[0].series.change.first_bad
    assert quick[0].lead == pytest.approx(slow[0].lead)


def test_records_that_are_passed_over_hold_nothing_of_the_point():
    """The quick look at a record's text leaves nothing out that folding every record would find."""
    point = point_of(plant(), "W103.7")
    quick = list(source().rows(point.sought))
    names = frozenset(point.sought)
    whole = [row for row in source().rows() if row.subject in names or not names.isdisjoint(row.between)]
    assert quick == whole and quick


@pytest.mark.parametrize(
    "name, kind, some",
    [
        ("W101.12", "conductor", {"W101.12", "J101.6", "J205.6"}),
        ("J101.6", "terminal", {"J101.6", "W101.12"}),
        ("W402", "cable", {"W402.1", "J412.1", "J421.25"}),
        ("J405", "connector", {"J405.1", "W103.26"}),
        ("4B-L", "shelf", {"4B-L.A", "J421.1", "W402.1"}),
        ("L1", "bond", {"L1"}),
        ("A", "feed", {"1A.A", "FA1.load", "7C.A"}),
        ("FA4", "breaker", {"FA4.line", "FA4.load"}),
        ("EB", "earth point", {"EB", "L1", "LE1"}),
        ("T1.2", "tray section", {"W101.1", "W103.1"}),
    ],
)
def test_points_of_every_kind(name, kind, some):
    """What a name stands for."""
    point = point_of(plant(), name)
    assert point.kind == kind and some <= point.names


def test_a_bond_is_read_between_its_own_ends_only():
    """Another bond at the same bar is not of it."""
    point = point_of(plant(), "LE1")
    assert point.matches(reading("LE1", ("E1", "EB")))
    assert point.matches(reading("EB~E1", ("EB", "E1")))
    assert not point.matches(reading("LE2", ("E2", "EB")))


def test_an_unknown_point_has_a_near_miss():
    """For the person at the keyboard."""
    with pytest.raises(UnknownName, match=r"did you mean 'W101\.2'"):
        point_of(plant(), "W101.l2")


def test_events_outside_the_bracket_are_never_listed():
    """However near they lie; inside it the nearer one comes first."""
    point = point_of(plant(), "W101.34")
    around = surroundings(plant(), point)

    def told(at, *names, kind="disturbance", text=""):
        return Told(record="r", n=1, at=at, kind=kind, names=names, text=text)

    events = [
        told("2026-04-01", "W101.34"),
        told("2026-04-10", "7A"),
        told("2026-04-11", "T1.2"),
        told("2026-04-12", "J205.17"),
        told("2026-04-13", kind="note", text="knocked against J205 with the ladder"),
        told("2026-04-20", "W101"),
    ]
    found = suspects(events, "2026-04-05", "2026-04-15", around, plant())
    assert [one.told.at for one in found] == ["2026-04-12", "2026-04-11", "2026-04-13", "2026-04-10"]
    assert found[0].nearness == 1.0 or found[0].words.startswith("J205.17")
    assert names_in(plant(), "knocked against J205, near W101.34. Bay 3.") == ("J205", "W101.34")


def test_when_it_happened_counts_and_not_when_it_was_told():
    """A disturbance that is told days later falls where it happened."""
    around = surroundings(plant(), point_of(plant(), "W101.34"))
    late = Told(record="d", n=1, at="2026-05-01", kind="disturbance", names=("W101",), when="2026-04-11")
    assert suspects([late], "2026-04-05", "2026-04-15", around, plant())
    assert not suspects([late], "2026-04-25", "2026-05-15", around, plant())


def test_conductors_are_compared_at_20_celsius():
    """The same copper on a cold and on a warm evening is steady."""
    rows = [
        reading("W101.1", ("J101.26", "J205.26"), at=f"2026-03-{day:02d}T18:00:00.000000Z", ambient=celsius,
                value=1.0 * (1 + 0.00393 * (celsius - 20)), standard=0.002)
        for day, celsius in enumerate([5.0, 8.0, 12.0, 20.0, 26.0, 30.0], 1)
    ]  # fmt: skip
    assert study(rows)[0].series.change.kind == "steady"
    assert study(rows)[0].series.change.before == pytest.approx(1.0, abs=1e-9)
    as_read = [msgspec.structs.replace(row, ambient=None) for row in rows]
    assert study(as_read)[0].series.change.kind == "drift"


def test_wires_that_should_be_apart_are_seen_by_decades():
    """A short among open readings, whatever the ranges were."""
    rows = [apart("J101.6", "J101.7", at=f"2026-03-{day:02d}T18:00:00.000000Z") for day in range(1, 7)]
    rows[2] = msgspec.structs.replace(rows[2], range=1e8)
    assert study(rows)[0].window is None
    short = msgspec.structs.replace(
        rows[0], at="2026-03-09T18:00:00.000000Z", over="", value=0.4, standard=0.02, verdict="fail"
    )
    found = study([*rows, short])[0]
    assert found.series.change.kind == "step" and found.window.first_bad is short
    assert found.window.last_good.at == rows[5].at


def test_too_few_readings_are_found_by_their_verdicts():
    """One that fails without any figure to compare."""
    good = reading("W101.1", ("J101.26", "J205.26"), at="2026-03-01T18:00:00.000000Z")
    bad = msgspec.structs.replace(good, at="2026-03-02T18:00:00.000000Z", value=None, standard=None, verdict="fail")
    found = study([good, bad])[0]
    assert found.window.by == "verdicts" and found.window.first_bad is bad and found.window.last_good is good


@pytest.mark.parametrize(
    "verdicts, turn",
    [
        ("ppff", (1, 2)),
        ("ff", (None, 0)),
        ("pp", (None, None)),
        ("pfpf", (2, 3)),
        ("pfp", (0, 1)),
        ("puvsf", (0, 4)),
        ("", (None, None)),
    ],
)
def test_the_latest_turn_from_pass_to_fail(verdicts, turn):
    """What is undecided, void or skipped says nothing."""
    words = {"p": "pass", "f": "fail", "u": "undecided", "v": "void", "s": "skipped"}
    assert verdict_turn(words[letter] for letter in verdicts) == turn


def test_voltages_keep_the_order_of_the_probes():
    """Turned round they are another series; resistances are not."""
    volts = reading("4A.A", ("4A.A", "4A.A-return"), reads="voltage", low=-57.0, high=-40.0, value=-53.0)
    turned = msgspec.structs.replace(volts, between=volts.between[::-1])
    assert key_of(volts) != key_of(turned)
    ohms = reading("W101.1", ("J101.26", "J205.26"))
    assert key_of(ohms) == key_of(msgspec.structs.replace(ohms, between=ohms.between[::-1]))


def test_the_season_tells_what_was_touched():
    """Every disturbance of the story is on record, at the time when it happened."""
    found = joined("LE3")[0]
    told = [one for one in source().told(plant(), found.window) if one.kind == "disturbance"]
    assert len(told) >= sum(1 for one in TOUCHED if one.told == "later")
    assert all(one.happened <= one.at for one in told)
    assert not math.isnan(found.lead)
