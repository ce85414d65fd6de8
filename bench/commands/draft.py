"""Draft a sequence from a plant: a YAML file with comments that is yours to read and change."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import LOGS, has_had_power, keep_draft, relative, say_progress, sequence_schema
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.job.next_walk import NextWalk
    from bench.plant.model import Plant
    from bench.walk.setting import Setting


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    # named one by one, since the help loads no drafts
    parser.add_argument(
        "kind",
        help="identify, continuity, landing, crosses, isolation, insulation, polarity, idle-current, first-power, "
        "earth, earth-two-wires, earth-live, supply-search; next: whatever is due; again: what did not pass; "
        "reprove: what was repaired",
    )
    scope = parser.add_mutually_exclusive_group()
    scope.add_argument(
        "--cable",
        metavar="NAME",
        action="append",
        help="this cable; several, each with a --cable of its own, are proven in one walk",
    )
    scope.add_argument("--bay", metavar="NAME", help="everything of this bay")
    scope.add_argument("--connector", metavar="NAME", help="everything of this connector")
    scope.add_argument("--shelf", metavar="NAME", help="everything of this shelf")
    parser.add_argument(
        "--record",
        type=Path,
        nargs="+",
        metavar="RECORD",
        help="for reprove: the records that found what is repaired; for again: whose failed ones are measured",
    )
    parser.add_argument(
        "--logs",
        type=Path,
        default=LOGS,
        metavar="DIR",
        help="the folder of records (default logs/): what is next, and whether the plant has had power",
    )
    parser.add_argument(
        "--ammeter",
        action="store_true",
        help="the bench's ammeter stands in its supply's lead: for a supply that is read by eye",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="where to write it; else it is printed")


def run(options: argparse.Namespace) -> int:
    """Draft and write."""
    from bench.files import near, one_of
    from bench.plant.load import load_plant
    from bench.plant.model import UnknownName
    from bench.sequence.draft import KINDS, CannotDraft, draft

    if options.kind == REPROVE:
        return _reprove(options)
    if options.kind == NEXT:
        return _next(options)
    if options.kind == AGAIN:
        return _again(options)
    known = [*KINDS, REPROVE, NEXT, AGAIN]
    if options.kind not in known:
        raise BadRequest(f"found '{options.kind}', expected {one_of(known)}; {near(options.kind, known)}".rstrip("; "))
    plant = load_plant(options.plant)
    of = _scope(options, plant)
    folder = options.output.parent if options.output is not None else Path()
    try:
        above_steps = _by_hand(options.kind, plant, of)
        plant_file = relative(folder, options.plant)
        powered = has_had_power(options.logs, plant)
        text = draft(
            plant,
            options.kind,
            of,
            plant_file,
            sequence_schema(folder),
            above_steps,
            powered=powered,
            ammeter=options.ammeter,
        )
    except (CannotDraft, UnknownName) as error:
        raise BadRequest(str(error)) from error
    if options.output is None:
        sys.stdout.write(text)
        return exits.PASS
    told = drafted(
        plant, options.plant, options.kind, of, options.output, text, powered=powered, ammeter=options.ammeter
    )
    print(told)
    return exits.PASS


def drafted(
    plant: Plant,
    plant_path: Path,
    kind: str,
    of: str,
    path: Path,
    text: str,
    *,
    powered: bool = False,
    ammeter: bool = False,
) -> str:
    """Write a draft; one that is there already is drafted again only where nobody changed it by hand.

    Args:
        plant: as it is now.
        plant_path: its file.
        kind: what was drafted.
        of: about what.
        path: where to.
        text: today's draft.
        powered: whether the plant has had power.
        ammeter: whether the bench's ammeter stands in its supply's lead; where not said it stays as the file has it.

    Returns:
        What became of it, in words.

    Raises:
        BadRequest: the file is there and is no such draft, or was changed by hand and fits the plant no more.
        CannotWrite: the disk is full, or the folder is not there.
    """
    from bench.saved import save
    from bench.sequence.redraft import kept, marked

    mine = marked(text, kind, of, ammeter=ammeter)
    if not path.exists():
        keep_draft(path, mine)
        return f"{path} is drafted; read it before you use it"
    schema = sequence_schema(path.parent)
    before, above = path.read_text("utf-8"), _by_hand(kind, plant, of)
    there = kept(
        plant, before, relative(path.parent, plant_path), schema, above, powered=powered, ammeter=ammeter or None
    )
    if there is None or (there.kind, there.of) != (kind, of):
        keep_draft(path, mine)  # says that the file is there
    assert there is not None
    if not there.stale:
        return f"{path} is there, and fits the plant{'; what you changed in it is kept' if there.by_hand else ''}"
    lines = "\n".join(there.difference())
    if there.by_hand:
        raise BadRequest(
            f"{path} was changed by hand, and {there.stale}. Draft to another file and take over what you need; "
            f"today's draft differs from it so:\n{lines}"
        )
    save(path, there.today)
    return f"{lines}\n{path} is drafted again: {there.stale}; read it before you use it"


NEXT = "next"
"""What is to be done next by all records, whatever that is."""


def _next(options: argparse.Namespace) -> int:
    from bench.job.folder import Folder, open_folder
    from bench.job.next_walk import NOTHING_YET, in_one_walk, next_walk
    from bench.job.standing import standing
    from bench.plant.load import load_plant

    plant = load_plant(options.plant)
    begun = options.logs != LOGS or LOGS.is_dir()
    folder = open_folder(options.logs, plant.name, say_progress) if begun else Folder(LOGS)
    ready = standing(folder, plant)
    powered = has_had_power(options.logs, plant)
    found = next_walk(plant, ready, powered=powered)
    if found is None and ready.empty:
        print(NOTHING_YET)
        return exits.NOT_PASSED
    if found is None and ready.tasks:
        print(f"no walk can be drafted for what is left; the first of it: {ready.tasks[0].text}")
        return exits.NOT_PASSED
    if found is None:
        print("all is proven that a walk could prove")
        return exits.PASS
    task, walk = found
    print(f"next: {task.text}")
    print(walk.text)
    path, told = draft_walk(plant, options.plant, walk, options.output, powered, ammeter=options.ammeter)
    print(told)
    due = in_one_walk(plant, ready, task) if walk.kind == "continuity" else ()
    if len(due) > 1:
        cables = " ".join(f"--cable {name}" for name in due)
        print(f"{len(due)} cables are due; one walk proves them: proveout draft {options.plant} continuity {cables}")
    benches = _benches(options.plant.parent, path, walk.roles)
    for bench, proves, offer in benches[:3]:
        print(f"walk it: proveout walk {path} --bench {bench}")
        if not proves:
            print(f"    it cannot prove all of it; what, says 'proveout check {path} --bench {bench}'")
        if offer:
            print(f"    {offer}")
    if len(benches) > 3:
        print(f"or with another bench in {benches[0][0].parent}: {len(benches) - 3} more have what it needs")
    if not benches:
        print("no bench of the job has all that it needs: 'proveout ports --ask' writes one for the meters at hand")
    return exits.PASS


def draft_walk(
    plant: Plant,
    plant_path: Path,
    walk: NextWalk,
    path: Path | None = None,
    powered: bool = False,
    *,
    ammeter: bool = False,
) -> tuple[Path, str]:
    """Draft a walk beside its plant file, or take the file that is there and says the same.

    Args:
        plant: as it is now.
        plant_path: its file.
        walk: what to draft.
        path: where to; by default a name of its own, another one where a file of somebody's has that.
        powered: whether the plant has had power.
        ammeter: whether the bench's ammeter stands in its supply's lead, where the walk brings something up.

    Returns:
        The file, and what became of it in words.

    Raises:
        BadRequest: the draft that is there was changed by hand and fits the plant no more.
        CannotWrite: the disk is full, or the folder is not there.
    """
    from bench.sequence.draft import draft
    from bench.sequence.redraft import is_draft, same

    folder = plant_path.parent if path is None else path.parent
    above = _by_hand(walk.kind, plant, walk.of)
    schema = sequence_schema(folder)
    ammeter = ammeter and "supply" in walk.roles
    plant_file = relative(folder, plant_path)
    text = draft(plant, walk.kind, walk.of, plant_file, schema, above, powered=powered, ammeter=ammeter)
    if path is not None:
        return path, drafted(plant, plant_path, walk.kind, walk.of, path, text, powered=powered, ammeter=ammeter)
    number, path = 1, folder / walk.file
    while path.exists():
        there = path.read_text("utf-8")
        if same(there, text):
            return path, f"{path} is there, and fits the plant"
        if is_draft(there, walk.kind, walk.of):
            break
        number += 1
        path = folder / f"{walk.file.removesuffix('.yaml')}-{number}.yaml"
    return path, drafted(plant, plant_path, walk.kind, walk.of, path, text, powered=powered, ammeter=ammeter)


def _benches(job: Path, sequence: Path, roles: tuple[str, ...]) -> list[tuple[Path, bool, str]]:
    """The benches of a job that fill these roles, whether each can prove all (those first, then real ones), and what
    stands idle on it that would tell more."""
    from bench.assemble import began, load_job
    from bench.files import BadFile
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.walk.setting import Setting

    found = []
    for path in sorted(job.glob("benches/*.yaml")):
        try:
            bench = load_bench(path, Library.for_job(job))
            if not all(role in bench.role_of for role in roles):
                continue
            setting = Setting.of(began(load_job(sequence, path), ""))
        except BadFile:
            continue  # 'proveout check' tells what is wrong with it
        offers = " ".join(filter(None, (idle_ammeter(setting), idle_ohmmeter(setting))))
        found.append((bool(setting.weak), bench.simulated, path, offers))
    return [(path, not weak, offer) for weak, _, path, offer in sorted(found)]


def idle_ammeter(setting: Setting) -> str:
    """What to do where a supply that is read by eye brings something up and the bench has an ammeter beside it.

    Returns:
        A sentence; empty where the ammeter stands in the lead already, or there is no need for it, or none.
    """
    from bench.sequence.file import Energise

    by_itself = any(isinstance(step.source, Energise) and not step.source.ammeter for step in setting.plan.steps)
    supply, ammeter = setting.bench.for_role("supply"), setting.bench.for_role("amps")
    if not by_itself or supply is None or not supply.by_eye or ammeter is None:
        return ""
    volts = setting.bench.for_role("volts")
    if ammeter.name == supply.name or (volts is not None and volts.name == ammeter.name):
        return ""  # the one meter reads volts while the shelf is up
    return (
        f"{supply.name} is read by eye, and its display is coarse: {ammeter.name} may stand in its lead instead. Draft "
        "this with --ammeter"
    )


def idle_ohmmeter(setting: Setting) -> str:
    """What to do where the bench's ohmmeter cannot prove all that is read with it, and another one proves more of it.

    Returns:
        A sentence; empty where there is no need for it, or none.
    """
    from msgspec.structs import replace

    from bench.roles import HIGH_OHMS, function_name
    from bench.walk.setting import Setting as Walked
    from bench.walk.two_ohmmeters import bound

    bench, first = setting.bench, setting.bench.for_role("ohms")
    if not setting.weak or first is None or HIGH_OHMS in bench.role_of:
        return ""
    reads = {function_name("resistance", wires) for wires in (2, 4)}
    for other in bench.instruments:
        if other.name == first.name or not reads & set(other.accuracy_of) or other.outputs:
            continue
        facts = replace(bench, role_of={**bench.role_of, HIGH_OHMS: other.name})
        with_both = replace(setting.began, bench=facts)
        with_both = replace(with_both, sequence=bound(with_both))
        if len(Walked.of(with_both).weak) < len(setting.weak):
            return (
                f"{other.name} proves some of what {first.name} cannot: with 'ohms: {first.name}' and "
                f"'{HIGH_OHMS}: {other.name}' below 'roles' one walk reads with both"
            )
    return ""


REPROVE = "reprove"
"""Drafted from what records found, and not from the plant alone."""


def _reprove(options: argparse.Namespace) -> int:
    from bench.commands.explain import draft, read
    from bench.diagnose.explain.records import explained, to_prove

    if not options.record or options.output is None:
        raise BadRequest("reprove wants the records that found what is repaired, and a file: --record RECORD -o FILE")
    plant, states = read(options.record)
    wires, apart = to_prove(explained(states), plant)
    if not wires:
        raise BadRequest("nothing was found that a repair would touch")
    draft(options, plant, options.output, "proof after a repair", wires, apart)
    print(f"{options.output} is drafted; read it before you use it")
    return exits.PASS


AGAIN = "again"
"""Drafted from what one record's walk did not find as it should be."""


