"""M-Bus (EN 13757) on our own transports: frames are cut and checked here, what a response says is read by pyMeterBus.

A station repeats its last response, however old, to a request with the bit of the one before; so each request comes
after a reset of the link (SND_NKE), which is acknowledged. Imported only for a profile that asks for it.
"""

from __future__ import annotations

import math
from typing import Any, Final

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Mbus
from bench.instruments.profile.template import plain_number
from bench.instruments.wire.framing import Frame, Framer, Noise

WHO: Final = "meter"
"""The question who it is: the head of its response is."""
ACKNOWLEDGED: Final = b"\xe5"
_SHORT, _LONG, _END = 0x10, 0x68, 0x16
_RESET, _REQUEST = 0x40, 0x7B
"""SND_NKE, and REQ_UD2 with the bit that the first request after a reset has (EN 13757-2, from memory)."""
_RESPONSE, _ACCESS_BITS = 0x08, 0x30
"""RSP_UD; access demand and data flow, which a station may add."""
_VARIABLE: Final = 0x72
"""Variable data, low byte first: the only structure that is read."""
_POWER_LOW, _ERRORS = 0x04, 0x1B
"""Of the status byte: power low; busy, any application error, a permanent and a temporary error (EN 13757-3, from
memory)."""
UNITS: Final = {
    "V": "V",
    "A": "A",
    "C": "degC",
    "Hz": "Hz",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "days": "d",
}
"""Units as pyMeterBus names them, and as ``units`` of a profile may; what has another one is no reading here."""


def _sum(data: bytes) -> int:
    return sum(data) & 0xFF


def short(code: int, station: int) -> bytes:
    """A frame without data."""
    body = bytes([code, station])
    return bytes([_SHORT]) + body + bytes([_sum(body), _END])


def reset(dialogue: Mbus) -> bytes:
    """The frame that resets the link; the station acknowledges it."""
    return short(_RESET, dialogue.station)


def request(dialogue: Mbus) -> bytes:
    """The frame that asks for all that the station has to say."""
    return short(_REQUEST, dialogue.station)


class MbusFramer(Framer):
    """Acknowledgements and long frames, each with its length twice, its sum and its end."""

    def pull(self) -> Frame | Noise | None:
        """The next frame."""
        data = self._buffer
        if not data:
            return None
        if data[0] == ACKNOWLEDGED[0]:
            del data[:1]
            return Frame(ACKNOWLEDGED, ACKNOWLEDGED)
        if data[0] != _LONG:
            return Noise(self.clear(), "it does not begin as a frame of M-Bus does")
        if len(data) < 4:
            return None
        size = data[1]
        if data[2] != size or data[3] != _LONG or size < 3:
            return Noise(self.clear(), "its two lengths are not the same")
        if len(data) < size + 6:
            return None
        raw = bytes(data[: size + 6])
        del data[: size + 6]
        body = raw[4:-2]
        if raw[-2] != _sum(body) or raw[-1] != _END:
            return Noise(raw, "its checksum does not fit")
        return Frame(raw, body)


def refuse_unacknowledged(frame: Frame) -> None:
    """See that a reset was acknowledged.

    Raises:
        ValueError: by something else.
    """
    if frame.body != ACKNOWLEDGED:
        raise ValueError("it is no acknowledgement")


def _telegram(dialogue: Mbus, frame: Frame) -> Any:
    body = frame.body
    if len(body) < 15 or body[0] & ~_ACCESS_BITS != _RESPONSE or body[2] != _VARIABLE:
        raise ValueError("it is no response with variable data")
    if body[1] != dialogue.station:
        raise ValueError(f"station {body[1]} answers")
    if body[12] & _ERRORS:
        raise InstrumentTrouble(
            "refused",
            f"The meter reports an error of its own (status {body[12]:#04x}).",
            "Look at its display.",
            raw=(frame.raw,),
        )
    try:
        import meterbus
    except ImportError as error:
        raise InstrumentTrouble(
            "unable", "The library for M-Bus is not installed.", "Install it: pip install 'proveout[mbus]'"
        ) from error
    try:
        return meterbus.load(frame.raw)
    except Exception as error:  # the library has errors of many kinds for what it cannot read
        raise ValueError(f"it cannot be taken apart ({type(error).__name__}: {error})") from error


def identity_of(dialogue: Mbus, frame: Frame) -> str:
    """Who answers: maker's letters, number, version and medium, as the head of a response has them.

    Raises:
        ValueError: it is no response of this station.
        InstrumentTrouble: ``refused``.
    """
    _telegram(dialogue, frame)
    body = frame.body
    number, maker = body[3:7][::-1].hex(), int.from_bytes(body[7:9], "little")
    letters = "".join(chr((maker >> shift & 0x1F) + 64) for shift in (10, 5, 0))
    return f"{letters} {number} {body[9]} {body[10]}"


def parts_of(dialogue: Mbus, frame: Frame, name: str) -> Parts:
    """What a response says of a point.

    Raises:
        ValueError: it is no response of this station, or its record holds no number.
        InstrumentTrouble: ``refused`` where the meter reports an error of its own.
    """
    telegram, record = _telegram(dialogue, frame), dialogue.points[name].record
    records = telegram.body.bodyPayload.records
    if record >= len(records):
        raise ValueError(f"it has {len(records)} records, and no record {record} from 0")
    found = records[record]
    try:
        what, value, unit = found.interpreted, float(found.value), str(found.unit)
    except Exception as error:
        raise ValueError(f"record {record} holds no number ({type(error).__name__})") from error
    if "ERROR" in str(what.get("function", "")) or not math.isfinite(value):
        raise ValueError(f"record {record} is a value of an error's time")
    marks = ("power-low",) if frame.body[12] & _POWER_LOW else ()
    return Parts(plain_number(value, 12), unit=UNITS.get(unit, unit), marks=marks)
