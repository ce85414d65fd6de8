"""The SCPI engine: headers, data, message exchange, status, time."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.simulate.scpi.instrument import (
    Block,
    Boolean,
    Channels,
    Choice,
    Command,
    CommandTree,
    ErrorQueue,
    Number,
    ScpiInstrument,
    Text,
    nr1,
    nr3,
    quoted,
    setting,
)
from tests.drawn import draws


class Sample(ScpiInstrument):
    """An instrument with one command of every kind."""

    def __init__(self, **options):
        self.range = 100.0
        self.count = 1
        self.on = False
        self.seen = []
        self.idle_at = 0.0
        super().__init__("Gannet Head,sample,0001,1.0", **options)

    def put(self, name):
        def put(value):
            setattr(self, name, value)

        return put

    def note(self, *words):
        def perform(call):
            self.seen.append((*words, call.args))

        return perform

    def slow(self, call):
        call.spend(0.5)
        return nr3(call.now)

    def begin(self, call):
        self.idle_at = math.inf if call.args[0] is None else call.now + call.args[0]

    def busy_until(self, now):
        return self.idle_at

    def reset(self, now):
        self.range, self.count, self.on = 100.0, 1, False

    def commands(self):
        span = Number("OHM", 10.0, 1e9, default=100.0)
        get = self.__getattribute__
        yield setting("[:SENSe]:RESistance:RANGe[:UPPer]", span, self.put("range"), lambda: get("range"), nr3)
        yield setting(
            "[:SENSe]:RESistance:COUNt",
            Number(minimum=1, maximum=500, integer=True),
            self.put("count"),
            lambda: get("count"),
            nr1,
        )
        yield setting("OUTPut[:STATe]", Boolean(), self.put("on"), lambda: get("on"), nr1)
        yield Command("TEST:TEXT", self.note("text"), parameters=(Text(),))
        yield Command("TEST:BLOCk", self.note("block"), parameters=(Block(),))
        yield Command("TEST:LIST", self.note("list"), parameters=(Channels(),))
        yield Command("TEST:TIME", self.note("time"), parameters=(Number("S"),))
        yield Command("TEST:VOLTage", self.note("volts"), parameters=(Number("V"),))
        yield Command("TEST:AMPere", self.note("amps"), parameters=(Number("A"),))
        yield Command("TEST:PLAin", self.note("plain"), parameters=(Number(),))
        yield Command(
            "TEST:PAIR",
            self.note("pair"),
            parameters=(Number(), Choice(("IMMediate", "BUS"), optional=True)),
        )
        yield Command("TEST:SLOW", query=self.slow)
        yield Command("TEST:ECHO", query=lambda call: quoted('say "so"'))
        yield Command("TEST:LONG", query=lambda call: "x" * 1000)
        yield Command("TEST:BEGin", perform=self.begin, parameters=(Number("S", 0, 100, optional=True),))


def ask(instrument, message, now=0.0):
    instrument.receive(message.encode("latin-1") + b"\n", now)
    return instrument.send(now).decode("latin-1")


def errors(instrument):
    out = []
    while len(instrument.errors):
        out.append(instrument.errors.pop().number)
    return out


def give(message):
    """A fresh instrument that was sent the message: its replies, its errors."""
    sample = Sample()
    return ask(sample, message), errors(sample), sample


@pytest.mark.parametrize(
    "header",
    [
        "RES:RANG",
        "RESISTANCE:RANGE",
        "ReSiStAnCe:rang",
        "SENS:RES:RANG",
        ":SENSe:RESistance:RANGe:UPPer",
        ":res:range:upp",
    ],
)
def test_long_short_and_optional(header):
    reply, wrong, sample = give(f"{header} 2e3;:{header.lstrip(':')}?")
    assert (reply, wrong) == ("+2.00000000E+03\n", [])
    assert sample.range == 2000.0


@pytest.mark.parametrize(
    "header",
    ["RESI:RANG", "RESIS:RANG", "RE:RANG", "RES:RANGES", "SENSES:RES:RANG", "RANG", "RES", "SENS",
     "RES:RANG:UPPE", "RES:RANG:RANG", "*XYZ", "OUTP:STATUS"],
)  # fmt: skip
def test_in_between_and_unknown_headers(header):
    assert give(f"{header}?")[:2] == ("", [-113])


def test_only_the_declared_form_exists():
    assert give("TEST:TEXT?")[1] == [-113]
    assert give("TEST:SLOW")[1] == [-113]
    assert give("*RST?")[1] == [-113]
    assert give("*IDN")[1] == [-113]


def test_no_header_takes_a_numeric_suffix():
    assert give("OUTP4 ON")[1] == [-114]
    assert give("OUTP99999999 ON")[1] == [-114]
    assert give("RES2:RANG 5")[1] == [-114]
    assert give("NONE2 5")[1] == [-113]


def test_paths_of_compound_messages():
    # After a unit the path is its header without the last mnemonic; a colon goes to the root; a
    # common command leaves the path alone.
    assert give("RES:RANG 1e3;COUN 5")[1] == []
    assert give("RES:RANG 1e3;*ESE 1;COUN 5")[1] == []
    assert give("RES:RANG 1e3;RES:COUN 5")[1] == [-113]
    assert give("RES:RANG 1e3;:RES:COUN 5")[1] == []
    assert give("SENS:RES:RANG 1e3;COUN 5;RANG?")[:2] == ("+1.00000000E+03\n", [])
    assert give("RES:RANG:UPP 1e3;COUN 5")[1] == [-113]
    sample = Sample()
    ask(sample, "RES:RANG 1e3")
    ask(sample, "COUN 5")  # a new message starts at the root
    assert errors(sample) == [-113]


def test_replies_of_one_message_are_joined():
    assert give("*ESE 3;*ESE?;:RES:COUN?;RANG?")[0] == "3;1;+1.00000000E+02\n"
    assert give("TEST:ECHO?")[0] == '"say ""so"""\n'


