"""Every key on every page: what is wished for, and what is not."""

from __future__ import annotations

import asyncio

import pytest
from msgspec.structs import replace

from bench.runner import protocol as p
from bench.screens.browser import WALK_KEYS
from bench.screens.program.settings import Settings
from bench.screens.walk import keys
from bench.screens.walk.app import ended
from bench.screens.walk.sayings import page
from bench.screens.walk.view import View
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.left_on import outputs_on
from bench.walk.state import OutOfTurn, Refused, Stale, accepts
from tests.screens.gannet import Walk
from tests.screens.scenes import SCENES, Scene
from tests.screens.stage import Stage, on_stage

pytestmark = pytest.mark.together("scenes")


def pressed(scene: str, *names: str, apart: float = 2.0, you: str = "") -> Stage:
    """The stage after these keys; the screen is over by then."""
    kept: list[Stage] = []

    async def act() -> None:
        made = SCENES[scene]()
        if you:
            made.you = you
        async with on_stage(made) as stage:
            kept.append(stage)
            await stage.press(*names, apart=apart)

    asyncio.run(act())
    return kept[0]


@pytest.mark.parametrize("key", ["enter", "space"])
@pytest.mark.parametrize("scene", ["do", "place-open", "zero", "prove", "trouble"])
@pytest.mark.quick_cases(5)
def test_yes_answers_the_open_request(scene: str, key: str) -> None:
    stage = pressed(scene, key)
    number = SCENES[scene]().walk.asked.number
    assert stage.link.wishes == [e.Answered(number=number, answer="retry" if scene == "trouble" else "")]


@pytest.mark.slow
def test_yes_means_nothing_where_nothing_is_asked() -> None:
    for scene in ("wait", "meeting", "switching", "paused", "done", "unsafe"):
        assert pressed(scene, "enter", "space").link.wishes == []


@pytest.mark.parametrize("scene", ["voltage-coming", "insulating"])
@pytest.mark.parametrize("key", ["enter", "space", "escape", "s", "n", "g", "7", "question_mark"])
@pytest.mark.quick_cases(4)
def test_any_key_stops_a_test_voltage(scene: str, key: str) -> None:
    (wish,) = pressed(scene, key).link.wishes
    assert isinstance(wish, e.Paused) and wish.make_safe


def test_whoever_watches_stops_a_test_voltage_too() -> None:
    (wish,) = pressed("voltage-coming", "space", you="Ben").link.wishes
    assert isinstance(wish, e.Paused) and wish.make_safe


def test_the_key_that_confirmed_hands_off_does_not_stop_while_it_is_held() -> None:
    assert len(pressed("voltage-coming", "enter", "enter", "enter", apart=0.1).link.wishes) == 1


def test_a_caution_wants_its_own_key_and_neighbouring_cautions_another() -> None:
    assert pressed("caution", "enter", "space", "u").link.wishes == []
    assert pressed("caution", "y").link.wishes == [e.Answered(number=SCENES["caution"]().walk.asked.number)]
    view = View(state=SCENES["caution"]().walk.state)
    wanted = keys.caution_key(view)
    assert wanted in keys.CAUTION_KEYS and wanted not in keys.TAKE
    steps = SCENES["caution"]().walk.state
    assert keys.caution_key(View(state=replace(steps, place=replace(steps.place, cursor=1)))) != wanted


def test_a_hold_point_is_passed_by_its_word_only() -> None:
    number = SCENES["hold"]().walk.asked.number
    assert pressed("hold", "y", "space").link.wishes == []
    assert pressed("hold", "enter", "enter", "enter").link.wishes == []
    assert pressed("hold", "enter", *"alive", "enter").link.wishes == []
    assert pressed("hold", "enter", *"dead", "enter").link.wishes == [e.Answered(number=number, answer="dead")]
    assert pressed("hold", "enter", *"dead", "escape").link.wishes == []


@pytest.mark.slow
def test_a_value_is_checked_before_it_is_sent() -> None:
    number = SCENES["ask"]().walk.asked.number
    assert pressed("ask", "enter", *"warm", "enter").link.wishes == []
    assert pressed("ask", "enter", *"18.5", "enter").link.wishes == [e.Answered(number=number, answer="18.5")]


@pytest.mark.parametrize("before", [("enter",), ()], ids=["after Enter", "at once"])
def test_a_figure_is_taken_with_a_decimal_comma_and_from_its_first_digit(before: tuple[str, ...]) -> None:
    number = SCENES["ask"]().walk.asked.number
    assert pressed("ask", *before, *"18,5", "enter").link.wishes == [e.Answered(number=number, answer="18.5")]


