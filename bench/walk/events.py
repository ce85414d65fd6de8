"""What happened, as facts: the events of a record.

Events are frozen and never subclassed further. They hold answers, readings with their raw bytes, times, identities
and versions; verdicts are derived from them and are never stored as truth. Every event travels in an envelope that
carries its running number and the time of day (UTC); see :mod:`bench.record`.

Evolution: a new field has a default, a field is never renamed or given another meaning, and an event type is never
removed. So records of older versions stay readable.
"""

from __future__ import annotations

from typing import Any, Final, Literal

import msgspec

from bench.plant.file import PlantFile
from bench.plant.handled import Mark
from bench.sequence.file import Do, Found, Measure, SequenceFile
from bench.walk.facts import BenchFacts

FORMAT: Final = 1
"""The record's format version."""


class _Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="is", omit_defaults=True):
    pass


class Seen(msgspec.Struct, frozen=True):
    """A record that whoever wrote this had before them, and how far it went then: this orders records, and no clock."""

    id: str
    """The hash of its first line: the same in every copy."""
    n: int
    """The number of its last line then."""
    head: str
    """That line's hash."""


EDITION: Final = 3
"""The machine of today. In edition 1 what the walk had passed over by itself kept everything else off that it had
touched, and breakers that were open already were asked for again. Up to edition 2 an idle current was held against the
supply's voltage of the plant file and not against the one that was read with it; a figure that somebody typed was not
asked again where it came too soon, was far below what is expected, or was the one before."""


class Began(_Event, frozen=True, kw_only=True, tag="began"):
    """A walk began. Holds all that is needed to judge it again with nothing else at hand."""

    format: int = FORMAT
    software: str
    edition: int = 1
    """By which edition of the machine it is walked: a record is folded by the edition that walked it."""
    plant: PlantFile
    sequence: SequenceFile
    bench: BenchFacts
    """Instruments with profile, accuracy rows and calibration dates; roles."""
    bench_text: str = ""
    """The bench file as it stood, so that the walk can be resumed without it."""
    job: str = ""
    """The job's folder, where profiles of its own are looked for."""
    seed: int | None = None
    operator: str = ""
    sources: dict[str, str] = {}
    """File name to SHA-256 of its bytes, for the files that were read."""
    cleared: dict[str, str] = {}
    """Shelf that is brought up on the evidence of other records to why these do not clear it; empty where they do."""
    gates: dict[str, list[str]] = {}
    """Shelf behind a gate to what the records have not proven of it, and how to prove it; a shelf that is not named was
    not looked at."""
    order: int = 0
    """One more than the greatest of the records that were seen; 0 in records of older versions."""
    saw: list[Seen] = []
    """The other records of the job that were there: the last ones, those that they saw themselves are left out."""
    found: list[Mark] = []
    """How these records left breakers, supplies, cards, bonds and plugs."""


class Met(_Event, frozen=True, kw_only=True, tag="met"):
    """An instrument answered to its name and is ready."""

    number: int
    instrument: str
    roles: list[str]
    identity: str
    address: str = ""
    serial: str = ""
    version: str = ""
    other: bool = False
    """It is another one than answered to this name before: what was checked with that one is checked again."""


class Answered(_Event, frozen=True, kw_only=True, tag="answered"):
    """A request was answered by a person, or by hands that act for one."""

    number: int
    answer: str = ""
    """The typed word or value; empty for a plain confirmation; 'retry' after trouble."""
    by: str = ""
    how: Literal["key", "contact", "simulated", "matrix"] = "key"
    read_by: str = ""
    """Of a figure that was filled into a work sheet: who read it, as the sheet says."""
    read_at: str = ""
    """When, as the sheet says."""


class Read(_Event, frozen=True, kw_only=True, tag="read"):
    """A reading, just as the instrument gave it."""

    number: int
    instrument: str
    function: str
    unit: str
    value: float | None = None
    """In the base unit; None where the meter showed over range or no number."""
    over: Literal["", "+", "-"] = ""
    bound: float | None = None
    """Over range: what the value lies beyond, in the base unit, as far as the meter's reply tells."""
    nan: bool = False
    flags: list[str] = []
    range: float | None = None
    resolution: float | None = None
    raw: list[str] = []
    """Every reply that the value rests on, undecodable bytes written as ``\\xNN``."""
    count: int = 1
    series: list[tuple[float, float | None]] = []
    """Timed readings while the test voltage stayed on: seconds since it was put on, and the reading (None: over
    range)."""
    spread: float | None = None
    """Standard deviation of the single readings where several were averaged."""
    took: float = 0.0
    """Seconds from trigger to reply."""
    tries: int = 1
    judged: dict[str, Any] = {}
    """What the runner made of it then, with the uncertainty budget: for people and other tools. The fold never reads
    this; it judges anew."""


class Troubled(_Event, frozen=True, kw_only=True, tag="troubled"):
    """An instrument or a port gave trouble; the step is not done."""

    number: int
    instrument: str
    kind: str
    what: str
    advice: str = ""
    raw: list[str] = []


class Switched(_Event, frozen=True, kw_only=True, tag="switched"):
    """An output or a switch was set, and read back."""

    number: int
    instrument: str
    state: str
    confirmed: bool
    raw: list[str] = []


