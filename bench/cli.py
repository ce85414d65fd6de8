"""The command line: finds the command, loads that one module, and turns expected errors into one clear text.

Nothing heavy is imported here, so that ``proveout --help`` answers at once.
"""

from __future__ import annotations

import os
import sys

from bench import __version__

# `typing` alone takes as long to load as all that help needs; a type checker takes this for true
TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence
    from typing import Final, TextIO

COMMANDS: Final[dict[str, str]] = {
    "demo": "walk a rebuilt bundle of Gannet Head on a simulated bench",
    "new": "start a job: a plant file that checks, a bench without instruments, what to do next",
    "open": "open a job on the screen: where it stands, what is next; start walks, look back at them",
    "survey": "note what hangs and what is free in a pile of cables; be told what belongs together",
    "check": "say what is wrong with plant, bench and sequence files, and what a bench can prove",
    "schema": "print the JSON Schema of a kind of file, for editors",
    "ports": "list the ports; ask who is there, on consent, and write a bench file",
    "profile": "try a profile: replay its examples, or talk to the meter and say what it gets wrong",
    "walk": "walk a sequence on the screen",
    "watch": "read points for minutes to weeks: find what is loose while it is moved, and what happened meanwhile",
    "distance": "say how far along a cable a short, an earth fault or an open lies, and which method can tell",
    "noise": "weigh hum and noise in sound files: levels, mains harmonics, lines of converters, before and after",
    "trips": "say what breaker trips, fuse alarms and resets have in common, each with its evidence",
    "browser": "show a walk that is under way in a browser, say on a tablet at the rack",
    "run": "run a sequence without a screen",
    "draft": "draft a sequence from a plant: insulation, continuity, polarity, idle current, first power",
    "sheet": "write a work sheet: readings to fill in at the rack, on paper or as CSV",
    "earth": "show the earthing network: what it should read, what a bench can see of it, what a search found",
    "identify": "find which wire is which in a cable without labels: plan, cards, walk, labels",
    "explain": "explain a measured pin map by the fewest things that people did",
    "judge": "judge a record again under other limits or another decision rule",
    "replay": "show what a record holds, step by step",
    "ready": "say what of a plant is proven, what blocks its first power, and what to do next",
    "findings": "show what records found that the plant file does not say, and write it there when asked",
    "learn": "learn a sound cable's pin list from readings; what looks like damage is asked",
    "disturb": "declare that something was disturbed: what was proven of it no longer counts",
    "outputs": "say which outputs a record ends with on, and write down what somebody saw of them",
    "attach": "keep a photo, a sheet or a file's checksum with a record, beside it and by its hash",
    "trace": "find in the records where a point changed, and what was touched in between",
    "compare": "compare two records or two dates: what changed beyond the uncertainties",
    "report": "make one HTML report of one or more records",
    "verify": "verify records: which line was changed, lost, added or moved, and what is torn",
    "heads": "write down how far each record goes, to be kept elsewhere: printed, signed, sixteen letters",
    "export": "export readings as a table: CSV or Parquet",
}
"""Command to what it does, in the order of the help text."""

HIDDEN: Final = frozenset({"runner", "page"})
"""Commands that the program calls itself."""

NARROW: Final = 24
"""Columns below which no line is parted: a size that small is a terminal that does not know its own."""

AS_IT_IS: Final = frozenset({"draft", "export", "heads", "page", "runner", "schema"})
"""Commands whose output is a file, or is read by a program: their lines stay whole on a terminal too."""

EPILOG: Final = """exit codes: 0 all passed; 1 something failed, is undecided or was skipped;
2 bad input; 3 aborted, or trouble with an instrument or a record

Proveout is no safety device. Follow local codes and the site's rules;
leave live work to licensed people."""


USAGE: Final = "usage: proveout [-h] [--version] COMMAND ..."
DOES: Final = "Prove a rebuilt electronic plant wire by wire, and bring it to its first power."


def help_text(columns: int) -> str:
    """The help of the whole command line.

    Written without argparse: to load it and to tell it all commands takes longer than bare Python takes to start.

    Args:
        columns: of the terminal.
    """
    rows = [("-h, --help", "show this text"), ("--version", "show the version"), *COMMANDS.items()]
    beside = max(len(name) for name, _ in rows) + 4
    lines = [USAGE, "", DOES, "", "options:"]
    for name, does in rows:
        if name == next(iter(COMMANDS)):
            lines += ["", "commands:"]
        first, *more = _wrapped(does, max(columns - beside - 2, 24))
        lines += [f"  {name:{beside - 2}}{first}", *(" " * beside + line for line in more)]
    return "\n".join([*lines, "", "`proveout COMMAND --help` says the rest.", "", EPILOG])


