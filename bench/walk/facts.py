"""What a record keeps of the bench: enough to judge its readings again with nothing else at hand."""

from __future__ import annotations

from datetime import date
from functools import cached_property, lru_cache
from typing import Final

import msgspec

from bench.judge.accuracy import AccuracyRow, AccuracyTable
from bench.judge.reading import Way
from bench.quantity import Resistance


class Display(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What one range of an instrument shows.

    Attributes:
        range: its nominal value, in the base unit.
        top: the highest value that it shows.
        resolution: one step of the last digit; None where not known.
        prefix: of its unit; None where it is the usual one for that range.
        word: what it shows in place of a figure; then ``top`` is what that is at most, or at least where ``beyond``.
        beyond: of a word, that what is read is at least ``top``.
    """

    range: float
    top: float
    resolution: float | None = None
    prefix: str | None = None
    word: str = ""
    beyond: bool = False


class InstrumentFacts(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, dict=True):
    """One instrument of the bench.

    Attributes:
        name: its name in the bench file.
        profile: the profile's name.
        title: the profile's title.
        roles: what it can fill on this bench.
        rows: its accuracy table.
        accuracy_of: function, as readings name it, to function, as the rows name it.
        dials: function, as readings name it, to what a person does at the instrument before it reads that, where it is
            not set over the line.
        calibrated: date of the last calibration, ISO 8601; empty where not known.
        due: date of the next calibration; empty where not known.
        leads_ohm: lowest and highest resistance of its pair of leads, where the bench file says so.
        nulls_itself: the meter takes its leads off by itself.
        emf_volt: thermal EMF to expect in its leads, either way.
        outputs: whether it has an output that can be on.
        by_eye: a person reads it and types what it shows.
        displays: of one that is read by eye: function, as readings name it, to what its ranges show.
        renews: function, as readings name it, to the seconds from one new value to the next; one that is not named has
            a new value whenever it is asked.
    """

    name: str
    profile: str
    title: str = ""
    roles: list[str] = []
    rows: tuple[AccuracyRow, ...] = ()
    accuracy_of: dict[str, str] = {}
    dials: dict[str, str] = {}
    calibrated: str = ""
    due: str = ""
    leads_ohm: tuple[float, float] | None = None
    nulls_itself: bool = False
    emf_volt: float = 0.0
    outputs: bool = False
    by_eye: bool = False
    displays: dict[str, list[Display]] = {}
    renews: dict[str, float] = {}

    @cached_property
    def table(self) -> AccuracyTable | None:
        """The accuracy table, where the profile has one."""
        return AccuracyTable(self.name, self.rows) if self.rows else None

    @cached_property
    def ways(self) -> dict[tuple[object, ...], Way]:
        """How readings were taken with it: most of a day's are taken in one of a few ways."""
        return {}

    @cached_property
    def tame(self) -> bool:
        """Whether no figure of it is so large, or so small where it divides, that sums from it run out of numbers."""
        figures = [self.emf_volt, *(self.leads_ohm or ())]
        for row in self.rows:
            figures += [row.range_top, row.top, row.percent_of_reading, row.percent_of_range, row.counts]
            figures += [row.resolution, row.drift_percent_of_reading_per_k or 0.0]
            figures += [row.drift_percent_of_range_per_k or 0.0, row.drift_part_per_k or 0.0]
            figures.append(1.0 / row.test_current_a if row.test_current_a else 0.0)
        return all(abs(figure) <= 1e12 for figure in figures)

    def overdue(self, at: str) -> str:
        """That its calibration was due before a time of day, in a sentence; empty where it was not, or nobody knows."""
        if not self.due or not at or self.due >= at[:10]:
            return ""
        return f"The calibration of {self.name} was due on {self.due}: its accuracy is not what its data sheet says."

    def days_since_calibration(self, at: str) -> float | None:
        """Days between the calibration and a time of day; None where either is not known."""
        return _days_between(self.calibrated, at[:10])


@lru_cache(maxsize=1024)
def _days_between(calibrated: str, day: str) -> float | None:
    """Days from one to the other, asked for every reading of a day; None where one of them is no day."""
    try:
        passed = date.fromisoformat(day) - date.fromisoformat(calibrated)
    except ValueError:
        return None
    return max(0.0, float(passed.days))


class Reference(msgspec.Struct, frozen=True, kw_only=True):
    """Something known that the bench is proven against.

    Attributes:
        name: what it is called on the bench.
        ohms: its value.
        tolerance: how far it may be off, as a part of the value.
    """

    name: str
    ohms: Resistance
    tolerance: float


PROVES_INSULATION_OHM: Final = 100e3
"""A resistor below this is no proof of an insulation tester (common practice, no source)."""


class RelayFacts(msgspec.Struct, frozen=True, kw_only=True):
    """A relay matrix that places the probes where both places are wired to it.

    Attributes:
        name: its name on the bench.
        meter: the instrument behind it.
        reads: what may be read through it.
        places: what is wired to it; ``together`` and ``reference`` among them where it has those.
    """

    name: str
    meter: str
    reads: list[str]
    places: list[str]


class AlarmFacts(msgspec.Struct, frozen=True, kw_only=True):
    """A line by which a console tells that something tripped, reset or failed.

    Attributes:
        console: which says it.
        says: a part of the line.
        thing: the breaker or shelf.
    """

    console: str
    says: str
    thing: str


class BenchFacts(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The bench that a walk was made with.

    Attributes:
        name: the bench file's name for it.
        simulated: whether no real meter was there.
        instruments: all instruments.
        role_of: role to instrument name.
        references: for proving the bench.
        relays: what places probes by itself; None: hands do.
        consoles: of the plant that are listened to.
        alarms: lines of theirs that tell of something that tripped, reset or failed.
    """

    name: str
    simulated: bool = False
    instruments: list[InstrumentFacts] = []
    role_of: dict[str, str] = {}
    references: list[Reference] = []
    relays: RelayFacts | None = None
    consoles: list[str] = []
    alarms: list[AlarmFacts] = []

    def instrument(self, name: str) -> InstrumentFacts | None:
        """One instrument by name."""
        for one in self.instruments:
            if one.name == name:
                return one
        return None

    def reference_for(self, reads: str) -> Reference | None:
        """What the instrument for a reading is proven against: for insulation the largest of at least 100 kΩ."""
        large = [one for one in self.references if one.ohms.value >= PROVES_INSULATION_OHM]
        if reads == "insulation":
            return max(large, key=lambda one: one.ohms.value, default=None)
        return next((one for one in self.references if one not in large), next(iter(self.references), None))

    def for_role(self, role: str) -> InstrumentFacts | None:
        """The instrument that fills a role."""
        name = self.role_of.get(role)
        return self.instrument(name) if name is not None else None
