"""The numbered errors of SCPI-1999 volume 2 chapter 21, and the queue they wait in."""

from __future__ import annotations

from collections import deque

import msgspec

__all__ = ["ERRORS", "ErrorEntry", "ErrorQueue", "ScpiError", "event_bit"]

# Number to text, as listed in public headers of open SCPI parsers.
ERRORS: dict[int, str] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -105: "GET not allowed",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -160: "Block data error",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -170: "Expression error",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -180: "Macro error",
    -181: "Invalid outside macro definition",
    -183: "Invalid inside macro definition",
    -184: "Macro parameter error",
    -200: "Execution error",
    -201: "Invalid while in local",
    -202: "Settings lost due to rtl",
    -203: "Command protected",
    -210: "Trigger error",
    -211: "Trigger ignored",
    -212: "Arm ignored",
    -213: "Init ignored",
    -214: "Trigger deadlock",
    -215: "Arm deadlock",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -231: "Data questionable",
    -240: "Hardware error",
    -241: "Hardware missing",
    -310: "System error",
    -311: "Memory error",
    -313: "Calibration memory lost",
    -320: "Storage fault",
    -330: "Self-test failed",
    -340: "Calibration failed",
    -350: "Queue overflow",
    -360: "Communication error",
    -361: "Parity error in program message",
    -362: "Framing error in program message",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -600: "User request",
    -700: "Request control",
    -800: "Operation complete",
}

# Class of an error (its hundreds) to the bit it sets in the standard event status register.
# SCPI-1999 21.8, from memory, not confirmed in the text.
_EVENT_BITS = {1: 32, 2: 16, 3: 8, 4: 4, 5: 128, 6: 64, 7: 2, 8: 1}

# A description with its detail is cut to this length (SCPI-1999 21.8, from memory).
_LONGEST = 255


def event_bit(number: int) -> int:
    """The bit in the standard event status register that an error of this number sets.

    Positive numbers are device-defined errors and set the device-dependent error bit.
    """
    if number == 0:
        return 0
    return 8 if number > 0 else _EVENT_BITS.get(-number // 100, 8)


class ScpiError(Exception):
    """An error that the instrument reports to its controller, by number."""

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(f"{number} {ERRORS.get(number, '')} {detail}".strip())
        self.number = number
        self.detail = detail


class ErrorEntry(msgspec.Struct, frozen=True):
    """One entry of the queue; :meth:`text` is the form in which it is answered."""

    number: int
    detail: str = ""

    def text(self) -> str:
        """Such as ``-113,"Undefined header"``, with the detail after a semicolon."""
        words = ERRORS.get(self.number, "Device-specific error")
        if self.detail:
            words = f"{words};{self.detail}"
        return f'{self.number},"{words[:_LONGEST].replace(chr(34), chr(34) * 2)}"'


NO_ERROR = ErrorEntry(0)


class ErrorQueue:
    """First in, first out; on overflow the newest entry becomes -350 and the oldest stay.

    ``capacity`` is at least 2 (SCPI-1999 21.8.1).
    """

    def __init__(self, capacity: int = 20) -> None:
        if capacity < 2:
            raise ValueError(f"an error queue holds at least 2 entries, not {capacity}")
        self.capacity = capacity
        self._entries: deque[ErrorEntry] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def entries(self) -> tuple[ErrorEntry, ...]:
        """What is in the queue, oldest first."""
        return tuple(self._entries)

    def push(self, number: int, detail: str = "") -> bool:
        """Add an error; False when the queue was full and -350 took the newest place."""
        if len(self._entries) < self.capacity:
            self._entries.append(ErrorEntry(number, detail))
            return True
        self._entries[-1] = ErrorEntry(-350)
        return False

    def pop(self) -> ErrorEntry:
        """Take the oldest entry; 0,"No error" when there is none."""
        return self._entries.popleft() if self._entries else NO_ERROR

    def clear(self) -> None:
        """Forget all entries."""
        self._entries.clear()
