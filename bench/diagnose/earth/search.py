"""A second path to earth, sought from reading to reading: what the hunt asks for, as the steps of a search.

What the sequence measured between earth points before the search takes part, with the bonds that were off then: the
isolation check with the single-point connection lifted above all. Then come the first set, the most telling readings,
and, where the sequence allows it, lifts: each lifted bond is read across its gap, put back and proven again before
anything else. Each reading counts with its own standard uncertainty, as the walk's budget has it.

Before anybody is sent to open or to lift something, the one reading without which the conclusion would be another one
is asked for once more, and a third time where the two figures differ: what two of them say counts.

Where two ohmmeters are asked, the one in ``ohms`` reads what should conduct and the one in ``high-ohms`` what should be
open. What is more than the one shows is read with the other, and so is what conducts where open was expected: the
later reading counts. Readings with one meter share an error, those with two share none.

Settings: ``lifting`` (``yes`` or ``no``: whether the search may ask for bonds to be lifted), ``path`` (the second path
that must not be missed, a resistance), ``seen`` (at what share of the possible places one of that size must show for a
pass), ``per-point`` (readings of the first set for each point) and ``most`` (readings after that).
"""

from __future__ import annotations

import math
from typing import Any, Final

import msgspec
from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.decisive import decisive
from bench.diagnose.earth.finding import SIGMAS, Ending, alike, counted, found_of, suspected
from bench.diagnose.earth.fit import Prior, Reading
from bench.diagnose.earth.hunt import Ask, Finding, Hunt, HuntSettings, Skipped, lifts_of
from bench.diagnose.earth.lifts import most_deciding
from bench.diagnose.earth.meter import BenchMeter, bench_meter
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.plant import network_of
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.sentences import CAUTION, ohms_words
from bench.diagnose.earth.visible import visibility
from bench.diagnose.search_settings import number_of, ohms_of
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.quantity import Amount, Ratio
from bench.roles import HIGH_OHMS
from bench.sequence.file import Do, Found, Limit, Measure, Seek
from bench.sequence.plan import Step
from bench.walk.outcome import Outcome
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State
from bench.walk.two_ohmmeters import OPEN_OHM, wires_of

PATH: Final = "10 mΩ"
"""The second path that must not be missed, where the sequence does not say (own choice: a screw through paint, a screen
of a few metres that is landed at both ends)."""
SEEN: Final = "90 %"
WORSE: Final = 1.25
"""How many times what it read before a bond may read, at most, once it was put back (own choice)."""
EVERY: Final = 5
"""Readings of the first set between two looks at what is suspected."""
MOST_AGAIN: Final = 4
"""Pairs that one search asks for once more, at most (own choice)."""
NAMES: Final = ("lifting", "path", "seen", "per-point", "most")


class Settings(msgspec.Struct, frozen=True):
    """The settings of a search, read."""

    lifting: bool
    path: float
    seen: float
    per_point: float
    most: int


class Ground(msgspec.Struct, frozen=True):
    """What does not change during a search.

    Attributes:
        plant: the plant.
        celsius: of the bonds.
        settings: of the search.
        meter: that reads.
        second: what reads where open is expected; None where the one meter reads all.
        hunt: what to read next.
        source: the search's step in the sequence.
    """

    plant: Plant
    celsius: float
    settings: Settings
    meter: BenchMeter
    second: BenchMeter | None
    hunt: Hunt
    source: Seek

    @property
    def network(self) -> BondNetwork:
        """The bonds as they were designed."""
        return self.hunt.network

    def meter_of(self, asked: Measure) -> BenchMeter:
        """What took a reading."""
        return self.second if self.second is not None and asked.meter == HIGH_OHMS else self.meter


