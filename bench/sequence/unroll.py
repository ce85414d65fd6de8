"""Unrolling: a sequence over a plant becomes single steps, each complete in itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from bench.files import near, one_of
from bench.judge.charge import cable_capacitance, discharge_time
from bench.judge.insulation import OVER_RATED
from bench.plant.model import Plant, UnknownName
from bench.plant.things import Cable
from bench.quantity import engineering
from bench.roles import UNIT_OF
from bench.say.lists import some
from bench.sequence.file import (
    NOWHERE,
    Ask,
    Caution,
    Discharge,
    Do,
    Each,
    Energise,
    Gate,
    Hold,
    Look,
    Measure,
    Prove,
    Rig,
    Seek,
    SequenceFile,
    Set,
    Single,
    Wait,
    Zero,
)
from bench.sequence.file import Limit as LimitFile
from bench.sequence.limits import cables_at
from bench.sequence.plan import Kind, Plan, Step
from bench.sequence.power_steps import Ladders
from bench.sequence.views import UnknownProperty, View, fill, objects

Say = Callable[[Any, tuple[str | int, ...], str, str, str], None]
"""Takes a problem: the struct it is in, the path of the field below it, found, expected, hint."""


class CannotUnroll(ValueError):
    """The sequence does not fit the plant."""


def _refuse(struct: Any, path: tuple[str | int, ...], found: str, expected: str, hint: str) -> None:
    raise CannotUnroll(f"{'.'.join(map(str, path))}: found {found}, expected {expected}")


_PROVEN = ("proven", "unless_proven")
"""Lists of names that bar an act or ask for it; it does not bear on them."""
_DO_LISTS = (
    "touches",
    "close",
    "open",
    "switch_on",
    "switch_off",
    "connect",
    "disconnect",
    "put_in",
    "take_out",
    "lift",
    "refit",
)

KINDS: dict[type, Kind] = {
    Caution: "caution",
    Hold: "hold",
    Do: "do",
    Ask: "ask",
    Look: "look",
    Gate: "gate",
    Measure: "measure",
    Zero: "zero",
    Prove: "prove",
    Wait: "wait",
    Set: "set",
    Energise: "energise",
    Seek: "seek",
}


def unroll(sequence: SequenceFile, plant: Plant, say: Say = _refuse) -> Plan:
    """Unroll a sequence.

    Args:
        sequence: the file's content.
        plant: what it is about.
        say: takes problems; by default the first one is raised.

    Raises:
        CannotUnroll: the sequence does not fit the plant, and ``say`` was not given.
    """
    work = _Unroller(plant, say)
    work.walk(sequence.steps, "", sequence.sequence, {})
    return Plan(sequence, tuple(work.steps))


@dataclass
class _Unroller:
    plant: Plant
    say: Say
    steps: list[Step] = field(default_factory=list)
    held: bool = False
    ladders: Ladders = field(init=False)

    def __post_init__(self) -> None:
        self.ladders = Ladders(self.plant)

    def walk(self, entries: list[Any], path: str, section: str, views: Mapping[str, View]) -> None:
        for number, entry in enumerate(entries, 1):
            here = f"{path}.{number}" if path else str(number)
            if isinstance(entry, Each):
                self._loop(entry, here, section, views)
            else:
                self._single(entry, here, section, views)

    def _loop(self, entry: Each, path: str, section: str, views: Mapping[str, View]) -> None:
        of = self._filled(entry, "of", entry.of, views)
        if of is None:
            return
        try:
            found = objects(self.plant, entry.over, of)
        except UnknownName as error:
            self.say(entry, ("of",), f"'{error.found}'", error.expected, error.hint)
            return
        known = [view.name for view in found]
        for wanted in ("only", "but"):
            for place, name in enumerate(getattr(entry, wanted)):
                if name not in known:
                    self.say(entry, (wanted, place), f"'{name}'", one_of(known), near(name, known))
        chosen = [v for v in found if (not entry.only or v.name in entry.only) and v.name not in entry.but]
        if not chosen:
            self.say(entry, ("over",), f"no {entry.over} to run over", f"{entry.over} of something that has some", "")
        before = len(self.steps)
        for view in chosen:
            inner = {**views, view.word: view}
            title = self._filled(entry, "title", entry.title, {**views, view.word: view})
            self.walk(entry.steps, f"{path}:{view.name}", title or section, inner)
            if len(self.steps) - before > 200_000:
                self.say(entry, ("over",), "more than 200,000 steps", "a smaller loop", "")
                return

    def _single(self, entry: Single, path: str, section: str, views: Mapping[str, View]) -> None:
        filled = self._fill_all(entry, views)
        if filled is None or not self._sensible(entry, filled):
            return
        innermost = list(views.values())[-1] if views else None
        subject = getattr(filled, "subject", "") or (innermost.name if innermost else "")
        touches: list[str] = list(innermost.subjects) if innermost else []
        if isinstance(filled, Seek):
            subject = subject or filled.of
            touches += [filled.of] if filled.of else []
        if isinstance(filled, Measure):
            ends = filled.between if filled.between != NOWHERE else ()
            touches += [*ends, *(name for group in filled.join for name in group)]
            subject = subject or "~".join(ends)
        text = getattr(filled, "text", "")
        if isinstance(filled, Look):
            touches += self._behind(filled)
        if isinstance(filled, Gate):
            subject = filled.shelf
            touches.append(filled.shelf)
        if isinstance(filled, Do):
            touches += [name for wanted in _DO_LISTS for name in getattr(filled, wanted)]
            self.ladders.after(filled)
        if isinstance(filled, Energise):
            planned = self.ladders.planned(filled)
            subject = subject or planned.subject
            touches += planned.touches
            text = f"{text}\n{planned.text}".strip()
        self.held = self.held or isinstance(filled, Hold)
        title = filled.title or _title(filled, subject)
        if isinstance(filled, Zero | Prove | Seek):
            subject = subject or title
        self.steps.append(
            Step(
                index=len(self.steps),
                key=path,
                kind=KINDS[type(entry)],
                title=title,
                text=text,
                section=section,
                source=filled,
                subject=subject,
                touches=tuple(dict.fromkeys(touches)),
                seconds=self._seconds(filled) if isinstance(filled, Wait) else 0.0,
            )
        )

    def _behind(self, look: Look) -> list[str]:
        """What is looked at, and the supplies that a breaker may let out to where nobody expects them."""
        feeds = {self.plant.breakers[name].feed for name in look.breakers}
        return [*look.names, *(name for name, supply in self.plant.supplies.items() if supply.feed in feeds)]

    def _seconds(self, wait: Wait) -> float:
        """How long a wait lasts; that of a discharge follows from the cable's capacitance."""
        if wait.discharge is None:
            return wait.time.value if wait.time is not None else 0.0
        cable = self.plant.cables[wait.discharge.cable]
        farad = cable_capacitance(cable.length_m, cable.type.capacitance.value)
        # a pair is charged against all that lies around it; twice is a margin, common practice, no source
        start, end = abs(wait.discharge.start.value), abs(wait.discharge.down_to.value)
        return max(1.0, 2.0 * discharge_time(farad, wait.discharge.through.value, start, end))

    def _fill_all(self, entry: Single, views: Mapping[str, View]) -> Single | None:
        """The entry with all its texts filled; None where one cannot be."""
        changes: dict[str, Any] = {}
        good = True
        for name in ("title", "text", "subject", "of", "shelf"):
            text = getattr(entry, name, "")
            if text:
                changes[name] = self._filled(entry, name, text, views)
        if isinstance(entry, Energise):
            changes["at"] = [self._filled(entry, ("at", i), text, views) for i, text in enumerate(entry.at)]
            good = None not in changes["at"]
        if isinstance(entry, Do):
            for name in (*_DO_LISTS, *_PROVEN):
                changes[name] = [
                    self._filled(entry, (name.replace("_", "-"), i), text, views)
                    for i, text in enumerate(getattr(entry, name))
                ]
                good = good and None not in changes[name]
            if entry.beeps is not None:
                changes["beeps"] = tuple(
                    self._filled(entry, ("beeps", i), name, views) for i, name in enumerate(entry.beeps)
                )
                changes["join"] = [
                    [self._filled(entry, ("join", i, j), name, views) for j, name in enumerate(group)]
                    for i, group in enumerate(entry.join)
                ]
                good = good and None not in changes["beeps"] and all(None not in group for group in changes["join"])
            for name in ("put_in", "take_out"):
                changes[name] = [card for text in changes[name] for card in self._cards(text)]
        if isinstance(entry, Hold | Wait):
            changes["proven"] = [self._filled(entry, ("proven", i), name, views) for i, name in enumerate(entry.proven)]
            good = good and None not in changes["proven"]
        if isinstance(entry, Measure):
            changes["proven"] = [self._filled(entry, ("proven", i), name, views) for i, name in enumerate(entry.proven)]
            ends = tuple(self._filled(entry, ("between", i), name, views) for i, name in enumerate(entry.between))
            changes["between"] = ends
            changes["join"] = [
                [self._filled(entry, ("join", i, j), name, views) for j, name in enumerate(group)]
                for i, group in enumerate(entry.join)
            ]
            good = None not in (*ends, *changes["proven"]) and all(None not in group for group in changes["join"])
            if entry.limit.source:
                source = self._filled(entry.limit, "source", entry.limit.source, views)
                good = good and source is not None
                changes["limit"] = msgspec.structs.replace(entry.limit, source=source or "")
        if not good or any(value is None for value in changes.values()):
            return None
        return msgspec.structs.replace(entry, **changes)

    def _cards(self, name: str | None) -> list[str | None]:
        """The cards that a name stands for: a card's own, or all of a shelf and its halves."""
        shelf = self.plant.shelves.get(name or "")
        if shelf is None:
            return [name]
        return [card.name for part in (shelf.name, *shelf.halves) for card in self.plant.shelves[part].cards]

    def _filled(
        self, struct: Any, where: str | tuple[str | int, ...], text: str, views: Mapping[str, View]
    ) -> str | None:
        try:
            return fill(text, views)
        except UnknownProperty as error:
            path = (where,) if isinstance(where, str) else where
            self.say(struct, path, error.found, error.expected, error.hint)
            return None

    def _sensible(self, entry: Single, filled: Single) -> bool:
        if isinstance(filled, Measure):
            return self._sensible_measure(entry, filled)
        if isinstance(filled, Do):
            return self._sensible_do(entry, filled)
        if isinstance(filled, Energise):
            return self._sensible_energise(entry, filled)
        if isinstance(filled, Look):
            return self._sensible_look(entry, filled)
        if isinstance(filled, Gate) and filled.shelf not in self.plant.shelves:
            hint = near(filled.shelf, self.plant.shelves)
            self.say(entry, ("shelf",), f"'{filled.shelf}'", "a shelf of the plant", hint)
            return False
        if isinstance(filled, Hold | Wait) and filled.proven:
            good = (
                not isinstance(filled, Wait) or filled.discharge is None or self._sensible_discharge(filled.discharge)
            )
            return good and not [n for i, n in enumerate(filled.proven) if not self._known(entry, ("proven", i), n)]
        if isinstance(filled, Prove):
            named = [(name, k) for name in ("between", "across") for k in (0, 1) if getattr(filled, name) != NOWHERE]
            good = all(self._a_terminal(entry, name, k, getattr(filled, name)[k]) for name, k in named)
            if not good or filled.at is None or not named:
                return good
            return self._may_test(entry, filled.at.value, cables_at(self.plant, filled.between))
        if isinstance(filled, Seek):
            if filled.of and not self._known(entry, ("of",), filled.of):
                return False
            return filled.at is None or self._may_test(entry, filled.at.value, cables_at(self.plant, (), filled.of))
        if isinstance(filled, Wait) and filled.discharge is not None:
            return self._sensible_discharge(filled.discharge)
        if isinstance(filled, Set) and filled.output == "on" and not self.held:
            self.say(entry, ("output",), "an output that goes on", "a hold point before it", "")
            return False
        return True

    def _sensible_look(self, entry: Any, filled: Look) -> bool:
        plant, good = self.plant, True
        for wanted, known in (
            ("breakers", plant.breakers),
            ("supplies", plant.supplies),
            ("cards", plant.cards),
            ("bonds", plant.bonds),
        ):
            for place, name in enumerate(getattr(filled, wanted)):
                if name not in known:
                    self.say(entry, (wanted, place), f"'{name}'", f"one of the plant's {wanted}", near(name, known))
                    good = False
        return good

    def _may_test(self, entry: Single, volts: float, cables: Sequence[Cable]) -> bool:
        """Whether a test voltage harms nothing on the leads: the weakest cable bears it, and no cards hang on it."""
        return self._bears(entry, volts, cables) and self._without_cards(entry, cables)

    def _without_cards(self, entry: Single, cables: Sequence[Cable]) -> bool:
        """Whether the cards at the cables' ends are out, or a hold point stands before: somebody has looked then."""
        if self.held:
            return True
        ends = [owner for cable in cables for owner in (*cable.near, *cable.far)]
        shelves = {self.plant.connectors[end].shelf for end in ends if end in self.plant.connectors}
        cards = {card.name for shelf in shelves for card in self.plant.shelves[shelf].cards}
        left = sorted(cards - {name for step in self.steps for name in getattr(step.source, "take_out", ())})
        if not left:
            return True
        expected = "them taken out by a step before, or a hold point at which somebody has looked"
        self.say(entry, ("at",), f"a test voltage on a cable with cards at its ends ({left[0]} ...)", expected, "")
        return False

    def _bears(self, entry: Single, volts: float, cables: Iterable[Cable]) -> bool:
        weakest = min(cables, key=lambda cable: cable.type.rated.value, default=None)
        if weakest is None or abs(volts) <= OVER_RATED * weakest.type.rated.value:
            return True
        rated = weakest.type.rated
        expected = f"at most {OVER_RATED * rated.value:g} V: cable {weakest} is rated for {rated}"
        self.say(entry, ("at",), f"a test voltage of {engineering(volts, 'V')}", expected, "")
        return False

    def _a_terminal(self, entry: Single, name: str, k: int, place: str) -> bool:
        if place in self.plant.terminals:
            return True
        self.say(entry, (name, k), f"'{place}'", "a terminal of the plant", near(place, self.plant.terminals))
        return False

    def _sensible_discharge(self, discharge: Discharge) -> bool:
        good = True
        if discharge.cable not in self.plant.cables:
            hint = near(discharge.cable, self.plant.cables)
            self.say(discharge, ("cable",), f"'{discharge.cable}'", "a cable of the plant", hint)
            good = False
        for name, value in (("through", discharge.through.value), ("down-to", discharge.down_to.value)):
            if value <= 0:
                self.say(discharge, (name,), "nothing", "something above zero", "")
                good = False
        return good

    def _sensible_energise(self, entry: Any, filled: Energise) -> bool:
        good = True
        if not self.held:
            self.say(entry, ("voltage",), "an output that goes on", "a hold point before it", "")
            good = False
        for place, name in enumerate(filled.at):
            if name not in self.plant.supplies:
                self.say(entry, ("at", place), f"'{name}'", "a supply of the plant", near(name, self.plant.supplies))
                good = False
        if not good:
            return False
        proven = {name for step in self.steps if step.kind == "measure" for name in (step.subject, *step.touches)}
        for field_name, found, expected in self.ladders.problems(filled, proven):
            self.say(entry, (field_name,), found, expected, "")
            good = False
        return good

    def _sensible_do(self, entry: Any, filled: Do) -> bool:
        named = [("touches", i, name) for i, name in enumerate(filled.touches)]
        named += [(wanted.replace("_", "-"), i, n) for wanted in _PROVEN for i, n in enumerate(getattr(filled, wanted))]
        unknown = [name for wanted, i, name in named if not self._known(entry, (wanted, i), name)]
        good = not unknown
        for wanted in ("put_in", "take_out"):
            for place, name in enumerate(getattr(filled, wanted)):
                if name not in self.plant.cards:
                    hint = near(name, [*self.plant.cards, *self.plant.shelves])
                    path = (wanted.replace("_", "-"), place)
                    self.say(entry, path, f"'{name}'", "a card such as '2C/5', or a shelf", hint)
                    good = False
        for wanted, kind, known in (
            ("close", "breaker", self.plant.breakers),
            ("open", "breaker", self.plant.breakers),
            ("switch_on", "supply", self.plant.supplies),
            ("switch_off", "supply", self.plant.supplies),
            ("connect", "supply", self.plant.supplies),
            ("disconnect", "supply", self.plant.supplies),
            ("lift", "bond", self.plant.bonds),
            ("refit", "bond", self.plant.bonds),
        ):
            for place, name in enumerate(getattr(filled, wanted)):
                if name not in known:
                    path = (wanted.replace("_", "-"), place)
                    self.say(entry, path, f"'{name}'", f"a {kind} of the plant", near(name, known))
                    good = False
        if filled.rig is not None:
            good = self._sensible_rig(filled.rig) and good
        ends = [(("beeps", i), name) for i, name in enumerate(filled.beeps or ())]
        ends += [(("join", i, j), name) for i, group in enumerate(filled.join) for j, name in enumerate(group)]  # type: ignore[misc]
        for where_to, name in ends:
            try:
                self.plant.terminal(name)
            except UnknownName as error:
                self.say(entry, where_to, f"'{error.found}'", error.expected, error.hint)
                good = False
        if filled.lift and not self.held:
            self.say(entry, ("lift",), "a bond that is lifted", "a hold point before it", "")
            good = False
        if filled.energises and not self.held:
            where = "switch-on" if filled.switch_on else "close"
            self.say(entry, (where,), "something that may become live", "a hold point before it", "")
            good = False
        return good

    def _sensible_rig(self, rig: Rig) -> bool:
        """Every place is a terminal, or a floating point that is named twice at least: once would join nothing."""
        named = [(rig, ("join", i, j), name) for i, group in enumerate(rig.join) for j, name in enumerate(group)]
        named += [(tag, (which,), getattr(tag, which)) for tag in rig.tags for which in ("place", "to")]  # type: ignore[misc]
        times = Counter(name for _, _, name in named)
        good = True
        for struct, path, name in named:
            if name not in self.plant.terminals and times[name] < 2:
                hint = near(name, self.plant.terminals)
                self.say(struct, path, f"'{name}'", "a terminal, or a floating point that is named twice", hint)
                good = False
        return good

    def _known(self, entry: Any, path: tuple[str | int, ...], name: str) -> bool:
        try:
            self.plant.find(name)
        except UnknownName as error:
            self.say(entry, path, f"'{error.found}'", error.expected, error.hint)
            return False
        return True

    def _sensible_measure(self, entry: Any, filled: Measure) -> bool:
        good = True
        nowhere = filled.between == NOWHERE
        ends: list[tuple[tuple[str | int, ...], str]] = [
            (("between", i), name) for i, name in enumerate(filled.between) if not nowhere
        ]
        ends += [(("join", i, j), name) for i, group in enumerate(filled.join) for j, name in enumerate(group)]
        for path, name in ends:
            try:
                self.plant.terminal(name)
            except UnknownName as error:
                self.say(entry, path, f"'{error.found}'", error.expected, error.hint)
                good = False
        good = (
            not [name for i, name in enumerate(filled.proven) if not self._known(entry, ("proven", i), name)] and good
        )
        if good and not nowhere and len(set(filled.between)) == 1:
            self.say(entry, ("between",), f"'{filled.between[0]}' twice", "two different places", "")
            good = False
        if good and filled.at is not None:
            on = [*filled.between, *(name for group in filled.join for name in group)]
            good = self._may_test(entry, filled.at.value, cables_at(self.plant, on))
        return self._sensible_limit(entry, filled, filled.limit) and good

    def _sensible_limit(self, entry: Any, filled: Measure, limit: LimitFile) -> bool:
        unit = UNIT_OF[filled.read]
        good = True
        for name in ("at_least", "at_most", "margin"):
            bound = getattr(limit, name)
            if bound is not None and bound.unit != unit:
                field_name = name.replace("_", "-")
                self.say(entry.limit, (field_name,), f"a bound in {bound.unit}", f"one in {unit} for {filled.read}", "")
                good = False
        fits = {
            "conductor": ("resistance",),
            "path": ("resistance",),
            "insulation": ("insulation", "resistance"),
            "insulation-by-length": ("insulation", "resistance"),
            "idle-current": ("current",),
            "feed-voltage": ("voltage",),
            "shelf-voltage": ("voltage",),
        }
        if limit.computed is not None and filled.read not in fits[limit.computed]:
            self.say(
                entry.limit,
                ("computed",),
                f"'{limit.computed}' for a {filled.read}",
                one_of(kind for kind, reads in fits.items() if filled.read in reads),
                "",
            )
            good = False
        if filled.range is not None and filled.range.unit != unit:
            self.say(entry, ("range",), f"a range in {filled.range.unit}", f"one in {unit} for {filled.read}", "")
            good = False
        return good


def _title(entry: Single, subject: str) -> str:
    """A title for a step that has none."""
    match entry:
        case Measure(between=between) if between == NOWHERE:
            return f"{subject}: {entry.read}" if subject else entry.read.capitalize()
        case Measure():
            return f"{subject}: {entry.read} between {entry.between[0]} and {entry.between[1]}"
        case Zero():
            return "Zero the leads"
        case Prove():
            return f"Prove the bench: {entry.against.replace('-', ' ')}"
        case Hold():
            return "Hold point"
        case Caution():
            return "Caution"
        case Look():
            return f"How {some(entry.names, 4)} {'stands' if len(entry.names) == 1 else 'stand'}"
        case Gate():
            return f"What the records have proven for {entry.shelf}"
        case Ask():
            return entry.name.capitalize()
        case Set():
            return f"Output {entry.output}"
        case Seek():
            return f"Search for {entry.find.replace('-', ' ')}{' of ' + entry.of if entry.of else ''}"
        case Energise():
            return f"Bring {subject or 'the feed'} up to {entry.voltage}"
        case Wait():
            return f"Wait {entry.time}" if entry.time is not None else "Wait until it is discharged"
        case _:
            return "Do this"
