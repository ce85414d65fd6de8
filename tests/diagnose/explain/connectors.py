"""Connectors of the plant's own kind, without a plant around them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bench.plant.file import ConnectorType
from bench.plant.layout import layout_of
from bench.plant.things import Connector


def numbered(name: str, pins: int, rows: int = 1, **more: Any) -> Connector:
    """A connector with pins 1..pins in rows of equal length.

    Args:
        name: on its label.
        pins: how many.
        rows: how many.
        more: other fields of its type.
    """
    return _of(name, ConnectorType(name="R", pins=pins, rows=rows, **more))


def written_out(name: str, rows: Sequence[Sequence[str]]) -> Connector:
    """A connector whose rows are given pin by pin."""
    return _of(name, ConnectorType(name="R", rows=[list(row) for row in rows]))


def _of(name: str, kind: ConnectorType) -> Connector:
    return Connector(name, kind, layout_of(kind), "1", "1A", "", "rear", ())
