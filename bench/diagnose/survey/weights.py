"""What each pair of finds weighs: how much more likely it is seen where the two are one cable than where they are not.

A pair of ends i, j weighs

    w_ij = (1 - q) / (N q^2) * P(o_i, o_j | one cable) / (P(o_i) P(o_j)),

a single end weighing 1, with q the share of ends without a mate (ends as a Poisson process of cables; our derivation).
The likelihood of one cable is a mixture: each line of the documents, and cables that stand on none. Within each, the
kind of cable and its length are summed over. Two corrections keep what is called sure sure:

- *Junk floor.* A share of all observations means nothing, so none can speak against a pair without end.
- *What two cables look like.* Each name is used once, so two ends that read alike are hardly ends of two cables; but
  two cables with neighbouring names look alike, and where the mate of one is gone, its end fits the twin's nearly as
  well. So the ratio is taken against two cables as they come, w = w / (1 - s + (tau / N) w' t), with w' the ratio
  without its first factor, s the chance of two independent cables with these ends to be of one name, and t the
  likelihood of the two labels as neighbours against that as the same. (A factor for each pair that is not one cable is,
  up to a constant, its inverse for each pair that is.)
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from functools import cached_property
from typing import Final

import numpy as np

from bench.diagnose.survey.fingerprint import likenesses
from bench.diagnose.survey.labels import Signs
from bench.diagnose.survey.matching import Floats
from bench.diagnose.survey.pile import Kinds, Pile, Runs
from bench.diagnose.survey.rates import Rates
from bench.plant.finds import FreePlace, ListLine, LooseEnd

_OPPOSITE: Final = {"plug": "socket", "socket": "plug"}
_TWICE: Final = 0.02
"""Share of names that are used twice after all."""
_HARDLY: Final = 0.05
"""A likeness, times the chance that the other place has an end, below which it tells nothing."""
TOP: Final = 1e12
"""No weight needs to be more: the solver multiplies two of them."""


class Weighing:
    """The weights of one pile.

    Args:
        pile: the finds.
        rates: what is believed of how they come about.
        without: features to leave out, of :data:`bench.diagnose.survey.pile.FEATURES`: to tell what rests on them.
    """

    def __init__(self, pile: Pile, rates: Rates, without: Collection[str] = ()) -> None:
        self.pile, self.rates = pile, rates
        self._without = frozenset(without)
        self._labels = ["" if "label" in self._without else end.label for end in pile.ends]
        self._lines = () if "list" in self._without else pile.lines
        self._signs = Signs([*(end.label for end in pile.ends), *(line.label for line in pile.lines)], rates)
        self._kinds = Kinds(pile.ends, rates, pile.kinds)
        self._runs = Runs(pile, rates)

    def mates(self) -> Floats:
        """The weight of each pair of ends to be one cable; a single end weighs 1."""
        pile, rates = self.pile, self.rates
        count = len(pile.ends)
        if count < 2:
            return np.zeros((count, count))
        joint, single = self._off_the_list()
        share = rates.listed if self._lines else 0.0
        joint *= 1.0 - share
        single *= 1.0 - share
        # singles are those off the list so far
        once = self._signs.same_by_chance(self._labels) * np.outer(single, single)
        if self._lines:
            pair, alone = self._on_lines()
            part = share / len(self._lines)
            joint += part * pair
            single += part * alone.sum(axis=1)
            once += part**2 * alone @ alone.T
        once /= np.outer(single, single)
        joint *= self._trays()
        lonely = (1.0 - rates.leaves) * single + rates.leaves * self._leaving()
        ratio = joint / (lonely[:, None] * lonely[None, :])
        q = rates.without_mate
        weights = (1.0 - q) / (count * q * q) * ratio
        # a twin looks alike but for its name
        next_to = self._signs.same(self._labels, next_to=True)
        same = self._signs.same(self._labels)
        twin = np.clip(next_to / np.maximum(same, 1e-12), 0.0, 1e3)
        weights = weights / (1.0 - (1.0 - _TWICE) * np.minimum(once, 1.0) + rates.twins / count * ratio * twin)
        self._branches(weights)
        self._take_tries(weights)
        weights = np.minimum((weights + weights.T) / 2.0, TOP)
        np.fill_diagonal(weights, 0.0)
        return weights

    def _kind_alike(self, share: Floats) -> tuple[Floats, Floats]:
        """Likelihood of two ends as one kind, and of one end alone."""
        if "kind" in self._without:
            count = len(self.pile.ends)
            return np.ones((count, count)), np.ones(count)
        chance, junk = self._kinds.chance, self.rates.junk
        single = chance @ share
        # as with all that is noted: what means nothing cannot speak against a pair without end
        return (1.0 - junk) * (chance * share) @ chance.T + junk * np.outer(single, single), single

    def _lengths(self, true: Floats) -> Floats:
        if "length" in self._without:
            return np.ones((len(self.pile.ends), len(true)))
        return self._runs.noted(true)

    def _hanging(self, belongs: Floats) -> Floats:
        if "bay" in self._without:
            return np.ones(len(self.pile.ends))
        return self._runs.hanging(belongs)

    def _off_the_list(self) -> tuple[Floats, Floats]:
        """Pair and single likelihoods of cables that stand on no line."""
        runs, junk = self._runs, self.rates.junk
        bays = len(runs.at)
        count = len(self.pile.ends)
        hang = np.stack([self._hanging(row) for row in np.eye(bays)], axis=1)
        pair, alone = np.zeros((count, count)), np.zeros(count)
        # routes of one length are one case
        for route in np.unique(np.round(runs.route, 6)):
            between = np.isclose(runs.route, route) / bays**2
            together, one = hang @ between @ hang.T, hang @ between.sum(axis=1)
            true, share = runs.lengths(np.array([route]))
            noted = self._lengths(true)
            pair += together * ((noted * share) @ noted.T)
            alone += one * (noted @ share)
        alike, kind = self._kind_alike(self._kinds.share)
        same = (1.0 - junk) * self._signs.same(self._labels) + junk
        return pair * alike * same, alone * kind

    def _on_lines(self) -> tuple[Floats, Floats]:
        """Pair likelihoods of the cables of all lines together, and single ones, a column for each line."""
        count = len(self.pile.ends)
        pair, alone = np.zeros((count, count)), np.zeros((count, len(self._lines)))
        labels = self._signs.read_as(self._labels, [line.label for line in self._lines])
        labels = (1.0 - self.rates.junk) * labels + self.rates.junk
        # lines that tell the same number of conductors are summed up at once
        for conductors in sorted({line.conductors or 0 for line in self._lines}):
            alike, kind = self._kind_alike(self._kinds.given(conductors, self.rates))
            starts, ends = [], []
            for number, line in enumerate(self._lines):
                if (line.conductors or 0) == conductors:
                    start, end, noted, weight = self._case(line)
                    starts.append(noted * weight * (start * labels[:, number])[:, None])
                    ends.append(noted * (end * labels[:, number])[:, None])
                    alone[:, number] = (start + end) / 2.0 * labels[:, number] * (noted @ weight) * kind
            both = np.concatenate(starts, axis=1) @ np.concatenate(ends, axis=1).T
            pair += (both + both.T) / 2.0 * alike
        return pair, alone

    def _case(self, line: ListLine) -> tuple[Floats, Floats, Floats, Floats]:
        """What one line expects.

        Returns:
            For each end how well it hangs at the line's first bay, and at its second; for each end and each possible
            length how well that fits; and the weight of each length.
        """
        runs, rates = self._runs, self.rates
        bays = len(runs.at)
        sides = []
        for bay in (line.from_bay, line.to_bay):
            belongs = np.full(bays, 1.0 / bays)
            if bay in runs.at:
                belongs *= rates.list_wrong
                belongs[runs.at[bay]] += 1.0 - rates.list_wrong
            sides.append(self._hanging(belongs))
        start, end = runs.at.get(line.from_bay), runs.at.get(line.to_bay)
        if start is None or end is None:
            known = start if start is not None else end
            routes = np.unique(runs.route if known is None else runs.route[known])
        else:
            routes = runs.route[start, end][None]
        true, weight = runs.lengths(routes)
        if line.length is not None:
            told = np.exp(-0.5 * ((line.length.value - true) / (0.1 * true)) ** 2) + rates.junk
            weight = weight * told / (weight @ told)
        return sides[0], sides[1], self._lengths(true), weight

    def _leaving(self) -> Floats:
        """Likelihood of each end as one of a cable that leaves the building."""
        kind = self._kind_alike(self._kinds.share)[1]
        if "length" in self._without:
            return kind
        longer = np.linspace(4.0, self.rates.stranger, 12)
        middle = float(np.median(self._runs.route))
        return np.asarray(kind * self._lengths(middle + longer).mean(axis=1))

    def _trays(self) -> Floats:
        """What the trays say: one cable runs in one tray where it leaves either bay, as a rule."""
        count = len(self.pile.ends)
        noted = [end.tray for end in self.pile.ends]
        names = sorted(set(noted) - {""})
        if "tray" in self._without or len(names) < 2:
            return np.ones((count, count))
        at = np.array([names.index(name) if name else -1 for name in noted])
        share = np.bincount(at[at >= 0], minlength=len(names)) / max((at >= 0).sum(), 1)
        wrong = min(0.5, 2.0 * self.rates.misnoted + self.rates.junk)
        same = at[:, None] == at[None, :]
        ratio = np.where(same, (1.0 - wrong) / share[at][:, None] + wrong, wrong)
        told = (at >= 0)[:, None] & (at >= 0)[None, :]
        return np.where(told, ratio, 1.0)

    def _branches(self, weights: Floats) -> None:
        """What is noted as two cables in one end has twice the conductors of either: that is no miscount."""
        for row, end in enumerate(self.pile.ends):
            if end.branches > 1:
                known = self._signs.same([end.label], self._labels)[0]
                floor = (1.0 - self.rates.without_mate) / len(weights) * known
                weights[row] = np.maximum(weights[row], floor)
                weights[:, row] = np.maximum(weights[:, row], floor)

    def _take_tries(self, weights: Floats) -> None:
        """Weigh the results of acts between ends."""
        at = {end.name: number for number, end in enumerate(self.pile.ends)}
        for tried in self.pile.tried:
            wrong = self.rates.pull_untrue if tried.way == "pull" else self.rates.untrue
            among = [at[name] for name in tried.among if name in at]
            if tried.touched not in at or not among:
                continue
            touched = at[tried.touched]
            for other in among:
                if tried.answer == self.pile.ends[other].name:
                    factor = (1.0 - wrong) / (wrong / len(tried.among))
                    # an answer is a fact that no junk floor is under
                    known = max(weights[touched, other], 1e-6)
                elif not tried.answer:
                    factor, known = wrong / (1.0 - wrong), weights[touched, other]
                else:
                    continue
                weights[touched, other] = weights[other, touched] = known * factor

    # Places

    def places(self) -> Floats:
        """The weight of each end (row) to belong to each free place (column); both alone weigh 1."""
        pile, rates = self.pile, self.rates
        ends, places = pile.ends, pile.places
        if not ends or not places:
            return np.zeros((len(ends), len(places)))
        together = rates.placed * min(len(ends), len(places))
        spare = max(len(ends) - together, 0.1 * len(ends)) * max(len(places) - together, 0.1 * len(places))
        weights = np.full((len(ends), len(places)), together / spare)
        for column, place in enumerate(places):
            for row, end in enumerate(ends):
                weights[row, column] *= self._fits(end, place)
            if place.bay in self._runs.at and "bay" not in self._without:
                belongs = np.zeros(len(self._runs.at))
                belongs[self._runs.at[place.bay]] = 1.0
                weights[:, column] *= self._hanging(belongs)
        if "label" not in self._without:
            weights *= self._written()
        self._take_place_tries(weights)
        return np.asarray(np.minimum(weights, TOP))

    def by_family(self, placed: Floats) -> Floats | None:
        """What readings between pins say of ends and places: places of one family want cables of one kind.

        Args:
            placed: chance of each end (row) to belong to each place (column), without these readings.

        Returns:
            How much likelier each end belongs to each place; None where no two places were read alike.
        """
        places, junk = self.pile.places, self.rates.junk
        column = {place.name: number for number, place in enumerate(places)}
        factor = np.ones_like(placed)
        for number, place in enumerate(places):
            for one in likenesses(place, places) if place.reads else ():
                if not one.other:
                    continue
                there = placed[:, column[one.other]]
                held = one.chance * float(there.sum())
                if held >= _HARDLY:
                    factor[:, number] += min(held, 1.0) * (self._kind_of_those(there) - 1.0)
        if (factor == 1.0).all():
            return None
        return np.asarray((1.0 - junk) * np.maximum(factor, 0.0) + junk)

    def wanted_like(self, there: Floats) -> Floats | None:
        """How much likelier each end belongs to a place that is of one family with another.

        Args:
            there: chance of each end to belong to that other place.

        Returns:
            The factors; None where nobody is likely to belong there.
        """
        held = float(there.sum())
        if held < _HARDLY:
            return None
        junk = self.rates.junk
        factor = 1.0 + min(held, 1.0) * (self._kind_of_those(there) - 1.0)
        return np.asarray((1.0 - junk) * np.maximum(factor, 0.0) + junk)

    def _kind_of_those(self, there: Floats) -> Floats:
        """How much likelier each end is of the kinds of some ends, these by their chances, than any end is."""
        chance = self._kinds.chance
        single = np.maximum(chance @ self._kinds.share, 1e-300)
        wanted = there @ (chance * self._kinds.share / single[:, None]) / there.sum()
        return np.asarray((chance @ wanted) / single)

    @cached_property
    def _connectors(self) -> tuple[Counter[str], int]:
        """How many free places have each kind of connector, and how many have one that was noted."""
        noted = Counter(place.connector for place in self.pile.places if place.connector)
        return noted, noted.total()

    def _fits(self, end: LooseEnd, place: FreePlace) -> float:
        """How connector, gender, key and contacts fit, against an end and a place that have nothing to do."""
        if "kind" in self._without:
            return 1.0
        rates = self.rates
        wrong = rates.misnoted
        ratio = 1.0
        if end.connector and place.connector:
            noted, whole = self._connectors
            same = end.connector == place.connector
            ratio *= (1.0 - wrong) * same * whole / max(noted[end.connector], 1) + wrong
            if end.gender and place.gender:
                fits = _OPPOSITE[end.gender] == place.gender
                ratio *= 1.5 if fits else 2.0 * wrong
            if end.keying and place.keying:
                ratio *= 2.0 if end.keying == place.keying else 2.0 * wrong
            if end.filled and place.filled and same:
                far = abs(end.filled - place.filled)
                ratio *= 3.0 if far == 0 else 1.0 if far <= 2 else 0.3
        elif place.gender and not end.connector and end.state != "cut":
            # bare wires go to blocks and studs
            ratio *= 0.3
        return ratio

    def _written(self) -> Floats:
        """What labels at ends and places say of each other, by themselves and through the documents."""
        pile, rates = self.pile, self.rates
        ratio = (1.0 - rates.junk) * self._signs.same(
            self._labels, ["" if place.label == place.name else place.label for place in pile.places]
        ) + rates.junk
        if not self._lines:
            return ratio
        read = (1.0 - rates.junk) * self._signs.read_as(self._labels, [line.label for line in self._lines])
        read += rates.junk
        for column, place in enumerate(pile.places):
            names = {place.name, place.label} - {""}
            own = [number for number, line in enumerate(self._lines) if names & {line.from_place, line.to_place}]
            if own:
                told = (1.0 - rates.list_wrong) * read[:, own].mean(axis=1) + rates.list_wrong
                ratio[:, column] *= told
        return ratio

    def _take_place_tries(self, weights: Floats) -> None:
        ends = {end.name: number for number, end in enumerate(self.pile.ends)}
        places = {place.name: number for number, place in enumerate(self.pile.places)}
        for tried in self.pile.tried:
            if tried.touched not in ends:
                continue
            row, wrong = ends[tried.touched], self.rates.untrue
            for name in tried.among:
                if name not in places:
                    continue
                if tried.answer == name:
                    weights[row, places[name]] = max(weights[row, places[name]], 1e-6) * (1.0 - wrong) / wrong
                elif not tried.answer:
                    weights[row, places[name]] *= wrong / (1.0 - wrong)
