"""No path through the stages on a real bench passes a hold point by default: no event, key, line or flag.

What could pass one is counted out in full here: every kind of event, every key, every word that can be typed, every
option of the commands that walk. Whoever adds one finds it missing in these lists.
"""

from __future__ import annotations

import argparse
import asyncio
import copy
import importlib
import string
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import msgspec
import pytest

from bench.plant.load import load_plant
from bench.record.append import RecordBusy, RecordWriter
from bench.record.read import read_record
from bench.screens.walk.from_sheet import answer
from bench.screens.walk.plain import _COMMANDS
from bench.sequence.file import Do, Energise, Found, Hold
from bench.sequence.load import load_sequence
from bench.simulate.messages import Configuration, Twin
from bench.simulate.process import SimulatedBench
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, State, request, start, take
from bench.walk.work_sheet import Cell, as_csv
from tests.power import small_hall
from tests.screens.scenes import Scene
from tests.screens.stage import on_stage
from tests.screens.walk.power_scenes import PowerWalk, began
from tests.screens.walk.test_plain import Runner, played
from tests.walks.terminal import Terminal
from tests.walks.tool import COMMAND, environment

NOT_THE_WORD = (
    "",
    " ",
    "y",
    "yes",
    "Y",
    "ok",
    "go",
    "true",
    "1",
    "retry",
    "skip",
    "force",
    "clear",
    "\n",
    "DEA",
    "ENERGIS",
)


def on_a_real_bench() -> PowerWalk:
    """The stages, begun on a bench that is no simulation."""
    walk = PowerWalk.__new__(PowerWalk)
    first = msgspec.structs.replace(began(), bench=msgspec.structs.replace(began().bench, simulated=False))
    walk.__dict__.update(PowerWalk().__dict__)
    walk.state, walk.entries = start(), []
    walk.add(first)
    return walk.seated()


def at_each_hold_point() -> Iterator[PowerWalk]:
    """Every moment of the stages at which a hold point is asked for."""
    walk = on_a_real_bench()
    while not walk.state.finished:
        asked = walk.asked
        if isinstance(asked, r.Ask) and isinstance(asked.step.source, Hold):
            yield walk
        walk.one()


def every_event(state: State) -> list[e.Event]:
    """One event of every kind at least, as a wish or as the work of the bench; none of them types the word."""
    number, here = state.number, state.place.cursor
    found: list[e.Event] = [
        *(
            e.Answered(number=number, answer=word, by="Ana", how=how)
            for word in NOT_THE_WORD
            for how in ("key", "contact")
        ),
        e.Answered(number=number, answer="", by="the simulator's hands", how="simulated"),
        e.Answered(number=number, answer="", by="M", how="matrix"),
        e.Answered(number=number - 1, answer="ENERGISE", by="Ana"),
        *(e.Went(number=number, to=here + by, then=then) for by in (1, 2, 3) for then in ("return", "go-on")),
        *(e.Skipped(number=number, reason="in a hurry", by="Ana", whole=whole) for whole in (False, True)),
        e.Advised(number=number, want=Found(verdict="pass", sentence="All is well.")),
        e.Met(number=number, instrument="supply", roles=["supply"], identity="supply"),
        e.Read(number=number, instrument="meter", function="voltage", unit="V", value=0.0),
        e.Switched(number=number, instrument="supply", state="on", confirmed=True),
        e.Energised(
            number=number,
            instrument="supply",
            state="on",
            confirmed=True,
            why="done",
            times=[0.1],
            amps=[0.0],
            sets=[(0.0, 48.0, 1.0)],
        ),
        e.Elapsed(number=number, seconds=1e6),
        e.MadeSafe(number=number, confirmed={"supply": True}),
        e.Troubled(number=number, instrument="supply", kind="late", what="It was late."),
        e.Seated(by="Bea"),
        e.Noted(text="All is well."),
        e.Disturbed(touches=["2A"], text="a look"),
        e.Continued(by="Ana"),
        e.Resumed(software="0"),
        e.Mended(bytes=3, kept="torn", sha256="0"),
        e.Paused(why="tea"),
        *(e.Guarded(why="the runner was gone", confirmed={"supply": off}) for off in (True, False)),
        e.Attached(files=[e.KeptFile(name="lug.jpg", sha256="0" * 64)], text="POWER", by="Ana"),
        *(e.OutputsSeen(states={"supply": found}, text="I looked.", by="Ana") for found in ("off", "on")),
        e.Said(console="exchange", lines=[(0.2, "ENERGISE")]),
        e.Sending(number=number, console="exchange", line="ENERGISE\\r", by="Ana"),
        e.Tripped(thing="FA2A", what="ENERGISE", by="Ana"),
        e.Aborted(why="tea"),
        began(),
    ]
    return found


