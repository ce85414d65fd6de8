"""The limit of a measuring step: set by hand in the sequence, or computed from the plant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final

import msgspec

from bench.judge.conductor import Contact
from bench.judge.harness import continuity_limit, insulation_limit
from bench.judge.insulation import insulation_rule
from bench.judge.judge_error import JudgeError
from bench.judge.limit import Limit
from bench.judge.siblings import AS_GOOD_AS_NOTHING
from bench.judge.uncertainty import Budget
from bench.plant.conductor_make import Wire
from bench.plant.conductor_make import expected as expected_of
from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Cable
from bench.quantity import engineering
from bench.roles import UNIT_OF
from bench.sequence.file import Limit as LimitFile
from bench.sequence.file import Measure
from bench.sequence.plan import Step
from bench.sequence.power_tree import Powered, power_tree


class Held(msgspec.Struct, frozen=True):
    """A limit, with what a sound item should read.

    Attributes:
        limit: what the reading is held against.
        expected: what a sound item reads; None where nothing is known.
        least: what a sound item reads at the least; a reading surely below passes but is worth a look. None where
            nothing is known.
        amps: of a drop, the current that flows meanwhile; None for other readings.
        connected: up to where a conductor is connected, whether it is sound or not; None for anything else.
    """

    limit: Limit
    expected: float | None = None
    least: float | None = None
    amps: float | None = None
    connected: Limit | None = None

    def as_good_as_nothing(self, budget: Budget) -> bool:
        """Whether a reading is so surely below what a sound item reads that the probes must have touched each other."""
        most = budget.value + budget.expanded_uncertainty
        return self.least is not None and most < AS_GOOD_AS_NOTHING * self.least

    def remark(self, budget: Budget) -> str:
        """Something worth a look although the verdict stands; may be empty."""
        if self.least is None or budget.value + budget.expanded_uncertainty >= self.least:
            return ""
        return (
            f"Lower than this path can be ({engineering(self.least, self.limit.unit)} at the least): "
            "look for a second path, or correct the length in the plant file."
        )


def limit_of(
    step: Step,
    plant: Plant,
    celsius: float,
    other: LimitFile | None = None,
    powered: Powered | None = None,
    at: Mapping[str, float] | None = None,
) -> Held:
    """The limit of a measuring step.

    Args:
        step: the step.
        plant: the plant it is about.
        celsius: of the conductors.
        other: takes the place of the step's own limit.
        powered: what a bench supply feeds at the moment; None where none is on.
        at: inlet to the volts that were read there last, with their sign.

    Raises:
        JudgeError: the plant does not say enough for it to be computed.
    """
    source = step.source
    assert isinstance(source, Measure)
    wanted = other if other is not None else source.limit
    unit = UNIT_OF[source.read]
    if wanted.computed is None:
        return Held(
            Limit(
                unit=unit,
                source=wanted.source,
                lower=wanted.at_least.value if wanted.at_least is not None else None,
                upper=wanted.at_most.value if wanted.at_most is not None else None,
            )
        )
    margin = wanted.margin.value if wanted.margin is not None else 0.0
    if wanted.computed == "shelf-voltage":
        return _shelf_voltage(step, source, plant, powered, margin)
    if wanted.computed == "stretch-drop":
        return _stretch_drop(source, plant, powered, celsius)
    try:
        return _computed(wanted.computed, step, source, plant, celsius, margin, at or {})
    except (UnknownName, NoPath) as error:
        raise JudgeError("limit", str(error), f"something that '{wanted.computed}' can be computed from") from error


def _computed(
    kind: str, step: Step, source: Measure, plant: Plant, celsius: float, margin: float, seen: Mapping[str, float]
) -> Held:
    a, b = source.between
    if kind in ("conductor", "path"):
        single = kind == "conductor" and step.subject in plant.conductors
        bond = plant.bonds.get(step.subject) if kind == "path" else None
        if single:
            one = plant.conductors[step.subject]
            return _of_conductor(one.wire, one.length_m, one.tolerance_m, celsius, one.contacts, margin)
        if bond is not None and {bond.a.name, bond.b.name} == {a, b}:
            # of several conductors side by side the one that is on
            expected = bond.expected(celsius)
        else:
            expected = plant.path_expected(a, b, celsius)
        sound = _upper_only(expected.limit(margin))
        return Held(sound, expected.nominal_ohm, expected.low_ohm)
    if kind == "insulation-by-length":
        return Held(insulation_by_length(cables_at(plant, source.between)))
    if kind == "insulation":
        nominal = max((abs(feed.nominal_v) for feed in plant.feeds.values()), default=50.0)
        return Held(insulation_rule(nominal).limit)
    if kind == "idle-current":
        shelf, _, feed_name = step.subject.partition(".")
        read = seen.get(step.subject)
        typical, least, most, at = idle_window(plant, shelf, feed_name, read)
        count = sum(len(plant.shelves[name].cards) for name in (shelf, *plant.shelves[shelf].halves))
        origin = f"sum of the {count} cards of shelf {shelf} with their spread, at {engineering(at, 'V')} "
        origin += "as it was read at the shelf" if read is not None else "at the shelf, by calculation: nobody read it"
        return Held(Limit.between(least, most + margin, "A", origin), typical)
    feed = plant.feeds[plant.inlets[step.subject].feed] if step.subject in plant.inlets else None
    if feed is None:
        terminal = plant.terminal(a)
        owner = plant.breakers.get(terminal.owner)
        if owner is None:
            raise UnknownName(step.subject or a, "an inlet or a breaker, whose feed is known")
        feed = plant.feeds[owner.feed]
    return Held(
        Limit.between(feed.low_v, feed.high_v, "V", f"what feed {feed.name} may have at the equipment, with its sign"),
        feed.nominal_v,
    )


# the conductors of a cable are alike, and are read one after the other at one temperature
@lru_cache(maxsize=1024)
def _of_conductor(
    wire: Wire, length_m: float, tolerance_m: float, celsius: float, contacts: tuple[Contact, ...], margin: float
) -> Held:
    expected = expected_of(wire, length_m, tolerance_m, celsius, contacts)
    sound = _upper_only(expected.limit(margin))
    assert sound.upper is not None
    return Held(sound, expected.nominal_ohm, expected.low_ohm, connected=continuity_limit(sound.upper))


def _upper_only(banded: Limit) -> Limit:
    """A conductor's limit: too low is no failure, it may be a generous drawing, and is remarked."""
    assert banded.upper is not None
    return Limit.at_most(banded.upper, banded.unit, banded.source)


