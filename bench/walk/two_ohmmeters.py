"""Which of a bench's two ohmmeters reads what: one for milliohms and one for megohms prove an earth in one walk.

A walk is bound to the bench before it begins, and the sequence in its record says of each reading that goes to the
second one that it does: whoever folds the record again asks nobody.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, Final, Literal

import msgspec
from msgspec.structs import replace

from bench.judge.capability import Capability
from bench.roles import HIGH_OHMS, OHMMETERS, function_name
from bench.sequence.file import NOWHERE, Each, Measure, Prove, Seek, SequenceFile, Single, Zero
from bench.sequence.file import Step as Entry
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import InstrumentFacts
from bench.walk.setting import Setting

OPEN_OHM: Final = 1e3
"""An earth reading above this counts as open: no earth bond and no second path that matters has this many ohms (own
choice)."""
PROVES_OHM: Final = 10.0
"""A resistor below this does not prove an ohmmeter with two wires: its leads may have as much (own choice)."""
SECOND: Final = "the second ohmmeter"
Wires = Literal[2, 4]
_GRADES: Final = {"cannot": 0, "marginal": 1, "can prove": 2}


def bound(began: e.Began) -> SequenceFile:
    """A walk's sequence with each reading of ohms given to one of the bench's two ohmmeters.

    A reading goes to the one in ``ohms``, unless that one does not read with so many wires, or can prove its limit less
    well than the one in ``high-ohms``; where the sequence names one, to that. What the bench is proven by, and the
    leads' zero, is done with the second one too where it reads anything. A search for a second path asks both where the
    first one cannot show what counts as open.

    Args:
        began: how the walk would begin.

    Returns:
        The sequence; as it is where the bench has not both.
    """
    first, second = began.bench.for_role("ohms"), began.bench.for_role(HIGH_OHMS)
    if first is None or second is None:
        return began.sequence
    setting = Setting.of(began)
    # a step of the file by its identity: two may be equal
    steps: dict[int, list[Step]] = {}
    for step, entry in zip(setting.plan.steps, setting.plan.entries, strict=True):
        steps.setdefault(id(entry), []).append(step)
    made = _Bound(setting, first, second, steps, {})
    # its own entries: it may have been unrolled from an equal sequence before
    read = made.entries(setting.plan.sequence.steps)
    reads = [one for one in _singles(read) if isinstance(one, Measure | Seek)]
    if any(HIGH_OHMS in one.roles for one in reads):
        there = {type(one) for one in _singles(began.sequence.steps) if one.role == HIGH_OHMS}
        read = made.with_checks(read, there)
    return began.sequence if read == began.sequence.steps else replace(began.sequence, steps=read)


class _Bound(msgspec.Struct, frozen=True):
    """What a walk would be without, the two ohmmeters, and the steps that come of each step of the file."""

    setting: Setting
    first: InstrumentFacts
    second: InstrumentFacts
    steps: dict[int, list[Step]]
    known: dict[Any, Capability | str]

    def entries(self, entries: Sequence[Entry]) -> list[Entry]:
        """Entries with the meter of each reading."""
        return [
            replace(entry, steps=self.entries(entry.steps)) if isinstance(entry, Each) else self._read(entry)
            for entry in entries
        ]

    def with_checks(self, entries: Sequence[Entry], there: Collection[type]) -> list[Entry]:
        """Entries with each check of the first ohmmeter done with the second one too.

        Args:
            entries: with their meters.
            there: kinds of check that the sequence has for the second one already.
        """
        found: list[Entry] = []
        for entry in entries:
            if isinstance(entry, Each):
                found.append(replace(entry, steps=self.with_checks(entry.steps, there)))
                continue
            found.append(entry)
            if not isinstance(entry, Zero | Prove) or entry.role != "ohms" or type(entry) in there:
                continue
            if isinstance(entry, Prove):
                found += self._proof(entry)
            elif _reads(self.second, 2) and not self.second.nulls_itself:
                found.append(replace(entry, title=f"{entry.title or 'Zero the leads'}: {SECOND}", meter=HIGH_OHMS))
        return found

    def _proof(self, entry: Prove) -> list[Entry]:
        """What proves the second one as an entry proves the first: by leads held together, where the resistor at hand
        is no more than leads are."""
        if entry.between != NOWHERE:
            return []
        wires, known = wires_of(self.second, entry.wires), self.setting.bench.reference_for("resistance")
        title = f"{entry.title or 'Prove the bench'}: {SECOND}"
        if entry.against == "reference" and wires == 2 and (known is None or known.ohms.value < PROVES_OHM):
            return [Zero(title=f"The leads of {SECOND} conduct", meter=HIGH_OHMS)]
        text = f"The same with the leads of {SECOND}." if entry.text else ""
        return [replace(entry, title=title, text=text, wires=wires, meter=HIGH_OHMS)]

    def _read(self, entry: Single) -> Single:
        match entry:
            case Measure(read="resistance", meter=None):
                wires = self._better(entry)
                return entry if wires is None else replace(entry, meter=HIGH_OHMS, wires=wires)
            case Prove(read="resistance", meter=None):
                return replace(entry, meter=HIGH_OHMS) if self._alone(entry.wires) else entry
            case Zero(meter=None):
                return replace(entry, meter=HIGH_OHMS) if self._alone(2) else entry
            case Seek(find="second-path", both_ohmmeters=False):
                shows = _top(self.first, entry.wires)
                more = _top(self.second, wires_of(self.second, entry.wires))
                asks = shows is not None and more is not None and shows < min(more, OPEN_OHM)
                return replace(entry, both_ohmmeters=True) if asks else entry
            case _:
                return entry

    def _alone(self, wires: Wires) -> bool:
        """Whether only the second one reads with so many wires."""
        return not _reads(self.first, wires) and _reads(self.second, wires)

    def _better(self, entry: Measure) -> Wires | None:
        """With how many wires the second one reads what it reads better than the first; None where it does not."""
        if not _reads(self.first, entry.wires):
            return entry.wires if _reads(self.second, entry.wires) else None
        wires = wires_of(self.second, entry.wires)
        mine = self.steps.get(id(entry), [])
        by_first, by_second = (
            min((_grade(self.setting.capability_by(step, meter, count, self.known)) for step in mine), default=0)
            for meter, count in zip(OHMMETERS, (entry.wires, wires), strict=True)
        )
        return wires if by_second > by_first else None


def _singles(entries: Sequence[Entry]) -> Iterator[Single]:
    for entry in entries:
        if isinstance(entry, Each):
            yield from _singles(entry.steps)
        else:
            yield entry


def _reads(meter: InstrumentFacts, wires: Wires) -> bool:
    return function_name("resistance", wires) in meter.accuracy_of


def wires_of(meter: InstrumentFacts, wanted: Wires) -> Wires:
    """With how many wires a meter reads: as many as are wanted, where it does."""
    if _reads(meter, wanted):
        return wanted
    return 2 if wanted == 4 else 4


def _top(meter: InstrumentFacts, wires: Wires) -> float | None:
    """The most that a meter shows, in ohms; None where that is not known."""
    function = meter.accuracy_of.get(function_name("resistance", wires))
    return max((row.top for row in meter.rows if row.function == function), default=None)


def _grade(answer: Capability | str | None) -> int:
    return -1 if answer is None or isinstance(answer, str) else _GRADES[answer.answer]
