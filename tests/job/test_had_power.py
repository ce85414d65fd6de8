"""When a plant counts as one that has had power: case by case, as its records tell."""

import pytest
from msgspec.structs import replace

from bench.job.asfound import had_power
from bench.job.folder import open_folder
from bench.plant.handled import Handled
from bench.plant.load import load_plant
from bench.quantity import Amount
from bench.record.index import declare
from bench.record.replay import follow
from bench.sequence.file import Do, Energise, Hold, Limit, Look, Measure
from bench.walk import events as e
from bench.walk.facts import BenchFacts
from bench.walk.power_seen import tells_power
from bench.walk.standing import Phase
from tests.job.test_asfound import HUT, METER, Recorded, at, walk
from tests.power.test_looking import Person

PLANT = load_plant(HUT)
SUPPLY = next(iter(PLANT.supplies))
BREAKER = next(iter(PLANT.breakers))
OFF = Look(text="Off?", supplies=[SUPPLY], expect=["off"])
ON = Look(text="Which are on?", supplies=[SUPPLY])
TAKE_OFF = Do(text="Switch it off and take it off its leads.", switch_off=[SUPPLY], disconnect=[SUPPLY])
CLEAR = Hold(text="All clear.", word="CLEAR")

NO_POWER = {
    "nothing was said": [Do(text="Look at the hall.")],
    "a breaker was opened": [Do(text="Open.", open=[BREAKER])],
    "a breaker was closed": [CLEAR, Do(text="Close.", close=[BREAKER])],
    "somebody found a supply off": [OFF],
    "it was found off, and then taken off its leads": [OFF, TAKE_OFF],
}
POWER = {
    "a supply was switched on": [CLEAR, Do(text="On.", switch_on=[SUPPLY])],
    "it was switched on, and off again": [CLEAR, Do(text="On.", switch_on=[SUPPLY]), TAKE_OFF],
    "a supply was switched off that nobody had found off": [TAKE_OFF],
    "the bench supply was connected": [Do(text="Leads on.", connect=[SUPPLY])],
    "it was connected, and came off again": [
        Do(text="Leads on.", connect=[SUPPLY]), Do(text="Leads off.", disconnect=[SUPPLY]),
    ],
}  # fmt: skip


def told(folder):
    return had_power(open_folder(folder, PLANT.name), PLANT)


@pytest.mark.parametrize("case", NO_POWER)
def test_it_had_none(tmp_path, case):
    walk(tmp_path / "a.jsonl", NO_POWER[case], by="Ana", when=at(3))
    assert not told(tmp_path)


@pytest.mark.parametrize("case", POWER)
def test_it_had_some_and_keeps_it_whatever_is_found_off_later(tmp_path, case):
    walk(tmp_path / "a.jsonl", POWER[case], by="Ana", when=at(3))
    walk(tmp_path / "b.jsonl", [OFF], by="Ben", when=at(4))
    assert told(tmp_path)


def test_what_was_found_off_in_a_record_before_may_be_taken_off_its_leads(tmp_path):
    walk(tmp_path / "a.jsonl", [OFF], by="Ana", when=at(3))
    walk(tmp_path / "b.jsonl", [TAKE_OFF], by="Ben", when=at(4))
    assert not told(tmp_path)


class Finds(Recorded):
    """Who finds the supply on."""

    def said(self, step):
        return f"{SUPPLY} on" if isinstance(step.source, Look) else super().said(step)


def test_a_supply_that_was_found_on_is_power(tmp_path, monkeypatch):
    monkeypatch.setattr("tests.job.test_asfound.Recorded", Finds)
    walk(tmp_path / "a.jsonl", [ON], by="Ana", when=at(3))
    assert told(tmp_path)


@pytest.mark.parametrize(("volts", "power"), [(0.02, False), (-0.4, False), (3.1, True), (-26.0, True)])
def test_volts_that_were_read_are_power(tmp_path, monkeypatch, volts, power):
    class Reads(Recorded):
        def measured(self, step):
            return e.Read(number=self.state.number, instrument=METER.name, function="voltage", unit="V", value=volts)

    monkeypatch.setattr("tests.job.test_asfound.Recorded", Reads)
    limit = Limit(at_most=Amount.parse("1 V"), source="invented")
    one = PLANT.supplies[SUPPLY]
    step = Measure(read="voltage", between=(one.live.name, one.back.name), subject=SUPPLY, limit=limit)
    bench = BenchFacts(name="a bench", simulated=False, instruments=[METER], role_of={"volts": METER.name})
    monkeypatch.setattr("tests.job.test_asfound.BENCH", bench)
    walk(tmp_path / "a.jsonl", [step], by="Ana", when=at(3))
    assert told(tmp_path) == power


def test_a_supply_that_somebody_touched_outside_a_walk_may_have_fed(tmp_path):
    walk(tmp_path / "a.jsonl", [OFF], by="Ana", when=at(3))
    declare(tmp_path, e.Disturbed(touches=[BREAKER], text="dusted", by="Ben"), at(4))
    assert not told(tmp_path)
    declare(tmp_path, e.Disturbed(touches=[SUPPLY], text="charged", by="Ben"), at(5))
    assert told(tmp_path)


def test_a_trip_that_somebody_saw_is_power(tmp_path, monkeypatch):
    class Sees(Recorded):
        def done(self, step):
            self.add(e.Tripped(thing=BREAKER, what="it clicked", by="Ben"))
            return super().done(step)

    monkeypatch.setattr("tests.job.test_asfound.Recorded", Sees)
    walk(tmp_path / "a.jsonl", [Do(text="Look at the hall.")], by="Ana", when=at(3))
    assert told(tmp_path)


def test_a_damaged_record_that_may_have_said_so_counts_and_another_does_not(tmp_path):
    for name, steps, power in (("a", [Do(text="Open.", open=[BREAKER])], False), ("b", [OFF], True)):
        path = tmp_path / name / f"{name}.jsonl"
        path.parent.mkdir()
        walk(path, steps, by="Ana", when=at(3))
        walk(path.with_name("c.jsonl"), [Do(text="Look.")], by="Ben", when=at(4))
        lines = path.read_bytes().splitlines(keepends=True)
        path.write_bytes(b"".join([*lines[:-1], lines[-1].replace(b"2026", b"2027")]))
        assert told(path.parent) == power


@pytest.mark.slow
def test_an_output_is_power_from_the_moment_that_it_may_be_on(tmp_path):
    person = Person(tmp_path)
    person.until(Energise)
    *_, (before, entry, after) = follow(tmp_path / "a.jsonl", person.entries)
    assert after.phase is Phase.ENERGISING

    def bare(state):
        # as if nobody had said where the leads are
        return replace(state, conditions=replace(state.conditions, handled=Handled()))

    assert tells_power(bare(before), entry, bare(after))
    assert not tells_power(bare(before), entry, bare(before))