def test_a_command_error_drops_the_rest_but_an_execution_error_does_not():
    reply, wrong, sample = give("*ESE?;OUTP:BLAH 1;:OUTP ON;*ESE?")
    assert (reply, wrong, sample.on) == ("0\n", [-113], False)
    reply, wrong, sample = give("RES:COUN 900;:OUTP ON;*ESE?")
    assert (reply, wrong, sample.on) == ("0\n", [-222], True)


@pytest.mark.parametrize(
    "text, value",
    [
        ("10", 10.0),
        ("+.5E3", 500.0),
        ("1. E +2", 100.0),
        ("10 OHM", 10.0),
        ("10 KOHM", 1e4),
        ("0.01Gohm", 1e7),
        ("1 MOHM", 1e6),
        ("1 MAOHM", 1e6),
        ("MIN", 10.0),
        ("MAXIMUM", 1e9),
        ("DEF", 100.0),
        ("#HFF", 255.0),
        ("#q17", 15.0),
        ("#B1010", 10.0),
    ],
)
def test_resistance_values(text, value):
    _, wrong, sample = give(f"RES:RANG {text}")
    assert wrong == []
    assert sample.range == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "header, text, value",
    [
        ("TIME", "5 MS", 5e-3),
        ("TIME", "5 US", 5e-6),
        ("TIME", "-5S", -5.0),
        ("VOLT", "3 MV", 3e-3),
        ("VOLT", "3 KV", 3e3),
        ("AMP", "7 MA", 7e-3),
        ("AMP", "7 NA", 7e-9),
        ("AMP", "7 A", 7.0),
        ("AMP", "7 MAA", 7e6),
    ],
)
def test_suffixes_of_other_units(header, text, value):
    seen = give(f"TEST:{header} {text}")[2].seen
    assert seen[0][1] == (pytest.approx(value, rel=1e-15),)


