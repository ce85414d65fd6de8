"""Has a series of readings changed, and from which run on? Steady, step, drift, or comes and goes.

The readings carry their own uncertainties. What they vary from run to run beyond these (contacts, hands, weather) is
not known beforehand: every model is averaged over a grid of such extra spreads, small ones being likelier. Four models
are held against each other:

* **steady**: one level;
* **step**: another level from some run on; the evidence is averaged over all runs where it might be;
* **drift**: a level, and from some run on a straight line in time; the evidence is averaged over the onset;
* **intermittent**: one level, and excursions of more than four standard deviations that return, each charged for its
  place, its end and its level.

A step or a drift may have such excursions besides. The score of a model is its log likelihood less half a nat times
ln n for each parameter (the Bayesian information criterion of Schwarz, 1978, on the scale of nats). The criterion alone
takes 6 % to 24 % of steady points for changed ones (own computation), so a change must lead by a margin:
:data:`MARGIN` and ln of the number of points that are watched at the same time.

Three or four readings whose true spread is far above their own uncertainties cannot be told from a change; with eight
and more they can. Everything here is plain arithmetic on lists of floats: no file, no plant, no clock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError

Kind = Literal["steady", "step", "drift", "intermittent"]

MARGIN: Final = 3.0
"""Nats by which a change must lead over steady, for one point; for the false alarms that this leaves see
tests/benchmarks/bench_evidence.py."""
EXCURSION: Final = 4.0
"""Standard deviations beyond which a run that returns is an excursion."""
BRACKET: Final = 0.95
"""Probability that the bracket of the first bad run holds at least."""
UNEQUAL: Final = 1000.0
"""How far an uncertainty may be from the median one, as a factor; beyond, sums of weights would lose their digits."""
LONGEST: Final = 300
"""Runs that are looked at; of a longer history the latest."""
FEWEST_FOR_DRIFT: Final = 4
"""Runs without which nothing is called a drift."""
AFTER_ONSET: Final = 3
"""Runs at least after the onset of a drift."""
DRIFT_IS_RARER: Final = 1.5
"""Nats that a drift pays over a step: most faults appear at once, and a short line fits a step near the end too well
(own computation)."""
EXTRA: Final = (
    (0.0, 0.34), (0.5, 0.20), (1.0, 0.18), (2.0, 0.13), (4.0, 0.07), (8.0, 0.05), (16.0, 0.02), (32.0, 0.01),
)  # fmt: skip
"""Spread from run to run in median uncertainties, and how likely it is before any reading is seen: an assumption."""


class Change(msgspec.Struct, frozen=True):
    """What became of a series.

    Attributes:
        kind: the model that holds.
        scores: of each model, in nats.
        lead: of the best change over steady, in nats; what the margin is held against.
        first_bad: index of the first run that is different; None while steady.
        probability: that it is just this run.
        bracket: first and last index of the runs that together hold 95 % of the probability; None while steady.
        before: the level before; while steady the level.
        after: the level after a step; of a drift where the line stands at the last run; else None.
        slope: of a drift, per unit of time; 0 else.
        excursions: indexes of the runs that left the level and returned.
        sigma: standard deviation of a run that was reckoned with: the median over the runs.
    """

    kind: Kind
    scores: dict[str, float]
    lead: float
    first_bad: int | None
    probability: float
    bracket: tuple[int, int] | None
    before: float
    after: float | None
    slope: float
    excursions: tuple[int, ...]
    sigma: float


def run_to_run(values: Sequence[float], uncertainties: Sequence[float]) -> float:
    """What readings vary from run to run beyond their own uncertainties, as a standard deviation.

    From the median of the absolute successive differences; for normal readings it is 0.6745 sqrt(2) of a standard
    deviation. Of an even number the lower of the middle two counts, so that one step among three runs does not hide.

    Raises:
        DiagnoseError: the lists differ in length.
    """
    _same_length(values, uncertainties)
    if len(values) < 3:
        return 0.0
    steps = sorted(abs(b - a) for a, b in pairwise(values))
    spread = steps[(len(steps) - 1) // 2] / (0.6744897501960817 * math.sqrt(2.0))
    own = median(u * u for u in uncertainties)
    return math.sqrt(max(0.0, spread * spread - own))


def appraise(
    values: Sequence[float],
    uncertainties: Sequence[float],
    *,
    times: Sequence[float] | None = None,
    limits: tuple[float | None, float | None] = (None, None),
    watched: int = 1,
) -> Change:
    """Say what became of a series of readings.

    Args:
        values: the readings in the order of time, in one unit.
        uncertainties: their standard uncertainties, in the same unit, above zero.
        times: when they were taken, never falling, in any unit; by default one unit from run to run.
        limits: lower and upper limit: a drift is bad from the run on where its line has crossed one.
        watched: how many points are watched at the same time: the more, the more must a change stand out.

    Returns:
        The change; ``steady`` for less than two runs.

    Raises:
        DiagnoseError: lists of different length, an uncertainty that is not above zero, a value that is no number,
            times that fall.
    """
    _check(values, uncertainties, times, watched)
    skip = max(0, len(values) - LONGEST)
    values, uncertainties = values[skip:], uncertainties[skip:]
    times = [float(i) for i in range(len(values))] if times is None else times[skip:]
    if len(values) < 2:
        level = values[0] if values else 0.0
        u = uncertainties[0] if values else 0.0
        return Change("steady", {"steady": 0.0}, 0.0, None, 0.0, None, level, None, 0.0, (), u)
    found = _Appraisal(values, uncertainties, times, limits).best(MARGIN + math.log(watched))
    return found if not skip else _moved(found, skip)


class _Fit:
    """Steady, step and drift over the runs that are given, with the extra spread left open.

    All values are moved and scaled, so that sums of squares lose no digits. The runs that are left out are excursions,
    each fitted by its own level: they bring nothing but their share of the normalisation.
    """

    def __init__(self, runs: Sequence[int], y: Sequence[float], u: Sequence[float], t: Sequence[float]) -> None:
        self.runs = list(runs)
        self.n = len(runs)
        self.y, self.t = [y[i] for i in runs], [t[i] for i in runs]
        self.log_n = math.log(max(self.n, 2))
        steady: list[float] = []
        self.places: list[float] = []
        self.hinges: list[_Hinge] = []
        by_place: list[list[float]] = [[] for _ in range(self.n - 1)]
        for extra, prior in EXTRA:
            every = [one * one + extra * extra for one in u]
            w = [1.0 / every[i] for i in runs]
            sums = _prefix(w, self.y, self.t)
            # -1/2 ln of every variance, whatever the model
            common = math.log(prior) - 0.5 * math.fsum(map(math.log, every))
            steady.append(common - 0.5 * _misfit(sums, 0, self.n))
            for k, place in enumerate(by_place, 1):
                place.append(common - 0.5 * (_misfit(sums, 0, k) + _misfit(sums, k, self.n)))
            self.hinges += self._hinges(sums, common, extra)
        self.steady = _log_sum(steady) - 0.5 * self.log_n
        self.extra = EXTRA[max(range(len(EXTRA)), key=steady.__getitem__)][0]
        self.step = self.drift = -math.inf
        if by_place:
            self.places = [_log_sum(place) for place in by_place]
            self.step = _log_sum(self.places) - math.log(len(self.places)) - self.log_n
            likeliest = max(by_place, key=_log_sum)
            self.step_extra = EXTRA[max(range(len(EXTRA)), key=likeliest.__getitem__)][0]
        if self.hinges:
            onsets = len({hinge.onset for hinge in self.hinges})
            evidence = _log_sum([hinge.log_likelihood for hinge in self.hinges])
            self.drift = evidence - math.log(onsets) - self.log_n - DRIFT_IS_RARER
        self.flat = _prefix([1.0 / (u[i] ** 2 + self.extra**2) for i in runs], self.y, self.t)

    def level(self, i: int, j: int) -> float:
        """Weighted mean of runs i to j - 1."""
        return (self.flat[j][1] - self.flat[i][1]) / (self.flat[j][0] - self.flat[i][0])

    def _hinges(self, sums: Sequence[_Sums], common: float, extra: float) -> list[_Hinge]:
        """A line that sets in at each run, for one extra spread."""
        if self.n < FEWEST_FOR_DRIFT:
            return []
        found = []
        whole = sums[-1]
        for k in range(self.n - AFTER_ONSET):
            # sums over the runs after the onset, of x = t - t(onset)
            w, wy, _, wt, wtt, wty = (a - b for a, b in zip(whole, sums[k + 1], strict=True))
            start = self.t[k]
            wx, wxx, wxy = wt - start * w, wtt - 2.0 * start * wt + start * start * w, wty - start * wy
            det = whole[0] * wxx - wx * wx
            if det <= 1e-12 * whole[0] * wxx or wxx <= 0.0:
                continue
            level, slope = (wxx * whole[1] - wx * wxy) / det, (whole[0] * wxy - wx * whole[1]) / det
            misfit = max(0.0, whole[2] - level * whole[1] - slope * wxy)
            doubt = (wxx / det, -wx / det, whole[0] / det)
            found.append(_Hinge(common - 0.5 * misfit, k, level, slope, doubt, extra))
        return found


class _Hinge(msgspec.Struct, frozen=True):
    """A line that sets in at a run: level, slope, and their covariance (level, both, slope)."""

    log_likelihood: float
    onset: int
    level: float
    slope: float
    doubt: tuple[float, float, float]
    extra: float


class _Appraisal:
    def __init__(
        self,
        values: Sequence[float],
        uncertainties: Sequence[float],
        times: Sequence[float],
        limits: tuple[float | None, float | None],
    ) -> None:
        self.centre, self.scale = median(values), median(uncertainties)
        self.y = [(value - self.centre) / self.scale for value in values]
        self.u = [min(max(one / self.scale, 1.0 / UNEQUAL), UNEQUAL) for one in uncertainties]
        self.t0, self.span = times[0], (times[-1] - times[0]) or 1.0
        self.t = [(t - self.t0) / self.span for t in times]
        self.limits = [None if one is None else (one - self.centre) / self.scale for one in limits]
        self.n = len(values)

    def best(self, margin: float) -> Change:
        """The model with the highest score, or steady where none leads by the margin."""
        whole = _Fit(range(self.n), self.y, self.u, self.t)
        scores: dict[str, float] = {"steady": whole.steady, "step": whole.step, "drift": whole.drift}
        fits: dict[str, tuple[_Fit, tuple[int, ...]]] = dict.fromkeys(scores, (whole, ()))
        # excursions among few runs look like spread from run to run: they are sought with and without it
        for extra in {0.0, run_to_run(self.y, self.u)}:
            bursts = self._bursts(extra)
            if not bursts:
                continue
            out = tuple(run for i, j, _ in bursts for run in range(i, j))
            rest = _Fit([i for i in range(self.n) if i not in set(out)], self.y, self.u, self.t)
            cost = sum(charge for _, _, charge in bursts)
            if rest.steady - cost > scores.get("intermittent", -math.inf):
                scores["intermittent"], fits["intermittent"] = rest.steady - cost, (rest, out)
            for kind, score in (("step", rest.step), ("drift", rest.drift)):
                if score - rest.steady > margin and score - cost > scores[kind]:
                    scores[kind], fits[kind] = score - cost, (rest, out)
        kind = max((name for name in scores if name != "steady"), key=lambda name: scores[name])
        lead = scores[kind] - scores["steady"]
        if lead <= margin:
            level = self._back(whole.level(0, self.n))
            return Change("steady", scores, lead, None, 0.0, None, level, None, 0.0, (), self._sigma(whole.extra))
        fit, out = fits[kind]
        make = {"step": self._step, "drift": self._drift, "intermittent": self._intermittent}[kind]
        return make(fit, out, scores, lead)

    def _sigma(self, extra: float) -> float:
        return self.scale * math.hypot(1.0, extra)

    def _bursts(self, extra: float) -> list[tuple[int, int, float]]:
        """Excursions that return, given a spread from run to run: first run, run after the last, and cost in nats.

        From the cheapest division into levels (dynamic programming), with a place and a level charged for each.
        """
        n, log_n = self.n, math.log(max(self.n, 2))
        v = [one * one + extra * extra for one in self.u]
        sums = _prefix([1.0 / one for one in v], self.y, self.t)
        pieces = _levels(sums, n, 1.5 * log_n)
        level = {piece: _mean(sums, *piece) for piece in pieces}
        doubt = {(i, j): 1.0 / (sums[j][0] - sums[i][0]) for i, j in pieces}
        found: list[tuple[int, int, float]] = []
        at = 1
        while at < len(pieces) - 1:
            before = pieces[at - 1]
            for back in range(at + 1, len(pieces)):
                away, after = pieces[at:back], pieces[back]
                returns = abs(level[after] - level[before]) < 3.0 * math.sqrt(doubt[after] + doubt[before])
                far = all(
                    abs(level[piece] - level[before]) > EXCURSION * math.sqrt(median(v[piece[0] : piece[1]]))
                    for piece in away
                )
                i, j = pieces[at][0], after[0]
                if returns and far and 2 * (j - i) < n:
                    # a place and a level for each piece, an end where it is longer than a run
                    charge = 1.5 * log_n * len(away) + (log_n if j - i > 1 else 0.0)
                    found.append((i, j, charge + 0.5 * sum(_misfit(sums, *piece) for piece in away)))
                    at = back
                    break
            at += 1
        return found

    def _step(self, fit: _Fit, out: tuple[int, ...], scores: dict[str, float], lead: float) -> Change:
        chances = _normal([*fit.places])
        k = max(range(len(chances)), key=chances.__getitem__)
        low, high = _shortest(chances, k)
        runs = fit.runs
        return Change(
            "step",
            scores,
            lead,
            runs[k + 1],
            chances[k],
            (runs[low + 1], runs[high + 1]),
            self._back(fit.level(0, k + 1)),
            self._back(fit.level(k + 1, fit.n)),
            0.0,
            out,
            self._sigma(fit.step_extra),
        )

    def _drift(self, fit: _Fit, out: tuple[int, ...], scores: dict[str, float], lead: float) -> Change:
        hinge = max(fit.hinges, key=lambda one: one.log_likelihood)
        k, a, b, (va, vab, vb) = hinge.onset, hinge.level, hinge.slope, hinge.doubt
        end = a + b * (fit.t[-1] - fit.t[k])
        reach = fit.t[-1] - fit.t[k]
        last = math.sqrt(max(0.0, va + 2.0 * reach * vab + reach * reach * vb))
        threshold = self._threshold(a, b, end, 2.0 * last)
        # the line crosses the threshold between two runs: the chance that it has done so by each run
        crossed = []
        for t in fit.t:
            x = max(0.0, t - fit.t[k])
            line, doubt = a + b * x, math.sqrt(max(1e-12, va + 2 * x * vab + x * x * vb))
            crossed.append(_phi((line - threshold) / doubt if b > 0 else (threshold - line) / doubt))
        chances = [max(0.0, later - before) for before, later in zip([0.0, *crossed], crossed, strict=False)]
        total = sum(chances)
        chances = [chance / total for chance in chances] if total > 0 else [1.0 / fit.n] * fit.n
        first = next((i for i, chance in enumerate(crossed) if chance >= 0.5), fit.n - 1)
        low, high = _shortest(chances, first)
        return Change(
            "drift",
            scores,
            lead,
            fit.runs[first],
            chances[first],
            (fit.runs[low], fit.runs[high]),
            self._back(a),
            self._back(end),
            b * self.scale / self.span,
            out,
            self._sigma(hinge.extra),
        )

    def _threshold(self, level: float, slope: float, end: float, slack: float) -> float:
        """Where a drift becomes bad: at the limit that it may have crossed, else two sigma away from its level."""
        low, high = self.limits
        if slope > 0 and high is not None and level < high < end + slack:
            return high
        if slope < 0 and low is not None and end - slack < low < level:
            return low
        return level + math.copysign(2.0, slope)

    def _intermittent(self, fit: _Fit, out: tuple[int, ...], scores: dict[str, float], lead: float) -> Change:
        first = out[0]
        level = self._back(fit.level(0, fit.n))
        return Change(
            "intermittent", scores, lead, first, 1.0, (first, first), level, None, 0.0, out, self._sigma(fit.extra)
        )

    def _back(self, y: float) -> float:
        return y * self.scale + self.centre


# Small helpers


_Sums = tuple[float, float, float, float, float, float]


def _prefix(w: Sequence[float], y: Sequence[float], t: Sequence[float]) -> list[_Sums]:
    """Running sums of w, wy, wyy, wt, wtt and wty."""
    a = b = c = d = e = f = 0.0
    sums = [(a, b, c, d, e, f)]
    for weight, value, time in zip(w, y, t, strict=True):
        wy, wt = weight * value, weight * time
        a, b, c, d, e, f = a + weight, b + wy, c + wy * value, d + wt, e + wt * time, f + wy * time
        sums.append((a, b, c, d, e, f))
    return sums


def _misfit(sums: Sequence[_Sums], i: int, j: int) -> float:
    """Weighted sum of squares about the level of runs i to j - 1."""
    low, high = sums[i], sums[j]
    w, wy = high[0] - low[0], high[1] - low[1]
    return max(0.0, high[2] - low[2] - wy * wy / w) if w > 0 else 0.0


def _mean(sums: Sequence[_Sums], i: int, j: int) -> float:
    return (sums[j][1] - sums[i][1]) / (sums[j][0] - sums[i][0])


def _levels(sums: Sequence[_Sums], n: int, charge: float) -> list[tuple[int, int]]:
    """The cheapest division of n runs into pieces of one level each, a charge for every piece."""
    best, came = [0.0] + [math.inf] * n, [0] * (n + 1)
    for j in range(1, n + 1):
        for i in range(j):
            cost = best[i] + 0.5 * _misfit(sums, i, j) + charge
            if cost < best[j]:
                best[j], came[j] = cost, i
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(came[cuts[-1]])
    cuts.reverse()
    return list(pairwise(cuts))


def _log_sum(logs: Sequence[float]) -> float:
    top = max(logs)
    return top + math.log(math.fsum(math.exp(one - top) for one in logs))


def _normal(logs: Sequence[float]) -> list[float]:
    top = max(logs)
    raw = [math.exp(one - top) for one in logs]
    total = math.fsum(raw)
    return [one / total for one in raw]


def _shortest(chances: Sequence[float], around: int) -> tuple[int, int]:
    """The run of neighbours around one that holds :data:`BRACKET`: the likelier side grows first."""
    low = high = around
    total = chances[around]
    while total < BRACKET - 1e-12 and (low > 0 or high < len(chances) - 1):
        left = chances[low - 1] if low > 0 else -1.0
        right = chances[high + 1] if high < len(chances) - 1 else -1.0
        if left >= right:
            low, total = low - 1, total + left
        else:
            high, total = high + 1, total + right
    return low, high


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _moved(found: Change, by: int) -> Change:
    return replace(
        found,
        first_bad=None if found.first_bad is None else found.first_bad + by,
        bracket=None if found.bracket is None else (found.bracket[0] + by, found.bracket[1] + by),
        excursions=tuple(i + by for i in found.excursions),
    )


def _same_length(values: Sequence[float], other: Sequence[float]) -> None:
    if len(values) != len(other):
        raise DiagnoseError(f"found {len(values)} values beside {len(other)}, expected as many of each")


def _check(
    values: Sequence[float], uncertainties: Sequence[float], times: Sequence[float] | None, watched: int
) -> None:
    _same_length(values, uncertainties)
    if not all(math.isfinite(value) for value in values):
        raise DiagnoseError("found a reading that is no number, expected finite readings")
    if not all(u > 0 and math.isfinite(u) for u in uncertainties):
        raise DiagnoseError("found an uncertainty that is not above zero, expected finite ones above zero")
    if times is not None:
        _same_length(values, times)
        if any(later < before for before, later in pairwise(times)):
            raise DiagnoseError("found times that fall, expected readings in the order of time")
    if watched < 1:
        raise DiagnoseError(f"found {watched} points watched, expected at least one")
