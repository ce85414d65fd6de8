"""The state machine of a walk. This one file holds everything that decides what comes next.

Theory
======

A walk is a fold. ``take(state, event)`` gives the next state and ``request(state)`` says what is wanted now; both are
pure: no port, no file, no clock, no screen. Four things that look like four features are therefore one:

* to run is to fold events as they happen;
* to resume after a crash is to fold the record and go on;
* to replay is to fold the record up to any moment;
* to judge again is to fold the record under other limits or another decision rule.

Rules
-----

1. Everything that decides what comes next is in this file. :data:`NEXT` maps phase and event type to one handler and
   to the phases that it may lead to; a handler that leads elsewhere is a bug and stops there. A pair that the table
   lacks is :class:`OutOfTurn`: a bug when live, a broken record when read.
2. Events are facts. What they come to is worked out beside this file, by functions that know nothing of phases and of
   what comes next: a verdict from the reading and from what ``Began`` says of plant, sequence and bench
   (:mod:`bench.walk.setting`), whether it still counts from what came after it (:mod:`bench.walk.results`). What
   follows from a verdict is decided here. No verdict of a reading is ever read from a record; what a search came to is
   (rule 10), since people acted on it.
3. ``request`` may be asked any number of times. A request has a number that changes with every step forward, and an
   event that answers one carries it. An old number is :class:`Stale`: somebody else was quicker, or the same key was
   pressed twice. Nothing happens then.
4. Time enters as events (``Elapsed``), so waits are tested without waiting.
5. The runner appends an event to the record and has it on disk before it calls ``take``.
6. Outputs: a walk starts, restarts and ends by making every output safe, and nothing else happens before. A hold
   point is passed only by its typed word, never by skipping. A step that energises something (an output that goes on,
   an act by hand that makes something live) comes up only while the hold point before it is *held*: passed since
   outputs were last made safe, and since the walk last rested with nobody there. Where it is not, the hold point comes
   up first. An output that may be on counts as on: while its switching is under way, and after it was not confirmed.
   A hold point that names what it stands on (``proven``) is passed over where that is not so, and with it every reading
   and every act that it guards.
7. An output that is brought up under watch (``ENERGISING``) stands on evidence. It comes up only where every earlier
   reading about what it would feed counts and is a pass, or was skipped by a person with a reason; else the walk
   passes it over by itself and says why. The same holds where the breakers that are really closed would be overloaded.
   While it comes up nothing else goes on: whoever rests, or meets trouble, has the output off first, confirmed. After
   a trip the output is off, the load has failed, and every hold point is to be passed again. A reading that needs the
   output is passed over while it is off. An act by hand that makes something live which no output feeds, such as a
   breaker closed on a battery, stands on evidence where the sequence says on which (``proven``); and the act that
   takes it off again is asked for where that evidence is missing (``unless-proven``).
8. Going back never erases: readings stay in the history, and the latest of a step counts. Going to a step and
   returning does not move the place where the walk stood. While something is on or live, be it by hand, nobody can go
   to a step that comes before it went on: those were walked on a dead plant.
9. After trouble an instrument answers to its name again before any step uses it. To open it is to set it up anew, so
   an output of it that was on is off now: outputs are made safe, and the hold point before it comes up again.

10. A search (``seek``) is a step whose acts and readings are chosen as it goes. The choice comes from outside as an
   event (``Advised``), so the fold needs no adviser: to replay is to read what was asked for then. Nothing that
   energises is ever taken from an adviser, and a bond is lifted only while nothing is live.

11. What a console of the plant says (``Said``) may come at any time. It passes or fails the step that listens for it,
   and where the sequence dreads it the walk rests with outputs off. Nothing is sent to a console but by a ``send``
   step: it comes up like what energises, while the hold point before it is held, and ``Sending`` is on disk before the
   first character goes.

Phases
------

``EMPTY`` wants ``Began``. ``SAFING`` makes outputs safe, at the start, after a restart and at the end. ``MEETING``
opens and identifies the instruments, at the start and after trouble. ``CONSENTING`` asks for a reason where the bench
cannot prove some limits. A step is then ``ASKING`` (a person reads, does or types), ``PLACING`` then ``MEASURING``,
``SWITCHING``, ``ENERGISING`` or ``WAITING``, which ends early where a text was waited for and came; a search goes
through ``ADVISING`` before each of its acts and readings.
A reading that a person types is ``PLACING`` again while it is asked again.
``TROUBLED`` waits for a decision, ``PAUSED`` for somebody to go on.
A supply that a person sets by its knobs stays ``ENERGISING`` from level to level, and ``SWITCHING`` until its word was
typed. Nothing can be made safe about it but by that person: where it is not said to be off, that is the trouble.
``DONE`` and ``ABORTED`` are final.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable
from operator import attrgetter
from typing import Any, Final

import msgspec
from msgspec.structs import replace

from bench.files import near
from bench.judge.judge_error import JudgeError
from bench.judge.ramp import RampUp
from bench.plant.handled import Change, Kind, Mark
from bench.say.times import day
from bench.sequence.file import BENCH_SUPPLY, Do, Energise, Found, Gate, Hold, Listen, Look, Measure, Prove, Send, Set
from bench.sequence.file import Ask as AskStep
from bench.sequence.plan import Step
from bench.sequence.power_steps import powered as fed
from bench.sequence.unroll import CannotUnroll
from bench.walk import by_eye, by_knobs
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import BenchFacts, Display, InstrumentFacts
from bench.walk.lead_stays import stays
from bench.walk.nothing_there import look_first, volts_on
from bench.walk.outcome import UNPROVEN, Made, Outcome
from bench.walk.results import results
from bench.walk.seeking import Seeking
from bench.walk.setting import Conditions, Rules, Setting
from bench.walk.standing import Instruments, Outputs
from bench.walk.standing import Phase as Phase
from bench.walk.standing import State as State

OPEN: Final = frozenset(Phase) - {Phase.EMPTY, Phase.DONE, Phase.ABORTED}
"""Phases in which a walk is under way."""
STEPPING: Final = frozenset(
    {
        Phase.ASKING,
        Phase.PLACING,
        Phase.MEASURING,
        Phase.SWITCHING,
        Phase.ENERGISING,
        Phase.WAITING,
        Phase.ADVISING,
    }
)
"""Phases that belong to a step."""
PORTS: Final = frozenset(
    {Phase.MEETING, Phase.PLACING, Phase.MEASURING, Phase.SWITCHING, Phase.ENERGISING, Phase.ADVISING}
)
"""Phases in which an instrument or whoever advises may give trouble."""
BEGINS: Final = (STEPPING - {Phase.MEASURING}) | {Phase.MEETING, Phase.CONSENTING, Phase.SAFING}
"""Phases in which the next step may begin; ``SAFING`` after the last one."""


class Move(msgspec.Struct, frozen=True):
    """What an event does in a phase.

    Attributes:
        handler: the function below that takes it, without its underscore.
        to: phases that it may lead to, besides those of the next step.
        enters: whether it may lead to the next step, whichever that is: to any of :data:`BEGINS`.
        reaches: all phases that it may lead to.
    """

    handler: str
    to: frozenset[Phase]
    enters: bool
    reaches: frozenset[Phase]


def _next() -> dict[tuple[Phase, type], Move]:
    """Phases, the event that may come there, what takes it, and where that leads.

    ``None``: it leads nowhere, the walk stays. ``True``: it may lead to the next step too.
    """
    P = Phase
    table: list[tuple[Iterable[Phase], type, str, set[Phase] | None, bool]] = [
        ({P.EMPTY}, e.Began, "began", {P.SAFING}, False),
        ({P.SAFING}, e.MadeSafe, "made_safe", {P.TROUBLED, P.PAUSED, P.DONE, P.ABORTED}, True),
        ({P.MEETING}, e.Met, "met", set(), True),
        ({P.CONSENTING}, e.Answered, "consented", set(), True),
        ({P.ASKING}, e.Answered, "answered", set(), True),
        ({P.PLACING}, e.Answered, "placed", {P.MEASURING, P.PLACING}, False),
        ({P.MEASURING}, e.Read, "read", set(), True),
        ({P.SWITCHING}, e.Switched, "switched", {P.TROUBLED}, True),
        ({P.SWITCHING}, e.Answered, "switched_by_hand", {P.SWITCHING}, False),
        ({P.ENERGISING}, e.Energised, "energised", set(), True),
        ({P.ENERGISING}, e.Answered, "turned_up", {P.ENERGISING}, False),
        ({P.WAITING}, e.Elapsed, "elapsed", set(), True),
        ({P.ADVISING}, e.Advised, "advised", set(), True),
        ({P.TROUBLED}, e.Answered, "resolved", {P.SAFING, P.MEETING}, True),
        ({P.PAUSED}, e.Continued, "continued", {P.TROUBLED}, True),
        (PORTS - {P.ENERGISING}, e.Troubled, "troubled", {P.TROUBLED}, False),
        ({P.ENERGISING}, e.Troubled, "troubled", {P.SAFING}, False),
        ({P.ASKING, P.PLACING, P.MEASURING, P.ADVISING, P.TROUBLED}, e.Skipped, "skipped", set(), True),
        (STEPPING - {P.ENERGISING} | {P.TROUBLED}, e.Went, "went", set(), True),
        (OPEN - {P.SAFING, P.ENERGISING}, e.Paused, "paused", {P.SAFING, P.PAUSED}, False),
        ({P.SAFING, P.ENERGISING}, e.Paused, "paused", {P.SAFING}, False),
        (OPEN, e.Noted, "noted", None, False),
        (OPEN, e.Disturbed, "disturbed", None, False),
        (OPEN, e.Seated, "seated", None, False),
        (OPEN, e.Mended, "mended", None, False),
        (OPEN, e.Resumed, "resumed", {P.SAFING}, False),
        (OPEN, e.Aborted, "aborted", {P.SAFING}, False),
        (frozenset(P) - {P.EMPTY}, e.Guarded, "guarded", None, False),
        (frozenset(P) - {P.EMPTY}, e.OutputsSeen, "outputs_seen", None, False),
        (frozenset(P) - {P.EMPTY}, e.Attached, "attached", None, False),
        ({P.WAITING}, e.Said, "said", {P.WAITING, P.SAFING, P.PAUSED}, True),
        *(({one}, e.Said, "said", {one, P.SAFING, P.PAUSED}, False) for one in OPEN - {P.WAITING}),
        ({P.DONE}, e.Said, "said", None, False),
        ({P.ABORTED}, e.Said, "said", None, False),
        ({P.ASKING}, e.Sending, "sending", None, False),
        (OPEN, e.Tripped, "tripped", None, False),
    ]
    found: dict[tuple[Phase, type], Move] = {}
    for phases, kind, handler, to, enters in table:
        for phase in phases:
            targets = frozenset({phase} if to is None else to)
            found[phase, kind] = Move(handler, targets, enters, targets | BEGINS if enters else targets)
    return found


NEXT: Final[dict[tuple[Phase, type], Move]] = _next()
"""Phase and event type to what it does: the whole machine. The diagram in DEVELOPERS.md is drawn from it."""

SKIPPABLE: Final = frozenset({"do", "ask", "look", "gate", "measure", "zero", "prove", "seek", "listen", "send"})
"""Kinds of step that may be passed over with a reason. Cautions, hold points, outputs and waits may not."""


BEEPS: Final = {"yes": True, "y": True, "no": False, "n": False}
"""What a person may say of a continuity tester, and whether it beeps then."""


class OutOfTurn(RuntimeError):
    """An event came in a phase that has no place for it: a bug in the runner, or a broken record."""

    def __init__(self, phase: Phase, event: e.Event) -> None:
        super().__init__(f"{type(event).__name__} has no place while {phase.value}")
        self.phase = phase
        self.event = event


MOVED_ON: Final = "the step has moved on; look again"
"""What a person is told whose answer came too late."""


class Stale(RuntimeError):
    """An answer to a request that is no longer open."""

    def __init__(self, number: int, now: int) -> None:
        super().__init__(f"request {number} is no longer open; request {now} is")
        self.number = number
        self.now = now


class Refused(ValueError):
    """An answer that the request does not accept; the sentence says what it wants."""


def start(rules: Rules | None = None) -> State:
    """The state before anything happened."""
    return State(rules=rules or Rules())


def fold(entries: Iterable[e.Entry], state: State | None = None) -> State:
    """Fold a whole record.

    Raises:
        OutOfTurn, Stale, Refused: the entries are not a record that this machine wrote.
    """
    now = state or start()
    for entry in entries:
        now = take(now, entry)
    return now


def request(state: State) -> r.Request:
    """What is wanted now. Pure; may be asked any number of times."""
    number, step = state.number, state.step
    match state.phase:
        case Phase.EMPTY:
            return r.Start(number)
        case Phase.SAFING:
            return r.MakeSafe(number, state.place.then.value)
        case Phase.MEETING:
            return r.Meet(number, state.instruments.to_meet)
        case Phase.CONSENTING:
            assert state.setting is not None
            return r.Consent(number, state.setting.weak)
        case Phase.TROUBLED:
            trouble = state.pending.trouble
            assert trouble is not None
            return r.Resolve(number, step, trouble.kind, trouble.what, trouble.advice)
        case Phase.PAUSED:
            return r.Rest(number, state.pending.why_paused)
        case Phase.DONE | Phase.ABORTED:
            return r.Finished(number, state.phase is Phase.ABORTED)
        case _:
            assert step is not None
            return _of_step(state, number, step)


def _of_step(state: State, number: int, step: Step) -> r.Request:
    match state.phase:
        case Phase.ASKING:
            return r.Ask(number, step)
        case Phase.PLACING:
            return r.Place(number, step)
        case Phase.MEASURING:
            return r.Measure(number, step)
        case Phase.SWITCHING:
            return r.Switch(number, step)
        case Phase.ENERGISING:
            assert state.pending.ramp is not None
            return r.Energise(number, step, state.pending.ramp)
        case Phase.ADVISING:
            return r.Advise(number, step)
        case _:
            return r.Wait(number, step, state.pending.left)


def take(state: State, entry: e.Entry) -> State:
    """Fold one event.

    Raises:
        Stale: it answers a request that is not open.
        OutOfTurn: the phase has no place for it.
        Refused: the request does not accept this answer.
    """
    event = entry.event
    number = getattr(event, "number", None)
    # looked at first: a late answer is nobody's bug, whatever the walk does by now
    if number is not None and number != state.number:
        raise Stale(number, state.number)
    move = NEXT.get((state.phase, type(event)))
    if move is None:
        raise OutOfTurn(state.phase, event)
    after = _HANDLERS[move.handler](replace(state, taken=state.taken + 1, at=entry.at), event, entry.n)
    assert after.phase in move.reaches, f"{move.handler} leads from {state.phase.value} to {after.phase.value}"
    return after


def accepts(state: State, event: e.Event, at: str = "") -> None:
    """Try an event without keeping the result: what a runner does before it writes one down.

    Args:
        state: before it.
        event: what is tried.
        at: the time of day now, where that may count; never taken for earlier than the last event's.

    Raises:
        OutOfTurn, Stale, Refused: as :func:`take` would.
    """
    take(state, e.Entry(n=state.taken + 1, at=max(at, state.at), event=event))


# Handlers. Each is named for what happened; `nth` is the event's number in the record.


def _to(state: State, phase: Phase, **pending: Any) -> State:
    """The next request is open. What was typed for the one before is done with, unless it is said here.

    Args:
        state: the state before.
        phase: what is wanted now.
        pending: fields of :class:`Pending` that change.
    """
    about = state.pending.asked(state.at)
    if pending:
        about = replace(about, **pending)
    return replace(state, phase=phase, number=state.number + 1, pending=about)


def _make_safe(state: State, then: Phase, **pending: Any) -> State:
    """Outputs are made safe next, and that leads to another phase."""
    return _to(replace(state, place=replace(state.place, then=then)), Phase.SAFING, **pending)


def _at(state: State, cursor: int) -> State:
    """The same at another step."""
    return replace(state, place=replace(state.place, cursor=cursor))


def _going_straight_on(state: State) -> State:
    """The same with nowhere to return to after this step."""
    return replace(state, place=replace(state.place, back_to=None, again=()))


def _onward(state: State, index: int) -> tuple[State, int]:
    """Where to go after a step: what is taken again first, where the walk came from, or the next one."""
    place = state.place
    if place.again:
        return replace(state, place=replace(place, again=place.again[1:])), place.again[0]
    if place.back_to is not None:
        return _going_straight_on(state), place.back_to
    return state, index + 1


def _without_trouble(state: State) -> State:
    return replace(state, pending=replace(state.pending, trouble=None))


def _began(state: State, event: e.Began, nth: int) -> State:
    try:
        setting = _sound(Setting.of(event))
    except CannotUnroll as error:
        raise Refused(f"its sequence does not fit its plant: {error}") from error
    conditions = Conditions(ambient=setting.ambient)
    instruments = Instruments(to_meet=setting.plan.roles)
    return _make_safe(replace(state, setting=setting, conditions=conditions, instruments=instruments), Phase.MEETING)


def _sound(setting: Setting) -> Setting:
    """The same, after a look at all that is worked out from it once: nonsense in a record shows here and not later."""
    try:
        for facts in setting.bench.instruments:
            _ = facts.table
        _ = setting.weak
    except JudgeError as error:
        raise Refused(f"its bench makes no sense: {error}") from error
    except OverflowError as error:
        raise Refused("its plant or its bench has numbers so large that nothing can be computed from them") from error
    return setting


def _made_safe(state: State, event: e.MadeSafe, nth: int) -> State:
    silent = [name for name in state.outputs.on if name not in event.confirmed]
    bad = (*(name for name, confirmed in event.confirmed.items() if not confirmed), *silent)
    told = {**event.confirmed, **dict.fromkeys(silent, False)}
    outputs = [Change("output", name, "off" if confirmed else "may be on") for name, confirmed in told.items()]
    state = _noted_output(state, outputs, nth)
    if state.place.then in (Phase.DONE, Phase.ABORTED):
        on = {name: index for name, index in state.outputs.on.items() if name in bad}
        return _to(replace(state, outputs=Outputs(on, frozenset(), bad)), state.place.then)
    state = _unpowered(state)
    state = replace(state, outputs=replace(state.outputs, unconfirmed=bad))
    if bad:
        trouble = e.Troubled(
            number=state.number,
            instrument=bad[0],
            kind="unsafe",
            what=f"the output of {', '.join(bad)} could not be confirmed off{_why_not(bad, event.left)}",
            advice="Switch it off by hand at the instrument or its breaker, then try again.",
        )
        return _to(state, Phase.TROUBLED, trouble=trouble)
    if state.place.then is Phase.TROUBLED:
        return _to(replace(state, place=replace(state.place, then=Phase.MEETING)), Phase.TROUBLED)
    if state.place.then is Phase.PAUSED:
        step = state.planned
        assert step is not None
        then = Phase.MEETING if state.instruments.to_meet else _PHASE_OF[step.kind]
        return _to(replace(state, place=replace(state.place, then=then)), Phase.PAUSED)
    return _to(state, Phase.MEETING) if state.instruments.to_meet else _enter(state, state.place.cursor)


def _why_not(silent: Iterable[str], told: Iterable[str]) -> str:
    """What the crew says of instruments that were not confirmed off; empty where it says nothing."""
    starts = tuple(f"{name}: " for name in silent)
    said = [text.rstrip(".") for text in told if text.startswith(starts)]
    return f" ({'; '.join(said)})" if said else ""


def _unpowered(state: State) -> State:
    """Outputs are off: what stood on them must be passed again from its hold point on."""
    state = replace(state, conditions=replace(state.conditions, fed=None))
    if not state.outputs.on:
        return replace(state, outputs=state.outputs.let_go())
    first = min(state.outputs.on.values())
    hold = _hold_before(state, first)
    assert hold is not None
    outputs = replace(state.outputs, on={}, held=frozenset())
    return replace(_going_straight_on(_at(state, min(state.place.cursor, hold))), outputs=outputs)


def _met(state: State, event: e.Met, nth: int) -> State:
    before, after = state.instruments, state.instruments.after(event)
    if after.to_meet == before.to_meet:
        raise Refused(f"{event.instrument} fills none of {', '.join(before.to_meet)}")
    state = replace(state, instruments=after)
    if event.other:
        state = _exchanged(state, event, before.known.get(event.instrument), nth)
    if event.instrument in state.outputs.on and not _switches_off(state.step):
        # to open it was to set it up anew, and that switched its output off: nothing may be read as if it were on
        return _make_safe(state, Phase.MEETING)
    return _to(state, Phase.MEETING) if after.to_meet else _enter(state, state.place.cursor)


def is_other(state: State, event: e.Met) -> bool:
    """Whether another instrument answers to a name than did before, or may: its version may have changed.

    Of one that has no number of its own nobody can tell, where it was away meanwhile.
    """
    before = state.instruments.known.get(event.instrument)
    return before is not None and (event.other or _named(before) != _named(event))


def _named(met: e.Met) -> tuple[str, str]:
    return (met.identity.removesuffix(met.version), met.serial)


def _exchanged(state: State, event: e.Met, before: e.Met | None, nth: int) -> State:
    """Another instrument came in for one: nothing that was read with that one is taken off, and it is checked anew."""
    zeros = {name: ohms for name, ohms in state.conditions.zeros.items() if name != event.instrument}
    if before is not None and _named(before) == _named(event):
        what = (
            f"{event.instrument} was out of sight for a while and has no number of its own: nobody can tell whether it "
            "is still the same. Its leads' zero is void."
        )
    else:
        who = event.identity or event.serial
        what = f"Another instrument answers as {event.instrument}: {who}. Its leads' zero is void."
    state = _noted(replace(state, conditions=replace(state.conditions, zeros=zeros)), e.Noted(text=what), nth)
    assert state.setting is not None
    if state.setting.began.edition > 3:
        return _came_in(state, [event.instrument], nth)
    return _zero_again(state) if any(name == event.instrument for _, name in zeroed(state)) else state


def _came_in(state: State, names: Iterable[str], nth: int) -> State:
    """Other instruments answer to these names from here on, or have other leads or another calibration."""
    new = tuple((nth, name) for name in dict.fromkeys(names))
    return replace(state, kept=replace(state.kept, exchanged=(*state.kept.exchanged, *new)))


def checks_due(state: State, step: Step) -> tuple[int, ...]:
    """The bench's checks that a reading rests on and that another instrument went through than is to take it."""
    setting, kept = state.setting, state.kept
    if not kept.exchanged or setting is None or step.kind not in ("measure", "seek"):
        return ()
    last: dict[tuple[str | None, str], int] = {}
    for check in setting.plan.steps[: step.index]:
        if check.kind in ("zero", "prove") and check.role in step.roles:
            against = check.source.against if isinstance(check.source, Prove) else "zero"
            last[check.role, against] = check.index
    due = []
    for (role, _), index in last.items():
        made = kept.latest.get(index)
        name = setting.bench.role_of.get(role or "", "")
        if made is None or made.reading is None:
            continue  # nobody made it
        if kept.holder(made.reading.instrument, made.n) != kept.holder(name, state.taken):
            due.append(index)
    return tuple(sorted(due))


