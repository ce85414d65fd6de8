"""A second path to earth, sought from reading to reading: `earth_hunt` spoken as the steps of a search.

What the sequence measured between earth points before the search takes part, with the bonds that were off then: the
isolation check with the single-point connection lifted above all. Then come the first set, the most telling readings,
and, where the sequence allows it, lifts: each lifted bond is read across its gap, put back and proven again before
anything else. Each reading counts with its own standard uncertainty, as the walk's budget has it.

Settings: ``lifting`` (``yes`` or ``no``: whether the search may ask for bonds to be lifted), ``path`` (the second path
that must not be missed, a resistance), ``seen`` (at what share of the possible places one of that size must show for a
pass), ``per-point`` (readings of the first set for each point) and ``most`` (readings after that).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.choose import Pair, first_readings
from bench.diagnose.earth.dialogue import Ask, Finding, Hunt, HuntSettings
from bench.diagnose.earth.finding import SIGMAS, Ending, found_of, suspected
from bench.diagnose.earth.fit import Prior, Reading
from bench.diagnose.earth.lifts import most_deciding
from bench.diagnose.earth.meter import OPEN_OHM, BenchMeter, bench_meter
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.plant import network_of
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.sentences import CAUTION, ohms_words
from bench.diagnose.earth.visible import visibility
from bench.diagnose.planned_search import ohms_of
from bench.diagnose.seek import finding
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.quantity import Amount, Ratio
from bench.sequence.file import Do, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.walk.events import Advised
from bench.walk.seeking import Link
from bench.walk.setting import Outcome
from bench.walk.state import State

PATH: Final = "10 mΩ"
"""The second path that must not be missed, where the sequence does not say (own choice: a screw through paint, a screen
of a few metres that is landed at both ends)."""
SEEN: Final = "90 %"
WORSE: Final = 1.25
"""A bond that was put back may read so many times what it read before (own choice)."""
EVERY: Final = 5
"""During the first set it is worked out after every so many readings what is suspected."""
NAMES: Final = ("lifting", "path", "seen", "per-point", "most")


@dataclass(frozen=True)
class Wanted:
    """The settings of a search, read."""

    lifting: bool
    path: float
    seen: float
    per_point: float
    most: int


@dataclass(frozen=True)
class Ground:
    """What does not change during a search."""

    plant: Plant
    celsius: float
    wanted: Wanted
    network: BondNetwork
    meter: BenchMeter
    first: tuple[Pair, ...]


@dataclass
class Trail:
    """What came of the search so far.

    Attributes:
        handled: the plant as it is left now.
        taken: readings, the last of each pair.
        skipped: pairs, with the bonds lifted, that could not be read; a lift that was refused is one.
        prove: the bond that was put back and is to be proven again.
        worse: bonds that read too much after they were put back, with the verdict's sentence.
        count: readings in the search itself.
    """

    handled: Handled = field(default_factory=Handled)
    taken: dict[tuple[frozenset[str], frozenset[str]], Reading] = field(default_factory=dict)
    skipped: list[tuple[frozenset[str], tuple[str, ...]]] = field(default_factory=list)
    prove: str = ""
    worse: dict[str, str] = field(default_factory=dict)
    count: int = 0

    @property
    def lifted(self) -> frozenset[str]:
        """Bonds that are off now."""
        return self.handled.lifted


def wanted(state: State, step: Step, trail: tuple[Link, ...]) -> Advised:
    """What a search for a second path to earth wants next, or what it found.

    Raises:
        DiagnoseError: the plant has no earthing network, a setting is of no use, or nothing is known of the meter.
    """
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    ground = _ground(state, source)
    so_far = _followed(ground, _before(state, step, ground), trail)
    network = ground.network
    before = state.seeking.facts if state.seeking is not None else {}
    if so_far.prove:
        return _asked(ground, so_far, before, _prove_again(ground, source, so_far), "a bond that was put back")
    ask = _next(ground, so_far)
    off = frozenset(ask.lifted) if isinstance(ask, Ask) else frozenset[str]()
    back = so_far.lifted - off
    if back:
        return _asked(ground, so_far, before, _refit(network, sorted(back)), "before anything else is read")
    if not isinstance(ask, Ask):
        ending = Ending(
            ground.plant,
            ground.celsius,
            ask,
            ground.meter,
            so_far.worse,
            ground.wanted.path,
            ground.wanted.seen,
            so_far.count,
            len(so_far.skipped),
        )
        return finding(found_of(ending), so_far.count)
    on = off - so_far.lifted
    if on:
        return _asked(ground, so_far, before, _lift(network, sorted(on)), ask.why)
    return _asked(ground, so_far, before, _reading(ground, source, ask), ask.why)


def _asked(ground: Ground, so_far: Trail, before: Mapping[str, Any], want: Do | Measure, why: str) -> Advised:
    left = max(0, len(ground.first) - so_far.count)
    return Advised(number=0, want=want, done=so_far.count, left=left, why=why, facts=_suspected(ground, so_far, before))


def _suspected(ground: Ground, so_far: Trail, before: Mapping[str, Any]) -> dict[str, Any]:
    """What is suspected so far, from when every bond was read once; for a picture, so now and then is enough."""
    if len(so_far.taken) < len(ground.network.bonds):
        return {}
    if before and so_far.count % EVERY and so_far.count < len(ground.first):
        return dict(before)
    posterior = explain(ground.network, so_far.taken.values(), Prior())
    return suspected(posterior, ground.celsius)


def settings_of(source: Seek) -> Wanted:
    """A search's settings.

    Raises:
        DiagnoseError: a name or a value that is of no use.
    """
    given = source.settings
    unknown = [name for name in given if name not in NAMES]
    if unknown:
        raise DiagnoseError(f"settings: found '{unknown[0]}', expected {', '.join(NAMES)}")
    lifting = given.get("lifting", "no")
    if lifting not in ("yes", "no"):
        raise DiagnoseError(f"setting 'lifting': found '{lifting}', expected yes or no")
    try:
        seen = Ratio.parse(given.get("seen", SEEN)).value
    except ValueError as error:
        raise DiagnoseError(f"setting 'seen': {error}") from error
    if not 0 < seen <= 1:
        raise DiagnoseError(f"setting 'seen': found {given.get('seen')}, expected a share up to 100 %")
    return Wanted(
        lifting == "yes",
        ohms_of(given.get("path", PATH), "path"),
        seen,
        _number(given.get("per-point", "2.7"), "per-point", 1.0, 20.0),
        int(_number(given.get("most", "30"), "most", 0.0, 1000.0)),
    )


def _number(text: str, name: str, least: float, most: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise DiagnoseError(f"setting '{name}': found '{text}', expected a number from {least:g} to {most:g}")
    return value


_KEPT: dict[tuple[int, float, int, str, Wanted], Ground] = {}
"""The last search's ground: the plant is the same object throughout a walk."""


