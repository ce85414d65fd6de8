"""Cables without labels are identified by the command, over real ports of a simulated bench, faults and all."""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from bench.plant.flags import flag_name, unnamed
from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.sequence.file import Found
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e
from tests.walks.tool import BENCH, COMMAND, JOB, environment, proveout, run_json, started, wait_for_lines

PLANT = JOB / "plant.yaml"
FAULTS = [
    "{fault: open, conductor: W512.12}",
    "{fault: short, between: [W512.19, W512.20]}",
    "{fault: high-resistance, conductor: W512.31, ohms: 4.7 ohm}",
]
WAYS = {
    "tags": ("--tags", "E96", "--common", "E5, E7"),
    "star": ("--tags", "E24", "--tolerance", "1 %"),
    "chain": (),
    "sizes": ("--tester",),
}


def bench(folder: Path, faults: list[str], seed: int = 7) -> Path:
    """A simulated bench with these faults behind it, and flags tied as the seed has it."""
    text = BENCH.read_text("utf-8")
    head = text[: text.index("  faults:")].replace("seed: 7", f"seed: {seed}")
    path = folder / f"bench-{seed}.yaml"
    told = "  faults:\n" + "".join(f"    - {fault}\n" for fault in faults) if faults else ""
    path.write_text(head + told, "utf-8")
    return path


def truth(cable: str, seed: int) -> dict[str, str]:
    """Flag to conductor, as the simulator tied them."""
    flags = PlantWorld(load_plant(PLANT), seed=seed).flags
    return {flag: end.removesuffix(".far") for flag, end in flags.items() if flag.startswith(f"{cable}.")}


def found(record: Path) -> dict[str, Any]:
    """What the search came to."""
    wants = [entry.event.want for entry in read_record(record) if isinstance(entry.event, e.Advised)]
    assert isinstance(wants[-1], Found)
    return wants[-1].facts


