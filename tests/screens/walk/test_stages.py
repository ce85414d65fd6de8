"""The stages of first power: on the screen, by a key, line by line, and while a load comes up."""

from __future__ import annotations

import asyncio
import io

import pytest
from msgspec.structs import replace

from bench.runner import protocol as p
from bench.screens.program.cells import text_of, width
from bench.screens.program.glyphs import ASCII
from bench.screens.walk import stage_page, stage_words, stages
from bench.screens.walk.follow import LONGEST, Follower, Rose
from bench.screens.walk.paint import paint
from bench.screens.walk.plain import Plain
from bench.screens.walk.view import View
from bench.sequence.file import Do
from bench.walk import events as e
from bench.walk.state import Phase
from tests.screens.gannet import Walk
from tests.screens.scenes import SCENES, Scene
from tests.screens.stage import on_stage
from tests.screens.walk import power_scenes as power


def seen(scene: Scene, cells: int, rows: int, **more: object) -> str:
    follower = Follower(lambda: 0.0)
    for message in (*scene.walk.entries, *scene.said):
        follower.hear(message)  # type: ignore[arg-type]
    view = View(
        state=follower.state,
        rise=follower.rise,
        trend=follower.trend,
        you="Ana",
        stages="l" in scene.keys,
        **more,  # type: ignore[arg-type]
    )
    return "\n".join(text_of(one) for one in paint(view, cells, rows).lines)


# what stands where


def test_every_stage_of_a_shelf_is_there_in_order_with_what_it_should_show() -> None:
    walk = power.PowerWalk().to(power.FULL, Phase.ENERGISING)
    stands = stages.standing(walk.state)
    assert stands is not None and stands.group == "shelf 2A"
    assert [stage.place for stage in stands.stages] == ["up"] * 5 + ["now"] + ["ahead"] * 4
    full = stands.stages[5]
    # three receivers of 0.55 A and a converter of 0.06 A at -48 V, constant power, less what the way loses
    assert full.expected == pytest.approx(1.71 * 48 / 47.64, rel=1e-3)
    assert full.low < full.expected < full.high
    assert [drop.inlet for drop in full.drops] == ["2A.A"] and full.drops[0].measured is None
    before = stands.stages[4]
    assert before.measured == pytest.approx(before.expected or 0.0)
    assert before.drops[0].measured == pytest.approx(before.drops[0].expected, abs=0.01)
    assert {one.breaker for one in stands.breakers} == {"FA", "FA2A"}


def test_what_is_on_is_said_with_its_way_and_its_shelf() -> None:
    stands = stages.standing(power.up().state)
    assert stands is not None and stands.stage is not None and stands.stage.place == "on"
    assert stands.live == ("supply in the place of GA at 48 V through FA, FA2A: shelf 2A.",)
    for one in stands.breakers:
        assert one.measured == pytest.approx(stands.stage.measured, rel=1e-3)
        assert one.left == pytest.approx(one.allowed - max(one.expected, one.measured or 0.0))


@pytest.mark.parametrize(("part", "finding", "word"), [(0.6, "light", "TOO LITTLE"), (1.3, "heavy", "TOO MUCH")])
def test_too_little_is_shown_as_a_finding_as_much_as_too_much(part: float, finding: str, word: str) -> None:
    stands = stages.standing(power.up(part).state)
    assert stands is not None
    assert stands.stages[5].finding == finding
    assert word in "\n".join(stage_words.in_words(stands))
    assert stages.HINTS[finding] in "\n".join(stage_words.in_words(stands))


def test_a_battery_that_is_on_by_hand_is_live_and_beyond_this_program() -> None:
    state = power.up().state
    act = Do(text="Close FB and FB2B, switch GB on.", switch_on=["GB"], close=["FB", "FB2B"])
    here = state.conditions.after(act, nth=1, by="Ana", at="")
    stands = stages.standing(replace(state, conditions=here))
    assert stands is not None
    assert any(text.startswith("battery GB, -53.5 V, reaches shelves 2B") for text in stands.live)
    assert len(stands.beyond) == 1 and "cannot switch it off" in stands.beyond[0] and "FB" in stands.beyond[0]


