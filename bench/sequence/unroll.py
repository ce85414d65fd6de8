"""Unrolling: a sequence over a plant becomes single steps, each complete in itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from bench.files import near, one_of
from bench.judge.charge import cable_capacitance, discharge_time
from bench.plant.model import Plant, UnknownName
from bench.roles import HIGH_OHMS
from bench.say.lists import some
from bench.sequence.checks import Checks, Say
from bench.sequence.file import (
    NOWHERE,
    Ask,
    Caution,
    Do,
    Each,
    Energise,
    Gate,
    Hold,
    Listen,
    Look,
    Measure,
    Prove,
    Seek,
    Send,
    SequenceFile,
    Set,
    Single,
    Wait,
    Zero,
)
from bench.sequence.plan import Plan, Step, kind_of
from bench.sequence.power_steps import Forecasts
from bench.sequence.views import UnknownProperty, View, fill, objects


class CannotUnroll(ValueError):
    """The sequence does not fit the plant."""


def _refuse(struct: Any, path: tuple[str | int, ...], found: str, expected: str, hint: str) -> None:
    raise CannotUnroll(f"{'.'.join(map(str, path))}: found {found}, expected {expected}")


def unroll(sequence: SequenceFile, plant: Plant, say: Say = _refuse) -> Plan:
    """Unroll a sequence.

    Args:
        sequence: the file's content.
        plant: what it is about.
        say: takes problems of a file that is to be walked; by default, for what was walked, the first one is raised.

    Raises:
        CannotUnroll: the sequence does not fit the plant, and ``say`` was not given.
    """
    work = _Unroller(plant, say, fresh=say is not _refuse)
    work.walk(sequence.steps, "", sequence.sequence, {})
    return Plan(sequence, tuple(work.steps), tuple(work.entries))


class _Unroller:
    def __init__(self, plant: Plant, say: Say, fresh: bool) -> None:
        self.plant, self.say, self.fresh = plant, say, fresh
        self.steps: list[Step] = []
        self.entries: list[Single] = []
        self.forecasts = Forecasts(self.plant)
        self.checks = Checks(self.plant, self.say, self.steps, self.forecasts, self.fresh)

    def walk(self, entries: list[Any], path: str, section: str, views: Mapping[str, View]) -> None:
        number, beside = 0, True
        for entry in entries:
            # a check of the second ohmmeter goes by the number of the step before it: with one ohmmeter and with two
            # the steps of a sequence have the same keys
            beside = not beside and isinstance(entry, Zero | Prove) and entry.meter == HIGH_OHMS
            number += not beside
            here = f"{path}.{number}" if path else str(number)
            if beside:
                here += f":{HIGH_OHMS}"
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
        if filled is None or not self.checks.sound(entry, filled):
            return
        innermost = list(views.values())[-1] if views else None
        subject = filled.subject or (innermost.name if innermost else "") or filled.about
        touches: list[str] = [*(innermost.subjects if innermost else ()), *filled.handles]
        text, seconds = filled.text, 0.0
        match filled:
            case Look():
                touches += self._behind(filled)
            case Do():
                self.forecasts.after(filled)
            case Energise():
                planned = self.forecasts.planned(filled)
                subject = subject or planned.subject
                touches += planned.touches
                text = f"{text}\n{planned.text}".strip()
            case Wait():
                seconds = self._seconds(filled)
            case Listen():
                seconds = filled.within.value
            case Hold():
                self.checks.held = True
        title = filled.title or _title(filled, subject)
        if isinstance(filled, Zero | Prove | Seek):
            subject = subject or title
        self.entries.append(entry)
        self.steps.append(
            Step(
                index=len(self.steps),
                key=path,
                kind=kind_of(filled),
                title=title,
                text=text,
                section=section,
                source=filled,
                subject=subject,
                touches=tuple(dict.fromkeys(touches)),
                seconds=seconds,
            )
        )

    def _behind(self, look: Look) -> list[str]:
        """The supplies that a breaker which is looked at may let out to where nobody expects them."""
        feeds = {self.plant.breakers[name].feed for name in look.breakers}
        return [name for name, supply in self.plant.supplies.items() if supply.feed in feeds]

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
        for name in ("title", "text", "subject", "of", "shelf"):
            text = getattr(entry, name, "")
            if text and name in entry.__struct_fields__:
                changes[name] = self._filled(entry, name, text, views)
        for name in entry.NAMES:
            changes[name] = self._all_filled(entry, (name.replace("_", "-"),), getattr(entry, name), views)
        if isinstance(entry, Do):
            for name in ("put_in", "take_out"):
                changes[name] = [card for text in changes[name] for card in self._cards(text)]
        if isinstance(entry, Measure) and entry.limit.source:
            source = self._filled(entry, ("limit", "source"), entry.limit.source, views)
            changes["limit"] = None if source is None else msgspec.structs.replace(entry.limit, source=source)
        if any(_lacks(entry, name, value) for name, value in changes.items()):
            return None
        return msgspec.structs.replace(entry, **changes)

    def _all_filled(self, entry: Single, path: tuple[str | int, ...], value: Any, views: Mapping[str, View]) -> Any:
        """A name, or names in lists, filled; None stands for one that cannot be."""
        if isinstance(value, str):
            return self._filled(entry, path, value, views)
        if value is None:
            return None
        return type(value)(self._all_filled(entry, (*path, place), one, views) for place, one in enumerate(value))

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


def _lacks(entry: Single, name: str, filled: Any) -> bool:
    """Whether a text of a field could not be filled."""
    if isinstance(filled, list | tuple):
        return any(_lacks(entry, name, one) for one in filled)
    return filled is None and getattr(entry, name) is not None


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
            return f"{'Load' if entry.role == 'load' else 'Output'} {entry.output}"
        case Seek():
            return f"Search for {entry.find.replace('-', ' ')}{' of ' + entry.of if entry.of else ''}"
        case Energise():
            return f"Bring {subject or 'the feed'} up to {entry.voltage}"
        case Listen():
            return f"{entry.console}: '{entry.expect}' within {entry.within}"
        case Send():
            return f"Send '{entry.line}' to {entry.console}"
        case Wait():
            return f"Wait {entry.time}" if entry.time is not None else "Wait until it is discharged"
        case _:
            return "Do this"
