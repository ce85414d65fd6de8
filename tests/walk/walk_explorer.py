"""Every state that a small walk can get into, by trying every event in every state.

States are told apart by all that decides what comes next; numbers, times and verdicts are left out, so there are
finitely many. Beside each state go a few ghosts: what a careful bystander would have noted on paper. The promises of
the machine are then checked on all of them, and the diagram is drawn from the moves between their phases.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec

from bench.quantity import Amount
from bench.sequence.file import Do, Energise, Hold, Limit, Measure, Set
from bench.sequence.file import Found as SearchEnd
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.by_knobs import OFF
from bench.walk.facts import Display
from bench.walk.state import (
    OutOfTurn,
    Phase,
    Refused,
    State,
    by_eye_at,
    by_knobs_at,
    request,
    start,
    take,
    unsafe_by_hand,
)
from tests.walk import paper_walk as paper

OUTPUT = """
sequence: an output
plant: plant.yaml
steps:
  - {step: hold, text: Everybody is clear., word: CLEAR}
  - {step: set, text: On., output: on}
  - {step: do, text: Look at the lamp.}
  - {step: wait, text: Let it warm up., time: 1 s}
  - {step: measure, read: resistance, between: [J1.1, J2.1], limit: {at-most: 2 ohm, source: set for this test}}
  - {step: set, text: Off., output: off}
"""
BY_HAND = """
sequence: by hand
plant: plant.yaml
steps:
  - {step: hold, text: Locked off., word: DEAD}
  - {step: do, text: Close F1., close: [F1]}
  - {step: wait, text: Let it rest., time: 2 s}
  - {step: measure, read: resistance, between: [J1.1, J2.1], limit: {at-most: 2 ohm, source: set for this test}}
  - {step: do, text: Switch G1 on., switch-on: [G1]}
"""
UNDER_WATCH = """
sequence: under watch
plant: plant.yaml
steps:
  - step: measure
    read: resistance
    between: [BA, RA]
    subject: G1
    limit: {at-most: 2 ohm, source: set for this test}
  - {step: hold, text: Clear to energise., word: CLEAR}
  - {step: energise, text: Bring it up., at: [G1], voltage: 48 V, current-limit: 2 A}
  - {step: set, text: Off., output: off}
"""
A_CONSOLE = """
sequence: a console
plant: plant.yaml
dreads: [{text: PANIC}]
steps:
  - {step: listen, console: unit, expect: in service, within: 3 s, dreads: [FAILED]}
  - {step: hold, text: It may test itself., word: CLEAR}
  - {step: send, console: unit, line: selftest}
"""
A_SEARCH = """
sequence: a search
plant: plant.yaml
steps:
  - {step: do, text: Look at the cable.}
  - {step: hold, text: Locked off., word: DEAD}
  - {step: do, text: Switch G1 on., switch-on: [G1]}
  - {step: seek, find: crosses, of: W1}
  - {step: do, text: Switch G1 off., switch-off: [G1]}
"""
BY_EYE = """
sequence: by eye
plant: plant.yaml
steps:
  - {step: measure, read: resistance, between: [J1.1, J2.1], limit: {at-most: 2 ohm, source: set for this test}}
  - {step: do, text: Look at the cable.}
