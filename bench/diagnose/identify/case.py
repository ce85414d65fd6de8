"""The case at hand: a cable whose ends at one side have no labels, and what there is to tell them apart with.

Everything comes from the plant, the bench and the settings of the search; nothing is known of the loose ends but their
flags. From the case follows the plan.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Final, Literal, get_args

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.ohm_scale import scale_of, top_of
from bench.diagnose.identify.tags import Loop, Meter, Tag, series_values
from bench.diagnose.identify.ways import (
    AtHand,
    Colours,
    Plan,
    Way,
    plan_chain,
    plan_sizes,
    plan_star,
    plan_tags,
    ways,
)
from bench.diagnose.script import COMMON, STAR, End
from bench.files import near, one_of
from bench.plant.colours import ColourError, colour_words
from bench.plant.flags import SIDES, Side, flag_name, loose, unnamed
from bench.plant.model import NoPath, Plant
from bench.plant.things import Cable, Conductor
from bench.quantity import QuantityError, Ratio, Resistance, engineering
from bench.sequence.file import Seek
from bench.walk.facts import BenchFacts

Method = Literal["tags", "star", "chain", "sizes"]
METHODS: Final[tuple[Method, ...]] = get_args(Method)
SETTINGS: Final = (
    "method", "flags", "common", "tags", "measured", "tolerance", "tags-from", "tags-to", "bar", "tester", "direct",
    "colours", "trust-colours", "apart", "known",
)  # fmt: skip
"""What a search for conductors may be told."""
TOLERANCE: Final = {"E24": 0.05, "E96": 0.01}
"""What the drawers of a series hold where nobody says (IEC 60063 pairs the series with these tolerances)."""
WARM: Final = (0.0, 50.0)
"""°C between which conductors are while they are read: then a plan does not hang on the day's temperature."""
CLIPS_OHM: Final = 0.5
"""All clips and touches of one loop together, old wire and worn clips (common practice, no source)."""
PROVABLE: Final = 0.5
"""Part of the highest range that over range proves for sure (own choice)."""
APART: Final = "100 kΩ"
"""Two ends that read less count as joined (own choice: far above any conductor, far below sound insulation)."""


