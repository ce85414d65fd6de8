"""From the first reading of an earthing network to a finding, one reading at a time.

A `Hunt` is a fold: `next` says what to read, as often as it is asked; `take` gives the hunt after the
answer. Everything follows from the network, the settings and the answers so far, so a hunt that was
broken off is had back by folding its answers again.

Order: the first set of readings; then the most telling reading, again and again, while one is worth
taking; then, where lifting is allowed, the bond whose lifting best halves what is left. It ends when one
explanation stands, when nothing is suspected, or with "this meter cannot decide" and the lift that would.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.choose import Pair, first_readings, next_reading
from bench.diagnose.earth.fit import Case, Meter, Prior, Reading
from bench.diagnose.earth.lifts import LiftSearch, buildings_own
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.ranking import Posterior, explain


@dataclass(frozen=True)
class HuntSettings:
    """When to stop and what is allowed.

    ``alarm``: chance of a fault from which there is one. ``sure``: chance at which a fault stands, and
    1 - ``sure`` the most that any other may still have. ``worth``: nats below which no reading is worth
    taking. ``most``: readings chosen one by one, at most. ``lifting``: whether bonds may be lifted.
    """

    per_point: float = 2.7
    main: bool = True
    alarm: float = 0.5
    sure: float = 0.95
    worth: float = 0.02
    most: int = 30
    lifting: bool = False
    seed: int = 1

    def __post_init__(self) -> None:
        if not (0 < self.alarm < 1 and 0.5 < self.sure < 1):
            raise DiagnoseError(
                f"settings: alarm {self.alarm}, sure {self.sure}; between 0 and 1, and between 0.5 and 1, expected"
            )


@dataclass(frozen=True)
class Ask:
    """Read the resistance from ``a`` to ``b`` with the bonds ``lifted`` off; ``why`` in plain words."""

    number: int
    a: str
    b: str
    lifted: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Finding:
    """The end of a hunt.

    ``kind``: ``clear`` - nothing that these readings would show; ``stands`` - ``faults`` explain them and
    nothing else does; ``undecided`` - this meter cannot decide between the suspects of ``posterior``.
    ``lift`` names the bond whose lifting would best tell more, empty where none would.
    """

    kind: Literal["clear", "stands", "undecided"]
    posterior: Posterior
    faults: tuple[Case, ...]
    lift: str


@dataclass(frozen=True)
class Hunt:
    """The state of a hunt: what it began with and what has been answered. Make one with `begin`."""

    network: BondNetwork
    meter: Meter
    prior: Prior
    settings: HuntSettings
    first: tuple[Pair, ...]
    taken: tuple[Reading, ...] = ()
    skipped: tuple[tuple[frozenset[str], tuple[str, ...]], ...] = ()
    _before: Hunt | None = field(default=None, repr=False, compare=False)

    @classmethod
    def begin(
        cls,
        network: BondNetwork,
        meter: Meter,
        prior: Prior | None = None,
        settings: HuntSettings | None = None,
    ) -> Hunt:
        """Choose the first set of readings and begin."""
        wanted = settings or HuntSettings()
        chances = prior or Prior()
        first = first_readings(network, meter, wanted.per_point, chances, wanted.main, wanted.seed)
        return cls(network, meter, chances, wanted, tuple(first))

    @property
    def number(self) -> int:
        """The number of the request that `next` makes now."""
        return len(self.taken) + len(self.skipped) + 1

    @cached_property
    def posterior(self) -> Posterior:
        """What the readings so far leave standing.

        Raises:
            DiagnoseError: there are none yet.
        """
        return explain(self.network, self.taken, self.prior)

    def next(self) -> Ask | Finding:
        """What to read next, or what was found."""
        return self._next

    @cached_property
    def _next(self) -> Ask | Finding:
        done = {frozenset(r.key[0]) for r in self.taken if not r.lifted}
        done |= {pair for pair, lifted in self.skipped if not lifted}
        for a, b in self.first:
            if frozenset((a, b)) not in done:
                return Ask(self.number, a, b, (), "one of the first set")
        posterior = self.posterior
        stands = self._stands(posterior)
        if stands:
            return Finding("stands", posterior, stands, self._lift(posterior))
        if len(done) - len(self.first) < self.settings.most:
            telling = next_reading(posterior, self.meter, self._still_open(done))
            if telling is not None and telling.information >= self.settings.worth:
                why = f"tells most: {telling.information:.2f} nats expected"
                return Ask(self.number, telling.a, telling.b, (), why)
        lift = self._lift(posterior)
        if posterior.alarm < self.settings.alarm:
            return Finding("clear", posterior, (), lift)
        if lift and self.settings.lifting and not self._lifted_before(lift):
            bond = self.network.bonds[self.network.bond_place(lift)]
            return Ask(self.number, bond.a, bond.b, (lift,), "the gap tells which side the path is on")
        return Finding("undecided", posterior, (), lift)

    def take(self, number: int, reading: Reading) -> Hunt:
        """The hunt after the answer to request ``number``.

        Raises:
            DiagnoseError: the number is not that of the request now made, or something else was read.
        """
        ask = self._asked(number)
        if reading.key != (frozenset((ask.a, ask.b)), frozenset(ask.lifted)):
            raise DiagnoseError(
                f"reading {reading.a} to {reading.b}, lifted {list(reading.lifted)}, found;"
                f" {ask.a} to {ask.b}, lifted {list(ask.lifted)}, asked for"
            )
        return replace(self, taken=(*self.taken, reading), _before=self)

    def skip(self, number: int) -> Hunt:
        """The hunt after request ``number`` could not be met: the pair is not asked for again."""
        ask = self._asked(number)
        gone = (frozenset((ask.a, ask.b)), ask.lifted)
        return replace(self, skipped=(*self.skipped, gone), _before=self)

    def undo(self) -> Hunt:
        """The hunt as it was before the last answer; itself at the beginning."""
        return self if self._before is None else self._before

    def _asked(self, number: int) -> Ask:
        ask = self.next()
        if not isinstance(ask, Ask) or ask.number != number:
            raise DiagnoseError(f"an answer to request {number}; number {self.number} is expected")
        return ask

    def _still_open(self, done: set[frozenset[str]]) -> list[Pair]:
        labels = self.network.parts()
        names = [point.name for point in self.network.points]
        return [
            (names[i], names[j])
            for i in range(len(names))
            for j in range(i + 1, len(names))
            if labels[i] == labels[j] and frozenset((names[i], names[j])) not in done
        ]

    def _stands(self, posterior: Posterior) -> tuple[Case, ...]:
        """The faults that are sure, if nothing else is still possible."""
        sure = self.settings.sure
        suspects = posterior.suspects
        held = tuple(s.fault for s in suspects if s.chance >= sure)
        others = max((s.chance for s in suspects if s.chance < sure), default=0.0)
        return held if held and others <= 1.0 - sure else ()

    def _lift(self, posterior: Posterior) -> str:
        """The bond whose lifting best divides what is suspected; with one suspect, one that proves it."""
        names = [point.name for point in self.network.points]
        places = [
            (names[u], names[v], suspect.chance) for suspect in posterior.credible() for u, v in suspect.fault.extras
        ]
        search = LiftSearch.among(self.network, places, max(1.0 - posterior.alarm, 1e-3))
        return search.next(buildings_own(self.network)) or ""

    def _lifted_before(self, bond: str) -> bool:
        return any(bond in r.lifted for r in self.taken) or any(bond in lifted for _, lifted in self.skipped)
