"""The screen in a browser: serves pages, each of which is a screen of its own at the runner.

For every page a process of its own shows the screen (:mod:`bench.commands.page`); what it paints goes over a websocket
to a terminal drawn in the page. Whoever comes needs the token once; a cookie that scripts cannot read stands for it
from then on. A browser has one page: when it is loaded again its old screen goes first, so the seat falls to the new
one by the runner's own rules. While one browser has a page, others watch unless they take the seat.

With a certificate all of it is encrypted; without one, put it behind a tunnel in a network that is not one's own.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import io
import json
import os
import secrets
import shlex
import socket as network
import ssl
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import msgspec
import textual_serve
from aiohttp import WSMessage, WSMsgType, web
from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

ENDS_WITHIN: Final = 5.0
"""Seconds that a page's process may take to end when its page is gone; then it is killed."""
MOST_VISITS: Final = 64
"""Browsers that are remembered; beyond that the oldest needs the token again."""
LONGEST: Final = 2**16
"""Bytes of one message from a page: what a person pastes."""
_STATICS: Final = Path(textual_serve.__file__).parent / "static"
_HTML: Final = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Proveout</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="static/css/xterm.css">
<link rel="stylesheet" href="page.css">
<script src="page.js"></script>
<script src="static/js/textual.js"></script>
</head>
<body>
<div id="terminal" class="textual-terminal" data-session-websocket-url="{socket}" data-font-size="{size}"></div>
<p id="ended">This screen has ended; the walk waits. <a href="./">Show it again</a></p>
<nav id="keys" aria-label="keys"></nav>
</body>
</html>
"""
_CSS: Final = """body { margin: 0; height: 100dvh; display: flex; flex-direction: column; background: #0f1518; }
#terminal { flex: 1; min-height: 0; overflow: hidden; }
#ended { display: none; margin: 0; padding: 0.8em; font: 1.2em sans-serif; color: #241600; background: #f0b64c; }
body.-closed #ended { display: block; }
#keys { display: flex; flex-wrap: wrap; gap: 4px; padding: 4px; }
#keys button { flex: 1; min-width: 2.6em; min-height: 2.6em; font: 1.1em monospace; color: #d8e0dd;
  background: #1a2327; border: 1px solid #5f6f73; border-radius: 4px; }
"""
_JS: Final = """// What a walk sounds like: of each tone its pitch in hertz, and when it begins and ends, in seconds.
const tones = TONES;
let audio = null;
function sound(name) {
  if (!audio || !tones[name]) return;
  for (const [pitch, from, to] of tones[name]) {
    const tone = audio.createOscillator(), level = audio.createGain(), at = audio.currentTime + from;
    tone.frequency.value = pitch;
    level.gain.setValueAtTime(0, at);
    level.gain.linearRampToValueAtTime(0.4, at + 0.01);
    level.gain.setValueAtTime(0.4, at + to - from - 0.02);
    level.gain.linearRampToValueAtTime(0, at + to - from);
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + to - from);
  }
}
// A browser sounds nothing before its page was touched or a key was pressed.
for (const touch of ["pointerdown", "keydown"]) {
  addEventListener(touch, () => {
    audio = audio || new AudioContext();
    audio.resume();
  }, true);
}
// Tones come by the line of the terminal's page, between what it paints.
window.WebSocket = class extends WebSocket {
  constructor(...where) {
    super(...where);
    this.addEventListener("message", (came) => {
      if (typeof came.data !== "string") return;
      const [what, name] = JSON.parse(came.data);
      if (what === "sound") sound(name);
    });
  }
};
// Keys for tablets that have none. They go the way of typed letters: as input of the terminal.
const keys = KEYS;
addEventListener("DOMContentLoaded", () => {
  for (const [word, data] of keys) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = word;
    button.addEventListener("click", () => {
      const line = document.querySelector(".xterm-helper-textarea");
      if (line) line.dispatchEvent(new InputEvent("input", {data, inputType: "insertText", bubbles: true}));
    });
    document.getElementById("keys").append(button);
  }
});
"""
TONES: Final = {
    "contact": [(660, 0, 0.07)],
    "settled": [(880, 0, 0.07), (880, 0.12, 0.19)],
    "pass": [(880, 0, 0.12), (1175, 0.12, 0.24), (1568, 0.24, 0.45)],
    "fail": [(392, 0, 0.3), (262, 0.35, 0.8)],
    "undecided": [(440, 0, 0.25), (440, 0.4, 0.65), (440, 0.8, 1.05)],
    "trouble": [(294, 0, 0.25), (294, 0.4, 0.65), (294, 0.8, 1.05), (294, 1.2, 1.45)],
    "lost": [(220, 0, 0.3), (220, 0.5, 0.8), (220, 1.0, 1.3), (220, 1.5, 1.8), (220, 2.0, 2.3)],
    "voltage": [(1320, 0, 0.12), (990, 0.18, 0.3), (1320, 0.36, 0.48), (990, 0.54, 0.66), (1320, 0.72, 0.84)],
    "off": [(990, 0, 0.15), (660, 0.2, 0.45)],
    "discharged": [(660, 0, 0.12), (880, 0.18, 0.3), (660, 0.36, 0.6)],
}
"""What each sounds like in a browser: pitches in hertz, each from and to a second. Rising is good, low is not."""
WALK_KEYS: Final = (
    ("ALL OFF", "z"), ("Enter", "\r"), *((key, key) for key in "yubgsndoprwkmlejvxqta3?"), ("Esc", "\x1b"),
)  # fmt: skip
"""Keys of a tablet's page at a walk: what each shows, and what it types."""
SURVEY_KEYS: Final = (
    *((key, key) for key in "1234567890"), ("Enter", "\r"), ("back", "\x1b"), ("done", "\t"), ("?", "?"), ("-", "-"),
    ("delete", "\x7f"),
)  # fmt: skip
"""The same at a survey: a number pad."""


