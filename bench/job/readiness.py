"""Readiness: what of a plant is proven, what blocks its first power, and what to do next.

Evidence counts while nothing that it rests on was disturbed since and while the plant file still says the same about
it. Of several readings that speak for a claim the newest that is not void counts.

The order of work is greedy: the goal that clears most shelves for the least work comes first, and within it the work
that other shelves wait for too. A goal is a shelf's first power with its cards out, or its cards going in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from bench.job.claims import Claim, Claims, Key
from bench.job.damage import DAMAGED
from bench.job.order import Order
from bench.job.reach import Reaching
from bench.job.rows import Evidence, Told
from bench.plant.model import Plant
from bench.say.lists import count, some
from bench.say.times import day

Status = Literal["proven", "connected", "failing", "undecided", "void", "never tested"]
STATUSES: Final[tuple[Status, ...]] = ("failing", "undecided", "void", "never tested", "connected", "proven")
"""Worst first: a thing is as good as its worst claim. A conductor is ``connected`` where its reading leads from pin to
pin and is too coarse to tell whether its resistance is as it should be: enough for signals, not for a supply."""
Gate = Literal["first power", "cards in"]
Name = tuple[str, str]
"""A task by its kind and what it is about."""

SETUP: Final = 5.0
"""Work to set a task up, in readings: common practice, no source."""
REPAIR: Final = 10.0
"""Work to mend something that fails, in readings: common practice, no source."""
LIVE: Final = 20.0
"""Work around a live test (holds, people, isolation), in readings: common practice, no source."""


class ClaimState(msgspec.Struct, frozen=True):
    """A claim and where it stands.

    Attributes:
        claim: the claim.
        status: where it stands.
        row: the evidence that counts, or that counted before it became void.
        why: why it is not proven, in words; empty where it is.
    """

    claim: Claim
    status: Status
    row: Evidence | None = None
    why: str = ""


class ThingState(msgspec.Struct, frozen=True):
    """A shelf, feed, cable or bond and where it stands.

    Attributes:
        kind: ``shelf``, ``feed``, ``cable`` or ``bond``.
        name: its name.
        title: what it is.
        status: that of its worst claim.
        counts: status to how many claims stand there.
        states: its claims.
        loose: conductors of a cable that are not landed at both ends: nothing can be shown of them yet.
    """

    kind: str
    name: str
    title: str
    status: Status
    counts: Mapping[Status, int]
    states: tuple[ClaimState, ...]
    loose: int = 0


class Task(msgspec.Struct, frozen=True):
    """Something to do: one visit with the meter, or one repair.

    Attributes:
        kind: ``earth``, ``cable``, ``inlets``, ``polarity`` or ``idle``.
        about: the cable, bond or shelf; empty for the earthing network as a whole.
        text: what to do, in words.
        claims: the claims that it is about, not yet proven.
        effort: work, in readings.
        clears: goals that are clear when this and all before it are done: shelf and gate.
        holds_up: goals that wait for it.
    """

    kind: str
    about: str
    text: str
    claims: tuple[ClaimState, ...]
    effort: float
    clears: tuple[tuple[str, Gate], ...] = ()
    holds_up: int = 0


class GateState(msgspec.Struct, frozen=True):
    """Whether a shelf may go through a gate.

    Attributes:
        shelf: the shelf.
        gate: ``first power`` (cards out) or ``cards in``.
        blockers: tasks that are in the way, as kind and about; empty where it is clear.
    """

    shelf: str
    gate: Gate
    blockers: tuple[tuple[str, str], ...]


class Readiness(msgspec.Struct, frozen=True):
    """All of it.

    Attributes:
        plant: the plant's name.
        things: shelves, feeds, cables and bonds, in plant order.
        gates: two for each shelf.
        tasks: what to do, in order.
        voids: why evidence was voided: reason to how many readings, and how many claims were not proven again since.
        readings: how many readings were looked at.
    """

    plant: str
    things: tuple[ThingState, ...]
    gates: tuple[GateState, ...]
    tasks: tuple[Task, ...]
    voids: Mapping[str, tuple[int, int]] = msgspec.field(default_factory=dict)
    readings: int = 0

    @property
    def empty(self) -> bool:
        """Whether the plant file has nothing yet that a reading could prove."""
        return not any(thing.states for thing in self.things)

    def of_kind(self, kind: str) -> list[ThingState]:
        """The things of a kind."""
        return [thing for thing in self.things if thing.kind == kind]


Needs = Mapping[tuple[str, Gate], Mapping[Name, Task]]
"""Goal, as shelf and gate, to the tasks that it waits for."""


def void(
    rows: Iterable[Evidence],
    told: Iterable[Told],
    reaching: Reaching,
    changed: Mapping[str, Mapping[str, str]] | None = None,
    order: Order | None = None,
) -> list[Evidence]:
    """Void the evidence that was disturbed since, or that the plant file has changed under.

    Args:
        rows: evidence from any records.
        told: what happened; only disturbances void, and what is told of damaged records.
        reaching: of the plant as it is now.
        changed: record name to what is different in the plant now, name by name.
        order: of the records; without it their clocks order them.

    Returns:
        The rows, oldest first, with the verdict ``void`` and the reason where they no longer count.
    """
    disturbances = [(one, reaching.of(one.names)) for one in told if one.kind in ("disturbance", DAMAGED)]
    anything = [one for one, _ in disturbances if one.kind == DAMAGED and not one.names]
    by_order = order or Order(())
    reached: dict[tuple[str, frozenset[str]], list[Told]] = {}  # the same points are read month after month
    settled: dict[str, set[int]] = {}  # record to the disturbances that were known when it began
    found = []
    for row in sorted(rows, key=by_order.key):
        if row.verdict in ("void", "skipped"):
            found.append(row)
            continue
        record = row.record
        differs = changed.get(record) if changed is not None else None
        known = settled.get(record)
        if known is None:
            known = {id(one) for one, _ in disturbances if by_order.surely_before(one, record)}
            settled[record] = known
        if len(known) == len(disturbances) and not differs:
            found.append(row)
            continue
        rests_on = reaching.rests_on(row)
        why = was = ""
        point = (row.subject, rests_on)
        here = reached.get(point)
        if here is None:
            here = reached[point] = [one for one, reach in disturbances if reach.voids(*point)] + anything
        for one in here:
            if id(one) in known or not by_order.told_after(one, row):
                continue
            sure = by_order.before(record, row.n, row.at, one.record, one.n, one.at)
            if sure or not why:
                why, was = _why_void(one), "" if sure else row.verdict
            if sure:
                break
        if not why and differs:
            why = next((differs[name] for name in sorted(rests_on) if name in differs), "")
            why = f"the plant file says otherwise now: {why}" if why else ""
        found.append(row if not why else replace(row, verdict="void", said=f"Void: {why}.", was=was))
    return found


def _why_void(told: Told) -> str:
    if told.kind == DAMAGED:
        return told.text
    return _disturbed(told.names, told.happened, told.text, told.by)


@lru_cache(maxsize=1024)
def _disturbed(names: tuple[str, ...], happened: str, text: str, who: str) -> str:
    by = f" ({who})" if who else ""
    return f"{', '.join(names)} disturbed on {day(happened)}: {text or 'no note'}{by}"


class Weighed(msgspec.Struct, frozen=True):
    """Evidence, and how much of it stands behind later evidence of the same.

    Attributes:
        rows: what :func:`void` gave, or what is left of it.
        weights: for how many readings each of them stands.
        void: why others no longer count, to how many readings.
        others: readings besides that count for nothing, those among them.
    """

    rows: list[Evidence]
    weights: list[int]
    void: dict[str, int] = {}
    others: int = 0


def readiness(
    plant: Plant, rows: Sequence[Evidence] | Weighed, order: Order | None = None, claims: Claims | None = None
) -> Readiness:
    """Say what is proven and what to do next.

    Args:
        plant: as it is now.
        rows: what :func:`void` gave.
        order: of the records; without it their clocks order them.
        claims: of the plant, where they are known already.
    """
    weighed = rows if isinstance(rows, Weighed) else Weighed(list(rows), [1] * len(rows))
    return _Readiness(plant, weighed, order or Order(()), claims or Claims(plant)).all()


def says_less(row: Evidence) -> bool:
    """Whether a reading is an overload that settles nothing: a meter for milliohms on what is read in megohms."""
    return row.verdict == "undecided" and row.over == "+"


def _stands_by(before: Evidence, overload: Evidence) -> bool:
    """Whether what was proven before lies beyond the range on which a later meter showed overload, and so stands."""
    if before.verdict != "pass" or overload.range is None:
        return False
    return before.over == "+" or (before.value is not None and before.value >= overload.range)


class _Readiness:
    def __init__(self, plant: Plant, weighed: Weighed, order: Order, claims: Claims) -> None:
        self.plant = plant
        self.weighed = weighed
        self.claims = claims
        # several where nobody can say which was the last
        self.newest: dict[Key, list[Evidence]] = {}
        self.spoilt: dict[Key, Evidence] = {}
        # void, and perhaps not: nobody can say what came first
        self.unsure: dict[Key, list[Evidence]] = {}
        self.order = order
        self.first: dict[Key, Evidence] = {}
        # of an inlet what was read of its quiet
        self.quiet: dict[str, dict[Key, None]] = {}
        for row in weighed.rows:
            for key in self.claims.keys_of(row):
                self.first.setdefault(key, row)
                if key[0] == "quiet":
                    self.quiet.setdefault(self.claims.inlet_of(key), {})[key] = None
                if row.verdict in ("pass", "fail", "undecided"):
                    last = self.newest.get(key)
                    if last is None:
                        self.newest[key] = [row]
                    elif says_less(row) and all(_stands_by(one, row) and order.row_before(one, row) for one in last):
                        continue
                    else:
                        self.newest[key] = [one for one in last if not order.row_before(one, row)] + [row]
                else:
                    self.spoilt[key] = row
                    if row.was:
                        self.unsure.setdefault(key, []).append(row)

    def state(self, claim: Claim) -> ClaimState:
        return self._of_quiet(claim) if claim.kind == "quiet" else self._of(claim)

    def _of_quiet(self, claim: Claim) -> ClaimState:
        """The worst of what was read of an inlet that should show nothing; what failed once and was disturbed since is
        open until it is read again."""
        parts = [self._of(replace(claim, key=key)) for key in self.quiet.get(claim.about, ())]
        due = [one for one in parts if _is_due(one)]
        worst = min(due, key=lambda one: STATUSES.index(one.status), default=None)
        best = worst or max(parts, key=lambda one: STATUSES.index(one.status), default=None)
        return ClaimState(claim, "never tested") if best is None else replace(best, claim=claim)

    def _of(self, claim: Claim) -> ClaimState:
        last = self.newest.get(claim.key)
        if last is not None:
            row = last[-1]
            unsure = [
                one
                for one in self.unsure.get(claim.key, ())
                if not any(self.order.row_before(one, counts) for counts in last)
            ]
            other = next((one for one in [*last, *unsure] if (one.was or one.verdict) != row.verdict), None)
            if other is not None:
                said = f"{other.record} says {other.was or other.verdict}, {row.record} says {row.verdict}"
                return ClaimState(claim, "undecided", row, f"Undecided: {said}, and nobody can say which is later.")
            if row.verdict == "pass":
                return ClaimState(claim, "proven", row)
            if row.verdict == "undecided" and row.connected == "yes":
                return ClaimState(claim, "connected", row, f"{row.sentence} It is connected; whether sound is open.")
            return ClaimState(claim, "failing" if row.verdict == "fail" else "undecided", row, row.sentence)
        spoilt = self.spoilt.get(claim.key)
        if spoilt is not None and spoilt.verdict == "void":
            return ClaimState(claim, "void", spoilt, spoilt.sentence)
        return ClaimState(claim, "never tested", spoilt, spoilt.sentence if spoilt is not None else "")

    def states(self, claims: Iterable[Claim]) -> tuple[ClaimState, ...]:
        unique = {claim.key: claim for claim in claims}
        return tuple(self.state(claim) for claim in unique.values())

    # Things

    def all(self) -> Readiness:
        things = [*self._shelves(), *self._feeds(), *self._cables(), *self._bonds()]
        gates, needs = self._gates()
        # who is at a cable or a bond with the meter proves all that is open there, whether a gate waits for it or not
        beside: dict[Name, list[ClaimState]] = {}
        for thing in things:
            if thing.kind in ("cable", "bond"):
                beside.setdefault(_task_of(thing), []).extend(_open(thing))
        whole = _whole(needs, beside)
        tasks = _in_order(needs, whole) + self._rest(things, whole, needs)
        return Readiness(self.plant.name, tuple(things), gates, tuple(tasks), self._voids(things), self._readings)

    @property
    def _readings(self) -> int:
        return sum(self.weighed.weights) + self.weighed.others

    def _voids(self, things: Iterable[ThingState]) -> dict[str, tuple[int, int]]:
        """Why evidence was voided, first what is to be proven again for it."""
        left = {one.claim.key: one.why for thing in things for one in thing.states if one.status == "void"}
        still = list(left.values())
        found = dict(self.weighed.void)
        for row, weight in zip(self.weighed.rows, self.weighed.weights, strict=True):
            if row.verdict == "void":
                found[row.sentence] = found.get(row.sentence, 0) + weight
        counted = {why: (number, still.count(why)) for why, number in found.items()}
        return dict(sorted(counted.items(), key=lambda one: (-one[1][1], -one[1][0], one[0])))

    def _thing(self, kind: str, name: str, title: str, claims: Iterable[Claim], loose: int = 0) -> ThingState:
        states = self.states(claims)
        counts: dict[Status, int] = {}
        for one in states:
            counts[one.status] = counts.get(one.status, 0) + 1
        status: Status = next((one for one in STATUSES if counts.get(one)), "never tested")
        return ThingState(kind, name, title, status, counts, states, loose)

    def _shelves(self) -> Iterable[ThingState]:
        for shelf in self.plant.shelves_of():
            own = [claim for inlet in shelf.inlets for claim in self.claims.of_inlet[inlet.name]]
            quiet = [self.claims.quiet(inlet.name) for inlet in shelf.inlets]
            looked_at = [claim for claim in quiet if claim.about in self.quiet]
            yield self._thing("shelf", shelf.name, shelf.title, [*own, *looked_at, *self.claims.idle(shelf.name)])

    def _feeds(self) -> Iterable[ThingState]:
        for feed in self.plant.feeds.values():
            inlets = [inlet.name for inlet in self.plant.inlets_of(feed.name)]
            paths = [claim for name in inlets for claim in self.claims.path_to[name]]
            own = [claim for name in inlets for claim in self.claims.of_inlet[name]]
            yield self._thing("feed", feed.name, feed.title, [*paths, *own])

    def _cables(self) -> Iterable[ThingState]:
        extra = self._beyond()
        for cable in self.plant.cables.values():
            loose = sum(1 for one in cable.conductors if not one.landed)
            claims = [*self.claims.of_cable[cable.name], *extra.get(cable.name, ())]
            yield self._thing("cable", cable.name, cable.title, claims, loose)

    def _bonds(self) -> Iterable[ThingState]:
        for bond in self.plant.bonds.values():
            title = f"{bond.a.name} to {bond.b.name}"
            yield self._thing("bond", bond.name, title, self.claims.of_bond[bond.name])

    def _beyond(self) -> dict[str, list[Claim]]:
        """Claims that nobody asked for but that were tested, such as insulation between the legs of a pair."""
        asked = {claim.key for claims in self.claims.of_cable.values() for claim in claims}
        asked |= {claim.key for claims in self.claims.of_inlet.values() for claim in claims}
        found: dict[str, list[Claim]] = {}
        for key, row in self.first.items():
            if key[0] != "apart" or key in asked:
                continue
            about = "~".join(row.between)
            for cable in self.claims.cables_at(row):
                text = f"{' and '.join(row.between)} are apart"
                found.setdefault(cable, []).append(Claim(key, about, text))
        return found

    # Gates and tasks

    def _gates(self) -> tuple[tuple[GateState, ...], Needs]:
        gates: list[GateState] = []
        needs: dict[tuple[str, Gate], dict[Name, Task]] = {}
        for shelf in self.plant.shelves_of():
            if not shelf.inlets:
                continue  # there is nothing to be powered
            first: dict[Name, dict[Key, ClaimState]] = {}
            self._want(first, ("earth", ""), self.claims.earth(shelf.name))
            for inlet in shelf.inlets:
                for claim in self.claims.path_to[inlet.name]:
                    conductor = self.plant.conductors.get(claim.about)
                    # where the plant file shows no way from a supply, the shelf itself is what has to be looked at
                    self._want(first, ("cable", conductor.cable) if conductor else ("inlets", shelf.name), [claim])
                    if conductor is not None:
                        self._want(first, ("cable", conductor.cable), self.claims.insulated(conductor.cable))
                self._want(first, ("inlets", shelf.name), self.claims.of_inlet[inlet.name][:1])
            cards = {task: dict(states) for task, states in first.items()}
            for cable in self._signal_cables(shelf.name):
                self._want(cards, ("cable", cable), self.claims.of_cable[cable], enough=("proven", "connected"))
            for inlet in shelf.inlets:
                self._want(cards, ("polarity", shelf.name), self.claims.of_inlet[inlet.name][1:])
                quiet = self.claims.quiet(inlet.name)
                if _is_due(self.state(quiet)):
                    # what is live where it should be dead keeps everybody away, and is read again after it was mended
                    for wanted in (first, cards):
                        self._want(wanted, ("inlets", shelf.name), [quiet])
            stages: tuple[tuple[Gate, dict[Name, dict[Key, ClaimState]]], ...] = (
                ("first power", first),
                ("cards in", cards),
            )
            for gate, wanted in stages:
                tasks = {name: _task(*name, tuple(states.values())) for name, states in wanted.items()}
                gates.append(GateState(shelf.name, gate, tuple(tasks)))
                needs[shelf.name, gate] = tasks
        return tuple(gates), needs

    def _want(
        self,
        tasks: dict[Name, dict[Key, ClaimState]],
        name: Name,
        claims: Iterable[Claim],
        enough: tuple[Status, ...] = ("proven",),
    ) -> None:
        for claim in claims:
            state = self.state(claim)
            if state.status not in enough:
                tasks.setdefault(name, {})[claim.key] = state

    def _signal_cables(self, shelf: str) -> list[str]:
        connectors = {connector.name for connector in self.plant.connectors_of(shelf)}
        return [c.name for c in self.plant.cables.values() if connectors.intersection((*c.near, *c.far))]

    def _rest(self, things: Iterable[ThingState], whole: Mapping[Name, Task], needs: Needs) -> list[Task]:
        """What no gate waits for, but is not proven: what fails first."""
        shut = {shelf for (shelf, _), tasks in needs.items() if tasks}
        found = []
        for thing in things:
            states = _open(thing)
            if thing.kind == "shelf":
                states = tuple(one for one in states if one.claim.kind == "idle" and thing.name not in shut)
            if states and thing.kind != "feed" and _task_of(thing) not in whole:
                found.append(_task(*_task_of(thing), states))
        return sorted(found, key=lambda task: min(STATUSES.index(one.status) for one in task.claims))


def _is_due(quiet: ClaimState) -> bool:
    """Whether an inlet that should show nothing did, and nobody has read otherwise since."""
    row = quiet.row
    if quiet.status != "void" or row is None:
        return quiet.status in ("failing", "undecided")
    inside = row.value is not None and row.low is not None and row.high is not None and row.low <= row.value <= row.high
    return not inside


def _open(thing: ThingState) -> tuple[ClaimState, ...]:
    """The claims of a thing that are not proven."""
    return tuple(one for one in thing.states if one.status != "proven")


def _task_of(thing: ThingState) -> Name:
    """The task that proves a thing."""
    kind = {"cable": "cable", "bond": "earth", "shelf": "idle"}.get(thing.kind, thing.kind)
    return kind, "" if kind == "earth" else thing.name


def _whole(needs: Needs, beside: Mapping[Name, Iterable[ClaimState]]) -> dict[Name, Task]:
    """Every task that a gate waits for, with all that is open at the same place."""
    claims: dict[Name, dict[Key, ClaimState]] = {}
    for tasks in needs.values():
        for name, task in tasks.items():
            claims.setdefault(name, {}).update({one.claim.key: one for one in task.claims})
    for name, states in claims.items():
        states.update({one.claim.key: one for one in beside.get(name, ())})
    return {name: _task(*name, tuple(states.values())) for name, states in claims.items()}


def _task(kind: str, about: str, states: tuple[ClaimState, ...]) -> Task:
    work = sum(REPAIR if one.status == "failing" else 1.0 for one in states)
    effort = SETUP + work + (LIVE if kind in ("polarity", "idle") else 0.0)
    return Task(kind, about, _words(kind, about, states), states, effort)


def _words(kind: str, about: str, states: Sequence[ClaimState]) -> str:
    what = {
        "earth": f"bonds of the earthing network{f' ({about})' if about else ''}",
        "cable": f"cable {about}",
        "inlets": f"the inlets of shelf {about}, cards out and breakers open",
        "polarity": f"the polarity at shelf {about}, cards out (live work: licensed or authorised people only)",
        "idle": f"the idle current of shelf {about} (live work: licensed or authorised people only)",
    }[kind]
    failing = [one.claim.about for one in states if one.status == "failing"]
    finer = sum(1 for one in states if one.status == "connected")
    rest = len(states) - len(failing) - finer
    again = any(one.status in ("void", "undecided", "failing") for one in states)
    parts = []
    if failing:
        shown = some(failing, 4)
        parts.append(f"mend {shown} and prove {'it' if len(failing) == 1 else 'them'} again")
    if rest:
        parts.append(f"{'prove again' if again and not failing else 'prove'} {count(rest, 'point')}")
    if finer:
        does = "is as good as it should be" if finer == 1 else "are as good as they should be"
        parts.append(f"tell with a finer meter whether {count(finer, 'connected conductor')} {does}")
    return f"{what}: {', then '.join(parts)}"


def _worth(names: set[Name], goals: Iterable[set[Name]], tasks: Mapping[Name, Task]) -> tuple[float, float]:
    """What doing these tasks brings: goals cleared for the work; of equals the one with less work."""
    effort = sum(tasks[name].effort for name in names)
    return sum(1 for others in goals if others <= names) / effort, -effort


_STAGE: Final = {"earth": 0, "cable": 1, "inlets": 2, "polarity": 3}


def _in_order(needs: Needs, whole: Mapping[Name, Task]) -> list[Task]:
    """The tasks in the order that clears most for the least work."""
    waiting = {goal: set(tasks) for goal, tasks in needs.items() if tasks}
    holds_up = {name: sum(1 for names in waiting.values() if name in names) for name in whole}
    ordered: list[Task] = []
    while waiting:
        chosen = max(waiting, key=lambda goal: _worth(waiting[goal], waiting.values(), whole))
        names = sorted(waiting[chosen], key=lambda name: (_STAGE[name[0]], -holds_up[name], name[1]))
        for name in names:
            for others in waiting.values():
                others.discard(name)
            cleared = tuple(goal for goal, others in waiting.items() if not others)
            waiting = {goal: others for goal, others in waiting.items() if others}
            ordered.append(replace(whole[name], holds_up=holds_up[name], clears=cleared))
    return ordered
