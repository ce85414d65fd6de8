from __future__ import annotations

import pytest
from msgspec.structs import replace

from bench.judge.jumps import OVER
from bench.plant.file import PlantFile
from bench.walk import watching as w


def began(**changes: object) -> w.WatchBegan:
    fields: dict[str, object] = {
        "software": "test",
        "plant": PlantFile(plant="hall"),
        "points": [w.Point(name="J1.1~J2.1", reads="resistance", unit="Ω")],
        "places": [w.Place(name="J1"), w.Place(name="J2")],
        **changes,
    }
    return w.WatchBegan(**fields)  # type: ignore[arg-type]


def folded(*events: w.WatchEvent) -> w.Watch:
    return w.fold(
        [w.WatchEntry(n=n, at=f"2026-05-01T10:00:{n:02}.0Z", event=event) for n, event in enumerate(events, 1)]
    )


def block(at: float, values: list[float | None], each: float = 0.1, point: int = 0) -> w.Heard:
    return w.Heard(point=point, at=at, after=[each * n for n in range(len(values))], values=values)


STEADY = [0.50, 0.51, 0.50, 0.49, 0.50, 0.51, 0.49, 0.50, 0.50, 0.51] * 3


def test_a_jump_is_found_in_the_readings_and_knows_what_was_moved() -> None:
    watch = folded(began(), block(0.0, STEADY), w.Touched(at=3.0, places=["J2"]), block(3.1, [0.5, None, 0.5, *STEADY]))
    (sprang,) = watch.jumps
    assert sprang.jump.value == OVER and sprang.jump.at == pytest.approx(3.2)
    assert sprang.moved == ("J2",)
    assert sprang.jump.until == pytest.approx(3.3)


def test_blocks_of_any_size_give_the_same_watch() -> None:
    values: list[float | None] = [*STEADY, None, None, *STEADY]
    whole = folded(began(), block(0.0, values))
    parts = [block(0.1 * n, [value]) for n, value in enumerate(values)]
    single = folded(began(), *parts)
    assert [one.jump.at for one in whole.jumps] == pytest.approx([one.jump.at for one in single.jumps])
    assert whole.points[0].finder.level == single.points[0].finder.level


def test_a_movement_ends_with_the_next_one_or_when_its_time_is_over() -> None:
    watch = folded(began(), w.Touched(at=1.0, places=["J1"]), w.Touched(at=3.0, places=["J2"]))
    assert [one.ended for one in watch.moved] == [3.0, 8.0]
    assert watch.moving == ("J2",)
    assert folded(began(), w.Touched(at=1.0, places=["J1"]), block(9.0, [0.5])).moving == ()
    off = folded(began(), w.Touched(at=1.0, places=["J1"]), w.Touched(at=2.0, places=[]))
    assert off.moving == () and off.moved[0].ended == 2.0


def test_what_was_taken_back_does_not_count() -> None:
    assert folded(began(), w.Touched(at=1.0, places=["J1"]), w.TookTouchBack(n=2)).moved == ()


def test_what_was_not_seen_is_no_time_watched() -> None:
    watch = folded(began(), block(0.0, STEADY), w.WatchResumed(at=1000.0), block(1000.0, STEADY))
    assert watch.watched < 20.0


@pytest.mark.parametrize(
    "event",
    [
        began(),
        w.Touched(at=1.0, places=["J3"]),
        w.TookTouchBack(n=1),
        block(0.0, [0.5], point=1),
        w.Heard(point=0, at=1.0, after=[0.0, 0.1], values=[0.5]),
        w.Heard(point=0, at=1.0, after=[0.2, 0.1], values=[0.5, 0.5]),
        w.Unseen(point=0, begin=2.0, end=1.0),
        w.Remarked(at=float("nan"), text="x"),
    ],
)
def test_what_does_not_fit_is_refused(event: w.WatchEvent) -> None:
    with pytest.raises(w.NotNow):
        folded(began(), event)


def test_readings_that_go_back_in_time_are_refused() -> None:
    with pytest.raises(w.NotNow):
        folded(began(), block(5.0, [0.5]), block(4.0, [0.5]))


def test_after_its_end_nothing_follows() -> None:
    with pytest.raises(w.NotNow, match="has ended"):
        folded(began(), w.WatchEnded(at=1.0), w.Remarked(at=2.0, text="x"))
    with pytest.raises(w.NotNow, match="begins once"):
        folded(w.Remarked(at=2.0, text="x"))


def test_the_state_is_a_value() -> None:
    before = folded(began(), block(0.0, STEADY))
    kept = replace(before)
    w.add(before, w.WatchEntry(n=9, at="2026-05-01T10:01:00.0Z", event=block(4.0, [None])))
    assert before == kept
