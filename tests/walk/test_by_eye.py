"""Readings that a person types: what the digits say, what is asked again, how much of what is mistyped is caught."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from bench import assemble
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.by_eye import FLAG, range_of, read_display
from bench.walk.state import Phase, Refused, State, typed_reading
from tests.walk.walker import Walker
from tests.walks.tool import JOB

SEED = 18
BENCH = """
bench: by hand
instruments:
  - {name: hand-held, profile: polled-text-meter, port: typed}
"""
SEQUENCE = """
sequence: one wire by hand
plant: plant.yaml
steps:
  - step: measure
    title: Wire 1
    read: resistance
    between: [J101.1, J205.1]
    limit: {at-most: 10 ohm, source: by hand}
  - step: measure
    title: Wire 1 from its neighbour
    read: resistance
    between: [J101.1, J101.2]
    limit: {at-least: 100 kohm, source: by hand}
"""


@pytest.fixture(scope="module")
def began(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    folder = tmp_path_factory.mktemp("job")
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins")
    (folder / "sequence.yaml").write_text(SEQUENCE, "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


class Walk(Walker):
    """A walk whose reading is typed."""

    by = "Ada"

    def __init__(self, began: e.Began) -> None:
        self.begin(began)
        self.settle()

    def measured(self, step: Step) -> e.Event:
        return typed_reading(self.state, self.state.number)

    def settle(self) -> None:
        """Do what the runner does by itself."""
        while isinstance(self.asked, r.MakeSafe | r.Meet | r.Measure):
            self.one()

    def type(self, text: str) -> State:
        self.add(self.answered(text))
        self.settle()
        return self.state


def verdict(state: State, index: int = 0) -> str:
    outcome = state.kept.latest.get(index)
    return outcome.verdict if outcome is not None else ""


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    [
        ("0.4", 0.4, 0.1),
        ("4,72 k", 4720.0, 10.0),
        ("4.72k", 4720.0, 10.0),
        ("-53.4", -53.4, 0.1),
        ("120 m", 0.12, 0.001),
        ("12.50 M", 12.5e6, 1e4),
        ("3 u", 3e-6, 1e-6),
        ("007.0", 7.0, 0.1),
    ],
)
def test_the_digits_typed_fix_value_and_resolution(text: str, value: float, resolution: float) -> None:
    shown = read_display(text)
    assert shown is not None and shown.value == pytest.approx(value) and shown.resolution == pytest.approx(resolution)


@pytest.mark.parametrize("text", ["", "abc", "1.2.3", "1 000", "4.", "--3", "nan", "inf", "1e5", "12 x", "OLD", "٣.٤"])
def test_what_is_no_figure_is_refused_and_the_walk_stays(began: e.Began, text: str) -> None:
    walk = Walk(began)
    with pytest.raises(Refused, match="what the meter shows"):
        walk.type(text)
    assert walk.state.phase is Phase.PLACING


def test_a_reading_counts_with_its_range_and_last_digit(began: e.Began) -> None:
    walk = Walk(began)
    state = walk.type("1.7")
    assert verdict(state) == "pass"
    reading = state.kept.latest[0].reading
    assert reading is not None and (reading.range, reading.resolution) == (400.0, 0.1)
    assert reading.flags == [FLAG] and reading.raw == ["1.7"]


def test_an_odd_last_digit_is_asked_again_once_and_the_correction_is_kept(began: e.Began) -> None:
    walk = Walk(began)
    state = walk.type("1.72")
    assert verdict(state) == "" and "type every digit" in state.pending.doubt
    state = walk.type("1.7")
    reading = state.kept.latest[0].reading
    assert verdict(state) == "pass" and reading is not None and reading.raw == ["1.72", "1.7"]
    # whoever insists is believed, with the display's own step and no finer one
    walk = Walk(began)
    walk.type("1.72")
    reading = walk.type("1,72").kept.latest[0].reading
    assert reading is not None and reading.value == pytest.approx(1.72) and reading.resolution == 0.1


def test_more_than_the_meter_can_show_never_counts(began: e.Began) -> None:
    walk = Walk(began)
    for _ in range(3):
        state = walk.type("4000 M")
        assert verdict(state) == "" and "more than this meter can show" in state.pending.doubt


def test_a_failure_is_typed_twice(began: e.Began) -> None:
    walk = Walk(began)
    state = walk.type("47.1")
    assert verdict(state) == "" and "would fail" in state.pending.doubt
    assert verdict(walk.type("47.1")) == "fail"
    walk = Walk(began)
    walk.type("47.1")
    assert verdict(walk.type("1.7")) == "pass", "the second look found a better contact"


def test_over_range_says_only_what_the_prefix_tells(began: e.Began) -> None:
    walk = Walk(began)
    walk.type("1.7")
    state = walk.type("OL")
    assert verdict(state, 1) == "" and "OL of which range" in state.pending.doubt
    assert verdict(walk.type("OL"), 1) == "undecided", "beyond 400 ohm is not beyond 100 kohm"
    walk = Walk(began)
    walk.type("1.7")
    state = walk.type("OL M")
    assert verdict(state, 1) == "pass"
    reading = state.kept.latest[1].reading
    assert reading is not None and reading.bound == 4e6


@pytest.mark.parametrize(
    ("text", "bound", "said"), [("OL 4 M", 4e6, "pass"), ("OL 40 k", 4e4, "undecided"), ("OL 9,9 M", 4e6, "pass")]
)
def test_over_range_with_its_range_says_what_that_range_tells(
    began: e.Began, text: str, bound: float, said: str
) -> None:
    walk = Walk(began)
    walk.type("1.7")
    walk.type("OL")
    state = walk.type(text)
    reading = state.kept.latest[1].reading
    assert reading is not None and (verdict(state, 1), reading.bound) == (said, bound)
    assert reading.raw == ["OL", text]


def test_a_range_that_the_meter_has_not_never_counts(began: e.Began) -> None:
    walk = Walk(began)
    walk.type("1.7")
    for _ in range(3):
        state = walk.type("OL 2")
        assert verdict(state, 1) == "" and "no range as low" in state.pending.doubt


def test_where_an_ol_decides_nobody_is_asked_of_its_range(began: e.Began) -> None:
    """A wire that is open fails on any range; it is looked at twice as every failure is."""
    walk = Walk(began)
    assert "would fail" in walk.type("OL").pending.doubt
    assert verdict(walk.type("OL")) == "fail"


def test_a_record_of_before_folds_as_it_was_walked(began: e.Began) -> None:
    walk = Walk(msgspec.structs.replace(began, edition=3))
    walk.type("1.7")
    assert verdict(walk.type("OL"), 1) == "undecided"


def test_the_record_folds_to_the_same(began: e.Began) -> None:
    walk = Walk(began)
    walk.type("1.72")
    walk.type("1.7")
    facts = msgspec.json.decode(msgspec.json.encode(walk.state.kept.latest[0].reading), type=e.Read)
    assert facts == walk.state.kept.latest[0].reading


def _swapped(text: str, rng: random.Random) -> str:
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    place = rng.randrange(len(digits) - 1)
    signs = list(text)
    signs[digits[place]], signs[digits[place + 1]] = signs[digits[place + 1]], signs[digits[place]]
    return "".join(signs)


MISTAKES: dict[str, Callable[[str, str, random.Random], str]] = {
    "digits swapped": lambda text, last, rng: _swapped(text, rng),
    "unit lost": lambda text, last, rng: text.rstrip(" kM"),
    "point lost": lambda text, last, rng: text.replace(".", ""),
    "wrong range": lambda text, last, rng: text.rstrip(" kM") + rng.choice([" m", " k", " M"]),
    "last value again": lambda text, last, rng: last,
}


def _display(ohms: float) -> str:
    """What the meter shows for a resistance: a display of 4000 counts."""
    for top, places, scale, prefix in (
        (400, 1, 1, ""),
        (4e3, 3, 1e3, " k"),
        (4e4, 2, 1e3, " k"),
        (4e5, 1, 1e3, " k"),
        (4e6, 3, 1e6, " M"),
        (4e7, 2, 1e6, " M"),
    ):
        if ohms < top:
            return f"{ohms / scale:.{places}f}{prefix}"
    return "OL M"


@pytest.fixture(scope="module")
def after_another(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    """A walk in which something else was read before the wire."""
    folder = tmp_path_factory.mktemp("job")
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins")
    first = """steps:
  - step: measure
    title: Something before
    read: resistance
    between: [J101.3, J205.3]
    limit: {at-most: 40 Mohm, source: by hand}
