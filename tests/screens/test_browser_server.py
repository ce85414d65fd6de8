"""What serves pages to a browser: who is let in, what is not understood, where it is reached, how it is encrypted."""

from __future__ import annotations

import asyncio
import datetime
import ipaddress
import ssl
from collections.abc import Awaitable, Callable
from pathlib import Path

import aiohttp
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from bench.screens.browser import BrowserServer, Page, certified, code_of, reached_by


def served(act: Callable[..., Awaitable[None]], *servers: BrowserServer) -> None:
    """Do something while servers listen; their first addresses are given to it."""

    async def one(left: list[BrowserServer], urls: list[str]) -> None:
        if not left:
            await act(*urls)
            return
        listening, done = asyncio.Event(), asyncio.Event()
        task = asyncio.create_task(left[0].serve(lambda _: listening.set(), done.wait()))
        try:
            await listening.wait()
            await one(left[1:], [*urls, left[0].urls[0]])
        finally:
            done.set()
            await task

    async def bounded() -> None:
        async with asyncio.timeout(60):
            await one(list(servers), [])

    asyncio.run(bounded())


def server(**more: object) -> BrowserServer:
    return BrowserServer(["false"], "Ana", "127.0.0.1", 0, **more)


def test_two_servers_of_one_computer_do_not_take_each_other_s_cookie() -> None:
    """A browser sends the cookies of a host to all of its ports."""

    async def act(one: str, other: str) -> None:
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
            for url in (one, other):
                async with session.get(url) as answer:
                    assert answer.status == 200
            for url in (one, other):
                async with session.get(url.partition("?")[0]) as answer:
                    assert answer.status == 200, "let in still"
            assert len({cookie.key for cookie in session.cookie_jar}) == 2

    served(act, server(), server())


@pytest.mark.parametrize(
    "request_",
    [
        b"GET /?token=%ff%fe HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nCookie: proveout=\xff\xfe\r\n\r\n",
        b"GET /\xff\xfe HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: \xff\xfe\r\n\r\n",
        b"GET /%00%ff HTTP/1.1\r\nHost: x\r\n\r\n",
        b'GET / HTTP/1.1\r\nHost: x\r\nCookie: a="\\377"; proveout-\xc3=\xc3\r\n\r\n',
        b"\xff\xfe\xfd\xfc\r\n\r\n",
    ],
)
def test_bad_bytes_are_answered_as_a_bad_request(request_: bytes, caplog: pytest.LogCaptureFixture) -> None:
    """Or as one without the token; never by a fault of the server's own, with or without the cookie."""

    async def act(url: str) -> None:
        port = int(url.split(":")[2].partition("/")[0])
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session, session.get(url):
            (mine,) = [f"{cookie.key}={cookie.value}" for cookie in session.cookie_jar]
        for sent in (request_, request_.replace(b"Host: x\r\n", b"Host: x\r\nCookie: " + mine.encode() + b"\r\n", 1)):
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(sent)
            line = await reader.readline()
            assert line.split()[1] in (b"400", b"403", b"404", b"200"), line
            writer.close()

    served(act, server())
    assert not [
        one for one in caplog.records if one.exc_info and one.levelname == "ERROR" and "Unhandled" in one.message
    ]


def test_a_wildcard_is_told_as_an_address_that_a_tablet_can_open() -> None:
    for host in ("0.0.0.0", "::"):
        found = reached_by(host)
        assert found and not {"0.0.0.0", "::"} & set(found)
    assert reached_by("192.0.2.7") == ["192.0.2.7"]


def test_the_address_is_a_code_that_holds_it() -> None:
    """As many rows as the standard's smallest symbol for it has, two to a line, with its quiet zone."""
    shown = code_of("http://192.0.2.7:8320/?token=abc")
    rows = [line for line in shown.splitlines() if line.strip()]
    assert len(rows) >= 13 and {sign for line in rows for sign in line} & {"█", "▀", "▄"}


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """One for this computer, with its key in the same file."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "rack")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), False)
        .sign(key, hashes.SHA256())
    )
    path = tmp_path / "rack.pem"
    pem = serialization.Encoding.PEM
    secret = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    path.write_bytes(made.public_bytes(pem) + secret)
    return path


def test_with_a_certificate_all_is_encrypted(certificate: Path) -> None:
    trusting = ssl.create_default_context(cafile=str(certificate))

    async def act(url: str) -> None:
        assert url.startswith("https://")
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
            async with session.get(url, ssl=trusting) as answer:
                assert answer.status == 200 and "wss://127.0.0.1" in await answer.text()
                assert "wss://127.0.0.1" in answer.headers["Content-Security-Policy"]
            assert all(cookie["secure"] for cookie in session.cookie_jar)
            with pytest.raises(aiohttp.ClientError):
                await session.get(url.replace("https:", "http:"))

    served(act, server(tls=certified(certificate, certificate)))


def test_what_is_no_certificate_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "none.pem"
    path.write_text("no certificate\n")
    with pytest.raises(OSError):
        certified(path, path)


def test_a_tone_goes_to_the_page_by_its_name() -> None:
    """Between what the terminal paints, as the page's script takes it."""
    sent: list[str] = []

    async def keep(text: str) -> None:
        sent.append(text)

    page = Page("false", write_bytes=keep, write_str=keep, close=keep, download_manager=None)  # type: ignore[arg-type]
    asyncio.run(page.on_meta(b'{"type": "sound", "what": "pass"}'))
    assert sent == ['["sound", "pass"]']


def test_the_page_is_given_its_tones_before_the_terminal_opens_its_line() -> None:
    async def act(url: str) -> None:
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
            async with session.get(url) as answer:
                html = await answer.text()
            async with session.get(f"{url.partition('/?')[0]}/page.js") as answer:
                script = await answer.text()
        assert html.index("page.js") < html.index("textual.js"), "it listens at the line from its beginning"
        assert "TONES" not in script and '"discharged": [[' in script and '["ALL OFF", "z"]' in script

    served(act, server())
