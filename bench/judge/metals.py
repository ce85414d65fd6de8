"""The metals that conductors are made of: resistivity, its spread, and its change with temperature."""

from __future__ import annotations

from typing import Final

import msgspec

from bench.judge.judge_error import JudgeError, number

COLDEST_C: Final = -60.0
HOTTEST_C: Final = 200.0
"""Beyond these the straight-line temperature formula is not used: a bound of ours, no source."""


class Material(msgspec.Struct, frozen=True):
    """A conductor metal.

    Attributes:
        name: as used in files.
        nominal: resistivity at 20 °C in Ω·mm²/m.
        low: lowest believable resistivity at 20 °C in Ω·mm²/m.
        high: highest believable resistivity at 20 °C in Ω·mm²/m.
        alpha20_per_k: temperature coefficient of resistance at 20 °C, per kelvin.
        source: where the figures come from.
        high_by_diameter: highest resistivity by wire diameter, as (thinnest mm of the row, Ω·mm²/m), thickest first.

    Raises:
        JudgeError: values that are not positive or not in order.
    """

    name: str
    nominal: float
    low: float
    high: float
    alpha20_per_k: float
    source: str
    high_by_diameter: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        number(f"{self.name}: lowest resistivity", self.low, "Ω·mm²/m", above=0.0)
        number(f"{self.name}: resistivity", self.nominal, "Ω·mm²/m", least=self.low, most=self.high)
        number(f"{self.name}: temperature coefficient", self.alpha20_per_k, "1/K", above=0.0)

    def resistivity(self, diameter_mm: float | None) -> tuple[float, float, float]:
        """Return low, nominal and high resistivity at 20 °C in Ω·mm²/m.

        Args:
            diameter_mm: of the single wire, where the upper bound depends on it; None when it is not known, which
                takes the upper bound of the thinnest wire.
        """
        if diameter_mm is None or not self.high_by_diameter:
            return self.low, self.nominal, self.high
        high = self.high
        for thinnest, resistivity in self.high_by_diameter:
            if diameter_mm >= thinnest:
                high = resistivity
                break
        return self.low, min(self.nominal, high), high


COPPER: Final = Material(
    name="copper",
    nominal=1 / 58,
    # commercial copper reaches 101 % of the standard's conductivity (common practice, no source)
    low=1 / 58 / 1.01,
    high=1 / 58,
    alpha20_per_k=0.00393,  # IEC 60028 and NBS Handbook 100, as quoted in public tables
    source="copper of 58 MS/m as IEC 60028 has it",
)

_MASS_TO_VOLUME = 1 / 8.89  # copper's density in g/cm³ (NBS Handbook 100)

TINNED_COPPER: Final = Material(
    name="tinned copper",
    # between bare copper and the permitted maximum of thin wire; IEC 60228 allows coated wire 0.5 % to 2 % more
    nominal=1 / 58 * 1.02,
    low=1 / 58,
    high=0.16454 * _MASS_TO_VOLUME,
    alpha20_per_k=0.00393,  # IEC 60028 and NBS Handbook 100, as quoted in public tables
    source="tinned copper between 100 % IACS and the maximum of ASTM B33, as quoted in a public copy",
    high_by_diameter=(
        (7.4, 0.15695 * _MASS_TO_VOLUME),
        (2.6, 0.15776 * _MASS_TO_VOLUME),
        (0.51, 0.15940 * _MASS_TO_VOLUME),
        (0.28, 0.16279 * _MASS_TO_VOLUME),
        (0.076, 0.16454 * _MASS_TO_VOLUME),
    ),
)

ALUMINIUM: Final = Material(
    name="aluminium",
    nominal=0.028264,
    # the standard's figure is a maximum; 62 % of the copper standard is about the best there is (from memory)
    low=1 / 58 / 0.62,
    high=0.028264,
    # 0.02826 and 0.00403 are read in IEC 60287 as quoted in a public copy
    alpha20_per_k=0.00403,
    source="aluminium of 0.028264 Ω·mm²/m as IEC 60889 has it, from memory",
)

MATERIALS: Final = {metal.name: metal for metal in (COPPER, TINNED_COPPER, ALUMINIUM)}


def material_named(name: str) -> Material:
    """Return a material by name.

    Raises:
        JudgeError: no such material; the text lists them.
    """
    found = MATERIALS.get(name)
    if found is None:
        raise JudgeError("material", repr(name), "one of " + ", ".join(MATERIALS))
    return found


def stretched(metal: Material, temperature_c: float) -> float:
    """Resistance at a temperature over resistance at 20 °C: 1 + α (t - 20).

    For copper's α of 0.00393 this is the same as (234.5 + t) / 254.5 within 0.01 %.

    Raises:
        JudgeError: outside -60 °C to 200 °C.
    """
    t = number("conductor temperature", temperature_c, "°C", least=COLDEST_C, most=HOTTEST_C)
    return 1.0 + metal.alpha20_per_k * (t - 20.0)


def to_20_celsius(resistance_ohm: float, temperature_c: float, metal: Material = COPPER) -> float:
    """Return what a conductor that was read at another temperature would read at 20 °C.

    Args:
        resistance_ohm: as it was read.
        temperature_c: of the conductor when it was read.
        metal: that it is made of.

    Raises:
        JudgeError: negative resistance, or temperature outside -60 °C to 200 °C.
    """
    ohms = number("resistance", resistance_ohm, "Ω", least=0.0)
    return ohms / stretched(metal, temperature_c)


def iec_60228_factor(temperature_c: float) -> float:
    """Factor of IEC 60228 that brings a copper reading to 20 °C: 1 / (1 + 0.004 (t - 20)).

    Its coefficient is 0.004 where this room uses 0.00393. The two differ by 0.1 % at 5 °C and 0.24 % at 60 °C: use
    this one to agree with a cable maker's sheet, and the other everywhere else.

    Raises:
        JudgeError: outside -60 °C to 200 °C.
    """
    t = number("conductor temperature", temperature_c, "°C", least=COLDEST_C, most=HOTTEST_C)
    return 1.0 / (1.0 + 0.004 * (t - 20.0))
