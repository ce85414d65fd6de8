"""How far along the cable a fault lies: what readings at its ends come to, with 95 % of what is believable.

Every method solves the line's own equations for the share ``phi`` of a conductor's resistance (of its capacitance, for
an open) that lies before the fault. The share becomes metres by the cable's length and by how warm its two halves are.
All that is not known exactly is drawn by its own distribution (JCGM 101): the meter's scale error, which all readings
on one range share, each reading's own error, the length, the temperature, the two conductors' difference, a fault that
wanders. The equations, with ``X`` the resistance of one conductor up to the fault, ``W`` of both conductors there and
back, ``Rf`` of the fault, ``N`` and ``F`` the near and the far end:

======================  ============================================  ==================================
method                  what is read                                  share
======================  ============================================  ==================================
short, both ends        R_N = W phi + Rf, R_F = W (1 - phi) + Rf      1/2 + (R_N - R_F) / (2 W)
loop by resistances     R_AE = X + Rf, R_SE = W - X + Rf              (W + R_AE - R_SE) / W of A's half
loop by voltages        V_A and V_S across X and W - X, no current    2 V_A / (V_A + V_S)
                        in the fault
Murray                  arms P and Q, Q at the faulty conductor       X = W Q / (P + Q)
Varley                  W = (P / Q) S' with the fault out of it       X = (Q W - P S) / (P + Q)
earth, no good wire     far end open Ro, earthed Rs, W1 when sound    X = Rs - sqrt((W1 - Rs) (Ro - Rs))
open, both ends         C_N, C_F                                      C_N / (C_N + C_F)
open, by a sibling      C_N, C_S of a sound one of the same length    C_N / C_S
======================  ============================================  ==================================

The table follows from Ohm's law and the balance of a bridge, P / Q = (W - X) / X; the names are those of the trade.
The earth fault without a good conductor is a rule of cable testers (from memory); its derivation: with ``Y`` the rest
of the conductor, Ro = X + Rf, Rs = X + Rf Y / (Rf + Y), W1 = X + Y.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Method = Literal[
    "short-both-ends",
    "loop-by-resistances",
    "loop-by-voltages",
    "murray",
    "varley",
    "earth-one-wire",
    "open-both-ends",
    "open-by-sibling",
]
DRAWS: Final = 20_000
"""Drawings: 95 % limits come out to about 1 % of their width."""
ALPHA: Final = 0.00393
"""Relative change of copper's resistance a kelvin, at 20 °C (IEC 60028, the annealed copper standard)."""
DECIDES: Final = 0.5
"""From this share of the variance on a cause is said to decide."""
ROOTED: Final = 0.02
"""Part of the drawings that must have a root, where the method takes one: with fewer the readings are of something
else, or too few drawings are left to say an interval (our own figure)."""
USELESS: Final = 0.5
"""An interval wider than this part of the cable tells nothing."""
COVERAGE: Final = 0.95