def _switches_off(step: Step | None) -> bool:
    """Whether a step takes an output off: it may come up whatever the output is."""
    return step is not None and step.source.switches_off


def _consented(state: State, event: e.Answered, nth: int) -> State:
    if not event.answer.strip():
        raise Refused("going on needs a reason, in words")
    return _enter(replace(state, consented=event.answer), state.place.cursor)


_PHASE_OF: Final = {
    "caution": Phase.ASKING,
    "hold": Phase.ASKING,
    "do": Phase.ASKING,
    "ask": Phase.ASKING,
    "look": Phase.ASKING,
    "gate": Phase.ASKING,
    "measure": Phase.PLACING,
    "zero": Phase.PLACING,
    "prove": Phase.PLACING,
    "wait": Phase.WAITING,
    "set": Phase.SWITCHING,
    "energise": Phase.ENERGISING,
    "seek": Phase.ADVISING,
    "listen": Phase.WAITING,
    "send": Phase.ASKING,
}


def _enter(state: State, index: int) -> State:
    """Begin a step, or end the walk after the last. What must come before the step comes first."""
    setting = state.setting
    assert setting is not None
    steps = setting.plan.steps
    ramp: RampUp | None = None
    while index < len(steps):
        if setting.plan.plain[index]:
            why, ramp, spared = _unguarded(state, steps[index]), None, ""
        else:
            why, ramp = _stands(state, steps[index])
            spared = "" if why else _spared(state, steps[index])
        if not why and not spared:
            break
        over = Outcome.passed_over(steps[index], state.taken, why)
        state = _keep(state, over if why else replace(over, verdict="done", said=spared))
        state, index = _onward(state, index)
    if index >= len(steps):
        return _make_safe(_at(state, index), Phase.DONE)
    step = steps[index]
    if state.seeking is not None and state.seeking.index != index and state.place.back_to != state.seeking.index:
        state = replace(state, seeking=None)
    if state.instruments.to_meet and set(step.roles) & set(state.instruments.to_meet):
        return _to(_at(state, index), Phase.MEETING)
    if setting.weak and state.consented is None:
        return _to(_at(state, index), Phase.CONSENTING)
    due = checks_due(state, step)
    if due and not state.outputs.on and not _anything_live(state):
        back = index if state.place.back_to is None else state.place.back_to
        again = (*due[1:], *((index,) if back != index else ()), *state.place.again)
        return _enter(replace(state, place=replace(state.place, back_to=back, again=again)), due[0])
    if not _is_held(state, step):
        hold = _hold_before(state, index)
        assert hold is not None, "unrolling lets nothing energise without a hold point before it"
        back_to = index if state.place.back_to is None else state.place.back_to
        return _to(replace(state, place=replace(state.place, cursor=hold, back_to=back_to)), Phase.ASKING)
    if step.kind == "seek":
        return _seek(_at(state, index), step)
    if state.heard.count and (step.index != state.place.cursor or state.phase not in STEPPING):
        state = replace(state, heard=state.heard.entered())
    if step.kind == "listen":
        return _listened(_to(_at(state, index), Phase.WAITING, left=step.seconds), state.taken, state.heard.before)
    left = state.pending.left
    if ramp is state.pending.ramp and step.seconds == left:
        return _to(_at(state, index), _PHASE_OF[step.kind])
    return _to(_at(state, index), _PHASE_OF[step.kind], left=step.seconds, ramp=ramp)


