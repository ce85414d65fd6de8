"""Gannet Head's pile: sixty loose ends, surveyed, told apart by trips, and held against the plant file's cables."""

from pathlib import Path

from bench.commands.survey import answer_of
from bench.diagnose.survey.rates import SURE
from bench.files import shipped
from bench.plant.finds import LooseEnd
from bench.plant.load import load_plant
from bench.record.survey import read_survey
from bench.record.verify import verify
from bench.simulate.pile import loose_pile, survey_pile


def test_the_pile_is_surveyed_and_what_is_called_is_right(tmp_path: Path) -> None:
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    path = survey_pile(tmp_path, plant, 1)
    assert not verify(path).wrong
    survey = read_survey(path)
    ends = survey.of(LooseEnd)
    assert len(ends) == 60
    assert survey.tries
    answer = answer_of(survey)
    _, mates = loose_pile(plant, 1)
    sure = [standing for standing in answer.standings if standing.fits and standing.fits[0].chance >= SURE]
    assert len(sure) >= 0.85 * len(ends)
    wrong = [standing.name for standing in sure if standing.fits[0].name != mates[standing.name]]
    assert len(wrong) <= 1
