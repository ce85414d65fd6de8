"""Where things sit: bays, shelves and their halves, slots with cards, connectors, inlets, and cable trays."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from bench.files import near, one_of, shown
from bench.plant import file as f
from bench.plant import things
from bench.plant.layout import Layout
from bench.plant.report import At, Report
from bench.plant.things import Terminal

_SPAN: Final = re.compile(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?")


class Sites:
    """Takes bays and trays one by one and keeps what is in them.

    Args:
        report: takes the problems.
        connector_types: by name, with their pins.
        card_types: by name.
        feeds: by name.
        terminals: pins and inlets are added.
    """

    def __init__(
        self,
        report: Report,
        connector_types: Mapping[str, tuple[f.ConnectorType, Layout]],
        card_types: Mapping[str, f.CardType],
        feeds: Mapping[str, things.Feed],
        terminals: dict[str, Terminal],
    ) -> None:
        self.report = report
        self.connector_types = connector_types
        self.card_types = card_types
        self.feeds = feeds
        self.terminals = terminals
        self.bays: dict[str, things.Bay] = {}
        self.shelves: dict[str, things.Shelf] = {}
        self.connectors: dict[str, things.Connector] = {}
        self.cards: dict[str, things.Card] = {}
        self.inlets: dict[str, things.Inlet] = {}
        self.trays: dict[str, things.Tray] = {}
        self.sections: dict[str, things.Section] = {}

    def bay(self, at: At, bay: f.Bay) -> None:
        """Take a bay with all that is in it.

        Args:
            at: its place.
            bay: as the file has it.
        """
        self.report.name(at, bay.name, "bay")
        shelves = []
        for place, (shelf_at, shelf) in enumerate(at.each("shelves", bay.shelves), 1):
            halves = tuple(half.name for half in shelf.halves)
            shelves.append(self._holder(shelf_at, shelf, bay.name, place, "", halves))
            for half_at, half in shelf_at.each("halves", shelf.halves):
                if not half.name.startswith(f"{shelf.name}-"):
                    expected = f"a name that begins with the shelf's: '{shelf.name}-L' or '{shelf.name}-R'"
                    self.report.say(half_at, "name", found=f"the half-shelf '{half.name}'", expected=expected)
                self._holder(half_at, half, bay.name, place, shelf.name, ())
            if len(shelf.halves) == 1:
                self.report.say(shelf_at, "halves", found="one half", expected="two halves, or none")
            used = sum(half.slots for half in shelf.halves)
            if shelf.slots and used > shelf.slots:
                found = f"halves with {used} slots together"
                self.report.say(shelf_at, "halves", found=found, expected=f"at most the shelf's {shelf.slots} slots")
        self.bays[bay.name] = things.Bay(bay.name, bay.title, tuple(shelves))

    def _holder(
        self, at: At, shelf: f.Shelf | f.HalfShelf, bay: str, place: int, half_of: str, halves: tuple[str, ...]
    ) -> things.Shelf:
        self.report.name(at, shelf.name, "half-shelf" if half_of else "shelf")
        made = things.Shelf(
            shelf.name,
            shelf.title,
            bay,
            half_of,
            halves,
            place,
            shelf.slots,
            self._cards(at, shelf),
            tuple(
                made
                for connector_at, connector in at.each("connectors", shelf.connectors)
                if (made := self._connector(connector_at, connector, bay, shelf.name)) is not None
            ),
            self._inlets(at, shelf, bay),
        )
        self.shelves.setdefault(shelf.name, made)
        return made

    def _cards(self, at: At, shelf: f.Shelf | f.HalfShelf) -> tuple[things.Card, ...]:
        cards: dict[int, things.Card] = {}
        for span, type_name in shelf.cards.items():
            kind = self.report.known(at, "cards", span, name=type_name, among=self.card_types, kind="card type")
            match = _SPAN.fullmatch(span.strip())
            if match is None or (match[2] and int(match[2]) <= int(match[1])):
                expected = "a slot number such as '5', or a span such as '1-6'"
                self.report.say(at, "cards", span, found=f"the slot {shown(span)}", expected=expected)
                continue
            for slot in range(int(match[1]), int(match[2] or match[1]) + 1):
                if not 1 <= slot <= shelf.slots:
                    expected = f"a slot from 1 to {shelf.slots}" if shelf.slots else f"'slots' for shelf {shelf.name}"
                    self.report.say(at, "cards", span, found=f"a card in slot {slot}", expected=expected)
                    break
                if slot in cards:
                    found = f"a second card in slot {slot}"
                    self.report.say(at, "cards", span, found=found, expected="one card in a slot")
                elif kind is not None:
                    cards[slot] = things.Card(f"{shelf.name}/{slot}", shelf.name, slot, kind)
        ordered = tuple(cards[slot] for slot in sorted(cards))
        self.cards.update((card.name, card) for card in ordered)
        return ordered

    def _connector(self, at: At, connector: f.Connector, bay: str, shelf: str) -> things.Connector | None:
        named = self.report.name(at, connector.name, "connector")
        known = self.report.known(at, "type", name=connector.type, among=self.connector_types, kind="connector type")
        if known is None or not named:
            return None
        kind, layout = known
        name = connector.name
        pins = []
        for pin in layout.order:
            place = layout.places[pin]
            full = f"{name}.{pin}"
            terminal = Terminal(full, name, pin, "pin", full, bay, shelf, place.row, place.column)
            self.terminals[full] = terminal
            pins.append(terminal)
        made = things.Connector(name, kind, layout, bay, shelf, connector.at, connector.faces, tuple(pins))
        self.connectors[name] = made
        return made

    def _inlets(self, at: At, shelf: f.Shelf | f.HalfShelf, bay: str) -> tuple[things.Inlet, ...]:
        inlets = []
        for number, feed in enumerate(shelf.inlets):
            if self.report.known(at, "inlets", number, name=feed, among=self.feeds, kind="feed") is None:
                self.report.left_out(f"{shelf.name}.{feed}")
                self.report.left_out(f"{shelf.name}.{feed}-return")
                continue
            name = f"{shelf.name}.{feed}"
            if name in self.inlets:
                self.report.say(at, "inlets", number, found=f"'{feed}' again", expected="each feed once")
                continue
            live = Terminal(name, shelf.name, feed, "inlet", name, bay, shelf.name)
            back = Terminal(f"{name}-return", shelf.name, f"{feed}-return", "inlet", f"{name}-return", bay, shelf.name)
            self.terminals[live.name], self.terminals[back.name] = live, back
            self.inlets[name] = things.Inlet(name, shelf.name, feed, live, back)
            inlets.append(self.inlets[name])
        return tuple(inlets)

    def tray(self, at: At, tray: f.Tray) -> None:
        """Take a tray with its sections.

        Args:
            at: its place.
            tray: as the file has it.
        """
        if not self.report.name(at, tray.name, "tray"):
            return
        made = []
        for place, (section_at, section) in enumerate(at.each("sections", tray.sections), 1):
            # sections are called by their tray's name and a dot, like pins: T1.2
            name = f"{tray.name}.{section.name}"
            if not self.report.pin(section_at, "name", pin=section.name) or name in self.sections:
                if name in self.sections:
                    expected = "each section once in its tray"
                    self.report.say(section_at, "name", found=f"the section '{section.name}' again", expected=expected)
                continue
            length = section.length.value if section.length is not None else None
            self.sections[name] = things.Section(name, section.title, tray.name, place, length)
            made.append(self.sections[name])
        self.trays[tray.name] = things.Tray(tray.name, tray.title, tuple(made))

    def place(self, at: At, name: str) -> tuple[str, str]:
        """The bay and the shelf of a name that says where a thing sits."""
        if not name:
            return "", ""
        if name in self.bays:
            return name, ""
        if name in self.shelves:
            return self.shelves[name].bay, name
        if name in self.trays or name in self.sections:
            return "", ""
        known = [*self.bays, *self.shelves, *self.trays, *self.sections]
        hint = near(name, known) or "words that are no name go to 'position'"
        expected = f"a bay, shelf, tray or its section: {one_of(known)}"
        self.report.say(at, "at", found=f"'{name}'", expected=expected, hint=hint)
        return "", ""
