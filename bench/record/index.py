"""Records in a folder: which there are, what they begin with, and a search that need not read them whole.

The search looks for names in the raw bytes and decodes nothing: the runner notes beside every reading its step, its
subject and its places, in this order. It does not check the chain; :mod:`bench.record.verify` does.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import time
from collections.abc import Callable, Collection, Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Final, TypeVar

import msgspec

from bench.files import from_text
from bench.plant.file import PlantFile
from bench.recent import Recent
from bench.record.append import RecordWriter, TimeOfDay, mended, utc_now
from bench.record.chain import FIRST, LONGEST, BadLine, check, decode, in_place, is_torn, split
from bench.record.read import BrokenRecord, read_chained, read_lines
from bench.say.times import minute, zone
from bench.walk.events import Disturbed, Entry, Mended, Seen

DISTURBANCES: Final = "disturbances.jsonl"
"""The file of a folder's disturbances that were told outside any walk. It is chained like a record."""
BLOCK: Final = 2**20
"""Bytes that a search holds at a time."""
MOST_IN_ONE: Final = 40
"""Names that are sought by one pattern; more are looked up one by one."""

_TEXT: Final = rb'"([^"\\]*+(?:\\.[^"\\]*+)*+)"'
_SUBJECT: Final = b'"subject":"'
_NOTED: Final = re.compile(rb'"subject":' + _TEXT + rb',"between":\[' + _TEXT + rb"," + _TEXT + rb"\]")
_READING: Final = b'"event":{"is":"read"'
_NOTE: Final = b'"judged":{"step":'
_BESIDE: Final = (b'"step":"energise"', b'"name":"capacitors"')
_AT: Final = re.compile(rb'^\{"n":(\d{1,18}),"at":"([^"]+)"')


class HeadInstrument(msgspec.Struct, frozen=True):
    """What the first line says of an instrument, as far as lists of records need it."""

    name: str
    profile: str = ""
    calibrated: str = ""
    due: str = ""


class HeadBench(msgspec.Struct, frozen=True):
    """What the first line says of the bench."""

    name: str
    simulated: bool = False
    instruments: list[HeadInstrument] = []


class HeadSequence(msgspec.Struct, frozen=True):
    """What the first line says of the sequence."""

    sequence: str


class _HeadPlant(msgspec.Struct, frozen=True):
    """What the plant in the first line says of itself."""

    plant: str


class _HeadEvent(msgspec.Struct, frozen=True, tag_field="is", tag="began"):
    software: str
    plant: msgspec.Raw
    sequence: HeadSequence
    bench: HeadBench
    operator: str = ""
    order: int = 0
    saw: list[Seen] = []


class _HeadLine(msgspec.Struct, frozen=True):
    at: str
    event: _HeadEvent
    hash: str = ""


class _PlantEvent(msgspec.Struct, frozen=True, tag_field="is", tag="began"):
    plant: msgspec.Raw


class _PlantLine(msgspec.Struct, frozen=True):
    event: _PlantEvent


_PLANTS: Final[Recent[bytes, tuple[str, str]]] = Recent(8)
"""Plant, as records hold it, to its name and digest: most records of a job hold the same one."""
_head: Final = msgspec.json.Decoder(_HeadLine)
_head_plant: Final = msgspec.json.Decoder(_HeadPlant)
_plant_of: Final = msgspec.json.Decoder(_PlantLine)


@cache
def _plant_decoder() -> msgspec.json.Decoder[PlantFile]:
    """Made where a plant is wanted: it takes as long as this module."""
    return msgspec.json.Decoder(PlantFile, dec_hook=from_text)


