"""The command line: finds the command, loads that one module, and turns expected errors into one clear text.

Nothing heavy is imported here, so that ``proveout --help`` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence
from typing import Final

from bench import __version__
from bench.exits import BAD_INPUT, STOPPED

COMMANDS: Final[dict[str, str]] = {
    "demo": "walk a rebuilt bundle of Gannet Head on a simulated bench",
    "check": "say what is wrong with plant, bench and sequence files, and what a bench can prove",
    "schema": "print the JSON Schema of a kind of file, for editors",
    "ports": "list the ports; ask who is there, on consent, and write a bench file",
    "profile": "try a profile: replay its examples, or talk to the meter and say what it gets wrong",
    "walk": "walk a sequence on the screen",
    "run": "run a sequence without a screen",
    "draft": "draft a sequence from a plant: insulation, continuity, polarity, idle current, first power",
    "explain": "explain a measured pin map by the fewest things that people did",
    "judge": "judge a record again under other limits or another decision rule",
    "replay": "show what a record holds, step by step",
    "ready": "say what of a plant is proven, what blocks its first power, and what to do next",
    "disturb": "declare that something was disturbed: what was proven of it no longer counts",
    "trace": "find in the records where a point changed, and what was touched in between",
    "compare": "compare two records or two dates: what changed beyond the uncertainties",
    "report": "make one HTML report of one or more records",
    "verify": "verify records: which line was changed, lost, added or moved, and what is torn",
    "export": "export readings as a table: CSV or Parquet",
}
"""Command to what it does, in the order of the help text."""

HIDDEN: Final = frozenset({"runner"})
"""Commands that the program calls itself."""

EPILOG: Final = """exit codes: 0 all passed; 1 something failed, is undecided or was skipped; 2 bad input;
3 aborted, or trouble with an instrument or a record

Proveout is no safety device. Follow local codes and the site's rules; leave live work to licensed people."""


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line, without the commands' own options."""
    made = argparse.ArgumentParser(
        prog="proveout",
        description="Prove a rebuilt electronic plant wire by wire, and bring it to its first power.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    made.add_argument("--version", action="version", version=f"proveout {__version__}")
    commands = made.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for name, does in COMMANDS.items():
        commands.add_parser(name, help=does, add_help=False)
    return made


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    name = next((word for word in words if not word.startswith("-")), None)
    if name is None or (name not in COMMANDS and name not in HIDDEN) or words.index(name) != 0:
        whole = parser()
        whole.parse_args(words)
        whole.print_help()
        return BAD_INPUT
    module = importlib.import_module(f"bench.commands.{name.replace('-', '_')}")
    own = argparse.ArgumentParser(
        prog=f"proveout {name}",
        description=module.__doc__,
        epilog=EPILOG.split("\n\n", maxsplit=1)[0],
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    module.arguments(own)
    return _guarded(module.run, own.parse_args(words[1:]))


def _guarded(run: object, arguments: argparse.Namespace) -> int:
    from bench.errors import expected

    try:
        return int(run(arguments))  # type: ignore[operator]
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # whoever read our output has enough; the rest has nowhere to go
        sys.stderr.close()
        return STOPPED
    except Exception as error:
        known = expected(error)
        if known is None:
            raise
        text, code = known
        print(text, file=sys.stderr)
        return code


if __name__ == "__main__":
    sys.exit(main())
