"""The few names that a script or a notebook needs: a job, a record, a meter, what a conductor should read.

The package itself gives them out: ``from bench import open_job, open_record, open_meter, expected_resistance``.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
from msgspec.structs import replace

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.functions import Function
from bench.instruments.profile.library import Library
from bench.instruments.profile.profile import Profile
from bench.instruments.values import Expected, Identity, Sample
from bench.job.folder import Folder, open_folder
from bench.job.history import History, studies_of
from bench.job.points import point_of
from bench.job.readiness import Readiness
from bench.job.standing import standing
from bench.job.study import Study
from bench.judge.accuracy import AccuracyTable
from bench.judge.conductor import ExpectedResistance
from bench.judge.decision import Decision, NotANumber, Overload, Rule, decide
from bench.judge.judge_error import JudgeError
from bench.judge.limit import Limit
from bench.judge.ohms import Leads
from bench.judge.reading import overload_reading, reading_budget
from bench.judge.uncertainty import Budget
from bench.plant.conductor_make import Wire, expected
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.plant.size import Size
from bench.quantity import Length, Temperature
from bench.record.export import rows, table_of
from bench.record.index import records_in
from bench.record.replay import replay
from bench.record.verify import Verified, verify
from bench.report.console import summary
from bench.roles import Reads, function_name
from bench.say.reading import reading as in_words
from bench.walk.setting import Rules
from bench.walk.state import State

if TYPE_CHECKING:
    import pyarrow


# A conductor


def expected_resistance(
    size: str,
    length: str | float,
    *,
    length_tolerance: str | float = 0.0,
    temperature: str | float = 20.0,
    material: str = "copper",
    strands: int = 1,
) -> ExpectedResistance:
    """What a conductor should read from end to end, with the band that a sound one keeps.

    Args:
        size: ``AWG 24`` or ``2.5 mm2``.
        length: along the conductor, one way: ``12 m``, or metres.
        length_tolerance: how far off the length may be, either way.
        temperature: of the conductor: ``35 degC``, or degrees Celsius.
        material: ``copper``, ``tinned copper`` or ``aluminium``.
        strands: class of IEC 60228: 1 solid, 2 stranded, 5 flexible.

    Returns:
        Nominal, lowest and highest ohms, where they come from, and the limit that follows.

    Raises:
        QuantityError: a text is no size, length or temperature.
        JudgeError: a length, a class or a metal that makes no sense.
    """
    return expected(
        Wire(Size.parse(size), material, strands),
        _plain(length, Length),
        _plain(length_tolerance, Length),
        _plain(temperature, Temperature),
        (),
    )


def _plain(given: str | float, kind: type[Length] | type[Temperature]) -> float:
    return kind.parse(given).value if isinstance(given, str) else float(given)


# A record


class Record:
    """One record: what was read in a walk, and the verdicts.

    Attributes:
        path: its file.
        state: the walk at the record's end, judged by today's code.
    """

    def __init__(self, path: Path, state: State) -> None:
        self.path = path
        self.state = state

    @property
    def plant(self) -> Plant:
        """The plant that the walk ran with."""
        assert self.state.setting is not None  # a replay that holds no walk is refused
        return self.state.setting.plant

    @property
    def ending(self) -> str:
        """``done``, ``aborted``, or the phase that the walk stands in."""
        return self.state.phase.value

    def readings(self) -> list[dict[str, Any]]:
        """Every reading as a plain row, for a data frame; ``proveout export --columns`` says what a column holds."""
        return list(rows(self.path))

    def table(self) -> pyarrow.Table:
        """The same as a table of pyarrow, with types and descriptions.

        Raises:
            NoParquet: pyarrow is not installed; the text says how to get it.
        """
        return table_of(rows(self.path))

    def verdicts(self) -> list[dict[str, Any]]:
        """What counts at the end, in the order of the sequence: each verdict with its sentence, value and limit."""
        found: list[dict[str, Any]] = summary(self.state, self.path)["verdicts"]
        return found

    def verify(self) -> Verified:
        """Whether the record is as it was written, and judged today as it was then."""
        return verify(self.path)


def open_record(path: str | Path, rules: Rules | None = None) -> Record:
    """Read a record, its chain checked, and judge it.

    Args:
        path: the record's file.
        rules: other limits or another decision rule than the walk's own.

    Raises:
        BrokenRecord: it is no record of a walk, or not one that the program could have written.
    """
    return Record(Path(path), replay(Path(path), rules))


# A job


class Job:
    """A job: its plant, and all that its records say of it.

    Attributes:
        plant: as its file has it now.
        logs: the folder of its records.
    """

    def __init__(self, plant: Plant, logs: Path) -> None:
        self.plant = plant
        self.logs = logs

    @cached_property
    def folder(self) -> Folder:
        """The records of this plant, each distilled; read when first asked for.

        Raises:
            NoRecords: there is no such folder.
        """
        return open_folder(self.logs, self.plant.name)

    def records(self) -> list[Path]:
        """The files of all records, by name."""
        return records_in([self.logs])

    def evidence(self) -> list[dict[str, Any]]:
        """What was read of the plant in all records and still counts, as plain rows; what was disturbed is ``void``."""
        return [msgspec.structs.asdict(row) for row in self.folder.counting(self.plant)]

    def ready(self) -> Readiness:
        """What is proven, what stands in the way of power shelf by shelf, and what to do next."""
        return standing(self.folder, self.plant)

    def trace(self, name: str) -> list[Study]:
        """What became of a point over all records: each of its series of readings, studied.

        Args:
            name: a pin, conductor, cable, connector, shelf, bond, feed or any other name of the plant.

        Raises:
            UnknownName: the plant has nothing of this name.
        """
        point = point_of(self.plant, name)
        return studies_of(History(self.logs, self.records(), self.plant.name), self.plant, point)


def open_job(path: str | Path, logs: str | Path | None = None) -> Job:
    """Open a job.

    Args:
        path: its folder, in which ``plant.yaml`` is, or its plant file.
        logs: the folder of its records; by default ``logs`` beside the plant file.

    Raises:
        BadFile: the plant file has problems.
    """
    plant = Path(path) / "plant.yaml" if Path(path).is_dir() else Path(path)
    return Job(load_plant(plant), Path(logs) if logs is not None else plant.parent / "logs")


# A meter


class Reading(msgspec.Struct, frozen=True):
    """One reading of a meter, with how sure it is.

    Attributes:
        sample: what the meter said, raw bytes included.
        known: the value with its uncertainty, or what is known of one that is over range or no number; None where the
            profile says nothing of the accuracy.
    """

    sample: Sample
    known: Budget | Overload | NotANumber | None

    @property
    def value(self) -> float | None:
        """In the base unit, the leads taken off; None where the meter showed over range or no number."""
        return self.known.value if isinstance(self.known, Budget) else self.sample.value

    @property
    def unit(self) -> str:
        """The base unit."""
        return self.sample.unit

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty at 95 %; None where it is not known."""
        return self.known.expanded_uncertainty if isinstance(self.known, Budget) else None

    def __str__(self) -> str:
        return in_words(self.value, self.unit, expanded=self.expanded, over=self.sample.over)

    def judge(self, limit: Limit | ExpectedResistance, rule: Rule | None = None) -> Decision:
        """Hold it against a limit, or against what a conductor should read.

        Args:
            limit: what is asked, and by whom.
            rule: the decision rule; by default that of :func:`bench.judge.decision.decide`.

        Raises:
            JudgeError: nothing is known of the meter's accuracy, or the limit has another unit.
        """
        if self.known is None:
            raise JudgeError(f"accuracy of {self.sample.function}", "nothing in the profile", "figures to judge by")
        return decide(self.known, limit.limit() if isinstance(limit, ExpectedResistance) else limit, rule)


