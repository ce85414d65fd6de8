"""Any VISA resource through PyVISA. Imported only when a VISA resource name is used: it takes a quarter of a second.

Bytes are framed by us here too: the library looks at the last character of a terminator only, and throws away what
came of an answer before a timeout. So its terminators are switched off and bytes are read as they come. On resources
that carry messages (TCPIP::INSTR, USB, GPIB) a read cannot be cut into slices, since a timeout would break the message;
an abort is heeded there when the reading's deadline has passed. A raw socket that the other side closed looks silent
through the library, not lost: ``socket://`` addresses say so at once.
"""

from __future__ import annotations

import contextlib
import time
from typing import Any, Final

from bench.instruments.ports.owned import WRITE_TIME, OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from
from bench.instruments.profile.line import Line

_CHUNK: Final = 65536
_SLICE_MS: Final = 20
"""Milliseconds of one wait for a stream of bytes, and so the longest until an abort is heeded."""
_PAUSE: Final = 0.01


class VisaPort(OwnedPort):
    """A VISA resource; see :class:`~bench.instruments.ports.transport.Transport`.

    Args:
        address: the resource name.
        line: serial settings, for serial resources.
        backend: the VISA library, as PyVISA names it: ``@py``; or ``file.yaml@sim`` for a simulated one.

    Raises:
        InstrumentTrouble: ``busy``, ``denied``, ``lost``; ``unable`` where PyVISA or the library is missing.
    """

    def __init__(self, address: str, line: Line, *, backend: str = "@py") -> None:
        self._line = line
        self._backend = backend
        self._asked = False
        self._serial = address.upper().startswith("ASRL")
        self._sliced = self._serial or address.upper().endswith("::SOCKET")
        super().__init__(address)

    def _open(self) -> None:
        try:
            import pyvisa
        except ImportError as error:
            raise InstrumentTrouble(
                "unable",
                f"{self.address} is a VISA resource, and PyVISA is not installed.",
                "Install it: pip install pyvisa pyvisa-py",
            ) from error
        try:
            self._manager = pyvisa.ResourceManager(self._backend)
        except Exception as error:
            raise InstrumentTrouble(
                "unable",
                f"The VISA library {self._backend!r} cannot be used: {error}.",
                "Install pyvisa-py, or name another library.",
            ) from error
        self._resource: Any = self._manager.open_resource(self.address)
        self._configure(self._line)

    def _close(self) -> None:
        self._resource.close()

    def _configure(self, line: Line) -> None:
        from pyvisa import constants

        resource = self._resource
        resource.read_termination = None
        resource.write_termination = ""
        resource.timeout = _SLICE_MS if self._sliced else 1000
        if not self._serial:
            return
        resource.baud_rate = line.baud
        resource.data_bits = line.bits
        resource.parity = getattr(constants.Parity, line.parity)
        resource.stop_bits = {
            "1": constants.StopBits.one,
            "1.5": constants.StopBits.one_and_a_half,
            "2": constants.StopBits.two,
        }[line.stop]
        # a simulated resource or an old library may not know all of these
        for attribute, level in (
            (constants.ResourceAttribute.asrl_dtr_state, line.dtr),
            (constants.ResourceAttribute.asrl_rts_state, line.rts),
        ):
            with contextlib.suppress(Exception):
                state = constants.LineState.asserted if level else constants.LineState.unasserted
                resource.set_visa_attribute(attribute, state)
        with contextlib.suppress(Exception):
            resource.flow_control = {
                "none": constants.ControlFlow.none,
                "rts-cts": constants.ControlFlow.rts_cts,
                "xon-xoff": constants.ControlFlow.xon_xoff,
                "dsr-dtr": constants.ControlFlow.dtr_dsr,
            }[line.flow]
        resource.end_input = constants.SerialTermination.none
        with contextlib.suppress(Exception):
            resource.set_visa_attribute(constants.ResourceAttribute.asrl_end_out, constants.SerialTermination.none)

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        self._check_abort()
        try:
            if self._asked and not self._sliced:
                # the last answer was not fetched: a device clear takes it away
                self._resource.clear()
            self._asked = b"?" in data
            self._resource.timeout = int(WRITE_TIME * 1000)
            try:
                self._resource.write_raw(data)
            finally:
                if self._sliced:
                    self._resource.timeout = _SLICE_MS
        except Exception as error:
            if self._is_timeout(error):
                raise self._stuck() from error
            raise trouble_from(error, self.address, "writing") from error

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        try:
            while True:
                self._check_abort()
                data = self._read_once(deadline)
                if data or time.monotonic() >= deadline:
                    return data
        except InstrumentTrouble:
            raise
        except Exception as error:
            raise trouble_from(error, self.address, "reading") from error

    def _read_once(self, deadline: float) -> bytes:
        if self._sliced:
            waiting = self._waiting() if self._serial else 0
            if waiting:
                return self._read_what_waits(waiting)
            if time.monotonic() < deadline:
                return self._read_some(1)
            return b"" if self._serial else self._read_at_once()
        left = deadline - time.monotonic()
        if not self._asked or left <= 0:
            # to read what was not asked for is an error in these protocols, and there is nothing stale in them
            time.sleep(min(max(left, 0.0), _PAUSE))
            return b""
        self._resource.timeout = max(1, int(left * 1000))
        data = self._read_some(_CHUNK)
        self._asked = not data
        return data

    def _read_what_waits(self, count: int) -> bytes:
        # it has come, but the library fetches it byte by byte and loses all of it where its time runs out halfway
        self._resource.timeout = int(WRITE_TIME * 1000)
        try:
            return self._read_some(count)
        finally:
            self._resource.timeout = _SLICE_MS

    def _read_at_once(self) -> bytes:
        # no time at all would miss what is there
        self._resource.timeout = 1
        try:
            return self._read_some(1)
        finally:
            self._resource.timeout = _SLICE_MS

    def _waiting(self) -> int:
        try:
            return int(self._resource.bytes_in_buffer)
        except Exception:
            # a simulated resource may not know: it is then read byte by byte
            return 0

    def _read_some(self, count: int) -> bytes:
        from pyvisa import constants

        try:
            with self._resource.ignore_warning(constants.StatusCode.success_max_count_read):
                data, _ = self._resource.visalib.read(self._resource.session, count)
        except Exception as error:
            if self._is_timeout(error):
                return b""
            raise
        return bytes(data)

    def _is_timeout(self, error: BaseException) -> bool:
        from pyvisa import constants
        from pyvisa.errors import VisaIOError

        return isinstance(error, VisaIOError) and error.error_code == constants.StatusCode.error_timeout