def _seek(state: State, step: Step) -> State:
    """Begin a search, or go on with it; what was asked for and not answered is asked for again."""
    seeking = state.seeking or Seeking(step.index)
    state = replace(state, seeking=seeking)
    task = seeking.step(step)
    return _to(state, Phase.ADVISING if task is None else _PHASE_OF[task.kind])


def _stands(state: State, step: Step) -> tuple[str, RampUp | None]:
    """Why a step must be passed over, and what an output that comes up follows; see rule 7."""
    assert state.setting is not None
    source = step.source
    if source.live and not any(name != state.setting.bench.role_of.get("load") for name in state.outputs.on):
        return "no output is on", None
    if step.kind in _BEHIND_HOLDS and (bar := _unguarded(state, step)):
        return bar, None
    if source.lift and _anything_live(state):
        return "something is live, and no bond is lifted then", None
    match source:
        case Energise():
            bar = _doubt(state, step, {step.subject, *step.touches, *source.at}) or _elsewhere(state, source)
            bar = bar or _unguarded(state, step)
            if bar:
                return bar, None
            found = state.setting.prepared(step, state.conditions)
            return found.refusal, found.ramp
        case Do(energises=True):
            bar = _doubt(state, step, {*source.close, *source.switch_on, *source.proven}, {"look", "gate"})
            bar = bar or _unguarded(state, step)
            if bar:
                return bar, None
    bar = _doubt(state, step, set(source.proven)) if source.proven else ""
    # what was disturbed is read again from the hold point; what failed ends there
    return ("" if step.kind == "hold" and bar.endswith(_VOID) else bar), None


