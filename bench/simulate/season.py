"""A season of simulated records for Gannet Head: what months of evenings leave in a folder, made in seconds.

No meter runs and no time passes. The machine of a walk is asked for its next request, a reading is drawn from the
plant's own physics, the season's faults and a meter's errors, and the event is judged and recorded as in any walk, only
with another time of day. What happens when is told in :mod:`bench.simulate.season_story`.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import msgspec

from bench import __version__, files
from bench.files import shipped
from bench.judge.accuracy import AccuracyRow
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from bench.plant.things import Bond
from bench.quantity import Resistance
from bench.record.append import stamp
from bench.record.chain import FIRST, seal
from bench.record.index import declare
from bench.roles import ROLE_OF, UNIT_OF, function_name
from bench.sequence.drafts.landing import telling
from bench.sequence.file import Measure, Prove, SequenceFile, Single, Zero
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.simulate.season_story import (
    APPEARING,
    CLOSING,
    ODD_GAIN,
    ODD_WEEKS,
    OPENING,
    TOUCHED,
    Work,
    conductors,
    evening_of,
    works,
)
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts, Reference
from bench.walk.results import annotated

REFERENCE_OHM: Final = 100.0
LEADS_OHM: Final = 0.21
_SERIALS: Final = {"bench": "GH-0007", "spare": "GH-0011"}


def make_season(folder: Path, seed: int) -> list[Path]:
    """Make a season of records.

    Args:
        folder: where to; it is made if need be. Records that are there already are not overwritten.
        seed: of the conductors' own deviations, of noise, and of when in an evening things happen.

    Returns:
        The records, in the order of time. Disturbances that were told later stand in a file of their own beside them.

    Raises:
        FileExistsError: the season is there already.
        OSError: the folder cannot be written.
        BadFile: the plant file that comes with the program cannot be read.
    """
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for number, work in enumerate(works()):
        path = folder / f"{work.begins:%Y%m%d-%H%M}-{work.name.lower().replace(' ', '-')}.jsonl"
        _Evening(plant, work, seed, number).write(path)
        made.append(path)
    for touched in sorted(TOUCHED, key=lambda one: (one.week, -one.days_before)):
        if touched.told == "later":
            when = evening_of(touched.week) - timedelta(days=touched.days_before)
            told = when + timedelta(hours=20)
            event = e.Disturbed(touches=list(touched.names), text=touched.text, by=touched.by, when=stamp(when))
            declare(folder, event, lambda told=told: told)  # type: ignore[misc]
    return made


OUT_OF_THE_PILE: Final = "W101"
"""The cable of the pile that was proven first."""
PROVEN_ON: Final = datetime(2026, 2, 16, 18, 30, tzinfo=UTC)
"""The evening of its proof: after the survey, and before the season's rounds."""
_FIRST_NUMBER: Final = 1000
"""Of the evening of its proof: it draws its chances apart from those of the season."""


def make_first_proof(folder: Path, seed: int) -> Path:
    """Make the record that proved the first cable of the pile: a few conductors that tell it, then all of them.

    Args:
        folder: of the records.
        seed: as of the season.

    Returns:
        The record; its plant has both ends of the cable claimed, as the survey's claim left them.

    Raises:
        FileExistsError: it is there already.
        BadFile: the plant file that comes with the program cannot be read.
    """
    file = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml").file
    cables = [
        msgspec.structs.replace(one, from_status="claimed", to_status="claimed") if one.name == OUT_OF_THE_PILE else one
        for one in file.cables
    ]
    plant = resolve(msgspec.structs.replace(file, cables=cables))
    few = ", ".join(
        one.name for one in telling([one for one in plant.cables[OUT_OF_THE_PILE].conductors if one.landed])
    )
    first = f"""\
  - step: each
    over: conductors
    only: [{few}]
    title: A few conductors of {OUT_OF_THE_PILE} that tell it from another cable
    steps:
      - step: measure
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}
"""
    begins = PROVEN_ON
    work = Work(
        f"proof of where {OUT_OF_THE_PILE} ends",
        begins,
        "Ines",
        OPENING + first + conductors(OUT_OF_THE_PILE) + CLOSING,
        0,
    )
    path = folder / f"{begins:%Y%m%d-%H%M}-{work.name.lower().replace(' ', '-')}.jsonl"
    _Evening(plant, work, seed, _FIRST_NUMBER).write(path)
    return path


# The bench


