"""A headless Chromium that is asked over its own debugging line what a page did."""

from __future__ import annotations

import asyncio
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import aiohttp

CHROMIUM: Final = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
WITHIN: Final = 90.0
"""Seconds that it may take to start and to show a page on a slow machine."""


@dataclass
class Shown:
    """What a page did while it was loaded.

    Attributes:
        requests: every address that was asked for.
        complaints: errors and warnings of its console, exceptions, refusals.
        answers: what the expressions came to that were evaluated in it.
    """

    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    answers: list[Any] = field(default_factory=list)


def opened(page: Path, folder: Path, *expressions: str) -> Shown:
    """Open a file from disk, wait until it is loaded, and say what happened.

    Args:
        page: the file.
        folder: for the browser's own files.
        expressions: JavaScript that is evaluated in the page then.
    """
    return asyncio.run(asyncio.wait_for(_opened(page, folder, expressions), WITHIN))


async def _opened(page: Path, folder: Path, expressions: tuple[str, ...]) -> Shown:
    assert CHROMIUM is not None
    profile = folder / "profile"
    words = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0"]
    process = subprocess.Popen(
        [*words, f"--user-data-dir={profile}", "about:blank"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        place = profile / "DevToolsActivePort"
        while not (place.exists() and place.read_text("ascii").count("\n")):
            assert process.poll() is None, "the browser ended"
            await asyncio.sleep(0.05)
        port = place.read_text("ascii").split("\n")[0]
        async with aiohttp.ClientSession() as session:
            while not (found := await _tabs(session, port)):
                await asyncio.sleep(0.05)
            async with session.ws_connect(found[0], max_msg_size=0) as line:
                return await _watched(line, page, expressions)
    finally:
        process.terminate()
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


async def _tabs(session: aiohttp.ClientSession, port: str) -> list[str]:
    async with session.get(f"http://127.0.0.1:{port}/json") as answer:
        return [tab["webSocketDebuggerUrl"] for tab in await answer.json() if tab["type"] == "page"]


async def _watched(line: aiohttp.ClientWebSocketResponse, page: Path, expressions: tuple[str, ...]) -> Shown:
    shown = Shown()
    number = 0

    async def until(method: str = "", answer: int = 0) -> dict[str, Any]:
        while True:
            message = await line.receive_json()
            _note(shown, message)
            if (answer and message.get("id") == answer) or (method and message.get("method") == method):
                return message

    async def call(method: str, **parameters: object) -> dict[str, Any]:
        nonlocal number
        number += 1
        await line.send_json({"id": number, "method": method, "params": parameters})
        return await until(answer=number)

    for domain in ("Page", "Runtime", "Log", "Network", "Audits"):
        await call(f"{domain}.enable")
    await call("Page.navigate", url=page.as_uri())
    await until(method="Page.loadEventFired")
    for expression in expressions:
        found = await call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        shown.answers.append(found["result"]["result"].get("value"))
    return shown


def _note(shown: Shown, message: dict[str, Any]) -> None:
    said = message.get("params", {})
    match message.get("method"):
        case "Network.requestWillBeSent":
            shown.requests.append(said["request"]["url"])
        case "Log.entryAdded" if said["entry"]["level"] in ("error", "warning"):
            shown.complaints.append(said["entry"]["text"])
        case "Runtime.consoleAPICalled" if said["type"] in ("error", "warning", "assert"):
            shown.complaints.append(str(said["args"]))
        case "Runtime.exceptionThrown":
            shown.complaints.append(str(said["exceptionDetails"]))
        case "Network.loadingFailed":
            shown.complaints.append(f"not loaded: {said.get('errorText')}")
        case "Audits.issueAdded":
            shown.complaints.append(str(said["issue"]["code"]))
        case _:
            pass
