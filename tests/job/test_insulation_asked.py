"""Where the plant file asks for the insulation of a cable, nothing that it leads to is powered before it is proven."""

from bench.job.folder import open_folder
from bench.job.gates import missing
from bench.job.next_walk import kinds_of
from bench.job.standing import standing
from bench.plant.load import load_plant
from bench.sequence.draft import KINDS
from bench.sequence.file import Found, Seek, SequenceFile
from bench.sequence.unroll import unroll
from tests.job.test_findings import job, recorded  # noqa: F401  (the folder that a walk is recorded in)


def asked(folder):
    """The hut, with the insulation of one cable to a shelf of the finder and of one signal cable to be proven."""
    path = folder / "plant.yaml"
    text = path.read_text("utf-8")
    for name in ("{name: w1, type: E2,", "{name: C1, type: S6,"):
        assert name in text
        text = text.replace(name, f"{name} prove-insulation: true,")
    path.write_text(text, "utf-8")
    return load_plant(path)


def open_at(folder, plant):
    """Shelf and gate to the cables whose insulation is not proven, as readiness has it."""
    ready = standing(open_folder(folder / "logs", plant.name), plant)
    lacking = {one.claim.about for task in ready.tasks for one in task.claims if one.claim.kind == "insulated"}
    return ready, lacking


def insulation_of(folder, cable, verdict, day):
    poor = [[f"{cable}.1", f"{cable}.2", 9e3]] if verdict == "fail" else []
    facts = {"nets": [f"{cable}.1", f"{cable}.2", f"{cable}.3"], "poor": poor, "minimum": 1e6, "readings": 3}
    steps = [Seek(find="isolation", of=cable)]
    found = Found(verdict=verdict, sentence="Tested.", facts=facts, touches=[cable])
    recorded(folder, f"{cable}-{day}.jsonl", steps, day=day, found=found)


def test_the_gate_asks_for_it_and_says_which_sequence_proves_it(job):  # noqa: F811
    plant = asked(job)
    ready, lacking = open_at(job, plant)
    assert lacking == {"w1", "C1"}
    assert kinds_of("cable", "w1", frozenset({"insulated"})) == [("isolation", "cable", "w1")]
    steps = list(KINDS["first-power"](plant, "finder-top").steps)
    plan = unroll(SequenceFile(sequence="first", plant="plant.yaml", steps=steps), plant)
    said = missing(plan, plant, ready)["finder-top"]
    assert any(one.startswith("cable w1") and "draft PLANT isolation --cable w1" in one for one in said), said


def test_a_proof_counts_and_a_newer_failure_counts_against_it(job):  # noqa: F811
    plant = asked(job)
    for cable in ("w1", "C1"):
        insulation_of(job, cable, "pass", 3)
    assert open_at(job, plant)[1] == set()
    insulation_of(job, "w1", "fail", 5)
    ready, lacking = open_at(job, plant)
    assert lacking == {"w1"}
    (state,) = [one for task in ready.tasks for one in task.claims if one.claim.kind == "insulated"]
    assert state.status == "failing"


def test_where_the_file_does_not_ask_nothing_is_asked(job):  # noqa: F811
    assert open_at(job, load_plant(job / "plant.yaml"))[1] == set()


def test_to_ask_for_it_voids_nothing_that_was_proven(job):  # noqa: F811
    before = load_plant(job / "plant.yaml")
    insulation_of(job, "C1", "pass", 3)
    plant = asked(job)
    counted = open_folder(job / "logs", before.name).counting(plant)
    assert {row.verdict for row in counted} == {"pass"}
