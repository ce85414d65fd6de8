"""What is left of a plant file without its broken entries, so that the rest can be checked in the same go."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable
from typing import Final

import msgspec

from bench.files import Fields, Items, Node, Place, Places, Problem, Scalar, convert, walk
from bench.plant.file import PlantFile

_INDEX: Final = re.compile(r"(\[\d+\])")
_ROUNDS: Final = 4
"""Taking out an entry may show another problem further up; no honest file needs more rounds."""


class Dropped(msgspec.Struct):
    """What was taken out.

    Attributes:
        names: the names that it defined, and pin lists that could not be read whole: problems about them follow from
            the first one and are not said again.
        around: places of the lists and entries that it was taken from.
        numbers: for each list that lost an entry, the numbers that the others had; by the list's field in the rest.
    """

    names: set[str] = msgspec.field(default_factory=set)
    around: set[Place] = msgspec.field(default_factory=set)
    numbers: dict[str, list[int]] = msgspec.field(default_factory=dict)

    def original(self, path: str) -> str:
        """The path of a field in the whole file, from its path in the rest."""
        rest = whole = ""
        for part in _INDEX.split(path):
            numbers = self.numbers.get(rest) if _INDEX.fullmatch(part) else None
            whole += f"[{numbers[int(part[1:-1])]}]" if numbers is not None else part
            rest += part
        return whole

    def __bool__(self) -> bool:
        return bool(self.names or self.around)


def read_rest(node: Node, file: str, problems: Iterable[Problem]) -> tuple[PlantFile, Places, Dropped] | None:
    """Take out the entries that have problems and read the rest.

    Args:
        node: the whole file; it is changed.
        file: its name.
        problems: those of type, found before.

    Returns:
        The rest, its places, and what was taken out; None where nothing can be read.
    """
    dropped = Dropped()
    lists = [(items, list(items.items)) for items in walk(node) if isinstance(items, Items)]
    for _ in range(_ROUNDS):
        ways = _ways(node)
        going = _Going({}, {place: key for key, (place, _) in node.entries.items()} if isinstance(node, Fields) else {})
        for problem in problems:
            _drop(ways.get(problem.place, []), problem.place, dropped, going)
        for items, entries in going.lists.values():
            items.items[:] = [item for item in items.items if id(item) not in entries]
        places, again = Places(file), list[Problem]()
        rest = convert(node, PlantFile, places, again)
        if not again:
            before = {id(items): {id(item): n for n, item in enumerate(whole)} for items, whole in lists}
            _count(node, "", before, dropped.numbers)
            return rest, places, dropped
        problems = again
    return None


def _count(node: Node, path: str, before: dict[int, dict[int, int]], numbers: dict[str, list[int]]) -> None:
    """Note the numbers that the entries of shortened lists had."""
    if isinstance(node, Items):
        known = before[id(node)]
        if len(known) != len(node.items):
            numbers[path] = [known[id(item)] for item in node.items]
        for number, item in enumerate(node.items):
            _count(item, f"{path}[{number}]", before, numbers)
    elif isinstance(node, Fields):
        for key, (_, value) in node.entries.items():
            _count(value, f"{path}.{key}" if path else key, before, numbers)


class _Going(msgspec.Struct, frozen=True):
    """What one round takes out: thousands of slips must not take a look at the whole file each.

    Attributes:
        lists: by identity, a list with the identities of the entries that go.
        keys: the fields at the top by their places.
    """

    lists: dict[int, tuple[Items, set[int]]]
    keys: dict[Place, str]


def _drop(way: list[Node], place: Place, dropped: Dropped, going: _Going) -> None:
    """Take out the smallest list entry, or else the top field, that holds a place."""
    if len(way) == 1 and isinstance(way[0], Fields):
        key = going.keys.get(place, "")
        if key in way[0].entries and key not in _fields_of_plant():
            _, value = way[0].entries.pop(key)
            dropped.names.update(_names(value))
    for depth in range(len(way) - 1, 0, -1):
        parent, child = way[depth - 1], way[depth]
        if isinstance(parent, Items) and isinstance(child, Fields):
            going.lists.setdefault(id(parent), (parent, set()))[1].add(id(child))
        elif isinstance(parent, Fields) and depth == 1:
            for key in [key for key, (_, value) in parent.entries.items() if value is child]:
                del parent.entries[key]
        else:
            continue
        dropped.names.update(_names(child))
        dropped.around.update(above.place for above in way[:depth])
        return


@functools.cache
def _fields_of_plant() -> set[str]:
    return {info.encode_name for info in msgspec.structs.fields(PlantFile)}


def _ways(root: Node) -> dict[Place, list[Node]]:
    """For the place of each node, and of each key, the nodes from the root to it.

    A list begins where its first entry does, and a mapping where its first key does: the deeper node is meant.
    """
    found: dict[Place, list[Node]] = {}
    waiting: list[list[Node]] = [[root]]
    while waiting:
        way = waiting.pop()
        node = way[-1]
        found[node.place] = way
        if isinstance(node, Fields):
            found.update(dict.fromkeys((key_place for key_place, _ in node.entries.values()), way))
            waiting += [[*way, value] for _, value in node.entries.values()]
        elif isinstance(node, Items):
            waiting += [[*way, item] for item in node.items]
    return found


def _names(node: Node) -> set[str]:
    found = set()
    if isinstance(node, Fields):
        name = node.entries.get("name")
        if name is not None and isinstance(name[1], Scalar):
            found.add(name[1].text)
        else:
            # the name may stand under a misspelt key
            found.update(value.text for _, value in node.entries.values() if isinstance(value, Scalar))
        for _, value in node.entries.values():
            found |= _names(value)
    elif isinstance(node, Items):
        for item in node.items:
            found |= _names(item)
    return found