_BEHIND_HOLDS: Final = frozenset({"measure", "seek", "zero", "prove", "ask", "listen", "send"})
"""Kinds of step that are passed over where the hold point before them was, besides what energises."""


def _unguarded(state: State, step: Step) -> str:
    """Why nothing is read or made live here: the hold point that guards it was passed over; else empty."""
    assert state.setting is not None
    if state.setting.began.edition < 4:
        return ""
    index = _hold_before(state, step.index)
    made = state.kept.made.get(index) if index is not None else None
    if index is None or made is None or not made.outcome.barred or made.outcome.verdict != "skipped":
        return ""
    return f"'{state.setting.plan.steps[index].title}' was not passed"


def _elsewhere(state: State, source: Energise) -> str:
    """Why the bench supply does not feed what a step wants fed: its leads are elsewhere; empty where they are there.

    Where nobody ever said where they are, the step's own word is taken: so it was before leads were moved by acts.
    """
    said = state.conditions.handled.said("connection", BENCH_SUPPLY)
    if not said:
        return ""
    there = {name for mark in said for name in mark.change.where if mark.change.state == "connected"}
    if there == set(source.at):
        return ""
    where = f"at {', '.join(sorted(there))}" if there else "on nothing"
    return f"the bench supply's leads are {where}, and not at {', '.join(source.at)}"


def _spared(state: State, step: Step) -> str:
    """Why nobody is asked: nothing is wrong, all is known already, or it is proven; empty where somebody is."""
    assert state.setting is not None
    source, handled = step.source, state.conditions.handled
    match source:
        case Gate() if not state.setting.missing(source.shelf):
            return f"Proven by the records: all that {source.shelf} needs."
        case Look() if source.expect:
            states = {handled.state(source.kind, name) for name in source.names}
            return f"Not needed: all are {' or '.join(sorted(states))}." if states <= set(source.expect) else ""
        case Do(open=[_, *_] as opened) if source == Do(title=source.title, text=source.text, open=opened):
            said = [handled.said("breaker", name) for name in opened]
            left = all(marks and all(m.record == "" and m.change.state == "open" for m in marks) for marks in said)
            if left and state.setting.began.edition > 1:
                return f"Not needed: {', '.join(opened)} open already, as this walk left it."
    names = source.unless_proven
    if not names or _doubt(state, step, set(names)):
        return ""
    return f"Not needed: nothing is wrong with {', '.join(names)}."


_BARRING: Final = frozenset({"measure", "energise", "look", "gate", "ask", "listen"})
"""Kinds of step that keep things off where they did not come out as they should."""


def _doubt(state: State, step: Step, names: set[str], kinds: Collection[str] = _BARRING) -> str:
    """The first earlier reading about these names that does not count as a pass; empty where all do."""
    assert state.setting is not None
    plant, steps = state.setting.plant, state.setting.plan.steps
    for index, outcome in results(state).items():
        earlier = steps[index]
        if index >= step.index or earlier.kind not in kinds:
            continue
        excused = outcome.verdict == "skipped" and not outcome.barred and not earlier.source.keeps_off
        if outcome.verdict in ("pass", "done") or excused:
            continue
        # what the walk passed over itself says nothing new of what is shared with other loads
        itself = outcome.barred and state.setting.began.edition > 1
        # a neighbour is read while a shelf is fed: one that stays off feeds no neighbour
        apart = earlier.kind == "energise" or (earlier.source.live and state.setting.began.edition > 5)
        about = {earlier.subject, *(() if itself and apart else earlier.touches)}
        if itself:
            about -= set(plant.supplies)
        # what is wrong at one inlet of a shelf keeps the whole shelf off
        inlets = (plant.terminals.get(name) for name in list(about))
        about |= {end.owner for end in inlets if end is not None and end.kind == "inlet"}
        if earlier.kind == "energise":
            # the way there is shared with loads that have nothing to do with it
            about = {name for name in about if name == earlier.subject or name in plant.shelves or name in plant.inlets}
        if about & names:
            return f"'{earlier.title}' does not count as passed ({outcome.verdict})"
    return ""


_VOID: Final = "(void)"


def _anything_live(state: State) -> bool:
    """Whether an output of the bench or a supply of the plant is on, as far as the walk knows."""
    return bool(state.outputs.on or state.conditions.handled.live)


def _made_live_at(state: State) -> int | None:
    """The first step of those that switched on by hand what is still live; None where nothing is."""
    assert state.setting is not None
    live, steps = state.conditions.handled.live, state.setting.plan.steps
    if not live:
        return None
    done = [steps[index] for index, outcome in state.kept.latest.items() if outcome.verdict == "done"]
    return min((step.index for step in done if live & set(step.source.switch_on)), default=None)


def _hold_before(state: State, index: int) -> int | None:
    """The hold point that guards a step: the last one before it."""
    assert state.setting is not None
    return state.setting.plan.guards[index]


def _is_held(state: State, step: Step) -> bool:
    """Whether a step may come up, as far as hold points go."""
    return not step.source.energises or _hold_before(state, step.index) in state.outputs.held


def _maybe_on(state: State) -> State:
    """The same, with an output that is being switched on counted as on: nobody will hear how that went."""
    step = state.step
    if state.phase not in (Phase.SWITCHING, Phase.ENERGISING) or step is None or not step.source.energises:
        return state
    met = state.instruments.met.get(step.role or "")
    if met is None:
        return state
    state = _noted_output(state, [Change("output", met.instrument, "may be on")], state.taken)
    outputs = replace(state.outputs, on={met.instrument: step.index, **state.outputs.on})
    return replace(state, outputs=outputs)


def _noted_output(state: State, changes: Iterable[Change], nth: int) -> State:
    """The same, with outputs of instruments noted as they were left; no hand did it."""
    handled = state.conditions.handled.after(changes, nth, at=state.at)
    return replace(state, conditions=replace(state.conditions, handled=handled))


def _keep(state: State, outcome: Made) -> State:
    return replace(state, kept=state.kept.with_outcome(outcome))