def test_a_walk_that_brings_nothing_up_has_no_stages() -> None:
    walk = Walk()
    assert not stages.has_stages(walk.state) and stages.standing(walk.state) is None


# while it comes up


def test_what_is_waited_for_is_said_with_what_is_left() -> None:
    walk = power.PowerWalk().to(power.FULL, Phase.ENERGISING)
    climb = walk.state.pending.ramp
    assert climb is not None and len(climb.levels) == 4

    def said(level: int, since: float, amps: float, settled: float | None = None) -> str:
        rise = p.Rise(at=60.0, level=level, since=since, amps=amps, settled=settled)
        return " / ".join(stage_words.rise_words(rise, climb))

    assert "level 1 of 4: 12 V set" in said(0, 0.4, 0.2) and "inrush may pass for 1 s more" in said(0, 0.4, 0.2)
    assert "42 mA leaks and must fall below 26 mA; 110 s left" in said(1, 10.0, 0.042)
    assert "next level in 1 s" in said(1, 2.0, 0.003)
    assert "not settled yet; 160 s left" in said(3, 20.0, 1.7)
    assert "settled; soaks for 43 s more" in said(3, 37.0, 1.7, 17.0)
    assert said(3, 90.0, 1.7, 61.0).endswith("settled")


def test_the_followers_trend_is_bounded_and_goes_with_the_load() -> None:
    walk = power.PowerWalk().to(power.FULL, Phase.ENERGISING)
    follower = Follower(lambda: 0.0)
    for entry in walk.entries:
        follower.hear(entry)
    while not follower.news.empty():
        follower.news.get_nowait()
    for number in range(3 * LONGEST):
        follower.hear(p.Rise(at=0.1 * number, level=0, since=0.1 * number, amps=0.5))
    assert LONGEST / 2 <= len(follower.trend) <= LONGEST
    assert follower.trend[0][0] == 0.0
    assert isinstance(follower.news.get_nowait(), Rose) and follower.news.empty(), "said once for each level"
    step = walk.state.step
    assert step is not None
    before = len(walk.entries)
    walk.one()
    for entry in walk.entries[before:]:
        follower.hear(entry)
    assert follower.rise is None and follower.trend == ()


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
@pytest.mark.parametrize("name", ["energise-begun", "energise-level", "energise"])
def test_a_load_that_comes_up_shows_current_window_level_and_breakers(name: str, size: tuple[int, int]) -> None:
    text = seen(SCENES[name](), *size)
    for words in ("LIVE", "level", "expected at the top", "1.72 A", "FA2A", "all cards", "NOW"):
        assert words in text, f"{words!r} is not in\n{text}"
    if name == "energise-level":
        assert "42 mA leaks and must fall below 26 mA" in text and "at most 0.45 A" in text
    if name == "energise":
        assert "settled; soaks for 43 s more" in text and "reads 47.98 V" in text


def test_the_trend_rises_and_falls_with_the_current() -> None:
    points = tuple((float(t), 2.0 if t < 5 else 0.5) for t in range(60))
    view = View(trend=points, glyphs=ASCII)
    (only,) = stage_page.trend(view, 80, 1)
    row = text_of(only)
    assert width(only) == 80 and "2 A at the most, 59 s" in row
    assert row[0] == ASCII.levels[-1] and row[30] == ASCII.levels[1]
    tall = stage_page.trend(view, 80, 4)
    assert len(tall) == 5
    assert text_of(tall[0])[30] == " " and text_of(tall[3])[30] == ASCII.levels[-1]
    assert stage_page.trend(View(trend=points[:1]), 80, 1) == []


# keys


def test_a_key_opens_the_stages_at_any_step_and_answers_nothing() -> None:
    async def act() -> None:
        scene = Scene("hold", power.PowerWalk().seated().to("Clear to energise 2A: with cards"))  # type: ignore[arg-type]
        async with on_stage(scene) as stage:
            assert "HOLD POINT" in stage.words
            await stage.press("l")
            assert "The stages of shelf 2A" in stage.words and "asked now: Clear to energise" in stage.words
            await stage.press("E", "s", "b", "g")
            assert not stage.link.wishes and "The stages of shelf 2A" in stage.words
            await stage.press("enter")
            assert "HOLD POINT" in stage.words and not stage.link.wishes, "the key that closes it passes nothing"

    asyncio.run(act())


