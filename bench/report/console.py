"""A walk as lines of text: what a run prints as it goes, and what replay prints again."""

from __future__ import annotations

import sys
from itertools import takewhile
from pathlib import Path
from typing import Any, TextIO

from bench import exits
from bench.diagnose.supply.patterns import findings
from bench.say.reading import reading
from bench.say.times import second, tenth, zone
from bench.say.verdict import counts
from bench.sequence.file import NO_LIMIT, Do, Found
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.left_on import ends_with
from bench.walk.outcome import Outcome
from bench.walk.results import connections, outcomes, results, tally, too_coarse, verdict_line
from bench.walk.setting import Setting
from bench.walk.state import Phase, State


class Console:
    """Prints every event that a person wants to see, once.

    Args:
        out: where to; standard output by default.
        quiet: print nothing of it.
    """

    def __init__(self, out: TextIO | None = None, *, quiet: bool = False) -> None:
        self._out = out if out is not None else sys.stdout
        self._quiet = quiet
        self._section = ""
        self._dreaded = ""

    def told(self, entry: e.Entry, state: State) -> None:
        """Print what one event means, given the state after it."""
        if self._quiet:
            return
        match entry.event:
            case e.Began():
                self._began(entry, state)
            case e.Read() | e.Skipped() | e.Energised() | e.Elapsed():
                self._outcome(entry.n, state)
            case e.Advised(want=Do(beeps=None) as act):
                self._say(f"search    {act.title or 'do this'}")
                for line in act.text.splitlines():
                    self._say(f"          {line}")
            case e.Advised(want=Found() as found):
                self._outcome(entry.n, state)
                for line in found.lines:
                    self._say(f"          {line}")
            case e.Answered(answer=answer) if state.kept.latest:
                self._outcome(entry.n, state, answer)
            case e.Said() as said:
                self._listened(entry, said, state)
            case e.MadeSafe() as safe if safe.confirmed or safe.left:
                shown = ", ".join(
                    f"{name} {'off' if done else 'NOT CONFIRMED'}" for name, done in safe.confirmed.items()
                )
                self._say(f"safe      {shown}".rstrip())
                for text in safe.left:
                    self._say(f"STILL ON  {text}")
            case event:
                if line := _line_of(event):
                    self._say(line)

    def summary(self, state: State, record: Path) -> None:
        """Print the summary: verdicts, what did not pass, where the record is."""
        found = results(state)
        setting = state.setting
        if setting is None:
            self._say("nothing is recorded")
            return
        bad = [outcome for outcome in found.values() if _worth_a_line(setting, outcome)]
        self._say("")
        for one in findings(state):
            self._say(f"found     {one.sentence}")
        coarse = next((outcome for outcome in found.values() if too_coarse(setting, outcome)), None)
        if coarse is not None:
            self._say(connections(state, found).sentence)
            for advice in coarse.advice[:1]:
                self._say(f"          {advice}")
        for outcome in bad:
            self._say(verdict_line(outcome))
            for place in dict.fromkeys(
                name for name in setting.plan.steps[outcome.index].touches if name in setting.plant.terminals
            ):
                if setting.plan.steps[outcome.index].kind == "energise":
                    break  # it touches the whole way of a feed
                self._say(f"          {place}: {setting.plant.where(place)}")
            for advice in outcome.advice:
                self._say(f"          {advice}")
        tallied = tally(state, found)
        shown = counts(tallied.counts)
        ending = {Phase.DONE: "complete", Phase.ABORTED: "aborted"}.get(state.phase, "not finished")
        self._say(f"{ending}: {shown or 'no readings'} of {tallied.asked} readings asked for; record {record}")
        for text in ends_with(state):
            self._say(text)

    def _began(self, entry: e.Entry, state: State) -> None:
        setting = state.setting
        assert setting is not None
        when = f"{second(entry.at)} {zone()}"
        self._say(f"{setting.plan.sequence.sequence} - {setting.plant.file.title or setting.plant.name}")
        kind = "simulated bench" if setting.bench.simulated else "bench"
        self._say(f"{kind} {setting.bench.name}, begun {when}, rule: {setting.rule(state.rules).sentence}")
        for weak in setting.weak:
            self._say(f"warning   {weak}")
        for one in setting.bench.instruments:
            if late := one.overdue(entry.at):
                self._say(f"warning   {late}")

    def _listened(self, entry: e.Entry, said: e.Said, state: State) -> None:
        for ago, text in said.lines:
            self._say(f"said      {tenth(entry.at, ago)} {said.console}: {text}")
        if said.wrong:
            self._say(f"console   {said.console}: {said.wrong}")
        before = state.heard.dreaded
        self._outcome(entry.n, state)
        if before and before != self._dreaded:
            self._say(f"stopped   {before}, which must not come: outputs off")
        self._dreaded = before

    def _outcome(self, number: int, state: State, answer: str = "") -> None:
        # what the walk passed over by itself stands on what came before it
        fresh = list(takewhile(lambda outcome: outcome.n == number, outcomes(state)))
        for outcome in reversed(fresh):
            self._one(outcome, state, answer)

    def _under(self, step: Step) -> None:
        if step.section != self._section:
            self._section = step.section
            self._say(f"\n{step.section}")

    def _one(self, outcome: Outcome, state: State, answer: str) -> None:
        assert state.setting is not None
        step = state.setting.step_of(outcome)
        self._under(step)
        if outcome.asked is not None:
            # within a search a low reading is news, not a failure: the finding is what counts
            if outcome.verdict != "done" or outcome.answer:
                self._say(f"search    {step.title}: {_read(outcome)}")
            return
        if outcome.verdict != "done":
            self._say(verdict_line(outcome))
        elif step.kind in ("hold", "ask"):
            self._say(f"{step.kind:9} {step.title}: {answer}")
        elif outcome.answer:
            self._say(f"{'tester':9} {step.title}: {outcome.sentence}")
        elif step.kind in ("look", "gate") and not outcome.sentence.startswith("Not needed"):
            tail = f" {outcome.remark}" if outcome.remark else ""
            self._say(f"{step.kind:9} {step.title}: {outcome.sentence}{tail}")
        elif outcome.sentence.startswith("Not needed"):
            self._say(f"{'spared':9} {step.title}: {outcome.sentence[0].lower()}{outcome.sentence[1:]}")
        else:
            self._say(f"{step.kind:9} {step.title}")

    def _say(self, line: str) -> None:
        print(line, file=self._out, flush=True)