class Head(msgspec.Struct, frozen=True):
    """What a record begins with.

    Attributes:
        path: the record.
        at: when the walk began, UTC.
        software: the version that wrote it.
        sequence: the sequence's name.
        bench: the bench.
        operator: who began it.
        plant_name: the plant's name.
        plant_digest: SHA-256 of the plant as the record holds it, to tell plants apart without resolving them.
        order: of the record among those of its job; 0 in records of older versions.
        saw: the last records that were there when it began.
        id: the first line's hash, as it stands there.
    """

    path: Path
    at: str
    software: str
    sequence: str
    bench: HeadBench
    operator: str
    plant_name: str
    plant_digest: str
    order: int = 0
    saw: tuple[Seen, ...] = ()
    id: str = ""

    def plant_file(self) -> PlantFile:
        """The plant that the walk ran with.

        Raises:
            BrokenRecord: it is no plant that this version knows.
        """
        try:
            return _plant_decoder().decode(self._plant_json())
        except (msgspec.MsgspecError, ValueError) as error:
            raise BrokenRecord(self.path, 1, f"holds no plant that this version knows: {error}") from error

    def _plant_json(self) -> bytes:
        """Read again when it is asked for: it is long, and a folder has many records."""
        return bytes(_decoded(self.path, _plant_of).event.plant)


T = TypeVar("T")


def _decoded(path: Path, decoder: msgspec.json.Decoder[T]) -> T:
    line = next((line for _, line in read_lines(path)), b"")
    if not line.endswith(b"\n"):
        raise BrokenRecord(path, 0, nothing_in(len(line)))
    try:
        return decoder.decode(line)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise BrokenRecord(path, 1, f"does not begin a walk: {error}") from error


def files_in(paths: Iterable[Path]) -> list[Path]:
    """The JSON-lines files among files and below folders, each once, by name; hidden folders are left out.

    Raises:
        BrokenRecord: a path does not exist.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            for one in sorted(_below(str(path))):
                found.setdefault(path.joinpath(*one))
        elif path.exists():
            found.setdefault(path)
        else:
            raise BrokenRecord(path, 0, "does not exist")
    return list(found)


def _below(folder: str, parts: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The files below a folder by the parts of their names; links to folders are not gone into."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith("."):
                continue
            if entry.is_dir(follow_symlinks=False):
                yield from _below(entry.path, (*parts, entry.name))
            elif entry.name.endswith(".jsonl") and entry.is_file():
                yield (*parts, entry.name)


def records_in(paths: Iterable[Path]) -> list[Path]:
    """The records among files and below folders; files of disturbances, surveys and watches are not among them.

    Raises:
        BrokenRecord: a path does not exist.
    """
    from bench.record.survey import is_survey  # the words of both are their own
    from bench.record.watch import is_watch

    others = (is_survey, is_watch)
    found = [path for path in files_in(paths) if path.name != DISTURBANCES]
    return [path for path in found if not any(other(path) for other in others)]


def head_of(path: Path) -> Head:
    """What a record begins with.

    Raises:
        BrokenRecord: it cannot be read or does not begin a walk.
    """
    read = _decoded(path, _head)
    event, plant = read.event, bytes(read.event.plant)
    try:
        name, digest = _PLANTS.get(plant, lambda: (_head_plant.decode(plant).plant, hashlib.sha256(plant).hexdigest()))
    except msgspec.MsgspecError as error:
        raise BrokenRecord(path, 1, f"does not begin a walk: {error}") from error
    return Head(
        path=path,
        at=read.at,
        software=event.software,
        sequence=event.sequence.sequence,
        bench=event.bench,
        operator=event.operator,
        plant_name=name,
        plant_digest=digest,
        order=event.order,
        saw=tuple(event.saw),
        id=read.hash,
    )


class End(msgspec.Struct, frozen=True):
    """A record's last whole line, as it stands there: nothing of it is checked.

    Attributes:
        n: its number; 0 where there is none.
        at: when it was written, UTC.
        hash: the hash that it states.
    """

    n: int = 0
    at: str = ""
    hash: str = ""


def end_of(path: Path) -> End:
    """A record's last whole line, without reading what is before it.

    Raises:
        BrokenRecord: it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            size = stream.seek(0, os.SEEK_END)
            span = 4096
            while True:
                start = max(0, size - span)
                stream.seek(start)
                lines = stream.read(min(span, size)).split(b"\n")
                # the first piece may be the middle of a line, the last one is what follows the last newline
                whole = lines[:-1] if start == 0 else lines[1:-1]
                if whole or start == 0:
                    found = _AT.match(whole[-1]) if whole else None
                    if found is None:
                        return End()
                    return End(
                        int(found[1]), found[2].decode("ascii", "replace"), whole[-1][-66:-2].decode("ascii", "replace")
                    )
                span *= 16
    except OSError as error:
        raise BrokenRecord(path, 0, f"cannot be read: {error.strerror}") from error


