"""What comes out of naming the conductors of a cable, and the counting of touches."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import lgamma, log

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.script import Card, End, Probe, Script, SetUp


class Shorted(msgspec.Struct, frozen=True):
    """Ends that are joined, and the conductors that they lead to, in an order that nobody can tell.

    `conductors` is empty when it is not known which they are; it is longer than `flags` when some of
    the joined conductors do not reach the far end. The far part of a broken conductor may be among
    the ends.
    """

    flags: tuple[str, ...]
    conductors: tuple[str, ...]


class Ambiguous(msgspec.Struct, frozen=True):
    """Ends that may be any of these conductors, in more than one way."""

    flags: tuple[str, ...]
    conductors: tuple[str, ...]
    why: str


class Strange(msgspec.Struct, frozen=True):
    """An end whose reading fits nothing in the plan; None when it was not measured."""

    flag: str
    ohms: float | None
    why: str


class Identification(msgspec.Struct, frozen=True):
    """Which far end is which conductor, as far as it is proven.

    Attributes:
        names: far end to conductor, each proven by readings.
        by_elimination: the one end and the one conductor that were left, where nothing proves that it conducts.
        by_colour: ends that were named by a colour that only one conductor has, untouched.
        shorted: joined ends, with what they may be.
        ambiguous: ends that could not be told apart.
        strange: ends that read like nothing that was expected.
        open_flags: far ends that lead nowhere.
        open_conductors: conductors that arrive nowhere.
        contradictions: where colours or counts disagree with the readings, as sentences.
        touches: readings taken.
        trips: how often somebody had to go to the other end.
    """

    names: Mapping[str, str]
    by_elimination: Mapping[str, str] = msgspec.field(default_factory=dict)
    by_colour: Mapping[str, str] = msgspec.field(default_factory=dict)
    shorted: tuple[Shorted, ...] = ()
    ambiguous: tuple[Ambiguous, ...] = ()
    strange: tuple[Strange, ...] = ()
    open_flags: tuple[str, ...] = ()
    open_conductors: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()
    touches: int = 0
    trips: int = 1

    @property
    def complete(self) -> bool:
        """Whether every end has a name and nothing contradicts it."""
        return not (
            self.shorted
            or self.ambiguous
            or self.strange
            or self.open_flags
            or self.open_conductors
            or self.contradictions
            or self.by_elimination
        )


class Effort(msgspec.Struct, frozen=True):
    """Readings that a plan needs, beside what else they could be.

    Attributes:
        touches: expected when all is well.
        walking: one person clips a conductor, another tries the ends that are left one by one, n (n - 1) / 2 at worst.
        double_check: every conductor against every end.
        bound: log2(n!), which no way with yes-or-no readings can beat on average.
    """

    touches: float
    walking: int
    double_check: int
    bound: float

    @classmethod
    def of(cls, conductors: int, touches: float) -> Effort:
        """The effort for a number of conductors."""
        return cls(
            touches,
            conductors * (conductors - 1) // 2,
            conductors * conductors,
            lgamma(conductors + 1) / log(2),
        )


class Colours(msgspec.Struct, frozen=True):
    """Insulation colours where they are known: of conductors at the near end, of flags at the far.

    An end without an entry may have any colour.
    """

    near: Mapping[str, str] = msgspec.field(default_factory=dict)
    far: Mapping[str, str] = msgspec.field(default_factory=dict)

    def agree(self, conductor: str, flag: str) -> bool:
        """Whether a conductor and an end may be one, going by colour."""
        a, b = self.near.get(conductor), self.far.get(flag)
        return a is None or b is None or a == b

    def single(self, conductors: Sequence[str], flags: Sequence[str]) -> dict[str, str]:
        """Ends with a colour that no other end and one conductor alone can have: end to conductor.

        Where some colours are not known nothing is single, since any of those may have it too.
        """
        if any(c not in self.near for c in conductors) or any(f not in self.far for f in flags):
            return {}
        near = _by_colour(conductors, self.near)
        far = _by_colour(flags, self.far)
        return {
            far[colour][0]: near[colour][0]
            for colour in near
            if len(near[colour]) == 1 and len(far.get(colour, ())) == 1
        }

    def quarrels(self, conductors: Sequence[str], flags: Sequence[str]) -> tuple[str, ...]:
        """Colours that the two ends do not have equally often, where all colours are known."""
        if any(c not in self.near for c in conductors) or any(f not in self.far for f in flags):
            return ()
        near = _by_colour(conductors, self.near)
        far = _by_colour(flags, self.far)
        return tuple(
            f"{len(near.get(colour, ()))} {colour} at the near end, {len(far.get(colour, ()))} at the far end"
            for colour in sorted({*near, *far})
            if len(near.get(colour, ())) != len(far.get(colour, ()))
        )

    def contradictions(self, names: Mapping[str, str]) -> tuple[str, ...]:
        """Names whose colours differ at the two ends, as sentences."""
        return tuple(
            f"{flag} reads as {conductor}, but it is {self.far[flag]} there and {self.near[conductor]} here"
            for flag, conductor in names.items()
            if not self.agree(conductor, flag)
        )


def _by_colour(ends: Iterable[str], colours: Mapping[str, str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for end in ends:
        found.setdefault(colours[end], []).append(end)
    return found


class Prober:
    """Asks for readings inside a script, and counts them.

    Attributes:
        touches: readings so far.
        trips: how often somebody had to go to the other end.
        agree: whether two readings of the same ends, in ohms, may both be right. While it is set every reading is taken
            twice, and a third time where the two differ: one slip of a probe then decides nothing.
    """

    def __init__(self) -> None:
        self.touches = 0
        self.trips = 0
        self.agree: Callable[[float, float], bool] | None = None

    def set_up(self, card: Card) -> Script[None]:
        """Have a card carried out."""
        yield SetUp(card)

    def ohms(
        self, end: End, red: Sequence[str], black: Sequence[str], before: float | None = None
    ) -> Script[float | None]:
        """A resistance in ohms, infinity for open, None when it could not be measured or settled.

        Args:
            end: of the cable.
            red: ends on the red side.
            black: ends on the black side.
            before: what was read there already; it counts as the first of the two readings.
        """
        first = before
        if first is None or self.agree is None:
            first = yield from self._ohms_once(end, red, black)
        if first is None or self.agree is None:
            return first
        second = yield from self._ohms_once(end, red, black)
        if second is None or self.agree(first, second):
            return second
        third = yield from self._ohms_once(end, red, black)
        sure = third is not None and (self.agree(first, third) or self.agree(second, third))
        return third if sure else None

    def joined(self, end: End, red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        """Whether two sides are joined."""
        first = yield from self._joined_once(end, red, black)
        if self.agree is None or (yield from self._joined_once(end, red, black)) == first:
            return first
        return (yield from self._joined_once(end, red, black))

    def _ohms_once(self, end: End, red: Sequence[str], black: Sequence[str]) -> Script[float | None]:
        self.touches += 1
        value = yield Probe(end, tuple(red), tuple(black), "ohms")
        return None if value is None else float(value)

    def _joined_once(self, end: End, red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        self.touches += 1
        return bool((yield Probe(end, tuple(red), tuple(black), "joined")))


def check_ends(conductors: Sequence[str], flags: Sequence[str], least: int) -> None:
    """Check that the two ends have as many distinct names.

    Args:
        conductors: names at the near end.
        flags: names at the far end.
        least: how many there must be at least.

    Raises:
        DiagnoseError: they do not match, or are too few.
    """
    for what, names in (("conductors", conductors), ("flags", flags)):
        if len(set(names)) != len(names):
            twice = sorted({n for n in names if list(names).count(n) > 1})
            raise DiagnoseError(f"{what} named more than once: {', '.join(twice)}")
    if len(conductors) != len(flags):
        raise DiagnoseError(
            f"{len(conductors)} conductors at the near end and {len(flags)} flags at the far end; "
            "expected as many of both"
        )
    if len(conductors) < least:
        raise DiagnoseError(f"{len(conductors)} conductors; expected {least} or more")
