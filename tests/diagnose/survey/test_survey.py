"""Likelihoods, answers and trips on made piles: small samples of the study in tests/benchmarks/bench_survey.py."""

import itertools

import msgspec
import numpy as np
import pytest

from bench.cli import main
from bench.commands.survey_tags import _LOOP, _METER, told_tags, values_at_hand
from bench.diagnose.identify.tags import choose, shows
from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.carried import Carried
from bench.diagnose.survey.labels import Signs
from bench.diagnose.survey.pile import KnownKind, Pile
from bench.diagnose.survey.rates import SURE, Costs, Rates, rates_of
from bench.diagnose.survey.sentences import trip_card
from bench.diagnose.survey.trips import next_trips
from bench.errors import BadRequest
from bench.files import Inconsistent
from bench.plant.finds import Hall, ListLine, LooseEnd, Tried
from bench.quantity import Length
from tests.diagnose.survey.piles import Noise, pile, rung
from tests.diagnose.survey.study import figures, reliability, way_to_goal


def end(name: str, **noted: object) -> LooseEnd:
    return LooseEnd(name=name, **{"bay": "1", "jacket": "grey", "conductors": 50, **noted})  # type: ignore[arg-type]


def some_ends() -> list[LooseEnd]:
    """A pile in which labels and kinds differ, so that there is something to tell by."""
    return [
        end("L1", label="W101", connector="R50", gender="plug"),
        end("L2", label="W1?1", connector="R50", gender="plug", bay="3"),
        end("L3", label="W207", connector="D37", gender="plug", jacket="blue", conductors=37, bay="2"),
        end("L4", label="W2O7", connector="D37", gender="plug", jacket="blue", conductors=37, bay="4"),
        end("L5", label="", connector="D25", gender="plug", jacket="black", conductors=25),
        end("L6", label="W309", connector="D37", gender="plug", jacket="blue", conductors=37, bay="3"),
    ]


def test_what_was_noted_finds_the_mates() -> None:
    answer = Answer(Pile.of(some_ends()))
    first = {standing.name: standing.fits[0].name for standing in answer.standings}
    assert (first["L1"], first["L2"], first["L3"], first["L4"], first["L5"]) == ("L2", "L1", "L4", "L3", "")


def test_ends_that_look_alike_are_said_to_be_open() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    answer = Answer(Pile.of(ends))
    assert all(standing.open for standing in answer.standings)
    assert answer.groups == (("L0", "L1", "L2", "L3"),)
    assert answer.pairs == ()


def test_the_order_of_finds_does_not_matter() -> None:
    made = pile(12, 4)
    forward = Answer(Pile.of([*made.ends, *made.lines], made.hall))
    back = Answer(Pile.of([*reversed(made.ends), *reversed(made.lines)], made.hall))
    assert np.allclose(forward.mates, back.mates[::-1, ::-1], atol=1e-9)


def test_a_sign_that_cannot_be_read_says_nothing() -> None:
    signs = Signs(["W101", "W207", "W309", "W?0?"], Rates())
    table = signs.same(["W101", "W???", "????", "W102", ""])
    assert table[0, 4] == 1.0
    assert table[2, 0] == pytest.approx(1.0, abs=0.1)
    assert table[0, 0] > table[0, 1] > table[0, 3]


def test_signs_that_look_alike_are_taken_for_each_other() -> None:
    signs = Signs(["W101", "W108", "W103", "W109", "W205"], Rates())
    true = signs.read_as(["W108"], ["W103", "W109"])
    assert true[0, 0] > 3 * true[0, 1]


def test_a_sign_left_out_costs_little() -> None:
    signs = Signs(["W1234", "W134", "W5678", "W9012"], Rates())
    table = signs.same(["W134"], ["W1234", "W5678"])
    assert table[0, 0] > 100 * table[0, 1]


def test_a_line_of_a_list_joins_ends_whose_labels_are_gone() -> None:
    """Two ends at the bays that a line names, of its kind: the list alone tells that they may be one cable."""
    ends = [
        end("L1", bay="1"),
        end("L2", bay="9"),
        end("L3", jacket="blue", conductors=37, bay="5"),
        end("L4", jacket="blue", conductors=37, bay="1"),
    ]
    hall = Hall(bays=[str(bay) for bay in range(1, 10)])
    bare = Answer(Pile.of(ends, hall)).weights
    line = ListLine(name="D1", label="W101", from_bay="1", to_bay="9", conductors=50)
    told = Answer(Pile.of([*ends, line], hall)).weights
    assert told[0, 1] > 3 * bare[0, 1]