class Case(msgspec.Struct, frozen=True):
    """What is to be told apart, and with what.

    Attributes:
        cable: its name.
        side: the end without labels.
        conductors: names of the conductors that are not known there.
        flags: places at that end, one for each.
        known: conductor to the place at its other end.
        common: places at the known end and at the other that are one, or None; see the setting.
        common_name: what it is called.
        tags: what is in the drawers.
        loop: between which resistances one conductor with its return lies, clips and all.
        star: the same for one conductor alone.
        meter: how far the meter may be off; None where no bench was named.
        colours: of conductors and flags, as far as they are known.
        method: what was asked for; None for the best.
        bar: whether a shorting bar is at hand.
        direct: the conductor to leave without a tag in a star.
        trust: whether an end with a colour of its own is named untouched.
        apart: ohms at and above which two ends are not joined.
        found: places to the conductors that were found there before; they are left out of the plan.
    """

    cable: str
    side: Side
    conductors: tuple[str, ...]
    flags: tuple[str, ...]
    known: Mapping[str, str]
    common: tuple[str, str] | None
    common_name: str
    tags: tuple[Tag, ...]
    loop: Loop
    star: Loop
    meter: Meter | None
    colours: Colours
    method: Method | None
    bar: bool
    direct: str | None
    trust: bool
    apart: float
    found: Mapping[str, str] = msgspec.field(default_factory=dict)

    def place(self, end: End, name: str) -> str:
        """Where a probe goes for a name of the plan; its near end is the one that is known."""
        if name == COMMON and self.common is not None:
            return self.common[0 if end == "near" else 1]
        if name == STAR:
            return STAR
        return self.known[name] if end == "near" else name

    @property
    def flagged(self) -> bool:
        """Whether the ends are loose wires with flags, and not pins of a connector."""
        return all("/" in flag for flag in self.flags)

    def called(self, place: str) -> str:
        """What a place is called on a card: ``flag 7``; the place itself at the known end."""
        head = f"{self.cable}.{self.side}/"
        return f"flag {place.removeprefix(head)}" if place.startswith(head) else place

    def ways(self) -> tuple[Way, ...]:
        """All ways that are open, the best first; the one that was asked for alone, if any was.

        Raises:
            DiagnoseError: none can.
        """
        if self.method is None:
            return ways(
                self.conductors,
                self.flags,
                AtHand((), self.bar) if self.meter is None else AtHand(self.tags, self.bar, self.meter),
                common=self.common is not None,
                colours=self.colours,
                loop=self.loop,
                star_loop=self.star,
                trust_colours=self.trust,
                direct=self.direct,
            )
        return (Way(self.method, self._asked(self.method), 1 if self.method in ("tags", "star") else 2, "asked for"),)

    def _asked(self, method: Method) -> Plan:
        if method == "chain":
            return plan_chain(self.conductors, self.flags, self.bar, self.colours)
        if method == "sizes":
            known = COMMON if self.common is not None else None
            return plan_sizes(self.conductors, self.flags, known, self.bar)
        if not self.tags:
            raise DiagnoseError(f"'{method}' takes tags; say what is in the drawers: 'tags: E24', or single values")
        if self.meter is None:
            raise DiagnoseError(f"'{method}' takes a bench: tags are chosen by what its ohmmeter can tell apart")
        if method == "star":
            return plan_star(self.conductors, self.flags, self.tags, self.star, self.meter, self.colours, self.direct)
        if self.common is None:
            raise DiagnoseError("'tags' takes a common that is known at both ends; name one, or take 'star'")
        return plan_tags(self.conductors, self.flags, self.tags, self.loop, self.meter, self.colours, self.trust)


def case_of(plant: Plant, source: Seek, bench: BenchFacts | None, zeroed: bool = True) -> Case:
    """The case that a search's step is about.

    Args:
        plant: the plant.
        source: the step.
        bench: the bench, for its ohmmeter; None where there is none yet, which leaves the ways without tags.
        zeroed: whether the leads are read shorted before.

    Raises:
        DiagnoseError: a setting is of no use, or there is nothing to identify; the sentence says what was expected.
    """
    return _Reader(plant, source).case(bench, zeroed)


