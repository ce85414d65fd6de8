"""Watch points for minutes to weeks: find the loose place while one thing after the other is moved.

POINT is two places with a tilde between them (J101.12~J205.12), a conductor (W101.12: its two ends), or the same after
what is read (voltage:2A.A~2A.A-return). A sequence file stands for all of its readings. On a dead plant say what you
move; a tone and a mark come with each jump, the places are ranked, and it is said what to move next."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands import looks
from bench.commands.common import LOGS, operator_name
from bench.errors import BadRequest
from bench.say.lists import count

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from bench.assemble import BenchAtWork, Job
    from bench.plant.model import Plant
    from bench.runner.watching import Wanted
    from bench.sequence.file import Measure
    from bench.sequence.plan import Step
    from bench.walk.watching import Watch, WatchBegan


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("points", nargs="*", metavar="POINT", help="what to read, or a sequence file")
    parser.add_argument("--bench", type=Path, help="the bench file")
    parser.add_argument("--plant", type=Path, help="the plant file; by default the one of the bench's job")
    parser.add_argument("--join", action="append", default=[], metavar="A,B", help="what is clipped together meanwhile")
    parser.add_argument("--place", action="append", default=[], metavar="NAME", help="something to move; by default "
                        "all that lies on the way between the two places")  # fmt: skip
    parser.add_argument("--contact", action="append", default=[], metavar="THING=POINT", help="read an alarm contact "
                        "too: when it changes, that breaker or shelf has tripped or failed")  # fmt: skip
    parser.add_argument("--every", type=float, default=0.0, metavar="SECONDS", help="pace; by default as fast as it is")
    parser.add_argument("--for", dest="lasts", type=float, metavar="SECONDS", help="end by itself after this time")
    parser.add_argument("--long", action="store_true", help="for days and weeks: statistics a minute, all readings "
                        "around what happens; wants pip install 'proveout[parquet]'")  # fmt: skip
    parser.add_argument("--alarms", type=float, default=0.1, metavar="N", help="false alarms an hour that steady "
                        "readings may bring at most (default 0.1)")  # fmt: skip
    parser.add_argument("--record", type=Path, help="the record to write, watch-NAME.jsonl; by default a new one")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--resume", type=Path, metavar="RECORD", help="go on with a watch; the time between is a gap")
    parser.add_argument("--tell", type=Path, metavar="RECORD", help="say what a record comes to, and read nothing")
    parser.add_argument("--operator", default="", help="your name; kept in the record")
    parser.add_argument("--plain", action="store_true", help="line by line, without the screen")
    looks.arguments(parser)
    parser.add_argument("--quiet", action="store_true", help="no tones")
    parser.add_argument("--listen", default="", metavar="PROGRAM", help="a program that writes down what is said, a "
                        "line each")  # fmt: skip
    parser.add_argument("--trace-bytes", type=Path, metavar="FILE", help="write every byte to and from the meters here")
    parser.add_argument("--speed", type=float, default=1.0, help=argparse.SUPPRESS)


def run(options: argparse.Namespace) -> int:
    """Tell a record, or watch."""
    if options.tell is not None:
        return tell(options.tell)
    if options.resume is not None:
        return _resume(options)
    if not (options.points or options.contact) or options.bench is None:
        raise BadRequest("expected what to read and --bench, or --resume RECORD, or --tell RECORD")
    job = _job(options)
    began, steps = _beginning(options, job)
    record = options.record or _free_name(options.logs)
    return _watch(options, job, steps, record, began)


def tell(record: Path) -> int:
    """Print what a record comes to."""
    from bench.diagnose.hunt.watched import clock, happened, ranked_lines, ranking_of, verdict_line
    from bench.record.long_store import sealed_tables
    from bench.record.watch import read_watch, spoken

    watch, said = read_watch(record), spoken(record)
    for line in happened(watch, said):
        print(line)
    if watch.sealed:
        files = len(sealed_tables(record, watch.sealed, "minutes")) + len(
            sealed_tables(record, watch.sealed, "readings")
        )
        print(f"{files} sealed files in {record.with_suffix('')}, as they were written")
    for gap in watch.gaps:
        print(f"{clock(gap.begin)} to {clock(gap.end)}  nothing was seen: {gap.why}")
    ranking = ranking_of(watch)
    print(verdict_line(watch, ranking))
    for line in ranked_lines(watch, ranking) if watch.head.places else []:
        print(line)
    for line in _to_the_job(record, watch):
        print(line)
    return exits.NOT_PASSED if watch.jumps or watch.noticed else exits.PASS


def _to_the_job(record: Path, watch: Watch) -> list[str]:
    """How the job learns of it: what was proven of what comes and goes counts there until somebody says so."""
    import shlex

    points = {one.point: one for one in watch.jumps if not watch.head.points[one.point].thing}
    names = dict.fromkeys(name for number in points for name in watch.head.points[number].between)
    if not names:
        return []
    note = f"comes and goes: {count(len(watch.jumps), 'jump')} in {record.name}"
    words = ["proveout", "disturb", *names, "--logs", str(record.parent), "--note", note]
    return ["what was proven of it counts still, until this is said to the job:", f"  {shlex.join(words)}"]


def _free_name(folder: Path) -> Path:
    from bench.commands.common import record_name

    path = record_name(folder, "watch")
    return path.with_name(f"watch-{path.stem.removesuffix('-watch')}.jsonl")


def _job(options: argparse.Namespace) -> Job:
    """The points as a sequence of single readings, with the bench."""
    from bench.assemble import fitted, job_folder, load_job
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.plant.load import load_plant
    from bench.sequence.file import SequenceFile
    from bench.sequence.load import Loaded
    from bench.sequence.unroll import unroll

    if len(options.points) == 1 and Path(options.points[0]).is_file():
        if options.contact:
            raise BadRequest("found --contact beside a sequence file, expected it beside points")
        return load_job(Path(options.points[0]), options.bench)
    folder = job_folder(options.bench)
    path = options.plant or folder / "plant.yaml"
    if not path.is_file():
        raise BadRequest(f"found no plant file {path}, expected the job's; name it with --plant")
    plant = load_plant(path)
    join = [[name.strip() for name in group.split(",")] for group in options.join]
    steps = [_reading(plant, text, join) for text in options.points]
    steps += [_reading(plant, point, []) for _, point in _contacts(options, plant)]
    sequence = SequenceFile(sequence="watch", plant=str(path), steps=list(steps))
    loaded = Loaded(path, path, sequence, plant, unroll(sequence, plant), {})
    return fitted(loaded, load_bench(options.bench, Library.for_job(folder)), options.bench)


def _contacts(options: argparse.Namespace, plant: Plant) -> list[tuple[str, str]]:
    """The alarm contacts that are read too: the breaker or shelf of each, and the point."""
    found = []
    for text in options.contact:
        thing, equals, point = text.partition("=")
        if not equals or (thing not in plant.breakers and thing not in plant.shelves):
            raise BadRequest(f"found '{text}', expected a breaker or shelf, an equals sign and a point")
        found.append((thing, point))
    return found


def _reading(plant: Plant, text: str, join: list[list[str]]) -> Measure:
    """One point as a step that reads it."""
    from typing import get_args

    from bench.quantity import Amount
    from bench.roles import NO_PLACES, UNIT_OF, Reads
    from bench.sequence.file import Limit, Measure

    said, colon, places = text.partition(":")
    if not colon:
        said, places = "resistance", text
    known: tuple[Reads, ...] = get_args(Reads)
    reads = next((one for one in known if one == said), None)
    if reads is None:
        raise BadRequest(f"found '{said}', expected what is read: {', '.join(known)}")
    # it is watched and not judged, but a reading that is a step has a limit
    limit = Limit(at_least=Amount(-1e15, UNIT_OF[reads]), source="a watch judges nothing")
    if reads in NO_PLACES:
        return Measure(read=reads, limit=limit)
    if "~" not in places and places in plant.conductors:
        conductor = plant.conductors[places]
        between = conductor.near_end.name, conductor.far_end.name
    else:
        one, tilde, other = places.partition("~")
        if not tilde:
            raise BadRequest(f"found '{text}', expected two places such as J101.12~J205.12, or a conductor")
        between = plant.terminal(one).name, plant.terminal(other).name
    return Measure(read=reads, between=between, limit=limit, join=join)


def _beginning(options: argparse.Namespace, job: Job) -> tuple[WatchBegan, list[Step]]:
    """What a new watch begins with, but for how fast readings come; and its readings as steps."""
    from bench import __version__
    from bench.assemble import bench_facts, job_folder
    from bench.plant.loose_places import WEIGHTS, NoWay, places_between
    from bench.roles import UNIT_OF
    from bench.sequence.file import Measure
    from bench.walk.watching import Place, Point, WatchBegan

    plant = job.loaded.plant
    steps = [step for step in job.loaded.plan.steps if isinstance(step.source, Measure)]
    if not steps:
        raise BadRequest(f"{job.loaded.path} holds no readings that could be watched")
    points, places = [], {name: Place(name=name, row=number) for number, name in enumerate(options.place)}
    contacts = _contacts(options, plant)
    first_contact = len(steps) - len(contacts)
    for number, step in enumerate(steps):
        source = step.source
        assert isinstance(source, Measure)
        thing = contacts[number - first_contact][0] if number >= first_contact else ""
        name = "~".join(source.probes) if source.probes else source.read
        between = list(source.probes or ())
        points.append(Point(name=name, reads=source.read, unit=UNIT_OF[source.read], between=between, join=source.join,
                            instrument=job.bench.role_of[step.roles[0]], thing=thing))  # fmt: skip
        if thing or options.place or source.probes is None:
            continue
        try:
            on_the_way = places_between(plant, *source.probes, source.join)
        except NoWay:
            continue  # it is watched all the same; nothing is known to be moved
        for one in on_the_way:
            before = places.get(one.name)
            on = [*before.on, number] if before is not None else [number]
            row = before.row if before is not None else number
            places[one.name] = Place(name=one.name, text=one.text, weight=WEIGHTS[one.kind], on=on, row=row)
    began = WatchBegan(
        software=__version__,
        plant=plant.file,
        points=points,
        places=list(places.values()),
        bench=job.bench_text,
        job=str(job_folder(options.bench)),
        seed=job.seed,
        alarms_per_hour=options.alarms,
        by=operator_name(options.operator),
        alarms=bench_facts(job.bench).alarms,
        long=options.long,
    )
    return began, steps


def _watch(options: argparse.Namespace, job: Job, steps: Sequence[Step], record: Path, began: WatchBegan | None) -> int:
    """Read, keep, and show until it is left."""
    import msgspec

    from bench.assemble import bench_at_work
    from bench.record.long_store import LongStore
    from bench.record.watch import WatchWriter, is_watch
    from bench.runner.alarm_contacts import AlarmContacts
    from bench.runner.listening import Listening
    from bench.runner.long_keeper import LongKeeper
    from bench.runner.watch_keeper import Keeper
    from bench.runner.watching import Watcher, paces

    if not is_watch(record):
        raise BadRequest(f"found {record.name}, expected a record's name that begins with watch: watch-NAME.jsonl")
    if began is not None and record.exists():
        raise BadRequest(f"{record} is there already; go on with it by --resume, or choose another name")
    operator = operator_name(options.operator)
    if not job.bench.simulated:
        _caution(steps)
    with bench_at_work(job, operator, options.trace_bytes, options.speed if job.bench.simulated else 1.0) as bench:
        wanted, switch = _wanted(job, steps, bench)
        for step in steps:
            if not bench.hands.reaches(step):
                bench.hands.place(step)
        relays = next((port for port in bench.ports if port.name == switch), None)
        with Watcher(bench.ports, wanted, options.every, switch=relays) as watcher:
            found = paces(watcher, len(steps))
            with WatchWriter(record) as writer:
                if began is not None:
                    points = [
                        msgspec.structs.replace(point, rate=pace.rate, resolution=pace.resolution)
                        for point, pace in zip(began.points, found, strict=True)
                    ]
                    writer.write(msgspec.structs.replace(began, points=points))
                speed = options.speed if job.bench.simulated else 1.0
                if writer.watch.head.long:
                    store = LongStore.open(writer.path, writer.watch.sealed, lambda sealed: writer.write(sealed))
                    kept: Keeper = LongKeeper(writer, watcher, store, move=bench.move, by=operator, speed=speed)
                else:
                    kept = Keeper(writer, watcher, move=bench.move, by=operator, speed=speed)
                told = kept.heard
                with kept as keeper, Listening(bench.consoles, told), AlarmContacts(bench.contacts, told):
                    _show(options, keeper)
                if isinstance(kept, LongKeeper):
                    kept.close()
                watch = writer.watch
        print(f"record: {writer.path}")
    return exits.NOT_PASSED if watch.jumps or watch.noticed else exits.PASS


def _show(options: argparse.Namespace, keeper: object) -> None:
    from typing import cast

    from bench.screens.watch.talk import Keeper as Kept
    from bench.screens.watch.talk import Talk

    talk = Talk(cast(Kept, keeper))
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    said = _said(options.listen) if options.listen else ()
    if options.plain or not looks.paints() or options.listen:
        from bench.screens.watch.plain import run as by_line

        by_line(talk, sys.stdin, sys.stdout, tones=terminal and not options.quiet, lasts=options.lasts, said=said)
    else:
        from bench.screens.watch.app import run as show

        show(talk, looks.settings_of(options, tones=not options.quiet))


def _said(program: str) -> Iterable[str]:
    """What a program writes down of what it hears, a line each; it ends with us."""
    import shlex
    import subprocess

    with subprocess.Popen(shlex.split(program), stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        try:
            yield from child.stdout
        finally:
            child.terminate()


CAUTION = """Resistance is read, and wires are moved by hand, on a DEAD plant only: isolated, proved dead, kept so. \
Capacitors keep charge. Mind ladders. Local codes and the site's rules come first."""
LIVE_CAUTION = """Leads lie on a LIVE plant while this watches. Fused leads, covered clips, no jewellery, nobody \
reaches past them; live work is for authorised people only, and nothing is moved by hand. Local codes come first."""


