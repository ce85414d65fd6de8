"""Collects what is wrong with a plant file, with the place of each field, and keeps the book of names."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, TypeVar

import msgspec
from msgspec.structs import replace

from bench.files import Place, Problem, near, one_of, shown
from bench.plant.partial import Dropped

T = TypeVar("T")
Where = Callable[..., Place]
"""Gives the place of a value of the file; further arguments step down to a field."""

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_+-]{0,31}")
_PIN: Final = re.compile(r"[A-Za-z0-9_+-]{1,16}")
_WORD: Final = re.compile(r"[A-Za-z0-9_+./-]+")
RESERVED: Final = ("cut", "unknown")


class At(msgspec.Struct, frozen=True):
    """A value of the file and the path of its field, such as ``cables[3]``."""

    value: Any
    field: str

    def each(self, name: str, values: Iterable[T]) -> Iterable[tuple[At, T]]:
        """The items of a list field, each with its own place.

        Args:
            name: the list field's name.
            values: its items.
        """
        prefix = f"{self.field}." if self.field else ""
        return ((At(value, f"{prefix}{name}[{number}]"), value) for number, value in enumerate(values))


class Report:
    """Problems, which keep a file from being used, and remarks, which do not."""

    def __init__(self, where: Where, dropped: Dropped, strict: bool = False) -> None:
        self.problems: list[Problem] = []
        self.remarks: list[Problem] = []
        self.names: dict[str, tuple[str, At]] = {}
        self.dropped = dropped
        self._where = where
        self._strict = strict
        self._unknown: dict[str, tuple[int, int]] = {}

    def is_sound(self) -> bool:
        """Whether nothing is wrong so far."""
        return not self.problems and not self.dropped

    def _follows(self, problem: Problem) -> bool:
        """Whether a problem only follows from an entry that was left out."""
        if problem.place in self.dropped.around:
            return True
        words = _WORD.findall(problem.found)
        return any(word in self.dropped.names or word.partition(".")[0] in self.dropped.names for word in words)

    def _problem(self, at: At, steps: tuple[str | int, ...], found: str, expected: str, hint: str) -> Problem:
        path = at.field
        for step in steps:
            path += f"[{step}]" if isinstance(step, int) else f".{step}" if path else step
        return Problem(self._where(at.value, *steps), self.dropped.original(path), found, expected, hint)

    def say(self, at: At, *steps: str | int, found: str, expected: str, hint: str = "") -> None:
        """Note a problem of a value or of a field below it.

        Args:
            at: the value that it is about.
            steps: from there down to the field.
            found: what stands there.
            expected: what should stand there.
            hint: a near miss, or what to do.
        """
        problem = self._problem(at, steps, found, expected, hint)
        if not (self.dropped and self._follows(problem)):
            self.problems.append(problem)

    def remark(self, at: At, *steps: str | int, found: str, expected: str, hint: str = "") -> None:
        """Note something odd.

        Args:
            at: the value that it is about.
            steps: from there down to the field.
            found: what stands there.
            expected: what should stand there.
            hint: a near miss, or what to do.
        """
        self.remarks.append(self._problem(at, steps, found, expected, hint))

    def refuse(self, at: At, *steps: str | int, found: str, expected: str, hint: str = "") -> None:
        """Note what cannot be meant: a problem of a file, and a remark of the plant of a record that was walked.

        Args:
            at: the value that it is about.
            steps: from there down to the field.
            found: what stands there.
            expected: what should stand there.
            hint: a near miss, or what to do.
        """
        if self._strict:
            self.say(at, *steps, found=found, expected=expected, hint=hint)
        else:
            self.remark(at, *steps, found=found, expected=expected, hint=hint)

    def stands(self, at: At, step: str) -> bool:
        """Whether a field was written, and not left to its default."""
        return self._where(at.value, step) != self._where(at.value)

    def left_out(self, name: str) -> None:
        """Nothing can be made of an entry whose problem is said: what names it would only follow."""
        self.dropped.names.add(name)

    def again(self, name: str) -> bool:
        """Whether a name that nothing has was said before: then only how often it stands there is."""
        before = self._unknown.get(name)
        if before is None:
            self._unknown[name] = (len(self.problems), 0)
            return False
        number, times = before[0], before[1] + 1
        self._unknown[name] = (number, times)
        if number < len(self.problems):
            first = self.problems[number]
            places = "1 more place" if times == 1 else f"{times} more places"
            hint = "; ".join(
                part for part in first.hint.split("; ") if part and not part.endswith((" place", " places"))
            )
            self.problems[number] = replace(first, hint="; ".join(part for part in (hint, f"so in {places}") if part))
        return True

    def name(self, at: At, name: str, kind: str) -> bool:
        """Enter a name into the book; False where it is malformed or taken.

        Args:
            at: the entry that has it.
            name: the name.
            kind: what kind of thing it names, for the error.
        """
        if not _NAME.fullmatch(name):
            expected = "letters, digits, '-', '_' or '+', at most 32, beginning with a letter or digit"
            self.say(at, "name", found=f"the name {shown(name)}", expected=expected)
            return False
        if name in RESERVED:
            self.say(
                at, "name", found=f"the name '{name}'", expected="another name: this word has a meaning of its own"
            )
            return False
        if name in self.names:
            first, before = self.names[name]
            place = self._where(before.value, "name")
            hint = f"it is the {first} of line {place.line}" if place.line else f"it is a {first}"
            self.say(
                at, "name", found=f"the name '{name}' again", expected="each name once in the whole plant", hint=hint
            )
            return False
        self.names[name] = (kind, at)
        return True

    def at(self, name: str) -> At:
        """Where a name was entered into the book."""
        return self.names[name][1]

    def once(self, at: At, name: str, taken: Mapping[str, Any], kind: str) -> bool:
        """Check a name that is unique among its own kind only, such as a type's.

        Args:
            at: the entry that has it.
            name: the name.
            taken: what has a name of the kind already.
            kind: what kind of thing it names, for the error.
        """
        if name in taken:
            self.say(at, "name", found=f"the {kind} '{name}' again", expected=f"each {kind} once")
            return False
        return True

    def known(self, at: At, *steps: str | int, name: str, among: Mapping[str, T], kind: str) -> T | None:
        """What a name stands for, or None with a problem noted.

        Args:
            at: the value that names it.
            steps: from there down to the field.
            name: the name.
            among: what there is, by name.
            kind: what kind of thing is meant, for the error.
        """
        found = among.get(name)
        if found is None and kind == "feed" and self.again(name):
            return None
        if found is None:
            expected = f"a {kind}: {one_of(among)}" if among else f"a {kind}, but the plant has none"
            self.say(at, *steps, found=f"'{name}'", expected=expected, hint=near(name, among))
        return found

    def pin(self, at: At, *steps: str | int, pin: str) -> bool:
        """Check that a pin's name is well-formed."""
        if _PIN.fullmatch(pin):
            return True
        expected = "letters, digits, '-', '_' or '+', at most 16"
        self.say(at, *steps, found=f"the pin {shown(pin)}", expected=expected)
        return False
