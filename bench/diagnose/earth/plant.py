"""The plant's earthing network as the search for second paths sees it, and where in the hall a path may run.

Only earth points and bonds take part: what else joins two earth points is what is looked for. A return bar stands for
the whole of its return.
"""

from __future__ import annotations

from collections import Counter

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.plant.model import Plant
from bench.plant.things import EarthPoint
from bench.quantity import engineering


def network_of(plant: Plant, celsius: float) -> BondNetwork:
    """The designed earthing network of a plant, its bonds at a temperature in degrees Celsius.

    Raises:
        DiagnoseError: the plant has none, or one that makes no sense.
    """
    bar = plant.single_point_bar
    if bar is None:
        raise DiagnoseError(f"the plant {plant.name} has no earthing network with a single-point connection")
    points = [_point(plant, one) for one in plant.earth_points.values()]
    bonds = [
        Bond(one.name, one.a.owner, one.b.owner, one.expected(celsius).nominal_ohm, one.spread)
        for one in plant.bonds.values()
    ]
    return BondNetwork(points, bonds, bar.name)


def _point(plant: Plant, one: EarthPoint) -> Point:
    title = f"{one.title} ({one.name})" if one.title else one.name
    run, metres = "", None
    section = plant.sections.get(one.at)
    if section is not None:
        tray = plant.trays[section.tray]
        before = [other.length_m for other in tray.sections if other.place < section.place]
        if section.length_m is not None and None not in before:
            run = f"the {tray.title or f'tray {tray.name}'}"
            metres = sum(length for length in before if length is not None) + section.length_m / 2
    return Point(one.name, title, one.outside, one.mesh, one.is_return, run, metres)


def where_to_look(plant: Plant, a: str, b: str) -> list[str]:
    """Where in the hall a second path between two earth points may run, in plant words; the likeliest place first.

    A path from a bay to a tray is looked for where the bay's cables enter the tray; one between two bays along the
    cables that run from one to the other, whose screens may be landed at both ends; one to the building where the
    building's point stands.

    Args:
        plant: the plant.
        a: an earth point.
        b: another.
    """
    one, other = plant.earth_points[a], plant.earth_points[b]
    found: list[str] = []
    for tray_end, bay_end in ((one, other), (other, one)):
        if _tray(plant, tray_end):
            found += _into_tray(plant, bay_end, tray_end)
    bays = [_bay(plant, end) for end in (one, other)]
    if all(bays) and bays[0] != bays[1]:
        shared = _between(plant, bays[0], bays[1])
        if shared:
            found.append(
                f"cables from bay {bays[0]} to bay {bays[1]}: {_listed(shared)}; a screen that is landed at both ends"
                " is such a path"
            )
        found.append(_side_by_side(plant, bays[0], bays[1]))
    elif all(bays):
        found.append(f"both are in bay {bays[0]}: look there, behind the screens and at screws through painted metal")
    for end in (one, other):
        if end.outside and end.position:
            found.append(f"{end.title or end.name} ({end.name}): {end.position}")
    return [line for line in found if line]


def _tray(plant: Plant, point: EarthPoint) -> str:
    if point.at in plant.sections:
        return plant.sections[point.at].tray
    return point.at if point.at in plant.trays else ""


def _bay(plant: Plant, point: EarthPoint) -> str:
    if point.at in plant.shelves:
        return plant.shelves[point.at].bay
    return point.at if point.at in plant.bays else ""


def _into_tray(plant: Plant, point: EarthPoint, on_tray: EarthPoint) -> list[str]:
    """Where the cables of a point's bay come into a tray: the section, and how long it is."""
    bay, tray = _bay(plant, point), _tray(plant, on_tray)
    if not bay or not tray:
        return []
    if on_tray.at in plant.sections:
        name = on_tray.at
    else:
        # which end of a run is which the plant file does not say: the one that this bay's cables share, and others less
        mine = _ends_in(plant, tray, bay)
        everybody = _ends_in(plant, tray, "")
        if not mine:
            return []
        name = min(mine, key=lambda one: (-mine[one], everybody[one], one))
    section = plant.sections[name]
    within = "" if section.length_m is None else f", within about {engineering(section.length_m, 'm', digits=2)}"
    words = section.title or f"section {section.name}"
    return [f"where the cables of bay {bay} enter the {plant.trays[tray].title or tray}: {name}, {words}{within}"]


def _ends_in(plant: Plant, tray: str, of: str) -> Counter[str]:
    """How many cables come into a tray, or leave it for good, at each of its sections."""
    runs = [cable.sections for cable in plant.cables_of(of) if cable.sections]
    ends = [name for run in runs for name in {run[0], run[-1]}]
    return Counter(name for name in ends if plant.sections[name].tray == tray)


def _between(plant: Plant, one: str, other: str) -> list[str]:
    mine = {cable.name for cable in plant.cables_of(one)}
    return [cable.name for cable in plant.cables_of(other) if cable.name in mine]


def _side_by_side(plant: Plant, one: str, other: str) -> str:
    order = list(plant.bays)
    if abs(order.index(one) - order.index(other)) != 1:
        return ""
    return f"bays {one} and {other} are neighbours: look for bolts, covers and cable ties of metal between their frames"


def _listed(names: list[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