class SoFar(msgspec.Struct):
    """What came of the search so far.

    Attributes:
        handled: the plant as it is left now.
        taken: readings, the last of each pair.
        skipped: pairs, with the bonds lifted, that could not be read; a lift that was refused is one.
        prove: the bond that was put back and is to be proven again.
        worse: bonds that read too much after they were put back, with the verdict's sentence.
        other: the same reading once more, with the other ohmmeter.
        shown: what was asked for before that, and what came of it.
        count: readings in the search itself.
        again: of pairs that were asked for once more, all readings, oldest first.
        unsteady: pairs, with the bonds lifted, that read otherwise each time; what they read does not count.
    """

    handled: Handled = msgspec.field(default_factory=Handled)
    taken: dict[tuple[frozenset[str], frozenset[str]], Reading] = msgspec.field(default_factory=dict)
    skipped: list[Skipped] = msgspec.field(default_factory=list)
    prove: str = ""
    worse: dict[str, str] = msgspec.field(default_factory=dict)
    other: Measure | None = None
    shown: tuple[Measure, Outcome] | None = None
    count: int = 0
    again: dict[tuple[frozenset[str], frozenset[str]], list[Reading]] = msgspec.field(default_factory=dict)
    unsteady: list[Skipped] = msgspec.field(default_factory=list)

    @property
    def lifted(self) -> frozenset[str]:
        """Bonds that are off now."""
        return self.handled.lifted


def search(state: State, step: Step, trail: Trail) -> Search:
    """The search for a second path to earth.

    It goes on from any trail: what was read and lifted counts, whatever it would have asked for itself.

    Raises:
        DiagnoseError: the plant has no earthing network, a setting is of no use, or nothing is known of the meter.
    """
    ground = _ground(state, step)
    so_far = _before(state, step, ground)
    for answer in trail:
        _take(ground, so_far, answer)
    while not isinstance(wanted := _next(ground, so_far), Found):
        _take(ground, so_far, (yield wanted))
    return wanted


def _next(ground: Ground, so_far: SoFar) -> Wanted | Found:
    """The next act or reading, or what was found."""
    left = max(0, len(ground.hunt.first) - so_far.count)
    if so_far.prove:
        return Wanted(_prove_again(ground, so_far), "a bond that was put back", left)
    if so_far.other is not None:
        why = "more than the meter shows" if so_far.other.meter == HIGH_OHMS else "it conducts where open is expected"
        return Wanted(so_far.other, f"{why}: the other ohmmeter tells how much", left)
    ask = _asked(ground, so_far)
    off = frozenset(ask.lifted) if isinstance(ask, Ask) else frozenset[str]()
    facts = _suspected(ground, so_far, ask)
    back = so_far.lifted - off
    if back:
        return Wanted(_refit(ground.network, sorted(back)), "before anything else is read", left, facts)
    if not isinstance(ask, Ask):
        ending = Ending(
            ground.plant,
            ground.celsius,
            ask,
            ground.meter,
            so_far.worse,
            ground.settings.path,
            ground.settings.seen,
            so_far.count,
            len(so_far.skipped),
            tuple(tuple(readings) for readings in so_far.again.values()),
        )
        return found_of(ending)
    on = off - so_far.lifted
    return Wanted(_lift(ground.network, sorted(on)) if on else _reading(ground, ask), ask.why, left, facts)


def _suspected(ground: Ground, so_far: SoFar, ask: Ask | Finding) -> dict[str, Any] | None:
    """What is suspected so far, from when every bond was read once; None where it is as before.

    It is for a picture, so in the first set now and then is enough.
    """
    known, bonds = len(so_far.taken), len(ground.network.bonds)
    if known < bonds:
        return None
    if ask.posterior is not None:
        return suspected(ask.posterior, ground.celsius)
    if known > bonds and so_far.count % EVERY:
        return None
    return suspected(explain(ground.network, so_far.taken.values(), ground.hunt.prior), ground.celsius)


def settings_of(source: Seek) -> Settings:
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
    return Settings(
        lifting == "yes",
        ohms_of(given.get("path", PATH), "path"),
        seen,
        number_of(given.get("per-point", "2.7"), "per-point", 1.0, 20.0),
        int(number_of(given.get("most", "30"), "most", 0.0, 1000.0)),
    )


def _ground(state: State, step: Step) -> Ground:
    source = step.source
    assert isinstance(source, Seek) and state.setting is not None
    plant, celsius = state.setting.plant, state.conditions.ambient
    settings = settings_of(source)
    meter = bench_meter(state.setting.bench, celsius, source.wires, state.at)
    limits = HuntSettings(per_point=settings.per_point, most=settings.most, lifting=settings.lifting)
    hunt = Hunt.begin(network_of(plant, celsius), meter, Prior(), limits)
    second = None
    if source.both_ohmmeters:
        bench = state.setting.bench
        facts = bench.for_role(HIGH_OHMS)
        wires = wires_of(facts, source.wires) if facts is not None else source.wires
        second = bench_meter(bench, celsius, wires, state.at, HIGH_OHMS)
    return Ground(plant, celsius, settings, meter, second, hunt, source)


