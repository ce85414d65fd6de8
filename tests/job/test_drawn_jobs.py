"""Readiness of drawn jobs with wrong clocks, copies, merges and damage, against an oracle that knows the truth.

``python -m tests.benchmarks clocks`` draws 400 of the same."""

import pytest

from tests.job.drawn_jobs import Job, against, by_clock


@pytest.mark.parametrize("damage", [False, True], ids=["sound", "damaged"])
@pytest.mark.parametrize("seed", [3, 7, 23])
def test_readiness_says_what_is_true_or_that_nobody_knows(tmp_path, seed, damage):
    job = Job(seed, tmp_path, damage=damage)
    job.run()
    said = list(job.verdicts())
    assert not [one for one in said if against(one[2], one[3])]
    assert any(word == truth for _, _, truth, word in said)


def test_the_wall_clock_alone_would_say_what_is_not_true(tmp_path):
    """So that the draws are known to be hard."""
    wrong = []
    for seed in (3, 7, 23):
        job = Job(seed, tmp_path / str(seed), damage=False)
        job.run()
        wrong += [one for one in by_clock(job) if against(one[2], one[3])]
    assert wrong
