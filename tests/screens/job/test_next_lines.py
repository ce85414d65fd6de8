"""Every line of what is next has a way from the screen: Enter drafts its walk and stands at the choice of the bench."""

from __future__ import annotations

import asyncio
import shutil
from pathlib import Path

import pytest

from bench.commands.job_source import JobSource
from bench.job.next_walk import how_of, walks_of
from bench.screens.job.data import BenchLine
from tests.job.season_folder import PLANT, copy
from tests.screens.job.job_stage import on_job


@pytest.mark.slow
def test_every_line_of_next_in_the_middle_of_a_job_is_done_from_the_screen(tmp_path: Path) -> None:
    """Each of the season's lines has a walk that can be drafted and says so; one of each kind is done by keys."""
    job = tmp_path / "job"
    shutil.copytree(PLANT.parent, job)
    source = JobSource(job / "plant.yaml", copy(tmp_path / "logs"))

    async def play() -> None:
        async with on_job("start", source=source) as stage:
            survey = stage.moment.survey
            assert survey is not None
            tasks = survey.ready.tasks
            first = {task.kind: number for number, task in reversed([*enumerate(tasks)])}
            assert set(first) == {"cable", "inlets", "polarity", "earth"} and len(tasks) > 100
            without = [
                task.text for task in tasks if not how_of(task) or not walks_of(survey.plant, task, powered=True)
            ]
            assert without == []
            await stage.press("3")
            for kind, number in first.items():
                await stage.press("home", *["down"] * number)
                task = stage.moment.item
                assert task is not None and task.value == tasks[number]
                await stage.press("enter")
                assert stage.moment.place.page == "bench", (kind, stage.text)
                drafted = stage.moment.place.about
                assert Path(drafted).is_file()
                assert drafted in [one.path for one in stage.moment.survey.sequences]  # type: ignore[union-attr]
                benches = [one.value for one in stage.moment.items if isinstance(one.value, BenchLine)]
                line = next(one for one in stage.moment.survey.sequences if one.path == drafted)  # type: ignore[union-attr]
                assert not line.wrong and line.steps > 0 and any(not one.lacks(line) for one in benches), kind
                await stage.press("escape")
                assert stage.moment.place.page == "next"

    asyncio.run(play())
