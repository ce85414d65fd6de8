"""Every key of the hall on the real app: what it does, from where, and what happens where something cannot be."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bench.screens.job.data import Cancelled, Survey, Tell, Traced, Wish
from bench.screens.job.desk import _ACTS, HallDesk
from bench.screens.job.keys import act_of, actions, keys
from bench.screens.job.view import TABS, Hall, Place
from tests.screens.job.hall_scenes import HALL_SCENES, StationSource, records, survey
from tests.screens.job.hall_stage import HallStage, in_hall


def on(name: str, play: Callable[[HallStage], Awaitable[None]], **more: object) -> None:
    """Play something from a scene on."""

    async def run() -> None:
        async with in_hall(name, **more) as stage:  # type: ignore[arg-type]
            await play(stage)

    asyncio.run(run())


def test_figures_lead_to_the_pages_from_anywhere_and_escape_back() -> None:
    async def play(stage: HallStage) -> None:
        for number, page in enumerate(TABS, 1):
            await stage.press(str(number))
            assert stage.hall.place.page == page
        await stage.press("4", "enter")
        assert stage.hall.place == Place("bench", "job/continuity.yaml")
        await stage.press("escape")
        assert stage.hall.place.page == "sequences"
        for page in ("changes", "records", "sequences", "next", "ready", "start"):
            await stage.press("backspace")
            assert stage.hall.place.page == page
        await stage.press("escape")
        assert stage.hall.place.page == "start" and not stage.app._over

    on("start", play)


def test_everything_on_the_start_page_is_one_move_away() -> None:
    """Enter on each line leads where it says; a line that says more leads to the whole list."""

    async def play(stage: HallStage) -> None:
        wanted = ["trace", "trace", "next", "bench", "bench", "sequences", "record", "record", "records"]
        for line, page in enumerate(wanted):
            await stage.press("1", "home", *["down"] * line, "enter")
            assert stage.hall.place.page == page, line
        assert len(stage.hall.place.about) == 0

    on("start", play)


def test_the_cursor_moves_within_the_list() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("up")
        assert stage.hall.cursor == 0
        await stage.press("down", "down")
        assert stage.hall.cursor == 2
        await stage.press("pagedown", "pagedown", "pagedown")
        assert stage.hall.cursor == len(stage.hall.items) - 1
        await stage.press("home")
        assert stage.hall.cursor == 0
        await stage.press("end", "pageup")
        assert stage.hall.cursor == max(0, len(stage.hall.items) - 11)

    on("ready", play)


def test_filters_and_kinds_narrow_the_readiness_page() -> None:
    async def play(stage: HallStage) -> None:
        counts = {}
        for _ in range(7):
            counts[stage.hall.status] = len(stage.hall.items)
            await stage.press("f")
        assert stage.hall.status == "all" and counts["all"] == len(survey().ready.things)
        assert counts["open"] + counts["proven"] == counts["all"]
        assert counts["failing"] == counts["void"] == 1  # the cable; the bond whose bolt was out
        await stage.press("k")
        assert stage.hall.kind == "shelf" and all(one.value.kind == "shelf" for one in stage.hall.items)
        await stage.press("k", "k", "k", "k")
        assert stage.hall.kind == "all"

    on("ready", play)


def test_find_narrows_a_list_as_it_is_typed() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("/", *"wa2")
        assert [one.value.name for one in stage.hall.items] == ["WA2A", "WA2B"]
        # while one types, letters are letters
        await stage.press("q")
        assert not stage.app._over and not stage.hall.items and "Nothing stands so." in stage.words
        await stage.press("backspace", "enter", "down", "enter")
        assert stage.hall.place == Place("trace", "WA2B")
        await stage.press("escape", "slash", *"bond", "escape")
        assert not stage.hall.find and len(stage.hall.items) == len(survey().ready.things)

    on("ready", play)


def test_the_palette_lists_all_actions_and_does_the_chosen_one() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("p", *"only", "escape")
        assert stage.hall.palette is None
        await stage.press("ctrl+p")
        assert stage.hall.palette == ""
        await stage.press(*"failing", "down", "up", "enter")
        assert stage.hall.place.page == "ready" and stage.hall.status == "failing"
        await stage.press("p", *"bonds", "enter")
        assert stage.hall.kind == "bond"
        await stage.press("p", *"zzz", "enter")
        assert "nothing has these letters" in stage.words
        await stage.press("ctrl+u", *"insulation", "enter")
        assert stage.hall.place == Place("bench", "job/insulation.yaml")
        await stage.press("p", *"half.jsonl waits", "enter")
        assert stage.hall.place == Place("record", "logs/half.jsonl")
        await stage.press("p", *"J2", "enter")
        assert stage.hall.place == Place("trace", "J2")

    on("start", play)


@pytest.mark.parametrize("name", [name for name in HALL_SCENES if name != "palette"])
def test_every_key_of_a_page_is_an_act_and_stands_in_the_palette(name: str) -> None:
    async def play(stage: HallStage) -> None:
        hall = stage.hall
        offered = {one.does for one in actions(replace(hall, palette="", help=False))}
        for key in keys(hall):
            verb = key.does.partition(" ")[0]
            assert verb in _ACTS and callable(getattr(HallDesk, _ACTS[verb]))
            assert key.more.endswith(".") and key.word
            if not hall.help and verb not in ("palette", "back", "help", "earlier", "later"):
                assert key.does in offered, key.does
        used = [one for key in keys(hall) for one in key.keys]
        assert len(used) == len(set(used)), "a key does two things"

    on(name, play)


def test_help_opens_closes_and_scrolls() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("h")
        assert "Help ready" not in stage.words and "Help readiness" in stage.words
        await stage.press("end")
        assert "Leaves." in stage.words
        await stage.press("down")
        bottom = stage.text
        await stage.press("down")
        assert stage.text == bottom
        await stage.press("escape")
        assert not stage.hall.help and stage.hall.place.page == "ready"

    on("ready", play)


def test_a_walk_begins_from_the_bench_that_was_chosen() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("4", "enter", "enter")
        assert stage.app._over
        assert stage.app.wish == Wish("walk", "job/continuity.yaml", "job/benches/bag.yaml")
        # when the walk has ended one is at the sequences again
        assert stage.hall.place.page == "sequences"

    on("start", play)


def test_what_cannot_be_walked_says_why() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("end", "enter")
        assert "broken cannot be walked: job/broken.yaml:3:1" in stage.words
        await stage.press("home", "down", "enter", "enter")
        assert "the bag cannot be taken: it has nothing that measures insulation" in stage.words
        await stage.press("end", "enter")
        assert "torn cannot be taken: job/benches/torn.yaml:1:1" in stage.words and not stage.app._over
        await stage.press("up", "enter")
        assert stage.app.wish == Wish("walk", "job/insulation.yaml", "job/benches/simulated.yaml")

    on("sequences", play)


@pytest.mark.parametrize(
    ("name", "key", "act"), [("half.jsonl", "g", "resume"), ("now.jsonl", "a", "attach")], ids=["waits", "under way"]
)
def test_a_record_that_is_not_over_is_gone_on_with(name: str, key: str, act: str) -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("p", *name, "enter")
        await stage.press("x" if key == "g" else "g")
        assert not stage.app._over
        await stage.press(key)
        assert stage.app.wish == Wish(act, f"logs/{name}")  # type: ignore[arg-type]

    on("start", play)


def test_a_record_that_is_over_offers_neither_and_a_broken_one_nothing() -> None:
    async def play(stage: HallStage) -> None:
        done = next(n for n, one in enumerate(records()) if one.name == "round-8.jsonl")
        await stage.press(*["down"] * done, "enter")
        assert [act_of(stage.hall, key).partition(" ")[0] for key in ("g", "a", "w")] == ["", "", "report"]
        await stage.press("escape", "home", "down", "down", "enter")
        assert "the line was changed" in stage.words
        assert not any(act_of(stage.hall, key) for key in ("g", "a", "w", "enter"))

    on("records", play)


def test_a_report_is_written_and_its_place_told() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("w")
        assert stage.source.asked[-1] == "report logs/half.jsonl"
        assert "the report is in logs/half.html" in stage.words
        await stage.press("down")
        assert "the report is in" not in stage.words

    on("record", play)


def test_looking_back_opens_the_replay_and_escape_comes_back(tmp_path: Path) -> None:
    from bench.record.append import RecordWriter
    from bench.walk import requests as r
    from tests.screens.gannet import Walk

    walk = Walk()
    walk.until(r.Place, "measure")
    path = tmp_path / "walked.jsonl"
    with RecordWriter.create(path) as writer:
        for entry in walk.entries:
            writer.append(entry)

    async def play(stage: HallStage) -> None:
        stage.app.desk.do(f"replay {path}")  # type: ignore[union-attr]
        await stage.until(lambda: type(stage.app.screen).__name__ == "ReplayScreen")
        await stage.until(lambda: stage.app.screen.tape is not None)  # type: ignore[attr-defined]
        await stage.press("escape")
        await stage.until(lambda: type(stage.app.screen).__name__ == "PaintedScreen")
        await stage.press("5")
        assert stage.hall.place.page == "records" and stage.app.bug is None

    on("record", play)


def test_the_readings_of_a_trace_are_walked_along_and_lead_to_their_records() -> None:
    async def play(stage: HallStage) -> None:
        assert stage.hall.pointed == 4 and "2026-04-01 20:02 ✗ fail" in stage.words
        await stage.press("left")
        assert stage.hall.pointed == 3 and "2026-03-24 20:02 ✓ pass" in stage.words
        await stage.press("right", "right", "right", "right", "right", "right")
        assert stage.hall.pointed == 7
        await stage.press("enter")
        assert stage.hall.place == Place("record", "logs/round-8.jsonl")
        await stage.press("escape")
        assert stage.hall.place == Place("trace", "W1.2")

    on("trace", play)


def test_the_words_of_a_trace_scroll_to_their_end_and_no_further() -> None:
    async def play(stage: HallStage) -> None:
        assert "more lines" in stage.words and "block moved" not in stage.words
        await stage.press("end")
        assert "block moved" in stage.words and "changed at the same time" in stage.words
        bottom = stage.text
        await stage.press("down", "pagedown")
        assert stage.text == bottom
        await stage.press("home")
        assert "last good" in stage.words

    on("trace", play)


def test_the_series_of_a_point_are_gone_through_or_picked_from_a_list() -> None:
    async def play(stage: HallStage) -> None:
        traced = stage.hall.traces["W1"]
        await stage.press("escape", "s", "tab")
        assert stage.hall.study is traced.studies[2]
        await stage.press("l", "home", "down", "enter")
        assert stage.hall.place == Place("trace", "W1") and stage.hall.study is traced.studies[1]

    on("series", play)


def test_what_changed_most_leads_to_one_point() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("down", "enter")
        assert stage.hall.place == Place("trace", "W1.2") and "A step from" in stage.words
        await stage.press("escape")
        assert stage.hall.place.page == "changes" and stage.hall.cursor == 1
        # it was looked for once
        assert stage.source.asked.count("changes") == 1

    on("changes", play)


def test_reading_again_forgets_what_was_worked_out() -> None:
    async def play(stage: HallStage) -> None:
        assert stage.source.asked == ["survey", "trace W1.2"]
        await stage.press("u")
        assert stage.source.asked == ["survey", "trace W1.2", "survey", "trace W1.2"]

    on("trace", play)


def test_the_hall_begins_where_it_was_left_and_tells_what_came_of_the_walk() -> None:
    async def play(stage: HallStage) -> None:
        assert stage.hall.place.page == "records" and "the walk is done" in stage.words and stage.hall.item is not None

    on("start", play, hall=Hall(place=Place("records"), behind=(Place("start"),), note="the walk is done"))


@pytest.mark.parametrize("key", ["q", "ctrl+c", "ctrl+q"])
def test_it_is_left_without_a_wish(key: str) -> None:
    async def play(stage: HallStage) -> None:
        await stage.press(key)
        assert stage.app._over and stage.app.wish is None and stage.app.bug is None

    on("start", play)


class Slow(StationSource):
    """Works until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.go, self.stopped = threading.Event(), threading.Event()

    def trace(self, name: str, tell: Tell) -> Traced:
        done = 0
        try:
            while not self.go.is_set():
                tell("reading every record", min(done, 7), 9)
                done += 1
                self.go.wait(0.002)
        except Cancelled:
            self.stopped.set()
            raise
        return super().trace(name, tell)


