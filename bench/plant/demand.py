"""What breakers and cables carry when the shelves idle, and what is lost on the way to them.

One feed is taken to carry everything that it reaches, since the surviving feed of two must. Currents are the most that
the cards should draw at nominal voltage; resistances are nominal at the plant's ambient temperature.
"""

from __future__ import annotations

from bench.plant.model import NoPath, Plant, SupplyPath


def feed_paths(plant: Plant, feed: str) -> dict[str, SupplyPath]:
    """The way to each inlet of a feed, by the inlet's name; inlets that nothing reaches are left out."""
    found = {}
    for inlet in plant.inlets_of(feed):
        try:
            found[inlet.name] = plant.supply_path(inlet.shelf, feed)
        except NoPath:
            continue
    return found


def edge_currents(plant: Plant, feed: str) -> dict[str, float]:
    """Amperes through each edge on the ways of a feed, by the edge's id."""
    found: dict[str, float] = {}
    for inlet, path in feed_paths(plant, feed).items():
        amperes = plant.idle_current(plant.inlets[inlet].shelf)[2]
        for edge in (*path.out, *path.back):
            found[edge.id] = found.get(edge.id, 0.0) + amperes
    return found


def breaker_currents(plant: Plant) -> dict[str, float]:
    """Amperes through each breaker when its feed is alone."""
    found = dict.fromkeys(plant.breakers, 0.0)
    for feed in plant.feeds:
        for edge, amperes in edge_currents(plant, feed).items():
            if edge in found:
                found[edge] += amperes
    return found


def inlet_drops(plant: Plant) -> dict[str, float]:
    """Volts lost between supply and inlet, there and back, by the inlet's name; the supply's own loss not counted."""
    found: dict[str, float] = {}
    for feed in plant.feeds:
        currents = edge_currents(plant, feed)
        for inlet, path in feed_paths(plant, feed).items():
            found[inlet] = sum(currents[edge.id] * edge.ohms for edge in (*path.out, *path.back))
    return found


def fault_currents(plant: Plant) -> dict[str, float]:
    """Amperes of a short right behind each breaker, by its name: the supply's voltage over what lies before it.

    Only the supply's own resistance, conductors and closed breakers limit it, by their nominal resistance at the
    plant's ambient temperature. Breakers on no way of a feed from a supply are left out.

    Args:
        plant: the plant.
    """
    found: dict[str, float] = {}
    for feed in plant.feeds:
        for path in feed_paths(plant, feed).values():
            supply = plant.supplies.get(path.supply)
            if supply is None:
                continue
            order = [edge.id for edge in path.out]
            for name in path.breakers:
                # edges run from the inlet to the supply, so the breaker and all behind its place lie before the short
                before, behind = path.out[order.index(name) :], path.out[: order.index(name)]
                cables = {plant.conductors[edge.id].cable for edge in behind if edge.kind == "conductor"}
                back = [edge for edge in path.back if not _of(plant, edge.id, cables)]
                ohms = supply.ohms + sum(edge.ohms for edge in (*before, *back))
                if ohms > 0:
                    amperes = abs(supply.volts) / ohms
                    most = amperes if supply.limit_a is None else min(amperes, supply.limit_a)
                    found[name] = max(most, found.get(name, 0.0))
    return found


def _of(plant: Plant, edge: str, cables: set[str]) -> bool:
    conductor = plant.conductors.get(edge)
    return conductor is not None and conductor.cable in cables