def _advance(state: State, made: Made) -> State:
    """Keep a step's outcome and begin the next one; within a search: ask what comes next."""
    seeking = state.seeking
    if seeking is not None and seeking.index == made.index and seeking.advised is not None:
        outcome = replace(made.outcome, asked=state.step)
        state = replace(state, seeking=seeking.answered(outcome.n, outcome), kept=state.kept.in_history(outcome))
        # a reading that was skipped after trouble leaves its instrument to be met first
        return _enter(state, state.place.cursor)
    return _end_step(state, made)


def _end_step(state: State, outcome: Made) -> State:
    state = _keep(state, outcome)
    if state.seeking is not None and state.seeking.index == outcome.index:
        state = replace(state, seeking=None)
    state, index = _onward(state, state.place.cursor)
    return _enter(state, index)


def _answered(state: State, event: e.Answered, nth: int) -> State:
    step = state.step
    assert step is not None and state.setting is not None
    answer = event.answer.strip()
    match step.source:
        case Hold() as hold:
            if answer.casefold() != hold.word.casefold():
                raise Refused(f"this hold point wants the word {hold.word}")
            if hold.proven and (bar := _doubt(state, step, set(hold.proven))):
                raise Refused(f"this hold point is not passed now: {bar}; go back and read it again")
            state = replace(state, outputs=replace(state.outputs, held=state.outputs.held | {step.index}))
        case AskStep() as ask:
            state = replace(state, conditions=state.conditions.with_answer(ask, answer, Refused))
            if ask.name == "capacitors":
                return _advance(state, Outcome.of_capacitors(step, nth, answer, ask.most, state.at))
            if ask.name == "dial":
                return _advance(state, replace(Outcome.done(step, nth), said=f"Dial: {answer}.", answer=answer))
        case Look() as look:
            return _looked(state, step, look, event, nth)
        case Gate():
            return _advance(state, _reasoned(state, step, answer, event, nth))
        case Do(beeps=None) as act:
            conditions = state.conditions.after(act, nth, event.by or state.seat, state.at)
            return _advance(replace(state, conditions=conditions), Outcome.done(step, nth, conditions.handled))
        case Do():
            beeps = BEEPS.get(answer.casefold())
            if beeps is None:
                raise Refused("answer yes if the tester beeps, or no if it is silent")
            return _advance(state, Outcome.beeped(step, nth, beeps))
    return _advance(state, Outcome.done(step, nth))


def _looked(state: State, step: Step, look: Look, event: e.Answered, nth: int) -> State:
    """Somebody said how things stand. What contradicts what was said before is told: nobody explained it."""
    assert state.setting is not None
    try:
        changes = look.answered(event.answer)
    except ValueError as error:
        raise Refused(str(error)) from error
    against = unexplained(state, look, changes)
    remark = " ".join(
        f"Unexplained change: {change.name} is {change.state} and was {mark.change.state} {said_by(mark)}."
        for change, mark in against
    )
    conditions = state.conditions
    handled = conditions.handled.after(changes, nth, event.by or state.seat, state.at)
    told = "; ".join(
        f"{', '.join(one.name for one in changes if one.state == left)} {left}"
        for left in dict.fromkeys(change.state for change in changes)
    )
    wrong = [change for change in changes if look.expect and change.state not in look.expect]
    outcome = replace(Outcome.done(step, nth, handled), said=f"Found: {told}.", remark=remark)
    if wrong:
        named = ", ".join(f"{change.name} is {change.state}" for change in wrong)
        wanted = " or ".join(look.expect)
        sentence = f"Fail: {named}, and {wanted} is wanted. Nothing is brought up: put it right, look again."
        outcome = replace(outcome, verdict="fail", said=sentence)
    feeding = conditions.fed and replace(conditions.fed, closed=handled.closed)
    conditions = replace(conditions, handled=handled, fed=feeding)
    return _advance(replace(state, conditions=conditions), outcome)


def unexplained(state: State, look: Look, changes: Iterable[Change]) -> list[tuple[Change, Mark]]:
    """What somebody found otherwise than it was said to be, with who said so.

    What this walk itself had found wrong, and wanted put right, is explained.
    """
    return [
        (change, mark)
        for change in changes
        for mark in known(state, change.kind, change.name)
        if mark.change.state != change.state and (mark.record or change.state not in look.expect)
    ]


def known(state: State, kind: Kind, name: str) -> tuple[Mark, ...]:
    """What is said of a thing so far: by this walk, or else by the records before it."""
    assert state.setting is not None
    return state.conditions.handled.said(kind, name) or state.setting.found.said(kind, name)


def said_by(mark: Mark) -> str:
    """When something was said, by whom and where."""
    where = ", ".join(filter(None, (mark.by, f"record {mark.record}" if mark.record else "this walk")))
    return f"on {day(mark.at)} ({where})" if mark.at else f"({where})"


def _reasoned(state: State, step: Step, reason: str, event: e.Answered, nth: int) -> Outcome:
    """Somebody goes on without proof, for a reason and by name."""
    assert state.setting is not None
    name = event.by or state.seat or state.setting.began.operator
    if not reason:
        raise Refused("going on without proof needs a reason, in words")
    if not name:
        raise Refused("going on without proof needs a name: begin the walk with --operator")
    missing = "; ".join(state.setting.missing(step.subject))
    sentence = f"{UNPROVEN}{missing}. {name} goes on all the same: {reason}"
    return replace(Outcome.done(step, nth), said=sentence)


def _placed(state: State, event: e.Answered, nth: int) -> State:
    step, facts = state.step, by_eye_at(state)
    if step is None or facts is None:
        return _to(state, Phase.MEASURING)
    typed = (*state.pending.typed, event.answer)
    if step.source.times:
        return _one_of_several(state, step, facts, event, typed)
    why = _asked_again(state, step, facts, event, nth)
    if why:
        return _to(state, Phase.PLACING, typed=typed, doubt=why, asked_at=state.pending.asked_at)
    return _to(state, Phase.MEASURING, typed=typed)


def _one_of_several(
    state: State, step: Step, facts: InstrumentFacts, event: e.Answered, typed: tuple[str, ...]
) -> State:
    """One figure of a test that stays on, each at its second by the walk's clock; the last one is the reading."""
    displays = facts.displays.get(by_eye.function_of(step)[1], [])
    shown = by_eye.read_from(event.answer, displays)
    if shown is None:
        raise Refused(f"Type {by_eye.wanted(displays)}.")
    moments = [one.value for one in step.source.times]
    asked_at = state.pending.asked_at
    why = by_eye.doubt(shown, displays) or by_eye.too_soon(moments[len(typed) - 1], asked_at, state.at)
    if why:
        raise Refused(why)
    if len(typed) == len(moments):
        return _to(state, Phase.MEASURING, typed=typed)
    told = f"Keep the test on. When {moments[len(typed)]:g} s have gone since it began, type what it shows then."
    return _to(state, Phase.PLACING, typed=typed, doubt=told, asked_at=asked_at)


def _asked_again(state: State, step: Step, facts: InstrumentFacts, event: e.Answered, nth: int) -> str:
    """Why what was typed does not count yet; empty where it does. The same typed twice in a row is believed.

    So is a failing figure where the one before would have failed as well and was no more than its uncertainty away,
    and any third one.

    By the sequence's own rules and by the accuracy that the record has, however it is judged later: what was asked
    again then was asked again.
    """
    assert state.setting is not None
    displays = facts.displays.get(by_eye.function_of(step)[1], [])
    shown = by_eye.read_from(event.answer, displays)
    if shown is None:
        raise Refused(f"Type {by_eye.wanted(displays)}.")
    why = by_eye.doubt(shown, displays)
    if by_eye.impossible(shown, displays):
        return why
    today = state.setting.began.edition > 2
    source = step.source
    if today and not event.read_by and source.after is not None:
        soon = by_eye.too_soon(source.after.value, state.pending.asked_at, state.at)
        if soon:
            return soon
    if state.pending.typed and by_eye.read_from(state.pending.typed[-1], displays) == shown:
        return ""
    if why:
        return why
    read = by_eye.reading(facts, step, (event.answer,), state.number)
    try:
        outcome, _ = state.setting.judge(step, read, nth, state.conditions, Rules(), state.at)
    except OverflowError as error:
        raise Refused("a reading so large that nothing can be computed from it") from error
    if outcome.verdict == "fail":
        doubt = _looked_again(state, shown, displays, outcome.figure.expanded)
        now = state.conditions
        # two places conduct that should be apart
        conducts = outcome.bounds.high is None and outcome.figure.value is not None
        lead = stays(state, step) if conducts else None
        if lead is not None:
            first = lead.if_beside
        else:
            first = look_first(state.setting.plant, step, outcome, volts_on(now.fed, now.handled.live))
        return f"{doubt} {first}".strip() if doubt else ""
    bare = shown.over and shown.on is None and shown.display is None and shown.resolution == 1.0
    if state.setting.began.edition > 4:
        why = by_eye.otherwise(shown, event.answer, displays)
        if why:
            return why
    if state.setting.began.edition > 3 and bare and outcome.verdict == "undecided":
        return by_eye.WHICH_RANGE
    return _odd(state, step, shown, event.answer, facts) if today else ""


