"""Gannet Head's pile: sixty loose ends, surveyed, told apart by trips, and held against the plant file's cables."""

from pathlib import Path

import pytest

from bench.diagnose.survey.belief import answer_of
from bench.diagnose.survey.rates import SURE, RatesFile
from bench.files import shipped
from bench.job.findings import findings
from bench.job.folder import open_folder
from bench.plant.finds import LooseEnd
from bench.plant.load import load_plant
from bench.record.append import stamp
from bench.record.replay import replay
from bench.record.survey import read_survey
from bench.record.verify import verify
from bench.simulate.pile import loose_pile, survey_pile
from bench.simulate.season import PROVEN_ON, make_first_proof
from bench.simulate.season_story import evening_of
from bench.walk.results import results


@pytest.mark.slow
def test_the_pile_is_surveyed_and_what_is_called_is_right(tmp_path: Path) -> None:
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    path = survey_pile(tmp_path, plant, 1)
    assert not verify(path).wrong
    survey = read_survey(path)
    ends = survey.of(LooseEnd)
    assert len(ends) == 60
    assert survey.tries
    answer = answer_of(survey, RatesFile(rates="the usual ones"), plant.file.cable_types)
    _, mates = loose_pile(plant, 1)
    sure = [standing for standing in answer.standings if standing.fits and standing.fits[0].chance >= SURE]
    assert len(sure) >= 0.85 * len(ends)
    wrong = [standing.name for standing in sure if standing.fits[0].name != mates[standing.name]]
    assert len(wrong) <= 1


@pytest.mark.slow
def test_the_first_cable_out_of_the_pile_is_proven_after_the_survey_and_before_the_season(tmp_path: Path) -> None:
    """Claimed at both ends when it was walked, and a finding that makes it known where the plant file still claims."""
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    survey_pile(tmp_path, plant, 1)
    survey = read_survey(tmp_path / "survey.jsonl")
    proof = make_first_proof(tmp_path, 1)
    state = replay(proof)
    assert state.setting is not None and state.finished and not verify(proof).wrong
    claimed = state.setting.plant
    assert {one.near_status for one in claimed.cables["W101"].conductors} == {"claimed"}
    verdicts = [outcome.verdict for outcome in results(state).values()]
    assert len(verdicts) > 50 and set(verdicts) <= {"pass", "done"}
    assert max(kept.at for kept in survey.finds.values()) < stamp(PROVEN_ON) < stamp(evening_of(0))
    told = findings(open_folder(tmp_path, claimed.name), claimed)
    assert [(one.name, one.kind) for one in told if one.name == "W101"] == [("W101", "landings")]
