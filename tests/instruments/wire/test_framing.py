from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.instruments.parts import BadFrame, Parts
from bench.instruments.wire.framing import DecodedFramer, FixedFramer, Frame, LineFramer, Noise
from bench.instruments.wire.modbus import RtuFramer


def decode(data: bytes) -> Parts | None:
    """Frames of 0x02, a length, that many bytes, and their sum."""
    if data[0] != 0x02:
        raise BadFrame("no start")
    if len(data) < 2 or len(data) < 3 + data[1]:
        return None
    body = data[2 : 2 + data[1]]
    if sum(body) & 0xFF != data[2 + data[1]]:
        raise BadFrame("sum")
    return Parts(value=body.decode("ascii"), used=3 + data[1])


def framed(text: bytes) -> bytes:
    return bytes([2, len(text)]) + text + bytes([sum(text) & 0xFF])


LINES = [
    ("one line", b"\n", b"+1.5\n", [b"+1.5"]),
    ("two lines", b"\n", b"1\n2\n", [b"1", b"2"]),
    ("empty line", b"\n", b"\n", [b""]),
    ("no end yet", b"\n", b"+1.5", []),
    ("two-byte end", b"\r\n", b"+1.5\r\n", [b"+1.5"]),
    ("half an end is none", b"\r\n", b"+1.5\r", []),
    ("carriage return only", b"\r", b"1\r2\r", [b"1", b"2"]),
    ("wrong end within", b"\r\n", b"1\n2\r\n", [Noise]),
    ("end left over", b"\n", b"1\r\n", [Noise]),
    ("control character", b"\n", b"1\x002\n", [Noise]),
    ("a block by its length", b"\n", b"#15ab\ncd\n", [b"ab\ncd"]),
    ("a block of nothing", b"\n", b"#10\n", [b""]),
    ("a block with a long length", b"\n", b"#6000003xyz\n", [b"xyz"]),
    ("a block that is longer than it says", b"\n", b"#12abc\n", [Noise]),
    ("an indefinite block", b"\n", b"#0abc\n", [Noise]),
    ("a block whose length is no number", b"\n", b"#2x5abc\n", [Noise]),
    ("a block of more than may be", b"\n", b"#9999999999", [Noise]),
    ("a block and a line", b"\n", b"#12ab\n+1\n", [b"ab", b"+1"]),
]


def outcomes(framer) -> list:
    found = []
    while (item := framer.pull()) is not None:
        found.append(item)
    return found


def kinds(items) -> list:
    return [item.body if isinstance(item, Frame) else Noise for item in items]


@pytest.mark.parametrize(("name", "end", "data", "expected"), LINES, ids=[case[0] for case in LINES])
@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_lines(name, end, data, expected, way):
    framer = LineFramer(end)
    found = []
    for piece in [data] if way == "whole" else [data[i : i + 1] for i in range(len(data))]:
        framer.push(piece)
        found += outcomes(framer)
    if way == "byte by byte" and Noise in expected:
        # what follows noise within the same bytes may come out by itself when it comes later
        assert kinds(found)[: len(expected)] == expected
    else:
        assert kinds(found) == expected


@pytest.mark.parametrize(("name", "end", "data", "expected"), LINES, ids=[case[0] for case in LINES])
def test_lines_with_more_behind(name, end, data, expected):
    framer = LineFramer(end)
    framer.push(data + b"tail")
    found = outcomes(framer)
    assert kinds(found)[: len(expected)] == expected
    if expected and Noise not in expected:
        assert framer.pending == b"tail"


def test_a_line_that_never_ends_is_cut_off_and_kept():
    framer = LineFramer(b"\n", longest=64)
    for _ in range(100):
        framer.push(b"x" * 7)
        item = framer.pull()
        if item is not None:
            break
    assert isinstance(item, Noise)
    assert 64 <= len(item.raw) < 64 + 7
    assert "without a line end" in item.why


