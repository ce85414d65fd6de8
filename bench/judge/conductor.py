"""What a conductor should read: resistance from size, length, material, temperature and contacts.

Three kinds of size are known. AWG sizes come from the geometry of ASTM B258. Metric sizes take the maximum resistance
of IEC 60228 where its table has them. Bars, and metric sizes outside the table, are computed from their cross-section.
A result always carries a lowest and a highest believable value and a ``basis`` that says where they came from. Whole
paths (feeder, breaker, busbar, shelf cable) add up with ``+``.

Figures marked "from memory" were not confirmed in a published text.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.gauge import awg_area_mm2, awg_diameter_mm, awg_name
from bench.judge.judge_error import JudgeError, number, one_of
from bench.judge.limit import Limit
from bench.judge.metals import Material, material_named, stretched
from bench.judge.wire_tables import IEC_60228_OHM_PER_KM
from bench.quantity import engineering

LAY_INCREMENT: Final = 0.02
"""Extra resistance of a stranded conductor, since its wires run in helices: ASTM B496 for compact round strands, as
quoted in public text; ASTM B8 for concentric ones, the same in its usual classes, from memory."""

AWG_DIAMETER_TOLERANCE: Final = 0.01
"""Permitted deviation of a wire's diameter, 1 %: ASTM B1 for hard-drawn wire, as quoted in a public copy; ASTM B3 for
soft wire, as in cables, the same from memory."""

STRANDED_AREA: Final = (0.93, 1.18)
"""Copper area of usual AWG make-ups of 7 or 19 whole-gauge wires, as a part of the solid size's area: own computation.
Seven wires eight gauges finer hold 9.5 % more, 19 wires twelve gauges finer 18 % more, 19 thirteen finer 7 % less."""

UNTABLED_SPREAD: Final = 0.10
"""Width given to a metric size that the table lacks, either way: an assumption, no source."""


class Run(msgspec.Struct, frozen=True):
    """How long a conductor is and how warm.

    Attributes:
        length_m: one way, along the conductor.
        length_tolerance_m: how far off the length may be, either way.
        temperature_c: of the conductor.
        temperature_tolerance_k: how far off the temperature may be, either way.

    Raises:
        JudgeError: a length that is not above zero, a tolerance below zero or as long as the run.
    """

    length_m: float
    length_tolerance_m: float = 0.0
    temperature_c: float = 20.0
    temperature_tolerance_k: float = 0.0

    def __post_init__(self) -> None:
        number("length", self.length_m, "m", above=0.0)
        number("length tolerance", self.length_tolerance_m, "m", least=0.0, below=self.length_m)
        number("temperature", self.temperature_c, "°C")
        number("temperature tolerance", self.temperature_tolerance_k, "K", least=0.0)

    def __str__(self) -> str:
        spread = f" ± {engineering(self.length_tolerance_m, 'm')}" if self.length_tolerance_m else ""
        return f"{engineering(self.length_m, 'm')}{spread} at {self.temperature_c:g} °C"


class Contact(msgspec.Struct, frozen=True):
    """A joint in the path: pin and socket, screw, lug, breaker or fuse.

    Attributes:
        typical_ohm: what a good one has.
        maximum_ohm: what is still accepted.
        minimum_ohm: what the best one has; zero unless it is known.
        name: what it is.

    Raises:
        JudgeError: negative, or not in order minimum, typical, maximum.
    """

    typical_ohm: float
    maximum_ohm: float
    minimum_ohm: float = 0.0
    name: str = "contact"

    def __post_init__(self) -> None:
        number(f"{self.name}: minimum resistance", self.minimum_ohm, "Ω", least=0.0)
        number(f"{self.name}: typical resistance", self.typical_ohm, "Ω", least=self.minimum_ohm)
        number(f"{self.name}: maximum resistance", self.maximum_ohm, "Ω", least=self.typical_ohm)


class ExpectedResistance(msgspec.Struct, frozen=True):
    """Resistance that a path should have.

    Attributes:
        nominal_ohm: best single figure.
        low_ohm: lowest believable value of a sound path.
        high_ohm: highest believable value of a sound path.
        basis: where the figures came from, in words.
        parts: the paths that were added up, if any.

    Raises:
        JudgeError: negative, not finite, or not in order low, nominal, high.
    """

    nominal_ohm: float
    low_ohm: float
    high_ohm: float
    basis: str
    parts: tuple[ExpectedResistance, ...] = ()

    def __post_init__(self) -> None:
        number("expected resistance, low", self.low_ohm, "Ω", least=0.0)
        number("expected resistance, high", self.high_ohm, "Ω", least=self.low_ohm)
        number("expected resistance", self.nominal_ohm, "Ω", least=self.low_ohm, most=self.high_ohm)

    def __add__(self, other: ExpectedResistance) -> ExpectedResistance:
        """Return the two paths in series."""
        return series(self, other)

    @property
    def sentence(self) -> str:
        """What to expect, for a person at the rack."""
        return (
            f"Expect about {engineering(self.nominal_ohm, 'Ω')} "
            f"({engineering(self.low_ohm, 'Ω')} to {engineering(self.high_ohm, 'Ω')}). {self.basis}."
        )

    def limit(self, margin_ohm: float = 0.0) -> Limit:
        """Return the limit that a sound path keeps: its band, widened upwards by a margin.

        Args:
            margin_ohm: extra ohms allowed above the highest believable value.

        Raises:
            JudgeError: the margin is negative.
        """
        number("margin", margin_ohm, "Ω", least=0.0)
        extra = f" plus {engineering(margin_ohm, 'Ω')}" if margin_ohm else ""
        return Limit(
            unit="Ω",
            lower=self.low_ohm,
            upper=self.high_ohm + margin_ohm,
            source=f"computed from the conductor{extra}: {self.basis}",
        )


def awg_conductor(
    size: str | int,
    run: Run,
    *,
    material: str | Material = "copper",
    stranded: bool = False,
    contacts: Sequence[Contact] = (),
) -> ExpectedResistance:
    """Resistance of a conductor of an AWG size.

    The band holds the diameter's tolerance of 1 %, the metal's spread, and the run's tolerances; for stranded wire the
    spread of usual make-ups (:data:`STRANDED_AREA`) takes the diameter's place.

    Args:
        size: see :func:`bench.judge.gauge.awg_number`.
        run: length and temperature.
        material: ``copper``, ``tinned copper``, ``aluminium``, or a material of your own.
        stranded: many wires; adds 2 % for the lay.
        contacts: joints at the ends and between.

    Raises:
        JudgeError: not a size, a material or a sensible run.
    """
    metal = material_named(material) if isinstance(material, str) else material
    diameter = awg_diameter_mm(size)
    rho = metal.resistivity(None if stranded else diameter)
    area = awg_area_mm2(size)
    if stranded:
        lay, area_low, area_high = 1.0 + LAY_INCREMENT, *STRANDED_AREA
    else:
        lay = 1.0
        area_low, area_high = (
            (1.0 - AWG_DIAMETER_TOLERANCE) ** 2,
            (1.0 + AWG_DIAMETER_TOLERANCE) ** 2,
        )
    per_metre = tuple(value * lay / (area * part) for value, part in zip(rho, (area_high, 1.0, area_low), strict=True))
    kind = "stranded " if stranded else ""
    source = f"ASTM B258 geometry, {metal.source}"
    return _run(per_metre, run, metal, f"{awg_name(size)} {kind}{metal.name}", source, contacts)


def metric_conductor(
    area_mm2: float,
    run: Run,
    *,
    conductor_class: int = 2,
    material: str | Material = "copper",
    contacts: Sequence[Contact] = (),
) -> ExpectedResistance:
    """Resistance of a metric conductor.

    Where IEC 60228 has the size, its maximum is taken as nominal and as highest: conductors are drawn to just meet it.
    The lowest is the pure metal over the nominal cross-section. Other sizes are computed from the cross-section and
    say so.

    Args:
        area_mm2: nominal cross-section.
        run: length and temperature.
        conductor_class: 1 solid, 2 stranded, 5 flexible.
        material: ``copper``, ``tinned copper`` (the metal-coated column), ``aluminium``, or a material of your own.
        contacts: joints at the ends and between.

    Raises:
        JudgeError: not a cross-section, a class or a material.
    """
    area = number("cross-section", area_mm2, "mm²", above=0.0)
    one_of("conductor class", str(conductor_class), ("1", "2", "5"))
    metal = material_named(material) if isinstance(material, str) else material
    maximum = IEC_60228_OHM_PER_KM.get((conductor_class, metal.name), {}).get(area)
    rho = metal.resistivity(None)
    label = f"{area:g} mm² class {conductor_class} {metal.name}"
    if maximum is not None:
        highest = maximum / 1000.0
        lowest = min(rho[0] / area, highest)
        source = "IEC 60228 maximum, as quoted in public tables"
        return _run((lowest, highest, highest), run, metal, label, source, contacts)
    lay = 1.0 if conductor_class == 1 else 1.0 + LAY_INCREMENT
    middle = rho[1] * lay / area
    per_metre = (
        min(rho[0], rho[1]) * lay / area * (1.0 - UNTABLED_SPREAD),
        middle,
        rho[2] * lay / area * (1.0 + UNTABLED_SPREAD),
    )
    source = f"computed from the cross-section, since IEC 60228 was not at hand for it; {metal.source}"
    return _run(per_metre, run, metal, label, source, contacts)


def bar(
    area_mm2: float,
    run: Run,
    *,
    material: str | Material = "copper",
    contacts: Sequence[Contact] = (),
    name: str = "bar",
) -> ExpectedResistance:
    """Resistance of a solid bar, computed from its cross-section.

    Args:
        area_mm2: cross-section.
        run: length and temperature.
        material: see :func:`awg_conductor`.
        contacts: joints.
        name: what it is called, such as ``busbar``.

    Raises:
        JudgeError: not a cross-section, a material or a sensible run.
    """
    area = number("cross-section", area_mm2, "mm²", above=0.0)
    metal = material_named(material) if isinstance(material, str) else material
    per_metre = tuple(value / area for value in metal.resistivity(None))
    source = f"computed from the cross-section, {metal.source}"
    return _run(per_metre, run, metal, f"{name} {area:g} mm² {metal.name}", source, contacts)


def joints(contacts: Sequence[Contact], name: str = "") -> ExpectedResistance:
    """Resistance of joints alone: a breaker, a fuse, a row of terminals.

    Args:
        contacts: in the order of the path.
        name: what the path is called.
    """
    low = math.fsum(contact.minimum_ohm for contact in contacts)
    typical = math.fsum(contact.typical_ohm for contact in contacts)
    high = math.fsum(contact.maximum_ohm for contact in contacts)
    return ExpectedResistance(typical, low, high, name or _contacts_text(contacts) or "no contacts")


def series(*paths: ExpectedResistance, name: str = "") -> ExpectedResistance:
    """Return paths one after the other: nominal, low and high each add up.

    Raises:
        JudgeError: no path is given.
    """
    if not paths:
        raise JudgeError("series", "no path", "at least one path")
    flat = tuple(part for path in paths for part in (path.parts or (path,)))
    return ExpectedResistance(
        math.fsum(path.nominal_ohm for path in paths),
        math.fsum(path.low_ohm for path in paths),
        math.fsum(path.high_ohm for path in paths),
        name or " + ".join(path.basis for path in paths),
        flat,
    )


def parallel(*paths: ExpectedResistance, name: str = "") -> ExpectedResistance:
    """Return paths side by side, such as a doubled feeder.

    Raises:
        JudgeError: no path is given, or one has no resistance at all.
    """
    if not paths:
        raise JudgeError("parallel", "no path", "at least one path")

    def together(values: Sequence[float]) -> float:
        return 0.0 if 0.0 in values else 1.0 / math.fsum(1.0 / value for value in values)

    low = together([path.low_ohm for path in paths])
    nominal = together([path.nominal_ohm for path in paths])
    high = together([path.high_ohm for path in paths])
    # rounding may push the middle a hair outside when all three agree
    return ExpectedResistance(
        min(max(nominal, low), high),
        low,
        high,
        name or " beside ".join(path.basis for path in paths),
        paths,
    )


def round_trip(out: ExpectedResistance, back: ExpectedResistance | None = None) -> ExpectedResistance:
    """Return the loop: out on one conductor and back on another (the same kind when ``back`` is left out)."""
    return series(out, out if back is None else back)


class VoltageDrop(msgspec.Struct, frozen=True):
    """Voltage lost in a path at a current.

    Attributes:
        nominal_v: from the nominal resistance.
        low_v: from the lowest resistance.
        high_v: from the highest resistance.
        power_w: heat in the path, nominal.
        current_a: the current.
        basis: of the path.
    """

    nominal_v: float
    low_v: float
    high_v: float
    power_w: float
    current_a: float
    basis: str

    @property
    def sentence(self) -> str:
        """What is lost, for a person at the rack."""
        return (
            f"At {engineering(self.current_a, 'A')} the path loses {engineering(self.nominal_v, 'V')} "
            f"(at most {engineering(self.high_v, 'V')}) and gives off {engineering(self.power_w, 'W')}."
        )


def voltage_drop(path: ExpectedResistance, current_a: float) -> VoltageDrop:
    """Voltage drop of a path; pass a :func:`round_trip` for the drop both ways.

    Args:
        path: series resistance of the whole way.
        current_a: current, not negative.

    Raises:
        JudgeError: the current is negative or not finite.
    """
    current = number("current", current_a, "A", least=0.0)
    return VoltageDrop(
        path.nominal_ohm * current,
        path.low_ohm * current,
        path.high_ohm * current,
        path.nominal_ohm * current**2,
        current,
        path.basis,
    )


class EstimatedLength(msgspec.Struct, frozen=True):
    """How long a conductor is, going by its resistance.

    Attributes:
        nominal_m: best guess.
        low_m: shortest believable length.
        high_m: longest believable length.
    """

    nominal_m: float
    low_m: float
    high_m: float

    @property
    def sentence(self) -> str:
        """The guess in words."""
        return (
            f"By its resistance it is about {engineering(self.nominal_m, 'm', digits=3)} long "
            f"({engineering(self.low_m, 'm', digits=3)} to {engineering(self.high_m, 'm', digits=3)})."
        )


def length_from(reading_ohm: float, per_metre: ExpectedResistance, contacts: Sequence[Contact] = ()) -> EstimatedLength:
    """Length of a conductor from what it reads.

    Args:
        reading_ohm: end to end.
        per_metre: expected resistance of one metre, with no contacts.
        contacts: joints that the reading includes.

    Raises:
        JudgeError: the reading is negative.
    """
    reading = number("reading", reading_ohm, "Ω", least=0.0)
    ends = joints(contacts)

    def length(ohms: float, each: float) -> float:
        return max(0.0, ohms / each)

    return EstimatedLength(
        length(reading - ends.nominal_ohm, per_metre.nominal_ohm),
        length(reading - ends.high_ohm, per_metre.high_ohm),
        length(reading - ends.low_ohm, per_metre.low_ohm),
    )


def _run(
    per_metre: tuple[float, ...],
    run: Run,
    metal: Material,
    label: str,
    source: str,
    contacts: Sequence[Contact],
) -> ExpectedResistance:
    """Scale ohms per metre at 20 °C (low, nominal, high) to a run, and add its contacts."""
    low, nominal, high = per_metre
    spread = run.temperature_tolerance_k
    wire = ExpectedResistance(
        nominal * run.length_m * stretched(metal, run.temperature_c),
        low * (run.length_m - run.length_tolerance_m) * stretched(metal, run.temperature_c - spread),
        high * (run.length_m + run.length_tolerance_m) * stretched(metal, run.temperature_c + spread),
        "",
    )
    basis = f"{label}, {run}: {engineering(wire.nominal_ohm, 'Ω')} ({source})"
    if not contacts:
        return replace(wire, basis=basis)
    ends = joints(contacts)
    return ExpectedResistance(
        wire.nominal_ohm + ends.nominal_ohm,
        wire.low_ohm + ends.low_ohm,
        wire.high_ohm + ends.high_ohm,
        f"{basis}; {ends.basis}",
    )


def _contacts_text(contacts: Sequence[Contact]) -> str:
    texts: dict[str, int] = {}
    for contact in contacts:
        each = f"{engineering(contact.typical_ohm, 'Ω')}, up to {engineering(contact.maximum_ohm, 'Ω')}"
        key = f"{contact.name}|{each}"
        texts[key] = texts.get(key, 0) + 1
    words = []
    for key, count in texts.items():
        name, each = key.split("|", 1)
        words.append(f"{count} {name}s of {each} each" if count > 1 else f"{name} of {each}")
    return "; ".join(words)