def _ground(state: State, source: Seek) -> Ground:
    assert state.setting is not None
    plant, celsius = state.setting.plant, state.conditions.ambient
    asked = settings_of(source)
    key = (id(plant), celsius, source.wires, state.setting.bench.name, asked)
    known = _KEPT.get(key)
    if known is None or known.plant is not plant:
        network = network_of(plant, celsius)
        meter = bench_meter(state.setting.bench, celsius, source.wires, state.at)
        first = first_readings(network, meter, asked.per_point)
        known = Ground(plant, celsius, asked, network, meter, tuple(first))
        _KEPT.clear()
        _KEPT[key] = known
    return known


def _before(state: State, step: Step, ground: Ground) -> Trail:
    """What the steps before the search read between earth points, and which bonds they left off."""
    assert state.setting is not None
    so_far = Trail()
    for earlier in state.setting.plan.steps[: step.index]:
        source = earlier.source
        outcome = state.latest.get(earlier.index)
        if outcome is not None and outcome.verdict == "done":
            so_far.handled = so_far.handled.after(source.changes)
        if outcome is None or not isinstance(source, Measure) or source.read != "resistance" or source.join:
            continue
        if all(name in ground.plant.earth_points for name in source.between):
            _add(so_far, source.between, outcome, outcome.handled or so_far.handled, ground)
    return so_far


