"""The schemas that shipped files point to are those of today's types, and accept the shipped files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from bench.commands.schema import KINDS, schema
from tests.walks.tool import ROOT

SCHEMAS = ROOT / "sequences" / "schemas"
FILES = sorted([*(ROOT / "sequences").rglob("*.yaml"), *(ROOT / "drivers").glob("*.yaml")])


@pytest.mark.parametrize("kind", KINDS)
def test_the_shipped_schema_is_the_current_one(kind: str) -> None:
    assert json.loads((SCHEMAS / f"{kind}.json").read_text("utf-8")) == json.loads(json.dumps(schema(kind))), (
        "run `make schema`"
    )


def as_text(value: Any) -> Any:
    """A YAML tree as an editor's language server sees it, with every scalar plain."""
    if isinstance(value, dict):
        return {str(key): as_text(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_text(inner) for inner in value]
    return value if isinstance(value, int | float | str | bool) or value is None else str(value)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
@pytest.mark.quick_cases(14)
def test_shipped_files_point_to_a_schema_that_accepts_them(path: Path) -> None:
    first = path.read_text("utf-8").splitlines()[0]
    assert first.startswith("# yaml-language-server: $schema="), path
    target = (path.parent / first.partition("=")[2]).resolve()
    assert target.parent == SCHEMAS
    validator = jsonschema.Draft202012Validator(json.loads(target.read_text("utf-8")))
    tree = as_text(yaml.safe_load(path.read_text("utf-8")))
    errors = [f"{'/'.join(map(str, error.path))}: {error.message}" for error in validator.iter_errors(tree)]
    assert not errors


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_says_what_it_means(kind: str) -> None:
    """Whoever writes a file by the help of an editor reads nothing else."""
    bare = [
        f"{name}.{field}"
        for name, one in schema(kind)["$defs"].items()
        for shape in (one, *one.get("anyOf", ()))
        for field, value in shape.get("properties", {}).items()
        if len(value.get("description", "")) < 8
    ]
    assert bare == []


def test_nothing_is_said_of_a_field_that_is_gone() -> None:
    from bench.commands.schema import _type_of
    from bench.field_notes import OF_TYPE
    from bench.files import _structs_in

    known = {
        f"{base.__name__}.{field}"
        for kind in KINDS
        for struct in _structs_in(_type_of(kind), set())
        for base in (struct, getattr(struct, "__described_by__", struct))
        for field in (*struct.__struct_fields__, *getattr(base, "__struct_fields__", ()))
    }
    assert set(OF_TYPE) <= known, set(OF_TYPE) - known