def _looked_again(state: State, shown: by_eye.Shown, displays: list[Display], expanded: float | None) -> str:
    """Why a figure that would fail does not count yet; empty where somebody looked again, and it would fail still."""
    assert state.setting is not None
    if state.setting.began.edition < 8 or not state.pending.doubt.startswith((by_eye.WOULD_FAIL, by_eye.UNSTEADY)):
        return by_eye.WOULD_FAIL
    if state.pending.doubt.startswith(by_eye.UNSTEADY):
        return ""
    before = by_eye.read_from(state.pending.typed[-1], displays)
    if before is None or before.value is None or shown.value is None or expanded is None:
        return by_eye.UNSTEADY
    return "" if abs(before.value - shown.value) <= expanded else by_eye.UNSTEADY


def _odd(state: State, step: Step, shown: by_eye.Shown, text: str, facts: InstrumentFacts) -> str:
    """Why a figure that would not fail is asked about once: it is far off, or it is the one before."""
    assert state.setting is not None
    expected = None
    if isinstance(step.source, Measure):
        try:
            expected = state.setting.limit(step, state.conditions).expected
        except JudgeError:
            expected = None
    why = by_eye.unlikely(shown, expected)
    if why:
        return why
    before = next(
        (one for one in state.kept.history or () if one.reading is not None and one.reading.instrument == facts.name),
        None,
    )
    if before is None or before.index == step.index:
        return ""
    was = state.setting.step_of(before)
    return by_eye.same_again(text, before.reading, _alike(was, step))


def _alike(was: Step, step: Step) -> bool:
    """Whether two readings are of the same kind of thing, such as two wires of a cable."""
    return was.kind == step.kind and was.section == step.section and was.role == step.role


def by_eye_at(state: State) -> InstrumentFacts | None:
    """The instrument that a person reads for the step under way; None where it answers by itself."""
    step = state.step
    if step is None or state.setting is None or step.role is None:
        return None
    facts = state.setting.bench.for_role(step.role)
    return facts if facts is not None and facts.by_eye else None


def typed_reading(state: State, number: int) -> e.Read:
    """The reading that was typed for the step under way."""
    step, facts = state.step, by_eye_at(state)
    assert step is not None and facts is not None
    return by_eye.reading(facts, step, state.pending.typed, number)


def by_knobs_at(state: State) -> InstrumentFacts | None:
    """The supply that a person sets by its knobs for the step under way; None where it has a port, or none is set."""
    facts = by_eye_at(state) if state.phase in (Phase.ENERGISING, Phase.SWITCHING) else None
    return facts if facts is not None and facts.outputs else None


def unsafe_by_hand(state: State) -> tuple[str, ...]:
    """Supplies that a person sets by their knobs and that nobody has said to be off, where that is the trouble."""
    trouble = state.pending.trouble
    if state.setting is None or trouble is None or trouble.kind != "unsafe":
        return ()
    known = {one.name for one in state.setting.bench.instruments if one.by_eye}
    return tuple(name for name in state.outputs.unconfirmed if name in known)


def _turned_up(state: State, event: e.Answered, nth: int) -> State:
    """A person who turns a supply up by its knobs typed what its ammeter shows, or that it is off."""
    ramp = state.pending.ramp
    if by_knobs_at(state) is None or ramp is None:
        # this output is brought up over its line: nothing is typed for it
        raise OutOfTurn(state.phase, event)
    if by_knobs_course(state).over:
        raise Refused("all is typed already")
    if not by_knobs.understood(event.answer, _ammeter_shows(state)):
        raise Refused("Type what its ammeter shows, LIMIT if it is at its limit, or OFF when it is off.")
    before, was = state.pending, by_knobs_course(state)
    typed, at = (*before.typed, event.answer), (*before.typed_at, (before.asked_at, state.at))
    after = _to(state, Phase.ENERGISING, typed=typed, typed_at=at, ramp=ramp)
    now = by_knobs_course(after)
    # how long a level has stood is counted from when it was asked for, and not from the line before
    moved = (now.level, now.soaking) != (was.level, was.soaking)
    asked_at = state.at if moved else before.asked_at
    return replace(after, pending=replace(after.pending, asked_at=asked_at, doubt=now.said))


def by_knobs_course(state: State) -> by_knobs.Course:
    """How far a supply has come that a person sets by its knobs."""
    assert state.pending.ramp is not None
    return by_knobs.course(state.pending.ramp, _knob_lines(state), _ammeter_shows(state))


def _knob_lines(state: State) -> list[by_knobs.Typed]:
    told = zip(state.pending.typed, state.pending.typed_at, strict=True)
    return [by_knobs.Typed(text, asked, at) for text, (asked, at) in told]


def _ammeter_shows(state: State) -> list[Display]:
    """What the ammeter of a supply that is set by its knobs can show: its own, or one in its lead."""
    step, setting = state.step, state.setting
    assert step is not None and setting is not None
    facts = setting.bench.for_role("amps" if "amps" in step.roles else "supply")
    return [] if facts is None else facts.displays.get("current", [])


def _switched_by_hand(state: State, event: e.Answered, nth: int) -> State:
    """A person switched a supply at its knob and typed the word for it."""
    step = state.step
    if by_knobs_at(state) is None or step is None or not isinstance(step.source, Set):
        # this output is switched over its line: nothing is typed for it
        raise OutOfTurn(state.phase, event)
    if state.pending.typed:
        raise Refused("it is said already")
    if event.answer.strip().upper() != step.source.output.upper():
        raise Refused(f"type {step.source.output.upper()} when its output is {step.source.output}")
    return _to(state, Phase.SWITCHING, typed=(event.answer,))


def by_hand_done(state: State, number: int) -> e.Energised | e.Switched | None:
    """What a person did at the knobs of a supply, once all of it is typed; None before."""
    step, facts = state.step, by_knobs_at(state)
    if step is None or facts is None or state.setting is None:
        return None
    if isinstance(step.source, Set):
        if not state.pending.typed:
            return None
        raw = list(state.pending.typed)
        return e.Switched(number=number, instrument=facts.name, state=step.source.output, confirmed=True, raw=raw)
    now = by_knobs_course(state)
    if not now.over:
        return None
    meter = state.setting.bench.role_of.get("amps", "") if "amps" in step.roles else ""
    return by_knobs.energised(now, _knob_lines(state), number, facts.name, meter)


def _read(state: State, event: e.Read, nth: int) -> State:
    step = state.step
    assert step is not None and state.setting is not None
    # what the runner made of it then is for people and other tools; it is not even carried along
    facts = replace(event, judged={}) if event.judged else event
    try:
        made, conditions = state.setting.take(step, facts, nth, state.conditions, state.rules, state.at)
    except OverflowError as error:
        raise Refused("a reading so large that nothing can be computed from it") from error
    return _advance(state if conditions is state.conditions else replace(state, conditions=conditions), made)


def _switched(state: State, event: e.Switched, nth: int) -> State:
    step = state.step
    assert step is not None and isinstance(step.source, Set)
    source = step.source
    wanted = source.output
    if not event.confirmed or event.state != wanted:
        found = f"did not confirm that its output is {wanted}"
        if event.confirmed:
            found = f"was to go {wanted}, but its output reads back as {event.state}"
        trouble = e.Troubled(
            number=event.number,
            instrument=event.instrument,
            kind="unconfirmed",
            what=f"{event.instrument} {found}",
            advice="Look at the instrument. Make it safe by hand if in doubt.",
        )
        return _troubled(state, trouble, nth)
    volts = source.voltage.value if source.voltage is not None and wanted == "on" else None
    state = _noted_output(state, [Change("output", event.instrument, wanted, volts=volts)], nth)
    if event.already:
        what = (
            f"The output of {event.instrument} was off already when it was to go off: it tripped, or somebody switched "
            "it off, since the last reading that needed it."
        )
        state = replace(state, kept=replace(state.kept, notes=(*state.kept.notes, (nth, e.Noted(text=what)))))
    if wanted == "off":
        outputs = state.outputs.set_off(event.instrument)
        if source.by == "supply":
            state = replace(state, conditions=replace(state.conditions, fed=None))
    else:
        outputs = state.outputs.set_on(event.instrument, step.index)
    return _advance(replace(state, outputs=outputs), Outcome.done(step, nth))


