"""SCPI status register groups, and the forms in which numbers and text are answered."""

from __future__ import annotations

import math
from collections.abc import Iterable

from bench.simulate.scpi.commands import Command, Number, setting

__all__ = ["NAN", "OVERLOAD", "Register", "nr1", "nr3", "quoted", "register_commands"]

# SCPI-1999 volume 1 7.2.1: infinity and not-a-number as they are answered.
OVERLOAD = 9.9e37
NAN = 9.91e37


def nr3(value: float) -> str:
    """A number as ``+1.23456789E+00``; infinity and not-a-number by their SCPI values."""
    if math.isnan(value):
        value = NAN
    elif math.isinf(value):
        value = math.copysign(OVERLOAD, value)
    return f"{value:+.8E}"


def nr1(value: float) -> str:
    """An integer or boolean as plain digits."""
    return str(int(value))


def quoted(text: str) -> str:
    """A string response, in double quotes."""
    return '"' + text.replace('"', '""') + '"'


class Register:
    """A SCPI status register group: condition, event (latched on a rise) and enable, 15 bits."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0

    def set(self, bit: int, on: bool) -> None:
        """Set or clear a condition bit; a rise is latched in the event register."""
        before = self.condition
        self.condition = before | bit if on else before & ~bit
        self.event |= self.condition & ~before

    def take_event(self) -> int:
        """The event register, which reading clears."""
        event, self.event = self.event, 0
        return event


def register_commands(header: str, register: Register) -> Iterable[Command]:
    """The queries and settings of a register group below ``header``."""

    def enable(value: int) -> None:
        register.enable = value & 0x7FFF

    yield Command(f"{header}[:EVENt]", query=lambda call: nr1(register.take_event()))
    yield Command(f"{header}:CONDition", query=lambda call: nr1(register.condition))
    yield setting(
        f"{header}:ENABle",
        Number(minimum=0, maximum=65535, integer=True),
        enable,
        lambda: register.enable,
        nr1,
    )
