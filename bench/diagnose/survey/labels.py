"""How likely two labels are to be the same one, misread and faded.

A sign that cannot be read says nothing, so it counts 1. Signs may be left out or added, so the likelihood is the sum
over all ways to lay one text along the other (a pair hidden Markov model; from memory). What a sign says depends on how
common it is where it stands: that every label begins with W tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from bench.diagnose.survey.matching import Floats, Ints
from bench.diagnose.survey.rates import Rates
from bench.plant.finds import UNREAD

_ALIKE: Final = (
    "0OQD",
    "1I7LT",
    "2Z",
    "3B8",
    "5S6",
    "6G8",
    "8B",
    "4A",
    "9G4",
    "UV",
    "MN",
    "CG",
    "EF",
    "PR",
    "VWY",
    "KX",
)
"""Signs that are taken for each other more often than others; an assumption."""
_ALIKE_SHARE: Final = 0.7
"""Of the misread signs, the share that is read as one that looks alike."""


class Signs:
    """The signs that occur in a pile, how common each is, and how they are misread."""

    def __init__(self, texts: Sequence[str], rates: Rates) -> None:
        read = [text for text in texts if text]
        self.alphabet = sorted(set("".join(read)) - {UNREAD} | set("0123456789W"))
        self._index = {sign: number for number, sign in enumerate(self.alphabet)}
        size = len(self.alphabet)
        self.misreading = self._confusion(rates.misread)
        self.slip = rates.slipped
        self.places = max((len(text) for text in read), default=1)
        common = np.full((self.places + 1, size), 0.3)
        for text in read:
            for place, sign in enumerate(text):
                if sign != UNREAD:
                    common[place, self._index[sign]] += 1.0
                    common[-1, self._index[sign]] += 1.0
        self.common: Floats = common / common.sum(axis=1, keepdims=True)
        """Share of each sign at each place of a label; the last row is of all places."""
        digits = [number for number, sign in enumerate(self.alphabet) if sign.isdigit()]
        self.following = np.zeros((size, size))
        for one in digits:
            for other in digits:
                if abs(int(self.alphabet[one]) - int(self.alphabet[other])) == 1:
                    self.following[one, other] = 1.0
        self.following /= np.maximum(self.following.sum(axis=1, keepdims=True), 1.0)

    def _confusion(self, misread: float) -> Floats:
        size = len(self.alphabet)
        table = np.full((size, size), 0.0)
        for row, true in enumerate(self.alphabet):
            alike = [self._index[sign] for group in _ALIKE if true in group for sign in group if sign in self._index]
            near = sorted(set(alike) - {row})
            share = _ALIKE_SHARE if near else 0.0
            table[row] = misread * (1.0 - share) / max(size - 1, 1)
            for column in near:
                table[row, column] += misread * share / len(near)
            table[row, row] = 1.0 - misread
        return table

    def codes(self, text: str) -> list[int]:
        """A label as numbers, -1 for what cannot be read."""
        return [self._index.get(sign, -1) for sign in text]

    def _tables(self, seen: Floats) -> tuple[Floats, Floats]:
        """For every place: what two readings of one sign have in common, and of one reading alone.

        ``seen`` is the chance of a reading given the sign, with a column of ones for what cannot be read.
        """
        joint = np.einsum("ps,sa,sb->pab", self.common, seen, seen)
        single = self.common @ seen
        return joint, single

    def same(self, labels: Sequence[str], others: Sequence[str] | None = None, next_to: bool = False) -> Floats:
        """Likelihood that two labels are one and the same, against that they have nothing to do with each other.

        Args:
            labels: as read.
            others: to hold them against; the same ones by default.
            next_to: of two neighbouring names in place of one and the same: the last sign is one up or down.

        Returns:
            A row for each label; 1 where either is empty.
        """
        seen = np.concatenate([self.misreading, np.ones((len(self.alphabet), 1))], axis=1)
        joint, single = self._tables(seen)
        ratio = joint / (single[:, :, None] * single[:, None, :])
        beside = self.following @ seen
        beside[:, -1] = 1.0
        up = np.einsum("ps,sa,sb->pab", self.common, seen, beside) / (single[:, :, None] * single[:, None, :])
        return self._laid(labels, labels if others is None else others, ratio, up if next_to else None)

    def same_by_chance(self, labels: Sequence[str]) -> Floats:
        """Likelihood that two labels that were drawn apart are one name, out of all names: to be taken off again."""
        seen = np.concatenate([self.misreading, np.ones((len(self.alphabet), 1))], axis=1)
        single = self.common @ seen
        twice = np.einsum("ps,sa,sb->pab", self.common**2, seen, seen)
        return self._laid(labels, labels, twice / (single[:, :, None] * single[:, None, :]), None, 0.0)

    def read_as(self, labels: Sequence[str], true: Sequence[str]) -> Floats:
        """Likelihood of each label, given what it truly was, against the chance of reading it on any label.

        Args:
            labels: as read.
            true: what may have been written there.
        """
        seen = np.concatenate([self.misreading, np.ones((len(self.alphabet), 1))], axis=1)
        single = self.common @ seen
        known = np.concatenate([seen, np.ones((1, seen.shape[1]))])
        ratio = known.T[None] / single[:, :, None]
        return self._laid(labels, true, ratio, None)

    def _laid(
        self, rows: Sequence[str], columns: Sequence[str], ratio: Floats, last: Floats | None, empty: float = 1.0
    ) -> Floats:
        """Lay every text of the rows along every text of the columns; ``empty`` stands where either is empty."""
        out = np.full((len(rows), len(columns)), empty)
        by_row, by_column = _by_length(rows), _by_length(columns)
        for long, row_at in by_row.items():
            first = np.array([self.codes(rows[at]) for at in row_at])
            for wide, column_at in by_column.items():
                second = np.array([self.codes(columns[at]) for at in column_at])
                out[np.ix_(row_at, column_at)] = self._aligned(first, second, long, wide, ratio, last)
        return out

    def _aligned(self, first: Ints, second: Ints, long: int, wide: int, ratio: Floats, last: Floats | None) -> Floats:
        """The sum over all ways to lay texts of one length along texts of another."""
        slip, keep = self.slip, 1.0 - 2.0 * self.slip
        shape = (len(first), len(second))
        nothing = np.zeros(shape)
        above: list[Floats] = []
        for row in range(long + 1):
            line: list[Floats] = []
            for column in range(wide + 1):
                if row == column == 0:
                    line.append(np.ones(shape))
                    continue
                total = nothing
                if row and column:
                    place = min(row - 1, self.places - 1) if row == column else self.places
                    table = last if last is not None and row == long and column == wide else ratio
                    fit = table[place][first[:, row - 1][:, None], second[:, column - 1][None, :]]
                    total = total + keep * fit * above[column - 1]
                if row:
                    total = total + slip * above[column]
                if column:
                    total = total + slip * line[column - 1]
                line.append(total)
            above = line
        return above[wide]


def _by_length(texts: Sequence[str]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for at, text in enumerate(texts):
        if text:
            found.setdefault(len(text), []).append(at)
    return found
