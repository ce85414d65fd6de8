"""No word of what searches and consoles ask for is cut either: pages that no draft has before it is walked.

A search chooses its acts as it goes, so its pages are met where it is walked: in records that are kept with the tests,
and by hands in a simulated plant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest

from bench import assemble
from bench.plant import faults as k
from bench.plant.resolve import resolve
from bench.record.replay import follow
from bench.screens.walk.reading_page import figure_of
from bench.screens.walk.view import View
from bench.screens.widgets import digits
from bench.sequence.file import Seek
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk.standing import Phase
from bench.walk.state import State, start, take
from tests.diagnose.explain.damaged_plant import DamagedPlant, designed_pairs, plant_of
from tests.screens.walk.every_page import PHASES, standing
from tests.screens.walk.search_scenes import TAGS, SearchWalk
from tests.screens.walk.test_never_cut import ASKS, SIZES, cut, seen
from tests.walks.tool import JOB, ROOT

pytestmark = pytest.mark.together("scenes")

DATA: Final = ROOT / "tests" / "walk" / "data"
BROKEN: Final = (k.Exchanged(pins=("K1.3", "K1.9")), k.Open(conductor="W1.4"))
LOOKED_AT: Final = 60
"""Pages of one walk that are looked at, evenly over all of it."""


def walked(walker: Walker) -> Iterator[State]:
    while not walker.state.finished:
        yield walker.state
        walker.one()


def looking(*sought: Seek) -> Iterator[State]:
    file = plant_of(18, 2, 1)
    yield from walked(DamagedPlant(file, BROKEN, [*designed_pairs(resolve(file)), *sought]))


def kept(record: Path) -> Iterator[State]:
    for one in follow(record):
        yield one.after


def steps(sequence: str, bench: str) -> Iterator[State]:
    """Each step of a sequence that is shipped, on a bench that is shipped."""
    began = assemble.began(assemble.load_job(JOB / sequence, JOB / "benches" / bench), "Ada")
    whole = take(start(), e.Entry(n=1, at="2026-05-12T18:00:00.000000Z", event=began))
    assert whole.setting is not None
    for index, step in enumerate(whole.setting.plan.steps):
        usual = (Phase.PLACING,) if step.reads else (Phase.WAITING,) if step.kind == "listen" else (Phase.ASKING,)
        for phase in PHASES.get(step.kind, usual):
            yield standing(whole, index, phase)


WALKS: Final[dict[str, Callable[[], Iterator[State]]]] = {
    "tags": lambda: walked(SearchWalk(TAGS)),
    "bars": lambda: walked(SearchWalk({"method": "chain"})),
    "tester": lambda: walked(SearchWalk({"method": "chain", "tester": "yes"})),
    "landings": lambda: looking(Seek(find="landings")),
    "crosses": lambda: looking(Seek(find="crosses", of="W1")),
    "isolation": lambda: looking(Seek(find="isolation", of="W1")),
    "second path": lambda: kept(DATA / "earth-second-path.jsonl"),
    "first power": lambda: kept(DATA / "first-power-heavy.jsonl"),
    "every step": lambda: kept(DATA / "every-step.jsonl"),
    "console": lambda: steps("console.yaml", "console.yaml"),
    "by eye": lambda: steps("continuity-W101.yaml", "by-hand.yaml"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", WALKS)
def test_no_word_of_an_act_is_cut(name: str) -> None:
    views = [view for view in (View(state=state) for state in WALKS[name]()) if view.kind in ASKS]
    assert views
    lacking = {}
    for view in views[:: max(1, len(views) // LOOKED_AT)]:
        for size in SIZES:
            if words := cut(view, *size):
                lacking[view.page.title, size] = words
    assert lacking == {}


def test_a_meter_that_is_read_by_eye_has_its_places_as_large_as_any() -> None:
    """Both leads with their colours, the pins that are next in large digits, and what is to be typed."""
    views = [View(state=state) for state in steps("continuity-W101.yaml", "by-hand.yaml")]
    view = next(one for one in views if one.page.leads)
    assert (view.kind, figure_of(view).label, figure_of(view).text) == ("ask", "NEXT", "26    26")
    for size, text in (((80, 24), "26    26"), ((60, 20), "26  26")):
        shown = seen(view, *size)
        assert all(word in shown for word in (" RED ", " BLACK ", "J101 pin 26", "Type what the meter shows"))
        assert digits.draw(text, 5, view.glyphs)[2] in shown