"""
WANTS = (
    Do(text="Clip them."),
    Do(text="Switch it on.", close=["F1"]),
    Do(text="Does it beep?", beeps=("J1.1", "J2.1")),
    Measure(
        read="resistance", between=("J1.1", "J2.1"), limit=Limit(at_most=Amount(2.0, "Ω"), source="set for this test")
    ),
    SearchEnd(verdict="pass", sentence="Nothing is wrong."),
)
"""What an adviser may want; the second is never taken from one."""


@dataclass(frozen=True)
class Ghosts:
    """What a bystander would know.

    Attributes:
        safe: since the walk began or was resumed, every output was confirmed off once.
        on: the supply was told to go on and was not confirmed off since.
        passed: hold points that were passed since outputs were last confirmed off or nobody was there.
        suspect: roles of instruments that gave trouble and have not answered to their name since.
    """

    safe: bool = False
    on: bool = False
    passed: frozenset[int] = frozenset()
    suspect: frozenset[str] = frozenset()

    def after(self, before: State, event: e.Event, state: State) -> Ghosts:
        """What they know after an event."""
        now, step = self, before.step
        match event:
            case e.Began() | e.Resumed():
                now = replace(now, safe=False, suspect=frozenset())
            case e.MadeSafe(confirmed=confirmed):
                now = replace(now, passed=frozenset())
                if all(confirmed.values()):
                    now = replace(now, safe=True, on=False)
            case e.Answered() if step is not None and before.phase is Phase.ASKING and isinstance(step.source, Hold):
                now = replace(now, passed=now.passed | {step.index})
            case e.Paused(make_safe=True):
                now = replace(now, passed=frozenset())
            case e.Troubled() if step is not None and step.role and before.phase is not Phase.MEETING:
                now = replace(now, suspect=now.suspect | {step.role})
            case e.Met(roles=roles):
                now = replace(now, suspect=now.suspect - set(roles))
            case e.Switched(state=shown, confirmed=confirmed) if step is not None:
                assert isinstance(step.source, Set)
                if shown == "off" and confirmed and step.source.output == "off":
                    now = replace(now, on=False)
                if shown != step.source.output or not confirmed:
                    now = replace(now, suspect=now.suspect | {"supply"})
            case e.Energised(state=shown, confirmed=confirmed, why=why):
                if shown == "off" and confirmed:
                    # a trip ends what people had agreed to
                    now = replace(now, on=False, passed=frozenset())
                if not confirmed or (shown == "on") != (why == "done"):
                    now = replace(now, suspect=now.suspect | {"supply"})
        asked = request(state)
        if energises(state) and isinstance(asked, r.Switch | r.Energise):
            now = replace(now, on=True)  # it may go on from here
        return now


@dataclass(frozen=True)
class Found:
    """One state with its ghosts."""

    state: State
    ghosts: Ghosts

    @property
    def key(self) -> tuple[Any, ...]:
        """All that decides what comes next."""
        s = self.state
        return (
            s.phase,
            s.place.cursor,
            s.place.back_to,
            s.place.then,
            s.pending.left,
            s.outputs.held,
            tuple(s.outputs.on.items()),
            s.instruments.to_meet,
            frozenset(s.instruments.met),
            s.pending.trouble.kind if s.pending.trouble else None,
            s.outputs.unconfirmed,
            s.consented is None,
            s.pending.typed[-1:],
            self.proven,
            self.searched,
            self.ghosts,
        )

    @property
    def searched(self) -> tuple[Any, ...]:
        """Where a search stands, as far as it decides what may come."""
        seeking = self.state.seeking
        if seeking is None:
            return ()
        want = seeking.advised.want if seeking.advised is not None else None
        return (seeking.index, bool(seeking.trail), type(want), isinstance(want, Do) and want.beeps is not None)

    @property
    def proven(self) -> tuple[Any, ...]:
        """What an output under watch stands on; nothing in walks without one."""
        s = self.state
        steps = s.setting.plan.steps if s.setting is not None else ()
        if not any(step.kind == "energise" for step in steps):
            return ()
        first, last = s.kept.latest.get(0), s.kept.latest.get(2)
        barred = last is not None and last.barred
        return (first is not None and first.verdict, barred)


@dataclass
class Explored:
    """Everything that was found.

    Attributes:
        states: by key.
        moves: state, event and state of every accepted event.
        refused: phase and event type of those that the machine refused for their content.
    """

    states: dict[tuple[Any, ...], Found] = field(default_factory=dict)
    moves: list[tuple[Found, e.Event, Found]] = field(default_factory=list)
    refused: set[tuple[Phase, type]] = field(default_factory=set)


def candidates(state: State) -> Iterator[e.Event]:
    """Events of every kind, sensible or not; all with the open request's number."""
    number, step = state.number, state.step
    for answer in ("", "retry", "DEAD", "CLEAR", "yes", "n"):
        yield e.Answered(number=number, answer=answer)
    if by_eye_at(state) is not None:
        for answer in ("1.0", "9.0"):
            yield e.Answered(number=number, answer=answer)
    if by_knobs_at(state) is not None or unsafe_by_hand(state):
        yield e.Answered(number=number, answer=OFF)
    yield e.MadeSafe(number=number, confirmed={"supply": True})
    yield e.MadeSafe(number=number, confirmed={"supply": False})
    for role in ("ohms", "supply"):
        yield e.Met(number=number, instrument="supply" if role == "supply" else "meter", roles=[role], identity="1.0")
    if step is not None and step.reads:
        yield paper.reading(state, step, value=1.0)
    else:
        yield e.Read(number=number, instrument="meter", function="resistance 2w", unit="Ω", value=1.0)
    if step is not None and step.index == 0 and watched(state):
        yield paper.reading(state, step, value=5.0)
    if step is not None and step.kind == "energise":
        yield paper.brought_up(state, step)
        yield paper.brought_up(state, step, state="off", why="over")
        yield paper.brought_up(state, step, confirmed=False)
    else:
        yield e.Energised(number=number, instrument="supply", state="off", confirmed=True, why="over")
    yield e.Troubled(number=number, instrument="meter", kind="late", what="It did not answer.")
    for shown in ("on", "off"):
        yield e.Switched(number=number, instrument="supply", state=shown, confirmed=True)
    yield e.Switched(number=number, instrument="supply", state="on", confirmed=False)
    yield e.Elapsed(number=number, seconds=1.0)
    yield e.Skipped(number=number, reason="not reachable today")
    yield e.Skipped(number=number, reason="the whole of it", whole=True)
    for want in WANTS:
        yield e.Advised(number=number, want=want)
    for to in range(len(state.setting.plan.steps) if state.setting else 1):
        yield e.Went(number=number, to=to)
        yield e.Went(number=number, to=to, then="go-on")
    yield e.Said(console="unit", lines=[(0.1, "good evening")])
    yield e.Tripped(thing="F1")
    if hears(state):
        for text in ("in service", "FAILED", "PANIC"):
            yield e.Said(console="unit", lines=[(0.1, text)])
        yield e.Sending(number=number, console="unit", line="selftest")
    yield e.Noted(text="a remark")
    yield e.Disturbed(touches=["W1"])
    yield e.Paused(why="tea")
    yield e.Paused(why="the screen went away", make_safe=True)
    yield e.Continued()
    yield e.Seated(by="Ana")
    yield e.Resumed(software="0.0 test")
    yield e.Mended(bytes=1, sha256="0" * 64, kept="a file")
    yield e.Guarded(why="the runner was killed", confirmed={"supply": True})
    yield e.OutputsSeen(states={"supply": "off"}, by="Ana")
    yield e.Attached(files=[e.KeptFile(name="lug.jpg", sha256="0" * 64)], text="the lug", by="Ana")
    yield e.Aborted(why="given up")


