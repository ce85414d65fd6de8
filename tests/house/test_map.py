"""DEVELOPERS.md tells the house as it is."""

from __future__ import annotations

import re

from tests.house.rooms import BEGIN, DEVELOPERS, END, HOUSE, rooms


def test_every_room_stands_in_the_table() -> None:
    text = DEVELOPERS.read_text("utf-8")
    drawn = text[text.index(BEGIN) : text.index(END)]
    assert set(re.findall(r"`(\w+)/`", drawn)) - {"bench"} == set(rooms())
    assert set(re.findall(r"`(\w+)` \d", drawn)) == {name for inner in rooms().values() for name in inner}


def test_every_module_on_the_ways_through_the_house_is_there() -> None:
    text = DEVELOPERS.read_text("utf-8")
    ways = text[text.index("Three ways through the house") : text.index("Top level besides")]
    named = re.findall(r"`([a-z_/]+)`", ways)
    folder, missing = "", []
    for name in named:
        path = f"{name}.py"
        if "/" in name:
            folder = name.rpartition("/")[0]
        elif folder and (HOUSE / folder / path).is_file():
            path = f"{folder}/{path}"
        if not (HOUSE / path).is_file():
            missing.append(name)
    assert len(named) > 40 and missing == []
