"""First powers of both jobs with faults drawn at random, alone and in pairs: the names that each may be found by.

Bay 2 of the shipped plant, with feeds of -48 V and figures for names; the beacon hut in ``tests/jobs``, with feeds of
+24 V and words for names; and a small hall with one bay, which is quick.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from bench.diagnose.supply.patterns import findings
from bench.plant import faults as k
from bench.plant.model import Plant
from bench.plant.things import Inlet, Shelf
from bench.quantity import Capacitance, Current, Duration, Resistance, Voltage
from bench.sequence.drafts.power_parts import reached, way
from bench.walk.results import passed, results
from bench.walk.state import Phase, State
from tests.power import pure_walk, small_hall

BEACON = Path(__file__).parents[1] / "jobs" / "beacon-hut" / "plant.yaml"
JOBS = {"gannet-head": "7", "small-hall": "2", "beacon-hut": "signals"}
SAFE = 5.0
"""Volts that a shelf may meet before it has been shown that it is the right one, the right way round."""


@dataclass(frozen=True)
class Wrong:
    """Something that is wrong, and what must come of it.

    Attributes:
        kind: its name here.
        faults: what is put in.
        broken: test leads that break.
        names: findings any of which names it rightly; empty: nothing is wrong with the plant, and all must pass.
        highest: shelf to the volts that it may meet; ``*`` for all.
        renews: what the supply's profile says of how often it has a new value, in seconds; 0: nothing.
    """

    kind: str
    faults: tuple[k.Fault, ...] = ()
    broken: tuple[k.BrokenLead, ...] = ()
    names: frozenset[tuple[str, str]] = frozenset()
    highest: dict[str, float] = field(default_factory=dict)
    renews: float = 0.0


@dataclass(frozen=True)
class Hall:
    """A job's plant with the bay that is brought up."""

    job: str
    first: State
    plant: Plant
    shelves: tuple[Shelf, ...]