def _before(state: State, step: Step, ground: Ground) -> SoFar:
    """What the steps before the search read between earth points, and which bonds they left off."""
    assert state.setting is not None
    so_far = SoFar()
    for earlier in state.setting.plan.steps[: step.index]:
        source = earlier.source
        outcome = state.kept.latest.get(earlier.index)
        if outcome is not None and outcome.verdict == "done":
            so_far.handled = so_far.handled.after(source.changes)
        if outcome is None or not isinstance(source, Measure) or source.read != "resistance" or source.join:
            continue
        if all(name in ground.plant.earth_points for name in source.between):
            _add(so_far, source, outcome, outcome.circumstances.handled or so_far.handled, ground)
    return so_far


def _add(so_far: SoFar, asked: Measure, outcome: Outcome, handled: Handled, ground: Ground) -> bool:
    """Take a reading that was made with the plant like this; returns whether it is one."""
    reading = _reading_of(asked.between, outcome, tuple(sorted(handled.lifted)), ground.meter_of(asked))
    if reading is not None:
        so_far.taken[reading.key] = reading
    return reading is not None


def _reading_of(
    between: tuple[str, str], outcome: Outcome, lifted: tuple[str, ...], meter: BenchMeter
) -> Reading | None:
    (a, b), most = between, meter.open_above
    if outcome.reading is None:
        return None
    top = outcome.reading.range
    if outcome.figure.over == "+" and top is not None and top < most / 2:
        return None  # more than a low range shows is not open
    if outcome.figure.over == "+" or (outcome.figure.value is not None and outcome.figure.value > most):
        return Reading(a, b, math.inf, 0.0, lifted, most)
    if outcome.figure.value is None or outcome.figure.budget is None:
        return None
    return Reading(a, b, outcome.figure.value, outcome.figure.budget.standard_uncertainty, lifted, most, meter.name)


def _take(ground: Ground, so_far: SoFar, answer: Answer) -> None:
    """Add the outcome of an act or a reading."""
    want = answer.want
    proven, so_far.prove = so_far.prove, ""
    first, so_far.other, so_far.shown = so_far.shown, None, None
    if isinstance(want, Do):
        if not answer.skipped:
            so_far.handled = so_far.handled.after(want.changes)
            so_far.prove = want.refit[0] if want.refit else ""
        else:
            so_far.skipped += [(_ends(ground.network, bond), (bond,)) for bond in want.lift]
        return
    so_far.count += answer.counts
    if proven and answer.outcome.verdict == "fail":
        # a joint, and nothing that the search should explain
        so_far.worse[proven] = answer.outcome.sentence
        return
    if first is None and not proven:
        so_far.other = _with_the_other(ground, want, answer)
        if so_far.other is not None:
            so_far.shown = want, answer.outcome
            return
    key = (frozenset(want.between), so_far.lifted)
    before = so_far.taken.get(key)
    if proven:
        so_far.again.pop(key, None)  # a joint that was made anew
        before = None
    # what the other meter says is what counts, and where it says nothing what was shown before
    said = [(want, answer.outcome), *([first] if first is not None else [])]
    if not any(_add(so_far, asked, outcome, so_far.handled, ground) for asked, outcome in said):
        if not proven:
            so_far.skipped.append((key[0], tuple(sorted(so_far.lifted))))
    elif before is not None:
        readings = so_far.again.setdefault(key, [before])
        readings.append(so_far.taken.pop(key))
        counts = counted(readings)
        if counts is not None:
            so_far.taken[key] = counts
        else:
            so_far.unsteady.append((key[0], tuple(sorted(so_far.lifted))))


def _with_the_other(ground: Ground, want: Measure, answer: Answer) -> Measure | None:
    """The same reading with the other ohmmeter, where what was read is not for the one that read it."""
    if ground.second is None or answer.ohms is None:
        return None
    if want.meter != HIGH_OHMS:
        return _by_second(ground, want) if answer.ohms == math.inf else None
    return replace(want, meter="ohms", wires=ground.source.wires) if answer.ohms <= ground.meter.open_above else None


