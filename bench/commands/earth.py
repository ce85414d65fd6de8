"""Show the earthing network of a plant: what it should read, what a bench can see of it, what a search found."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.diagnose.earth.meter import BenchMeter
    from bench.plant.model import Plant
    from bench.sequence.file import Found
    from bench.walk.state import State


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("--record", type=Path, help="show what the search for a second path in this record found")
    parser.add_argument("--bench", type=Path, help="say what this bench can see with nothing lifted, and what not")
    parser.add_argument(
        "--path", default="10 mohm", metavar="OHMS", help="with --bench: the second path that must not be missed"
    )
    parser.add_argument("--wires", type=int, choices=(2, 4), default=4, help="with --bench: how ohms are read")
    parser.add_argument("--between", nargs=2, metavar="POINT", help="what these two earth points should read")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="write the picture of the network there")
    parser.add_argument("--json", action="store_true", help="with --record: print the finding as one JSON object")


def run(options: argparse.Namespace) -> int:
    """Load, look, print."""
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.earth.finding import picture_of
    from bench.plant.load import load_plant
    from bench.report import earth_text

    if options.json and options.record is None:
        raise BadRequest("--json wants --record: it prints what a search found")
    plant = load_plant(options.plant)
    found: Found | None = None
    verdict = "pass"
    if options.record is not None:
        plant, found, verdict = _found(options.record, plant)
    try:
        picture = picture_of(plant, found.facts if found is not None else {}, plant.ambient_c)
        if options.json and found is not None:
            told = {"verdict": verdict, "sentence": found.sentence, "lines": found.lines, **found.facts}
            json.dump(told, sys.stdout, ensure_ascii=False, indent=1)
            print()
        else:
            network = picture.network
            lines = earth_text.network_lines(picture)
            if options.between is not None:
                lines.append(earth_text.between_line(network, *options.between))
            elif found is None:
                lines += earth_text.expected_lines(network)
            if options.bench is not None:
                lines += earth_text.sight_lines(network, _meter(options, plant), _path(options.path))
            if found is not None:
                lines += earth_text.found_lines(found.sentence, found.lines, found.facts)
            elif options.between is None:
                lines += earth_text.proof_lines(network)
            print("\n".join(lines))
        if options.svg is not None:
            _draw(options.svg, plant, found)
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error
    return exits.PASS if verdict == "pass" else exits.NOT_PASSED


def _found(record: Path, plant: Plant) -> tuple[Plant, Found, str]:
    """The record's own plant, what its last search for a second path found, and the verdict that counts now.

    Raises:
        BadRequest: it is of another plant, or holds no such search that came to its end.
    """
    from bench.diagnose.earth.finding import is_earth
    from bench.record.replay import replay
    from bench.walk.results import results

    state: State = replay(record)
    assert state.setting is not None
    if state.setting.plant.name != plant.name:
        raise BadRequest(f"{record} is of the plant {state.setting.plant.name}, expected {plant.name}")
    for outcome in reversed(results(state).values()):
        if outcome.found is not None and is_earth(outcome.found.facts):
            return state.setting.plant, outcome.found, outcome.verdict
    raise BadRequest(f"{record} holds no search for a second path to earth that came to its end")


def _meter(options: argparse.Namespace, plant: Plant) -> BenchMeter:
    from bench.assemble import bench_facts, job_folder
    from bench.diagnose.earth.meter import bench_meter
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library

    bench = load_bench(options.bench, Library.for_job(job_folder(options.bench)))
    return bench_meter(bench_facts(bench), plant.ambient_c, options.wires)


def _path(text: str) -> float:
    from bench.quantity import Resistance

    try:
        value = Resistance.parse(text).value
    except ValueError as error:
        raise BadRequest(f"--path: {error}") from error
    if not 0 < value < 1e3:
        raise BadRequest(f"--path: found {text}, expected more than 0 and less than 1 kΩ")
    return value


def _draw(path: Path, plant: Plant, found: Found | None) -> None:
    from bench.diagnose.earth.finding import picture_of
    from bench.diagnose.earth.picture import svg
    from bench.saved import save

    picture = picture_of(plant, found.facts if found is not None else {}, plant.ambient_c)
    title = f"Earthing network of {plant.file.title or plant.name}"
    save(path, svg(picture.network, picture.strays, picture.poor, title))
    print(f"{path}: picture of {len(picture.network.points)} points", file=sys.stderr)
