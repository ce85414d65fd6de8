"""Moments of a search for a second path to earth: the shipped sequence, walked on paper over the simulated plant."""

from __future__ import annotations

from functools import cache

from bench.walk import events as e
from tests.diagnose.earth.earth_walk import EarthWalk, poor, second_path


def _seated(walk: EarthWalk) -> EarthWalk:
    walk.add(e.Seated(by="Ana", where="bench laptop"))
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
    walk.search()
    return _seated(walk)
