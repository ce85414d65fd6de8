"""A panel meter on a Modbus RTU line: the voltage and current of a feed as 32-bit numbers in thousandths.

Written from the public specification of Modbus over serial line; its check sum is its own. A request is what comes
within one burst: after a silence whatever was begun is forgotten.

    input register 0, 1      voltage, mV, signed, high word first
    input register 2, 3      current, mA, signed, high word first
    holding register 256     kind of meter
"""

from __future__ import annotations

import math
import random
import struct
from typing import Final

from bench.simulate.twins.paced import Paced
from bench.simulate.world.terminals import AMPS, HI, LO, MeterWorld

__all__ = ["KIND", "Panel", "check_sum"]

KIND: Final = 4660
"""What it answers when it is asked what it is."""
HIGHEST: Final = 2**31 - 1
"""Stands for over range."""
LOWEST: Final = -(2**31)
"""Stands for over range below zero."""
NO_SHUNT: Final = 2**31 - 2
"""Stands for a shunt that is not connected."""
VOLTS: Final = 80.0
AMPERES: Final = 100.0
"""Ends of its ranges."""
CLASS_PERCENT: Final = 0.5
"""Of range: a panel meter of class 0.5."""
INPUT_OHM: Final = 1e6
SHUNT_OHM: Final = 0.001
ANSWER_S: Final = 0.005
BURST_S: Final = 0.05
"""A silence longer than this ends a request."""
READ_HOLDING: Final = 3
READ_INPUT: Final = 4
NO_SUCH_FUNCTION: Final = 1
NO_SUCH_ADDRESS: Final = 2
BAD_COUNT: Final = 3
MOST_REGISTERS: Final = 125


def check_sum(data: bytes) -> bytes:
    """The check sum of Modbus over serial line, bit by bit as its public specification describes it; low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


class Panel(Paced):
    """The meter.

    Args:
        world: what its terminals are on.
        seed: for its errors.
        error_scale: stretches them: 1 keeps them within its class.
        station: its address.
        now: when it was switched on.

    Attributes:
        kind: what it says that it is.
        shunt: whether its shunt is connected.
    """

    BITS = 11
    """With even parity."""

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        error_scale: float = 1.0,
        station: int = 1,
        baud: float = 19200.0,
        now: float = 0.0,
    ) -> None:
        super().__init__(baud, now)
        self.world = world
        self.station = station
        self.kind = KIND
        self.shunt = True
        drawn = random.Random(f"errors {seed}")
        self._offsets = [
            error_scale * CLASS_PERCENT / 100 * full * drawn.uniform(-1.0, 1.0) for full in (VOLTS, AMPERES)
        ]
        self._request = bytearray()
        self._heard = now

    def receive(self, data: bytes, now: float) -> None:
        """Take a request, and answer it where it is whole and meant for this station."""
        if now - self._heard > BURST_S:
            self._request.clear()
        self._heard = now
        self._request += data
        while len(self._request) >= 8:
            request = bytes(self._request[:8])
            if check_sum(request[:6]) != request[6:]:
                del self._request[0]
                continue
            del self._request[:8]
            if request[0] == self.station:
                address, count = struct.unpack(">HH", request[2:6])
                answer = bytes([self.station]) + self._answer(request[1], address, count, now)
                self.put(answer + check_sum(answer), now + ANSWER_S)

    def _answer(self, code: int, address: int, count: int, now: float) -> bytes:
        """Function code and what follows it, without station and check sum."""
        if code == READ_INPUT:
            both = struct.pack(">ii", self._millivolts(now), self._milliamps(now))
            table = dict(enumerate(struct.unpack(">4H", both)))
        elif code == READ_HOLDING:
            table = {256: self.kind}
        else:
            return bytes([code | 0x80, NO_SUCH_FUNCTION])
        if not 1 <= count <= MOST_REGISTERS:
            return bytes([code | 0x80, BAD_COUNT])
        wanted = range(address, address + count)
        if not all(place in table for place in wanted):
            return bytes([code | 0x80, NO_SUCH_ADDRESS])
        return bytes([code, 2 * count]) + struct.pack(f">{count}H", *(table[place] for place in wanted))

    def _millivolts(self, now: float) -> int:
        return _thousandths(self.world.voltage(HI, LO, now, INPUT_OHM), self._offsets[0], VOLTS)

    def _milliamps(self, now: float) -> int:
        if not self.shunt:
            return NO_SHUNT
        return _thousandths(self.world.current(AMPS, LO, now, SHUNT_OHM), self._offsets[1], AMPERES)


def _thousandths(value: float, offset: float, full: float) -> int:
    """What a register says: terminals that float read nothing but the meter's own error."""
    shown = offset + (0.0 if math.isnan(value) else value)
    if abs(shown) > full:
        return HIGHEST if shown > 0 else LOWEST
    return round(shown * 1000)