def test_every_kind_of_event_is_tried() -> None:
    assert {type(event) for event in every_event(start())} == set(get_args(e.Event))


def test_no_event_but_the_typed_word_passes_any_hold_point_of_the_stages() -> None:
    count = 0
    for walk in at_each_hold_point():
        count += 1
        state = walk.state
        for event in every_event(state):
            try:
                after = take(state, e.Entry(n=state.taken + 1, at=state.at, event=event))
            except (Refused, Stale, OutOfTurn):
                continue
            assert after.outputs.held <= state.outputs.held, event
            assert after.place.cursor <= state.place.cursor or after.phase in (Phase.SAFING, Phase.ABORTED), event
            asked = request(after)
            assert not isinstance(asked, r.Energise | r.Switch | r.Measure | r.Place), event
            if isinstance(asked, r.Ask):
                assert isinstance(asked.step.source, Hold), event
    assert count == sum(isinstance(step.source, Hold) for step in on_a_real_bench().state.setting.plan.steps) >= 10  # type: ignore[union-attr]


def test_what_makes_something_live_comes_up_only_behind_a_word_of_this_walk() -> None:
    """Skipping, going on and coming back included: one that was passed before outputs were made safe is none."""
    walk = on_a_real_bench()
    lives = 0
    while not walk.state.finished:
        asked = walk.asked
        step = getattr(asked, "step", None)
        source = getattr(step, "source", None)
        if isinstance(asked, r.Energise) or (isinstance(source, Do) and source.energises):
            lives += 1
            assert walk.state.outputs.held, step
            rested = take(walk.state, walk.entry(e.Paused(why="tea", make_safe=True)))
            while not isinstance(request(rested), r.Rest):
                event = e.MadeSafe(number=rested.number, confirmed={"supply": True})
                rested = take(rested, e.Entry(n=rested.taken + 1, at=rested.at, event=event))
            on = take(rested, e.Entry(n=rested.taken + 1, at=rested.at, event=e.Continued(by="Ana")))
            assert not rested.outputs.held and isinstance(request(on), r.Ask | r.Meet), step
            if isinstance(request(on), r.Ask):
                assert isinstance(request(on).step.source, Hold), step  # type: ignore[union-attr]
        walk.one()
    assert lives > 50


# the screen

NAMED_KEYS = (
    "enter", "space", "escape", "tab", "shift+tab", "backspace", "delete", "insert", "home", "end", "pageup",
    "pagedown", "up", "down", "left", "right", *(f"f{n}" for n in range(1, 13)),
    *(f"ctrl+{c}" for c in "abdefghijklmnoprstuvwxyz"),
)  # fmt: skip


