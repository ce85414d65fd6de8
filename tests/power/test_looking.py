"""A walk begins by looking, and gates bind: what was left closed is found, and what is not proven is not let in."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from bench.job.folder import open_folder
from bench.plant.handled import Change, Handled, Mark
from bench.plant.load import load_plant
from bench.quantity import Temperature
from bench.record.read import read_record
from bench.screens.walk.sayings import page
from bench.sequence.draft import draft
from bench.sequence.file import Energise, Gate, Look
from bench.sequence.load import load_sequence
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import Refused, request
from tests.power.pure_walk import BENCH
from tests.walks.tool import proveout

HUT = Path("tests/jobs/beacon-hut").resolve()
WHEN = "2026-06-01T18:00:00Z"


class Person(Walker):
    """Answers what a walk asks, up to the first energise step."""

    def __init__(self, tmp_path: Path, *, found: tuple[Mark, ...] = (), gates: dict[str, list[str]] | None = None,
                 operator: str = "Ana", kind: str = "first-power", of: str = "finder") -> None:  # fmt: skip
        path = tmp_path / "first.yaml"
        path.write_text(draft(load_plant(HUT / "plant.yaml"), kind, of, str(HUT / "plant.yaml"), "s"), "utf-8")
        loaded = load_sequence(path)
        self.looks = "open"
        self.begin(
            e.Began(
                software="0.0 test",
                edition=e.EDITION,
                plant=loaded.plant.file,
                sequence=msgspec.structs.replace(loaded.sequence, ambient=Temperature.parse("20 degC")),
                bench=msgspec.structs.replace(
                    BENCH,
                    instruments=[*BENCH.instruments, msgspec.structs.replace(BENCH.instruments[0], name="tester")],
                    role_of={**BENCH.role_of, "insulation": "tester"},
                ),
                operator=operator,
                found=list(found),
                gates=gates or {},
                order=1,
            )
        )

    reason = "it is what we have"

    def at(self) -> str:
        return WHEN

    def say(self, answer: str, by: str = "Ana") -> None:
        self.add(e.Answered(number=self.state.number, answer=answer, by=by))

    def until(self, kind: type, looks: str = "open") -> None:
        """Go on until a step of a kind is asked for."""
        self.looks = looks
        while not self.state.finished:
            asked = self.asked
            if isinstance(asked, r.Ask | r.Energise) and isinstance(asked.step.source, kind):
                return
            self.add(e.Aborted()) if isinstance(asked, r.Resolve) else self.one()

    def said(self, step: Step) -> str:
        if step.kind == "ask" and step.source.name == "capacitors":
            return "no"
        return {"look": self.looks, "gate": "it is late", "ask": "1.2"}.get(step.kind, step.source.word)

    def measured(self, step: Step) -> e.Event:
        volts = step.source.read == "voltage"
        return self.reading(value=self._middle(step) if volts and step.kind == "measure" else 24.0 if volts else 50e3)

    def _middle(self, step: Step) -> float:
        """A voltage that passes."""
        assert self.state.setting is not None
        limit = self.state.setting.limit(step, self.state.conditions).limit
        assert limit.lower is not None and limit.upper is not None
        return (limit.lower + limit.upper) / 2

    def outcomes(self, kind: str) -> list[Outcome]:
        assert self.state.setting is not None
        steps = self.state.setting.plan.steps
        return [one for index, one in results(self.state).items() if steps[index].kind == kind]


def left(name: str, state: str) -> Mark:
    return Mark(Change("breaker", name, state), "Anna", "2026-03-12T19:00:00Z", "march.jsonl", 9)


# the answers


def test_an_answer_says_how_every_thing_stands() -> None:
    look = Look(breakers=["FA1", "FA2", "FA3"])
    states = lambda text: [one.state for one in look.answered(text)]  # noqa: E731
    assert states("open") == ["open"] * 3
    assert states("fa3 closed, rest open") == ["open", "open", "closed"]
    assert states("FA1 FA2 locked off, FA3 open") == ["locked off", "locked off", "open"]
    for text, wanted in (("", "nothing is said of FA1"), ("FA3 closed", "FA1, FA2"), ("FA9 open", "'fa9' is none of"),
                         ("yes", "ends with no state")):  # fmt: skip
        with pytest.raises(ValueError, match=wanted):
            look.answered(text)


# looking


def test_a_draft_names_every_breaker_upstream_and_in_other_bays(tmp_path: Path) -> None:
    person = Person(tmp_path)
    person.until(Look)
    asked = [step.source for step in person.state.setting.plan.steps if isinstance(step.source, Look)]  # type: ignore[union-attr]
    named = {name for look in asked if not look.expect for name in look.breakers}
    assert named == set(load_plant(HUT / "plant.yaml").breakers)


def test_who_looks_is_told_what_the_records_say(tmp_path: Path) -> None:
    person = Person(tmp_path, found=(left("k5", "closed"),))
    person.until(Look)
    text = page(person.state).text
    assert "k5 was closed on 2026-03-12 (Anna, record march.jsonl): open, closed or locked off now?" in text
    assert "Nobody has said how MP, PF, PS, k1 and k2 stand" in text


def test_what_contradicts_the_records_is_an_unexplained_change(tmp_path: Path) -> None:
    person = Person(tmp_path, found=(left("k5", "open"),))
    person.until(Look)
    person.say("k5 closed, rest open", "Ben")
    (look,) = person.outcomes("look")
    assert look.remark == ("Unexplained change: k5 is closed and was open on 2026-03-12 (Anna, record march.jsonl).")
    handled: Handled = person.state.conditions.handled
    (mark,) = handled.said("breaker", "k5")
    assert (mark.change.state, mark.by) == ("closed", "Ben")


def test_nobody_is_asked_twice_where_all_is_open(tmp_path: Path) -> None:
    person = Person(tmp_path)
    person.until(Gate)
    assert [one.sentence.partition(":")[0] for one in person.outcomes("look")] == ["Found", "Found", "Not needed"]


@pytest.mark.parametrize("again", ["k5 closed, rest open", "open"])
@pytest.mark.quick_cases(1)
def test_nothing_comes_up_while_a_breaker_beside_is_closed(tmp_path: Path, again: str) -> None:
    """It is in the other bay; opened and looked at again, the walk goes on as usual."""
    person = Person(tmp_path)
    person.until(Look)
    person.say("k5 closed, rest open")
    person.say("open")
    person.until(Look)
    assert page(person.state).title == "Nothing beside is fed"
    person.say(again)
    person.until(Energise, again)
    if again == "open":
        assert not any(one.remark for one in person.outcomes("look")), "it was opened since the walk wanted it"
        assert isinstance(request(person.state), r.Energise)
        return
    assert person.state.finished
    assert {one.verdict for one in person.outcomes("energise")} == {"skipped"}
    assert all(
        "'Nothing beside is fed' does not count as passed" in one.sentence for one in person.outcomes("energise")
    )


# gates


MISSING = {"finder-top": ["cable W9: prove 3 points ('proveout draft PLANT continuity --cable W9')"], "finder-low": []}


def test_a_gate_names_what_is_missing_and_what_proves_it(tmp_path: Path) -> None:
    person = Person(tmp_path, gates=MISSING)
    person.until(Gate)
    assert (
        "Not proven: cable W9: prove 3 points ('proveout draft PLANT continuity --cable W9')."
        in page(person.state).text
    )


def test_a_gate_wants_a_reason_and_a_name(tmp_path: Path) -> None:
    person = Person(tmp_path, gates=MISSING, operator="")
    person.until(Gate)
    with pytest.raises(Refused, match="a reason"):
        person.say("  ")
    with pytest.raises(Refused, match="a name"):
        person.say("the cable is new", by="")
    person.say("the cable is new", by="Ben")
    (gate,) = (one for one in person.outcomes("gate") if one.subject == "finder-top")
    assert "cable W9" in gate.sentence and "Ben goes on all the same: the cable is new" in gate.sentence
    person.until(Energise)
    assert isinstance(request(person.state), r.Energise)


@pytest.mark.slow
def test_a_gate_that_is_passed_over_keeps_its_shelf_off(tmp_path: Path) -> None:
    person = Person(tmp_path, gates={"finder-top": [], "finder-low": MISSING["finder-top"]})
    person.until(Energise)
    assert isinstance(request(person.state), r.Energise), "proven: nobody was asked"
    assert person.outcomes("gate")[0].sentence == "Proven by the records: all that finder-top needs."
    other = Person(tmp_path, gates=MISSING)
    other.until(Gate)
    other.add(e.Skipped(number=other.state.number, reason="we prove it tomorrow", by="Ana"))
    other.until(Energise)
    # its breaker stays open; whether the neighbour is on it shows on the neighbour's own, at a harmless voltage
    asked = request(other.state)
    assert (
        isinstance(asked, r.Energise) and asked.step.subject == "finder-low" and asked.step.source.voltage.value == 5.0
    )
    assert {one.subject for one in other.outcomes("energise")} == {"finder-top"}
    first, *_ = other.outcomes("energise")
    assert "'What the records have proven for finder-top' does not count as passed (skipped)" in first.sentence


def test_a_gate_that_is_proven_is_not_taken_for_the_reading_before_it(tmp_path: Path) -> None:
    """It is passed in the same breath as the event before it; that event's own outcome stays apart from it."""
    person = Person(tmp_path, gates={"finder-top": [], "finder-low": []})
    person.until(Energise)
    assert all(gate.barred for gate in person.outcomes("gate"))


