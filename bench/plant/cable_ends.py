"""Where the conductors of a cable land: by the connectors' convention, by a pin list, and by what is said of each."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Final

import msgspec

from bench.files import near, one_of, shown
from bench.judge.conductor import Contact
from bench.plant import conductor_make as wire
from bench.plant import things
from bench.plant.colours import ColourError, colour_words, pair_colours
from bench.plant.file import CUT, UNKNOWN, Cable, CableType, ConductorEntry, Ends, Status
from bench.plant.report import At, Report
from bench.plant.things import Conductor, Connector, EndStatus, Leg, Terminal

_PAIR_LEG: Final = re.compile(r"(\d{1,4})([TR])", re.IGNORECASE)
_NUMBER: Final = re.compile(r"\d{1,4}")

Lookup = Callable[[At, tuple[str | int, ...], str], Terminal | None]
"""Gives the terminal of a name, or None with a problem noted."""


class Colour(msgspec.Struct, frozen=True):
    """A conductor's colour.

    Attributes:
        words: as people say it; empty where not known.
        letters: of IEC 60757.
        binder: of its group.
    """

    words: str = ""
    letters: str = ""
    binder: str = ""


def colours_of(at: At, kind: CableType, report: Report) -> list[Colour]:
    """The colours of a cable type's conductors in order.

    Args:
        at: place of the cable type, for problems.
        kind: the cable type as the file has it.
        report: takes the problems.
    """
    if isinstance(kind.colours, list):
        found = []
        for number, text in enumerate(kind.colours):
            try:
                found.append(Colour(*colour_words(text)))
            except ColourError as error:
                report.say(at, "colours", number, found=shown(text), expected=error.expected, hint=error.hint)
                found.append(Colour())
        return found
    if kind.pairs is None or kind.colours == "numbered":
        return [Colour()] * kind.count
    try:
        pairs = [pair_colours(number, kind.pairs) for number in range(1, kind.pairs + 1)]
    except ColourError as error:
        report.say(at, "pairs", found=error.found, expected=f"{error.expected}, or other colours", hint=error.hint)
        return [Colour()] * kind.count
    return [Colour(*colour_words(pair.words(leg)), pair.binder) for pair in pairs for leg in ("tip", "ring")]


class _End(msgspec.Struct, frozen=True):
    """One end of one conductor.

    Attributes:
        terminal: where it lands; None where it is loose.
        status: what is said of it.
        flag: the number that was tied to it; 0: none.
    """

    terminal: Terminal | None
    status: EndStatus
    flag: int = 0


class _Mate(msgspec.Struct, frozen=True):
    """A conductor's part in its pair.

    Attributes:
        pair: counted from 1; None where it is in none.
        leg: which of the two it is.
        name: the other one.
        colour: of the other one.
    """

    pair: int | None = None
    leg: Leg | None = None
    name: str = ""
    colour: str = ""


_NO_MATE = _Mate()
_NO_COLOUR = Colour()


class _Side(msgspec.Struct):
    """One end of a cable while it is being landed."""

    step: str
    """The field of the file: ``from`` or ``to``."""
    terminals: list[Terminal | None]
    status: list[EndStatus]
    origin: list[tuple[At, str]]
    """Where each conductor's landing was said, for problems."""
    owners: list[str]
    home: Connector | None = None
    """The connector that bare pin names mean."""
    said: bool = False
    """Whether it is said already that there is no such connector."""
    flags: dict[int, int] = msgspec.field(default_factory=dict)
    """Conductor, from 0, to the flag that was tied to it."""

    def end(self, number: int) -> _End:
        """The end of one conductor, counted from 0."""
        return _End(self.terminals[number], self.status[number], self.flags.get(number, 0))