class Energised(_Event, frozen=True, kw_only=True, tag="energised"):
    """An output was brought up and watched, and is on, or was switched off by what the watch saw.

    Times are seconds from the first setting on. Readings that showed over range or no number are ``None``.
    """

    number: int
    instrument: str
    state: Literal["on", "off"]
    """As read back at the end."""
    meter: str = ""
    """The ammeter in the supply's lead that read the current; empty where the supply read it itself."""
    confirmed: bool
    why: str
    """Why the watch ended: ``done``, or what tripped; see :data:`bench.judge.watch.Why`."""
    times: list[float] = []
    amps: list[float | None] = []
    terminal: list[tuple[float, float]] = []
    """Time and volts at the supply's terminals, where they were read."""
    sets: list[tuple[float, float, float]] = []
    """Time, volts and current limit of every setting, when the supply had taken it."""
    tripped: int | None = None
    """Which of the readings switched it off."""
    thinned: int = 1
    """While it soaked one of so many readings was kept; the watch saw all."""
    raw: list[str] = []
    """The replies that the last reading and the state at the end rest on."""


class Elapsed(_Event, frozen=True, kw_only=True, tag="elapsed"):
    """Time passed while waiting, on the monotonic clock."""

    number: int
    seconds: float


class Advised(_Event, frozen=True, kw_only=True, tag="advised"):
    """What a search wants next, or what it came to.

    What it is worked out from are the readings of the record, so it can be worked out again; it is kept as a fact
    since people act on it: whoever replays the record sees what was asked for then, whatever later versions would ask.
    """

    number: int
    want: Do | Measure | Found
    """An act, a reading, or the end of the search."""
    done: int = 0
    """Readings so far that count."""
    left: int = 0
    """At most so many readings more, as far as is known; 0 where there is no saying."""
    why: str = ""
    """Why this one: what it would tell apart."""
    facts: dict[str, Any] = {}
    """What is suspected so far, as plain data of the search's own."""


class Skipped(_Event, frozen=True, kw_only=True, tag="skipped"):
    """A step was passed over, with a reason."""

    number: int
    reason: str
    by: str = ""
    whole: bool = False
    """Within a search: the search as a whole, and not just the act or reading that it asked for."""


class Went(_Event, frozen=True, kw_only=True, tag="went"):
    """The operator went to another step: back, or to one again. Earlier readings stay in the record."""

    number: int
    to: int
    then: Literal["return", "go-on"] = "return"
    """After that step: return to where the walk stood, or go on from there."""
    by: str = ""


class Noted(_Event, frozen=True, kw_only=True, tag="noted"):
    """A remark."""

    text: str
    by: str = ""


class Disturbed(_Event, frozen=True, kw_only=True, tag="disturbed"):
    """Something physical was changed: evidence from before about what it touches no longer counts."""

    touches: list[str]
    text: str = ""
    by: str = ""
    when: str = ""
    """When it happened, where it is told later: UTC, ISO 8601 with a Z. Empty: at the time of the event itself."""
    saw: list[Seen] = []
    """Outside any walk: the last records of the job that were there."""


class Paused(_Event, frozen=True, kw_only=True, tag="paused"):
    """The walk rests. With ``make_safe`` outputs go off first: nobody is there to watch them."""

    why: str = ""
    by: str = ""
    make_safe: bool = False


class Continued(_Event, frozen=True, kw_only=True, tag="continued"):
    """The walk goes on after a pause."""

    by: str = ""


class Seated(_Event, frozen=True, kw_only=True, tag="seated"):
    """Who holds the operator's seat from here on; empty: nobody."""

    by: str = ""
    where: str = ""


class Resumed(_Event, frozen=True, kw_only=True, tag="resumed"):
    """A new runner opened the record: ports were closed in between and outputs are made safe first."""

    software: str
    bench: BenchFacts | None = None
    """The bench from here on, where it is another one than before."""
    bench_text: str = ""
    gates: dict[str, list[str]] | None = None
    """As in :class:`Began`, where the records were looked at again."""
    zero_again: bool = False
    """The last zero of the leads is too old to be taken off: they are zeroed before the walk reads on."""


class Mended(_Event, frozen=True, kw_only=True, tag="mended"):
    """The record's torn end was set aside after a crash."""

    bytes: int
    sha256: str
    kept: str


class Aborted(_Event, frozen=True, kw_only=True, tag="aborted"):
    """The walk was given up."""

    why: str = ""
    by: str = ""


class MadeSafe(_Event, frozen=True, kw_only=True, tag="made-safe"):
    """Every output was told to go to its safe state.

    ``confirmed`` maps an instrument to whether it was read back; an instrument without outputs is not in it.
    """

    number: int
    confirmed: dict[str, bool] = {}
    left: list[str] = []
    """What the tool cannot switch off itself, in words."""


class Guarded(_Event, frozen=True, kw_only=True, tag="guarded"):
    """The runner was gone or hung, and the guard beside it told every output to go to its safe state."""

    why: str = ""
    confirmed: dict[str, bool] = {}
    """As in :class:`MadeSafe`."""
    left: list[str] = []


class OutputsSeen(_Event, frozen=True, kw_only=True, tag="outputs-seen"):
    """Somebody went and looked at outputs that a record ended with on. It may come after the end of a walk too."""

    states: dict[str, Literal["off", "on"]]
    """Instrument to how its output was found, or left."""
    text: str = ""
    by: str = ""


Event = (
    Began
    | Met
    | Answered
    | Read
    | Troubled
    | Switched
    | Energised
    | Elapsed
    | Advised
    | Skipped
    | Went
    | Noted
    | Disturbed
    | Paused
    | Continued
    | Seated
    | Resumed
    | Mended
    | Aborted
    | MadeSafe
    | Guarded
    | OutputsSeen
)


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """An event in its envelope."""

    n: int
    """Counts from 1 in each record."""
    at: str
    """Time of day, UTC, ISO 8601 with microseconds and a Z."""
    event: Event