def test_long_work_shows_how_far_it_is_can_be_stopped_and_delays_no_key() -> None:
    source = Slow()

    async def play(stage: HallStage) -> None:
        desk = stage.app.desk
        assert desk is not None
        desk.do("trace W1.2")
        await stage.until(lambda: desk.hall.working is not None and desk.hall.working.done == 7)
        desk.repaint()
        assert "reading every record: 7 of 9" in stage.words and "Reading every record for W1.2" in stage.words
        # keys work meanwhile, and the work goes on behind another page
        desk.pressed("2", "2")
        assert stage.hall.place.page == "ready" and desk.work is not None and not source.stopped.is_set()
        desk.pressed("x", "x")
        assert desk.work is None and "stopped" in stage.words
        await stage.until(source.stopped.is_set)
        # coming back to the page asks anew
        source.go.set()
        desk.pressed("escape", None)
        desk.do("trace W1.2")
        await stage.settle()
        assert "A step from" in stage.words

    on("start", play, source=source)


def test_newer_work_ends_the_older_and_leaving_ends_both() -> None:
    source = Slow()

    async def play(stage: HallStage) -> None:
        desk = stage.app.desk
        assert desk is not None
        desk.do("trace W1.2")
        first = desk.work
        desk.do("trace W1.4")
        await stage.until(source.stopped.is_set)
        assert first is not desk.work and first is not None and first.cancelled
        source.stopped.clear()
        desk.pressed("q", "q")
        await stage.until(source.stopped.is_set)

    on("start", play, source=source)