def test_a_count_that_is_no_known_kind_is_a_miscount() -> None:
    """Two ends counted as 24 beside four of 25: a kind of their own, but not where the job has cables of 25 alone."""
    ends = [end(f"L{at}", conductors=count) for at, count in enumerate((24, 24, 25, 25, 25, 25, 50, 50, 50, 50))]
    bare, one, both = (
        Answer(Pile.of(ends, kinds=[KnownKind(count) for count in counts])).weights[0, 2]
        for counts in ((), (25, 50), (24, 25, 50))
    )
    assert one > 3 * bare
    assert one > 3 * both


def test_ends_of_kinds_that_nobody_knew_of_still_find_their_mates() -> None:
    answer = Answer(Pile.of(some_ends(), kinds=[KnownKind(7, "BK BN RD OG YE GN BU"), KnownKind(12, "numbered")]))
    first = {standing.name: standing.fits[0].name for standing in answer.standings}
    assert (first["L1"], first["L2"], first["L3"], first["L4"], first["L5"]) == ("L2", "L1", "L4", "L3", "")


def test_colours_count_however_they_are_spelled() -> None:
    """A kind that the job knows by its letters is meant by the same colours in words, and by no others."""
    kinds = [KnownKind(3, "BK BN RD"), KnownKind(3, "numbered")]

    def weight(colours: str) -> float:
        ends = [end("L1", conductors=3, colours="black, brown, red"), end("L2", conductors=3, colours=colours),
                *(end(f"L{number}", colours="pair-code") for number in range(3, 9))]  # fmt: skip
        return float(Answer(Pile.of(ends, kinds=kinds)).weights[0, 1])

    assert weight("RD BK BN") == pytest.approx(weight("black, brown, red"))
    assert weight("RD BK BN") > 3 * weight("numbered")


def test_a_length_tells_twins_apart() -> None:
    ends = [
        end("L1", length=Length(12.0), length_by="tape"),
        end("L2", length=Length(12.1), length_by="tape"),
        end("L3", length=Length(25.0), length_by="tape"),
        end("L4", length=Length(24.6), length_by="tape"),
    ]
    weights = Answer(Pile.of(ends)).weights
    assert weights[0, 1] > 20 * weights[0, 2]
    assert weights[2, 3] > 20 * weights[1, 3]


def test_no_find_speaks_against_a_pair_without_end() -> None:
    """One wild length among good finds makes doubt, not the opposite."""
    ends = [*some_ends()]
    sound = Answer(Pile.of(ends)).weights[0, 1]
    for row, long in ((0, 3.0), (1, 90.0)):
        ends[row] = msgspec.structs.replace(ends[row], length=Length(long), length_by="tape")
    wild = Answer(Pile.of(ends)).weights[0, 1]
    assert sound > wild > sound / 2000


def test_ringing_decides_between_twins() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    tried = [Tried(touched="L2", among=["L0"], answer="L0"), Tried(touched="L3", among=["L0", "L1"], answer="L1")]
    answer = Answer(Pile.of(ends, tried=tried))
    assert {(one, other) for one, other, _ in answer.pairs} == {("L0", "L2"), ("L1", "L3")}


def test_a_no_takes_a_pair_away() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    answer = Answer(Pile.of(ends, tried=[Tried(touched="L2", among=["L0", "L1"])]))
    assert answer.mates[0, 2] < 0.01
    assert answer.mates[1, 2] < 0.01
    assert answer.mates[2, 3] > 0.5


def test_an_end_with_two_branches_has_two() -> None:
    ends = [
        end("L1", label="W501", conductors=100, branches=2),
        end("L2", label="W501", bay="2"),
        end("L3", label="W501", bay="3"),
        end("L4", label="W977", jacket="blue", conductors=37),
        end("L5", label="W977", jacket="blue", conductors=37, bay="2"),
    ]
    # tags on two of its conductors
    tried = [Tried(touched="L2", among=["L1"], answer="L1"), Tried(touched="L3", among=["L1"], answer="L1")]
    answer = Answer(Pile.of(ends, tried=tried))
    assert answer.mates[0, 1] > SURE
    assert answer.mates[0, 2] > SURE
    assert answer.standings[0].two > 0.95
    assert answer.alone[0] < 0.01


