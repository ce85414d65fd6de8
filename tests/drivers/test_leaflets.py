"""The profiles of the page for people who write one: read as they stand there, and their examples replayed."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from bench.files import parse
from bench.instruments.examples import replay
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.profile.library import load_profile
from bench.instruments.profile.profile import Profile
from tests.walks.tool import ROOT

PAGE = (ROOT / "docs" / "profile-from-a-leaflet.md").read_text("utf-8")
OTHERS = sorted((ROOT / "tests" / "drivers" / "leaflets").glob("*.yaml"))
BLOCKS = dict(re.findall(r"```yaml\nprofile: (\S+)\n(.*?)```", PAGE, re.DOTALL))


def told(name: str) -> Profile:
    return parse(f"profile: {name}\n{BLOCKS[name]}", Profile, f"{name}.yaml")[0]


def test_there_are_five_and_each_fits_on_a_page() -> None:
    lines = {name: text.count("\n") + 1 for name, text in BLOCKS.items()}
    assert len(lines) == 5
    assert max(lines.values()) <= 50, lines


def test_the_page_says_how_many_lines_each_took() -> None:
    said = {name: int(lines) for name, lines in re.findall(r"^\| ([a-z-]+) \| (\d+) \|", PAGE, re.MULTILINE)}
    took = {name: text.count("\n") + 1 for name, text in BLOCKS.items()}
    for path in OTHERS:
        took[path.stem] = sum(not line.startswith("#") for line in path.read_text("utf-8").splitlines())
    assert said == took and len(took) == 10


@pytest.mark.parametrize("path", OTHERS, ids=lambda path: path.stem)
def test_a_profile_that_was_written_by_the_page_alone_does_what_its_examples_say(path: Path) -> None:
    profile = load_profile(path)
    assert path.read_text("utf-8").startswith("# Leaflet: ") and profile.examples
    for example in profile.examples:
        assert replay(profile, example) == []


@pytest.mark.parametrize("name", BLOCKS)
def test_a_profile_from_a_leaflet_does_what_its_examples_say(name: str) -> None:
    profile = told(name)
    assert profile.examples
    for example in profile.examples:
        assert replay(profile, example) == []


def test_four_lines_of_ones_own_are_a_hygrometer(tmp_path) -> None:
    program = tmp_path / "hygrometer.py"
    program.write_text("import sys\nfor line in sys.stdin:\n    print('45.2%', flush=True)\n", "utf-8")
    with Instrument(told("hygrometer"), open_port(f"program:{sys.executable} {program}")) as meter:
        meter.configure("humidity")
        sample = meter.read()
        assert (sample.value, sample.unit) == (45.2, "%RH")
