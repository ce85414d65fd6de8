"""Whatever bytes come from outside: no crash, no hang, nothing accepted that is not what the bytes say.

Short here, and the same every time; ``python -m tests.fuzz`` goes on as long as it is told.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from bench.files import BadFile, is_file
from tests.fuzz.damage import damaged
from tests.fuzz.targets import LIBRARY, TARGETS, seeds

ROUNDS = {"plant": 80, "sequence": 80, "sealed": 80, "profile": 60, "record": 100}


@pytest.mark.parametrize("name", TARGETS)
def test_sound_input_is_taken(name: str) -> None:
    assert any(TARGETS[name](seed) for seed in seeds(name)) or name.startswith("scpi-")


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.quick_cases(7)
def test_damaged_input_breaks_no_promise(name: str) -> None:
    accepted = 0
    for number in range(ROUNDS.get(name, 150)):
        draw = random.Random(f"{name} {number}")
        data = damaged(draw, draw.choice(seeds(name)))
        try:
            accepted += TARGETS[name](data)
        except BaseException as error:
            error.add_note(f"input {number}: {data[:3000]!r}")
            raise


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.parametrize(
    "data", [b"", b"\x00", b"\xff" * 40, b"[" * 100_000, b"{" * 100_000, b"\n" * 5000, b"a: &a [*a]"]
)
@pytest.mark.quick_cases(67)
def test_extremes(name: str, data: bytes) -> None:
    TARGETS[name](data)


@pytest.mark.parametrize("name", ["n" * 5000, "\ud800", "a/" * 3000, "\x00"], ids=["long", "no text", "deep", "nul"])
def test_names_that_no_file_can_have_are_told_as_files_that_are_not_there(name: str, tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="no profile"):
        LIBRARY.profile(name)
    assert not is_file(tmp_path / name)
