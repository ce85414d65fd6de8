"""Evidence out of a first power as it is drafted: what each rung proves, and what it does not."""

from pathlib import Path

import pytest

from bench.diagnose.evidence_ready import readiness
from bench.diagnose.evidence_rows import ENERGISED, PARTLY, distil
from bench.walk import events as e
from bench.walk.state import request, take


@pytest.fixture(scope="module")
def ladder(tmp_path_factory):
    """The drafted ladder of the small hall's bay 2 on a sound plant: its entries and the plant."""
    with pytest.MonkeyPatch.context() as patch:
        for other in ("power", "walk"):
            patch.syspath_prepend(str(Path(__file__).parents[1] / other))
        import pure_walk
        import small_hall
    folder = tmp_path_factory.mktemp("ladder")
    first = pure_walk.begun(folder, small_hall.written(folder), "2")
    setting = first.setting
    walk = pure_walk.PureWalk(first, setting.plant, [], 1)
    entries = [e.Entry(n=1, at="2026-06-01T18:00:00.000000Z", event=setting.began)]
    while not walk.state.finished:
        at = f"2026-06-01T{18 + len(entries) // 3600:02d}:{len(entries) // 60 % 60:02d}:{len(entries) % 60:02d}.000000Z"
        entry = e.Entry(n=len(entries) + 1, at=at, event=walk._answer(request(walk.state)))
        walk.state = take(walk.state, entry)
        entries.append(entry)
    return entries, setting.plant


def claims_after(ladder, count):
    """Claim kind and name to status when so many events of the ladder are on record."""
    entries, plant = ladder
    found = readiness(plant, distil("ladder", entries[:count]).evidence)
    return {(one.claim.kind, one.claim.about): one.status for thing in found.of_kind("shelf") for one in thing.states}


def test_the_whole_ladder_proves_every_shelf_of_the_bay(ladder):
    """No shorts, both polarities, the idle current of each shelf."""
    entries, plant = ladder
    found = claims_after(ladder, len(entries))
    shelves = [shelf.name for shelf in plant.shelves_of("2")]
    for shelf in shelves:
        for inlet in plant.shelves[shelf].inlets:
            assert found["apart", inlet.name] == found["polarity", inlet.name] == found["quiet", inlet.name] == "proven"
        assert found["idle", shelf] == "proven"


def test_nothing_is_proven_before_its_rung(ladder):
    """Dead inlets prove no polarity; a shelf that is fed without its cards proves no idle current."""
    entries, plant = ladder
    shelf = plant.shelves_of("2")[0]
    inlet = shelf.inlets[0].name
    came_up = [entry.n for entry in entries if isinstance(entry.event, e.Energised)]
    before = claims_after(ladder, came_up[0] - 1)
    assert before["quiet", inlet] == "proven" and before["polarity", inlet] == "never tested"
    rows = [row for row in distil("ladder", entries).evidence if row.function == ENERGISED]
    whole = [row for row in rows if PARTLY not in row.between and row.subject == shelf.name]
    assert whole and any(PARTLY in row.between for row in rows)
    assert claims_after(ladder, whole[0].n - 1)["idle", shelf.name] == "never tested"
    assert claims_after(ladder, whole[0].n)["idle", shelf.name] == "proven"
