"""A panel meter on a Modbus RTU line: the quantities of a feed in registers, as its profile has them.

Written from the public specification of Modbus over serial line; its check sum is its own. A request is what comes
within one burst: after a silence whatever was begun is forgotten.
"""

from __future__ import annotations

import math
import random
import struct
from typing import ClassVar, Final

from bench.instruments.profile.functions import Function
from bench.instruments.profile.line import Modbus, Register
from bench.instruments.profile.profile import Profile
from bench.simulate.twins.figures import Scale, drawn_errors, identity_of, scales, shipped_profile
from bench.simulate.twins.paced import Paced
from bench.simulate.world.terminals import AMPS, HI, LO, MeterWorld

__all__ = ["PanelTwin", "check_sum"]

INPUT_OHM: Final = 1e6
SHUNT_OHM: Final = 0.001
ANSWER_S: Final = 0.005
BURST_S: Final = 0.05
"""A silence longer than this ends a request."""
TABLES: Final = {3: "holding", 4: "input"}
"""Function codes that read registers."""
FORMATS: Final = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}
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


class PanelTwin(Paced):
    """The meter.

    Args:
        world: what its terminals are on.
        seed: for its errors.
        profile: what it answers to; by default the one that comes with the program.
        error_scale: stretches the errors: 1 keeps them within its class.
        now: when it was switched on.

    Attributes:
        station: its address.
        kind: what it says that it is.
        shunt: whether its shunt is connected.
    """

    PLAYS: ClassVar = "modbus-panel-meter"

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        error_scale: float = 1.0,
        now: float = 0.0,
    ) -> None:
        self.profile = profile or shipped_profile(self.PLAYS)
        super().__init__(self.profile.line.character_time, now)
        self.world = world
        dialogue = self.profile.dialogue
        self.station = dialogue.station if isinstance(dialogue, Modbus) else 1
        self.kind = int(identity_of(self.profile) or 0)
        self.shunt = True
        draw = random.Random(f"errors {seed}")
        self._ranges = {one.name: scales(one)[-1] for one in self.profile.functions}
        self._errors = dict(zip(self._ranges, drawn_errors(self._ranges.values(), draw, error_scale), strict=True))
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
        if code in TABLES:
            table = self._registers(TABLES[code], now)
        else:
            return bytes([code | 0x80, NO_SUCH_FUNCTION])
        if not 1 <= count <= MOST_REGISTERS:
            return bytes([code | 0x80, BAD_COUNT])
        wanted = range(address, address + count)
        if not all(place in table for place in wanted):
            return bytes([code | 0x80, NO_SUCH_ADDRESS])
        return bytes([code, 2 * count]) + struct.pack(f">{count}H", *(table[place] for place in wanted))

    def _registers(self, name: str, now: float) -> dict[int, int]:
        """A table's registers by their addresses."""
        held: list[tuple[Register, float]] = []
        identify = self.profile.identify
        if identify is not None and identify.register is not None:
            held.append((identify.register, self.kind))
        held += [(one.register, self._number(one, one.register, now)) for one in self.profile.functions if one.register]
        found: dict[int, int] = {}
        for register, number in held:
            if register.table == name:
                words = struct.unpack(f">{register.words}H", struct.pack(f">{FORMATS[register.type]}", number))
                found.update(enumerate(reversed(words) if register.low_word_first else words, register.address))
        return found

    def _number(self, function: Function, register: Register, now: float) -> float:
        """What a register says: terminals that float read nothing but the meter's own error."""
        specials = self.profile.specials
        if function.reads == "current":
            if not self.shunt:
                return int(specials.nan[0])
            true = self.world.current(AMPS, LO, now, SHUNT_OHM)
        else:
            true = self.world.voltage(HI, LO, now, INPUT_OHM)
        gain, offset = self._errors[function.name]
        scale: Scale = self._ranges[function.name]
        shown = offset + (0.0 if math.isnan(true) else true * (1.0 + gain))
        if abs(shown) > scale.top:
            return int((specials.over if shown > 0 else specials.under)[0])
        return round(shown / register.scale)
