"""The SCPI engine against the published language: IEEE 488.2 and SCPI-1999.

Both standards are quoted from public material (headers of an open SCPI parser for numbers, texts
and register bits; public register tables; public tables of suffix multipliers). What is from
memory says so.
"""

import math

import pytest

from bench.simulate.scpi.instrument import (
    ERRORS,
    NAN,
    OVERLOAD,
    ErrorEntry,
    ErrorQueue,
    Number,
    ScpiError,
    ScpiInstrument,
    event_bit,
    nr3,
    short_form,
    spell,
)
from bench.simulate.scpi.syntax import Datum

# SCPI-1999 volume 2 chapter 21, numbers and texts as listed in an open SCPI parser's header. One
# text there carries a stray word after "Command protected"; the standard's text (from memory) is
# used here.
TEXTS = """
-100 Command error
-101 Invalid character
-102 Syntax error
-103 Invalid separator
-104 Data type error
-105 GET not allowed
-108 Parameter not allowed
-109 Missing parameter
-110 Command header error
-111 Header separator error
-112 Program mnemonic too long
-113 Undefined header
-114 Header suffix out of range
-120 Numeric data error
-121 Invalid character in number
-123 Exponent too large
-124 Too many digits
-128 Numeric data not allowed
-130 Suffix error
-131 Invalid suffix
-134 Suffix too long
-138 Suffix not allowed
-140 Character data error
-141 Invalid character data
-144 Character data too long
-148 Character data not allowed
-150 String data error
-151 Invalid string data
-158 String data not allowed
-160 Block data error
-161 Invalid block data
-168 Block data not allowed
-170 Expression error
-171 Invalid expression
-178 Expression data not allowed
-180 Macro error
-181 Invalid outside macro definition
-183 Invalid inside macro definition
-184 Macro parameter error
-200 Execution error
-201 Invalid while in local
-202 Settings lost due to rtl
-203 Command protected
-210 Trigger error
-211 Trigger ignored
-212 Arm ignored
-213 Init ignored
-214 Trigger deadlock
-215 Arm deadlock
-220 Parameter error
-221 Settings conflict
-222 Data out of range
-223 Too much data
-224 Illegal parameter value
-230 Data corrupt or stale
-231 Data questionable
-240 Hardware error
-241 Hardware missing
-310 System error
-311 Memory error
-313 Calibration memory lost
-320 Storage fault
-330 Self-test failed
-340 Calibration failed
-350 Queue overflow
-360 Communication error
-361 Parity error in program message
-362 Framing error in program message
-363 Input buffer overrun
-365 Time out error
-400 Query error
-410 Query INTERRUPTED
-420 Query UNTERMINATED
-430 Query DEADLOCKED
-440 Query UNTERMINATED after indefinite response
-500 Power on
-600 User request
-700 Request control
-800 Operation complete
"""


def test_error_numbers_and_texts():
    published = dict(line.split(" ", 1) for line in TEXTS.strip().splitlines())
    assert {str(n): text for n, text in ERRORS.items() if n} == published


def test_error_reply_forms():
    # SCPI-1999 21.8, as quoted in public threads: number, comma, text in double quotes.
    assert ErrorEntry(-113).text() == '-113,"Undefined header"'
    assert ErrorQueue().pop().text() == '0,"No error"'


def test_overflow_replaces_the_newest():
    # SCPI-1999 21.8.1, as quoted publicly: the newest becomes -350, the oldest stay.
    queue = ErrorQueue(3)
    for number in (-101, -102, -103, -104, -108):
        queue.push(number)
    assert [e.number for e in queue.entries] == [-101, -102, -350]


@pytest.mark.parametrize("number, bit", [(-113, 32), (-222, 16), (-350, 8), (-410, 4)])
def test_class_to_event_bit(number, bit):
    # Bits: IEEE 488.2 11.5.1, public register tables. Class to bit: SCPI-1999 21.8, from memory,
    # not confirmed.
    assert event_bit(number) == bit


class Plain(ScpiInstrument):
    def __init__(self):
        super().__init__("Gannet Head,plain,0,1")


def ask(instrument, message):
    instrument.receive(message + b"\n", 0.0)
    return instrument.send(0.0)