@pytest.mark.slow
def test_no_key_passes_a_hold_point() -> None:
    async def press_them_all() -> None:
        walk = next(walk for walk in at_each_hold_point() if walk.state.step.source.word == "ENERGISE")  # type: ignore[union-attr]
        async with on_stage(Scene("hold", walk)) as stage:  # type: ignore[arg-type]
            assert "HOLD POINT" in stage.words
            for key in (*NAMED_KEYS, *(c for c in string.printable if c.isprintable())):
                stage.seconds += 2.0
                await stage.key(key)
                if len(stage.app.screen_stack) > 1:
                    # a prompt that the key opened is sent off as it is, and then closed
                    await stage.press("enter", "escape", apart=3.0)
                elif stage.app.program is not None and stage.app.program.moment.kind != "hold":
                    await stage.press("escape")
                assert stage.app.program is not None and stage.app.program.moment.kind == "hold", key
            here = walk.state.place.cursor
            ahead = [wish for wish in stage.link.wishes if isinstance(wish, e.Went) and wish.to >= here]
            assert not ahead, "keys lead back and never on"
            assert not [wish for wish in stage.link.wishes if isinstance(wish, e.Answered | e.Skipped)]
            assert stage.app.bug is None

    asyncio.run(press_them_all())


# line by line


LINES = [
    *(line.strip() for line in NOT_THE_WORD),
    *sorted(_COMMANDS),
    "skip in a hurry",
    "touched 2A: a look",
    "=",
]
LEADS_BACK = {"back", "again"}


def at_a_hold_point() -> Runner:
    """A runner whose walk stands at the first hold point."""
    return Runner(next(at_each_hold_point()), seat="Ana")  # type: ignore[arg-type]


def test_no_typed_line_but_the_word_passes_a_hold_point() -> None:
    """Each line by itself: some lead back, none leads on."""
    first = at_a_hold_point().walk
    hold, known = first.state.place.cursor, len(first.entries)
    for line in LINES:
        walk = copy.copy(first)
        walk.entries = list(first.entries)
        runner = Runner(walk, seat="Ana")
        played(runner, [line], interactive=True)
        stands = walk.state.place.cursor
        assert stands < hold if line in LEADS_BACK else stands == hold, line
        assert not walk.state.outputs.held, line
        assert not [entry for entry in walk.entries[known:] if isinstance(entry.event, e.Answered | e.Skipped)], line


def test_typed_lines_together_pass_no_hold_point() -> None:
    """One line after the other, those last that lead back to where other things are asked."""
    runner = at_a_hold_point()
    hold, known = runner.walk.state.place.cursor, len(runner.walk.entries)
    last = {"pause", "abort", "leave", *LEADS_BACK}
    played(runner, [line for line in LINES if line not in last], interactive=True)
    assert runner.walk.state.place.cursor == hold and not runner.walk.state.outputs.held
    assert not [entry for entry in runner.walk.entries[known:] if isinstance(entry.event, e.Answered | e.Skipped)]
    assert len([event for event in runner.wishes if isinstance(event, e.Answered)]) >= 10, "they were sent, and refused"


def test_no_line_from_a_pipe_passes_a_hold_point() -> None:
    runner = at_a_hold_point()
    hold = runner.walk.state.place.cursor
    _, said = played(runner, ["DEAD", "ENERGISE"])
    assert runner.walk.state.place.cursor == hold and not runner.walk.state.outputs.held
    assert not [event for event in runner.wishes if isinstance(event, e.Answered)]
    assert "wants a person at a terminal" in said


def test_a_work_sheet_answers_no_hold_point() -> None:
    """Not even one that has the word in every line, as if hold points stood on it."""
    for walk in at_each_hold_point():
        assert walk.state.setting is not None
        word = walk.step.source.word
        cells = {step.key: Cell(line=2, reading=word, again=word, who="Ana") for step in walk.state.setting.plan.steps}
        assert answer(cells, walk.state) is None


# the commands

FLAGS = {
    "run": "--bench --record --resume --operator --json --trace-bytes --speed",
    "walk": "--bench --record --resume --attach --operator --plain --readings --ascii --light --quiet --say --by-key "
    "--trace-bytes --place-after --give-up-after --speed",
    "runner": "--bench --record --resume --operator --trace-bytes --speed --seed --demo-faults --place-after --by-key "
    "--give-up-after",
}
"""Every option that a command which walks has. None of them is about hold points; a new one is tried below."""


def options(command: str) -> list[argparse.Action]:
    parser = argparse.ArgumentParser(add_help=False)
    importlib.import_module(f"bench.commands.{command}").arguments(parser)
    return [action for action in parser._actions if action.option_strings]