@pytest.mark.parametrize(
    ("way", "faults"),
    [
        pytest.param("tags", FAULTS, marks=pytest.mark.slow),
        pytest.param("star", FAULTS, marks=pytest.mark.slow),
        pytest.param("chain", FAULTS, marks=pytest.mark.slow),
        ("sizes", FAULTS),
        pytest.param("sizes", [], marks=pytest.mark.slow),
        pytest.param("star", [], marks=pytest.mark.slow),
    ],
)
def test_each_way_names_what_is_so_and_nothing_else(way: str, faults: list[str], tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    words = ("identify", "W512", "--plant", PLANT, "--bench", bench(tmp_path, faults), "--by", way, *WAYS[way])
    code, summary = run_json(*words, "--record", record, "--speed", 300, cwd=tmp_path)
    facts = found(record)
    really = truth("W512", 7)
    assert all(really[flag] == name for flag, name in facts["names"].items())
    if not faults:
        assert code == 0, summary
        assert facts["names"] == really
    elif way == "sizes":
        assert code == 1 and facts["names"] == {} and facts["touching"]
    else:
        assert code == 1
        assert set(facts["names"].values()) == set(really.values()) - {"W512.12", "W512.19", "W512.20"}
        assert [names for _, names in facts["touching"]] == [["W512.19", "W512.20"]]
        assert facts["open_conductors"] == ["W512.12"]
    # everything that reads records takes this one: what was found is no claim about pins
    for words in (
        ("replay", record),
        ("export", record, "-o", tmp_path / "r.csv"),
        ("ready", PLANT, "--logs", tmp_path),
        ("verify", record),
    ):
        done = proveout(*words, cwd=tmp_path)
        assert done.returncode in (0, 1) and "Traceback" not in done.stderr, (words, done.stderr)
    rows = list(csv.DictReader((tmp_path / "r.labels.csv").open(encoding="utf-8")))
    assert {row["label"] for row in rows if row["label"]} == set(facts["names"].values())
    assert "CARD: J523" in (tmp_path / "r.cards.txt").read_text("utf-8")
    # what was found goes into the plant file, and is not asked for again
    if facts["names"]:
        job = tmp_path / "job"
        shutil.copytree(PLANT.parent, job)
        done = proveout("findings", job / "plant.yaml", "W512", "--logs", tmp_path, "--write", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        plant = load_plant(job / "plant.yaml")
        assert {
            flag_name("W512", "far", one.far_flag): one.name for one in plant.cables["W512"].conductors if one.far_flag
        } == facts["names"]
        left, free = unnamed(plant.cables["W512"], "far")
        assert len(left) == len(free) == 50 - len(facts["names"])


SMALL = """
plant: small
connector-types: [{name: R8, pins: 8, rows: 1}]
cable-types: [{name: N8, conductors: 8, colours: numbered, size: AWG 24}]
bays: [{name: "1", shelves: [{name: 1A, connectors: [{name: J1, type: R8}]}]}]
cables: [{name: W1, type: N8, length: 30 m, from: J1, to: unknown}]
"""
NO_METER = """
bench: a bench without an ohmmeter
instruments: [{name: thermometer, profile: scpi-thermometer, port: simulated}]
simulate: {seed: 5}
"""


@pytest.mark.parametrize("way", ["sizes", "chain"])
@pytest.mark.quick_cases(1)
def test_a_bare_tester_needs_no_instrument_at_all(way: str, tmp_path: Path) -> None:
    plant, bench_file, record = tmp_path / "plant.yaml", tmp_path / "bench.yaml", tmp_path / "r.jsonl"
    plant.write_text(SMALL, "utf-8")
    bench_file.write_text(NO_METER, "utf-8")
    words = ("identify", "W1", "--plant", plant, "--bench", bench_file, "--tester", "--by", way, "--record", record)
    done = proveout(*words, "--speed", 300, cwd=tmp_path)
    # in groups of growing size one of eight is left over: it is hung on a proven end, not named by elimination alone
    assert done.returncode == 0, done.stdout + done.stderr
    facts = found(record)
    flags = PlantWorld(load_plant(plant), seed=5).flags
    assert len(facts["names"]) == 8
    assert all(flags[flag] == f"{name}.far" for flag, name in facts["names"].items())
    events = [entry.event for entry in read_record(record)]
    assert not any(isinstance(event, e.Read | e.Met) for event in events)
    heard = [event.answer for event in events if isinstance(event, e.Answered) and event.answer in ("yes", "no")]
    assert len(heard) == facts["readings"] and set(heard) == {"yes", "no"}
    assert facts["evidence"], "what each name rests on is kept"
    assert done.stdout.count("It beeps.") == heard.count("yes") and "Prove the tester again" in done.stdout
    replayed = proveout("replay", record, cwd=tmp_path)
    assert replayed.returncode == done.returncode
    assert "8 of 8 conductors of W1 are identified" in replayed.stdout


@pytest.mark.slow
def test_a_killed_identification_goes_on_where_it_stood(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    words: tuple[object, ...] = (
        "identify", "W512", "--plant", PLANT, "--bench", bench(tmp_path, FAULTS, 11), "--by", "chain",
        "--record", record, "--speed", "20",
    )  # fmt: skip
    for lines in (90, 240):
        process = started(*words, cwd=tmp_path)
        wait_for_lines(record, lines)
        process.kill()
        process.communicate(timeout=20)
        words = ("identify", "W512", "--resume", record, "--speed", 20)
    done = proveout("identify", "W512", "--resume", record, "--speed", 300, cwd=tmp_path)
    assert done.returncode == 1, done.stderr
    facts = found(record)
    really = truth("W512", 11)
    assert len(facts["names"]) == 47 and all(really[flag] == name for flag, name in facts["names"].items())
    assert (tmp_path / "r.labels.csv").exists()


def test_the_plan_alone_prints_ways_and_cards_and_touches_nothing(tmp_path: Path) -> None:
    done = proveout("identify", "W106", "--plant", PLANT, "--plan", cwd=tmp_path)
    assert done.returncode == 0
    for words in ("chain", "sizes", "one by one: up to 1225", "log2 n!", "CARD: J106", "flag"):
        assert words in done.stdout
    assert not list(tmp_path.iterdir())
    with_tags = proveout("identify", "W106", "--plant", PLANT, "--plan", "--tags", "E24", cwd=tmp_path)
    assert "name the bench" in with_tags.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("W5122",), "did you mean"),
        (("W101",), "lands at both ends"),
        (("W512", "--by", "tags", "--bench", BENCH), "say what is in the drawers"),
        (("W512", "--tags", "E24"), ""),
        (("W512", "--common", "screen"), "has no screen"),
        (("W512", "--colours", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_what_cannot_be_is_said(words: tuple[object, ...], said: str, tmp_path: Path) -> None:
    done = proveout("identify", *words, "--plant", PLANT, "--plan", cwd=tmp_path)
    assert done.returncode == (2 if said else 0)
    assert said in done.stderr and "Traceback" not in done.stderr


@pytest.mark.slow
def test_it_can_be_drafted_and_run_like_any_sequence(tmp_path: Path) -> None:
    draft = tmp_path / "identify.yaml"
    assert proveout("draft", PLANT, "identify", "--cable", "W512", "-o", draft, cwd=tmp_path).returncode == 0
    record = tmp_path / "r.jsonl"
    done = proveout("run", draft, "--bench", bench(tmp_path, []), "--record", record, "--speed", 300, cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    facts = found(record)
    assert facts["method"] == "chain" and facts["names"] == truth("W512", 7)
    assert "50 of 50 conductors of W512 are identified" in done.stdout
    replayed = proveout("replay", record, cwd=tmp_path)
    assert "50 of 50 conductors of W512 are identified" in replayed.stdout


@pytest.mark.slow
def test_line_by_line_it_says_what_to_clip_and_which_flag_to_touch(tmp_path: Path) -> None:
    typed = "read\nopen\nopen\nDEAD\n\nCARDS-OUT\n20\n" + "\n" * 200
    done = subprocess.run(
        [*COMMAND, "identify", "W512", "--plant", str(PLANT), "--bench", str(bench(tmp_path, [])), *WAYS["tags"],
         "--plain", "--record", "r.jsonl", "--speed", "200"],
        cwd=tmp_path, env=environment(), input=typed, capture_output=True, text=True, timeout=90, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    for words in (
        "First tie a numbered flag to each wire",
        "J523.26: tag 100 Ω to E5",
        "0 readings so far, about 50 more",
        "Flag 1 against E5",
        "red lead: flag 1, far end of cable W512",
        "ends read as one tag",
        "50 of 50 conductors of W512 are identified",
        "labels: r.labels.csv",
    ):
        assert words in done.stdout, words
