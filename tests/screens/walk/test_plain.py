"""The walk line by line: what is written, what typed lines do, and what they can never do."""

from __future__ import annotations

import io
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import datetime, timedelta

import msgspec
import pytest

from bench import assemble
from bench.runner import protocol as p
from bench.screens.program.settings import Ended, Settings
from bench.screens.walk.plain import Plain
from bench.sequence import file as s
from bench.simulate.on_paper import at_rest
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import OutOfTurn, Refused, Stale, accepts
from tests.power import small_hall
from tests.screens.gannet import Walk, bench, continuity, plant
from tests.screens.scenes import SCENES
from tests.screens.stage import EVENING
from tests.screens.walk import search_scenes as search


class Typist:
    """Types a line whenever the reader wants one: a text file whose lines are made as they are needed."""

    def __init__(self, lines: Callable[[], str | None]) -> None:
        self._lines = lines

    def __iter__(self) -> Typist:
        return self

    def __next__(self) -> str:
        line = self._lines()
        if line is None:
            raise StopIteration
        return f"{line}\n"

    def isatty(self) -> bool:
        return False


class Runner:
    """A runner in small: records what is wished for if the real machine takes it, and does its own work at once."""

    record = "logs/W101.jsonl"

    def __init__(self, walk: Walk, *, you: str = "Ana", seat: str = "") -> None:
        self.walk, self.you, self.seat = walk, you, seat
        self.wishes: list[object] = []
        self.refused: list[str] = []
        self.taken = 0
        self.closed = False
        self.heard: Callable[[object], None] = lambda message: None

    def connect(self, heard: Callable[[object], None]) -> Runner:
        self.heard = heard
        for entry in self.walk.entries:
            heard(entry)
        self.work()
        return self

    def work(self) -> None:
        while isinstance(self.walk.asked, r.MakeSafe | r.Meet | r.Measure | r.Switch | r.Wait):
            before = len(self.walk.entries)
            self.walk.one()
            for entry in self.walk.entries[before:]:
                self.heard(entry)
        if self.walk.state.finished:
            self.heard(p.Bye(why="the walk is over"))

    def wish(self, event: e.Event) -> None:
        self.wishes.append(event)
        try:
            accepts(self.walk.state, event)
        except (Refused, Stale, OutOfTurn) as error:
            self.refused.append(str(error))
            self.heard(p.Refusal(why=str(error)))
            return
        self.heard(self.walk.add(event))
        self.work()

    def take_seat(self) -> None:
        self.taken += 1
        self.seat = self.you
        self.heard(self.walk.add(e.Seated(by=self.you)))

    def busy(self, covered: bool) -> None:
        raise AssertionError("lines cover nothing")

    def close(self) -> None:
        self.closed = True


def played(
    runner: Runner, lines: list[str], *, settings: Settings | None = None, interactive: bool = False
) -> tuple[Ended, str]:
    """Type these lines, one after the other, and give what was written."""
    out = io.StringIO()
    plain = Plain(
        runner.connect,  # type: ignore[arg-type]
        out,
        Typist(iter([*lines, None]).__next__),  # type: ignore[arg-type]
        settings,
        interactive=interactive,
        now=lambda: datetime.fromisoformat(runner.walk.at()).astimezone(EVENING.tzinfo),
    )
    done: list[Ended] = []
    thread = threading.Thread(target=lambda: done.append(plain.run()), daemon=True)
    thread.start()
    thread.join(60)
    assert done, f"it never ended:\n{out.getvalue()}"
    return done[0], out.getvalue()


def whole() -> list[str]:
    """What passes a whole walk."""
    walk = Walk()
    lines = []
    while not walk.state.finished:
        match walk.asked:
            case r.Ask(step=step):
                lines.append(
                    {
                        "caution": "read",
                        "do": "",
                        "hold": getattr(step.source, "word", ""),
                        "look": at_rest(step),
                        "gate": "to see",
                    }.get(step.kind, "18.5")
                )
            case r.Place():
                lines.append("")
        walk.one()
    return lines