READINGS: Final[dict[Method, tuple[tuple[str, str, str], ...]]] = {
    "short-both-ends": (
        ("near", "Ω", "between the two conductors at the near end, far end open"),
        ("far", "Ω", "between the two conductors at the far end, near end open"),
        ("loop", "Ω", "of a sound pair of the same cable, its far ends joined"),
    ),
    "loop-by-resistances": (
        ("faulty", "Ω", "from the faulty conductor to the fault's other side (earth), far ends joined"),
        ("sound", "Ω", "from the sound conductor to the same place, far ends joined"),
        ("loop", "Ω", "from the faulty to the sound conductor, far ends joined"),
    ),
    "loop-by-voltages": (
        ("faulty", "V", "from the faulty conductor's end to the fault's other side, with a current in the loop"),
        ("sound", "V", "from the sound conductor's end to the same place, the same current in the loop"),
    ),
    "murray": (
        ("p", "Ω", "arm at the sound conductor"),
        ("q", "Ω", "arm at the faulty conductor, the bridge in balance"),
    ),
    "varley": (
        ("p", "Ω", "first arm"),
        ("q", "Ω", "second arm"),
        ("whole", "Ω", "of the decade with the battery at the sound conductor's far end: the loop"),
        ("balance", "Ω", "of the decade with the battery at the fault's other side"),
    ),
    "earth-one-wire": (
        ("open", "Ω", "from the near end to earth, far end open"),
        ("earthed", "Ω", "from the near end to earth, far end earthed"),
        ("whole", "Ω", "of the conductor when it was sound, one way; without it the table's is taken"),
    ),
    "open-both-ends": (
        ("near", "F", "from the broken conductor to all others and the screen, tied together, at the near end"),
        ("far", "F", "the same at the far end"),
    ),
    "open-by-sibling": (
        ("near", "F", "from the broken conductor to all others and the screen, tied together, at the near end"),
        ("sibling", "F", "the same of a sound conductor of the same length, its far end open"),
    ),
}
"""What each method reads: name, unit, and where."""
SPARED: Final = frozenset({("earth-one-wire", "whole")})
"""Readings that a method can do without."""
TITLES: Final[dict[Method, str]] = {
    "short-both-ends": "short, resistances from both ends",
    "loop-by-resistances": "loop with a good conductor, by resistances",
    "loop-by-voltages": "loop with a good conductor, by two voltages",
    "murray": "Murray loop",
    "varley": "Varley loop",
    "earth-one-wire": "earth fault without a good conductor",
    "open-both-ends": "open, capacitances from both ends",
    "open-by-sibling": "open, capacitance against a sound conductor",
}
FAULTS: Final[dict[str, tuple[Method, ...]]] = {
    "short": ("short-both-ends", "loop-by-resistances", "loop-by-voltages", "murray", "varley"),
    "earth": ("loop-by-voltages", "loop-by-resistances", "murray", "varley", "earth-one-wire"),
    "open": ("open-both-ends", "open-by-sibling"),
}
"""Which methods find which fault."""


class Figure(msgspec.Struct, frozen=True):
    """A reading with how far off it may be.

    Attributes:
        value: in the base unit.
        scale: relative error that all readings on the same range share, either way (rectangular).
        own: error of its own, either way, in the base unit: counts, lead resistance that was not taken off
            (rectangular).
        range: which readings share the scale error: those with the same mark.
    """

    value: float
    scale: float = 0.0
    own: float = 0.0
    range: str = ""


class CableLine(msgspec.Struct, frozen=True):
    """A cable between its two ends, as far as it is known.

    Attributes:
        length_m: one way.
        length_part: how far off the length may be, either way, as a part of it (rectangular).
        ohm_per_m: of one conductor.
        ohm_part: how far off that may be, either way (rectangular).
        unequal: standard deviation of one conductor's resistance about the others', as a part.
        halves_k: how much warmer one half may be than the other, either way (rectangular).
        uneven: standard deviation of one conductor's capacitance a metre about a sibling's, as a part.
    """

    length_m: float
    length_part: float = 0.04
    ohm_per_m: float = 0.0842
    ohm_part: float = 0.05
    unequal: float = 0.007
    halves_k: float = 5.0
    uneven: float = 0.02


class CannotTell(ValueError):
    """The readings say nothing of where the fault is; the text says why, and what would."""


class Distance(msgspec.Struct, frozen=True):
    """Where the fault is.

    Attributes:
        method: by which it was found.
        metres: from the near end.
        low: lower end of 95 %.
        high: upper end.
        share: of the cable's length, which its doubt does not touch.
        share_low: lower end of 95 %.
        share_high: upper end.
        shares: what each cause contributes to the variance, the largest first.
        remarks: what is to be known of it, in sentences.
    """

    method: Method
    metres: float
    low: float
    high: float
    share: float
    share_low: float
    share_high: float
    shares: tuple[tuple[str, float], ...]
    remarks: tuple[str, ...] = ()

    @property
    def half(self) -> float:
        """Half the width of the interval, in metres."""
        return (self.high - self.low) / 2.0


CAUSES: Final = (
    "the cable's length",
    "the meter's scale",
    "each reading's own error",
    "a fault that wanders",
    "the conductors' difference",
    "the warmth of the two halves",
    "what a conductor has by its table",
)