@given(st.lists(st.binary(max_size=20), max_size=20), st.sampled_from([b"\n", b"\r\n", b"\r"]))
def test_no_byte_is_lost_or_made(pieces, end):
    framer = LineFramer(end)
    found = b""
    for piece in pieces:
        framer.push(piece)
        found += b"".join(item.raw for item in outcomes(framer))
    assert found + framer.pending == b"".join(pieces)


@given(st.lists(st.text("+-.0123456789E", max_size=12), max_size=8), st.data())
def test_cutting_the_stream_anywhere_changes_nothing(texts, data):
    stream = b"".join(text.encode() + b"\r\n" for text in texts)
    framer = LineFramer(b"\r\n")
    found = []
    while stream:
        cut = data.draw(st.integers(1, len(stream)))
        framer.push(stream[:cut])
        stream = stream[cut:]
        found += outcomes(framer)
    assert [item.body.decode() for item in found] == texts


def test_skipping_drops_to_the_end_of_the_line_under_way():
    framer = LineFramer(b"\r\n")
    framer.push(b"34.5\r")
    framer.skip_current()
    assert framer.pull() is None
    framer.push(b"\n+1.0\r\n")
    assert kinds(outcomes(framer)) == [b"+1.0"]


@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_fixed_length(way):
    framer = FixedFramer(6, b"\r")
    data = b"12.34\r56.78\r9"
    found = []
    for piece in [data] if way == "whole" else [data[i : i + 1] for i in range(len(data))]:
        framer.push(piece)
        found += outcomes(framer)
    assert kinds(found) == [b"12.34", b"56.78"]
    assert framer.pending == b"9"


def test_fixed_length_that_has_slipped_is_noise():
    framer = FixedFramer(6, b"\r")
    framer.push(b"2.34\r56.78\r")
    assert kinds(outcomes(framer)) == [Noise]
    assert framer.pending == b""


@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_decoded_frames_and_what_lies_between(way):
    framer = DecodedFramer(decode, longest=64)
    data = framed(b"1.5") + b"??" + framed(b"OL") + framed(b"2")[:-1]
    found = []
    for piece in [data] if way == "whole" else [data[i : i + 1] for i in range(len(data))]:
        framer.push(piece)
        found += outcomes(framer)
    assert [item.parts.value if isinstance(item, Frame) else item.raw for item in found] == ["1.5", b"??", "OL"]
    assert framer.pending == framed(b"2")[:-1]


def test_a_decoder_that_never_finds_an_end_does_not_fill_the_memory():
    framer = DecodedFramer(lambda data: None, longest=64)
    for _ in range(1000):
        framer.push(b"x" * 10)
        outcomes(framer)
    assert len(framer.pending) <= 128


def test_a_bad_sum_is_noise():
    framer = DecodedFramer(decode, longest=64)
    bad = bytearray(framed(b"123"))
    bad[3] ^= 1
    framer.push(bytes(bad) + framed(b"7"))
    found = outcomes(framer)
    assert isinstance(found[0], Noise)
    assert found[-1].parts.value == "7"


# Modbus application protocol, public specification: example of function 04, read input register 8 with value 10;
# the frame's checksum as computed by the reference algorithm of "Modbus over serial line" (own computation).
RESPONSE = bytes.fromhex("0104 02 000A 3937".replace(" ", ""))


@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_rtu_frames(way):
    framer = RtuFramer(1)
    found = []
    for piece in [RESPONSE] if way == "whole" else [RESPONSE[i : i + 1] for i in range(len(RESPONSE))]:
        framer.push(piece)
        found += outcomes(framer)
    assert kinds(found) == [bytes.fromhex("0402000A")]


@pytest.mark.parametrize("at", range(len(RESPONSE)))
@pytest.mark.parametrize("bit", range(8))
def test_no_rtu_frame_with_one_wrong_bit_gets_through(at, bit):
    bad = bytearray(RESPONSE)
    bad[at] ^= 1 << bit
    framer = RtuFramer(1)
    framer.push(bytes(bad))
    assert not any(isinstance(item, Frame) for item in outcomes(framer))
