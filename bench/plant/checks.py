"""What a whole plant must fulfil to make sense: poles apart, feeds that reach their shelves, one single point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from bench.plant.demand import breaker_currents, fault_currents, feed_paths, inlet_drops
from bench.plant.graph import Edge, Nets, shortest, ways
from bench.plant.model import Plant, SupplyPath
from bench.plant.protection import BREAKS_AT_MOST, harmed_first, opens_too, usual_limit
from bench.plant.report import At, Report
from bench.plant.things import Bond, Inlet, Supply, Terminal
from bench.quantity import engineering

CONTINUOUS: Final = 0.8
"""Part of its rating that a breaker carries for long: 1 / 1.25 (NEC 210.20(A), as quoted in public texts)."""


def check_plant(plant: Plant, report: Report) -> None:
    """Note what does not make sense in a plant as a whole.

    A plant whose parts have problems is checked as far as it goes for its earth, and not for its power: what a broken
    line leaves unconnected would only repeat the first problem in other words.
    """
    _single_point(plant, report)
    _loops(plant, report)
    _islands(plant, report)
    _earthed_returns(plant, report)
    if not report.is_sound():
        return
    power = Nets(edge for edge in plant.graph(plant.breakers) if edge.kind != "bond")
    _poles_apart(plant, report, power)
    if not report.is_sound():
        return
    _reached(plant, report, power)
    _breakers(plant, report)
    if report.is_sound():
        _loading(plant, report)
        _batteries(plant, report)
    _cards(plant, report)


# Earth


def _single_point(plant: Plant, report: Report) -> None:
    earth = plant.file.earth
    if earth is None:
        return
    at = At(earth, "earth")
    bond = plant.single_point
    if bond is None:
        if earth.single_point not in {entry.name for entry in earth.bonds}:
            report.known(at, "single-point", name=earth.single_point, among=plant.bonds, kind="bond")
        return
    if not _crosses(plant, bond):
        side = "outside" if plant.earth_points[bond.a.owner].outside else "inside"
        found = f"'{bond.name}', which joins {bond.a.owner} and {bond.b.owner}, both {side}"
        expected = "the bond between the isolated bonding network and the building (ITU-T K.27)"
        report.say(at, "single-point", found=found, expected=expected)
        return
    bar, one = plant.single_point_bar, plant.single_point_bonds
    for other in plant.bonds.values():
        if other not in one and _crosses(plant, other):
            found = f"'{other.name}', a second bond from inside to outside, {other.a.owner} to {other.b.owner}"
            expected = f"one connection, at '{bar.name if bar else ''}', where '{bond.name}' lands (ITU-T K.27)"
            report.say(report.at(other.name), found=found, expected=expected)


def _crosses(plant: Plant, bond: Bond) -> bool:
    return plant.earth_points[bond.a.owner].outside != plant.earth_points[bond.b.owner].outside


def _loops(plant: Plant, report: Report) -> None:
    """Inside, where the design does not allow a mesh, one way leads from each point to any other.

    Of each loop the bond that closes it is named, the bonds of meshes before all others: what is meant is kept.
    """
    # a bond to the building, and a second one on a return, are told by themselves
    inside = [bond for bond in plant.bonds.values() if not any(_apart(plant, end) for end in (bond.a, bond.b))]
    tree, kept = Nets(), list[Edge]()
    for bond in sorted(inside, key=lambda bond: not _meshed(plant, bond)):
        if not tree.joined(bond.a.node, bond.b.node):
            tree.join(bond.a.node, bond.b.node)
            kept.append(Edge(bond.name, bond.a.node, bond.b.node, "bond", 0.0))
        elif not _meshed(plant, bond):
            back = shortest(ways(kept), bond.b.node, {bond.a.node}) or ()
            loop = [bond.a.owner, bond.b.owner]
            for edge in back:
                last = plant.terminal(loop[-1]).node
                node = edge.b if edge.a == last else edge.a
                loop.append(next(point.name for point in plant.earth_points.values() if point.node == node))
            found = f"'{bond.name}', which closes a loop: {' - '.join(loop)}"
            expected = "one way between two points; where loops are meant, 'mesh: true' at each of them (ITU-T K.27)"
            report.say(report.at(bond.name), found=found, expected=expected)


def _apart(plant: Plant, end: Terminal) -> bool:
    point = plant.earth_points[end.owner]
    return point.outside or point.is_return


def _meshed(plant: Plant, bond: Bond) -> bool:
    return plant.earth_points[bond.a.owner].mesh and plant.earth_points[bond.b.owner].mesh


def _islands(plant: Plant, report: Report) -> None:
    """Every point inside is bonded to the bar of the single-point connection."""
    bar = plant.single_point_bar
    if bar is None or report.dropped:
        return  # of an entry that was left out it would only follow
    joined = Nets(edge for edge in plant.graph(plant.breakers) if edge.kind == "bond")
    for point in plant.earth_points.values():
        # a return without a bond is told by itself
        if not point.outside and not point.is_return and not joined.joined(point.node, bar.node):
            found = f"'{point.name}', which no bond joins to {bar.name}"
            report.say(report.at(point.name), found=found, expected="a bond from every point inside, by any way, to it")


def _earthed_returns(plant: Plant, report: Report) -> None:
    """A d.c. return that is isolated is earthed once. Return bars that cables join are one return."""
    bars = [point for point in plant.earth_points.values() if point.is_return]
    if not bars:
        return
    joined = Nets(edge for edge in plant.graph(plant.breakers) if edge.kind in ("conductor", "busbar", "breaker"))
    for names in joined.groups(dict.fromkeys(point.node for point in bars)).values():
        ends = [(bond.name, end) for bond in plant.bonds.values() for end in (bond.a, bond.b) if end.node in names]
        if len(ends) > 1:
            found = f"bonds {', '.join(dict.fromkeys(name for name, _ in ends))} on the return of {', '.join(names)}"
            report.say(
                report.at(ends[1][0]), found=found, expected="one bond to earth for a d.c. return (ITU-T K.27, 3.2.10)"
            )
        elif not ends:
            point = next(point for point in bars if point.node in names)
            found = f"no bond on the return of {', '.join(names)}"
            report.remark(report.at(point.name), found=found, expected="one bond to earth for a d.c. return")


# Power


def _poles_apart(plant: Plant, report: Report, power: Nets) -> None:
    """No net holds two feeds, or a feed and a return."""
    marked: list[tuple[str, str, str, str]] = []
    for supply in plant.supplies.values():
        marked.append((supply.live.node, supply.feed, "feed", supply.live.name))
        marked.append((supply.back.node, supply.feed, "return", supply.back.name))
    marked += [(bar.name, bar.feed, bar.pole, bar.name) for bar in plant.busbars.values()]
    marked += [(side.node, b.feed, "feed", side.name) for b in plant.breakers.values() for side in (b.line, b.load)]
    for inlet in plant.inlets.values():
        marked.append((inlet.live.node, inlet.feed, "feed", inlet.live.name))
        marked.append((inlet.back.node, inlet.feed, "return", inlet.back.name))
    first: dict[str, tuple[str, str, str]] = {}
    said: set[str] = set()
    for node, feed, pole, name in marked:
        net = power.root(node)
        feed_before, pole_before, name_before = first.setdefault(net, (feed, pole, name))
        if net in said or (pole == pole_before and (pole == "return" or feed == feed_before)):
            continue
        said.add(net)
        way = plant.path(name_before, name)
        cables = [plant.conductors[edge.id].cable for edge in way if edge.kind == "conductor"]
        owner = cables[-1] if cables else plant.terminal(name).owner
        found = f"{name_before} ({pole_before} of {feed_before}) and {name} ({pole} of {feed}) on one net"
        expected = "feeds apart from each other and from returns"
        report.say(report.at(owner), found=found, expected=expected)


def _reached(plant: Plant, report: Report, power: Nets) -> None:
    """Every inlet is joined to where its feed comes from, there and back."""
    loose = {power.root(t.node): t for t in plant.terminals.values() if t.kind == "end"}
    for inlet in plant.inlets.values():
        supplies = [supply for supply in plant.supplies.values() if supply.feed == inlet.feed]
        live = [supply.live.node for supply in supplies] or [b.name for b in plant.busbars_of(inlet.feed, "feed")]
        back = [supply.back.node for supply in supplies]
        back = back or [bar.name for bar in plant.busbars_of(inlet.feed, "return")]
        for terminal, sources in ((inlet.live, live), (inlet.back, back)):
            net = power.root(terminal.node)
            if not sources or net in {power.root(source) for source in sources}:
                continue
            end = loose.get(net)
            found = (
                f"{terminal.name}, which {_stops(plant, inlet, end.owner if end is not None else '', terminal.name)}"
            )
            expected = f"a way to {' or '.join(sources)}"
            at = report.at(inlet.shelf)
            if end is not None or any(power.root(source) in loose for source in sources):
                report.remark(at, "inlets", found=found, expected=expected)
            else:
                report.say(at, "inlets", found=found, expected=expected)


def _stops(plant: Plant, inlet: Inlet, cable: str, terminal: str) -> str:
    if cable:
        return f"nothing feeds while cable {cable} has a loose end"
    if terminal not in plant.landings:
        return "no conductor reaches"
    return f"no supply or busbar of feed {inlet.feed} reaches"


def _breakers(plant: Plant, report: Report) -> None:
    """Remark on breakers that are large for the conductors behind them, and on wires that are harmed before."""
    behind = Nets(edge for edge in plant.graph() if edge.kind != "bond")
    conductors: dict[str, list[str]] = {}
    for conductor in plant.conductors.values():
        conductors.setdefault(behind.root(conductor.near_end.node), []).append(conductor.name)
    shorts = fault_currents(plant)
    for breaker in plant.breakers.values():
        mine = conductors.get(behind.root(breaker.load.node), ())
        for name in mine:
            usual = usual_limit(plant.conductors[name].wire)
            if usual is not None and breaker.rating_a > usual[0]:
                size = plant.conductors[name].wire.size
                found = f"{breaker.rating_a:g} A before conductor {name} of {size}"
                expected = f"at most {usual[0]:g} A ({usual[1]}); local codes rule"
                report.remark(report.at(breaker.name), "rating", found=found, expected=expected)
                break
        for name in mine:
            wire = plant.conductors[name].wire
            why = harmed_first(wire, breaker.rating_a, breaker.trips, shorts.get(breaker.name, 0.0))
            if why is not None:
                found = f"{breaker.rating_a:g} A ({breaker.trips}) before conductor {name} of {why[0]}"
                report.remark(report.at(breaker.name), "rating", found=found, expected=f"{why[1]}; local codes rule")
                break


def _batteries(plant: Plant, report: Report) -> None:
    """Remark on what is to open a short of a battery: its fuse, what each device breaks, whether it alone opens."""
    shorts = fault_currents(plant)
    for supply in plant.supplies.values():
        if supply.kind != "battery" or supply.limit_a is not None or supply.ohms <= 0:
            continue
        paths = [path for path in feed_paths(plant, supply.feed).values() if path.supply == supply.name]
        if not paths:
            continue
        amperes = abs(supply.volts) / supply.ohms
        at = report.at(supply.name)
        told = (
            f"{engineering(amperes, 'A', digits=2)} of battery {supply.name} ({supply.volts:g} V over its resistance)"
        )
        if supply.fuse_a is None:
            mains = ", ".join(dict.fromkeys(path.breakers[0] for path in paths if path.breakers))
            found = f"no fuse at the battery: nothing opens {told} before {mains or 'any breaker'}"
            expected = "a fuse for direct current in the feed's pole at its terminals (common practice, no source)"
            report.remark(at, "fuse", found=found, expected=f"{expected}; local codes rule")
        else:
            _battery_fuse(plant, report, supply, paths[0], amperes)
        names = list(dict.fromkeys(name for path in paths for name in path.breakers))
        silent = [name for name in names if plant.breakers[name].breaks_a is None]
        if silent:
            most = engineering(max(shorts.get(name, 0.0) for name in silent), "A", digits=2)
            found = f"{_some(silent)} without 'breaks', where a short draws up to {most}"
            report.remark(report.at(silent[0]), found=found, expected=f"what its maker says for this voltage "
                          f"({BREAKS_AT_MOST}); where a resistance is not known, 20 A for each Ah")  # fmt: skip
        for name in names:
            breaks = plant.breakers[name].breaks_a
            if breaks is not None and breaks < shorts.get(name, 0.0):
                found = f"{name} breaks {engineering(breaks, 'A')}"
                expected = f"at least the {engineering(shorts[name], 'A', digits=3)} of a short behind it"
                report.remark(report.at(name), "breaks", found=found, expected=expected)
        _in_a_row(plant, report, supply, paths, shorts)


def _battery_fuse(plant: Plant, report: Report, supply: Supply, path: SupplyPath, amperes: float) -> None:
    """Remark on a battery's fuse that does not break its short, or does not protect its cable."""
    at = report.at(supply.name)
    assert supply.fuse_a is not None
    if supply.fuse_breaks_a is None or supply.fuse_breaks_a < amperes:
        breaks = supply.fuse_breaks_a
        found = "a fuse without 'fuse-breaks'" if breaks is None else f"a fuse that breaks {engineering(breaks, 'A')}"
        expected = f"one that breaks {engineering(amperes, 'A', digits=2)} of direct current at this voltage"
        report.remark(at, "fuse-breaks", found=found, expected=expected)
    first = [edge.id for edge in path.out if edge.kind == "conductor"][-1:]
    for name in first:
        usual = usual_limit(plant.conductors[name].wire)
        if usual is not None and supply.fuse_a > usual[0]:
            found = f"a fuse of {engineering(supply.fuse_a, 'A')} before conductor {name}"
            report.remark(at, "fuse", found=found, expected=f"at most {usual[0]:g} A ({usual[1]}); local codes rule")


