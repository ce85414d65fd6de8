"""Meters that are honest and set wrongly, and profiles with a slip: what they say must not become a verdict.

Each meter here is a few lines that answer bytes with bytes, on a profile of its own.
"""

from __future__ import annotations

import msgspec
import pytest

from bench.files import BadFile, load
from bench.instruments.instrument import Instrument
from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.library import Library
from bench.instruments.profile.profile import AUTOMATIC, FLAGS, HELD_RANGE, Profile
from bench.instruments.wire.interpret import meaning_of
from bench.judge.accuracy import AccuracyTable
from bench.judge.decision import Rule, decide
from bench.judge.limit import Limit
from bench.judge.reading import overload_reading
from bench.simulate.twins.handhelds import PolledText
from bench.simulate.twins.meter import MeterTwin
from tests.drivers.twins import Hall
from tests.instruments.server import Bars, VirtualLine

LIBRARY = Library.for_job()


class Answering:
    """Answers each question with what it is told to, at once."""

    wake_at = None

    def __init__(self, *answers: bytes):
        self.answers = list(answers)
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        """Each byte that comes is a question."""
        for _ in data:
            self._out += self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]

    def send(self, now: float) -> bytes:
        """What was answered."""
        sent, self._out = self._out, b""
        return sent


def polled(*answers: bytes, profile: Profile | None = None) -> Instrument:
    """The polled meter's profile on a meter that gives these answers, the last again and again."""
    line = VirtualLine(Answering(*answers))
    return Instrument(profile or LIBRARY.profile("polled-text-meter"), line, line.clock)


def ohms(*answers: bytes, profile: Profile | None = None):
    """One reading of ohms."""
    instrument = polled(*answers, profile=profile)
    instrument.open()
    instrument.configure("ohms 2w")
    return instrument.read()


def with_marks(*marks: tuple[str, str]) -> Profile:
    """The polled meter with another sign in place of its battery."""
    profile = LIBRARY.profile("polled-text-meter")
    wanted = [{"mark": mark, "flag": flag} for mark, flag in marks]
    return msgspec.structs.replace(profile, marks=msgspec.convert(wanted, list[type(profile.marks[0])]))


# ---- a range that a key holds ------------------------------------------------------------------


def test_over_range_without_a_sign_proves_no_more_than_the_lowest_range_of_its_unit() -> None:
    profile = LIBRARY.profile("polled-text-meter")
    twin = PolledText(Bars(ohms=2000.0), lead_ohms=0.0, dial="resistance")
    line = VirtualLine(twin)
    instrument = Instrument(profile, line, line.clock)
    instrument.open()
    instrument.configure("ohms 2w")
    twin.held_on = 0
    sample = instrument.read()
    assert (sample.over, sample.range, sample.bound) == ("+", 400.0, 400.0)
    table = AccuracyTable("it", accuracy_rows(profile))
    row = next(row for row in table.rows if row.function == "ohms 2w" and row.range_top == sample.range)
    limit = Limit.at_least(100e3, "Ω", "wires that should be apart")
    assert decide(overload_reading(row), limit, Rule.guarded()).verdict == "undecided"


@pytest.mark.parametrize(
    ("reply", "proves"),
    [
        (b"R    OVER    \r", 400.0),
        (b"R    OVER k  \r", 4e3),
        (b"R    OVER M  \r", 4e6),
    ],
)
def test_the_unit_beside_over_range_tells_how_far_the_meter_saw(reply: bytes, proves: float) -> None:
    sample = ohms(reply)
    assert (sample.over, sample.range, sample.bound) == ("+", proves, proves)


@pytest.mark.parametrize(
    ("flag", "lit", "unlit"),
    [(AUTOMATIC, 40e6, 400.0), (HELD_RANGE, 400.0, 40e6), ("ranging", 400.0, 400.0)],
)
def test_only_a_sign_that_is_known_lets_over_range_prove_the_highest(flag: str, lit: float, unlit: float) -> None:
    profile = with_marks(("L", flag))
    assert ohms(b"R    OVER   L\r", profile=profile).bound == lit
    assert ohms(b"R    OVER    \r", profile=profile).bound == unlit


@pytest.mark.parametrize("slip", ["automatic-ranging", "auto-range", "autorange", "held_range", "Hold", "low battery"])
def test_a_slip_in_a_flag_is_told_with_the_word_that_is_meant(slip: str, tmp_path) -> None:
    shipped_file = LIBRARY.entry("polled-text-meter")
    assert shipped_file is not None
    file = tmp_path / "polled-text-meter.yaml"
    file.write_text(shipped_file.path.read_text("utf-8").replace("flag: low-battery", f"flag: {slip}"), "utf-8")
    with pytest.raises(BadFile, match="flag") as told:
        load(file, Profile)
    assert any(word in str(told.value) for word in FLAGS)


# ---- a digit that no range has, and numbers that are none --------------------------------------


@pytest.mark.parametrize(
    ("function", "reply"),
    [
        ("ohms 2w", b"R 0004.71    \r"),  # a kilohm whose prefix was lost
        ("ohms 2w", b"R 00.4710 k  \r"),
        ("ohms 2w", b"R 00500.0    \r"),  # no range that shows tenths goes so far
        ("volts dc", b"V 0.00123    \r"),
    ],
)
def test_a_last_digit_of_no_range_is_no_reading(function: str, reply: bytes) -> None:
    instrument = polled(reply)
    with pytest.raises(InstrumentTrouble) as stop:
        instrument.open()
        instrument.configure(function)
        instrument.read()
    assert stop.value.kind == "garbled"


def number_in_a_function(value: str, **fields: object) -> None:
    """What becomes of a bare number in a function without ranges."""
    base = LIBRARY.profile("modbus-panel-meter")
    function = msgspec.structs.replace(base.function("amps dc"), **fields)
    meaning_of(Parts(value), function, base)


@pytest.mark.parametrize("value", ["2.3e-41", "-1.4e-45", "1.7e38", "3.4e30"])
def test_numbers_that_only_wrong_bytes_make_are_no_readings(value: str) -> None:
    with pytest.raises(InstrumentTrouble, match="no instrument shows") as stop:
        number_in_a_function(value, ranges=[], register=None)
    assert stop.value.kind == "garbled"
    number_in_a_function("0", ranges=[], register=None)
    number_in_a_function("-0.0025", ranges=[], register=None)


def test_far_below_the_last_digit_is_no_reading() -> None:
    base = LIBRARY.profile("polled-text-meter").function("ohms 2w")
    with pytest.raises(InstrumentTrouble, match="order of words"):
        number_in_a_function("1e-12", ranges=base.ranges, reads="resistance", register=None)


def test_a_number_of_zeros_tells_no_instrument_from_another() -> None:
    profile = LIBRARY.profile("scpi-bench-meter")
    twin = MeterTwin(Hall(), identity="Gannet Head,bench meter,0,1.0")
    line = VirtualLine(twin)
    instrument = Instrument(profile, line, line.clock)
    assert instrument.open().serial == ""