@pytest.mark.slow
def test_a_tester_is_answered_by_y_or_n_and_enter_says_nothing() -> None:
    number = SCENES["search-beep"]().walk.asked.number
    assert pressed("search-beep", "enter", "space").link.wishes == []
    assert pressed("search-beep", "y").link.wishes == [e.Answered(number=number, answer="yes")]
    assert pressed("search-beep", "n").link.wishes == [e.Answered(number=number, answer="no")]
    assert pressed("search-beep", "y", "n").link.wishes == [e.Answered(number=number, answer="yes")], "one answer each"
    noted = pressed("search-beep", "o", *"a loose clip", "enter").link.wishes
    assert noted == [e.Noted(text="a loose clip")], "where n says no, a remark has another key"


def test_whoever_watches_does_not_answer_for_the_tester() -> None:
    assert pressed("search-beep", "y", "n", you="Ben").link.wishes == []


def test_consent_takes_a_reason() -> None:
    number = SCENES["consent"]().walk.asked.number
    assert pressed("consent", "enter", "space", "enter").link.wishes == []
    found = pressed("consent", "enter", *"only a look", "enter").link.wishes
    assert found == [e.Answered(number=number, answer="only a look")]


def test_going_back_and_measuring_again_name_their_steps() -> None:
    state = SCENES["place-failed"]().walk.state
    assert pressed("place-failed", "b").link.wishes == [
        e.Went(number=state.number, to=state.place.cursor - 1, then="go-on")
    ]
    assert pressed("place-failed", "g").link.wishes == [
        e.Went(number=state.number, to=state.place.cursor - 1, then="return")
    ]
    assert pressed("caution", "b", "g").link.wishes == [], "there is nothing before the first step"


@pytest.mark.slow
def test_skipping_wants_a_reason_and_only_where_skipping_is_allowed() -> None:
    number = SCENES["place-open"]().walk.asked.number
    assert pressed("place-open", "s", "enter").link.wishes == []
    assert pressed("place-open", "s", *"no shelf", "enter").link.wishes == [e.Skipped(number=number, reason="no shelf")]
    for scene in ("hold", "caution", "wait", "unsafe"):
        assert pressed(scene, "s", "x", "enter").link.wishes == []


@pytest.mark.slow
def test_notes_and_disturbances() -> None:
    assert pressed("wait", "o", *"rain", "enter").link.wishes == [e.Noted(text="rain")]
    assert pressed("place-open", "o", "enter").link.wishes == []
    assert pressed("place-open", "d", *"J101, W101.3: a foot", "enter").link.wishes == [
        e.Disturbed(touches=["J101", "W101.3"], text="a foot")
    ]
    assert pressed("place-open", "d", *"J999", "enter").link.wishes == []


def test_pausing_makes_safe_and_only_p_goes_on() -> None:
    assert pressed("wait", "p").link.wishes == [e.Paused(why="the operator paused", make_safe=True)]
    assert pressed("paused", "enter", "space", "y").link.wishes == []
    assert pressed("paused", "p").link.wishes == [e.Continued()]


def test_the_word_may_simply_be_typed_and_its_first_letter_is_no_shortcut() -> None:
    scene = SCENES["hold"]()
    word = scene.walk.state.step.source.word
    number = scene.walk.asked.number
    assert pressed("hold", *word, "enter").link.wishes == [e.Answered(number=number, answer=word)]
    # nothing but the whole word passes, however it was begun
    assert pressed("hold", word[0], "enter").link.wishes == []


@pytest.mark.slow
def test_giving_up_wants_a_word_in_capitals() -> None:
    assert pressed("place-open", "x", "enter").link.wishes == []
    assert pressed("place-open", "x", *"abort", "enter").link.wishes == []
    assert pressed("place-open", "x", *"ABORT too late", "enter").link.wishes == [e.Aborted(why="too late")]
    assert pressed("failing", "x", *"ABORT", "enter").link.wishes == [e.Aborted(why="")]


def test_an_unsafe_output_is_tried_again_by_a_deliberate_key_only() -> None:
    number = SCENES["unsafe"]().walk.asked.number
    assert pressed("unsafe", "enter", "space").link.wishes == []
    assert pressed("unsafe", "r").link.wishes == [e.Answered(number=number, answer="retry")]


