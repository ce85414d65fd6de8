"""The published figures that tests hold the program against, each file read once for all of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import yaml

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@cache
def published(name: str) -> dict[str, Any]:
    """What a YAML file of this folder holds. Nobody may change it."""
    found: dict[str, Any] = yaml.load((Path(__file__).parent / name).read_text("utf-8"), _LOADER)
    return found