def _again(options: argparse.Namespace) -> int:
    from bench.plant.load import load_plant
    from bench.record.replay import replay
    from bench.say.lists import count
    from bench.sequence.draft import file_text
    from bench.sequence.drafts.parts import Draft
    from bench.sequence.file import Measure
    from bench.walk.afterwards import measured_again

    if not options.record or len(options.record) > 1 or options.output is None:
        raise BadRequest("again wants the record whose failed ones are measured, and a file: --record RECORD -o FILE")
    state = replay(options.record[0])
    steps = measured_again(state)
    if not steps or state.setting is None:
        raise BadRequest(
            "nothing of it is measured again alone: all passed, or it made something live and is walked as a whole"
        )
    plant, output = load_plant(options.plant), options.output
    name = f"{state.setting.plan.sequence.sequence}, again"
    made = Draft(f"What did not pass in {options.record[0].name}, measured again.", steps)
    text = file_text(plant, name, made, relative(output.parent, options.plant), sequence_schema(output.parent))
    keep_draft(output, text)
    print(f"{output} is drafted: {count(sum(isinstance(step, Measure) for step in steps), 'reading')}")
    return exits.PASS


def _by_hand(kind: str, plant: Plant, of: str) -> list[str]:
    """For isolation and crosses: what it costs by hand; nothing for other kinds."""
    if kind not in ("isolation", "crosses") or not of:
        return []
    from bench.diagnose.apart.by_hand import hand_lines

    return list(hand_lines(plant, of, kind))


def _scope(options: argparse.Namespace, plant: object) -> str:
    """The name that the options give, if it is one of its kind."""
    from bench.files import near, one_of
    from bench.sequence.draft import AND

    for kind, known in (
        ("cable", "cables"),
        ("connector", "connectors"),
        ("bay", "bays"),
        ("shelf", "shelves"),
    ):
        given = getattr(options, kind)
        if given is None:
            continue
        wanted = list(dict.fromkeys(given if isinstance(given, list) else [given]))
        names = list(getattr(plant, known))
        for name in wanted:
            if name not in names:
                hint = near(name, names)
                raise BadRequest(f"found {kind} '{name}', expected {one_of(names)}{f'; {hint}' if hint else ''}")
        return AND.join(wanted)
    return ""
