"""Replay on the screen: the same fold as the walk, at any moment, and every key."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import pytest

from bench.record.read import BrokenRecord
from bench.runner.address import address_file
from bench.screens.program.cells import text_of, width
from bench.screens.program.glyphs import ASCII
from bench.screens.program.keys import LISTED
from bench.screens.program.prompts import Prompt
from bench.screens.replay import paint as replay_paint
from bench.screens.replay import playback
from bench.screens.replay import program as replaying
from bench.screens.replay.keys import replay_keys
from bench.screens.replay.playback import Playback, Timeline
from bench.screens.replay.view import FACES, SPEEDS, ReplayView
from bench.screens.walk import follow, paint
from bench.screens.walk.view import View
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens.gannet import LEADS, Walk, measured
from tests.screens.replay.replay_stage import Stage, eventful, on_replay, written
from tests.screens.scenes import SCENES


def shown(record: Playback, index: int, **more: Any) -> ReplayView:
    """A moment of a record, as the screen has it."""
    now = record.local(record.times[index])
    timeline = Timeline(record.times, cut=True)
    return ReplayView(**{"playback": record, "timeline": timeline, "at": record.at(index), "now": now, **more})


def playback_of(walk: Walk) -> Playback:
    return Playback(Path("replayed.jsonl"), walk.entries)


EVENTFUL = eventful()
RECORD = playback_of(EVENTFUL)


# the fold


@pytest.mark.slow
def test_any_moment_in_any_order_is_the_fold_of_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(playback, "EVERY", 4)
    monkeypatch.setattr(playback, "MOST", 8)
    played = playback_of(EVENTFUL)
    now = [0.0]
    follower = follow.Follower(lambda: now[0])
    found = []
    for index, entry in enumerate(EVENTFUL.entries):
        now[0] = played.times[index]
        follower.hear(entry)
        found.append((follower.state, follower.since, follower.left()))
    order = list(range(len(played))) * 2
    random.Random(5).shuffle(order)
    for index in order:
        moment = played.at(index)
        assert (moment.state, moment.since, moment.left) == found[index]
        assert moment.entry is EVENTFUL.entries[index]
    assert len(played._kept) <= 8 + 1
    with pytest.raises(IndexError):
        played.at(len(played))


@pytest.mark.slow
def test_a_record_of_ten_thousand_events_is_played_by_few_folds(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a jump costs is counted in folds, so a slow machine makes no difference."""
    walk = Walk().until(r.Place, "measure")
    walk.one()
    walk.one()
    number = len(walk.entries)
    kept = walk.entries[:]
    while len(kept) < 10_000:
        kept.append(walk.add(e.Noted(text="and on")))
    assert number < 40
    played = playback_of(walk)
    assert len(played) >= 10_000
    folds = 0
    real = follow.take

    def counted(state: object, entry: object) -> object:
        nonlocal folds
        folds += 1
        return real(state, entry)  # type: ignore[arg-type]

    monkeypatch.setattr(follow, "take", counted)
    for index in random.Random(7).sample(range(len(played)), 200):
        folds = 0
        played.at(index)
        assert folds <= playback.EVERY
    folds = 0
    for index in range(5000, 5200):
        played.at(index)
    assert folds <= 200 + playback.EVERY, "a step on is one fold"
    assert len(played._kept) <= playback.MOST


@pytest.mark.slow
def test_every_page_is_the_one_that_the_operator_had() -> None:
    for size in ((80, 24), (120, 40)):
        follower = follow.Follower(lambda: 0.0)
        for index, entry in enumerate(EVENTFUL.entries):
            follower.hear(entry)
            moment = RECORD.at(index)
            view = shown(RECORD, moment.index, now=RECORD.local(moment.since))
            had = View(
                state=follower.state,
                you=follower.state.seat,
                record="replayed.jsonl",
                now=RECORD.local(moment.since),
                left=follower.left(),
                scrolled_by=view.walk.scrolled_by,
            )
            assert paint.seen(view.walk, *size) == paint.seen(had, *size)
            whole = [text_of(one) for one in paint.paint(had, size[0], size[1] + 2).lines[2 : size[1] - 2]]
            part = [f" {text_of(one)}" for one in paint.seen(had, size[0] - 2, size[1]).lines[2:]]
            assert whole[: len(part)] == part[: len(whole)], f"event {entry.n}"