def _row(function: str, unit: str, top: float, reading: float, of_range: float, digit: float) -> AccuracyRow:
    return AccuracyRow(
        function, unit, top, reading, of_range, resolution=digit, highest=1.2 * top,
        drift_percent_of_reading_per_k=reading / 10, source="typical of a 6.5-digit bench meter; an assumption",
    )  # fmt: skip


_ROWS: Final = (
    *(_row("ohms 2w", "Ω", 10.0**n, 0.010, 0.004, 10.0 ** (n - 6)) for n in range(2, 9)),
    *(_row("ohms 4w", "Ω", 10.0**n, 0.010, 0.0005, 10.0 ** (n - 7)) for n in range(2, 5)),
    _row("volts", "V", 10.0, 0.0035, 0.0005, 1e-5),
    _row("volts", "V", 100.0, 0.0045, 0.0006, 1e-4),
    _row("amps", "A", 3.0, 0.10, 0.02, 1e-5),
    _row("amps", "A", 10.0, 0.15, 0.03, 1e-4),
)
_ACCURACY_OF: Final = {
    function_name("resistance", 2): "ohms 2w",
    function_name("resistance", 4): "ohms 4w",
    function_name("voltage"): "volts",
    function_name("current"): "amps",
}


def _bench(meter: str) -> BenchFacts:
    roles = ["ohms", "volts", "amps"]
    facts = InstrumentFacts(
        name="meter",
        profile="scpi-bench-meter",
        title=f"{meter} meter",
        roles=roles,
        rows=_ROWS,
        accuracy_of=_ACCURACY_OF,
        calibrated="2026-01-12" if meter == "bench" else "2025-08-30",
        due="2027-01-12" if meter == "bench" else "2026-08-30",
    )
    reference = Reference(name="the 100 ohm resistor", ohms=Resistance(REFERENCE_OHM), tolerance=0.001)
    role_of = dict.fromkeys(roles, "meter")
    return BenchFacts(
        name=f"{meter} meter", simulated=True, instruments=[facts], role_of=role_of, references=[reference]
    )


# One evening


