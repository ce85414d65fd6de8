"""A drawn team that forgot a breaker does what the page says then, and the shelf comes up in the same walk."""

import pytest

from bench.sequence.file import Do, Energise
from bench.walk import events as e
from bench.walk.results import results
from tests.rebuild.bench import Errors, kit
from tests.rebuild.evening import Evening
from tests.rebuild.job import Job
from tests.rebuild.plants import drawn
from tests.rebuild.site import Site
from tests.rebuild.team import Ledger, Team


class Sure(Team):
    """Who slips nowhere but at one breaker."""

    forgets = False

    def slips(self, kind, at):
        return kind == "forgotten" and self.forgets


class Forgets(Evening):
    """Who leaves a breaker out once."""

    left_out = ""
    at_full_volts = False

    def done(self, step):
        closes = isinstance(step.source, Do) and step.source.close and not self.left_out
        following = self.state.setting.plan.steps[step.index + 1].source if closes else None
        full = isinstance(following, Energise) and following.voltage.value > 5.0
        if closes and full == self.at_full_volts:
            self.left_out = step.source.close[0]
            self.team.forgets = True
        answer = super().done(step)
        self.team.forgets = False
        return answer


@pytest.mark.slow
@pytest.mark.parametrize(("looks", "at_full_volts"), [(True, False), (False, False), (True, True)])
def test_a_breaker_that_was_left_out_is_closed_where_the_page_says_so(looks, at_full_volts, monkeypatch):
    found = drawn(503)
    site, bench = Site(found), kit("middling")
    site.faults = []
    if not looks:
        monkeypatch.setattr(Evening, "_look_first", lambda evening, step: None)
    job = Job(found.plant, bench)
    shelf = next(iter(shelf.name for shelf in found.plant.shelves.values() if shelf.inlets))
    first = job.begin("first-power", job.drafted("first-power", shelf), gates=False)
    assert first is not None
    evening = Forgets(first, site, Sure("503"), Errors(bench, "503"), Ledger(), job.now)
    evening.at_full_volts = at_full_volts
    state = evening.run()
    assert evening.left_out and any(isinstance(taken.entry.event, e.Went) for taken in evening.taken) == at_full_volts
    failed = [one.sentence for one in results(state).values() if one.verdict == "fail"]
    assert bool(failed) != looks, failed
    assert looks or "Nothing arrives. Look at " in failed[0]