def weakened(sequence: e.Began) -> e.Began:
    """The same beginning on a bench that cannot prove every limit, so that consent is asked for too."""
    return msgspec.structs.replace(sequence, bench=paper.WEAK)


def typed(sequence: e.Began) -> e.Began:
    """The same beginning with a meter that a person reads."""
    meter = msgspec.structs.replace(
        paper.METER, by_eye=True, displays={"resistance 2w": [Display(range=100.0, top=100.0, resolution=0.1)]}
    )
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    return msgspec.structs.replace(sequence, bench=bench)


def with_knobs(sequence: e.Began) -> e.Began:
    """The same beginning with a supply that a person sets by its knobs."""
    supply = msgspec.structs.replace(
        paper.SUPPLY, by_eye=True, displays={"current": [Display(range=10.0, top=10.0, resolution=0.01)]}
    )
    bench = msgspec.structs.replace(paper.BENCH, instruments=[paper.METER, supply])
    return msgspec.structs.replace(sequence, bench=bench)


def explore(first: e.Began) -> Explored:
    """Try every event in every state."""
    empty = Found(start(), Ghosts())
    found = Explored(states={empty.key: empty})
    waiting = [empty]
    while waiting:
        here = waiting.pop()
        tried = [first] if here.state.phase is Phase.EMPTY else []
        for event in (*tried, *candidates(here.state)):
            entry = e.Entry(n=here.state.taken + 1, at="2026-05-12T18:00:00.000000Z", event=event)
            try:
                after = take(here.state, entry)
            except OutOfTurn:
                continue
            except Refused:
                found.refused.add((here.state.phase, type(event)))
                continue
            there = Found(after, here.ghosts.after(here.state, event, after))
            found.moves.append((here, event, there))
            if found.states.setdefault(there.key, there) is there:
                waiting.append(there)
    return found


class Walks(dict[str, Explored]):
    """The small walks by name; each is explored when it is asked for.

    Args:
        folder: an empty one, for the files that they are read from.
    """

    NAMES = ("an output", "by hand", "under watch", "a search", "by eye", "by knobs", "a console")

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder

    def __missing__(self, name: str) -> Explored:
        texts = {
            "an output": OUTPUT,
            "by hand": BY_HAND,
            "under watch": UNDER_WATCH,
            "a search": A_SEARCH,
            "by eye": BY_EYE,
            "by knobs": UNDER_WATCH,
            "a console": A_CONSOLE,
        }
        first = paper.made(self._folder, texts[name]).began
        if name == "by eye":
            first = typed(first)
        if name == "by knobs":
            first = with_knobs(first)
        self[name] = explore(weakened(first) if name in ("an output", "by hand") else first)
        return self[name]

    def whole(self) -> dict[str, Explored]:
        """All of them."""
        return {name: self[name] for name in self.NAMES}


def hears(state: State) -> bool:
    """Whether the plan listens to a console of the plant."""
    return state.setting is not None and any(step.kind == "listen" for step in state.setting.plan.steps)


def watched(state: State) -> bool:
    """Whether the plan brings an output up under watch."""
    return state.setting is not None and any(step.kind == "energise" for step in state.setting.plan.steps)


def energises(state: State) -> bool:
    """Whether the open request may make something live."""
    asked = request(state)
    source = asked.step.source if isinstance(asked, r.Ask | r.Switch | r.Energise) else None
    if isinstance(source, Do):
        return source.energises
    return isinstance(source, Energise) or (isinstance(source, Set) and source.output == "on")
