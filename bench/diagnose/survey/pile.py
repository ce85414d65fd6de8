"""A pile of finds as the solver wants it: arrays of what was noted, and the kinds of cable that occur.

No catalogue is needed: the kinds that occur (a jacket, the number of its conductors and their colours) are read off
the ends that were looked at closely, and how often each occurs, which connectors it has and how thick it is are learned
from all of them (expectation and maximisation, a few rounds; from memory). Kinds that the job knows of already stand
beside them: an end is likelier of such a one, and a kind that is none of them has to be seen more often.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Final

import msgspec
import numpy as np

from bench.diagnose.survey.matching import Floats
from bench.diagnose.survey.rates import Rates
from bench.plant.colours import ColourError, colour_words
from bench.plant.file import CableType
from bench.plant.finds import Find, FreePlace, Hall, ListLine, LooseEnd, Tried

_ROUNDS: Final = 4
_ONCE: Final = 0.8
"""Taken off the number of ends of each kind: a cable has two ends, so a kind that is seen once is mostly a miscount."""
_LEAST: Final = 0.05
"""No kind has fewer ends than this; a known one shares it among the jackets that it may have."""
_ONCE_UNKNOWN: Final = 1.6
"""What is taken off for a kind that is none of those that the job knows of."""
_IMPOSSIBLE: Final = 0.01
"""What a count or a size that cannot be costs for each step: people err in ways that nobody thought of."""

FEATURES: Final = ("label", "length", "list", "kind", "bay", "tray")
"""What a pair's weight rests on. ``kind``: connector, contacts, jacket, conductors, colours and diameter together."""


def _nowhere() -> Hall:
    return Hall(bays=[])


class KnownKind(msgspec.Struct, frozen=True):
    """A kind of cable that the job knows of, whether or not an end of it was found.

    Attributes:
        conductors: their number, a pair being two.
        colours: as a find has them; empty where nobody knows.
        jackets: the colours that its jacket may have; empty where nobody knows.
    """

    conductors: int
    colours: str = ""
    jackets: tuple[str, ...] = ()


def known_kinds(types: Iterable[CableType]) -> tuple[KnownKind, ...]:
    """What the cable types of a plant file say of kinds that may be found: conductors and their colours.

    The file says nothing of jackets, and the size of a conductor is nothing that is noted of an end.

    Args:
        types: of the plant file.
    """
    found: dict[KnownKind, None] = {}
    for kind in types:
        if isinstance(kind.colours, list):
            colours = " ".join(kind.colours)
        else:
            colours = kind.colours or ("pair-code" if kind.pairs is not None else "")
        found[KnownKind(kind.count, colours)] = None
    return tuple(found)


class Pile(msgspec.Struct, frozen=True):
    """All finds of a survey.

    Attributes:
        ends: the loose ends.
        places: the free places.
        lines: the lines of documents.
        tried: what came of acts.
        hall: where the bays stand.
        kinds: the kinds of cable that the job knows of; others may be found.
    """

    ends: tuple[LooseEnd, ...]
    places: tuple[FreePlace, ...] = ()
    lines: tuple[ListLine, ...] = ()
    tried: tuple[Tried, ...] = ()
    hall: Hall = msgspec.field(default_factory=_nowhere)
    kinds: tuple[KnownKind, ...] = ()

    @classmethod
    def of(
        cls,
        finds: Iterable[Find],
        hall: Hall | None = None,
        tried: Iterable[Tried] = (),
        kinds: Iterable[KnownKind] = (),
    ) -> Pile:
        """Sort finds by what they are.

        Args:
            finds: all of them.
            hall: where the bays stand; by default in the order of their names.
            tried: what came of acts.
            kinds: the kinds of cable that the job knows of.
        """
        found = list(finds)
        if hall is None or not hall.bays:
            hall = Hall(bays=sorted({bay for find in found for bay in bays_of(find) if bay}, key=natural))
        return cls(
            tuple(find for find in found if isinstance(find, LooseEnd)),
            tuple(find for find in found if isinstance(find, FreePlace)),
            tuple(find for find in found if isinstance(find, ListLine)),
            tuple(tried),
            hall,
            tuple(kinds),
        )


def bays_of(find: Find) -> tuple[str, ...]:
    """The bays that a find speaks of."""
    return (find.from_bay, find.to_bay) if isinstance(find, ListLine) else (find.bay,)


def natural(name: str) -> tuple[int, int, str]:
    """A key that sorts names with numbers as people do: 2 before 10."""
    digits = "".join(sign for sign in name if sign.isdigit())
    return (0, int(digits), name) if digits else (1, 0, name)


class _Kind(msgspec.Struct, frozen=True):
    jacket: str
    conductors: int
    colours: str


