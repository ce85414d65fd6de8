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
    """A record that whoever wrote this had before them, and how far it went then: this orders records, and no clock.

    Attributes:
        id: the hash of its first line: the same in every copy.
        n: the number of its last line then.
        head: that line's hash.
    """

    id: str
    n: int
    head: str


EDITION: Final = 8
"""The machine of today. In edition 1 what the walk had passed over by itself kept everything else off that it had
touched, and breakers that were open already were asked for again. Up to edition 2 an idle current was held against the
supply's voltage of the plant file and not against the one that was read with it; a figure that somebody typed was not
asked again where it came too soon, was far below what is expected, or was the one before. Up to edition 3 nobody was
asked of which range an OL was, an instrument that came in for another one had only the leads zeroed again, and no
other check of the bench, and readings were asked for behind a hold point that the walk had passed over. Up to edition
4 a figure counted though its range shows it with another point and prefix, and an instrument whose output was found off
while another one read was not met again: the walk took it for on.
Up to edition 5 a reading that had to be taken while a shelf is fed, and was passed over since that shelf stays off,
kept off the neighbours that it is read at. Up to edition 6 what an ammeter that is read by eye may show with nothing
flowing counted as leakage. Up to edition 7 a figure that would fail was asked for until the same was typed twice: where
a display does not stand still, for ever."""


class Began(_Event, frozen=True, kw_only=True, tag="began"):
    """A walk began. Holds all that is needed to judge it again with nothing else at hand.

    Attributes:
        format: the record's format version.
        software: name and version of the program.
        edition: by which edition of the machine it is walked: a record is folded by the edition that walked it.
        plant: the plant file, whole.
        sequence: the sequence file, whole.
        bench: instruments with profile, accuracy rows and calibration dates; roles.
        bench_text: the bench file as it stood, so that the walk can be resumed without it.
        job: the job's folder, where profiles of its own are looked for.
        seed: of the simulator's noise; None on a real bench.
        operator: who walks it; empty where not known.
        sources: file name to SHA-256 of its bytes, for the files that were read.
        cleared: shelf that is brought up on the evidence of other records to why these do not clear it; empty where
            they do.
        gates: shelf behind a gate to what the records have not proven of it, and how to prove it; a shelf that is not
            named was not looked at.
        order: one more than the greatest of the records that were seen; 0 in records of older versions.
        saw: the other records of the job that were there: the last ones, those that they saw themselves are left out.
        found: how these records left breakers, supplies, cards, bonds and plugs.
    """

    format: int = FORMAT
    software: str
    edition: int = 1
    plant: PlantFile
    sequence: SequenceFile
    bench: BenchFacts
    bench_text: str = ""
    job: str = ""
    seed: int | None = None
    operator: str = ""
    sources: dict[str, str] = {}
    cleared: dict[str, str] = {}
    gates: dict[str, list[str]] = {}
    order: int = 0
    saw: list[Seen] = []
    found: list[Mark] = []


class Met(_Event, frozen=True, kw_only=True, tag="met"):
    """An instrument answered to its name and is ready.

    Attributes:
        number: of the request that it answers.
        instrument: its name in the bench file.
        roles: what it fills.
        identity: what it said of itself.
        address: where it answered.
        serial: its serial number, where it tells one.
        version: of its own program, where it tells one.
        other: it is another one than answered to this name before, or nobody can tell: what was checked with that one
            is checked again.
    """

    number: int
    instrument: str
    roles: list[str]
    identity: str
    address: str = ""
    serial: str = ""
    version: str = ""
    other: bool = False


class Answered(_Event, frozen=True, kw_only=True, tag="answered"):
    """A request was answered by a person, or by hands that act for one.

    Attributes:
        number: of the request that it answers.
        answer: the typed word or value; empty for a plain confirmation; 'retry' after trouble.
        by: who answered; empty where not known.
        how: a key, a contact that settled, the simulator's hands, or a relay matrix.
    """

    number: int
    answer: str = ""
    by: str = ""
    how: Literal["key", "contact", "simulated", "matrix"] = "key"
    read_by: str = ""
    """Of a figure that was filled into a work sheet: who read it, as the sheet says."""
    read_at: str = ""
    """When, as the sheet says."""