def cables_at(plant: Plant, places: Sequence[str], of: str = "") -> list[Cable]:
    """The cables on some places, and those of a cable or connector by name, in order."""
    names = [conductor.cable for place in places for conductor in plant.ends.get(place, ())]
    found = [plant.cables[name] for name in dict.fromkeys(names)]
    if of in plant.cables:
        return [*found, plant.cables[of]]
    return [*found, *(plant.cables_of(of) if of in plant.connectors else ())]


def shelves_at(plant: Plant, cables: Sequence[Cable]) -> list[str]:
    """The shelves and halves whose electronics hang on some cables, by a connector or an inlet, in order."""
    found: list[str] = []
    for end in (owner for cable in cables for owner in (*cable.near, *cable.far)):
        shelf = plant.connectors[end].shelf if end in plant.connectors else end
        if shelf in plant.shelves:
            found += [shelf, *plant.shelves[shelf].halves]
    return list(dict.fromkeys(found))


def insulation_by_length(cables: Sequence[Cable]) -> Limit:
    """The minimum of the longest of some cables, by its length.

    Raises:
        NoPath: there is none.
    """
    if not cables:
        raise NoPath("no cable is on these places")
    return insulation_limit(max(cable.length_m for cable in cables))


DROP_DOUBT: Final = (0.5, 0.2)
"""How far a drop may be from the computed one: a part of it, and volts (common practice, no source)."""


def _shelf_voltage(step: Step, source: Measure, plant: Plant, powered: Powered | None, margin: float) -> Held:
    """What the distribution tree leaves of the supply's voltage at an inlet, with its sign.

    A margin is for a meter that is too coarse for the drop: it still tells dead, reversed and far too low.
    """
    if powered is None:
        raise JudgeError("limit", "no supply that is on", "'shelf-voltage' after a step that energises")
    flow = power_tree(plant).flow(powered)
    live, back = (plant.terminal(name).node for name in source.between)
    if live not in flow.nodes or back not in flow.nodes:
        found = f"{source.between[0]} and {source.between[1]}, which nothing that is on reaches"
        raise JudgeError("limit", found, "an inlet that is on")
    volts = flow.nodes[live] - flow.nodes[back]
    drop = abs(powered.volts) - abs(volts)
    doubt = DROP_DOUBT[0] * drop + DROP_DOUBT[1] + margin
    origin = f"{engineering(abs(powered.volts), 'V')} at the supply less a computed drop of {engineering(drop, 'V')}"
    most = _drop_of(plant, source.between[0])
    if most is not None and drop + doubt > most:
        # the feed allows less than what such a way may lose
        least = abs(powered.volts) - most
        origin = f"{engineering(abs(powered.volts), 'V')} at the supply less the {most:g} V that the feed may lose"
        bounds = (least, volts + doubt) if volts > 0 else (volts - doubt, -least)
        return Held(Limit.between(*bounds, "V", origin), volts)
    return Held(Limit.between(volts - doubt, volts + doubt, "V", origin), volts)