@pytest.mark.parametrize("command", FLAGS)
def test_every_option_is_known_here(command: str) -> None:
    found = {name for action in options(command) for name in action.option_strings if name.startswith("--")}
    assert found == set(FLAGS[command].split())


SEQUENCE = """\
sequence: one shelf
plant: plant.yaml
steps:
  - {step: hold, text: Isolated., word: DEAD}
  - {step: measure, read: resistance, between: [2C.A, 2C.A-return], limit: {at-least: 1 kohm, source: here}}
  - {step: hold, text: Clear., word: ENERGISE}
  - {step: do, text: Close., close: [FA, FA2C]}
  - {step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 1 A}
"""
REAL = """\
bench: my bench
instruments:
  - {{name: meter, profile: scpi-bench-meter, port: {meter}, calibrated: 2026-03-02}}
  - {{name: supply, profile: scpi-supply, port: {supply}, serial: '0001', calibrated: 2026-03-02}}
roles: {{ohms: meter, volts: meter, amps: meter, supply: supply}}
"""


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with a sequence and a bench whose ports answer: to the program it is as real as any."""
    folder = tmp_path_factory.mktemp("real")
    plant = load_plant(small_hall.written(folder))
    twins = [Twin(name="meter", kind="scpi-bench-meter"), Twin(name="supply", kind="scpi-supply")]
    with SimulatedBench(Configuration(plant=plant.file, twins=twins, seed=2)) as bench:
        (folder / "bench.yaml").write_text(REAL.format(**bench.ports), "utf-8")
        (folder / "first.yaml").write_text(SEQUENCE, "utf-8")
        sheet = as_csv(load_sequence(folder / "first.yaml").plan)
        (folder / "sheet.csv").write_text(sheet, "utf-8", newline="")
        yield folder


VALUES = {
    "--speed": "1000",
    "--place-after": "0",
    "--give-up-after": "1",
    "--seed": "1",
    "--operator": "Ana",
    "--say": "true",
    "--readings": "sheet.csv",
}
TYPED = "\n".join(["", "y", "DEAD", "yes", "read", "DEAD", "ENERGISE", "", "go", "DEAD"]) + "\n"


def piped(folder: Path, words: list[str], typed: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *words],
        cwd=folder,
        env=environment(),
        input=typed,
        capture_output=True,
        text=True,
        timeout=60.0,
        check=False,
    )


def over(record: Path) -> None:
    """Wait until the runner of a walk whose screen has left is gone too, and its ports are free again."""
    until = time.monotonic() + 60.0
    while True:
        try:
            with RecordWriter.reopen(record)[0]:
                return
        except RecordBusy:
            assert time.monotonic() < until, "the runner did not end"
            time.sleep(0.05)


def passed_nothing(record: Path) -> bool:
    """Whether nobody passed a hold point in a record and nothing went on."""
    if not record.exists():
        return True
    events = [entry.event for entry in read_record(record)]
    return not [event for event in events if isinstance(event, e.Answered | e.Energised | e.Switched)]


def flagged(command: str, record: Path) -> list[list[str]]:
    """The command with each of its options in turn, besides what it needs, and with all that can stand together."""
    alone = []
    for action in options(command):
        name = action.option_strings[0]
        if name in ("--bench", "--record", "--resume", "--attach", "--plain"):
            continue
        value = VALUES.get(name, str(record.with_suffix(".bytes")) if name == "--trace-bytes" else "1")
        alone.append([name] if action.nargs == 0 else [name, value])
    return [[], *alone, [word for words in alone for word in words]]


@pytest.mark.slow
def test_run_without_a_terminal_is_refused_with_every_option(real: Path, tmp_path: Path) -> None:
    every = flagged("run", tmp_path / "r.jsonl")
    for number, words in enumerate([every[0], every[-1]]):
        record = tmp_path / f"{number}.jsonl"
        done = piped(real, ["run", "first.yaml", "--bench", "bench.yaml", "--record", str(record), *words], TYPED)
        assert done.returncode == 2 and "passed by people only" in done.stderr, words
        assert not record.exists()


@pytest.mark.slow
def test_walk_from_a_pipe_passes_nothing_with_any_option(real: Path, tmp_path: Path) -> None:
    """The right words come out of the pipe, again and again: they are nobody's."""
    every = flagged("walk", tmp_path / "w.jsonl")
    for number, words in enumerate([every[0], every[-1]]):
        record = tmp_path / f"{number}.jsonl"
        asked = ["walk", "first.yaml", "--bench", "bench.yaml", "--plain", "--record", str(record), *words]
        if "--give-up-after" not in words:
            asked += ["--give-up-after", "6"]
        done = piped(real, asked, TYPED)
        assert done.returncode == 3, done.stdout + done.stderr
        assert "wants a person at a terminal" in done.stdout, done.stdout
        over(record)
        assert passed_nothing(record)


