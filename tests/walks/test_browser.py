"""The screen in a browser, for real: a runner, a server, pages over HTTP and websockets, each with its own process."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import aiohttp
import pyte
import pytest

from bench.commands.browser import place_of
from bench.errors import BadRequest
from bench.record.read import read_record
from bench.runner.address import address_file, read_address
from bench.walk import events as e
from tests.walks.tool import SEQUENCE, bench_without_faults, environment, proveout, started, wait_for_lines

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and signals")
WITHIN = 60.0
"""Seconds that anything may take on a slow machine."""


async def until(true: Callable[[], object], what: Callable[[], object]) -> None:
    """Wait for something to become true."""
    async with asyncio.timeout(WITHIN):
        with contextlib.suppress(TimeoutError):
            while not true():
                await asyncio.sleep(0.02)
            return
    raise AssertionError(what())


@dataclass
class Page:
    """One page: what its terminal shows."""

    link: aiohttp.ClientWebSocketResponse
    screen: pyte.Screen = field(default_factory=lambda: pyte.Screen(80, 24))

    def __post_init__(self) -> None:
        self._stream = pyte.ByteStream(self.screen)
        self.task = asyncio.create_task(self._read())

    async def _read(self) -> None:
        async for message in self.link:
            if message.type is aiohttp.WSMsgType.BINARY:
                self._stream.feed(message.data)

    @property
    def text(self) -> str:
        return "\n".join(self.screen.display)

    async def shows(self, *words: str) -> None:
        await until(lambda: all(word in self.text for word in words), lambda: f"{words} not in\n{self.text}")

    async def type(self, keys: str) -> None:
        await self.link.send_json(["stdin", keys])

    async def close(self) -> None:
        await self.link.close()
        await self.task


@dataclass
class Served:
    """A walk under way and what serves its pages."""

    record: Path
    server: subprocess.Popen[str]
    url: str

    @property
    def base(self) -> str:
        return self.url.partition("/?")[0]

    @property
    def events(self) -> list[e.Event]:
        return [entry.event for entry in read_record(self.record)]

    @asynccontextmanager
    async def browser(self) -> AsyncIterator[aiohttp.ClientSession]:
        """A browser that was let in: it keeps the cookie, also of an address without a name."""
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
            async with session.get(self.url) as answer:
                assert answer.status == 200, await answer.text()
            yield session

    async def page(self, session: aiohttp.ClientSession) -> Page:
        return Page(await session.ws_connect(f"{self.base}/ws?width=80&height=24"))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    record = tmp_path / "r.jsonl"
    bench = bench_without_faults(tmp_path)
    runner = started("runner", SEQUENCE, "--bench", bench, "--record", record, "--give-up-after", 300, cwd=tmp_path)
    server = None
    try:
        wait_for_lines(record, 3, timeout=WITHIN)
        server = started("browser", record, "--operator", "Ana", "--listen", "127.0.0.1:0", cwd=tmp_path)
        assert server.stdout is not None
        server.stdout.readline()
        url = server.stdout.readline().strip()
        assert url.startswith("http://127.0.0.1:"), server.communicate(timeout=20)
        yield Served(record, server, url)
    finally:
        for process in (server, runner):
            if process is not None:
                process.terminate()
                process.communicate(timeout=60)


def run(act: Awaitable[None]) -> None:
    async def bounded() -> None:
        async with asyncio.timeout(4 * WITHIN):
            await act

    asyncio.run(bounded())


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_a_page_works_the_walk_and_a_reload_changes_nothing(served: Served) -> None:
    async def act() -> None:
        async with served.browser() as session:
            page = await served.page(session)
            await page.shows("CAUTION")
            await until(
                lambda: any(isinstance(x, e.Seated) and x.by == "Ana" for x in served.events), lambda: "no seat"
            )
            # the key that the caution asks for; a key counts when the page was there long enough to be read
            await asyncio.sleep(1.0)
            await page.type(re.search(r"press\s+([yu]) ", page.text)[1])  # type: ignore[index]
            await page.shows("HOLD POINT", "D")
            before = served.record.read_bytes()

            # loaded again: the old screen goes, a new one comes, and the walk stands where it stood
            await page.close()
            again = await served.page(session)
            await until(lambda: "HOLD POINT" in again.text or "The walk is paused" in again.text, lambda: again.text)
            assert served.record.read_bytes().startswith(before)
            if "The walk is paused" in again.text:
                await asyncio.sleep(1.0)
                await again.type("p")
            await again.shows("HOLD POINT")
            seats = [event.by for event in served.events if isinstance(event, e.Seated)]
            assert seats[-1] == "Ana"
            assert sum(isinstance(event, e.Answered) for event in served.events) == 1

            # another browser watches: it is shown the same step and who holds the seat
            async with served.browser() as other:
                watcher = await served.page(other)
                await watcher.shows("HOLD POINT", "Ana holds the seat; you watch")
                await watcher.type("DEAD\r")
                await again.type("\r")
                await again.shows("Type DEAD")
                await again.type("DEAD\r")
                await until(lambda: sum(isinstance(x, e.Answered) for x in served.events) == 2, lambda: again.text)
                assert [x.by for x in served.events if isinstance(x, e.Answered)] == ["Ana", "Ana"]
                await watcher.close()
            await again.close()
        # nobody is there: the runner rests by its own rules
        await until(lambda: isinstance(served.events[-1], e.Paused), lambda: served.events[-3:])

    run(act())
    served.server.send_signal(signal.SIGTERM)
    assert served.server.wait(timeout=60) == 0


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_nobody_gets_anything_without_the_token(served: Served) -> None:
    paths = (
        "/",
        "/page.js",
        "/page.css",
        "/ws",
        "/static/js/textual.js",
        "/?token=",
        "/?token=wrong",
        "/?token=%C3%A4",
    )

    async def act() -> None:
        async with aiohttp.ClientSession() as stranger:
            for path in paths:
                async with stranger.get(served.base + path) as answer:
                    assert answer.status == 403, path
                    assert "terminal" not in await answer.text()
            with pytest.raises(aiohttp.WSServerHandshakeError, match="403"):
                await stranger.ws_connect(f"{served.base}/ws")
            async with stranger.get(served.base, cookies={"proveout": "guessed"}) as answer:
                assert answer.status == 403
        async with served.browser() as session:
            for cookie in session.cookie_jar:
                assert cookie["httponly"] and cookie["samesite"] == "Strict"
                assert cookie.value not in served.url, "the cookie is not the token"
            async with session.get(served.base) as answer:
                text = await answer.text()
                assert answer.status == 200 and "token" not in text
                assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
                # nothing is fetched from anywhere else: the rack has no network
                assert set(re.findall(r"(?:src|href)=\"([^\"]*)\"", text)) == {
                    "data:,", "static/css/xterm.css", "page.css", "static/js/textual.js", "page.js", "./",
                }  # fmt: skip
            for path in ("/page.js", "/page.css", "/static/js/textual.js", "/static/css/xterm.css"):
                async with session.get(served.base + path) as answer:
                    assert answer.status == 200
            async with session.get(f"{served.base}/static/../app_service.py") as answer:
                assert answer.status == 404
            # a page from elsewhere that a browser with the cookie has open
            with pytest.raises(aiohttp.WSServerHandshakeError, match="403"):
                await session.ws_connect(f"{served.base}/ws", headers={"Origin": "http://elsewhere.example"})
            # what is not understood does no harm
            page = await served.page(session)
            for strange in (
                '"',
                "[]",
                '["stdin"]',
                '["resize", {"width": "x"}]',
                '["resize", 3]',
                '{"a": 1}',
                '["ping", {}]',
            ):
                await page.link.send_str(strange)
            await page.shows("CAUTION")
            await page.close()

    run(act())
    assert not any(isinstance(event, e.Answered) for event in served.events)


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_ending_the_server_ends_its_pages_and_only_them(served: Served) -> None:
    async def act() -> None:
        async with served.browser() as session:
            page = await served.page(session)
            await page.shows("CAUTION")
            served.server.send_signal(signal.SIGINT)
            await page.task
            await until(lambda: isinstance(served.events[-1], e.Paused), lambda: served.events[-3:])

    run(act())
    assert served.server.wait(timeout=60) == 0
    os.kill(read_address(address_file(served.record)).process, 0)  # the runner is there still


def test_where_nothing_is_under_way_nothing_listens(tmp_path: Path) -> None:
    done = proveout("browser", cwd=tmp_path)
    assert done.returncode != 0 and "no walk is under way" in done.stderr
    done = proveout("browser", tmp_path / "none.jsonl", cwd=tmp_path)
    assert done.returncode != 0 and "no walk is under way" in done.stderr


def test_without_the_extra_part_it_says_what_to_install(tmp_path: Path) -> None:
    code = "import sys; sys.modules['textual_serve'] = None; from bench.cli import main; sys.exit(main(['browser']))"
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment(), capture_output=True, text=True)
    assert done.returncode == 2 and "pip install 'proveout[browser]'" in done.stderr


def test_an_address_is_a_host_and_a_port() -> None:
    assert place_of("127.0.0.1:8320") == ("127.0.0.1", 8320)
    assert place_of("[::1]:0") == ("::1", 0)
    assert place_of("rack.local:80") == ("rack.local", 80)
    for wrong in ("8320", "rack", "rack:", ":80", "::1:80", "rack:99999", "rack:-1", ""):
        with pytest.raises(BadRequest):
            place_of(wrong)
