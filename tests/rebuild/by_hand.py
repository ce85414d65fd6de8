"""The same rebuild by hand practice: what a skilled and careful leader does with the same two people and instruments.

The strategy, so that anybody may judge it:

1. Labels are read; the ends whose labels are nearest are laid together and rung pair by pair, none against one that
   has another number or colour of conductors; a cable goes where its label and the old list say, else it is rung to
   its place.
2. Each signal cable is rung out pin by pin by two people with a list that is ticked, and each pin against the ones
   beside it. What does not get through is tried on all pins of the other end, so a wire on a wrong pin is found where
   it is; what is nowhere is opened at both ends. Each repair is rung again.
3. Each bond and each conductor of a supply is read. Without computed limits what is far from its likes is suspected:
   more than twice the middle of them and 50 mΩ. The main earth is lifted once: it must read open then. If it does not,
   bond after bond is opened until it does, and what is at that frame is looked for.
4. Shelf by shelf, cards out: ohms across each inlet, then each feed alone through a lamp limiter with a voltmeter on
   the inlet: the right voltage, the right sign, and nothing on the other inlet. Then the cards one by one behind the
   lamp, and the ammeter against what the cards say, 30 % either way. Then without the lamp, for ten minutes, and
   hands feel what
   is warm: a joint that takes more than 3 W is noticed.
5. All is written into a notebook; what somebody tells to have touched is rung again.
"""

from __future__ import annotations

from statistics import median
from typing import Final

from bench.plant import faults as k
from bench.plant.things import Cable, Inlet
from tests.rebuild import harm
from tests.rebuild.pile import Heap, by_label
from tests.rebuild.plants import Drawn, signal_cables
from tests.rebuild.site import Tonight
from tests.rebuild.team import AT_HAND, BY_EYE, LOOK_UP, OPEN_UP, PLACE, REPAIR
from tests.rebuild.way import Way

BEEPS: Final = 30.0
"""Ohms below which a continuity tester beeps (common practice, no source)."""
SUSPECT: Final = 0.05
SHORTED: Final = 20.0
LAMP_A: Final = 2.0
"""What a lamp limiter lets through at most."""
OFF_BY: Final = 0.3
WARM_W: Final = 3.0
LEADS_ON: Final = 4.0
"""Minutes to bolt a supply's leads on or off, as the pace of a drafted walk has it."""
BREAKER: Final = 0.17
FORGOTTEN: Final = 2.0
"""Minutes until a breaker that was left open is found."""
CARD: Final = 0.75
FEELS: Final = 10.0
LIFT: Final = 6.0
"""Minutes to lift a bond and to put it back."""


