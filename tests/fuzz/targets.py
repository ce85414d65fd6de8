"""What takes bytes from outside, each as a function of bytes that fails where a promise is broken.

A target takes anything. It may refuse in the way that its callers know; any other error is a bug, and so is an answer
that is not what the bytes say: a number that is none, a path outside the folder, an output that nobody asked for.
"""

from __future__ import annotations

import contextlib
import math
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec

from bench.errors import expected
from bench.files import BadFile
from bench.instruments.bench_file import parse_bench
from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.library import Library, load_profile
from bench.instruments.profile.profile import Profile
from bench.plant.load import load_plant
from bench.record.append import RecordWriter
from bench.record.chain import FIRST, hash_of
from bench.record.read import BrokenRecord, read_record
from bench.record.verify import verify
from bench.sequence.load import load_sequence
from bench.simulate.twins.meter import MeterTwin
from bench.walk.results import verdict_lines
from bench.walk.state import OutOfTurn, Refused, Stale, State, request, start, take
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import VirtualLine
from tests.walk import paper_walk as paper
from tests.walks.tool import BENCH, JOB

LIBRARY = Library.for_job()
DRIVERS = JOB.parents[1] / "drivers"
SECRET = "a secret outside of the folder"


@cache
def scratch() -> Path:
    """A folder with a job in it, and something beside it that no file of the job may reach."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    (folder / "secret.csv").write_text(SECRET, "utf-8")
    job = folder / "job"
    job.mkdir()
    (job / "plant.yaml").write_text(paper.PLANT, "utf-8")
    return job


def _told(error: BadFile) -> None:
    assert error.problems
    for problem in error.problems:
        assert problem.found and problem.expected
        assert SECRET not in str(problem)
        assert not [c for c in str(problem) if (ord(c) < 32 and c != "\t") or 127 <= ord(c) < 160], repr(str(problem))


def plant(data: bytes) -> bool:
    """A plant file."""
    path = scratch() / "fuzzed-plant.yaml"
    path.write_bytes(data)
    try:
        found = load_plant(path)
    except BadFile as error:
        _told(error)
        return False
    for conductor in found.conductors.values():
        assert math.isfinite(conductor.length_m) and conductor.length_m > 0
    assert SECRET not in str(found.file)
    return True


def sequence(data: bytes) -> bool:
    """A sequence file over a small plant."""
    path = scratch() / "fuzzed.yaml"
    path.write_bytes(data)
    try:
        found = load_sequence(path)
    except BadFile as error:
        _told(error)
        return False
    for step in found.plan.steps:
        assert "{" not in step.title or "{" in data.decode("utf-8")
    return True


def bench(data: bytes) -> bool:
    """A bench file."""
    try:
        found = parse_bench(data.decode("utf-8", "replace"), "bench.yaml", LIBRARY)
    except BadFile as error:
        _told(error)
        return False
    assert found.file.bench
    return True


def profile(data: bytes) -> bool:
    """A profile."""
    path = scratch() / "scpi-bench-meter.yaml"
    path.write_bytes(data)
    try:
        found = load_profile(path)
    except BadFile as error:
        _told(error)
        return False
    return bool(found.functions) or found.output is not None or found.switch is not None


def record(data: bytes) -> bool:
    """A record, with whatever chain it has: read, verified, opened to be continued."""
    path = scratch() / "fuzzed.jsonl"
    path.write_bytes(data)
    for kept in path.parent.glob("fuzzed.jsonl.torn-*"):
        kept.unlink()
    entries = None
    with contextlib.suppress(BrokenRecord):
        entries = list(read_record(path))
    try:
        found = verify(path)
        assert entries is not None or found.wrong
    except BrokenRecord:
        assert not entries
    try:
        writer, again, _ = RecordWriter.reopen(path)
    except BrokenRecord:
        assert entries is None
        return False
    with writer:
        assert again == entries
        assert data.startswith(path.read_bytes())
    return bool(entries)


def sealed(data: bytes) -> bool:
    """Lines of events that somebody gave a whole chain, folded as replay and resume fold them."""
    chain, lines = FIRST, []
    for number, line in enumerate(data.splitlines()[:400], start=1):
        body = b'{"n":%d,"at":"2026-05-12T18:00:00.000000Z","event":%s' % (number, line)
        chain = hash_of(body, chain)
        lines.append(b'%s,"hash":"%s"}\n' % (body, chain))
    path = scratch() / "sealed.jsonl"
    path.write_bytes(b"".join(lines))
    state: State = start()
    try:
        for entry in read_record(path):
            state = take(state, entry)
            request(state)
        list(verdict_lines(state))
        verify(path)
    except (BrokenRecord, OutOfTurn, Refused, Stale):
        return False
    except Exception as error:
        if expected(error) is None:
            raise
        return False
    return state.setting is not None


def scpi(data: bytes) -> bool:
    """Bytes to a twin that speaks SCPI: it goes on, and every reply is a line."""
    meter = MeterTwin(Hall(), error_scale=0.0)
    now, got = 0.0, b""
    for begin in range(0, len(data), 97):
        meter.receive(data[begin : begin + 97], now)
        got += meter.send(now)
        now += 0.7
    for _ in range(50):
        got += meter.send(now)
        now += 10.0
    meter.receive(b"\n*RST;*CLS\n", now)
    for _ in range(50):
        meter.send(now)
        now += 10.0
    meter.receive(b"\n*IDN?\n", now)
    assert meter.send(now).endswith(b"\n"), "it does not answer any more"
    return bool(got)


class _Says:
    """A twin in whose replies bytes are put in place of its own, from some reply on."""

    def __init__(self, engine: object, replies: list[bytes], after: int) -> None:
        self._engine, self._replies, self._after = engine, replies, after

    def receive(self, data: bytes, now: float) -> None:
        self._engine.receive(data, now)  # type: ignore[attr-defined]

    def send(self, now: float) -> bytes:
        reply: bytes = self._engine.send(now)  # type: ignore[attr-defined]
        if not reply:
            return b""
        self._after -= 1
        return self._replies.pop(0) if self._after < 0 and self._replies else reply

    @property
    def wake_at(self) -> float | None:
        return self._engine.wake_at  # type: ignore[attr-defined, no-any-return]


def _replies(name: str, known: Profile, data: bytes) -> bool:
    """An instrument that says anything: a reading is a number within its range or says what it is; else trouble."""
    if not data:
        return False
    line = VirtualLine(_Says(TWINS[name](Hall(), 0.0), data[1:].split(b"|"), data[0] % 24))
    instrument = Instrument(known, line, line.clock, decoder=LIBRARY.decoder(name))
    took = False
    try:
        identity = instrument.open()
        assert all(31 < ord(c) < 127 for c in identity.text), identity
        if known.functions:
            function = known.functions[0]
            settings = {"voltage": 500.0} if any(one.name == "voltage" for one in function.settings) else {}
            instrument.configure(function.name, None, settings)
            for _ in range(3):
                sample = instrument.read()
                assert sample.value is None or math.isfinite(sample.value)
                assert (sample.value is None) == bool(sample.over or sample.nan)
                assert sample.resolution is None or (math.isfinite(sample.resolution) and sample.resolution > 0)
                took = True
    except InstrumentTrouble as trouble:
        assert trouble.what
    try:
        instrument.make_safe()
    except InstrumentTrouble as trouble:
        assert trouble.what
    return took


def _of_meter(name: str) -> Callable[[bytes], bool]:
    known = LIBRARY.profile(name)
    return lambda data: _replies(name, known, data)


@cache
def short_walk() -> bytes:
    """The record of a short walk with every kind of step."""
    path = scratch() / "short.jsonl"
    walker = paper.PaperWalk(paper.made(scratch()).began).finish()
    with RecordWriter.create(path) as writer:
        for entry in walker.entries:
            writer.append(entry)
    return path.read_bytes()


def _events() -> bytes:
    """The events of a short walk, one a line."""
    raw = [msgspec.json.decode(line, type=dict[str, msgspec.Raw])["event"] for line in short_walk().splitlines()]
    return b"\n".join(bytes(one) for one in raw)


def _small_plant() -> bytes:
    from tests.plant.test_file_errors import WHOLE

    return b"plant: try\n" + WHOLE.encode()


METERS = tuple(sorted(TWINS))
TARGETS: dict[str, Callable[[bytes], bool]] = {
    "plant": plant,
    "sequence": sequence,
    "bench": bench,
    "profile": profile,
    "record": record,
    "sealed": sealed,
    "scpi": scpi,
    **{name: _of_meter(name) for name in METERS},
}
"""Name to what takes bytes; each says whether it accepted them."""


@cache
def seeds(name: str) -> tuple[bytes, ...]:
    """Sound input for a target, from which damaged input is made."""
    match name:
        case "plant":
            return (_small_plant(),)
        case "sequence":
            from tests.walk.walk_explorer import BY_HAND, OUTPUT, UNDER_WATCH

            return tuple(text.encode() for text in (paper.EVERY_STEP, OUTPUT, BY_HAND, UNDER_WATCH))
        case "bench":
            return tuple(path.read_bytes() for path in sorted(BENCH.parent.glob("*.yaml")))
        case "profile":
            return ((DRIVERS / "scpi-bench-meter.yaml").read_bytes(),)
        case "record":
            return (short_walk(),)
        case "sealed":
            return (_events(),)
        case "scpi":
            return (b'*IDN?\nCONF:RES;:RES:RANG 100;NPLC 1\nREAD?\nSYST:ERR?\n*ESE 3;*ESE?\nFUNC "VOLT"\n#15abcde\n',)
    found = [
        exchange.received.data
        for one in LIBRARY.profile(name).examples
        for exchange in one.exchange
        if exchange.received.data
    ]
    return (bytes([4]) + b"|".join(found), bytes([0]) + b"|".join(found[::-1]))
