"""Every key of the job screen on the real app: what it does, from where, and what happens where something cannot be."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.screens.job.data import Survey, Traced, Wish
from bench.screens.job.keys import actions, keys
from bench.screens.job.program import JobProgram
from bench.screens.job.view import FILTERS, ORDERS, TABS, JobView, Place
from bench.screens.program.keys import act_of
from bench.screens.program.prompts import Prompt
from bench.screens.program.terminal import WHEEL
from bench.screens.program.work import Cancelled, Tell
from bench.screens.replay.program import ReplayProgram
from tests.screens.job.job_scenes import JOB_SCENES, StationSource, records, survey
from tests.screens.job.job_stage import JobStage, on_job


def on(name: str, play: Callable[[JobStage], Awaitable[None]], **more: object) -> None:
    """Play something from a scene on."""

    async def run() -> None:
        async with on_job(name, **more) as stage:  # type: ignore[arg-type]
            await play(stage)

    asyncio.run(run())


def test_figures_lead_to_the_pages_from_anywhere_and_escape_back() -> None:
    async def play(stage: JobStage) -> None:
        for number, page in enumerate(TABS, 1):
            await stage.press(str(number))
            assert stage.moment.place.page == page
        await stage.press("4", "enter")
        assert stage.moment.place == Place("bench", "job/continuity.yaml")
        await stage.press("escape")
        assert stage.moment.place.page == "sequences"
        for page in ("cables", "changes", "records", "sequences", "next", "ready", "start"):
            await stage.press("backspace")
            assert stage.moment.place.page == page
        await stage.press("escape")
        assert stage.moment.place.page == "start" and not stage.app.over

    on("start", play)


def test_everything_on_the_start_page_is_one_move_away() -> None:
    """Enter on each line leads where it says; a line that says more leads to the whole list."""

    async def play(stage: JobStage) -> None:
        wanted = ["trace", "bench", "bench", "next", "bench", "bench", "sequences", "record", "record", "records"]
        for line, page in enumerate(wanted):
            await stage.press("1", "home", *["down"] * line, "enter")
            assert stage.moment.place.page == page, line
        assert len(stage.moment.place.about) == 0

    on("start", play)


def test_what_fails_comes_first_on_the_start_page() -> None:
    async def play(stage: JobStage) -> None:
        first = stage.moment.items[0]
        assert stage.moment.cursor == 0 and first.value.status == "failing" and first.value.name == "W1"
        assert [one.page for one in stage.moment.items if one.page == "ready"] == ["ready"]

    on("start", play)


def test_benches_that_fit_come_first_and_real_ones_before_simulated_ones() -> None:
    async def play(stage: JobStage) -> None:
        assert [one.value.name for one in stage.moment.items] == ["simulated bench", "the bag", "torn"]
        await stage.press("escape", "home", "enter")  # the continuity of W1 wants ohms, which both have
        assert [one.value.name for one in stage.moment.items] == ["the bag", "simulated bench", "torn"]

    on("bench", play)


def test_lists_are_sorted_another_way_by_a_key_or_out_of_the_list_of_actions() -> None:
    async def play(stage: JobStage) -> None:
        came = [one.value.name for one in stage.moment.items]
        await stage.press("tab")
        assert "sorted: what failed first" in stage.words
        lost = [dict(one.value.counts).get("fail", 0) for one in stage.moment.items]
        assert lost == sorted(lost, reverse=True) and lost[0] == 3
        await stage.press("tab")
        names = [one.value.sequence for one in stage.moment.items]
        assert names == sorted(names)
        await stage.press("tab")
        assert [one.value.name for one in stage.moment.items] == came
        await stage.press("a", *"readiness worst first", "enter")
        assert stage.moment.place.page == "ready" and stage.moment.items[0].value.status == "failing"
        assert "worst first" in stage.words
        program = stage.app.first
        assert isinstance(program, JobProgram)
        for page, orders in ORDERS.items():
            for order in orders:
                program.do_order(f"{page} {order}")
                assert stage.moment.order == order and stage.moment.items is not None

    on("records", play)


def test_what_is_pointed_at_goes_to_the_clipboard_through_the_terminal() -> None:
    copied: list[str] = []

    async def play(stage: JobStage) -> None:
        stage.app.copy_to_clipboard = copied.append  # type: ignore[method-assign]
        for pressed, words in (
            (("2", "home"), "line jacks"),
            (("3",), "bonds of the earthing network: prove again 3 points"),
            (("4",), "job/continuity.yaml"),
            (("5", "down"), "logs/half.jsonl"),
            (("enter",), "logs/half.jsonl"),
            (("e",), "1. Wires 2 and 4 of W1 sit badly."),
            (("a", *"W1.2", "enter"), "last good"),
        ):
            await stage.press(*pressed)
            await stage.press("c")
            assert words in copied[-1], pressed
            assert "copied, if this terminal lets programs copy" in stage.words

    on("start", play)


def test_a_record_is_explained_compared_and_reported_on_the_screen() -> None:
    class Counting(StationSource):
        """Every record counts."""

        def survey(self, tell: Tell) -> Survey:
            found = super().survey(tell)
            return replace(found, records=tuple(replace(one, why="") for one in found.records))

    source = Counting()

    async def play(stage: JobStage) -> None:
        await stage.press("e")
        assert stage.moment.place == Place("told", "half.jsonl") and "Wires 2 and 4 of W1 sit badly." in stage.words
        await stage.press("escape")
        assert stage.moment.place.page == "record"
        await stage.press("w")
        assert "the report is in logs/half.html; it is open in the browser" in stage.words
        await stage.press("a", *"open the report of half", "enter")
        assert source.asked[-1] == "show logs/half.html"
        await stage.press("a", *"explain what went wrong half", "enter")
        assert source.asked[-1] == "explain logs/half.jsonl"
        await stage.press("a", *"compare half.jsonl", "enter")
        assert source.asked[-1] == "compare logs/toy.jsonl logs/half.jsonl"
        assert "W1.2: passed, now fails" in stage.words
        await stage.press("a", *"compare two", "enter", *"2026-04-30", "enter")
        assert isinstance(stage.app.screen, Prompt) and source.asked[-1].startswith("compare logs/")
        await stage.press(*" 2026-05-12", "enter")
        assert source.asked[-1] == "compare 2026-04-30 2026-05-12"

    on("record", play, source=source)


def test_what_was_touched_is_written_down_and_the_job_is_read_again() -> None:
    source = StationSource()

    async def play(stage: JobStage) -> None:
        await stage.press("d", *"X9: a foot", "enter")
        assert isinstance(stage.app.screen, Prompt)
        await stage.press("ctrl+u", *"W1: a foot", "enter")
        await stage.until(lambda: source.asked[-1] == "survey")
        assert source.asked[-2] == "disturb W1: a foot"
        assert "evidence about 8 conductors no longer counts" in stage.words

    on("start", play, source=source)


def test_the_mouse_moves_and_points_and_does_nothing() -> None:
    async def play(stage: JobStage) -> None:
        place = stage.moment.place
        row = next(n for n, text in enumerate(stage.text.splitlines()) if "cable WA2B" in text)
        await stage.pilot.click(offset=(20, row))
        await stage.settle()
        assert stage.moment.item is not None and stage.moment.item.value.about == "WA2B"
        await stage.pilot.click(offset=(20, 23))  # the keys at the foot
        await stage.pilot.click(offset=(20, 0))
        await stage.settle()
        assert stage.moment.item.value.about == "WA2B" and stage.moment.place == place
        stage.app.on_mouse_scroll_down()
        assert stage.moment.cursor == 2 + WHEEL
        stage.app.on_mouse_scroll_up()
        assert stage.moment.cursor == 2 and stage.source.asked == ["survey"]

    on("next", play)


def test_the_list_of_actions_has_what_a_leader_does_of_an_evening() -> None:
    async def play(stage: JobStage) -> None:
        known = " | ".join(one.text for one in actions(replace(stage.moment, typed="")))
        for word in ("draft", "explain", "disturbed", "compare", "report", "light or dark", "quits", "sort", "copy"):
            assert word in known, word

    on("start", play)


def test_the_cursor_moves_within_the_list() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("up")
        assert stage.moment.cursor == 0
        await stage.press("down", "down")
        assert stage.moment.cursor == 2
        await stage.press("pagedown", "pagedown", "pagedown")
        assert stage.moment.cursor == len(stage.moment.items) - 1
        await stage.press("home")
        assert stage.moment.cursor == 0
        await stage.press("end", "pageup")
        assert stage.moment.cursor == max(0, len(stage.moment.items) - 11)

    on("ready", play)


def test_filters_and_kinds_narrow_the_readiness_page() -> None:
    async def play(stage: JobStage) -> None:
        counts = {}
        for _ in FILTERS:
            counts[stage.moment.status] = len(stage.moment.items)
            await stage.press("f")
        assert stage.moment.status == "all" and counts["all"] == len(survey().ready.things)
        assert counts["open"] + counts["proven"] == counts["all"]
        assert counts["failing"] == counts["void"] == 1  # the cable; the bond whose bolt was out
        await stage.press("tab")
        assert stage.moment.kind == "shelf" and all(one.value.kind == "shelf" for one in stage.moment.items)
        await stage.press("tab", "tab", "tab", "tab")
        assert stage.moment.kind == "all"

    on("ready", play)


def test_find_narrows_a_list_as_it_is_typed() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("/", *"wa2")
        assert [one.value.name for one in stage.moment.items] == ["WA2A", "WA2B"]
        # while one types, letters are letters
        await stage.press("q")
        assert not stage.app.over and not stage.moment.items and "Nothing stands so." in stage.words
        await stage.press("backspace", "enter", "down", "enter")
        assert stage.moment.place == Place("trace", "WA2B")
        await stage.press("escape", "slash", *"bond", "escape")
        assert not stage.moment.find and len(stage.moment.items) == len(survey().ready.things)

    on("ready", play)


def test_the_list_of_actions_lists_all_actions_and_does_the_chosen_one() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("a", *"only", "escape")
        assert stage.moment.typed is None
        await stage.press("ctrl+p")
        assert stage.moment.typed == ""
        await stage.press(*"list failing", "down", "up", "enter")
        assert stage.moment.place.page == "ready" and stage.moment.status == "failing"
        await stage.press("a", *"bonds alone", "enter")
        assert stage.moment.kind == "bond"
        await stage.press("a", *"zzz", "enter")
        assert "nothing has these letters" in stage.words
        await stage.press("ctrl+u", *"insulation", "enter")
        assert stage.moment.place == Place("bench", "job/insulation.yaml")
        await stage.press("a", *"half.jsonl waits", "enter")
        assert stage.moment.place == Place("record", "logs/half.jsonl")
        await stage.press("a", *"J2", "enter")
        assert stage.moment.place == Place("trace", "J2")

    on("start", play)


@pytest.mark.parametrize("name", [name for name in JOB_SCENES if name != "actions"])
def test_every_key_of_a_page_is_an_act_and_stands_in_the_list_of_actions(name: str) -> None:
    async def play(stage: JobStage) -> None:
        view = stage.moment
        offered = {one.does for one in actions(replace(view, typed="", help=False))}
        for key in keys(view):
            verb = key.does.partition(" ")[0]
            assert callable(getattr(JobProgram, f"do_{verb.replace('-', '_')}"))
            assert key.more.endswith(".") and key.word
            if not view.help and verb not in ("actions", "back", "help", "earlier", "later"):
                assert key.does in offered, key.does
        used = [one for key in keys(view) for one in key.keys]
        assert len(used) == len(set(used)), "a key does two things"

    on(name, play)


def test_help_opens_closes_and_scrolls() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("h")
        assert "Help ready" not in stage.words and "Help readiness" in stage.words
        await stage.press("end")
        assert "Leaves, quits." in stage.words
        await stage.press("down")
        bottom = stage.text
        await stage.press("down")
        assert stage.text == bottom
        await stage.press("escape")
        assert not stage.moment.help and stage.moment.place.page == "ready"

    on("ready", play)


def test_a_walk_begins_from_the_bench_that_was_chosen() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("4", "enter", "enter")
        assert stage.app.over
        assert stage.app.first.wish == Wish("walk", "job/continuity.yaml", "job/benches/bag.yaml")
        # when the walk has ended one is at the sequences again
        assert stage.moment.place.page == "sequences"

    on("start", play)


def test_what_cannot_be_walked_says_why() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("end", "enter")
        assert "broken cannot be walked: job/broken.yaml:3:1" in stage.words
        await stage.press("home", "down", "enter", "down", "enter")
        assert "the bag cannot be taken: it has nothing that measures insulation" in stage.words
        await stage.press("end", "enter")
        assert "torn cannot be taken: job/benches/torn.yaml:1:1" in stage.words and not stage.app.over
        await stage.press("home", "enter")
        assert stage.app.first.wish == Wish("walk", "job/insulation.yaml", "job/benches/simulated.yaml")

    on("sequences", play)


@pytest.mark.parametrize(
    ("name", "key", "act"), [("half.jsonl", "p", "resume"), ("now.jsonl", "k", "attach")], ids=["waits", "under way"]
)
def test_a_record_that_is_not_over_is_gone_on_with(name: str, key: str, act: str) -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("a", *name, "enter")
        await stage.press("x" if key == "p" else "p")
        assert not stage.app.over
        await stage.press(key)
        assert stage.app.first.wish == Wish(act, f"logs/{name}")  # type: ignore[arg-type]

    on("start", play)


def test_a_record_that_is_over_offers_neither_and_a_broken_one_nothing() -> None:
    async def play(stage: JobStage) -> None:
        done = next(n for n, one in enumerate(records()) if one.name == "round-8.jsonl")
        await stage.press(*["down"] * done, "enter")
        assert [act_of(keys(stage.moment), key).partition(" ")[0] for key in ("p", "k", "w")] == ["", "", "report"]
        await stage.press("escape", "home", "down", "down", "enter")
        assert "the line was changed" in stage.words
        assert not any(act_of(keys(stage.moment), key) for key in ("p", "k", "w", "enter"))

    on("records", play)


def test_a_report_is_written_and_its_place_told() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("w")
        assert stage.source.asked[-2:] == ["report logs/half.jsonl", "show logs/half.html"]
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

    async def play(stage: JobStage) -> None:
        stage.app.program.do(f"replay {path}")  # type: ignore[union-attr]
        replay = stage.app.program
        assert isinstance(replay, ReplayProgram)
        await stage.until(lambda: replay.playback is not None)
        await stage.press("escape")
        assert isinstance(stage.app.program, JobProgram)
        await stage.press("5")
        assert stage.moment.place.page == "records" and stage.app.bug is None

    on("record", play)


def test_the_readings_of_a_trace_are_walked_along_and_lead_to_their_records() -> None:
    async def play(stage: JobStage) -> None:
        assert stage.moment.pointed == 4 and "2026-04-01 20:02 ✗ fail" in stage.words
        await stage.press("left")
        assert stage.moment.pointed == 3 and "2026-03-24 20:02 ✓ pass" in stage.words
        await stage.press("right", "right", "right", "right", "right", "right")
        assert stage.moment.pointed == 7
        await stage.press("enter")
        assert stage.moment.place == Place("record", "logs/round-8.jsonl")
        await stage.press("escape")
        assert stage.moment.place == Place("trace", "W1.2")

    on("trace", play)


def test_the_words_of_a_trace_scroll_to_their_end_and_no_further() -> None:
    async def play(stage: JobStage) -> None:
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
    async def play(stage: JobStage) -> None:
        traced = stage.moment.traces["W1"]
        await stage.press("escape", "tab", "tab")
        assert stage.moment.study is traced.studies[2]
        await stage.press("/", "home", "down", "enter")
        assert stage.moment.place == Place("trace", "W1") and stage.moment.study is traced.studies[1]

    on("series", play)


def test_what_changed_most_leads_to_one_point() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("down", "enter")
        assert stage.moment.place == Place("trace", "W1.2") and "A step from" in stage.words
        await stage.press("escape")
        assert stage.moment.place.page == "changes" and stage.moment.cursor == 1
        # it was looked for once
        assert stage.source.asked.count("changes") == 1

    on("changes", play)


def test_reading_again_forgets_what_was_worked_out() -> None:
    async def play(stage: JobStage) -> None:
        assert stage.source.asked == ["survey", "trace W1.2"]
        await stage.press("f5")
        assert stage.source.asked == ["survey", "trace W1.2", "survey", "trace W1.2"]

    on("trace", play)


def test_the_job_screen_begins_where_it_was_left_and_tells_what_came_of_the_walk() -> None:
    async def play(stage: JobStage) -> None:
        assert stage.moment.place.page == "records" and stage.moment.item is not None
        assert "the walk is done" in stage.words

    on("start", play, view=JobView(place=Place("records"), behind=(Place("start"),), note="the walk is done"))


@pytest.mark.parametrize("key", ["q", "ctrl+c", "ctrl+q"])
def test_it_is_left_without_a_wish(key: str) -> None:
    async def play(stage: JobStage) -> None:
        await stage.press(key)
        assert stage.app.over and stage.app.first.wish is None and stage.app.bug is None

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

    async def play(stage: JobStage) -> None:
        program = stage.app.program
        assert program is not None
        program.do("trace W1.2")
        await stage.until(lambda: program.moment.working is not None and program.moment.working.done == 7)
        program.repaint()
        assert "reading every record: 7 of 9" in stage.words and "Reading every record for W1.2" in stage.words
        # keys work meanwhile, and the work goes on behind another page
        program.pressed("2", "2")
        assert stage.moment.place.page == "ready" and program.work is not None and not source.stopped.is_set()
        program.pressed("x", "x")
        assert program.work is None and "stopped" in stage.words
        await stage.until(source.stopped.is_set)
        # coming back to the page asks anew
        source.go.set()
        program.pressed("escape", None)
        program.do("trace W1.2")
        await stage.settle()
        assert "A step from" in stage.words

    on("start", play, source=source)


def test_newer_work_ends_the_older_and_leaving_ends_both() -> None:
    source = Slow()

    async def play(stage: JobStage) -> None:
        program = stage.app.program
        assert program is not None
        program.do("trace W1.2")
        first = program.work
        program.do("trace W1.4")
        await stage.until(source.stopped.is_set)
        assert first is not program.work and first is not None and first.cancelled
        source.stopped.clear()
        program.pressed("q", "q")
        await stage.until(source.stopped.is_set)

    on("start", play, source=source)


def test_everything_is_switched_off_from_any_page_and_what_is_on_is_said_on_each() -> None:
    source = StationSource()

    async def play(stage: JobStage) -> None:
        program = stage.app.program
        assert program is not None
        for page in ("start", "ready", "records", "next"):
            program.do(f"go {page}")
            assert any(key.does == "all-off" and key.shown == "z" for key in keys(stage.moment)), page
        await stage.press("z")
        await stage.until(lambda: "everything is off" in stage.moment.note)
        assert source.asked[-1] == "all-off" and "everything is off, confirmed" in stage.words
        survey = stage.moment.survey
        assert survey is not None
        program.change(survey=replace(survey, left_on=("supply is on, 48 V",), records=()), note="")
        for page in ("start", "ready", "records", "changes"):
            program.do(f"go {page}")
            program.repaint()
            assert "OUTPUT ON: supply is on, 48 V" in stage.words, page
            assert not any(key.does == "all-off" for key in keys(stage.moment)), "no walk is under way to be told"

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

    async def play(stage: JobStage) -> None:
        program = stage.app.program
        assert program is not None
        program.do("reread")
        program.do("trace W1.2")
        assert "trace W1.2" not in source.asked and not stage.moment.traces
        program.do("report logs/half.jsonl")
        program.repaint()
        assert "the job is being read" in stage.words
        source.go.set()
        await stage.until(lambda: "W1.2" in stage.moment.traces)
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


def test_trouble_that_a_person_can_mend_is_told_and_the_job_screen_stays() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("a", *"W1.2", "enter")
        assert "round-3.jsonl:7 was changed" in stage.words and "Not traced" in stage.words
        assert not stage.app.over

    on("start", play, source=Failing(ValueError("round-3.jsonl:7 was changed"), "trace"))


@pytest.mark.parametrize(
    ("error", "at"), [(ValueError("no plant"), "survey"), (RuntimeError("a bug"), "trace")], ids=["no job", "a bug"]
)
def test_a_bug_and_a_job_that_cannot_be_read_end_the_job_screen(error: Exception, at: str) -> None:
    async def run() -> None:
        async with on_job("start", source=Failing(error, at)) as stage:
            if at == "trace":
                stage.app.program.do("trace W1.2")  # type: ignore[union-attr]
            await stage.until(lambda: stage.app.over)
            assert stage.app.bug is error

    asyncio.run(run())


def test_a_point_that_the_plant_lacks_is_told() -> None:
    async def play(stage: JobStage) -> None:
        stage.app.program.do("trace W99")  # type: ignore[union-attr]
        await stage.settle()
        assert "the plant file has no W99" in stage.words and stage.moment.place.page == "start"

    on("start", play)


def test_what_is_next_is_drafted_and_walked_by_one_key() -> None:
    """Enter on a task drafts its sequence and stands at the choice of the bench; v traces it as before."""

    async def play(stage: JobStage) -> None:
        await stage.press("3", "home", "enter")
        survey = stage.moment.survey
        assert survey is not None
        task = survey.ready.tasks[0]
        assert f"draft {task.kind} {task.about}" in stage.source.asked
        assert stage.moment.place.page == "bench" and stage.moment.note == "drafted"
        assert [one.path for one in survey.sequences].count(stage.moment.place.about) == 1
        await stage.press("escape")
        assert stage.moment.place.page == "next"
        await stage.press("i")
        assert stage.moment.place.page == "trace"

    on("start", play)


def test_enter_on_a_loose_end_shows_the_next_trip_and_again_what_is_known_of_the_end() -> None:
    async def play(stage: JobStage) -> None:
        await stage.press("7", "down")
        assert stage.moment.item is not None and stage.moment.item.words.startswith("l4")
        assert "W12" in stage.text and "clip the tester" not in stage.text
        await stage.press("enter")
        assert "clip the tester" in stage.text
        await stage.press("enter")
        assert "clip the tester" not in stage.text
        await stage.press("slash", *"left", "enter")
        assert [one.number for one in stage.moment.items] == [1]

    on("start", play)