class Read(_Event, frozen=True, kw_only=True, tag="read"):
    """A reading, just as the instrument gave it.

    Attributes:
        number: of the request that it answers.
        instrument: its name in the bench file.
        function: what it read, by the name that is the same for every meter.
        unit: base unit of ``value``.
        value: in the base unit; None where the meter showed over range or no number.
        over: '+' or '-' where the meter showed over range.
        bound: over range: what the value lies beyond, in the base unit, as far as the meter's reply tells.
        nan: the meter gave no number.
        flags: what else the meter said.
        range: the range's nominal value, in the base unit; None where not told.
        resolution: one step of the last digit, in the base unit; None where not known.
        raw: every reply that the value rests on, undecodable bytes written as ``\\xNN``.
        count: how many readings were averaged.
        series: timed readings while the test voltage stayed on: seconds since it was put on, and the reading (None:
            over range).
        trace: of a cable-fault reflectometer, the curve behind it: metres, and the part of the pulse that came back.
        spread: standard deviation of the single readings where several were averaged.
        took: seconds from trigger to reply.
        tries: how often it was asked for.
        judged: what the runner made of it then, with the uncertainty budget: for people and other tools. The fold never
            reads this; it judges anew.
    """

    number: int
    instrument: str
    function: str
    unit: str
    value: float | None = None
    over: Literal["", "+", "-"] = ""
    bound: float | None = None
    nan: bool = False
    flags: list[str] = []
    range: float | None = None
    resolution: float | None = None
    raw: list[str] = []
    count: int = 1
    series: list[tuple[float, float | None]] = []
    trace: list[tuple[float, float]] = []
    spread: float | None = None
    took: float = 0.0
    tries: int = 1
    judged: dict[str, Any] = {}


class Troubled(_Event, frozen=True, kw_only=True, tag="troubled"):
    """An instrument or a port gave trouble; the step is not done.

    Attributes:
        number: of the request that it answers.
        instrument: its name in the bench file; empty where it was no instrument.
        kind: what kind of trouble, in one word.
        what: what happened, in a sentence.
        advice: what to do about it.
        raw: what came over the line.
    """

    number: int
    instrument: str
    kind: str
    what: str
    advice: str = ""
    raw: list[str] = []


class Switched(_Event, frozen=True, kw_only=True, tag="switched"):
    """An output or a switch was set, and read back.

    Attributes:
        number: of the request that it answers.
        instrument: its name in the bench file.
        state: how it is now, as read back.
        confirmed: whether it was read back.
        raw: the replies that this rests on.
        already: it was to go off and was off before: it tripped, or somebody switched it off.
    """

    number: int
    instrument: str
    state: str
    confirmed: bool
    raw: list[str] = []
    already: bool = False


class Energised(_Event, frozen=True, kw_only=True, tag="energised"):
    """An output was brought up and watched, and is on, or was switched off by what the watch saw.

    Times are seconds from the first setting on. Readings that showed over range or no number are ``None``.

    Attributes:
        number: of the request that it answers.
        instrument: the supply.
        state: as read back at the end.
        meter: the ammeter in the supply's lead that read the current; empty where the supply read it itself.
        confirmed: whether ``state`` was read back.
        why: why it ended: ``done``, or what tripped; see :data:`bench.judge.ramp.Why`.
        times: when each current was read.
        amps: the currents.
        terminal: time and volts at the supply's terminals, where they were read.
        sets: time, volts and current limit of every setting, when the supply had taken it.
        tripped: which of the readings switched it off.
        thinned: while it soaked one reading in this number was kept; the watch saw all.
        raw: the replies that the last reading and the state at the end rest on.
        by_hand: a person set it by its knobs and typed what it showed; ``state`` is what that person said.
    """

    number: int
    instrument: str
    state: Literal["on", "off"]
    meter: str = ""
    by_hand: bool = False
    confirmed: bool
    why: str
    times: list[float] = []
    amps: list[float | None] = []
    terminal: list[tuple[float, float]] = []
    sets: list[tuple[float, float, float]] = []
    tripped: int | None = None
    thinned: int = 1
    raw: list[str] = []