class Rereading(StationSource):
    """Reads the job once at once, and the second time when it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.go = threading.Event()

    def survey(self, tell: Tell) -> Survey:
        while "survey" in self.asked and not self.go.wait(0.002):
            tell("reading the records", 3, 9)
        return super().survey(tell)


def test_a_trace_waits_until_the_job_was_read_again() -> None:
    """Else the records that a walk has just written would be left out of it."""
    source = Rereading()

    async def play(stage: HallStage) -> None:
        desk = stage.app.desk
        assert desk is not None
        desk.do("reread")
        desk.do("trace W1.2")
        assert "trace W1.2" not in source.asked and not stage.hall.traces
        desk.do("report logs/half.jsonl")
        desk.repaint()
        assert "the job is being read" in stage.words
        source.go.set()
        await stage.until(lambda: "W1.2" in stage.hall.traces)
        assert source.asked == ["survey", "survey", "trace W1.2"]

    on("start", play, source=source)


class Failing(StationSource):
    """Gives trouble."""

    def __init__(self, error: Exception, at: str) -> None:
        super().__init__()
        self.error, self.at = error, at

    def survey(self, tell: Tell) -> Survey:
        if self.at == "survey":
            raise self.error
        return super().survey(tell)

    def trace(self, name: str, tell: Tell) -> Traced:
        raise self.error


def test_trouble_that_a_person_can_mend_is_told_and_the_hall_stays() -> None:
    async def play(stage: HallStage) -> None:
        await stage.press("p", *"W1.2", "enter")
        assert "round-3.jsonl:7 was changed" in stage.words and "Not traced" in stage.words
        assert not stage.app._over

    on("start", play, source=Failing(ValueError("round-3.jsonl:7 was changed"), "trace"))


@pytest.mark.parametrize(
    ("error", "at"), [(ValueError("no plant"), "survey"), (RuntimeError("a bug"), "trace")], ids=["no job", "a bug"]
)
def test_a_bug_and_a_job_that_cannot_be_read_end_the_hall(error: Exception, at: str) -> None:
    async def run() -> None:
        async with in_hall("start", source=Failing(error, at)) as stage:
            if at == "trace":
                stage.app.desk.do("trace W1.2")  # type: ignore[union-attr]
            await stage.until(lambda: stage.app._over)
            assert stage.app.bug is error

    asyncio.run(run())


def test_a_point_that_the_plant_lacks_is_told() -> None:
    async def play(stage: HallStage) -> None:
        stage.app.desk.do("trace W99")  # type: ignore[union-attr]
        await stage.settle()
        assert "the plant file has no W99" in stage.words and stage.hall.place.page == "start"

    on("start", play)