ON = (
    *("energise-begun", "energise-level", "energise", "stages-on", "stages-light", "insulating"),
    *("voltage-coming", "voltage-leaving", "switching", "wait", "unsafe"),
)
"""Scenes with something on, or perhaps on: named here, since to make all scenes takes seconds in every worker."""


@pytest.mark.slow
def test_these_are_the_scenes_with_something_on() -> None:
    assert [name for name, made in SCENES.items() if outputs_on(made().walk.state)] == list(ON)


@pytest.mark.parametrize("scene", ON)
@pytest.mark.parametrize("key", ["z", "ctrl+c"])
@pytest.mark.quick_cases(11)
def test_one_key_switches_off_wherever_something_is_on_and_ctrl_c_does_it_before_it_asks(scene: str, key: str) -> None:
    stage = pressed(scene, key)
    first, *more = stage.link.wishes
    assert isinstance(first, e.Paused) and first.make_safe and not more
    assert not stage.app.over, "what else was meant is asked"


@pytest.mark.parametrize("begun", [("o",), ("x", *"ABO")])
def test_ctrl_c_switches_off_although_something_is_being_typed(begun: tuple[str, ...]) -> None:
    stage = pressed("wait", *begun, "ctrl+c")
    assert [wish for wish in stage.link.wishes if isinstance(wish, e.Paused) and wish.make_safe]
    assert not stage.app.over


def test_whoever_watches_switches_off_too() -> None:
    (wish,) = pressed("wait", "z", you="Ben").link.wishes
    assert isinstance(wish, e.Paused) and wish.make_safe


@pytest.mark.slow
def test_leaving_asks_first_and_the_line_is_closed() -> None:
    stage = pressed("place-open", "q")
    assert not stage.app.over
    stage = pressed("place-open", "q", "n", "q", "escape")
    assert not stage.app.over and stage.link.wishes == []
    for way in ("q", "ctrl+q", "ctrl+c"):
        stage = pressed("place-open", way, "y")
        assert stage.app.over and stage.link.closed and ended(stage.app).why == "left"
        assert ended(stage.app).record == "logs/2026-05-12-W101.jsonl"
    stage = pressed("done", "q")
    assert ended(stage.app).why == "finished" and ended(stage.app).state is not None
    assert ended(pressed("lost", "q").app).why == "lost"


@pytest.mark.slow
def test_a_watcher_only_watches_takes_the_seat_or_speaks_up() -> None:
    stage = pressed("watching", "enter", "space", "b", "s", "p", "g")
    assert stage.link.wishes == []
    asked = pressed("watching", "k")
    assert asked.link.taken == stage.link.taken, "a tap beside the key takes nothing"
    assert pressed("watching", "k", "n").link.taken == stage.link.taken
    assert pressed("watching", "k", "y").link.taken == stage.link.taken + 1
    assert pressed("watching", "o", *"hm", "enter").link.wishes == [e.Noted(text="hm")]
    assert pressed("watching", "x", *"ABORT", "enter").link.wishes == [e.Aborted(why="")]
    assert pressed("caution", "y", you="Bea").link.wishes == []


def test_help_opens_and_closes_and_nothing_happens_behind_it() -> None:
    stage = pressed("place-open", "h", "b", "s", "p", "x")
    assert stage.link.wishes == [] and stage.app.program is not None and stage.app.program.moment.help
    for way in ("escape", "h", "question_mark", "enter"):
        stage = pressed("place-open", "h", way)
        assert stage.app.program is not None and not stage.app.program.moment.help and stage.link.wishes == []


@pytest.mark.slow
def test_a_phones_page_has_a_key_for_whatever_a_walk_wants() -> None:
    """All that is one letter; ALL OFF first and by its name, since it may be pressed in a hurry. What copies does so
    through a terminal's clipboard, which a page in a browser has not."""
    assert WALK_KEYS[0] == ("ALL OFF", "z")
    wanted = {
        key
        for scene in SCENES.values()
        for one in keys.keys(View(state=scene().walk.state))
        for key in one.keys
        if len(key) == 1
    }
    assert wanted - {"h", "c"} <= {data for _, data in WALK_KEYS}, "h is ? too"


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(
    ("scene", "opens", "closes"),
    [
        ("place-open", "h", "h"),
        ("place-open", "o", "escape"),
        ("place-open", "d", "escape"),
        ("place-open", "q", "n"),
        ("place-open", "ctrl+p", "escape"),
    ],
)
def test_the_runner_is_told_when_something_covers_the_page(scene: str, opens: str, closes: str) -> None:
    assert pressed(scene).link.covered == []
    assert pressed(scene, opens).link.covered == [True]
    assert pressed(scene, opens, closes).link.covered == [True, False]