class Kinds:
    """The kinds of cable that occur, and how likely each end is one of them.

    Args:
        ends: of the pile.
        rates: what is believed of how they were noted.
        known: the kinds that the job knows of.
    """

    def __init__(self, ends: Sequence[LooseEnd], rates: Rates, known: Sequence[KnownKind] = ()) -> None:
        self._ends, self._rates = ends, rates
        spelled = {text: _spelled(text) for text in {end.colours for end in ends}}
        self._colours = [spelled[end.colours] for end in ends]
        closely = Counter(
            _Kind(end.jacket, end.conductors, colours)
            for end, colours in zip(ends, self._colours, strict=True)
            if end.jacket and end.conductors is not None
        )
        if not closely:
            closely = Counter(
                _Kind(end.jacket, end.conductors or 0, colours)
                for end, colours in zip(ends, self._colours, strict=True)
                if end.conductors or not known
            )
        told = self._told(known)
        # an end whose colours nobody noted is no kind of its own
        counted = {(kind.jacket, kind.conductors) for kind in told}
        found = [kind for kind in closely if kind.colours or (kind.jacket, kind.conductors) not in counted]
        self.kinds = list(dict.fromkeys([*found, *told]))
        once = np.array([_ONCE if kind in told or not told else _ONCE_UNKNOWN for kind in self.kinds])
        least = np.array([told.get(kind, _LEAST) for kind in self.kinds])
        self.conductors = np.array([kind.conductors for kind in self.kinds])
        fixed = self._fixed()
        share = np.array([closely[kind] + told.get(kind, 0.0) for kind in self.kinds], dtype=float)
        share /= share.sum()
        connectors = sorted({(end.connector, end.gender) for end in ends if end.connector})
        at = {connector: number for number, connector in enumerate(connectors)}
        noted = np.array([at.get((end.connector, end.gender), -1) for end in ends], dtype=int)
        has = np.flatnonzero(noted >= 0)
        thick = np.array([end.diameter or np.nan for end in ends])
        measured = np.flatnonzero(~np.isnan(thick))
        chance = fixed
        for _ in range(_ROUNDS):
            posterior = chance * share
            posterior /= np.maximum(posterior.sum(axis=1, keepdims=True), 1e-300)
            share = np.maximum(posterior.sum(axis=0) - once, least)
            share /= share.sum()
            chance = fixed.copy()
            if len(connectors) > 1:
                table = np.full((len(self.kinds), len(connectors)), 0.05)
                np.add.at(table.T, noted[has], posterior[has])
                table /= table.sum(axis=1, keepdims=True)
                common = np.bincount(noted[has], minlength=len(connectors)) / max(len(has), 1)
                table = (1.0 - rates.misnoted) * table + rates.misnoted * common
                chance[has] *= table.T[noted[has]] / common[noted[has]][:, None]
            if len(measured) > 2:
                weights = posterior[measured]
                overall = thick[measured].mean()
                mean = (weights.T @ thick[measured] + overall) / (weights.sum(axis=0) + 1.0)
                near = np.exp(-0.5 * ((thick[measured][:, None] - mean) / (0.1 * mean)) ** 2)
                chance[measured] *= (near + _IMPOSSIBLE) / (near @ share + _IMPOSSIBLE)[:, None]
        self.share: Floats = share
        self.chance: Floats = chance
        """Chance of what was noted of each end (row) where it is of each kind (column), against any end's chance."""

    def _told(self, known: Sequence[KnownKind]) -> dict[_Kind, float]:
        """The kinds that the job knows of, each with every jacket that it may have, and the least share of each."""
        seen = sorted({end.jacket for end in self._ends if end.jacket}) or [""]
        noted = set(self._colours)
        told: dict[_Kind, float] = {}
        for kind in known:
            colours = _spelled(kind.colours)
            # where nobody noted colours that way they were noted in words of somebody's own, which say nothing of these
            if colours not in ("pair-code", "numbered") and colours not in noted:
                colours = ""
            jackets = kind.jackets or seen
            told |= {_Kind(jacket, kind.conductors, colours): _LEAST / len(jackets) for jacket in jackets}
        return told

    def _fixed(self) -> Floats:
        """What jacket, conductors, colours and contacts say."""
        ends, rates = self._ends, self._rates
        chance = np.ones((len(ends), len(self.kinds)))
        for wrong, noted, true in (
            (rates.misnoted, [end.jacket for end in ends], [kind.jacket for kind in self.kinds]),
            (rates.misnoted, self._colours, [kind.colours for kind in self.kinds]),
        ):
            chance *= _categorical(noted, true, wrong)
        counted = np.array([end.conductors or 0 for end in ends])
        chance *= _counts(counted, self.conductors, 1.0 - rates.miscounted, 2)
        filled = np.array([end.filled or 0 for end in ends])
        # spare contacts are pulled and wires left off, so what is filled says less than what is counted
        chance *= _counts(filled, self.conductors, 0.6, 6)
        return chance

    def given(self, conductors: int | None, rates: Rates) -> Floats:
        """Share of each kind where a document tells the number of conductors."""
        if not conductors:
            return self.share
        fits = np.where(self.conductors == conductors, 1.0 - rates.list_wrong, rates.list_wrong)
        weighted = fits * self.share
        if not (self.conductors == conductors).any():
            return self.share
        return np.asarray(weighted / weighted.sum())


def _spelled(colours: str) -> str:
    """Colours in one spelling and order where all of them are colours of conductors, else as they stand."""
    try:
        return " ".join(sorted(colour_words(word)[0] for word in re.split(r"[\s,;]+", colours) if word))
    except ColourError:
        return colours


