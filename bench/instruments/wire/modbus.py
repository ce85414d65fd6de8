"""Modbus on our own transports: requests and responses are made and read by pymodbus, without its client.

Its framers hunt for a frame behind garbage; ours take none that does not begin where a response must begin. Timing by
silent intervals is not used to find frames, since adapters deliver bytes in packets; the check sum and the length that
a response states are. Imported only for a profile that asks for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Modbus, Register
from bench.instruments.profile.template import plain_number
from bench.instruments.wire.framing import Frame, Framer, Noise

_LONGEST: Final = 256
"""Bytes of an RTU frame at most, as the public specification of Modbus over serial line says."""
_LONGEST_ASCII: Final = 513
"""Characters of an ASCII frame at most, as the same specification says."""
_HEADER: Final = 7
"""Bytes before the function code on TCP, as the public Modbus messaging guide for TCP/IP says: transaction, protocol,
length, unit."""
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
_READS: Final = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
"""Table to the function code that reads it."""


def request(dialogue: Modbus, register: Register, transaction: int = 0) -> bytes:
    """The frame that asks for a register or a bit, check sum and all."""
    from pymodbus.pdu import bit_message, register_message

    kinds: dict[str, Any] = {
        "input": register_message.ReadInputRegistersRequest,
        "holding": register_message.ReadHoldingRegistersRequest,
        "coil": bit_message.ReadCoilsRequest,
        "discrete": bit_message.ReadDiscreteInputsRequest,
    }
    asked = kinds[register.table](dev_id=dialogue.station, address=register.address, count=register.words)
    return _framed(dialogue, asked, transaction)


def write_request(dialogue: Modbus, register: Register, value: str, transaction: int = 0) -> bytes:
    """The frame that writes a register or a coil.

    Args:
        dialogue: station and framing.
        register: where to.
        value: as text, in the unit of what is read; ``1`` or ``0`` for a coil.
        transaction: its number, on TCP.

    Raises:
        ValueError: the register cannot hold that.
    """
    from pymodbus.pdu import bit_message, register_message

    common: dict[str, Any] = {"dev_id": dialogue.station, "address": register.address}
    number = float(value)
    asked: Any
    if register.bit:
        if number not in (0.0, 1.0):
            raise ValueError(f"{value} for one bit")
        asked = bit_message.WriteSingleCoilRequest(**common, bits=[number == 1.0])
    else:
        words = _words(number / register.scale, register)
        if len(words) == 1:
            asked = register_message.WriteSingleRegisterRequest(**common, registers=words)
        else:
            asked = register_message.WriteMultipleRegistersRequest(**common, registers=words)
    return _framed(dialogue, asked, transaction)


def _words(number: float, register: Register) -> list[int]:
    import struct

    from pymodbus.client.mixin import ModbusClientMixin

    exact: int | float = number if register.type.startswith("float") else round(number)
    kinds: Any = ModbusClientMixin.DATATYPE
    try:
        words = ModbusClientMixin.convert_to_registers(
            exact, kinds[register.type.upper()], word_order="little" if register.low_word_first else "big"
        )
    except (struct.error, OverflowError) as error:
        raise ValueError(f"{number:g} for a register of type {register.type}") from error
    return _swapped(words) if register.low_byte_first else list(words)


def _swapped(words: Sequence[int]) -> list[int]:
    return [(word & 0xFF) << 8 | word >> 8 for word in words]


def _framed(dialogue: Modbus, asked: Any, transaction: int) -> bytes:
    from pymodbus import framer
    from pymodbus.pdu import DecodePDU

    kinds = {"rtu": framer.FramerRTU, "ascii": framer.FramerAscii, "tcp": framer.FramerSocket}
    asked.transaction_id = transaction
    return bytes(kinds[dialogue.framing](DecodePDU(False)).buildFrame(asked))


def framer_for(dialogue: Modbus) -> Framer:
    """What cuts the responses of a station."""
    if dialogue.framing == "tcp":
        return TcpFramer(dialogue.station)
    return AsciiFramer(dialogue.station) if dialogue.framing == "ascii" else RtuFramer(dialogue.station)


class RtuFramer(Framer):
    """Responses of one station. A frame's body is the response without station and check sum."""

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


