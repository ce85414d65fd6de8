"""How the screen starts, what it hears, and how it ends."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
import threading
import time
from datetime import datetime
from pathlib import Path

import pytest

from bench.runner import protocol as p
from bench.screens.program.settings import Settings
from bench.screens.program.terminal import Terminal
from bench.screens.walk.app import ended, run, walk_terminal
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens.gannet import Walk
from tests.screens.scenes import LEADS, SCENES, Scene, ohms
from tests.screens.stage import FakeLink, Stage, on_stage

HEAVY = (
    "numpy",
    "scipy",
    "yaml",
    "pyvisa",
    "serial",
    "bench.walk.state",
    "bench.plant.model",
    "bench.judge.uncertainty",
)


def test_nothing_heavy_is_loaded_before_the_first_picture() -> None:
    code = f"import sys, bench.screens.walk.app; print([m for m in {HEAVY!r} if m in sys.modules])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_the_first_picture_comes_before_the_runner() -> None:
    async def look() -> None:
        may_go = threading.Event()
        link = FakeLink()

        def connect(heard: object) -> FakeLink:
            assert may_go.wait(30)
            heard(Walk().entries[0])  # type: ignore[operator]
            return link

        app = walk_terminal(connect, Settings(starting="Starting the bench of Gannet Head ..."))  # type: ignore[arg-type]
        stage = Stage()
        stage.app = app
        async with app.run_test(size=(80, 24)) as pilot:
            stage.pilot = pilot
            await stage.until(lambda: "Starting the bench of Gannet Head" in stage.text)
            assert app.program is None
            may_go.set()
            await stage.until(lambda: app.program is not None)
            await stage.until(lambda: "Making outputs safe" in stage.text)

    asyncio.run(look())


@pytest.mark.parametrize("error", [ConnectionError("nobody answers"), ValueError("plant.yaml:3: bad")])
def test_whatever_keeps_the_runner_from_starting_goes_to_who_started_the_screen(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    def connect(heard: object) -> FakeLink:
        raise error

    real = Terminal.run
    monkeypatch.setattr(Terminal, "run", lambda self, **options: real(self, headless=True, **options))
    with pytest.raises(type(error), match=str(error)):
        run(connect)  # type: ignore[arg-type]


def test_leaving_while_the_runner_starts_closes_the_line_that_comes_too_late() -> None:
    async def look() -> FakeLink:
        may_go, link = threading.Event(), FakeLink()

        def connect(heard: object) -> FakeLink:
            assert may_go.wait(30)
            return link

        app = walk_terminal(connect)  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("q")
            assert ended(app).why == "left" and ended(app).state is None
        may_go.set()
        for _ in range(500):
            if link.closed:
                break
            await asyncio.sleep(0.01)
        return link

    assert asyncio.run(look()).closed


def test_the_seat_is_taken_where_it_is_free_and_never_from_somebody() -> None:
    async def taken(seat: str, settings: Settings) -> int:
        async with on_stage(seat=seat, settings=settings) as stage:
            return stage.link.taken

    assert asyncio.run(taken("", Settings())) == 1
    assert asyncio.run(taken("Bea", Settings())) == 0
    assert asyncio.run(taken("Ana", Settings())) == 1, "one's own, from a screen that was closed"
    assert asyncio.run(taken("", Settings(watch=True))) == 0


def test_a_verdict_is_heard_in_patterns_that_differ_and_history_is_not() -> None:
    async def look() -> dict[str, int]:
        rang = {}
        for name, value in (("pass", 0.84 + LEADS), ("fail", 1.9 + LEADS), ("undecided", 0.897 + LEADS)):
            scene = SCENES["place-open"]()
            async with on_stage(scene) as stage:
                program = stage.app.program
                assert program is not None and program.ringer.rang == 0, "what came before is not heard"
                stage.now = scene.walk.now.astimezone(stage.now.tzinfo)
                scene.walk.one()
                scene.walk.read(value)
                stage.hear(*scene.walk.entries[-2:])
                await stage.settle()
                await stage.until(lambda program=program: not program.ringer.left)
                rang[name] = program.ringer.rang
        return rang

    assert asyncio.run(look()) == {"pass": 3, "fail": 2, "undecided": 3}, (
        "three quick ones, and two and three slow ones"
    )


def test_a_touch_rings_once_and_a_steady_contact_twice_and_a_page_in_a_browser_is_told_by_name() -> None:
    async def look(*, browser: bool) -> tuple[int, list[object]]:
        told: list[object] = []
        async with on_stage(SCENES["place-open"]()) as stage:
            if browser:
                stage.app._driver.write_meta = told.append  # type: ignore[union-attr]
            stage.hear(ohms(0.9, "touching"), ohms(0.9, "settled"))
            await stage.settle()
            program = stage.app.program
            assert program is not None
            await stage.until(lambda: not program.ringer.left)
            return program.ringer.rang, told

    rang, told = asyncio.run(look(browser=False))
    assert (rang, told) == (3, [])
    rang, told = asyncio.run(look(browser=True))
    assert rang == 0 and told == [{"type": "sound", "what": "contact"}, {"type": "sound", "what": "settled"}]


def test_silence_is_a_setting_and_a_key() -> None:
    async def look(settings: Settings, *keys: str) -> int:
        scene = SCENES["place-open"]()
        async with on_stage(scene, settings=settings) as stage:
            await stage.press(*keys)
            stage.now = scene.walk.now.astimezone(stage.now.tzinfo)
            scene.walk.one()
            scene.walk.one()
            stage.hear(*scene.walk.entries[-2:])
            await stage.settle()
            assert stage.app.program is not None
            return stage.app.program.ringer.rang

    assert asyncio.run(look(Settings(tones=False))) == 0
    assert asyncio.run(look(Settings(), "v")) == 0
    assert asyncio.run(look(Settings(), "v", "v")) >= 1


def test_a_voice_is_given_the_verdict_and_the_next_place(tmp_path: Path) -> None:
    heard = tmp_path / "heard.txt"
    voice = f"{sys.executable} -c \"import sys; open({str(heard)!r}, 'a').write(sys.argv[1] + chr(10))\""

    async def look() -> None:
        scene = SCENES["place-open"]()
        async with on_stage(scene, settings=Settings(say=voice)) as stage:
            stage.now = scene.walk.now.astimezone(stage.now.tzinfo)
            scene.walk.one()
            scene.walk.one()
            stage.hear(*scene.walk.entries[-2:])
            await stage.settle()
            await stage.until(lambda: heard.exists() and heard.read_text("utf-8").endswith("\n"))

    asyncio.run(look())
    assert heard.read_text("utf-8") == "pass. Next: red on J101 pin 1, black on J201 pin 1.\n"


def test_live_readings_are_painted_from_one_slot_and_forgotten_with_their_step() -> None:
    async def look() -> None:
        scene = SCENES["place-open"]()
        async with on_stage(scene) as stage:
            stage.hear(ohms(None, "open"))
            for n in range(500):
                stage.hear(ohms(0.5 + n / 1000, "touching", 0.3))
            await stage.settle()
            assert stage.app.program is not None and stage.app.program.moment.live == ohms(0.999, "touching", 0.3)
            scene.walk.one()
            scene.walk.one()
            stage.hear(*scene.walk.entries[-2:])
            await stage.settle()
            assert stage.app.program.moment.live is None
            assert "LAST" in stage.words and "PASS" in stage.words

    asyncio.run(look())


def test_the_runner_says_goodbye_before_the_end_and_after_it() -> None:
    async def look(name: str) -> tuple[str, str]:
        scene = SCENES[name]()
        async with on_stage(scene) as stage:
            stage.hear(p.Bye(why="told to end by TERM"), None)
            await stage.settle()
            words = stage.words
            await stage.press("q")
            assert ended(stage.app).said == "told to end by TERM"
            return words, ended(stage.app).why

    words, why = asyncio.run(look("place-open"))
    assert "THE RUNNER IS GONE" in words and "It said: told to end by TERM" in words and why == "lost"
    words, why = asyncio.run(look("done"))
    assert "The walk is done" in words and "GONE" not in words and why == "finished"


def test_a_record_that_is_not_understood_is_not_guessed_at() -> None:
    async def look() -> None:
        walk = Walk().until(r.Place, "measure")
        strange = e.Entry(n=99, at="2026-05-12T18:00:00Z", event=e.Continued())
        async with on_stage(Scene("strange", walk, said=(strange, walk.entries[-1]))) as stage:
            assert "DOES NOT UNDERSTAND" in stage.words and "event 99" in stage.words

    asyncio.run(look())


def test_a_failing_record_fills_the_screen_until_it_can_be_written_again() -> None:
    async def look() -> None:
        scene = SCENES["failing"]()
        async with on_stage(scene) as stage:
            assert "CANNOT BE WRITTEN" in stage.words
            await stage.press("enter", "space", "b")
            assert stage.link.wishes == []
            stage.hear(scene.walk.add(e.Noted(text="there is room again")))
            await stage.settle()
            assert "CANNOT BE WRITTEN" not in stage.words and "W101.8" in stage.words

    asyncio.run(look())


def test_a_long_record_is_caught_up_with_off_the_screen() -> None:
    """Folding happens in the line's own thread: the screen is painted once for all of it."""

    async def look() -> None:
        walk = Walk().until(r.Finished)
        async with on_stage() as stage:
            painted: list[int] = []
            real = stage.app.sheet.show
            stage.app.sheet.show = lambda *all: (painted.append(1), real(*all))[1]  # type: ignore[method-assign]
            teller = threading.Thread(target=lambda: stage.hear(*walk.entries))
            teller.start()
            while teller.is_alive():
                await stage.pilot.pause(0.01)
            await stage.settle()
            assert "The walk is done" in stage.words
            assert len(painted) < len(walk.entries) / 2

    asyncio.run(look())


