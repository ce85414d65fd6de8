"""Whether a step fits the plant: that its names are there, its bounds have the right unit, and a hold point stands
before what needs one. Everything that is wrong is told, each with its place in the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import msgspec

from bench.files import near, one_of
from bench.judge.insulation import OVER_RATED
from bench.plant.model import Plant, UnknownName
from bench.plant.things import Cable
from bench.quantity import engineering
from bench.roles import UNIT_OF
from bench.sequence.file import (
    NOWHERE,
    Ask,
    Discharge,
    Do,
    Energise,
    Gate,
    Hold,
    Listen,
    Look,
    Measure,
    Prove,
    Rig,
    Seek,
    Send,
    Set,
    Single,
    Wait,
)
from bench.sequence.file import Limit as LimitFile
from bench.sequence.limits import cables_at, shelves_at
from bench.sequence.plan import Step
from bench.sequence.power_steps import Forecasts

Say = Callable[[Any, tuple[str | int, ...], str, str, str], None]
"""Takes a problem: the struct it is in, the path of the field below it, found, expected, hint."""

_FITS = {
    "conductor": ("resistance",),
    "path": ("resistance",),
    "insulation": ("insulation", "resistance"),
    "insulation-by-length": ("insulation", "resistance"),
    "idle-current": ("current",),
    "feed-voltage": ("voltage",),
    "shelf-voltage": ("voltage",),
    "stretch-drop": ("voltage",),
}
"""How a limit is computed, and what may be read against it."""


class Checks(msgspec.Struct):
    """What is asked of each step, given those before it.

    Attributes:
        plant: the plant.
        say: takes problems.
        before: the steps so far; whoever unrolls adds to them.
        forecasts: what each output that comes up should show.
        fresh: whether the sequence is to be walked; one in a record was.
        held: whether a hold point stands before.
    """

    plant: Plant
    say: Say
    before: list[Step]
    forecasts: Forecasts
    fresh: bool
    held: bool = False

    def sound(self, entry: Single, filled: Single) -> bool:
        """Whether a step fits.

        Args:
            entry: the step as it stands in the file.
            filled: the same with its names replaced.
        """
        match filled:
            case Measure():
                return self._measure(entry, filled)
            case Do():
                return self._do(entry, filled)
            case Energise():
                return self._energise(entry, filled)
            case Look():
                return self._look(entry, filled)
            case Gate():
                return self._gate(entry, filled)
            case Prove():
                return self._proof(entry, filled)
            case Seek():
                return self._search(entry, filled)
            case Wait():
                good = filled.discharge is None or self._discharge(filled.discharge)
                return good and self._all_known(entry, filled)
            case Hold() | Ask():
                return self._all_known(entry, filled)
            case Listen():
                known = not filled.subject or self._known(entry, ("subject",), filled.subject)
                return self._all_known(entry, filled) and known
            case Send():
                if not self.held:
                    self.say(entry, ("line",), "something that is sent to a machine", "a hold point before it", "")
                return self._all_known(entry, filled) and self.held
            case Set(output="on") if not self.held:
                self.say(entry, ("output",), "an output that goes on", "a hold point before it", "")
                return False
        return True

    def _gate(self, entry: Single, filled: Gate) -> bool:
        if filled.shelf in self.plant.shelves:
            return True
        hint = near(filled.shelf, self.plant.shelves)
        self.say(entry, ("shelf",), f"'{filled.shelf}'", "a shelf of the plant", hint)
        return False

    def _proof(self, entry: Single, filled: Prove) -> bool:
        named = [(name, k) for name in ("between", "across") for k in (0, 1) if getattr(filled, name) != NOWHERE]
        good = all(self._a_terminal(entry, name, k, getattr(filled, name)[k]) for name, k in named)
        if not good or filled.at is None or not named:
            return good
        return self._may_test(entry, filled.at.value, cables_at(self.plant, filled.between))

    def _search(self, entry: Single, filled: Seek) -> bool:
        if filled.of and not self._known(entry, ("of",), filled.of):
            return False
        if not self._all_known(entry, filled):
            return False
        return filled.at is None or self._may_test(entry, filled.at.value, cables_at(self.plant, (), filled.of))

    def _all_known(self, entry: Single, filled: Single) -> bool:
        """Whether all names are known that the step stands on."""
        return not [name for i, name in enumerate(filled.proven) if not self._known(entry, ("proven", i), name)]

    def _look(self, entry: Any, filled: Look) -> bool:
        plant, good = self.plant, True
        for wanted, known in (
            ("breakers", plant.breakers),
            ("supplies", plant.supplies),
            ("cards", plant.cards),
            ("bonds", plant.bonds),
            ("plugs", plant.connectors),
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
        """Whether the cards at the cables' ends were taken out or looked at by steps before, and none went in since.

        Records from before may rest on a hold point alone.
        """
        if self.held and not self.fresh:
            return True
        cards = {c.name for shelf in shelves_at(self.plant, cables) for c in self.plant.shelves[shelf].cards}
        for step in reversed(self.before):
            back = sorted(cards & set(step.source.put_in))
            if back:
                return self._electronics(entry, back[0], "them taken out again by a step before")
            cards -= set(step.source.take_out)
            if isinstance(step.source, Look):
                cards -= set(step.source.cards)
        if not cards:
            return True
        return self._electronics(entry, min(cards), "them taken out ('take-out') or looked at by a step before")

    def _electronics(self, entry: Single, card: str, expected: str) -> bool:
        self.say(entry, ("at",), f"a test voltage on a cable with cards at its ends ({card} ...)", expected, "")
        return False

    def _bears(self, entry: Single, volts: float, cables: Iterable[Cable]) -> bool:
        weakest = min(cables, key=lambda cable: cable.type.rated.value, default=None)
        if weakest is None or abs(volts) <= OVER_RATED * weakest.type.rated.value:
            return True
        rated = weakest.type.rated
        expected = f"at most {OVER_RATED * rated.value:g} V: cable {weakest} is rated for {rated}"
        self.say(entry, ("at",), f"a test voltage of {engineering(volts, 'V')}", expected, "")
        return False

    def _a_terminal(self, entry: Single, name: str, number: int, place: str) -> bool:
        if place in self.plant.terminals:
            return True
        self.say(entry, (name, number), f"'{place}'", "a terminal of the plant", near(place, self.plant.terminals))
        return False

    def _discharge(self, discharge: Discharge) -> bool:
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

    def _energise(self, entry: Any, filled: Energise) -> bool:
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
        proven = {name for step in self.before if step.kind == "measure" for name in (step.subject, *step.touches)}
        for field_name, found, expected in self.forecasts.problems(filled, proven):
            self.say(entry, (field_name,), found, expected, "")
            good = False
        return good

    def _do(self, entry: Any, filled: Do) -> bool:
        named = [("touches", i, name) for i, name in enumerate(filled.touches)]
        named += [("proven", i, name) for i, name in enumerate(filled.proven)]
        named += [("unless-proven", i, name) for i, name in enumerate(filled.unless_proven)]
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
            good = self._rig(filled.rig) and good
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

    def _rig(self, rig: Rig) -> bool:
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

    def _measure(self, entry: Any, filled: Measure) -> bool:
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
        good = self._all_known(entry, filled) and good
        if good and not nowhere and len(set(filled.between)) == 1:
            self.say(entry, ("between",), f"'{filled.between[0]}' twice", "two different places", "")
            good = False
        if good and filled.at is not None:
            on = [*filled.between, *(name for group in filled.join for name in group)]
            good = self._may_test(entry, filled.at.value, cables_at(self.plant, on))
        return self._limit(entry, filled, filled.limit) and good

    def _limit(self, entry: Any, filled: Measure, limit: LimitFile) -> bool:
        unit = UNIT_OF[filled.read]
        good = True
        for name in ("at_least", "at_most", "margin"):
            bound = getattr(limit, name)
            if bound is not None and bound.unit != unit:
                field_name = name.replace("_", "-")
                self.say(entry.limit, (field_name,), f"a bound in {bound.unit}", f"one in {unit} for {filled.read}", "")
                good = False
        if limit.computed is not None and filled.read not in _FITS[limit.computed]:
            self.say(
                entry.limit,
                ("computed",),
                f"'{limit.computed}' for a {filled.read}",
                one_of(kind for kind, reads in _FITS.items() if filled.read in reads),
                "",
            )
            good = False
        if filled.range is not None and filled.range.unit != unit:
            self.say(entry, ("range",), f"a range in {filled.range.unit}", f"one in {unit} for {filled.read}", "")
            good = False
        return good