@pytest.mark.parametrize(
    "message, number",
    [
        ("RES:RANG", -109),
        ("RES:RANG 10,20", -108),
        ("*RST 1", -108),
        ("RES:RANG 1", -222),
        ("RES:RANG 1E12", -222),
        ("TEST:TIME MAX", -224),
        ("RES:RANG BIG", -224),
        ("RES:RANG 10 V", -131),
        ("RES:RANG 10 XOHM", -131),
        ("RES:RANG 10 K", -131),
        ("TEST:PLA 10 V", -138),
        ("OUTP 1 V", -138),
        ("RES:RANG 10 ABCDEFGHIJKLM", -134),
        ("RES:RANG 1.2.3", -121),
        ("RES:RANG 1E99999", -123),
        ("RES:RANG 1E400", -222),
        ("RES:RANG " + "1" * 256, -124),
        ("RES:RANG 10 20", -103),
        ("RES:RANG 10,", -102),
        ("RES:RANG ,10", -102),
        ('RES:RANG "10"', -158),
        ("RES:RANG (10)", -178),
        ("RES:RANG #12ab", -168),
        ("TEST:TEXT 5", -128),
        ("TEST:TEXT word", -148),
        ('TEST:TEXT "open', -151),
        ("TEST:BLOC #", -161),
        ("TEST:BLOC #2x1ab", -161),
        ("TEST:LIST (@1", -171),
        ("TEST:LIST (1,2)", -171),
        ("TEST:LIST (@1,,2)", -171),
        ("TEST:LIST (@1!2)", -171),
        ("TEST:LIST (@1:999999999)", -223),
        ("TEST:LIST 5", -128),
        ("TEST:PAIR 1,LATER", -224),
        ("TEST:PAIR 1,ABCDEFGHIJKLM", -144),
        ("OUTP MAYBE", -224),
        ("ABCDEFGHIJKLM 1", -112),
        ('OUTP"ON"', -111),
        ("OUTP\x80ON", -101),
        ("\xb5V 5", -101),
        ("::OUTP ON", -102),
        ("OUTP::STAT ON", -102),
        ("OUTP: ON", -102),
        ("5", -102),
        (";", -102),
        ("*CLS;", -102),
        ("*CLS;;*CLS", -102),
        ("OUTP ?", -101),
    ],
)
def test_what_is_wrong_has_its_number(message, number):
    reply, wrong, _ = give(message)
    assert (reply, wrong) == ("", [number])


def test_leading_zeros_are_no_digits():
    assert give("RES:RANG " + "0" * 300 + "20")[1] == []


def test_strings_blocks_and_lists():
    sample = Sample()
    sample.receive(b'TEST:TEXT "a;b,\'c""d"\n', 0.0)
    sample.receive(b"TEST:TEXT 'it''s;'\n", 0.0)
    sample.receive(b"TEST:BLOC #213a;\n,\"b\ncd\xff\x00'x\n", 0.0)
    sample.receive(b"TEST:BLOC #0rest; of it\n", 0.0)
    sample.receive(b"TEST:LIST (@101, 102:105,9:7)\n", 0.0)
    sample.receive(b"TEST:LIST (@)\n", 0.0)
    assert [args for _, args in sample.seen] == [
        ("a;b,'c\"d",),
        ("it's;",),
        (b"a;\n,\"b\ncd\xff\x00'x",),
        (b"rest; of it",),
        ((101, 102, 103, 104, 105, 9, 8, 7),),
        ((),),
    ]
    assert errors(sample) == []
    sample.receive(b"TEST:BLOC #19ab\ncd\nef", 0.0)  # line feeds are data until nine are there
    assert len(sample.seen) == 6
    sample.receive(b"g\n", 0.0)
    assert sample.seen[-1][1] == (b"ab\ncd\nefg",)


def test_an_open_string_ends_with_its_line():
    sample = Sample()
    sample.receive(b'TEST:TEXT "open\nOUTP ON\n', 0.0)
    assert errors(sample) == [-151]
    assert sample.on


