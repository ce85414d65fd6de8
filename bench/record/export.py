"""Readings as a table for other programs: one row for each reading, as CSV or Parquet.

Every reading of a record is there, those that were taken again and those of the bench itself among them. ``verdict`` is
what the reading came to by itself; ``counts`` is what counts at the record's end: the verdict after voids and closing
checks for the latest reading of a step, and nothing for one that was taken again.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from bench.record.replay import brought, follow
from bench.walk import events as e
from bench.walk.outcome import Outcome
from bench.walk.results import results
from bench.walk.state import State, start

if TYPE_CHECKING:
    import pyarrow

COLUMNS: Final[dict[str, tuple[str, str]]] = {
    "record": ("text", "the record's file name"),
    "event": ("whole", "the reading's number in the record"),
    "at": ("text", "time of day, UTC, ISO 8601"),
    "plant": ("text", "the plant's name"),
    "sequence": ("text", "the sequence's name"),
    "section": ("text", "the heading that the step stands under"),
    "step": ("text", "the step's lasting name in the sequence"),
    "title": ("text", "the step's title"),
    "kind": ("text", "measure, zero or prove"),
    "subject": ("text", "the plant object that the verdict is about"),
    "red": ("text", "where the red probe was"),
    "black": ("text", "where the black probe was"),
    "function": ("text", "what was read"),
    "unit": ("text", "base unit of all values in the row"),
    "shown": ("number", "what the meter showed, before any correction"),
    "over": ("text", "+ or - where the meter showed over range"),
    "value": ("number", "the reading after corrections"),
    "standard_uncertainty": ("number", "combined standard uncertainty"),
    "expanded_uncertainty": ("number", "expanded uncertainty"),
    "coverage_probability": ("number", "coverage probability of the expanded uncertainty"),
    "low": ("number", "lower limit"),
    "high": ("number", "upper limit"),
    "limit": ("text", "where the limit came from"),
    "rule": ("text", "the decision rule"),
    "connected": ("text", "of a conductor, whether it is connected at all: yes, no or undecided"),
    "verdict": ("text", "pass, fail or undecided: what the reading came to by itself"),
    "counts": ("text", "the verdict that counts at the record's end; empty for a reading that was taken again"),
    "sentence": ("text", "the verdict that counts, or else the reading's own, in words"),
    "instrument": ("text", "the instrument's name on the bench"),
    "profile": ("text", "its profile"),
    "serial": ("text", "its serial number"),
    "identity": ("text", "how it answered to its name"),
    "calibrated": ("text", "date of its last calibration"),
    "simulated": ("yes or no", "whether the bench was simulated"),
    "range": ("number", "top of the range"),
    "resolution": ("number", "one step of the last digit"),
    "readings": ("whole", "how many readings were averaged"),
    "spread": ("number", "their standard deviation"),
    "took": ("number", "seconds from trigger to reply"),
    "tries": ("whole", "how many tries it took"),
    "ambient": ("number", "°C that was taken for conductors and meter"),
    "zero": ("number", "taken off for the leads"),
    "operator": ("text", "who began the walk"),
}
"""Column to its kind and what it holds, in order."""

BATCH: Final = 20_000
"""Rows that are held at a time on the way to Parquet."""


class NoParquet(RuntimeError):
    """The library that writes Parquet is not installed; the text says how to get it."""

    def __init__(self) -> None:
        super().__init__("tables and Parquet need pyarrow, which is not installed: pip install 'proveout[parquet]'")


def rows(path: Path) -> Iterator[dict[str, Any]]:
    """One row for each reading of a record, in the order in which they were taken.

    Raises:
        BrokenRecord: the record is not what a runner wrote.
    """
    state, met = start(), dict[str, e.Met]()
    taken: dict[int, tuple[Outcome, e.Met | None, str]] = {}
    for step in follow(path):
        _, entry, state = step
        if isinstance(entry.event, e.Met):
            met[entry.event.instrument] = entry.event
        outcome = brought(step) if isinstance(entry.event, e.Read) else None
        if isinstance(entry.event, e.Read) and outcome is not None:
            taken[entry.n] = (outcome, met.get(entry.event.instrument), entry.at)
    counting = {outcome.n: outcome for outcome in results(state).values()}
    for n, (outcome, meter, at) in taken.items():
        yield _row(path, state, outcome, counting.get(n), meter, at)


def _row(
    path: Path, state: State, outcome: Outcome, counts: Outcome | None, met: e.Met | None, at: str
) -> dict[str, Any]:
    setting = state.setting
    assert setting is not None and outcome.reading is not None
    step, read = setting.step_of(outcome), outcome.reading
    bench = outcome.circumstances.bench or setting.bench
    facts = bench.instrument(read.instrument)
    best = counts or outcome
    red, black = step.pair or ("", "")
    return {
        "record": path.name,
        "event": outcome.n,
        "at": at,
        "plant": setting.plant.name,
        "sequence": setting.plan.sequence.sequence,
        "section": step.section,
        "step": step.key,
        "title": step.title,
        "kind": step.kind,
        "subject": outcome.subject,
        "red": red,
        "black": black,
        "function": read.function,
        "unit": read.unit,
        "shown": read.value,
        "over": read.over,
        "value": best.figure.value,
        "standard_uncertainty": best.figure.budget.standard_uncertainty if best.figure.budget is not None else None,
        "expanded_uncertainty": best.figure.expanded,
        "coverage_probability": best.figure.budget.level if best.figure.budget is not None else None,
        "low": outcome.bounds.low,
        "high": outcome.bounds.high,
        "limit": outcome.bounds.source,
        "rule": setting.rule(state.rules).sentence if step.kind == "measure" else "",
        "connected": outcome.connected,
        "verdict": outcome.verdict,
        "counts": counts.verdict if counts is not None else "",
        "sentence": best.sentence,
        "instrument": read.instrument,
        "profile": facts.profile if facts is not None else "",
        "serial": met.serial if met is not None else "",
        "identity": met.identity if met is not None else "",
        "calibrated": facts.calibrated if facts is not None else "",
        "simulated": bench.simulated,
        "range": read.range,
        "resolution": read.resolution,
        "readings": read.count,
        "spread": read.spread,
        "took": read.took,
        "tries": read.tries,
        "ambient": outcome.circumstances.ambient if outcome.circumstances.at else None,
        "zero": outcome.figure.zero,
        "operator": setting.began.operator,
    }


def write_csv(found: Iterable[dict[str, Any]], path: Path) -> int:
    """Write rows as CSV (RFC 4180): UTF-8, a comma, a header, numbers with a point, empty where there is no value.

    A text that a spreadsheet might take for a formula gets an apostrophe in front, which spreadsheets read as text.

    Returns:
        How many rows there were.

    Raises:
        OSError: the file cannot be written.
    """
    count = 0
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(COLUMNS))
        writer.writeheader()
        for row in found:
            writer.writerow({name: _cell(value) for name, value in row.items()})
            count += 1
    return count


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") and len(value) > 1:
        return f"'{value}"
    return value


def write_parquet(found: Iterable[dict[str, Any]], path: Path) -> int:
    """Write rows as Parquet, one column for each of :data:`COLUMNS`.

    Returns:
        How many rows there were.

    Raises:
        NoParquet: pyarrow is not installed.
        OSError: the file cannot be written.
    """
    schema, count = _schema(), 0
    import pyarrow as pa
    import pyarrow.parquet as pq

    with pq.ParquetWriter(path, schema) as writer:
        for batch in _batches(found):
            writer.write_table(pa.Table.from_pylist(batch, schema=schema))
            count += len(batch)
    return count


def table_of(found: Iterable[dict[str, Any]]) -> pyarrow.Table:
    """Rows as a table in memory, one column for each of :data:`COLUMNS`.

    Raises:
        NoParquet: pyarrow is not installed.
    """
    schema = _schema()
    import pyarrow as pa

    return pa.Table.from_pylist(list(found), schema=schema)


def _schema() -> pyarrow.Schema:
    try:
        import pyarrow as pa
    except ImportError as error:
        raise NoParquet from error
    kinds = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64(), "yes or no": pa.bool_()}
    fields = [pa.field(name, kinds[kind], metadata={"description": what}) for name, (kind, what) in COLUMNS.items()]
    return pa.schema(fields)


def _batches(found: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    batch: list[dict[str, Any]] = []
    for row in found:
        batch.append(row)
        if len(batch) >= BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