class _Reader:
    """Reads the settings of one search."""

    def __init__(self, plant: Plant, source: Seek) -> None:
        self.plant, self.settings, self.wires = plant, source.settings, source.wires
        for name in source.settings:
            if name not in SETTINGS:
                hint = near(name, SETTINGS)
                raise DiagnoseError(f"setting '{name}': expected {one_of(SETTINGS)}{'; ' if hint else ''}{hint}")
        cable = plant.cables.get(source.of)
        if cable is None:
            hint = near(source.of, plant.cables)
            found = f"'{source.of}'" if source.of else "nothing"
            raise DiagnoseError(f"of: found {found}, expected a cable{'; ' if hint else ''}{hint}")
        self.cable: Cable = cable

    def case(self, bench: BenchFacts | None, zeroed: bool) -> Case:
        side, conductors, flags = self._ends()
        known = {c.name: (c.far_end if side == "near" else c.near_end).name for c in conductors}
        common, common_name, lead = self._common(side)
        if common is not None:
            at = [c for c in conductors if known[c.name] == common[0]]
            if bool(at) != (common[1] in flags):
                raise self._bad("common", "one conductor of the cable and the flag on it, or neither")
            conductors = [c for c in conductors if c not in at]
            flags = [flag for flag in flags if flag != common[1]]
        found = self._found(conductors, flags)
        conductors = [c for c in conductors if c.name not in found.values()]
        flags = [flag for flag in flags if flag not in found]
        if not conductors:
            raise self._bad(
                "known", f"a conductor of {self.cable.name} left over: all are known, nothing is to be found"
            )
        names = tuple(c.name for c in conductors)
        tester = self._yes("tester")
        tags = () if tester else self._tags(bench)
        meter = None
        if tags and bench is not None:
            meter = scale_of(bench, max(tag.within()[1] for tag in tags), self.wires, zeroed)
            tags = self._measured(tags, meter)
        star = _loop(conductors, (0.0, 0.0))
        method = self._method(tester)
        direct = self._conductor("direct", names)
        return Case(
            cable=self.cable.name,
            side=side,
            conductors=names,
            flags=tuple(flags),
            known=known,
            common=common,
            common_name=common_name,
            tags=tags,
            loop=_loop(conductors, lead),
            star=star,
            meter=meter,
            colours=Colours(self._near_colours(conductors), self._far_colours(flags)),
            method=method,
            bar=self._yes("bar", True),
            direct=direct,
            trust=self._yes("trust-colours"),
            apart=self._apart(bench),
            found=found,
        )

    def _bad(self, name: str, expected: str, hint: str = "") -> DiagnoseError:
        found = self.settings.get(name, "")
        tail = f"; {hint}" if hint else ""
        return DiagnoseError(f"setting '{name}': found {found!r}, expected {expected}{tail}")

    # the ends

    def _ends(self) -> tuple[Side, list[Conductor], list[str]]:
        """The side without labels, its conductors, and the places there."""
        if "flags" in self.settings:
            return self._on_connector(self.settings["flags"])
        open_sides = [side for side in reversed(SIDES) if unnamed(self.cable, side)[0]]
        if not open_sides:
            named = any(loose(self.cable, side) for side in SIDES)
            state = "is named wire by wire" if named else "lands at both ends"
            raise DiagnoseError(
                f"{self.cable.name} {state}; nothing is left to identify. If its order on a connector is "
                "not known, name that connector: 'flags: J531'"
            )
        side = open_sides[0]
        found, free = unnamed(self.cable, side)
        if len(free) != len(found):
            raise DiagnoseError(
                f"{self.cable.name}: {len(found)} loose conductors and {len(free)} flags at its {side} end that are "
                f"not told apart; a conductor that landed keeps its flag: '{'from' if side == 'near' else 'to'}-flag'"
            )
        return side, found, free

    def _on_connector(self, name: str) -> tuple[Side, list[Conductor], list[str]]:
        """The conductors that land on a connector, in an order that is not known: its pins are the flags."""
        for side in SIDES:
            here = [(c, c.near if side == "near" else c.far) for c in self.cable.conductors]
            landed = [(c, end) for c, end in here if end is not None and end.owner == name]
            if landed:
                return side, [c for c, _ in landed], [end.name for _, end in landed]
        known = [*self.cable.near, *self.cable.far]
        raise self._bad("flags", f"a connector that {self.cable.name} ends on: {one_of(known)}", near(name, known))

    def _common(self, side: Side) -> tuple[tuple[str, str] | None, str, tuple[float, float]]:
        """Places of the common at the known end and at the other, its name, and its least and most ohms."""
        text = self.settings.get("common", "").strip()
        if not text:
            return None, "", (0.0, 0.0)
        names = [name.strip() for name in text.split(",")]
        if len(names) == 1 and names[0] == "screen":
            screen = self.cable.screen
            if screen is None:
                raise self._bad("common", f"something else: {self.cable.name} has no screen")
            return self._of_conductor(screen, side, f"the screen of {self.cable.name}")
        if len(names) == 1 and names[0] in self.plant.conductors:
            conductor = self.plant.conductors[names[0]]
            if conductor in loose(self.cable, side):
                flag = flag_name(self.cable.name, side, 1)
                raise self._bad("common", f"the flag that it has beside its name, such as '{names[0]}, {flag}'")
            return self._of_conductor(conductor, side, names[0])
        if not 1 <= len(names) <= 2:
            raise self._bad("common", "'screen', a conductor, or one or two places")
        places = [self._place(name, side, number == 0) for number, name in enumerate(names)]
        ends = places[0][0], places[-1][0]
        band = places[0][1]
        if band is None:
            try:
                expected = [self.plant.path_expected(*ends, warm) for warm in WARM] if ends[0] != ends[1] else []
            except NoPath as error:
                raise self._bad("common", f"places that are one: {error}") from error
            band = (min((e.low_ohm for e in expected), default=0.0), max((e.high_ohm for e in expected), default=0.0))
        return ends, names[0], band

    def _place(self, name: str, side: Side, first: bool) -> tuple[str, tuple[float, float] | None]:
        """A place of the common; of a conductor of the cable its known end, and its resistance."""
        conductor = self.plant.conductors.get(name)
        if conductor is not None and first:
            ends = (conductor.far_end, conductor.near_end)
            return ends[0 if side == "near" else 1].name, _band([conductor])
        if name in self.plant.terminals or name in self.plant.flags:
            return name, None
        raise self._bad("common", "'screen', a conductor, or terminals of the plant", self.plant.near(name))

    def _of_conductor(
        self, conductor: Conductor, side: Side, name: str
    ) -> tuple[tuple[str, str], str, tuple[float, float]]:
        ends = conductor.near_end.name, conductor.far_end.name
        return ends if side == "far" else (ends[1], ends[0]), name, _band([conductor])

    # tags

    def _tags(self, bench: BenchFacts | None) -> tuple[Tag, ...]:
        low, high = self._ohms("tags-from", "100 Ω"), self._ohms("tags-to", "1 MΩ")
        found: list[Tag] = []
        for text in self._list("tags"):
            if text.upper() in TOLERANCE:
                series = text.upper()
                share = self._share(TOLERANCE[series])
                found += [Tag(ohms, share, f"{series} {share * 100:g} %") for ohms in series_values(series, low, high)]
                continue
            found.append(Tag(self._value("tags", text), self._share(None), text))
        # what was measured by this meter is as sure as the meter is; until it is known they stand as they are
        found += [Tag(self._value("measured", text), 0.0, f"{text} as measured") for text in self._list("measured")]
        return tuple(found)

    def _measured(self, tags: Sequence[Tag], meter: Meter) -> tuple[Tag, ...]:
        return tuple(
            Tag(tag.ohms, meter.gain + meter.offset / tag.ohms, tag.drawer) if tag.tolerance == 0 else tag
            for tag in tags
        )

    def _share(self, default: float | None) -> float:
        text = self.settings.get("tolerance", "")
        if not text:
            if default is None:
                raise DiagnoseError("setting 'tolerance': expected it beside single values in 'tags', such as '1 %'")
            return default
        try:
            share = Ratio.parse(text).value
        except QuantityError as error:
            raise self._bad("tolerance", "a part such as '1 %'") from error
        if not 0 < share < 1:
            raise self._bad("tolerance", "more than 0 % and less than 100 %")
        return share

    def _value(self, name: str, text: str) -> float:
        try:
            ohms = Resistance.parse(text).value
        except QuantityError as error:
            raise DiagnoseError(f"setting '{name}': found '{text}', expected E24, E96 or a resistance") from error
        if ohms <= 0:
            raise DiagnoseError(f"setting '{name}': found '{text}', expected more than 0 Ω")
        return ohms

    # the rest

    def _list(self, name: str) -> list[str]:
        return [text.strip() for text in self.settings.get(name, "").split(",") if text.strip()]

    def _ohms(self, name: str, default: str) -> float:
        return self._value(name, self.settings.get(name, default))

    def _apart(self, bench: BenchFacts | None) -> float:
        """The least that two ends read which are not joined; at most what the meter can show."""
        if "apart" in self.settings or bench is None:
            return self._ohms("apart", APART)
        top = top_of(bench, self.wires)
        return min(self._ohms("apart", APART), PROVABLE * top) if top is not None else self._ohms("apart", APART)

    def _yes(self, name: str, default: bool = False) -> bool:
        text = self.settings.get(name, "yes" if default else "no").strip().casefold()
        if text not in ("yes", "no"):
            raise self._bad(name, "yes or no")
        return text == "yes"

    def _method(self, tester: bool) -> Method | None:
        text = self.settings.get("method", "")
        allowed: tuple[Method, ...] = ("chain", "sizes") if tester else METHODS
        found = next((method for method in allowed if method == text), None)
        if text and found is None:
            why = ", since a tester reads no ohms" if tester and text in METHODS else ""
            raise self._bad("method", one_of(allowed) + why, near(text, allowed))
        return found

    def _conductor(self, name: str, names: Sequence[str]) -> str | None:
        text = self.settings.get(name, "")
        if not text:
            return None
        found = text if text in names else f"{self.cable.name}.{text}"
        if found not in names:
            raise self._bad(name, "a conductor that is to be identified", near(text, names))
        return found

    def _found(self, conductors: Sequence[Conductor], flags: Sequence[str]) -> dict[str, str]:
        """What was found before, place to conductor: ``K1.7 W1.3; K1.8 W1.5``."""
        names = [c.name for c in conductors]
        found: dict[str, str] = {}
        for entry in filter(None, map(str.strip, self.settings.get("known", "").split(";"))):
            place, _, name = entry.partition(" ")
            name = name.strip()
            name = name if name in names else f"{self.cable.name}.{name}"
            if place not in flags or name not in names:
                raise DiagnoseError(
                    f"setting 'known': found '{entry}', expected one of {one_of(flags)} with a conductor that is to be "
                    "identified"
                )
            if place in found or name in found.values():
                raise DiagnoseError(f"setting 'known': found '{entry}', expected each place and each conductor once")
            found[place] = name
        return found

    def _near_colours(self, conductors: Sequence[Conductor]) -> dict[str, str]:
        return {c.name: c.colour for c in conductors if c.colour}

    def _far_colours(self, flags: Sequence[str]) -> dict[str, str]:
        """Colours that were seen at the flags: ``1 white/blue; 2 blue/white``."""
        by_end = {re.split(r"[./]", flag)[-1]: flag for flag in flags}
        found: dict[str, str] = {}
        for entry in self.settings.get("colours", "").split(";"):
            if not entry.strip():
                continue
            end, _, colour = entry.strip().partition(" ")
            flag = by_end.get(end, end)
            if flag not in flags:
                raise DiagnoseError(f"setting 'colours': found flag '{end}', expected {one_of(by_end)}")
            try:
                found[flag] = colour_words(colour)[0]
            except ColourError as error:
                raise DiagnoseError(f"setting 'colours', flag {end}: found '{colour}', {error.expected}") from error
        return found