def _add(so_far: Trail, between: tuple[str, str], outcome: Outcome, handled: Handled, ground: Ground) -> bool:
    """Take a reading that was made with the plant like this; returns whether it is one."""
    reading = _reading_of(between, outcome, tuple(sorted(handled.lifted)), ground)
    if reading is not None:
        so_far.taken[reading.key] = reading
    return reading is not None


def _reading_of(between: tuple[str, str], outcome: Outcome, lifted: tuple[str, ...], ground: Ground) -> Reading | None:
    a, b = between
    if outcome.reading is None:
        return None
    top = outcome.reading.range
    if outcome.over == "+" and top is not None and top < ground.meter.open_above / 2:
        return None  # more than a low range shows is not open
    if outcome.over == "+" or (outcome.value is not None and outcome.value > ground.meter.open_above):
        return Reading(a, b, math.inf, 0.0, lifted, ground.meter.open_above)
    if outcome.value is None or outcome.budget is None:
        return None
    return Reading(a, b, outcome.value, outcome.budget.standard_uncertainty, lifted, ground.meter.open_above)


def _followed(ground: Ground, so_far: Trail, trail: tuple[Link, ...]) -> Trail:
    """Everything up to now, act by act and reading by reading."""
    for link in trail:
        want, passed_over = link.want, link.outcome.verdict == "skipped"
        if isinstance(want, Do):
            so_far.prove = ""
            if not passed_over:
                so_far.handled = so_far.handled.after(want.changes)
                so_far.prove = want.refit[0] if want.refit else ""
            elif want.lift:
                so_far.skipped += [(_ends(ground.network, bond), (bond,)) for bond in want.lift]
            continue
        proven, so_far.prove = so_far.prove, ""
        so_far.count += link.reading is not None
        if proven and link.outcome.verdict == "fail":
            # a joint, and nothing that the search should explain
            so_far.worse[proven] = link.outcome.sentence
        elif not _add(so_far, want.between, link.outcome, so_far.handled, ground) and not proven:
            so_far.skipped.append((frozenset(want.between), tuple(sorted(so_far.lifted))))
    return so_far


def _ends(network: BondNetwork, bond: str) -> frozenset[str]:
    one = network.bonds[network.bond_place(bond)]
    return frozenset((one.a, one.b))


def _next(ground: Ground, so_far: Trail) -> Ask | Finding:
    """What the hunt wants next; where it finds nothing but has not seen enough, the lift that shows the most."""
    asked, network = ground.wanted, ground.network
    settings = HuntSettings(per_point=asked.per_point, most=asked.most, lifting=asked.lifting)
    taken, skipped = tuple(so_far.taken.values()), tuple(so_far.skipped)
    hunt = Hunt(network, ground.meter, Prior(), settings, ground.first, taken, skipped)
    found = hunt.next()
    if isinstance(found, Ask) or found.kind != "clear" or not asked.lifting:
        return found
    seen = visibility(network, found.posterior.readings, found.posterior.prior)
    if seen.share(asked.path) >= asked.seen:
        return found
    done = [*(name for one in taken for name in one.lifted), *(name for _, lifted in skipped for name in lifted)]
    name = most_deciding(network, seen.blind(asked.path), done)
    if not name:
        return found
    bond = network.bonds[network.bond_place(name)]
    why = f"a second path of {ohms_words(asked.path)} does not show everywhere yet; this lift decides most of the rest"
    return Ask(hunt.number, bond.a, bond.b, (name,), why)