def clock_behind(folder: Path, now: str) -> str:
    """What is wrong where the clock is behind what records of a folder say: it is wrong now, or it was wrong then.

    Args:
        folder: of the records.
        now: the time of day, as records have it.

    Returns:
        In words; empty where nothing is wrong.
    """
    latest, name = now, ""
    for path in files_in([folder]) if folder.is_dir() else ():
        with contextlib.suppress(BrokenRecord):
            end = end_of(path).at
            if end > latest:  # the record that has just been begun says the same
                latest, name = end, path.name
    if not name:
        return ""
    return (
        f"the clock of this computer says {minute(now)} {zone()}, and {name} was written until {minute(latest)}: it is "
        "wrong now, or was wrong then. The order of the records does not rest on it; set it right all the same"
    )


# Searching


def has_notes(path: Path) -> bool:
    """Whether the record's readings carry the notes that a search looks for; a record without readings counts as so.

    Records of early versions have none: they must be folded.

    Raises:
        BrokenRecord: it cannot be read.
    """
    return next((_NOTE in line for _, line in read_lines(path) if _READING in line), True)


def tells_beside_readings(path: Path) -> bool:
    """Whether the record's sequence brings anything up or has capacitors' values typed: neither stands in a reading.

    Raises:
        BrokenRecord: it cannot be read.
    """
    first = next((line for _, line in read_lines(path)), b"")
    return any(mark in first for mark in _BESIDE)


def search(path: Path, names: Collection[str] | None = None) -> Iterator[bytes]:
    """The raw lines of the readings that a record has of some names, in constant memory, in file order.

    Args:
        path: the record, one that :func:`has_notes`.
        names: of subjects and places; None for every reading between two places. Readings of the bench itself
            (zeros, proofs) have no places and are never found.

    Raises:
        BrokenRecord: it cannot be read.
    """
    takes = _taker(names)
    for data, end in _pieces(path):
        find, at = data.find, 0
        while (at := find(_SUBJECT, at, end)) >= 0:
            # a line holds one note at most, and of other lines only the first one has such a key: the rest is skipped
            taken = takes(data, at)
            after = find(b"\n", at, end) + 1
            if taken:
                yield bytes(data[data.rfind(b"\n", 0, at) + 1 : after])
            at = after


def _taker(names: Collection[str] | None) -> Callable[[bytearray, int], object]:
    """Says whether the reading is wanted whose subject stands at a place."""
    if names is None:
        return _NOTED.match
    wanted = [msgspec.json.encode(name)[1:-1] for name in names]
    if len(wanted) > MOST_IN_ONE:
        known = frozenset(wanted)

        def among(data: bytearray, at: int) -> bool:
            found = _NOTED.match(data, at)
            return found is not None and not known.isdisjoint(found.groups())

        return among
    one = rb'"(?:' + b"|".join(map(re.escape, wanted)) + rb')"'
    subject = rb'"subject":(?:' + one + rb',"between":\["|' + _TEXT
    return re.compile(subject + rb',"between":\[(?:' + one + rb"|" + _TEXT + rb"," + one + rb"))").match


