"""Results in words: readings, verdicts, the summary at the end. Pure functions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import msgspec

from bench.diagnose.supply.patterns import PowerFinding
from bench.diagnose.supply.patterns import findings as power_findings
from bench.say import reading as say
from bench.say.verdict import ORDER, PAST, WORDS, counts, without_word
from bench.say.verdict import verdict_line as verdict_line_of
from bench.screens.walk.sayings import Lead, leads_of, page
from bench.walk import events as e
from bench.walk.outcome import Outcome
from bench.walk.results import connections, outcomes, results, tally, too_coarse
from bench.walk.state import State

READ: Final = "read"
"""How a reading of a search looks: a low one is news there and no failure; what was found is judged at its end."""


def look_of(outcome: Outcome) -> str:
    """How an outcome looks: its verdict, but for the readings of a search and what a tester said."""
    if outcome.answer:
        return READ
    judged = outcome.verdict in ("pass", "fail", "undecided")
    return READ if outcome.asked is not None and outcome.reading is not None and judged else outcome.verdict


def reading(outcome: Outcome) -> str:
    """What was read: ``0.874 Ω ± 23 mΩ``, ``over range``, ``beeps``; empty for a step without a reading."""
    if outcome.answer:
        return "beeps" if outcome.answer == "yes" else "silent"
    if outcome.reading is None and outcome.figure.value is None and not outcome.figure.over:
        return ""
    resolution = outcome.reading.resolution if outcome.reading is not None else None
    return say.reading(
        outcome.figure.value,
        outcome.figure.unit,
        expanded=outcome.figure.expanded,
        over=outcome.figure.over,
        resolution=resolution,
    )


def raw_reading(read: e.Read) -> str:
    """What the meter showed, before anything was taken off: ``1.026 Ω``, ``over range``, ``no number``."""
    return say.reading(read.value, read.unit, over=read.over, resolution=read.resolution)


def name_of(state: State, outcome: Outcome) -> str:
    """What an outcome is about, as short as can be: its subject, or the step's title."""
    if look_of(outcome) == READ and outcome.asked is not None:
        return outcome.asked.title
    if outcome.subject:
        return outcome.subject
    assert state.setting is not None
    return state.setting.step_of(outcome).title


def verdict_line(state: State, outcome: Outcome) -> str:
    """An outcome in one line: ``PASS W101.12: 0.874 Ω ± 23 mΩ; limit: at most 2 Ω.``"""
    look = look_of(outcome)
    if look == READ and outcome.asked is not None:
        return f"{WORDS[look]} {outcome.asked.title}: {'open' if outcome.figure.over == '+' else reading(outcome)}"
    if outcome.news:
        return f"{WORDS[look]} {name_of(state, outcome)}: {outcome.news}"
    return verdict_line_of(WORDS[look], name_of(state, outcome), outcome.verdict, outcome.sentence, outcome.remark)


def telling(state: State) -> Iterator[Outcome]:
    """Outcomes worth showing as they come, newest first: all but those that only say done."""
    return (one for one in outcomes(state) if one.verdict != "done" or one.answer or one.news)


def to_copy(state: State) -> str:
    """What is copied to the clipboard: the newest result, at the end the count and all that did not pass; empty before
    the first."""
    if state.finished:
        found = summary(state)
        return "\n".join([counts_line(found), *(verdict_line(state, one) for one in found.worries)])
    newest = next(telling(state), None)
    return verdict_line(state, newest) if newest is not None else ""


def place_of(state: State, outcome: Outcome) -> str:
    """Where the leads were, in words; empty for a step without places."""
    assert state.setting is not None
    leads = leads_of(state, state.setting.step_of(outcome))
    return "; ".join(_one_place(lead) for lead in leads)


def _one_place(lead: Lead) -> str:
    where = f" ({lead.where})" if lead.where else ""
    return f"{lead.colour} on {lead.label}{where}{f', {lead.wire}' if lead.wire else ''}"


def spoken(state: State, outcome: Outcome | None) -> str:
    """What a voice says after an outcome: the verdict, and where to go next; what has to be done or heeded, whole."""
    parts = []
    if outcome is not None and outcome.verdict != "done":
        parts.append(f"{WORDS[look_of(outcome)].lower()}.")
        if look_of(outcome) in ("fail", "undecided"):
            parts.append(without_word(outcome.verdict, outcome.sentence))
    now = page(state)
    # of a meter that is read by eye the words say how it is set, and what is wrong with what was typed
    if now.kind == "ask" or (not now.leads and now.kind not in ("measure", "safe", "meet", "switch")):
        told = now.text if now.text.startswith(now.title) else f"{now.title}. {now.text}"
        parts.append(told if told.rstrip().endswith((".", "!", "?")) else f"{told.rstrip()}.")
    if now.leads:
        parts.append("Next: " + ", ".join(f"{lead.colour} on {lead.label}" for lead in now.leads) + ".")
    return " ".join(parts)


class Summary(msgspec.Struct, frozen=True):
    """What came of a walk.

    Attributes:
        counts: verdict to how many steps have it, as far as they still count, in the order to show.
        open: steps that were never reached.
        worries: outcomes that someone must look at, in plan order: failed, undecided, void. A conductor that is
            connected, and of which the meter does not tell whether it is sound, is not among them.
        skipped: skipped steps, in plan order.
        remarked: what is worth a look although it did not fail: remarks on passes, what its siblings differ from, what
            somebody found otherwise than it was left, and what was passed without proof.
        unsafe: instruments whose outputs could not be confirmed off.
        seen: what is wrong with what was brought up, in words, in the order in which the walk met it.
        connected: what is said of conductors where the meter was too coarse for some; empty where it was not.
        advice: what would tell whether those that are connected are sound.
    """

    counts: dict[str, int]
    open: int
    worries: tuple[Outcome, ...]
    skipped: tuple[Outcome, ...]
    remarked: tuple[Outcome, ...]
    unsafe: tuple[str, ...]
    seen: tuple[PowerFinding, ...] = ()
    connected: str = ""
    advice: tuple[str, ...] = ()

    @property
    def clean(self) -> bool:
        """Whether everything passed."""
        return not self.worries and not self.skipped and not self.open and not self.counts.get("undecided")


def summary(state: State) -> Summary:
    """What came of a walk, or of as much of it as is done."""
    found = results(state)
    latest, tallied = found.values(), tally(state, found)
    coarse = [one for one in latest if state.setting is not None and too_coarse(state.setting, one)]
    total = len(state.setting.plan.steps) if state.setting is not None else 0
    return Summary(
        {verdict: tallied.counts[verdict] for verdict in ORDER},
        total - len(latest),
        tuple(one for one in latest if one.verdict in ("fail", "undecided", "void") and one not in coarse),
        tuple(one for one in latest if one.verdict == "skipped"),
        tuple(
            one for one in latest if one.news or (one.remark and (one.verdict == "pass" or (one.odd and one in coarse)))
        ),
        state.outputs.unconfirmed,
        tuple(power_findings(state)),
        connections(state, found).sentence if coarse else "",
        coarse[0].advice if coarse else (),
    )


def counts_line(found: Summary) -> str:
    """``48 passed, 1 failed, 1 undecided; 2 steps not reached``."""
    text = counts(found.counts, PAST) or "nothing measured"
    return f"{text}; {found.open} steps not reached" if found.open else text
