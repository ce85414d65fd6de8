"""A rebuild with the tool: what is next is asked of it, walked on its machine, and what it finds is acted upon.

The team does what it is told and no more: it looks where a finding says, mends what it sees there, tells what it
touched, and asks what is next. Where a task does not come to a proof within :data:`TRIES` walks the leader searches by
hand, and then gives a reason at the gate.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable
from typing import Final

from msgspec.structs import replace

from bench.diagnose.explain.causes import Cause
from bench.diagnose.explain.records import explained
from bench.diagnose.explain.sentences import conductors_of
from bench.diagnose.explain.walk_map import WalkMap, beside_maps
from bench.diagnose.supply.patterns import findings
from bench.job.next_walk import NextWalk, in_one_walk, next_walk, walks_of
from bench.job.readiness import Task
from bench.judge.spread import distance_of
from bench.plant import faults as k
from bench.plant.things import Cable
from bench.sequence.file import Decide, Measure
from bench.sequence.plan import Step
from bench.walk.results import results
from bench.walk.state import State
from tests.rebuild import harm
from tests.rebuild.evening import Evening
from tests.rebuild.job import DECIDE, Job
from tests.rebuild.pile import Heap, by_belief, by_label
from tests.rebuild.plants import Drawn
from tests.rebuild.site import Site
from tests.rebuild.team import OPEN_UP, REPAIR, SEARCH
from tests.rebuild.way import Way

PARTS: Final = ("survey", "explain", "gates", "uncertainty", "hunting")
"""What can be left out."""
TRIES: Final = 3
MOST_WALKS: Final = 150
FORMING: Final = 30.0
"""Minutes of somebody's time while capacitors form."""