def test_terminators_and_white_space():
    for end in (b"\n", b"\r\n", b" \t\r\n"):
        sample = Sample()
        sample.receive(b"\t OUTP\t ON " + end + end + b"*ESE?" + end, 0.0)
        assert sample.on
        assert sample.send(0.0) == b"0\n"
        assert errors(sample) == []
    sample.receive(b"*ESE?\r", 0.0)
    assert sample.send(0.0) == b""  # carriage return alone ends nothing


def test_queried_limits_of_a_setting():
    assert give("RES:RANG? MAX;RANG? MIN;RANG? DEF;COUN? MAX")[0] == (
        "+1.00000000E+09;+1.00000000E+01;+1.00000000E+02;500\n"
    )
    assert give("RES:RANG? 5")[1] == [-128]


def test_the_queue_and_its_queries():
    sample = Sample(error_capacity=3)
    for _ in range(5):
        ask(sample, "NONE")
    ask(sample, "RES:RANG 1")
    assert ask(sample, "SYST:ERR:COUN?") == "3\n"
    assert ask(sample, "SYST:ERR?") == '-113,"Undefined header"\n'
    assert ask(sample, "SYSTem:ERRor:NEXT?") == '-113,"Undefined header"\n'
    assert ask(sample, "SYST:ERR?") == '-350,"Queue overflow"\n'
    assert ask(sample, "SYST:ERR?") == '0,"No error"\n'
    ask(sample, "NONE")
    ask(sample, "RES:RANG 1")
    assert ask(sample, "SYST:ERR:ALL?") == '-113,"Undefined header",-222,"Data out of range"\n'
    assert ask(sample, "SYST:ERR:ALL?") == '0,"No error"\n'
    sample.report(-240, 'relay "K3"')
    assert ask(sample, "SYST:ERR?") == '-240,"Hardware error;relay ""K3"""\n'


def test_status():
    sample = Sample()
    assert ask(sample, "*ESR?") == "128\n"  # power on
    assert ask(sample, "*ESR?") == "0\n"
    ask(sample, "NONE")
    assert ask(sample, "*STB?") == "4\n"
    assert ask(sample, "*ESE 32;*STB?") == "36\n"
    assert ask(sample, "*SRE 255;*SRE?;*STB?") == "191;116\n"  # MAV is set by *SRE?'s reply
    assert ask(sample, "*ESR?") == "32\n"
    assert ask(sample, "*CLS;*STB?;*ESE?") == "0;32\n"
    sample.questionable.set(2, True)
    assert ask(sample, "STAT:QUES:ENAB 2;:*STB?") == ""
    assert errors(sample) == [-102]
    assert ask(sample, "*ESR?") == "32\n"
    assert ask(sample, "STAT:QUES:ENAB 2;*STB?;:STAT:QUES:COND?") == "72;2\n"
    assert ask(sample, "STAT:QUES?;*STB?;:STAT:QUES?") == "2;80;0\n"
    sample.operation.set(16, True)
    sample.operation.set(16, False)
    assert ask(sample, "STAT:OPER:COND?;EVEN?") == "0;16\n"
    assert ask(sample, "STAT:PRES;QUES:ENAB?") == "0\n"
    ask(sample, "*ESE 256")
    assert errors(sample) == [-222]


@pytest.mark.parametrize("number, bit", [(-113, 32), (-222, 16), (-330, 8), (-420, 4), (7, 8), (-800, 1)])
def test_each_class_sets_its_bit(number, bit):
    sample = Sample()
    ask(sample, "*CLS")
    sample.report(number)
    assert ask(sample, "*ESR?") == f"{bit}\n"


def test_overflow_sets_the_device_bit_too():
    sample = Sample(error_capacity=2)
    ask(sample, "*CLS")
    for _ in range(3):
        ask(sample, "NONE")
    assert ask(sample, "*ESR?") == "40\n"


