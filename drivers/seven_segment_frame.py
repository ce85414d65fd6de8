"""Frames of a hand-held meter that sends the segments of its display.

A frame has ten bytes:

    0xA5                start
    0x0A                length of the frame
    function and unit   high half: 0 ohms, 1 direct volts, 2 alternating volts, 3 direct amperes;
                        low half: prefix, 0 none, 1 kilo, 2 mega, 3 milli
    signs               bit 0 minus, bit 1 hold, bit 2 battery low, bit 3 automatic range; others 0
    four digits         from the left: bits 0 to 6 the segments a to g (a on top, then clockwise, g in the middle),
                        bit 7 the point after the digit
    sum                 two bytes, low byte first: sum of all bytes before them
"""

from __future__ import annotations

from bench.instruments.parts import BadFrame, Parts

START = 0xA5
LENGTH = 10

# segments a b c d e f g of each figure, as clocks and meters show them
SEGMENTS = {
    0b0111111: "0",
    0b0000110: "1",
    0b1011011: "2",
    0b1001111: "3",
    0b1100110: "4",
    0b1101101: "5",
    0b1111101: "6",
    0b0000111: "7",
    0b1111111: "8",
    0b1101111: "9",
    0b0111000: "L",
    0b0000000: " ",
}
FUNCTIONS = {0: ("ohm", "ohm"), 1: ("V dc", "V"), 2: ("V ac", "V"), 3: ("A dc", "A")}
PREFIXES = {0: "", 1: "k", 2: "M", 3: "m"}
SIGNS = {2: "hold", 4: "battery", 8: "auto"}


def decode(data: bytes) -> Parts | None:
    """Take a frame at the front apart; None where it is not whole yet.

    Raises BadFrame where no frame begins.
    """
    if data[0] != START:
        return _skip(data, "no start of a frame")
    if len(data) < 2:
        return None
    if data[1] != LENGTH:
        return _skip(data, f"a length of {data[1]}")
    if len(data) < LENGTH:
        return None
    frame = data[:LENGTH]
    if sum(frame[:-2]) != int.from_bytes(frame[-2:], "little"):
        return _skip(data, "the sum does not fit")
    function = FUNCTIONS.get(frame[2] >> 4)
    prefix = PREFIXES.get(frame[2] & 0x0F)
    if function is None or prefix is None:
        return _skip(data, f"the function {frame[2]:#04x}")
    if frame[3] & 0xF0:
        return _skip(data, f"the signs {frame[3]:#04x}")
    text = _text(frame[4:8])
    if text is None:
        return _skip(data, f"segments that are no figure: {frame[4:8].hex(' ')}")
    return Parts(
        value=("-" if frame[3] & 1 else "") + text,
        unit=prefix + function[1],
        function=function[0],
        marks=tuple(name for bit, name in SIGNS.items() if frame[3] & bit),
        used=LENGTH,
    )


def _skip(data: bytes, why: str) -> Parts | None:
    at = data.find(START, 1)
    raise BadFrame(why, skip=at if at > 0 else len(data))


def _text(digits: bytes) -> str | None:
    text = ""
    for digit in digits:
        figure = SEGMENTS.get(digit & 0x7F)
        if figure is None:
            return None
        text += figure + ("." if digit & 0x80 else "")
    text = text.strip()
    # the display shows over range as 0L, with or without its point
    if text.replace(".", "") == "0L":
        return "OL"
    return None if "L" in text or " " in text or not text else text