def _drop_of(plant: Plant, name: str) -> float | None:
    """What the feed of an inlet may lose on its way there and back, in volts; None where the file does not say."""
    inlet = next((one for one in plant.inlets.values() if one.live.name == name), None)
    drop = plant.feeds[inlet.feed].drop_v if inlet is not None else None
    return None if drop is None else abs(drop)


DROP_ORIGIN: Final = "sound joints and conductors at the"
"""How the origin of a stretch's limit begins; the current that flowed comes after it."""
LEAST_DROP: Final = 0.001
"""Volts that any stretch may lose besides: contacts of unlike metals and pick-up (common practice, no source)."""


def _stretch_drop(source: Measure, plant: Plant, powered: Powered | None, celsius: float) -> Held:
    """What a stretch of the way may lose at the current that flows: its parts' highest believable ohms times amperes.

    The current is the one that was measured: where the supply gives more or less than was reckoned, all is scaled.
    """
    if powered is None:
        raise JudgeError("limit", "no supply that is on", "'stretch-drop' after a step that energises")
    flow = power_tree(plant).flow(powered)
    one, other = (plant.terminal(name).node for name in source.between)
    if one not in flow.nodes or other not in flow.nodes or flow.amps <= 0:
        found = f"{source.between[0]} and {source.between[1]}, between which no current flows"
        raise JudgeError("limit", found, "two places on a way that carries current")
    scale = powered.drawn / flow.amps if powered.drawn is not None else 1.0
    expected = most = amps = 0.0
    for edge in plant.path(source.between[0], source.between[1]):
        carried = abs(flow.through(edge.id)) * scale
        amps = max(amps, carried)
        expected += carried * edge.ohms
        most += carried * plant.expected(edge.id, celsius).high_ohm
    most += LEAST_DROP
    origin = f"{DROP_ORIGIN} {engineering(amps, 'A', digits=3)} that flow"
    return Held(Limit.between(-most, most, "V", origin), expected, amps=amps)


def idle_window(
    plant: Plant, shelf: str, feed: str = "", read: float | None = None
) -> tuple[float, float, float, float]:
    """What a shelf draws when it idles on one feed: typical, least, most in amperes, and the volts it was reckoned at.

    Cards of constant power draw less where the voltage is higher, so the sum of the plant file's figures, which are
    for nominal voltage, is scaled to the voltage at the shelf: the one that was read with the current. Where nobody
    read it, it is the supply's, less the drop of the shelf's own current on its way there and back.

    Args:
        plant: the plant.
        shelf: the shelf's or half-shelf's name.
        feed: the feed that it runs on; its first inlet's by default.
        read: volts that were read at the shelf; None where nobody did.

    Raises:
        UnknownName: no such shelf or feed there.
        NoPath: the feed does not reach the shelf.
    """
    inlets = plant.shelves[shelf].inlets if shelf in plant.shelves else ()
    chosen = feed or (inlets[0].feed if inlets else "")
    nominal = abs(plant.feeds[plant.inlet(shelf, chosen).feed].nominal_v)
    path = plant.supply_path(shelf, chosen)
    supply = plant.supplies.get(path.supply)
    volts = abs(supply.volts) if supply is not None else nominal
    ohms = sum(edge.ohms for edge in (*path.out, *path.back)) + (supply.ohms if supply is not None else 0.0)
    cards = [card.type for name in (shelf, *plant.shelves[shelf].halves) for card in plant.shelves[name].cards]

    def total(at: float, spread: float) -> float:
        return sum(
            kind.idle.value
            * (1 + spread * kind.spread.value)
            * (nominal / at if kind.load == "constant-power" else at / nominal)
            for kind in cards
        )

    at = abs(read) if read else volts
    for _ in range(0 if read else 20):
        at = max(volts - ohms * total(at, 0.0), 0.5 * volts)
    return total(at, 0.0), total(at, -1.0), total(at, 1.0), at