"""
    (folder / "sequence.yaml").write_text(SEQUENCE.replace("steps:\n", first), "utf-8")
    (folder / "bench.yaml").write_text(BENCH, "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


def test_most_mistypings_of_failing_readings_are_asked_again(after_another: e.Began) -> None:
    """2,000 of them: what no range shows, what fails and what was typed before is asked again."""
    rng = random.Random(SEED)
    fresh = Walk(after_another).state
    displays = after_another.bench.instruments[0].displays["resistance 2w"]
    tried: Counter[str] = Counter()
    caught: Counter[str] = Counter()
    while tried.total() < 2000:
        kind = rng.choice(list(MISTAKES))
        right = _display(10 ** rng.uniform(1.3, 7.4))
        # what was read before was anything: a wire of an ohm, or a leak of a megohm
        last = _display(10 ** rng.uniform(-0.3, 7.4))
        wrong = MISTAKES[kind](right, last, rng)
        if read_display(wrong) == read_display(right):
            continue
        tried[kind] += 1
        walk = Walk.__new__(Walk)
        walk.state, walk.entries = fresh, []
        walk.type(last)
        state = walk.type(wrong)
        caught[kind] += bool(state.pending.doubt)
        if verdict(state, 1) == "pass":
            shown = read_display(wrong)
            assert shown is not None
            held = range_of(shown, displays)
            assert held is not None and held.resolution == pytest.approx(shown.resolution), "the range could have told"
    share = {kind: caught[kind] / tried[kind] for kind in MISTAKES}
    print(f"\ncaught before they count, of {tried.total()}: {share}")
    assert min(share.values()) > 0.8, share


def test_the_reading_before_once_more_is_asked_about_where_digits_can_tell(after_another: e.Began) -> None:
    walk = Walk(after_another)
    walk.type("4.71")
    walk.type("4.71")
    assert verdict(walk.state) == "pass", "whoever insists on the first is believed"
    state = walk.type("4.71")
    assert verdict(state, 1) == "" and state.pending.doubt
    # two wires of a cable often read the same to two digits
    walk = Walk(after_another)
    walk.type("1.7")
    assert verdict(walk.type("1.7"), 1) == "pass"


def test_a_bench_that_cannot_be_typed_is_refused(tmp_path: Path) -> None:
    from bench.files import BadFile
    from bench.instruments.bench_file import load_bench

    path = tmp_path / "bench.yaml"
    path.write_text("bench: b\ninstruments:\n  - {name: s, profile: scpi-supply, port: typed}\n", "utf-8")
    with pytest.raises(BadFile, match="made safe"):
        load_bench(path)


def test_typed_and_ported_instruments_are_on_one_bench(tmp_path: Path) -> None:
    from bench.instruments.bench_file import load_bench

    path = tmp_path / "bench.yaml"
    path.write_text(
        "bench: b\ninstruments:\n"
        "  - {name: a, profile: polled-text-meter, port: typed}\n"
        "  - {name: b, profile: polled-text-meter, port: typed}\n"
        "  - {name: c, profile: scpi-bench-meter, port: /dev/ttyUSB0}\n"
        "roles: {ohms: a, amps: b, volts: c}\n",
        "utf-8",
    )
    facts = assemble.bench_facts(load_bench(path))
    assert [one.by_eye for one in facts.instruments] == [True, True, False]
    assert facts.instruments[2].displays == {}