def _wrapped(text: str, columns: int) -> list[str]:
    """A text in lines that fit a number of columns, broken between words."""
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > columns:
            lines.append("")
        lines[-1] += f" {word}" if lines[-1] else word
    return lines


def _columns() -> int:
    """Columns of the terminal, as ``COLUMNS`` or the terminal says; 80 where neither does."""
    said = os.environ.get("COLUMNS", "")
    if said.isdecimal() and int(said) > 0:
        return int(said)
    try:
        return os.get_terminal_size().columns or 80
    except OSError:
        return 80


def _end_of(stream: TextIO) -> Callable[[], int] | None:
    """How wide the terminal is that is printed on, whenever that is asked; None where it is none."""
    if stream is None or not stream.isatty():
        return None

    def columns() -> int:
        try:
            cells = os.get_terminal_size(stream.fileno()).columns
        except (OSError, ValueError):
            return 0
        return cells if cells >= NARROW else 0

    return columns


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    try:
        code = _chosen(list(sys.argv[1:] if argv is None else argv))
        if sys.stdout is not None:
            sys.stdout.flush()  # here it can be said that the output has nowhere to go
    except OSError as error:
        return _output_ended(error)
    return code


def _output_ended(error: OSError) -> int:
    """Say that the standard output cannot be written, and let the end of the program not try again."""
    import contextlib

    from bench.exits import STOPPED

    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    if not isinstance(error, BrokenPipeError):
        with contextlib.suppress(OSError, ValueError):
            print(f"the output cannot be written: {error.strerror or error}", file=sys.stderr)
    return STOPPED


def _chosen(words: list[str]) -> int:
    """Run the command that the first word names."""
    name = words[0] if words else ""
    if name in COMMANDS or name in HIDDEN:
        return _command(name, words[1:])
    if name in ("-h", "--help"):
        print(help_text(_columns()))
        return 0
    if name == "--version":
        print(f"proveout {__version__}")
        return 0
    from bench.exits import BAD_INPUT

    print(_misled(name) if name else help_text(_columns()), file=sys.stderr)
    return BAD_INPUT


def _misled(name: str) -> str:
    """What to say to a word that is no command."""
    from difflib import get_close_matches

    close = get_close_matches(name, COMMANDS, 1)
    hint = f"; did you mean '{close[0]}'?" if close else f": one of {', '.join(COMMANDS)}"
    return f"{USAGE}\nproveout: found {name!a}, expected a command{hint}"


def _command(name: str, words: Sequence[str]) -> int:
    """Load a command's module and run it."""
    import argparse
    import importlib

    module = importlib.import_module(f"bench.commands.{name.replace('-', '_')}")
    own = argparse.ArgumentParser(
        prog=f"proveout {name}",
        description=module.__doc__,
        epilog=EPILOG.split("\n\n", maxsplit=1)[0],
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    module.arguments(own)
    return _guarded(name, module.run, own.parse_args(words))


def _spelled(text: str) -> str:
    from bench.quantity import ascii_only  # wanted only where the terminal has no other letters

    return ascii_only(text)


def _guarded(name: str, run: Callable[[argparse.Namespace], int], arguments: argparse.Namespace) -> int:
    from bench.errors import expected
    from bench.exits import STOPPED
    from bench.texts import Harmless, OutputEnded

    streams = sys.stdout, sys.stderr
    whole = name in AS_IT_IS or arguments.__dict__.get("json")
    out, err = (None if whole else _end_of(stream) for stream in streams)
    sys.stdout = Harmless(sys.stdout, _spelled, columns=out)
    sys.stderr = Harmless(sys.stderr, _spelled, returns=True, columns=err)
    try:
        return run(arguments)
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return STOPPED
    except (BrokenPipeError, OutputEnded):
        raise
    except Exception as error:
        known = expected(error)
        if known is None:
            raise
        text, code = known
        print(text, file=sys.stderr)
        return code
    finally:
        sys.stdout, sys.stderr = streams


if __name__ == "__main__":
    sys.exit(main())
