"""A plant drawn at random: two to eight bays, either sign of feed, two batteries; and what is wrong with it.

Everything is invented. What happens to plants that were taken apart, and how often, is assumed (common practice, no
source): :data:`CHANCES` has it, for the page.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import msgspec

from bench.plant import faults as k
from bench.plant.load import load_plant
from bench.plant.loose_places import places_on
from bench.plant.model import Plant
from bench.quantity import Capacitance, Current, Frequency, Length, Resistance

BAYS: Final = (2, 2, 2, 2, 3, 3, 3, 4, 4, 5, 6, 8)
CHANCES: Final = {
    "exchanged": 0.04,
    "broken": 0.05,
    "joined": 0.04,
    "shifted": 0.02,
    "leak": 0.25,
    "second path": 0.35,
    "poor bond": 0.2,
    "hot joint": 0.4,
    "reversed": 0.35,
    "crossed": 0.15,
    "shelf short": 0.15,
    "diode": 0.2,
    "sleeping": 0.3,
    "dead converter": 0.25,
    "too much": 0.15,
    "crimp": 0.3,
}
"""Chance of a fault: for each signal conductor or cable the first four, for the whole plant the others."""

HEAD: Final = """plant: {name}
title: a drawn plant
ambient: 20 degC
connector-types:
  - {{name: D9, title: nine positions, rows: [[1, 2, 3, 4, 5], [6, 7, 8, 9]], stagger: 0.5}}
  - {{name: T8, title: "terminal block, 8 ways", pins: 8, view: wiring, contact: {{typical: 2 mohm, most: 15 mohm}}}}
cable-types:
  - {{name: S4, title: "4 pairs", pairs: 4, size: AWG 24, capacitance: 70 nF/km, rated: 250 V}}
  - {{name: C8, title: "control, 8", conductors: 8, colours: numbered, size: 0.75 mm2, class: 5, rated: 300 V}}
  - {{name: PW4, colours: [RD, BK], size: 4 mm2, class: 5, rated: 300 V}}
  - {{name: PW25, colours: [RD, BK], size: 25 mm2, class: 2, rated: 450 V}}
card-types:
  - {{name: CO, title: converter, converter: true, idle: 0.12 A, spread: 15 %, input-capacitance: 1000 uF, {works}}}
  - {{name: RX, title: receiver, idle: {receiver:.2f} A, spread: 8 %, input-capacitance: 470 uF, {works}}}
  - {{name: AL, title: relays, idle: 0.15 A, spread: 12 %, load: resistive, {works}}}
