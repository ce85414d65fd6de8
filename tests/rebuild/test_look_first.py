"""A drawn team that forgot a breaker does what the page says then, and the shelf comes up in the same walk."""

import pytest

from bench.sequence.file import Do
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

    def slips(self, kind):
        return kind == "forgotten" and self.forgets


class Forgets(Evening):
    """Who leaves the first breaker of a shelf out, once."""

    left_out = ""

    def done(self, step):
        closes = isinstance(step.source, Do) and step.source.close and not self.left_out
        if closes and step.source.close[0] not in self.state.conditions.handled.closed:
            self.left_out = step.source.close[0]
            self.team.forgets = True
        answer = super().done(step)
        self.team.forgets = False
        return answer


@pytest.mark.slow
@pytest.mark.parametrize("looks", [True, False])
def test_a_breaker_that_was_left_out_is_closed_where_the_page_says_so(looks, monkeypatch):
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
    state = evening.run()
    assert evening.left_out
    failed = [one.sentence for one in results(state).values() if one.verdict == "fail"]
    assert bool(failed) != looks, failed
    assert looks or "Nothing arrives. Look at " in failed[0]