def _band(conductors: Sequence[Conductor]) -> tuple[float, float]:
    """The least and the most that any of these may read, warm or cold."""
    found = [conductor.expected(warm) for conductor in conductors for warm in WARM]
    return min(one.low_ohm for one in found), max(one.high_ohm for one in found)


def _loop(conductors: Sequence[Conductor], back: tuple[float, float]) -> Loop:
    low, high = _band(conductors) if conductors else (0.0, 0.0)
    return Loop(low + back[0], high + back[1] + CLIPS_OHM)


def wire_of(plant: Plant) -> Callable[[str], str]:
    """What a conductor looks like, by its name: ``white/blue, pair 1 tip``; empty where nothing is known."""

    def words(name: str) -> str:
        one = plant.conductors[name]
        parts = [one.colour, f"pair {one.pair} {one.leg}" if one.pair is not None else "", one.binder]
        return ", ".join(part for part in parts if part)

    return words


def told_loop(case: Case) -> str:
    """What the plan counts on, in one line."""
    if case.meter is None:
        return ""
    low, high = (engineering(ohms, "Ω", digits=3) for ohms in (case.loop.low, case.loop.high))
    meter = f"{case.meter.gain * 100:.2g} % and {engineering(case.meter.offset, 'Ω', digits=2)}"
    return f"a loop of {low} to {high}, a meter that may be off by {meter}"
