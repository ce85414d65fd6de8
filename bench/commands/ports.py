"""List ports and what the system knows of them; ask each who is there, but only when told to.

The list sends nothing and opens nothing. Asking sends bytes to devices that nobody may have meant, and opening a port
moves its DTR and RTS wires: it is done on the typed word ASK only, never at a port that another program has open, and
never with anything that sets or switches.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.instruments.discovery import Found, Question
    from bench.instruments.ports.listing import Port
    from bench.instruments.profile.library import Library

WORD: Final = "ASK"
"""What a person types to let ports be asked."""
WARNING: Final = (
    "A stray byte can upset some devices, and opening a port can reset some boards. Ask only where you know that\n"
    "nothing on these ports can be hurt or can hurt: leave out what drives motors, relays, heaters or alarms with\n"
    "--exclude."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("--visa", action="store_true", help="list VISA resources too, as far as nothing need be sent")
    parser.add_argument(
        "--port", action="append", default=[], metavar="ADDRESS", help="a port that no list shows, socket://host:5025"
    )
    parser.add_argument("--exclude", action="append", default=[], metavar="ADDRESS", help="never ask at this port")
    parser.add_argument(
        "--ask", nargs="*", metavar="ADDRESS", help="ask who is there, at these ports or at all that are free"
    )
    parser.add_argument("--consent", metavar=WORD, help=f"'{WORD}', for scripts; the ports must then be named")
    parser.add_argument("--profile", action="append", default=[], metavar="NAME", help="try this profile only")
    parser.add_argument("--bench", type=Path, metavar="FILE", help="write a bench file of what was found")


def run(options: argparse.Namespace) -> int:
    """List, and ask where that is wanted."""
    from bench.instruments.ports.listing import joined, serial_ports, visa_ports

    if options.ask is None and (options.bench or options.consent or options.profile):
        raise BadRequest("--bench, --consent and --profile go with --ask")
    if options.bench is not None and options.bench.exists():
        raise FileExistsError(f"{options.bench} is there already and is left as it is; name another file")
    ports = serial_ports()
    remarks: list[str] = []
    if options.visa:
        more, remarks = visa_ports()
        ports += more
    ports = joined(ports, [*options.port, *(options.ask or [])])
    for port in ports:
        _show(port)
    if not ports:
        print("no ports; is the adapter plugged in?")
    for remark in remarks:
        print(f"remark: {remark}")
    if options.ask is None:
        return exits.PASS
    return _ask(options, ports)


def _show(port: Port) -> None:
    from bench.instruments.ports.listing import holder

    print(port.device)
    serial = f"serial number {port.serial}" if port.serial else ""
    about = ", ".join(part for part in (port.description, serial) if part)
    who = holder(port.device)
    for line in (
        about,
        f"always to be found as {port.by_id}" if port.by_id else "",
        f"VISA {port.visa}" if port.visa and port.visa != port.device else "",
        f"held by {who}" if who else "",
    ):
        if line:
            print(f"    {line}")


def _ask(options: argparse.Namespace, ports: list[Port]) -> int:
    from bench.assemble import job_folder
    from bench.instruments.discovery import ask_all
    from bench.instruments.profile.library import Library

    library = Library.for_job(job_folder(options.bench or Path("bench.yaml")))
    plan = _plan(options, ports, library)
    if not plan:
        print("\nno port is left to be asked")
        return exits.NOT_PASSED
    _consent(options, plan)
    print()
    found = ask_all(plan, library, _tell)
    if not any(one.matches for one in found):
        print("\nnothing was found that a profile fits")
        return exits.NOT_PASSED
    if options.bench is not None:
        _write(options.bench, found, library)
    return exits.PASS


def _plan(options: argparse.Namespace, ports: list[Port], library: Library) -> list[tuple[Port, tuple[Question, ...]]]:
    """What is to be asked where; prints it, and what is left alone."""
    from bench.instruments.discovery import has_line, questions
    from bench.instruments.ports.address import port_key
    from bench.instruments.ports.listing import holder

    profiles = [library.profile(name) for name in options.profile]
    if not profiles:
        entries = library.entries()
        profiles = [entry.profile for entry in entries if entry.profile is not None]
        for entry in entries:
            if entry.profile is None:
                print(f"remark: the profile {entry.name} cannot be used: {entry.problems[0]}")
    named = {port_key(address) for address in options.ask}
    left_out = {port_key(address) for address in options.exclude}
    plan: list[tuple[Port, tuple[Question, ...]]] = []
    print()
    for port in ports:
        if named and port.key not in named:
            continue
        who = holder(port.device)
        if port.key in left_out or who:
            print(f"{port.device} is left alone: {'excluded' if port.key in left_out else f'held by {who}'}")
            continue
        tries = questions(profiles, port.address)
        if not tries:
            print(f"{port.device} is left alone: no profile can be known there")
            continue
        plan.append((port, tries))
    alike: dict[tuple[str, ...], list[str]] = {}
    for port, tries in plan:
        serial = has_line(port.device)
        alike.setdefault(tuple(one.describe(serial=serial) for one in tries), []).append(port.device)
    for steps, devices in alike.items():
        print(f"{', '.join(devices)}: until something answers")
        for step in steps:
            print(f"    {step}")
    return plan


def _consent(options: argparse.Namespace, plan: list[tuple[Port, tuple[Question, ...]]]) -> None:
    longest = max(sum(one.seconds for one in tries) for _, tries in plan)
    print(f"\nAll ports at the same time: {longest:.0f} s at most.\n{WARNING}", flush=True)
    if options.consent is not None:
        if options.consent != WORD:
            raise BadRequest(f"--consent wants the word {WORD}")
        if not options.ask:
            raise BadRequest(f"--consent {WORD} wants the ports by name: --ask ADDRESS ...")
        return
    if not sys.stdin.isatty():
        raise BadRequest(f"nothing was sent: asking wants the word {WORD} typed, or --ask ADDRESS ... --consent {WORD}")
    print(f"Type {WORD} to ask: ", end="", flush=True)
    if sys.stdin.readline().strip() != WORD:
        raise BadRequest(f"nothing was sent: the word was not {WORD}")


def _tell(found: Found) -> None:
    print(found.port.device)
    if found.trouble is not None:
        print(f"    {found.trouble}")
        return
    print(f"    {found.how}")
    for place, match in enumerate(found.matches):
        serial = f", serial number {match.identity.serial}" if match.identity.serial and not place else ""
        print(f"    {'profile' if not place else '     or'} {match.profile.profile}: {match.profile.title}{serial}")
    if not found.told_apart and found.matches:
        print("    Its answer does not tell which of these it is: look at the instrument.")


def _write(path: Path, found: list[Found], library: Library) -> None:
    from datetime import datetime

    from bench.instruments.bench_draft import bench_text, write_bench

    write_bench(path, bench_text(found, path.stem, datetime.now().astimezone().date()), library)
    print(f"\nwritten: {path}; look it over before you use it")
