"""Show a walk that is under way in a browser, say on a tablet at the rack. A page is one more screen of its runner."""

from __future__ import annotations

import argparse
import asyncio
import signal
import sys
from pathlib import Path
from typing import Final

from bench import exits
from bench.commands import common
from bench.errors import BadRequest

LISTEN: Final = "127.0.0.1:8320"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument(
        "record", type=Path, nargs="?", default=Path(), help="the walk's record; by default the newest in logs/"
    )
    parser.add_argument("--survey", type=Path, metavar="JOB", help="survey this job there in place of a walk")
    parser.add_argument(
        "--logs", type=Path, metavar="DIR", help="for --survey: the folder of records (default logs/ in the job)"
    )
    parser.add_argument("--operator", default="", help="the name of whoever looks; kept in the record")
    parser.add_argument("--watch", action="store_true", help="pages never take the operator's seat by themselves")
    parser.add_argument("--ascii", action="store_true", help="draw with plain characters only")
    parser.add_argument(
        "--listen",
        default=LISTEN,
        metavar="HOST:PORT",
        help=f"where to listen; by default this computer alone reaches it ({LISTEN}), and 0.0.0.0:8320 is for a tablet "
        "in the same network. The token is always wanted",
    )
    parser.add_argument("--certificate", type=Path, metavar="FILE", help="encrypt with this certificate (PEM)")
    parser.add_argument("--key", type=Path, metavar="FILE", help="its private key, where that is a file of its own")


def place_of(text: str) -> tuple[str, int]:
    """Host and port of ``HOST:PORT``; an IPv6 host stands in brackets.

    Raises:
        BadRequest: it is none.
    """
    host, colon, port = text.rpartition(":")
    bracketed = host.startswith("[") and host.endswith("]")
    if not colon or not host or not port.isdecimal() or int(port) > 65535 or (":" in host and not bracketed):
        raise BadRequest(f"--listen: found {text!r}, expected HOST:PORT such as {LISTEN} or [::1]:8320")
    return host.strip("[]"), int(port)


def run(options: argparse.Namespace) -> int:
    """Serve pages until ctrl-c."""
    host, port = place_of(options.listen)
    try:
        from bench.screens.browser import SURVEY_KEYS, WALK_KEYS, BrowserServer, certified
    except ImportError as error:
        raise BadRequest(f"this needs an extra part ({error.name}): pip install 'proveout[browser]'") from error
    command = [sys.executable, "-m", "bench.cli"]
    if options.survey is not None:
        from bench.commands.open import plant_of

        command += ["survey", str(plant_of(options.survey).resolve()), "--screen"]
        command += ["--logs", str(options.logs.resolve())] if options.logs is not None else []
    else:
        from bench.commands.start_screen import attached

        command += ["page", "--attach", attached(options.record)().record]
    command += [f"--{name}" for name in ("ascii", "watch") if getattr(options, name)]
    keys = WALK_KEYS if options.survey is None else SURVEY_KEYS
    tls = None
    if options.certificate is not None:
        try:
            tls = certified(options.certificate, options.key or options.certificate)
        except OSError as error:
            raise BadRequest(f"--certificate {options.certificate}: {error.strerror or error}") from error
    elif options.key is not None:
        raise BadRequest("--key is that of a certificate: --certificate FILE")
    server = BrowserServer(command, common.operator_name(options.operator), host, port, keys, tls)
    try:
        asyncio.run(_serve(server))
    except OSError as error:
        raise BadRequest(f"--listen {options.listen}: {error.strerror or error}") from error
    return exits.PASS


async def _serve(server: object) -> None:
    from bench.screens.browser import BrowserServer, code_of

    assert isinstance(server, BrowserServer)
    told = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(number, told.set)
        except NotImplementedError:
            # the loop of some systems takes no signals; the interpreter does
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(told.set))

    def ready(urls: list[str]) -> None:
        print("Open this on the tablet; whoever has the address can work with it:")
        for url in urls:
            print(f"  {url}")
        if urls and not urls[0].startswith("https"):
            print("Nothing is encrypted: --certificate FILE encrypts, and so does a tunnel.")
        if sys.stdout.isatty():
            print(code_of(urls[0]))
        print("ctrl-c ends it.", flush=True)

    await server.serve(ready, told.wait())
