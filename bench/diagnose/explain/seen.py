"""A measured map sorted into groups of pins that conduct, and what was not looked at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.pin_map import Index, Measured

UNTESTED = -1
"""Label of a pin that nobody touched."""
OFF = -2
"""Label that stands for a contact that meets no pin."""


def gather(count: int, links: Iterable[tuple[int, int]]) -> list[int]:
    """The parts of a graph on 0..count-1: for each point the lowest point of its part."""
    root = list(range(count))
    for a, b in links:
        while root[a] != a:
            root[a] = root[root[a]]
            a = root[a]
        while root[b] != b:
            root[b] = root[root[b]]
            b = root[b]
        if a < b:
            root[b] = a
        elif b < a:
            root[a] = b
    for point in range(count):
        # Roots are never above their points, so one pass upwards settles all.
        root[point] = root[root[point]]
    return root


class Seen:
    """A measured map sorted into groups of pins that conduct.

    Attributes:
        label: group of each pin, or UNTESTED.
        padded: the same with one label more, so that a contact that meets no pin, number -1, has
            the label OFF.
        near, far: tested pins of each group. size: how many; twos, large: groups of two, of more.
        contradictions: pairs measured as open although both lie in one group by way of others.
        apart: in a sampled map, pairs of groups that a reading found apart.

    Raises:
        DiagnoseError: the map names pins that the design does not have, or joins a pin that it also calls not tested.
    """

    def __init__(self, index: Index, measured: Measured) -> None:
        number = index.number
        self._near_pins = index.near_pins
        unknown = {pin for join in (*measured.joins, *measured.parted) for pin in join if pin not in number}
        unknown |= {pin for pin in measured.not_tested if pin not in number}
        if unknown:
            some = ", ".join(map(str, sorted(unknown)[:5]))
            raise DiagnoseError(f"the measured map has pins that the design has not: {some}")
        skipped = {number[p] for p in measured.not_tested}
        self.joins = [(number[a], number[b]) for a, b in measured.joins]
        self.parted = [(number[a], number[b]) for a, b in measured.parted]
        for a, b in (*self.joins, *self.parted):
            if a in skipped or b in skipped:
                both = index.pins[a if a in skipped else b]
                raise DiagnoseError(f"pin {both} is given as not tested, but it has a reading")
        self.sampled = measured.crosses == "sampled"
        if self.sampled:
            touched = {end for pair in (*self.joins, *self.parted) for end in pair}
            skipped = set(range(len(index.pins))) - touched
        self.label = gather(len(index.pins), self.joins)
        for untested in skipped:
            self.label[untested] = UNTESTED
        self.near: dict[int, list[int]] = {}
        self.far: dict[int, list[int]] = {}
        for spot, group in enumerate(self.label):
            if group >= 0:
                self.near.setdefault(group, [])
                self.far.setdefault(group, [])
                (self.near if spot < index.near_pins else self.far)[group].append(spot)
        label = self.label
        self.size = {g: len(near) + len(self.far[g]) for g, near in self.near.items()}
        self.twos = [g for g, size in self.size.items() if size == 2]
        self.large = {g: None for g, size in self.size.items() if size > 2}
        self.padded = [*label, OFF]
        self.apart: set[tuple[int, int]] = set()
        if self.sampled:
            for a, b in self.parted:
                self.apart.add((label[a], label[b]))
                self.apart.add((label[b], label[a]))
        self.contradictions = self._contradictions(index)

    def clash(self, start: int, end: int) -> bool:
        """Whether a wire cannot run from one group to another: they were found apart, or either end is spoken for.

        In a sampled map a pair that nobody read may conduct; but a near pin that was found at a far pin has its wire
        there, and a far pin with a near pin its own.
        """
        if not self.sampled or (start, end) in self.apart:
            return True
        return (bool(self.far[start]) and len(self.near[start]) == 1) or (
            bool(self.near[end]) and len(self.far[end]) == 1
        )

    def sound(self, index: Index) -> set[int]:
        """Numbers of the wires that conduct where the design has them, and to nothing else.

        Args:
            index: of the design.
        """
        label = self.label
        return {
            wire
            for wire, (a, b) in enumerate(zip(index.near, index.far, strict=True))
            if label[a] == label[b] >= 0 and self.size[label[a]] == 2
        }

    def _contradictions(self, index: Index) -> list[tuple[int, int]]:
        found = [(a, b) for a, b in self.parted if self.label[a] == self.label[b]]
        if self.sampled:
            return found
        listed = {(a, b) if a < b else (b, a) for a, b in self.joins}
        across: dict[int, int] = {}
        for a, b in listed:
            if a < index.near_pins <= b:
                across[self.label[a]] = across.get(self.label[a], 0) + 1
        for label, near in self.near.items():
            far = self.far[label]
            if len(near) * len(far) != across.get(label, 0):
                found += [(n, f) for n in near for f in far if (n, f) not in listed]
        return found

    def differences(self, predicted: Sequence[int]) -> list[tuple[int, int, bool]]:
        """Tested pairs that differ from predicted labels: (pin, pin, measured as joined).

        A contradiction in the measured map itself differs from any prediction that has its other
        joins; it is listed as the pair that was found open.
        """
        found: list[tuple[int, int, bool]] = []
        label = self.label
        bad = set(self.contradictions)
        for a, b in self.joins:
            if predicted[a] != predicted[b]:
                found.append((a, b, True))
        for a, b in self.parted:
            if predicted[a] == predicted[b]:
                found.append((a, b, False))
        if self.sampled:
            return found
        seen_parted = set(self.parted)
        # Most predicted groups lie in one measured group; only the others are looked into.
        first: dict[int, int] = {}
        mixed: dict[int, list[int]] = {predicted[n]: [] for n, _ in bad}
        for pin, group in enumerate(predicted):
            if label[pin] >= 0 and first.setdefault(group, label[pin]) != label[pin]:
                mixed.setdefault(group, [])
        if mixed:
            for pin, group in enumerate(predicted):
                if group in mixed and label[pin] >= 0:
                    mixed[group].append(pin)
        for pins in mixed.values():
            near = [p for p in pins if p < self._near_pins]
            far = [p for p in pins if p >= self._near_pins]
            for n in near:
                for f in far:
                    apart = label[n] != label[f] or (n, f) in bad
                    if apart and (n, f) not in seen_parted:
                        found.append((n, f, False))
        return found
