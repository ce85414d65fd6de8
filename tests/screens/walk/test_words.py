"""What is said, as pure functions of the folded record."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.quantity import Duration, Resistance
from bench.runner import protocol as p
from bench.screens.browser import TONES
from bench.screens.program.cells import text_of
from bench.screens.program.glyphs import UNICODE
from bench.screens.walk import findings, voltage_words
from bench.screens.walk import sayings as words
from bench.screens.walk.follow import Felt, Follower, Happened, Lost, Said
from bench.screens.walk.pace import Pace
from bench.screens.walk.paint import paint
from bench.screens.walk.reading_page import READ_ON, figure_of
from bench.screens.walk.sound import PATTERNS, SLOW, Ringer, Speaker
from bench.screens.walk.touched import touched, unknown
from bench.screens.walk.view import View
from bench.screens.widgets import digits
from bench.sequence.file import Do, Hold, Limit, Measure, SequenceFile, Wait
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import Phase, request
from tests.screens.gannet import LEADS, Walk, continuity, measured
from tests.screens.scenes import GOOD, SCENES, ohms
from tests.screens.stage import ZONE
from tests.screens.walk import search_scenes as search
from tests.screens.walk.every_page import standing


def test_every_request_of_a_whole_walk_has_its_page() -> None:
    walk = Walk()
    kinds = set()
    while not walk.state.finished:
        page = words.page(walk.state)
        assert page.number == request(walk.state).number
        assert page.title and page.text
        kinds.add(page.kind)
        walk.one()
    assert words.page(walk.state).kind == "done"
    assert kinds == {"safe", "meet", "caution", "hold", "do", "ask", "place", "measure", "switch", "wait"}


def test_both_leads_are_told_with_place_row_and_the_colours_of_both_wires_of_the_pair() -> None:
    walk = measured(Walk().until(r.Place, "measure"), GOOD[:1]).until(r.Place)
    red, black = words.page(walk.state).leads
    assert (red.colour, red.label, red.where) == ("red", "J101 pin 1", "bay 1, shelf 1C, rear, left")
    # 50-position ribbon: the ring of pair 1 lands on pin 1, the tip on pin 26 (25-pair colour code: white/blue)
    assert red.wire == "blue/white, mate white/blue, pair 1 ring"
    assert red.spot == "row 1, 1st from the left"
    assert black.label == "J201 pin 1" and black.wire == red.wire
    (mirrored, _) = words.page(walk.state, mirrored=True).leads
    assert mirrored.spot == "row 1, 25th from the left"


@pytest.mark.parametrize(
    ("touch", "says"),
    [
        ("open", "Waiting for the probes"),
        ("touching", "Hold still"),
        ("settled", "Taking it"),
        ("lift", "Lift the probes"),
        ("", "Confirm when"),
    ],
)
def test_the_hint_follows_the_touch(touch: str, says: str) -> None:
    step = SCENES["place-open"]().walk.state.step
    assert step is not None
    assert says in words.placing(step, ohms(1.0, touch) if touch else None)


@given(st.floats(0, 1e6))
def test_times_are_said_as_people_say_them(seconds: float) -> None:
    text = words.duration(seconds)
    parts = text.split()
    factor = {"s": 1, "min": 60, "h": 3600}
    total = sum(int(number) * factor[unit] for number, unit in zip(parts[::2], parts[1::2], strict=True))
    assert abs(total - seconds) <= (30.5 if "h" in parts else 0.51) + 1e-6 or (
        "h" in parts and abs(total - seconds) <= 60
    )


@pytest.mark.parametrize(
    ("seconds", "says"),
    [(None, ""), (20, "under a minute left"), (830, "about 14 min left"), (4800, "about 1 h 20 min left"),
     (7190, "about 2 h left")],
)  # fmt: skip
def test_what_is_left_is_no_finer_than_it_is_good(seconds: float | None, says: str) -> None:
    assert words.left(seconds) == says


def test_local_time_is_the_wall_clocks() -> None:
    assert words.local_time("2026-05-12T18:03:11.250412Z", ZONE) == "20:03"
    assert words.local_time("yesterday", ZONE) == ""


def test_an_act_is_told_with_what_it_works_and_that_it_makes_live() -> None:
    act = Do(text="Close it.", close=["F21"], open=["F22"], touches=["2A"])
    assert words.handled(act) == [("open", "F22"), ("close", "F21"), ("handles", "2A")]
    sequence = continuity()
    steps = [Hold(text="Clear?"), act]
    walk = Walk(sequence=msgspec.structs.replace(sequence, steps=steps)).until(r.Ask, "do")
    text = "\n".join(text_of(one) for one in paint(View(state=walk.state), 80, 24).lines)
    assert "open F22" in text and "close F21" in text
    assert "LIVE FROM HERE" in text and "Something may be live after this." in text


# Findings


def test_a_verdict_is_told_in_one_line_with_its_word_once() -> None:
    walk = measured(Walk().until(r.Place, "measure"), [*GOOD[:1], 1.9 + LEADS, "+"])
    lines = [findings.verdict_line(walk.state, one) for one in findings.telling(walk.state)]
    assert lines[0].startswith("FAIL W101.3: Open: nothing conducts")
    assert lines[1].startswith("FAIL W101.2: 1.900 Ω ± ") and "too high" in lines[1]
    assert lines[2].startswith("PASS W101.1: 0.812 Ω ± ")
    assert all(line.upper().count("FAIL") + line.upper().count("PASS") == 1 for line in lines[:3])


def test_the_summary_counts_what_still_counts_and_names_places() -> None:
    walk = SCENES["done"]().walk
    found = findings.summary(walk.state)
    assert found.counts == {"pass": 51, "fail": 2, "undecided": 1, "void": 0, "skipped": 1}
    assert [one.subject for one in found.worries] == ["W101.8", "W101.9", "W101.10"]
    assert found.open == 0 and not found.clean
    place = findings.place_of(walk.state, found.worries[0])
    assert place.startswith("red on J101 pin 4 (bay 1, shelf 1C, rear, left), brown/white, mate white/brown")
    assert "black on J201 pin 4 (bay 2, shelf 2A, rear, third from the left)" in place
    assert findings.counts_line(found) == "51 passed, 2 failed, 1 undecided, 1 skipped"


def test_what_was_disturbed_since_is_void_in_the_summary() -> None:
    walk = SCENES["place-passed"]().walk
    walk.add(e.Disturbed(touches=["W101.3"], text="a foot on it"))
    found = findings.summary(walk.state)
    assert found.counts["void"] == 1 and found.worries[0].subject == "W101.3"


def test_an_output_that_is_not_confirmed_off_is_never_left_out() -> None:
    walk = Walk().until(r.Place, "measure")
    walk.add(e.Aborted(why="smoke"))
    walk.add(e.MadeSafe(number=walk.asked.number, confirmed={"P1": False, "T1": True}))
    assert findings.summary(walk.state).unsafe == ("P1",)


def test_a_voice_says_the_verdict_first() -> None:
    walk = measured(Walk().until(r.Place, "measure"), [*GOOD[:1], "+"])
    outcome = next(iter(findings.telling(walk.state)))
    said = findings.spoken(walk.state, outcome)
    assert said.startswith("fail. Open: nothing conducts")
    assert said.endswith("Next: red on J101 pin 27, black on J201 pin 27.")


# The figure


def test_the_last_verdict_stays_until_the_probes_are_lifted_and_then_the_next_pins_are_the_big_thing() -> None:
    scene = SCENES["place-failed"]()
    state = scene.walk.state
    for live, label in (
        (None, "LAST"),
        (ohms(None, "open"), "NEXT"),
        (ohms(0.8, "lift"), "LAST"),
        (ohms(0.8, "touching", 0.3), "NOW"),
        (ohms(0.8, "settled", 1.0), "NOW"),
    ):
        figure = figure_of(View(state=state, live=live))
        assert figure.label == label
    waiting = figure_of(View(state=state, live=ohms(None, "open")))
    assert waiting.text.split() == ["30", "30"] and waiting.outcome is not None
    assert waiting.gauge.bounds and waiting.gauge.value is None, "the limit is the next one's, not the last one's"
    assert figure.text == "0.800 Ω", "the leads are taken off the live reading, as they will be off the real one"
    assert figure.gauge.expanded is not None and figure.gauge.expanded > 0


@pytest.mark.parametrize(
    ("scene", "live", "large"),
    [
        ("place-failed", ohms(0.8, "lift"), ("FAIL", "PROBES UP")),
        ("place-passed", ohms(0.8, "lift"), ("PASS", "PROBES UP")),
        ("place-undecided", ohms(0.8, "lift"), ("UNDECIDED",)),
        ("place-passed", ohms(0.8, "touching", 0.3), ("HOLD STILL",)),
        ("place-passed", ohms(0.8, "settled", 1.0), ("HOLD STILL",)),
        ("place-passed", ohms(None, "open"), ()),
    ],
)
def test_what_the_hands_do_is_read_from_a_ladder_where_there_is_room(
    scene: str, live: p.Live, large: tuple[str, ...]
) -> None:
    view = View(state=SCENES[scene]().walk.state, live=live)
    assert _large_words(view, 120, 40, 5) == set(large)
    # at a usual size what passed and that one holds still are large too; of what did not pass the whole reason is there
    assert _large_words(view, 80, 24, 5) == {word for word in large if word in ("PASS", "HOLD STILL")}
    assert _large_words(view, 260, 60, 10) == set(large) | ({"PROBES UP"} if "UNDECIDED" in large else set())
    small = "\n".join(text_of(one) for one in paint(view, 80, 24).lines)
    step = view.state.step
    assert step is not None and words.placing(step, live) in small


def _large_words(view: View, cells: int, rows: int, height: int) -> set[str]:
    """Which words are drawn in so many rows."""
    lines = [text_of(one) for one in paint(view, cells, rows).lines]
    found = set()
    for word in ("PASS", "FAIL", "UNDECIDED", "PROBES UP", "HOLD STILL"):
        drawn = digits.draw(word, height, UNICODE, narrow=True)
        for top in range(len(lines)):
            if all(row in line for row, line in zip(drawn, lines[top : top + height], strict=False)):
                found.add(word)
    return found


def test_what_is_next_is_large_where_nothing_tells_that_the_probes_went() -> None:
    """A tester shows nothing between two readings: the last one is read, and then what is next is what matters."""
    for scene, places in (("insulation", "1    26"), ("feed", "BA    F21")):
        state = SCENES[scene]().walk.state
        assert figure_of(View(state=state, elapsed=READ_ON - 1)).label == "LAST"
        figure = figure_of(View(state=state, elapsed=READ_ON + 1))
        assert (figure.label, figure.text) == ("NEXT", places)


def test_of_flags_the_numbers_are_large_and_of_a_bar_the_one_that_goes_to_it() -> None:
    for scene, places in (("search-flag", "FLAG 2"), ("search-bar", "FLAG 8")):
        view = View(state=SCENES[scene]().walk.state, live=ohms(None, "open"))
        assert (figure_of(view).label, figure_of(view).text) == ("NEXT", places)


def test_the_live_band_is_the_one_that_the_reading_will_have() -> None:
    scene = SCENES["place-open"]()
    figure = figure_of(View(state=scene.walk.state, live=ohms(0.84, "touching", 0.5)))
    scene.walk.one()
    scene.walk.read(0.84 + LEADS)
    outcome = next(iter(findings.telling(scene.walk.state)))
    assert figure.gauge.expanded == pytest.approx(outcome.figure.expanded)
    assert figure.gauge.value == pytest.approx(outcome.figure.value)


# Pace


def _steps(*kinds: str) -> list[Step]:
    source = Wait(text="wait", time=Duration(60.0))
    return [
        Step(n, str(n), kind, "", "", "", source, "", seconds=60.0 if kind == "wait" else 0.0)  # type: ignore[arg-type]
        for n, kind in enumerate(kinds)
    ]


def _at(seconds: float) -> str:
    return (datetime(2026, 5, 12, 18, tzinfo=UTC) + timedelta(seconds=seconds)).isoformat()


def test_what_is_left_is_steps_times_the_usual_time_and_breaks_do_not_count() -> None:
    pace = Pace()
    pace.began(_at(0))
    assert pace.left(_steps("measure")) is None
    for second in (10, 20, 30):
        pace.done("measure", _at(second))
    pace.stopped()
    pace.began(_at(4000))
    pace.done("measure", _at(4010))
    pace.done("do", _at(4040))
    assert pace.left(_steps("measure", "measure")) == pytest.approx(20)
    assert pace.left(_steps("measure", "do", "wait")) == pytest.approx(10 + 30 + 60)
    assert pace.left(_steps("ask")) == pytest.approx(10), "a kind never met takes the usual time"
    assert pace.left([]) == 0
    assert pace.left(_steps("seek", "do"), asked=7) == pytest.approx(7 * 10 + 30), "a search may still ask seven times"


def test_the_time_left_counts_what_a_search_may_still_ask() -> None:
    few, many = search.flag(30), search.flag(7)
    left = []
    for walk in (many, few):
        follower = Follower(lambda: 0.0)
        for entry in walk.entries:
            follower.hear(entry)
        assert walk.state.seeking is not None and walk.state.seeking.advised is not None
        left.append((walk.state.seeking.advised.left, follower.left()))
    (more, long), (less, short) = left
    assert more > less > 0 and long is not None and short is not None and long > short > 0


def test_a_pause_does_not_make_the_rest_look_longer() -> None:
    follower = Follower(lambda: 0.0)
    walk = measured(Walk().until(r.Place, "measure"), GOOD).until(r.Place)
    for entry in walk.entries:
        follower.hear(entry)
    before = follower.left()
    told = len(walk.entries)
    walk.add(e.Paused(why="supper"))
    walk.add(e.Continued(), seconds=7200.0)
    measured(walk, GOOD[:2]).until(r.Place)
    for entry in walk.entries[told:]:
        follower.hear(entry)
    after = follower.left()
    assert before is not None and after is not None and after <= before


# Following


def test_news_comes_in_order_and_the_picture_is_the_fold() -> None:
    walk = Walk().until(r.Finished)
    follower = Follower(lambda: 0.0)
    for entry in walk.entries:
        follower.hear(entry)
    assert follower.state == walk.state
    told = [follower.news.get_nowait() for _ in walk.entries]
    assert [one.entry.n for one in told if isinstance(one, Happened)] == list(range(1, len(walk.entries) + 1))
    assert sum(isinstance(one, Happened) and one.outcome is not None for one in told) == 63


def test_a_live_reading_belongs_to_its_step() -> None:
    walk = Walk().until(r.Place, "measure")
    follower = Follower(lambda: 0.0)
    for entry in walk.entries:
        follower.hear(entry)
    follower.hear(ohms(1.0, "touching"))
    assert follower.live is not None
    follower.hear(walk.answer())
    assert follower.live is not None and follower.state.phase is Phase.MEASURING, "it still shows while measuring"
    follower.hear(walk.read(0.9))
    assert follower.live is None


def test_the_end_of_the_line_is_told_once() -> None:
    follower = Follower(lambda: 0.0)
    follower.hear(p.Refusal(why="no"))
    follower.hear(p.Bye(why="over"))
    follower.hear(None)
    assert [follower.news.get_nowait() for _ in range(2)] == [Said("no"), Lost("over")]
    assert follower.news.empty()


# Touched


def test_what_was_touched_is_names_and_then_words() -> None:
    assert touched("J101, W101.3 2A : pulled by a foot: twice") == e.Disturbed(
        touches=["J101", "W101.3", "2A"], text="pulled by a foot: twice"
    )
    state = SCENES["place-open"]().walk.state
    assert unknown(state, "J101 W101.3 2A BA F21 W101") == ""
    assert unknown(state, ": nothing named") != ""
    assert "J1O1" in unknown(state, "J101 J1O1")


# Sound


def test_patterns_differ() -> None:
    assert len(set(PATTERNS.values())) == len(PATTERNS)
    assert set(TONES) == set(PATTERNS), "a browser has a tone for each"
    assert len({str(tone) for tone in TONES.values()}) == len(TONES)


class Later:
    """A timer that is moved on by hand."""

    def __init__(self) -> None:
        self.waiting: list[tuple[float, Callable[[], None]]] = []
        self.gaps: list[float] = []

    def __call__(self, seconds: float, call: Callable[[], None]) -> Later:
        self.waiting = [(seconds, call)]
        return self

    def stop(self) -> None:
        self.waiting = []

    def on(self) -> None:
        ((seconds, call),) = self.waiting
        self.waiting = []
        self.gaps.append(seconds)
        call()


def test_a_verdict_waits_for_the_tick_that_leads_to_it_and_cuts_off_what_came_before() -> None:
    later, rang = Later(), []
    ringer = Ringer(lambda: rang.append(1), later)
    ringer.ring("settled")
    ringer.ring("fail")
    while later.waiting:
        later.on()
    assert later.gaps == [*PATTERNS["settled"], SLOW, *PATTERNS["fail"]] and len(rang) == 4
    ringer.ring("lost")
    ringer.ring("pass")
    later.gaps.clear()
    while later.waiting:
        later.on()
    assert later.gaps == [*PATTERNS["pass"]]
    ringer.ring("skipped")
    assert not later.waiting, "what has no tone is silent"


def test_a_test_voltage_is_heard_as_it_comes_goes_on_leaves_and_is_gone() -> None:
    stages = ("coming", "coming", "on", "leaving", "leaving", "gone")
    told = [p.Voltage(stage=stage, volts=250.0) for stage in stages]
    heard = [voltage_words.tone(now, last) for now, last in zip(told, [None, *told], strict=False)]
    assert heard == ["voltage", "", "voltage", "off", "", "discharged"]
    assert voltage_words.tone(p.Voltage(stage="unknown", volts=250.0), told[2]) == "trouble"


def test_a_touch_and_a_steady_contact_are_told_once() -> None:
    walk = Walk().until(r.Place, "measure")
    follower = Follower(lambda: 0.0)
    for entry in walk.entries:
        follower.hear(entry)
        follower.news.get_nowait()
    for touch in ("open", "touching", "touching", "settled", "settled", "lift", "open", "touching"):
        follower.hear(ohms(None if touch == "open" else 1.0, touch))
    assert [follower.news.get_nowait() for _ in range(3)] == [Felt(False), Felt(True), Felt(False)]
    assert follower.news.empty()


def test_a_voice_is_not_waited_for_and_the_newest_text_wins(tmp_path: Path) -> None:
    said = tmp_path / "said"
    wait = "time.sleep(0 if sys.argv[1] == 'second' else 60)"
    code = f"import sys, time; {wait}; open({str(said)!r}, 'a').write(sys.argv[1])"
    speaker = Speaker(f'{sys.executable} -c "{code}"')
    began = time.monotonic()
    speaker.say("first")
    speaker.say("second")
    assert time.monotonic() - began < 5, "saying returns at once"
    for _ in range(600):
        if said.exists() and said.read_text("utf-8"):
            break
        time.sleep(0.05)
    speaker.close()
    assert said.read_text("utf-8") == "second"


def test_a_voice_that_is_not_there_is_silence_with_a_reason() -> None:
    speaker = Speaker("no-such-program-here --fast")
    speaker.say("hello")
    for _ in range(200):
        if speaker.trouble:
            break
        time.sleep(0.01)
    assert "no-such-program-here cannot be started" in speaker.trouble
    assert Speaker("").trouble == "the speech command is empty"


def test_an_option_cannot_be_smuggled_into_the_voice(tmp_path: Path) -> None:
    said = tmp_path / "said"
    code = f"import sys; open({str(said)!r}, 'w').write(repr(sys.argv[1:]))"
    speaker = Speaker(f'{sys.executable} -c "{code}"')
    speaker.say("--version; rm -rf $HOME")
    for _ in range(400):
        if said.exists() and said.read_text("utf-8"):
            break
        time.sleep(0.02)
    assert said.read_text("utf-8") == "['version; rm -rf $HOME']"


def test_a_voice_reads_a_caution_and_what_is_to_be_done_whole() -> None:
    for kind in ("caution", "do", "hold"):
        walk = Walk().until(r.Ask, kind)
        step = walk.state.step
        assert step is not None
        said = findings.spoken(walk.state, None)
        assert all(word in said for word in step.source.text.split()), said
        assert said.startswith(step.title) or step.source.text.startswith(step.title)


def test_what_is_clipped_together_is_said_and_that_it_comes_off() -> None:
    """Of a sequence's own readings: nothing else says which places are joined while they are read."""
    pairs = (("J101.26", "J101.1", [["J201.26", "J201.1"]]), ("J101.26", "J201.26", []))
    steps = [
        Measure(read="resistance", between=(red, black), join=join, limit=Limit(at_least=Resistance(0.0), source="x"))
        for red, black, join in pairs
    ]
    walk = Walk(sequence=SequenceFile(sequence="loop", plant="plant.yaml", steps=steps))
    told = [words.page(standing(walk.state, index, Phase.PLACING)).text for index in range(len(steps))]
    assert told[0].startswith("Clip J201.26 and J201.1 together. ")
    assert told[1].startswith("Take the clip off J201.26 and J201.1. ") and "together" not in told[1]
