"""Try a profile: replay its examples, or talk to the meter, show what comes, and say what the profile gets wrong.

Functions that energise, and outputs, are left alone unless --energise is given and its word is typed.
"""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.instruments.lenient_session import Told
    from bench.instruments.parts import Decoder
    from bench.instruments.profile.profile import Profile

WORD: Final = "ENERGISE"
"""What a person types to let outputs, and functions that energise, be tried."""
WARNING: Final = (
    "This switches on what the instrument puts out. Take its leads off everything first: nothing and nobody may be on\n"
    "them. Voltages of insulation testers hurt and kill electronics; follow local codes and the site's rules."
)
_MARKS: Final = {
    "shown": "  ",
    "right": "  right   ",
    "wrong": "  WRONG   ",
    "remark": "  remark  ",
    "left": "  left    ",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("profile", help="a profile's name, or its file")
    parser.add_argument("--port", metavar="ADDRESS", help="talk to the meter at this port")
    parser.add_argument("--energise", action="store_true", help="try outputs and functions that energise, too")
    parser.add_argument(
        "--set", action="append", default=[], metavar="NAME=VALUE", help="a setting, such as nplc=1 or voltage=50"
    )
    parser.add_argument(
        "--known",
        action="append",
        default=[],
        metavar="FUNCTION=VALUE",
        help="what is on it, such as 'ohms 2w=100 ohm'",
    )
    parser.add_argument("--trace-bytes", type=Path, metavar="FILE", help="write every byte to and from the meter here")


def run(options: argparse.Namespace) -> int:
    """Replay the examples, and talk to the meter where there is a port."""
    from bench.instruments.trial import examples

    if options.energise and options.port is None:
        raise BadRequest("--energise goes with --port")
    profile, decoder = _load(options.profile)
    print(f"{profile.profile}: {profile.title}")
    report = _Report()
    report.tell_head("its examples, byte for byte")
    if not profile.examples:
        print("  it has none")
    wrong = examples(profile, decoder, report.tell)
    if options.port is not None:
        wrong += _talk(options, profile, decoder, report)
    print(f"\n{report.sum()}")
    return exits.PASS if not wrong else exits.NOT_PASSED


def _load(name: str) -> tuple[Profile, Decoder | None]:
    """A profile by its name or its file.

    Raises:
        BadFile: with every problem.
    """
    from bench.assemble import job_folder
    from bench.instruments.profile.library import Library, load_decoder, load_profile
    from bench.instruments.profile.line import Frames

    path = Path(name)
    if path.suffix in (".yaml", ".yml") or len(path.parts) > 1:
        profile = load_profile(path)
        if not isinstance(profile.dialogue, Frames):
            return profile, None
        return profile, load_decoder(path.parent / f"{profile.dialogue.decoder}_frame.py")
    library = Library.for_job(job_folder(Path("profile.yaml")))
    return library.profile(name), library.decoder(name)


def _talk(options: argparse.Namespace, profile: Profile, decoder: Decoder | None, report: _Report) -> int:
    """Talk to the meter; returns how much is wrong."""
    from bench.assemble import tracer
    from bench.instruments.lenient_session import LenientSession
    from bench.instruments.ports.listing import holder
    from bench.instruments.ports.transport import open_port
    from bench.instruments.trial import examine

    settings: dict[str, str] = {}
    for text in options.set:
        name, equals, value = text.partition("=")
        if not equals:
            raise BadRequest(f"--set wants NAME=VALUE, found '{text}'")
        settings[name.strip()] = value.strip()
    known = dict(_known(text, profile) for text in options.known)
    who = holder(options.port)
    if who:
        raise BadRequest(f"{options.port} is held by {who}; end that program first")
    if options.energise:
        _consent(profile)
    trace = tracer(options.trace_bytes, profile.profile) if options.trace_bytes is not None else None
    transport = open_port(options.port, profile.line)
    try:
        meter = LenientSession(
            profile, transport, report.tell, decoder=decoder, settings=settings, known=known, trace=trace
        )
        with _ended_by_signals():
            return examine(meter, energise=options.energise, act=_act)
    finally:
        transport.close()


def _known(text: str, profile: Profile) -> tuple[str, float]:
    """What is on a function, in its base unit.

    Raises:
        BadRequest: no such function, or no value of its unit.
    """
    from bench.quantity import Amount, QuantityError

    name, _, value = (part.strip() for part in text.partition("="))
    names = [function.name for function in profile.functions]
    if name not in names:
        raise BadRequest(f"--known wants FUNCTION=VALUE with one of {', '.join(names)}, found '{text}'")
    unit = profile.function(name).base_unit
    try:
        amount = Amount.parse(value)
    except QuantityError as error:
        raise BadRequest(f"--known {name}: {error}") from error
    if amount.unit != unit:
        raise BadRequest(f"--known {name}: found '{value}', expected a value in {unit}")
    return name, amount.value


def _consent(profile: Profile) -> None:
    if profile.safe is None:
        return
    print(f"\n{WARNING}")
    if not sys.stdin.isatty():
        raise BadRequest(f"--energise wants somebody at the terminal who types {WORD}")
    print(f"Type {WORD} to go on: ", end="", flush=True)
    if sys.stdin.readline().strip() != WORD:
        raise BadRequest(f"nothing was energised: the word was not {WORD}")


def _act(instruction: str) -> bool:
    """Have a person do something at the meter; with nobody at the terminal it is tried as it stands."""
    if not sys.stdin.isatty():
        return True
    print(f"  {instruction} Press Enter when it is done, or type s to leave it out: ", end="", flush=True)
    return sys.stdin.readline().strip().casefold() not in ("s", "skip")


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """While this holds, TERM and HUP end the work as ctrl-c does, so that what is on is made safe on the way out."""

    def end(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    wanted = [signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    before = {number: signal.signal(number, end) for number in wanted}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Report:
    """Prints what is told, and counts it."""

    def __init__(self) -> None:
        self._counts = {"right": 0, "wrong": 0, "left": 0}

    def tell_head(self, text: str) -> None:
        """Begin a part."""
        print(f"\n{text}", flush=True)

    def tell(self, told: Told) -> None:
        """Print one thing."""
        if told.kind == "head":
            self.tell_head(told.text)
            return
        if told.kind in self._counts:
            self._counts[told.kind] += 1
        print(f"{_MARKS[told.kind]}{told.text}", flush=True)
        if told.advice:
            print(f"{'':10}{told.advice}", flush=True)

    def sum(self) -> str:
        """All in one line."""
        return f"{self._counts['right']} right, {self._counts['wrong']} wrong, {self._counts['left']} not tried"
