"""Identify the conductors of an unlabelled cable: plan, cards for both ends, the walk, labels."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench import exits
from bench.commands.common import LOGS, record_name, relative, sequence_schema
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.diagnose.identify.case import Case
    from bench.diagnose.identify.ways import Way
    from bench.plant.model import Plant
    from bench.walk.facts import BenchFacts


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("cable", help="the cable")
    parser.add_argument("--plant", type=Path, help="the plant file; by default plant.yaml here, or beside the bench")
    parser.add_argument("--bench", type=Path, help="the bench file; without it nothing is read")
    parser.add_argument("--by", metavar="WAY", help="tags, star, chain or sizes; by default the best")
    parser.add_argument("--common", metavar="PLACE", help="known at both ends: screen, a conductor, one or two places")
    parser.add_argument("--tags", metavar="LIST", help="what is in the drawers: E24, E96 or single values, with commas")
    parser.add_argument("--measured", metavar="LIST", help="odd resistors whose values you measured, with commas")
    parser.add_argument("--tolerance", metavar="SHARE", help="of the tags: '1 %%'")
    parser.add_argument("--direct", metavar="CONDUCTOR", help="for a star: the conductor without a tag")
    parser.add_argument("--no-bar", action="store_true", help="there is no shorting bar")
    parser.add_argument("--tester", action="store_true", help="only a continuity tester is at hand")
    parser.add_argument("--flags", metavar="CONNECTOR", help="the ends are on this connector, in an order not known")
    parser.add_argument(
        "--known", type=Path, nargs="+", metavar="RECORD", help="records that found some of them: those are left out"
    )
    parser.add_argument("--colours", type=Path, metavar="FILE", help="colours seen at the flags: CSV with flag, colour")
    parser.add_argument("--trust-colours", action="store_true", help="name an end of a colour of its own untouched")
    parser.add_argument("--plan", action="store_true", help="print the ways and the cards, and walk nothing")
    parser.add_argument("--screen", action="store_true", help="walk it on the screen")
    parser.add_argument("--plain", action="store_true", help="walk it line by line")
    parser.add_argument("--record", type=Path, help="the record to write; by default a new one in logs/")
    parser.add_argument("--resume", type=Path, metavar="RECORD", help="go on with a record where it stood")
    parser.add_argument("--operator", default="", help="who does the work; kept in the record")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end in place of text")
    parser.add_argument(
        "--speed", type=float, default=20.0, help="how much faster than real time a simulated bench runs (default 20)"
    )
    # what the walk's own commands ask for too
    parser.set_defaults(
        sequence=None, trace_bytes=None, attach=None, seed=None, demo_faults=False, by_key=False, place_after=0.8,
        give_up_after=1800.0, ascii=False, quiet=False, say="",
    )  # fmt: skip


def run(options: argparse.Namespace) -> int:
    """Plan, print the cards, walk, and write what was found."""
    from bench.diagnose.identify.cards_text import cards_text, ways_text
    from bench.saved import save

    if options.resume is not None:
        return _walk(options, options.resume)
    plant_path = _plant_path(options)
    plant, case, ways = _planned(options, plant_path)
    told = sys.stderr if options.json else sys.stdout
    print(ways_text(case, ways), file=told)
    cards = cards_text(case, ways[0], plant)
    if options.plan or options.bench is None:
        print(f"\n{cards}", end="", file=told)
        if not options.plan:
            print("Name a bench to walk it: --bench FILE", file=told)
        return exits.PASS
    record = options.record or record_name(LOGS, f"identify-{options.cable}")
    record.parent.mkdir(parents=True, exist_ok=True)
    save(_beside(record, ".cards.txt"), cards)
    print(f"cards for both ends: {_beside(record, '.cards.txt')}", file=told)
    options.sequence = _beside(record, ".yaml")
    save(options.sequence, _sequence(plant, options, plant_path, ways[0].method))
    options.record = record
    return _walk(options, record)


def _walk(options: argparse.Namespace, record: Path) -> int:
    if options.screen or options.plain:
        from bench.commands.start_screen import show

        code = show(options)
    else:
        from bench.commands.run_here import run_here

        code = run_here(options)
    if record.exists():
        _results(options, record)
    return code


def _plant_path(options: argparse.Namespace) -> Path:
    from bench.assemble import job_folder

    if options.plant is not None:
        return Path(options.plant)
    places = [Path("plant.yaml")]
    if options.bench is not None:
        places.append(job_folder(options.bench) / "plant.yaml")
    for path in places:
        if path.is_file():
            return path
    raise BadRequest(f"found no plant file at {' or '.join(map(str, places))}; name one: --plant FILE")


def _planned(options: argparse.Namespace, path: Path) -> tuple[Plant, Case, tuple[Way, ...]]:
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.identify.case import case_of
    from bench.plant.load import load_plant
    from bench.sequence.file import Seek

    plant = load_plant(path)
    try:
        settings = _settings(options, plant)
        case = case_of(plant, Seek(find="conductors", of=options.cable, settings=settings), _facts(options))
        return plant, case, case.ways()
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error


def _facts(options: argparse.Namespace) -> BenchFacts | None:
    if options.bench is None:
        return None
    from bench.assemble import bench_facts, job_folder
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library

    return bench_facts(load_bench(options.bench, Library.for_job(job_folder(options.bench))))


def _settings(options: argparse.Namespace, plant: Plant) -> dict[str, str]:
    """What the search is told, as its step in the sequence has it."""
    given: dict[str, Any] = {
        "method": options.by,
        "flags": options.flags,
        "common": options.common,
        "tags": options.tags,
        "measured": options.measured,
        "tolerance": options.tolerance,
        "direct": options.direct,
        "bar": "no" if options.no_bar else None,
        "tester": "yes" if options.tester else None,
        "colours": _colours(options.colours) if options.colours is not None else None,
        "known": _known(options, plant),
        "trust-colours": "yes" if options.trust_colours else None,
    }
    return {name: str(value) for name, value in given.items() if value}


def _known(options: argparse.Namespace, plant: Plant) -> str:
    """What records found on the connector whose order is not known, as the search is told it."""
    if options.known is None:
        return ""
    if not options.flags:
        raise BadRequest("--known goes with --flags: the connector whose order is not known")
    from bench.diagnose.explain.records import found_on
    from bench.record.replay import replay

    found = found_on([replay(record) for record in options.known], plant, options.cable, options.flags)
    return "; ".join(f"{place} {conductor}" for place, conductor in found.items())


def _colours(path: Path) -> str:
    """Colours from a CSV file with the columns flag and colour."""
    import csv

    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            if not {"flag", "colour"} <= set(reader.fieldnames or ()):
                raise BadRequest(f"{path}: found columns {reader.fieldnames}, expected 'flag' and 'colour'")
            rows = [(str(row["flag"]).strip(), str(row["colour"] or "").strip()) for row in reader]
    except (OSError, UnicodeDecodeError) as error:
        raise BadRequest(f"{path}: {error}") from error
    except csv.Error as error:
        raise BadRequest(f"{path}: line {reader.line_num + 1}: {error}") from error
    return "; ".join(f"{flag} {colour}" for flag, colour in rows if flag and colour)


def _sequence(plant: Plant, options: argparse.Namespace, plant_path: Path, method: str) -> str:
    """The sequence's text; the way is written down, so that another day's plan is the same."""
    from bench.sequence.draft import file_text, identify

    folder = options.sequence.parent
    settings = {**_settings(options, plant), "method": method}
    made = identify(plant, options.cable, settings)
    name = f"identify {options.cable}"
    return file_text(plant, name, made, relative(folder, plant_path), sequence_schema(folder))


def _beside(record: Path, ending: str) -> Path:
    return record.with_name(f"{record.name.removesuffix('.jsonl')}{ending}")


def _results(options: argparse.Namespace, record: Path) -> None:
    """Write labels for what was found, and say how it gets into the plant file."""
    from bench.diagnose.identify.finding import labels_csv
    from bench.record.replay import replay
    from bench.saved import save
    from bench.walk.results import results

    told = sys.stderr if options.json else sys.stdout
    state = replay(record)
    assert state.setting is not None
    for outcome in results(state).values():
        found, plant = outcome.found, state.setting.plant
        if found is None or outcome.verdict == "void" or "names" not in found.facts:
            continue
        labels = _beside(record, ".labels.csv")
        save(labels, labels_csv(plant, found.facts))
        print(f"labels: {labels}", file=told)
        if found.facts["names"] or found.facts["by_colour"]:
            cable, logs = found.facts["cable"], record.parent
            print(f"for the plant file: proveout findings PLANT {cable} --logs {logs} --write", file=told)
