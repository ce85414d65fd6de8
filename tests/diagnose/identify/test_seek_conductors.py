"""Which wire is which, as a search: right by every way, never wrong with faults, every error in plain words."""

from __future__ import annotations

import csv
import io
import random

import msgspec
import pytest
from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.case import case_of
from bench.diagnose.identify.chain import ChainPlan
from bench.diagnose.identify.finding import changes_of, labels_csv
from bench.diagnose.identify.ohm_scale import scale_of
from bench.files import from_text
from bench.plant import faults as k
from bench.plant.file import PlantFile
from bench.plant.resolve import resolve
from bench.sequence.file import Do, Measure, Seek
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import BenchFacts
from bench.walk.state import fold, request
from tests.diagnose.explain.bundle_walk import BENCH, METER, Bundle, plant_file, wrong_names

WAYS = {
    "tags": {"method": "tags", "tags": "E96", "common": "screen"},
    "few tags": {
        "method": "tags",
        "tags": "1 kohm, 2.2 kohm, 4.7 kohm, 10 kohm",
        "tolerance": "5 %",
        "common": "screen",
    },
    "star": {"method": "star", "tags": "E24", "tolerance": "1 %"},
    "chain": {"method": "chain"},
    "chain without a bar": {"method": "chain", "bar": "no"},
    "sizes": {"method": "sizes", "tester": "yes"},
    "sizes with a known one": {"method": "sizes", "tester": "yes", "common": "screen"},
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("wires", [3, 6, 14, 25])
@pytest.mark.quick_cases(8)
def test_all_is_named_where_all_is_well(way: str, wires: int) -> None:
    bundle = Bundle(wires, WAYS[way], seed=wires)
    found = bundle.identify()
    assert not wrong_names(found, bundle.truth)
    facts = found.facts
    assert len(facts["names"]) + len(facts["by_elimination"]) == wires
    assert found.verdict == ("undecided" if facts["by_elimination"] else "pass")
    assert found.verdict == "pass" or way.startswith("sizes")
    assert facts["readings"] == bundle.taken
    assert facts["bound"] <= facts["every_pair"]


@pytest.mark.parametrize("seed", range(24))
@pytest.mark.quick_cases(6)
def test_with_opens_and_shorts_no_name_is_wrong_and_what_is_wrong_is_said(seed: int) -> None:
    rng = random.Random(f"faults {seed}")
    wires = rng.randint(6, 26)
    numbers = rng.sample(range(1, wires + 1), 4)
    # which of the two: one broken, or two that touch as well
    faults: list[k.Fault] = [k.Open(conductor=f"W1.{numbers[0]}")]
    if seed % 2:
        faults.append(k.Short(between=(f"W1.{numbers[1]}", f"W1.{numbers[2]}")))
    way = list(WAYS)[seed % 4 + (seed % 4 == 1)]
    bundle = Bundle(wires, WAYS[way], faults, seed=seed)
    found = bundle.identify()
    assert not wrong_names(found, bundle.truth), found.sentence
    assert found.verdict in ("fail", "undecided")
    if way.startswith("tags"):
        facts = found.facts
        assert facts["open_conductors"] == [f"W1.{numbers[0]}"]
        joined = {f"W1.{number}" for number in numbers[1:3]} if seed % 2 else set()
        assert {name for _, names in facts["touching"] for name in names} == joined
        assert len(facts["names"]) == wires - len(joined) - 1


def test_by_sizes_nothing_is_named_after_a_fault() -> None:
    bundle = Bundle(12, WAYS["sizes"], [k.Open(conductor="W1.5")])
    found = bundle.identify()
    assert found.facts["names"] == {} and found.verdict == "undecided" and found.facts["contradictions"]


def test_the_truth_is_nowhere_in_what_the_walk_knows() -> None:
    bundle = Bundle(12, WAYS["tags"])
    assert all(edge.a not in bundle.plant.flags for edge in bundle.plant.graph())
    other = Bundle(12, WAYS["tags"], seed=2)
    assert bundle.truth != other.truth and bundle.entries == other.entries


def test_a_card_says_what_to_clip_and_a_reading_which_flag() -> None:
    bundle = Bundle(6, WAYS["tags"])
    bundle.one()
    step = bundle.state.step
    assert step is not None and isinstance(step.source, Do) and step.source.rig is not None
    assert len(step.source.rig.tags) == 6
    assert (
        "J1, bay 1, shelf 1A" in step.text and "J1.3: tag " in step.text and "W1, far end: every wire free" in step.text
    )
    assert step.text.startswith("First tie a numbered flag to each wire of W1, far end, 1 to 6")
    bundle.one()
    bundle.one()
    step = bundle.state.step
    assert step is not None and isinstance(step.source, Measure)
    assert step.title == "Flag 1 against the screen of W1" and step.source.between == ("W1.far/1", "W1.screen.far")
    for _ in range(3):
        bundle.one()
    advised = bundle.state.seeking.advised  # type: ignore[union-attr]
    assert advised is not None and advised.done == 1 and advised.left == 5
    assert "1 of 6 ends read as one tag: flag 1 reads as J1." in advised.why


def skipping(*which: int):  # type: ignore[no-untyped-def]
    def meddle(n: int, event: e.Event) -> e.Event:
        number = event.number  # type: ignore[union-attr]
        return e.Skipped(number=number, reason="out of reach") if n in which else event

    return meddle


def test_a_flag_that_was_skipped_stays_unknown_and_the_rest_is_named() -> None:
    bundle = Bundle(8, WAYS["tags"], meddle=skipping(3))
    found = bundle.identify()
    assert not wrong_names(found, bundle.truth) and len(found.facts["names"]) == 7
    assert found.verdict == "undecided" and found.facts["by_elimination"]


class HeldLow(Bundle):
    """A bundle that is read by a meter which a key holds on its lowest range, 400 ohm."""

    def measured(self, step: Step) -> e.Event:
        event = super().measured(step)
        if isinstance(event, e.Read) and (event.over or (event.value or 0.0) > 400.0):
            return msgspec.structs.replace(event, value=None, over="+", range=400.0)
        return event


def test_a_meter_that_a_key_holds_on_a_low_range_makes_no_conductor_open() -> None:
    """Tags read more than that range shows; over range of it says nothing of them."""
    bundle = HeldLow(25, WAYS["few tags"])
    found = bundle.identify()
    assert not wrong_names(found, bundle.truth)
    assert found.verdict == "undecided" and "arrive nowhere" not in found.sentence, found.sentence


def test_a_yes_or_no_skipped_once_is_asked_again_and_twice_ends_the_search() -> None:
    once = Bundle(8, WAYS["chain"], meddle=skipping(4))
    found = once.identify()
    assert found.verdict == "pass" and not wrong_names(found, once.truth)
    twice = Bundle(8, WAYS["chain"], meddle=skipping(4, 5))
    found = twice.identify()
    assert found.verdict == "undecided" and found.facts["names"] == {} and "twice" in found.sentence


def test_clips_that_were_not_put_on_are_asked_for_again() -> None:
    bundle = Bundle(8, WAYS["tags"], meddle=skipping(1))
    assert bundle.identify().verdict == "pass"


@pytest.mark.parametrize("way", ["tags", "star", "chain"])
def test_a_reading_that_was_wrong_names_nothing_wrongly(way: str) -> None:
    """A touch on the wrong flag: two flags then read as one tag, or the chain does not fit."""
    for at in (4, 7, 9):
        bundle = Bundle(9, WAYS[way], seed=at)
        place = bundle.world.place
        count = [0]

        def slip(red: str, black: str, *, join=(), place=place, count=count, at=at) -> None:  # type: ignore[no-untyped-def]
            count[0] += 1
            if count[0] == at:
                # the probe slips to the next flag
                red = f"W1.far/{int(red.rpartition('/')[2]) % 9 + 1}" if "/" in red else red
            place(red, black, join=join)

        bundle.world.place = slip  # type: ignore[method-assign]
        found = bundle.identify()
        assert not wrong_names(found, bundle.truth), found.sentence
        if way == "tags":
            assert found.verdict != "pass"


def test_a_last_answer_taken_back_is_asked_again() -> None:
    bundle = Bundle(8, WAYS["star"])
    for _ in range(20):
        bundle.one()
    trail = bundle.state.seeking.trail  # type: ignore[union-attr]
    bundle.add(e.Went(number=bundle.state.number, to=0))
    assert bundle.state.seeking.trail == trail[:-1]  # type: ignore[union-attr]
    found = bundle.identify()
    assert found.verdict == "pass" and not wrong_names(found, bundle.truth)


def test_an_identification_goes_on_from_its_record() -> None:
    bundle = Bundle(10, WAYS["chain"])
    for _ in range(60):
        bundle.one()
    bundle.state = fold(bundle.entries)
    assert request(bundle.state) == request(fold(bundle.entries))
    found = bundle.identify()
    assert found.verdict == "pass" and not wrong_names(found, bundle.truth)


def test_asking_again_costs_no_replay(monkeypatch: pytest.MonkeyPatch) -> None:
    begun = []
    script = ChainPlan.script
    monkeypatch.setattr(ChainPlan, "script", lambda self: (begun.append(1), script(self))[1])
    bundle = Bundle(40, WAYS["chain"])
    bundle.identify()
    assert len(bundle.entries) > 500 and len(begun) == 1


def test_colours_name_ends_and_contradict_what_does_not_fit() -> None:
    plant = plant_file(4, colours=["BK", "RD", "BU", "WH"])  # type: ignore[arg-type]
    plain = Bundle(4, {**WAYS["tags"]}, file=plant)
    colour = {name: one.colour for name, one in plain.plant.conductors.items()}
    seen = "; ".join(f"{flag.rpartition('/')[2]} {colour[name]}" for flag, name in plain.truth.items())
    trusted = Bundle(4, {**WAYS["tags"], "colours": seen, "trust-colours": "yes"}, file=plant)
    found = trusted.identify()
    assert found.facts["readings"] == 0 and not wrong_names(found, trusted.truth) and len(found.facts["by_colour"]) == 4
    flags = list(plain.truth)
    swapped = seen.replace(colour[plain.truth[flags[0]]], "?").replace(colour[plain.truth[flags[1]]], "grey")
    told = Bundle(4, {**WAYS["tags"], "colours": swapped.replace("?", "grey")}, file=plant).identify()
    assert told.facts["contradictions"] and len(told.facts["names"]) == 4


def test_a_cable_on_a_connector_in_no_order_is_identified_by_pins() -> None:
    text = msgspec.to_builtins(plant_file(9), enc_hook=str)
    text["bays"][0]["shelves"].append({"name": "1B", "connectors": [{"name": "J2", "type": "R"}]})
    text["cables"][0]["to"] = "J2"
    file = msgspec.convert(text, PlantFile, dec_hook=from_text)
    scramble = [k.Scrambled(cable="W1", end="far", seed=3)]
    settings = {"method": "tags", "tags": "E24", "tolerance": "1 %", "common": "screen", "flags": "J2"}
    bundle = Bundle(9, settings, scramble, file=file)
    found = bundle.identify()
    assert found.verdict == "pass" and set(found.facts["names"]) == {f"J2.{n}" for n in range(1, 10)}
    for pin, name in found.facts["names"].items():
        bundle.world.place(bundle.plant.conductors[name].near_end.name, pin)
        assert bundle.world.resistance("", "", 0.0) < 100
    changes = changes_of(bundle.plant, found.facts, "r.jsonl")
    said = {f"W1.{change.into[3]}": change.fields for change in changes}
    for pin, name in found.facts["names"].items():
        assert said[name]["to"] == pin and said[name]["to-status"] == "known" and "r.jsonl" in said[name]["remark"]


def test_the_end_without_labels_may_be_the_near_one() -> None:
    text = msgspec.to_builtins(plant_file(7), enc_hook=str)
    text["cables"][0] |= {"from": "unknown", "to": "J1"}
    file = msgspec.convert(text, PlantFile, dec_hook=from_text)
    bundle = Bundle(7, WAYS["tags"], file=file)
    found = bundle.identify()
    truth = {flag: end.removesuffix(".near") for flag, end in bundle.world.flags.items()}
    assert found.verdict == "pass" and found.facts["names"] == truth
    assert all(flag.startswith("W1.near/") for flag in truth)


def test_an_identified_conductor_is_a_common() -> None:
    bundle = Bundle(9, {})
    flag = next(flag for flag, name in bundle.truth.items() if name == "W1.4")
    settings = {"method": "tags", "tags": "E24", "tolerance": "1 %", "common": f"W1.4, {flag}"}
    again = Bundle(9, settings)
    found = again.identify()
    assert found.verdict == "pass" and len(found.facts["names"]) == 8 and not wrong_names(found, again.truth)


def test_labels_and_plant_lines_say_what_was_found(tmp_path) -> None:  # type: ignore[no-untyped-def]
    bundle = Bundle(8, WAYS["tags"], [k.Open(conductor="W1.5"), k.Short(between=("W1.1", "W1.2"))])
    found = bundle.identify()
    rows = list(csv.DictReader(io.StringIO(labels_csv(bundle.plant, found.facts))))
    assert [row["flag"] for row in rows] == [str(n) for n in range(1, 9)]
    truth = {flag.rpartition("/")[2]: name for flag, name in bundle.truth.items()}
    for row in rows:
        if row["state"] == "named":
            assert row["label"] == truth[row["flag"]] and row["from"].startswith("J1.")
        else:
            assert truth[row["flag"]] in ("W1.1", "W1.2", "W1.5") and not row["label"]
    changes = changes_of(bundle.plant, found.facts, "logs/r.jsonl")
    assert len(changes) == 5
    for change in changes:
        flag = f"W1.far/{change.fields['to-flag']}"
        assert bundle.truth[flag] == f"W1.{change.into[3]}" and "logs/r.jsonl, event " in change.fields["remark"]


def test_what_the_plant_file_says_of_single_conductors_is_kept() -> None:
    text = msgspec.to_builtins(plant_file(5), enc_hook=str)
    text["cables"][0]["conductors"] = [{"conductor": "2", "colour": "red", "remark": "a splice"}]
    file = msgspec.convert(text, PlantFile, dec_hook=from_text)
    bundle = Bundle(5, WAYS["tags"], [k.Open(conductor="W1.3")], file=file)
    found = bundle.identify()
    changes = changes_of(bundle.plant, found.facts, "r")
    second = next(one for one in changes if one.into[3] == "2")
    assert second.fields["colour"] == "red" and second.fields["remark"].startswith("a splice; identified by tags, r")
    assert [one.into[3] for one in changes] == ["1", "2", "4", "5"]
    # what an older search remarked gives way to the newer one, a person's words stay
    text["cables"][0]["conductors"][0]["remark"] = second.fields["remark"]
    again = changes_of(
        Bundle(5, WAYS["tags"], file=msgspec.convert(text, PlantFile, dec_hook=from_text)).plant, found.facts, "s"
    )
    assert again[1].fields["remark"].startswith("a splice; identified by tags, s")


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"methud": "tags"}, "'methud'.*did you mean 'method'"),
        ({"method": "guess"}, "'method'.*'tags', 'star', 'chain', 'sizes'"),
        ({"method": "tags", "tester": "yes"}, "a tester reads no ohms"),
        ({"method": "tags", "common": "screen"}, "say what is in the drawers"),
        ({"method": "tags", "tags": "E24"}, "a common that is known at both ends"),
        ({"tags": "E48"}, "'tags': found 'E48'"),
        ({"tags": "4.7 kohm"}, "'tolerance'"),
        ({"tags": "E24", "tolerance": "-1 %"}, "'tolerance'"),
        ({"tags": "0 ohm", "tolerance": "1 %"}, "more than 0"),
        ({"common": "W9.3"}, "'common'"),
        ({"common": "W1.3"}, "the flag that it has"),
        ({"common": "a, b, c"}, "one or two places"),
        ({"bar": "maybe"}, "'bar'.*yes or no"),
        ({"colours": "77 red"}, "flag '77'"),
        ({"colours": "1 plaid"}, "flag 1: found 'plaid'"),
        ({"direct": "W1.99"}, "'direct'"),
        ({"flags": "J1"}, None),
        ({"flags": "J7"}, "a connector that W1 ends on"),
    ],
)
def test_a_setting_that_is_of_no_use_says_what_was_expected(settings: dict[str, str], said: str | None) -> None:
    plant = resolve(plant_file(6))
    source = Seek(find="conductors", of="W1", settings=settings)
    if said is None:
        assert case_of(plant, source, BENCH).flags == tuple(f"J1.{n}" for n in range(1, 7))
        return
    with pytest.raises(DiagnoseError, match=said):
        case_of(plant, source, BENCH).ways()


