"""A survey on a tablet-sized page, for real: a server, a page over a websocket, its own process, the record on disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli import main
from bench.files import shipped
from bench.plant.finds import LooseEnd
from bench.plant.load import load_plant
from bench.record.survey import SURVEY, read_survey
from bench.simulate.pile import survey_pile
from tests.walks.test_browser import Served, pytestmark, run
from tests.walks.tool import started

__all__ = ["pytestmark"]


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_a_survey_is_walked_on_a_tablet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "hut", "--name", "hut", "--title", "Hut", "--feed", "24", "--feeds", "A", "--bays", "3"]) == 0
    server = started("browser", "--survey", "hut", "--operator", "Ana", "--listen", "127.0.0.1:0", cwd=tmp_path)
    try:
        assert server.stdout is not None
        server.stdout.readline()
        served = Served(tmp_path / "hut" / "logs" / SURVEY, server, server.stdout.readline().strip())

        async def act() -> None:
            async with served.browser() as session:
                async with session.get(f"{served.base}/page.js") as answer:
                    assert '["7", "7"]' in await answer.text()
                page = await served.page(session)
                await page.shows("What did you find?")
                for keys, then in (
                    ("1\r", "In which bay?"),
                    ("2\r", "Where there?"),
                    ("\r", "label"),
                    ("w?7\r", "connector"),
                ):
                    await page.type(keys)
                    await page.shows(then)
                await page.type("\t")
                await page.shows("Tie flag L1 to it")
                await page.close()

        run(act())
        kept = read_survey(served.record).finds["L1"]
        assert (kept.find, kept.by) == (LooseEnd(name="L1", bay="2", label="W?7"), "Ana")
    finally:
        server.terminate()
        server.communicate(timeout=60)


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_the_pile_of_the_season_is_gone_on_with_on_a_tablet(tmp_path: Path) -> None:
    """The folder of records is not the job's own: a season is written where one likes."""
    job = shipped("sequences") / "gannet-head"
    record = survey_pile(tmp_path, load_plant(job / "plant.yaml"), 1)
    server = started(
        "browser", "--survey", str(job), "--logs", ".", "--operator", "Ines", "--listen", "127.0.0.1:0", cwd=tmp_path
    )
    try:
        assert server.stdout is not None
        server.stdout.readline()
        served = Served(record, server, server.stdout.readline().strip())

        async def act() -> None:
            async with served.browser() as session:
                page = await served.page(session)
                await page.shows("60 loose ends, 56 free places")
                await page.type("L7\r")
                await page.shows("In which bay?")
                await page.type("<\r")
                await page.shows("What did you find?")
                await page.type("5\r")
                await page.shows("sure: 29 pairs")
                await page.close()

        run(act())
    finally:
        server.terminate()
        server.communicate(timeout=60)
