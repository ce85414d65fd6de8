"""Judge a record again, under other limits, another rule or another accuracy, without measuring; lists what changed."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.walk.facts import InstrumentFacts
    from bench.walk.setting import Rules


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("record", type=Path, help="the record")
    parser.add_argument("--limits", type=Path, metavar="FILE", help="YAML with 'decide' and 'limits' by subject or '*'")
    parser.add_argument(
        "--rule", choices=("simple", "guarded", "guarded-acceptance", "guarded-rejection"), help="another decision rule"
    )
    parser.add_argument(
        "--bench", type=Path, metavar="FILE", help="a bench file whose profiles say better how accurate the meters are"
    )
    parser.add_argument("--probability", help="for a guarded rule, such as '95 %%'")


def run(options: argparse.Namespace) -> int:
    """Fold the record twice and compare."""
    from bench.record.replay import replay
    from bench.report.console import exit_code
    from bench.walk.results import results, tally, verdict_line

    before = replay(options.record)
    after = replay(options.record, _rules(options))
    old, new = results(before), results(after)
    changed = [index for index in new if new[index].verdict != old[index].verdict]
    setting = after.setting
    assert setting is not None
    print(f"rule: {setting.rule(after.rules).sentence}")
    for index in changed:
        print(f"was {old[index].verdict:9} now {verdict_line(new[index])}")
    counts = tally(after, new).counts
    shown = ", ".join(f"{count} {verdict}" for verdict, count in sorted(counts.items()))
    print(f"{len(changed)} of {sum(counts.values())} verdicts changed: now {shown}")
    return exit_code(after) if after.finished else exits.STOPPED


def _rules(options: argparse.Namespace) -> Rules:
    """The rules that the options ask for.

    Raises:
        BadFile: the limits file is bad.
        BadRequest: nothing was asked for, or the probability makes no sense.
    """
    from bench import files
    from bench.quantity import Ratio
    from bench.sequence.file import Decide, RulesFile
    from bench.walk.setting import Rules

    decide: Decide | None = None
    limits = {}
    if options.limits is not None:
        read, _ = files.load(options.limits, RulesFile)
        decide, limits = read.decide, read.limits
    if options.rule is not None or options.probability is not None:
        base = decide or Decide()
        try:
            probability = Ratio.parse(options.probability) if options.probability is not None else base.probability
            decide = Decide(rule=options.rule or base.rule, probability=probability)
        except ValueError as error:
            raise BadRequest(f"--probability: {error}") from error
    accuracy = _accuracy(options)
    if decide is None and not limits and not accuracy:
        raise BadRequest("say what to judge by: --limits FILE, --rule, --probability or --bench FILE")
    return Rules(decide=decide, limits=limits, accuracy=accuracy)


def _accuracy(options: argparse.Namespace) -> dict[str, InstrumentFacts]:
    """What a bench file says of the record's instruments, by their names.

    Raises:
        BadFile: the bench file is bad.
        BadRequest: it has none of them.
    """
    if options.bench is None:
        return {}
    from bench.assemble import bench_facts, job_folder
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.record.replay import replay

    setting = replay(options.record).setting
    names = {one.name for one in setting.bench.instruments} if setting is not None else set()
    facts = bench_facts(load_bench(options.bench, Library.for_job(job_folder(options.bench))))
    found = {one.name: one for one in facts.instruments if one.name in names}
    if not found:
        raise BadRequest(f"{options.bench} has no instrument of the record: {', '.join(sorted(names))}")
    return found