class _Drawn(msgspec.Struct):
    """One drawing of all that is not known, for many trials at once; what a cause holds still is at its best value."""

    line: CableLine
    figures: Mapping[str, Figure]
    wander: float
    count: int
    still: frozenset[str] = frozenset()
    seed: int = 1
    _scale: dict[str, Floats] = msgspec.field(default_factory=dict)

    def _rng(self, what: str) -> np.random.Generator:
        # each cause has numbers of its own, so that holding one still leaves the others as they are
        return np.random.default_rng([self.seed, *what.encode()])

    def flat(self, cause: str, what: str, half: float) -> Floats:
        if cause in self.still or half == 0.0:
            return np.zeros(self.count)
        return self._rng(what).uniform(-half, half, self.count)

    def normal(self, cause: str, what: str, sigma: float) -> Floats:
        if cause in self.still or sigma == 0.0:
            return np.zeros(self.count)
        return self._rng(what).normal(0.0, sigma, self.count)

    def figure(self, name: str) -> Floats:
        """What a reading may truly be."""
        one = self.figures[name]
        mark = one.range or name
        if mark not in self._scale:
            self._scale[mark] = self.flat(CAUSES[1], f"scale {mark}", 1.0)
        value: Floats = one.value / (1.0 + one.scale * self._scale[mark]) + self.flat(CAUSES[2], name, one.own)
        return value

    def wandering(self, name: str) -> Floats:
        """What a fault's own resistance may have changed by since the first reading."""
        return self.flat(CAUSES[3], f"wander {name}", self.wander)

    def apart(self, name: str) -> Floats:
        """A conductor's resistance about the others', as a factor."""
        return 1.0 + self.normal(CAUSES[4], f"conductor {name}", self.line.unequal)

    @property
    def length(self) -> Floats:
        """The cable's length."""
        return self.line.length_m * (1.0 + self.flat(CAUSES[0], "length", self.line.length_part))

    @property
    def warmer(self) -> Floats:
        """Kelvin that the near half is warmer than the far one."""
        return self.flat(CAUSES[5], "halves", self.line.halves_k)

    @property
    def table(self) -> Floats:
        """A conductor's resistance a metre by its table."""
        return self.line.ohm_per_m * (1.0 + self.flat(CAUSES[6], "table", self.line.ohm_part))


def _place(phi: Floats, warmer: Floats) -> Floats:
    """The share of the length at which a share of the resistance is reached, the two halves being of unlike warmth."""
    near = 0.5 * (1.0 + ALPHA * warmer / 2.0)
    far = 1.0 - near
    found: Floats = np.where(phi <= near, 0.5 * phi / near, 0.5 + 0.5 * (phi - near) / far)
    return found


def _short_both_ends(d: _Drawn) -> Floats:
    # the loop is that of a sound pair, and the shorted pair's own is a little off it
    own = d.figure("loop") * (d.apart("a") + d.apart("b")) / (d.apart("c") + d.apart("d"))
    return 0.5 + (d.figure("near") - d.figure("far") - d.wandering("far")) / (2.0 * own)


def _loop_by_resistances(d: _Drawn) -> Floats:
    loop = d.figure("loop")
    x = (loop + d.figure("faulty") - d.figure("sound") - d.wandering("sound")) / 2.0
    return _of_faulty(d, x / loop)


def _of_faulty(d: _Drawn, part: Floats) -> Floats:
    """The share of the faulty conductor, from the share of the loop of both."""
    faulty, sound = d.apart("faulty"), d.apart("sound")
    found: Floats = part * (faulty + sound) / faulty
    return found


def _loop_by_voltages(d: _Drawn) -> Floats:
    faulty = d.figure("faulty")
    return _of_faulty(d, faulty / (faulty + d.figure("sound")))


def _murray(d: _Drawn) -> Floats:
    q = d.figure("q")
    return _of_faulty(d, q / (d.figure("p") + q))


def _varley(d: _Drawn) -> Floats:
    p, q = d.figure("p"), d.figure("q")
    loop = p / q * d.figure("whole")
    return _of_faulty(d, (q * loop - p * d.figure("balance")) / (p + q) / loop)


def _earth_one_wire(d: _Drawn) -> Floats:
    rs, ro = d.figure("earthed"), d.figure("open") + d.wandering("open")
    whole = d.figure("whole") if "whole" in d.figures else d.table * d.length
    inside = (whole - rs) * (ro - rs)
    x = rs - np.sqrt(np.where(inside >= 0.0, inside, np.nan))
    found: Floats = x / whole
    return found


