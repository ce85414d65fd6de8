"""Forty mistakes, each made in the circuit, walked as drafted and looked at: what the tool says, for docs/mistakes.md.

``python -m tests.diagnose.explain.mistakes_table`` writes the page anew; read the difference as somebody at the rack.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.diagnose.explain.picture import picture
from bench.plant import faults as k
from bench.plant.resolve import resolve
from tests.benchmarks.bench_map import look_at
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.damaged_plant import plant_of
from tests.diagnose.explain.drawn_damage import DamagedPlant, Made

PAGE = Path(__file__).parents[3] / "docs" / "mistakes.md"
HEAD = """# What Proveout says of forty mistakes

Each was made in the circuit of a plant whose cables run straight from J1 to K1, from J2 to K2 and so on, walked as
`draft continuity` has it (every conductor from pin to pin, the near pins against their neighbours), and looked at with
the few readings that the walk's last step asks for; where all wires get through, with those of `draft crosses`, which
the walk names in its end. This page is made from what is said
(`python -m tests.diagnose.explain.mistakes_table`), and a test holds it to it.

Under each pin of a picture stands the pin where the wire on it belongs: `=` where that is the pin itself, `-` where no
wire sits.

Work on a dead plant only, and follow the site's rules.
"""


def opened(*wires: int, cable: int = 1) -> list[k.Fault]:
    """Conductors that do not get through."""
    return [k.Open(conductor=f"W{cable}.{wire}") for wire in wires]


def exchanged(*pins: str) -> list[k.Fault]:
    """Wires exchanged on pins, two by two."""
    return [k.Exchanged(pins=(one, other)) for one, other in zip(pins[::2], pins[1::2], strict=True)]


def shorted(*pins: str) -> list[k.Fault]:
    """Pins in one joint."""
    return [k.Short(between=(pins[0], other)) for other in pins[1:]]


Row = tuple[str, tuple[int, int, int, bool], list[k.Fault]]
"""What was done; pins, rows, cables of the plant and whether they are paired; the faults."""
PLAIN, ROWS, TWO, PAIRS = (12, 1, 1, False), (18, 2, 1, False), (12, 1, 2, False), (16, 2, 1, True)
MISTAKES: Sequence[Row] = (
    ("one wire broken", PLAIN, opened(4)),
    ("two wires broken, far apart", PLAIN, opened(2, 9)),
    ("the plug of K1 is not in", PLAIN, opened(*range(1, 13))),
    ("the second row is dead", ROWS, opened(*range(10, 19))),
    ("half a ribbon is dead", PLAIN, opened(*range(1, 7))),
    ("dead from pin 8 on", PLAIN, opened(*range(8, 13))),
    ("a group of five pairs is dead", (25, 1, 1, False), opened(*range(11, 21))),
    ("four of five wires dead, one good", (5, 1, 1, False), opened(2, 3, 4, 5)),
    ("two wires exchanged", PLAIN, exchanged("K1.3", "K1.9")),
    ("two neighbours exchanged", PLAIN, exchanged("K1.3", "K1.4")),
    ("three wires moved round", PLAIN, exchanged("K1.3", "K1.6", "K1.6", "K1.10")),
    ("a pair reversed", PAIRS, exchanged("K1.5", "K1.6")),
    ("two pairs split", PAIRS, exchanged("K1.2", "K1.8")),
    ("two pairs exchanged", PAIRS, exchanged("K1.3", "K1.7", "K1.4", "K1.8")),
    ("two pairs exchanged between cables", (12, 1, 2, True), exchanged("K1.3", "K2.7", "K1.4", "K2.8")),
    ("one wire exchanged between cables", TWO, exchanged("K1.3", "K2.7")),
    ("every two neighbours exchanged", PLAIN, d.neighbours("K1", 12)),
    ("the plug sits one pin to the right", PLAIN, [k.Shifted(connector="K1", by=1)]),
    ("the plug sits two pins to the left", PLAIN, [k.Shifted(connector="K1", by=-2)]),
    ("the plug of two rows sits one pin to the right", ROWS, [k.Shifted(connector="K1", by=1)]),
    ("one late from pin 7 on", PLAIN, d.moved_along("K1", "W1", 7, 12, 1)),
    ("one early from pin 5 on", PLAIN, d.moved_along("K1", "W1", 5, 12, -1)),
    ("one late in the first row only", ROWS, d.moved_along("K1", "W1", 1, 9, 1)),
    ("numbered from the other side", PLAIN, d.end_for_end("K1", 1, 12)),
    ("plug turned by half a turn", ROWS, d.end_for_end("K1", 1, 18)),
    ("both rows exchanged", ROWS, d.exchanged_runs("K1", range(1, 10), range(10, 19))),
    ("the first row numbered from the other side", ROWS, d.end_for_end("K1", 1, 9)),
    ("the halves of a block exchanged", (18, 1, 1, False), d.exchanged_runs("K1", range(1, 10), range(10, 19))),
    ("two groups exchanged", (20, 1, 1, False), d.exchanged_runs("K1", range(6, 11), range(11, 16))),
    ("groups exchanged between cables", TWO, d.exchanged_runs("K1", range(1, 6), range(3, 8), "K2")),
    ("counted across the rows", ROWS, d.counted_across("K1", 18, 2)),
    ("the order lost", PLAIN, d.no_order("K1", range(1, 13), 5)),
    ("two plugs exchanged", TWO, [k.ConnectorsExchanged(connectors=("K1", "K2"))]),
    ("two neighbours joined", PLAIN, shorted("J1.5", "J1.6")),
    ("two pins joined, far apart", PLAIN, shorted("J1.2", "J1.11")),
    ("three wires in one joint", PLAIN, shorted("J1.2", "J1.6", "J1.9")),
    ("a wire of each of two cables joined", TWO, shorted("J1.2", "J2.5")),
    ("the plug one pin to the right, and two wires exchanged", PLAIN,
     [*exchanged("K1.4", "K1.8"), k.Shifted(connector="K1", by=1)]),
    ("the order lost, and two pins joined", PLAIN, [*d.no_order("K1", range(1, 13), 7), *shorted("J1.3", "J1.4")]),
    ("a row dead, a pair reversed in the other, two joined", PAIRS,
     [*opened(*range(9, 17)), *exchanged("K1.3", "K1.4"), *shorted("J1.6", "J1.7")]),
)  # fmt: skip


def page() -> str:
    """The page as it should be."""
    lines = [HEAD]
    for number, (done, (pins, rows, cables, pairs), faults) in enumerate(MISTAKES, 1):
        file = plant_of(pins, rows, cables, pairs=pairs)
        plant = DamagedPlant(file, resolve(file), (Made(tuple(faults), ("", frozenset())),))
        looked = look_at(plant)
        wires = len(plant.plant.conductors)
        told = f"{wires} wires, {looked.drafted} readings drafted, {looked.asked} asked for; every cross {wires**2}"
        lines.append(f"\n## {number}. {done[:1].upper()}{done[1:]}\n\n{told}.\n")
        for finding in looked.explanation.findings:
            lines.append(f"- {finding.sentence}")
            drawn = picture(looked.design, finding.cause)
            if drawn:
                lines.append("\n" + "\n".join(f"      {line}" for line in drawn) + "\n")
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