def _energised(state: State, event: e.Energised, nth: int) -> State:
    step = state.step
    setting = state.setting
    assert step is not None and isinstance(step.source, Energise) and setting is not None
    try:
        outcome = setting.judge_energised(step, event, nth, state.conditions, state.rules, state.at)
    except OverflowError as error:
        raise Refused("a current so large that nothing can be computed from it") from error
    if not event.confirmed or (event.state == "on") != (event.why == "done"):
        trouble = e.Troubled(
            number=event.number,
            instrument=event.instrument,
            kind="unconfirmed",
            what=f"{event.instrument} did not confirm its output {'on' if event.why == 'done' else 'off'}",
            advice="Look at the instrument. Switch it off by hand if in doubt.",
        )
        return _troubled(_keep(state, outcome), trouble, nth)
    source = step.source
    change = Change("output", event.instrument, "off")
    if event.state == "on":
        change = Change("output", event.instrument, "on", tuple(source.at), source.voltage.value)
    state = _noted_output(state, [change], nth)
    conditions = replace(state.conditions, fed=None)
    state = replace(state, pending=replace(state.pending, ramp=None))
    if event.state == "on":
        outputs = state.outputs.set_on(event.instrument, step.index)
        on = fed(source, setting.plant, conditions.handled.closed, conditions.handled.out)
        return _advance(
            replace(
                state,
                outputs=outputs,
                conditions=replace(conditions, fed=replace(on, drawn=outcome.figure.value)),
            ),
            outcome,
        )
    # it tripped: what people agreed to was for a load that is sound
    outputs = state.outputs.set_off(event.instrument).let_go()
    return _advance(replace(state, outputs=outputs, conditions=conditions), outcome)


def _advised(state: State, event: e.Advised, nth: int) -> State:
    step, seeking = state.planned, state.seeking
    assert step is not None and seeking is not None
    if isinstance(event.want, Found):
        return _end_step(state, Outcome.concluded(step, nth, event.want, state.at))
    if event.want.energises:
        raise Refused("a search never makes anything live")
    if event.want.lift and _anything_live(state):
        raise Refused("something is live, and no bond is lifted then")
    seeking = replace(seeking, advised=event, facts=event.facts)
    task = seeking.step(step)
    assert task is not None
    return _to(replace(state, seeking=seeking), _PHASE_OF[task.kind])


def _elapsed(state: State, event: e.Elapsed, nth: int) -> State:
    step = state.step
    assert step is not None
    if not 0 <= event.seconds < math.inf:
        raise Refused("time does not run backwards")
    left = state.pending.left - event.seconds
    if left > 1e-9:
        return _to(state, Phase.WAITING, left=left)
    if step.kind == "listen":
        return _advance(state, Outcome.listened(step, nth, state.at, ""))
    return _advance(state, Outcome.done(step, nth))


def _said(state: State, event: e.Said, nth: int) -> State:
    """A console of the plant said something: it may be what is waited for, or what is dreaded."""
    known, setting = state.heard.count, state.setting
    state = replace(state, heard=state.heard.after(event, state.at))
    if setting is None or state.finished:
        return state
    if state.phase is Phase.WAITING and state.step is not None and state.step.kind == "listen":
        state = _listened(state, nth, known)
    if state.phase is Phase.PAUSED and state.heard.dreaded:
        return state
    for one in setting.plan.sequence.dreads:
        line = next((text for _, text in event.lines if one.text in text and one.console in ("", event.console)), None)
        if line is not None:
            return _stopped(state, f"{event.console} said '{line}'")
    return state


def _listened(state: State, nth: int, known: int) -> State:
    """What came of a step that listens, by the lines after a number of them; the same where nothing did."""
    step = state.step
    assert step is not None and isinstance(step.source, Listen)
    source = step.source
    for _, _, console, text in state.heard.since(known):
        if console != source.console:
            continue
        if any(one in text for one in source.dreads):
            failed = _advance(state, Outcome.listened(step, nth, state.at, "", text))
            return _stopped(failed, f"{console} said '{text}'")
        if source.expect in text:
            return _advance(state, Outcome.listened(step, nth, state.at, text))
    return state


def _stopped(state: State, why: str) -> State:
    """The walk rests, outputs off, since something was said that is dreaded."""
    state = replace(state, heard=replace(state.heard, dreaded=why))
    final = state.phase is Phase.SAFING and state.place.then is not Phase.MEETING
    on = state.outputs.on or state.outputs.unconfirmed or state.outputs.held
    if final or state.finished or (state.phase is Phase.PAUSED and not on):
        return state  # it ends, or rests, already
    return _paused(state, e.Paused(why=why, make_safe=True), state.taken)


def _tripped(state: State, event: e.Tripped, nth: int) -> State:
    assert state.setting is not None
    plant = state.setting.plant
    if event.thing not in plant.breakers and event.thing not in plant.shelves:
        hint = near(event.thing, [*plant.breakers, *plant.shelves])
        raise Refused(f"'{event.thing}' is no breaker or shelf of the plant{f'; {hint}' if hint else ''}")
    return state  # whoever asks what such events have in common finds it in the record


def _sending(state: State, event: e.Sending, nth: int) -> State:
    step = state.step
    if step is None or not isinstance(step.source, Send):
        raise Refused("nothing is sent but by a step that says what")
    return state


def _skipped(state: State, event: e.Skipped, nth: int) -> State:
    step = state.step
    assert step is not None
    _refuse_unsafe(state)
    if step.kind not in SKIPPABLE:
        raise Refused(f"a {step.kind} step is not skipped; abort the walk if it cannot be done")
    if not event.reason.strip():
        raise Refused("skipping needs a reason, in words")
    state = _without_trouble(state)
    if event.whole and state.planned is not None:
        return _end_step(state, Outcome.skipped(state.planned, nth, event))
    return _advance(state, Outcome.skipped(step, nth, event))


def _went(state: State, event: e.Went, nth: int) -> State:
    assert state.setting is not None
    steps = state.setting.plan.steps
    _refuse_unsafe(state)
    stood = state.place.reached
    if not 0 <= event.to <= stood:
        raise Refused("only a step that was reached before can be chosen")
    state = _maybe_on(state)
    if event.to < min(state.outputs.on.values(), default=0):
        raise Refused("an output is on, and that step comes before it went on: pause first, so that it is made safe")
    live_from = _made_live_at(state)
    if live_from is not None and event.to < live_from:
        live = ", ".join(sorted(state.conditions.handled.live))
        raise Refused(f"{live} is live, and that step comes before it was switched on: switch it off first")
    if not _is_held(state, steps[event.to]):
        raise Refused("that step makes something live: go to the hold point before it first")
    again = event.then == "return" and event.to != stood
    seeking = state.seeking
    if seeking is not None and event.to == seeking.index == state.place.cursor:
        seeking = seeking.back()
    elif seeking is not None and not (again and stood == seeking.index):
        seeking = None
    place = replace(state.place, back_to=stood if again else None, again=())
    return _enter(_without_trouble(replace(state, place=place, seeking=seeking)), event.to)


def _refuse_unsafe(state: State) -> None:
    if state.phase is Phase.TROUBLED and state.pending.trouble is not None and state.pending.trouble.kind == "unsafe":
        raise Refused("outputs could not be confirmed off: try again, or abort; nothing else goes on before")


def _troubled(state: State, event: e.Troubled, nth: int) -> State:
    state, step = _maybe_on(state), state.step
    advice = state.phase is Phase.ADVISING and not event.instrument
    if state.phase is not Phase.MEETING and not advice and step is not None and step.role is not None:
        # the port is suspect after trouble: the instrument answers to its name again before it is believed
        to_meet = tuple(dict.fromkeys((*state.instruments.to_meet, *step.roles, *_roles_of_lost(state, event))))
        state = replace(state, instruments=replace(state.instruments, to_meet=to_meet))
    if state.phase is Phase.ENERGISING:
        # whatever the crew has done already: off and read back before anything is decided
        return _make_safe(state, Phase.TROUBLED, trouble=event, ramp=None)
    return _to(state, Phase.TROUBLED, trouble=event)


def _roles_of_lost(state: State, event: e.Troubled) -> list[str]:
    """The roles of an instrument that is in trouble while its output is on, besides the step that reads with
    another."""
    setting = state.setting
    if setting is None or setting.began.edition < 5 or event.instrument not in state.outputs.on:
        return []
    return [role for role in setting.plan.roles if setting.bench.role_of.get(role) == event.instrument]