def test_a_held_key_answers_one_request_and_never_the_next() -> None:
    async def act() -> None:
        scene = SCENES["do"]()
        async with on_stage(scene) as stage:
            # the first press, the keyboard's pause before it repeats, then thirty repeats a second
            await stage.press("enter", apart=2.0)
            assert len(stage.link.wishes) == 1
            scene.walk.answer()
            stage.heard(scene.walk.entries[-1])  # type: ignore[misc]
            stage.seconds += 0.5
            await stage.press("enter", apart=0.05)
            for _ in range(40):
                await stage.key("enter")
                stage.seconds += 0.033
            await stage.settle()
            assert len(stage.link.wishes) == 1
            assert not stage.app.screen.query("Input"), "and it opens nothing either"

    asyncio.run(act())


@pytest.mark.parametrize(
    ("scene", "key"), [("place-failed", "b"), ("wait", "p"), ("paused", "p"), ("place-failed", "g")]
)
def test_a_held_letter_does_its_act_once(scene: str, key: str) -> None:
    assert len(pressed(scene, *[key] * 20, apart=0.033).link.wishes) == 1


def test_what_was_refused_can_be_answered_again() -> None:
    async def act() -> None:
        async with on_stage(SCENES["place-open"]()) as stage:
            await stage.press("enter", "enter")
            assert len(stage.link.wishes) == 1
            stage.hear(p.Refusal(why="Bea holds the operator's seat; take it first"))
            await stage.settle()
            assert "take it first" in stage.words
            await stage.press("k")
            if "Take the seat?" in stage.words:
                await stage.press("y")
            await stage.press("enter")
            assert len(stage.link.wishes) == 2

    asyncio.run(act())


def test_a_key_that_was_meant_for_the_step_before_is_not_taken() -> None:
    async def act() -> None:
        scene = SCENES["place-open"]()
        async with on_stage(scene) as stage:
            # the contact settles and is taken just as the foot goes down
            for _ in range(2):
                scene.walk.one()
            for entry in scene.walk.entries[-2:]:
                stage.heard(entry)  # type: ignore[misc]
            await stage.press("enter", apart=0.1)
            assert stage.link.wishes == []
            assert "look, and press again" in stage.words
            await stage.press("enter", apart=1.0)
            assert stage.link.wishes == [e.Answered(number=scene.walk.asked.number)]

    asyncio.run(act())


def test_one_request_is_answered_once_however_slow_the_runner_is() -> None:
    stage = pressed("place-open", "enter", "space", "enter", "space")
    assert len(stage.link.wishes) == 1


def test_capitals_do_what_small_letters_do() -> None:
    assert pressed("wait", "P").link.wishes == [e.Paused(why="the operator paused", make_safe=True)]


def test_a_prompt_for_a_step_that_somebody_else_did_goes_away() -> None:
    async def act() -> None:
        scene = SCENES["place-open"]()
        async with on_stage(scene) as stage:
            await stage.press("s", *"no")
            assert stage.app.screen.query("Input")
            scene.walk.one()
            stage.hear(scene.walk.entries[-1])
            await stage.settle()
            await stage.until(lambda: not stage.app.screen.query("Input"))
            assert "the step changed while you typed" in stage.words
            assert stage.link.wishes == []

    asyncio.run(act())


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.quick_cases(29)
def test_every_key_that_is_shown_is_one_that_the_machine_takes(name: str) -> None:
    """The key line promises nothing that would be refused."""
    scene = SCENES[name]()
    state = scene.walk.state
    view = View(state=state, you=scene.you)
    number = state.number
    trial: dict[str, e.Event] = {
        "back": e.Went(number=number, to=state.place.cursor - 1, then="go-on"),
        "skip": e.Skipped(number=number, reason="why not"),
        "pause": e.Paused(),
        "stop": e.Paused(),
        "go-on": e.Continued(),
        "note": e.Noted(text="a"),
        "disturb": e.Disturbed(touches=["J101"]),
        "abort": e.Aborted(),
        "retry": e.Answered(number=number, answer="retry"),
    }
    for one in keys.keys(view):
        if one.does in trial:
            accepts(state, trial[one.does])
    if view.kind == "voltage":
        return  # every other key stops it
    del trial["stop"]
    offered = {one.does for one in keys.keys(view)} | {"again"}
    for does, event in trial.items():
        if does not in offered and not view.watching and does not in ("retry", "back"):
            with pytest.raises((OutOfTurn, Refused, Stale)):
                accepts(state, event)


