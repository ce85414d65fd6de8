"""Learn a sound cable's pin list from records that read its map whole; what looks like damage is asked, not learned.

By hands: 'proveout identify CABLE --flags CONNECTOR' names the wire on each pin. By a relay matrix the same, or every
near pin against every far one."""

from __future__ import annotations

import argparse
import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands.common import LOGS, say_progress
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.diagnose.explain.learning import Learned
    from bench.plant.model import Plant
    from bench.plant.things import Cable


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("plant", type=Path, help="the plant file")
    parser.add_argument("cable", help="the cable")
    parser.add_argument("record", type=Path, nargs="*", help="only these records; by default all of the folder")
    parser.add_argument("--logs", type=Path, default=LOGS, metavar="DIR", help="the folder of records (default logs/)")
    parser.add_argument("--twin", action="append", default=[], metavar="CABLE", help="a cable that it should be like; "
                        "by default those of its type whose list is known")  # fmt: skip
    parser.add_argument("--take", nargs="+", default=[], metavar="CONDUCTOR", help="these are meant as they were found")
    parser.add_argument("--write", action="store_true", help="write the pin list, and name it in the plant file")


def run(options: argparse.Namespace) -> int:
    """Tell what is learned and what is asked; write the list where that is wanted."""
    from bench.diagnose.explain.learning import learned
    from bench.diagnose.explain.walk_map import maps_of
    from bench.job.folder import open_folder
    from bench.plant.load import load_plant
    from bench.record.replay import replay

    plant = load_plant(options.plant)
    cable = plant.cables.get(options.cable)
    if cable is None:
        raise BadRequest(f"the plant has no cable {options.cable}")
    twins = [_twin(plant, name) for name in options.twin] or _twins(plant, cable)
    folder = open_folder(options.logs, plant.name, say_progress)
    paths = options.record or [folder.heads[chapter.record].path for chapter in folder.chapters]
    states = []
    for number, path in enumerate(paths, 1):
        say_progress(number, len(paths))
        states.append(replay(path))
    maps = [one for one in maps_of(*states) if cable.name in one.cables]
    if not maps:
        ends = cable.far[0] if cable.far else "CONNECTOR"
        how = f"proveout identify {cable.name} --flags {ends}"
        raise BadRequest(f"no record in {options.logs} read {cable.name} from pin to pin: {how}")
    if folder.simulated:
        print("All of it comes from simulated benches: it says nothing of a real plant.")
    found = learned(plant, cable, maps[0], twins)
    known = {one.name for one in cable.conductors}
    taken = [name if name in known else f"{cable.name}.{name}" for name in options.take]
    unknown = [name for name in taken if name not in found.asked]
    if unknown:
        asked = ", ".join(sorted(found.asked)) or "none"
        raise BadRequest(f"--take {', '.join(unknown)}: expected conductors that are asked: {asked}")
    _tell(found, taken)
    if found.missing or not found.sure(taken):
        print(f"\nnothing is written: the map of {cable.name} is not read whole")
        return exits.NOT_PASSED
    made = _written(options, plant, cable, found, taken)
    open_left = found.asked - set(taken)
    return exits.NOT_PASSED if open_left or not made else exits.PASS


def _twin(plant: Plant, name: str) -> Cable:
    if name not in plant.cables:
        raise BadRequest(f"--twin {name}: the plant has no such cable")
    return plant.cables[name]


def _twins(plant: Plant, cable: Cable) -> list[Cable]:
    """Cables of its type between connectors of its kinds, whose ends are known."""

    def kinds(one: Cable) -> list[list[str]]:
        return [
            [plant.connectors[name].type.name for name in side if name in plant.connectors]
            for side in (one.near, one.far)
        ]

    return [
        one
        for one in plant.cables.values()
        if one.name != cable.name
        and one.type.name == cable.type.name
        and kinds(one) == kinds(cable)
        and all(wire.near_status == wire.far_status == "known" for wire in one.conductors)
    ]


def _tell(found: Learned, taken: list[str]) -> None:
    sure = found.sure(taken)
    print(f"{found.cable}: {len(sure)} of {len(found.pins)} wires that get through are learned")
    for text in found.like:
        print(f"  {text}")
    for doubt in found.doubts:
        held = [name for name in doubt.conductors if name not in taken]
        if held:
            print(f"  asked, not learned: {', '.join(held)}: {doubt.why}")
    if found.missing:
        print(f"  not read yet: {', '.join(found.missing)}")


def _written(options: argparse.Namespace, plant: Plant, cable: Cable, found: Learned, taken: list[str]) -> bool:
    """Show the pin list and the change of the plant file, and write both; whether there is nothing left to write."""
    from bench.plant.writing import Change, rewritten
    from bench.saved import save

    name = f"pins/{cable.name.lower()}.csv"
    path = options.plant.parent / name
    text = pin_list(cable, found, taken)
    print(f"\n{path}:\n{text}", end="")
    if not options.write:
        print("nothing is written; --write writes it, and names it in the plant file")
        return True
    before = path.read_text("utf-8") if path.exists() else None
    if before is not None and before != text and plant.file and _by_hand(before):
        raise BadRequest(f"{path} is there and was written by hand; move it away, or take its lines over")
    path.parent.mkdir(parents=True, exist_ok=True)
    save(path, text)
    entry = next(one for one in plant.file.cables if one.name == cable.name)
    if entry.pins != name:
        made = rewritten(options.plant, [Change(("cables", cable.name), {"pins": name})])
        for line in made.difference():
            print(line)
        made.save()
    print(f"{path} is written")
    return True


_HEAD = "# learned from readings; what is not known yet was asked and not answered"


def _by_hand(text: str) -> bool:
    return not text.startswith(_HEAD)


def pin_list(cable: Cable, found: Learned, taken: list[str]) -> str:
    """The list as CSV: a line for each conductor, ``unknown`` where it is not learned.

    Args:
        cable: whose list it is.
        found: what readings said of it.
        taken: conductors that somebody said are meant as they were found.
    """
    sure = found.sure(taken)
    out = io.StringIO()
    out.write(f"{_HEAD}\n")
    write = csv.writer(out, lineterminator="\n")
    write.writerow(["conductor", "from_pin", "to_pin", "remark"])
    for one in cable.conductors:
        leg = "" if one.pair is None or one.leg is None else f"{one.pair}{one.leg[0].upper()}"
        near = one.near_end.pin if len(cable.near) == 1 else one.near_end.name
        to = sure.get(one.name)
        far = "unknown" if to is None else to.rpartition(".")[2] if len(cable.far) == 1 else to
        remark = "as found, by the word of whoever looked" if one.name in taken else ""
        write.writerow([leg or one.number, near, far, remark])
    return out.getvalue()
