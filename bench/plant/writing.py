"""Changes to a plant file that people wrote: their comments, their order and their layout stay.

The text is read and written by a round-trip YAML library. That writes some things in its own way (a list that goes over
several lines becomes one long one), so only the lines that a change really touches are taken from it: the rest of the
file stays byte for byte. What comes out is read by the plant's own loader before anybody sees it.
"""

from __future__ import annotations

import difflib
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
import yaml

from bench.files import BadFile, Place, Problem, parse_yaml, read_text
from bench.plant.load import plant_of
from bench.saved import save

if TYPE_CHECKING:
    from bench.plant.model import Plant

KEYS = {"conductors": "conductor"}
"""By which field an entry of a list is known, where that is not its ``name``."""


class Change(msgspec.Struct, frozen=True):
    """Fields of one entry of a plant file.

    Attributes:
        into: the way there, list and entry in turn: ``("cables", "W512", "conductors", "3")``. An entry that is not
            there yet is added at the end of its list, a list of conductors stays sorted by number.
        fields: field to its new value: text, or a list of texts; None takes the field out.
        also: other ways in which the file may name the last entry: ``("2T", "2t")`` for conductor 3 of pairs.
    """

    into: tuple[str, ...]
    fields: Mapping[str, str | Sequence[str] | None] = msgspec.field(default_factory=dict)
    also: tuple[str, ...] = ()


class ChangedMeanwhile(ValueError):
    """The file was changed by somebody else between reading and writing."""


class Rewritten(msgspec.Struct, frozen=True):
    """A plant file before and after changes.

    Attributes:
        path: the file.
        before: its text.
        after: its text with the changes.
        plant: what the loader makes of that.
    """

    path: Path
    before: str
    after: str
    plant: Plant

    def difference(self) -> list[str]:
        """The lines that go (``-``) and that come (``+``) with one around them, below the number of the first."""
        lines = list(difflib.unified_diff(self.before.splitlines(), self.after.splitlines(), lineterm="", n=1))[2:]
        return [f"line {line.split(' ')[1][1:].split(',')[0]}:" if line.startswith("@@") else line for line in lines]

    def save(self) -> None:
        """Write the file beside itself and rename it, so that no half of it is ever seen.

        Raises:
            ChangedMeanwhile: it is not what it was when the changes were worked out.
            CannotWrite: the disk is full, or the file may not be written.
        """
        if read_text(self.path) != self.before:
            raise ChangedMeanwhile(f"{self.path} was changed in the meantime; look at the difference again")
        save(self.path, self.after)


def rewritten(path: Path, changes: Iterable[Change]) -> Rewritten:
    """Work changes into a plant file; nothing is written.

    Args:
        path: the plant file.
        changes: what is to stand in it.

    Raises:
        BadFile: the file cannot be read, or could not be read any more with the changes.
    """
    before = read_text(path)
    parse_yaml(before, str(path))  # what our own reader does not take is said in its words
    after = changed(before, changes)
    kept = set(_comments(after))
    lost = [text for text in _comments(before) if text not in kept]
    if lost:
        expected = "comments that stand on lines of their own or behind an entry: move it first"
        raise BadFile([Problem(Place(str(path)), "", f"the comment '{lost[0]}', which would be lost", expected)])
    return Rewritten(path, before, after, plant_of(after, path))


def changed(text: str, changes: Iterable[Change]) -> str:
    """The text of a plant file with changes worked in.

    Args:
        text: a plant file that can be read.
        changes: what is to stand in it.

    Returns:
        The text; the very same one where nothing is new.
    """
    from ruamel.yaml import YAML

    ends = "\r\n" if "\r\n" in text else "\n"
    plain = text.replace("\r\n", "\n")
    writer = YAML()
    writer.preserve_quotes = True
    writer.width = 1_000_000
    writer.indent(mapping=2, sequence=4, offset=2)
    tree = writer.load(plain)
    as_it_was = _dump(writer, tree)
    for change in changes:
        _put(tree, change)
    after = _merged(plain, as_it_was, _dump(writer, tree))
    return after.replace("\n", ends)


