"""The plant as found: one fold over all records of a job, in the order that they themselves tell."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from bench.job.asfound import as_found, before_a_walk
from bench.job.folder import open_folder
from bench.judge.accuracy import AccuracyRow
from bench.plant.load import load_plant
from bench.quantity import Amount, Temperature
from bench.record.append import RecordWriter
from bench.record.index import declare
from bench.sequence.file import Do, Hold, Limit, Measure, SequenceFile
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts

HUT = Path("tests/jobs/beacon-hut/plant.yaml")
METER = InstrumentFacts(
    name="meter",
    profile="a-meter",
    roles=["ohms"],
    rows=(AccuracyRow("ohms", "Ω", 1e5, percent_of_reading=0.02, percent_of_range=0.0001, resolution=1e-3),),
    accuracy_of={"resistance 2w": "ohms"},
)
BENCH = BenchFacts(name="evening bench", simulated=False, instruments=[METER], role_of={"ohms": "meter"})


def at(day, hour=18):
    return lambda: datetime(2026, 3, day, hour, tzinfo=UTC)


def walk(path, steps, *, by, when, ohms=0.0, older=False):
    """One walk by somebody's hands, recorded as the runner does it."""
    plant = load_plant(HUT)
    before = before_a_walk(path.parent, plant, simulated=False)
    order, saw, found = before.order, list(before.saw), list(before.found)
    if older:
        order, saw, found = 0, [], []
    sequence = SequenceFile(
        sequence="an evening", plant="plant.yaml", ambient=Temperature.parse("20 degC"), steps=steps
    )
    began = e.Began(
        software="0.0 test", edition=e.EDITION, plant=plant.file, sequence=sequence, bench=BENCH, operator=by,
        order=order, saw=saw, found=found,
    )  # fmt: skip
    with RecordWriter.create(path, when) as writer:
        return Recorded(writer, by, ohms, began).run()


class Recorded(Walker):
    """Whose every event is written down."""

    reason = "it is what we have"

    def __init__(self, writer, by, ohms, began):
        self._writer, self.by, self._ohms = writer, by, ohms
        self.begin(began)

    def entry(self, event):
        return self._writer.envelope(event)

    def add(self, event):
        entry = super().add(event)
        self._writer.append(entry)
        return entry

    def measured(self, step):
        return self.reading(value=self._ohms)


def closing(*names):
    return [Hold(text="All clear.", word="CLEAR"), Do(text="Close.", close=list(names))]


def opening(*names):
    return [Do(text="Open.", open=list(names))]


def reading(conductor):
    """One conductor from end to end; sound below 20 ohms."""
    plant = load_plant(HUT)
    one = plant.conductors[conductor]
    limit = Limit(at_most=Amount.parse("20 ohm"), source="invented")
    ends = (one.near_end.name, one.far_end.name)
    return [Measure(read="resistance", between=ends, subject=conductor, limit=limit)]


def found_in(folder):
    plant = load_plant(HUT)
    return as_found(open_folder(folder, plant.name), plant)


def breakers():
    return list(load_plant(HUT).breakers)


def conductor():
    plant = load_plant(HUT)
    return next(name for name, one in plant.conductors.items() if one.landed and one.cable.startswith("W"))


def status(found, name):
    return next(one.status for thing in found.ready.things for one in thing.states if one.claim.about == name)


def test_a_later_record_replaces_what_an_earlier_one_said(tmp_path):
    first, second = breakers()[:2]
    walk(tmp_path / "a.jsonl", closing(first, second), by="Anna", when=at(12))
    walk(tmp_path / "b.jsonl", opening(first), by="Ben", when=at(13))
    handled = found_in(tmp_path).handled
    assert handled.state("breaker", first) == "open"
    assert handled.state("breaker", second) == "closed"
    (mark,) = handled.said("breaker", second)
    assert (mark.by, mark.record, mark.at[:10]) == ("Anna", "a.jsonl", "2026-03-12")
    assert handled.state("breaker", breakers()[-1]) == "unknown"


@pytest.mark.parametrize("wrong", [at(1), lambda: datetime(2020, 1, 1, tzinfo=UTC)])
def test_a_clock_that_runs_behind_does_not_turn_the_order(tmp_path, wrong):
    """The newer record is stamped earlier: it counts all the same, and the clock is said to be wrong."""
    name = breakers()[0]
    walk(tmp_path / "a.jsonl", closing(name), by="Anna", when=at(12))
    walk(tmp_path / "b.jsonl", opening(name), by="Ben", when=wrong)
    found = found_in(tmp_path)
    assert found.handled.state("breaker", name) == "open"
    assert any("a clock was wrong" in text for text in found.contradictions)


def test_a_newer_fail_counts_whatever_the_clock_says(tmp_path):
    """And a pass that is stamped years ahead does not outlive it."""
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=lambda: datetime(2030, 1, 1, tzinfo=UTC), ohms=0.1)
    assert status(found_in(tmp_path), name) == "proven"
    walk(tmp_path / "b.jsonl", reading(name), by="Ben", when=at(12), ohms=50.0)
    assert status(found_in(tmp_path), name) == "failing"


