"""Draws ``docs/files.md``: every field of every kind of file, from the schemas that editors read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from bench.commands.schema import schema

PAGE: Final = Path(__file__).parents[2] / "docs" / "files.md"
KINDS: Final = {
    "plant": "A job has one plant file: what is there, and what is meant to be there.",
    "bench": "A bench file says which instruments are at hand and where they answer.",
    "sequence": "A sequence says what is to be done, in order. `proveout draft` writes most of them.",
    "profile": "A profile says how one kind of instrument talks and how accurate it is.",
    "rates": "`rates.yaml` in a job says how the finds of its survey come about, and what acts take there.",
}
HEAD: Final = """# Every field of every file

Drawn from the schemas by `make docs`; a test holds it against them. An editor that knows YAML schemas shows the same
while you type, and `proveout check FILE` says what is wrong. [What it is told](told.md) is the way in; this page is to
look things up.

Files: {files}.
"""


def page() -> str:
    """The page as it should be."""
    lines = [HEAD.format(files=", ".join(f"[{kind}](#the-{kind}-file)" for kind in KINDS))]
    for kind, about in KINDS.items():
        whole = schema(kind)
        lines += [f"## The {kind} file", "", about]
        for name in _reached(whole):
            lines += ["", *_definition(name, whole["$defs"][name], kind)]
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _reached(whole: dict[str, Any]) -> list[str]:
    """Names of definitions in the order in which a reader comes to them."""
    found: list[str] = []

    def go(node: Any) -> None:
        for name in _references(node):
            if name not in found:
                found.append(name)
                go(whole["$defs"][name])

    go({"$ref": whole["$ref"]})
    return found


def _references(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        if "$ref" in node:
            yield node["$ref"].rsplit("/", 1)[1]
        for key, value in node.items():
            if key != "discriminator":
                yield from _references(value)
    elif isinstance(node, list):
        for value in node:
            yield from _references(value)


def _definition(name: str, shape: dict[str, Any], kind: str) -> list[str]:
    objects = [one for one in (shape, *shape.get("anyOf", ())) if "properties" in one]
    lines = [f"### {_heading(name, kind)}", ""]
    for one in objects:
        lines += [_text(one.get("description", "").split("Attributes:")[0]), ""]
        lines += ["| field | how it is written | what it means |", "| --- | --- | --- |"]
        for field, value in one["properties"].items():
            needed = field in one.get("required", ())
            lines.append(f"| `{field}`{' (needed)' if needed else ''} | {_written(value, kind)} | {_meaning(value)} |")
    if len(shape.get("anyOf", ())) > len(objects):
        lines += ["", "A bare text or number stands for the whole of it, where one is enough."]
    return lines


def _heading(name: str, kind: str) -> str:
    """A heading that no other file's types have."""
    return f"{_words(name)}, in a {kind} file"


def _place(name: str, kind: str) -> str:
    """Where a heading is found by a link within the page."""
    return _heading(name, kind).casefold().replace(",", "").replace(" ", "-")


def _words(name: str) -> str:
    """A type's name as words: ``ConnectorType`` is a connector type."""
    parts = "".join(f" {sign}" if sign.isupper() else sign for sign in name).split()
    return " ".join(parts).capitalize()


def _text(text: str) -> str:
    return " ".join(text.split()).replace("``", "`").replace("|", "\\|").replace("<", "&lt;")


def _meaning(value: dict[str, Any]) -> str:
    said = _text(value.get("description", "").partition(" Written as ")[0])
    usual = value.get("default")
    if usual in (None, "", [], {}) or not isinstance(usual, str | int | float):
        return said
    shown = str(usual).lower() if isinstance(usual, bool) else str(usual)
    return f"{said} Without it: `{_code(shown)}`."


def _code(text: str) -> str:
    return text.replace("\r", "\\r").replace("\n", "\\n").replace("|", "\\|")


def _written(value: dict[str, Any], kind: str) -> str:
    """How a value is written, in words; a definition is a link."""
    _, _, how = value.get("description", "").partition(" Written as ")
    if how:
        return _text(how.rstrip("."))
    return _text_of(value, kind)


def _text_of(value: dict[str, Any], kind: str) -> str:
    if "$ref" in value:
        name = value["$ref"].rsplit("/", 1)[1]
        return f"[{_words(name).casefold()}](#{_place(name, kind)})"
    if "enum" in value:
        return ", ".join(f"`{one}`" for one in value["enum"] if one is not None)
    if "const" in value:
        return f"`{value['const']}`"
    if "anyOf" in value:
        parts = [_text_of(one, kind) for one in value["anyOf"] if one.get("type") != "null"]
        return " or ".join(dict.fromkeys(parts))
    if value.get("description", "").startswith(("a ", "an ")) and value.get("type") != "array":
        return _text(value["description"])
    return _of_type(value, kind)


def _of_type(value: dict[str, Any], kind: str) -> str:
    match value.get("type"):
        case "array" if "prefixItems" in value:
            return f"list of {' and '.join(_text_of(one, kind) for one in value['prefixItems'])}"
        case "array":
            return f"list of {_text_of(value.get('items', {}), kind)}"
        case "object" if isinstance(value.get("additionalProperties"), dict):
            return f"names, each with {_text_of(value['additionalProperties'], kind)}"
        case "integer":
            return "whole number"
        case "number":
            return "number"
        case "boolean":
            return "`true` or `false`"
        case "string" | ["string", "number"]:
            return "text"
    return "anything"
