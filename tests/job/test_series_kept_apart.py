"""Readings that look alike and are not the same quantity stand in series of their own."""

import msgspec

from bench.job.folder import open_folder, readings_of
from bench.job.series import key_of
from bench.judge.accuracy import AccuracyRow
from bench.plant.load import load_plant
from bench.quantity import Amount, Temperature
from bench.record.append import RecordWriter
from bench.sequence.file import Do, Hold, Limit, Measure, SequenceFile, Set
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts
from tests.job.test_asfound import BENCH, HUT, Recorded, at
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


class OnBoth(Recorded):
    """Whose feed reads a volt less on the bench supply than on the battery."""

    def measured(self, step):
        return self.reading(value=23.0 if self.state.conditions.handled.on else 24.0)


def test_a_feed_from_a_bench_supply_and_from_its_own_battery(job):  # noqa: F811
    """A volt that the battery has more is no change of the plant: the two stand in series of their own."""
    plant = load_plant(HUT)
    inlet = plant.inlets["finder-top.P"]
    read = Measure(read="voltage", between=(inlet.live.name, inlet.back.name), subject=inlet.name,
                   limit=Limit(computed="feed-voltage"))  # fmt: skip
    on = {"voltage": Amount.parse("24 V"), "current_limit": Amount.parse("1 A")}
    steps = [
        Hold(text="Clear.", word="CLEAR"),
        Do(text="Leads on.", connect=["BATP"]),
        Set(text="On.", output="on", **on),
        read,
        Set(text="Off.", output="off"),
        Do(text="Leads off.", disconnect=["BATP"]),
        Hold(text="Clear.", word="BATTERY"),
        Do(text="Battery on.", switch_on=["BATP"], proven=["finder-top"]),
        read,
        Do(text="Battery off.", switch_off=["BATP"]),
    ]
    rows = (AccuracyRow("volts", "V", 100.0, percent_of_reading=0.01, percent_of_range=0.01, resolution=1e-3),)
    meter = msgspec.structs.replace(BENCH.instruments[0], roles=["volts"], rows=rows, accuracy_of={"voltage": "volts"})
    supply = InstrumentFacts(name="supply", profile="a-supply", roles=["supply"], outputs=True)
    bench = BenchFacts(name="bench", simulated=False, instruments=[meter, supply],
                       role_of={"volts": "meter", "supply": "supply"})  # fmt: skip
    began = e.Began(
        software="0.0 test", edition=e.EDITION, plant=plant.file, bench=bench, operator="Anna",
        sequence=SequenceFile(
            sequence="both", plant="plant.yaml", ambient=Temperature.parse("20 degC"), steps=steps
        ),
    )  # fmt: skip
    with RecordWriter.create(job / "logs" / "both.jsonl", at(3)) as writer:
        OnBoth(writer, "Anna", 0.0, began).run()
    lent, own = keys(job / "logs")
    assert "from a bench supply" in lent.text and "from its own supply" in own.text
