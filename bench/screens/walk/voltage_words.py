"""An insulation test voltage in words: coming, on, leaving, gone; the same for screens, lines and voices."""

from __future__ import annotations

from typing import Final

from bench.quantity import engineering
from bench.runner.ports import COUNTDOWN
from bench.runner.protocol import Voltage
from bench.sequence.plan import Step

UNKNOWN: Final = (
    "The test voltage is not known to be off. Treat the wires as live; prove them dead before anybody touches them."
)


def of(step: Step | None) -> str:
    """The test voltage that a step puts on, as it is written; empty where it puts none on."""
    volts = step.source.test_voltage if step is not None else None
    return "" if volts is None else str(volts)


def before(step: Step) -> str:
    """What is confirmed before it comes on.

    Args:
        step: that puts it on.
    """
    return (
        f"All hands off, at the far end too? Then confirm: {of(step)} come on after a count of {COUNTDOWN}, which any "
        "key stops."
    )


def during(step: Step, lasts: str) -> str:
    """What goes on from the count to the discharge.

    Args:
        step: that puts it on.
        lasts: how long it stays on, in words; may be empty.
    """
    time = f" for {lasts}" if lasts else ""
    return f"{of(step)}{time}. Hands off until it is discharged and read back."


def heading(now: Voltage) -> str:
    """The state in a few words, for a line that stands on every page.

    Args:
        now: the voltage.
    """
    volts = engineering(now.volts, "V", digits=3)
    match now.stage:
        case "coming":
            return f"TEST VOLTAGE {volts} IN {now.seconds} s: hands off; any key stops it"
        case "on":
            return f"TEST VOLTAGE {volts} IS ON: hands off"
        case "leaving":
            return f"DISCHARGING: {volts} left; hands off"
        case "unknown":
            return "TEST VOLTAGE NOT KNOWN TO BE OFF: treat the wires as live"
        case _:
            return now.said


def tone(now: Voltage, last: Voltage | None) -> str:
    """What is heard of a change, one of :data:`bench.screens.walk.sound.PATTERNS`; empty where nothing is.

    Args:
        now: the voltage.
        last: what was heard of it before.
    """
    if last is not None and last.stage == now.stage:
        return ""
    tones = {"coming": "voltage", "on": "voltage", "leaving": "off", "unknown": "trouble"}
    return tones.get(now.stage, "discharged")


def said(now: Voltage, last: Voltage | None) -> str:
    """What is told line by line; empty where it was told already.

    Args:
        now: the voltage.
        last: what was heard of it before.
    """
    volts = engineering(now.volts, "V", digits=3)
    match now.stage:
        case "coming" if last is None or last.stage != "coming":
            return f"Hands off. Test voltage {volts} in {now.seconds} s: press Enter to stop it."
        case "coming":
            return f"{now.seconds} ..."
        case "on":
            return f"Test voltage {volts} is on. Hands off; Enter takes it off."
        case "leaving":
            return f"Discharging: {volts} left. Hands off."
        case "unknown":
            return UNKNOWN
        case _:
            return now.said
