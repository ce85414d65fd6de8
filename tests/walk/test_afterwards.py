"""What can be done once a walk is over: in words line by line, by a key on the screen, and as a draft."""

from __future__ import annotations

import asyncio
import shlex
from pathlib import Path

import msgspec
import pytest

from bench.cli import main
from bench.quantity import Amount
from bench.record.replay import replay
from bench.screens.walk.program import WalkProgram
from bench.sequence.file import Energise, Hold, Limit, Measure, Set
from bench.sequence.load import load_sequence
from bench.walk import requests as r
from bench.walk.afterwards import afterwards, measured_again, not_passed
from tests.job.test_asfound import HUT, at, walk
from tests.screens.gannet import Walk, continuity
from tests.screens.scenes import Scene
from tests.screens.stage import on_stage
from tests.screens.walk.test_plain import Runner, played


def reading(pin: int, at_most: str) -> Measure:
    return Measure(
        title=f"pin {pin}",
        read="resistance",
        between=(f"X10.{pin}", f"X20.{pin}"),
        subject=f"C1.{pin}",
        limit=Limit(at_most=Amount.parse(at_most), source="invented"),
    )


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """Of three readings of 0.7 ohm one is too much."""
    (tmp_path / "logs").mkdir()
    steps = [Hold(text="Dead.", word="DEAD"), reading(1, "2 ohm"), reading(2, "0.1 ohm"), reading(3, "2 ohm")]
    walk(tmp_path / "logs" / "a.jsonl", steps, by="Anna", when=at(3), ohms=0.7)
    return tmp_path / "logs" / "a.jsonl"


def test_what_failed_is_drafted_again_behind_the_same_hold_points(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    state = replay(record)
    assert [one.subject for one in not_passed(state)] == ["C1.2"]
    acts = {one.act: one for one in afterwards(state, str(record))}
    assert list(acts) == ["explain", "again", "report", "next"]
    again = [str(HUT) if word == "plant.yaml" else word for word in acts["again"].command]
    assert main(again) == 0
    assert "1 readings" not in capsys.readouterr().out
    plan = load_sequence(record.with_name("a-again.yaml")).plan
    assert [(step.kind, step.subject) for step in plan.steps] == [("hold", ""), ("measure", "C1.2")]
    assert plan.steps[1].source.limit == reading(2, "0.1 ohm").limit  # type: ignore[union-attr]


def test_a_walk_where_all_passed_has_nothing_to_measure_again(record: Path) -> None:
    other = record.with_name("b.jsonl")
    walk(other, [reading(1, "2 ohm")], by="Anna", when=at(4), ohms=0.7)
    assert [one.act for one in afterwards(replay(other), str(other))] == ["report", "next"]
    assert main(["draft", str(HUT), "again", "--record", str(other), "-o", str(record.with_name("n.yaml"))]) == 2


def test_a_first_power_is_never_measured_again_in_parts(tmp_path: Path) -> None:
    from tests.power.test_looking import Person

    person = Person(tmp_path)
    person.until(Energise)
    assert not measured_again(person.state)


def failed() -> Walk:
    """A walk that is over, with a conductor that failed."""
    whole = continuity()
    dead = [step for step in whole.steps if not isinstance(step, Set)]
    made = Walk(sequence=msgspec.structs.replace(whole, steps=dead))
    made.until(r.Place, "measure")
    made.seat()
    made.one()
    made.read(9.0)
    while not made.state.finished:
        made.one()
    return made


def test_line_by_line_the_end_says_what_can_be_done_now() -> None:
    runner = Runner(failed(), seat="Bea")
    _, said = played(runner, [])
    lines = [line.partition(": ") for line in said.splitlines() if ": proveout " in line]
    assert [head for head, _, _ in lines] == [
        "what went wrong, and what to do about it",
        "it, measured again",
        "a report of it",
        "what to do next",
    ]
    assert shlex.split(lines[2][2]) == ["proveout", "report", runner.record]


@pytest.mark.parametrize(("key", "then"), [("e", "explain"), ("g", "again"), ("w", "report"), ("3", "next")])
def test_on_the_screen_a_key_does_it(key: str, then: str) -> None:
    async def show() -> None:
        async with on_stage(Scene("over", failed()), size=(120, 40)) as stage:
            program = stage.app.program
            assert isinstance(program, WalkProgram)
            assert {"measure again", "write the report", "what is next", "what went wrong"} <= {
                one.word for one in program.known
            }
            await stage.press(key)
            await stage.until(lambda: program.over)
            assert (program.ended.why, program.ended.then) == ("finished", then)

    asyncio.run(show())