def _likely(d: _Drawn) -> Floats:
    """How likely each drawing of an earth fault without a good conductor is, in proportion.

    What readings may truly be is drawn evenly about them. Faults do not lie evenly there: where they lie anywhere on
    the cable, with any resistance, a drawing counts by ``(y + f)^2 / (y f)``, the inverse of how far both readings move
    with place and fault, for ``y`` ohms behind the fault and ``f`` in it. Without that, readings that have a root only
    where their errors lie one way tell a place that is wrong.
    """
    ro = d.figure("open") + d.wandering("open")
    whole = d.figure("whole") if "whole" in d.figures else d.table * d.length
    x = whole * _earth_one_wire(d)
    behind, fault = whole - x, ro - x
    real = (behind > 0.0) & (fault > 0.0)
    product = np.where(real, behind * fault, 1.0)
    found: Floats = np.where(real, (behind + fault) ** 2 / product, 0.0)
    return found


def _open_both_ends(d: _Drawn) -> Floats:
    near = d.figure("near")
    # what one piece has a metre more than the other, neighbours and bends being unlike
    uneven = 1.0 + d.normal(CAUSES[4], "capacitance", d.line.uneven / 2.0)
    found: Floats = near / (near + d.figure("far") * uneven)
    return found


def _open_by_sibling(d: _Drawn) -> Floats:
    uneven = 1.0 + d.normal(CAUSES[4], "capacitance", d.line.uneven)
    found: Floats = d.figure("near") / (d.figure("sibling") * uneven)
    return found


_SOLVE: Final[dict[Method, Callable[[_Drawn], Floats]]] = {
    "short-both-ends": _short_both_ends,
    "loop-by-resistances": _loop_by_resistances,
    "loop-by-voltages": _loop_by_voltages,
    "murray": _murray,
    "varley": _varley,
    "earth-one-wire": _earth_one_wire,
    "open-both-ends": _open_both_ends,
    "open-by-sibling": _open_by_sibling,
}


def distance(
    method: Method, line: CableLine, figures: Mapping[str, Figure], *, wander: float = 0.0, draws: int = DRAWS
) -> Distance:
    """Where the fault is.

    Args:
        method: how it was read.
        line: the cable.
        figures: each reading that the method wants, by name; see :data:`READINGS`.
        wander: how much the fault's own resistance changed between readings, either way, in ohms: the first reading
            taken again at the end tells.
        draws: how many drawings.

    Raises:
        CannotTell: the readings contradict the method, or leave most of the cable.
    """
    missing = [name for name, _, _ in READINGS[method] if name not in figures and (method, name) not in SPARED]
    if missing:
        raise CannotTell(f"{TITLES[method]} wants {', '.join(missing)} too")
    refuse(method, figures, wander)
    drawn = _Drawn(line, figures, wander, draws)
    share, metres, weight = _solved(method, drawn)
    if len(metres) < draws * (ROOTED if method == "earth-one-wire" else 0.5):
        raise CannotTell(
            f"most of what the readings may mean lies outside the cable: the fault is not of the kind that "
            f"'{TITLES[method]}' looks for, or readings were exchanged"
        )
    low, middle, high = _parts(metres, weight)
    share_low, share_middle, share_high = _parts(share, weight)
    if high - low > USELESS * line.length_m:
        causes = _causes(method, drawn)
        raise CannotTell(
            f"95 % of what the readings may mean lie between {low:.3g} m and {high:.3g} m: that tells nothing. "
            f"What decides is {causes[0][0]}{_instead(method, causes[0][0])}"
        )
    causes = _causes(method, drawn)
    remarks = _remarks(method, causes, line)
    return Distance(method, middle, low, high, share_middle, share_low, share_high, causes, remarks)


def _parts(values: Floats, weight: Floats | None) -> tuple[float, float, float]:
    """Where the lowest 2.5 %, half, and 97.5 % of what was drawn end."""
    parts = (1 - COVERAGE) / 2, 0.5, (1 + COVERAGE) / 2
    if weight is None:
        low, middle, high = np.quantile(values, parts)
    else:
        order = np.argsort(values)
        low, middle, high = np.interp(parts, np.cumsum(weight[order]) / np.sum(weight), values[order])
    return float(low), float(middle), float(high)


