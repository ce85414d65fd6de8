"""Evidence out of a first power as it is drafted: what each stage proves, and what it does not."""

from pathlib import Path

import pytest

from bench.job.history import History
from bench.job.points import point_of
from bench.job.readiness import readiness
from bench.job.rows import ENERGISED, PARTLY, distil, every_reading
from bench.job.series import key_of
from bench.job.study import study
from bench.record.append import RecordWriter
from bench.record.index import tells_beside_readings
from bench.record.replay import follow
from bench.walk import events as e
from bench.walk.state import take
from tests.power import pure_walk, small_hall


@pytest.fixture(scope="module")
def stages(tmp_path_factory):
    """The drafted stages of the small hall's bay 2 on a sound plant: its entries and the plant."""
    folder = tmp_path_factory.mktemp("stages")
    first = pure_walk.begun(folder, small_hall.written(folder), "2")
    setting = first.setting
    walk = pure_walk.PureWalk(first, setting.plant, [], 1)
    entries = [e.Entry(n=1, at="2026-06-01T18:00:00.000000Z", event=setting.began)]
    while not walk.state.finished:
        at = f"2026-06-01T{18 + len(entries) // 3600:02d}:{len(entries) // 60 % 60:02d}:{len(entries) % 60:02d}.000000Z"
        entry = e.Entry(n=len(entries) + 1, at=at, event=walk.event())
        walk.state = take(walk.state, entry)
        entries.append(entry)
    return entries, setting.plant


def claims_after(stages, count):
    """Claim kind and name to status when so many events of the stages are on record."""
    entries, plant = stages
    found = readiness(plant, distil("stages", follow(Path("stages"), entries[:count])).evidence)
    return {(one.claim.kind, one.claim.about): one.status for thing in found.of_kind("shelf") for one in thing.states}


@pytest.mark.slow
def test_all_stages_prove_every_shelf_of_the_bay(stages):
    """No shorts, both polarities, the idle current of each shelf."""
    entries, plant = stages
    found = claims_after(stages, len(entries))
    shelves = [shelf.name for shelf in plant.shelves_of("2")]
    for shelf in shelves:
        for inlet in plant.shelves[shelf].inlets:
            assert found["apart", inlet.name] == found["polarity", inlet.name] == found["quiet", inlet.name] == "proven"
        assert found["idle", shelf] == "proven"


@pytest.mark.slow
def test_nothing_is_proven_before_its_stage(stages):
    """Dead inlets prove no polarity; a shelf that is fed without its cards proves no idle current."""
    entries, plant = stages
    shelf = plant.shelves_of("2")[0]
    inlet = shelf.inlets[0].name
    came_up = [entry.n for entry in entries if isinstance(entry.event, e.Energised)]
    before = claims_after(stages, came_up[0] - 1)
    assert before["quiet", inlet] == "proven" and before["polarity", inlet] == "never tested"
    rows = [row for row in distil("stages", follow(Path("stages"), entries)).evidence if row.function == ENERGISED]
    whole = [row for row in rows if PARTLY not in row.between and row.subject == shelf.name]
    assert whole and any(PARTLY in row.between for row in rows)
    assert claims_after(stages, whole[0].n - 1)["idle", shelf.name] == "never tested"
    assert claims_after(stages, whole[0].n)["idle", shelf.name] == "proven"


@pytest.mark.slow
def test_every_time_that_a_shelf_came_up_is_traced(stages, tmp_path):
    """From a record on disk: its current with its uncertainty, and one series for each set of cards."""
    entries, plant = stages
    path = tmp_path / "stages.jsonl"
    with RecordWriter.create(path) as writer:
        for entry in entries:
            writer.append(entry)
    assert tells_beside_readings(path)
    shelf = plant.shelves_of("2")[0].name
    point = point_of(plant, shelf)
    source = History(tmp_path, [path], plant.name)
    folded = every_reading("stages.jsonl", follow(path, entries))
    rows = [row for row in source.rows(point.sought) if point.matches(row) and row.function == ENERGISED]
    assert rows == [row for row in folded if row.function == ENERGISED and row.subject == shelf]
    found = study(rows)
    whole = next(one for one in found if one.key.places == (shelf,))
    assert all(row.value > 1.5 and row.standard > 0 and row.unit == "A" for row in whole.rows)
    assert whole.key.text == f"current of {shelf}, as it came up" and whole.series is not None
    # fewer cards draw less: these are series of their own
    part = [one for one in found if PARTLY in one.key.places]
    assert len(part) >= 2 and all(len({row.high for row in one.rows}) == 1 for one in part)
    assert not source.broken


@pytest.mark.slow
def test_a_reading_of_a_shelf_keeps_its_series_when_it_is_made_out_of_a_track(stages):
    """What changed at the same time is looked up among rows that were kept in few bytes."""
    from bench.job.series import gather

    records, meters = {}, {}
    entries, _ = stages
    tracks = gather(every_reading("stages", follow(Path("stages"), entries)), records, meters)
    energised = [key for key in tracks if key.reads == ENERGISED]
    assert energised
    for key in energised:
        assert key_of(tracks[key].row(0, list(records), list(meters))) == key
