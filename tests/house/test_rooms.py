"""The house keeps its doors: no circle of files, and nothing in it that nobody in it uses.

Which room may import which is a matter of the contracts in ``pyproject.toml``; ``make check`` looks at these.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parents[2]

UNREACHED: dict[str, str] = {
    "bench.diagnose.earth.live": "what hum comes to, from samples of a waveform: no meter gives any yet",
}
"""Modules that nothing in bench/ imports yet, each with the reason why it stands all the same."""


@pytest.fixture(scope="module")
def imports() -> dict[str, set[str]]:
    """Module to the modules of the package that it imports, for type checking or inside a function as well."""
    graph = grimp.build_graph("bench", cache_dir=None)
    return {module: set(graph.find_modules_directly_imported_by(module)) for module in graph.modules}


def circle_in(imports: dict[str, set[str]]) -> list[str]:
    """A circle of modules, each of which imports the next; empty where there is none."""
    left = {module: set(wanted) for module, wanted in imports.items()}
    while done := [module for module, wanted in left.items() if not wanted & left.keys()]:
        for module in done:
            del left[module]
    if not left:
        return []
    # whatever is left imports something that is left: follow that until a module comes up again
    way = [min(left)]
    while (following := min(left[way[-1]] & left.keys())) not in way:
        way.append(following)
    return way[way.index(following) :]


def unreached_in(imports: dict[str, set[str]], by_name: Iterable[str]) -> set[str]:
    """Modules that no other imports and that are not begun by name; a package alone is no module."""
    reached = set(by_name).union(*imports.values())
    packages = {module.rpartition(".")[0] for module in imports}
    return imports.keys() - reached - packages


def begun_by_name() -> set[str]:
    """The command line, its commands, and what stands in a table of names or is started as a program."""
    named: set[str] = set()
    for path in (ROOT / "bench").rglob("*.py"):
        named.update(re.findall(r"[\"'](bench\.[a-z_.]+)[\"']", path.read_text("utf-8")))
    commands = {f"bench.commands.{path.stem}" for path in (ROOT / "bench" / "commands").glob("*.py")}
    return {"bench.cli"} | commands | named


def test_values_are_structs() -> None:
    # a dataclass takes a millisecond to define, and a start has hundreds of values to define
    made = [path for path in (ROOT / "bench").rglob("*.py") if "dataclass" in path.read_text("utf-8")]
    assert not made


def test_there_is_no_circle_of_files(imports: dict[str, set[str]]) -> None:
    assert circle_in(imports) == []


def test_every_module_is_used_by_another(imports: dict[str, set[str]]) -> None:
    assert unreached_in(imports, begun_by_name()) == UNREACHED.keys()


def test_a_circle_is_found() -> None:
    imports = {
        "cli": {"walk", "say"},
        "walk": {"results"},
        "results": {"state", "say"},
        "state": {"walk"},
        "say": set(),
    }
    assert sorted(circle_in(imports)) == ["results", "state", "walk"]
    assert circle_in(imports | {"state": set[str]()}) == []


def test_a_module_that_nobody_uses_is_found() -> None:
    imports = {"bench": set(), "bench.cli": {"bench.say"}, "bench.say": set(), "bench.old": {"bench.say"}}
    assert unreached_in(imports, ["bench.cli"]) == {"bench.old"}