def _solved(method: Method, drawn: _Drawn) -> tuple[Floats, Floats, Floats | None]:
    """Shares, metres and weights of all drawings that lie in the cable: a fault is nowhere else; None: all alike."""
    phi = _SOLVE[method](drawn)
    # warmth moves resistance along the cable, and no capacitance
    share = phi if method.startswith("open") else _place(phi, drawn.warmer)
    metres = share * drawn.length
    inside = np.isfinite(share) & (share >= 0.0) & (share <= 1.0)
    if method != "earth-one-wire":
        return share[inside], metres[inside], None
    weight = _likely(drawn)
    inside &= weight > 0.0
    return share[inside], metres[inside], weight[inside]


def _causes(method: Method, drawn: _Drawn) -> tuple[tuple[str, float], ...]:
    """What each cause contributes to the variance: how much is gone when it alone is held still."""
    whole = _variance(method, drawn)
    found = []
    for cause in CAUSES:
        held = _Drawn(drawn.line, drawn.figures, drawn.wander, drawn.count, frozenset({cause}), drawn.seed)
        left = _variance(method, held, whole)
        found.append((cause, max(0.0, 1.0 - left / whole) if whole > 0.0 else 0.0))
    return tuple(sorted(found, key=lambda one: -one[1]))


def _variance(method: Method, drawn: _Drawn, otherwise: float = 0.0) -> float:
    """The variance of the metres; another figure where no drawing lies in the cable."""
    _, metres, weight = _solved(method, drawn)
    if not len(metres):
        return otherwise
    return float(np.average((metres - np.average(metres, weights=weight)) ** 2, weights=weight))


def _instead(method: Method, cause: str) -> str:
    if cause == CAUSES[3] and method in ("short-both-ends", "loop-by-resistances", "earth-one-wire"):
        return "; a loop by two voltages is not disturbed by it"
    if cause == CAUSES[2]:
        return "; a meter with finer digits, or with four wires, would tell"
    if cause == CAUSES[0]:
        return "; measure the cable's length"
    return ""


def _remarks(method: Method, causes: tuple[tuple[str, float], ...], line: CableLine) -> tuple[str, ...]:
    found = []
    cause, part = causes[0]
    if cause == CAUSES[0] and part >= DECIDES:
        found.append(
            f"the cable's length decides ({part:.0%} of the doubt; ±{line.length_part:.0%} of "
            f"{line.length_m:g} m): measure it, or take the share of the length"
        )
    elif part >= DECIDES:
        found.append(f"what decides is {cause} ({part:.0%} of the doubt){_instead(method, cause)}")
    return tuple(found)


def refuse(method: Method, figures: Mapping[str, Figure], wander: float = 0.0) -> None:
    """See that readings do not contradict their method.

    Raises:
        CannotTell: they do.
    """
    for name, one in figures.items():
        if not math.isfinite(one.value) or one.value <= 0.0:
            raise CannotTell(f"'{name}' reads {one.value:g}: the method wants a figure above 0")

    def least(name: str) -> float:
        return figures[name].value * (1 - figures[name].scale) - figures[name].own

    def most(name: str) -> float:
        return figures[name].value * (1 + figures[name].scale) + figures[name].own

    if method == "short-both-ends" and most("near") + most("far") + wander < least("loop") * 0.97:
        raise CannotTell(
            "near and far together read less than the loop: there is more than one short, or the loop read is not of "
            "this cable. With one short they read the loop and twice the fault"
        )
    if method == "loop-by-resistances" and most("faulty") + most("sound") + wander < least("loop") * 0.97:
        raise CannotTell("both readings to the fault together are less than the loop: the two places are not what "
                         "they are taken for")  # fmt: skip
    if method == "varley":
        loop = figures["p"].value / figures["q"].value * figures["whole"].value
        x = (figures["q"].value * loop - figures["p"].value * figures["balance"].value) / (
            figures["p"].value + figures["q"].value
        )
        if x < 0.0:
            raise CannotTell("the fault would lie before the near end: 'whole' and 'balance' are exchanged, or P and Q")
    if method == "open-by-sibling" and least("near") > most("sibling") * 1.06:
        raise CannotTell("the broken conductor has more capacitance than the sound one: they are exchanged, of unlike "
                         "length, or the break is closed by a joint that leaks: measure its resistance")  # fmt: skip
    if method == "earth-one-wire" and least("earthed") > min(most(name) for name in figures if name != "earthed"):
        raise CannotTell("with the far end earthed it must read less than with it open, and less than when sound")


# beforehand


