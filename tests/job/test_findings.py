"""What records found that the plant file does not say, and how it gets there."""

import shutil

import msgspec
import pytest

from bench.cli import main
from bench.job.findings import findings
from bench.job.folder import open_folder
from bench.plant.flags import unnamed
from bench.plant.load import load_plant
from bench.quantity import Amount, Temperature
from bench.record.append import RecordWriter
from bench.record.index import declare
from bench.sequence.file import Found, Limit, Measure, Seek, SequenceFile
from bench.walk import events as e
from tests.job.test_asfound import BENCH, HUT, Recorded, at


@pytest.fixture
def job(tmp_path):
    shutil.copy(HUT, tmp_path / "plant.yaml")
    (tmp_path / "logs").mkdir()
    return tmp_path


FOUR = msgspec.structs.replace(
    BENCH,
    instruments=[msgspec.structs.replace(BENCH.instruments[0], accuracy_of={"resistance 4w": "ohms"})],
)


def recorded(job, name, steps, *, day, found=None, ohms=None):
    """One walk: searches end at once with what is given, readings take their value by subject."""
    plant = load_plant(job / "plant.yaml")
    sequence = SequenceFile(
        sequence="an evening", plant="plant.yaml", ambient=Temperature.parse("20 degC"), steps=steps
    )
    began = e.Began(
        software="0.0 test", edition=e.EDITION, plant=plant.file, sequence=sequence, bench=FOUR, operator="Anna"
    )
    with RecordWriter.create(job / "logs" / name, at(day)) as writer:
        Searched(writer, began, found, ohms or {}).run()


class Searched(Recorded):
    """Whose searches end at once with what is given, and whose readings take their value by subject."""

    def __init__(self, writer, began, found, by_subject):
        self._found, self._by_subject = found, by_subject
        super().__init__(writer, "Anna", 0.0, began)

    def advised(self):
        return e.Advised(number=self.state.number, want=self._found)

    def measured(self, step):
        return self.reading(function="resistance 4w", value=self._by_subject.get(step.subject, 0.0))


def identified(cable="C3", side="far", names=None, colour=None):
    facts = {"cable": cable, "side": side, "method": "tags", "names": names or {}, "by_colour": colour or {},
             "evidence": {flag: [7, 9] for flag in names or {}}, "touching": [], "ambiguous": [], "strange": [],
             "open_flags": [], "open_conductors": [], "by_elimination": {}, "contradictions": []}  # fmt: skip
    return Found(verdict="pass", sentence="Found.", facts=facts, touches=[cable])


def seek(cable="C3", **settings):
    return [Seek(title="Which is which", find="conductors", of=cable, settings=settings)]


def written(job, *words):
    return main(["findings", str(job / "plant.yaml"), *words, "--logs", str(job / "logs")])


@pytest.mark.slow
def test_flags_of_a_cut_end_go_into_the_file_and_are_not_asked_again(job, capsys):
    names = {f"C3.far/{flag}": f"C3.{number}" for number, flag in ((1, 4), (2, 9), (3, 1))}
    recorded(job, "one.jsonl", seek(), day=3, found=identified(names=names))
    before = (job / "plant.yaml").read_bytes()
    assert written(job) == 0 and (job / "plant.yaml").read_bytes() == before
    told = capsys.readouterr().out
    assert "3 conductors named in one.jsonl" in told and "+      - {conductor: 1, to-flag: 4, remark:" in told
    assert "nothing is written" in told
    assert written(job, "C3", "--write") == 0
    plant = load_plant(job / "plant.yaml")
    left, free = unnamed(plant.cables["C3"], "far")
    assert [one.name for one in left] == [f"C3.{n}" for n in range(4, 13)]
    assert free == [f"C3.far/{n}" for n in (2, 3, 5, 6, 7, 8, 10, 11, 12)]
    assert plant.terminal("C3.far/4").node == plant.conductors["C3.1"].far_end.node
    # it is said once
    assert findings(open_folder(job / "logs", plant.name), plant) == []


def test_pins_of_a_connector_are_landed_and_what_was_pushed_off_is_unknown(job):
    names = {"X21.2": "C2.1", "X21.1": "C2.2", "X21.4": "C2.3"}
    recorded(
        job, "one.jsonl", seek("C2", flags="X21"), day=3, found=identified("C2", names=names, colour={"X21.3": "C2.5"})
    )
    assert written(job, "C2", "--write") == 0
    one = load_plant(job / "plant.yaml").conductors
    assert one["C2.1"].far_end.name == "X21.2" and one["C2.1"].far_status == "known"
    assert one["C2.5"].far_end.name == "X21.3" and one["C2.5"].far_status == "claimed"
    assert one["C2.4"].far is None and one["C2.6"].far_end.name == "X21.6"