def test_marks_stand_where_things_happened() -> None:
    marks = [(mark.kind, type(RECORD.entries[mark.index].event).__name__) for mark in RECORD.marks]
    assert marks == [
        ("fail", "Read"),
        ("undecided", "Read"),
        ("trouble", "Troubled"),
        ("disturbance", "Disturbed"),
        ("pause", "Paused"),
        ("fail", "Read"),
    ]


def test_long_gaps_are_shortened_or_not() -> None:
    real, cut = Timeline(RECORD.times, cut=False), Timeline(RECORD.times, cut=True)
    assert real.whole == pytest.approx(RECORD.times[-1] - RECORD.times[0])
    assert cut.whole <= playback.LONGEST_GAP * len(RECORD) < real.whole
    for axis in (real, cut):
        for index in range(len(RECORD)):
            assert axis.index(axis.places[index]) >= index
            assert axis.places[axis.index(axis.places[index])] == axis.places[index]
        assert axis.share(0) == 0.0 and axis.share(len(RECORD) - 1) == 1.0


def test_a_clock_that_was_set_back_does_not_run_the_line_backwards() -> None:
    walk = Walk()
    walk.one()
    entries = [*walk.entries, e.Entry(n=3, at="2020-01-01T00:00:00Z", event=e.Noted(text="flat battery"))]
    played = Playback(Path("r"), entries)
    assert played.times == sorted(played.times)


@pytest.mark.parametrize("verdict", ["+", 0.897 + LEADS, 0.81 + LEADS])
def test_what_the_meter_said_is_told_with_its_budget(verdict: float | str) -> None:
    walk = measured(Walk().until(r.Place, "measure"), [verdict])
    played = playback_of(walk)
    at = next(i for i, entry in reversed(list(enumerate(walk.entries))) if isinstance(entry.event, e.Read))
    view = shown(played, at)
    text = "\n".join(text_of(one) for one in replay_paint.meter(view, 100))
    read = walk.entries[at].event
    assert isinstance(read, e.Read) and read.raw[0] in text
    assert "W101.1" in text and "0.152 Ω taken off for the leads" in text and "computed" in text
    if isinstance(verdict, float):
        outcome = played.at(at).outcome
        assert outcome is not None and outcome.figure.budget is not None
        assert f"k = {outcome.figure.budget.coverage_factor:.2f}" in text
        for component in outcome.figure.budget.components:
            assert component.name[:20] in text
        shares = [int(part.split(" %")[0].split()[-1]) for part in text.split("\n") if " %  " in part]
        assert shares == sorted(shares, reverse=True) and 98 <= sum(shares) <= 102
    else:
        assert "over range" in text


# the pages


SIZES = [(80, 24), (120, 40), (60, 20), (40, 12), (200, 60), (20, 6), (3, 2)]


@pytest.mark.slow
@pytest.mark.parametrize("face", FACES)
def test_every_page_fits_every_size_and_alphabet(face: str) -> None:
    for index in range(0, len(RECORD), 7):
        for size in SIZES:
            for glyphs in (None, ASCII):
                more = {} if glyphs is None else {"glyphs": glyphs}
                view = shown(RECORD, index, face=face, **more)
                lines = replay_paint.paint(view, *size).lines
                assert len(lines) == size[1]
                assert all(width(one) <= size[0] for one in lines)
                if glyphs is not None:
                    assert all(text_of(one).isascii() for one in lines)


@pytest.mark.slow
def test_every_scene_can_be_replayed() -> None:
    for make in SCENES.values():
        walk = make().walk
        played = playback_of(walk)
        last = played.at(len(played) - 1)
        assert last.state == walk.state
        replay_paint.paint(shown(played, last.index, now=played.local(last.since)), 80, 24)


# the keys


ACTS = {one.does for one in (*replay_keys(playing=False, face="seen", long=True), *LISTED)}
TRIED: set[str] = set()
Test = TypeVar("Test")


def proves(*acts: str) -> Callable[[Test], Test]:
    """Notes which acts a test proves; all are asked for at the end."""
    TRIED.update(acts)
    return lambda test: test


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(EVENTFUL, tmp_path_factory.mktemp("record"))


def at(kind: str, nth: int = 0) -> int:
    return [mark.index for mark in RECORD.marks if mark.kind == kind][nth]


