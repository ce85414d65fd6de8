"""A profile's accuracy figures as the rows that judging takes."""

from __future__ import annotations

from bench.instruments.profile.functions import Accuracy, Function, Range
from bench.instruments.profile.profile import Profile
from bench.judge.accuracy import AccuracyRow
from bench.quantity import Amount, Ratio


def accuracy_rows(profile: Profile) -> tuple[AccuracyRow, ...]:
    """One row for each line of each range, in file order. ``function`` is the function's name in the profile.

    Raises:
        JudgeError: a figure that makes no sense.
    """
    figures = tuple(
        _row(profile, function, part, line)
        for function in profile.functions
        for part in function.ranges
        for line in part.accuracy
    )
    words = tuple(
        _word(profile, function, bound)
        for function in profile.functions
        for one in function.says
        if (bound := one.at_most or one.at_least) is not None
    )
    return (*figures, *words)


def _word(profile: Profile, function: Function, bound: Amount) -> AccuracyRow:
    """What a lamp or a tone tells: nothing finer than its threshold."""
    return AccuracyRow(
        function=function.name,
        unit=function.base_unit,
        range_top=bound.value,
        percent_of_range=100.0,
        good_for_days=3650.0,
        cold_c=-20.0,
        hot_c=60.0,
        source=profile.accuracy_source or "the threshold that its profile gives",
    )


def _row(profile: Profile, function: Function, part: Range, line: Accuracy) -> AccuracyRow:
    return AccuracyRow(
        function=function.name,
        unit=function.base_unit,
        range_top=part.range.value,
        percent_of_reading=_percent(line.of_reading),
        percent_of_range=_percent(line.of_range),
        counts=line.counts,
        resolution=part.resolution.value if part.resolution is not None else 0.0,
        good_for_days=line.good_for.value / 86400.0,
        highest=part.highest.value if part.highest is not None else None,
        lowest=line.lowest.value if line.lowest is not None else 0.0,
        cold_c=line.cold.value,
        hot_c=line.hot.value,
        drift_percent_of_reading_per_k=_maybe_percent(line.of_reading_per_k),
        drift_percent_of_range_per_k=_maybe_percent(line.of_range_per_k),
        drift_part_per_k=line.part_per_k,
        test_current_a=part.test_current.value if part.test_current is not None else None,
        spread=line.spread,
        source=profile.accuracy_source,
    )


def _percent(ratio: Ratio) -> float:
    return ratio.value * 100.0


def _maybe_percent(ratio: Ratio | None) -> float | None:
    return None if ratio is None else _percent(ratio)