def _comments(text: str) -> list[str]:
    """The comments of a YAML text, each as it stands from its ``#`` on."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    covered = [(token.start_mark.index, token.end_mark.index) for token in yaml.scan(text, Loader=loader)
               if isinstance(token, yaml.ScalarToken)]  # fmt: skip
    found, at, place = [], 0, 0
    for line in text.splitlines(keepends=True):
        for match in re.finditer(r"(?:^|(?<=\s))#", line):
            start = at + match.start()
            while place < len(covered) and covered[place][1] <= start:
                place += 1
            if place == len(covered) or not covered[place][0] <= start:
                found.append(line[match.start() :].rstrip())
                break
        at += len(line)
    return found


def _dump(writer: Any, tree: Any) -> str:
    out = io.StringIO()
    writer.dump(tree, out)
    return out.getvalue()


def _put(tree: Any, change: Change) -> None:
    here, way = tree, list(change.into)
    while way:
        name = way.pop(0)
        if not way:
            here = _mapping(here, name)
            break
        key, also = way.pop(0), change.also if len(way) == 0 else ()
        here = _entry(_list(here, name), KEYS.get(name, "name"), key, also)
    for name, value in change.fields.items():
        if value is None:
            here.pop(name, None)
        elif name not in here or _plain(here[name]) != _plain(value):
            here[name] = _written(value)


def _plain(value: Any) -> Any:
    return [str(one) for one in value] if isinstance(value, (list, tuple)) else str(value)


def _written(value: str | Sequence[str]) -> Any:
    """A value as YAML has it: numbers bare, texts quoted only where they must be."""
    from ruamel.yaml.comments import CommentedSeq
    from ruamel.yaml.scalarint import ScalarInt

    if isinstance(value, str):
        # "007" and "1e3" are texts, and stay so
        return ScalarInt(int(value)) if value.isdecimal() and str(int(value)) == value else value
    made = CommentedSeq([_written(one) for one in value])
    made.fa.set_flow_style()
    return made


def _mapping(here: Any, name: str) -> Any:
    from ruamel.yaml.comments import CommentedMap

    if here.get(name) is None:
        _block(here)
        here[name] = CommentedMap()
    return here[name]


def _list(here: Any, name: str) -> Any:
    from ruamel.yaml.comments import CommentedSeq

    if here.get(name) is None:
        _block(here)
        made = CommentedSeq()
        after = _last_comment(here)
        here[name] = made
        if after is not None:
            _comment_after(here, name, after)
    return here[name]


def _block(here: Any) -> None:
    """Let an entry that stands in braces stand line by line: a list below it would make one line without end."""
    if here.fa.flow_style():
        here.fa.set_block_style()


def _last_comment(here: Any) -> Any:
    """Takes off what stands behind an entry's last field, and gives it."""
    if not len(here):
        return None
    last = list(here)[-1]
    return here.ca.items.pop(last, None)


def _comment_after(here: Any, name: str, comment: Any) -> None:
    here.ca.items[name] = comment


def _entry(entries: Any, key: str, name: str, also: Sequence[str]) -> Any:
    from ruamel.yaml.comments import CommentedMap

    for one in entries:
        if str(one.get(key)) in (name, *also):
            return one
    made = CommentedMap({key: _written(name)})
    made.fa.set_flow_style()
    place = len(entries)
    if key == "conductor" and name.isdecimal():
        numbers = [str(one.get(key)) for one in entries]
        later = [at for at, text in enumerate(numbers) if text.isdecimal() and int(text) > int(name)]
        place = later[0] if later else place
    entries.insert(place, made)
    return made


def _merged(text: str, as_it_was: str, after: str) -> str:
    """Of what the library wrote only the lines that a change touched, in the text as people wrote it."""
    old, new, own = as_it_was.splitlines(True), after.splitlines(True), text.splitlines(True)
    at = _places(old, own)
    done: list[str] = []
    upto = 0
    for tag, first, last, new_first, new_last in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        start, end = at[first], at[last]
        done += own[upto:start] + new[new_first:new_last]
        upto = max(upto, end)
    return "".join(done + own[upto:])


def _places(old: Sequence[str], own: Sequence[str]) -> list[int]:
    """Where each line of one text stands in another that differs in its layout: the line that it begins in."""
    at = [0] * (len(old) + 1)
    for tag, first, last, start, end in difflib.SequenceMatcher(None, old, own, autojunk=False).get_opcodes():
        for number in range(first, last):
            at[number] = start + (number - first if tag == "equal" else 0)
        at[last] = end
    at[len(old)] = len(own)
    return at
