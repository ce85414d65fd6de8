"""Say what of a plant is proven, what blocks its first power, and what to do next.

Evidence counts while nothing that it rests on was disturbed since and while the plant file still says the same about
it. Disturbances are those that were logged in walks, and those that were declared with 'proveout disturb'."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from bench import exits
from bench.commands import looks
from bench.commands.common import LOGS, say_progress
from bench.say.lists import count
from bench.say.times import day, zone


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file, as it is now")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--json", action="store_true", help="print one JSON object in place of text")
    parser.add_argument("--screen", action="store_true", help="show it on the screen")
    looks.arguments(parser, on_the_screen=True)


def run(options: argparse.Namespace) -> int:
    """Read the folder and say where the plant stands."""
    from bench.job.asfound import as_found
    from bench.job.folder import Folder, open_folder
    from bench.plant.load import load_plant
    from bench.report.ready_text import left, left_on, lines, plain

    if options.screen:
        from bench.commands.job_screen import show_job
        from bench.screens.job.view import Place

        return show_job(options.plant, options.logs, looks.settings_of(options), Place("ready"))
    plant = load_plant(options.plant)
    # a job that was not begun has no records, and nothing is wrong with that
    begun = options.logs != LOGS or LOGS.is_dir()
    folder = open_folder(options.logs, plant.name, say_progress) if begun else Folder(LOGS)
    found = as_found(folder, plant)
    ready = found.ready
    if options.json:
        shown = {
            "records": len(folder.chapters),
            "simulated": folder.simulated,
            "broken": [str(error) for error in folder.broken],
            "left_out": folder.left_out,
            "contradictions": list(found.contradictions),
            "outputs_on": list(left_on(found.handled)),
            "left": {
                kind: {name: found.handled.state(kind, name) for name in things}
                for kind, things in found.handled.marks.items()
            },
            **plain(ready),
        }
        json.dump(shown, sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        _head(folder.chapters[0].began if folder.chapters else "", plant.file.title or plant.name, len(folder.chapters))
        for text in left_on(found.handled):
            print(f"OUTPUT ON: {text}")
        if folder.simulated:
            print("All of it comes from simulated benches: it proves nothing at a real rack.")
        for error in folder.broken:
            print(f"NOT COUNTED: {error}")
        for reason in sorted(set(folder.left_out.values())):
            number = sum(1 for why in folder.left_out.values() if why == reason)
            print(f"left out: {count(number, 'record')}, {reason}")
        print()
        for line in lines(ready):
            print(line)
        for title, told in (("As left:", list(left(found.handled))), ("Contradictions:", found.contradictions)):
            if told:
                print(f"\n{title}")
                for text in told:
                    print(text if text.startswith("  ") else f"  {text}")
    done = not ready.tasks and not ready.empty and not folder.broken
    return exits.PASS if done else exits.NOT_PASSED


def _head(began: str, title: str, records: int) -> None:
    since = f" since {day(began)}" if began else ""
    print(f"{title}: {count(records, 'record')}{since}; days and times are {zone()}")