def _categorical(noted: Sequence[str], true: Sequence[str], wrong: float) -> Floats:
    """Likelihood of what was noted for each truth, against how common it is; 1 where either is empty."""
    common = Counter(text for text in noted if text)
    total = max(sum(common.values()), 1)
    out = np.ones((len(noted), len(true)))
    for row, text in enumerate(noted):
        if not text:
            continue
        share = common[text] / total
        for column, truth in enumerate(true):
            if truth:
                out[row, column] = ((1.0 - wrong) * (text == truth) + wrong * share) / share
    return out


def _counts(noted: np.ndarray, true: np.ndarray, right: float, reach: int) -> Floats:
    """Likelihood of a count for each truth, against how common it is; 1 where either is 0."""
    out = np.ones((len(noted), len(true)))
    told = noted > 0
    if not told.any():
        return out
    values, number = np.unique(noted[told], return_counts=True)
    share = dict(zip(values.tolist(), (number / number.sum()).tolist(), strict=True))
    far = np.abs(noted[:, None] - true[None, :])
    likely = np.where(far == 0, right, np.where(far <= reach, (1.0 - right) / (2 * reach + 1), _IMPOSSIBLE))
    common = np.array([share.get(int(value), 1.0) for value in noted])
    # a count that is nowhere near is still noted now and then: it tells little, and never everything
    use = told[:, None] & (true > 0)[None, :]
    out[use] = (likely / np.maximum(common, 0.02)[:, None])[use]
    return out


class Runs:
    """How long a cable is between two bays, and how likely a noted length is."""

    def __init__(self, pile: Pile, rates: Rates) -> None:
        self._rates = rates
        bays = pile.hall.bays or [""]
        self.at = {bay: number for number, bay in enumerate(bays)}
        place = np.arange(len(bays)) * pile.hall.pitch
        self.route: Floats = np.abs(place[:, None] - place[None, :]) + pile.hall.rise
        scale = rates.slack / 2.0
        # quantiles of a gamma distribution of shape 2, in units of its scale, and a tail that is longer than believed
        self._slack: Floats = scale * np.array([0.29, 0.69, 1.13, 1.68, 2.48, 4.3, 8.0, 14.0])
        self._share: Floats = np.array([*[0.155] * 6, 0.05, 0.02])
        known = np.array([end.length.value for end in pile.ends if end.length is not None])
        self._widest = 1.3 * float(known.max(initial=float(self.route.max()) + 10.0))
        steps = max(2, int(np.log(self._widest) / 0.04))
        self._anywhere: Floats = np.exp(np.linspace(0.0, np.log(self._widest), steps))
        size = len(bays)
        hang = np.full((size, size), rates.junk / size)
        for true in range(size):
            beside = [bay for bay in (true - 1, true + 1) if 0 <= bay < size]
            hang[true, true] += (1.0 - rates.junk) * (1.0 - rates.neighbour)
            for bay in beside or [true]:
                hang[true, bay] += (1.0 - rates.junk) * rates.neighbour / len(beside or [true])
        self.hang: Floats = hang
        """Chance to hang in each bay (column) where the end belongs to a bay (row)."""
        self._noted = np.array([end.length.value if end.length is not None else np.nan for end in pile.ends])
        spread = {"marks": rates.marks, "tape": rates.tape, "eye": rates.eye, "": rates.eye}
        self._spread = np.array([spread[end.length_by] for end in pile.ends])
        self.bay = np.array([self.at.get(end.bay, -1) for end in pile.ends], dtype=int)

    def lengths(self, routes: Floats) -> tuple[Floats, Floats]:
        """Lengths that a cable over any of some routes may have, in metres, and the chance of each.

        A share of cables takes another way than one would think: these may have any length.
        """
        detour = self._rates.detour
        usual = (routes[:, None] + self._slack[None, :]).reshape(-1)
        share = np.tile(self._share, len(routes)) / (self._share.sum() * len(routes))
        # spaced evenly in logarithms, so the chance of each goes with its length
        other = self._anywhere / self._anywhere.sum()
        return np.concatenate([usual, self._anywhere]), np.concatenate([(1.0 - detour) * share, detour * other])

    @cached_property
    def any_length(self) -> float:
        """Density of a length about which nothing is known."""
        return 1.0 / self._widest

    def noted(self, true: Floats) -> Floats:
        """Density of each end's noted length for each true one, against a length of which nothing is known.

        Args:
            true: metres.
        """
        spread = self._spread[:, None] * true[None, :] + 0.05
        density = np.exp(-0.5 * ((self._noted[:, None] - true[None, :]) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        ratio = (1.0 - self._rates.junk) * density / self.any_length + self._rates.junk
        return np.where(np.isnan(self._noted)[:, None], 1.0, ratio)

    def hanging(self, belongs: Floats) -> Floats:
        """Chance of the bay in which each end hangs, against any bay.

        Args:
            belongs: chance of each bay to be the one that it belongs to.
        """
        there = belongs @ self.hang
        return np.where(self.bay < 0, 1.0, there[self.bay] * len(self.at))