class Elapsed(_Event, frozen=True, kw_only=True, tag="elapsed"):
    """Time passed while waiting, on the monotonic clock.

    Attributes:
        number: of the request that it answers.
        seconds: how long.
    """

    number: int
    seconds: float


class Advised(_Event, frozen=True, kw_only=True, tag="advised"):
    """What a search wants next, or what it came to.

    What it is worked out from are the readings of the record, so it can be worked out again; it is kept as a fact
    since people act on it: whoever replays the record sees what was asked for then, whatever later versions would ask.

    Attributes:
        number: of the request that it answers.
        want: an act, a reading, or the end of the search.
        done: readings so far that count.
        left: at most this number of readings more, as far as is known; 0 where there is no saying.
        why: why this one: what it would tell apart.
        facts: what is suspected so far, as plain data of the search's own.
    """

    number: int
    want: Do | Measure | Found
    done: int = 0
    left: int = 0
    why: str = ""
    facts: dict[str, Any] = {}


class Skipped(_Event, frozen=True, kw_only=True, tag="skipped"):
    """A step was passed over, with a reason.

    Attributes:
        number: of the request that it answers.
        reason: in words.
        by: who did it, or said so.
        whole: within a search: the search as a whole, and not just the act or reading that it asked for.
    """

    number: int
    reason: str
    by: str = ""
    whole: bool = False


class Went(_Event, frozen=True, kw_only=True, tag="went"):
    """The operator went to another step: back, or to one again. Earlier readings stay in the record.

    Attributes:
        number: of the request that it answers.
        to: index of the step.
        then: after that step: return to where the walk stood, or go on from there.
        by: who did it, or said so.
    """

    number: int
    to: int
    then: Literal["return", "go-on"] = "return"
    by: str = ""


class Noted(_Event, frozen=True, kw_only=True, tag="noted"):
    """A remark.

    Attributes:
        text: in words.
        by: who did it, or said so.
    """

    text: str
    by: str = ""


class KeptFile(msgspec.Struct, frozen=True, kw_only=True):
    """A file that belongs to a record.

    Attributes:
        name: its own name, without its folder.
        sha256: the sum of its bytes, as hex digits.
        size: how many bytes it has.
        copied: whether a copy lies beside the record; else its checksum alone is kept.
    """

    name: str
    sha256: str
    size: int = 0
    copied: bool = True


class Attached(_Event, frozen=True, kw_only=True, tag="attached"):
    """Files were kept with the step under way, or with what is named. It may come after the end of a walk too.

    Attributes:
        files: what was kept, one by one.
        about: a step's key or a name of the plant; empty for the step under way.
        text: what they show.
        by: who kept them.
    """

    files: list[KeptFile]
    about: str = ""
    text: str = ""
    by: str = ""


class Disturbed(_Event, frozen=True, kw_only=True, tag="disturbed"):
    """Something physical was changed: evidence from before about what it touches no longer counts.

    Attributes:
        touches: names of the plant.
        text: what was done.
        by: who did it, or said so.
        when: when it happened, where it is told later: UTC, ISO 8601 with a Z. Empty: at the time of the event itself.
        saw: outside any walk: the last records of the job that were there.
        later: where it is told later: of each record whose readings were taken after it happened, by its clock and as
            whoever told it was shown, the hash of the first line, with the last line before those readings.
    """

    touches: list[str]
    text: str = ""
    by: str = ""
    when: str = ""
    saw: list[Seen] = []
    later: dict[str, int] = {}


class Paused(_Event, frozen=True, kw_only=True, tag="paused"):
    """The walk is paused. With ``make_safe`` outputs go off first: nobody is there to watch them.

    Attributes:
        why: in words.
        by: who did it, or said so.
        make_safe: outputs go off first.
    """

    why: str = ""
    by: str = ""
    make_safe: bool = False


class Continued(_Event, frozen=True, kw_only=True, tag="continued"):
    """The walk goes on after a pause.

    Attributes:
        by: who did it, or said so.
    """

    by: str = ""