@cache
def hall(job: str, folder: Path) -> Hall:
    """A job's first power, drafted and begun.

    Args:
        job: of :data:`JOBS`.
        folder: where its files go.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = {"gannet-head": small_hall.GANNET, "beacon-hut": BEACON}.get(job) or small_hall.written(folder)
    first = pure_walk.begun(folder, path, JOBS[job])
    assert first.setting is not None
    plant = first.setting.plant
    return Hall(job, first, plant, tuple(one for one in plant.shelves_of(JOBS[job]) if one.inlets))


SOUND = ("none", "noise", "slow", "slow-told", "charged", "battery-other")
"""What is no fault of the plant: all must pass."""
KINDS = (
    *SOUND,
    "short",
    "crossed",
    "reversed",
    "breaker",
    "heavy",
    "light",
    "creeps",
    "reforms",
    "lossy",
    "joint",
    "swapped",
    "backfeed",
    "beside",
    "live",
    "live-hidden",
    "meter",
    "battery",
    "welded",
)


def wrong(here: Hall, kind: str, rng: random.Random, but: Collection[str] = ()) -> Wrong:
    """Something of a kind, drawn.

    Args:
        here: the job.
        kind: of :data:`KINDS`.
        rng: draws.
        but: shelves that are wrong already.
    """
    plant = here.plant
    double = [one for one in here.shelves if len(one.inlets) > 1]
    free = [one for one in double if one.name not in but] or double
    shelf = rng.choice(free)
    inlet = rng.choice(reached(plant, shelf))
    nominal = abs(plant.feeds[inlet.feed].nominal_v)
    idle = plant.idle_current(shelf.name)[0]
    last = way(plant, inlet)[1][-1]
    battery = way(plant, inlet)[0]
    main = way(plant, inlet)[1][0]
    everywhere = {"*": 0.0}
    match kind:
        case "noise":
            noise = Current(round(rng.uniform(0.002, 0.006), 4))
            return Wrong(kind, (k.CurrentNoise(noise=noise, ripple=Current(round(rng.uniform(0, 0.004), 4))),))
        case "slow":
            return Wrong(kind, (k.SlowAmmeter(renews=Duration(round(rng.uniform(0.2, 0.7), 2))),))
        case "slow-told":
            renews = round(rng.uniform(1.0, 4.0), 1)
            return Wrong(kind, (k.SlowAmmeter(renews=Duration(renews)),), renews=renews)
        case "charged":
            return Wrong(kind, (k.ShelfCharged(shelf=shelf.name, voltage=Voltage(nominal)),))
        case "battery-other":
            low, high = sorted(abs(one) for one in (plant.feeds[inlet.feed].low_v, plant.feeds[inlet.feed].high_v))
            volts = Voltage(round(rng.uniform(low + 1.0, high - 0.5), 1))
            return Wrong(kind, (k.BatteryAt(supply=battery, voltage=volts),))
        case "short":
            fault = k.ShelfShort(shelf=shelf.name, feed=inlet.feed, ohms=Resistance(round(rng.uniform(0.05, 5.0), 2)))
            return Wrong(kind, (fault,), names=frozenset({(kind, inlet.name)}), highest={shelf.name: 0.0})
        case "crossed":
            feeds = (shelf.inlets[0].feed, shelf.inlets[1].feed)
            fault = k.FeedsCrossed(shelf=shelf.name, feeds=feeds)
            return Wrong(kind, (fault,), names=frozenset({(kind, shelf.name)}), highest={shelf.name: SAFE})
        case "reversed":
            fault = k.PolarityReversed(shelf=shelf.name, feed=inlet.feed)
            return Wrong(kind, (fault,), names=frozenset({(kind, inlet.name)}), highest={shelf.name: SAFE})
        case "breaker":
            one, other = _neighbours(here, rng)
            lasts = [way(plant, each)[1][-1] for each in (one, other)]
            fault = k.Exchanged(pins=(f"{lasts[0]}.load", f"{lasts[1]}.load"))
            names = frozenset((kind, name) for name in lasts)
            return Wrong(kind, (fault,), names=names, highest={one.shelf: SAFE, other.shelf: SAFE})
        case "heavy":
            fault = k.ShelfHeavy(shelf=shelf.name, by=Current(round(rng.uniform(0.35, 0.6) * idle, 3)))
            return Wrong(kind, (fault,), names=frozenset({(kind, shelf.name)}))
        case "light":
            fault = k.ShelfLight(shelf=shelf.name, by=Current(round(rng.uniform(0.35, 0.5) * idle, 3)))
            return Wrong(kind, (fault,), names=frozenset({(kind, shelf.name)}))
        case "creeps":
            by = Current(round(rng.uniform(0.09, 0.13) * idle, 3))
            fault = k.ShelfDrifts(shelf=shelf.name, by=by, over=Duration(rng.uniform(150, 250)))
            return Wrong(kind, (fault,), names=frozenset({(kind, shelf.name)}))
        case "reforms":
            fault = k.SlowCapacitor(
                shelf=shelf.name,
                capacitance=Capacitance(rng.uniform(0.01, 0.03)),
                through=Resistance(nominal / 48 * rng.uniform(300, 700)),
            )
            return Wrong(kind, (fault,), names=frozenset({(kind, shelf.name)}))
        case "lossy":
            ohms = Resistance(round(nominal / 48 * rng.uniform(0.8, 1.5), 2))
            fault = k.HighResistanceLug(terminal=inlet.live.name, ohms=ohms)
            names = frozenset({(kind, inlet.name), ("joint", f"{last}.load")})
            return Wrong(kind, (fault,), names=names)
        case "joint":
            fault = k.HighResistanceLug(terminal=f"{last}.load", ohms=Resistance(round(rng.uniform(0.10, 0.16), 3)))
            return Wrong(kind, (fault,), names=frozenset({(kind, f"{last}.load")}))
        case "swapped":
            names = frozenset({(kind, "bench supply")})
            return Wrong(kind, (k.SupplyLeadsSwapped(),), names=names, highest={"*": SAFE})
        case "backfeed":
            fault = k.DiodeShorted(shelf=shelf.name, feed=inlet.feed)
            return Wrong(kind, (fault,), names=frozenset({(kind, inlet.name)}))
        case "beside":
            one, other = _neighbours(here, rng)
            stuck = way(plant, other)[1][-1]
            fault = k.BreakerStaysClosed(breaker=stuck)
            return Wrong(kind, (fault,), names=frozenset({(kind, stuck)}), highest={one.shelf: SAFE})
        case "live":
            names = frozenset({(kind, battery)})
            return Wrong(kind, (k.SupplyStaysOn(supply=battery),), names=names, highest=everywhere)
        case "live-hidden":
            back = plant.supply_path(shelf.name, inlet.feed).back[0].id
            stuck_all = tuple(k.BreakerStaysClosed(breaker=name) for name in way(plant, inlet)[1])
            faults = (k.SupplyStaysOn(supply=battery), *stuck_all, k.Open(conductor=back))
            return Wrong(kind, faults, names=frozenset({("live", battery)}), highest=everywhere)
        case "meter":
            broken = (k.BrokenLead(of="volts", after=rng.randint(2, 6)),)
            return Wrong(kind, broken=broken, names=frozenset({(kind, "meter")}), highest=everywhere)
        case "battery":
            low = min(abs(plant.feeds[inlet.feed].low_v), abs(plant.feeds[inlet.feed].high_v))
            fault = k.BatteryAt(supply=battery, voltage=Voltage(round(low - rng.uniform(1.0, 4.0), 1)))
            return Wrong(kind, (fault,), names=frozenset({(kind, inlet.feed)}))
        case "welded":
            return Wrong(kind, (k.BreakerStaysClosed(breaker=main),), names=frozenset({(kind, main)}))
    return Wrong("none")


def _neighbours(here: Hall, rng: random.Random) -> tuple[Inlet, Inlet]:
    """Two inlets of different shelves on one feed, in the order in which the shelves are brought up."""
    inlets = [inlet for shelf in here.shelves for inlet in reached(here.plant, shelf)]
    pairs = [
        (one, other)
        for place, one in enumerate(inlets)
        for other in inlets[place + 1 :]
        if one.shelf != other.shelf and one.feed == other.feed
    ]
    return rng.choice(pairs)


@dataclass(frozen=True)
class Came:
    """What came of a first power with something wrong: empty where all was right.

    Attributes:
        against: what was not as it must be, in words.
        walk: the walk.
    """

    against: tuple[str, ...]
    walk: pure_walk.PureWalk


def walked(here: Hall, wrongs: Sequence[Wrong], seed: int) -> Came:
    """Walk a job's first power with some things wrong, and hold what came of it against what must.

    Args:
        here: the job.
        wrongs: one or two.
        seed: for everything that is drawn.
    """
    faults = [fault for one in wrongs for fault in one.faults]
    broken = [lead for one in wrongs for lead in one.broken]
    renews = max((one.renews for one in wrongs), default=0.0)
    walk = pure_walk.PureWalk(pure_walk.renewing(here.first, renews), here.plant, faults, seed, broken)
    walk.run()
    against: list[str] = []
    named = {(one.kind, one.subject) for one in findings(walk.state)}
    right = {name for one in wrongs for name in one.names}
    given_up = walk.state.phase is Phase.ABORTED and any("*" in one.highest for one in wrongs)
    if walk.state.phase is not Phase.DONE and not given_up:
        against.append(f"ended {walk.state.phase}")
    if named - right:
        against.append(f"named {sorted(named - right)} where {sorted(right)} is so")
    unsure = _unsure(walk.state)
    hidden = [one for one in wrongs if any(_shelf(name) in unsure for _, name in one.names)]
    if right and not named and not hidden:
        against.append(f"nothing named where {sorted(right)} is so")
    if not right and not passed(walk.state):
        against += [f"a sound plant: {told}" for told in _not_passed(walk.state)]
    for one in wrongs:
        for step, event in walk.fed:
            most = max(volts for _, volts, _ in event.sets)
            for shelf in step.subject.split("+"):
                allowed = one.highest.get(shelf, one.highest.get("*"))
                if allowed is not None and most > allowed:
                    against.append(f"{step.title}: {most:g} V although {one.kind} allows {allowed:g} V")
    against += [f"hands in {shelf} at {volts:.1f} V" for shelf, volts in walk.reached_into if volts > 5.05]
    against += [f"{name} stays off, and nothing is wrong with it" for name in _left_off(here, wrongs, walk)]
    if not {one.kind for one in wrongs} & TURNED:
        turned = [told for told in _failed(walk.state) if "wrong way round" in told]
        against += [f"nothing is the wrong way round: {told}" for told in turned]
    against += [f"{trip.beyond} readings beyond the window" for trip in walk.trips if trip.beyond > 1]
    missed = [one for one in wrongs if one.names and not one.names & named and one not in hidden]
    if missed and named and not against:
        # what was named is mended, and it is walked again: what it hid must come out then
        left = [one for one in wrongs if not one.names & named]
        against += [f"with the first one mended: {told}" for told in walked(here, left, seed).against]
    return Came(tuple(dict.fromkeys(against)), walk)


def _shelf(name: str) -> str:
    return name.partition(".")[0]


def _unsure(state: State) -> set[str]:
    """Shelves of which noise hides whether they creep: they are kept off, with how long to soak them said."""
    assert state.setting is not None
    return {
        _shelf(state.setting.plan.steps[index].subject)
        for index, outcome in results(state).items()
        if outcome.verdict == "undecided" and "soak it for" in outcome.sentence
    }


OF_A_SHELF = frozenset(
    {*SOUND, "short", "crossed", "reversed", "breaker", "heavy", "light", "creeps", "reforms", "lossy", "joint"}
)
"""What is wrong at a shelf and on its own way: all others come up."""


def _left_off(here: Hall, wrongs: Sequence[Wrong], walk: pure_walk.PureWalk) -> list[str]:
    """Shelves that have nothing to do with what is wrong and did not come up all the same."""
    if not {one.kind for one in wrongs} <= OF_A_SHELF:
        return []
    of = {way(here.plant, inlet)[1][-1]: shelf.name for shelf in here.shelves for inlet in reached(here.plant, shelf)}
    named = {_shelf(name) for one in wrongs for _, name in one.names}
    hit = {of.get(name, name) for name in (*named, *(name for one in wrongs for name in one.highest))}
    up = {name for step, event in walk.fed if event.why == "done" and step.source.voltage.value > SAFE
          for name in step.subject.split("+")}  # fmt: skip
    return [shelf.name for shelf in here.shelves if shelf.name not in hit | up]


TURNED = frozenset({"reversed", "swapped", "crossed"})
"""Where something may read with the other sign."""


def _failed(state: State) -> list[str]:
    """What is said of all that failed, step by step and together."""
    told = [outcome.sentence for outcome in results(state).values() if outcome.verdict == "fail"]
    return [*told, *(one.sentence for one in findings(state))]


def _not_passed(state: State) -> list[str]:
    """What kept a sound plant from passing; a soak that was too short to tell, and says so, may be soaked again."""
    return [
        outcome.sentence
        for outcome in results(state).values()
        if outcome.verdict in ("fail", "void")
        or (outcome.verdict == "undecided" and "soak it for" not in outcome.sentence)
    ]


def drawn(here: Hall, seed: int) -> list[Wrong]:
    """What is wrong in a run: one thing in the first runs of each kind, then two.

    Args:
        here: the job.
        seed: of the run.
    """
    rng = random.Random(f"{here.job} {seed}")
    first = wrong(here, KINDS[seed % len(KINDS)], rng)
    if seed // len(KINDS) % 2 == 0:
        return [first]
    others = [kind for kind in KINDS if kind != first.kind and not {kind, first.kind} <= NOT_TOGETHER]
    hit = {name.partition(".")[0] for _, name in first.names}
    return [first, wrong(here, rng.choice(others), rng, hit)]


NOT_TOGETHER = frozenset({"live", "live-hidden", "welded", "battery", "battery-other", "beside", "meter"})
"""Two of these may be one and the same place, or the second is never met."""
