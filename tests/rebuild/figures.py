"""What came of many rebuilds, as figures: medians with their spreads, counts, and how true what was said."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Final

from bench.plant import faults as k
from tests.rebuild.by_hand import ByHand
from tests.rebuild.came import Came
from tests.rebuild.plants import drawn
from tests.rebuild.proveout import WithProveout
from tests.rebuild.team import PEOPLE
from tests.rebuild.year import a_year

WAYS: Final = ("hand", "proveout")


def one(number: int, way: str, bench: str = "middling", factor: float = 1.0, without: str = "") -> dict[str, Any]:
    """One rebuild, as plain data.

    Args:
        number: of the draw.
        way: ``hand`` or ``proveout``.
        bench: the instruments.
        factor: how much oftener than stated people slip.
        without: a part of the tool that is left out; empty for none.
    """
    made = drawn(number)
    leave_out = (without,) if without else ()
    work = ByHand(made, bench, factor) if way == "hand" else WithProveout(made, bench, factor, leave_out)
    came = work.run()
    a_year(work, came)
    return plain(came, number, way, bench, factor, without, len(made.plant.bays))


def plain(came: Came, number: int, way: str, bench: str, factor: float, without: str, bays: int) -> dict[str, Any]:
    """What came of a rebuild, as a line of a file."""
    ledger = came.ledger
    found = [later for later in came.year if later.located]
    return {
        "number": number, "way": way, "bench": bench, "factor": factor, "without": without, "bays": bays,
        "hours": round(ledger.hours, 2), "evenings": ledger.evenings, "climbs": ledger.climbs,
        "readings": ledger.readings, "acts": ledger.acts, "alarms": ledger.alarms, "touched": ledger.touched,
        "by": {name: round(minutes, 1) for name, minutes in ledger.by.items()},
        "late": came.late, "there": len(_counted(came.there)),
        "left": [type(one).__name__ for one in _counted(came.left)],
        "over": [[o.shelf, o.kind, o.volts, o.cards, o.hidden] for o in came.over],
        "beside": came.beside, "dark": sorted(set(came.dark)), "harmed": len(came.harmed),
        "year": len(came.year), "located": len(found), "each": [round(one.minutes, 1) for one in found],
        "mates": [[round(chance, 4), right] for chance, right in came.mates],
        "held": came.readings, "year-hours": round(came.later.hours, 2),
        "named": [[round(chance, 4), right] for chance, right in came.named],
        "told": came.told,
    }  # fmt: skip


def _counted(faults: Iterable[k.Fault]) -> list[k.Fault]:
    """The faults that a reading can show: not what comes and goes, nor a high leak, nor capacitors that formed."""
    return [one for one in faults if not isinstance(one, k.Intermittent | k.Leakage | k.SlowCapacitor)]


class Kept:
    """Lines of rebuilds in a file: a study goes on where it was left."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.lines: list[dict[str, Any]] = []
        if path is not None and path.exists():
            self.lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
        self._known = {self._key(line) for line in self.lines}

    @staticmethod
    def _key(line: dict[str, Any]) -> tuple[Any, ...]:
        return tuple(line[name] for name in ("number", "way", "bench", "factor", "without"))

    def has(self, *key: Any) -> bool:
        """Whether it was done: number, way, bench, factor, without."""
        return key in self._known

    def keep(self, line: dict[str, Any]) -> None:
        """One more."""
        self.lines.append(line)
        self._known.add(self._key(line))
        if self.path is not None:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")


def chosen(lines: Iterable[dict[str, Any]], way: str, bench: str = "middling", factor: float = 1.0, without: str = ""
           ) -> list[dict[str, Any]]:  # fmt: skip
    """The lines of one way."""
    wanted = (way, bench, factor, without)
    return [one for one in lines if (one["way"], one["bench"], one["factor"], one["without"]) == wanted]


def quantiles(values: Sequence[float]) -> tuple[float, float, float]:
    """The middle, and where a tenth lies below and above."""
    ranked = sorted(values)

    def at(share: float) -> float:
        return ranked[min(len(ranked) - 1, int(share * len(ranked)))]

    return at(0.5), at(0.1), at(0.9)


def _hours(line: dict[str, Any], stage: str) -> float:
    return float(line["by"].get(stage, 0.0)) * PEOPLE / 60.0


Figure = tuple[str, Callable[[dict[str, Any]], float], str]
MEDIANS: Final[tuple[Figure, ...]] = (
    ("person-hours", lambda one: one["hours"], ".0f"),
    ("of these: what belongs together", lambda one: _hours(one, "survey"), ".1f"),
    ("cables proven", lambda one: _hours(one, "proof"), ".1f"),
    ("earth proven", lambda one: _hours(one, "earth"), ".1f"),
    ("shelves brought up", lambda one: _hours(one, "power"), ".1f"),
    ("person-hours with those of the year after", lambda one: one["hours"] + one["year-hours"], ".0f"),
    ("evenings of two people", lambda one: one["evenings"], ".0f"),
    ("climbs", lambda one: one["climbs"], ".0f"),
    ("readings", lambda one: one["readings"], ".0f"),
    ("acts of hands", lambda one: one["acts"], ".0f"),
    (
        "minutes to locate a later fault",
        lambda one: sum(one["each"]) / len(one["each"]) if one["each"] else math.nan,
        ".0f",
    ),
)
SUMS: Final[tuple[Figure, ...]] = (
    ("landings found wrong late", lambda one: one["late"], ".2f"),
    ("faults there when the last shelf came up", lambda one: one["there"], ".2f"),
    ("of these never found", lambda one: len(one["left"]), ".2f"),
    ("shelves with volts over a fault that readings could have shown", lambda one: shelves_over(one), ".3f"),
    ("the same, come about untold after the last reading", lambda one: shelves_over(one, hidden=True), ".3f"),
    ("things energised that should not have been", lambda one: len(one["beside"]), ".3f"),
    ("shelves whose cards were harmed", lambda one: one["harmed"], ".3f"),
    ("shelves given up", lambda one: len(one["dark"]), ".3f"),
    ("false alarms, and sound places opened", lambda one: one["touched"], ".2f"),
)