def two_laptops(tmp_path, first, second):
    """Two folders that began alike, each with a record of its own, copied together."""
    left, right = tmp_path / "left", tmp_path / "right"
    walk(left / "begin.jsonl", opening(breakers()[-1]), by="Anna", when=at(10))
    shutil.copytree(left, right)
    first(left / "left.jsonl")
    second(right / "right.jsonl")
    merged = tmp_path / "merged"
    shutil.copytree(left, merged)
    shutil.copy(right / "right.jsonl", merged)
    shutil.copy(right / "begin.jsonl", merged / "begin-again.jsonl")
    return merged


def test_what_two_laptops_say_differently_is_unknown_until_somebody_looks(tmp_path):
    one, other = breakers()[:2]
    merged = two_laptops(
        tmp_path,
        lambda path: walk(path, closing(one, other), by="Anna", when=at(12)),
        lambda path: walk(path, opening(one), by="Ben", when=at(13)),
    )
    found = found_in(merged)
    assert found.handled.state("breaker", one) == "unknown"
    assert found.handled.state("breaker", other) == "closed"
    (text,) = found.contradictions
    assert one in text and "Anna" in text and "Ben" in text and "nobody can say which is later" in text
    assert open_folder(merged).left_out == {"begin.jsonl": "a copy of begin-again.jsonl"}
    walk(merged / "later.jsonl", opening(one), by="Cleo", when=at(14))
    found = found_in(merged)
    assert found.handled.state("breaker", one) == "open" and not found.contradictions


def test_evidence_of_two_laptops_that_contradicts_itself_is_never_proven(tmp_path):
    name = conductor()
    merged = two_laptops(
        tmp_path,
        lambda path: walk(path, reading(name), by="Anna", when=at(12), ohms=50.0),
        lambda path: walk(path, reading(name), by="Ben", when=at(13), ohms=0.1),
    )
    assert status(found_in(merged), name) == "undecided"
    walk(merged / "later.jsonl", reading(name), by="Cleo", when=at(2), ohms=0.1)
    assert status(found_in(merged), name) == "proven"


def test_a_disturbance_that_cannot_be_ordered_voids(tmp_path):
    """It was told on one laptop while the other one read: nobody can say that the reading came after."""
    name = conductor()
    event = e.Disturbed(touches=[name], text="moved", by="Anna")

    def tell(path):
        declare(
            path.parent, msgspec.structs.replace(event, saw=open_folder(path.parent).whole_order.heads()[1]), at(12)
        )

    merged = two_laptops(tmp_path, tell, lambda path: walk(path, reading(name), by="Ben", when=at(13), ohms=0.1))
    assert status(found_in(merged), name) == "void"
    walk(merged / "later.jsonl", reading(name), by="Cleo", when=at(2), ohms=0.1)
    assert status(found_in(merged), name) == "proven"


def test_a_record_whose_end_was_cut_off_counts_nowhere(tmp_path):
    """What a later record saw of it tells."""
    name = breakers()[0]
    walk(tmp_path / "a.jsonl", closing(name), by="Anna", when=at(12))
    walk(tmp_path / "b.jsonl", opening(breakers()[1]), by="Ben", when=at(13))
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-2]))
    folder = open_folder(tmp_path)
    assert [chapter.record for chapter in folder.chapters] == ["b.jsonl"]
    assert "its end is missing" in str(folder.broken[0])


def test_copies_that_go_on_differently_count_nowhere(tmp_path):
    """One record, continued on two laptops."""
    name = breakers()[0]
    walk(tmp_path / "a.jsonl", closing(name), by="Anna", when=at(12))
    lines = (tmp_path / "a.jsonl").read_bytes().splitlines(keepends=True)
    for copy, text in (("b.jsonl", "left"), ("c.jsonl", "right")):
        (tmp_path / copy).write_bytes(b"".join(lines[:-3]))
        writer, _, _ = RecordWriter.reopen(tmp_path / copy)
        with writer:
            writer.append(writer.envelope(e.Noted(text=text)))
    (tmp_path / "a.jsonl").unlink()
    folder = open_folder(tmp_path)
    assert not folder.chapters and "goes on differently" in str(folder.broken[0])


def test_records_of_an_older_version_are_ordered_by_their_clock(tmp_path):
    """They have nothing else; one that saw them is later than they."""
    name = breakers()[0]
    walk(tmp_path / "b.jsonl", opening(name), by="Ben", when=at(13), older=True)
    walk(tmp_path / "a.jsonl", closing(name), by="Anna", when=at(12), older=True)
    assert found_in(tmp_path).handled.state("breaker", name) == "open"
    walk(tmp_path / "c.jsonl", closing(name), by="Cleo", when=at(1))
    assert found_in(tmp_path).handled.state("breaker", name) == "closed"


def test_a_record_names_only_the_last_ones(tmp_path):
    """What those had seen need not be said again: the first line does not grow with the months."""
    name = breakers()[0]
    for number in range(6):
        walk(tmp_path / f"{number}.jsonl", opening(name), by="Anna", when=at(number + 1))
    before = before_a_walk(tmp_path, load_plant(HUT), simulated=False)
    assert before.order == 7 and len(before.saw) == 1 and len(before.found) == 1
