"""Readings as a table: every reading once, every column documented, CSV and Parquet alike."""

import builtins
import csv
import math

import duckdb
import pyarrow.parquet as pq
import pytest

from bench.cli import main
from bench.exits import BAD_INPUT, PASS
from bench.record.export import COLUMNS, rows, write_csv, write_parquet
from bench.record.read import read_record
from bench.walk.events import Read
from tests.job.season_folder import record
from tests.record.test_verify import path, write  # noqa: F401


def test_one_row_a_reading_with_just_the_columns():
    """Those of the bench's own checks among them."""
    source = record(6)
    found = list(rows(source))
    readings = [entry for entry in read_record(source) if isinstance(entry.event, Read)]
    assert [row["event"] for row in found] == [entry.n for entry in readings]
    assert all(list(row) == list(COLUMNS) for row in found)
    assert [row["shown"] for row in found] == [entry.event.value for entry in readings]
    assert {row["kind"] for row in found} == {"measure", "zero", "prove"}


def test_values_agree_with_what_was_noted():
    """Corrected value, uncertainty, limit and verdict, as the runner wrote them down."""
    source = record(6)
    noted = {entry.n: entry.event.judged for entry in read_record(source) if isinstance(entry.event, Read)}
    for row in rows(source):
        judged = noted[row["event"]]
        assert row["verdict"] == judged["verdict"] and row["subject"] == judged["subject"]
        assert row["high"] == judged.get("high")
        if "value" in judged:
            assert row["value"] == pytest.approx(judged["value"])


def test_a_reading_that_was_taken_again_does_not_count(tmp_path, path):  # noqa: F811
    """It stays in the table with its own verdict."""
    from tests.walk import paper_walk as paper

    made = paper.made(tmp_path)
    walker = paper.PaperWalk(made.began)
    walker.until(key=walker.state.setting.plan.steps[walker.index("measure", 1)].key)
    walker.went(walker.index("measure", 0))
    walker.finish()
    write(path, [entry.event for entry in walker.entries])
    first = made_again = [row for row in rows(path) if row["subject"] == "W1.1"]
    assert len(first) == 2 and [row["counts"] for row in made_again] == ["", "pass"]
    assert [row["verdict"] for row in first] == ["pass", "pass"]


def test_csv_and_parquet_hold_the_same(tmp_path):
    """Read back by other programs."""
    found = list(rows(record(6)))
    one, other = tmp_path / "a.csv", tmp_path / "a.parquet"
    assert write_csv(found, one) == write_parquet(found, other) == len(found)
    table = pq.read_table(other)
    assert table.column_names == list(COLUMNS)
    assert table.schema.field("value").metadata[b"description"].decode() == COLUMNS["value"][1]
    with one.open(encoding="utf-8", newline="") as stream:
        read = list(csv.DictReader(stream))
    for text, row in zip(read, table.to_pylist(), strict=True):
        assert text["subject"] == row["subject"] and text["unit"] == "Ω" == row["unit"]
        assert (float(text["value"]) if text["value"] else None) == row["value"]
        assert (text["simulated"] == "yes") is row["simulated"]
    count, total = duckdb.sql(f"select count(*), sum(value) from '{other}' where kind = 'measure'").fetchall()[0]
    assert count == 94 and math.isclose(total, sum(row["value"] for row in found if row["kind"] == "measure"))


def test_a_cell_that_looks_like_a_formula_is_marked_as_text(tmp_path):
    """A spreadsheet must not run what a person typed; numbers stay numbers."""
    row = dict.fromkeys(COLUMNS)
    row |= {"title": "=1+1", "subject": "@x", "over": "+", "value": -3.5}
    target = tmp_path / "a.csv"
    write_csv([row], target)
    with target.open(encoding="utf-8", newline="") as stream:
        read = next(csv.DictReader(stream))
    assert (read["title"], read["subject"], read["over"], read["value"]) == ("'=1+1", "'@x", "+", "-3.5")


def test_parquet_says_how_to_get_it(tmp_path, monkeypatch, capsys):
    """Where the library is missing."""
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name.startswith("pyarrow"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    assert main(["export", str(record(1)), "-o", str(tmp_path / "a.parquet")]) == BAD_INPUT
    assert "pip install 'proveout[parquet]'" in capsys.readouterr().err
    assert main(["export", str(record(1)), "-o", str(tmp_path / "a.csv")]) == PASS


def test_the_command_lists_its_columns_and_refuses_other_endings(tmp_path, capsys):
    """Nothing is guessed."""
    assert main(["export", "--columns"]) == PASS
    out = capsys.readouterr().out
    assert all(name in out for name in COLUMNS)
    assert main(["export", str(record(1)), "-o", str(tmp_path / "a.xlsx")]) == BAD_INPUT
    assert main(["export", str(record(1))]) == BAD_INPUT
    assert ".csv or .parquet" in capsys.readouterr().err