def _by_second(ground: Ground, asked: Measure) -> Measure:
    """A reading as the second ohmmeter takes it, where there is one."""
    return asked if ground.second is None else replace(asked, meter=HIGH_OHMS, wires=ground.second.wires)


def _ends(network: BondNetwork, bond: str) -> frozenset[str]:
    one = network.bonds[network.bond_place(bond)]
    return frozenset((one.a, one.b))


def _asked(ground: Ground, so_far: SoFar) -> Ask | Finding:
    """What the hunt wants next; where it finds nothing but has not seen enough, the lift that shows the most."""
    settings, network = ground.settings, ground.network
    taken, skipped = tuple(so_far.taken.values()), (*so_far.skipped, *so_far.unsteady)
    unsure = _third(so_far)
    if unsure is not None:
        return Ask(unsure.a, unsure.b, unsure.lifted, "its two figures differ: what two of three say counts")
    found = ground.hunt.next(taken, skipped)
    doubted = _doubted(so_far, found)
    if doubted is not None:
        return Ask(
            doubted.a,
            doubted.b,
            doubted.lifted,
            "once more, before anything is opened: without this one reading nothing would point there",
            found.posterior,
        )
    if isinstance(found, Ask) or found.kind != "clear" or not settings.lifting:
        return found
    seen = visibility(network, found.posterior.readings, found.posterior.prior)
    if seen.share(settings.path) >= settings.seen:
        return found
    name = most_deciding(network, seen.blind(settings.path), lifts_of(taken, skipped))
    if not name:
        return found
    bond = network.bonds[network.bond_place(name)]
    why = f"a second path of {ohms_words(settings.path)} does not show everywhere yet; this lift decides most of it"
    return Ask(bond.a, bond.b, (name,), why, found.posterior)


def _doubted(so_far: SoFar, found: Ask | Finding) -> Reading | None:
    """The reading that is worth a second look before hands go where the finding, or the lift, sends them."""
    posterior = found.posterior
    if posterior is None or len(so_far.again) >= MOST_AGAIN or (
        not found.lifted if isinstance(found, Ask) else found.kind == "clear"
    ):  # fmt: skip
        return None
    skipped = {(ends, frozenset(lifted)) for ends, lifted in so_far.skipped}
    # a bond is not lifted for a second look: its gap is read twice while it is off
    among = [
        one
        for key, one in so_far.taken.items()
        if key[1] in (frozenset(), so_far.lifted) and key not in so_far.again and key not in skipped
    ]
    return decisive(posterior, found.faults if isinstance(found, Finding) else (), among)


def _third(so_far: SoFar) -> Reading | None:
    """A reading whose two figures differ, and that was not asked for a third time."""
    skipped = {(ends, frozenset(lifted)) for ends, lifted in so_far.skipped}
    for key, readings in so_far.again.items():
        if len(readings) == 2 and not alike(*readings) and key not in skipped:
            return readings[-1]
    return None


# what is asked for, in words


def _reading(ground: Ground, ask: Ask) -> Measure:
    network = ground.network
    labels = network.label(ask.a), network.label(ask.b)
    bond = next((one for one in network.bonds if {one.a, one.b} == {ask.a, ask.b}), None)
    if ask.lifted:
        across = Measure(
            title=f"Across the gap of {', '.join(ask.lifted)}",
            text=f"From {labels[0]} to {labels[1]}, with {', '.join(ask.lifted)} off. Open is expected: nothing but"
            " the bond joins them by design.",
            read="resistance",
            wires=ground.source.wires,
            between=(ask.a, ask.b),
            limit=Limit(at_least=Amount(OPEN_OHM / 10, "Ω"), source="across the gap of a lifted bond open is expected"),
        )
        return _by_second(ground, across)
    expected, least = _expected(network, ask.a, ask.b)
    what = f"bond {bond.name}" if bond is not None else "the way between them"
    return Measure(
        title=f"{ask.a} to {ask.b}",
        text=f"From {labels[0]} to {labels[1]}. {ohms_words(expected)} is expected of {what}.",
        read="resistance",
        wires=ground.source.wires,
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


def _prove_again(ground: Ground, so_far: SoFar) -> Measure:
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
        wires=ground.source.wires,
        between=(bond.a, bond.b),
        subject=bond.name,
        limit=Limit(at_most=Amount(most, "Ω"), source=why),
    )