def test_places_follow_kind_bay_and_document() -> None:
    made = pile(24, 2)
    answer = Answer(Pile.of([*made.ends, *made.places, *made.lines], made.hall))
    assert answer.places.shape == (len(made.ends), len(made.places))
    assert (answer.places.sum(axis=0) <= 1 + 1e-6).all()
    sure = [standing for standing in answer.place_standings if standing.sure]
    right = [standing for standing in sure if standing.fits[0].name == made.place[standing.name]]
    assert len(right) >= 0.9 * len(sure)


def test_what_carries_an_answer_is_told_by_find() -> None:
    answer = Answer(Pile.of(some_ends()))
    parts = {part.feature: part for part in Carried(answer).parts("L3", "L4")}
    assert parts["label"].times > 3
    assert parts["label"].finds == ("L3", "L4")
    assert parts["label"].words == "'W207' and 'W2O7'"
    against = {part.feature: part for part in Carried(answer).parts("L3", "L6")}
    assert against["label"].times < 0.5


def test_what_readings_carry_is_told_too() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    answer = Answer(Pile.of(ends, tried=[Tried(touched="L2", among=["L0"], answer="L0")]))
    first = Carried(answer).parts("L0", "L2")[0]
    assert (first.feature, first.words) == ("readings", "1 tried between them")
    assert first.times > 100


def test_a_trip_names_many_in_one_climb() -> None:
    """Six twins between two bays: ringing pair after pair would climb again and again."""
    ends = [end(f"L{number}", bay="1" if number < 6 else "2") for number in range(12)]
    answer = Answer(Pile.of(ends, Hall(bays=["1", "2"])))
    trip = next_trips(answer, most=1)[0]
    touched = [name for _, name, _ in trip.touches]
    assert len(touched) >= 5
    assert trip.climbs <= 2
    assert not set(touched) & set(trip.tagged)
    single = Costs()
    alone = 2 * single.climb + single.walk + single.clip + single.touch
    assert trip.minutes < 0.6 * alone * len(touched)


def test_two_twins_count_one_bit() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    tried = [Tried(touched="L1", among=["L0"]), Tried(touched="L3", among=["L2"])]
    pairs = Answer(Pile.of(ends, Hall(bays=["1", "2"]), tried))
    trip = next_trips(pairs, most=1)[0]
    # either both are crossed or neither, or some have no mate: far less than a bit for each of four ends
    assert trip.bits < 2.0


def test_an_end_that_cannot_be_touched_is_pulled_at_once_and_never_tagged() -> None:
    """One end in bay 1, sealed, fits two in bay 2: its bits are those of a pull, h(.5) - h(.1) and less."""
    ends = [LooseEnd(name=f"L{n}", bay="12"[n > 0], jacket="grey", conductors=50, sealed=n == 0) for n in range(3)]
    trips = next_trips(Answer(Pile.of(ends)))
    assert trips and all("L0" not in (*trip.tagged, *(name for _, name, _ in trip.touches)) for trip in trips)
    (pull, *_) = [trip for trip in trips if trip.pulls]
    ((bay, felt, pulled),) = pull.pulls
    assert (bay, pulled) == ("2", "L0") and 0 < pull.bits < 1 - 0.469
    assert any(f"feel at {felt}" in line for line in trip_card(pull, ends))
    tried = [Tried(touched=name, among=["L0"], answer="", way="pull") for name in ("L1", "L2")]
    assert not any(trip.pulls for trip in next_trips(Answer(Pile.of(ends, tried=tried))))


