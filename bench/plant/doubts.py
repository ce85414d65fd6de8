"""What a plant file may say and hardly means: each is remarked on, with what would be usual."""

from __future__ import annotations

from collections import Counter
from typing import Final

from bench.plant.model import Plant
from bench.plant.report import Report
from bench.plant.things import Cable, Terminal
from bench.say.lists import some

ROUNDABOUT: Final = 3.0
"""Times the length of its trays that a cable may be long (own choice)."""
TAILS: Final = 30.0
"""Metres that a cable may run outside its trays, both ends together (own choice)."""


def doubt(plant: Plant, report: Report) -> None:
    """Note what is possible and hardly meant."""
    for cable in plant.cables.values():
        _both_ends(plant, report, cable)
        _length(plant, report, cable)
        _screen(plant, report, cable)
    _crowded(plant, report)
    _one_stud(plant, report)
    _inlets(plant, report)


def _inlets(plant: Plant, report: Report) -> None:
    for shelf in plant.shelves.values():
        halves = [half for half in shelf.halves if plant.shelves[half].inlets]
        if shelf.inlets and halves:
            found = f"inlets of {shelf.name} and of its halves {some(halves, 4)}"
            expected = "inlets of the halves, or of the whole shelf; as it stands each is a load of its own"
            report.remark(report.at(shelf.name), "inlets", found=found, expected=expected)


def _both_ends(plant: Plant, report: Report, cable: Cable) -> None:
    same = [one.name for one in cable.conductors if one.near is not None and one.near is one.far]
    if same:
        found = f"{some(same, 4)} from {plant.conductors[same[0]].near_end.name} to the very same place"
        report.refuse(report.at(cable.name), "to", found=found, expected="two places; 'unknown' where nobody knows")
        return
    both = [name for name in cable.near if name in cable.far and name in plant.connectors]
    if both:
        found = f"{some(both, 4)} at both ends of {cable.name}"
        report.remark(report.at(cable.name), "to", found=found, expected="another connector at its other end")


def _length(plant: Plant, report: Report, cable: Cable) -> None:
    """A cable is about as long as the trays that it lies in."""
    lengths = [plant.sections[name].length_m for name in cable.sections]
    known = [one for one in lengths if one]
    if not known or len(known) < len(lengths):
        return
    trays = sum(known)
    most = ROUNDABOUT * trays + TAILS
    if cable.length_m > most:
        found, expected = f"{cable.length_m:g} m in {trays:g} m of tray", f"no more than {most:g} m or so"
        report.remark(report.at(cable.name), "length", found=found, expected=expected)
    # the first and the last section it may leave half-way
    elif cable.length_m + cable.tolerance_m < sum(known[1:-1]):
        found = f"{cable.length_m:g} m through {sum(known[1:-1]):g} m of tray and more"
        report.remark(report.at(cable.name), "length", found=found, expected="a cable that reaches through its trays")


def _screen(plant: Plant, report: Report, cable: Cable) -> None:
    """A screen that is earthed twice, or on the building, is a second path to earth on paper."""
    screen = cable.screen
    if screen is None:
        return
    ends = [
        (step, plant.earth_points[end.owner])
        for step, end in (("screen-from", screen.near), ("screen-to", screen.far))
        if end is not None and end.owner in plant.earth_points
    ]
    if len(ends) == 2:
        found = f"the screen of {cable.name} on {ends[0][1].name} and on {ends[1][1].name}"
        expected = "one end on earth, 'cut' at the other: a screen earthed at both ends is a second path to earth"
        report.remark(report.at(cable.name), "screen-to", found=found, expected=expected)
    for step, point in ends:
        if point.outside:
            found = f"the screen of {cable.name} on {point.name}, which is the building's"
            expected = "an earth point of the inside: this is a second path to earth"
            report.remark(report.at(cable.name), step, found=found, expected=expected)


def _crowded(plant: Plant, report: Report) -> None:
    """Two cables on one breaker while the breaker beside it has none: one of them is on the wrong one."""
    on = Counter[str]()
    for breaker in plant.breakers.values():
        on[breaker.name] = len(_cables_on(plant, breaker.load))
    order = list(plant.breakers.values())
    for place, breaker in enumerate(order):
        beside = [
            other
            for other in order[max(place - 1, 0) : place + 2]
            if other is not breaker and other.feed == breaker.feed and other.at == breaker.at
        ]
        bare = [other.name for other in beside if not on[other.name] and not _on_a_bar(plant, other.load)]
        if on[breaker.name] > 1 and bare:
            cables = sorted(_cables_on(plant, breaker.load))
            found = f"{some(cables, 4)} on {breaker.name} and none on {some(bare, 2)} beside it"
            report.remark(report.at(cables[-1]), "from", found=found, expected="one cable on each")


def _cables_on(plant: Plant, end: Terminal) -> set[str]:
    return {one.cable for one in plant.landings.get(end.name, ())}


def _on_a_bar(plant: Plant, end: Terminal) -> bool:
    return end.node.partition(".")[0] in plant.busbars


def _one_stud(plant: Plant, report: Report) -> None:
    studs: dict[str, list[str]] = {}
    for breaker in plant.breakers.values():
        for side in (breaker.line, breaker.load):
            if _on_a_bar(plant, side) and "." in side.node:
                studs.setdefault(side.node, []).append(breaker.name)
    for stud, names in studs.items():
        if len(names) > 1:
            found = f"{some(names, 4)} on stud {stud}"
            report.remark(report.at(names[-1]), "line-on", found=found, expected="a stud for each breaker")