class Meter:
    """A meter on an open port. Use it as a context manager: what it energised is made safe on the way out.

    Attributes:
        instrument: the instrument itself, for all that is not said here.
        identity: who it said it is.
    """

    def __init__(self, instrument: Instrument, identity: Identity) -> None:
        self.instrument = instrument
        self.identity = identity
        figures = accuracy_rows(instrument.profile)
        self._accuracy = AccuracyTable(instrument.profile.profile, figures) if figures else None

    @property
    def profile(self) -> Profile:
        """How it talks and how accurate it is."""
        return self.instrument.profile

    def read(
        self,
        reads: Reads,
        *,
        wires: int = 2,
        range: float | None = None,
        settings: Mapping[str, str | float] | None = None,
        leads_ohm: float | None = None,
        ambient: float = 20.0,
        after: float = 0.0,
        energise: bool = False,
    ) -> Reading:
        """Set the meter, and take one reading.

        Args:
            reads: ``resistance``, ``voltage``, ``current`` and so on.
            wires: for resistance: 2 or 4.
            range: the value to be shown, in the base unit; None: it ranges by itself.
            settings: values for the function's other settings, such as ``nplc`` or ``voltage``.
            leads_ohm: what the leads read when they were held together, with two wires; None: nobody tried.
            ambient: temperature at the meter, in degrees Celsius.
            after: seconds to wait between beginning and reading, for an insulation test and anything that charges.
            energise: whether a function may be used that puts a voltage of its own on the plant. Look first that nobody
                touches it; local rules and licensed practice come first.

        Raises:
            InstrumentTrouble: the meter cannot do it, refuses, or is not heard.
            ValueError: the function energises and nobody said that it may.
        """
        function = self._function(reads, wires)
        if function.energises and not energise:
            raise ValueError(f"'{function.name}' energises what it reads: say energise=True once nobody touches it")
        self.instrument.configure(function.name, range, settings)
        sample = self.instrument.read(after)
        return Reading(sample, self._known(function, sample, wires, leads_ohm, ambient))

    def _function(self, reads: Reads, wires: int) -> Function:
        for function in self.profile.functions:
            if function_name(function.reads, function.wires) == function_name(reads, wires):
                return function
        known = ", ".join(dict.fromkeys(function_name(one.reads, one.wires) for one in self.profile.functions))
        raise ValueError(f"{self.profile.profile} reads no {function_name(reads, wires)}; it reads: {known}")

    def _known(
        self, function: Function, sample: Sample, wires: int, leads_ohm: float | None, ambient: float
    ) -> Budget | Overload | NotANumber | None:
        table = self._accuracy
        if table is None or function.name not in table.functions:
            return None
        if sample.nan:
            return NotANumber(sample.unit)
        if sample.value is None:
            # of a range that nobody knows it proves no more than the lowest does: a key may have held it there
            ranges = sorted((row for row in table.rows if row.function == function.name), key=lambda row: row.top)
            row = next((one for one in ranges if one.range_top == sample.range), ranges[0])
            beyond = overload_reading(row, temperature_c=ambient, negative=sample.over == "-")
            return replace(beyond, top=sample.bound) if sample.bound else beyond
        leads = None
        if function.reads == "resistance":
            nulled = Leads.nulled(leads_ohm) if leads_ohm is not None else Leads.not_nulled()
            leads = Leads.four_wires() if wires == 4 else nulled
        picked = table.pick(function.name, sample.value, range_top=sample.range)
        return reading_budget(sample.value, picked, temperature_c=ambient, leads=leads)

    def __enter__(self) -> Meter:
        return self

    def __exit__(self, *_: object) -> None:
        self.instrument.__exit__()


def open_meter(profile: str, port: str, *, job: str | Path | None = None, serial: str = "") -> Meter:
    """Open a meter's port, and find by its profile that it is the one that is meant.

    Args:
        profile: the name of a profile; ``proveout profile`` lists those at hand.
        port: a serial port, ``socket://host:port`` or a VISA resource name.
        job: a job's folder, for profiles of its own in ``drivers``.
        serial: the serial number that it must answer with; empty: any.

    Raises:
        BadFile: there is no such profile, or it cannot be used.
        InstrumentTrouble: the port cannot be had, or something else answers on it.
    """
    library = Library.for_job(Path(job) if job is not None else None)
    known, decoder = library.profile(profile), library.decoder(profile)
    transport = open_port(port, known.line)
    try:
        instrument = Instrument(known, transport, decoder=decoder, expected=Expected(serial))
        return Meter(instrument, instrument.open())
    except BaseException:
        transport.close()
        raise