@pytest.mark.slow
def test_the_end_of_input_passes_nothing(real: Path, tmp_path: Path) -> None:
    record = tmp_path / "e.jsonl"
    words = ["walk", "first.yaml", "--bench", "bench.yaml", "--plain", "--record", str(record), "--give-up-after", "6"]
    done = piped(real, words, "")
    assert done.returncode == 3 and "nothing more can be typed" in done.stdout
    over(record)
    assert passed_nothing(record)


@pytest.mark.slow
def test_enter_at_a_terminal_passes_nothing_and_its_end_gives_up_safely(real: Path, tmp_path: Path) -> None:
    record = tmp_path / "t.jsonl"
    terminal = Terminal("run", "first.yaml", "--bench", "bench.yaml", "--record", record, cwd=real)
    terminal.expect("HOLD POINT")
    for line in ("", "yes", "", "skip in a hurry", ""):
        terminal.type(line)
    terminal.type("leave")
    assert terminal.end() == 3
    assert passed_nothing(record)
    events = [entry.event for entry in read_record(record)]
    assert isinstance(events[-1], e.MadeSafe) and events[-1].confirmed == {"supply": True}


def test_resuming_passes_no_hold_point_again() -> None:
    """A record that stood behind a passed hold point stands before it after it is taken up again."""
    walk = on_a_real_bench()
    while not isinstance(walk.asked, r.Energise):
        walk.one()
    walk.resume()
    while not isinstance(walk.asked, r.Ask):
        walk.one()
    assert not walk.state.outputs.held
    assert isinstance(walk.asked.step.source, Hold)


def test_hold_points_are_counted_where_a_plan_is_made() -> None:
    """Every shelf has one for its first power without cards and one for that with them, each before any stage."""
    setting = on_a_real_bench().state.setting
    assert setting is not None
    titles = [s.title for s in setting.plan.steps if isinstance(s.source, Hold)]
    for shelf in ("2A", "2B", "2C"):
        assert f"Clear to energise {shelf}: with cards" in titles
        assert any(shelf in title and title.endswith(": without cards") for title in titles)
    first = next(s.index for s in setting.plan.steps if isinstance(s.source, Energise))
    assert any(isinstance(s.source, Hold) and s.source.word == "ENERGISE" for s in setting.plan.steps[:first])


def test_an_output_that_is_found_off_while_another_meter_reads_is_met_again_and_its_word_typed_anew() -> None:
    """It is not taken for on: trying the reading again would find it off for ever."""
    walk = PowerWalk().to("2A.A under load", Phase.MEASURING)
    assert list(walk.state.outputs.on) == ["supply"]
    number = walk.state.number
    walk.add(e.Troubled(number=number, instrument="supply", kind="mismatch", what="it was on, and answers '0' now"))
    walk.add(e.Answered(number=walk.state.number, answer="retry"))
    asked = walk.asked
    assert isinstance(asked, r.Meet) and "supply" in asked.roles
    while not isinstance(walk.asked, r.Ask):
        walk.one()
    assert isinstance(walk.asked.step.source, Hold) and not walk.state.outputs.on