class Accuracy(msgspec.Struct, frozen=True):
    """How well a bench reads one thing.

    Attributes:
        scale: relative, either way.
        own: in the base unit, either way; what leads leave is in it.
        name: of the instrument.
    """

    scale: float
    own: float
    name: str = ""


class Prospect(msgspec.Struct, frozen=True):
    """What a method would tell.

    Attributes:
        method: the method.
        half: half width of 95 % in metres; None where it cannot be done.
        why: why not, or what decides.
    """

    method: Method
    half: float | None
    why: str


def expected_figures(
    method: Method, line: CableLine, share: float, fault_ohms: float, accuracy: Accuracy, farad_per_m: float = 60e-12,
    amps: float = 0.1, arm: float = 100.0,
) -> dict[str, Figure]:  # fmt: skip
    """What a method would read on a cable with a fault at a share of its length.

    Args:
        method: the method.
        line: the cable.
        share: where the fault is.
        fault_ohms: its own resistance.
        accuracy: of the meter that reads it.
        farad_per_m: of a conductor to all others.
        amps: in the loop, for voltages.
        arm: of a bridge that is fixed, in ohms.
    """
    one = line.ohm_per_m * line.length_m
    x, loop, rf = one * share, 2.0 * one, fault_ohms
    rest = one - x
    values: dict[Method, dict[str, float]] = {
        "short-both-ends": {"near": 2 * x + rf, "far": loop - 2 * x + rf, "loop": loop},
        "loop-by-resistances": {"faulty": x + rf, "sound": loop - x + rf, "loop": loop},
        "loop-by-voltages": {"faulty": amps * x, "sound": amps * (loop - x)},
        "murray": {"p": arm, "q": arm * x / (loop - x)},
        "varley": {"p": arm, "q": arm, "whole": loop, "balance": loop - 2 * x},
        "earth-one-wire": {"open": x + rf, "earthed": x + rf * rest / (rf + rest), "whole": one},
        "open-both-ends": {
            "near": farad_per_m * line.length_m * share,
            "far": farad_per_m * line.length_m * (1 - share),
        },
        "open-by-sibling": {
            "near": farad_per_m * line.length_m * share,
            "sibling": farad_per_m * line.length_m,
        },
    }
    by = accuracy.name or "meter"
    return {name: Figure(value, accuracy.scale, accuracy.own, by) for name, value in values[method].items()}


def prospects(
    line: CableLine, fault: str, accuracies: Mapping[str, Accuracy | None], *, fault_ohms: float = 0.5,
    share: float = 0.4, sound: bool = True, wander: float = 0.0, farad_per_m: float = 60e-12,
) -> list[Prospect]:  # fmt: skip
    """Which methods a bench can do on a cable, and how well, the best first.

    Args:
        line: the cable.
        fault: ``short``, ``earth`` or ``open``.
        accuracies: unit (Ω, V, F, bridge) to how well it is read; None or missing: not at all.
        fault_ohms: what the fault may have itself.
        share: where it may be.
        sound: whether the cable has a conductor that is known to be sound.
        wander: how much the fault wanders, in ohms.
        farad_per_m: of a conductor to all others.
    """
    found = []
    for method in FAULTS[fault]:
        bridge = method in ("murray", "varley")
        unit = "bridge" if bridge else READINGS[method][0][1]
        accuracy = accuracies.get(unit)
        if accuracy is None:
            wanted = {"Ω": "an instrument in the role ohms", "V": "one in the role volts, and a supply that limits its "
                      "current", "F": "an instrument that reads capacitance (role lcr)",
                      "bridge": "a bridge: say with --bridge how exact it is"}[unit]  # fmt: skip
            found.append(Prospect(method, None, f"wants {wanted}"))
            continue
        if not sound and method not in ("open-both-ends", "earth-one-wire"):
            found.append(Prospect(method, None, "wants a sound conductor of the same cable"))
            continue
        figures = expected_figures(method, line, share, fault_ohms, accuracy, farad_per_m)
        try:
            told = distance(method, line, figures, wander=wander)
        except CannotTell as error:
            found.append(Prospect(method, None, str(error)))
            continue
        found.append(Prospect(method, told.half, f"what decides is {told.shares[0][0]}"))
    return sorted(found, key=lambda one: (one.half is None, one.half or 0.0))
