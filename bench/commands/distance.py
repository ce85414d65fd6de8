"""How far along a cable a fault lies: a short, a leak to earth, an open. Dead, disconnected cable only.

Without readings it says which methods this bench can do on that cable and how well, and what to read where. --write
makes a sequence of it to walk, and --record takes the readings of that walk; or they are given one by one (--read
near=2.31ohm --read far=1.9ohm ...). Then it says the distance, 95 % of what is believable, and where on the way."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.errors import BadRequest

if TYPE_CHECKING:
    from collections.abc import Mapping

    from bench.diagnose.hunt.distance import Accuracy, CableLine, Figure, Method
    from bench.instruments.bench_file import Bench
    from bench.plant.model import Plant
    from bench.plant.things import Conductor


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("conductor", nargs="?", help="the faulty conductor, such as W101.12; not with --record")
    parser.add_argument("fault", nargs="?", choices=("short", "earth", "open"), help="what is wrong with it")
    parser.add_argument("--bench", type=Path, help="the bench whose meters read")
    parser.add_argument("--plant", type=Path, help="the plant file; by default the one of the bench's job, or here")
    parser.add_argument("--method", help="how it was read; see what is told without readings")
    parser.add_argument("--read", action="append", default=[], metavar="NAME=VALUE", help="a reading, such as "
                        "near=2.31ohm; lead resistance taken off")  # fmt: skip
    parser.add_argument("--record", type=Path, help="a walk of a sequence that --write made")
    parser.add_argument("--write", type=Path, metavar="SEQUENCE", help="write the readings of --method as a sequence")
    parser.add_argument("--to", default="", metavar="NAME", help="the fault's other side: a conductor, an earth point")
    parser.add_argument("--sound", default="", metavar="CONDUCTOR", help="a sound conductor of the same cable")
    parser.add_argument("--accuracy", metavar="'0.5 % + 0.03 ohm'", help="of the meter, where no bench file says it")
    parser.add_argument("--bridge", metavar="'0.1 % + 0.01 ohm'", help="beforehand: how exact a bridge is "
                        "that is at hand")  # fmt: skip
    parser.add_argument("--leads", default="0 ohm", metavar="OHMS", help="what may be left of the leads in a reading")
    parser.add_argument("--again", metavar="VALUE", help="the first reading, taken again at the end: a fault that "
                        "wanders shows")  # fmt: skip
    parser.add_argument("--length", metavar="'12.4 m 1 %'", help="the cable's length where it was measured, with its "
                        "doubt; else the plant file's")  # fmt: skip
    parser.add_argument("--fault-ohms", default="0.5 ohm", metavar="OHMS", help="beforehand: what the fault may have")
    parser.add_argument("--no-sound-conductor", action="store_true", help="no conductor of the cable is known sound")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw it on the cable's way")


def run(options: argparse.Namespace) -> int:
    """Say what can be done, or where the fault is."""
    from bench.diagnose.hunt.distance import FAULTS

    if options.record is not None:
        return _walked(options)
    if options.conductor is None or options.fault is None:
        raise BadRequest("expected the faulty conductor and what is wrong with it: proveout distance W101.12 short")
    plant, bench = _plant(options)
    conductor = plant.conductors.get(options.conductor)
    if conductor is None:
        raise BadRequest(f"found '{options.conductor}', expected a conductor such as W101.12{_hint(plant, options)}")
    line = _line(options, plant, conductor)
    if options.write is not None:
        return _write(options, plant, conductor)
    if not options.read:
        return _beforehand(options, plant, conductor, line, bench)
    if options.method not in FAULTS[options.fault]:
        raise BadRequest(f"--method: found '{options.method}', expected one of {', '.join(FAULTS[options.fault])}")
    method: Method = options.method
    figures = _figures(options, method, bench)
    wander = 0.0
    if options.again:
        first = next(iter(figures.values()))
        wander = abs(_value(options.again, "Ω", "--again") - first.value)
    return _tell(options, plant, conductor, line, method, figures, wander)


def _tell(
    options: argparse.Namespace,
    plant: Plant,
    conductor: Conductor,
    line: CableLine,
    method: Method,
    figures: Mapping[str, Figure],
    wander: float,
) -> int:
    """Say where the fault is."""
    from bench.diagnose.hunt.distance import TITLES, CannotTell, distance
    from bench.diagnose.hunt.told import lines, svg
    from bench.plant.route import way
    from bench.saved import save

    stretches = way(plant, plant.cables[conductor.cable])
    near = conductor.near_end.owner
    try:
        told = distance(method, line, figures, wander=wander)
    except CannotTell as error:
        print(f"cannot be told: {error}")
        return exits.NOT_PASSED
    print(f"{conductor.name}, {TITLES[method]}")
    print("\n".join(lines(told, stretches, near)))
    if options.svg is not None:
        save(options.svg, svg(told, stretches, f"{conductor.name} from {near}: {TITLES[method]}"))
    return exits.PASS


def _write(options: argparse.Namespace, plant: Plant, conductor: Conductor) -> int:
    """Write the readings as a sequence."""
    from bench.commands.common import keep_draft, relative, sequence_schema
    from bench.commands.open import plant_of
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.hunt.steps import WALKED, drafted, sequence_name
    from bench.plant.model import UnknownName
    from bench.sequence.draft import file_text

    if options.method not in WALKED:
        raise BadRequest(f"--method: found '{options.method}', expected one that is walked: {', '.join(WALKED)}")
    try:
        made = drafted(plant, options.method, conductor, options.to, options.sound)
    except (DiagnoseError, UnknownName) as error:
        raise BadRequest(str(error)) from error
    folder = options.write.parent
    path = _plant_path(options) or plant_of(None)
    name = sequence_name(options.method, conductor.name)
    keep_draft(options.write, file_text(plant, name, made, relative(folder, path), sequence_schema(folder)))
    print(f"{options.write}: walk it, and then: proveout distance --record RECORD")
    return exits.PASS


def _walked(options: argparse.Namespace) -> int:
    """Take the readings of a walk."""
    from bench.diagnose.diagnose_error import DiagnoseError
    from bench.diagnose.hunt.steps import BY_DIALS, figures_of, meant
    from bench.record.replay import replay

    state = replay(options.record)
    known = meant(state.setting.plan.sequence.sequence) if state.setting is not None else None
    if state.setting is None or known is None:
        raise BadRequest(f"{options.record} is no walk of a sequence that 'proveout distance --write' made")
    method, name = known
    plant = state.setting.plant
    conductor = plant.conductors[name]
    try:
        dials = None
        if options.accuracy and method in BY_DIALS:
            accuracy, _ = _accuracy(options, None, "Ω", 0.0)
            dials = accuracy.scale, accuracy.own
        figures, wander = figures_of(state, dials)
    except DiagnoseError as error:
        raise BadRequest(f"{options.record}: {error}") from error
    return _tell(options, plant, conductor, _line(options, plant, conductor), method, figures, wander)


def _hint(plant: Plant, options: argparse.Namespace) -> str:
    near = plant.near(options.conductor)
    return f"; did you mean {near}?" if near else ""


def _plant(options: argparse.Namespace) -> tuple[Plant, Bench | None]:
    from bench.assemble import job_folder
    from bench.commands.open import plant_of
    from bench.instruments.bench_file import load_bench
    from bench.instruments.profile.library import Library
    from bench.plant.load import load_plant

    bench = None
    if options.bench is not None:
        bench = load_bench(options.bench, Library.for_job(job_folder(options.bench)))
    return load_plant(plant_of(_plant_path(options))), bench


def _plant_path(options: argparse.Namespace) -> Path | None:
    from bench.assemble import job_folder

    if options.plant is not None or options.bench is None:
        path: Path | None = options.plant
        return path
    return job_folder(options.bench) / "plant.yaml"


def _line(options: argparse.Namespace, plant: Plant, conductor: Conductor) -> CableLine:
    """The cable as the plant file and the options have it."""
    from bench.diagnose.hunt.distance import CableLine
    from bench.plant.conductor_make import expected
    from bench.quantity import Length, QuantityError, Ratio

    length, part = conductor.length_m, conductor.tolerance_m / conductor.length_m
    if options.length:
        words = options.length.split()
        try:
            length = Length.parse(" ".join(words[:2])).value
            part = Ratio.parse(" ".join(words[2:])).value if len(words) > 2 else 0.01
        except QuantityError as error:
            raise BadRequest(f"--length: {error}") from error
    each = expected(conductor.wire, 1.0, 0.0, plant.ambient_c, ())
    spread = (each.high_ohm - each.low_ohm) / 2.0 / each.nominal_ohm
    return CableLine(length, part, each.nominal_ohm, spread)


def _value(text: str, unit: str, where: str) -> float:
    from bench.quantity import Amount, QuantityError

    try:
        amount = Amount.parse(text)
    except QuantityError as error:
        raise BadRequest(f"{where}: {error}") from error
    if amount.unit != unit:
        raise BadRequest(f"{where}: found '{text}', expected a figure in {unit}")
    return amount.value


def _figures(options: argparse.Namespace, method: Method, bench: Bench | None) -> dict[str, Figure]:
    """The readings with how far off each may be."""
    from bench.diagnose.hunt.distance import READINGS, Figure

    wanted = {name: unit for name, unit, _ in READINGS[method]}
    leads = _value(options.leads, "Ω", "--leads")
    found: dict[str, Figure] = {}
    for one in options.read:
        name, equals, text = one.partition("=")
        if not equals or name not in wanted:
            raise BadRequest(f"--read: found '{one}', expected NAME=VALUE with one of {', '.join(wanted)}")
        value = _value(text, wanted[name], f"--read {name}")
        accuracy, mark = _accuracy(options, bench, wanted[name], value)
        own = accuracy.own + (leads if wanted[name] == "Ω" and method not in ("murray", "varley") else 0.0)
        found[name] = Figure(value, accuracy.scale, own, mark)
    return {name: found[name] for name in wanted if name in found}


def _accuracy(options: argparse.Namespace, bench: Bench | None, unit: str, value: float) -> tuple[Accuracy, str]:
    """How well a figure is read, and the mark of the range that it is read on.

    Raises:
        BadRequest: nothing says so.
    """

    if options.accuracy:
        return _stated(options.accuracy, unit, "--accuracy"), "as given"
    accuracy = _of_bench(bench, unit, value) if bench is not None else None
    if accuracy is None:
        raise BadRequest(f"nothing says how well {unit} is read: give --bench, or --accuracy '0.5 % + 0.03 ohm'")
    return accuracy


def _stated(text: str, unit: str, where: str) -> Accuracy:
    """An accuracy that somebody gives: ``0.5 % + 0.03 ohm``."""
    from bench.diagnose.hunt.distance import Accuracy
    from bench.quantity import QuantityError, Ratio

    relative, plus, own = text.partition("+")
    try:
        scale = Ratio.parse(relative.strip()).value
    except QuantityError as error:
        raise BadRequest(f"{where}: {error}") from error
    return Accuracy(scale, _value(own.strip(), unit, where) if plus else 0.0)


def _of_bench(bench: Bench, unit: str, value: float) -> tuple[Accuracy, str] | None:
    """How well a bench reads a figure, and the mark of its range; None where nothing reads it."""
    from bench.assemble import bench_facts
    from bench.diagnose.hunt.distance import Accuracy
    from bench.judge.judge_error import JudgeError
    from bench.roles import ROLE_OF, UNIT_OF, Reads, function_name

    facts = bench_facts(bench)
    wanted: dict[str, Reads] = {"Ω": "resistance", "V": "voltage", "F": "capacitance"}
    reads = wanted.get(unit)
    if reads is None or UNIT_OF[reads] != unit:
        return None
    meter = facts.for_role(ROLE_OF[reads])
    if meter is None or meter.table is None:
        return None
    # only resistance has wires to choose
    for wires in (4, 2) if reads == "resistance" else (2,):
        function = meter.accuracy_of.get(function_name(reads, wires))
        if function is None or function not in meter.table.functions:
            continue
        try:
            row = meter.table.pick(function, value).row
        except JudgeError:
            continue
        scale = row.percent_of_reading / 100.0
        own = row.percent_of_range / 100.0 * row.range_top + (row.counts + 0.5) * row.resolution
        # two wires leave what the zero of the leads does not take off: some contact at the tips
        own += TIPS_OHM if reads == "resistance" and wires == 2 else 0.0
        return Accuracy(scale, own, meter.name), f"{meter.name} {row.range_top:g}"
    return None


CAUTION = """Dead, disconnected cable only: isolated, proved dead, discharged, both ends in sight or guarded.
Local codes and licensed people come first."""
TIPS_OHM = 0.005
"""What two tips add that the zero did not have (common practice, no source)."""


def _beforehand(
    options: argparse.Namespace, plant: Plant, conductor: Conductor, line: CableLine, bench: Bench | None
) -> int:
    """Say which methods this bench can do, and how well."""
    from bench.diagnose.hunt.distance import prospects
    from bench.diagnose.hunt.told import prospect_lines

    cable = plant.cables[conductor.cable]
    farad = cable.type.capacitance.value
    fault = _value(options.fault_ohms, "Ω", "--fault-ohms")
    usual = {"Ω": line.ohm_per_m * line.length_m + fault, "V": 0.1 * line.ohm_per_m * line.length_m,
             "F": farad * line.length_m * 0.4}  # fmt: skip
    accuracies: dict[str, Accuracy | None] = {}
    for unit, value in usual.items():
        if options.accuracy:
            accuracies[unit] = _accuracy(options, bench, unit, value)[0] if unit == "Ω" else None
        else:
            found = _of_bench(bench, unit, value) if bench is not None else None
            accuracies[unit] = found[0] if found is not None else None
    if bench is not None and "supply" not in bench.role_of:
        accuracies["V"] = None
    if options.bridge:
        accuracies["bridge"] = _stated(options.bridge, "Ω", "--bridge")
    if not any(accuracies.values()):
        raise BadRequest("nothing says how well this bench reads: give --bench, or --accuracy '0.5 % + 0.03 ohm'")
    print(CAUTION)
    placed = f"a fault of {options.fault_ohms} at four tenths of the way would be placed, 95 times in 100, within"
    resistance = f"{line.ohm_per_m * 1000:.1f} mΩ a metre"
    print(f"{conductor.name}: {line.length_m:g} m ± {line.length_part:.0%}, {resistance}; {placed}")
    found_ways = prospects(line, options.fault, accuracies, fault_ohms=fault, sound=not options.no_sound_conductor,
                           farad_per_m=farad)  # fmt: skip
    print("\n".join(prospect_lines(found_ways)))
    if options.fault == "open":
        print("measure first whether it is open: a joint of 22 kΩ reads like a longer piece of cable at 1 kHz. Tie the "
              "others and the screen alike for both readings.")  # fmt: skip
    else:
        print("read the first one again last, and give it as --again: a fault that wanders shows. Reverse the current "
              "where voltages are small.")  # fmt: skip
    return exits.PASS if any(one.half is not None for one in found_ways) else exits.NOT_PASSED