def _caution(steps: Sequence[Step]) -> None:
    """Say what can hurt, and have its word typed.

    Raises:
        BadRequest: it was not.
    """
    dead = any(getattr(step.source, "read", "") in ("resistance", "capacitance", "inductance") for step in steps)
    live = any(getattr(step.source, "read", "") in ("voltage", "ac-voltage", "current", "ac-current") for step in steps)
    for needed, text, word in ((dead, CAUTION, "dead"), (live, LIVE_CAUTION, "live")):
        if needed:
            print(text)
            print(f"Type {word} to go on: ", end="", flush=True)
            if sys.stdin.readline().strip() != word:
                raise BadRequest("the caution was not answered; nothing was read")


def _wanted(job: Job, steps: Sequence[Step], bench: BenchAtWork) -> tuple[dict[str, list[Wanted]], str]:
    """What each instrument reads, and the matrix that reaches it.

    Raises:
        BadRequest: one pair of leads would have to lie on two points at once.
    """
    from bench.runner.routed import channels_for
    from bench.runner.watching import Wanted
    from bench.sequence.file import Measure

    role_of = {str(role): name for role, name in job.bench.role_of.items()}
    found: dict[str, list[Wanted]] = {}
    by_leads: dict[str, str] = {}
    for number, step in enumerate(steps):
        source = step.source
        assert isinstance(source, Measure)
        meter = role_of[str(step.roles[0])]
        routes = job.bench.routes
        channels = channels_for(routes, role_of, step) if routes is not None else None
        if channels is None:
            if meter in by_leads:
                raise BadRequest(
                    f"found {by_leads[meter]} and {step.title} for {meter}, expected one point: its leads lie on one "
                    "at a time. A relay matrix, or a second meter, reads several"
                )
            by_leads[meter] = step.title
        held = source.range.value if source.range is not None else None
        found.setdefault(meter, []).append(Wanted(number, source.read, source.wires, held, channels))
    return found, job.bench.routes.switch if job.bench.routes is not None else ""


def _resume(options: argparse.Namespace) -> int:
    """Go on with a watch as it was begun."""
    from bench.assemble import fitted
    from bench.instruments.bench_file import load_bench, parse_bench
    from bench.instruments.profile.library import Library
    from bench.plant.resolve import resolve
    from bench.record.watch import read_watch
    from bench.sequence.file import SequenceFile
    from bench.sequence.load import Loaded
    from bench.sequence.unroll import unroll

    head = read_watch(options.resume).head
    library = Library.for_job(Path(head.job))
    if options.bench is not None:
        equipment, path = load_bench(options.bench, library), options.bench
    else:
        equipment, path = parse_bench(head.bench, "the record's bench", library), Path(head.job) / "bench.yaml"
    plant = resolve(head.plant)
    steps = [
        _reading(plant, f"{point.reads}:{'~'.join(point.between)}", [list(group) for group in point.join])
        for point in head.points
    ]
    sequence = SequenceFile(sequence="watch", plant="", steps=list(steps))
    loaded = Loaded(options.resume, path, sequence, plant, unroll(sequence, plant), {})
    job = fitted(loaded, equipment, path, head.bench)
    return _watch(options, job, list(job.loaded.plan.steps), options.resume, None)
