"""Files that people write: YAML with every scalar as text, and errors that name their place.

The reader builds a tree of nodes from PyYAML's events. All scalars stay text, so ``no`` is not a boolean, ``1:30``
not a number and ``00123`` not 83. Repeated keys, anchors, aliases and tags are refused, and so are control
characters: they would reach a terminal one day. ``convert`` then turns the tree into typed values and collects every
problem on its way; nothing stops at the first.

A type that has a ``parse`` class method taking text (every quantity has) is read through it.

Over 500 lines: reader, converter and the words of their errors are one thing to those who call it.
"""

from __future__ import annotations

import difflib
import enum
import functools
import re
import types
import typing
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Final, Literal, TypeVar

import msgspec

T = TypeVar("T")

LARGEST: Final = 16 * 2**20
"""Bytes. Years of plant data fit in a tenth of it; a file beyond is a mistake or an attack."""
DEEPEST: Final = 40
"""Nesting. The deepest honest file has about ten levels."""
_NAMES: Final = frozenset({"name", "plant", "sequence", "bench", "profile"})
"""Fields that name something: on one line, since lists and errors show them on one."""
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


class Place(msgspec.Struct, frozen=True):
    """Where something stands in a file; lines and columns count from 1, and 0 means the file as a whole."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


class Problem(msgspec.Struct, frozen=True):
    """One thing wrong in a file.

    Attributes:
        place: file, line and column.
        field: the path of the field, such as ``bays[2].shelves[0].name``; may be empty.
        found: what stood there.
        expected: what should have stood there.
        hint: a near miss or what to do; may be empty.
    """

    place: Place
    field: str
    found: str
    expected: str
    hint: str = ""

    def __str__(self) -> str:
        where = f"{self.place}: {self.field}: " if self.field else f"{self.place}: "
        tail = f"; {self.hint}" if self.hint else ""
        return f"{where}found {self.found}, expected {self.expected}{tail}"


class BadFile(ValueError):
    """One or more files cannot be used as they are.

    Attributes:
        problems: every problem found, in file order.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = sorted(problems, key=lambda one: (one.place.file, one.place.line, one.place.column))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Scalar(msgspec.Struct):
    """One text. ``quoted`` tells ``'null'`` from ``null``."""

    place: Place
    text: str
    quoted: bool = False

    @property
    def empty(self) -> bool:
        """Whether nothing stands here."""
        return not self.quoted and self.text in ("", "~", "null")


class Items(msgspec.Struct):
    """A list."""

    place: Place
    items: list[Node]


class Fields(msgspec.Struct):
    """A mapping: keys with their own places, in file order."""

    place: Place
    entries: dict[str, tuple[Place, Node]]


Node = Scalar | Items | Fields


class Places(msgspec.Struct):
    """Remembers where each typed value of a file came from, so that later checks can name the place."""

    file: str
    _nodes: dict[int, tuple[Any, Node]] = msgspec.field(default_factory=dict)

    def note(self, value: Any, node: Node) -> None:
        """Tie a value to its node. The value is kept, so its identity stays its own."""
        self._nodes[id(value)] = (value, node)

    def of(self, value: Any, *path: str | int) -> Place:
        """The place of a value, or of a field below it; the nearest known place where the field does not stand."""
        known = self._nodes.get(id(value))
        if known is None:
            return Place(self.file)
        node = known[1]
        for step in path:
            if isinstance(node, Fields) and isinstance(step, str) and step in node.entries:
                node = node.entries[step][1]
            elif isinstance(node, Items) and isinstance(step, int) and step < len(node.items):
                node = node.items[step]
            else:
                break
        return node.place


_ALIKE: Final = str.maketrans("o", "0")
"""The letter that is taken for a figure, and the other way round."""


def near(found: str, known: Iterable[str]) -> str:
    """A hint with the nearest known name: ``did you mean 'bay2'?``; empty where nothing is near."""
    by_fold = {name.casefold(): name for name in known}
    folded = found.casefold()
    close = difflib.get_close_matches(folded, by_fold, n=1, cutoff=0.6)
    if not close:
        return ""
    # a name that only looks alike is the one: W1O1 is W101, and not W511 which has as many letters in common
    looks = folded.translate(_ALIKE)
    meant = next((name for name in by_fold if name.translate(_ALIKE) == looks), close[0])
    return f"did you mean '{by_fold[meant]}'?"


