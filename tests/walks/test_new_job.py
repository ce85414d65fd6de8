"""From nothing to the first proven cable in fewer than ten commands, and no line of YAML by hand."""

import re
from pathlib import Path

import pytest

from bench.cli import main
from bench.commands.job_source import JobSource
from bench.commands.survey import _Keeper, hall_of
from bench.diagnose.survey.pile import KnownKind, known_kinds
from bench.diagnose.survey.rates import RatesFile
from bench.diagnose.survey.sentences import fits_words
from bench.files import BadFile, shipped
from bench.plant.finds_table import read_finds
from bench.plant.load import load_plant
from bench.record.survey import SURVEY, SurveyWriter, read_survey

TABLE = """find,name,bay,shelf,connector,gender,jacket,pairs,conductors,label,length,length by,colours
loose-end,L1,1,,D25,plug,grey,,25,W101,12,tape,numbered
loose-end,L2,2,,D25,plug,grey,,25,W1?1,12.2 m,tape,numbered
loose-end,L3,2,,R50,plug,grey,25,,W207,30,eye,pair-code
free-place,P1,1,1A,D25,socket,,,,,,,
free-place,P2,2,2A,D25,socket,,,,,,,
list-line,D1,,,D25,,,,25,W101,,,
"""
TYPES = """
cable-types:
  - {name: P25, pairs: 25, size: AWG 24}
  - {name: P25H, pairs: 25, size: AWG 22}
  - {name: N25, conductors: 25, colours: numbered, size: 0.5 mm2}
"""


def quiet(title: str, done: int, of: int) -> None:
    assert title and 0 <= done <= max(of, done)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    words = ["new", "hut", "--name", "hut", "--title", "The [hut]", "--feed", "+24 V", "--feeds", "A,B", "--bays", "3"]
    assert main(words) == 0
    return tmp_path / "hut"