def _resolved(state: State, event: e.Answered, nth: int) -> State:
    trouble = state.pending.trouble
    assert trouble is not None
    by_hand = unsafe_by_hand(state)
    if by_hand and event.answer.strip().upper() != by_knobs.OFF:
        raise Refused(f"switch {', '.join(by_hand)} off at its knob; type OFF when its display shows nothing")
    if event.answer != "retry" and not by_hand:
        raise Refused("answer 'retry', skip the step with a reason, or abort")
    state = _without_trouble(state)
    if trouble.kind == "unsafe":
        then = state.place.then if state.place.then is Phase.PAUSED else Phase.MEETING
        off = [Change("output", name, "off") for name in by_hand]
        handled = state.conditions.handled.after(off, nth, event.by or state.seat, state.at)
        state = replace(state, conditions=replace(state.conditions, handled=handled))
        return _make_safe(state, then, seen_off=frozenset(by_hand))
    return _to(state, Phase.MEETING) if state.instruments.to_meet else _enter(state, state.place.cursor)


def _noted(state: State, event: e.Noted, nth: int) -> State:
    return replace(state, kept=replace(state.kept, notes=(*state.kept.notes, (nth, event))))


def _disturbed(state: State, event: e.Disturbed, nth: int) -> State:
    return replace(state, kept=replace(state.kept, disturbances=(*state.kept.disturbances, (nth, event))))


def _paused(state: State, event: e.Paused, nth: int) -> State:
    if state.phase is Phase.PAUSED and not (
        event.make_safe and (state.outputs.on or state.outputs.unconfirmed or state.outputs.held)
    ):
        raise Refused("the walk is paused already")
    state = _maybe_on(state)
    if event.make_safe:
        # nobody is there: what was held is held by nobody any more
        state = replace(state, outputs=state.outputs.let_go())
    resting = replace(state, pending=replace(state.pending, why_paused=event.why))
    if state.phase is Phase.SAFING:
        if state.place.then is not Phase.MEETING:
            raise Refused("outputs are being made safe already")
        # the same request stays open: being made safe is not begun anew
        return replace(resting, place=replace(state.place, then=Phase.PAUSED))
    if (event.make_safe or state.phase is Phase.ENERGISING) and (state.outputs.on or state.outputs.unconfirmed):
        return _make_safe(resting, Phase.PAUSED, trouble=None)
    if state.phase is Phase.PAUSED:
        return resting
    return _to(replace(resting, place=replace(state.place, then=state.phase)), Phase.PAUSED)


def _continued(state: State, event: e.Continued, nth: int) -> State:
    state = replace(state, pending=replace(state.pending, why_paused=""))
    if state.place.then is Phase.WAITING and state.pending.left > 0:
        return _to(state, Phase.WAITING)
    if state.place.then in STEPPING:
        # hands have left the probes, and somebody else may stand there: the step begins anew
        return _enter(state, state.place.cursor)
    return _to(state, state.place.then)


def _seated(state: State, event: e.Seated, nth: int) -> State:
    return replace(state, seat=event.by)


def _resumed(state: State, event: e.Resumed, nth: int) -> State:
    setting = state.setting
    assert setting is not None
    roles = setting.plan.roles
    if event.bench is not None:
        # other meters, other leads: what they can prove is asked anew, and no old zero is taken off
        changed, zeros = _other_on(setting.bench, event.bench), {}
        if setting.began.edition > 3:
            zeros = {name: ohms for name, ohms in state.conditions.zeros.items() if name not in changed}
            state = _came_in(state, changed, nth)
        setting, conditions = _sound(setting.with_bench(event.bench)), replace(state.conditions, zeros=zeros)
        state = replace(state, setting=setting, conditions=conditions, consented=None)
    if event.gates is not None:
        state = replace(state, setting=setting.with_gates(event.gates))
    final = state.phase is Phase.SAFING and state.place.then in (Phase.DONE, Phase.ABORTED)
    if event.zero_again and not final:
        state = _zero_again(state)
    instruments = replace(state.instruments, met={}, to_meet=() if final else roles)
    then = state.place.then if final else Phase.MEETING
    return _make_safe(replace(state, instruments=instruments, seat=""), then, trouble=None, why_paused="")


def _other_on(before: BenchFacts, after: BenchFacts) -> list[str]:
    """Instruments that are not those of the bench before: other figures, leads or calibration, or another role."""

    def alike(one: InstrumentFacts | None) -> InstrumentFacts | None:
        return None if one is None else replace(one, roles=[], title="", due="")

    other = [one.name for one in after.instruments if alike(before.instrument(one.name)) != alike(one)]
    moved = [name for role, name in after.role_of.items() if before.role_of.get(role, name) != name]
    return [*other, *moved]


def zeros_before(state: State) -> tuple[Step, ...]:
    """The steps that last zeroed the leads of readings that are still to come, one for each meter."""
    if state.setting is None:
        return ()
    steps, stands = state.setting.plan.steps, state.place.reached
    last = {step.role: step for step in steps[:stands] if step.kind == "zero"}
    wanted = {step.role for step in steps[stands:] if step.reads}
    return tuple(sorted((step for role, step in last.items() if role in wanted), key=attrgetter("index")))


def zeroed(state: State) -> list[tuple[Step, str]]:
    """Those of them that were taken, with the meter whose leads they are."""
    made = ((zero, state.kept.latest.get(zero.index)) for zero in zeros_before(state))
    return [(zero, kept.reading.instrument) for zero, kept in made if kept is not None and kept.reading is not None]


def _zero_again(state: State) -> State:
    """The same, with the last zero of each meter's leads to be taken again before any reading; as it is where none is
    wanted."""
    made = zeroed(state)
    if not made or state.outputs.on or _anything_live(state):
        return state
    void = {name for _, name in made}
    zeros = {name: ohms for name, ohms in state.conditions.zeros.items() if name not in void}
    first, *others = (zero.index for zero, _ in made)
    place = replace(state.place, cursor=first, back_to=state.place.reached, again=(*others, *state.place.again))
    return replace(state, conditions=replace(state.conditions, zeros=zeros), place=place)


def _guarded(state: State, event: e.Guarded, nth: int) -> State:
    """Outputs went off beside the walk. What is to be passed again follows when it is resumed, as ever."""
    told = event.confirmed.items()
    changes = [Change("output", name, "off" if confirmed else "may be on") for name, confirmed in told]
    off = frozenset(name for name, confirmed in told if confirmed)
    return _seen_off(_noted_output(state, changes, nth), state.pending.seen_off | off)


def _outputs_seen(state: State, event: e.OutputsSeen, nth: int) -> State:
    changes = [Change("output", name, found) for name, found in event.states.items()]
    handled = state.conditions.handled.after(changes, nth, event.by, state.at)
    off = frozenset(name for name, found in event.states.items() if found == "off")
    on = frozenset(event.states) - off
    state = replace(state, conditions=replace(state.conditions, handled=handled))
    return _seen_off(state, (state.pending.seen_off | off) - on)


def _seen_off(state: State, names: frozenset[str]) -> State:
    return replace(state, pending=replace(state.pending, seen_off=names))


def _attached(state: State, event: e.Attached, nth: int) -> State:
    return state  # whoever reads the record finds it there; nothing follows from it


def _mended(state: State, event: e.Mended, nth: int) -> State:
    return state


def _aborted(state: State, event: e.Aborted, nth: int) -> State:
    if state.phase is Phase.SAFING and state.place.then is Phase.DONE:
        return state  # every step is done already; the outputs go safe anyway
    if state.phase is Phase.SAFING and state.place.then is Phase.ABORTED:
        raise Refused("the walk is being given up already")
    return _make_safe(state, Phase.ABORTED, trouble=None)


Handler = Callable[[State, "e.Event", int], State]

_HANDLERS: Final[dict[str, Callable[..., State]]] = {
    handler.__name__.removeprefix("_"): handler
    for handler in (
        _began,
        _made_safe,
        _met,
        _consented,
        _answered,
        _placed,
        _read,
        _switched,
        _switched_by_hand,
        _energised,
        _turned_up,
        _elapsed,
        _advised,
        _resolved,
        _continued,
        _troubled,
        _skipped,
        _went,
        _paused,
        _noted,
        _disturbed,
        _seated,
        _resumed,
        _mended,
        _aborted,
        _guarded,
        _outputs_seen,
        _attached,
        _said,
        _sending,
        _tripped,
    )
}
"""What the table names."""
