"""Modbus RTU on our own transports: requests and responses are made and read by pymodbus, without its client.

Its framer hunts for a frame behind garbage; ours takes none that does not begin where a response must begin. Timing by
silent intervals is not used to find frames, since adapters deliver bytes in packets; the checksum and the length that a
response states are. Imported only for a profile that asks for it.
"""

from __future__ import annotations

from typing import Any, Final

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Register
from bench.instruments.wire.framing import Frame, Framer, Noise

_LONGEST: Final = 256
"""Bytes of an RTU frame at most, as the public specification of Modbus over serial line says."""
_EXCEPTIONS: Final = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "server device failure",
    5: "acknowledge",
    6: "server device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target device failed to respond",
}
"""Exception codes of the public Modbus application protocol."""


def request(station: int, register: Register) -> bytes:
    """The frame that asks for a register, checksum and all."""
    from pymodbus.framer import FramerRTU
    from pymodbus.pdu import DecodePDU
    from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

    kind = ReadInputRegistersRequest if register.table == "input" else ReadHoldingRegistersRequest
    asked = kind(dev_id=station, address=register.address, count=register.words)
    return bytes(FramerRTU(DecodePDU(False)).buildFrame(asked))


class RtuFramer(Framer):
    """Responses of one station. A frame's body is the response without station and checksum."""

    def __init__(self, station: int) -> None:
        from pymodbus.framer import FramerRTU
        from pymodbus.pdu import DecodePDU

        self._station = station
        self._decoder: Any = DecodePDU(False)
        self._framer: Any = FramerRTU
        super().__init__()

    def pull(self) -> Frame | Noise | None:
        """The next response."""
        if not self._buffer:
            return None
        if self._buffer[0] != self._station:
            return Noise(self.clear(), f"it does not begin with the station's number {self._station}")
        if len(self._buffer) < 3:
            return None
        data = bytes(self._buffer)
        kind = self._decoder.lookupPduClass(data)
        if kind is None:
            return Noise(self.clear(), f"the function code {data[1]:#04x} is none")
        size = int(kind.calculateRtuFrameSize(data))
        if not 4 < size <= _LONGEST:
            return Noise(self.clear(), f"a length of {size} bytes")
        if len(data) < size:
            return None
        raw = data[:size]
        if not self._framer.check_CRC(raw[:-2], int.from_bytes(raw[-2:], "big")):
            return Noise(self.clear(), "its checksum does not fit")
        return Frame(self._take(size), raw[1:-2])


def parts_of_response(body: bytes, register: Register) -> Parts:
    """The number in a response, as text, before its scale.

    Args:
        body: the response without station and checksum.
        register: what was asked for.

    Raises:
        ValueError: it answers another question.
        InstrumentTrouble: ``refused`` where the station answers with an exception.
    """
    from pymodbus.client.mixin import ModbusClientMixin
    from pymodbus.pdu import DecodePDU

    asked = 4 if register.table == "input" else 3
    code = body[0]
    if code == asked | 0x80 and len(body) == 2:
        raise InstrumentTrouble(
            "refused",
            f"The station answers '{_EXCEPTIONS.get(body[1], f'exception {body[1]}')}' when register "
            f"{register.address} is read.",
            "The profile does not fit this instrument, or the instrument is not ready.",
            raw=(body,),
        )
    if code != asked or len(body) != 2 + 2 * register.words or body[1] != 2 * register.words:
        raise ValueError(f"function {code} with {len(body)} bytes answers another question")
    response: Any = DecodePDU(False).decode(body)
    if response is None:
        raise ValueError("it cannot be decoded")
    kinds = ModbusClientMixin.DATATYPE
    number = ModbusClientMixin.convert_from_registers(
        response.registers,
        kinds[register.type.upper()],
        word_order="little" if register.low_word_first else "big",
    )
    assert isinstance(number, int | float)
    # an exponent says that the digits are those of the format and not of the instrument
    return Parts(value=str(number) if isinstance(number, int) else f"{number:.8E}")