@pytest.mark.slow
@proves(
    "on",
    "back",
    "failed",
    "failed-before",
    "mark",
    "mark-before",
    "first",
    "last",
    "step",
    "step-back",
    "far",
    "far-back",
)
def test_keys_wind_to_where_they_say(record: Path) -> None:
    last = len(RECORD) - 1

    async def act() -> None:
        async with on_replay(record) as stage:
            assert stage.index == 0
            await stage.press("left")
            assert stage.index == 0
            await stage.press("right", "right", "right", "left")
            assert stage.index == 2
            await stage.press("f")
            assert stage.index == at("fail") and "✗ FAIL" in stage.text
            await stage.press("f")
            assert stage.index == at("undecided") and "UNDECIDED" in stage.text
            await stage.press("f")
            assert stage.index == at("fail", 1)
            await stage.press("f")
            assert stage.index == at("fail", 1) and "no reading after this one failed" in stage.text
            await stage.press("b", "b", "b")
            assert stage.index == at("fail") and "no reading before" in stage.text
            await stage.press("full_stop", "full_stop")
            assert stage.index == at("trouble") and "did not answer" in stage.text
            await stage.press("full_stop")
            assert stage.index == at("disturbance") and "a foot" in stage.text
            await stage.press("full_stop")
            assert stage.index == at("pause") and "The walk is paused" in stage.text
            await stage.press("comma", "comma")
            assert stage.index == at("trouble")
            await stage.press("end")
            assert stage.index == last and "The walk is done" in stage.text
            await stage.press("right", "full_stop")
            assert stage.index == last and "no mark after" in stage.text
            await stage.press("home", "comma")
            assert stage.index == 0 and "no mark before" in stage.text
            cursors = [RECORD.at(index).state.place.cursor for index in range(len(RECORD))]
            for _ in range(12):
                before = stage.index
                await stage.press("down")
                assert cursors[stage.index] != cursors[before]
                assert set(cursors[before : stage.index]) == {cursors[before]}
            await stage.press("up")
            assert cursors[stage.index] != cursors[stage.index - 1]
            await stage.press("pagedown")
            there = stage.index
            assert there > 0
            await stage.press("pagedown", "pageup")
            assert stage.index <= there + 1
            for _ in range(40):
                await stage.press("pagedown")
            assert stage.index == last

    asyncio.run(act())


@proves("play", "faster", "slower", "gaps")
def test_it_plays_at_any_speed_and_shortens_gaps_unless_told(record: Path) -> None:

    async def act() -> None:
        async with on_replay(record) as stage:
            assert stage.view.speed == 1.0
            await stage.press("minus", "minus", "minus")
            assert stage.view.speed == SPEEDS[0]
            for _ in SPEEDS:
                await stage.press("plus")
            assert stage.view.speed == SPEEDS[-1]
            for _ in range(5):
                await stage.press("minus")
            assert stage.view.speed == 1.0
            await stage.press("space")
            assert stage.view.playing and "playing, 1x" in stage.text
            # it goes on by the clock: entries are some seconds apart
            for _ in range(20):
                stage.seconds += 1.0
                stage.replay.tick()
            axis = stage.view.timeline
            assert stage.index == axis.index(20.0)
            # the time shown runs on between the entries
            assert (stage.view.now.timestamp() - RECORD.times[stage.index]) < playback.LONGEST_GAP
            await stage.press("space")
            here = stage.index
            stage.seconds += 100.0
            stage.replay.tick()
            assert stage.index == here and not stage.view.playing

            # real time: nothing is left out
            await stage.press("=")
            assert not stage.view.timeline.cut and "real time" in stage.text
            assert stage.index == here
            await stage.press("end", "left", "left", "space")
            began = stage.index
            stage.seconds += RECORD.times[-1] - RECORD.times[began] - 0.001
            stage.replay.tick()
            assert stage.index == len(RECORD) - 2 and stage.view.playing
            stage.seconds += 0.01
            stage.replay.tick()
            assert stage.index == len(RECORD) - 1 and not stage.view.playing, "it stops at the end"
            await stage.press("space")
            assert stage.index == 0 and stage.view.playing, "and begins anew"
            await stage.press("right")
            assert not stage.view.playing, "whoever steps has stopped it"

    asyncio.run(act())


