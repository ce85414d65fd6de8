"""Quantities with units, as engineers write them.

Every quantity in a file carries its unit and is read by one strict parser: a number, one optional listed prefix,
one listed unit. The class says which dimension is expected, so ``10 V`` where a length belongs is an error and never
a number. A decimal comma is refused, since ``4,7 kohm`` is read as 47000 ohm by too many programs.

Values are kept in base units (ohm, volt, metre, second, degree Celsius ...). Prefixes follow the International
System of Units; they are case-sensitive, so ``m`` is milli and ``M`` is mega.
"""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Any, ClassVar, Final, Self

PREFIXES: Final[dict[str, float]] = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "\u00b5": 1e-6,
    "\u03bc": 1e-6,
    "m": 1e-3,
    "k": 1e3,
    "M": 1e6,
    "G": 1e9,
    "T": 1e12,
}
_SHOWN: Final = (
    (1e12, "T"),
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
)
_NUMBER: Final = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*)", re.DOTALL)


class QuantityError(ValueError):
    """A text is not the quantity that was expected.

    Attributes:
        found: the text as it stood.
        expected: what should have stood there, with an example.
    """

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"found {found!r}, expected {expected}")
        self.found = found
        self.expected = expected


class Quantity:
    """A number in the base unit of one dimension. Subclasses name the dimension; this class is not used itself."""

    __slots__ = ("value",)
    __match_args__ = ("value",)

    dimension: ClassVar[str] = ""
    unit: ClassVar[str] = ""
    """The base unit as shown to people."""
    spellings: ClassVar[dict[str, float]] = {}
    """Unit text that takes no prefix, with its factor to the base unit."""
    prefixed: ClassVar[tuple[str, ...]] = ()
    """Unit text that takes a prefix (and also stands alone)."""
    example: ClassVar[str] = ""
    least: ClassVar[float] = -math.inf
    """The smallest value that makes sense, in the base unit."""

    value: float

    def __init__(self, value: float) -> None:
        if not math.isfinite(value):
            raise QuantityError(repr(value), f"a finite {self.dimension}")
        if value < self.least:
            raise QuantityError(
                engineering(value, self.unit),
                f"{self.dimension} of at least {engineering(self.least, self.unit)}",
            )
        object.__setattr__(self, "value", float(value))

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError(f"{type(self).__name__} does not change")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read one quantity.

        Raises:
            QuantityError: the text is not a number with a unit of this dimension.
        """
        return cls(cls._value_of(text))

    @classmethod
    def _value_of(cls, text: str) -> float:
        stripped = text.strip()
        match = _NUMBER.fullmatch(stripped)
        if match is None:
            raise QuantityError(text, cls.wanted())
        digits, unit = match.groups()
        if unit.startswith(","):
            raise QuantityError(text, f"{cls.wanted()}, with a decimal point and no comma")
        factor = cls._factor(unit)
        if factor is None:
            raise QuantityError(text, cls.wanted())
        return float(digits) * factor

    @classmethod
    def _factor(cls, unit: str) -> float | None:
        if unit in cls.spellings:
            return cls.spellings[unit]
        if unit in cls.prefixed:
            return 1.0
        if unit and unit[0] in PREFIXES and unit[1:] in cls.prefixed:
            return PREFIXES[unit[0]]
        return None

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return f"a {cls.dimension} such as '{cls.example}'"

    def exact(self) -> str:
        """The text that parses back to exactly this value."""
        return f"{self.value!r} {self.unit}"

    def __str__(self) -> str:
        return engineering(self.value, self.unit)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.value!r})"

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and other.value == self.value

    def __hash__(self) -> int:
        return hash((type(self), self.value))

    def __reduce__(self) -> tuple[type[Self], tuple[float]]:
        return (type(self), (self.value,))


class Resistance(Quantity):
    """Ohms, never negative."""

    __slots__ = ()
    dimension = "resistance"
    unit = "Ω"
    # U+03A9 and U+2126 look the same and both are typed
    prefixed = ("ohm", "\u03a9", "\u2126")
    spellings: ClassVar = {"megohm": 1e6, "R": 1.0}
    example = "4.7 kohm"
    least = 0.0


class Length(Quantity):
    """Metres, never negative."""

    __slots__ = ()
    dimension = "length"
    unit = "m"
    prefixed = ("m",)
    spellings: ClassVar = {"cm": 1e-2, "mm": 1e-3, "ft": 0.3048, "in": 0.0254}
    example = "12 m"
    least = 0.0


class Area(Quantity):
    """Square millimetres: the trade's unit for a conductor's cross-section."""

    __slots__ = ()
    dimension = "cross-section"
    unit = "mm²"
    spellings: ClassVar = {"mm2": 1.0, "mm²": 1.0}
    example = "0.5 mm2"
    least = 0.0


class Voltage(Quantity):
    """Volts, with their sign."""

    __slots__ = ()
    dimension = "voltage"
    unit = "V"
    prefixed = ("V",)
    example = "-48 V"


class Current(Quantity):
    """Amperes, with their sign."""

    __slots__ = ()
    dimension = "current"
    unit = "A"
    prefixed = ("A",)
    example = "2.5 A"


class Power(Quantity):
    """Watts."""

    __slots__ = ()
    dimension = "power"
    unit = "W"
    prefixed = ("W",)
    example = "60 W"
    least = 0.0


class Capacitance(Quantity):
    """Farads, never negative."""

    __slots__ = ()
    dimension = "capacitance"
    unit = "F"
    prefixed = ("F",)
    example = "2200 uF"
    least = 0.0


class CapacitancePerLength(Quantity):
    """Farads per metre, as cable data give it."""

    __slots__ = ()
    dimension = "capacitance per length"
    unit = "F/m"
    prefixed = ("F/m",)
    spellings: ClassVar = {"nF/km": 1e-12, "pF/m": 1e-12, "uF/km": 1e-9, "µF/km": 1e-9}
    example = "50 nF/km"
    least = 0.0


class Duration(Quantity):
    """Seconds, never negative."""

    __slots__ = ()
    dimension = "time"
    unit = "s"
    prefixed = ("s",)
    spellings: ClassVar = {"min": 60.0, "h": 3600.0, "d": 86400.0, "day": 86400.0, "days": 86400.0}
    example = "10 min"
    least = 0.0


class Temperature(Quantity):
    """Degrees Celsius."""

    __slots__ = ()
    dimension = "temperature"
    unit = "°C"
    spellings: ClassVar = {"°C": 1.0, "degC": 1.0, "C": 1.0}
    example = "18 degC"
    least = -273.15


class Frequency(Quantity):
    """Hertz."""

    __slots__ = ()
    dimension = "frequency"
    unit = "Hz"
    prefixed = ("Hz",)
    example = "50 Hz"
    least = 0.0


class Inductance(Quantity):
    """Henries, never negative."""

    __slots__ = ()
    dimension = "inductance"
    unit = "H"
    prefixed = ("H",)
    example = "10 mH"
    least = 0.0


class Level(Quantity):
    """Decibels; over what, the meter and the sequence say in words."""

    __slots__ = ()
    dimension = "level"
    unit = "dB"
    spellings: ClassVar = {"dB": 1.0}
    example = "-10 dB"


class Humidity(Quantity):
    """Relative humidity of air, in per cent."""

    __slots__ = ()
    dimension = "relative humidity"
    unit = "%RH"
    spellings: ClassVar = {"%RH": 1.0, "%rh": 1.0}
    example = "45 %RH"
    least = 0.0


class Ratio(Quantity):
    """A plain number written as a percentage, in parts per million, or bare."""

    __slots__ = ()
    dimension = "ratio"
    unit = ""
    spellings: ClassVar = {"%": 1e-2, "ppm": 1e-6, "": 1.0}
    example = "95 %"

    def exact(self) -> str:
        """The text that parses back to exactly this value."""
        return repr(self.value)

    def __str__(self) -> str:
        return f"{self.value * 100:.6g} %"


SI_BASE_UNITS: Final = ("Ω", "V", "A", "F", "s", "°C", "Hz", "W", "m", "J", "C", "H", "dB", "%RH", "")
"""Units that readings carry in records."""

_ASCII: Final = str.maketrans({"\u03a9": "ohm", "\u2126": "ohm", "\u00b5": "u", "\u03bc": "u", "²": "2"})


def plain(text: str) -> str:
    """The same text in ASCII: ohm for the ohm sign, u for micro, degC for the degree sign."""
    return text.translate(_ASCII).replace("°C", "degC")


_SPELLED: Final = str.maketrans(
    {"±": "+/-", "–": "-", "\ufffd": "?", "·": "-", "…": "...", "’": "'", "✓": "o", "✗": "x", "●": "o"}
    | {"─": "-", "│": "|", "├": "+", "└": "+"}
)


def ascii_only(text: str) -> str:
    """The text in ASCII: units spelled, accents dropped, and a question mark for what is left."""
    if text.isascii():
        return text
    spelled = unicodedata.normalize("NFKD", plain(text).translate(_SPELLED))
    return "".join(c for c in spelled if not unicodedata.combining(c)).encode("ascii", "replace").decode()


_HOURS_FROM: Final = 100_000.0
"""Seconds from which a time is written in hours: nobody says 4.32 Ms."""


def engineering(value: float, unit: str, *, resolution: float | None = None, digits: int = 4) -> str:
    """Write a value as engineers do: ``0.42 Ω``, ``1.3 GΩ``, ``-53.9 V``.

    Args:
        value: in the base unit.
        unit: the base unit's symbol; '' for a plain number. Temperatures and mm² take no prefix.
        resolution: the last digit that means something, in the base unit; finer digits are not shown.
        digits: significant digits at most, where no resolution is given; trailing zeros are dropped.
    """
    if math.isnan(value):
        return "not a number"
    if math.isinf(value):
        return f"{'-' if value < 0 else ''}over range"
    if unit == "s" and abs(value) >= _HOURS_FROM:
        value, unit = value / 3600.0, "h"
        resolution = None if resolution is None else resolution / 3600.0
    if unit in ("h", "°C", "mm²", "%", "dB", "%RH", ""):
        factor, prefix = 1.0, ""
    else:
        factor, prefix = _prefix_for(abs(value), resolution)
    scaled = value / factor
    if resolution is not None and resolution > 0:
        places = max(0, min(12, math.ceil(-math.log10(resolution / factor) - 1e-9)))
        body = f"{scaled:.{places}f}"
    else:
        body = f"{scaled:.{digits}g}"
        if "e" in body:
            body = f"{float(body):.0f}" if abs(scaled) >= 1 else f"{float(body):.12f}".rstrip("0")
    if float(body) == 0:
        body = body.lstrip("-")
    return f"{body} {prefix}{unit}".rstrip()


def _prefix_for(magnitude: float, resolution: float | None) -> tuple[float, str]:
    if magnitude == 0 or (resolution is not None and magnitude < resolution / 2):
        # nothing but noise below the last digit: let the digit choose the prefix
        if resolution is None or resolution >= 1e-3:
            return 1.0, ""
        magnitude = resolution * 100
    # 0.42 Ω reads better than 420 mΩ at the bench: keep the bare unit down to a tenth
    if 0.1 <= magnitude < 1:
        return 1.0, ""
    for factor, prefix in _SHOWN:
        if magnitude >= factor * 0.99995:
            return factor, prefix
    return _SHOWN[-1]


def with_uncertainty(value: float, expanded: float, unit: str) -> str:
    """Write ``0.874 Ω ± 0.012 Ω``: two digits of the uncertainty, the value rounded to match."""
    if not math.isfinite(value) or not math.isfinite(expanded) or expanded <= 0:
        return engineering(value, unit)
    place = 10.0 ** (math.floor(math.log10(expanded)) - 1)
    return f"{engineering(value, unit, resolution=place)} ± {engineering(expanded, unit, digits=2)}"


class Amount:
    """A quantity of any dimension that a reading can have, where a field alone does not say which.

    Attributes:
        value: in the base unit.
        unit: the base unit's symbol, one of those of :data:`READABLE`.
    """

    __slots__ = ("unit", "value")

    def __init__(self, value: float, unit: str) -> None:
        self.value = value
        self.unit = unit

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read one quantity of any readable dimension.

        Raises:
            QuantityError: the text is none.
        """
        if "," in text:
            raise QuantityError(text, f"{cls.wanted()}, with a decimal point and no comma")
        for kind in READABLE:
            try:
                return cls(kind.parse(text).value, kind.unit)
            except QuantityError:
                continue
        raise QuantityError(text, cls.wanted())

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return "a quantity with its unit such as '2 ohm' or '-48 V'"

    def exact(self) -> str:
        """The text that parses back to exactly this amount."""
        return f"{self.value!r} {self.unit}".rstrip()

    def __str__(self) -> str:
        return engineering(self.value, self.unit)

    def __repr__(self) -> str:
        return f"Amount({self.value!r}, {self.unit!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Amount) and (other.value, other.unit) == (self.value, self.unit)

    def __hash__(self) -> int:
        return hash((self.value, self.unit))


READABLE: Final[tuple[type[Quantity], ...]] = (
    Resistance,
    Voltage,
    Current,
    Temperature,
    Duration,
    Frequency,
    Power,
    Capacitance,
    Ratio,
    Length,
    Inductance,
    Level,
    Humidity,
)
"""The dimensions that a meter can read."""
