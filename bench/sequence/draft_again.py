"""Drafts readings that single findings call for: what a repair touched, and what may be where nobody looked."""

from __future__ import annotations

import json
from collections.abc import Sequence

SOURCE = "common practice, no source: wires that should be apart read open"


def again(
    what: str, dead: str, opening: str, closing: str, wires: Sequence[str], apart: Sequence[tuple[str, str]]
) -> str:
    """Steps that prove wires to get through, and pins to be apart.

    Args:
        what: what it is about, in words.
        dead: the steps that make sure of a dead plant, to be filled with that.
        opening: the steps that prove the bench.
        closing: the steps that end it.
        wires: conductors to prove from end to end.
        apart: places, two by two, that should be apart.
    """
    body = dead.format(what=what) + opening
    if wires:
        body += f"""\
  - step: each
    over: conductors
    only: {json.dumps(list(wires))}
    title: Conductors from pin to pin
    steps:
      - step: measure
        title: "{{conductor.name}}, {{conductor.colour}}"
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}

"""
    for a, b in apart:
        body += f"""\
  - step: measure
    title: "{a} against {b}"
    read: resistance
    between: ["{a}", "{b}"]
    limit: {{at-least: 100 kohm, source: "{SOURCE}"}}

"""
    return body + closing