@proves("face", "mirror", "theme")
def test_three_pages_a_mirror_and_two_looks(record: Path) -> None:

    async def act() -> None:
        async with on_replay(record) as stage:
            await stage.press("f", "right")
            seen = stage.text
            await stage.press("tab")
            assert "What the meter said" in stage.text and "over range" in stage.text
            await stage.press("tab")
            assert "Tab page" in stage.text and "contact" not in seen and f"{stage.index + 1:>6} " in stage.text
            await stage.press("tab")
            assert stage.text == seen
            await stage.press("m")
            assert "(mating side)" in seen and "(wiring side)" in stage.text
            await stage.press("m", "t")
            assert stage.app.theme == "day" and stage.text == seen
            await stage.press("t")
            assert stage.app.theme == "night"

    asyncio.run(act())


def test_a_record_that_ends_with_an_output_on_says_so_at_every_moment_and_a_live_one_is_switched_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = Walk()
    walk.seat()
    walk.until(r.Place, "measure")
    walk.add(e.OutputsSeen(states={"PS1": "on"}, text="the lamp is lit", by="Ana"))
    path = written(walk, tmp_path)

    async def act() -> None:
        async with on_replay(path) as stage:
            for key in ("home", "tab", "tab", "end"):
                await stage.press(key)
                assert "OUTPUT ON: It ends with an output on: PS1 is on." in stage.text
            assert "ALL OFF" not in stage.text, "nobody is there to be told"
        told = []
        monkeypatch.setattr(replaying, "read_address", lambda file: told.append(file) or "the runner")
        monkeypatch.setattr(replaying, "everything_off", lambda runners: [f"{runners[0]}: everything is off."])
        address_file(path).write_text("{}", "ascii")
        async with on_replay(path) as stage:
            assert "OUTPUT ON NOW" in stage.text and "z ALL OFF" in stage.text
            await stage.press("z")
            for _ in range(200):
                await stage.press("home")
                if told:
                    break
            assert told == [address_file(path)]

    asyncio.run(act())


def test_larger_screens_show_meter_and_events_below(record: Path) -> None:
    async def act() -> None:
        async with on_replay(record, size=(120, 40)) as stage:
            await stage.press("f")
            assert "What the meter said" in stage.text and "✗ FAIL  Open" in stage.text
            assert f"{stage.index + 1} of {len(RECORD)}" in stage.text
            await stage.pilot.resize_terminal(80, 24)
            await stage.until(lambda: len(stage.app.sheet.lines) == 24)
            assert "What the meter said" not in stage.text

    asyncio.run(act())


@proves("help", "close", "scroll", "scroll-back")
def test_help_tells_every_key_and_closes(record: Path) -> None:

    async def act() -> None:
        async with on_replay(record, size=(80, 50)) as stage:
            await stage.press("question_mark")
            for one in replay_keys(playing=False, face="seen", long=True):
                assert one.more.split(".")[0].split(",")[0][:40] in " ".join(stage.text.split())
            await stage.press("space", "question_mark", "escape")
            assert not stage.view.help and not stage.view.playing
            await stage.pilot.resize_terminal(80, 24)
            await stage.press("end")
            top = stage.text
            assert "more lines: j and k" in top
            await stage.press("]")
            assert stage.text != top
            for _ in range(9):
                await stage.press("]")
            assert "the end; j and k go back" in stage.text and "record" in stage.text
            for _ in range(10):
                await stage.press("[")
            assert stage.text == top

    asyncio.run(act())


@proves("go")
def test_going_to_an_event_or_a_time(record: Path) -> None:

    async def act() -> None:
        async with on_replay(record) as stage:

            async def typed(text: str) -> None:
                await stage.press("/")
                assert isinstance(stage.app.screen, Prompt)
                await stage.press(*("colon" if sign == ":" else sign for sign in text), "enter")

            await typed("17")
            assert stage.index == 16
            late = RECORD.local(RECORD.times[at("pause")] + 60).strftime("%H:%M")
            await typed(late)
            assert RECORD.local(stage.view.at.since) is not None
            assert RECORD.times[stage.index] > RECORD.times[at("pause")] and stage.index == at("pause") + 1
            await typed("9999")
            assert isinstance(stage.app.screen, Prompt), "it stays and says what is wrong"
            await stage.press("escape")
            assert stage.index == at("pause") + 1

    asyncio.run(act())