class Visit(msgspec.Struct):
    """One browser that was let in.

    Attributes:
        key: what its cookie says.
        name: under which the runner knows it.
        page: its page under way, if any.
        turn: held while its old page ends and the new one begins.
    """

    key: str
    name: str
    page: Page | None = None
    turn: asyncio.Lock = msgspec.field(default_factory=asyncio.Lock)


class Page(AppService):
    """One page's process, which ends with its page."""

    async def on_meta(self, data: bytes) -> None:
        """Pass on which tone is to sound; the rest is the library's own."""
        told = json.loads(data)
        if told["type"] == "sound":
            await self.remote_write_str(json.dumps(["sound", told["what"]]))
        else:
            await super().on_meta(data)

    async def end(self) -> None:
        """Ask it to end; kill it where it does not."""
        process = self._process
        try:
            await asyncio.wait_for(self.stop(), ENDS_WITHIN)
        except TimeoutError:
            with contextlib.suppress(ProcessLookupError):
                if process is not None:
                    process.kill()
        if process is not None:
            await process.wait()


class BrowserServer:
    """Serves the screen of one walk to browsers.

    Args:
        command: shows the screen of a page; ``--operator NAME`` is put behind it, and ``--watch`` for those who must
            not take the seat.
        operator: the name of whoever looks; a second browser is ``NAME 2``, so that it is known who holds the seat.
        host: where to listen.
        port: the port; 0 takes a free one.
        keys: for tablets that have none: what each shows, and what it types.
        tls: the certificate to encrypt with; None encrypts nothing.

    Attributes:
        token: what a browser must show once.
        urls: where to look, with the token, from the computer's own address on; set once it listens.
    """

    def __init__(
        self,
        command: Sequence[str],
        operator: str,
        host: str,
        port: int,
        keys: Sequence[tuple[str, str]] = WALK_KEYS,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        script = _JS.replace("KEYS", json.dumps([list(key) for key in keys]), 1)
        self._script = script.replace("TONES", json.dumps(TONES), 1)
        self.token = secrets.token_urlsafe(24)
        self.urls: list[str] = []
        self._tls = tls
        self._command, self._operator = list(command), operator
        self._came = 0
        # cookies know hosts and no ports: two servers of one computer must not take each other's
        self._cookie = f"proveout-{secrets.token_hex(8)}"
        self._host, self._port = host, port
        self._visits: list[Visit] = []
        self._downloads = DownloadManager()

    async def serve(self, ready: Callable[[list[str]], object], until: Awaitable[object]) -> None:
        """Listen until told otherwise; ``ready`` is called with the addresses.

        Raises:
            OSError: the address cannot be had.
        """
        app = web.Application(middlewares=[self._guard], client_max_size=LONGEST)
        app.add_routes(
            [
                web.get("/", self._index),
                web.get("/page.css", _text(_CSS, "text/css")),
                web.get("/page.js", _text(self._script, "text/javascript")),
                web.get("/ws", self._socket),
                web.static("/static", _STATICS),
            ]
        )
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=ENDS_WITHIN)
        await runner.setup()
        try:
            await web.TCPSite(runner, self._host, self._port, ssl_context=self._tls).start()
            port = runner.addresses[0][1]
            kind = "https" if self._tls is not None else "http"
            for host in reached_by(self._host):
                shown = f"[{host}]" if ":" in host else host
                self.urls.append(f"{kind}://{shown}:{port}/?token={self.token}")
            ready(self.urls)
            await until
        finally:
            await asyncio.gather(*(visit.page.end() for visit in self._visits if visit.page is not None))
            await runner.cleanup()

    @web.middleware
    async def _guard(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        """Nobody gets anything without having shown the token; and nothing of a page comes from elsewhere."""
        try:
            asked = (request.path, request.query_string, request.host, *request.cookies.values())
            "".join(asked).encode()
        except (UnicodeError, ValueError):
            raise web.HTTPBadRequest(text="This request is not understood.\n") from None
        if request.path == "/" and "token" in request.query:
            return self._let_in(request)
        if self._visit(request) is None:
            raise web.HTTPForbidden(text="The address with its token is wanted, as the program printed it.\n")
        response = await handler(request)
        if not response.prepared:
            socket = f"{self._kind}://{request.host}"
            response.headers["Content-Security-Policy"] = (
                "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
                f"font-src 'self' data:; connect-src 'self' {socket}; frame-ancestors 'none'; base-uri 'none'"
            )
            response.headers["Referrer-Policy"] = "no-referrer"
            response.headers["X-Content-Type-Options"] = "nosniff"
            response.headers["Cache-Control"] = "no-store"
        return response

    def _let_in(self, request: web.Request) -> web.StreamResponse:
        """Take the token, give a cookie, and have the address forget the token."""
        if not hmac.compare_digest(request.query["token"].encode(), self.token.encode()):
            raise web.HTTPForbidden(text="This token is not the one that the program printed.\n")
        visit = self._visit(request)
        if visit is None:
            self._came += 1
            name = self._operator if self._came == 1 else f"{self._operator} {self._came}"
            visit = Visit(secrets.token_urlsafe(24), name)
            self._visits = [*self._visits[-MOST_VISITS + 1 :], visit]
        response = web.HTTPSeeOther("/")
        secure = self._tls is not None
        response.set_cookie(self._cookie, visit.key, httponly=True, samesite="Strict", secure=secure)
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    @property
    def _kind(self) -> str:
        return "wss" if self._tls is not None else "ws"

    def _visit(self, request: web.Request) -> Visit | None:
        shown = request.cookies.get(self._cookie, "").encode()
        found = [visit for visit in self._visits if hmac.compare_digest(shown, visit.key.encode())]
        return found[0] if found else None

    async def _index(self, request: web.Request) -> web.Response:
        size = request.query.get("size", "18")
        size = size if size.isdecimal() and 6 <= int(size) <= 72 else "18"
        page = _HTML.format(socket=f"{self._kind}://{_escaped(request.host)}/ws", size=size)
        return web.Response(text=page, content_type="text/html")

    async def _socket(self, request: web.Request) -> web.WebSocketResponse:
        """One page: its process lives as long as it."""
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != request.host:
            raise web.HTTPForbidden(text="A page from elsewhere gets nothing here.\n")
        visit = self._visit(request)
        assert visit is not None
        link = web.WebSocketResponse(heartbeat=15, max_msg_size=LONGEST)
        await link.prepare(request)
        async with visit.turn:
            if visit.page is not None:
                await visit.page.end()  # the page is loaded anew: the old screen leaves before the new one comes
            others = any(one.page is not None for one in self._visits if one is not visit)
            visit.page = page = self._page(link, visit.name, watch=others)
            await page.start(_cells(request, "width", 80), _cells(request, "height", 24))
        try:
            async for message in link:
                await _pass_on(page, message)
        finally:
            async with visit.turn:
                await page.end()
                if visit.page is page:
                    visit.page = None
        return link

    def _page(self, link: web.WebSocketResponse, name: str, *, watch: bool) -> Page:
        command = shlex.join([*self._command, "--operator", name, *(["--watch"] if watch else [])])
        return Page(
            f"exec {command}" if os.name == "posix" else command,
            write_bytes=link.send_bytes,
            write_str=link.send_str,
            close=link.close,  # type: ignore[arg-type]
            download_manager=self._downloads,
        )


async def _pass_on(page: Page, message: WSMessage) -> None:
    """Hand one message of a page to its process; what is not understood is ignored."""
    if message.type is not WSMsgType.TEXT:
        return
    try:
        kind, *rest = message.json()
        if kind == "stdin":
            await page.send_bytes(str(rest[0]).encode())
        elif kind == "resize":
            width, height = int(rest[0]["width"]), int(rest[0]["height"])
            await page.set_terminal_size(max(2, min(1000, width)), max(2, min(1000, height)))
        elif kind == "ping":
            await page.remote_write_str(f'["pong", "{int(rest[0])}"]')
        elif kind in ("blur", "focus"):
            await (page.blur() if kind == "blur" else page.focus())
    except (ValueError, TypeError, KeyError, IndexError, ConnectionError):
        return


def reached_by(host: str) -> list[str]:
    """The addresses by which others reach what listens on a host: a wildcard itself is none.

    Nothing is sent: to choose a way to an address is to ask the system's own table.
    """
    if host not in ("0.0.0.0", "::", ""):
        return [host]
    found: list[str] = []
    kinds = [(network.AF_INET, "192.0.2.1")]  # an address for examples, RFC 5737
    kinds += [(network.AF_INET6, "2001:db8::1")] if host != "0.0.0.0" else []
    for family, elsewhere in kinds:
        with contextlib.suppress(OSError), network.socket(family, network.SOCK_DGRAM) as probe:
            probe.connect((elsewhere, 9))
            found.append(str(probe.getsockname()[0]))
    return found or ["localhost"]


def certified(certificate: Path, key: Path) -> ssl.SSLContext:
    """A certificate to encrypt with.

    Raises:
        OSError: a file cannot be read, or holds none (an ``ssl.SSLError``).
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(certificate, key)
    return context


def code_of(url: str) -> str:
    """An address as a code to scan from the terminal, in half blocks."""
    import segno

    out = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue()


def _cells(request: web.Request, name: str, otherwise: int) -> int:
    text = request.query.get(name, "")
    return max(2, min(1000, int(text))) if text.isdecimal() and len(text) < 6 else otherwise


def _escaped(text: str) -> str:
    """A host for an attribute: anything but its own characters is left out."""
    return "".join(sign for sign in text if sign.isalnum() or sign in ".:-[]")


def _text(text: str, kind: str) -> Callable[[web.Request], Awaitable[web.Response]]:
    async def give(request: web.Request) -> web.Response:
        return web.Response(text=text, content_type=kind)

    return give