def test_records_that_nobody_looked_at_prove_nothing(tmp_path: Path) -> None:
    person = Person(tmp_path)
    person.until(Gate)
    assert "Not proven: nobody looked at the records." in page(person.state).text


# over real ports


def test_a_breaker_left_closed_in_the_other_bay_is_found_before_anything_is_energised(tmp_path: Path) -> None:
    """On the second job: the records say that all was open, and somebody has closed one since."""
    bench = (HUT / "benches" / "simulated.yaml").read_text("utf-8")
    (tmp_path / "sound.yaml").write_text(bench, "utf-8")
    (tmp_path / "left.yaml").write_text(bench.replace("{seed: 24}", "{seed: 24, closed: [k5]}"), "utf-8")
    assert "closed: [k5]" in (tmp_path / "left.yaml").read_text("utf-8")
    (tmp_path / "plant.yaml").write_text((HUT / "plant.yaml").read_text("utf-8"), "utf-8")
    (tmp_path / "look.yaml").write_text(
        "sequence: a look\nplant: plant.yaml\nsteps:\n  - {step: look, breakers: [MP, PF, PS, k1, k2, k5]}\n", "utf-8"
    )
    drafted = proveout("draft", "plant.yaml", "first-power", "--shelf", "finder-low", "-o", "first.yaml", cwd=tmp_path)
    assert drafted.returncode == 0, drafted.stderr
    done = proveout(
        "run", "look.yaml", "--bench", "sound.yaml", "--operator", "Ana", "--record", "logs/a.jsonl", cwd=tmp_path
    )
    assert done.returncode == 0 and "Found: MP, PF, PS, k1, k2, k5 open." in done.stdout, done.stdout + done.stderr
    words = ("--bench", "left.yaml", "--record", "logs/b.jsonl", "--speed", "40")
    done = proveout("run", "first.yaml", *words, cwd=tmp_path)
    assert done.returncode != 0
    assert "Unexplained change: k5 is closed and was open on" in done.stdout, done.stdout + done.stderr
    assert "k5 is closed, and open or locked off is wanted." in done.stdout
    events = [entry.event for entry in read_record(tmp_path / "logs" / "b.jsonl")]
    assert not [event for event in events if isinstance(event, e.Energised)]
    assert [seen.n for seen in events[0].saw] == [len(list(read_record(tmp_path / "logs" / "a.jsonl")))]  # type: ignore[union-attr]
    ready = proveout("ready", "plant.yaml", "--logs", "logs", "--json", cwd=tmp_path)
    told = [one for one in open_folder(tmp_path / "logs").told if one.kind == "unexplained"]
    assert [(one.record, one.names) for one in told] == [("b.jsonl", ("k5",))]
    left_so = json.loads(ready.stdout)["left"]["breaker"]
    assert left_so["k5"] == "closed" and left_so["k4"] == "open"
    (told,) = [line for line in proveout("ready", "plant.yaml", "--logs", "logs", cwd=tmp_path).stdout.splitlines()
               if "breaker k5" in line]  # fmt: skip
    assert "closed, on" in told and "record b.jsonl" in told