def _line_of(event: e.Event) -> str:
    """What is printed of an event that is told by itself, whatever the walk makes of it; empty for any other."""
    match event:
        case e.Met() as met:
            return f"met       {met.instrument} for {', '.join(met.roles)}: {met.identity}"
        case e.Troubled() as trouble:
            return f"trouble   {trouble.what} {trouble.advice}".rstrip()
        case e.Noted() as note:
            return f"note      {note.text}"
        case e.Attached() as attached:
            names = ", ".join(kept.name for kept in attached.files)
            return f"kept      {names}: {attached.text}".rstrip(": ")
        case e.Disturbed() as disturbed:
            return f"disturbed {', '.join(disturbed.touches)} {disturbed.text}".rstrip()
        case e.Tripped(thing=thing, what=what):
            return f"tripped   {thing} {what}".rstrip()
        case e.Sending(console=console, line=line):
            return f"sent      {console}: {line}"
        case e.Aborted() as aborted:
            return f"aborted   {aborted.why}".rstrip()
        case e.Paused() as paused:
            return f"paused    {paused.why}".rstrip()
        case e.Resumed():
            return "resumed   outputs are made safe first"
        case e.Mended() as mended:
            return f"mended    {mended.bytes} torn bytes were set aside in {mended.kept}"
        case _:
            return ""


def _worth_a_line(setting: Setting, outcome: Outcome) -> bool:
    """Whether the summary names it: what did not pass, but for conductors that are connected and only not decided."""
    if too_coarse(setting, outcome):
        return outcome.odd
    return outcome.verdict not in ("pass", "done") or bool(outcome.remark or outcome.news)


def _read(outcome: Outcome) -> str:
    """What a search read: the value alone where it is held against nothing."""
    if outcome.bounds.source != NO_LIMIT or outcome.reading is None or outcome.reading.nan:
        return outcome.sentence
    if outcome.figure.value is None:
        return "open, as far as the meter sees" if outcome.figure.over == "+" else outcome.sentence
    return reading(outcome.figure.value, outcome.figure.unit, expanded=outcome.figure.expanded)


def exit_code(state: State) -> int:
    """The exit code that a finished walk calls for."""
    if state.phase is not Phase.DONE or state.outputs.unconfirmed:
        return exits.STOPPED
    good = all(outcome.verdict in ("pass", "done") for outcome in results(state).values())
    return exits.PASS if good else exits.NOT_PASSED


def summary(state: State, record: Path) -> dict[str, Any]:
    """The same for other programs, as plain data: verdicts that count, in plan order."""
    setting = state.setting
    found = results(state)
    steps = setting.plan.steps if setting is not None else ()
    reached = connections(state, found)
    return {
        "record": str(record),
        "sequence": setting.plan.sequence.sequence if setting is not None else "",
        "phase": state.phase.value,
        "exit_code": exit_code(state),
        "counts": dict(tally(state, found).counts),
        "found": [{"kind": one.kind, "subject": one.subject, "sentence": one.sentence} for one in findings(state)],
        "connected": {"yes": list(reached.yes), "no": list(reached.no), "undecided": list(reached.undecided)},
        "verdicts": [
            {
                "step": outcome.key,
                "title": steps[index].title,
                "subject": outcome.subject,
                "between": list(steps[index].probes or ()),
                "verdict": outcome.verdict,
                "sentence": outcome.sentence,
                "value": outcome.figure.value,
                "expanded_uncertainty": outcome.figure.expanded,
                "unit": outcome.figure.unit,
                "low": outcome.bounds.low,
                "high": outcome.bounds.high,
                "remark": outcome.remark,
                "connected": outcome.connected,
            }
            for index, outcome in found.items()
            if outcome.verdict != "done"
        ],
        "told": [{"title": steps[index].title, "text": one.news} for index, one in found.items() if one.news],
    }