class AsciiFramer(Framer):
    """The same in hexadecimal digits, from a colon to CR LF, with the sum of all bytes at its end."""

    def __init__(self, station: int) -> None:
        self._station = station
        super().__init__()

    def pull(self) -> Frame | Noise | None:
        """The next response."""
        if not self._buffer:
            return None
        if self._buffer[0] != ord(":"):
            return Noise(self.clear(), "it does not begin with a colon")
        end = self._buffer.find(b"\r\n")
        if end < 0:
            return Noise(self.clear(), "no end comes") if len(self._buffer) > _LONGEST_ASCII else None
        raw = self._take(end + 2)
        try:
            data = bytes.fromhex(raw[1:-2].decode("ascii"))
        except ValueError:
            return Noise(raw, "it holds something else than pairs of digits")
        if len(data) < 4 or sum(data) & 0xFF:
            return Noise(raw, "its checksum does not fit")
        if data[0] != self._station:
            return Noise(raw, f"it does not begin with the station's number {self._station}")
        return Frame(raw, data[1:-1])


class TcpFramer(Framer):
    """The same behind a header that tells its length and which request it answers. TCP itself has the check sum."""

    def __init__(self, station: int) -> None:
        self._station = station
        super().__init__()

    def pull(self) -> Frame | Noise | None:
        """The next response."""
        if len(self._buffer) < _HEADER:
            return None
        protocol, size = (int.from_bytes(self._buffer[at : at + 2], "big") for at in (2, 4))
        if protocol or not 3 <= size <= _LONGEST:
            return Noise(self.clear(), "it does not begin as a response does")
        if len(self._buffer) < 6 + size:
            return None
        raw = self._take(6 + size)
        if raw[6] != self._station:
            return Noise(raw, f"it is of the unit {raw[6]}, and {self._station} was asked")
        return Frame(raw, raw[_HEADER:])


def answers(dialogue: Modbus, frame: Frame, transaction: int) -> bool:
    """Whether a response is that to a request; only TCP can tell."""
    return dialogue.framing != "tcp" or int.from_bytes(frame.raw[:2], "big") == transaction


def _refuse_exception(body: bytes, asked: int, register: Register, doing: str) -> None:
    if body[0] == asked | 0x80 and len(body) == 2:
        raise InstrumentTrouble(
            "refused",
            f"The station answers '{_EXCEPTIONS.get(body[1], f'exception {body[1]}')}' when {register.table} "
            f"{register.address} is {doing}.",
            "The profile does not fit this instrument, or the instrument is not ready.",
            raw=(body,),
        )


def parts_of_response(body: bytes, register: Register) -> Parts:
    """The number in a response, as text, before its scale.

    Args:
        body: the response without station and check sum.
        register: what was asked for.

    Raises:
        ValueError: it answers another question.
        InstrumentTrouble: ``refused`` where the station answers with an exception.
    """
    from pymodbus.client.mixin import ModbusClientMixin
    from pymodbus.pdu import DecodePDU

    asked = _READS[register.table]
    code = body[0]
    _refuse_exception(body, asked, register, "read")
    size = 1 if register.bit else 2 * register.words
    if code != asked or len(body) != 2 + size or body[1] != size:
        raise ValueError(f"function {code} with {len(body)} bytes answers another question")
    if register.bit:
        return Parts(value=str(body[2] & 1))
    response: Any = DecodePDU(False).decode(body)
    if response is None:
        raise ValueError("it cannot be decoded")
    kinds = ModbusClientMixin.DATATYPE
    words = _swapped(response.registers) if register.low_byte_first else response.registers
    number = ModbusClientMixin.convert_from_registers(
        words,
        kinds[register.type.upper()],
        word_order="little" if register.low_word_first else "big",
    )
    assert isinstance(number, int | float)
    # an exponent says that the digits are those of the format and not of the instrument
    return Parts(value=str(number) if isinstance(number, int) else f"{number:.8E}")


def check_written(body: bytes, register: Register, sent: bytes) -> None:
    """See that a response says that what was sent was written.

    Args:
        body: the response without station and check sum.
        register: what was written to.
        sent: the request in the same form.

    Raises:
        ValueError: it answers another request.
        InstrumentTrouble: ``refused`` where the station answers with an exception.
    """
    _refuse_exception(body, sent[0], register, "written")
    # one register or coil comes back whole, of several their place and number
    wanted = sent[:5]
    if body != wanted:
        raise ValueError(f"{body.hex(' ')} does not say that {wanted.hex(' ')} was written")


def body_of(dialogue: Modbus, frame: bytes) -> bytes:
    """A request without what its framing puts around it."""
    if dialogue.framing == "tcp":
        return frame[_HEADER:]
    if dialogue.framing == "ascii":
        return bytes.fromhex(frame[1:-2].decode("ascii"))[1:-1]
    return frame[1:-2]


def text_of_point(parts: Parts, register: Register) -> str:
    """What a question for a point is answered with: its number with the scale, as text."""
    if register.bit:
        return parts.value
    return plain_number(float(parts.value) * register.scale)
