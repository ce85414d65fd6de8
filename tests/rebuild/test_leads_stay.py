"""A drawn team whose probe stood a pin beside finds it at the next reading, and reads the one before again."""

import pytest

from bench.plant import faults as k
from bench.quantity import Resistance
from bench.sequence.views import objects
from bench.walk import events as e
from bench.walk.results import results
from tests.rebuild.bench import Errors, kit
from tests.rebuild.evening import Evening
from tests.rebuild.job import Job
from tests.rebuild.plants import drawn, signal_cables
from tests.rebuild.site import Site
from tests.rebuild.team import Ledger, Team


class Sure(Team):
    """Who slips nowhere but at one reading, once; and may overlook what the page asks to look at."""

    def __init__(self, at, overlooks):
        super().__init__("sure")
        self.at, self.overlooks = at, overlooks

    def slips(self, kind, at):
        if kind == "overlooked":
            return self.overlooks
        once = kind == "wrong place" and at == self.at
        self.at = "" if once else self.at
        return once


@pytest.mark.slow
@pytest.mark.parametrize("overlooks", [False, True])
@pytest.mark.parametrize("rows", [1, 2])
def test_a_short_beside_a_probe_that_stood_wrong_is_found(rows, overlooks):
    found = drawn(0)
    plant, bench = found.plant, kit("middling")
    cable = next(
        plant.cables[name]
        for name in signal_cables(plant)
        if len(plant.connectors[plant.cables[name].near[0]].layout.grid) == rows
    )
    first = objects(plant, "wires-in-turn", cable.near[0])[1]
    red, black = first.properties["red"], first.properties["black"]
    site = Site(found)
    site.faults = [k.Short(between=(red, black), ohms=Resistance(0.05))]
    job = Job(plant, bench)
    began = job.begin("continuity", job.drafted("continuity", cable.name), gates=False)
    assert began is not None
    at = f"{first.properties['pin']} against {first.properties['other']} {' '.join(sorted((red, black)))}"
    team = Sure(at, overlooks)
    evening = Evening(began, site, team, Errors(bench, "0"), Ledger(), job.now)
    state = evening.run()
    assert not team.at, "the slip was made"
    went = [taken for taken in evening.taken if isinstance(taken.entry.event, e.Went)]
    verdicts = {one.subject: one.verdict for one in results(state).values()}
    assert bool(went) != overlooks
    assert verdicts[first.name] == ("pass" if overlooks else "fail")
