"""Every page of every draft of both jobs, as the machine asks for it: for what must be true of all pages."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import msgspec

from bench import assemble
from bench.plant.load import load_plant
from bench.sequence.draft import draft
from bench.walk import events as e
from bench.walk.standing import Phase
from bench.walk.state import State, start, take
from tests.walks.tool import JOB, ROOT

HUT: Final = ROOT / "tests" / "jobs" / "beacon-hut"
BENCH: Final = """
bench: everything
instruments:
  - {name: meter, profile: scpi-bench-meter, port: /dev/ttyS0}
  - {name: tester, profile: scpi-insulation-tester, port: /dev/ttyS1}
  - {name: supply, profile: scpi-supply, port: /dev/ttyS2}
  - {name: clamp, profile: hand-held-clamp, port: typed}
roles: {ohms: meter, volts: meter, amps: AMPS, supply: supply, insulation: tester}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}
  - {name: the 1 Mohm resistor, value: 1 Mohm, tolerance: 1 %}
"""
DRAFTS: Final = {
    "gannet-head": (
        *((kind, "W101") for kind in ("continuity", "crosses", "isolation", "insulation", "landing")),
        ("identify", "W512"),
        *((kind, "bay 2") for kind in ("polarity", "idle-current", "first-power")),
        ("continuity", "bay 2"),
        ("supply-search", "2A"),
        ("earth", ""),
        ("earth-live", ""),
    ),
    "beacon-hut": (
        *((kind, "C1") for kind in ("continuity", "crosses", "isolation", "insulation", "landing")),
        *((kind, "finder") for kind in ("polarity", "idle-current", "first-power", "continuity")),
        ("supply-search", "finder-top"),
        ("earth", ""),
        ("earth-live", ""),
    ),
}
"""Job to what is drafted in it, about what."""
PHASES: Final = {
    "wait": (Phase.WAITING,),
    "set": (Phase.SWITCHING,),
    "seek": (Phase.ADVISING,),
}
"""How a step that takes no reading and asks nothing stands when it is under way."""


@functools.cache
def begun(folder: Path, job: str, kind: str, of: str) -> State:
    """A walk of a draft that has begun.

    Args:
        folder: to put the files into.
        job, kind, of: as in :data:`DRAFTS`.
    """
    home = JOB if job == "gannet-head" else HUT
    here = folder / job
    shutil.copytree(home, here, dirs_exist_ok=True)
    plant = load_plant(here / "plant.yaml")
    of = of.removeprefix("bay ")
    (here / "drafted.yaml").write_text(draft(plant, kind, of, "plant.yaml", "sequence.json"), "utf-8")
    amps = "clamp" if kind in ("earth-live", "idle-current") else "meter"
    (here / "bench.yaml").write_text(BENCH.replace("AMPS", amps), "utf-8")
    first = assemble.began(assemble.load_job(here / "drafted.yaml", here / "bench.yaml"), "Ada")
    return take(start(), e.Entry(n=1, at="2026-05-12T18:00:00.000000Z", event=first))


def pages(folder: Path, job: str, kind: str, of: str) -> Iterator[tuple[str, State]]:
    """Each step's key with the walk standing at it; a reading both while probes are placed and while it is taken."""
    whole = begun(folder, job, kind, of)
    assert whole.setting is not None
    for index, step in enumerate(whole.setting.plan.steps):
        if step.kind == "energise":
            continue  # its page follows a load that comes up; the scenes have it
        phases = (Phase.PLACING, Phase.MEASURING) if step.reads else PHASES.get(step.kind, (Phase.ASKING,))
        for phase in phases:
            yield f"{step.key} {phase.value}", standing(whole, index, phase)


def standing(whole: State, index: int, phase: Phase) -> State:
    """The walk, standing at a step."""
    replace = msgspec.structs.replace
    return replace(whole, place=replace(whole.place, cursor=index), phase=phase)
