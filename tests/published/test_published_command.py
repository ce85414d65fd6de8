"""IEC 60228 through the command: what ``check`` asks of conductors of four sizes at five temperatures."""

import re
from pathlib import Path

import pytest

from bench.quantity import Resistance
from tests.published.values import published
from tests.walks.tool import BENCH, proveout

PUBLISHED = published("judge_values.yaml")
# mm2, class, column of the table: plain conductors of class 2 and of class 5
SIZES = [(0.75, 5, 3), (1.5, 2, 1), (10, 5, 3), (50, 2, 1)]
TEMPERATURES = (5, 15, 25, 40, 60)
ASKED = re.compile(r"Cannot prove at most ([0-9.]+ \S?Ω)|an? prove at most ([0-9.]+ \S?Ω)")


def files(folder: Path, celsius: int) -> tuple[Path, Path]:
    types = [
        f"  - {{name: C{n}, colours: [BU], size: {mm2} mm2, class: {kind}}}" for n, (mm2, kind, _) in enumerate(SIZES)
    ]
    cables = [
        f"  - {{name: W{n}, type: C{n}, length: 1000 m, from: [B1.{n + 1}], to: [B2.{n + 1}]}}"
        for n in range(len(SIZES))
    ]
    plant = [
        "plant: sizes",
        "length-tolerance: 0 %",
        "contacts: {lug: {typical: 0 ohm, most: 0 ohm}}",
        "cable-types:",
        *types,
        'bays: [{name: "1"}]',
        "busbars:",
        *(f'  - {{name: {bar}, pole: return, resistance: 50 uohm, at: "1"}}' for bar in ("B1", "B2")),
        "cables:",
        *cables,
    ]
    steps = [
        f"  - {{step: measure, title: size {n}, read: resistance, between: [B1.{n + 1}, B2.{n + 1}], "
        f"subject: W{n}.1, limit: {{computed: conductor}}}}"
        for n in range(len(SIZES))
    ]
    (folder / "plant.yaml").write_text("\n".join(plant), "utf-8")
    sequence = ["sequence: sizes", "plant: plant.yaml", f"ambient: {celsius} °C", "steps:", *steps]
    (folder / "s.yaml").write_text("\n".join(sequence), "utf-8")
    text = BENCH.read_text("utf-8")
    (folder / "bench.yaml").write_text(text[: text.find("  faults:")], "utf-8")
    return folder / "s.yaml", folder / "bench.yaml"


@pytest.mark.parametrize("celsius", TEMPERATURES)
def test_what_a_kilometre_may_have(tmp_path: Path, celsius: int) -> None:
    """The table's maximum at 20 °C over the standard's own factor; that factor is of 0.004 per K (0.25 % at 60 °C)."""
    sequence, bench = files(tmp_path, celsius)
    said = proveout("check", sequence, "--bench", bench, "--all", cwd=tmp_path).stdout
    table = {row[0]: row for row in PUBLISHED["iec_60228"]["rows"]}
    factor = dict(PUBLISHED["iec_60228_factors"]["rows"])[celsius]
    for n, (mm2, _, column) in enumerate(SIZES):
        line = said.split(f"size {n}: ", 1)[1].split("\n", 1)[0]
        # of the two limits of a conductor the last is the one for a sound one
        asked = [one or other for one, other in ASKED.findall(line)][-1]
        assert Resistance.parse(asked).value == pytest.approx(table[mm2][column] / factor, rel=0.0027), line