"""


class Drawn(msgspec.Struct, frozen=True):
    """A plant and what is wrong with it.

    Attributes:
        plant: as it was designed.
        faults: what is wrong at the beginning.
        year: what comes up after the last shelf is on, in the order of time.
        number: of the draw.
    """

    plant: Plant
    faults: tuple[k.Fault, ...]
    year: tuple[k.Fault, ...]
    number: int


def plant_text(draw: random.Random, number: int) -> str:
    """The text of a plant file."""
    bays = draw.choice(BAYS)
    sign, volts = draw.choice("+-"), draw.choice((24, 48))
    low, high, stands = (21, 28.8, 26.4) if volts == 24 else (42, 57, 53.5)
    two_core = f"{sign}{volts} V, allowed: [{sign}{low} V, {sign}{high} V]"
    if sign == "-":
        two_core = f"-{volts} V, allowed: [-{high} V, -{low} V]"
    works = "works-from: 19 V, works-to: 32 V" if volts == 24 else "works-from: 38 V, works-to: 60 V"
    shelves = [f"S{bay}" for bay in range(1, bays + 1)]
    double = {name: draw.random() < 0.6 for name in shelves}
    double[shelves[0]] = True
    signal: list[tuple[int, int]] = [(bay, bay + 1) for bay in range(1, bays)]
    signal += [(bay, draw.choice([b for b in range(1, bays + 1) if b != bay])) for bay in range(1, bays + 1)]
    kinds = [draw.choice(("S4", "C8")) for _ in signal]
    pins: dict[int, list[str]] = {bay: [] for bay in range(1, bays + 1)}
    ends: list[tuple[str, str]] = []
    for (one, other), kind in zip(signal, kinds, strict=True):
        pair = []
        for bay in (one, other):
            name = f"J{bay}{len(pins[bay]) + 1}"
            pins[bay].append(f"{{name: {name}, type: {'D9' if kind == 'S4' else 'T8'}, at: left}}")
            pair.append(name)
        ends.append((pair[0], pair[1]))
    lines = [HEAD.format(name=f"hall-{number}", receiver=draw.uniform(0.3, 0.6), works=works), "bays:"]
    for bay, shelf in enumerate(shelves, 1):
        cards = f"{{1: CO, 2-{draw.choice((3, 4))}: RX, 5: AL}}"
        inlets = "[A, B]" if double[shelf] else "[A]"
        lines.append(f"  - name: {bay}")
        lines.append("    shelves:")
        lines.append(f"      - {{name: {shelf}, slots: 6, cards: {cards}, inlets: {inlets},")
        lines.append(f"         connectors: [{', '.join(pins[bay])}]}}")
    lines.append("feeds:")
    lines += [f"  - {{name: {feed}, nominal: {two_core}, return: BR, drop: 1 V}}" for feed in "AB"]
    lines.append("supplies:")
    lines += [
        f"  - {{name: G{feed}, feed: {feed}, kind: battery, voltage: {sign}{stands} V, resistance: 8 mohm, fuse: 63 A}}"
        for feed in "AB"
    ]
    lines.append("busbars:")
    lines += [f"  - {{name: B{feed}, feed: {feed}, at: 1}}" for feed in "AB"]
    lines.append("  - {name: BR, pole: return, at: 1}")
    lines.append("breakers:")
    lines += [f"  - {{name: F{feed}, feed: {feed}, rating: 40 A, at: 1, load-on: B{feed}.1}}" for feed in "AB"]
    fed = [(shelf, feed) for shelf in shelves for feed in ("AB" if double[shelf] else "A")]
    place = {"A": 2, "B": 2}
    for shelf, feed in fed:
        lines.append(f"  - {{name: F{feed}{shelf}, feed: {feed}, rating: 10 A, at: 1, line-on: B{feed}.{place[feed]}}}")
        place[feed] += 1
    lines.append("trays:")
    sections = ", ".join(f"{{name: {bay}, length: 1.2 m}}" for bay in range(1, bays + 1))
    lines.append(f"  - {{name: T1, sections: [{sections}]}}")
    lines.append("cables:")
    for number_of, ((one, other), kind, (near, far)) in enumerate(zip(signal, kinds, ends, strict=True), 1):
        length = abs(one - other) * 1.2 + 5 + draw.uniform(0.0, 3.0)
        lines.append(f"  - {{name: W{one}{number_of:02d}, type: {kind}, length: {length:.1f} m, trays: [T1],"
                     f" from: {near}, to: {far}}}")  # fmt: skip
    stud = 1
    for feed in "AB":
        lines.append(f"  - {{name: PW{feed}, type: PW25, length: {draw.uniform(4, 9):.1f} m,"
                     f" from: [G{feed}.feed, G{feed}.return], to: [F{feed}.line, BR.{stud}]}}")  # fmt: skip
        stud += 1
    for shelf, feed in fed:
        length = int(shelf[1:]) * 1.2 + 3 + draw.uniform(0, 1)
        lines.append(f"  - {{name: PW{feed}{shelf}, type: PW4, length: {length:.1f} m,"
                     f" from: [F{feed}{shelf}.load, BR.{stud}], to: [{shelf}.{feed}, {shelf}.{feed}-return]}}")  # fmt: skip  # noqa: E501
        stud += 1
    lines += ["earth:", "  single-point: G1", "  points:"]
    lines += ["    - {name: HUB, title: main earth bar, kind: bar, at: 1}",
              "    - {name: EM, title: main return bar, kind: return-bar, busbar: BR}",
              "    - {name: ED, title: cable tray, kind: tray, at: T1}",
              "    - {name: Z1, title: earth rod, kind: building, network: outside, position: by the door}",
              "    - {name: Z2, title: mast earth, kind: building, network: outside, position: north wall}"]  # fmt: skip  # noqa: E501
    lines += [f"    - {{name: E{bay}, title: frame of bay {bay}, at: {bay}}}" for bay in range(1, bays + 1)]
    lines += ["  bonds:", "    - {name: G1, from: HUB, to: Z1, size: 35 mm2, length: 5 m}",
              "    - {name: G2, from: EM, to: HUB, size: 35 mm2, length: 1 m}",
              "    - {name: GD, from: ED, to: HUB, size: 16 mm2, length: 2 m}",
              "    - {name: GZ, from: Z2, to: Z1, size: 50 mm2, length: 9 m}"]  # fmt: skip
    lines += [f"    - {{name: GE{bay}, from: E{bay}, to: HUB, size: 16 mm2, length: {bay * 1.2 + 1:.1f} m}}"
              for bay in range(1, bays + 1)]  # fmt: skip
    return "\n".join(lines) + "\n"


def signal_cables(plant: Plant) -> list[str]:
    """The cables between connectors."""
    return [cable.name for cable in plant.cables.values() if not cable.type.name.startswith("PW")]


def drawn(number: int) -> Drawn:
    """The rebuild of a number: the same number draws the same."""
    draw = random.Random(f"rebuild {number}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_text(plant_text(draw, number), "utf-8")
        plant = load_plant(path)
    return Drawn(plant, tuple(_faults(plant, draw)), tuple(_year(plant, draw)), number)


def _faults(plant: Plant, draw: random.Random) -> list[k.Fault]:
    found: list[k.Fault] = []
    for name in signal_cables(plant):
        cable = plant.cables[name]
        wires = list(cable.conductors)
        # what is wrong with one wire is not wrong with another one beside it as well
        draw.shuffle(wires)
        pins = [wire.far_end.name for wire in wires]
        if draw.random() < CHANCES["shifted"] * 2:
            found.append(k.Shifted(connector=cable.far[0], by=draw.choice((-1, 1))))
            continue
        if draw.random() < CHANCES["exchanged"] * 4:
            found.append(k.Exchanged(pins=(pins.pop(), pins.pop())))
            del wires[-2:]
        if draw.random() < CHANCES["broken"] * 4:
            found.append(k.Open(conductor=wires.pop().name))
        if draw.random() < CHANCES["joined"] * 4:
            near = [(a.name, b.name) for a, b in plant.neighbours_of(cable.near[0])]
            ends = {wire.near_end.name for wire in wires}
            free = [pair for pair in near if set(pair) <= ends]
            if free:
                found.append(k.Short(between=draw.choice(free)))
    shelves = [shelf for shelf in plant.shelves.values() if shelf.inlets]
    double = [shelf for shelf in shelves if len(shelf.inlets) > 1]
    spoilt: set[str] = set()

    def chance(kind: str) -> bool:
        return draw.random() < CHANCES[kind]

    def shelf_of(among: Sequence[object]) -> str:
        free = [one for one in among if one.name not in spoilt]  # type: ignore[attr-defined]
        if not free:
            return ""
        name = str(draw.choice(free).name)  # type: ignore[attr-defined]
        spoilt.add(name)
        return name

    if chance("reversed") and (name := shelf_of(shelves)):
        feed = draw.choice([inlet.feed for inlet in plant.shelves[name].inlets])
        found.append(k.PolarityReversed(shelf=name, feed=feed))
    if chance("crossed") and (name := shelf_of(double)):
        found.append(k.FeedsCrossed(shelf=name))
    if chance("shelf short") and (name := shelf_of(shelves)):
        found.append(k.ShelfShort(shelf=name, feed="A", ohms=Resistance(round(draw.uniform(0.05, 5.0), 2))))
    if chance("diode") and (name := shelf_of(double)):
        found.append(k.DiodeShorted(shelf=name, feed=draw.choice("AB")))
    if chance("sleeping") and (name := shelf_of(shelves)):
        found.append(_sleeping(plant, name, draw))
    if chance("dead converter") and (name := shelf_of(shelves)):
        found.append(_dead(plant, name, draw))
    if chance("too much") and (name := shelf_of(shelves)):
        idle = plant.idle_current(name)[0]
        found.append(k.ShelfHeavy(shelf=name, by=Current(round(draw.uniform(0.35, 0.6) * idle, 3))))
    if chance("hot joint") and (name := shelf_of(shelves)):
        found.append(_joint(plant, name, draw))
    if chance("leak"):
        found.append(_leak(plant, draw))
    if chance("second path"):
        found.append(_second_path(plant, draw))
    if chance("poor bond"):
        bond = draw.choice([name for name in plant.bonds if name.startswith("GE")])
        found.append(k.BondPoor(bond=bond, ohms=Resistance(round(draw.uniform(0.02, 0.2), 3))))
    if chance("crimp"):
        broken = {fault.conductor for fault in found if isinstance(fault, k.Open)}
        found.append(_crimp(plant, draw, broken))
    return found


def _sleeping(plant: Plant, shelf: str, draw: random.Random) -> k.Fault:
    nominal = abs(plant.feeds["A"].nominal_v)
    return k.SlowCapacitor(shelf=shelf, capacitance=Capacitance(round(draw.uniform(0.01, 0.03), 4)),
                           through=Resistance(round(nominal / 48 * draw.uniform(300, 700), 1)))  # fmt: skip


def _dead(plant: Plant, shelf: str, draw: random.Random) -> k.Fault:
    idle = plant.idle_current(shelf)[0]
    return k.ShelfLight(shelf=shelf, by=Current(round(draw.uniform(0.35, 0.5) * idle, 3)))


def _joint(plant: Plant, shelf: str, draw: random.Random) -> k.Fault:
    feed = draw.choice([inlet.feed for inlet in plant.shelves[shelf].inlets])
    return k.HighResistanceLug(terminal=f"F{feed}{shelf}.load", ohms=Resistance(round(draw.uniform(0.10, 0.6), 3)))


def _leak(plant: Plant, draw: random.Random) -> k.Fault:
    cable = plant.cables[draw.choice(signal_cables(plant))]
    one, other = draw.sample([wire.name for wire in cable.conductors], 2)
    return k.Leakage(between=(one, other), ohms=Resistance(round(10 ** draw.uniform(3.5, 5.5))))


def _second_path(plant: Plant, draw: random.Random) -> k.Fault:
    inside = [point.name for point in plant.earth_points.values() if not point.outside and point.name.startswith("E")]
    one = draw.choice(inside)
    return k.SecondEarthPath(between=(one, "Z2"), ohms=Resistance(round(10 ** draw.uniform(-3.0, -1.5), 5)))


def _crimp(plant: Plant, draw: random.Random, but: set[str]) -> k.Fault:
    cable = plant.cables[draw.choice(signal_cables(plant))]
    wire = draw.choice([wire.name for wire in cable.conductors if wire.name not in but] or [cable.conductors[0].name])
    at = draw.choice([place.name for place in places_on(plant, wire)])
    return k.Intermittent(conductor=wire, at=at, moved=Frequency(0.3), seed=draw.randrange(1, 1000))


YEAR: Final = ("wire", "crimp", "crimp", "second path", "joint", "converter", "damaged")
"""What comes up in a year, equally likely (assumed)."""


def _year(plant: Plant, draw: random.Random) -> list[k.Fault]:
    found: list[k.Fault] = []
    shelves = [shelf.name for shelf in plant.shelves.values() if shelf.inlets]
    for _ in range(draw.randint(1, 4)):
        cable = plant.cables[draw.choice(signal_cables(plant))]
        wire = draw.choice(cable.conductors)
        match draw.choice(YEAR):
            case "wire":
                found.append(k.Open(conductor=wire.name))
            case "crimp":
                found.append(_crimp(plant, draw, set()))
            case "second path":
                found.append(_second_path(plant, draw))
            case "joint":
                found.append(_joint(plant, draw.choice(shelves), draw))
            case "converter":
                found.append(_dead(plant, draw.choice(shelves), draw))
            case "damaged":
                other = draw.choice([one for one in cable.conductors if one is not wire])
                at = Length(round(draw.uniform(0.15, 0.85) * wire.length_m, 2))
                found.append(k.Damaged(conductor=wire.name, to=other.name, at=at, ohms=Resistance(0.5)))
    return found