def test_a_new_job_checks_and_every_command_works_on_it(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plant = load_plant(job / "plant.yaml")
    assert plant.file.title == "The [hut]"
    assert (plant.file.feeds[0].nominal.value, list(plant.bays)) == (24.0, ["1", "2", "3"])
    assert plant.file.feeds[0].allowed[0].value < 24.0 < plant.file.feeds[0].allowed[1].value
    path, logs = str(job / "plant.yaml"), ["--logs", str(job / "logs")]
    assert main(["check", path, str(job / "benches" / "bench.yaml")]) == 0
    for words in (["ready", path, *logs], ["ready", path, "--json", *logs], ["findings", path, *logs]):
        assert main(words) in (0, 1)
    said = capsys.readouterr()
    assert said.err == ""


def test_a_job_that_has_just_begun_says_what_to_do_first(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing can be proved yet, and that is not the same as that all is proven."""
    path = str(job / "plant.yaml")
    for words in (["ready", path], ["draft", path, "next"]):
        assert main([*words, "--logs", str(job / "logs")] if (job / "logs").is_dir() else words) == 1
        said = " ".join(capsys.readouterr().out.split())
        assert "nothing yet that a reading could prove" in said and "'proveout survey JOB'" in said, said


def test_a_negative_feed_keeps_its_sign(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "site", "--name", "s", "--title", "", "--feed", "-48", "--feeds", "A", "--bays", "x, y"]) == 0
    feed = load_plant(Path("site/plant.yaml")).file.feeds[0]
    # ETSI EN 300 132-2, quoted from memory: -40.5 V to -57 V at a nominal -48 V
    assert (feed.allowed[0].value, feed.nominal.value, feed.allowed[1].value) == (-57.0, -48.0, -40.5)


@pytest.mark.parametrize(
    "words",
    [
        ["new", "hut"],
        ["new", "x", "--name", "Not This", "--title", "", "--feed", "24", "--feeds", "A", "--bays", "1"],
        ["new", "x", "--name", "x", "--title", "", "--feed", "0 V", "--feeds", "A", "--bays", "1"],
        ["new", "x", "--name", "x", "--title", "", "--feed", "24", "--feeds", "A,A", "--bays", "1"],
        ["new", "x", "--name", "x", "--title", "", "--feed", "24", "--feeds", "1", "--bays", "2"],
    ],
)
def test_what_cannot_be_a_job_is_refused_and_leaves_nothing(job: Path, words: list[str]) -> None:
    assert main(words) == 2
    assert not Path("x").exists()


def test_a_table_of_finds_is_taken_and_told(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("finds.csv").write_text(TABLE, "utf-8")
    assert main(["survey", "hut", "--import", "finds.csv", "--tell"]) == 0
    said = capsys.readouterr().out
    assert "6 new finds" in said
    assert "L1 (bay 1) and L2 (bay 2) are one cable" in said
    assert main(["survey", "hut", "--import", "finds.csv"]) == 0
    assert "0 new finds, 0 finds described anew, 6 as before" in capsys.readouterr().out
    assert main(["survey", "hut", "--why", "L1", "L2", "--page", "p.html", "--flags", "f.html", "--next"]) == 0
    page, flags = Path("p.html").read_text("utf-8"), Path("f.html").read_text("utf-8")
    assert "The [hut]" in page and "<script" not in page and page.count("<circle") == 3
    assert flags.count('class="flag"') == 5
    assert "</svg>" in flags


def test_cable_types_of_the_job_count_wherever_matches_are_told(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ends of 24 beside many of 25, of which the job has cables: miscounted, on paper, page, screen and in a talk."""
    rows = ["L1,1,24,W1?1", "L2,2,25,W101", "L3,2,24,", *(f"L{number},2,25," for number in range(4, 7)),
            *(f"L{number},1,50," for number in range(7, 11))]  # fmt: skip
    rows = [f"loose-end,{row},grey" for row in rows]
    Path("finds.csv").write_text("\n".join(["find,name,bay,conductors,label,jacket", *rows, ""]), "utf-8")
    assert main(["survey", "hut", "--import", "finds.csv"]) == 0

    def told() -> list[int]:
        """How likely L1 and L2 are one cable, in per cent, wherever it is told."""
        capsys.readouterr()
        assert main(["survey", "hut", "--tell", "--page", "p.html"]) == 0
        plant, logs = load_plant(job / "plant.yaml"), job / "logs"
        source = JobSource(job / "plant.yaml", logs)
        source.survey(quiet)
        with SurveyWriter(logs / SURVEY, plant.name, hall_of(plant), "ann") as writer:
            answer = _Keeper(writer, logs, RatesFile(rates="ours"), plant.file.cable_types).answer()
        found = [
            capsys.readouterr().out.partition("L1: ")[2],
            Path("p.html").read_text("utf-8").partition(">L1</th>")[2],
            next(str(one.fits) for one in source.cables(quiet).ends if one.name == "L1"),
            next(fits_words(one) for one in answer.standings if one.name == "L1"),
        ]
        return [int(re.findall(r"L2 (\d+) %", text)[0]) for text in found]

    before = told()
    with (job / "plant.yaml").open("a", encoding="utf-8") as file:
        file.write(TYPES)
    after = told()
    assert len(set(before)) == len(set(after)) == 1
    assert after[0] >= before[0] + 5


def test_the_kinds_that_a_plant_file_knows_are_those_of_its_cable_types(job: Path) -> None:
    with (job / "plant.yaml").open("a", encoding="utf-8") as file:
        file.write(TYPES + "  - {name: C3, colours: [black, BN, RD], size: 1 mm2}\n"
                           "  - {name: M2, conductors: 2, size: 1 mm2}\n")  # fmt: skip
    assert known_kinds(load_plant(job / "plant.yaml").file.cable_types) == (
        KnownKind(50, "pair-code"), KnownKind(25, "numbered"), KnownKind(3, "black BN RD"), KnownKind(2),
    )  # fmt: skip


def test_a_wrong_table_tells_everything_at_once(tmp_path: Path) -> None:
    path = tmp_path / "finds.csv"
    path.write_text("find;name;bay;conductors;gender;lable\nloose-end;L1;1;many;plug;\nend;L2;1;2;;\n;L1;;;\n"
                    "loose-end;L3;1;;both;\n", "utf-8")  # fmt: skip
    with pytest.raises(BadFile) as error:
        read_finds(path)
    text = str(error.value)
    for part in ("lable", "label", "'many'", ":3:", ":4:", ":5:"):
        assert part in text


@pytest.mark.slow
def test_the_first_proven_cable_in_under_ten_commands(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("finds.csv").write_text(TABLE, "utf-8")
    bench = shipped("sequences") / "gannet-head" / "benches" / "simulated.yaml"
    text = bench.read_text("utf-8")
    head = text[: text.index("  faults:")].replace("../../schemas", "schemas")
    (job / "benches" / "bench.yaml").write_text(head, "utf-8")
    plant, logs = str(job / "plant.yaml"), str(job / "logs")
    landed = ["--claim", "L1=P1", "L2=P2", "--cable", "W101", "--size", "0.5 mm2"]
    done = [
        main(["survey", "hut", "--import", "finds.csv"]),
        main(["survey", "hut", "--tell"]),
        main(["survey", "hut", *landed, "--write"]),
        main(["run", str(job / "prove-W101.yaml"), "--bench", str(job / "benches" / "bench.yaml"),
              "--record", str(job / "logs" / "one.jsonl"), "--speed", "1000"]),
        main(["findings", plant, "W101", "--write", "--logs", logs]),
    ]  # fmt: skip
    assert done == [0, 0, 0, 0, 0]
    assert "status" not in (job / "plant.yaml").read_text("utf-8")
    assert set(read_survey(job / "logs" / SURVEY).finds) == {"L1", "L2", "L3", "P1", "P2", "D1"}
    assert "all its 25 conductors read through" in capsys.readouterr().out


def test_a_claim_says_what_is_missing(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("finds.csv").write_text(TABLE.replace("free-place,P1,1,1A", "free-place,P1,1,"), "utf-8")
    main(["survey", "hut", "--import", "finds.csv"])
    assert main(["survey", "hut", "--claim", "L1=P1", "L2=P2", "--cable", "W101", "--size", "0.5 mm2"]) == 2
    assert "P1 has no shelf yet" in capsys.readouterr().err
    assert main(["survey", "hut", "--claim", "L1=P9", "L2=P2", "--cable", "W101"]) == 2


SOCKETS = """find,name,bay,shelf,connector,gender,filled
free-place,P1,1,1A,D9,socket,9
free-place,P2,2,2A,D9,socket,9
free-place,P3,2,2B,D9,socket,9
"""


@pytest.mark.slow
def test_a_place_is_told_by_readings_over_a_real_port(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """P1 and P2 have a strap from pin 1 to pin 3, P3 has none: the walks read them, the survey says who is alike."""
    Path("places.csv").write_text(SOCKETS, "utf-8")
    bench = shipped("sequences") / "gannet-head" / "benches" / "simulated.yaml"
    text = bench.read_text("utf-8")
    head = text[: text.index("  faults:")].replace("../../schemas", "schemas")
    straps = "".join(f"    - {{fault: short, between: [{name}.1, {name}.3], ohms: 0.1 ohm}}\n" for name in ("P1", "P2"))
    assert main(["survey", "hut", "--import", "places.csv"]) == 0
    for name in ("P1", "P2", "P3"):
        assert main(["survey", "hut", "--read-pins", name]) == 0
        assert not Path(f"hut/pins-{name}.yaml").exists()
        assert main(["survey", "hut", "--read-pins", name, "--write"]) == 0
    (job / "benches" / "bench.yaml").write_text(f"{head}  faults:\n{straps}", "utf-8")
    for name in ("P1", "P2", "P3"):
        record = str(job / "logs" / f"pins-{name}.jsonl")
        assert main(["check", f"hut/pins-{name}.yaml"]) == 0
        assert main(["run", f"hut/pins-{name}.yaml", "--bench", str(job / "benches" / "bench.yaml"),
                     "--record", record, "--speed", "1000"]) == 0  # fmt: skip
        assert main(["survey", "hut", "--reads", record]) == 0
    capsys.readouterr()
    assert main(["survey", "hut", "--like", "P1"]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("P1 is of one family with P2: ") and "unlike" not in first
    kept = read_survey(job / "logs" / SURVEY).finds["P1"]
    straps_read = [read for read in kept.find.reads if (read.first, read.second) == ("1", "3")]
    assert len(straps_read) == 1 and 0 < straps_read[0].ohms < 1
    assert {read.ohms for read in kept.find.reads if (read.first, read.second) != ("1", "3")} == {None}
    assert main(["survey", "hut", "--reads", str(job / "logs" / SURVEY)]) == 2