def _in_a_row(
    plant: Plant, report: Report, supply: Supply, paths: Sequence[SupplyPath], shorts: Mapping[str, float]
) -> None:
    """Remark on devices that may both open on a short behind the second one, once for each first one."""
    doubts: dict[str, tuple[list[str], str]] = {}
    for path in paths:
        rows = [("fuse", supply.fuse_a, supply.name)] if supply.fuse_a is not None else []
        rows += [(plant.breakers[name].trips, plant.breakers[name].rating_a, name) for name in path.breakers]
        for (trips, rating, name), (then_trips, then_rating, then) in pairwise(rows):
            fault, table = shorts.get(then, 0.0), plant.breakers[then].selective_a
            if table is not None and fault <= table:
                continue
            why = opens_too(trips, rating, then_trips, then_rating, fault)
            if table is not None:
                why = f"at most {engineering(table, 'A')} there, by the makers' table"
            told = doubts.setdefault(name, ([], why))
            if why and then not in told[0]:
                told[0].append(then)
    for name, (behind, why) in doubts.items():
        if behind:
            what = f"the fuse of {name}" if name == supply.name else name
            most = engineering(max(shorts.get(one, 0.0) for one in behind), "A", digits=2)
            found = f"{what} may open too on a short of up to {most} behind {_some(behind)}"
            report.remark(report.at(behind[0]), found=found, expected=why)