def test_reset_test_and_identity():
    sample = Sample()
    ask(sample, "OUTP ON;:RES:COUN 9;*RST")
    assert (sample.on, sample.count) == (False, 1)
    assert ask(sample, "*IDN?") == "Gannet Head,sample,0001,1.0\n"
    assert ask(sample, "*TST?") == "0\n"
    sample.self_test = lambda: False
    assert ask(sample, "*TST?") == "1\n"
    assert errors(sample) == [-330]
    assert ask(sample, "SYST:VERS?") == "1999.0\n"
    with pytest.raises(ValueError, match="four"):
        ScpiInstrument("only one field")


def test_nothing_is_asked_after_an_indefinite_reply():
    reply, wrong, sample = give("*IDN?;OUTP ON;*ESE?;:OUTP OFF")
    assert reply == "Gannet Head,sample,0001,1.0\n"
    assert wrong == [-440]
    assert sample.on


def test_a_reply_waits_for_its_time():
    sample = Sample()
    sample.receive(b"TEST:SLOW?;SLOW?\n*ESE?\n", 10.0)
    assert sample.send(10.0) == b""
    assert sample.wake_at == 10.5
    assert sample.send(10.5) == b""
    (reply,) = sample.replies
    assert reply.not_before == 11.0
    assert sample.send(10.99) == b""
    assert sample.send(11.0) == b"+1.00000000E+01;+1.05000000E+01\n0\n"
    assert sample.wake_at is None


def test_time_does_not_depend_on_when_one_looks():
    often, seldom = Sample(), Sample()
    message = b"TEST:SLOW?\nTEST:SLOW?;SLOW?\n"
    often.receive(message, 0.0)
    seldom.receive(message, 0.0)
    got = b"".join(often.send(k / 10) for k in range(31))
    assert got == seldom.send(3.0)


def test_waiting_for_overlapped_operations():
    sample = Sample()
    sample.receive(b"*CLS;:TEST:BEG 2;*OPC;*ESR?\n*OPC?\nTEST:SLOW?\n", 1.0)
    assert sample.send(1.0) == b"0\n"
    assert sample.wake_at == 3.0
    assert sample.send(2.9) == b""
    assert sample.send(3.0) == b"1\n"
    assert sample.send(3.5) == b"+3.00000000E+00\n"
    assert ask(sample, "*ESR?", 4.0) == "1\n"
    sample.receive(b"TEST:BEG 2;*WAI;SLOW?\n", 5.0)
    assert sample.send(7.4) == b""
    assert sample.send(7.5) == b"+7.00000000E+00\n"


def test_waiting_for_what_never_ends_needs_a_clear():
    sample = Sample()
    sample.receive(b"TEST:BEG\n*OPC?\n*ESE?\n", 0.0)
    assert sample.send(100.0) == b""
    assert sample.wake_at is None
    sample.clear(100.0)
    assert ask(sample, "*ESE?", 100.0) == "0\n"


def test_messages_queue():
    queued = Sample()
    queued.receive(b"TEST:SLOW?\n", 0.0)
    queued.receive(b"*ESE?\n", 0.1)
    assert queued.send(0.6) == b"+0.00000000E+00\n0\n"


def test_replies_that_nobody_takes_are_bounded():
    sample = Sample(output_limit=3500)
    for _ in range(4):
        sample.receive(b"TEST:LONG?\n", 0.0)
    assert errors(sample) == [-430]
    assert sample.send(0.0) == b""
    assert ask(sample, "*ESE?") == "0\n"


def test_input_is_bounded():
    sample = Sample(input_limit=100)
    sample.receive(b"TEST:TEXT '" + b"x" * 200 + b"'\nOUTP ON\n", 0.0)
    assert errors(sample) == [-363]
    assert sample.on
    sample.receive(b"TEST:BLOC #9999999999\nOUTP OFF\n", 0.0)
    assert errors(sample) == [-363]
    assert not sample.on
    # While a command runs, what waits is bounded too; empty lines count.
    sample.receive(b"TEST:SLOW?\n" + b"\n" * 150 + b"OUTP ON\n", 0.0)
    assert set(errors(sample)) == {-363, -350}
    assert sample._waiting_bytes <= 100
    sample.send(1.0)
    assert not sample.on and sample._waiting_bytes == 0