@proves("actions", "choose-action")
def test_all_actions_are_listed_found_by_their_letters_and_done(record: Path) -> None:
    async def act() -> None:
        async with on_replay(record, size=(80, 40)) as stage:
            await stage.press("a")
            known = [one for one in replay_keys(playing=False, face="seen", long=True) if one.does != "actions"]
            assert [one.does for one in stage.replay.actions()] == [one.does for one in known]
            for one in known:
                assert f"{one.word}: " in stage.text
            # letters that are keys elsewhere are only letters here
            await stage.press(*"next", "space", *"faq")
            assert stage.index == 0 and "nothing has these letters" in stage.text
            await stage.press("backspace", "enter")
            assert stage.index == at("fail") and stage.view.typed is None
            await stage.press("ctrl+p", *"fail", "space", *"before", "down", "up", "up")
            assert stage.replay.actions()[stage.view.chosen].does == "failed-before"
            await stage.press("escape")
            assert stage.view.typed is None and stage.index == at("fail")
            await stage.press("a", "down", "down", "enter")
            assert stage.index == at("fail") - 1, "the third line: an event back"

    asyncio.run(act())


@pytest.mark.parametrize("key", ["q", "escape", "ctrl+c", "ctrl+q"])
@proves("leave")
def test_it_is_left_by_the_usual_keys(record: Path, key: str) -> None:

    async def act() -> None:
        async with on_replay(record) as stage:
            await stage.press(key)
            await stage.until(lambda: not stage.app.is_running)

    before = record.read_bytes()
    asyncio.run(act())
    assert record.read_bytes() == before


def test_each_key_of_the_replay_is_tried_by_one_of_these_tests() -> None:
    assert TRIED == ACTS
    for face in FACES:
        for help in (False, True):
            names = [name for one in replay_keys(playing=True, face=face, help=help, long=True) for name in one.keys]
            assert len(names) == len(set(names))


# around it


def test_what_is_no_record_is_told_and_can_be_left(tmp_path: Path) -> None:
    broken = tmp_path / "broken.jsonl"
    broken.write_text("{}\n", "utf-8")

    async def act() -> None:
        stage = Stage(broken)
        async with stage.app.run_test(size=(80, 24)) as pilot:
            stage.pilot = pilot
            await stage.until(lambda: stage.replay is not None and stage.replay.failed is not None)
            await stage.until(lambda: "no whole line of a record" in stage.text)
            await stage.press("f", "space")
            await stage.press("q")
        assert isinstance(stage.replay.failed, BrokenRecord)

    asyncio.run(act())


def test_a_record_with_a_line_that_does_not_follow_is_refused(tmp_path: Path) -> None:
    walk = Walk()
    with pytest.raises(BrokenRecord, match="does not follow"):
        Playback(tmp_path, [*walk.entries, e.Entry(n=2, at="2026-05-12T18:00:00Z", event=e.Continued())])
    with pytest.raises(BrokenRecord, match="holds no walk"):
        Playback(tmp_path, [])


def test_reading_is_shown_and_called_off(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import threading

    from bench.screens.replay import program as replaying

    may_go, ended = threading.Event(), threading.Event()

    def slowly(path: Path, told: object) -> Playback:
        try:
            told(4000)  # type: ignore[operator]
            assert may_go.wait(60)
            told(4200)  # type: ignore[operator]
            raise AssertionError("it was not told to stop")
        finally:
            ended.set()

    monkeypatch.setattr(replaying, "open_playback", slowly)

    async def act() -> None:
        stage = Stage(record)
        async with stage.app.run_test(size=(80, 24)) as pilot:
            stage.pilot = pilot
            await stage.until(lambda: "4000 events" in stage.text)
            await stage.press("space", "f", "q")
        may_go.set()
        assert await asyncio.to_thread(ended.wait, 60)
        assert stage.replay.playback is None and stage.replay.failed is None

    asyncio.run(act())


def test_no_colours_where_none_are_wanted(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def look() -> str:
        async with on_replay(record) as stage:
            await stage.press("f")
            return stage.app.export_screenshot().lower()

    assert "#d70000" in asyncio.run(look())
    monkeypatch.setenv("NO_COLOR", "1")
    bare = asyncio.run(look())
    assert not any(colour in bare for colour in ("#d70000", "#f0b64c", "#ff7d5c"))