def _pieces(path: Path) -> Iterator[tuple[bytearray, int]]:
    """The file in pieces that end with a line's end: a buffer, and how much of it counts until the next piece.

    A torn end is left out.
    """
    buffer, kept = bytearray(BLOCK), 0
    try:
        with path.open("rb", buffering=0) as stream:
            while True:
                with memoryview(buffer) as view:
                    count = stream.readinto(view[kept:])
                if not count:
                    return
                have = kept + count
                end = buffer.rfind(b"\n", 0, have) + 1
                if end:
                    yield buffer, end
                    kept = have - end
                    buffer[:kept] = buffer[end:have]
                    continue
                kept = have
                if have > LONGEST:
                    raise BrokenRecord(path, 0, f"a line of more than {LONGEST} bytes")
                if have == len(buffer):
                    buffer.extend(bytes(len(buffer)))
    except OSError as error:
        raise BrokenRecord(path, 0, f"cannot be read: {error.strerror}") from error


# The chain as a whole


class Chain(msgspec.Struct, frozen=True):
    """A record's chain, checked from its beginning.

    Attributes:
        lines: how many whole lines there are.
        last: the last line's hash: it stands for the whole content.
        torn: bytes after the last whole line.
        first: the first line's hash: it is the same in every copy, however far that goes.
    """

    lines: int
    last: str
    torn: int
    first: str = ""


def chain_of(path: Path) -> Chain:
    """Check a record's chain.

    Raises:
        BrokenRecord: a line does not fit, or the file cannot be read.
    """
    previous, lines, torn, first = FIRST, 0, 0, ""
    for number, line in read_lines(path):
        try:
            if is_torn(line, previous):
                torn = len(line)
                break
            previous = check(line, previous)
        except BadLine as error:
            raise BrokenRecord(path, number, str(error)) from error
        lines = number
        first = first or previous.decode()
    return Chain(lines, previous.decode(), torn, first)


def hash_at(path: Path, number: int) -> str:
    """The hash of one line of a record whose chain holds; empty where it has no such line.

    Raises:
        BrokenRecord: the file cannot be read.
    """
    return next((split(line)[1].decode() for n, line in read_lines(path) if n == number and line.endswith(b"\n")), "")


class Once(msgspec.Struct, frozen=True):
    """Some records, each once, whatever copies of it are there.

    Attributes:
        records: those that count.
        copies: what is left out as a copy, with the record that counts for it.
        wrong: what cannot be used: damaged, empty, or copies that go on differently, all of them.
    """

    records: tuple[Path, ...]
    copies: dict[Path, Path]
    wrong: dict[Path, BrokenRecord]


def each_once(paths: Iterable[Path]) -> Once:
    """Sort some records by which of them count."""
    chains: dict[str, list[tuple[Chain, Path]]] = {}
    copies: dict[Path, Path] = {}
    wrong: dict[Path, BrokenRecord] = {}
    for path in paths:
        try:
            chain = chain_of(path)
            if not chain.lines:
                raise BrokenRecord(path, 0, nothing_in(chain.torn))
            chains.setdefault(chain.first, []).append((chain, path))
        except BrokenRecord as error:
            wrong[path] = error
    found = []
    for several in chains.values():
        (_, path), *rest = sorted(several, key=lambda one: -one[0].lines)
        apart = [one for chain, one in rest if hash_at(path, chain.lines) != chain.last]
        copies |= {one: path for _, one in rest if one not in apart}
        if not apart:
            found.append(path)
        for one in (path, *apart) if apart else ():
            other = apart[0] if one == path else path
            wrong[one] = BrokenRecord(one, 0, f"begins like {other} and goes on differently: neither counts")
    return Once(tuple(found), copies, wrong)


def nothing_in(torn: int) -> str:
    """What to say of a record that has no whole line.

    Args:
        torn: how many bytes it has.
    """
    cut = f"was cut off in its first line, {torn} bytes long" if torn else "is empty"
    return f"{cut}: the walk was not begun, and nothing of it is lost; begin it again"


SETTLED_NS: Final = 2_000_000_000
"""A file that was touched less than this before it was read may be touched again without its times telling."""


def settled(facts: os.stat_result) -> bool:
    """Whether a file was last touched so long ago that a look at it now can be told from one after the next touch."""
    return time.time_ns() - max(facts.st_mtime_ns, facts.st_ctime_ns) > SETTLED_NS