def test_no_two_keys_of_a_page_are_the_same() -> None:
    for make in SCENES.values():
        state = make().walk.state
        for view in (View(state=state), View(state=state, help=True)):
            names = [name for one in keys.keys(view) for name in one.keys]
            assert len(names) == len(set(names))


def test_a_cut_line_is_noticed_when_something_is_wished_for() -> None:
    async def act() -> None:
        async with on_stage(SCENES["place-open"]()) as stage:
            stage.link.cut = True
            await stage.press("enter")
            assert "THE RUNNER IS GONE" in stage.words
            await stage.press("q")
            assert ended(stage.app).why == "lost"

    asyncio.run(act())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("size", "yes"),
    [
        pytest.param((80, 24), "enter", id="a keyboard"),
        pytest.param((120, 40), "space", id="a foot switch, which has one key"),
        pytest.param((46, 32), "enter", id="a phone's page"),
    ],
)
def test_a_walk_from_the_first_page_to_the_last_by_keys_alone(size: tuple[int, int], yes: str) -> None:
    """The machine is the real one; what the screen wishes for is all that moves it.

    Every reading and every act takes one and the same key, and the places of both leads are on the page. Words and
    figures are typed, and a caution has a key of its own, which a phone's page has too.
    """

    async def act() -> None:
        walk = Walk()
        async with on_stage(Scene("whole", walk), size=size) as stage:
            told = len(walk.entries)
            while not walk.state.finished:
                asked = walk.asked
                match asked:
                    case r.Ask(step=step):
                        caution = keys.caution_key(View(state=walk.state))
                        assert caution in dict(WALK_KEYS).values()
                        typed = {"caution": (caution,), "do": (yes,)}
                        await stage.press(*typed.get(step.kind, ("enter", *walk.said(step), "enter")))
                    case r.Place():
                        wanted = [word for lead in page(walk.state).leads for word in lead.label.split()]
                        assert all(word in stage.words for word in wanted), stage.text
                        await stage.press(yes)
                    case _:
                        walk.one()
                for wish in stage.link.wishes:
                    walk.add(wish)  # type: ignore[arg-type]
                stage.link.wishes.clear()
                assert walk.asked.number != asked.number or walk.state.finished
                stage.hear(*walk.entries[told:])
                told = len(walk.entries)
                await stage.settle()
            assert "The walk is done" in stage.words
            assert "55 passed" in stage.words

    asyncio.run(act())


@pytest.mark.slow
def test_a_whole_walk_by_ear(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever only hears it knows what to do at every step: both places, or what is asked, word for word."""
    said: list[str] = []

    class Voice:
        trouble = ""

        def __init__(self, command: str) -> None:
            assert command == "a voice"

        def say(self, text: str) -> None:
            said.append(text)

        def close(self) -> None:
            pass

    monkeypatch.setattr("bench.screens.walk.program.Speaker", Voice)

    async def act() -> None:
        walk = Walk()
        async with on_stage(Scene("whole", walk), settings=Settings(say="a voice")) as stage:
            told, heard = len(walk.entries), 0
            while not walk.state.finished:
                asked = walk.asked
                if isinstance(asked, r.Ask | r.Place) and told > 1:
                    now = page(walk.state)
                    wanted = [lead.label for lead in now.leads] if now.leads else [now.text]
                    assert all(words in said[-1] for words in wanted), (now, said[-1])
                    heard += 1
                if isinstance(asked, r.Ask) and asked.step.kind != "do":
                    caution = keys.caution_key(View(state=walk.state))
                    typed = (caution,) if asked.step.kind == "caution" else ("enter", *walk.said(asked.step), "enter")
                    await stage.press(*typed)
                elif isinstance(asked, r.Ask | r.Place):
                    await stage.press("space")
                else:
                    walk.one()
                for wish in stage.link.wishes:
                    walk.add(wish)  # type: ignore[arg-type]
                stage.link.wishes.clear()
                stage.now = walk.now.astimezone(stage.now.tzinfo)
                stage.hear(*walk.entries[told:])
                told = len(walk.entries)
                await stage.settle()
            assert heard > 55
            assert sum("pass." in text for text in said) >= 50

    asyncio.run(act())