def test_declarations_are_checked():
    with pytest.raises(ValueError, match="short form is 'RES'"):
        CommandTree([Command("RESIstance")])
    with pytest.raises(ValueError, match="twice"):
        CommandTree([Command("[:SENSe]:RANGe"), Command("RANGe")])
    with pytest.raises(ValueError, match="twice"):
        CommandTree([Command("*RST"), Command("*RST")])
    with pytest.raises(ValueError, match="understood"):
        CommandTree([Command("RANGe[:UPPer")])
    with pytest.raises(ValueError, match="ambiguous"):
        CommandTree([Command("VOLTage:PEAK"), Command("VOLTmeter:ZERO")])
    with pytest.raises(ValueError, match="at least 2"):
        ErrorQueue(1)


def test_number_forms():
    assert nr3(1.23456789) == "+1.23456789E+00"
    assert nr3(-0.00012) == "-1.20000000E-04"
    assert nr3(math.inf) == "+9.90000000E+37"
    assert nr3(-math.inf) == "-9.90000000E+37"
    assert nr3(math.nan) == "+9.91000000E+37"


# ---- any bytes -----------------------------------------------------------------------------

PIECES = [
    b"*IDN?", b"*ESE ", b"*OPC?", b"*OPC", b"*WAI", b"*TRG", b"*CLS", b"*STB?", b"*ESR?", b"*RST",
    b"RES:RANG ", b"RES:RANG?", b"SYST:ERR?", b"SYST:ERR:ALL?", b"TEST:SLOW?", b"TEST:BEG", b" 1",
    b"TEST:BLOC #15a\nb;c", b"#0", b"#", b"#3", b"'", b'"', b"(@1:3)", b"(", b")", b",", b";", b":",
    b"\n", b"\n", b"\r\n", b" ", b"1E5", b"MAX", b"10 KOHM", b"\x00", b"\xff", b"?", b"TEST:LONG?",
    b"OUTP2 ON", b"STAT:OPER?", b"#9999999999",
]  # fmt: skip
STREAMS = st.one_of(st.binary(max_size=200), st.lists(st.sampled_from(PIECES), max_size=40).map(b"".join))


def consistent(sample):
    entries = sample.errors.entries
    assert len(entries) <= sample.errors.capacity
    assert all(e.number != 0 and e.number != -350 for e in entries[:-1])
    if len(entries) < sample.errors.capacity:
        assert all(e.number != -350 for e in entries)
    assert 0 <= sample.event_status <= 255
    assert sample._waiting_bytes == sum(len(m) + 1 for m, _ in sample._waiting)
    assert sample._waiting_bytes <= 120


def state(sample):
    return (
        sample.errors.entries, sample.event_status, sample.replies, sample.seen, sample.range,
        sample.on, sample.wake_at, sample.event_enable,
    )  # fmt: skip


@draws(400)
@given(st.lists(st.tuples(STREAMS, st.sampled_from([0.0, 0.1, 0.5, 3.0])), max_size=6))
def test_any_bytes_leave_an_instrument_that_answers(stream):
    options = {"error_capacity": 4, "input_limit": 120, "output_limit": 2500}
    whole, single = Sample(**options), Sample(**options)
    now = 0.0
    for data, pause in stream:
        whole.receive(data, now)
        for k in range(len(data)):
            single.receive(data[k : k + 1], now)
        single.receive(b"", now)
        assert state(whole) == state(single)
        consistent(whole)
        now += pause
        assert whole.send(now) == single.send(now)
    whole.clear(now)
    whole.idle_at = now
    assert ask(whole, "*CLS;*ESR?", now) == "0\n"
    assert ask(whole, "SYST:ERR?", now) == '0,"No error"\n'