# Disturbances that were told outside any walk

MAY_BEGIN: Final = (Disturbed, Mended)
"""What a file of disturbances may begin with: whoever was stopped in the midst of the first line left a torn end."""


def declare(folder: Path, event: Disturbed, now: TimeOfDay = utc_now) -> Path:
    """Write a disturbance down in the folder's own file of them, chained like a record.

    Args:
        folder: that holds the file, or will.
        event: the disturbance.
        now: the time of day.

    Raises:
        BrokenRecord: that file was changed; nothing is added to it.
        RecordBusy, RecordTrouble: it cannot be written.
    """
    path = folder / DISTURBANCES
    if path.exists():
        writer, _, torn = RecordWriter.reopen(path, now, MAY_BEGIN)
    else:
        writer, torn = RecordWriter.create(path, now), None
    with writer:
        if torn is not None:
            writer.append(writer.envelope(mended(torn)))
        writer.append(writer.envelope(event))
    return path


def declared(folder: Path, found: list[Entry] | None = None) -> list[Entry]:
    """The disturbances of a folder that were told outside any walk, oldest first.

    Args:
        folder: that holds the file.
        found: takes them up one by one, so that those before a damaged line are had all the same.

    Raises:
        BrokenRecord: the file was changed, or holds something else.
    """
    found = [] if found is None else found
    path = folder / DISTURBANCES
    if not path.is_file():
        return found
    for _, _, entry in read_chained(path, decode, _a_disturbance):
        if isinstance(entry.event, Disturbed):
            found.append(entry)
    return found


def _a_disturbance(entry: Entry, number: int) -> None:
    in_place(entry, number, MAY_BEGIN)
    if not isinstance(entry.event, Disturbed | Mended):
        raise BadLine("something else than a disturbance stands in a file of disturbances")


_SUM: Final = 65
"""Bytes before what is kept: its SHA-256 as hex digits, and a line's end."""


def _sum_of(content: bytes) -> bytes:
    return hashlib.sha256(content).hexdigest().encode() + b"\n"


class Cache:
    """What was worked out of records before, kept by their last hash: never stale, and no loss when it is deleted.

    Each piece carries its own sum: where a bit of it turned, it is worked out again and never believed.

    A folder that cannot be written is no trouble: then nothing is kept.

    Args:
        folder: of the records.
        kind: what is kept, with everything that it depends on besides the record.
    """

    def __init__(self, folder: Path, kind: str) -> None:
        self._folder = folder / ".proveout-cache"
        self._kind = hashlib.sha256(kind.encode()).hexdigest()[:12]

    def get(self, last: str) -> bytes | None:
        """What is kept of the record with this last hash; None where nothing is, or not what was put there."""
        try:
            with open(self._path(last), "rb") as file:  # noqa: PTH123
                kept = file.read()
        except OSError:
            return None
        content = kept[_SUM:]
        return content if kept[:_SUM] == _sum_of(content) else None

    def decoded(self, last: str, decoder: msgspec.json.Decoder[T]) -> T | None:
        """The same, read; None too where it cannot be: whoever asks makes it anew.

        Args:
            last: the record's last hash.
            decoder: reads what was kept.
        """
        kept = self.get(last)
        try:
            return None if kept is None else decoder.decode(kept)
        except (msgspec.MsgspecError, ValueError):
            return None  # written by other code, or by hand

    def put(self, last: str, content: bytes) -> None:
        """Keep something of the record with this last hash.

        Args:
            last: the record's last hash.
            content: what to keep.
        """
        path = self._path(last)
        part = f"{path.removesuffix('.json')}.{os.getpid()}"
        with contextlib.suppress(OSError):
            self._folder.mkdir(exist_ok=True)
            with open(part, "wb") as file:  # noqa: PTH123 - two files for each record: paths are texts here
                file.write(_sum_of(content))
                file.write(content)
            os.replace(part, path)  # noqa: PTH105

    def _path(self, last: str) -> str:
        return f"{self._folder}/{last[:40]}-{self._kind}.json"