def _some(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"


def _loading(plant: Plant, report: Report) -> None:
    """Remark on breakers that carry too much for long, and on feeds that lose too much."""
    for name, amperes in breaker_currents(plant).items():
        most = CONTINUOUS * plant.breakers[name].rating_a
        if amperes > most:
            found = f"{engineering(amperes, 'A')} through {name} when its feed is alone"
            expected = f"at most {engineering(most, 'A')}, 80 % of its rating"
            report.remark(report.at(name), "rating", found=found, expected=expected)
    for name, volts in inlet_drops(plant).items():
        inlet = plant.inlets[name]
        feed = plant.feeds[inlet.feed]
        if feed.drop_v is not None and volts > abs(feed.drop_v):
            found = f"{engineering(volts, 'V')} lost on the way to {name}"
            expected = f"at most {engineering(abs(feed.drop_v), 'V')}"
            report.remark(report.at(inlet.shelf), "inlets", found=found, expected=expected)


def _cards(plant: Plant, report: Report) -> None:
    """Remark on cards that do not bear all that their feeds allow."""
    said: set[tuple[str, str]] = set()
    for card in plant.cards.values():
        for inlet in plant.shelves[card.shelf].inlets:
            feed = plant.feeds[inlet.feed]
            low, high = sorted((abs(feed.low_v), abs(feed.high_v)))
            works = card.type.works_from.value, card.type.works_to.value
            if (card.type.name, feed.name) in said or (works[0] <= low and high <= works[1]):
                continue
            said.add((card.type.name, feed.name))
            found = f"card type {card.type.name} for {works[0]:g} V to {works[1]:g} V on feed {feed.name}"
            expected = f"a card for all of {low:g} V to {high:g} V"
            report.remark(report.at(card.shelf), "cards", found=found, expected=expected)