def test_a_whole_walk_line_by_line() -> None:
    runner = Runner(Walk())
    # a decimal comma is as good as a point
    ended, text = played(runner, [line.replace("18.5", "18,5") for line in whole()])
    assert ended.why == "finished" and ended.state is not None and ended.state.finished
    assert runner.refused == [] and runner.closed and runner.taken == 1
    for words in (
        "CAUTION: Stored charge",
        "licensed people",
        "HOLD POINT: Nothing is live",
        "red lead: J101 pin 26, bay 1, shelf 1C, rear, left, row 2, 1st from the left, seen from the mating side",
        "white/blue, mate blue/white, pair 1 tip",
        "black lead: J201 pin 26",
        "✓ PASS W101.1: 0.8",
        "The walk is done: 55 passed.",
        "record logs/W101.jsonl",
    ):
        assert words in text, words
    assert text.count("W101 end to end\n") == 1, "a heading is written once"


def test_failures_are_told_with_their_places_and_again_at_the_end() -> None:
    walk = Walk()
    walk.until(r.Place, "measure")
    walk.one()
    walk.read(None, over="+")
    runner = Runner(walk)
    ended, text = played(runner, [*[""] * 48, "skip no shelf", *[""] * 3, "CLEAR"])
    assert ended.why == "finished"
    end = text[text.index("The walk is done") :]
    assert "52 passed, 1 failed, 1 skipped" in end or "failed" in end
    assert "✗ FAIL W101.1: Open" in end and "red on J101 pin 26 (bay 1, shelf 1C, rear, left)" in end
    assert "» skipped" in end and "no shelf" in end


def test_a_hold_point_wants_its_word_and_an_empty_line_is_none() -> None:
    walk = Walk().until(r.Ask, "hold")
    runner = Runner(walk)
    _, text = played(runner, ["", "", "yes", "dead"])
    assert "Type the word DEAD" in text
    assert "not taken: this hold point wants the word DEAD" in text
    assert [wish.answer for wish in runner.wishes] == ["yes", "dead"]  # type: ignore[attr-defined]


def test_no_script_passes_a_hold_point_on_a_real_bench() -> None:
    began = e.Began(software="0.1", plant=plant(), sequence=continuity(), bench=bench(simulated=False))
    runner = Runner(Walk(began=began).until(r.Ask, "hold"))
    ended, text = played(runner, ["DEAD"])
    assert "wants a person at a terminal" in text
    assert runner.wishes == [] and ended.why == "left"
    runner = Runner(Walk(began=began).until(r.Ask, "hold"))
    played(runner, ["DEAD"], interactive=True)
    assert [type(wish) for wish in runner.wishes] == [e.Answered], "a person does"


def test_a_caution_wants_to_be_read() -> None:
    runner = Runner(Walk().until(r.Ask, "caution"))
    _, text = played(runner, ["", "read"])
    assert text.count("Type read when you have read it") == 2
    assert len(runner.wishes) == 1


def test_commands_do_what_the_help_says() -> None:
    def wished(walk: Walk, *lines: str) -> list[object]:
        runner = Runner(walk)
        played(runner, list(lines), interactive=True)
        return runner.wishes

    number = SCENES["place-failed"]().walk.asked.number
    cursor = SCENES["place-failed"]().walk.state.place.cursor
    for line, wish in (
        ("back", e.Went(number=number, to=cursor - 1, then="go-on")),
        ("again", e.Went(number=number, to=cursor - 1, then="return")),
        ("skip no shelf", e.Skipped(number=number, reason="no shelf")),
        ("note rain comes in", e.Noted(text="rain comes in")),
        ("touched J101, W101.3: a foot", e.Disturbed(touches=["J101", "W101.3"], text="a foot")),
        ("pause", e.Paused(why="the operator paused", make_safe=True)),
        ("ABORT too late", e.Aborted(why="too late")),
    ):
        assert wished(SCENES["place-failed"]().walk, line)[:1] == [wish], line
    for line in ("abort", "note", "touched J999", "what?", "retry", "go", "where", "side", "help", "leave"):
        assert wished(SCENES["place-failed"]().walk, line) == [], line
    assert wished(SCENES["paused"]().walk, "go")[:1] == [e.Continued()]
    trouble = SCENES["trouble"]().walk
    assert wished(trouble, "retry")[:1] == [e.Answered(number=SCENES["trouble"]().walk.asked.number, answer="retry")]


def test_words_that_look_like_commands_can_be_answers() -> None:
    asking = s.Ask(text="What is new?", name="remark")
    sequence = msgspec.structs.replace(continuity(), steps=[asking, *continuity().steps])
    runner = Runner(Walk(sequence=sequence).until(r.Ask, "ask"))
    played(runner, ["=back in time"])
    assert [getattr(wish, "answer", "") for wish in runner.wishes] == ["back in time"]
    runner = Runner(Walk(sequence=sequence).until(r.Ask, "ask"))
    played(runner, ["nothing at all"])
    assert [getattr(wish, "answer", "") for wish in runner.wishes] == ["nothing at all"]