def test_a_load_that_comes_up_and_trouble_are_never_hidden_behind_it() -> None:
    async def act() -> None:
        walk = power.PowerWalk().seated().to("Clear to energise 2A: with cards")
        async with on_stage(Scene("stages", walk)) as stage:  # type: ignore[arg-type]
            await stage.press("l")
            before = len(walk.entries)
            walk.to(power.FULL, Phase.ENERGISING)
            stage.hear(*walk.entries[before:], *power.rising(1, 0.042, 8.0))
            await stage.settle()
            assert "must fall below 26 mA" in stage.words
            walk.add(e.Troubled(number=walk.state.number, instrument="supply", kind="lost", what="It is gone."))
            walk.safe()
            stage.hear(*walk.entries[-2:])
            await stage.settle()
            assert "TROUBLE" in stage.words

    asyncio.run(act())


def test_a_walk_without_stages_has_no_key_for_it() -> None:
    async def act() -> None:
        async with on_stage(SCENES["hold"]()) as stage:
            await stage.press("l")
            assert "HOLD POINT" in stage.words and "stages" not in stage.words

    asyncio.run(act())


# line by line


def test_the_stages_line_by_line() -> None:
    walk = power.PowerWalk().to(power.FULL, Phase.ENERGISING)
    out = io.StringIO()

    class Link:
        you, seat, record = "Ana", "Ana", "logs/first.jsonl"

        def wish(self, event: object) -> None:
            raise AssertionError(event)

        def take_seat(self) -> None:
            """It is hers."""

        def busy(self, covered: bool) -> None:
            """Nothing waits here."""

        def close(self) -> None:
            """Nothing to close."""

    def connect(heard: object) -> Link:
        for message in (*walk.entries, *power.rising(3, 1.792, 31.0, 17.0)):
            heard(message)  # type: ignore[operator]
        return Link()

    Plain(connect, out, io.StringIO(), interactive=True).run()  # type: ignore[arg-type]
    said = out.getvalue()
    for words in (
        "Live: coming up to 48 V: in the place of GA at 48 V through FA, FA2A: shelf 2A.",
        "The stages of shelf 2A:",
        "A alone, all cards: now; 1.72 A expected",
        "Breaker FA2A: 1.87 A at the most of 4.8 A (6 A rated); 2.93 A left.",
        "Next to become live:",
    ):
        assert words in said, said


# what no program switches off


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("ending", ["paused", "trouble", "aborted"])
def test_whoever_stops_on_the_battery_is_told_what_stays_on_and_whom_to_tell(ending: str) -> None:
    walk = power.PowerWalk().seated().to("2A.A on GA", Phase.PLACING)
    match ending:
        case "paused":
            walk.add(e.Paused(why="tea", make_safe=True))
        case "trouble":
            walk.trouble("silent")
        case "aborted":
            walk.add(e.Aborted(why="smoke"))
            walk.safe()
    text = " ".join(seen(Scene(ending, walk), 80, 24).replace("┃", " ").split())  # type: ignore[arg-type]
    for words in ("STILL ON: battery GA is on", "cannot switch it off", "person at breaker FA", "FA, FA2A"):
        assert words in text, text
    out = io.StringIO()

    class Link:
        you, seat, record = "Ana", "Ana", "logs/first.jsonl"

        def take_seat(self) -> None:
            """It is hers."""

        def busy(self, covered: bool) -> None:
            """Nothing waits here."""

        def close(self) -> None:
            """Nothing to close."""

    def connect(heard: object) -> Link:
        for message in walk.entries:
            heard(message)  # type: ignore[operator]
        return Link()

    Plain(connect, out, io.StringIO(), interactive=True).run()  # type: ignore[arg-type]
    assert "STILL ON: battery GA is on" in out.getvalue()
