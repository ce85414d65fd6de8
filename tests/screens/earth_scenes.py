"""Moments of a search for a second path to earth: the shipped sequence, walked on paper over the simulated plant."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "diagnose"))

from earth_walk import EarthWalk, poor, second_path

from bench.walk import events as e


def _seated(walk: EarthWalk) -> EarthWalk:
    walk.say(e.Seated(by="Ana", where="bench laptop"))
    return walk


@cache
def begun() -> EarthWalk:
    """The search has begun: nothing is suspected yet."""
    return _seated(EarthWalk([second_path("E3", "ET1", 6.0)]).reach(5))


@cache
def suspecting() -> EarthWalk:
    """After most readings: a second path and a poor bond are suspected."""
    return _seated(EarthWalk([second_path("E3", "ET1", 6.0), poor("LE5", 25)]).reach(40))


@cache
def lifted() -> EarthWalk:
    """A bond is off and its gap is to be read."""
    return _seated(EarthWalk().until_lifted())


@cache
def ended() -> EarthWalk:
    """The search found a second path."""
    walk = EarthWalk([second_path("E3", "ET1", 6.0)])
    walk.run()
    return _seated(walk)
