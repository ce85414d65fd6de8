"""Hum and noise in sound files: psophometric and C-message levels, mains harmonics, converters' lines, and changes.

Record with any recorder or sound card, through a transformer or an isolated probe made for it, with automatic gain off.
A tone of known level recorded at the same settings turns parts of full scale into volts; without it all is relative."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.diagnose.hunt.noise import Heard
    from bench.judge.noise_limits import NoiseLimit
    from bench.judge.weighting import Weighting
    from bench.plant.model import Plant


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("recordings", nargs="*", type=Path, metavar="WAV", help="recordings, in their order")
    parser.add_argument("--before", type=Path, metavar="WAV", help="a recording from before, at the same settings")
    parser.add_argument("--tone", action="append", default=[], metavar="WAV=LEVEL", help="a recorded tone of known "
                        "level, such as tone.wav=100mV; two of unlike levels show automatic gain")  # fmt: skip
    parser.add_argument("--mains", type=float, choices=(50.0, 60.0), default=50.0, help="nominal, in Hz (default 50)")
    parser.add_argument("--channel", type=int, default=1, help="counted from 1")
    parser.add_argument("--off-600", action="store_true", help="it was not read across 600 ohm: no dBm then")
    parser.add_argument("--at-most", metavar="LEVEL", help="psophometric limit, such as 2mV; wants --source")
    parser.add_argument("--source", default="", help="where that limit comes from")
    parser.add_argument("--limit", default="", metavar="NAME", help="a published limit in place of these two; --limits "
                        "lists them")  # fmt: skip
    parser.add_argument("--limits", action="store_true", help="list the published limits that are known, and end")
    parser.add_argument("--relative-level", type=float, default=0.0, metavar="DBR", help="relative level of the point "
                        "that was recorded, in dBr, for a limit in dBm0 (default 0)")  # fmt: skip
    parser.add_argument("--plant", type=Path, help="the plant file: what would tell is then said by name")
    parser.add_argument("--feed", default="", metavar="FEED", help="the feed that was recorded")
    parser.add_argument("--logs", type=Path, metavar="DIR", help="with --before and --plant: what was connected or "
                        "touched between the two recordings, by the records of this folder")  # fmt: skip
    parser.add_argument("--simulated", type=Path, metavar="BENCH", help="record on a simulated bench's plant first: "
                        "writes the first WAV")  # fmt: skip
    parser.add_argument("--at", default="", metavar="PLACE~PLACE", help="with --simulated: where the recorder lies")
    parser.add_argument("--rectifier", choices=("off", "float", "loaded"), default="float", help="with --simulated")
    parser.add_argument("--seconds", type=float, default=12.0, help="with --simulated: how long it is (default 12)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(options: argparse.Namespace) -> int:
    """Read, weigh, compare, print."""
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.hunt.noise import calibration, changes, heard, read_sound
    from bench.diagnose.hunt.noise_advice import proposals, stronger
    from bench.plant.load import load_plant
    from bench.quantity import engineering

    if options.limits:
        return _list_limits()
    if not options.recordings:
        raise BadRequest("expected a recording at least")
    published = _published(options)
    if options.at_most and not options.source:
        raise BadRequest("--at-most wants --source: a limit without an origin cannot be defended later")
    if options.simulated is not None:
        _record(options)
    plant = load_plant(options.plant) if options.plant is not None else None
    if plant is not None and options.feed and options.feed not in plant.feeds:
        raise BadRequest(f"--feed: found '{options.feed}', expected one of {', '.join(plant.feeds)}")
    try:
        tones = []
        for one in options.tone:
            name, equals, level = one.rpartition("=")
            if not equals:
                raise BadRequest(f"--tone: found '{one}', expected WAV=LEVEL such as tone.wav=100mV")
            tones.append((read_sound(Path(name), options.channel), _volts(level, "--tone")))
        volts = calibration(tones) if tones else None
        found = [heard(read_sound(path, options.channel), volts, options.mains) for path in options.recordings]
        before = heard(read_sound(options.before, options.channel), volts, options.mains) if options.before else None
        compared = [(one, changes(before, one)) for one in found] if before is not None else []
    except DiagnoseError as error:
        raise BadRequest(str(error)) from error
    limit = _volts(options.at_most, "--at-most") if options.at_most else None
    weighting: Weighting = "psophometric"
    bound = f"{options.at_most} psophometric ({options.source})"
    if published is not None:
        limit, weighting = published.volts(options.relative_level), published.weighting
        bound = f"{published.told()}, {published.what} ({published.source})"
        if published.unit == "dBm0":
            bound += f"; at {options.relative_level:g} dBr that is {engineering(limit, 'V', digits=3)}"
    if limit is not None and volts is None:
        word = "--limit" if published is not None else "--at-most"
        raise BadRequest(f"{word} wants --tone: what is relative to full scale cannot be held against volts")
    beyond = [one for one in found if limit is not None and one.levels[weighting] > limit]
    if options.json:
        json.dump([_plain(one) for one in found], sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        for one in found:
            print("\n".join(_lines(one, across_600=not options.off_600)))
            if limit is not None:
                word = "MORE than" if one in beyond else "at most"
                print(f"  {word} {bound}")
        for one, changed in compared:
            print(f"{one.name} against {options.before.name}:")
            for change in changed:
                sure = "" if change.sure else ", within what both scatter by"
                step = change.after_db - change.before_db
                print(f"  {change.what:32}{step:+7.1f} dB{sure}")
        touched = _touched_between(options, plant)
        for text, _ in touched:
            print(f"between them: {text}")
        names = [name for _, some in touched for name in some]
        by_recording = {one.name: changed for one, changed in compared}
        lines = [line for one in found for line in stronger(one.lines, by_recording.get(one.name, []))]
        for text in proposals(lines, plant, options.feed, names) if before is not None or plant is not None else []:
            print(f"what would tell: {text}")
    return exits.NOT_PASSED if beyond else exits.PASS


def _list_limits() -> int:
    from bench.judge.noise_limits import NOISE_LIMITS

    for one in NOISE_LIMITS:
        print(f"{one.name}: {one.told()}, {one.what}")
        print(f"  {one.source}")
    return exits.PASS


def _published(options: argparse.Namespace) -> NoiseLimit | None:
    """The published limit that is asked for."""
    from bench.files import near, one_of
    from bench.judge.noise_limits import NOISE_LIMITS, noise_limit

    if not options.limit:
        return None
    if options.at_most or options.source:
        raise BadRequest("found --limit beside --at-most or --source, expected one limit")
    found, names = noise_limit(options.limit), [one.name for one in NOISE_LIMITS]
    if found is None:
        hint = near(options.limit, names)
        raise BadRequest(f"--limit: found '{options.limit}', expected {one_of(names)}{f'; {hint}' if hint else ''}")
    if options.off_600 and found.unit != "V":
        raise BadRequest(f"--limit {found.name} is for 600 ohm, and --off-600 says that it was read elsewhere")
    return found


def _record(options: argparse.Namespace) -> None:
    """Record on the plant of a simulated bench."""
    from bench.assemble import job_folder
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.plant.load import load_plant
    from bench.simulate.sound import record
    from bench.simulate.world.plant import PlantWorld

    folder = job_folder(options.simulated)
    bench = load_bench(options.simulated, Library.for_job(folder))
    red, tilde, black = options.at.partition("~")
    if bench.file.simulate is None or not tilde:
        raise BadRequest("--simulated wants a simulated bench, and --at with two places such as 2A.A~2A.A-return")
    world = PlantWorld(load_plant(folder / "plant.yaml"), bench.file.simulate.faults, seed=bench.file.simulate.seed)
    world.place(world.plant.terminal(red).name, world.plant.terminal(black).name)
    record(options.recordings[0], world.tones(), seconds=options.seconds, rectifier=options.rectifier,
           seed=bench.file.simulate.seed)  # fmt: skip


def _touched_between(options: argparse.Namespace, plant: Plant | None) -> list[tuple[str, tuple[str, ...]]]:
    """What was connected or touched between the two recordings, by the files' own times, with its names."""
    if options.logs is None or options.before is None or plant is None:
        return []
    from datetime import UTC, datetime

    from bench.job.history import told_between

    after, until = (
        datetime.fromtimestamp(path.stat().st_mtime, UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        for path in (options.before, options.recordings[0])
    )
    from bench.say.times import minute

    return [
        (f"{minute(one.happened)} {one.kind}: {', '.join(one.names)} {one.text}".rstrip(), one.names)
        for one in told_between(options.logs, plant.name, after, until)
        if one.kind != "note"
    ]


def _volts(text: str, where: str) -> float:
    from bench.quantity import QuantityError, Voltage

    try:
        volts = Voltage.parse(text).value
    except QuantityError as error:
        raise BadRequest(f"{where}: {error}") from error
    if volts <= 0:
        raise BadRequest(f"{where}: found '{text}', expected a level above 0")
    return volts


def _lines(one: Heard, across_600: bool) -> list[str]:
    from bench.diagnose.hunt.noise import dbmp, dbrnc
    from bench.quantity import engineering

    how = "calibrated by a known tone" if one.volts is not None else "relative to full scale: no tone of known level"
    lines = [f"{one.name}: {one.seconds:.1f} s, mains at {one.mains:.2f} Hz, {how}"]
    for weighting, level in one.levels.items():
        if one.volts is None:
            told = f"{one.level_db(weighting):.1f} dB"
        else:
            told = engineering(level, "V", digits=3)
            if weighting == "psophometric":
                told += "p"
                if across_600:
                    told += f" ({dbmp(level):.1f} dBmp)"
            if weighting == "c-message" and across_600:
                told += f" ({dbrnc(level):.1f} dBrnC)"
        lines.append(f"  {weighting:14}{told}, ±{one.scatter[weighting]:.1f} dB by how long it is")
    for line in one.lines:
        strong = engineering(line.rms, "V", digits=3) if one.volts is not None else f"{_db(line.rms):.1f} dB"
        which = f"mains times {line.order}" if line.order else "no harmonic of the mains: a converter, a clock?"
        lines.append(f"  {line.hertz:9.1f} Hz  {strong:>10}  {which}")
    return lines


def _db(level: float) -> float:
    import math

    return 20.0 * math.log10(max(level, 1e-15))


def _plain(one: Heard) -> dict[str, Any]:
    return {
        "name": one.name,
        "seconds": one.seconds,
        "unit": "V" if one.volts is not None else "full scale",
        "mains": one.mains,
        "levels": one.levels,
        "scatter_db": one.scatter,
        "lines": [{"hertz": line.hertz, "rms": line.rms, "order": line.order} for line in one.lines],
    }