class _Clock:
    """The season's own time of day."""

    def __init__(self, begins: datetime) -> None:
        self.now = begins

    def go(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


class _Evening(Walker):
    """Walks one sequence and records it."""

    reason = "the best meter that we have"

    def __init__(self, plant: Plant, work: Work, seed: int, number: int) -> None:
        self._plant = plant
        self._work = work
        self._seed = seed
        self._chance = random.Random(f"{seed} evening {number}")
        self._celsius = round(12.0 + 8.0 * work.week / 14 + self._chance.uniform(-1.0, 1.0), 1)
        self._leads = LEADS_OHM + self._chance.gauss(0.0, 0.004)
        self._clock = _Clock(work.begins + timedelta(minutes=self._chance.uniform(0.0, 40.0)))
        self._lines: list[bytes] = []
        self._chain = FIRST
        self.by = work.by

    def write(self, path: Path) -> None:
        """Walk to the end and record every event."""
        began = e.Began(
            software=__version__,
            edition=e.EDITION,
            plant=self._plant.file,
            sequence=self._sequence(),
            bench=_bench(self._work.meter),
            seed=self._seed,
            operator=self.by,
        )
        self.begin(began)
        for touched in self._work.touched:
            self.add(e.Disturbed(touches=list(touched.names), text=touched.text, by=touched.by))
        self.run()
        with path.open("xb") as stream:
            stream.write(b"".join(self._lines))

    def _sequence(self) -> SequenceFile:
        text = f"sequence: {self._work.name}\nplant: plant.yaml\nsteps:\n{self._work.steps}"
        return files.parse(text, SequenceFile, self._work.name)[0]

    def at(self) -> str:
        """The season's own time of day."""
        return stamp(self._clock.now)

    def add(self, event: e.Event) -> e.Entry:
        """Take an event and keep its line. Nobody's evening hangs on it, so nothing is synced to disk line by line."""
        self._clock.go(self._chance.uniform(0.6, 1.8) if isinstance(event, e.Read) else self._chance.uniform(1.0, 5.0))
        entry = super().add(event)
        line, self._chain = seal(annotated(entry, self.state), self._chain)
        self._lines.append(line)
        return entry

    def identity(self, name: str) -> str:
        """The season's meters give their maker, kind and number."""
        return f"Gannet Head,scpi-bench-meter,{self.serial(name)},1.0"

    def serial(self, name: str) -> str:
        """The bench's own meter or the spare one."""
        return _SERIALS[self._work.meter]

    def said(self, step: Step) -> str:
        """The word of a hold point, the hall's temperature, nothing else."""
        if step.kind == "hold":
            return step.source.word
        return f"{self._celsius:g}" if step.kind == "ask" else ""

    def placed(self, step: Step) -> e.Event:
        """A steady contact; the reference resistor is not always at hand."""
        if self._work.without_reference and _on_reference(step.source):
            reason = "the reference resistor is at the other site"
            return e.Skipped(number=self.state.number, reason=reason, by=self.by)
        return e.Answered(number=self.state.number, by=self.by, how="contact")

    # What the meter shows

    def measured(self, step: Step) -> e.Read:
        """What the season's meter shows of the plant as it is that week."""
        source = step.source
        reads, wires, function = source.read, source.wires, source.function
        unit = UNIT_OF[reads]
        assert ROLE_OF[reads] in ("ohms", "volts", "amps"), "the season's bench has one meter"
        true = self._true(step)
        if unit == "Ω" and wires == 2:
            true += self._leads + abs(self._chance.gauss(0.0, 0.002))
        if self._work.week in ODD_WEEKS and step.kind == "measure":
            true *= 1.0 + ODD_GAIN
        locked = source.range.value if source.range is not None else None
        row = self._range(_ACCURACY_OF[function], true, locked)
        shown = true + self._chance.gauss(0.0, 0.3) * (abs(true) * row.percent_of_reading + 1e-9) / 100.0
        if not math.isfinite(true) or abs(shown) > row.top:
            over = ["+9.90000000E+37\\n"]
            return self.reading(over="+", range=row.range_top, resolution=row.resolution, raw=over)
        shown = round(shown / row.resolution) * row.resolution
        raw, value = [f"{shown:+.8E}\\n"], float(f"{shown:.10g}")
        return self.reading(value=value, range=row.range_top, resolution=row.resolution, raw=raw, took=0.2)

    def _range(self, function: str, value: float, locked: float | None) -> AccuracyRow:
        rows = [row for row in _ROWS if row.function == function]
        if locked is not None:
            return next(row for row in rows if row.range_top >= locked)
        return next((row for row in rows if row.top >= abs(value)), rows[-1])

    def _true(self, step: Step) -> float:
        """What is between the probes, before leads and meter."""
        source = step.source
        if isinstance(source, Zero):
            return 0.0
        if not isinstance(source, Measure):
            return REFERENCE_OHM if _on_reference(source) else math.inf
        if source.read == "voltage":
            inlet = self._plant.inlets[step.subject]
            volts = next(one.volts for one in self._plant.supplies.values() if one.feed == inlet.feed)
            return volts + self._chance.gauss(0.0, 0.02)
        if source.read == "current":
            inlet = self._plant.inlets[step.subject]
            # the cards take a constant power, and the battery on float is above nominal
            volts = next(one.volts for one in self._plant.supplies.values() if one.feed == inlet.feed)
            typical = self._plant.idle_current(inlet.shelf)[0] * self._plant.feeds[inlet.feed].nominal_v / volts
            return typical * (1.0 + self._own(step.subject, 0.02))
        if source.limit.computed is None:
            return math.inf
        return sum(self._item_ohms(item) for item in self._items(step))

    def _items(self, step: Step) -> Iterator[str]:
        """The conductors, bonds and studs between the probes."""
        if step.subject in self._plant.conductors or step.subject in self._plant.bonds:
            yield step.subject
            return
        assert step.probes is not None
        for edge in self._plant.path(*step.probes):
            yield edge.id

    def _item_ohms(self, name: str) -> float:
        thing = self._plant.find(name)
        sound = self._plant.expected(name, self._celsius).nominal_ohm
        width = 0.03 if isinstance(thing, Bond) else 0.012
        added = sum(fault.adds(self._work.week) for fault in APPEARING if fault.item == name)
        return max(1e-5, sound * (1.0 + self._own(name, width))) + added

    def _own(self, name: str, width: float) -> float:
        """How far this very item is off, the same on every evening of a season."""
        return random.Random(f"{self._seed} {name}").uniform(-width, width)


def _on_reference(source: Single) -> bool:
    """Whether the bench is proven on its reference resistor."""
    return isinstance(source, Prove) and source.against == "reference"
