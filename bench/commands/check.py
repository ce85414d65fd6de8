"""Say everything that is wrong with files, and what a bench can prove of a sequence's limits."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.files import Problem
    from bench.plant.model import Plant
    from bench.walk.setting import Setting


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument(
        "path", type=Path, nargs="+", help="plant, sequence, bench or profile files, or folders of them"
    )
    parser.add_argument("--bench", type=Path, help="say of each limit of the sequences whether this bench can prove it")
    parser.add_argument("--all", action="store_true", help="with --bench: print every step, not one line for each kind")


def run(options: argparse.Namespace) -> int:
    """Check all files and print every problem of each."""
    from bench.files import BadFile

    files = list(_files(options.path))
    if not files:
        raise BadRequest(f"no YAML file in {', '.join(map(str, options.path))}")
    problems: list[Problem] = []
    remarks: list[str] = []
    sequences: list[Path] = []
    for path in files:
        try:
            kind = _check_one(path, remarks)
        except BadFile as error:
            problems += [problem for problem in error.problems if problem not in problems]
            continue
        if kind == "sequence":
            sequences.append(path)
        print(f"{path}: a good {kind} file")
    for remark in remarks:
        print(f"remark: {remark}")
    if problems:
        raise BadFile(problems)
    if options.bench is None:
        return exits.PASS
    if not sequences:
        raise BadRequest("--bench wants a sequence to hold it against")
    good = [_capabilities(path, options.bench, options.all) for path in sequences]
    return exits.PASS if all(good) else exits.NOT_PASSED


def _files(paths: Iterable[Path]) -> Iterable[Path]:
    for path in paths:
        if path.is_dir():
            yield from sorted(found for found in path.rglob("*.yaml"))
        else:
            yield path


def _check_one(path: Path, remarks: list[str]) -> str:
    """Check one file by what it says it is; returns its kind.

    Raises:
        BadFile: with every problem.
    """
    from bench.files import BadFile, Fields, Problem, near, one_of, read_yaml

    node = read_yaml(path)
    if not isinstance(node, Fields):
        raise BadFile([Problem(node.place, "", "no mapping", f"a file with {one_of(_KINDS)} at the top")])
    kind = next((kind for kind in _KINDS if kind in node.entries), None)
    # a sequence also names its plant, so it is looked for first
    if kind is None:
        first = next(iter(node.entries), "")
        raise BadFile(
            [Problem(node.place, "", f"a file that begins with '{first}'", one_of(_KINDS), near(first, _KINDS))]
        )
    remarks += _KINDS[kind](path)
    return kind


def _sequence(path: Path) -> list[str]:
    from bench.files import BadFile, Place, Problem, parse
    from bench.plant.load import load_plant
    from bench.sequence.file import SequenceFile
    from bench.sequence.load import load_sequence

    try:
        loaded = load_sequence(path)
    except BadFile as error:
        # a name that is gone from the plant is a mistake in the file, and a draft of today would not have it
        stale = ""
        with suppress(BadFile, OSError):
            named = parse(path.read_text("utf-8"), SequenceFile, str(path))[0].plant
            stale = _stale(path, load_plant(path.parent / named), named)
        if not stale:
            raise
        raise BadFile([*error.problems, Problem(Place(str(path)), "", stale, "to draft it again")]) from error
    stale = _stale(path, loaded.plant, loaded.plan.sequence.plant)
    return [f"{path}: {stale}"] if stale else []


def _stale(path: Path, plant: Plant, named: str) -> str:
    """Why a draft no longer fits its plant, and what differs; empty where it does, or is no draft."""
    from bench.commands.common import sequence_schema
    from bench.sequence.redraft import kept

    there = kept(plant, path.read_text("utf-8"), named, sequence_schema(path.parent))
    if there is None or not there.stale:
        return ""
    differs = there.difference()
    more = f" and {len(differs) - 6} more lines" if len(differs) > 6 else ""
    return f"this draft is stale: {there.stale}; today: {'; '.join(differs[:6])}{more}"


def _plant(path: Path) -> list[str]:
    from bench.plant.load import load_plant

    return [str(remark) for remark in load_plant(path).remarks]


def _bench(path: Path) -> list[str]:
    from bench.assemble import job_folder
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.record.append import utc_now

    bench = load_bench(path, Library.for_job(job_folder(path)))
    today = utc_now().date()
    return [
        f"{path}: the calibration of '{one.name}' was due on {one.due.exact()}"
        for one in bench.file.instruments
        if one.due is not None and one.due.day < today
    ]


def _profile(path: Path) -> list[str]:
    from bench.instruments.profile.library import load_profile

    load_profile(path)
    return []


def _rates(path: Path) -> list[str]:
    from bench.diagnose.survey.rates import RATES, RatesFile
    from bench.files import load

    load(path, RatesFile)
    return [] if path.name == RATES else [f"{path}: a survey takes its rates from {RATES} in the job's folder only"]


_KINDS: dict[str, Callable[[Path], list[str]]] = {
    "sequence": _sequence,
    "plant": _plant,
    "bench": _bench,
    "profile": _profile,
    "rates": _rates,
}


def _capabilities(sequence: Path, bench: Path, everything: bool) -> bool:
    """Print what the bench can prove of a sequence; returns whether it can prove all of it."""
    from bench.assemble import began, load_job
    from bench.commands.draft import idle_ammeter, idle_ohmmeter
    from bench.walk.setting import Setting

    setting = Setting.of(began(load_job(sequence, bench), ""))
    print(f"\n{setting.plan.sequence.sequence} on {setting.bench.name}")
    print(setting.rule().sentence)
    groups = _grouped(setting, everything)
    for text, titles in groups.items():
        shown = titles[0] if len(titles) == 1 else f"{titles[0]} and {len(titles) - 1} more like it"
        print(f"  {shown}\n      {text}")
    for offer in (idle_ammeter(setting), idle_ohmmeter(setting)):
        if offer:
            print(offer)
    return not setting.weak


def _grouped(setting: Setting, everything: bool) -> dict[str, list[str]]:
    from bench.roles import OHMMETERS

    groups: dict[str, list[str]] = {}
    for index, answer in setting.capabilities.items():
        step, text = setting.plan.steps[index], answer if isinstance(answer, str) else answer.sentence
        title = step.title
        if step.role in OHMMETERS and setting.plan.both_ohmmeters:
            text = f"By {setting.bench.role_of.get(step.role)}: {text}"
        groups.setdefault(f"{title}: {text}" if everything else text, []).append(title)
    return groups
