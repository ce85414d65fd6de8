"""A key means one thing in the walk, in the job and in the replay: every page's keys against the table of meanings."""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import Iterable

import pytest

from bench.screens.job.keys import keys as job_keys
from bench.screens.program.keys import Key
from bench.screens.replay.keys import replay_keys
from tests.pages.keys import MEANINGS
from tests.screens.job.job_scenes import JOB_SCENES
from tests.screens.job.job_stage import on_job
from tests.screens.walk.test_each_key import pages

pytestmark = pytest.mark.together("scenes")

Acts = dict[str, set[str]]


def _acts(found: Iterable[Key]) -> Acts:
    acts: Acts = defaultdict(set)
    for one in found:
        for key in one.keys:
            acts[key].add(one.does.partition(" ")[0])
    return acts


def _walk() -> Acts:
    acts: Acts = defaultdict(set)
    for does, key in pages():
        acts[key].add(does)
    return acts


def _job() -> Acts:
    found: list[Key] = []

    async def look() -> None:
        for name in JOB_SCENES:
            async with on_job(name) as stage:
                found.extend(job_keys(stage.moment))

    asyncio.run(look())
    return _acts(found)


def _replay() -> Acts:
    pages = [
        replay_keys(playing=playing, face=face, help=help, long=True)
        for playing in (False, True) for face in ("seen", "meter", "events") for help in (False, True)
    ]  # fmt: skip
    return _acts(key for page in pages for key in page)


def _beyond(acts: Acts, known: dict[str, tuple[str, ...]]) -> dict[str, set[str]]:
    return {key: found - set(known.get(key, ())) for key, found in acts.items() if found - set(known.get(key, ()))}


@pytest.mark.slow
def test_no_key_does_anything_but_what_it_means() -> None:
    assert not _beyond(_walk(), {key: one.walk for key, one in MEANINGS.items()})
    assert not _beyond(_job(), {key: one.job for key, one in MEANINGS.items()})
    assert not _beyond(_replay(), {key: one.replay for key, one in MEANINGS.items()})


def test_an_act_of_two_screens_has_one_key() -> None:
    """What is shown in the key line is the same key wherever the same thing can be done."""
    shown: dict[str, set[str]] = defaultdict(set)
    for one in MEANINGS.values():
        for act in {*one.walk} & {*one.job} | {*one.walk} & {*one.replay} | {*one.job} & {*one.replay}:
            shown[act].add(one.shown)
    yes = {"close", "choose-action", "back"}
    assert {act: keys for act, keys in shown.items() if len(keys) > 1 and act not in yes} == {}
