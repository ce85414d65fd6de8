"""SNMP, versions 1 and 2c, on our own transports: messages are made and read by pysnmp, without its engine.

A response carries the number of its request, so a late one is known. Imported only for a profile that asks for it.
"""

from __future__ import annotations

from typing import Any, Final

from bench.instruments.parts import Parts
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Point, Snmp
from bench.instruments.profile.template import plain_number
from bench.instruments.wire.framing import Frame, Framer, Noise

_SEQUENCE: Final = 0x30
_LONGEST: Final = 65535
"""Bytes: no datagram is longer."""


def _codec(dialogue: Snmp) -> Any:
    try:
        from pysnmp.proto import api
    except ImportError as error:
        raise InstrumentTrouble(
            "unable", "The library for SNMP is not installed.", "Install it: pip install 'proveout[snmp]'"
        ) from error
    version = api.SNMP_VERSION_1 if dialogue.version == "1" else api.SNMP_VERSION_2C
    return api.PROTOCOL_MODULES[version]


def _message(dialogue: Snmp, codec: Any, pdu: Any, oid: str, value: Any, number: int, community: str) -> bytes:
    from pyasn1.codec.ber import encoder

    codec.apiPDU.set_defaults(pdu)
    codec.apiPDU.set_request_id(pdu, number)
    codec.apiPDU.set_varbinds(pdu, [(tuple(int(part) for part in oid.split(".")), value)])
    message = codec.Message()
    codec.apiMessage.set_defaults(message)
    codec.apiMessage.set_community(message, community)
    codec.apiMessage.set_pdu(message, pdu)
    return bytes(encoder.encode(message))


def get_request(dialogue: Snmp, point: Point, number: int) -> bytes:
    """The message that asks for a point."""
    codec = _codec(dialogue)
    pdu = codec.GetRequestPDU()
    return _message(dialogue, codec, pdu, point.oid, codec.Null(""), number, dialogue.community)


def set_request(dialogue: Snmp, point: Point, value: str, number: int) -> bytes:
    """The message that sets a point.

    Raises:
        ValueError: the point cannot hold that.
    """
    codec = _codec(dialogue)
    whole = codec.Integer if dialogue.version == "1" else codec.Integer32
    held = codec.OctetString(value) if point.text else whole(round(float(value) / point.scale))
    community = dialogue.write_community or dialogue.community
    return _message(dialogue, codec, codec.SetRequestPDU(), point.oid, held, number, community)


class SnmpFramer(Framer):
    """Responses, each a sequence whose length stands at its head."""

    def pull(self) -> Frame | Noise | None:
        """The next response."""
        data = self._buffer
        if len(data) < 2:
            return None
        if data[0] != _SEQUENCE:
            return Noise(self.clear(), "it does not begin as a message of SNMP does")
        head, size = 2, data[1]
        if size & 0x80:
            count = size & 0x7F
            if not 1 <= count <= 3:
                return Noise(self.clear(), "its length is none that a message of SNMP has")
            if len(data) < 2 + count:
                return None
            head, size = 2 + count, int.from_bytes(data[2 : 2 + count], "big")
        if size > _LONGEST:
            return Noise(self.clear(), "it is longer than a datagram")
        if len(data) < head + size:
            return None
        raw = bytes(data[: head + size])
        del data[: head + size]
        return Frame(raw, raw)


def value_of(dialogue: Snmp, frame: Frame, point: Point, number: int) -> str:
    """What a response says of a point, as text; a number in the unit of what is read.

    Raises:
        ValueError: it is no response, or that to another request.
        InstrumentTrouble: ``refused`` where the instrument says that it cannot.
    """
    from pyasn1.codec.ber import decoder
    from pyasn1.error import PyAsn1Error
    from pysnmp.proto import rfc1905

    codec = _codec(dialogue)
    try:
        message, rest = decoder.decode(frame.body, asn1Spec=codec.Message())
        pdu = codec.apiMessage.get_pdu(message)
        if rest or not pdu.isSameTypeWith(codec.GetResponsePDU()):
            raise ValueError("it is no response of SNMP")
        came, status = int(codec.apiPDU.get_request_id(pdu)), int(codec.apiPDU.get_error_status(pdu))
        ((oid, value),) = [(str(oid), value) for oid, value in codec.apiPDU.get_varbinds(pdu)]
    except (PyAsn1Error, TypeError) as error:
        raise ValueError("it is no response of SNMP") from error
    if came != number or oid != point.oid:
        raise ValueError("it answers another request")
    missing = isinstance(value, rfc1905.NoSuchObject | rfc1905.NoSuchInstance | rfc1905.EndOfMibView)
    if status or missing:
        what = "it has no such value" if missing else codec.apiPDU.get_error_status(pdu).prettyPrint()
        raise InstrumentTrouble(
            "refused",
            f"The instrument refuses {point.oid}: {what}.",
            "Does the profile name what this instrument has, and may this community read or set it?",
            raw=(frame.raw,),
        )
    text = bytes(value).decode("utf-8", "replace") if hasattr(value, "asOctets") else str(int(value))
    return text if point.text else plain_number(float(text) * point.scale, 12)


def with_parts(frame: Frame, text: str) -> Frame:
    """The frame with what it says."""
    return Frame(frame.raw, frame.body, parts=Parts(text))