class WithProveout(Way):
    """One rebuild with the tool; see :class:`Way`.

    Args:
        drawn: what there is.
        bench: the instruments.
        factor: how much oftener than stated people slip.
        without: parts of the tool that are left out.
    """

    def __init__(
        self, drawn: Drawn, bench: str = "middling", factor: float = 1.0, without: Collection[str] = ()
    ) -> None:
        super().__init__(drawn, bench, factor)
        self.without = frozenset(without)
        decide = DECIDE if "uncertainty" not in self.without else Decide(rule="simple")
        self.job = Job(drawn.plant, self.kit, decide)
        self.tries: Counter[tuple[str, str]] = Counter()
        self.walked_with: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
        self.given_up: set[tuple[str, str]] = set()
        self.looked: set[str] = set()

    def build(self) -> None:
        self.pile()
        self.walks()
        self.came.dark = [one.about for one in self.job.ready().tasks if one.kind in ("inlets", "polarity", "idle")]

    def pile(self) -> None:
        """From the pile to plugs in their places."""
        heap = Heap(self.drawn, self.team)
        if "survey" in self.without:
            where = by_label(heap, self.team, self.ledger)
        else:
            where = by_belief(heap, self.team, self.ledger, self.came, self.drawn.number)
        self.site.faults += heap.plugged(self.site.plant, where)

    # walk after walk

    def walks(self) -> None:
        """What is next, until nothing is."""
        for _ in range(MOST_WALKS):
            found = self.next()
            if found is None:
                return
            task, walk = found
            self.walk(task, walk)
        self.came.told.append("never came to an end")

    def next(self) -> tuple[Task, NextWalk] | None:
        """What the tool has next, but for what was given up."""
        ready = self.job.ready()
        tasks = tuple(one for one in ready.tasks if (one.kind, one.about) not in self.given_up)
        powered = self.job.powered
        if "gates" in self.without:
            # power first: whatever is not proven is gone over with a reason
            for task in tasks:
                if task.kind in ("inlets", "polarity", "idle"):
                    walks = walks_of(self.site.plant, task, powered=powered)
                    if walks:
                        return task, walks[0]
        return next_walk(self.site.plant, replace(ready, tasks=tasks), powered=powered)

    def beside(self, task: Task) -> list[Task]:
        """The cables that go into the same walk, as the tool names them."""
        ready = self.job.ready()
        left = tuple(one for one in ready.tasks if (one.kind, one.about) not in self.given_up)
        due = in_one_walk(self.site.plant, replace(ready, tasks=left), task)
        return [next(one for one in left if one.kind == "cable" and one.about == name) for name in due] or [task]

    def walk(self, task: Task, walk: NextWalk) -> State | None:
        """One walk, and what follows from it; cables that are due as well are proven in the same one."""
        tasks = self.beside(task) if walk.kind == "continuity" else [task]
        names = [(one.kind, one.about) for one in tasks]
        self.ledger.stage = {"first-power": "power", "idle-current": "power", "polarity": "power"}.get(
            walk.kind, "proof"
        )
        self.ledger.stage = "earth" if walk.kind == "earth" else self.ledger.stage
        drafted = self.job.drafted(walk.kind, walk.of) if len(tasks) == 1 else self.job.joined(
            walk.kind, [one.about for one in tasks]
        )  # fmt: skip
        first = self.job.begin(walk.kind, drafted, but=self.walked_with[names[0]])
        if first is None and walk.kind == "earth" and not self.walked_with[names[0]]:
            # no meter for milliohms: what an ohmmeter sees is looked for with it, as the check of the bench says
            first = self.job.begin(walk.kind, self.job.drafted("earth-two-wires", walk.of))
        if first is None:
            self.given_up.update(names)
            return None
        evening = Evening(first, self.site, self.team, self.errors, self.ledger, self.job.now)
        evening.watch = self._energised
        state = evening.run()
        evening.leave()
        self.job.keep(state, evening.taken, walk.kind)
        self._held(evening, state)
        wrong = [one for one in results(state).values() if one.verdict in ("fail", "undecided")]
        did = bool(wrong) and self.act_on(state, walk)
        for one in tasks:
            name = (one.kind, one.about)
            self.tries[name] += 1
            mine = wrong if len(tasks) == 1 else [found for found in wrong if self._is_of(found.subject, one.about)]
            if mine and not did:
                if not any(found.verdict == "fail" for found in mine):
                    # what this bench cannot tell it will not tell the next time; perhaps the other ohmmeter does
                    self.walked_with[name].add(first.bench.name)
                    if len(self.walked_with[name]) == len(self.job.kit.layouts):
                        self.given_up.add(name)
                elif self.tries[name] >= TRIES - 1:
                    self.search_by_hand(one)
            if self.tries[name] >= 2 * TRIES:
                self.given_up.add(name)
        self.nights()
        return state

    def _is_of(self, subject: str, cable: str) -> bool:
        """Whether a reading is about a cable: one of its wires, or pins that its wires land on."""
        plant = self.site.plant
        pins = {end.name for wire in plant.cables[cable].conductors for end in (wire.near_end, wire.far_end)}
        wires = {wire.name for wire in plant.cables[cable].conductors}
        return bool({*subject.split("~"), subject} & (pins | wires | {cable}))

    def once(self, kind: str, of: str) -> State | None:
        """A draft walked for itself, and acted upon."""
        first = self.job.begin(kind, self.job.drafted(kind, of))
        if first is None:
            return None
        evening = Evening(first, self.site, self.team, self.errors, self.ledger, self.job.now)
        state = evening.run()
        evening.leave()
        self.job.keep(state, evening.taken, kind)
        self.act_on(state, NextWalk(kind, of, "", 0, ()))
        return state

    def _held(self, evening: Evening, state: State) -> None:
        """Whether the stated interval of each reading held what was at the probes."""
        for one in results(state).values():
            truth = evening.truths.get(one.n)
            if truth is None or one.figure.value is None or not one.figure.expanded or one.verdict == "void":
                continue
            budget = one.figure.budget
            if budget is None:
                continue
            off = abs(truth - (one.figure.zero or 0.0) - one.figure.value)
            wires = "" if budget.unit != "Ω" else " by four wires" if _four(state, one.index) else " by two wires"
            counts = self.came.readings.setdefault(f"{budget.unit}{wires}", [0, 0, 0])
            counts[0] += 1
            counts[1] += off <= one.figure.expanded
            # what holds 95 % by the budget's own shapes: k times u holds more where a leaflet's limit rules
            counts[2] += off <= distance_of(budget._parts, 0.975)

    def _energised(self, evening: Evening, step: Step, volts: float) -> None:
        if volts <= 0.0:
            return
        handled = evening.state.conditions.handled
        plant = self.site.plant
        meant = {name for name in step.subject.split("+") if name in plant.shelves}
        cards = {shelf for shelf in meant if not {card.name for card in plant.shelves[shelf].cards} <= handled.out}
        self.came.saw(harm.over(self.site, meant, volts, cards, self.hidden))
        really = harm.fed(plant, step.source.at, evening.closed)
        self.came.beside += [shelf for shelf in really - meant if shelf not in self.came.beside and volts > harm.SAFE]

    # what is found

    def act_on(self, state: State, walk: NextWalk) -> bool:
        """Look where the findings say, and mend what is seen; returns whether anything was."""
        did = False
        self.looked = set()
        if walk.kind == "earth":
            for names in _earth(state):
                did |= self.attend(names)
            return did
        if walk.kind in ("continuity", "isolation", "crosses", "landing"):
            if "explain" in self.without:
                for name in _failing(state):
                    did |= self.attend(name.split("~"))
                return did
            for one in explained([state]):
                for finding in one.explanation.findings:
                    did |= self.attend(
                        _places(one.map, finding.cause, [f"{p.connector}.{p.name}" for p in finding.pins])
                    )
            for pair in beside_maps(state):
                did |= self.attend(pair.between)
            for pair in _poor(state):
                did |= self.attend(pair)
            # what no map holds and no design joins: the readings themselves say where
            together = self.site.plant.joins()
            for name in _failing(state):
                between = name.split("~")
                # two that a finding explained at their other ends were looked at already
                looked = {together.get(one, one) for one in self.looked}
                apart = len(between) == 2 and not all(together.get(one, one) in looked for one in between)
                if not did or apart:
                    did |= self.attend(between)
            return did
        if "explain" in self.without:
            for name in _failing(state):
                did |= self.attend(name.split("~"))
            return did
        for power in findings(state):
            if power.kind in ("reforms", "leaks"):
                self.ledger.spend(FORMING)
            did |= self.attend(self._of_power(power.subject))
        # what no pattern names is looked for where it was read
        for name in _failing(state) if not did else ():
            did |= self.attend(self._of_power(name))
        return did

    def _of_power(self, subject: str) -> list[str]:
        plant = self.site.plant
        inlet = plant.inlets.get(subject)
        if inlet is None:
            return subject.split("~")
        return [subject, *plant.supply_path(inlet.shelf, inlet.feed).breakers]

    def attend(self, names: Iterable[str]) -> bool:
        """Open up some places, and mend what is seen there."""
        # nobody opens up the same place twice for one walk
        wanted = [one for one in dict.fromkeys(names) if one not in self.looked]
        self.looked.update(wanted)
        if not wanted:
            return False
        self._go(wanted)
        self.ledger.spend(OPEN_UP)
        self.ledger.acts += 1
        seen = self.site.seen_at(wanted)
        known = [one for one in wanted if one in self._known]
        if not seen:
            self.ledger.alarms += 1
            self.ledger.touched += 1
            return False
        for fault in seen:
            self.ledger.spend(REPAIR)
            self.ledger.acts += 1
            if not self.team.slips("badly mended", str(fault)):
                self.site.mend([fault])
        told = {name for fault in seen for name in self._told_names(fault)}
        self.job.touched(tuple(sorted(told or set(known))), "mended")
        return True

    @property
    def _known(self) -> set[str]:
        plant = self.site.plant
        return {*plant.conductors, *plant.connectors, *plant.shelves, *plant.bonds, *plant.breakers, *plant.cables}

    def _told_names(self, fault: k.Fault) -> set[str]:
        """What the team says that it touched."""
        plant = self.site.plant
        cables = harm.cable_of(plant, fault)
        if cables:
            return cables
        if isinstance(fault, k.PolarityReversed):
            return {f"PW{fault.feed}{fault.shelf}"}
        if isinstance(fault, k.FeedsCrossed):
            return {f"PW{feed}{fault.shelf}" for feed in fault.feeds}
        shelf = getattr(fault, "shelf", "")
        if shelf:
            return {plant.shelves[shelf].cards[0].name}
        bond = getattr(fault, "bond", "")
        if bond:
            return {bond}
        if isinstance(fault, k.HighResistanceLug):
            return {f"PW{fault.terminal.split('.')[0][1:]}"} & set(plant.cables) or set()
        return set()

    def _go(self, names: Iterable[str]) -> None:
        plant = self.site.plant
        for name in names:
            bay = ""
            if name in plant.terminals:
                bay = plant.terminals[name].bay
            elif name in plant.connectors:
                bay = plant.connectors[name].bay
            elif name in plant.shelves:
                bay = plant.shelves[name].bay
            if bay:
                self.ledger.go((bay,))
                return

    def search_by_hand(self, task: Task) -> None:
        """The leader takes the meter and looks until it is found: cable, shelf or bonds, place after place."""
        self.ledger.spend(SEARCH)
        self.ledger.touched += 1
        self.came.told.append(f"searched by hand: {task.kind} {task.about}")
        seen = []
        for fault in self.site.faults:
            where = harm.cable_of(self.site.plant, fault)
            if isinstance(fault, k.Intermittent | k.Leakage):
                continue
            if task.kind == "cable" and (task.about in where or task.about in self._told_names(fault)):
                seen.append(fault)
            if task.kind in ("inlets", "polarity", "idle") and task.about in harm_places(self.site, fault):
                seen.append(fault)
            if task.kind == "earth" and isinstance(fault, k.SecondEarthPath | k.BondPoor | k.BondOpen):
                seen.append(fault)
        self.site.mend(seen)
        self.ledger.spend(REPAIR * len(seen))
        self.job.touched(tuple({name for fault in seen for name in self._told_names(fault)}) or (task.about,), "mended")

    # what happens beside

    def told(self, fault: k.Fault, cable: Cable) -> None:
        self.job.touched(tuple(self._told_names(fault)), "somebody's sleeve caught it")