@pytest.mark.quick_cases(1)
@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
@pytest.mark.parametrize("how", ["key", "term"])
def test_the_program_ends_at_once_and_leaves_the_terminal_as_it_was(how: str, tmp_path: Path) -> None:
    import pty

    script = tmp_path / "screen.py"
    script.write_text(
        "from bench.screens.walk.app import run\n"
        "from tests.screens.gannet import Walk\n"
        "from tests.screens.stage import FakeLink\n"
        "import bench.walk.requests as r\n"
        "def connect(heard):\n"
        "    for entry in Walk().until(r.Ask, 'caution').entries:\n"
        "        heard(entry)\n"
        "    return FakeLink()\n"
        "print('ENDED', run(connect).why, flush=True)\n",
        "utf-8",
    )
    here = Path(__file__).resolve().parents[3]
    master, slave = pty.openpty()
    environment = {**os.environ, "PYTHONPATH": str(here), "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
    process = subprocess.Popen(
        [sys.executable, str(script)], stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True
    )
    os.close(slave)
    seen = bytearray()
    until = time.monotonic() + 60

    def read_until(wanted: bytes) -> None:
        while wanted not in seen:
            assert time.monotonic() < until, bytes(seen[-2000:])
            try:
                seen.extend(os.read(master, 65536))
            except OSError:
                return

    read_until(b"Stored charge")
    if how == "key":
        os.write(master, b"q")
        read_until(b"Leave the screen?")
        os.write(master, b"y")
    else:
        process.send_signal(signal.SIGTERM)
    read_until(b"ENDED left\r\n" if how == "key" else b"ENDED ended\r\n")
    assert process.wait(30) == 0
    text = bytes(seen)
    assert b"\x1b[?1049l" in text, "back from the alternate screen"
    assert b"\x1b[?25h" in text, "the cursor is there again"
    os.close(master)


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (e.Noted(text="the far end is lit", by="Bea"), "Bea noted: the far end is lit"),
        (
            e.Disturbed(touches=["J101", "2A"], text="in", by="Bea"),
            "Bea says that J101, 2A was touched: in",
        ),
    ],
)
def test_what_others_write_down_shows_on_every_screen(event: e.Event, said: str) -> None:
    async def act() -> None:
        scene = SCENES["place-open"]()
        async with on_stage(scene) as stage:
            entry = scene.walk.add(event)
            stage.now = datetime.fromisoformat(entry.at).astimezone(stage.now.tzinfo)
            stage.heard(entry)  # type: ignore[misc]
            await stage.settle()
            assert said in stage.words

    asyncio.run(act())