def test_two_wires_without_tags_cannot_be_told_apart_and_that_is_said() -> None:
    plant = resolve(plant_file(2, screen=False))
    with pytest.raises(DiagnoseError, match="2"):
        case_of(plant, Seek(find="conductors", of="W1", settings={}), BENCH).ways()


def test_the_meter_bounds_every_reading_by_its_table() -> None:
    meter = scale_of(BENCH, 1e6)
    for ohms in (0.0, 3.0, 90.0, 101.0, 950.0, 1.01e4, 5e5, 1e6):
        table = METER.table
        assert table is not None
        off = table.pick("ohms", ohms).row.error_at(ohms).half_width
        assert off <= meter.gain * ohms + meter.offset
    assert meter.gain < 0.001
    with pytest.raises(DiagnoseError, match="reads up to"):
        scale_of(BENCH, 1e12)
    with pytest.raises(DiagnoseError, match="nothing is known of its accuracy"):
        scale_of(msgspec.structs.replace(BENCH, instruments=[msgspec.structs.replace(METER, rows=())]), 1e3)
    with pytest.raises(DiagnoseError, match="no instrument"):
        scale_of(BenchFacts(name="bare"), 1e3)


def test_a_longer_cable_and_a_worse_meter_leave_fewer_tags() -> None:
    source = Seek(find="conductors", of="W1", settings={"tags": "E96", "common": "screen", "method": "tags"})
    rows = tuple(replace(row, percent_of_reading=1.5) for row in METER.rows)
    worse = msgspec.structs.replace(BENCH, instruments=[msgspec.structs.replace(METER, rows=rows)])
    near = case_of(resolve(plant_file(300)), source, BENCH)
    far = case_of(resolve(plant_file(300, length="3 km")), source, worse)
    assert far.loop.high > 50 * near.loop.low
    counts = [len(case.ways()[0].plan.batches) for case in (near, far)]  # type: ignore[union-attr]
    assert counts[0] < counts[1]


@pytest.mark.parametrize("way", ["tags", "star", "chain"])
def test_one_open_conductor_that_is_left_over_is_open_and_fails(way: str) -> None:
    """All others are named, and its own end was read: it can be nothing else."""
    bundle = Bundle(8, WAYS[way], faults=[k.Open(conductor="W1.5")])
    found = bundle.identify()
    assert not wrong_names(found, bundle.truth) and len(found.facts["names"]) == 7
    assert found.verdict == "fail"
    assert "1 open" in found.sentence and "not proven" not in found.sentence
    assert any(line.startswith("open: W1.5, which is flag") for line in found.lines)


def test_by_sizes_the_one_that_is_left_over_is_looked_for() -> None:
    """It was alone both times; hung on an end that is proven it shows whether it gets through."""
    sound = Bundle(3, WAYS["sizes"], seed=3)
    found = sound.identify()
    assert found.verdict == "pass" and len(found.facts["names"]) == 3
