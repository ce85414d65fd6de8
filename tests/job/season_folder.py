"""The simulated season, made once for all tests, and evidence made by hand."""

import functools
import shutil

from bench.files import shipped
from bench.job.folder import open_folder
from bench.job.rows import Evidence, Told
from bench.plant.load import load_plant
from bench.simulate.season import make_season
from tests import made_once

PLANT = shipped("sequences") / "gannet-head" / "plant.yaml"


@functools.cache
def plant():
    """Gannet Head."""
    return load_plant(PLANT)


@functools.cache
def season():
    """A folder with the season of seed 1. Nobody may change it; see :func:`copy`."""
    return made_once.folder("season", _made)


def _made(folder):
    make_season(folder, 1)
    open_folder(folder)  # what each record says is worked out once for all who read or copy it


def copy(to, *, worked_out=True):
    """The season in another folder, to be changed.

    Args:
        to: the folder, which is not there yet.
        worked_out: with what was worked out of its records; else nothing was ever read of them.
    """
    # a name in use by somebody who writes there now ends with the number of its process
    meanwhile = "*.[0-9]*" if worked_out else ".proveout-cache"
    shutil.copytree(season(), to, ignore=shutil.ignore_patterns(meanwhile))
    return to


def record(week):
    """The record of a weekly round, from 1."""
    return next(season().glob(f"*-weekly-round-{week}.jsonl"))


def reading(
    subject,
    between,
    verdict="pass",
    *,
    at="2026-03-01T10:00:00.000000Z",
    reads="resistance",
    high=1.5,
    low=None,
    value=1.0,
    over="",
    meter="GH-1",
    operator="Ines",
    record="r1",
    n=5,
    standard=0.01,
    ambient=20.0,
):
    """One row of evidence; by default a resistance that is low enough."""
    function = "resistance 2w" if reads == "resistance" else reads
    unit = {"resistance": "Ω", "insulation": "Ω", "voltage": "V", "current": "A"}[reads]
    return Evidence(
        record=record,
        n=n,
        at=at,
        step="1",
        subject=subject,
        between=tuple(between),
        function=function,
        verdict=verdict,
        said=f"{verdict.capitalize()}: as read.",
        value=None if over else value,
        standard=None if over else standard,
        expanded=None if over else 2 * standard,
        unit=unit,
        over=over,
        range=100.0,
        low=low,
        high=high,
        meter=meter,
        operator=operator,
        ambient=ambient,
    )


def apart(a, b, verdict="pass", **more):
    """Two places that should not be joined."""
    return reading(f"{a}~{b}", (a, b), verdict, high=None, low=1e5, over="+", **more)


def disturbed(*names, at="2026-04-01T10:00:00.000000Z", text="moved", when=""):
    """A disturbance."""
    return Told(record="d", n=1, at=at, kind="disturbance", names=names, text=text, by="Tove", when=when)