def test_off_says_how_a_supply_stands_where_that_is_asked_and_nothing_is_on() -> None:
    """It switched everything off, and a look at a supply had no answer but with its name."""
    job = small_hall.GANNET.parent
    first = assemble.began(assemble.load_job(job / "earth.yaml", job / "benches" / "low-ohm.yaml"), "Ana")
    looking = s.Look(supplies=["GA", "GB"], text="Off or on?")
    began = msgspec.structs.replace(first, sequence=msgspec.structs.replace(first.sequence, steps=[looking]))
    for typed, wish in (("off", "off"), ("ON", "ON"), ("GA off", "GA off"), ("=off", "off")):
        runner = Runner(Walk(began=began).until(r.Ask, "look"))
        played(runner, [typed])
        assert [getattr(one, "answer", "") for one in runner.wishes] == [wish], typed
    runner = Runner(SCENES["place-failed"]().walk)
    played(runner, ["off"], interactive=True)
    assert runner.wishes[:1] == [e.Paused(why="everything was switched off", make_safe=True)]


def test_a_wait_is_told_once_and_not_with_every_second() -> None:
    walk = Walk().until(r.Wait)
    runner = Runner(walk)
    runner.work = lambda: None  # type: ignore[method-assign]
    real = runner.connect

    def connect(heard: Callable[[object], None]) -> Runner:
        found = real(heard)
        for _ in range(5):
            heard(walk.add(e.Elapsed(number=walk.asked.number, seconds=1.0), 1.0))
        return found

    runner.connect = connect  # type: ignore[method-assign]
    _, text = played(runner, ["leave"], interactive=True)
    assert text.count("Let the input capacitors charge") == 1 and "to go" in text


def test_consent_takes_any_reason() -> None:
    runner = Runner(SCENES["consent"]().walk)
    _, text = played(runner, ["", "go on, it is only a look"])
    assert "cannot prove" in text.casefold() and "50 steps" in text
    assert [wish.answer for wish in runner.wishes] == ["go on, it is only a look"]  # type: ignore[attr-defined]


def test_a_watcher_is_told_who_holds_the_seat() -> None:
    walk = SCENES["place-open"]().walk
    runner = Runner(walk, you="Bea", seat="Ana")
    _, text = played(runner, ["seat"], interactive=True)
    assert "Ana holds the operator's seat; you watch" in text
    assert runner.taken == 1 and "you hold the operator's seat" in text


def test_a_held_enter_key_is_not_taken_for_an_answer() -> None:
    runner = Runner(SCENES["place-open"]().walk)
    out = io.StringIO()
    plain = Plain(
        runner.connect,  # type: ignore[arg-type]
        out,
        Typist(iter([*[""] * 20, None]).__next__),  # type: ignore[arg-type]
        interactive=True,
        clock=lambda: 100.0,
        now=lambda: runner.walk.now.astimezone(),
    )
    assert plain.run().why == "left"
    assert runner.wishes == []
    assert "before you can have read it" in out.getvalue()


def test_the_runner_goes_away_and_the_record_is_named() -> None:
    runner = Runner(SCENES["place-open"]().walk)
    real = runner.connect

    def connect(heard: Callable[[object], None]) -> Runner:
        found = real(heard)
        heard(None)
        return found

    runner.connect = connect  # type: ignore[method-assign]
    ended, text = played(runner, [], interactive=True)
    assert ended.why == "lost"
    assert "The runner is gone" in text and "logs/W101.jsonl" in text and "look at every supply" in text


def test_a_record_that_cannot_be_written_is_told() -> None:
    runner = Runner(SCENES["place-open"]().walk)
    real = runner.connect

    def connect(heard: Callable[[object], None]) -> Runner:
        found = real(heard)
        heard(p.RecordFailing(why="no space left"))
        return found

    runner.connect = connect  # type: ignore[method-assign]
    _, text = played(runner, ["leave"], interactive=True)
    assert "THE RECORD CANNOT BE WRITTEN: no space left" in text


def test_a_long_record_is_not_read_out() -> None:
    walk = SCENES["place-passed"]().walk
    runner = Runner(walk)
    readings = sum(isinstance(entry.event, e.Read) for entry in walk.entries)
    walk.now += timedelta(hours=3)
    _, text = played(runner, ["note back again"])
    assert f"{readings} readings are in the record already" in text
    assert "PASS" not in text