class Seated(_Event, frozen=True, kw_only=True, tag="seated"):
    """Who holds the operator's seat from here on; empty: nobody.

    Attributes:
        by: who; empty: nobody.
        where: at which screen.
    """

    by: str = ""
    where: str = ""


class Resumed(_Event, frozen=True, kw_only=True, tag="resumed"):
    """A new runner opened the record: ports were closed in between and outputs are made safe first.

    Attributes:
        software: name and version of the program.
        bench: the bench from here on, where it is another one than before.
        bench_text: its bench file as it stood.
        gates: as in :class:`Began`, where the records were looked at again.
        zero_again: the last zero of the leads is too old to be taken off: they are zeroed before the walk reads on.
    """

    software: str
    bench: BenchFacts | None = None
    bench_text: str = ""
    gates: dict[str, list[str]] | None = None
    zero_again: bool = False


class Mended(_Event, frozen=True, kw_only=True, tag="mended"):
    """The record's torn end was set aside after a crash.

    Attributes:
        bytes: how much was set aside.
        sha256: of what was set aside.
        kept: the file that it was set aside in.
    """

    bytes: int
    sha256: str
    kept: str


class Aborted(_Event, frozen=True, kw_only=True, tag="aborted"):
    """The walk was given up.

    Attributes:
        why: in words.
        by: who did it, or said so.
    """

    why: str = ""
    by: str = ""


class MadeSafe(_Event, frozen=True, kw_only=True, tag="made-safe"):
    """Every output was told to go to its safe state.

    ``confirmed`` maps an instrument to whether it was read back; an instrument without outputs is not in it.

    Attributes:
        number: of the request that it answers.
        confirmed: instrument to whether its output was read back as off; one without outputs is not in it.
        left: what the tool cannot switch off itself, in words.
    """

    number: int
    confirmed: dict[str, bool] = {}
    left: list[str] = []


class Guarded(_Event, frozen=True, kw_only=True, tag="guarded"):
    """The runner was gone or hung, and the guard beside it told every output to go to its safe state.

    Attributes:
        why: what had become of the runner.
        confirmed: as in :class:`MadeSafe`.
        left: what the tool cannot switch off itself, in words.
    """

    why: str = ""
    confirmed: dict[str, bool] = {}
    left: list[str] = []


class Said(_Event, frozen=True, kw_only=True, tag="said"):
    """What a console of the plant said, line by line; or what is wrong with what comes from it.

    Attributes:
        console: its name in the bench file.
        lines: of each how many seconds before this was written down its first character came, and its text.
        wrong: what is wrong with what comes, or that the port is lost, or there again; empty where nothing is new.
    """

    console: str
    lines: list[tuple[float, str]] = []
    wrong: str = ""


class Sending(_Event, frozen=True, kw_only=True, tag="sending"):
    """Something is sent to a console of the plant now, as the step under way says. Whether the port took it is known
    by whether the step is done.

    Attributes:
        number: of the request.
        console: its name in the bench file.
        line: what, with its end; written as profiles write bytes.
        by: who confirmed it.
    """

    number: int
    console: str
    line: str
    by: str = ""


class Tripped(_Event, frozen=True, kw_only=True, tag="tripped"):
    """A breaker tripped, a fuse blew, a shelf reset or failed: somebody saw it and says so.

    Attributes:
        thing: the breaker or shelf.
        what: in words.
        by: who said so.
    """

    thing: str
    what: str = ""
    by: str = ""


class OutputsSeen(_Event, frozen=True, kw_only=True, tag="outputs-seen"):
    """Somebody went and looked at outputs that a record ended with on. It may come after the end of a walk too.

    Attributes:
        states: instrument to how its output was found, or left.
        text: what was done or seen.
        by: who did it, or said so.
    """

    states: dict[str, Literal["off", "on"]]
    text: str = ""
    by: str = ""


Event = (
    Began
    | Attached
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
    | Said
    | Sending
    | Tripped
)


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """An event in its envelope.

    Attributes:
        n: counts from 1 in each record.
        at: time of day, UTC, ISO 8601 with microseconds and a Z.
        event: what happened.
    """

    n: int
    at: str
    event: Event
