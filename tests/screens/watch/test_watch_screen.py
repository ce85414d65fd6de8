"""A watch at 80 by 24: the strip, the jumps, the ranking, and what keys and lines do."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Sequence

import pytest

from bench.screens.program.cells import text_of
from bench.screens.program.glyphs import ASCII, UNICODE, Glyphs
from bench.screens.program.settings import Settings
from bench.screens.watch.app import watch_terminal
from bench.screens.watch.plain import run as by_line
from bench.screens.watch.program import _KEYS, WatchMoment, WatchProgram, paint
from bench.screens.watch.talk import Talk
from bench.walk import watching as w
from tests.walk.test_watching import STEADY, began, block, folded

WEIGHTS = {"J101": 4.0, "J101.12": 2.0, "W101 at J101": 1.0, "W101 in T1.1": 1.0, "J205.12": 2.0, "J205": 4.0}
PLACES = [w.Place(name=name, text=f"the place {name}", weight=weight) for name, weight in WEIGHTS.items()]


class Kept:
    """A keeper on paper."""

    def __init__(self, *events: w.WatchEvent) -> None:
        self._events = [began(places=PLACES), *events]
        self.watch = folded(*self._events)
        self.now = max(self.watch.now, 12.0)
        self.trouble = ""
        self.ended = ""

    def _write(self, event: w.WatchEvent) -> None:
        self._events.append(event)
        self.watch = folded(*self._events)

    def touch(self, places: Sequence[str], how: str = "typed") -> None:
        self._write(w.Touched(at=self.now, places=list(places), how=how))  # type: ignore[arg-type]

    def take_back(self) -> str:
        if not self.watch.moved:
            return ""
        newest = self.watch.moved[-1]
        self._write(w.TookTouchBack(n=newest.n))
        return ", ".join(newest.places)

    def remark(self, text: str) -> None:
        self._write(w.Remarked(at=self.now, text=text))

    def end(self, why: str) -> None:
        self.ended = why


def wiggled() -> Kept:
    return Kept(
        block(0.0, STEADY),
        w.Touched(at=4.0, places=["J205.12"]),
        block(4.1, [0.5, None, None, 0.5, *STEADY]),
        block(8.0, [*STEADY, None, 0.5, *STEADY[:5]]),
    )


def lines_of(kept: Kept, glyphs: Glyphs = UNICODE, cells: int = 80, rows: int = 24, **changes: object) -> list[str]:
    talk = Talk(kept)  # type: ignore[arg-type]
    moment = WatchMoment(told=talk.told(), seconds=kept.now, glyphs=glyphs, **changes)  # type: ignore[arg-type]
    return [text_of(one) for one in paint(moment, cells, rows, _KEYS).lines]


@pytest.mark.parametrize("glyphs", [UNICODE, ASCII])
def test_all_of_it_fits_80_by_24(glyphs: Glyphs) -> None:
    lines = lines_of(wiggled(), glyphs)
    assert len(lines) == 24 and all(len(one) <= 80 for one in lines)
    text = "\n".join(lines)
    assert "J1.1~J2.1" in text and "over range" in text
    assert "J205.12" in text and "none of these" in text and "next:" in text
    assert glyphs.up in text and glyphs.cut in text
    if glyphs is ASCII:
        assert text.isascii()


def test_each_jump_has_its_mark_below_the_reading_that_was_over_range() -> None:
    lines = lines_of(wiggled(), UNICODE)
    bars, marks = lines[3], lines[4]
    assert [place for place, sign in enumerate(bars) if sign == UNICODE.cut] == [
        place for place, sign in enumerate(marks) if sign == UNICODE.up
    ]
    assert "5" in lines[5]  # the fifth place was moved


def test_trouble_and_what_was_answered_stand_at_the_foot() -> None:
    text = "\n".join(lines_of(wiggled(), trouble="meter: The port is gone.", note="hands are off"))
    assert "The port is gone." in text and "hands are off" in text


def test_a_small_and_a_large_screen_hold_as_many_lines_as_they_have() -> None:
    for cells, rows in ((40, 10), (200, 60)):
        lines = lines_of(wiggled(), cells=cells, rows=rows)
        assert len(lines) == rows and all(len(one) <= cells for one in lines)


def test_names_numbers_and_what_is_proposed_are_moved() -> None:
    kept = Kept(block(0.0, STEADY))
    talk = Talk(kept)  # type: ignore[arg-type]
    for typed, moved in (("5", ("J205.12",)), ("j101.12", ("J101.12",)), ("J101, 6", ("J101", "J205"))):
        talk.take(typed)
        assert kept.watch.moved[-1].places == moved
    talk.take("")
    assert kept.watch.moved[-1].how == "proposed"
    talk.take("J9")
    assert "no place called 'J9'" in talk.note
    talk.take("-")
    assert talk.note.startswith("taken back")
    talk.take(".")
    assert kept.watch.moving == ()
    talk.take("! a lorry went by")
    assert kept.watch.remarks[-1][2] == "a lorry went by"
    talk.take("end")
    assert talk.over and kept.ended


def test_line_by_line_says_the_same() -> None:
    out = io.StringIO()
    kept = wiggled()
    by_line(Talk(kept), ["5", "quit"], out)  # type: ignore[arg-type]
    text = out.getvalue()
    assert " 5 J205.12" in text and "moving J205.12 for 5 s" in text and "none of these" in text


def test_what_was_typed_before_a_watch_is_over_is_taken_still() -> None:
    kept = wiggled()
    # its time was over while the bench was being opened
    by_line(Talk(kept), ["! on again\n", "! and again\n"], io.StringIO(), lasts=1.0)  # type: ignore[arg-type]
    assert [text for _, _, text in kept.watch.remarks] == ["on again", "and again"]


def test_keys_on_the_screen_type_move_and_ring() -> None:
    kept = Kept(block(0.0, STEADY))
    rang: list[int] = []

    async def use() -> None:
        app = watch_terminal(Talk(kept), Settings())  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            while not isinstance(app.program, WatchProgram):
                await pilot.pause(0.02)
            app.bell = lambda: rang.append(1)  # type: ignore[method-assign]
            await pilot.press("J", "2", "0", "5", "full_stop", "1", "2", "enter")
            await pilot.pause()
            assert kept.watch.moved[-1].places == ("J205.12",)
            kept._write(block(13.0, [None, 0.5]))
            while not rang:
                await pilot.pause(0.02)
            await pilot.press("full_stop")
            await pilot.pause()
            assert kept.watch.moving == ()
            await pilot.press("ctrl+q")

    asyncio.run(use())
    assert rang


@pytest.mark.parametrize(("cells", "rows"), [(80, 24), (60, 20), (48, 44)])
def test_what_is_moved_and_what_is_to_be_moved_is_never_cut(cells: int, rows: int) -> None:
    resting, moving = wiggled(), wiggled()
    moving.touch([*WEIGHTS][:4])
    for kept, said in ((resting, Talk(resting).told().proposed), (moving, f"moving {', '.join([*WEIGHTS][:4])}")):  # type: ignore[arg-type]
        assert said and all(
            word in " ".join(" ".join(lines_of(kept, cells=cells, rows=rows)).split()) for word in said.split()
        )


def test_help_may_be_typed_line_by_line() -> None:
    talk = Talk(Kept())  # type: ignore[arg-type]
    talk.take("help")
    assert "Move one thing at a time" in talk.note and not talk.keeper.watch.moved