class ByHand(Way):
    """One rebuild by hand practice; see :class:`Way`."""

    def __init__(self, drawn: Drawn, bench: str = "middling", factor: float = 1.0) -> None:
        super().__init__(drawn, bench, factor)
        self._again: set[str] = set()
        self._middle = 0.0
        self._at: frozenset[str] = frozenset()

    def build(self) -> None:
        heap = Heap(self.drawn, self.team)
        where = by_label(heap, self.team, self.ledger)
        self.site.faults += heap.plugged(self.site.plant, where)
        self.ledger.stage = "proof"
        for cable in signal_cables(self.site.plant):
            self.ring_out(self.site.plant.cables[cable])
        self.ledger.stage = "earth"
        self.earth()
        self.ledger.stage = "proof"
        self.supplies()
        while self._again:
            self.ring_out(self.site.plant.cables[self._again.pop()])
        self.ledger.stage = "power"
        for shelf in self.site.plant.shelves.values():
            if shelf.inlets:
                self.power(shelf.name)

    # readings

    def _ohms(self, tonight: Tonight, one: str, other: str, *, four: bool = False) -> float:
        """A reading between two places, as the meter shows it; a probe may be at the place beside."""
        terminals = self.site.plant.terminals
        self.ledger.go(tuple(terminals[name].bay for name in (one, other) if name in terminals))
        self.ledger.spend((AT_HAND if self._at & {one, other} else PLACE) + BY_EYE + LOOK_UP)
        self._at = frozenset((one, other))
        self.ledger.readings += 1
        if self.team.slips("wrong place", f"{one} {other}"):
            other = self.site.beside(other)
        tonight.world.place(one, other, tonight.clock.now())
        # who sees ohms climb waits until they stand: a capacitor is no short
        tonight.clock.jump(20.0)
        now = tonight.clock.now()
        if four and self.kit.name != "cheap":
            return self.errors.shown("low-ohm", "resistance 4w", tonight.world.four_wire("hi", "hi", "lo", "lo", now))
        return self.errors.shown("meter", "resistance 2w", tonight.world.resistance("hi", "lo", now))

    def _beeps(self, tonight: Tonight, one: str, other: str) -> bool:
        return self._ohms(tonight, one, other) < BEEPS

    # cables

    def ring_out(self, cable: Cable, times: int = 3) -> bool:
        """A cable pin by pin, and each pin against those beside it.

        Args:
            cable: to ring out.
            times: how often it is gone through at most: what was mended is rung again.

        Returns:
            Whether the last time showed something, and nothing was seen where it was opened up.
        """
        bad: list[list[str]] = []
        saw = False
        for _ in range(times):
            tonight = self.site.tonight()
            bad, saw = [], False
            far = [wire.far_end.name for wire in cable.conductors]
            for wire in cable.conductors:
                if self.team.slips("bored", wire.name) or self._beeps(tonight, wire.near_end.name, wire.far_end.name):
                    continue
                bad.append([wire.near_end.name, wire.far_end.name])
                if 2 * len(bad) > len(far):
                    # most of them: it is the plug, and not so many wires
                    bad = [[cable.near[0], cable.far[0]]]
                    break
                for other in far:
                    if other != wire.far_end.name and self._beeps(tonight, wire.near_end.name, other):
                        bad[-1].append(other)
                        break
            ends = {wire.near_end.name for wire in cable.conductors}
            for one, other in self.site.plant.neighbours_of(cable.near[0]):
                if (
                    one.name not in ends
                    or other.name not in ends
                    or self.team.slips("bored", f"{one.name} {other.name}")
                ):
                    continue
                if self._beeps(tonight, one.name, other.name):
                    bad.append([one.name, other.name])
            if not bad:
                break
            for group in bad:
                # what another repair has put right is not opened
                tonight = self.site.tonight()
                joined = len(group) == 2 and group[0].split(".")[0] == group[1].split(".")[0]
                if "." in group[0] and self._beeps(tonight, group[0], group[1]) != joined:
                    continue
                saw |= self.attend(group)
        self.nights()
        return bool(bad) and not saw

    def attend(self, places: list[str]) -> bool:
        """Open up what is suspected, and mend what is seen."""
        self.ledger.spend(OPEN_UP)
        self.ledger.acts += 1
        seen = self.site.seen_at(places)
        if not seen:
            self.ledger.touched += 1
            self.ledger.alarms += 1
        for fault in seen:
            self.ledger.spend(REPAIR)
            self.ledger.acts += 1
            if not self.team.slips("badly mended", str(fault)):
                self.site.mend([fault])
        return bool(seen)

    # earth

    def earth(self) -> None:
        """Bonds one by one, then the main earth lifted."""
        plant = self.site.plant
        bonds = [bond for bond in plant.bonds.values() if bond.name not in ("G1", "GZ")]
        for _ in range(2):
            tonight = self.site.tonight()
            read = {bond.name: self._ohms(tonight, bond.a.name, bond.b.name, four=True) for bond in bonds}
            middle = median(read.values())
            most = 2 * abs(middle) + (SUSPECT / 5 if self.kit.name != "cheap" else 0.5)
            poor = [name for name, ohms in read.items() if ohms > most]
            if not poor or True not in [self.attend([name]) for name in poor]:
                break
        for _ in range(2):
            self.ledger.spend(LIFT)
            self.ledger.acts += 1
            tonight = self.site.tonight()
            tonight.world.lift_bonds(["G1"])
            if self._ohms(tonight, "HUB", "Z1") > 1000.0:
                return
            # bond after bond comes off; where the main gap opens, the path is at that frame
            at = ""
            off = ["G1"]
            for bond in bonds:
                self.ledger.spend(LIFT)
                self.ledger.acts += 1
                self.ledger.touched += 1
                off.append(bond.name)
                tonight.world.lift_bonds(off)
                if self._ohms(tonight, "HUB", "Z1") > 1000.0:
                    at = bond.a.name if bond.b.name == "HUB" else bond.b.name
                    break
            tonight.world.lift_bonds([])
            if at:
                # where it leaves the frame is not known: all that comes in there is looked at
                self.ledger.spend(2 * OPEN_UP)
                self.attend([at])

    def supplies(self, of: str = "") -> None:
        """The conductors of supplies: through, and like their likes.

        Args:
            of: a shelf, for those that feed it alone, held against what the notebook has of all; else all.
        """
        plant = self.site.plant
        cables = [cable for cable in plant.cables.values()
                  if cable.type.name.startswith("PW") and (not of or cable.name[3:] == of)]  # fmt: skip
        for _ in range(2):
            tonight = self.site.tonight()
            read: dict[str, float] = {}
            for cable in cables:
                for wire in cable.conductors:
                    if not self.team.slips("bored", wire.name):
                        read[wire.name] = self._ohms(tonight, wire.near_end.name, wire.far_end.name, four=True)
            if not of:
                self._middle = median(read.values())
            middle = self._middle
            far = SUSPECT if self.kit.name != "cheap" else 1.0
            bad = [name for name, ohms in read.items() if ohms > 2 * middle + far]
            if not bad or True not in [self.attend([name]) for name in bad]:
                break

    # power

    def power(self, shelf: str) -> None:
        """A shelf from dead to running."""
        plant = self.site.plant
        inlets = plant.shelves[shelf].inlets
        for _ in range(4):
            if self._powered(shelf, inlets):
                break
        else:
            self.came.dark.append(shelf)
        self.nights()

    def _powered(self, shelf: str, inlets: tuple[Inlet, ...]) -> bool:
        plant = self.site.plant
        cards = [card.name for card in plant.shelves[shelf].cards]
        tonight = self.site.tonight()
        world, now = tonight.world, tonight.clock.now
        world.cards(cards, now())
        for inlet in inlets:
            if (
                not self.team.slips("bored", inlet.name)
                and self._ohms(tonight, inlet.live.name, inlet.back.name) < SHORTED
            ):
                self.attend([inlet.name, inlet.live.name, shelf])
                return False
        nominal = plant.feeds[inlets[0].feed].nominal_v
        # the other feed first, so that the leads stay where they are for the cards
        for inlet in reversed(inlets):
            path = plant.supply_path(shelf, inlet.feed)
            closed = self._close(tonight, path.breakers)
            self.ledger.spend(LEADS_ON)
            world.supply_at([path.supply], now())
            found = world.drive(abs(nominal), LAMP_A, now())
            self._watch(tonight, shelf, path.supply, closed, abs(nominal), cards=False)
            tonight.clock.jump(20.0)
            found = world.drive(abs(nominal), LAMP_A, now())
            lit = found.mode == "CURR"
            volts = {}
            for one in inlets:
                self.ledger.spend(PLACE + BY_EYE + LOOK_UP)
                self.ledger.readings += 1
                world.place(one.live.name, one.back.name, now())
                shown = world.voltage("hi", "lo", now(), 1e7)
                volts[one.name] = 0.0 if shown != shown else self.errors.shown("meter", "voltage", shown)
            bored = self.team.slips("bored", f"volts of {inlet.name}")
            right = abs(volts[inlet.name] - nominal) < 0.15 * abs(nominal)
            others = any(abs(v) > 3.0 for name, v in volts.items() if name != inlet.name)
            if (lit or not right or others) and not bored:
                world.release(now())
                self.ledger.spend(LEADS_ON)
                self.attend([one.name for one in inlets] + [inlet.live.name, shelf, *path.breakers])
                return False
            world.release(now())
            if inlet is not inlets[0]:
                self.ledger.spend(LEADS_ON)
        # the cards, one by one, on the first feed behind the lamp; the leads come off at the end
        inlet = inlets[0]
        path = plant.supply_path(shelf, inlet.feed)
        closed = self._close(tonight, path.breakers)
        self.ledger.spend(CARD * len(cards) + LEADS_ON)
        self.ledger.acts += len(cards)
        world.supply_at([path.supply], now())
        out = list(cards)
        for card in cards:
            out.remove(card)
            world.cards(out, now())
            world.drive(abs(nominal), LAMP_A, now())
            self._watch(tonight, shelf, path.supply, closed, abs(nominal), cards=True)
            tonight.clock.jump(30.0)
            self.ledger.spend(0.5)
        for _ in range(2):
            self.ledger.spend(FEELS / 2)
            tonight.clock.jump(30.0 * FEELS)
            found = world.drive(abs(nominal), 3 * LAMP_A, now())
        self.ledger.readings += 1
        amps = abs(self.errors.shown("supply", "current", found.amps))
        for other in inlets[1:]:
            # with cards in, the other inlet must still show nothing
            self.ledger.spend(PLACE + BY_EYE)
            self.ledger.readings += 1
            world.place(other.live.name, other.back.name, now())
            shown = world.voltage("hi", "lo", now(), 1e7)
            if shown == shown and abs(shown) > 3.0 and not self.team.slips("bored", f"volts of {other.name}"):
                self.attend([other.name, shelf])
                return False
        warm = [fault for fault in self.site.faults if isinstance(fault, k.HighResistanceLug)
                and fault.terminal.split(".")[0] in path.breakers and fault.ohms.value * amps**2 > WARM_W]  # fmt: skip
        if warm:
            self.attend([warm[0].terminal])
            return False
        expected = plant.idle_current(shelf)[0]
        if abs(amps - expected) > OFF_BY * expected and not self.team.slips("bored", f"amps of {shelf}"):
            self.attend([shelf])
            return False
        return True

    def idle(self, shelf: str) -> None:
        """What a shelf draws, against what its cards say: its ammeter in the way of one feed."""
        plant = self.site.plant
        inlet = plant.shelves[shelf].inlets[0]
        path = plant.supply_path(shelf, inlet.feed)
        tonight = self.site.tonight()
        self._close(tonight, path.breakers)
        self.ledger.spend(2 * LEADS_ON + PLACE + BY_EYE + LOOK_UP)
        self.ledger.readings += 1
        tonight.world.supply_at([path.supply], tonight.clock.now())
        tonight.clock.jump(60.0)
        found = tonight.world.drive(abs(plant.feeds[inlet.feed].nominal_v), 3 * LAMP_A, tonight.clock.now())
        amps = abs(self.errors.shown("supply", "current", found.amps))
        expected = plant.idle_current(shelf)[0]
        if abs(amps - expected) > OFF_BY * expected and not self.team.slips("bored", f"amps of {shelf}"):
            self.attend([shelf])

    def _close(self, tonight: Tonight, breakers: tuple[str, ...]) -> set[str]:
        """The breakers of a way are closed, and all others should be open: now and then one is forgotten."""
        closed = set(breakers)
        stays = getattr(self, "_left_closed", set())
        self.ledger.spend(BREAKER * len(closed))
        self.ledger.acts += len(closed)
        # one that was left open shows at once, as no volts where some should be: looked at, and closed
        self.ledger.spend(
            sum(FORGOTTEN for name in sorted(closed) if self.team.slips("forgotten without a list", f"{name} closed"))
        )
        really = closed | stays
        tonight.world.breakers(sorted(really), tonight.clock.now())
        # from a notebook the opening afterwards is forgotten oftener than from a list
        self._left_closed = {name for name in really if self.team.slips("forgotten without a list", f"{name} open")}
        return really

    def _watch(self, tonight: Tonight, shelf: str, supply: str, closed: set[str], volts: float, *, cards: bool) -> None:
        del tonight
        plant = self.site.plant
        self.came.saw(harm.over(self.site, [shelf], volts, {shelf} if cards else set(), self.hidden))
        for other in harm.fed(plant, [supply], closed) - {shelf}:
            if other not in self.came.beside:
                self.came.beside.append(other)

    # beside

    def told(self, fault: k.Fault, cable: Cable) -> None:
        self._again.add(cable.name)
