"""Changes to a plant file that people wrote: what they wrote stays, what is new stands where it belongs."""

import random
from pathlib import Path

import pytest

from bench.files import BadFile
from bench.plant.load import load_plant, plant_of
from bench.plant.writing import Change, ChangedMeanwhile, changed, rewritten

HALL = Path("sequences/gannet-head/plant.yaml")
HUT = Path("tests/jobs/beacon-hut/plant.yaml")
C2 = "  - {name: C2, type: C10, title: controls of the goniometer, length: 6.5 m, trays: [DUCT], from: X11, to: X21}"
HEAD = """\
# written by hand
plant: small   # its name
connector-types: [{name: R8, pins: 8, rows: 1}]
cable-types:
- {name: N8, conductors: 8, colours: numbered, size: AWG 24}
bays: [{name: "1", shelves: [{name: 1A, connectors: [{name: J1, type: R8}, {name: J2, type: R8}]}]}]
cables:
"""


@pytest.mark.parametrize("path", [HALL, HUT])
@pytest.mark.quick_cases(1)
def test_nothing_to_change_changes_nothing(path):
    assert changed(path.read_text("utf-8"), []) == path.read_text("utf-8")


@pytest.mark.slow
def test_a_field_is_changed_on_its_own_line():
    before = HALL.read_text("utf-8")
    after = changed(
        before, [Change(("card-types", "RX"), {"idle": "0.61 A"}), Change(("cables", "W112"), {"length": "36.5 m"})]
    )
    differing = [(a, b) for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]
    assert [b.strip() for _, b in differing] == [
        "- {name: RX, title: HF receiver, idle: 0.61 A, spread: 8 %, input-capacitance: 470 uF}",
        "length: 36.5 m",
    ]


def test_conductors_go_below_a_cable_that_stood_in_braces():
    made = rewritten(HUT, [
        Change(("cables", "C3", "conductors", number), {"to-flag": flag, "remark": "identified by tags, r.jsonl"})
        for number, flag in (("2", "5"), ("1", "11"))
    ])  # fmt: skip
    assert made.difference() == [
        f"line {HUT.read_text('utf-8').splitlines().index(C2) + 1}:",
        f" {C2}",
        "-  - {name: C3, type: S6, title: to the mast, length: 30 m, from: X12, to: cut}",
        "+  - name: C3",
        "+    type: S6",
        "+    title: to the mast",
        "+    length: 30 m",
        "+    from: X12",
        "+    to: cut",
        "+    conductors:",
        "+      - {conductor: 1, to-flag: 11, remark: 'identified by tags, r.jsonl'}",
        "+      - {conductor: 2, to-flag: 5, remark: 'identified by tags, r.jsonl'}",
        "   - {name: C4, type: C10, title: fog signal, length: 25 m, from: X22, to: unknown}",
    ]
    assert [one.far_flag for one in made.plant.cables["C3"].conductors[:3]] == [11, 5, 0]


@pytest.mark.parametrize(
    "cables",
    [
        "  - {name: W1, type: N8, length: 30 m, from: J1, to: unknown}   # behind it\n  # after it\n",
        "- {name: W1, type: N8, length: 30 m, from: J1, to: unknown}   # behind it\n# after it\n",
        "  - name: W1  # behind it\n    type: N8\n\n    length: 30 m   # a guess\n    from: J1\n"
        "    to: unknown   # last\n\n# end\n",
        "    - name: W1\n      # within\n      type: N8\n      length: 30 m\n      from: J1\n      to: unknown\n"
        "      conductors:\n          # three of them\n          - {conductor: 3, colour: RD}  # third\n"
        "          - {conductor: 6, remark: \"odd\"}\n",
        "  - {name: W1, type: N8,\n     length: 30 m, from: J1, to: unknown}  # over two lines\n",
    ],
)  # fmt: skip
def test_comments_and_layouts_stay(tmp_path, cables):
    text = (HEAD + cables).replace("colours: numbered", "colours: [BK, BN, RD, OG, YE, GN, BU, VT]")
    path = tmp_path / "plant.yaml"
    path.write_text(text, "utf-8")
    changes = [
        Change(("cables", "W1", "conductors", str(n)), {"to": f"J2.{9 - n}", "to-status": "known"})
        for n in (6, 2, 3, 8)
    ]
    made = rewritten(path, changes)
    for comment in [line[line.index("#") :].strip() for line in text.splitlines() if "#" in line]:
        assert comment in made.after
    assert made.plant.conductors["W1.3"].far_end.name == "J2.6"
    # what was not touched is the same byte for byte, and asking again changes nothing
    assert made.after.startswith(HEAD.partition("cable-types")[0])
    assert changed(made.after, changes) == made.after


def test_a_comment_is_not_lost_in_silence(tmp_path):
    path = tmp_path / "plant.yaml"
    path.write_text(HEAD + "  - {name: W1, type: N8,  # what?\n     length: 30 m, from: J1, to: unknown}\n", "utf-8")
    change = [Change(("cables", "W1", "conductors", "1"), {"to": "J2.1"})]
    try:
        assert "# what?" in rewritten(path, change).after
    except BadFile as error:
        assert "'# what?', which would be lost" in str(error)


@pytest.mark.slow
def test_what_the_loader_does_not_take_is_not_written():
    with pytest.raises(BadFile, match="pin '99' of J441"):
        rewritten(HALL, [Change(("cables", "W403", "conductors", "25"), {"to": "J441.99"})])


def test_a_new_entry_and_a_new_list():
    text = HEAD + "  - {name: W1, type: N8, length: 30 m, from: J1, to: unknown}\n"
    made = changed(text, [
        Change(("cables", "W2"), {"type": "N8", "length": "2 m", "from": ["J2", "cut"], "to": "unknown"}),
        Change(("trays", "T1"), {"title": "under the floor"}),
    ])  # fmt: skip
    plant = plant_of(made, Path("plant.yaml"))
    assert list(plant.cables) == ["W1", "W2"] and "T1" in plant.trays
    assert "[J2, cut]" in made


def test_a_file_that_somebody_else_changed_is_left_alone(tmp_path):
    path = tmp_path / "plant.yaml"
    path.write_text(HUT.read_text("utf-8"), "utf-8")
    path.chmod(0o640)
    made = rewritten(path, [Change(("cables", "C3"), {"length": "31 m"})])
    path.write_text(HUT.read_text("utf-8") + "# mine\n", "utf-8")
    with pytest.raises(ChangedMeanwhile):
        made.save()
    assert path.read_text("utf-8").endswith("# mine\n")
    made = rewritten(path, [Change(("cables", "C3"), {"length": "31 m"})])
    made.save()
    assert load_plant(path).cables["C3"].length_m == 31 and path.stat().st_mode & 0o777 == 0o640
    assert [one.name for one in tmp_path.iterdir()] == ["plant.yaml"]


@pytest.mark.slow
def test_any_mixture_of_changes_leaves_the_rest(tmp_path):
    """Random changes: every line that is not about a changed entry is there as it was, in its order."""
    before = HALL.read_text("utf-8")
    draw = random.Random(20260312)
    for _ in range(3):
        cables = draw.sample(["W101", "W112", "W403", "W501", "W512", "W513", "WGA"], 3)
        changes = [Change(("cables", name), {"remark": f"seen {draw.randrange(99)}"}) for name in cables]
        after = changed(before, changes)
        gone = [line for line in before.splitlines() if line not in after.splitlines()]
        assert all(any(name in line or "remark" in line for name in cables) for line in gone)
        assert after != before
