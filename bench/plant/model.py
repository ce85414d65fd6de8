"""The plant as the program works with it: everything by name, one electrical view, and loops for sequences.

Over 500 lines, since it is one value with one public face; what can be said apart from it lives in its own modules.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import cached_property
from typing import Any

import msgspec

from bench.files import Problem, near
from bench.judge.conductor import ExpectedResistance, series
from bench.plant import conductor_make as wire
from bench.plant import whereabouts as words
from bench.plant.file import PlantFile
from bench.plant.flags import flags_of
from bench.plant.graph import Edge, Nets, Ways, shortest, ways
from bench.plant.things import (
    KIND_WORDS,
    Bay,
    Bond,
    Breaker,
    Busbar,
    Cable,
    Card,
    Conductor,
    Connector,
    EarthPoint,
    Feed,
    Inlet,
    Section,
    Shelf,
    Supply,
    Terminal,
    Thing,
    Tray,
)


class UnknownName(KeyError):
    """The plant has nothing of this name, or nothing of the kind that was asked for.

    Attributes:
        found: the name as it was given.
        expected: what would have done, in words.
        hint: a near miss; may be empty.
    """

    def __init__(self, found: str, expected: str, hint: str = "") -> None:
        tail = f"; {hint}" if hint else ""
        super().__init__(f"found '{found}', expected {expected}{tail}")
        self.found = found
        self.expected = expected
        self.hint = hint

    def __str__(self) -> str:
        return str(self.args[0])


class NoPath(LookupError):
    """Two terminals of the plant are not joined, whatever breakers are closed."""


class SupplyPath(msgspec.Struct, frozen=True):
    """The way of a feed to a shelf.

    Attributes:
        supply: the supply or, in a plant that lists none for the feed, the busbar where it starts.
        out: edges from the inlet's live terminal to the supply.
        back: edges from the inlet's return terminal to the supply.
        breakers: the breakers on the way, from the supply's end.
    """

    supply: str
    out: tuple[Edge, ...]
    back: tuple[Edge, ...]
    breakers: tuple[str, ...]


class Plant(msgspec.Struct, frozen=True, eq=False, dict=True):
    """A resolved plant. It is made by :func:`bench.plant.resolve.resolve` and never changed; it equals itself alone.

    All mappings are by name, in file order.

    Attributes:
        file: what it was made from.
        bays: the bays.
        shelves: the shelves and half-shelves; a half follows its shelf.
        connectors: the connectors.
        cards: the cards, by shelf and slot (``2C/5``).
        inlets: the inlets (``2C.A``).
        feeds: the feeds.
        supplies: the supplies.
        busbars: the busbars.
        breakers: the breakers.
        trays: the cable trays.
        sections: their sections.
        cables: the cables.
        conductors: the conductors, screens among them.
        terminals: all terminals, loose ends of conductors among them.
        earth_points: the points of the earthing network.
        bonds: its bonds.
        single_point: the bond that is the single-point connection; None in a plant without an earthing network.
        remarks: what looks odd in the file but does not keep the plant from being used.
    """

    file: PlantFile
    bays: Mapping[str, Bay]
    shelves: Mapping[str, Shelf]
    connectors: Mapping[str, Connector]
    cards: Mapping[str, Card]
    inlets: Mapping[str, Inlet]
    feeds: Mapping[str, Feed]
    supplies: Mapping[str, Supply]
    busbars: Mapping[str, Busbar]
    breakers: Mapping[str, Breaker]
    trays: Mapping[str, Tray]
    sections: Mapping[str, Section]
    cables: Mapping[str, Cable]
    conductors: Mapping[str, Conductor]
    terminals: Mapping[str, Terminal]
    earth_points: Mapping[str, EarthPoint]
    bonds: Mapping[str, Bond]
    single_point: Bond | None
    remarks: tuple[Problem, ...] = msgspec.field(default=())

    @property
    def name(self) -> str:
        """The plant's name."""
        return self.file.plant

    @cached_property
    def kept(self) -> dict[Any, Any]:
        """What was worked out of this plant elsewhere and will be wanted again, under keys of their own."""
        return {}

    @property
    def ambient_c(self) -> float:
        """The ambient temperature that the file gives, in °C."""
        return self.file.ambient.value

    # Names

    @cached_property
    def things(self) -> Mapping[str, Thing]:
        """Everything by name. A busbar's, earth point's or inlet's name gives the thing and not its terminal."""
        found: dict[str, Thing] = dict(self.terminals)
        for kind in (
            self.conductors, self.inlets, self.cards, self.bays, self.shelves, self.connectors, self.feeds,
            self.supplies, self.busbars, self.breakers, self.trays, self.sections, self.cables, self.earth_points,
            self.bonds,
        ):  # fmt: skip
            found.update(kind)
        return found

    @cached_property
    def flags(self) -> Mapping[str, Terminal]:
        """The places of flags on loose ends, by name: ``W512.far/7``. They are not among the terminals, since nothing
        is known of them; see :mod:`bench.plant.flags`."""
        return flags_of(self.cables.values())

    def find(self, name: str) -> Thing:
        """Whatever has this name, a flag on a loose end among them.

        Raises:
            UnknownName: nothing has it; a KeyError with the near miss.
        """
        found = self.things.get(name) or self.flags.get(name)
        if found is None:
            raise UnknownName(name, f"a name of the plant {self.name}", self.near(name))
        return found

    @property
    def single_point_bar(self) -> EarthPoint | None:
        """The inside end of the single-point connection, in practice a bar; None without an earthing network."""
        if self.single_point is None:
            return None
        ends = [self.earth_points[end.owner] for end in (self.single_point.a, self.single_point.b)]
        return next((point for point in ends if not point.outside), None)

    @property
    def single_point_bonds(self) -> tuple[Bond, ...]:
        """The conductors of the single-point connection, from its bar to the building; the named one first.

        The connection is a bus-bar and no mere point: what lands there is one connection (ITU-T K.27, 3.2.5).
        """
        bar, named = self.single_point_bar, self.single_point
        if bar is None or named is None:
            return ()
        others = [
            bond
            for bond in self.bonds.values()
            if bond is not named
            and any(end.owner == bar.name for end in (bond.a, bond.b))
            and any(self.earth_points[end.owner].outside for end in (bond.a, bond.b))
        ]
        return (named, *others)

    def near(self, name: str) -> str:
        """A hint with the nearest name: of the same owner first, since ``J101.120`` is more likely ``J101.12``."""
        owner = name.rpartition(".")[0]
        if owner in self.things:
            prefix = f"{owner}."
            return near(name, (known for known in self.things if known.startswith(prefix)))
        return near(name, (known for known in self.things if "." not in known))

    def terminal(self, name: str) -> Terminal:
        """The terminal of this name; of an inlet, the live one; of a conductor, none. A flag is a terminal too.

        Raises:
            UnknownName: there is none.
        """
        found = self.terminals.get(name) or self.flags.get(name)
        if found is None:
            raise UnknownName(name, "a terminal such as 'J101.12'", self._near_terminal(name))
        return found

    def _near_terminal(self, name: str) -> str:
        thing = self.things.get(name)
        if thing is None:
            return self.near(name)
        return f"'{name}' is a {KIND_WORDS[type(thing)]}"

    def where(self, name: str) -> str:
        """Where something is, in words for a person at the rack.

        Raises:
            UnknownName: nothing has this name.
        """
        return words.where(self, self.find(name))

    # The electrical view

    def expected(self, edge_id: str, celsius: float | None = None) -> ExpectedResistance:
        """What one edge of the graph should read: a conductor, bond, closed breaker or busbar stud.

        Args:
            edge_id: the edge's id.
            celsius: of the conductors; the plant's ambient temperature by default.

        Raises:
            UnknownName: no edge has this id.
        """
        warm = self.ambient_c if celsius is None else celsius
        if edge_id in self.conductors:
            return self.conductors[edge_id].expected(warm)
        if edge_id in self.breakers:
            return self.breakers[edge_id].closed
        if edge_id in self.bonds:
            return self.bonds[edge_id].expected(warm)
        terminal = self.terminals.get(edge_id)
        if terminal is not None and terminal.kind == "busbar":
            bar = self.busbars[terminal.owner]
            return wire.set_by_hand(bar.ohms, 0.5, f"busbar {bar.name} as the plant file gives it")
        raise UnknownName(edge_id, "a conductor, breaker, bond or busbar stud", self._near_terminal(edge_id))

    @cached_property
    def _edges(self) -> tuple[Edge, ...]:
        """All edges with every breaker closed."""
        warm = self.ambient_c
        edges = [
            Edge(c.name, c.near_end.node, c.far_end.node, "conductor", c.expected(warm).nominal_ohm)
            for c in self.conductors.values()
        ]
        edges += [
            Edge(b.name, b.line.node, b.load.node, "breaker", b.closed.nominal_ohm) for b in self.breakers.values()
        ]
        edges += [
            Edge(t.name, t.node, t.owner, "busbar", self.busbars[t.owner].ohms)
            for t in self.terminals.values()
            if t.kind == "busbar" and t.pin
        ]
        edges += [Edge(b.name, b.a.node, b.b.node, "bond", b.expected(warm).nominal_ohm) for b in self.bonds.values()]
        return tuple(edges)

    def graph(self, closed: Collection[str] = ()) -> list[Edge]:
        """Every conductor, bond and busbar stud, and the breakers that are closed, as edges between nodes.

        Args:
            closed: names of the closed breakers; ``plant.breakers`` closes all.

        Raises:
            UnknownName: a name is no breaker.
        """
        for name in closed:
            if name not in self.breakers:
                raise UnknownName(name, "a breaker", near(name, self.breakers))
        return [edge for edge in self._edges if edge.kind != "breaker" or edge.id in closed]

    def joins(self, closed: Collection[str] = ()) -> dict[str, frozenset[str]]:
        """For every terminal the set of terminals on its net, itself among them.

        Args:
            closed: names of the closed breakers.
        """
        nets = Nets(self.graph(closed))
        groups: dict[str, list[str]] = {}
        for terminal in self.terminals.values():
            groups.setdefault(nets.root(terminal.node), []).append(terminal.name)
        return {name: together for names in groups.values() for together in (frozenset(names),) for name in names}

    @cached_property
    def _ways(self) -> tuple[Ways, Ways]:
        """Ways without the bonds, and with them."""
        return ways(edge for edge in self._edges if edge.kind != "bond"), ways(self._edges)

    def path(self, one: str, other: str) -> tuple[Edge, ...]:
        """The way with the fewest edges between two terminals, all breakers closed.

        Bonds are used only where there is no way without them, since current is not meant to run there.

        Raises:
            UnknownName: a name is no terminal.
            NoPath: the two are not joined.
        """
        start, goal = self.terminal(one).node, self.terminal(other).node
        for net in self._ways:
            found = shortest(net, start, (goal,))
            if found is not None:
                return found
        raise NoPath(f"{one} and {other} are not joined by anything in the plant {self.name}")

    def path_expected(self, one: str, other: str, celsius: float | None = None) -> ExpectedResistance:
        """What the whole way between two terminals should read; see :meth:`path`.

        Args:
            one: a terminal.
            other: another one.
            celsius: of the conductors; the plant's ambient temperature by default.
        """
        parts = [self.expected(edge.id, celsius) for edge in self.path(one, other)]
        if not parts:
            return wire.set_by_hand(0.0, 0.0, f"{one} and {other} are one node")
        return series(*parts)

    def supply_path(self, shelf: str, feed: str) -> SupplyPath:
        """The way of a feed from its supply to a shelf, there and back.

        Raises:
            UnknownName: no such shelf, or the shelf has no inlet for the feed.
            NoPath: no supply of the feed is joined to the inlet.
        """
        inlet = self.inlet(shelf, feed)
        if inlet.name not in self._supply_paths:
            self._supply_paths[inlet.name] = self._supply_path(inlet, feed)
        path = self._supply_paths[inlet.name]
        if path is None:
            raise NoPath(f"no supply of feed {feed} reaches {inlet.name}, there and back")
        return path

    @cached_property
    def _supply_paths(self) -> dict[str, SupplyPath | None]:
        """The ways that were asked for, by the inlet's name; None where there is none."""
        return {}

    def _supply_path(self, inlet: Inlet, feed: str) -> SupplyPath | None:
        net = self._ways[0]
        starts = [(s.name, s.live.node, s.back.node) for s in self.supplies.values() if s.feed == feed]
        if not starts:
            back = self.feeds[feed].back
            starts = [(b.name, b.name, back) for b in self.busbars.values() if b.feed == feed and b.pole == "feed"]
        for name, live, back in starts:
            out = shortest(net, inlet.live.node, (live,))
            home = shortest(net, inlet.back.node, (back,))
            if out is not None and home is not None:
                breakers = tuple(edge.id for edge in reversed(out) if edge.kind == "breaker")
                return SupplyPath(name, out, home, breakers)
        return None

    def inlet(self, shelf: str, feed: str) -> Inlet:
        """A shelf's inlet for a feed.

        Raises:
            UnknownName: no such shelf, or no such inlet.
        """
        if shelf not in self.shelves:
            raise UnknownName(shelf, "a shelf", near(shelf, self.shelves))
        found = self.inlets.get(f"{shelf}.{feed}")
        if found is None:
            have = ", ".join(inlet.feed for inlet in self.shelves[shelf].inlets) or "none"
            raise UnknownName(feed, f"a feed that comes into shelf {shelf}: {have}")
        return found

    def neighbours(self, pin: str) -> tuple[Terminal, ...]:
        """The pins beside, above and below a pin on its connector; none for other terminals.

        Raises:
            UnknownName: not a terminal.
        """
        terminal = self.terminal(pin)
        if terminal.kind != "pin":
            return ()
        layout = self.connectors[terminal.owner].layout
        return tuple(self.terminals[f"{terminal.owner}.{other}"] for other in layout.adjacent[terminal.pin])

    @cached_property
    def landings(self) -> Mapping[str, tuple[Conductor, ...]]:
        """The conductors that end on each terminal, by the terminal's name."""
        found: dict[str, list[Conductor]] = {}
        for conductor in self.conductors.values():
            for end in (conductor.near, conductor.far):
                if end is not None:
                    found.setdefault(end.name, []).append(conductor)
        return {name: tuple(there) for name, there in found.items()}

    @cached_property
    def ends(self) -> Mapping[str, tuple[Conductor, ...]]:
        """The conductors that have an end of this name, be it on a terminal or loose."""
        found: dict[str, list[Conductor]] = {}
        for conductor in self.conductors.values():
            for name in dict.fromkeys((conductor.near_end.name, conductor.far_end.name)):
                found.setdefault(name, []).append(conductor)
        return {name: tuple(there) for name, there in found.items()}

    # What it draws

    def idle_current(self, shelf: str) -> tuple[float, float, float]:
        """What a shelf's cards draw when they idle at nominal voltage, in amperes: typical, least, most.

        A shelf with halves draws what its halves draw; where it has inlets of its own, a half that has its own too is
        a load of its own.

        Raises:
            UnknownName: no such shelf.
        """
        if shelf not in self.shelves:
            raise UnknownName(shelf, "a shelf", near(shelf, self.shelves))
        whole = self.shelves[shelf]
        parts = [shelf, *(half for half in whole.halves if not (whole.inlets and self.shelves[half].inlets))]
        cards = [card.type for part in parts for card in self.shelves[part].cards]
        typical = sum(kind.idle.value for kind in cards)
        width = sum(kind.idle.value * kind.spread.value for kind in cards)
        return typical, typical - width, typical + width

    # Loops

    def _scope(self, of: str, *kinds: type) -> Any:
        if not of:
            return None
        thing = self.find(of)
        if not isinstance(thing, kinds):
            wanted = " or ".join(KIND_WORDS[kind] for kind in kinds)
            raise UnknownName(of, f"the name of a {wanted}", f"'{of}' is a {KIND_WORDS[type(thing)]}")
        return thing

    def conductors_of(self, of: str = "") -> list[Conductor]:
        """The conductors of a cable, or those that end on a connector, shelf, bay, or in the whole plant.

        A cable's screen is not among them.

        Raises:
            UnknownName: no such name, or it names something else.
        """
        scope = self._scope(of, Cable, Connector, Shelf, Bay)
        if isinstance(scope, Cable):
            return list(scope.conductors)
        everyone = [conductor for conductor in self.conductors.values() if not conductor.is_screen]
        if scope is None:
            return everyone
        owners = {connector.name for connector in self.connectors_of(of)}
        return [
            conductor
            for conductor in everyone
            if any(end is not None and end.owner in owners for end in (conductor.near, conductor.far))
        ]

    def pairs_of(self, of: str = "") -> list[tuple[Conductor, Conductor]]:
        """The pairs, tip and ring, of a cable, connector, shelf, bay, or of the whole plant."""
        chosen = self.conductors_of(of)
        return [(c, self.conductors[c.mate]) for c in chosen if c.leg == "tip"]

    def connectors_of(self, of: str = "") -> list[Connector]:
        """The connectors of a shelf, half-shelf or bay, those of halves among them; or the one that is named."""
        scope = self._scope(of, Connector, Shelf, Bay)
        if isinstance(scope, Connector):
            return [scope]
        inside = self._inside(scope)
        return [c for c in self.connectors.values() if inside is None or c.shelf in inside]

    def _inside(self, scope: Bay | Shelf | None) -> set[str] | None:
        """Names of the shelves and half-shelves in a bay or shelf; None for all."""
        if scope is None:
            return None
        if isinstance(scope, Shelf):
            return {scope.name, *scope.halves}
        return {name for name, shelf in self.shelves.items() if shelf.bay == scope.name}

    def pins_of(self, of: str = "") -> list[Terminal]:
        """The pins of a connector, shelf, bay, or of the whole plant, in counting order."""
        return [pin for connector in self.connectors_of(of) for pin in connector.terminals]

    def neighbours_of(self, of: str = "") -> list[tuple[Terminal, Terminal]]:
        """Pins that lie side by side or one above the other, each two once; scopes as in :meth:`pins_of`."""
        found = []
        for connector in self.connectors_of(of):
            places = connector.layout.places
            for pin in connector.terminals:
                found += [
                    (pin, self.terminals[f"{connector.name}.{other}"])
                    for other in connector.layout.adjacent[pin.pin]
                    if places[other].index > places[pin.pin].index
                ]
        return found

    def wires_beside(self, of: str = "") -> list[tuple[Terminal, Terminal]]:
        """Neighbouring pins of which one at least holds a wire, each two nets once; scopes as in :meth:`pins_of`.

        What is apart at one end of two wires is apart at the other: two pins are left out where the same two nets lie
        side by side at an earlier one, and where both are one net.
        """
        nets = Nets(edge for edge in self.graph() if edge.kind != "bond")
        seen: set[frozenset[str]] = set()
        found = []
        for pin, other in self.neighbours_of(of):
            if not self.landings.get(pin.name) and not self.landings.get(other.name):
                continue
            two = frozenset((nets.root(pin.node), nets.root(other.node)))
            if len(two) == 2 and two not in seen:
                seen.add(two)
                found.append((pin, other))
        return found

    def shelves_of(self, of: str = "") -> list[Shelf]:
        """The shelves of a bay, of a feed, or of the whole plant, as they are powered: from the top down.

        A divided shelf gives its halves; the whole shelf is among them only if it has cards or inlets itself.
        """
        scope = self._scope(of, Bay, Shelf, Feed)
        inside = None if isinstance(scope, Feed) else self._inside(scope)
        return [
            shelf
            for shelf in self.shelves.values()
            if (not shelf.halves or shelf.cards or shelf.inlets)
            and (inside is None or shelf.name in inside)
            and (not isinstance(scope, Feed) or any(inlet.feed == scope.name for inlet in shelf.inlets))
        ]

    def inlets_of(self, of: str = "") -> list[Inlet]:
        """The inlets of a shelf, bay, feed, or of the whole plant."""
        scope = self._scope(of, Shelf, Bay, Feed)
        if isinstance(scope, Feed):
            return [inlet for inlet in self.inlets.values() if inlet.feed == scope.name]
        inside = self._inside(scope)
        return [inlet for inlet in self.inlets.values() if inside is None or inlet.shelf in inside]

    def breakers_of(self, of: str = "") -> list[Breaker]:
        """The breakers of a feed, those that sit in a bay or on a shelf, or all."""
        scope = self._scope(of, Feed, Bay, Shelf)
        if isinstance(scope, Feed):
            return [breaker for breaker in self.breakers.values() if breaker.feed == scope.name]
        inside = self._inside(scope)
        if scope is None or inside is None:
            return list(self.breakers.values())
        return [breaker for breaker in self.breakers.values() if breaker.at in inside | {scope.name}]

    def cables_of(self, of: str = "") -> list[Cable]:
        """The cables that end on a connector, shelf, bay, breaker or busbar, run in a tray or section; or all."""
        scope = self._scope(of, Cable, Connector, Shelf, Bay, Breaker, Busbar, Supply, Tray, Section)
        if scope is None:
            return list(self.cables.values())
        if isinstance(scope, Cable):
            return [scope]
        if isinstance(scope, Tray):
            names = {section.name for section in scope.sections}
            return [cable for cable in self.cables.values() if names.intersection(cable.sections)]
        if isinstance(scope, Section):
            return [cable for cable in self.cables.values() if scope.name in cable.sections]
        owners = {scope.name}
        if isinstance(scope, Shelf | Bay):
            inside = self._inside(scope) or set()
            owners |= inside
            owners |= {c.name for c in self.connectors.values() if c.shelf in inside}
            owners |= {breaker.name for breaker in self.breakers.values() if breaker.at in owners}
            owners |= {bar.name for bar in self.busbars.values() if bar.at in owners}
        return [cable for cable in self.cables.values() if owners.intersection((*cable.near, *cable.far))]

    def bonds_of(self, of: str = "") -> list[Bond]:
        """The bonds of an earth point or busbar, of the points of a bay, shelf or tray, or all."""
        scope = self._scope(of, EarthPoint, Busbar, Bay, Shelf, Tray)
        if scope is None:
            return list(self.bonds.values())
        owners = {scope.name, *(p.name for p in self.earth_points.values() if p.at == scope.name)}
        return [bond for bond in self.bonds.values() if bond.a.owner in owners or bond.b.owner in owners]

    def busbars_of(self, feed: str, pole: str) -> list[Busbar]:
        """The busbars of a feed's pole, ``feed`` or ``return``; a common return bar belongs to every feed.

        Args:
            feed: the name of a feed.
            pole: ``feed`` or ``return``.
        """
        return [bar for bar in self.busbars.values() if bar.feed in (feed, "") and bar.pole == pole]

    def names(self, *kinds: type) -> Iterator[str]:
        """The names of all things of the given kinds."""
        return (name for name, thing in self.things.items() if isinstance(thing, kinds))

    def touched(self, name: str) -> frozenset[str]:
        """Names of the conductors that are handled when somebody handles this thing.

        Raises:
            UnknownName: nothing has this name.
        """
        thing = self.find(name)
        if isinstance(thing, Conductor):
            return frozenset({thing.name})
        if isinstance(thing, Cable | Tray | Section):
            return frozenset(c.name for cable in self.cables_of(name) for c in (*cable.conductors, cable.screen) if c)
        if isinstance(thing, Terminal):
            return frozenset(c.name for c in self.conductors.values() if thing in (c.near_end, c.far_end))
        owners = {thing.name}
        if isinstance(thing, Bay | Shelf):
            inside = self._inside(thing) or set()
            owners |= inside | {c.name for c in self.connectors.values() if c.shelf in inside}
        elif isinstance(thing, Inlet):
            owners = {thing.live.name, thing.back.name}
        return frozenset(
            c.name
            for c in self.conductors.values()
            for end in (c.near, c.far)
            if end is not None and (end.owner in owners or end.name in owners)
        )