def harm_places(site: Site, fault: k.Fault) -> set[str]:
    """The shelves that a fault is at."""
    from tests.rebuild.site import places_of

    return places_of(site.plant, fault) | {getattr(fault, "shelf", "")}


def _four(state: State, index: int) -> bool:
    assert state.setting is not None
    source = state.setting.plan.steps[index].source
    return getattr(source, "wires", 2) == 4


def _failing(state: State) -> list[str]:
    """What failed, without any explanation: one place after the other."""
    assert state.setting is not None
    steps = state.setting.plan.steps
    failed = [one for one in results(state).values() if one.verdict == "fail" and one.subject]
    return list(dict.fromkeys(one.subject for one in failed if isinstance(steps[one.index].source, Measure)))


def _places(walked: WalkMap, cause: Cause, pins: list[str]) -> list[str]:
    """The things that a finding names."""
    names = list(conductors_of(walked.design, cause))
    connector = getattr(cause, "connector", "")
    connectors = list(getattr(cause, "connectors", ()))
    return [*pins, *names, *([connector] if connector else []), *connectors]


def _poor(state: State) -> list[list[str]]:
    """The pairs of pins that a search found too little apart."""
    pairs = [
        pair for one in results(state).values() if one.found is not None and one.verdict == "fail"
        for pair in one.found.facts.get("poor", ())
    ]  # fmt: skip
    return [[str(name) for name in pair[:2]] for pair in pairs]


def _earth(state: State) -> list[list[str]]:
    """What the search for a second path says to look at, each by itself: poor bonds, and the ends of a path."""
    found: list[list[str]] = []
    for one in results(state).values():
        if one.found is None or one.found.facts.get("search") != "second-path" or one.verdict != "fail":
            continue
        facts = one.found.facts
        found += [[str(bond)] for bond in facts.get("poor-bonds", ())]
        found += [[str(bond)] for bond in facts.get("worse", {})]
        suspects = [one for one in facts.get("posterior", ()) if one.get("between") and one.get("chance", 0) >= 0.05]
        found += [[str(name) for name in suspect["between"]] for suspect in suspects[:2]]
    return found