# what is asked for, in words


def _reading(ground: Ground, source: Seek, ask: Ask) -> Measure:
    network = ground.network
    labels = network.label(ask.a), network.label(ask.b)
    bond = next((one for one in network.bonds if {one.a, one.b} == {ask.a, ask.b}), None)
    if ask.lifted:
        return Measure(
            title=f"Across the gap of {', '.join(ask.lifted)}",
            text=f"From {labels[0]} to {labels[1]}, with {', '.join(ask.lifted)} off. Open is expected: nothing but"
            " the bond joins them by design.",
            read="resistance",
            wires=source.wires,
            between=(ask.a, ask.b),
            limit=Limit(at_least=Amount(OPEN_OHM / 10, "Ω"), source="across the gap of a lifted bond open is expected"),
        )
    expected, least = _expected(network, ask.a, ask.b)
    what = f"bond {bond.name}" if bond is not None else "the way between them"
    return Measure(
        title=f"{ask.a} to {ask.b}",
        text=f"From {labels[0]} to {labels[1]}. {ohms_words(expected)} is expected of {what}.",
        read="resistance",
        wires=source.wires,
        between=(ask.a, ask.b),
        subject=bond.name if bond is not None else "",
        limit=Limit(
            at_least=Amount(least, "Ω"),
            source=f"the bonds between as designed, less {SIGMAS:g} standard deviations of their spread: "
            "a lower reading shows a second path",
        ),
    )


def _expected(network: BondNetwork, a: str, b: str) -> tuple[float, float]:
    """Designed ohms between two points, and the least that sound bonds leave of them."""
    import numpy as np

    from bench.diagnose.earth.fit import Case, solve

    i, j = (np.array([network.place(name)], dtype=np.intp) for name in (a, b))
    circuit = solve(network, [Case()], np.log(network.ohms)[None, :])
    ohms = float(circuit.resistances(i, j)[0, 0])
    spread = math.sqrt(float(((circuit.jacobian(i, j)[0, 0] * network.spreads) ** 2).sum()))
    return ohms, ohms * math.exp(-SIGMAS * spread / ohms)


def _lift(network: BondNetwork, bonds: list[str]) -> Do:
    return Do(
        title=f"Lift {', '.join(bonds)}",
        text=f"Take {_named(network, bonds)} off at one end and keep it clear of everything. Nothing here may be live."
        f" {CAUTION}",
        lift=bonds,
    )


def _refit(network: BondNetwork, bonds: list[str]) -> Do:
    return Do(
        title=f"Put {', '.join(bonds)} back",
        text=f"Put {_named(network, bonds)} back where it was: clean faces, washers as before, tight. It is read"
        " again.",
        refit=bonds,
    )


def _named(network: BondNetwork, bonds: list[str]) -> str:
    told = []
    for name in bonds:
        bond = network.bonds[network.bond_place(name)]
        told.append(f"bond {name} ({network.label(bond.a)} to {network.label(bond.b)})")
    return ", ".join(told)


def _prove_again(ground: Ground, source: Seek, so_far: Trail) -> Measure:
    network = ground.network
    bond = network.bonds[network.bond_place(so_far.prove)]
    old = so_far.taken.get((frozenset((bond.a, bond.b)), frozenset()))
    if old is not None and not old.is_open:
        most, why = WORSE * old.ohms + 2.0 * old.u, f"{WORSE:g} times what it read before it was lifted (own choice)"
    else:
        most = bond.ohms * math.exp(SIGMAS * bond.spread)
        why = f"its design and {SIGMAS:g} standard deviations of its spread"
    return Measure(
        title=f"Prove {bond.name} again",
        text=f"From {network.label(bond.a)} to {network.label(bond.b)}: the bond that was put back.",
        read="resistance",
        wires=source.wires,
        between=(bond.a, bond.b),
        subject=bond.name,
        limit=Limit(at_most=Amount(most, "Ω"), source=why),
    )
