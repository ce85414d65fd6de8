"""Finding profiles and their decoders: the job's own ``drivers/`` first, then those that come with the program.

A profile that cannot be loaded is listed with its reason, so that asking for it says why and not that there is none. A
decoder module is read before it is imported: it may import the standard library and
:mod:`bench.instruments.parts` only, and is loaded by its path, never through ``sys.path``.
"""

from __future__ import annotations

import ast
import importlib.util
import sys
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import msgspec

from bench.files import BadFile, Place, Places, Problem, is_file, json_schema, near, one_of, parse, read_text, shipped
from bench.instruments.parts import Decoder
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.line import Frames
from bench.instruments.profile.profile import Profile
from bench.judge.judge_error import JudgeError

_ALLOWED: Final = "bench.instruments.parts"
_FORBIDDEN: Final = frozenset({"__import__", "exec", "eval", "compile", "open", "input", "breakpoint"})
"""Built-ins that reach outside. A decoder is trusted like code; this finds mistakes, not malice."""


class Entry(msgspec.Struct, frozen=True):
    """A profile's file.

    Attributes:
        name: the profile's name: that of its file.
        path: the file.
        profile: what it holds; None where it cannot be used.
        problems: why it cannot be used.
    """

    name: str
    path: Path
    profile: Profile | None
    problems: tuple[Problem, ...] = ()


class Library:
    """All profiles at hand. Files are read when they are first asked for.

    Args:
        folders: where to look, the first find counts.
    """

    def __init__(self, folders: Iterable[Path]) -> None:
        self._folders = tuple(folders)
        self._read: dict[str, Entry] = {}

    @classmethod
    def for_job(cls, job: Path | None = None) -> Library:
        """The profiles of a job's folder, then those that come with the program."""
        return cls(([job / "drivers"] if job is not None else []) + [shipped("drivers")])

    def names(self) -> list[str]:
        """The names of all profiles, usable or not."""
        found = {path.stem for folder in self._folders if folder.is_dir() for path in folder.glob("*.yaml")}
        return sorted(found)

    def entry(self, name: str) -> Entry | None:
        """The file of a profile; None where there is none of that name."""
        if name not in self._read:
            for folder in self._folders:
                path = folder / f"{name}.yaml"
                # a name comes from a file: it must not lead out of the folder
                if path.parent == folder and is_file(path):
                    self._read[name] = _entry(path)
                    break
            else:
                return None
        return self._read[name]

    def entries(self) -> list[Entry]:
        """All profiles, usable or not, by name."""
        return [entry for name in self.names() if (entry := self.entry(name)) is not None]

    def profile(self, name: str) -> Profile:
        """A profile by name.

        Raises:
            BadFile: there is none of that name, or it cannot be used; the problems say why.
        """
        entry = self.entry(name)
        if entry is None:
            known = self.names()
            raise BadFile([Problem(Place(name), "", f"no profile '{name}'", one_of(known), near(name, known))])
        if entry.profile is None:
            raise BadFile(entry.problems)
        return entry.profile

    def decoder(self, name: str) -> Decoder | None:
        """The decoder of a profile; None where it needs none.

        Raises:
            BadFile: as :meth:`profile`, or its decoder cannot be used.
        """
        profile = self.profile(name)
        entry = self.entry(name)
        assert entry is not None
        if not isinstance(profile.dialogue, Frames):
            return None
        return load_decoder(entry.path.parent / f"{profile.dialogue.decoder}_frame.py")


def load_profile(path: Path) -> Profile:
    """Read one profile.

    Raises:
        BadFile: with every problem.
    """
    profile, places = _parsed(path, read_text(path))
    if isinstance(profile.dialogue, Frames):
        decoder = path.parent / f"{profile.dialogue.decoder}_frame.py"
        if not is_file(decoder):
            place = places.of(profile.dialogue, "decoder")
            raise BadFile(
                [Problem(place, "dialogue.decoder", f"no file {decoder.name}", "a decoder beside the profile")]
            )
        check_decoder(decoder)
    return profile


@lru_cache(maxsize=64)
def _parsed(path: Path, text: str) -> tuple[Profile, Places]:
    """A profile from its text: taken apart once, however many ask for it in one start.

    Raises:
        BadFile: with every problem.
    """
    profile, places = parse(text, Profile, str(path))
    if profile.profile != path.stem:
        place = places.of(profile, "profile")
        raise BadFile([Problem(place, "profile", f"'{profile.profile}'", f"'{path.stem}', the file's name")])
    try:
        accuracy_rows(profile)
    except JudgeError as error:
        raise BadFile([Problem(Place(str(path)), error.what, error.found, error.expected)]) from error
    return profile, places


def _entry(path: Path) -> Entry:
    try:
        return Entry(path.stem, path, load_profile(path))
    except BadFile as error:
        return Entry(path.stem, path, None, tuple(error.problems))


def check_decoder(path: Path) -> str:
    """Read a decoder module and look at what it imports, without running it; returns its text.

    Raises:
        BadFile: it cannot be read, is not Python, or reaches for what it may not.
    """
    text = read_text(path)
    try:
        tree = ast.parse(text, str(path))
    except (SyntaxError, ValueError) as error:
        line = getattr(error, "lineno", 0) or 0
        raise BadFile([Problem(Place(str(path), line, 1 if line else 0), "", str(error), "Python")]) from error
    problems = [
        Problem(Place(str(path), line, 1), "", found, f"the standard library or {_ALLOWED} only")
        for line, found in _reaches(tree)
    ]
    defines = any(isinstance(node, ast.FunctionDef) and node.name == "decode" for node in tree.body)
    if not defines:
        problems.append(Problem(Place(str(path)), "", "no function 'decode'", "decode(data: bytes) -> Parts | None"))
    if problems:
        raise BadFile(problems)
    return text


def _reaches(tree: ast.Module) -> Iterable[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            modules = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            modules = ["." * node.level + (node.module or "")]
        elif isinstance(node, ast.Name) and node.id in _FORBIDDEN:
            yield node.lineno, f"a use of {node.id}"
            continue
        else:
            continue
        for module in modules:
            if module != _ALLOWED and module.partition(".")[0] not in sys.stdlib_module_names:
                yield node.lineno, f"an import of {module}"


def load_decoder(path: Path) -> Decoder:
    """Check and load a decoder module.

    Raises:
        BadFile: see :func:`check_decoder`; or it fails when it is loaded.
    """
    check_decoder(path)
    name = f"_proveout_decoder_{path.stem}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None and spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
    except Exception as error:
        found = f"{type(error).__name__}: {error}"
        raise BadFile([Problem(Place(str(path)), "", found, "a module that can be loaded")]) from error
    decode: Decoder = module.decode
    return decode


def profile_schema() -> dict[str, Any]:
    """The JSON Schema of a profile, for editors."""
    return json_schema(Profile, "Instrument profile")
