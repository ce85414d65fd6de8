"""From a plant file to a plant: names are tied to things, conductors are landed, and every problem of sense is said."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from msgspec.structs import force_setattr, replace

from bench.files import BadFile, Place, near, one_of
from bench.judge.conductor import Contact
from bench.plant import conductor_make as wire
from bench.plant import file as f
from bench.plant import things
from bench.plant.cable_ends import CableEnds, Colour, colours_of
from bench.plant.checks import check_plant
from bench.plant.doubts import doubt
from bench.plant.layout import Layout, layout_of
from bench.plant.model import Plant
from bench.plant.partial import Dropped
from bench.plant.report import At, Report, Where
from bench.plant.sites import Sites
from bench.plant.things import Terminal
from bench.recent import Recent


def resolve(plant_file: f.PlantFile, where: Where | None = None) -> Plant:
    """Make a plant of a plant file, such as one that comes out of a record.

    Args:
        plant_file: complete with its pin lists.
        where: gives the place of a value of the file, for problems; by default they name the plant only.

    Raises:
        BadFile: with every problem of sense.
    """
    if where is None:
        return _RESOLVED.get(plant_file, lambda: _resolved(plant_file, _nowhere(plant_file)))
    return _resolved(plant_file, where)


_RESOLVED: Final[Recent[f.PlantFile, Plant]] = Recent(4)
"""All records of a job hold its plant, and most the same one."""


def _nowhere(plant_file: f.PlantFile) -> Where:
    place = Place(f"plant {plant_file.plant}")
    return lambda *_: place


def _resolved(plant_file: f.PlantFile, where: Where) -> Plant:
    plant, report = build(plant_file, where, Dropped())
    if plant is None:
        raise BadFile(report.problems)
    return plant


def build(
    plant_file: f.PlantFile, where: Where, dropped: Dropped, *, strict: bool = False
) -> tuple[Plant | None, Report]:
    """Make a plant as far as the file allows; the plant is None where there are problems.

    Args:
        plant_file: complete with its pin lists.
        where: gives the place of a value of the file.
        dropped: entries that were left out, since they could not be read.
        strict: refuse what cannot be meant, too; of a record's plant it is only remarked on, since it was walked.
    """
    builder = _Builder(plant_file, where, dropped, strict)
    plant = builder.plant()
    return (None if builder.report.problems else plant), builder.report


_TERMINAL: Final = "a connector, or a terminal such as 'J101.12', 'F3.load' or 'BA.2'"
_END: Final = f"{_TERMINAL}; 'cut' for what hangs loose, 'unknown' for what goes nobody knows where"
_EXPECTED: Final = {
    "from": _END,
    "to": _END,
    "line-on": "the busbar stud that its line side is bolted to, such as 'BA.2'",
    "load-on": "the busbar stud that its load side is bolted to, such as 'BA.2'",
}
"""What a field that names a place of the plant may say."""


class _Builder:
    """Goes through the file once, in an order in which names are known before they are used."""

    def __init__(self, plant_file: f.PlantFile, where: Where, dropped: Dropped, strict: bool) -> None:
        self.file = plant_file
        self.report = Report(where, dropped, strict)
        self.root = At(plant_file, "")
        self.terminals: dict[str, Terminal] = {}
        self.connector_types: dict[str, tuple[f.ConnectorType, Layout]] = {}
        self.cable_types: dict[str, tuple[f.CableType, list[Colour]]] = {}
        self.card_types: dict[str, f.CardType] = {}
        self.feeds: dict[str, things.Feed] = {}
        self.supplies: dict[str, things.Supply] = {}
        self.busbars: dict[str, things.Busbar] = {}
        self.breakers: dict[str, things.Breaker] = {}
        self.earth_points: dict[str, things.EarthPoint] = {}
        self.cables: dict[str, things.Cable] = {}
        self.bonds: dict[str, things.Bond] = {}
        self.sites = Sites(self.report, self.connector_types, self.card_types, self.feeds, self.terminals)
        self._contacts = {
            "lug": wire.contact(plant_file.contacts.lug, "lug"),
            "pin": wire.contact(plant_file.contacts.pin, "pin"),
        }
        self._pin_contacts: dict[str, Contact] = {}

    def plant(self) -> Plant:
        """Everything, with problems in the report."""
        file, root = self.file, self.root
        self._types()
        for at, feed in root.each("feeds", file.feeds):
            self._feed(at, feed)
        for at, bay in root.each("bays", file.bays):
            self.sites.bay(at, bay)
        for at, tray in root.each("trays", file.trays):
            self.sites.tray(at, tray)
        for at, supply in root.each("supplies", file.supplies):
            self._supply(at, supply)
        for at, bar in root.each("busbars", file.busbars):
            self._busbar(at, bar)
        for at, breaker in root.each("breakers", file.breakers):
            self._breaker(at, breaker)
        earth_at = At(file.earth, "earth")
        if file.earth is not None:
            for at, point in earth_at.each("points", file.earth.points):
                self._earth_point(at, point)
        self._returns()
        self._cables()
        if file.earth is not None:
            for at, bond in earth_at.each("bonds", file.earth.bonds):
                self._bond(at, bond, file.earth.single_point)
        plant = Plant(
            file=file,
            bays=self.sites.bays,
            shelves=self.sites.shelves,
            connectors=self.sites.connectors,
            cards=self.sites.cards,
            inlets=self.sites.inlets,
            feeds=self.feeds,
            supplies=self.supplies,
            busbars=self.busbars,
            breakers=self.breakers,
            trays=self.sites.trays,
            sections=self.sites.sections,
            cables=self.cables,
            conductors={
                conductor.name: conductor
                for cable in self.cables.values()
                for conductor in (*cable.conductors, *((cable.screen,) if cable.screen else ()))
            },
            terminals=self.terminals,
            earth_points=self.earth_points,
            bonds=self.bonds,
            single_point=self.bonds.get(file.earth.single_point) if file.earth is not None else None,
        )
        check_plant(plant, self.report)
        if self.report.is_sound():
            doubt(plant, self.report)
        force_setattr(plant, "remarks", tuple(self.report.remarks))
        return plant

    # Types

    def _types(self) -> None:
        file, root, report = self.file, self.root, self.report
        for at, connector in root.each("connector-types", file.connector_types):
            if report.once(at, connector.name, self.connector_types, "connector type"):
                layout = layout_of(connector)
                for pin in layout.order:
                    report.pin(at, "rows", pin=pin)
                self.connector_types[connector.name] = (connector, layout)
                self._pin_contacts[connector.name] = wire.contact(connector.contact or file.contacts.pin, "pin")
        for at, cable in root.each("cable-types", file.cable_types):
            if report.once(at, cable.name, self.cable_types, "cable type"):
                self.cable_types[cable.name] = (cable, colours_of(at, cable, report))
        for at, card in root.each("card-types", file.card_types):
            if report.once(at, card.name, self.card_types, "card type"):
                self.card_types[card.name] = card

    # Feeds and where things sit

    def _feed(self, at: At, feed: f.Feed) -> None:
        if not self.report.name(at, feed.name, "feed"):
            return
        low, high = feed.allowed
        drop = feed.drop.value if feed.drop is not None else None
        self.feeds[feed.name] = things.Feed(
            feed.name, feed.title, feed.nominal.value, low.value, high.value, feed.back, drop
        )

    def _returns(self) -> None:
        """Check the feeds' return busbars, once busbars are known."""
        for at, feed in self.root.each("feeds", self.file.feeds):
            if not feed.back:
                continue
            bar = self.report.known(at, "return", name=feed.back, among=self.busbars, kind="busbar")
            if bar is not None and bar.pole != "return":
                found = f"'{feed.back}', a busbar of the pole '{bar.pole}'"
                self.report.say(at, "return", found=found, expected="a busbar of the pole 'return'")

    # Power

    def _terminal(self, owner: str, pin: str, kind: things.TerminalKind, place: tuple[str, str]) -> Terminal:
        name = f"{owner}.{pin}" if pin else owner
        terminal = Terminal(name, owner, pin, kind, name, *place)
        self.terminals[name] = terminal
        return terminal

    def _supply(self, at: At, supply: f.Supply) -> None:
        named = self.report.name(at, supply.name, "supply")
        place = self.sites.place(at, supply.at)
        feed = self.report.known(at, "feed", name=supply.feed, among=self.feeds, kind="feed")
        if feed is None or not named:
            self.report.left_out(supply.name)
            return
        volts = supply.voltage.value if supply.voltage is not None else feed.nominal_v
        if volts * feed.nominal_v <= 0:
            expected = f"a voltage with the sign of feed {feed.name}, {feed.nominal_v:g} V"
            self.report.say(at, "voltage", found=f"{volts:g} V", expected=expected)
        if supply.resistance.value <= 0:
            self.report.say(at, "resistance", found=str(supply.resistance), expected="a resistance above 0 Ω")
        limit = supply.current_limit.value if supply.current_limit is not None else None
        if limit is not None and limit <= 0:
            self.report.say(at, "current-limit", found=str(supply.current_limit), expected="a current above 0 A")
        self.supplies[supply.name] = things.Supply(
            supply.name,
            supply.title,
            supply.feed,
            supply.kind,
            volts,
            supply.resistance.value,
            limit,
            None if supply.fuse is None else supply.fuse.value,
            None if supply.fuse_breaks is None else supply.fuse_breaks.value,
            self._terminal(supply.name, "feed", "supply", place),
            self._terminal(supply.name, "return", "supply", place),
            supply.at,
            supply.position,
        )

    def _busbar(self, at: At, bar: f.Busbar) -> None:
        named = self.report.name(at, bar.name, "busbar")
        place = self.sites.place(at, bar.at)
        if bar.feed and self.report.known(at, "feed", name=bar.feed, among=self.feeds, kind="feed") is None:
            self.report.left_out(bar.name)
            return
        if not named:
            return
        self.busbars[bar.name] = things.Busbar(
            bar.name, bar.title, bar.feed, bar.pole, bar.resistance.value, bar.at, bar.position
        )
        self._terminal(bar.name, "", "busbar", place)

    def _breaker(self, at: At, breaker: f.Breaker) -> None:
        named = self.report.name(at, breaker.name, "breaker")
        place = self.sites.place(at, breaker.at)
        feed = self.report.known(at, "feed", name=breaker.feed, among=self.feeds, kind="feed")
        if feed is None or not named:
            self.report.left_out(breaker.name)
            return
        self.breakers[breaker.name] = things.Breaker(
            breaker.name,
            breaker.title,
            breaker.feed,
            breaker.rating.value,
            breaker.trips,
            None if breaker.breaks is None else breaker.breaks.value,
            None if breaker.selective is None else breaker.selective.value,
            self._side(at, breaker.name, "line", breaker.line_on, place),
            self._side(at, breaker.name, "load", breaker.load_on, place),
            wire.joint(breaker.contact or self.file.contacts.breaker, f"breaker {breaker.name}"),
            breaker.at,
            breaker.position,
        )

    def _side(self, at: At, breaker: str, pin: str, stud: str, place: tuple[str, str]) -> Terminal:
        """One side of a breaker; bolted to a busbar it is one node with the stud."""
        terminal = self._terminal(breaker, pin, "breaker", place)
        if not stud:
            return terminal
        found = self._lookup(at, (f"{pin}-on",), stud)
        if found is None:
            return terminal
        if found.kind != "busbar":
            expected = "a busbar or its stud"
            self.report.say(at, f"{pin}-on", found=f"'{stud}', a terminal of the kind {found.kind}", expected=expected)
            return terminal
        self.terminals[terminal.name] = replace(terminal, node=found.node)
        return self.terminals[terminal.name]

    # Earth

    def _earth_point(self, at: At, point: f.EarthPoint) -> None:
        named = self.report.name(at, point.name, "earth point")
        place = self.sites.place(at, point.at)
        node = point.name
        if point.busbar:
            bar = self.report.known(at, "busbar", name=point.busbar, among=self.busbars, kind="busbar")
            if bar is not None and bar.pole != "return":
                expected = "a busbar of the pole 'return'"
                self.report.say(at, "busbar", found=f"'{bar.name}', a busbar of a feed", expected=expected)
            node = point.busbar
        if not named:
            return
        self.earth_points[point.name] = things.EarthPoint(
            point.name,
            point.title,
            point.kind,
            point.network == "outside",
            point.mesh,
            point.at,
            point.position,
            node,
        )
        self.terminals[point.name] = Terminal(point.name, point.name, "", "earth", node, *place)

    def _bond(self, at: At, bond: f.Bond, single_point: str) -> None:
        if not self.report.name(at, bond.name, "bond"):
            return
        a = self._lookup(at, ("from",), bond.start)
        b = self._lookup(at, ("to",), bond.end)
        if a is None or b is None:
            return
        if a.node == b.node:
            self.report.say(at, "to", found=f"'{bond.end}', the same place as '{bond.start}'", expected="another place")
            return
        for step, end in (("from", a), ("to", b)):
            if end.kind != "earth":
                found = f"'{end.name}', a terminal of the kind {end.kind}"
                hint = "list the busbar as an earth point of the kind return-bar" if end.kind == "busbar" else ""
                self.report.say(at, step, found=found, expected="an earth point", hint=hint)
                return
        self.bonds[bond.name] = things.Bond(
            bond.name,
            a,
            b,
            bond.spread.value,
            bond.name == single_point,
            wire.Wire(bond.size, "copper", 2) if bond.size is not None else None,
            bond.length.value if bond.length is not None else 0.0,
            bond.ohms.value if bond.ohms is not None else None,
            (self._contacts["lug"], self._contacts["lug"]) if bond.size is not None else (),
        )

    # Cables

    def _cables(self) -> None:
        landing = CableEnds(
            self.report,
            self.sites.connectors,
            self.terminals,
            self._lookup,
            self._contact_of,
            self.file.length_tolerance.value,
        )
        for at, cable in self.root.each("cables", self.file.cables):
            named = self.report.name(at, cable.name, "cable")
            known = self.report.known(at, "type", name=cable.type, among=self.cable_types, kind="cable type")
            sections = self._sections(at, cable)
            listed = None
            if cable.pins:
                rows = self.report.known(at, "pins", name=cable.pins, among=self.file.pin_lists, kind="pin list")
                listed = self._listed(cable.pins, rows or [])
            if known is None or not named or (cable.pins and cable.pins not in self.file.pin_lists):
                continue
            kind, colours = known
            self.cables[cable.name] = landing.land(at, cable, kind, colours, listed, sections)

    def _listed(self, name: str, rows: list[f.ConductorEntry]) -> list[tuple[At, f.ConductorEntry]]:
        if name.endswith(".csv"):
            # the place says the file and line, so the field is the column alone
            return [(At(row, ""), row) for row in rows]
        return list(self.root.each(f"pin-lists.{name}", rows))

    def _sections(self, at: At, cable: f.Cable) -> tuple[str, ...]:
        found: list[str] = []
        known: dict[str, Any] = {**self.sites.trays, **self.sites.sections}
        for number, name in enumerate(cable.trays):
            thing = self.report.known(at, "trays", number, name=name, among=known, kind="tray or tray section")
            if isinstance(thing, things.Tray):
                found += [section.name for section in thing.sections]
            elif thing is not None:
                found.append(name)
        return tuple(found)

    def _contact_of(self, terminal: Terminal) -> Contact:
        if terminal.kind == "pin":
            return self._pin_contacts[self.sites.connectors[terminal.owner].type.name]
        return self._contacts["lug"]

    def _lookup(self, at: At, steps: tuple[str | int, ...], text: str) -> Terminal | None:
        """The terminal of a name; studs of busbars and earth points come into being when they are named."""
        found = self.terminals.get(text)
        if found is not None:
            return found
        owner, dot, pin = text.rpartition(".")
        if dot and (owner in self.busbars or owner in self.earth_points):
            if not self.report.pin(at, *steps, pin=pin):
                return None
            whole = self.terminals[owner]
            node = text if whole.kind == "busbar" else whole.node
            self.terminals[text] = Terminal(text, owner, pin, whole.kind, node, whole.bay, whole.shelf)
            return self.terminals[text]
        if dot and owner in self.sites.connectors:
            order = self.sites.connectors[owner].layout.order
            self.report.say(
                at, *steps, found=f"pin '{pin}' of {owner}", expected=f"{one_of(order)}", hint=near(pin, order)
            )
            return None
        owners = dict.fromkeys(terminal.owner for terminal in self.terminals.values() if terminal.kind != "end")
        if dot and owner in owners:
            known: Iterable[str] = (name for name in self.terminals if name.startswith(f"{owner}."))
        elif dot:
            known = (f"{name}.{pin}" for name in owners)
            if self.report.again(owner):
                return None
        else:
            known = (*self.sites.connectors, *(name for name in self.terminals if name in owners))
        expected = _EXPECTED.get(str(steps[0]) if steps else "", _TERMINAL)
        self.report.say(at, *steps, found=f"'{text}'", expected=expected, hint=near(text, known))
        return None