def test_nothing_is_proposed_where_all_is_sure() -> None:
    ends = [end(f"L{number}", bay=str(1 + number // 2)) for number in range(4)]
    tried = [
        Tried(touched="L2", among=["L0", "L1"], answer="L0"),
        Tried(touched="L2", among=["L0"], answer="L0"),
        Tried(touched="L3", among=["L0", "L1"], answer="L1"),
        Tried(touched="L3", among=["L1"], answer="L1"),
    ]
    assert next_trips(Answer(Pile.of(ends, tried=tried))) == ()


def test_finds_that_cannot_be_are_refused() -> None:
    for wrong in ({"conductors": 0}, {"length": Length(0.0)}, {"diameter": 0.0}, {"branches": 0}):
        with pytest.raises(Inconsistent):
            end("L1", **wrong)
    with pytest.raises(Inconsistent):
        Tried(touched="L1", among=["L2"], answer="L3")


def test_a_trip_never_asks_for_what_is_not_there() -> None:
    made = pile(20, 8)
    answer = Answer(Pile.of([*made.ends, *made.lines], made.hall))
    names = {one.name: one.bay for one in made.ends}
    for trip in next_trips(answer):
        assert len({stop.bay for stop in trip.stops}) == len(trip.stops)
        for stop in trip.stops:
            assert all(names[name] == stop.bay for name in (*stop.tagged, *stop.touched))
        for _, touched, tagged in trip.touches:
            assert tagged and touched not in tagged
        assert rung(made, next(iter(names)), [made.ends[1].name], np.random.default_rng(0)) is not None


@pytest.mark.slow
def test_a_small_sample_of_the_study() -> None:
    """Right and sure on a few piles: the bounds are those of the study, with room for so few."""
    found = [figures(20, seed) for seed in range(8)]
    called = sum(int(one.called.sum()) for one in found)
    right = sum(int(one.hits[one.called].sum()) for one in found)
    assert called > 30
    assert right >= 0.98 * called
    assert np.mean([one.log for one in found]) < 0.45 * np.mean([one.best_log for one in found])
    assert np.mean([one.right for one in found]) > np.mean([one.nearest_right for one in found]) + 0.3


@pytest.mark.slow
def test_sure_stays_sure_where_people_err_twice_as_often() -> None:
    found = [figures(60, seed, Noise().doubled()) for seed in range(6)]
    said, right, error, total = reliability(found)[-1]
    assert said >= SURE
    assert total > 40
    assert right >= 0.99 - 2 * error


@pytest.mark.slow
def test_the_way_to_the_goal_is_short() -> None:
    ways = [way_to_goal(20, seed) for seed in range(4)]
    assert all(way.reached for way in ways)
    assert np.mean([way.minutes for way in ways]) < 40
    assert sum(way.wrongly_sure for way in ways) == 0


def test_a_jobs_own_rates_change_what_is_believed_and_a_bad_one_is_told_with_its_place(tmp_path, capsys):
    """Whoever counted how often signs are misread in this hall says so in a file, and not in the program."""
    (tmp_path / "rates.yaml").write_text("rates: by torch light\nfinds: {misread: 0.2}\nminutes: {climb: 4}\n", "utf-8")
    told = rates_of(tmp_path)
    assert (told.finds.misread, told.finds.slack, told.minutes.climb) == (0.2, Rates().slack, 4.0)
    pile = Pile.of(
        [LooseEnd(name=name, bay="1", label=label) for name, label in (("L1", "W101"), ("L2", "W107"), ("L3", "W250"))]
    )
    doubt = [1.0 - Answer(pile, rates).mates[0, 1] for rates in (Rates(), told.finds)]
    assert doubt[1] < 0.6 * doubt[0]
    (tmp_path / "rates.yaml").write_text("rates: wrong\nfinds: {misread: 2, slak: 1}\n", "utf-8")
    assert main(["check", str(tmp_path / "rates.yaml")]) == 2
    said = capsys.readouterr().err
    assert "misread 2" in said and "slak" in said and "rates.yaml:2" in said
    assert rates_of(tmp_path.parent / "nothing").finds == Rates()


@pytest.mark.slow
def test_tags_of_a_trip_have_values_that_one_touch_tells_apart_and_the_card_says_them():
    """With identify's own choice among what is at hand; fewer values mean fewer tags in one trip."""
    made = pile(60, 3)
    answer = Answer(Pile.of([*made.ends, *made.lines], made.hall))
    whole, few = next_trips(answer, most=1)[0], next_trips(answer, most=1, tags=3)[0]
    assert 3 < len(whole.tagged) <= 16 and len(few.tagged) <= 3
    at_hand = values_at_hand("E24")
    told = told_tags(at_hand, len(whole.tagged))
    card = trip_card(whole, answer.pile.ends, told)
    for name, (value, reads) in zip(whole.tagged, told, strict=True):
        assert any(name in line and f"{value} to the frame" in line for line in card)
        assert any(line.strip().startswith(f"{reads}: {name}") for line in card)
    chosen = choose(at_hand, _LOOP, _METER, len(whole.tagged))
    bands = [shows(*tag.within(), _LOOP, _METER) for tag in chosen]
    assert all(before[1] < after[0] for before, after in itertools.pairwise(bands))
    assert len(values_at_hand("1 kohm, 2.2 kohm, 4.7 kohm, 1.01 kohm")) == 3
    for wrong, said in (("1 kohm", "expected two or more"), ("many", "expected E24, E96 or a resistance")):
        with pytest.raises(BadRequest, match=said):
            values_at_hand(wrong)
