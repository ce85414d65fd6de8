"""From what is next to a walk: drafted by one command, stale when the plant changed, changes by hand kept."""

import shutil
from collections import Counter
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.cli import main
from bench.job.next_walk import in_one_walk, next_walk, walks_of
from bench.job.readiness import readiness
from bench.plant.load import load_plant
from bench.sequence.draft import AND, KINDS, draft
from bench.sequence.file import Measure, SequenceFile
from bench.sequence.load import load_sequence
from bench.sequence.pace import seconds_of
from bench.sequence.unroll import unroll

HUT = Path("tests/jobs/beacon-hut").resolve()


@pytest.fixture
def job(tmp_path, monkeypatch):
    shutil.copytree(HUT, tmp_path / "hut")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "hut"


def change(job, old, new):
    text = (job / "plant.yaml").read_text("utf-8")
    assert old in text
    (job / "plant.yaml").write_text(text.replace(old, new), "utf-8")


def said(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out + told.err


def test_every_task_of_a_new_job_has_a_walk_that_its_bench_can_do(job):
    plant = load_plant(job / "plant.yaml")
    tasks = readiness(plant, []).tasks
    assert len(tasks) > 20
    for task in tasks:
        walks = walks_of(plant, task)
        assert walks, task.text
        for walk in walks:
            assert walk.minutes > 0 and walk.roles, walk


def test_what_the_gates_of_a_first_power_ask_for_comes_before_it(job):
    """Who stands before a gate with the supply's leads bolted on has come for nothing."""
    plant = load_plant(job / "plant.yaml")
    ready = readiness(plant, [])
    shelf = "relays"
    first = [gate for gate in ready.gates if gate.shelf == shelf and gate.gate == "first power"]
    wiring = {name for gate in first for name in gate.blockers}
    # as it stands when all that its first power itself needs is proven: its signal cable is not
    itself = ("inlets", shelf)
    left = [one for one in ready.tasks if (one.kind, one.about) == itself or (one.kind, one.about) not in wiring]
    order = sorted(left, key=lambda one: one.kind != "inlets")
    gates = [replace(one, blockers=tuple(name for name in one.blockers if name not in wiring)) for one in ready.gates]
    found = next_walk(plant, replace(ready, tasks=tuple(order), gates=tuple(gates)))
    assert found is not None and (found[0].kind, found[0].about) == ("cable", "C4"), found
    proven = [one for one in order if one.about != "C4"]
    found = next_walk(plant, replace(ready, tasks=tuple(proven), gates=tuple(gates)))
    assert found is not None and found[1].file == "first-power-relays.yaml"


def test_what_is_next_is_drafted_with_time_and_needs_and_a_bench(job, capsys):
    code, told = said(capsys, "draft", job / "plant.yaml", "next")
    found = next_walk(load_plant(job / "plant.yaml"), readiness(load_plant(job / "plant.yaml"), []))
    assert code == 0 and found is not None
    path = job / found[1].file
    assert f"{path} is drafted" in told and " min, needs an ohmmeter" in told
    assert f"proveout walk {path} --bench {job / 'benches' / 'simulated.yaml'}" in told
    assert load_sequence(path).plan.steps
    # again: it is there, and nothing is written
    before = path.read_bytes()
    assert f"{path} is there, and fits the plant" in said(capsys, "draft", job / "plant.yaml", "next")[1]
    assert path.read_bytes() == before


def test_a_file_of_somebody_is_left_alone(job, capsys):
    found = next_walk(load_plant(job / "plant.yaml"), readiness(load_plant(job / "plant.yaml"), []))
    assert found is not None
    mine = job / found[1].file
    mine.write_text("mine\n", "utf-8")
    code, told = said(capsys, "draft", job / "plant.yaml", "next")
    assert code == 0 and mine.read_text("utf-8") == "mine\n" and "-2.yaml is drafted" in told


IDLE = ("idle-current", "--shelf", "keyers", "-o")


def test_a_draft_that_fits_no_more_is_said_to_be_stale_with_what_differs(job, capsys):
    path = job / "idle.yaml"
    assert said(capsys, "draft", job / "plant.yaml", *IDLE, path)[0] == 0
    assert "stale" not in said(capsys, "check", path)[1]
    change(job, "{name: k6, feed: Q,", "{name: k6n, feed: Q,")
    change(job, "k6.load", "k6n.load")
    # a name that is gone is a problem of the file; a draft of today would name the other breaker
    code, told = said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    assert code == 0 and "is drafted again: the plant has changed since" in told and "k6n" in told
    assert "k6n" in path.read_text("utf-8") and "stale" not in said(capsys, "check", path)[1]


def test_check_says_what_differs(job, capsys):
    path = job / "idle.yaml"
    said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    change(job, "cards: {1: CO, 2-3: BK, 4: TM}", "cards: {1: CO, 2-3: BK}")
    told = said(capsys, "check", path)[1]
    same = "fits" in said(capsys, "draft", job / "plant.yaml", *IDLE, path)[1]
    assert same or "this draft is stale: the plant has changed since it was drafted; today: " in told


def test_changes_by_hand_are_kept_or_shown(job, capsys):
    path = job / "idle.yaml"
    said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    path.write_text(path.read_text("utf-8") + "  - {step: do, text: Tell the keeper.}\n", "utf-8")
    mine = path.read_bytes()
    code, told = said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    assert code == 0 and "what you changed in it is kept" in told and path.read_bytes() == mine
    change(job, "{name: k6, feed: Q,", "{name: k6n, feed: Q,")
    change(job, "k6.load", "k6n.load")
    code, told = said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    assert code == 2 and "was changed by hand" in told and "Tell the keeper" in told and "k6n" in told
    assert path.read_bytes() == mine


def test_a_file_that_is_no_draft_of_this_is_never_written_over(job, capsys):
    path = job / "idle.yaml"
    path.write_text("sequence: mine\n", "utf-8")
    code, told = said(capsys, "draft", job / "plant.yaml", *IDLE, path)
    assert code == 2 and "never takes a file's place" in told and path.read_text("utf-8") == "sequence: mine\n"


def test_cables_that_are_due_are_proven_in_one_walk_with_one_beginning_and_one_end(job, capsys):
    plant = load_plant(job / "plant.yaml")
    ready = readiness(plant, [])
    cables = [one for one in ready.tasks if one.kind == "cable"]
    due = next(found for task in cables if len(found := in_one_walk(plant, ready, task)) > 2)
    path = job / "several.yaml"
    wanted = [word for name in due for word in ("--cable", name)]
    assert said(capsys, "draft", job / "plant.yaml", "continuity", *wanted, "-o", path)[0] == 0
    mine = load_sequence(path).plan.steps
    singles = [unroll_draft(plant, name) for name in due]

    def read(steps):
        return Counter((step.source.between, step.subject) for step in steps if isinstance(step.source, Measure))

    def around(steps):
        return [step.kind for step in steps if step.kind in ("caution", "hold", "prove", "zero", "ask")]

    assert read(mine) == sum((read(one) for one in singles), Counter())
    assert around(mine) == around(singles[0])
    # what must be open for one of them must be so for all: no look of theirs is left out, and the hold stands on all
    looked = {name for step in mine if step.kind == "look" for name in step.source.names}
    assert looked == {name for one in singles for step in one if step.kind == "look" for name in step.source.names}
    (hold,) = [step.source for step in mine if step.kind == "hold"]
    assert set(hold.proven) == {name for one in singles for step in one if step.kind == "hold"
                                for name in step.source.proven}  # fmt: skip
    assert seconds_of(mine) < 0.8 * sum(seconds_of(one) for one in singles)
    assert (
        f"{path} is there, and fits the plant"
        in said(capsys, "draft", job / "plant.yaml", "continuity", *wanted, "-o", path)[1]
    )


def test_a_plant_that_had_power_is_proved_dead_for_all_of_them(job):
    plant = load_plant(job / "plant.yaml")
    names = [name for name in plant.cables if any(one.landed for one in plant.cables[name].conductors)][:3]
    text = draft(plant, "continuity", AND.join(names), "plant.yaml", "schema.json", powered=True)
    for name in names:
        alone = draft(plant, "continuity", name, "plant.yaml", "schema.json", powered=True)
        proofs = [line for line in alone.splitlines() if "is dead: " in line]
        assert all(line in text for line in proofs)
    assert text.count("word: DEAD") == 1 and text.count("Not dead: stop here") == 1


def test_what_is_next_names_the_other_cables_that_are_due(job, capsys):
    plant = load_plant(job / "plant.yaml")
    ready = readiness(plant, [])
    found = next_walk(plant, ready)
    assert found is not None
    told = said(capsys, "draft", job / "plant.yaml", "next")[1]
    due = in_one_walk(plant, ready, found[0])
    assert (f"{len(due)} cables are due" in told) == (len(due) > 1)
    assert all(f"--cable {name}" in told for name in due if len(due) > 1)


def unroll_draft(plant, name):
    steps = KINDS["continuity"](plant, name).steps
    return unroll(SequenceFile(sequence="continuity", plant="plant.yaml", steps=steps), plant).steps


BY_EYE = """
bench: by eye
instruments:
  - {name: meter, profile: scpi-bench-meter, port: typed}
  - {name: second, profile: scpi-bench-meter, port: typed}
  - {name: supply, profile: hand-set-supply, port: typed}
roles: {ohms: meter, volts: meter, amps: AMPS, supply: supply}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 1 %}
"""


FIRST = ("first-power", "--shelf", "keyers", "-o")


@pytest.mark.slow
def test_an_ammeter_that_stands_idle_is_offered_for_the_lead_of_a_supply_that_is_read_by_eye(job, capsys):
    path, bench = job / "first.yaml", job / "benches" / "by-eye.yaml"
    bench.write_text(BY_EYE.replace("AMPS", "second"), "utf-8")
    offer = "second may stand in its lead instead. Draft this with --ammeter"
    assert said(capsys, "draft", job / "plant.yaml", *FIRST, path)[0] == 0
    assert offer in said(capsys, "check", path, "--bench", bench)[1]
    # the meter that reads the volts is in use
    bench.write_text(BY_EYE.replace("AMPS", "meter"), "utf-8")
    assert "--ammeter" not in said(capsys, "check", path, "--bench", bench)[1]
    bench.write_text(BY_EYE.replace("AMPS", "second"), "utf-8")
    code, told = said(capsys, "draft", job / "plant.yaml", *FIRST, path, "--ammeter")
    assert code == 0 and "drafted again: the ammeter stands in the supply's lead now" in told
    steps = [step for step in load_sequence(path).plan.steps if step.kind == "energise"]
    assert steps and all(step.source.ammeter for step in steps)
    assert "--ammeter" not in said(capsys, "check", path, "--bench", bench)[1]


def test_a_draft_with_an_ammeter_keeps_it_when_it_is_drafted_again(job, capsys):
    path = job / "first.yaml"
    assert said(capsys, "draft", job / "plant.yaml", *FIRST, path, "--ammeter")[0] == 0
    assert "fits the plant" in said(capsys, "draft", job / "plant.yaml", *FIRST, path)[1]
    change(job, "{name: k6, feed: Q,", "{name: k6n, feed: Q,")
    change(job, "k6.load", "k6n.load")
    told = said(capsys, "draft", job / "plant.yaml", *FIRST, path)[1]
    assert "is drafted again: the plant has changed since" in told
    steps = [step for step in load_sequence(path).plan.steps if step.kind == "energise"]
    assert steps and all(step.source.ammeter for step in steps)
    code, told = said(capsys, "draft", job / "plant.yaml", "continuity", "--cable", "C1", "--ammeter")
    assert code == 2 and "this brings nothing up" in told