def test_only_ascii_where_only_ascii_is_wanted() -> None:
    _, text = played(Runner(Walk()), whole(), settings=Settings(unicode=False))
    assert text.isascii() and "ohm" in text and "o PASS" in text


@pytest.mark.parametrize("hostile", [" \x1b[31m\x07\u202e", " [red]x[/]"])
def test_nothing_hostile_reaches_the_terminal(hostile: str) -> None:
    _, text = played(Runner(Walk(hostile=hostile)), whole())
    assert not [c for c in text if (ord(c) < 32 and c != "\n") or c == "\u202e"]
    assert ("[red]x[/]" in text) == ("[red]" in hostile)


def test_tones_ring_for_people_only() -> None:
    def rings(settings: Settings, *, interactive: bool) -> int:
        walk = SCENES["place-open"]().walk
        walk.now += timedelta(hours=1)
        return played(Runner(walk), ["=", "leave"], settings=settings, interactive=interactive)[1].count("\a")

    assert rings(Settings(), interactive=True) >= 1
    assert rings(Settings(tones=False), interactive=True) == 0
    assert rings(Settings(), interactive=False) == 0


def test_it_runs_without_the_screen_library() -> None:
    heavy = "('textual', 'rich', 'yaml', 'numpy')"
    code = f"import sys, bench.screens.walk.plain; print([m for m in {heavy} if m in sys.modules])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_a_tester_is_answered_by_yes_or_no() -> None:
    for line, answer in (("yes", "yes"), ("N", "N")):
        runner = Runner(search.beep())
        _, text = played(runner, ["perhaps", line], interactive=True)
        answers = [event.answer for event in runner.wishes if isinstance(event, e.Answered)]
        assert answers == [answer]
        assert "Type yes if the tester beeps, or no if it is silent." in text
        assert "'perhaps' is not understood" in text
        assert ("beeps" if line == "yes" else "silent") in text.rpartition("READ")[2]


def test_an_empty_line_says_nothing_of_a_tester() -> None:
    runner = Runner(search.beep())
    _, text = played(runner, ["", ""], interactive=True)
    assert not [event for event in runner.wishes if isinstance(event, e.Answered)]
    assert text.count("Type yes if the tester beeps") == 3


class CountingRunner(Runner):
    """It stands at a reading at a test voltage, counts, and goes no further by itself."""

    def work(self) -> None:
        step = self.walk.state.step
        if isinstance(self.walk.asked, r.Measure) and step is not None and step.source.test_voltage is not None:
            self.heard(p.Voltage(stage="coming", volts=100.0, seconds=5))
            self.heard(p.Voltage(stage="coming", volts=100.0, seconds=4))
            return
        super().work()


def test_a_test_voltage_is_counted_down_in_lines_and_any_line_stops_it() -> None:
    walk = Walk()
    walk.until(r.Place, "measure", 57)
    for line in ("", "wait"):
        runner = CountingRunner(walk, seat="Ana")
        ended, said = typed_at(runner, ["", line])
        assert "All hands off, at the far end too?" in said and "any key stops" in said
        assert "Hands off. Test voltage 100 V in 5 s: press Enter to stop it." in said and "\n4 ...\n" in said
        assert [type(one) for one in runner.wishes] == [e.Answered, e.Paused], (line, said)
        assert ended.why == "left"
        walk = Walk()
        walk.until(r.Place, "measure", 57)


def typed_at(runner: Runner, lines: list[str]) -> tuple[Ended, str]:
    """As :func:`played`, by a person who types as soon as something is asked, with a clock that runs on."""
    moments = iter(range(10_000))
    out = io.StringIO()
    plain = Plain(
        runner.connect,  # type: ignore[arg-type]
        out,
        Typist(iter([*lines, None]).__next__),  # type: ignore[arg-type]
        interactive=True,
        clock=lambda: float(next(moments)),
        now=lambda: datetime.fromisoformat(runner.walk.at()).astimezone(EVENING.tzinfo),
    )
    done: list[Ended] = []
    thread = threading.Thread(target=lambda: done.append(plain.run()), daemon=True)
    thread.start()
    thread.join(60)
    assert done, f"it never ended:\n{out.getvalue()}"
    return done[0], out.getvalue().replace("\a", "")  # tones come between the lines
