"""What to read next of an earthing network, and when there is nothing more to read.

Everything follows from the network, the meter, the settings and the readings so far.

Order: the first set of readings; then the most telling reading, again and again, while one is worth
taking; then, where lifting is allowed, the bond whose lifting best halves what is left. It ends when one
explanation stands, when nothing is suspected, or with "this meter cannot decide" and the lift that would.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.choose import Pair, first_readings, next_reading
from bench.diagnose.earth.fit import Case, Meter, Prior, Reading
from bench.diagnose.earth.lifts import LiftSearch, buildings_own
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.ranking import Posterior, explain

Skipped = tuple[frozenset[str], tuple[str, ...]]
"""The two ends of a reading that could not be taken, and the bonds that were to be off for it."""


class HuntSettings(msgspec.Struct, frozen=True):
    """When to stop and what is allowed.

    Attributes:
        per_point: readings of the first set for each point.
        main: whether the first set reads every point against the main bar.
        alarm: chance of a fault from which there is one.
        sure: chance at which a fault stands; 1 less this is the most that any other may still have.
        worth: nats below which no reading is worth taking.
        most: readings chosen one by one, at most.
        lifting: whether bonds may be lifted.
        seed: for whatever is chosen by chance in the first set.

    Raises:
        DiagnoseError: a chance is out of its bounds.
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


class Ask(msgspec.Struct, frozen=True):
    """Read the resistance between two points.

    Attributes:
        a: one point.
        b: the other.
        lifted: bonds that are off meanwhile.
        why: this one, in plain words.
        posterior: what it was chosen from; None in the first set.
    """

    a: str
    b: str
    lifted: tuple[str, ...]
    why: str
    posterior: Posterior | None = None


class Finding(msgspec.Struct, frozen=True):
    """The end of a hunt.

    Attributes:
        kind: ``clear`` - nothing that these readings would show; ``stands`` - the faults explain them and nothing
            else does; ``undecided`` - this meter cannot decide between the suspects.
        posterior: what the readings leave standing, with the suspects.
        faults: those that stand.
        lift: the bond whose lifting would best tell more; empty where none would.
    """

    kind: Literal["clear", "stands", "undecided"]
    posterior: Posterior
    faults: tuple[Case, ...]
    lift: str


class Hunt(msgspec.Struct, frozen=True):
    """What does not change while readings are taken. Make one with `begin`.

    Attributes:
        network: as it was designed.
        meter: that reads it.
        prior: how likely each fault is beforehand.
        settings: when to stop and what is allowed.
        first: pairs of points of the first set.
    """

    network: BondNetwork
    meter: Meter
    prior: Prior
    settings: HuntSettings
    first: tuple[Pair, ...]

    @classmethod
    def begin(
        cls,
        network: BondNetwork,
        meter: Meter,
        prior: Prior | None = None,
        settings: HuntSettings | None = None,
    ) -> Hunt:
        """Choose the first set of readings."""
        wanted = settings or HuntSettings()
        chances = prior or Prior()
        first = first_readings(network, meter, wanted.per_point, chances, wanted.main, wanted.seed)
        return cls(network, meter, chances, wanted, tuple(first))

    def next(self, taken: Sequence[Reading], skipped: Sequence[Skipped] = ()) -> Ask | Finding:
        """What to read next, or what was found.

        Args:
            taken: readings so far, one of each pair.
            skipped: what could not be read; it is not asked for again.
        """
        done = {frozenset(reading.key[0]) for reading in taken if not reading.lifted}
        done |= {pair for pair, lifted in skipped if not lifted}
        for a, b in self.first:
            if frozenset((a, b)) not in done:
                return Ask(a, b, (), "one of the first set")
        posterior = explain(self.network, taken, self.prior)
        stands = self._stands(posterior)
        if stands:
            return Finding("stands", posterior, stands, self._lift(posterior))
        if len(done) - len(self.first) < self.settings.most:
            telling = next_reading(posterior, self.meter, self._still_open(done))
            if telling is not None and telling.information >= self.settings.worth:
                why = "this reading tells most now"
                return Ask(telling.a, telling.b, (), why, posterior)
        lift = self._lift(posterior)
        if posterior.alarm < self.settings.alarm:
            return Finding("clear", posterior, (), lift)
        if lift and self.settings.lifting and lift not in lifts_of(taken, skipped):
            bond = self.network.bonds[self.network.bond_place(lift)]
            return Ask(bond.a, bond.b, (lift,), "the gap tells which side the path is on", posterior)
        return Finding("undecided", posterior, (), lift)

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
        held = tuple(suspect.fault for suspect in suspects if suspect.chance >= sure)
        others = max((suspect.chance for suspect in suspects if suspect.chance < sure), default=0.0)
        return held if held and others <= 1.0 - sure else ()

    def _lift(self, posterior: Posterior) -> str:
        """The bond whose lifting best divides what is suspected; with one suspect, one that proves it."""
        names = [point.name for point in self.network.points]
        places = [
            (names[u], names[v], suspect.chance) for suspect in posterior.credible() for u, v in suspect.fault.extras
        ]
        search = LiftSearch.among(self.network, places, max(1.0 - posterior.alarm, 1e-3))
        return search.next(buildings_own(self.network)) or ""


def lifts_of(taken: Sequence[Reading], skipped: Sequence[Skipped]) -> set[str]:
    """Bonds that were lifted for a reading, or were to be."""
    return {name for reading in taken for name in reading.lifted} | {name for _, lifted in skipped for name in lifted}
