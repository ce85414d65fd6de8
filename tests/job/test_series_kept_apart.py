"""Readings that look alike and are not the same quantity stand in series of their own."""

from bench.job.folder import open_folder, readings_of
from bench.job.series import key_of
from bench.plant.load import load_plant
from bench.quantity import Amount
from bench.sequence.file import Do, Hold, Limit, Measure
from tests.job.test_asfound import HUT
from tests.job.test_findings import job, recorded  # noqa: F401  (the folder that a walk is recorded in)


def keys(folder):
    found = open_folder(folder, load_plant(HUT).name)
    return [
        key_of(row)
        for chapter in found.chapters
        for row in readings_of(folder, chapter.record, found.heads[chapter.record])
    ]


def test_a_bond_in_place_and_with_the_single_point_lifted(job):  # noqa: F811
    bond = load_plant(HUT).bonds["G2"]
    read = [Measure(read="resistance", between=(bond.a.name, bond.b.name), subject="G2", wires=4,
                    limit=Limit(at_most=Amount.parse("20 mohm"), source="invented"))]  # fmt: skip
    steps = [
        *read,
        Hold(text="Dead.", word="DEAD"),
        Do(text="Lift G1.", lift=["G1"]),
        *read,
        Do(text="Put G1 back.", refit=["G1"]),
        *read,
    ]
    recorded(job, "one.jsonl", steps, day=3, ohms={"G2": 0.01})
    first, lifted, last = keys(job / "logs")
    assert first == last != lifted and "G1 lifted" in lifted.text
