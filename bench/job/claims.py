"""What has to be shown of a plant before it may live, claim by claim, and which evidence speaks for which claim.

Six kinds of claim. *joined*: a conductor or bond reads what it should from end to end. *apart*: two neighbouring pins
with wires on them, or an inlet's two terminals, are not joined. *insulated*: all of a cable bears its test voltage,
where the plant file asks for that. *floats*: with the single-point connection lifted the
inside of the earthing network is apart from the building. *polarity*: an inlet has its feed's voltage, with its sign.
*idle*: a shelf draws what its cards should. One more is not asked for, but counts where it was looked at: *quiet*, an
inlet shows nothing while it is dead, or while another feed is on.

Evidence speaks for nets, not for pins: whether a short is looked for at one end of a cable or at the other is the same
where the cable is whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Literal

import msgspec

from bench.job.rows import APART, ENERGISED, INSULATED, PARTLY, Evidence
from bench.plant.graph import Nets
from bench.plant.model import NoPath, Plant
from bench.plant.things import Cable, EarthPoint, Inlet

ClaimKind = Literal["joined", "apart", "insulated", "floats", "polarity", "idle", "quiet"]
Key = tuple[ClaimKind, frozenset[str]]


class Claim(msgspec.Struct, frozen=True):
    """Something that has to be shown.

    Attributes:
        key: the kind, and the names or nets that it is about; evidence with the same key speaks for it.
        about: the plant object, or two of them joined by ``~``.
        text: the claim in words.
    """

    key: Key
    about: str
    text: str

    @property
    def kind(self) -> ClaimKind:
        """The kind of claim."""
        return self.key[0]


class Claims:
    """The claims of one plant.

    Args:
        plant: the plant.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant

    # What has to be shown

    @cached_property
    def of_cable(self) -> Mapping[str, tuple[Claim, ...]]:
        """Cable to its claims: each conductor that is landed at both ends, and the neighbours at its connectors."""
        found = {}
        for cable in self.plant.cables.values():
            joined = [self._joined(one.name) for one in cable.conductors if one.landed]
            found[cable.name] = (*joined, *self._neighbours(cable), *self.insulated(cable.name))
        return found

    @cached_property
    def of_bond(self) -> Mapping[str, tuple[Claim, ...]]:
        """Bond to its claims; the single-point connection also carries the claim that the inside floats without it."""
        found: dict[str, tuple[Claim, ...]] = {name: (self._joined(name),) for name in self.plant.bonds}
        single = self.plant.single_point
        if single is not None:
            text = f"the inside floats with {single.name} lifted"
            floats = Claim(("floats", frozenset({single.name})), single.name, text)
            found[single.name] = (*found[single.name], floats)
        return found

    @cached_property
    def of_inlet(self) -> Mapping[str, tuple[Claim, ...]]:
        """Inlet to its claims: no short between its terminals, and the polarity."""
        return {one.name: (self._free(one), self._polarity(one)) for one in self.plant.inlets.values()}

    @cached_property
    def path_to(self) -> Mapping[str, tuple[Claim, ...]]:
        """Inlet to the claims of the conductors between it and its supply, there and back.

        An inlet that no supply reaches in the plant file has one claim that nothing can prove.
        """
        found: dict[str, tuple[Claim, ...]] = {}
        for inlet in self.plant.inlets.values():
            try:
                path = self.plant.supply_path(inlet.shelf, inlet.feed)
            except NoPath:
                key: Key = ("joined", frozenset({inlet.name}))
                found[inlet.name] = (Claim(key, inlet.name, f"a supply reaches inlet {inlet.name}"),)
                continue
            names = dict.fromkeys(edge.id for edge in (*path.out, *path.back) if edge.kind == "conductor")
            found[inlet.name] = tuple(self._joined(name) for name in names)
        return found

    def insulated(self, cable: str) -> tuple[Claim, ...]:
        """The claim that a cable is insulated, where the plant file asks for its proof."""
        if not self.plant.cables[cable].prove_insulation:
            return ()
        return (Claim(("insulated", frozenset({cable})), cable, f"{cable} is insulated"),)

    def idle(self, shelf: str) -> tuple[Claim, ...]:
        """The claim that a shelf draws what its cards should; none for a shelf without cards."""
        if self.plant.idle_current(shelf)[0] <= 0:
            return ()
        return (Claim(("idle", frozenset({shelf})), shelf, f"shelf {shelf} draws what its cards should"),)

    def quiet(self, inlet: str) -> Claim:
        """The claim that an inlet shows nothing when it should: it is dead, or another feed is on.

        Evidence speaks for a part of it: between these two places, with that feeding; see :meth:`inlet_of`.
        """
        return Claim(("quiet", frozenset({inlet})), inlet, f"inlet {inlet} shows nothing while it should not")

    def earth(self, shelf: str) -> tuple[Claim, ...]:
        """The claims of the bonds from a shelf's bay to the single-point connection, and of what all bays share."""
        plant = self.plant
        bar = plant.single_point_bar
        if bar is None or plant.single_point is None:
            return ()
        bay = plant.shelves[shelf].bay
        bonds = {plant.single_point.name}
        for point in plant.earth_points.values():
            if point.is_return or point.at in (bay, shelf):
                bonds |= self._bonds_to(point, bar)
        return tuple(claim for name in plant.bonds if name in bonds for claim in self.of_bond[name])

    def _bonds_to(self, point: EarthPoint, bar: EarthPoint) -> set[str]:
        try:
            return {edge.id for edge in self.plant.path(point.name, bar.name) if edge.kind == "bond"}
        except NoPath:
            return set()

    def _joined(self, name: str) -> Claim:
        return Claim(("joined", frozenset({name})), name, f"{name} reads what it should from end to end")

    def _free(self, inlet: Inlet) -> Claim:
        key: Key = ("apart", frozenset({self._net(inlet.live.name), self._net(inlet.back.name)}))
        return Claim(key, inlet.name, f"inlet {inlet.name} is free of shorts")

    def _polarity(self, inlet: Inlet) -> Claim:
        return Claim(("polarity", frozenset({inlet.name})), inlet.name, f"inlet {inlet.name} has its feed's polarity")

    def _neighbours(self, cable: Cable) -> Iterable[Claim]:
        found: dict[Key, Claim] = {}
        landings = self.plant.landings
        for owner in dict.fromkeys((*cable.near, *cable.far)):
            if owner not in self.plant.connectors:
                continue
            for pin, other in self.plant.neighbours_of(owner):
                here, there = landings.get(pin.name, ()), landings.get(other.name, ())
                if not here or not there or cable.name not in {one.cable for one in (*here, *there)}:
                    continue
                nets = frozenset({self._net(pin.name), self._net(other.name)})
                if len(nets) == 2:
                    text = f"{pin.name} and {other.name} are apart"
                    found.setdefault(("apart", nets), Claim(("apart", nets), f"{pin.name}~{other.name}", text))
        return found.values()

    # Which evidence speaks for what

    def keys_of(self, row: Evidence) -> tuple[Key, ...]:
        """The keys of the claims that a reading speaks for; none where it is about something else."""
        asked = (row.function, row.subject, row.between, row.low, row.high, row.under, row.verdict == "fail")
        known = self._keys.get(asked)
        if known is None:
            known = self._keys[asked] = self._keys_of(row)
        return known

    @cached_property
    def _keys(self) -> dict[tuple[object, ...], tuple[Key, ...]]:
        """What was asked before: the same points are read month after month."""
        return {}

    def _keys_of(self, row: Evidence) -> tuple[Key, ...]:
        if row.reads == "voltage":
            return self._voltage(row)
        if row.function == ENERGISED:
            # a shelf that comes up with some of its cards is not proven by that, but it fails by it
            whole = PARTLY not in row.between or row.verdict == "fail"
            return (("idle", frozenset({row.subject})),) if whole else ()
        if row.reads == "current":
            shelf = row.subject if row.subject in self.plant.shelves else self._shelf(row)
            return (("idle", frozenset({shelf})),) if shelf else ()
        if row.function == APART:
            return self._all_apart(row)
        if row.function == INSULATED:
            return (("insulated", frozenset(row.between)),)
        if row.reads not in ("resistance", "insulation") or len(row.between) != 2:
            return ()
        if row.high is not None and row.low is None:
            return tuple(("joined", frozenset({name})) for name in self._ends(row))
        if row.low is not None and row.high is None:
            return self._apart(row)
        return ()

    def cables_at(self, row: Evidence) -> set[str]:
        """The cables whose conductors end where a reading was taken."""
        landings = self.plant.landings
        found = {one.cable for place in row.between for one in landings.get(place, ())}
        owner = self.plant.conductors.get(row.subject)
        return found | ({owner.cable} if owner is not None else set())

    @cached_property
    def _nets(self) -> Nets:
        return Nets(edge for edge in self.plant.graph() if edge.kind != "bond")

    def _net(self, terminal: str) -> str:
        return self._nets.root(self.plant.terminals[terminal].node)

    @cached_property
    def _by_ends(self) -> Mapping[frozenset[str], tuple[str, ...]]:
        found: dict[frozenset[str], list[str]] = {}
        for conductor in self.plant.conductors.values():
            ends = frozenset({conductor.near_end.name, conductor.far_end.name})
            found.setdefault(ends, []).append(conductor.name)
        for bond in self.plant.bonds.values():
            found.setdefault(frozenset({bond.a.name, bond.b.name}), []).append(bond.name)
        return {ends: tuple(names) for ends, names in found.items()}

    def _ends(self, row: Evidence) -> tuple[str, ...]:
        """The conductors or bonds that a low resistance speaks for: the subject, else what lies between the probes."""
        if row.subject in self.plant.conductors or row.subject in self.plant.bonds:
            return (row.subject,)
        return self._by_ends.get(frozenset(row.between), ())

    def _all_apart(self, row: Evidence) -> tuple[Key, ...]:
        """Of nets that were searched together, every pair that somebody asks for."""
        nets = {self._net(place) for place in row.between if place in self.plant.terminals}
        if len(row.between) == 2:
            return (("apart", frozenset(nets)),) if len(nets) == 2 else ()
        return tuple(key for net in nets for key, other in self._asked_apart.get(net, ()) if other in nets)

    @cached_property
    def _asked_apart(self) -> Mapping[str, list[tuple[Key, str]]]:
        """A net to the claims that it is apart from another one, each with the other; every claim stands once."""
        found: dict[str, list[tuple[Key, str]]] = {}
        for claims in (*self.of_cable.values(), *self.of_inlet.values()):
            for claim in claims:
                if claim.kind == "apart":
                    one, other = sorted(claim.key[1])
                    found.setdefault(one, []).append((claim.key, other))
        return {net: list(dict.fromkeys(asked)) for net, asked in found.items()}

    def _apart(self, row: Evidence) -> tuple[Key, ...]:
        plant = self.plant
        if not all(place in plant.terminals for place in row.between):
            return ()
        points = [plant.earth_points.get(plant.terminals[place].owner) for place in row.between]
        one, other = points
        if plant.single_point is not None and one is not None and other is not None and one.outside != other.outside:
            return (("floats", frozenset({plant.single_point.name})),)
        nets = frozenset(self._net(place) for place in row.between)
        return (("apart", nets),) if len(nets) == 2 else ()

    def _voltage(self, row: Evidence) -> tuple[Key, ...]:
        """A voltage proves a polarity only where its limit leaves out zero: what is dead has no polarity."""
        inlet = self._inlet(row)
        if not inlet or row.low is None or row.high is None:
            return ()
        nominal = self.plant.feeds[self.plant.inlets[inlet].feed].nominal_v
        if row.low * row.high > 0 and row.low * nominal > 0:
            return (("polarity", frozenset({inlet})),)
        if not row.low <= 0 <= row.high:
            return ()
        # dead is not quiet beside a feed, and what shows between two places is not undone by two others
        return (("quiet", frozenset({inlet, "~".join(sorted(row.between)), *row.under})),)

    def inlet_of(self, key: Key) -> str:
        """The inlet of what a reading says of its quiet."""
        return next(name for name in key[1] if name in self.plant.inlets)

    def _inlet(self, row: Evidence) -> str:
        if row.subject in self.plant.inlets:
            return row.subject
        ends = {(inlet.live.name, inlet.back.name): inlet.name for inlet in self.plant.inlets.values()}
        return ends.get((row.between[0], row.between[1]), "") if len(row.between) == 2 else ""

    def _shelf(self, row: Evidence) -> str:
        inlet = self.plant.inlets.get(row.subject)
        return inlet.shelf if inlet is not None else ""