def one_of(known: Iterable[str], *, most: int = 12) -> str:
    """The names that would do, for an error text; a long list is cut."""
    names = [f"'{name}'" for name in known]
    if not names:
        return "nothing here, since none is defined"
    if len(names) > most:
        return f"one of {', '.join(names[:most])} and {len(names) - most} more"
    return f"one of {', '.join(names)}" if len(names) > 1 else names[0]


def shown(text: str, most: int = 60) -> str:
    """Quote what a file holds for an error text: cut, and with control characters made visible."""
    cut = text if len(text) <= most else text[:most] + "..."
    return repr(cut)


def is_file(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have, as from a damaged text, is no file and no error."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def shipped(kind: Literal["drivers", "sequences"]) -> Path:
    """The folder of profiles or jobs that come with the program, in a checkout or in an installed wheel."""
    here = Path(__file__).resolve().parent
    checkout = here.parent / kind
    return checkout if (here.parent / "pyproject.toml").is_file() else here / "shipped" / kind


def read_text(path: Path) -> str:
    """Read a file as UTF-8.

    Raises:
        BadFile: it cannot be read, is too large, or is not UTF-8.
    """
    place = Place(str(path))
    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise BadFile([Problem(place, "", f"no readable file ({reason})", "a file")]) from error
    if len(raw) > LARGEST:
        raise BadFile([Problem(place, "", f"more than {LARGEST} bytes", f"at most {LARGEST} bytes")])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        bad = Place(str(path), line, error.start - raw.rfind(b"\n", 0, error.start))
        raise BadFile([Problem(bad, "", f"byte {raw[error.start]:#04x}", "UTF-8 text")]) from error


def read_yaml(path: Path) -> Node:
    """Read one YAML file into nodes.

    Raises:
        BadFile: with every problem of form.
    """
    return parse_yaml(read_text(path), str(path))


def parse_yaml(text: str, name: str) -> Node:
    """Read YAML text into nodes; ``name`` is the file named in problems.

    Raises:
        BadFile: with every problem of form.
    """
    node, problems = _tree(text, name)
    if problems or node is None:
        raise BadFile(problems)
    return node


def _tree(text: str, name: str) -> tuple[Node | None, list[Problem]]:
    """The nodes of a text, as far as it can be read, with its problems of form."""
    import yaml

    builder = _Builder(name, yaml)
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        for event in yaml.parse(text, Loader=loader):
            builder.take(event)
            if builder.stop:
                break
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(name, mark.line + 1, mark.column + 1) if mark else Place(name)
        what = f"YAML that cannot be read ({error.problem or 'broken'})"
        tab = text.splitlines()[place.line - 1 : place.line]
        hint = "indent with spaces, not tabs" if tab and "\t" in tab[0] else ""
        builder.problems.append(Problem(place, "", what, "valid YAML", hint))
        builder.root = None
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        builder.problems.append(Problem(Place(name, line, 1), "", "a control character", "printable text"))
        builder.root = None
    if builder.root is None and not builder.problems:
        builder.problems.append(Problem(Place(name), "", "an empty file", "a YAML mapping"))
    return builder.root, builder.problems


class _Builder:
    """Builds nodes from YAML events and keeps the problems of form."""

    def __init__(self, name: str, yaml: types.ModuleType) -> None:
        self._yaml = yaml
        self.name = name
        self.problems: list[Problem] = []
        self.root: Node | None = None
        self.stop = False
        self._open: list[Items | Fields] = []
        self._keys: list[tuple[str, Place] | None] = []

    def _say(self, place: Place, found: str, expected: str, hint: str = "") -> None:
        self.problems.append(Problem(place, "", found, expected, hint))

    def take(self, event: Any) -> None:
        """Take the next event of the reader."""
        kind = type(event)
        mark = event.start_mark
        place = Place(self.name, mark.line + 1, mark.column + 1)
        if kind is self._yaml.ScalarEvent:
            if event.anchor or event.tag:
                self._refuse_extras(event, place)
            if _CONTROL.search(event.value):
                hint = r"in single quotes '\r' stays as it is written" if event.style == '"' else ""
                self._say(place, f"a control character in {shown(event.value)}", "printable text", hint)
            self._add(Scalar(place, event.value, event.style not in (None, "")), place)
        elif kind is self._yaml.MappingStartEvent or kind is self._yaml.SequenceStartEvent:
            self._refuse_extras(event, place)
            node: Items | Fields = Items(place, []) if kind is self._yaml.SequenceStartEvent else Fields(place, {})
            self._add(node, place)
            self._open.append(node)
            self._keys.append(None)
            if len(self._open) > DEEPEST:
                self._say(place, f"more than {DEEPEST} levels", "a flatter file")
                self.stop = True
        elif kind is self._yaml.MappingEndEvent or kind is self._yaml.SequenceEndEvent:
            self._open.pop()
            self._keys.pop()
        elif kind is self._yaml.AliasEvent:
            self._say(place, f"an alias '*{event.anchor}'", "the value written out")
            self._add(Scalar(place, ""), place)
        elif kind is self._yaml.DocumentStartEvent and self.root is not None:
            self._say(place, "a second document", "one document in a file")
            self.stop = True

    def _refuse_extras(self, event: Any, place: Place) -> None:
        if event.anchor:
            self._say(place, f"an anchor '&{event.anchor}'", "the value written out")
        if event.tag:
            self._say(place, f"a tag {shown(event.tag)}", "a value without a tag")

    def _add(self, node: Node, place: Place) -> None:
        if not self._open:
            if self.root is None:
                self.root = node
            return
        parent = self._open[-1]
        if isinstance(parent, Items):
            parent.items.append(node)
            return
        key = self._keys[-1]
        if key is None:
            if not isinstance(node, Scalar):
                self._say(place, "a list or mapping as a key", "a name")
                self._keys[-1] = ("", place)
                return
            if node.text in parent.entries:
                first = parent.entries[node.text][0]
                self._say(
                    place,
                    f"the key {shown(node.text)} again",
                    "each key once",
                    f"it first stands on line {first.line}",
                )
            self._keys[-1] = (node.text, place)
            return
        parent.entries.setdefault(key[0], (key[1], node))
        self._keys[-1] = None


def load(path: Path, kind: type[T], name: str | None = None) -> tuple[T, Places]:
    """Read a YAML file as one typed value.

    Args:
        path: the file.
        kind: a msgspec Struct type.
        name: how problems name the file; the path as given by default.

    Raises:
        BadFile: with every problem of form and of type.
    """
    return parse(read_text(path), kind, name or str(path))


def parse(text: str, kind: type[T], name: str) -> tuple[T, Places]:
    """Read YAML text as one typed value; see :func:`load`."""
    places = Places(name)
    node, problems = _tree(text, name)
    value = convert(node, kind, places, problems) if node is not None else None
    if problems:
        raise BadFile(problems)
    return typing.cast("T", value), places


_MISSING: Final = object()


def convert(node: Node, kind: Any, places: Places, problems: list[Problem], path: str = "") -> Any:
    """Turn a node into a value of a type; problems are appended and a stand-in is returned for the bad part."""
    return _reader_of(kind)(node, places, problems, path)


_Reader = Callable[[Node, Places, list[Problem], str], Any]
"""Turns a node into a value of one type: which way to read a type is found once, and not for each value."""


def _reader_of(kind: Any) -> _Reader:
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if kind is Any:
        return _read_raw
    if origin is typing.Annotated:
        return _reader_of(arguments[0])
    if origin in (typing.Union, types.UnionType):
        return _union_reader(arguments)
    if origin is Literal:
        return functools.partial(_choice, {str(v): v for v in arguments})
    if origin in (list, tuple) or kind in (list, tuple):
        return _list_reader(origin or kind, arguments)
    if origin is dict:
        return functools.partial(_dict, _reader_of(arguments[0]), _reader_of(arguments[1]))
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return functools.partial(_struct, kind)
    if isinstance(kind, type) and issubclass(kind, enum.Enum):
        return functools.partial(_choice, {str(m.value): m for m in kind})
    return _scalar_reader(kind)


def _read_raw(node: Node, _places: Places, _problems: list[Problem], _path: str) -> Any:
    return _raw(node)


def _raw(node: Node) -> Any:
    if isinstance(node, Scalar):
        return None if node.empty else node.text
    if isinstance(node, Items):
        return [_raw(item) for item in node.items]
    return {key: _raw(value) for key, (_, value) in node.entries.items()}


def _what(node: Node) -> str:
    if isinstance(node, Scalar):
        return "nothing" if node.empty else shown(node.text)
    return "a list" if isinstance(node, Items) else "a mapping"


def _bad(problems: list[Problem], node: Node, path: str, expected: str, hint: str = "") -> object:
    problems.append(Problem(node.place, path, _what(node), expected, hint))
    return _MISSING


def _choice(known: dict[str, Any], node: Node, _places: Places, problems: list[Problem], path: str) -> Any:
    if not isinstance(node, Scalar):
        return _bad(problems, node, path, one_of(known))
    if node.text not in known:
        return _bad(problems, node, path, one_of(known), near(node.text, known))
    return known[node.text]


def _list_reader(kind: type, arguments: tuple[Any, ...]) -> _Reader:
    if kind is tuple and arguments and arguments[-1] is not Ellipsis:
        return functools.partial(_fixed, [_reader_of(one) for one in arguments])
    return functools.partial(_list, kind, _reader_of(arguments[0] if arguments else Any))


def _fixed(readers: list[_Reader], node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    if not isinstance(node, Items):
        return _bad(problems, node, path, "a list")
    if len(readers) != len(node.items):
        problems.append(Problem(node.place, path, f"{len(node.items)} items", f"{len(readers)} items"))
        return _MISSING
    values = [
        read(item, places, problems, f"{path}[{index}]")
        for index, (item, read) in enumerate(zip(node.items, readers, strict=True))
    ]
    return _MISSING if any(value is _MISSING for value in values) else tuple(values)


def _list(kind: type, read: _Reader, node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    if not isinstance(node, Items):
        return _bad(problems, node, path, "a list")
    values = [read(item, places, problems, f"{path}[{index}]") for index, item in enumerate(node.items)]
    if any(value is _MISSING for value in values):
        return _MISSING
    return tuple(values) if kind is tuple else values


def _dict(read_key: _Reader, read: _Reader, node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    if not isinstance(node, Fields):
        return _bad(problems, node, path, "a mapping")
    result = {}
    for key, (key_place, value) in node.entries.items():
        below = f"{path}.{key}" if path else key
        real_key = read_key(Scalar(key_place, key, True), places, problems, below)
        result[real_key] = read(value, places, problems, below)
    if any(v is _MISSING for pair in result.items() for v in pair):
        return _MISSING
    return result


@functools.cache
def _fields_of(kind: type[msgspec.Struct]) -> dict[str, tuple[Any, bool, str]]:
    hints = typing.get_type_hints(kind, include_extras=True)
    return {info.encode_name: (hints[info.name], info.required, info.name) for info in msgspec.structs.fields(kind)}


@functools.cache
def _readers_of(kind: type[msgspec.Struct]) -> dict[str, tuple[_Reader, bool, str]]:
    """How each field is read, by its name in files; whether it must stand there, and its name here."""
    return {key: (_reader_of(field), required, name) for key, (field, required, name) in _fields_of(kind).items()}


def _struct(kind: type[msgspec.Struct], node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    fields = _readers_of(kind)
    # a struct with one required field may be written as just that field's value: `- Reseat the card.`
    shorthand = getattr(kind, "__shorthand__", "")
    if shorthand and isinstance(node, Scalar) and not node.empty:
        value = fields[shorthand][0](node, places, problems, path)
        return _build(node, kind, {shorthand: value}, places, problems, path)
    if not isinstance(node, Fields):
        return _bad(problems, node, path, f"a mapping with {one_of(fields)}")
    config = kind.__struct_config__
    values: dict[str, Any] = {}
    for key, (key_place, value) in node.entries.items():
        below = f"{path}.{key}" if path else key
        if config.tag is not None and key == config.tag_field:
            continue
        if key not in fields:
            problems.append(Problem(key_place, below, f"the field '{key}'", one_of(fields), near(key, fields)))
            continue
        read, required, name = fields[key]
        if isinstance(value, Scalar):
            if key in _NAMES and "\n" in value.text.rstrip("\n"):
                problems.append(Problem(value.place, below, shown(value.text), "a name on one line"))
            if not required and value.empty:
                continue
        values[name] = read(value, places, problems, below)
    for key, (_, required, name) in fields.items():
        if required and name not in values:
            problems.append(Problem(node.place, path, f"no field '{key}'", f"the field '{key}'"))
            values[name] = _MISSING
    return _build(node, kind, values, places, problems, path)


def _build(
    node: Node,
    kind: type[msgspec.Struct],
    values: dict[str, Any],
    places: Places,
    problems: list[Problem],
    path: str,
) -> Any:
    if any(value is _MISSING for value in values.values()):
        return _MISSING
    try:
        made = kind(**values)
    except ValueError as error:
        found = getattr(error, "found", None)
        expected = getattr(error, "expected", None)
        if found is not None and expected is not None:
            problems.append(Problem(node.place, path, str(found), str(expected)))
        else:
            problems.append(Problem(node.place, path, str(error), "a consistent entry"))
        return _MISSING
    places.note(made, node)
    return made


class Inconsistent(ValueError):
    """A struct's fields do not fit each other; raised in ``__post_init__`` and given a place by the reader."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"found {found}, expected {expected}")
        self.found = found
        self.expected = expected


def _union_reader(kinds: tuple[Any, ...]) -> _Reader:
    """Reads one of several types; null, where it is among them, where nothing stands."""
    some = [kind for kind in kinds if kind is not type(None)]
    structs = [k for k in some if isinstance(k, type) and issubclass(k, msgspec.Struct)]
    any_of: _Reader
    if len(some) == 1:
        any_of = _reader_of(some[0])
    else:
        any_of = functools.partial(_first_that_fits, [_reader_of(kind) for kind in some])
        if len(structs) == 1:
            any_of = functools.partial(_fields_or_other, _reader_of(structs[0]), any_of)
        elif structs:
            tag_field = structs[0].__struct_config__.tag_field or "kind"
            by_tag = {str(k.__struct_config__.tag): _reader_of(k) for k in structs}
            any_of = functools.partial(_fields_or_other, functools.partial(_tagged, tag_field, by_tag), any_of)
    return any_of if len(some) == len(kinds) else functools.partial(_nothing_or, any_of)


def _nothing_or(read: _Reader, node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    return None if isinstance(node, Scalar) and node.empty else read(node, places, problems, path)


def _fields_or_other(
    fields: _Reader, other: _Reader, node: Node, places: Places, problems: list[Problem], path: str
) -> Any:
    return (fields if isinstance(node, Fields) else other)(node, places, problems, path)


def _tagged(
    tag_field: str, by_tag: dict[str, _Reader], node: Node, places: Places, problems: list[Problem], path: str
) -> Any:
    assert isinstance(node, Fields)
    if tag_field not in node.entries:
        hints = {key: near(key, [tag_field]) for key in node.entries}
        hint = next((h for h in hints.values() if h), "")
        return _bad(problems, node, path, f"a field '{tag_field}' with {one_of(by_tag)}", hint)
    below = f"{path}.{tag_field}" if path else tag_field
    chosen = _choice(by_tag, node.entries[tag_field][1], places, problems, below)
    return _MISSING if chosen is _MISSING else chosen(node, places, problems, path)


def _first_that_fits(readers: list[_Reader], node: Node, places: Places, problems: list[Problem], path: str) -> Any:
    tried: list[list[Problem]] = []
    for read in readers:
        mine: list[Problem] = []
        value = read(node, places, mine, path)
        if not mine:
            return value
        tried.append(mine)
    # the attempt that got furthest into the node tells the person most
    deepest = max(tried, key=lambda found: (len(found[0].field), -len(found)))
    if any(len(found[0].field) != len(path) for found in tried):
        problems.extend(deepest)
        return _MISSING
    expected = " or ".join(dict.fromkeys(p.expected for found in tried for p in found))
    hint = next((p.hint for found in tried for p in found if p.hint), "")
    return _bad(problems, node, path, expected, hint)


_INT: Final = re.compile(r"[+-]?\d{1,18}")
_FLOAT: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")


_WANTED: Final[dict[Any, str]] = {int: "a whole number", float: "a number", bool: "true or false", str: "a text"}


def _scalar_reader(kind: Any) -> _Reader:
    """Reads a text; a type of its own through its ``parse``."""
    if kind in _WANTED:
        return functools.partial(_plain, {str: _text, int: _whole, float: _number, bool: _truth}[kind], _WANTED[kind])
    reader = getattr(kind, "parse", None)
    if reader is None:
        raise TypeError(f"no reader for {kind!r}")
    return functools.partial(_parsed, reader, kind.wanted() if hasattr(kind, "wanted") else "a value")


def _parsed(
    reader: Callable[[str], Any], expected: str, node: Node, _places: Places, problems: list[Problem], path: str
) -> Any:
    if not isinstance(node, Scalar) or node.empty:
        return _bad(problems, node, path, expected)
    try:
        return reader(node.text)
    except ValueError as error:
        return _bad(problems, node, path, getattr(error, "expected", str(error)))


def _plain(
    value: Callable[[str], Any], expected: str, node: Node, _places: Places, problems: list[Problem], path: str
) -> Any:
    if not isinstance(node, Scalar) or node.empty:
        return _bad(problems, node, path, expected)
    found = value(node.text)
    if found is not None:
        return found
    swap = _SWAPS.get(node.text.lower()) if value is _truth else None
    return _bad(problems, node, path, expected, f"write {swap}" if swap else "")


_SWAPS: Final = {"yes": "true", "on": "true", "no": "false", "off": "false"}


def _text(text: str) -> str:
    return text


def _whole(text: str) -> int | None:
    return int(text) if _INT.fullmatch(text) else None


def _number(text: str) -> float | None:
    return float(text) if _FLOAT.fullmatch(text) and abs(float(text)) < 1e300 else None


def _truth(text: str) -> bool | None:
    return text == "true" if text in ("true", "false") else None


def exact(value: Any) -> Any:
    """msgspec's enc_hook: a quantity as text that parses back exactly.

    Raises:
        NotImplementedError: as msgspec asks for types that it does not know.
    """
    if hasattr(value, "exact"):
        return value.exact()
    raise NotImplementedError(f"cannot write {type(value).__name__}")


def from_text(kind: type, value: Any) -> Any:
    """msgspec's dec_hook: the counterpart of :func:`exact`.

    Raises:
        NotImplementedError: as msgspec asks for types that it does not know.
    """
    reader = getattr(kind, "parse", None)
    if reader is None or not isinstance(value, str):
        raise NotImplementedError(f"cannot read {kind.__name__}")
    return reader(value)


def _schema_hook(kind: type) -> dict[str, Any]:
    """msgspec's schema_hook; it asks for the error where a type is not known."""
    if hasattr(kind, "wanted"):
        return {"type": ["string", "number"], "description": kind.wanted()}
    raise NotImplementedError


def json_schema(kind: Any, title: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a file type, for editors.

    Names and texts may also be written as bare numbers in YAML (a pin called ``12``), so text fields allow both.
    """
    schema = msgspec.json.schema(kind, schema_hook=_schema_hook)
    _loosen(schema)
    _describe(schema, _structs_in(kind, set()))
    for struct in _structs_in(kind, set()):
        if getattr(struct, "__shorthand__", None):
            definitions = schema.get("$defs", {})
            whole = definitions.get(struct.__name__)
            if whole is not None:
                definitions[struct.__name__] = {"anyOf": [whole, {"type": ["string", "number"]}]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title,
        **schema,
    }


def _describe(schema: dict[str, Any], structs: Iterable[type[msgspec.Struct]]) -> None:
    """Say of every field what it means, as the types say it, and after that how it is written."""
    from bench.field_notes import notes  # reads the source, which nothing but a schema wants

    for struct in structs:
        fields = schema.get("$defs", {}).get(struct.__name__, {}).get("properties", {})
        for name, text in notes(struct).items():
            if name in fields:
                how = fields[name].get("description", "")
                fields[name]["description"] = f"{text} Written as {how}." if how else text


def _structs_in(kind: Any, seen: set[Any]) -> set[type[msgspec.Struct]]:
    """Every struct type that a type is made of."""
    if kind in seen:
        return set()
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        seen.add(kind)
        found = {kind}
        for field_kind, _, _ in _fields_of(kind).values():
            found |= _structs_in(field_kind, seen)
        return found
    return {struct for part in typing.get_args(kind) for struct in _structs_in(part, seen)}


def _loosen(node: Any) -> None:
    if isinstance(node, dict):
        if node.get("type") == "string" and "enum" not in node:
            node["type"] = ["string", "number"]
        if "properties" in node:
            node["additionalProperties"] = False
        for choices in ("anyOf", "enum"):
            if choices in node:
                # the order in which a union's members come is not the same in every process
                node[choices].sort(key=repr)
        for value in node.values():
            _loosen(value)
    elif isinstance(node, list):
        for value in node:
            _loosen(value)


def walk(node: Node) -> Iterator[Node]:
    """Every node of a tree, parents first."""
    yield node
    if isinstance(node, Items):
        for item in node.items:
            yield from walk(item)
    elif isinstance(node, Fields):
        for _, value in node.entries.values():
            yield from walk(value)