def test_what_was_touched_since_is_left_out_and_said(job):
    names = {f"C3.far/{n}": f"C3.{n}" for n in (1, 2)}
    recorded(job, "one.jsonl", seek(), day=3, found=identified(names=names))
    declare(job / "logs", e.Disturbed(touches=["C3"], text="pulled", by="Ben"), at(4))
    plant = load_plant(job / "plant.yaml")
    assert findings(open_folder(job / "logs", plant.name), plant) == []


def test_a_later_record_counts(job):
    recorded(job, "one.jsonl", seek(), day=3, found=identified(names={"C3.far/1": "C3.1", "C3.far/2": "C3.2"}))
    recorded(job, "two.jsonl", seek(), day=4, found=identified(names={"C3.far/2": "C3.1", "C3.far/1": "C3.2"}))
    assert written(job, "C3", "--write") == 0
    assert [one.far_flag for one in load_plant(job / "plant.yaml").cables["C3"].conductors[:2]] == [2, 1]


def joined(plant, *names, to=None):
    limit = Limit(at_most=Amount.parse("2 ohm"), source="invented")
    return [
        Measure(read="resistance", between=(plant.conductors[name].near_end.name,
                (to or {}).get(name, plant.conductors[name].far_end.name)), subject=name, limit=limit, wires=4)
        for name in names
    ]  # fmt: skip


def test_a_cable_that_reads_longer_is_said_with_its_doubt(job, capsys):
    plant = load_plant(job / "plant.yaml")
    names = [f"C1.{n}" for n in range(1, 13)]
    # 12 m where the file says 7 m; one bad joint moves nothing
    ohms = {name: plant.conductors[name].expected(20).nominal_ohm * 12 / 7 for name in names} | {"C1.5": 1.9}
    recorded(job, "one.jsonl", joined(plant, *names), day=3, ohms=ohms)
    assert written(job) == 0
    told = capsys.readouterr().out
    assert "C1: its 12 conductors read as 12." in told and "the file says 7 m" in told
    assert written(job, "C1", "--write") == 0
    assert load_plant(job / "plant.yaml").cables["C1"].length_m == pytest.approx(12, abs=0.3)


def test_a_cable_of_the_right_length_is_no_finding(job):
    plant = load_plant(job / "plant.yaml")
    names = [f"C1.{n}" for n in range(1, 13)]
    for scale in (0.97, 1.0, 1.03):
        ohms = {name: plant.conductors[name].expected(20).nominal_ohm * scale for name in names}
        recorded(job, f"r{scale}.jsonl", joined(plant, *names), day=3, ohms=ohms)
        assert findings(open_folder(job / "logs", plant.name), plant) == []


@pytest.mark.parametrize("metres", [0.06, 0.1, 0.3])
def test_a_length_with_a_doubt_as_large_as_itself_is_no_finding(job, metres):
    """No plant file takes a tolerance that is not less than the length; such a length tells nothing."""
    plant = load_plant(job / "plant.yaml")
    names = [f"C1.{n}" for n in range(1, 13)]
    one = plant.conductors["C1.1"]
    contacts = sum(joint.typical_ohm for joint in one.contacts)
    ohms = dict.fromkeys(names, contacts + (one.expected(20).nominal_ohm - contacts) * metres / 7)
    recorded(job, "one.jsonl", joined(plant, *names), day=3, ohms=ohms)
    assert findings(open_folder(job / "logs", plant.name), plant) == []


def test_a_cable_as_found_stays_only_where_somebody_says_so(job, capsys):
    plant = load_plant(job / "plant.yaml")
    ends = {"C2.1": "X21.2", "C2.2": "X21.1"}
    limit = Limit(at_most=Amount.parse("2 ohm"), source="invented")
    steps = joined(plant, *[f"C2.{n}" for n in range(1, 11)])
    steps += [Measure(read="resistance", between=(plant.conductors[name].near_end.name, pin), limit=limit, wires=4)
              for name, pin in ends.items()]  # fmt: skip
    ohms = {f"C2.{n}": 0.2 for n in range(3, 11)} | {"C2.1": 9e4, "C2.2": 9e4, "": 0.2}
    recorded(job, "one.jsonl", steps, day=3, ohms=ohms)
    assert written(job, "C2", "--write") == 0
    told = capsys.readouterr().out
    assert "C2.1 on X21.2" in told and "Mend it, or let it stay" in told
    assert load_plant(job / "plant.yaml").conductors["C2.1"].far_end.name == "X21.1"
    assert written(job, "--keep", "C2", "--write") == 0
    after = load_plant(job / "plant.yaml").conductors
    assert {name: after[name].far_end.name for name in ends} == ends


def test_nothing_is_written_unasked(job, capsys):
    recorded(job, "one.jsonl", seek(), day=3, found=identified(names={"C3.far/1": "C3.1"}))
    assert written(job, "--write") == 2 and "name cables" in capsys.readouterr().err
    assert written(job, "C4", "--write") == 2 and "expected 'C3'" in capsys.readouterr().err