class CableEnds:
    """Lands cables one by one and remembers which pins are taken."""

    def __init__(
        self,
        report: Report,
        connectors: Mapping[str, Connector],
        terminals: dict[str, Terminal],
        lookup: Lookup,
        contact_of: Callable[[Terminal], Contact],
        tolerance: float,
    ) -> None:
        self._report = report
        self._connectors = connectors
        self._terminals = terminals
        self._lookup = lookup
        self._contact_of = contact_of
        self._tolerance = tolerance
        self._taken: dict[str, str] = {}

    def land(
        self,
        at: At,
        cable: Cable,
        kind: CableType,
        colours: list[Colour],
        listed: list[tuple[At, ConductorEntry]] | None,
        sections: tuple[str, ...],
    ) -> things.Cable:
        """Land one cable.

        Args:
            at: its place.
            cable: as the file has it.
            kind: its type.
            colours: of its conductors.
            listed: its pin list, where it has one.
            sections: the tray sections it runs through.
        """
        for step, ends, status in (("from", cable.start, cable.from_status), ("to", cable.end, cable.to_status)):
            if ends in (CUT, UNKNOWN) and status == "known" and self._report.stands(at, f"{step}-status"):
                self._ends_nowhere(at, step, str(ends))
        near_side = self._side(at, "from", cable.start, cable.from_status, kind, listed is None)
        far_side = self._side(at, "to", cable.end, cable.to_status, kind, listed is None)
        entries: dict[int, tuple[At, ConductorEntry]] = {}
        if listed is not None:
            self._take_list(at, cable, kind, listed, entries, (near_side, far_side))
        self._take_entries(at.each("conductors", cable.conductors), kind, entries, (near_side, far_side))
        self._occupy(at, cable, near_side)
        self._occupy(at, cable, far_side)
        conductors = tuple(
            self._conductor(cable, kind, colours, number, entries.get(number), near_side, far_side)
            for number in range(kind.count)
        )
        screen = self._screen(at, cable, kind)
        return things.Cable(
            cable.name,
            cable.title,
            kind,
            cable.length.value,
            self._tolerance_of(cable),
            sections,
            tuple(dict.fromkeys(near_side.owners)),
            tuple(dict.fromkeys(far_side.owners)),
            conductors,
            screen,
            cable.remark,
            cable.prove_insulation,
        )

    def _ends_nowhere(self, at: At, step: str, text: str) -> None:
        found = f"'{text}' with the status known"
        self._report.refuse(at, step, found=found, expected="where it ends, or no status: there is no place to know")

    def _tolerance_of(self, cable: Cable) -> float:
        if cable.length_tolerance is not None:
            return cable.length_tolerance.value
        return cable.length.value * self._tolerance

    # The convention

    def _side(self, at: At, step: str, ends: Ends, status: Status, kind: CableType, by_convention: bool) -> _Side:
        """One end of a cable as its ``from`` or ``to`` says, before its pin list and its single conductors."""
        count = kind.count
        side = _Side(step, [None] * count, ["unknown"] * count, [(at, step)] * count, [])
        items = ends if isinstance(ends, list) else [ends]
        if not items:
            self._report.say(at, step, found="an empty list", expected="where the conductors land, 'cut' or 'unknown'")
            return side
        homes = [self._connectors[item] for item in items if item in self._connectors]
        side.home = homes[0] if len(homes) == 1 else None
        done = 0
        rest: EndStatus | None = None
        for number, item in enumerate(items):
            steps = (step, number) if isinstance(ends, list) else (step,)
            if item in (CUT, UNKNOWN):
                rest = "cut" if item == CUT else "unknown"
                if number + 1 < len(items):
                    self._report.say(at, *steps, found=f"'{item}' before other ends", expected=f"'{item}' at the end")
                break
            if by_convention and done >= count:
                found = f"'{item}', for which no conductor is left"
                self._report.say(at, *steps, found=found, expected=f"ends for {count} conductors")
                return side
            connector = self._connectors.get(item)
            if connector is not None:
                side.owners.append(item)
                done = self._fill(at, steps, connector, side, done, kind) if by_convention else done
                continue
            terminal = self._lookup(at, steps, item)
            if terminal is None:
                # what was meant may have taken any number of conductors
                side.said = True
                return side
            side.owners.append(terminal.owner)
            if done < count:
                side.terminals[done] = terminal
                done += 1
        if not by_convention:
            side.terminals[:] = [None] * count
            return side
        if done < count and rest is None:
            self._too_few(at, side, items, done, kind)
        if status == "unknown":
            side.terminals[:] = [None] * count
        side.status[:] = [status] * done + [rest or "unknown"] * (count - done)
        return side

    def _fill(
        self, at: At, steps: tuple[str | int, ...], connector: Connector, side: _Side, done: int, kind: CableType
    ) -> int:
        """Land as many conductors as a connector takes; returns how many are landed by now."""
        layout = connector.layout
        name = connector.name
        if kind.pairs is None:
            here = min(len(layout.order), kind.count - done)
            for place in range(here):
                side.terminals[done + place] = self._terminals[f"{name}.{layout.order[place]}"]
            return done + here
        if done % 2:
            found = f"{name} after an odd number of conductors"
            self._report.say(at, *steps, found=found, expected="whole pairs on a connector")
            return kind.count
        here = min(layout.pairs, (kind.count - done) // 2)
        for pair in range(here):
            tip, ring = layout.pair_pins(pair + 1)
            side.terminals[done + 2 * pair] = self._terminals[f"{name}.{tip}"]
            side.terminals[done + 2 * pair + 1] = self._terminals[f"{name}.{ring}"]
        return done + 2 * here

    def _too_few(self, at: At, side: _Side, items: list[str], done: int, kind: CableType) -> None:
        where = ", ".join(items)
        if kind.pairs is not None and any(item in self._connectors for item in items):
            found = f"room for {done // 2} of {kind.pairs} pairs on {where}"
            expected = f"room for all {kind.pairs} pairs, or 'cut' or 'unknown' for the rest"
        else:
            found = f"ends for {done} of {kind.count} conductors on {where}"
            expected = f"ends for all {kind.count} conductors, or 'cut' or 'unknown' for the rest"
        self._report.say(at, side.step, found=found, expected=expected)

    # Pin lists and single conductors

    def _take_list(
        self,
        at: At,
        cable: Cable,
        kind: CableType,
        listed: list[tuple[At, ConductorEntry]],
        entries: dict[int, tuple[At, ConductorEntry]],
        sides: tuple[_Side, _Side],
    ) -> None:
        for row_at, row in listed:
            for step, text in (("from", row.start), ("to", row.end)):
                if not text:
                    self._report.say(row_at, step, found="nothing", expected="a pin, 'cut' or 'unknown'")
        self._take_entries(listed, kind, entries, sides)
        missing = [str(number + 1) for number in range(kind.count) if number not in entries]
        if missing:
            some = ", ".join(missing[:8]) + (f" and {len(missing) - 8} more" if len(missing) > 8 else "")
            found = f"no line for conductor {some} in {cable.pins}"
            expected = f"one line for each of {kind.count} conductors; a spare says 'cut'"
            self._report.say(at, "pins", found=found, expected=expected)

    def _take_entries(
        self,
        given: Iterable[tuple[At, ConductorEntry]],
        kind: CableType,
        entries: dict[int, tuple[At, ConductorEntry]],
        sides: tuple[_Side, _Side],
    ) -> None:
        seen: set[int] = set()
        for at, entry in given:
            number = self._number(at, entry, kind)
            if number is None:
                continue
            if number in seen:
                found = f"conductor {entry.conductor} again"
                self._report.say(at, "conductor", found=found, expected="each conductor once")
                continue
            seen.add(number)
            entries[number] = (at, entry)
            for side, text, own in (
                (sides[0], entry.start, entry.from_status),
                (sides[1], entry.end, entry.to_status),
            ):
                self._take_end(at, entry, side, number, text, own or entry.status)
                flag = entry.from_flag if side is sides[0] else entry.to_flag
                if flag is not None:
                    self._take_flag(at, side, number, flag, kind)

    def _number(self, at: At, entry: ConductorEntry, kind: CableType) -> int | None:
        """The conductor that an entry is about, from 0."""
        text = entry.conductor.strip()
        leg = _PAIR_LEG.fullmatch(text)
        if leg is not None and kind.pairs is not None and 1 <= int(leg[1]) <= kind.pairs:
            return 2 * int(leg[1]) - (2 if leg[2].upper() == "T" else 1)
        if _NUMBER.fullmatch(text) and 1 <= int(text) <= kind.count:
            return int(text) - 1
        expected = f"a conductor from 1 to {kind.count}"
        if kind.pairs is not None:
            expected += f", or a pair's leg from 1T to {kind.pairs}R"
        self._report.say(at, "conductor", found=shown(text), expected=expected)
        return None

    def _take_end(self, at: At, entry: ConductorEntry, side: _Side, number: int, text: str, status: str | None) -> None:
        side.origin[number] = (at, side.step) if text else side.origin[number]
        if text in (CUT, UNKNOWN):
            side.terminals[number] = None
            side.status[number] = "cut" if text == CUT else "unknown"
            if status == "known":
                self._ends_nowhere(at, side.step, text)
            return
        if text:
            if status == "unknown":
                found = f"'{text}' with the status unknown"
                self._report.say(at, side.step, found=found, expected="the status 'claimed', or 'unknown' for the pin")
            pin = side.terminals[number] = self._pin(at, side, text)
            side.status[number] = "known"
            if pin is not None:
                side.owners.append(pin.owner)
        if status == "unknown":
            side.terminals[number] = None
            side.status[number] = "unknown"
        elif status is not None and side.terminals[number] is not None:
            side.status[number] = "claimed" if status == "claimed" else "known"

    def _take_flag(self, at: At, side: _Side, number: int, flag: int, kind: CableType) -> None:
        other = next((one for one, tied in side.flags.items() if tied == flag and one != number), None)
        if not 1 <= flag <= kind.count:
            self._report.say(
                at, f"{side.step}-flag", found=f"flag {flag}", expected=f"a flag's number, 1 to {kind.count}"
            )
        elif other is not None:
            found = f"flag {flag}, which is on conductor {other + 1}"
            self._report.say(at, f"{side.step}-flag", found=found, expected="each flag on one conductor")
        else:
            side.flags[number] = flag

    def _pin(self, at: At, side: _Side, text: str) -> Terminal | None:
        home = side.home
        bare = "." not in text and text not in self._terminals
        if home is None and bare:
            if not side.said:
                side.said = True
                expected = f"one connector in the cable's '{side.step}', or a terminal such as 'J101.12'"
                self._report.say(at, side.step, found=f"pin {shown(text)} of no connector", expected=expected)
            return None
        if home is None:
            return self._lookup(at, (side.step,), text)
        pin = self._terminals.get(f"{home.name}.{text}")
        if pin is None and bare:
            order = home.layout.order
            expected = f"a pin of {home.name}: {one_of(order)}"
            self._report.say(at, side.step, found=f"pin '{text}'", expected=expected, hint=near(text, order))
        return pin if pin is not None or bare else self._lookup(at, (side.step,), text)

    # The conductors

    def _occupy(self, at: At, cable: Cable, side: _Side) -> None:
        """Note that pins are taken; each pin of a connector or inlet holds one conductor."""
        clashes: dict[str, list[str]] = {}
        for number, terminal in enumerate(side.terminals):
            if terminal is None or terminal.kind not in ("pin", "inlet"):
                continue
            mine = f"{cable.name}.{number + 1}"
            origin, step = side.origin[number]
            if origin is not at:
                self._take_pin(origin, step, terminal.name, mine)
                continue
            before = self._taken.setdefault(terminal.name, mine)
            if before != mine:
                clashes.setdefault(before.rpartition(".")[0], []).append(terminal.name)
        for other, pins in clashes.items():
            more = f" and {len(pins) - 1} more pins" if len(pins) > 1 else ""
            found = f"{pins[0]}{more}, where conductors of {other} end"
            self._report.say(at, side.step, found=found, expected="a pin for each conductor")

    def _take_pin(self, at: At, step: str, pin: str, conductor: str) -> None:
        before = self._taken.setdefault(pin, conductor)
        if before != conductor:
            found = f"{pin} for {conductor}, where {before} ends"
            self._report.say(at, step, found=found, expected="a pin for each conductor")

    def _conductor(
        self,
        cable: Cable,
        kind: CableType,
        colours: list[Colour],
        number: int,
        given: tuple[At, ConductorEntry] | None,
        near_side: _Side,
        far_side: _Side,
    ) -> Conductor:
        mate = _Mate()
        if kind.pairs is not None:
            other = number - 1 if number % 2 else number + 1
            leg: Leg = "ring" if number % 2 else "tip"
            mate = _Mate(number // 2 + 1, leg, f"{cable.name}.{other + 1}", colours[other].words)
        colour = colours[number]
        size, length, tolerance, remark = kind.size, cable.length.value, self._tolerance_of(cable), ""
        if given is not None:
            at, entry = given
            colour = self._colour(at, entry, number, colour)
            size = entry.size or size
            remark = entry.remark
            if entry.length is not None:
                length = entry.length.value
                tolerance = tolerance / cable.length.value * length
        made_of = wire.Wire(size, kind.made_of, kind.strands)
        ends = (near_side.end(number), far_side.end(number))
        return self._made(cable, str(number + 1), ends, made_of, (length, tolerance), mate, colour, remark)

    def _made(
        self,
        cable: Cable,
        own: str,
        ends: tuple[_End, _End],
        made_of: wire.Wire,
        metres: tuple[float, float],
        mate: _Mate = _NO_MATE,
        colour: Colour = _NO_COLOUR,
        remark: str = "",
    ) -> Conductor:
        """One conductor.

        Args:
            cable: that it is in.
            own: its own name within the cable: its number, or ``screen``.
            ends: near and far.
            made_of: size, metal and strands.
            metres: its length, and how far that may be off.
            mate: its part in a pair.
            colour: its colour.
            remark: what the plant file says of it.
        """
        near, far = ends
        name = f"{cable.name}.{own}"
        return Conductor(
            name=name,
            cable=cable.name,
            number=int(own) if own.isdigit() else 0,
            pair=mate.pair,
            leg=mate.leg,
            mate=mate.name,
            colour=colour.words,
            mate_colour=mate.colour,
            letters=colour.letters,
            binder=colour.binder,
            wire=made_of,
            length_m=metres[0],
            tolerance_m=metres[1],
            near=near.terminal,
            far=far.terminal,
            near_end=near.terminal or self._loose(cable.name, name, "near"),
            far_end=far.terminal or self._loose(cable.name, name, "far"),
            near_status=near.status,
            far_status=far.status,
            contacts=tuple(self._contact_of(end.terminal) for end in ends if end.terminal is not None),
            remark=remark,
            near_flag=near.flag,
            far_flag=far.flag,
        )

    def _loose(self, cable: str, conductor: str, side: str) -> Terminal:
        name = f"{conductor}.{side}"
        terminal = Terminal(name, cable, name.removeprefix(f"{cable}."), "end", name)
        self._terminals[name] = terminal
        return terminal

    def _colour(self, at: At, entry: ConductorEntry, number: int, designed: Colour) -> Colour:
        if not entry.colour:
            return designed
        try:
            words, letters = colour_words(entry.colour)
        except ColourError as error:
            self._report.say(at, "colour", found=shown(entry.colour), expected=error.expected, hint=error.hint)
            return designed
        if not designed.words:
            return Colour(words, letters, designed.binder)
        # letters cannot tell a conductor from its mate, so words must fit as words
        same = letters == designed.letters if entry.colour.strip().isupper() else _same(words, designed.words)
        if not same:
            expected = f"'{designed.words}', the colour of conductor {number + 1}"
            self._report.say(at, "colour", found=f"'{entry.colour}'", expected=expected)
        return designed

    def _screen(self, at: At, cable: Cable, kind: CableType) -> Conductor | None:
        if kind.screen is None:
            for step, text in (("screen-from", cable.screen_from), ("screen-to", cable.screen_to)):
                if text != CUT:
                    self._report.say(
                        at, step, found=f"'{text}'", expected=f"a cable type with a screen; {kind.name} has none"
                    )
            return None
        ends: list[_End] = []
        for step, text in (("screen-from", cable.screen_from), ("screen-to", cable.screen_to)):
            if text in (CUT, UNKNOWN):
                ends.append(_End(None, "cut" if text == CUT else "unknown"))
            else:
                terminal = self._lookup(at, (step,), text)
                ends.append(_End(terminal, "known"))
                if terminal is not None and terminal.kind in ("pin", "inlet"):
                    self._take_pin(at, step, terminal.name, f"{cable.name}.screen")
        # a drain wire is a plain solid or stranded wire of the cable's own metal
        made_of = wire.Wire(kind.screen, kind.made_of, kind.strands)
        metres = (cable.length.value, self._tolerance_of(cable))
        return self._made(cable, "screen", (ends[0], ends[1]), made_of, metres)


def _same(one: str, other: str) -> bool:
    return one.replace("slate", "grey") == other.replace("slate", "grey")
