"""What a serial port makes of characters that were sent at another rate than it is set to, bit by bit."""

from __future__ import annotations

from typing import Final

IDLE_BITS: Final = 3
"""Bit times of rest after what was sent."""


def heard(data: bytes, sent_at: float, heard_at: float) -> bytes:
    """The characters that a receiver takes, eight bits and no parity on both sides.

    A receiver waits for a falling edge, takes each bit in its middle and does not mind a stop bit that is missing: it
    waits for the line to rise, and for the next edge.

    Args:
        data: what was sent, character after character.
        sent_at: bits a second of the sender.
        heard_at: bits a second of the receiver.
    """
    if sent_at == heard_at or not data:
        return data
    line: list[int] = []
    for one in data:
        line += [0, *((one >> bit) & 1 for bit in range(8)), 1]
    line += [1] * IDLE_BITS
    each, end = 1.0 / heard_at, len(line) / sent_at

    def level(at: float) -> int:
        place = int(at * sent_at)
        return line[place] if place < len(line) else 1

    found, at = bytearray(), 0.0
    while at < end:
        if level(at):
            # the next edge lies on one of the sender's bits
            at = (int(at * sent_at + 1e-9) + 1) / sent_at + 1e-12
            continue
        bits = [level(at + (1.5 + bit) * each) for bit in range(8)]
        if level(at + 0.5 * each):
            at += 0.5 * each  # a start bit that is too short to be one
            continue
        found.append(sum(one << bit for bit, one in enumerate(bits)))
        at += 9.5 * each
        while at < end and not level(at):
            at = (int(at * sent_at + 1e-9) + 1) / sent_at + 1e-12
    return bytes(found)