def shelves_over(line: dict[str, Any], *, hidden: bool = False) -> int:
    """Shelves with volts over a fault; those that came about untold apart."""
    return len({shelf for shelf, _, _, _, untold in line["over"] if untold == hidden})


def table(lines: Sequence[dict[str, Any]], columns: Sequence[tuple[str, str, str, float, str]]) -> list[str]:
    """The table as lines of Markdown.

    Args:
        lines: of rebuilds.
        columns: each with its title, way, bench, factor and what is left out.
    """
    sets = [chosen(lines, way, bench, factor, without) for _, way, bench, factor, without in columns]
    rows = ["| a rebuild | " + " | ".join(column[0] for column in columns) + " |", "| --- |" + " --- |" * len(columns)]
    rows.append("| rebuilds | " + " | ".join(str(len(one)) for one in sets) + " |")
    for title, of, form in MEDIANS:
        cells = []
        for mine in sets:
            if not mine:
                cells.append("-")
                continue
            known = [value for one in mine if not math.isnan(value := of(one))]
            middle, low, high = quantiles(known or [0.0])
            cells.append(f"{middle:{form}} ({low:{form}} to {high:{form}})")
        rows.append(f"| {title} | " + " | ".join(cells) + " |")
    for title, of, form in SUMS:
        cells = [f"{sum(of(one) for one in mine) / len(mine):{form}}" if mine else "-" for mine in sets]
        rows.append(f"| {title} | " + " | ".join(cells) + " |")
    cells = []
    for mine in sets:
        came, got = sum(one["year"] for one in mine), sum(one["located"] for one in mine)
        cells.append(f"{got} of {came}" if came else "-")
    rows.append("| later faults located | " + " | ".join(cells) + " |")
    return rows


def share(pairs: Sequence[tuple[int, int]]) -> tuple[float, float]:
    """A share with its standard error, where what is counted within one rebuild hangs together.

    The ratio of two sums over rebuilds, its variance from how each rebuild differs from it (the usual estimator of a
    ratio from clusters: Cochran, Sampling Techniques, 3rd ed. 1977, equation 6.13; from memory).

    Args:
        pairs: for each rebuild how many were right, and of how many.
    """
    known = [(right, of) for right, of in pairs if of]
    total = sum(of for _, of in known)
    if not total:
        return math.nan, math.nan
    ratio = sum(right for right, _ in known) / total
    count = len(known)
    if count < 2:
        return ratio, math.nan
    squares = sum((right - ratio * of) ** 2 for right, of in known)
    return ratio, math.sqrt(squares * count / (count - 1)) / total


def intervals(lines: Sequence[dict[str, Any]]) -> list[str]:
    """How often intervals of 95 % held what was at the probes, by what was read."""
    names = sorted({name for line in lines for name in line["held"]})
    rows = ["| intervals of 95 % | readings | as stated, k times u | by the shapes of its budget |",
            "| --- | --- | --- | --- |"]  # fmt: skip
    for name in ["all", *names]:
        mine = [[sum(counts) for counts in zip(*line["held"].values(), strict=True)] if name == "all"
                else line["held"].get(name, [0, 0, 0]) for line in lines if line["held"]]  # fmt: skip
        cells = []
        for at in (1, 2):
            ratio, error = share([(counts[at], counts[0]) for counts in mine])
            cells.append(f"{100 * ratio:.1f} % ± {200 * error:.1f}")
        rows.append(f"| {name} | {sum(counts[0] for counts in mine)} | {cells[0]} | {cells[1]} |")
    return rows


BANDS: Final = ((0.5, 0.8), (0.8, 0.93), (0.93, 0.97), (0.97, 0.99), (0.99, 1.01))


def wilson(right: int, of: int) -> tuple[float, float]:
    """Between what a share lies with 95 % (Wilson, JASA 22 (1927) 209)."""
    if not of:
        return 0.0, 1.0
    z = 1.96
    middle = (right + z * z / 2) / (of + z * z)
    half = z / (of + z * z) * math.sqrt(right * (of - right) / of + z * z / 4)
    return max(0.0, middle - half), min(1.0, middle + half)


def said(pairs: Iterable[tuple[float, bool]]) -> list[str]:
    """How sure it said it was against how often it was right."""
    known = list(pairs)
    rows = []
    for low, high in BANDS:
        inside = [(chance, right) for chance, right in known if low <= chance < high]
        if inside:
            mean = sum(chance for chance, _ in inside) / len(inside)
            right = sum(right for _, right in inside)
            low95, high95 = wilson(right, len(inside))
            rows.append(
                f"said {mean:.3f}, right {right / len(inside):.3f} ({low95:.3f} to {high95:.3f}) of {len(inside)}"
            )
    return rows