def test_status_byte_weights():
    # IEEE 488.2 11.2 and SCPI-1999 volume 1 chapter 9 (public register tables): error queue 4,
    # QUES 8, MAV 16, ESB 32, MSS 64, OPER 128.
    plain = Plain()
    ask(plain, b"*CLS")
    assert ask(plain, b"*STB?") == b"0\n"
    plain.report(-101)
    assert ask(plain, b"*STB?") == b"4\n"
    ask(plain, b"*CLS;:STAT:QUES:ENAB 1;:STAT:OPER:ENAB 1")
    plain.questionable.set(1, True)
    assert ask(plain, b"*STB?") == b"8\n"
    plain.operation.set(1, True)
    assert ask(plain, b"*STB?") == b"136\n"
    ask(plain, b"*CLS")
    assert ask(plain, b"*ESE?;*STB?") == b"0;16\n"
    ask(plain, b"*ESE 1;*OPC")
    assert ask(plain, b"*STB?") == b"32\n"
    assert ask(plain, b"*SRE 32;*STB?") == b"96\n"


def test_event_register_weights():
    # IEEE 488.2 11.5.1 (public register tables): OPC 1, QYE 4, DDE 8, EXE 16, CME 32, PON 128.
    plain = Plain()
    assert ask(plain, b"*ESR?") == b"128\n"
    ask(plain, b"*OPC")
    for number in (-400, -300, -200, -100):
        plain.report(number)
    assert ask(plain, b"*ESR?") == b"61\n"


@pytest.mark.parametrize(
    "long, short",
    [
        ("IMMEDIATE", "IMM"),
        ("FORMAT", "FORM"),
        ("DELAY", "DEL"),
        ("POLYNOMIAL", "POL"),
        ("OUTPUT", "OUTP"),
        ("POWER", "POW"),
        ("FREQUENCY", "FREQ"),
        ("AUTO", "AUTO"),
    ],
)
def test_short_forms(long, short):
    # SCPI-1999 volume 1 6.2.1, as explained in public manuals and on an encyclopedia's talk page.
    assert short_form(long) == short
    assert spell(short + long[len(short) :].lower()) == {short, long}


def test_special_values():
    # SCPI-1999 volume 1 7.2.1: 9.9E37, -9.9E37, 9.91E37.
    assert float(nr3(math.inf)) == OVERLOAD == 9.9e37
    assert float(nr3(-math.inf)) == -9.9e37
    assert float(nr3(math.nan)) == NAN == 9.91e37


@pytest.mark.parametrize(
    "prefix, factor",
    [("EX", 1e18), ("PE", 1e15), ("T", 1e12), ("G", 1e9), ("MA", 1e6), ("K", 1e3), ("M", 1e-3),
     ("U", 1e-6), ("N", 1e-9), ("P", 1e-12), ("F", 1e-15), ("A", 1e-18)],
)  # fmt: skip
def test_suffix_multipliers(prefix, factor):
    # IEEE 488.2 table 7-2, as repeated in public programming guides.
    assert Number("V").read(Datum("number", 2.0, prefix + "V")) == pytest.approx(2 * factor)


def test_mohm_and_mhz_are_mega():
    # IEEE 488.2 7.7.3, as repeated in public programming guides: M is milli, save that MOHM and
    # MHZ are mega.
    assert Number("OHM").read(Datum("number", 3.0, "MOHM")) == 3e6
    assert Number("HZ").read(Datum("number", 3.0, "MHZ")) == 3e6
    assert Number("A").read(Datum("number", 3.0, "MA")) == pytest.approx(3e-3)


def test_limits_of_words_and_numbers():
    # IEEE 488.2 7.6.1.4, 7.7.1.4, 7.7.2.4.1, 7.7.3.4 (clauses as cited in public error lists):
    # 12 characters, 255 digits without leading zeros, exponents to 32000.
    plain = Plain()
    for message, number in [
        (b"ABCDEFGHIJKLM", -112),
        (b"*ESE ABCDEFGHIJKLM", -144),
        (b"*ESE 1E32001", -123),
        (b"*ESE 1E-32000", None),
        (b"*ESE " + b"0" * 900 + b"1", None),
        (b"*ESE " + b"9" * 256, -124),
        (b"*ESE 1 ABCDEFGHIJKLM", -134),
    ]:
        ask(plain, message)
        assert [plain.errors.pop().number] == [number or 0], message


def test_query_errors():
    # IEEE 488.2 6.3 and 6.5.7.5, as explained in public error lists.
    plain = Plain()
    ask(plain, b"*IDN?;*ESE?")
    assert plain.errors.pop().number == -440


def test_a_bad_limit_is_refused():
    with pytest.raises(ScpiError) as caught:
        Number("V", 0.0, 10.0).read(Datum("number", 11.0))
    assert caught.value.number == -222
