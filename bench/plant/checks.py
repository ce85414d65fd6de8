"""What a whole plant must fulfil to make sense: feeds that reach their shelves, poles apart, one single point."""

from __future__ import annotations

from bench.plant.model import Plant
from bench.plant.report import Report


def check_plant(plant: Plant, report: Report) -> None:
    """Note what does not make sense in a plant as a whole."""
