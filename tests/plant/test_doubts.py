"""What a plant file may say and hardly means is told by its check, and one slip is told once."""

from pathlib import Path

import pytest

from bench.files import BadFile
from bench.plant.load import load_plant, plant_of
from bench.plant.resolve import resolve

HUT = Path("tests/jobs/beacon-hut/plant.yaml")
HALL = Path("sequences/gannet-head/plant.yaml")


def said(old, new, path=HUT):
    """What is remarked on when one text of the plant is another."""
    text = path.read_text("utf-8")
    assert old in text
    return [str(one).split(": ", 1)[1] for one in plant_of(text.replace(old, new), path).remarks]


def refused(old, new, path=HUT):
    text = path.read_text("utf-8")
    assert old in text
    with pytest.raises(BadFile) as caught:
        plant_of(text.replace(old, new), path)
    return [str(one).split(": ", 1)[1] for one in caught.value.problems]


def usual(path):
    return [str(one).split(": ", 1)[1] for one in load_plant(path).remarks]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("from: X11, to: X21}", "from: [X11.1, cut], to: [X11.10, cut]}", "found X11 at both ends of C2"),
        ("length: 6.5 m, trays: [DUCT]", "length: 7000 m, trays: [DUCT]", "found 7000 m in 6 m of tray"),
        ("at: power, line-on: PLUSP.3}",
         "at: power, line-on: PLUSP.2}",
         "found PF, PS on stud PLUSP.2, expected a stud for each breaker"),
        ("to: X20, screen-from: EF}", "to: X20, screen-from: EF, screen-to: ES}",
         "found the screen of C1 on EF and on ES, expected one end on earth"),
        ("to: X20, screen-from: EF}", "to: X20, screen-from: Z2}",
         "found the screen of C1 on Z2, which is the building's, expected an earth point of the inside"),
        ("from: [k2.load, FM.4]", "from: [k1.load, FM.4]", "found w1, w2 on k1 and none on k2 beside it"),
        ("- {name: E2, title: \"two-core, to a shelf\", colours: [RD, BK], size: 2.5 mm2",
         "- {name: E2, title: \"two-core, to a shelf\", colours: [RD, BK], size: 0.14 mm2",
         "found 6 A before conductor w1.1 of 0.14 mm²"),
    ],
)  # fmt: skip
def test_it_is_remarked_on(old, new, told):
    new_ones = [one for one in said(old, new) if one not in usual(HUT)]
    assert any(told in one for one in new_ones), new_ones


def test_sound_plants_are_not_doubted():
    """What ships is remarked on for nothing that this looks at."""
    words = ("both ends", "of tray", "on stud", "the screen of", "beside it", "and of its halves", "thinner than")
    for path in (HUT, HALL):
        assert not [one for one in usual(path) if any(word in one for word in words)]


def test_a_conductor_from_a_place_to_the_very_same_is_refused():
    assert any("to the very same place" in one for one in refused("from: X11, to: X21}", "from: X11, to: X11}"))


@pytest.mark.parametrize("word", ["cut", "unknown"])
def test_nobody_knows_where_a_loose_end_ends(word):
    told = refused("from: X12, to: cut}", f"from: X12, to: {word}, to-status: known}}")
    assert any(f"found '{word}' with the status known" in one for one in told)
    entry = f"from: X12, to: cut, conductors: [{{conductor: 3, to: {word}, to-status: known}}]}}"
    assert any(f"found '{word}' with the status known" in one for one in refused("from: X12, to: cut}", entry))


def test_a_plant_that_was_walked_before_is_read_all_the_same():
    text = HUT.read_text("utf-8").replace("from: X11, to: X21}", "from: [X11.1, cut], to: [X11.10, cut]}")
    plant = plant_of(text, HUT)
    assert resolve(plant.file).name == plant.name


def test_a_shelf_and_its_halves_are_counted_alike_everywhere():
    """With inlets of both, each is a load of its own: the cards of a half are not counted twice."""
    old = "title: goniometer\n        slots: 6\n        cards: {1: CO, 2-3: GO}\n        inlets: [P, Q]\n"
    assert old in HUT.read_text("utf-8")
    halves = (
        "title: goniometer\n        inlets: [P, Q]\n        halves:\n"
        "          - {name: finder-low-L, slots: 3, cards: {1: CO, 2: GO}, inlets: [P]}\n"
        "          - {name: finder-low-R, slots: 3, cards: {2: GO}}\n"
    )
    text = HUT.read_text("utf-8").replace(old, halves)
    text = text.replace("finder-low.P, finder-low.P-return", "finder-low-L.P, finder-low-L.P-return")
    text = text.replace("title: goniometer\n        inlets: [P, Q]", "title: goniometer\n        inlets: [Q]")
    plant = plant_of(text, HUT)
    assert any("found inlets of finder-low and of its halves finder-low-L" in str(one) for one in plant.remarks)
    assert plant.idle_current("finder-low")[0] == pytest.approx(0.5)
    assert plant.idle_current("finder-low-L")[0] == pytest.approx(0.61)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}\n  - {name: B",
         "nominal: 48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}\n  - {name: B", "with the same sign"),
        ("{name: A, title: rectifier", "{name: A, titel: rectifier", "did you mean 'title'?"),
        ("{name: A, title: rectifier", "{name: AA, title: rectifier", "did you mean 'AA'?; so in "),
        ("{name: BA, title: main bar", "{name: BX, title: main bar", "so in "),
    ],
)  # fmt: skip
@pytest.mark.quick_cases(1)
def test_one_slip_in_a_feed_is_told_once(old, new, told):
    problems = refused(old, new, HALL)
    assert len(problems) == 1 and told in problems[0], problems
